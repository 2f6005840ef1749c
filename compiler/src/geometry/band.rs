//! What a stretch across the machine sweeps while the machine drives a way.

use super::{Path, Point};
use geo::{LineString, Polygon};

/// How far a chord of the band's edges may lie from the true way, metres.
pub const CHORD_M: f64 = 0.005;

/// The quadrilaterals that the line between two offsets, metres to the right of the reference
/// point and `forward` of it, sweeps from pose to pose.
pub fn band(way: &Path, forward: f64, offsets: [f64; 2]) -> Vec<Polygon> {
    fine_band(way, forward, offsets, CHORD_M)
}

/// The same with chords so near to the true way, metres.
pub fn fine_band(way: &Path, forward: f64, offsets: [f64; 2], chord_m: f64) -> Vec<Polygon> {
    let edges: Vec<[Point; 2]> = way
        .sampled(chord_m)
        .poses
        .iter()
        .map(|pose| offsets.map(|right| pose.ground(forward, right)))
        .collect();
    edges
        .windows(2)
        .map(|w| Polygon::new(LineString(vec![w[0][0], w[1][0], w[1][1], w[0][1]]), vec![]))
        .collect()
}

/// The same as one polygon, for a way so gentle that neither edge of the band meets itself or the
/// other.
pub fn ribbon(way: &Path, forward: f64, [left, right]: [f64; 2]) -> Polygon {
    let poses = way.sampled(CHORD_M).poses;
    let there = poses.iter().map(|pose| pose.ground(forward, right));
    let back = poses.iter().rev().map(|pose| pose.ground(forward, left));
    Polygon::new(LineString(there.chain(back).collect()), vec![])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::{Gear, Piece, Pose, region};
    use crate::num;

    #[test]
    fn a_quarter_turn_sweeps_a_quarter_of_a_ring() {
        let start = Pose { at: Point { x: 0.0, y: 0.0 }, angle: 0.0 };
        let way = Path { start, pieces: vec![Piece::arc(Gear::Forward, 10.0 * num::PI / 2.0, 0.1)] };
        let swept = region::area(&region::union_all(&band(&way, 0.0, [-1.0, 1.0])));
        let ring = num::PI / 4.0 * (11.0 * 11.0 - 9.0 * 9.0);
        assert!((swept - ring).abs() < 2.0 * CHORD_M * 10.0 * num::PI / 2.0, "{swept} against {ring}");
        let whole = region::area(&ribbon(&way, 0.0, [-1.0, 1.0]).into());
        assert!((whole - swept).abs() < 1e-3, "{whole} in one piece");
    }
}
