//! A surveyed boundary in a GeoJSON file (RFC 7946): the polygons in it, each corner with its
//! place in the file.
//!
//! In: the file's text. Out: its shapes (a Polygon or a MultiPolygon is one shape, alone, in a
//! Feature or in a collection) or the one problem that keeps it from being read. Heights and
//! other members are left aside. Positions stay as JSON text until they are read, which is what
//! gives them a place. Files with coordinates in metres are refused, not guessed at.

use super::problem::{Place, Problem, ProblemKind, Written};
use crate::quantity::GeoPoint;
use serde::Deserialize;
use serde_json::Value;
use serde_json::value::RawValue;
use std::borrow::Cow;
use std::sync::Arc;

/// A ring as written: perhaps closed, perhaps not.
pub type Ring = Written<Vec<Written<GeoPoint>>>;

/// The shapes of a boundary file.
#[derive(Clone, Debug)]
pub struct Boundary {
    /// The file, as opened.
    pub file: Arc<str>,
    /// Never empty.
    pub shapes: Vec<Shape>,
}

/// One shape of a boundary file.
#[derive(Clone, Debug)]
pub struct Shape {
    /// What the file calls it: its `name`, its `id` and the like.
    pub names: Vec<String>,
    /// Each polygon: the outer ring, then its holes.
    pub polygons: Vec<Vec<Ring>>,
}

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

type RawRing<'t> = Vec<&'t RawValue>;

/// What is wrong with the file, and where in its text.
struct Refusal {
    at: usize,
    message: String,
    hint: Option<String>,
}

/// Reads every polygon of a GeoJSON file.
pub fn read_geojson(file: &Arc<str>, text: &str) -> Result<Boundary, Problem> {
    let mut survey = Survey { file, text, shapes: Vec::new() };
    let refused = match survey.object(text.trim_start_matches('\u{feff}'), &[], 0) {
        Ok(()) if survey.shapes.is_empty() => Refusal {
            at: 0,
            message: format!("`{file}` holds no polygon"),
            hint: Some("a boundary is a GeoJSON Polygon or MultiPolygon".to_owned()),
        },
        Ok(()) => return Ok(Boundary { file: file.clone(), shapes: survey.shapes }),
        Err(refusal) => refusal,
    };
    Err(Problem {
        kind: ProblemKind::BoundaryFile,
        place: Some(Place { file: file.clone(), bytes: refused.at..(refused.at + 1).min(text.len()) }),
        message: refused.message,
        label: String::new(),
        hint: refused.hint,
    })
}

struct Survey<'t> {
    file: &'t Arc<str>,
    text: &'t str,
    shapes: Vec<Shape>,
}

impl<'t> Survey<'t> {
    /// Reads an object of whatever type; `names` come from the feature around it.
    fn object(&mut self, text: &'t str, names: &[String], depth: usize) -> Result<(), Refusal> {
        let object: Object<'t> = self.json(text)?;
        self.refuse_other_frames(text, object.crs.as_ref())?;
        let nested: Vec<&RawValue> = match object.kind.as_ref() {
            "FeatureCollection" => object.features.unwrap_or_default(),
            "GeometryCollection" => object.geometries.unwrap_or_default(),
            "Feature" => {
                let names = names_of(object.id.as_ref(), object.properties.as_ref());
                return match object.geometry {
                    Some(geometry) if geometry.get() != "null" => {
                        self.object(geometry.get(), &names, depth + 1)
                    }
                    _ => Ok(()),
                };
            }
            "Polygon" => {
                let polygon: Vec<RawRing<'t>> = self.coordinates(text, object.coordinates)?;
                return self.shape(names, vec![polygon]);
            }
            "MultiPolygon" => {
                let polygons: Vec<Vec<RawRing<'t>>> = self.coordinates(text, object.coordinates)?;
                return self.shape(names, polygons);
            }
            "Point" | "MultiPoint" | "LineString" | "MultiLineString" => return Ok(()),
            other => {
                return Err(Refusal {
                    at: self.offset(text),
                    message: format!("`{}` has an object of type `{other}`, which is not GeoJSON", self.file),
                    hint: Some("save the boundary as GeoJSON, RFC 7946".to_owned()),
                });
            }
        };
        if depth > 8 {
            return Err(Refusal {
                at: self.offset(text),
                message: format!("`{}` nests its collections more than eight deep", self.file),
                hint: None,
            });
        }
        nested.into_iter().try_for_each(|inner| self.object(inner.get(), names, depth + 1))
    }

    fn shape(&mut self, names: &[String], polygons: Vec<Vec<RawRing<'t>>>) -> Result<(), Refusal> {
        let polygons = polygons
            .into_iter()
            .map(|rings| rings.into_iter().map(|ring| self.ring(&ring)).collect())
            .collect::<Result<Vec<Vec<Ring>>, Refusal>>()?;
        self.shapes.push(Shape { names: names.to_vec(), polygons });
        Ok(())
    }

    fn ring(&self, ring: &[&'t RawValue]) -> Result<Ring, Refusal> {
        let corners = ring.iter().map(|raw| self.position(raw.get())).collect::<Result<Vec<_>, _>>()?;
        let bytes = match (corners.first(), corners.last()) {
            (Some(first), Some(last)) => first.place.bytes.start..last.place.bytes.end,
            _ => 0..0,
        };
        Ok(Written { value: corners, place: Place { file: self.file.clone(), bytes } })
    }

    fn position(&self, text: &'t str) -> Result<Written<GeoPoint>, Refusal> {
        let numbers: Vec<f64> = self.json(text)?;
        let at = self.offset(text);
        let [longitude, latitude, ..] = numbers[..] else {
            return Err(Refusal {
                at,
                message: format!("`{}` has a position without two numbers", self.file),
                hint: Some("a GeoJSON position is [longitude, latitude]".to_owned()),
            });
        };
        if longitude.abs() > 360.0 || latitude.abs() > 360.0 {
            return Err(Refusal {
                at,
                message: format!(
                    "`{}` has the position [{longitude}, {latitude}], which is not in degrees",
                    self.file
                ),
                hint: Some(
                    "save the boundary in longitude and latitude, not in metres of a map grid".to_owned(),
                ),
            });
        }
        let place = Place { file: self.file.clone(), bytes: at..at + text.len() };
        Ok(Written { value: GeoPoint { longitude, latitude }, place })
    }

    /// RFC 7946 dropped the `crs` member; files that still have one must not mean another frame.
    fn refuse_other_frames(&self, text: &'t str, crs: Option<&Value>) -> Result<(), Refusal> {
        let name = crs.and_then(|crs| crs.pointer("/properties/name")).and_then(Value::as_str);
        match name {
            None => Ok(()),
            Some(name) if ["CRS84", "4326", "4258"].iter().any(|known| name.ends_with(known)) => Ok(()),
            Some(name) => Err(Refusal {
                at: self.offset(text),
                message: format!("`{}` says that its coordinates are in `{name}`", self.file),
                hint: Some(
                    "save the boundary in longitude and latitude and name the frame in `[frames]`".to_owned(),
                ),
            }),
        }
    }

    fn coordinates<T: Deserialize<'t>>(
        &self,
        text: &'t str,
        raw: Option<&'t RawValue>,
    ) -> Result<T, Refusal> {
        match raw {
            Some(raw) => self.json(raw.get()),
            None => Err(Refusal {
                at: self.offset(text),
                message: format!("`{}` has a polygon without coordinates", self.file),
                hint: None,
            }),
        }
    }

    fn json<T: Deserialize<'t>>(&self, text: &'t str) -> Result<T, Refusal> {
        serde_json::from_str(text).map_err(|error| Refusal {
            at: self.offset(text) + offset_in(text, error.line(), error.column()),
            message: format!("`{}` is not GeoJSON: {}", self.file, reason(&error)),
            hint: None,
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

fn names_of(id: Option<&Value>, properties: Option<&serde_json::Map<String, Value>>) -> Vec<String> {
    let properties = properties.into_iter().flatten();
    let named =
        properties.filter(|(key, _)| ["name", "id"].iter().any(|known| key.eq_ignore_ascii_case(known)));
    let mut names: Vec<String> = named.map(|(_, value)| value).chain(id).filter_map(as_name).collect();
    names.dedup();
    names
}

fn as_name(value: &Value) -> Option<String> {
    match value {
        Value::String(text) => Some(text.clone()),
        Value::Number(number) => Some(number.to_string()),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<Boundary, Problem> {
        read_geojson(&Arc::from("north.geojson"), text)
    }

    const SQUARE: &str = "[[[5.0,52.0],[5.1,52.0],[5.1,52.1],[5.0,52.0]]]";

    #[test]
    fn every_wrapping_gives_the_same_shape() {
        let polygon = format!(r#"{{"type":"Polygon","coordinates":{SQUARE}}}"#);
        let multi = format!(r#"{{"type":"MultiPolygon","coordinates":[{SQUARE}]}}"#);
        let feature = format!(r#"{{"type":"Feature","properties":{{"name":"North"}},"geometry":{polygon}}}"#);
        let collection = format!(r#"{{"type":"FeatureCollection","features":[{feature}]}}"#);
        for text in [polygon, multi, feature, collection] {
            let boundary = read(&text).unwrap();
            assert_eq!(boundary.shapes.len(), 1);
            let corner = &boundary.shapes[0].polygons[0][0].value[1];
            assert_eq!(corner.value, GeoPoint { longitude: 5.1, latitude: 52.0 });
            assert_eq!(&text[corner.place.bytes.clone()], "[5.1,52.0]");
        }
    }

    #[test]
    fn refuses_what_is_no_boundary_at_its_place() {
        let text = "{\"type\":\n \"Polygon\",\n \"coordinates\": [[[1, 2], [3]]]}";
        let problem = read(text).unwrap_err();
        assert!(problem.message.contains("without two numbers"), "{problem:?}");
        assert_eq!(Some(problem.place.unwrap().bytes.start), text.find("[3]"));
        assert!(read("{").unwrap_err().message.contains("not GeoJSON"));
        assert!(read(r#"{"type":"Point","coordinates":[1,2]}"#).unwrap_err().message.contains("no polygon"));
        let metres = r#"{"type":"Polygon","coordinates":[[[500000,5700000]]]}"#;
        assert!(read(metres).unwrap_err().message.contains("not in degrees"));
        let crs =
            r#"{"type":"Polygon","crs":{"type":"name","properties":{"name":"EPSG:25832"}},"coordinates":[]}"#;
        assert!(read(crs).unwrap_err().message.contains("EPSG:25832"));
    }

    proptest::proptest! {
        /// Any text is read or refused, never a panic.
        #[test]
        fn never_panics(text in ".*") {
            let _ = read(&text);
        }

        /// Nor does GeoJSON with anything for coordinates.
        #[test]
        fn never_panics_on_odd_coordinates(inside in r#"[\[\]0-9, .e"-]{0,40}"#) {
            let _ = read(&format!(r#"{{"type":"Polygon","coordinates":{inside}}}"#));
        }
    }
}
