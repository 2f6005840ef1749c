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
        Self { outline, reach, core }
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reach_and_core_are_the_outer_and_inner_disc() {
        let machine = Footprint::around([(3.0, -1.0), (3.0, 1.0), (-2.0, 1.0), (-2.0, -1.0), (0.0, 0.5)]);
        assert!((machine.reach() - 10.0f64.sqrt()).abs() < 1e-12);
        assert!((machine.core() - 1.0).abs() < 1e-12);
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
