//! Room for the outermost lap: as near to the fence as the body passes along it, and farther in only
//! where the way turns.
//!
//! While a machine turns away from a fence or into line with it, the ends of its body swing out. A
//! way that makes an angle `ψ` with a straight fence must keep `h cos ψ + f sin ψ` from it, `h` being
//! the body's half width and `f` its reach ahead or behind. A way that keeps just that follows
//! `ds = -(f cot ψ - h) dψ`, so that it has the curvature `1 / (f cot ψ - h)`: a tractrix, widened by
//! the half width. It is as tight as a radius `r` at `tan ψ = f / (r + h)`; from there on the way is an
//! arc. (Own derivation.)

use super::toolbar::Toolbar;
use crate::geometry::corner::{Corner, corners};
use crate::geometry::{Point, cross, distance, region, unit};
use crate::num;
use geo::{LineString, MultiPolygon, Polygon, Simplify};

/// Corners that turn inwards are looked for on an outline simplified by this much, metres.
const OUTLINE_M: f64 = 0.02;

/// Hollow corners, and those that are to be square, are looked for on an outline simplified by this much,
/// metres.
pub(super) const COARSE_OUTLINE_M: f64 = 0.3;

/// A way is beside the fence where it leaves it by less, metres.
const BESIDE_M: f64 = 0.005;

/// Corners that turn by less are straight on, radians.
const STRAIGHT_ON: f64 = 0.005;

/// Wedges that turn by more are spikes that no way enters, radians.
const SPIKE: f64 = 3.0;

/// Edges farther apart than so many reaches do not bear on one turn.
const WINDOW: f64 = 3.0;

/// Heading from one point of a course to the next, radians.
const STEP: f64 = 0.08;

/// What the outermost lap needs beside a fence.
#[derive(Copy, Clone, Debug)]
pub struct Easing {
    /// Distance of the way from a fence that it runs along.
    pub beside: f64,
    /// Radius of the way's corners.
    pub radius: f64,
    half_width: f64,
    reach: f64,
}

/// An edge of a ring, its region to the left.
#[derive(Copy, Clone)]
struct Edge {
    from: Point,
    to: Point,
}

impl Edge {
    fn length(&self) -> f64 {
        distance(self.from, self.to)
    }

    fn forward(&self) -> Point {
        (self.to - self.from) / self.length()
    }
}

/// A fence line with its origin: places on it by how far back along it and how far inside.
#[derive(Copy, Clone)]
struct Beside {
    origin: Point,
    back: Point,
    inward: Point,
}

impl Beside {
    /// Of an edge that leads to the origin.
    fn before(origin: Point, forward: Point) -> Self {
        Self { origin, back: -forward, inward: left_of(forward) }
    }

    /// Of an edge that leads away from it.
    fn after(origin: Point, forward: Point) -> Self {
        Self { origin, back: forward, inward: left_of(forward) }
    }

    fn place(&self, [back, inside]: [f64; 2]) -> Point {
        self.origin + self.back * back + self.inward * inside
    }
}

impl Easing {
    /// For a tool bar's body, with this to spare beside a straight fence.
    pub fn new(toolbar: &Toolbar, radius: f64, spare: f64) -> Self {
        let half_width = toolbar.left().max(toolbar.right());
        let reach = toolbar.body.iter().map(|corner| corner.0.abs()).fold(0.0, f64::max);
        let beside = half_width.max(toolbar.width / 2.0) + spare;
        Self { beside, radius, half_width, reach }
    }

    /// Where the way may run, up to the square corners as if the fence went straight on there.
    pub fn room(&self, fence: &MultiPolygon, square: &[Point]) -> MultiPolygon {
        let beside = region::inset(fence, self.beside);
        let mut shut: Vec<Polygon> = Vec::new();
        for ring in region::rings(fence) {
            shut.extend(self.turns(&ring.simplify(OUTLINE_M), square));
            if self.beside < self.radius {
                shut.extend(self.hollows(&ring.simplify(COARSE_OUTLINE_M)));
            }
        }
        region::difference(&beside, &region::union_all(&shut))
    }

    /// What turns from one edge into another must leave, for every two edges near each other that no
    /// square corner parts.
    fn turns(&self, ring: &LineString, square: &[Point]) -> Vec<Polygon> {
        let edges: Vec<Edge> = ring.lines().map(|line| Edge { from: line.start, to: line.end }).collect();
        let turns: Vec<f64> = corners(ring).iter().map(Corner::turn).collect();
        let count = edges.len();
        let mut shut = Vec::new();
        for first in 0..count {
            let (mut turn, mut between) = (0.0, 0.0);
            for step in 1..count {
                let second = (first + step) % count;
                if square.contains(&edges[second].from) {
                    break;
                }
                turn += turns[second];
                if (STRAIGHT_ON..SPIKE).contains(&turn) {
                    shut.extend(self.turn([edges[first], edges[second]], turn));
                }
                between += edges[second].length();
                if between > WINDOW * self.reach {
                    break;
                }
            }
        }
        shut
    }

    /// What a turn from one edge into another leaves between its course and the wedge's corner.
    fn turn(&self, [first, second]: [Edge; 2], turn: f64) -> Option<Polygon> {
        let (into, out) = (first.forward(), second.forward());
        let ahead = cross(second.from - first.to, out) / cross(into, out);
        let behind = cross(second.from - first.to, into) / cross(into, out);
        if ahead < -OUTLINE_M || behind > OUTLINE_M {
            return None;
        }
        let apex = first.to + into * ahead;
        let middle = self.aside(turn / 2.0) * num::tan(turn / 2.0);
        let flank = |beside, length| self.flank(beside, turn / 2.0, middle, length);
        let before = flank(Beside::before(apex, into), distance(first.from, apex));
        let after = flank(Beside::after(apex, out), distance(apex, second.to));
        let around = after.into_iter().rev().chain(before).chain([apex]);
        Some(Polygon::new(around.collect(), Vec::new()))
    }

    /// What ways round the hollow corners of a ring must leave.
    fn hollows(&self, ring: &LineString) -> Vec<Polygon> {
        let sharp = 2.0 * num::acos(self.radius / (self.radius + self.beside - self.half_width));
        let corners = corners(ring);
        let count = corners.len();
        let length = |i: usize| distance(corners[i % count].at, corners[(i + 1) % count].at);
        (0..count)
            .filter(|&i| corners[i].turn() < -sharp)
            .flat_map(|i| self.hollow(&corners[i], [length(i + count - 1), length(i)]))
            .collect()
    }

    /// A disc of the way's radius that covers the corner as deep as a fence line is, and the courses
    /// that leave the fence on either side of it.
    fn hollow(&self, corner: &Corner, lengths: [f64; 2]) -> Vec<Polygon> {
        let half = corner.turn().abs() / 2.0;
        let behind = self.radius - self.beside;
        let [into, out] = [corner.incoming, corner.outgoing].map(unit);
        let centre = corner.at - unit(corner.incoming - half + num::PI / 2.0) * behind;
        let leaving = self.leaving(-behind * num::cos(half));
        let from = behind * num::sin(half) + self.radius * num::sin(leaving);
        let sides =
            [(Beside::before(corner.at, into), lengths[0]), (Beside::after(corner.at, out), lengths[1])];
        let flanks = sides.into_iter().filter(|(_, length)| from < *length).map(|(side, length)| {
            let foot = side.place([from, 0.0]);
            let ring = self.flank(side, leaving, from, length).into_iter().chain([foot]);
            Polygon::new(ring.collect(), Vec::new())
        });
        flanks.chain([disc(centre, self.radius)]).collect()
    }

    /// The heading at which a course that leaves a fence meets a disc of the radius so that both run on
    /// in line; the disc's centre lies so far inside the fence.
    fn leaving(&self, centre: f64) -> f64 {
        let (mut low, mut high) = (0.0, num::PI / 2.0);
        for _ in 0..40 {
            let heading = f64::midpoint(low, high);
            if self.aside(heading) < centre + self.radius * num::cos(heading) {
                low = heading;
            } else {
                high = heading;
            }
        }
        low
    }

    /// Beside a fence line: from the course's point at this heading, so far back, to where the course
    /// runs along the fence or the fence ends, and down to the fence.
    fn flank(&self, beside: Beside, heading: f64, back: f64, length: f64) -> Vec<Point> {
        let mut flank: Vec<[f64; 2]> = Vec::new();
        for [along, aside] in self.course(heading) {
            let next = [back + along, aside];
            match flank.last() {
                Some(&last) if next[0] > length => {
                    let share = ((length - last[0]) / (next[0] - last[0])).clamp(0.0, 1.0);
                    flank
                        .push([last[0] + share * (next[0] - last[0]), last[1] + share * (next[1] - last[1])]);
                    break;
                }
                _ => flank.push(next),
            }
        }
        let far = flank.last().map(|last| [last[0].min(length), 0.0]);
        flank.into_iter().chain(far).map(|place| beside.place(place)).collect()
    }

    /// The course beside a straight fence from where it heads into the field at an angle back to where
    /// it runs along the fence: how far back, and how far from the fence.
    fn course(&self, heading: f64) -> Vec<[f64; 2]> {
        let tightest = self.tightest();
        let arc = |at: f64| [self.radius * (num::sin(heading) - num::sin(at)), self.aside(at)];
        let steps = ((heading - tightest) / STEP).ceil().max(0.0) as u32;
        let mut course: Vec<[f64; 2]> = (0..steps)
            .map(|step| arc(heading - (heading - tightest) * f64::from(step) / f64::from(steps)))
            .collect();
        let first = heading.min(tightest);
        let start = arc(first)[0];
        let tractrix = |at: f64| {
            self.reach * (num::log(num::tan(at / 2.0)) + num::cos(at)) - self.half_width * num::sin(at)
        };
        let mut at = first;
        loop {
            course.push([start + tractrix(first) - tractrix(at), self.aside(at)]);
            if self.aside(at) - self.beside < BESIDE_M {
                return course;
            }
            at *= 0.75;
        }
    }

    /// How far from a fence a course is where it makes this angle with it.
    fn aside(&self, heading: f64) -> f64 {
        let tightest = self.tightest();
        let body = heading.min(tightest);
        let swing = self.half_width * (num::cos(body) - 1.0) + self.reach * num::sin(body);
        self.beside + swing + self.radius * (num::cos(body) - num::cos(heading))
    }

    /// The heading from which on the course is an arc.
    fn tightest(&self) -> f64 {
        num::atan2(self.reach, self.radius + self.half_width)
    }
}

fn left_of(forward: Point) -> Point {
    Point { x: -forward.y, y: forward.x }
}

fn disc(centre: Point, radius: f64) -> Polygon {
    const CORNERS: u32 = 96;
    let corner = |i: u32| centre + unit(f64::from(i) * 2.0 * num::PI / f64::from(CORNERS)) * radius;
    Polygon::new(LineString((0..CORNERS).map(corner).collect()), Vec::new())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Pose;
    use crate::site::example;
    use geo::polygon;

    fn easing() -> Easing {
        let toolbar = Toolbar::new(&example::machine());
        Easing::new(&toolbar, 1.3 * toolbar.turning_radius, 0.03)
    }

    /// At every point of a course the body that heads along it comes as near to the fence as it does
    /// beside it, no nearer, until the course is an arc.
    #[test]
    fn a_body_on_the_course_just_clears_the_fence() {
        let easing = easing();
        let corners = [-1.0, 1.0].map(|end| [end * easing.reach, easing.half_width]);
        let course = easing.course(num::PI / 2.0);
        assert!(course.len() > 20);
        for pair in course.windows(2) {
            let ([back, aside], [next_back, next_aside]) = (pair[0], pair[1]);
            assert!(next_back > back && next_aside <= aside, "{pair:?}");
            let middle = [f64::midpoint(back, next_back), f64::midpoint(aside, next_aside)];
            let heading = num::atan2(aside - next_aside, next_back - back);
            let nearest = corners
                .iter()
                .map(|&[forward, right]| Pose::new(-middle[0], middle[1], heading).ground(forward, right).y)
                .fold(f64::INFINITY, f64::min);
            let spare = easing.beside - easing.half_width;
            assert!(nearest > spare - 0.005, "{nearest} at {middle:?}");
            if heading < easing.tightest() {
                assert!(nearest < spare + 0.02, "{nearest} at {middle:?}");
            }
        }
    }

    #[test]
    fn beside_a_straight_fence_the_room_is_as_wide_as_the_body_leaves_it() {
        let fence: MultiPolygon =
            polygon![(x: 0.0, y: 0.0), (x: 90.0, y: 0.0), (x: 90.0, y: 90.0), (x: 0.0, y: 90.0)].into();
        let room = easing().room(&fence, &[]);
        for (inside_m, is_room) in [(1e-3, true), (-1e-3, false)] {
            let place = Point { x: 45.0, y: easing().beside + inside_m };
            assert_eq!(region::contains(&room, place), is_room);
        }
    }
}
