//! Drivable paths along a polyline: lines joined by arcs that are never tighter than a radius.
//!
//! Each corner gets the arc that touches both its edges, as wide as half of the shorter edge lets
//! it be but never so wide that it leaves the corner by more than [`CUT_M`]. Where even the
//! smallest radius does not fit, the path ends and another begins.

use super::Point;
use super::path::{Gear, Path, Piece, Pose};
use crate::num;

/// How far an arc may pass from the corner that it rounds, metres, unless the radius asks for more.
pub const CUT_M: f64 = 0.03;

/// Turns smaller than this are left as they are: straight on within a hundredth of a degree.
const STRAIGHT_ON: f64 = 1e-9;

/// Paths along the chain of points, in order. Neighbouring points differ.
pub fn filleted(chain: &[Point], radius: f64) -> Vec<Path> {
    let mut paths = Vec::new();
    let mut drawing = Drawing::begin(chain, 0);
    for corner in 1..chain.len() - 1 {
        match Arc::at(chain, corner, radius) {
            Some(arc) => drawing.round(chain[corner], &arc),
            None => {
                paths.push(drawing.finish(chain[corner]));
                drawing = Drawing::begin(chain, corner);
            }
        }
    }
    paths.push(drawing.finish(chain[chain.len() - 1]));
    paths
}

/// The rounding of one corner.
struct Arc {
    /// Metres from the corner at which the arc begins and ends.
    tangent: f64,
    /// The turn, radians, positive to the left.
    turn: f64,
}

impl Arc {
    fn at(chain: &[Point], corner: usize, radius: f64) -> Option<Self> {
        let (before, here, after) = (chain[corner - 1], chain[corner], chain[corner + 1]);
        let turn = num::wrap_angle(direction(here, after) - direction(before, here));
        let steepness = num::tan(turn.abs() / 2.0);
        if turn.abs() < STRAIGHT_ON {
            return Some(Self { tangent: 0.0, turn: 0.0 });
        }
        let room = distance(before, here).min(distance(here, after)) / 2.0;
        let smallest = radius * steepness;
        let wished = CUT_M / num::tan(turn.abs() / 4.0);
        (smallest <= room).then(|| Self { tangent: wished.clamp(smallest, room), turn })
    }
}

/// A path being drawn.
struct Drawing {
    start: Pose,
    pieces: Vec<Piece>,
    /// End of the last piece.
    pen: Point,
}

impl Drawing {
    fn begin(chain: &[Point], from: usize) -> Self {
        let angle = direction(chain[from], chain[from + 1]);
        Self { start: Pose { at: chain[from], angle }, pieces: Vec::new(), pen: chain[from] }
    }

    fn round(&mut self, corner: Point, arc: &Arc) {
        if arc.turn == 0.0 {
            return;
        }
        let line = distance(self.pen, corner) - arc.tangent;
        self.straight(line);
        let radius = arc.tangent / num::tan(arc.turn.abs() / 2.0);
        let curvature = arc.turn.signum() / radius;
        self.pieces.push(Piece::arc(Gear::Forward, radius * arc.turn.abs(), curvature));
        let path = Path { start: self.start, pieces: std::mem::take(&mut self.pieces) };
        self.pen = path.end().at;
        self.pieces = path.pieces;
    }

    fn straight(&mut self, length: f64) {
        if length > 1e-9 {
            self.pieces.push(Piece::arc(Gear::Forward, length, 0.0));
        }
    }

    fn finish(mut self, end: Point) -> Path {
        let line = distance(self.pen, end);
        self.straight(line);
        Path { start: self.start, pieces: self.pieces }
    }
}

fn distance(a: Point, b: Point) -> f64 {
    num::hypot(b.x - a.x, b.y - a.y)
}

fn direction(a: Point, b: Point) -> f64 {
    num::atan2(b.y - a.y, b.x - a.x)
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::Coord;
    use proptest::prelude::*;

    fn point(x: f64, y: f64) -> Point {
        Coord { x, y }
    }

    #[test]
    fn a_right_angle_is_rounded_with_the_radius_asked() {
        let paths = filleted(&[point(0.0, 0.0), point(20.0, 0.0), point(20.0, 20.0)], 4.0);
        assert_eq!(paths.len(), 1);
        let length = 16.0 + 4.0 * num::PI / 2.0 + 16.0;
        assert!((paths[0].length() - length).abs() < 1e-9);
        assert!(distance(paths[0].end().at, point(20.0, 20.0)) < 1e-9);
    }

    #[test]
    fn a_corner_too_tight_for_the_radius_ends_the_path() {
        let paths = filleted(&[point(0.0, 0.0), point(20.0, 0.0), point(20.0, 3.0)], 4.0);
        assert_eq!(paths.len(), 2);
        assert!(distance(paths[0].end().at, point(20.0, 0.0)) < 1e-9);
        assert!((paths[1].start.angle - num::PI / 2.0).abs() < 1e-12);
    }

    proptest! {
        #[test]
        fn paths_reach_the_chain_ends_and_keep_the_radius(
            steps in prop::collection::vec((0.5f64..30.0, -2.0f64..2.0), 2..12),
            radius in 1.0f64..6.0,
        ) {
            let mut chain = vec![point(0.0, 0.0)];
            let mut angle = 0.0;
            for (length, turn) in steps {
                angle += turn;
                let last = chain[chain.len() - 1];
                chain.push(point(last.x + length * num::cos(angle), last.y + length * num::sin(angle)));
            }
            let paths = filleted(&chain, radius);
            prop_assert!(distance(paths[0].start.at, chain[0]) < 1e-9);
            prop_assert!(distance(paths[paths.len() - 1].end().at, chain[chain.len() - 1]) < 1e-6);
            for piece in paths.iter().flat_map(|p| &p.pieces) {
                prop_assert!(piece.curvature_start.abs() <= 1.0 / radius + 1e-9);
                prop_assert!(piece.length >= 0.0);
            }
        }
    }
}
