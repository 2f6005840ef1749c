//! KML (OGC 12-007r2): placemarks with polygons, lines and points, in folders of any depth.
//!
//! KML knows WGS 84 alone. Names and extended data become attributes, the folder's name too. Not
//! read: links to other places, tours, tracks with times.

use super::{Content, Format, Geometry, Refusal, Shape, StatedFrame, Vertex, xml};
use ::kml::types::{Coord, Element, Geometry as KmlGeometry, LinearRing, Placemark};
use ::kml::{Kml, KmlReader};

/// Reads a KML text.
pub fn read(text: &str) -> Result<Content, Refusal> {
    let text = text.trim_start_matches('\u{feff}');
    xml::check(text)?;
    let root: Kml<f64> = KmlReader::<_, f64>::from_string(text)
        .read()
        .map_err(|error| Refusal::new(format!("is not KML: {error}")))?;
    let mut shapes = Vec::new();
    let mut links = 0;
    gather(root, None, &mut shapes, &mut links);
    let oddities = match links {
        0 => vec![],
        1 => vec!["1 link to another file is not followed".to_owned()],
        many => vec![format!("{many} links to other files are not followed")],
    };
    Ok(Content { format: Format::Kml, frame: StatedFrame::ByFormat, shapes, oddities })
}

fn gather(node: Kml<f64>, folder: Option<&str>, shapes: &mut Vec<Shape>, links: &mut usize) {
    match node {
        Kml::KmlDocument(document) => {
            for inner in document.elements {
                gather(inner, folder, shapes, links);
            }
        }
        Kml::Document { elements, .. } => {
            for inner in elements {
                gather(inner, folder, shapes, links);
            }
        }
        Kml::Folder(inside) => {
            let name = inside.name.as_deref().map(str::trim).filter(|name| !name.is_empty()).or(folder);
            for inner in inside.elements {
                gather(inner, name, shapes, links);
            }
        }
        Kml::Placemark(placemark) => place(placemark, folder, shapes),
        Kml::Element(element) if element.name == "NetworkLink" => *links += 1,
        bare => {
            if let Some(geometry) = bare_geometry(bare) {
                shapes.extend(
                    split(geometry).into_iter().map(|geometry| Shape { attributes: vec![], geometry }),
                );
            }
        }
    }
}

fn bare_geometry(node: Kml<f64>) -> Option<KmlGeometry<f64>> {
    Some(match node {
        Kml::Polygon(polygon) => KmlGeometry::Polygon(polygon),
        Kml::LineString(line) => KmlGeometry::LineString(line),
        Kml::LinearRing(ring) => KmlGeometry::LinearRing(ring),
        Kml::Point(point) => KmlGeometry::Point(point),
        Kml::MultiGeometry(many) => KmlGeometry::MultiGeometry(many),
        _ => return None,
    })
}

fn place(placemark: Placemark<f64>, folder: Option<&str>, shapes: &mut Vec<Shape>) {
    let mut attributes: Vec<(String, String)> = Vec::new();
    let name = placemark.name.as_deref().map(str::trim).filter(|name| !name.is_empty());
    attributes.extend(name.map(|name| ("name".to_owned(), name.to_owned())));
    placemark.children.iter().for_each(|child| extended_data(child, &mut attributes));
    attributes.extend(folder.map(|folder| ("folder".to_owned(), folder.to_owned())));
    let geometries = placemark.geometry.map(split).unwrap_or_default();
    shapes.extend(geometries.into_iter().map(|geometry| Shape { attributes: attributes.clone(), geometry }));
}

/// `Data` holds a `value`, `SimpleData` its text; both have a name.
fn extended_data(element: &Element, attributes: &mut Vec<(String, String)>) {
    let value = match element.name.as_str() {
        "SimpleData" => element.content.as_deref(),
        "Data" => {
            let value = element.children.iter().find(|child| child.name == "value");
            value.and_then(|child| child.content.as_deref())
        }
        _ => return element.children.iter().for_each(|child| extended_data(child, attributes)),
    };
    if let (Some(name), Some(value)) = (element.attrs.get("name"), value) {
        attributes.push((name.clone(), value.trim().to_owned()));
    }
}

/// A collection's polygons are one shape of several parts; its lines and points are shapes each.
fn split(geometry: KmlGeometry<f64>) -> Vec<Geometry> {
    let mut polygons = Vec::new();
    let mut others = Vec::new();
    divide(geometry, &mut polygons, &mut others);
    if !polygons.is_empty() {
        others.insert(0, Geometry::Polygons(polygons));
    }
    others
}

fn divide(geometry: KmlGeometry<f64>, polygons: &mut Vec<Vec<Vec<Vertex>>>, others: &mut Vec<Geometry>) {
    match geometry {
        KmlGeometry::Polygon(polygon) => {
            let ring = |ring: &LinearRing<f64>| vertices(&ring.coords);
            let rings = std::iter::once(&polygon.outer).chain(&polygon.inner).map(ring);
            polygons.push(rings.collect());
        }
        KmlGeometry::LinearRing(ring) => polygons.push(vec![vertices(&ring.coords)]),
        KmlGeometry::LineString(line) => others.push(Geometry::Line(vertices(&line.coords))),
        KmlGeometry::Point(point) => others.push(Geometry::Point(Vertex::new(point.coord.x, point.coord.y))),
        KmlGeometry::MultiGeometry(many) => {
            many.geometries.into_iter().for_each(|inner| divide(inner, polygons, others));
        }
        _ => {}
    }
}

fn vertices(coords: &[Coord<f64>]) -> Vec<Vertex> {
    coords.iter().map(|coord| Vertex::new(coord.x, coord.y)).collect()
}
