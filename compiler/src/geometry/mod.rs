//! Plane geometry that knows no stage and no job word. Points are metres in the field frame
//! (x east, y north), angles are radians counter-clockwise from east.
//!
//! Compass headings become angles here and nowhere else: [`angle_of_heading`],
//! [`heading_of_angle`].

pub mod band;
pub mod cells;
pub mod convex;
pub mod corner;
pub mod curve;
pub mod fillet;
pub mod footprint;
pub mod interval;
pub mod lattice;
pub mod path;
pub mod region;
pub mod strip;

pub use cells::Cells;
pub use curve::Curve;
pub use footprint::Footprint;
pub use path::{Gear, Path, Piece, Pose};

use crate::num;
use lanewright_schema::quantity::Heading;

/// Ground metres in the field frame, x east, y north.
pub type Point = geo::Coord<f64>;

/// The cross product of two vectors: positive where the second points to the left of the first.
pub fn cross(a: Point, b: Point) -> f64 {
    a.x * b.y - a.y * b.x
}

/// Metres between two points.
pub fn distance(a: Point, b: Point) -> f64 {
    num::hypot(b.x - a.x, b.y - a.y)
}

/// The angle, radians counter-clockwise from east, at which `b` lies from `a`.
pub fn direction(a: Point, b: Point) -> f64 {
    num::atan2(b.y - a.y, b.x - a.x)
}

/// The vector of length one at an angle, radians counter-clockwise from east.
pub fn unit(angle: f64) -> Point {
    let (sin, cos) = num::sin_cos(angle);
    Point { x: cos, y: sin }
}

/// The angle, radians counter-clockwise from east, in `(-π, π]`, of a compass heading.
pub fn angle_of_heading(heading: Heading) -> f64 {
    num::wrap_angle((90.0 - heading.to_degrees()).to_radians())
}

/// The compass heading of an angle in radians counter-clockwise from east.
pub fn heading_of_angle(angle: f64) -> Heading {
    Heading::degrees(90.0 - angle.to_degrees())
}
