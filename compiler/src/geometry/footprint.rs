//! The ground that a machine stands on: the convex hull of its body and all that sticks out.
//!
//! In: body points, metres forward and to the right of the reference point. Out: the hull on the
//! ground at a pose, and the hull of two poses, from which the swept area is enclosed. The hull
//! is never smaller than the body, so what is proven for it holds for the body.

use super::convex::{Convex, point_to_segment};
use super::{Point, Pose};
use crate::num;

/// A convex outline fixed to the body.
#[derive(Clone, Debug, PartialEq)]
pub struct Footprint {
    /// Metres forward (x) and to the left (y) of the reference point.
    outline: Convex,
    reach: f64,
    core: f64,
    inner: InnerDisc,
}

/// The largest disc inside a footprint.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct InnerDisc {
    /// Its centre, metres forward and to the right of the reference point.
    pub centre: (f64, f64),
    /// Its radius, metres.
    pub radius_m: f64,
}

impl Footprint {
    /// The hull of body points, (metres forward, metres to the right); at least one.
    pub fn around(points: impl IntoIterator<Item = (f64, f64)>) -> Self {
        let points = points.into_iter().map(|(forward, right)| Point { x: forward, y: -right });
        let outline = Convex::hull(points.collect());
        let origin = Point { x: 0.0, y: 0.0 };
        let reach = outline.corners().iter().fold(0.0f64, |far, p| far.max(num::hypot(p.x, p.y)));
        let holds_origin =
            outline.corners().len() > 2 && outline.distance_to([origin, origin], f64::INFINITY) <= 0.0;
        let core = if holds_origin {
            outline.edges().map(|edge| point_to_segment(origin, edge)).fold(reach, f64::min)
        } else {
            0.0
        };
        let inner = inner_disc(&outline);
        Self { outline, reach, core, inner }
    }

    /// The farthest that any of it lies from the reference point, metres.
    pub const fn reach(&self) -> f64 {
        self.reach
    }

    /// The radius of the largest disc about the reference point inside it, metres; zero where the
    /// reference point lies outside.
    pub const fn core(&self) -> f64 {
        self.core
    }

    /// The largest disc inside it, wherever its centre.
    pub const fn inner_disc(&self) -> InnerDisc {
        self.inner
    }

    /// Its corners on the ground, counter-clockwise.
    pub fn corners_at(&self, pose: Pose) -> impl Iterator<Item = Point> + '_ {
        let (sin, cos) = num::sin_cos(pose.angle);
        self.outline.corners().iter().map(move |corner| Point {
            x: pose.at.x + corner.x * cos - corner.y * sin,
            y: pose.at.y + corner.x * sin + corner.y * cos,
        })
    }

    /// Its outline on the ground.
    pub fn at(&self, pose: Pose) -> Convex {
        Convex::hull(self.corners_at(pose).collect())
    }

    /// The hull of its outlines at two poses: the swept area of a straight move between them.
    pub fn between(&self, from: Pose, to: Pose) -> Convex {
        Convex::hull(self.corners_at(from).chain(self.corners_at(to)).collect())
    }
}

/// The depth below the nearest edge is a concave function of the place, so a search by thirds
/// along one axis of a search by thirds along the other finds its greatest value.
fn inner_disc(outline: &Convex) -> InnerDisc {
    let spread = |of: fn(&Point) -> f64| {
        let values = outline.corners().iter().map(of);
        values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)))
    };
    let depth = |x: f64, y: f64| {
        outline.edges().map(|[from, to]| left_of(Point { x, y }, from, to)).fold(f64::INFINITY, f64::min)
    };
    let across = |x: f64| greatest(spread(|p| p.y), |y| depth(x, y));
    let (x, _) = greatest(spread(|p| p.x), |x| across(x).1);
    let (y, radius) = across(x);
    let radius_m = if radius.is_finite() { radius.max(0.0) } else { 0.0 };
    InnerDisc { centre: (x, -y), radius_m }
}

/// Where a concave function is greatest on an interval, and its value there.
fn greatest((mut low, mut high): (f64, f64), value: impl Fn(f64) -> f64) -> (f64, f64) {
    /// Each leaves two thirds: enough for a millionth of a machine's length.
    const THIRDS: u32 = 40;
    for _ in 0..THIRDS {
        let third = (high - low) / 3.0;
        if value(low + third) < value(high - third) {
            low += third;
        } else {
            high -= third;
        }
    }
    let middle = 0.5 * (low + high);
    (middle, value(middle))
}

/// Metres that a point lies to the left of a line.
fn left_of(point: Point, from: Point, to: Point) -> f64 {
    let (along_x, along_y) = (to.x - from.x, to.y - from.y);
    let length = num::hypot(along_x, along_y);
    (along_x * (point.y - from.y) - along_y * (point.x - from.x)) / length
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reach_and_core_are_the_outer_and_inner_disc() {
        let machine = Footprint::around([(3.0, -1.0), (3.0, 1.0), (-2.0, 1.0), (-2.0, -1.0), (0.0, 0.5)]);
        assert!((machine.reach() - 10.0f64.sqrt()).abs() < 1e-12);
        assert!((machine.core() - 1.0).abs() < 1e-12);
        let inner = machine.inner_disc();
        assert!((inner.radius_m - 1.0).abs() < 1e-5 && inner.centre.1.abs() < 1e-5, "{inner:?}");
        let towed = Footprint::around([(-1.0, -1.0), (-1.0, 1.0), (-2.0, 0.0)]);
        assert!(towed.core() < 1e-12);
    }

    #[test]
    fn right_of_a_machine_that_looks_north_is_east() {
        let machine = Footprint::around([(0.0, 2.0), (1.0, 2.0), (1.0, 3.0)]);
        let ground = machine.at(Pose::new(10.0, 10.0, num::PI / 2.0));
        assert!(ground.corners().iter().all(|p| p.x > 11.9 && p.y > 9.9));
    }
}
