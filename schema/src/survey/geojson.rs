//! GeoJSON (RFC 7946): every geometry in it, alone, in a feature or in a collection, each vertex
//! with its place in the text.
//!
//! Positions stay as JSON text until they are read, which is what gives them a place. Heights are
//! left aside. The `crs` member, which RFC 7946 dropped, is still believed where a file has it.

use super::{Content, Format, Geometry, Refusal, Shape, StatedFrame, Vertex};
use serde::Deserialize;
use serde_json::Value;
use serde_json::value::RawValue;
use std::borrow::Cow;

/// Collections nest no deeper than this.
const DEEPEST: usize = 8;

#[derive(Deserialize)]
struct Object<'t> {
    #[serde(rename = "type")]
    kind: Cow<'t, str>,
    id: Option<Value>,
    properties: Option<serde_json::Map<String, Value>>,
    crs: Option<Value>,
    #[serde(borrow)]
    features: Option<Vec<&'t RawValue>>,
    #[serde(borrow)]
    geometry: Option<&'t RawValue>,
    #[serde(borrow)]
    geometries: Option<Vec<&'t RawValue>>,
    #[serde(borrow)]
    coordinates: Option<&'t RawValue>,
}

type RawLine<'t> = Vec<&'t RawValue>;

/// Reads a GeoJSON text.
pub fn read(text: &str) -> Result<Content, Refusal> {
    let mut reader = Reader { text, frame: None, shapes: Vec::new(), without_geometry: 0 };
    reader.object(text.trim_start_matches('\u{feff}'), &[], 0)?;
    let oddities = match reader.without_geometry {
        0 => vec![],
        1 => vec!["1 feature has no geometry".to_owned()],
        many => vec![format!("{many} features have no geometry")],
    };
    let frame = reader.frame.map_or(StatedFrame::ByFormat, StatedFrame::Named);
    Ok(Content { format: Format::GeoJson, frame, shapes: reader.shapes, oddities })
}

struct Reader<'t> {
    text: &'t str,
    frame: Option<String>,
    shapes: Vec<Shape>,
    without_geometry: usize,
}

impl<'t> Reader<'t> {
    /// Reads an object of whatever type; the attributes come from the feature around it.
    fn object(&mut self, text: &'t str, around: &[(String, String)], depth: usize) -> Result<(), Refusal> {
        let object: Object<'t> = self.json(text)?;
        self.note_frame(object.crs.as_ref());
        let nested: Vec<&RawValue> = match object.kind.as_ref() {
            "FeatureCollection" => object.features.unwrap_or_default(),
            "GeometryCollection" => object.geometries.unwrap_or_default(),
            "Feature" => {
                let attributes = attributes(object.id.as_ref(), object.properties.as_ref());
                return match object.geometry {
                    Some(geometry) if geometry.get() != "null" => {
                        self.object(geometry.get(), &attributes, depth + 1)
                    }
                    _ => {
                        self.without_geometry += 1;
                        Ok(())
                    }
                };
            }
            kind => return self.geometry(kind, text, object.coordinates, around),
        };
        if depth > DEEPEST {
            let refusal = Refusal::new(format!("nests its collections more than {DEEPEST} deep"));
            return Err(refusal.place(self.offset(text)));
        }
        nested.into_iter().try_for_each(|inner| self.object(inner.get(), around, depth + 1))
    }

    fn geometry(
        &mut self,
        kind: &str,
        text: &'t str,
        raw: Option<&'t RawValue>,
        attributes: &[(String, String)],
    ) -> Result<(), Refusal> {
        let geometries = match kind {
            "Polygon" => {
                vec![Geometry::Polygons(vec![self.lines(&self.coordinates::<Vec<RawLine<'t>>>(text, raw)?)?])]
            }
            "MultiPolygon" => {
                let polygons: Vec<Vec<RawLine<'t>>> = self.coordinates(text, raw)?;
                let polygons: Result<Vec<_>, _> =
                    polygons.into_iter().map(|rings| self.lines(&rings)).collect();
                vec![Geometry::Polygons(polygons?)]
            }
            "LineString" => vec![Geometry::Line(self.line(&self.coordinates::<RawLine<'t>>(text, raw)?)?)],
            "MultiLineString" => self
                .lines(&self.coordinates::<Vec<RawLine<'t>>>(text, raw)?)?
                .into_iter()
                .map(Geometry::Line)
                .collect(),
            "Point" => vec![Geometry::Point(self.position(self.coordinates::<&RawValue>(text, raw)?.get())?)],
            "MultiPoint" => self
                .line(&self.coordinates::<RawLine<'t>>(text, raw)?)?
                .into_iter()
                .map(Geometry::Point)
                .collect(),
            other => {
                return Err(Refusal::new(format!("has an object of type `{other}`, which is not GeoJSON"))
                    .place(self.offset(text))
                    .hint("save the boundary as GeoJSON, RFC 7946"));
            }
        };
        let shape = |geometry| Shape { attributes: attributes.to_vec(), geometry };
        self.shapes.extend(geometries.into_iter().map(shape));
        Ok(())
    }

    fn lines(&self, lines: &[RawLine<'t>]) -> Result<Vec<Vec<Vertex>>, Refusal> {
        lines.iter().map(|line| self.line(line)).collect()
    }

    fn line(&self, line: &[&'t RawValue]) -> Result<Vec<Vertex>, Refusal> {
        line.iter().map(|raw| self.position(raw.get())).collect()
    }

    fn position(&self, text: &'t str) -> Result<Vertex, Refusal> {
        let numbers: Vec<f64> = self.json(text)?;
        let at = self.offset(text);
        match numbers[..] {
            [x, y, ..] => Ok(Vertex::at(x, y, at..at + text.len())),
            _ => Err(Refusal::new("has a position without two numbers")
                .place(at)
                .hint("a GeoJSON position is [longitude, latitude]")),
        }
    }

    /// Names that mean longitude and latitude of WGS 84 say no more than the format itself.
    fn note_frame(&mut self, crs: Option<&Value>) {
        let name = crs.and_then(|crs| crs.pointer("/properties/name")).and_then(Value::as_str);
        if let Some(name) = name.filter(|name| !name.ends_with("CRS84") && !name.ends_with("4326")) {
            self.frame = Some(name.to_owned());
        }
    }

    fn coordinates<T: Deserialize<'t>>(
        &self,
        text: &'t str,
        raw: Option<&'t RawValue>,
    ) -> Result<T, Refusal> {
        match raw {
            Some(raw) => self.json(raw.get()),
            None => Err(Refusal::new("has a geometry without coordinates").place(self.offset(text))),
        }
    }

    fn json<T: Deserialize<'t>>(&self, text: &'t str) -> Result<T, Refusal> {
        serde_json::from_str(text).map_err(|error| {
            let at = self.offset(text) + offset_in(text, error.line(), error.column());
            Refusal::new(format!("is not GeoJSON: {}", reason(&error))).place(at)
        })
    }

    /// Where a piece of the text begins in the whole.
    fn offset(&self, piece: &str) -> usize {
        piece.as_ptr().addr() - self.text.as_ptr().addr()
    }
}

/// The library's words without its own line and column.
fn reason(error: &serde_json::Error) -> String {
    let text = error.to_string();
    text.split(" at line ").next().unwrap_or(&text).to_owned()
}

fn offset_in(text: &str, line: usize, column: usize) -> usize {
    let start: usize = text.split_inclusive('\n').take(line.saturating_sub(1)).map(str::len).sum();
    let mut offset = (start + column.saturating_sub(1)).min(text.len());
    while !text.is_char_boundary(offset) {
        offset -= 1;
    }
    offset
}

fn attributes(
    id: Option<&Value>,
    properties: Option<&serde_json::Map<String, Value>>,
) -> Vec<(String, String)> {
    let properties = properties.into_iter().flatten().map(|(key, value)| (key.as_str(), value));
    let known = properties.chain(id.map(|id| ("id", id)));
    known.filter_map(|(key, value)| Some((key.to_owned(), plain(value)?))).collect()
}

fn plain(value: &Value) -> Option<String> {
    match value {
        Value::String(text) => Some(text.clone()),
        Value::Number(number) => Some(number.to_string()),
        Value::Bool(truth) => Some(truth.to_string()),
        _ => None,
    }
}
