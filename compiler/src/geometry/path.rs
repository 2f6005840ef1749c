//! Poses, and paths made of pieces whose curvature changes linearly: straight lines, circular
//! arcs, clothoids and turns on the spot.
//!
//! A path is its start pose and its pieces, so that any later pose is found by integration and
//! two equal paths are equal values. Signed curvature is positive to the left. Distances are
//! metres that the reference point travels; a turn on the spot has none.
//!
//! Lines and arcs are integrated in closed form; clothoids by Gauss–Legendre quadrature
//! (Abramowitz & Stegun, *Handbook of Mathematical Functions*, 25.4.30) on panels short enough
//! for an error far below a nanometre. Speed and time are no business of this module.

use super::{Point, distance, unit};
use crate::num;

/// Where a machine's reference point is and which way its body looks.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Pose {
    /// The reference point, metres.
    pub at: Point,
    /// The body's forward direction, radians counter-clockwise from east.
    pub angle: f64,
}

impl Pose {
    /// A pose from its coordinates.
    pub const fn new(x: f64, y: f64, angle: f64) -> Self {
        Self { at: Point { x, y }, angle }
    }

    /// The ground point of a point of the body, metres forward and to the right of the reference
    /// point.
    pub fn ground(&self, forward: f64, right: f64) -> Point {
        let (sin, cos) = num::sin_cos(self.angle);
        Point { x: self.at.x + forward * cos + right * sin, y: self.at.y + forward * sin - right * cos }
    }

    /// The body point, metres forward and to the right, that lies on a ground point.
    pub fn body(&self, ground: Point) -> (f64, f64) {
        let (sin, cos) = num::sin_cos(self.angle);
        let (east, north) = (ground.x - self.at.x, ground.y - self.at.y);
        (east * cos + north * sin, east * sin - north * cos)
    }

    /// This pose moved straight on; back where `distance` is negative.
    #[must_use]
    pub fn advanced(&self, distance: f64) -> Self {
        Self { at: self.ground(distance, 0.0), angle: self.angle }
    }

    /// The same place, looking the other way.
    #[must_use]
    pub fn turned_round(&self) -> Self {
        Self { at: self.at, angle: num::wrap_angle(self.angle + num::PI) }
    }

    /// Metres between the two reference points.
    pub fn distance(&self, other: &Self) -> f64 {
        distance(self.at, other.at)
    }

    /// The turn, radians in `(-π, π]`, from this pose's direction to the other's.
    pub fn turn_to(&self, other: &Self) -> f64 {
        num::wrap_angle(other.angle - self.angle)
    }
}

/// How a piece is driven.
#[derive(Copy, Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Gear {
    /// Nose first.
    Forward,
    /// Tail first.
    Reverse,
    /// Turning on the spot about the reference point.
    Spot,
}

/// One piece of a path.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Piece {
    /// How it is driven.
    pub gear: Gear,
    /// Metres travelled, never negative; for [`Gear::Spot`] the signed turn in radians,
    /// positive to the left.
    pub length: f64,
    /// Curvature at the piece's start, 1/m, as the steering holds it: positive when the body
    /// turns left in forward travel. A reverse piece with positive curvature turns the body right.
    pub curvature_start: f64,
    /// Curvature at its end; between, it changes linearly with the distance.
    pub curvature_end: f64,
}

impl Piece {
    /// A straight line or an arc of constant curvature.
    pub const fn arc(gear: Gear, length: f64, curvature: f64) -> Self {
        Self { gear, length, curvature_start: curvature, curvature_end: curvature }
    }

    /// A straight line.
    pub const fn straight(gear: Gear, length: f64) -> Self {
        Self::arc(gear, length, 0.0)
    }

    /// A turn on the spot, radians, positive to the left.
    pub const fn spot(turn: f64) -> Self {
        Self { gear: Gear::Spot, length: turn, curvature_start: 0.0, curvature_end: 0.0 }
    }

    /// Metres that the reference point moves.
    pub const fn distance(&self) -> f64 {
        match self.gear {
            Gear::Spot => 0.0,
            Gear::Forward | Gear::Reverse => self.length,
        }
    }

    /// The largest magnitude of its curvature, 1/m.
    pub const fn sharpest(&self) -> f64 {
        self.curvature_start.abs().max(self.curvature_end.abs())
    }

    /// How far the body turns over the whole piece, radians, positive to the left.
    pub fn turn(&self) -> f64 {
        match self.gear {
            Gear::Spot => self.length,
            Gear::Forward | Gear::Reverse => self.turn_after(self.length),
        }
    }

    /// The pose after the whole piece.
    pub fn end(&self, start: Pose) -> Pose {
        self.pose_after(start, self.length)
    }

    /// The pose after a part of the piece, in the unit of [`Piece::length`].
    pub fn pose_after(&self, start: Pose, part: f64) -> Pose {
        match self.gear {
            Gear::Spot => Pose { at: start.at, angle: num::wrap_angle(start.angle + part) },
            _ if self.is_clothoid() => self.clothoid_pose(start, part),
            _ => self.arc_pose(start, part),
        }
    }

    /// The middles of so many equal parts of a piece that moves the machine: the reference point, and
    /// where the nose points as a unit vector.
    pub fn middles(&self, start: Pose, parts: u32) -> impl Iterator<Item = (Point, Point)> + use<> {
        let piece = *self;
        let part_m = self.length / f64::from(parts);
        let middle = move |part: u32| piece.pose_after(start, (f64::from(part) + 0.5) * part_m);
        // From one middle to the next an arc's chord turns as its heading does.
        let first = middle(0);
        let second = if piece.is_clothoid() { first } else { middle(1) };
        let turn = unit(second.angle - first.angle);
        let (mut at, mut nose, mut chord) = (first.at, unit(first.angle), second.at - first.at);
        (0..parts).map(move |part| {
            if piece.is_clothoid() {
                let pose = middle(part);
                return (pose.at, unit(pose.angle));
            }
            let here = (at, nose);
            (at, nose, chord) = (at + chord, turned(nose, turn), turned(chord, turn));
            here
        })
    }

    /// The part between two distances from the piece's start.
    #[must_use]
    pub fn between(&self, from: f64, to: f64) -> Self {
        Self {
            gear: self.gear,
            length: to - from,
            curvature_start: self.curvature_after(from),
            curvature_end: self.curvature_after(to),
        }
    }

    fn is_clothoid(&self) -> bool {
        (self.curvature_start - self.curvature_end).abs() > f64::EPSILON
    }

    /// +1 nose first, −1 tail first.
    const fn sign(&self) -> f64 {
        match self.gear {
            Gear::Reverse => -1.0,
            Gear::Forward | Gear::Spot => 1.0,
        }
    }

    fn curvature_after(&self, distance: f64) -> f64 {
        if self.is_clothoid() {
            self.curvature_start + (self.curvature_end - self.curvature_start) * distance / self.length
        } else {
            self.curvature_start
        }
    }

    fn turn_after(&self, distance: f64) -> f64 {
        self.sign() * distance * 0.5 * (self.curvature_start + self.curvature_after(distance))
    }

    /// The chord of an arc points along its middle tangent and is `sin(a/2)/(a/2)` of its length.
    fn arc_pose(&self, start: Pose, distance: f64) -> Pose {
        let signed = self.sign() * distance;
        let half_turn = 0.5 * signed * self.curvature_start;
        let shrink = if half_turn.abs() < 1e-9 { 1.0 } else { num::sin(half_turn) / half_turn };
        let (sin, cos) = num::sin_cos(start.angle + half_turn);
        Pose {
            at: Point { x: start.at.x + signed * shrink * cos, y: start.at.y + signed * shrink * sin },
            angle: num::wrap_angle(start.angle + 2.0 * half_turn),
        }
    }

    fn clothoid_pose(&self, start: Pose, distance: f64) -> Pose {
        /// Panels turn by no more than this, where eight nodes leave an error below 1e-15.
        const PANEL_TURN: f64 = 0.5;
        let panels = (self.sharpest() * distance / PANEL_TURN).ceil().max(1.0);
        let width = distance / panels;
        let (mut east, mut north) = (0.0, 0.0);
        for panel in 0..panels as u32 {
            let middle = (f64::from(panel) + 0.5) * width;
            for (node, weight) in GAUSS_LEGENDRE_8 {
                for side in [-node, node] {
                    let angle = start.angle + self.turn_after(middle + 0.5 * width * side);
                    let (sin, cos) = num::sin_cos(angle);
                    east += weight * cos;
                    north += weight * sin;
                }
            }
        }
        let scale = 0.5 * width * self.sign();
        Pose {
            at: Point { x: start.at.x + scale * east, y: start.at.y + scale * north },
            angle: num::wrap_angle(start.angle + self.turn_after(distance)),
        }
    }
}

/// A vector turned by the angle of a unit vector.
fn turned(vector: Point, by: Point) -> Point {
    Point { x: vector.x * by.x - vector.y * by.y, y: vector.x * by.y + vector.y * by.x }
}

/// Nodes and weights on `[-1, 1]`, the positive half: Abramowitz & Stegun, table 25.4, n = 8.
const GAUSS_LEGENDRE_8: [(f64, f64); 4] = [
    (0.183_434_642_495_649_8, 0.362_683_783_378_362),
    (0.525_532_409_916_329, 0.313_706_645_877_887_3),
    (0.796_666_477_413_626_7, 0.222_381_034_453_374_5),
    (0.960_289_856_497_536_3, 0.101_228_536_290_376_3),
];

/// A drivable way of the reference point.
#[derive(Clone, Debug, PartialEq)]
pub struct Path {
    /// Where it begins.
    pub start: Pose,
    /// Its pieces in driving order.
    pub pieces: Vec<Piece>,
}

/// A path as a chain of poses.
#[derive(Clone, Debug, PartialEq)]
pub struct Sampled {
    /// Poses in driving order, one at each joint of pieces at least. A turn on the spot has two
    /// at the same place. Never fewer than two.
    pub poses: Vec<Pose>,
    /// Stretches of one gear; each begins with the pose that ends the one before.
    pub legs: Vec<Leg>,
}

/// A stretch of a sampled path that is driven in one gear.
#[derive(Copy, Clone, Debug, PartialEq, Eq)]
pub struct Leg {
    /// How it is driven.
    pub gear: Gear,
    /// Index of its first pose.
    pub first: usize,
    /// Index of its last pose.
    pub last: usize,
}

impl Path {
    /// Standing still.
    pub const fn at(start: Pose) -> Self {
        Self { start, pieces: Vec::new() }
    }

    /// Straight on, nose first.
    pub fn straight(from: Point, to: Point) -> Self {
        let (east, north) = (to.x - from.x, to.y - from.y);
        let start = Pose { at: from, angle: num::atan2(north, east) };
        Self { start, pieces: vec![Piece::straight(Gear::Forward, num::hypot(east, north))] }
    }

    /// Metres that the reference point travels.
    pub fn length(&self) -> f64 {
        self.pieces.iter().map(Piece::distance).sum()
    }

    /// The last pose.
    pub fn end(&self) -> Pose {
        self.pieces.iter().fold(self.start, |pose, piece| piece.end(pose))
    }

    /// The pose after a distance, kept within the path. Where the machine turns on the spot
    /// there, the pose before that turn.
    pub fn pose_at(&self, distance: f64) -> Pose {
        let mut left = distance.max(0.0);
        for (start, piece) in self.steps() {
            if left <= piece.distance() {
                return match piece.gear {
                    Gear::Spot => start,
                    Gear::Forward | Gear::Reverse => piece.pose_after(start, left),
                };
            }
            left -= piece.distance();
        }
        self.end()
    }

    /// The poses after many distances in rising order: one walk instead of many.
    pub fn poses_at(&self, rising: impl IntoIterator<Item = f64>) -> Vec<Pose> {
        let mut steps = self.steps().peekable();
        let mut passed = 0.0;
        let mut end = self.start;
        let place = |distance: f64| {
            while let Some(&(start, piece)) = steps.peek() {
                if distance <= passed + piece.distance() {
                    return piece.pose_after(start, (distance - passed).max(0.0));
                }
                passed += piece.distance();
                end = piece.end(start);
                steps.next();
            }
            end
        };
        rising.into_iter().map(place).collect()
    }

    /// Each piece with the pose at which it begins.
    pub fn steps(&self) -> impl Iterator<Item = (Pose, &Piece)> {
        self.pieces.iter().scan(self.start, |pose, piece| {
            let start = *pose;
            *pose = piece.end(start);
            Some((start, piece))
        })
    }

    /// This path and then the pieces of one that begins where it ends.
    #[must_use]
    pub fn then(mut self, next: &Self) -> Self {
        self.pieces.extend_from_slice(&next.pieces);
        self
    }

    /// The part between two distances, from before the first turn on the spot there to after the
    /// last.
    #[must_use]
    pub fn between(&self, from: f64, to: f64) -> Self {
        let mut part = Self::at(self.pose_at(from));
        let mut passed = 0.0;
        for piece in &self.pieces {
            let (begin, end) = (passed, passed + piece.distance());
            passed = end;
            if piece.gear == Gear::Spot {
                if from <= begin && begin <= to {
                    part.pieces.push(*piece);
                }
            } else if begin < to && from < end {
                let cut = piece.between((from - begin).max(0.0), to.min(end) - begin);
                if cut.length > 0.0 {
                    part.pieces.push(cut);
                }
            }
        }
        part
    }

    /// The same line on the ground from its other end, the body looking the other way, so that
    /// what was driven nose first is again driven nose first.
    #[must_use]
    pub fn turned_round(&self) -> Self {
        let pieces = self.pieces.iter().rev().map(|piece| match piece.gear {
            Gear::Spot => Piece::spot(-piece.length),
            Gear::Forward | Gear::Reverse => Piece {
                curvature_start: -piece.curvature_end,
                curvature_end: -piece.curvature_start,
                ..*piece
            },
        });
        Self { start: self.end().turned_round(), pieces: pieces.collect() }
    }

    /// The same poses in the opposite order: what was driven nose first is driven tail first.
    #[must_use]
    pub fn retraced(&self) -> Self {
        let pieces = self.pieces.iter().rev().map(|piece| match piece.gear {
            Gear::Spot => Piece::spot(-piece.length),
            Gear::Forward | Gear::Reverse => Piece {
                gear: if piece.gear == Gear::Forward { Gear::Reverse } else { Gear::Forward },
                curvature_start: piece.curvature_end,
                curvature_end: piece.curvature_start,
                ..*piece
            },
        });
        Self { start: self.end(), pieces: pieces.collect() }
    }

    /// Poses so dense that no chord between two leaves the way by more than `tolerance_m`.
    pub fn sampled(&self, tolerance_m: f64) -> Sampled {
        let mut poses = vec![self.start];
        let mut legs: Vec<Leg> = Vec::new();
        for (start, piece) in self.steps() {
            let first = poses.len() - 1;
            let chords = chords_for(piece, tolerance_m);
            let share = piece.length / f64::from(chords);
            poses.extend((1..chords).map(|i| piece.pose_after(start, share * f64::from(i))));
            poses.push(piece.end(start));
            let last = poses.len() - 1;
            match legs.last_mut() {
                Some(leg) if leg.gear == piece.gear => leg.last = last,
                _ => legs.push(Leg { gear: piece.gear, first, last }),
            }
        }
        if legs.is_empty() {
            poses.push(self.start);
            legs.push(Leg { gear: Gear::Forward, first: 0, last: 1 });
        }
        Sampled { poses, legs }
    }
}

/// A chord of length `h` on curvature `k` leaves its arc by at most `k h² / 8`.
fn chords_for(piece: &Piece, tolerance_m: f64) -> u32 {
    let longest = num::sqrt(8.0 * tolerance_m / piece.sharpest());
    (piece.distance() / longest).ceil().max(1.0) as u32
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn same(a: Pose, b: Pose, tolerance: f64) -> bool {
        a.distance(&b) < tolerance && a.turn_to(&b).abs() < tolerance
    }

    /// Check values derived by adaptive quadrature (absolute tolerance 1e-12) of the textbook
    /// definition of the clothoid: curvature from 0 to 1/r over length L.
    #[test]
    fn clothoid_ends_where_quadrature_of_its_definition_ends() {
        for (radius, length, x, y, turn) in
            [(4.5, 2.0, 1.990_146, 0.147_626, 0.222_222), (1.0, 1.0, 0.975_288, 0.163_714, 0.5)]
        {
            let piece =
                Piece { gear: Gear::Forward, length, curvature_start: 0.0, curvature_end: 1.0 / radius };
            let end = piece.end(Pose::new(0.0, 0.0, 0.0));
            assert!(same(end, Pose::new(x, y, turn), 1e-6), "{end:?}");
        }
    }

    #[test]
    fn quarter_arc_ends_beside_its_centre() {
        let left = Piece::arc(Gear::Forward, num::PI, 0.5).end(Pose::new(1.0, 1.0, 0.0));
        assert!(same(left, Pose::new(3.0, 3.0, num::PI / 2.0), 1e-12), "{left:?}");
        let back = Piece::arc(Gear::Reverse, num::PI, 0.5).end(Pose::new(1.0, 1.0, 0.0));
        assert!(same(back, Pose::new(-1.0, 3.0, -num::PI / 2.0), 1e-12), "{back:?}");
    }

    #[test]
    fn middles_of_parts_are_the_poses_there() {
        let clothoid = Piece { gear: Gear::Reverse, length: 7.0, curvature_start: -0.1, curvature_end: 0.3 };
        let pieces = [
            Piece::straight(Gear::Reverse, 90.0),
            Piece::arc(Gear::Forward, 40.0, 0.4),
            Piece::arc(Gear::Reverse, 3.0, -0.25),
            clothoid,
        ];
        let start = Pose::new(400.0, -120.0, 2.9);
        for piece in pieces {
            for parts in [1, 2, 181] {
                let middles: Vec<(Point, Point)> = piece.middles(start, parts).collect();
                assert_eq!(middles.len(), parts as usize);
                for (part, (at, nose)) in (0_u32..).zip(middles) {
                    let share = (f64::from(part) + 0.5) / f64::from(parts);
                    let angle = num::atan2(nose.y, nose.x);
                    let expected = piece.pose_after(start, share * piece.length);
                    assert!(same(Pose { at, angle }, expected, 1e-10), "{piece:?} {part} of {parts}");
                }
            }
        }
    }

    #[test]
    fn body_points_lie_forward_and_to_the_right() {
        let north = Pose::new(10.0, 20.0, num::PI / 2.0);
        let point = north.ground(3.0, 2.0);
        assert!((point.x - 12.0).abs() < 1e-12 && (point.y - 23.0).abs() < 1e-12);
        let (forward, right) = north.body(point);
        assert!((forward - 3.0).abs() < 1e-12 && (right - 2.0).abs() < 1e-12);
    }

    #[test]
    fn legs_join_and_a_turn_on_the_spot_has_two_poses() {
        let path = Path {
            start: Pose::new(0.0, 0.0, 0.0),
            pieces: vec![
                Piece::straight(Gear::Forward, 5.0),
                Piece::arc(Gear::Forward, 2.0, 0.2),
                Piece::spot(-1.0),
                Piece::straight(Gear::Reverse, 1.0),
            ],
        };
        let sampled = path.sampled(0.001);
        let gears: Vec<Gear> = sampled.legs.iter().map(|leg| leg.gear).collect();
        assert_eq!(gears, [Gear::Forward, Gear::Spot, Gear::Reverse]);
        for pair in sampled.legs.windows(2) {
            assert_eq!(pair[0].last, pair[1].first);
        }
        let spot = sampled.legs[1];
        assert_eq!(spot.last, spot.first + 1);
        assert!(sampled.poses[spot.first].distance(&sampled.poses[spot.last]) < 1e-15);
        assert_eq!(sampled.legs[2].last + 1, sampled.poses.len());
    }

    fn any_piece() -> impl Strategy<Value = Piece> {
        let gear = prop_oneof![Just(Gear::Forward), Just(Gear::Reverse), Just(Gear::Spot)];
        (gear, 0.01..6.0f64, -0.5..0.5f64, -0.5..0.5f64, any::<bool>()).prop_map(
            |(gear, length, start, end, clothoid)| match gear {
                Gear::Spot => Piece::spot(start * length),
                _ if clothoid => Piece { gear, length, curvature_start: start, curvature_end: end },
                _ => Piece::arc(gear, length, start),
            },
        )
    }

    prop_compose! {
        fn any_path()(x in -50.0..50.0f64, y in -50.0..50.0f64, angle in -3.0..3.0f64,
                      pieces in proptest::collection::vec(any_piece(), 1..8)) -> Path {
            Path { start: Pose::new(x, y, angle), pieces }
        }
    }

    proptest! {
        #[test]
        fn small_steps_agree_with_the_closed_form(path in any_path()) {
            let mut pose = path.start;
            for piece in &path.pieces {
                let steps = 4000;
                let step = piece.length / f64::from(steps);
                for i in 0..steps {
                    let middle = piece.curvature_after(step * (f64::from(i) + 0.5));
                    let (signed, turn) = match piece.gear {
                        Gear::Spot => (0.0, step),
                        Gear::Forward => (step, step * middle),
                        Gear::Reverse => (-step, -step * middle),
                    };
                    let (sin, cos) = num::sin_cos(pose.angle + 0.5 * turn);
                    pose.at.x += signed * cos;
                    pose.at.y += signed * sin;
                    pose.angle += turn;
                }
            }
            prop_assert!(same(pose, path.end(), 1e-5));
        }

        #[test]
        fn both_ways_back_return_to_the_start(path in any_path()) {
            prop_assert!(same(path.retraced().end(), path.start, 1e-9));
            prop_assert!(same(path.turned_round().end().turned_round(), path.start, 1e-9));
        }

        #[test]
        fn parts_meet(path in any_path(), share in 0.0..1.0f64) {
            let cut = share * path.length();
            let (head, tail) = (path.between(0.0, cut), path.between(cut, path.length()));
            prop_assert!((head.length() + tail.length() - path.length()).abs() < 1e-9);
            prop_assert!(same(tail.end(), path.end(), 1e-9));
            prop_assert!(same(path.poses_at([cut])[0], path.pose_at(cut), 1e-12));
        }

        #[test]
        fn chords_stay_within_the_tolerance(path in any_path()) {
            let tolerance = 0.001;
            for (start, piece) in path.steps().filter(|(_, piece)| piece.gear != Gear::Spot) {
                let chords = chords_for(piece, tolerance);
                let share = piece.length / f64::from(chords);
                for i in 0..chords {
                    let from = piece.pose_after(start, share * f64::from(i));
                    let to = piece.pose_after(start, share * f64::from(i + 1));
                    let chord = Path::straight(from.at, to.at).start;
                    for part in 1..8 {
                        let between = share * (f64::from(i) + f64::from(part) / 8.0);
                        let (_, aside) = chord.body(piece.pose_after(start, between).at);
                        prop_assert!(aside.abs() <= tolerance * 1.000_001);
                    }
                }
            }
        }
    }
}
