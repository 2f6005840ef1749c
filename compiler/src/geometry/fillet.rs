//! Drivable paths along a polyline: lines joined by arcs that are never tighter than a radius.
//!
//! Each corner gets the arc that touches both its edges, never so wide that it leaves the corner by
//! more than [`CUT_M`] unless the radius asks for more. Two neighbouring corners share the edge
//! between them: each takes what the radius needs, and of the rest what it wishes. Where even the
//! needs exceed the edge, the path ends at the sharper corner and another begins.

use super::path::{Gear, Path, Piece, Pose};
use super::{Point, cross, direction, distance};
use crate::num;

/// How far an arc may pass from the corner that it rounds, metres, unless the radius asks for more.
pub const CUT_M: f64 = 0.03;

/// Corners farther than this from where their neighbours' lines meet stay two, metres.
const JOINED_M: f64 = 0.5;

/// What two edges may be turned over, square metres, where corners become one aside of their lines.
const ASIDE_M2: f64 = 1.0;

/// Turns smaller than this are left as they are: straight on within a hundredth of a degree.
const STRAIGHT_ON: f64 = 1e-9;

/// Paths along the chain of points, in order. Neighbouring points differ.
pub fn filleted(chain: &[Point], radius: f64) -> Vec<Path> {
    let chain = &joined(chain, radius);
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

/// The chain with every two corners made one that stand too close for an arc each, where that leaves their
/// edge by little: where its neighbours meet if both turn the same way, else in its middle.
fn joined(chain: &[Point], radius: f64) -> Vec<Point> {
    let mut chain = chain.to_vec();
    let mut edge = 1;
    while edge + 2 < chain.len() {
        let [before, from, to, after] = [0, 1, 2, 3].map(|i| chain[edge + i - 1]);
        let turns = [[before, from, to], [from, to, after]].map(turn);
        let needed: f64 = turns.iter().map(|turn| needed(*turn, radius)).sum();
        let same_way = turns[0] * turns[1] > 0.0;
        let met = if same_way { meeting([before, from], [after, to]) } else { None };
        let aside_m = (ASIDE_M2 / (distance(before, from) + distance(to, after))).min(JOINED_M);
        let (join, nearest_m) = met.map_or(((from + to) / 2.0, aside_m), |met| (met, JOINED_M));
        if needed > distance(from, to) && distance(from, join).max(distance(to, join)) < nearest_m {
            chain.splice(edge..=edge + 1, [join]);
            edge = edge.saturating_sub(2).max(1);
        } else {
            edge += 1;
        }
    }
    chain
}

/// Where the straights through two pairs of points meet.
fn meeting([a, b]: [Point; 2], [c, d]: [Point; 2]) -> Option<Point> {
    let skew = cross(b - a, d - c);
    (skew != 0.0).then(|| a + (b - a) * (cross(c - a, d - c) / skew))
}

/// By how much a chain turns at the middle of three points, radians, positive to the left.
fn turn([before, at, after]: [Point; 3]) -> f64 {
    num::wrap_angle(direction(at, after) - direction(before, at))
}

/// Metres from a corner at which an arc of the radius begins and ends.
fn needed(turn: f64, radius: f64) -> f64 {
    radius * num::tan(turn.abs() / 2.0)
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
            let turn = if i == 0 || i == last { 0.0 } else { turn([chain[i - 1], chain[i], chain[i + 1]]) };
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
        let needed = needed(turn, radius);
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

    /// Chords of one arc that are now long and now short, as a simplified outline has them.
    #[test]
    fn a_bend_of_uneven_chords_is_one_path() {
        let at = |turn: f64| point(3.3 * num::sin(turn), 3.3 * (1.0 - num::cos(turn)));
        let turns = [0.0, 0.05, 0.4, 0.45, 0.5, 0.9, 0.95, 1.3, 1.35, 1.57];
        let bend = turns.map(at);
        let chain: Vec<Point> =
            [point(-9.0, 0.0)].into_iter().chain(bend).chain([point(3.3, 12.3)]).collect();
        let paths = filleted(&chain, 2.5);
        assert_eq!(paths.len(), 1);
        for pose in paths[0].sampled(0.01).poses.iter().filter(|pose| pose.at.x > 0.0 && pose.at.y < 3.3) {
            let off = distance(pose.at, point(0.0, 3.3)) - 3.3;
            assert!(off.abs() < 0.1, "{off} at {:?}", pose.at);
        }
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
