//! GPX 1.0 and 1.1: tracks and routes as lines, waypoints as points in their order.
//!
//! The segments of a track, between which its receiver lost the signal or was stopped, are one line.
//! GPX knows WGS 84 alone. A waypoint's type is its code; without one its name may begin with it.

use super::{Content, Format, Geometry, Refusal, Shape, StatedFrame, Vertex, xml};
use ::gpx::Waypoint;

/// Reads a GPX text.
pub fn read(text: &str) -> Result<Content, Refusal> {
    let text = text.trim_start_matches('\u{feff}');
    xml::check(text)?;
    let gpx = ::gpx::read(text.as_bytes()).map_err(|error| Refusal::new(format!("is not GPX: {error}")))?;
    let mut shapes = Vec::new();
    for track in gpx.tracks {
        let points: Vec<Waypoint> = track.segments.into_iter().flat_map(|segment| segment.points).collect();
        shapes.extend(line(track.name, &points));
    }
    for route in gpx.routes {
        shapes.extend(line(route.name, &route.points));
    }
    shapes.extend(gpx.waypoints.iter().map(point));
    Ok(Content { format: Format::Gpx, frame: StatedFrame::ByFormat, shapes, oddities: vec![] })
}

fn line(name: Option<String>, points: &[Waypoint]) -> Option<Shape> {
    let attributes = name.map(|name| ("name".to_owned(), name)).into_iter().collect();
    let vertices: Vec<Vertex> = points.iter().map(vertex).collect();
    (!vertices.is_empty()).then_some(Shape { attributes, geometry: Geometry::Line(vertices) })
}

fn point(waypoint: &Waypoint) -> Shape {
    let attributes =
        [("name", &waypoint.name), ("code", &waypoint.type_), ("description", &waypoint.description)];
    let known = attributes.into_iter().filter_map(|(key, value)| Some((key.to_owned(), value.clone()?)));
    Shape { attributes: known.collect(), geometry: Geometry::Point(vertex(waypoint)) }
}

fn vertex(waypoint: &Waypoint) -> Vertex {
    Vertex::new(waypoint.point().x(), waypoint.point().y())
}
