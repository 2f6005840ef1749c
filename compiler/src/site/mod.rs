//! The field in metres: the frame, the soil to work, the fence, the keep-outs.

use crate::geometry::Point;
use geo::MultiPolygon;
use lanewright_schema::quantity::{Area, GeoPoint, Length};

pub mod frame;

pub use frame::FieldFrame;

/// The whole job on the ground, in one frame.
#[derive(Clone, Debug)]
pub struct Site {
    /// The frame of every metre below.
    pub frame: FieldFrame,
    /// The fields, in the job's order.
    pub fields: Vec<FieldSite>,
    /// The base station seen from the fields.
    pub baseline: Option<Baseline>,
}

/// One field on the ground.
#[derive(Clone, Debug)]
pub struct FieldSite {
    /// Its name, unique in the job.
    pub name: String,
    /// As surveyed, holes included.
    pub boundary: MultiPolygon,
    /// Where body and antennas may be: the boundary less its margin, less the grown keep-outs.
    pub fence: MultiPolygon,
    /// The keep-outs.
    pub keep_outs: Vec<SiteKeepOut>,
    /// Where the machine starts and ends.
    pub home: Option<Point>,
    /// The ways in.
    pub entrances: Vec<(String, Point)>,
    /// Area and perimeter by two independent roads.
    pub size: FieldSize,
}

/// A keep-out on the ground.
#[derive(Clone, Debug)]
pub struct SiteKeepOut {
    /// Its name.
    pub name: String,
    /// The thing itself.
    pub shape: MultiPolygon,
    /// The thing grown by its clearance.
    pub grown: MultiPolygon,
    /// The clearance.
    pub clearance: Length,
}

/// Area and perimeter, on the ellipsoid and in the plane.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct FieldSize {
    /// Geodesic area.
    pub geodesic_area: Area,
    /// Area in the field frame.
    pub plane_area: Area,
    /// Geodesic perimeter, holes included.
    pub geodesic_perimeter: Length,
    /// Perimeter in the field frame.
    pub plane_perimeter: Length,
}

/// The line from the base station to the fields.
#[derive(Clone, Debug, PartialEq)]
pub struct Baseline {
    /// The base station's name.
    pub name: String,
    /// Where it stands, in the output's frame.
    pub at: GeoPoint,
    /// Its height above the ellipsoid.
    pub height: Length,
    /// Geodesic distance to the farthest corner.
    pub length: Length,
    /// Expected horizontal 1-sigma there: 8 mm + 1 ppm.
    pub sigma: Length,
}
