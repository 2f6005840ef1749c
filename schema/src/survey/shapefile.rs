//! Shapefiles: shapes from the `.shp`, attributes from the `.dbf`, the frame from the `.prj`, the
//! encoding of texts from the `.cpg`.
//!
//! Which ring is a hole is told by which ring lies in which, since not every writer winds rings as
//! the format asks. Not read: heights, measures, patches of surfaces, memo files.

use super::{Beside, Content, Format, Geometry, Refusal, Shape, StatedFrame, Vertex};
use ::shapefile::record::traits::HasXY;
use ::shapefile::{Shape as Record, ShapeReader};
use dbase::encoding::UnicodeLossy;
use dbase::{FieldValue, ReaderBuilder};
use std::io::Cursor;

/// Reads a `.shp` with what lies beside it.
pub fn read(name: &str, bytes: &[u8], beside: &mut Beside<'_>) -> Result<Content, Refusal> {
    let stem = name.rsplit('/').next().unwrap_or(name);
    let stem = stem.rsplit_once('.').map_or(stem, |(stem, _)| stem);
    let mut other = |end: &str| {
        beside(&format!("{stem}.{end}")).or_else(|| beside(&format!("{stem}.{}", end.to_uppercase())))
    };
    let mut oddities = Vec::new();
    let encoding = other("cpg").map(|text| String::from_utf8_lossy(&text).trim().to_owned());
    let table = match other("dbf").map(|bytes| attributes(&bytes, encoding.as_deref())) {
        Some(Ok(table)) => table,
        Some(Err(reason)) => {
            oddities.push(format!("the attributes in `{stem}.dbf` cannot be read: {reason}"));
            vec![]
        }
        None => {
            oddities.push(format!("there is no `{stem}.dbf` with attributes"));
            vec![]
        }
    };
    let frame = match other("prj") {
        Some(text) => StatedFrame::Named(String::from_utf8_lossy(&text).trim().to_owned()),
        None => StatedFrame::Unnamed,
    };
    let mut reader = ShapeReader::new(Cursor::new(bytes)).map_err(|error| damaged(&error))?;
    let mut shapes = Vec::new();
    let mut count = 0;
    let mut without = 0;
    for record in reader.iter_shapes() {
        let geometries = geometries(record.map_err(|error| damaged(&error))?);
        without += usize::from(geometries.is_empty());
        let attributes: Vec<(String, String)> = table.get(count).cloned().unwrap_or_default();
        shapes.extend(
            geometries.into_iter().map(|geometry| Shape { attributes: attributes.clone(), geometry }),
        );
        count += 1;
    }
    if !table.is_empty() && table.len() != count {
        oddities.push(format!("there are {count} shapes and {} rows of attributes", table.len()));
    }
    if without > 0 {
        oddities.push(format!("{without} of {count} shapes are empty or of a kind that is not read"));
    }
    Ok(Content { format: Format::Shapefile, frame, shapes, oddities })
}

fn damaged(error: &::shapefile::Error) -> Refusal {
    Refusal::new(format!("is no whole shapefile: {error}"))
}

fn geometries(record: Record) -> Vec<Geometry> {
    match record {
        Record::Polygon(polygon) => {
            areas(polygon.into_inner().into_iter().map(|ring| vertices(ring.points())))
        }
        Record::PolygonM(polygon) => {
            areas(polygon.into_inner().into_iter().map(|ring| vertices(ring.points())))
        }
        Record::PolygonZ(polygon) => {
            areas(polygon.into_inner().into_iter().map(|ring| vertices(ring.points())))
        }
        Record::Polyline(line) => lines(line.parts()),
        Record::PolylineM(line) => lines(line.parts()),
        Record::PolylineZ(line) => lines(line.parts()),
        Record::Point(point) => vec![Geometry::Point(vertex(&point))],
        Record::PointM(point) => vec![Geometry::Point(vertex(&point))],
        Record::PointZ(point) => vec![Geometry::Point(vertex(&point))],
        Record::Multipoint(points) => points.points().iter().map(|p| Geometry::Point(vertex(p))).collect(),
        Record::MultipointM(points) => points.points().iter().map(|p| Geometry::Point(vertex(p))).collect(),
        Record::MultipointZ(points) => points.points().iter().map(|p| Geometry::Point(vertex(p))).collect(),
        Record::NullShape | Record::Multipatch(_) => vec![],
    }
}

fn vertex(point: &impl HasXY) -> Vertex {
    Vertex::new(point.x(), point.y())
}

fn vertices<P: HasXY>(points: &[P]) -> Vec<Vertex> {
    points.iter().map(vertex).collect()
}

fn lines<P: HasXY>(parts: &[Vec<P>]) -> Vec<Geometry> {
    parts.iter().map(|part| Geometry::Line(vertices(part))).collect()
}

fn areas(rings: impl Iterator<Item = Vec<Vertex>>) -> Vec<Geometry> {
    let polygons = nest(rings.filter(|ring| !ring.is_empty()).collect());
    if polygons.is_empty() { vec![] } else { vec![Geometry::Polygons(polygons)] }
}

/// Rings by what lies in what: one inside an odd number of others is a hole of the innermost.
fn nest(rings: Vec<Vec<Vertex>>) -> Vec<Vec<Vec<Vertex>>> {
    let boxes: Vec<[f64; 4]> = rings.iter().map(|ring| bounds(ring)).collect();
    let around: Vec<Vec<usize>> = (0..rings.len())
        .map(|inner| {
            let holds = |outer: &usize| {
                *outer != inner
                    && within(boxes[inner], boxes[*outer])
                    && contains(&rings[*outer], &rings[inner])
            };
            (0..rings.len()).filter(holds).collect()
        })
        .collect();
    let mut polygons: Vec<(usize, Vec<Vec<Vertex>>)> = Vec::new();
    for (index, ring) in rings.iter().enumerate().filter(|(index, _)| around[*index].len().is_multiple_of(2))
    {
        polygons.push((index, vec![ring.clone()]));
    }
    for (index, ring) in rings.into_iter().enumerate().filter(|(index, _)| around[*index].len() % 2 == 1) {
        let innermost = around[index].iter().max_by_key(|outer| around[**outer].len());
        if let Some((_, polygon)) = polygons.iter_mut().find(|(outer, _)| Some(outer) == innermost) {
            polygon.push(ring);
        }
    }
    polygons.into_iter().map(|(_, rings)| rings).collect()
}

fn bounds(ring: &[Vertex]) -> [f64; 4] {
    let start = [f64::INFINITY, f64::INFINITY, f64::NEG_INFINITY, f64::NEG_INFINITY];
    ring.iter().fold(start, |[w, s, e, n], v| [w.min(v.x), s.min(v.y), e.max(v.x), n.max(v.y)])
}

fn within([w, s, e, n]: [f64; 4], [west, south, east, north]: [f64; 4]) -> bool {
    w >= west && s >= south && e <= east && n <= north
}

/// Whether most corners of one ring lie in the other: rings may touch, and do not cross.
fn contains(outer: &[Vertex], inner: &[Vertex]) -> bool {
    let step = (inner.len() / 5).max(1);
    let sample: Vec<&Vertex> = inner.iter().step_by(step).collect();
    let inside = |point: &&&Vertex| {
        let edges = outer.windows(2).map(|pair| (&pair[0], &pair[1]));
        let closing = outer.last().into_iter().zip(outer.first());
        let crossed = edges.chain(closing).filter(|(a, b)| {
            (a.y > point.y) != (b.y > point.y) && point.x < a.x + (point.y - a.y) / (b.y - a.y) * (b.x - a.x)
        });
        crossed.count() % 2 == 1
    };
    sample.iter().filter(inside).count() * 2 > sample.len()
}

/// Every row, its columns in order. Texts are in the encoding that the table or the `.cpg` names;
/// what is in none is read as UTF-8, with what is not replaced.
fn attributes(bytes: &[u8], encoding: Option<&str>) -> Result<Vec<Vec<(String, String)>>, String> {
    let utf8 = encoding.is_some_and(|name| name.to_ascii_uppercase().replace('-', "").contains("UTF8"));
    let named = if utf8 { Err("UTF-8 is stated".to_owned()) } else { rows(bytes, ReaderBuilder::new()) };
    named.or_else(|_| rows(bytes, ReaderBuilder::new().with_encoding(UnicodeLossy)))
}

fn rows(bytes: &[u8], builder: ReaderBuilder) -> Result<Vec<Vec<(String, String)>>, String> {
    let mut reader = builder.build(Cursor::new(bytes)).map_err(|error| error.to_string())?;
    let columns: Vec<String> = reader.fields().iter().map(|field| field.name().to_owned()).collect();
    let row = |record: dbase::Record| {
        let cell = |name: &String| Some((name.clone(), record.get(name).and_then(text)?));
        columns.iter().filter_map(cell).collect()
    };
    let records: Result<Vec<_>, _> = reader.iter_records().map(|record| record.map(row)).collect();
    records.map_err(|error| error.to_string())
}

fn text(value: &FieldValue) -> Option<String> {
    match value {
        FieldValue::Character(text) => text.as_ref().map(|text| text.trim().to_owned()),
        FieldValue::Numeric(number) => number.map(|number| number.to_string()),
        FieldValue::Float(number) => number.map(|number| number.to_string()),
        FieldValue::Integer(number) => Some(number.to_string()),
        FieldValue::Double(number) | FieldValue::Currency(number) => Some(number.to_string()),
        FieldValue::Logical(truth) => truth.map(|truth| truth.to_string()),
        FieldValue::Date(day) => {
            day.map(|day| format!("{:04}-{:02}-{:02}", day.year(), day.month(), day.day()))
        }
        FieldValue::DateTime(_) | FieldValue::Memo(_) => None,
    }
    .filter(|text| !text.is_empty())
}
