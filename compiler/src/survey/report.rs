//! What a survey was read as, in figures, and the clean file that comes of it.
//!
//! In: a surveyed field. Out: its area and perimeter on the ellipsoid (Karney, 2013), and the plain
//! value of the clean file.

use super::{FieldSurvey, ObstacleShape};
use crate::diagnostic::Finding;
use crate::site::Datum;
use geographiclib_rs::{PolygonArea, Winding};
use lanewright_schema::quantity::{Area, GeoPoint, Length};
use lanewright_schema::survey::clean::{CleanField, CleanFile, CleanObstacle, CleanShape};

/// The figures of a surveyed field.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Size {
    /// Geodesic area, holes left out.
    pub area: Area,
    /// Geodesic length of every ring.
    pub perimeter: Length,
}

/// The field's size on its frame's ellipsoid.
pub fn size(field: &FieldSurvey) -> Result<Size, Finding> {
    let geodesic = Datum::of(&field.frame)?.geodesic();
    let ring = |corners: &[GeoPoint]| {
        let mut polygon = PolygonArea::new(&geodesic, Winding::CounterClockwise);
        for corner in corners {
            polygon.add_point(corner.latitude, corner.longitude);
        }
        let (perimeter_m, area_m2, _) = polygon.compute(true);
        (area_m2.abs(), perimeter_m)
    };
    let (mut area_m2, mut perimeter_m) = (0.0, 0.0);
    for part in &field.parts {
        let (outside, around) = ring(&part.exterior);
        area_m2 += outside;
        perimeter_m += around;
        for hole in &part.holes {
            let (inside, around) = ring(hole);
            area_m2 -= inside;
            perimeter_m += around;
        }
    }
    Ok(Size { area: Area::m2(area_m2), perimeter: Length::m(perimeter_m) })
}

/// The clean file of one or more fields in one frame.
pub fn clean_file(fields: &[FieldSurvey]) -> CleanFile {
    let frame = fields.first().map(|field| [field.frame.name.clone(), field.frame.proj.clone()]);
    CleanFile { frame: frame.unwrap_or_default(), fields: fields.iter().map(clean_field).collect() }
}

fn clean_field(field: &FieldSurvey) -> CleanField {
    let obstacles = field.obstacles.iter().map(|obstacle| CleanObstacle {
        name: obstacle.name.clone(),
        shape: match &obstacle.shape {
            ObstacleShape::Circle { centre, radius } => CleanShape::Circle(*centre, radius.to_m()),
            ObstacleShape::Ring(ring) => CleanShape::Ring(ring.clone()),
        },
        clearance_m: obstacle.clearance.map(Length::to_m),
    });
    let part = |part: &crate::check::GeoPolygon| {
        std::iter::once(&part.exterior).chain(&part.holes).cloned().collect()
    };
    CleanField {
        attributes: field.attributes.clone(),
        parts: field.parts.iter().map(part).collect(),
        obstacles: obstacles.collect(),
        entrances: field.entrances.clone(),
    }
}
