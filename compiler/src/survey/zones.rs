//! The polygons of a survey with their attributes, as treatment zones are drawn.
//!
//! In: a survey, what the person says of its frame, the frame wanted. Out: each shape that has
//! polygons, in the file's order; of a raster, each number of its cells. Nothing is mended here: zones are ground, and what their rings
//! enclose is found where they are put on the field.

use super::{frame, raster};
use crate::check::{GeoPolygon, ReferenceFrame};
use crate::diagnostic::Finding;
use lanewright_schema::quantity::GeoPoint;
use lanewright_schema::survey::{Geometry, Shape, Survey, Vertex};
use std::borrow::Cow;

/// A shape with polygons.
pub struct SurveyedZone<'s> {
    /// What the file says of it.
    pub shape: Cow<'s, Shape>,
    /// Its polygons; rings are not closed and may cross themselves.
    pub polygons: Vec<GeoPolygon>,
}

/// The shapes with polygons.
pub fn zones<'s>(
    survey: &'s Survey,
    asked_frame: Option<&str>,
    into: Option<&ReferenceFrame>,
    findings: &mut Vec<Finding>,
) -> Result<Vec<SurveyedZone<'s>>, Finding> {
    let drawn = drawn(survey)?;
    let vertices = drawn.iter().flat_map(|shape| polygons(shape).iter().flatten().flatten());
    let sample: Vec<Vertex> = vertices.take(64).cloned().collect();
    if sample.is_empty() {
        return Ok(Vec::new());
    }
    let georeference = frame::georeference(survey, asked_frame, into, &sample, findings)?;
    let ring = |ring: &Vec<Vertex>| -> Result<Vec<GeoPoint>, Finding> {
        let mut places = ring
            .iter()
            .map(|vertex| {
                let bytes = vertex.bytes.start as usize..vertex.bytes.end as usize;
                georeference.place(vertex).ok_or_else(|| super::no_place(vertex, &survey.file, bytes))
            })
            .collect::<Result<Vec<_>, _>>()?;
        if places.len() > 1 && places.first() == places.last() {
            places.pop();
        }
        Ok(places)
    };
    let polygon = |rings: &Vec<Vec<Vertex>>| -> Result<Option<GeoPolygon>, Finding> {
        let mut rings = rings.iter().map(ring).collect::<Result<Vec<_>, _>>()?.into_iter();
        let exterior = rings.next().filter(|exterior| exterior.len() > 2);
        Ok(exterior.map(|exterior| GeoPolygon { exterior, holes: rings.filter(|h| h.len() > 2).collect() }))
    };
    drawn
        .into_iter()
        .map(|shape| {
            let polygons: Vec<Option<GeoPolygon>> =
                polygons(&shape).iter().map(polygon).collect::<Result<_, Finding>>()?;
            Ok(SurveyedZone { shape, polygons: polygons.into_iter().flatten().collect() })
        })
        .collect()
}

/// What is drawn as polygons, and what a raster's cells cover.
fn drawn(survey: &Survey) -> Result<Vec<Cow<'_, Shape>>, Finding> {
    let mut drawn = Vec::new();
    for shape in &survey.shapes {
        match &shape.geometry {
            Geometry::Polygons(_) => drawn.push(Cow::Borrowed(shape)),
            Geometry::Grid(grid) => drawn.extend(raster::shapes(grid)?.into_iter().map(Cow::Owned)),
            Geometry::Line(_) | Geometry::Fixes(_) | Geometry::Point(_) => {}
        }
    }
    Ok(drawn)
}

fn polygons(shape: &Shape) -> &[Vec<Vec<Vertex>>] {
    match &shape.geometry {
        Geometry::Polygons(polygons) => polygons,
        _ => &[],
    }
}
