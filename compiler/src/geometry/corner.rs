//! The corners of a ring: where they are and how they turn.

use super::{Point, direction};
use crate::num;
use geo::LineString;

/// A corner of a ring.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Corner {
    /// Where it is.
    pub at: Point,
    /// The angle of the edge that ends here, radians counter-clockwise from east.
    pub incoming: f64,
    /// The angle of the edge that begins here.
    pub outgoing: f64,
}

impl Corner {
    /// The turn from one edge to the next, radians in `(-π, π]`, positive to the left. Where the
    /// ring has its region to the left, a corner that turns to the right is hollow.
    pub fn turn(&self) -> f64 {
        num::wrap_angle(self.outgoing - self.incoming)
    }
}

/// Every corner of a closed ring whose neighbouring points differ, in its order.
pub fn corners(ring: &LineString) -> Vec<Corner> {
    let points = &ring.0[..ring.0.len().saturating_sub(1)];
    let count = points.len();
    (0..count)
        .map(|i| {
            let (before, at, after) = (points[(i + count - 1) % count], points[i], points[(i + 1) % count]);
            Corner { at, incoming: direction(before, at), outgoing: direction(at, after) }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::line_string;

    #[test]
    fn a_ring_to_the_left_turns_left_but_for_its_hollow_corner() {
        let arrow = line_string![
            (x: 0.0, y: 0.0), (x: 4.0, y: 0.0), (x: 4.0, y: 4.0), (x: 3.0, y: 1.0), (x: 0.0, y: 0.0),
        ];
        let turns: Vec<f64> = corners(&arrow).iter().map(Corner::turn).collect();
        assert!((turns.iter().sum::<f64>() - 2.0 * num::PI).abs() < 1e-12);
        assert!(turns[3] < 0.0 && turns[..3].iter().all(|turn| *turn > 0.0), "{turns:?}");
    }
}
