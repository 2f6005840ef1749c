//! The proof that body and antennas never leave the fence.
//!
//! In: the fence and everything that is driven. Out: a clearance that holds in every pose, not
//! only in those looked at. A straight piece is judged exactly, by what each edge of the body
//! sweeps. Elsewhere the piece is halved until the clearance in the middle pose exceeds what any
//! point of the body can move from there to the ends of the part (a Lipschitz bound from the
//! speed of the body's corners, which no other point of it exceeds).
//!
//! The body is the outline as the job gives it, not its hull, and an antenna beside it is a point.
//! What touches no edge of the fence in any pose, and began inside, has stayed inside.

use crate::check::Machine;
use crate::geometry::{Gear, Path, Piece, Point, Pose};
use crate::num;
use geo::MultiPolygon;
use rstar::{AABB, RTree, RTreeObject};

/// How much the proven clearance may lie below the true one, metres.
pub const PROOF_M: f64 = 0.001;
/// Clearances are not told apart beyond this, metres.
const ENOUGH_M: f64 = 1.0;
/// Pieces are taken in parts of at most this length, metres or radians.
const PART: f64 = 5.0;
const STRAIGHT_PART_M: f64 = 20.0;

/// A clearance and where it was met.
#[derive(Copy, Clone, Debug, PartialEq)]
pub(super) struct Clearance {
    pub metres: f64,
    pub place: Point,
}

/// An edge of the fence.
#[derive(Copy, Clone, Debug)]
struct Wall([Point; 2]);

impl RTreeObject for Wall {
    type Envelope = AABB<[f64; 2]>;
    fn envelope(&self) -> Self::Envelope {
        let [a, b] = self.0;
        AABB::from_corners([a.x, a.y], [b.x, b.y])
    }
}

/// The fence, and the body that must stay inside.
pub(super) struct Fence {
    walls: RTree<Wall>,
    /// Corners of the body, metres forward and to the left.
    body: Vec<Point>,
    /// Antennas, likewise.
    antennas: Vec<Point>,
    reach: f64,
}

impl Fence {
    pub(super) fn new(fence: &MultiPolygon, machine: &Machine) -> Self {
        let rings = fence.iter().flat_map(|part| std::iter::once(part.exterior()).chain(part.interiors()));
        let walls = rings.flat_map(|ring| ring.0.windows(2).map(|pair| Wall([pair[0], pair[1]])));
        let left = |p: &crate::check::BodyPoint| Point { x: p.forward.to_m(), y: -p.right.to_m() };
        let body: Vec<Point> = machine.body.iter().map(left).collect();
        let antennas: Vec<Point> = machine.antennas.iter().map(left).collect();
        let reach = body.iter().chain(&antennas).fold(0.0_f64, |far, p| far.max(num::hypot(p.x, p.y)));
        Self { walls: RTree::bulk_load(walls.collect()), body, antennas, reach }
    }

    /// The clearance at a pose, at most [`ENOUGH_M`].
    pub(super) fn at(&self, pose: Pose) -> Clearance {
        let walls = self.near(pose.at, pose.at);
        Clearance { metres: self.clearance(pose, &walls), place: pose.at }
    }

    /// The smallest clearance along a path, or the one that is already known if that is smaller; zero where
    /// the path is not inside. What is known spares a closer look wherever there is more room.
    pub(super) fn along(&self, path: &Path, known: Clearance) -> Clearance {
        let mut smallest = known;
        if !self.holds(path.start) {
            return Clearance { metres: 0.0, place: path.start.at };
        }
        let mut pose = path.start;
        for piece in &path.pieces {
            let straight = piece.gear != Gear::Spot && piece.sharpest() < 1e-12;
            let longest = if straight { STRAIGHT_PART_M } else { PART };
            let parts = (piece.length.abs() / longest).ceil().max(1.0);
            let step = piece.length / parts;
            for part in 0..parts as usize {
                let (from, to) = (part as f64 * step, (part + 1) as f64 * step);
                if straight {
                    self.sweep(piece.pose_after(pose, from), piece.pose_after(pose, to), &mut smallest);
                } else {
                    self.bisect_part(pose, piece, from, to, &mut smallest);
                }
            }
            pose = piece.end(pose);
        }
        smallest
    }

    /// Whether the body stands inside the fence at a pose that touches no wall.
    fn holds(&self, pose: Pose) -> bool {
        let corners = self.body_at(pose);
        let inside = corners.iter().chain(&self.antennas_at(pose)).all(|&corner| self.encloses(corner));
        let near = self.near(pose.at, pose.at);
        inside && !near.iter().any(|wall| wall.0.iter().any(|&end| is_inside(end, &corners)))
    }

    /// A ray to the east crosses the fence an odd number of times.
    fn encloses(&self, point: Point) -> bool {
        let ray = AABB::from_corners([point.x, point.y], [f64::MAX, point.y]);
        let crossed = self.walls.locate_in_envelope_intersecting(&ray);
        crossed.filter(|wall| is_east_of(point, wall.0)).count() % 2 == 1
    }

    /// The walls that matter while the reference point is in the box of two points.
    fn near(&self, a: Point, b: Point) -> Vec<Wall> {
        let grow = self.reach + ENOUGH_M;
        let low = [a.x.min(b.x) - grow, a.y.min(b.y) - grow];
        let high = [a.x.max(b.x) + grow, a.y.max(b.y) + grow];
        self.walls.locate_in_envelope_intersecting(&AABB::from_corners(low, high)).copied().collect()
    }

    fn body_at(&self, pose: Pose) -> Vec<Point> {
        placed(&self.body, pose)
    }

    fn antennas_at(&self, pose: Pose) -> Vec<Point> {
        placed(&self.antennas, pose)
    }

    /// A straight move, exactly.
    fn sweep(&self, from: Pose, to: Pose, smallest: &mut Clearance) {
        let walls = self.near(from.at, to.at);
        let (body, there) = (self.body_at(from), self.body_at(to));
        let antennas: Vec<[Point; 2]> =
            self.antennas_at(from).into_iter().zip(self.antennas_at(to)).map(|(a, b)| [a, b]).collect();
        for wall in walls {
            if between(wall.0, [from.at, to.at]) - self.reach >= smallest.metres {
                continue;
            }
            for k in 0..body.len() {
                let next = (k + 1) % body.len();
                let swept = [body[k], body[next], there[next], there[k]];
                let gap = if wall.0.iter().any(|&end| is_inside(end, &swept)) {
                    0.0
                } else {
                    (0..4).map(|i| between(wall.0, [swept[i], swept[(i + 1) % 4]])).fold(f64::MAX, f64::min)
                };
                smallest.note(gap, from.at);
            }
            for &way in &antennas {
                smallest.note(between(wall.0, way), from.at);
            }
        }
    }

    /// A part of a piece that is no straight.
    fn bisect_part(&self, start: Pose, piece: &Piece, from: f64, to: f64, smallest: &mut Clearance) {
        let middle = piece.pose_after(start, 0.5 * (from + to));
        let half = if piece.gear == Gear::Spot { 0.0 } else { 0.5 * (to - from).abs() };
        let corner = |side: f64| Point { x: middle.at.x + side * half, y: middle.at.y + side * half };
        let walls = self.near(corner(-1.0), corner(1.0));
        if walls.is_empty() {
            return;
        }
        let speed = self.speed(piece);
        let mut open = vec![(from, to)];
        while let Some((from, to)) = open.pop() {
            let middle = 0.5 * (from + to);
            let pose = piece.pose_after(start, middle);
            let gap = self.clearance(pose, &walls);
            smallest.note(gap, pose.at);
            let moved = 0.5 * (to - from).abs() * speed;
            if gap <= 0.0 {
                return;
            }
            if gap - moved < smallest.metres - PROOF_M && moved > PROOF_M {
                open.push((middle, to));
                open.push((from, middle));
            }
        }
    }

    /// The farthest that a point of the machine moves per metre of the piece, or per radian.
    fn speed(&self, piece: &Piece) -> f64 {
        let points = self.body.iter().chain(&self.antennas);
        if piece.gear == Gear::Spot {
            return points.fold(0.0, |far: f64, p| far.max(num::hypot(p.x, p.y)));
        }
        let curvatures = [piece.curvature_start, piece.curvature_end];
        let speeds = points.flat_map(|p| curvatures.map(|k| num::hypot(1.0 - k * p.y, k * p.x)));
        speeds.fold(0.0, f64::max)
    }

    /// Distance of body and antennas from the walls.
    fn clearance(&self, pose: Pose, walls: &[Wall]) -> f64 {
        let (body, antennas) = (self.body_at(pose), self.antennas_at(pose));
        let mut least = ENOUGH_M;
        for wall in walls {
            if from_point(pose.at, wall.0) - self.reach >= least {
                continue;
            }
            for k in 0..body.len() {
                least = least.min(between(wall.0, [body[k], body[(k + 1) % body.len()]]));
            }
            for &antenna in &antennas {
                least = least.min(from_point(antenna, wall.0));
            }
        }
        least
    }
}

impl Clearance {
    fn note(&mut self, metres: f64, place: Point) {
        if metres < self.metres {
            *self = Self { metres, place };
        }
    }
}

fn placed(points: &[Point], pose: Pose) -> Vec<Point> {
    let (sin, cos) = num::sin_cos(pose.angle);
    let place =
        |p: &Point| Point { x: pose.at.x + p.x * cos - p.y * sin, y: pose.at.y + p.x * sin + p.y * cos };
    points.iter().map(place).collect()
}

/// Distance between two segments, zero where they meet.
pub(super) fn between(a: [Point; 2], b: [Point; 2]) -> f64 {
    if meet(a, b) {
        return 0.0;
    }
    let ends = [from_point(a[0], b), from_point(a[1], b), from_point(b[0], a), from_point(b[1], a)];
    ends.into_iter().fold(f64::MAX, f64::min)
}

/// Distance of a point from a segment.
pub(super) fn from_point(point: Point, [a, b]: [Point; 2]) -> f64 {
    let (east, north) = (b.x - a.x, b.y - a.y);
    let square = east * east + north * north;
    let share = if square > 0.0 {
        (((point.x - a.x) * east + (point.y - a.y) * north) / square).clamp(0.0, 1.0)
    } else {
        0.0
    };
    num::hypot(point.x - a.x - share * east, point.y - a.y - share * north)
}

/// Twice the signed area of the triangle, positive where `c` lies to the left of `a` → `b`.
fn side(a: Point, b: Point, c: Point) -> f64 {
    (b.x - a.x) * (c.y - a.y) - (b.y - a.y) * (c.x - a.x)
}

/// Whether two segments cross; touching ends are left to the distances.
fn meet(a: [Point; 2], b: [Point; 2]) -> bool {
    let straddles = |s: [Point; 2], t: [Point; 2]| side(s[0], s[1], t[0]) * side(s[0], s[1], t[1]) < 0.0;
    straddles(a, b) && straddles(b, a)
}

fn is_east_of(point: Point, [a, b]: [Point; 2]) -> bool {
    (a.y > point.y) != (b.y > point.y) && {
        let east = a.x + (point.y - a.y) / (b.y - a.y) * (b.x - a.x);
        east > point.x
    }
}

/// Whether a point lies inside a ring, by the parity of crossings.
pub(super) fn is_inside(point: Point, ring: &[Point]) -> bool {
    let crossed = (0..ring.len()).filter(|&k| is_east_of(point, [ring[k], ring[(k + 1) % ring.len()]]));
    crossed.count() % 2 == 1
}
