//! Where the machine may be: the fence seen by its footprint, and a proof for a whole way.
//!
//! In: the fence (holes included) and the footprint. Out: the clearance between footprint and
//! fence along a path, never more than the true one, or the pose before the first place where it
//! is not enough.
//!
//! Method: conservative advancement (B. Mirtich, *Impulse-based dynamic simulation of rigid body
//! systems*, thesis, Berkeley 1996): far from the fence one may advance until no body point can
//! have moved the clearance. Near it, a step is enclosed by the convex hull of the footprints at
//! its ends, grown by what the body points' curved ways can leave their chords: for a point moving
//! with acceleration `a` per metre squared, `a h² / 8` over a step `h`. A step that fails is
//! halved until the enclosure's own excess is below [`FINEST_M`]. Samples may refuse a way; nothing
//! is admitted on samples alone.
//!
//! A footprint that touches no edge and has one corner inside lies inside; along a way it stays
//! so for as long as it touches no edge.

use crate::geometry::convex::{Convex, Segment, point_to_segment};
use crate::geometry::{Footprint, Gear, Path, Piece, Point, Pose, region};
use crate::num;
use geo::MultiPolygon;

mod edges;

use edges::Edges;

/// A step is not halved further once its enclosure exceeds the swept area by less, metres.
pub const FINEST_M: f64 = 0.002;

/// What is nearer touches, metres.
const TOUCHING_M: f64 = 1e-6;

/// Clearances are not told apart beyond this, metres.
const ENOUGH_M: f64 = 1.0;

/// The fence as the footprint sees it.
#[derive(Clone, Debug)]
pub struct FreeSpace {
    footprint: Footprint,
    edges: Edges,
    /// Where the centre of the footprint's largest disc may be.
    passable: Edges,
}

/// How near a way comes to the fence.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Clearance {
    /// At least this far from it everywhere, metres; not told apart above a metre.
    pub at_least_m: f64,
    /// Where it comes nearest.
    pub at: Pose,
}

impl FreeSpace {
    /// The free space of a footprint within a fence.
    pub fn new(fence: &MultiPolygon, footprint: Footprint) -> Self {
        let edges = Edges::new(rings_of(fence), footprint.reach());
        let disc_m = footprint.inner_disc().radius_m - 2.0 * region::ARC_TOLERANCE_M;
        let passable = region::inset(fence, disc_m);
        let passable = Edges::new(rings_of(&passable), footprint.reach());
        Self { footprint, edges, passable }
    }

    /// The footprint that moves in it.
    pub const fn footprint(&self) -> &Footprint {
        &self.footprint
    }

    /// Distance of the footprint at a pose from the fence, `None` where it is not inside.
    pub fn clearance_at(&self, pose: Pose) -> Option<f64> {
        let outline = self.footprint.at(pose);
        let inside = outline.corners().first().is_some_and(|&corner| self.edges.encloses(corner));
        let gap = self.gap(&outline, pose.at, self.footprint.reach(), f64::INFINITY);
        (inside && gap > 0.0).then_some(gap)
    }

    /// The clearance along a path if it is at least `need_m` everywhere, else the last pose
    /// before the first place where it is not. Touching is never enough.
    pub fn clearance(&self, path: &Path, need_m: f64) -> Result<Clearance, Pose> {
        let need_m = need_m.max(TOUCHING_M);
        let at_start = self.clearance_at(path.start).filter(|&gap| gap >= need_m);
        let gap = at_start.ok_or(path.start)?.min(ENOUGH_M);
        let mut nearest = Clearance { at_least_m: gap, at: path.start };
        for (start, piece) in path.steps() {
            self.prove(start, piece, need_m, ENOUGH_M, &mut nearest)?;
        }
        Ok(nearest)
    }

    /// Whether pieces keep `need_m` from the fence when they begin at a pose that does.
    pub fn admits(&self, start: Pose, pieces: &[Piece], need_m: f64) -> bool {
        self.may_admit(start, pieces, need_m.max(TOUCHING_M)) && self.holds(start, pieces, need_m)
    }

    /// The same for pieces that samples do not refuse.
    pub fn holds(&self, start: Pose, pieces: &[Piece], need_m: f64) -> bool {
        let need_m = need_m.max(TOUCHING_M);
        let mut nearest = Clearance { at_least_m: ENOUGH_M, at: start };
        steps(start, pieces).all(|(begin, piece)| self.prove(begin, piece, need_m, 0.0, &mut nearest).is_ok())
    }

    /// False where samples already show that pieces come nearer to the fence than `need_m`, or
    /// beyond it where that is negative. True proves nothing.
    pub fn may_admit(&self, start: Pose, pieces: &[Piece], need_m: f64) -> bool {
        // Where one piece ends and the next begins a way often comes nearest to the fence.
        steps(start, pieces).skip(1).all(|(begin, _)| self.may_stand(begin, need_m))
            && steps(start, pieces).all(|(begin, piece)| self.may_pass(begin, piece, need_m))
    }

    /// The distance of a point from the fence, at most `cap_m` on either side, negative outside.
    pub fn signed_distance(&self, point: Point, cap_m: f64) -> f64 {
        let distance = self.edges.distance(point, cap_m);
        if self.edges.encloses(point) { distance } else { -distance }
    }

    /// Whether the footprint's largest disc can get from one pose to the other: no gap between is
    /// narrower than that. Where it cannot, there is no way.
    pub fn joins(&self, a: Pose, b: Pose) -> bool {
        self.part_of(a).is_some_and(|own| self.part_of(b) == Some(own))
    }

    /// Which part of the free space the footprint's largest disc is in: no way leads from one part
    /// to another. None where the disc does not fit.
    pub fn part_of(&self, pose: Pose) -> Option<u32> {
        let (forward, right) = self.footprint.inner_disc().centre;
        self.passable.part_at(pose.ground(forward, right))
    }

    /// The corners of the smallest upright rectangle round the fence.
    pub const fn bounds(&self) -> (Point, Point) {
        self.edges.bounds()
    }

    /// False where samples already show that a piece comes too near, which costs less than a proof.
    fn may_pass(&self, start: Pose, piece: &Piece, need_m: f64) -> bool {
        /// Metres or radians between samples.
        const SPACING: f64 = 0.6;
        let count = (piece.length.abs() / SPACING).ceil().max(1.0);
        let apart_m = piece.distance() / count;
        let mut sample = 1.0;
        while sample <= count {
            let pose = piece.pose_after(start, piece.length * sample / count);
            let open_m = self.open_m(pose, need_m);
            if open_m < 0.0 && !self.keeps_off(pose, need_m) {
                return false;
            }
            // What lies in the open is passed by.
            sample += 1.0 + (open_m.max(0.0) / apart_m.max(TOUCHING_M)).floor();
        }
        true
    }

    /// How far the machine may surely move and still keep `need_m` from the fence; below zero where
    /// that is not known.
    fn open_m(&self, pose: Pose, need_m: f64) -> f64 {
        self.edges.distance_at_least(pose.at) - self.footprint.reach() - need_m
    }

    /// False where samples already show that a pose is too near the fence.
    fn may_stand(&self, pose: Pose, need_m: f64) -> bool {
        self.open_m(pose, need_m) >= 0.0 || self.keeps_off(pose, need_m)
    }

    /// False where the footprint's largest disc or a corner is too near the fence.
    fn keeps_off(&self, pose: Pose, need_m: f64) -> bool {
        let reach_m = self.footprint.reach() + need_m;
        let near = self.edges.near(pose.at);
        let mut close = near.edges().filter(|&edge| point_to_segment(pose.at, edge) < reach_m).peekable();
        if close.peek().is_none() {
            return true;
        }
        let disc = self.footprint.inner_disc();
        let centre = pose.ground(disc.centre.0, disc.centre.1);
        let outline: Vec<Point> = self.footprint.corners_at(pose).collect();
        close.all(|edge| {
            point_to_segment(centre, edge) >= disc.radius_m + need_m
                && outline.iter().all(|&corner| point_to_segment(corner, edge) >= need_m)
        })
    }

    /// Walks one piece in steps that are each proven. Where the fence is farther than `care_m` and
    /// `need_m` together, how far it is does not matter.
    fn prove(
        &self,
        start: Pose,
        piece: &Piece,
        need_m: f64,
        care_m: f64,
        nearest: &mut Clearance,
    ) -> Result<(), Pose> {
        let motion = Motion::of(piece, self.footprint.reach());
        let end = piece.length.abs();
        let sign = piece.length.signum();
        let (mut pose, mut passed, mut step) = (start, 0.0, motion.first_step);
        while passed < end {
            let open = self.edges.distance(pose.at, f64::INFINITY) - self.footprint.reach() - need_m - care_m;
            if open > motion.speed * motion.first_step {
                passed = end.min(passed + open / motion.speed);
                pose = piece.pose_after(start, sign * passed);
                continue;
            }
            let next = end.min(passed + step);
            let there = piece.pose_after(start, sign * next);
            let gap = self.swept_gap(pose, there, need_m, &motion.over(next - passed));
            if gap >= need_m {
                if gap < nearest.at_least_m {
                    *nearest = Clearance { at_least_m: gap, at: pose };
                }
                (pose, passed, step) = (there, next, 2.0 * step);
            } else if step <= motion.finest_step {
                return Err(pose);
            } else {
                step *= 0.5;
            }
            step = step.min(motion.longest_step);
        }
        Ok(())
    }

    /// A lower bound of the distance from the fence while the footprint moves between two poses.
    fn swept_gap(&self, from: Pose, to: Pose, need_m: f64, step: &Step) -> f64 {
        let middle = Point { x: 0.5 * (from.at.x + to.at.x), y: 0.5 * (from.at.y + to.at.y) };
        let radius = self.footprint.reach() + 0.5 * from.distance(&to);
        let swept = self.footprint.between(from, to);
        self.gap(&swept, middle, radius, need_m + step.bulge + 1e-9) - step.bulge
    }

    /// The distance from the fence of a hull that lies within `radius` of a point. Where that is
    /// surely `enough`, any value between may come back.
    fn gap(&self, hull: &Convex, about: Point, radius: f64, enough: f64) -> f64 {
        let near = self.edges.near(about);
        let mut gap = (near.beyond - radius).min(ENOUGH_M);
        for edge in near.edges() {
            if point_to_segment(about, edge) - radius < gap {
                gap = gap.min(hull.distance_to(edge, enough));
                if gap <= 0.0 {
                    return 0.0;
                }
            }
        }
        gap
    }
}

/// Each piece with the pose at which it begins.
fn steps(start: Pose, pieces: &[Piece]) -> impl Iterator<Item = (Pose, &Piece)> {
    pieces.iter().scan(start, |pose, piece| {
        let begin = *pose;
        *pose = piece.end(begin);
        Some((begin, piece))
    })
}

/// The edges of each part, holes included.
fn rings_of(region: &MultiPolygon) -> impl Iterator<Item = Vec<Segment>> + '_ {
    region.0.iter().map(|part| {
        let rings = std::iter::once(part.exterior()).chain(part.interiors());
        rings.flat_map(|ring| ring.lines().map(|line| [line.start, line.end])).collect()
    })
}

/// How the body moves along a piece, per metre of the reference point or per radian on the spot.
struct Motion {
    /// No body point moves faster.
    speed: f64,
    /// No body point's way bends more: the magnitude of its second derivative.
    bend: f64,
    first_step: f64,
    longest_step: f64,
    finest_step: f64,
}

/// What a step of some length adds to its hull.
struct Step {
    bulge: f64,
}

impl Motion {
    fn of(piece: &Piece, reach: f64) -> Self {
        /// Steps are tried no longer than this, metres: their hulls must be cheap to place.
        const LONGEST_M: f64 = 4.0;
        if piece.gear == Gear::Spot {
            let finest_step = num::sqrt(8.0 * FINEST_M / reach).min(4.0 * FINEST_M / reach);
            return Self { speed: reach, bend: reach, first_step: 0.2, longest_step: 0.4, finest_step };
        }
        let curvature = piece.sharpest();
        let change = (piece.curvature_end - piece.curvature_start).abs() / piece.length.max(1e-9);
        let bend = curvature * (1.0 + curvature * reach) + change * reach;
        let turning = (curvature + change * 0.1) * reach;
        Self {
            speed: 1.0 + curvature * reach,
            bend,
            first_step: (0.2 / curvature.max(0.05)).min(LONGEST_M),
            longest_step: (0.4 / curvature.max(0.1)).min(LONGEST_M),
            finest_step: if turning > 0.0 { (4.0 * FINEST_M / turning).min(0.25) } else { 0.25 },
        }
    }

    fn over(&self, step: f64) -> Step {
        Step { bulge: self.bend * step * step / 8.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::{Contains, Distance, Euclidean, LineString, Polygon, polygon};
    use proptest::prelude::*;

    fn pond() -> LineString {
        (0..40)
            .map(|i| num::sin_cos(f64::from(i) * num::PI / 20.0))
            .map(|(sin, cos)| (30.0 + 6.0 * cos, 20.0 + 4.0 * sin))
            .collect()
    }

    /// A field with a notch and a pond.
    fn field() -> MultiPolygon {
        let outline = polygon![(x: 0.0, y: 0.0), (x: 60.0, y: 3.0), (x: 55.0, y: 40.0),
            (x: 35.0, y: 38.0), (x: 30.0, y: 30.0), (x: 22.0, y: 41.0), (x: -5.0, y: 35.0)];
        Polygon::new(outline.exterior().clone(), vec![pond()]).into()
    }

    fn machine() -> Footprint {
        Footprint::around([(2.2, -0.9), (2.2, 0.9), (-0.6, 1.6), (-0.6, -1.6), (-1.4, 0.0)])
    }

    /// The `geo` crate's distance between dense samples is the second opinion.
    fn sampled_clearance(path: &Path, field: &MultiPolygon, footprint: &Footprint, samples: u32) -> f64 {
        let mut least = f64::INFINITY;
        for (start, piece) in path.steps() {
            for i in 0..=samples {
                let pose = piece.pose_after(start, piece.length * f64::from(i) / f64::from(samples));
                let outline = footprint.at(pose);
                let polygon = Polygon::new(outline.corners().to_vec().into(), vec![]);
                if !field.contains(&polygon) {
                    return 0.0;
                }
                let gap = region::rings(field)
                    .map(|ring| Euclidean.distance(&polygon, ring))
                    .fold(f64::INFINITY, f64::min);
                least = least.min(gap);
            }
        }
        least
    }

    fn any_piece() -> impl Strategy<Value = Piece> {
        prop_oneof![
            (0.1..12.0f64, -0.4..0.4f64).prop_map(|(l, k)| Piece::arc(Gear::Forward, l, k)),
            (0.1..12.0f64, -0.4..0.4f64).prop_map(|(l, k)| Piece::arc(Gear::Reverse, l, k)),
            (0.1..20.0f64).prop_map(|l| Piece::straight(Gear::Forward, l)),
            (-3.0..3.0f64).prop_map(Piece::spot),
            (0.5..4.0f64, -0.4..0.4f64, -0.4..0.4f64).prop_map(|(length, from, to)| Piece {
                gear: Gear::Forward,
                length,
                curvature_start: from,
                curvature_end: to
            }),
        ]
    }

    proptest! {
        #[test]
        fn proof_agrees_with_dense_samples(
            x in 0.0..55.0f64, y in 2.0..38.0f64, angle in -3.2..3.2f64,
            pieces in proptest::collection::vec(any_piece(), 1..3), need in 0.0..0.2f64
        ) {
            let (field, footprint) = (field(), machine());
            let space = FreeSpace::new(&field, footprint.clone());
            let path = Path { start: Pose::new(x, y, angle), pieces };
            let sampled = sampled_clearance(&path, &field, &footprint, 150);
            match space.clearance(&path, need) {
                Ok(found) => {
                    prop_assert!(found.at_least_m >= need);
                    prop_assert!(found.at_least_m <= sampled + 1e-6, "{found:?} {sampled}");
                }
                // Samples 3 mm apart miss the nearest place by half of that.
                Err(_) if sampled >= need => {
                    let finely = sampled_clearance(&path, &field, &footprint, 7000);
                    prop_assert!(finely < need + 4.0 * FINEST_M, "{finely} {need}");
                }
                Err(_) => {}
            }
            let whole = space.clearance(&path, need).is_ok();
            let begins = space.clearance_at(path.start).is_some_and(|gap| gap >= need);
            prop_assert_eq!(whole, begins && space.admits(path.start, &path.pieces, need));
        }
    }

    #[test]
    fn a_pole_narrower_than_any_step_is_met() {
        let pole = polygon![(x: 20.0, y: 0.0), (x: 20.01, y: 0.0), (x: 20.0, y: 0.01)];
        let outline =
            polygon![(x: -50.0, y: -50.0), (x: 50.0, y: -50.0), (x: 50.0, y: 50.0), (x: -50.0, y: 50.0)];
        let field = Polygon::new(outline.exterior().clone(), vec![pole.exterior().clone()]);
        let space = FreeSpace::new(&field.into(), machine());
        let over =
            Path { start: Pose::new(0.0, 0.0, 0.0), pieces: vec![Piece::straight(Gear::Forward, 40.0)] };
        let met = space.clearance(&over, 0.0);
        assert!(met.is_err_and(|pose| (13.0..=20.0 - 2.2).contains(&pose.at.x)), "{met:?}");
    }

    #[test]
    fn outside_the_field_and_inside_a_hole_are_not_free() {
        let space = FreeSpace::new(&field(), machine());
        assert_eq!(space.clearance_at(Pose::new(-200.0, 10.0, 0.0)), None);
        assert_eq!(space.clearance_at(Pose::new(30.0, 20.0, 0.0)), None);
        let found = space.clearance_at(Pose::new(10.0, 20.0, 0.0));
        assert!(found.is_some_and(|gap| gap > 0.9), "{found:?}");
    }
}
