//! The sides of a headland lap whose corners are square: the machine drives up to a corner, lifts the
//! tool, turns by a manoeuvre, backs into the corner and works on from there.
//!
//! In: a ring that a lap follows. Out: for each stretch between two square corners the chain of points
//! that the machine follows, drawn on beyond both corners for as far as the tool works soil there. How
//! much of that the fence admits is for others to see.

use super::easing::COARSE_OUTLINE_M;
use super::toolbar::Toolbar;
use crate::geometry::corner::corners;
use crate::geometry::{Point, distance};
use crate::num;
use geo::{LineString, Simplify};

/// Corners that turn by less are driven round on a curve, radians: the soil that is left there is not
/// worth a manoeuvre.
const SQUARE_FROM: f64 = num::PI / 4.0;

/// The square corners of a ring that has its region to the left.
pub fn square_corners(ring: &LineString) -> Vec<Point> {
    let corners = corners(&ring.simplify(COARSE_OUTLINE_M));
    corners.iter().filter(|corner| corner.turn() >= SQUARE_FROM).map(|corner| corner.at).collect()
}

/// The chains between the square corners of a ring, simplified by so much; none where it has none.
pub fn sides(ring: &LineString, toolbar: &Toolbar, simplified_m: f64) -> Vec<Vec<Point>> {
    let square = square_corners(ring);
    let corners = corners(&ring.simplify(simplified_m));
    let count = corners.len();
    let cuts: Vec<usize> = (0..count).filter(|&i| square.contains(&corners[i].at)).collect();
    let Some(&first) = cuts.first() else { return Vec::new() };
    let ends = cuts.iter().copied().skip(1).chain([first + count]);
    let reach = |i: usize| beyond(toolbar, corners[i % count].turn());
    let side = |(from, to): (usize, usize)| {
        let chain: Vec<Point> = (from..=to).map(|i| corners[i % count].at).collect();
        drawn_on(&chain, [reach(from), reach(to)])
    };
    cuts.iter().copied().zip(ends).map(side).collect()
}

/// How far beyond a corner that turns by so much the machine stands with its tool bar where the other
/// side's outermost row runs.
fn beyond(toolbar: &Toolbar, turn: f64) -> f64 {
    /// Sharper corners are not worked to their tip, in working widths.
    const MOST: f64 = 3.0;
    let (sin, cos) = num::sin_cos(turn);
    let crossing_m = 0.5 * toolbar.width * (1.0 + cos.abs()) / sin.abs().max(1e-3);
    crossing_m.min(MOST * toolbar.width) + toolbar.forward.abs()
}

/// A chain that runs straight on for so many metres before its first point and after its last.
fn drawn_on(chain: &[Point], [before, after]: [f64; 2]) -> Vec<Point> {
    let on = |from: Point, to: Point, metres: f64| to + (to - from) * (metres / distance(from, to));
    let last = chain.len() - 1;
    let (begin, end) = (on(chain[1], chain[0], before), on(chain[last - 1], chain[last], after));
    std::iter::once(begin).chain(chain[1..last].iter().copied()).chain([end]).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::example;
    use geo::line_string;

    fn toolbar() -> Toolbar {
        Toolbar::new(&example::machine())
    }

    #[test]
    fn a_rectangle_has_four_sides_that_run_on_beyond_its_corners() {
        let ring = line_string![
            (x: 0.0, y: 0.0), (x: 60.0, y: 0.0), (x: 60.0, y: 40.0), (x: 0.0, y: 40.0), (x: 0.0, y: 0.0),
        ];
        let toolbar = toolbar();
        let on = 0.5 * toolbar.width + toolbar.forward.abs();
        let sides = sides(&ring, &toolbar, 0.02);
        assert_eq!(sides.len(), 4);
        assert!(sides.iter().all(|side| side.len() == 2));
        let bottom = sides.iter().find(|side| side[0].y == 0.0 && side[1].y == 0.0).expect("a bottom");
        assert!((bottom[0].x + on).abs() < 1e-9 && (bottom[1].x - 60.0 - on).abs() < 1e-9, "{bottom:?}");
    }

    #[test]
    fn blunt_and_hollow_corners_part_no_sides() {
        let twelve: LineString = (0..=12)
            .map(|i| num::sin_cos(f64::from(i % 12) * num::PI / 6.0))
            .map(|(sin, cos)| (40.0 * cos, 40.0 * sin))
            .collect();
        assert!(sides(&twelve, &toolbar(), 0.02).is_empty());
        let hollow = line_string![
            (x: 0.0, y: 0.0), (x: 60.0, y: 0.0), (x: 60.0, y: 60.0), (x: 30.0, y: 60.0), (x: 30.0, y: 30.0),
            (x: 0.0, y: 30.0), (x: 0.0, y: 0.0),
        ];
        assert_eq!(sides(&hollow, &toolbar(), 0.02).len(), 5);
    }
}
