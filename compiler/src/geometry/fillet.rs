//! Drivable paths along a polyline: lines joined by arcs that are never tighter than a radius.
//!
//! Each corner gets the arc that touches both its edges, never so wide that it leaves the corner by
//! more than [`CUT_M`] unless the radius asks for more. Two neighbouring corners share the edge
//! between them: each takes what the radius needs, and of the rest what it wishes. Where even the
//! needs exceed the edge, the path ends at the sharper corner and another begins.

use super::path::{Gear, Path, Piece, Pose};
use super::{Point, direction, distance};
use crate::num;

/// How far an arc may pass from the corner that it rounds, metres, unless the radius asks for more.
pub const CUT_M: f64 = 0.03;

/// Turns smaller than this are left as they are: straight on within a hundredth of a degree.
const STRAIGHT_ON: f64 = 1e-9;

/// Paths along the chain of points, in order. Neighbouring points differ.
pub fn filleted(chain: &[Point], radius: f64) -> Vec<Path> {
    let arcs = arcs(chain, radius);
    let mut paths = Vec::new();
    let mut drawing = Drawing::begin(chain, 0);
    for (corner, arc) in arcs.iter().enumerate().take(chain.len() - 1).skip(1) {
        if arc.is_broken {
            paths.push(drawing.finish(chain[corner]));
            drawing = Drawing::begin(chain, corner);
        } else {
            drawing.round(chain[corner], arc);
        }
    }
    paths.push(drawing.finish(chain[chain.len() - 1]));
    paths
}

/// The rounding of one corner.
#[derive(Copy, Clone)]
struct Arc {
    /// The turn, radians, positive to the left.
    turn: f64,
    /// Metres from the corner at which the narrowest arc begins and ends.
    needed: f64,
    /// Metres from the corner at which the arc begins and ends.
    tangent: f64,
    /// Whether no arc fits, so that the path ends here.
    is_broken: bool,
}

/// An arc for each point of the chain, the two ends among them, which turn not at all.
fn arcs(chain: &[Point], radius: f64) -> Vec<Arc> {
    let last = chain.len() - 1;
    let mut arcs: Vec<Arc> = (0..=last)
        .map(|i| {
            let turn = if i == 0 || i == last {
                0.0
            } else {
                let incoming = direction(chain[i - 1], chain[i]);
                num::wrap_angle(direction(chain[i], chain[i + 1]) - incoming)
            };
            Arc::new(turn, radius)
        })
        .collect();
    for i in 0..last {
        while arcs[i].needed + arcs[i + 1].needed > distance(chain[i], chain[i + 1]) {
            let sharper = if arcs[i].needed > arcs[i + 1].needed { i } else { i + 1 };
            arcs[sharper] = Arc { is_broken: true, ..Arc::new(0.0, radius) };
        }
    }
    for i in 0..last {
        let spare = distance(chain[i], chain[i + 1]) - arcs[i].needed - arcs[i + 1].needed;
        let wishes = [i, i + 1].map(|k| arcs[k].wished() - arcs[k].needed);
        let share = spare / (wishes[0] + wishes[1]).max(spare).max(f64::MIN_POSITIVE);
        for (k, wish) in [i, i + 1].into_iter().zip(wishes) {
            arcs[k].tangent = arcs[k].tangent.min(arcs[k].needed + wish * share);
        }
    }
    arcs
}

impl Arc {
    fn new(turn: f64, radius: f64) -> Self {
        let turn = if turn.abs() < STRAIGHT_ON { 0.0 } else { turn };
        let needed = radius * num::tan(turn.abs() / 2.0);
        let arc = Self { turn, needed, tangent: 0.0, is_broken: false };
        Self { tangent: arc.wished(), ..arc }
    }

    /// Where an arc begins that leaves its corner by [`CUT_M`], or the narrowest if that is wider.
    fn wished(&self) -> f64 {
        if self.turn == 0.0 { 0.0 } else { (CUT_M / num::tan(self.turn.abs() / 4.0)).max(self.needed) }
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
