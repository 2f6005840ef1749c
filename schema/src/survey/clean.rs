//! The clean field file: GeoJSON as RFC 7946 has it, rings closed, outside rings counter-clockwise,
//! nine decimals, with obstacles and ways in as points.
//!
//! In: plain values. Out: text that [`read`](super::read) takes back. The member `reference_frame`
//! names the frame of the positions, since a field in WGS 84 of nobody knows which year is only good
//! to a metre or two. A field across the 180° meridian stays in one piece.

use crate::quantity::GeoPoint;
use serde::Serialize;
use serde_json::{Map, Value, json};

/// A clean field file.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CleanFile {
    /// The frame's name and its EPSG code.
    pub frame: [String; 2],
    /// The fields.
    pub fields: Vec<CleanField>,
}

/// A field with what stands on it.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct CleanField {
    /// What the survey said of it, its name first.
    pub attributes: Vec<(String, String)>,
    /// Its parts: the outer ring, then holes; not closed, wound either way.
    pub parts: Vec<Vec<Vec<GeoPoint>>>,
    /// Obstacles as circles.
    pub obstacles: Vec<CleanObstacle>,
    /// Ways in.
    pub entrances: Vec<(String, GeoPoint)>,
}

/// Something to stay out of.
#[derive(Clone, Debug, PartialEq)]
pub struct CleanObstacle {
    /// Its name.
    pub name: String,
    /// What it covers.
    pub shape: CleanShape,
    /// How far to stay from it, metres, where the survey says so.
    pub clearance_m: Option<f64>,
}

/// What an obstacle covers.
#[derive(Clone, Debug, PartialEq)]
pub enum CleanShape {
    /// A circle of a radius in metres.
    Circle(GeoPoint, f64),
    /// A ring, not closed.
    Ring(Vec<GeoPoint>),
}

#[derive(Serialize)]
struct Feature {
    #[serde(rename = "type")]
    kind: &'static str,
    properties: Map<String, Value>,
    geometry: Geometry,
}

#[derive(Serialize)]
struct Geometry {
    #[serde(rename = "type")]
    kind: &'static str,
    coordinates: Value,
}

impl CleanFile {
    /// The file's text, a feature a line.
    ///
    /// # Panics
    ///
    /// Never: numbers and texts are always writable.
    pub fn to_geojson(&self) -> String {
        let [name, code] = &self.frame;
        let frame = json!({ "name": name, "code": code });
        let features: Vec<String> = self
            .fields
            .iter()
            .flat_map(features)
            .map(|feature| serde_json::to_string(&feature).expect("plain values are always writable"))
            .collect();
        format!(
            "{{\n\"type\":\"FeatureCollection\",\n\"reference_frame\":{frame},\n\"features\":[\n{}\n]}}\n",
            features.join(",\n")
        )
    }
}

fn features(field: &CleanField) -> Vec<Feature> {
    let mut properties = Map::new();
    properties.insert("kind".to_owned(), "boundary".into());
    for (key, value) in field.attributes.iter().filter(|(key, _)| !key.eq_ignore_ascii_case("kind")) {
        properties.insert(key.clone(), value.as_str().into());
    }
    let mut polygons: Vec<Value> = field.parts.iter().map(|rings| polygon(rings)).collect();
    let geometry = match polygons.len() {
        1 => Geometry { kind: "Polygon", coordinates: polygons.remove(0) },
        _ => Geometry { kind: "MultiPolygon", coordinates: polygons.into() },
    };
    let mut features = vec![Feature { kind: "Feature", properties, geometry }];
    features.extend(field.obstacles.iter().map(obstacle));
    features.extend(field.entrances.iter().map(|(name, at)| {
        let properties = object(json!({ "kind": "entrance", "name": name }));
        Feature { kind: "Feature", properties, geometry: point(*at) }
    }));
    features
}

fn obstacle(obstacle: &CleanObstacle) -> Feature {
    let mut properties = object(json!({ "kind": "obstacle", "name": obstacle.name }));
    let geometry = match &obstacle.shape {
        CleanShape::Circle(centre, radius_m) => {
            properties.insert("radius_m".to_owned(), json!(radius_m));
            point(*centre)
        }
        CleanShape::Ring(ring) => {
            Geometry { kind: "Polygon", coordinates: polygon(std::slice::from_ref(ring)) }
        }
    };
    if let Some(clearance_m) = obstacle.clearance_m {
        properties.insert("clearance_m".to_owned(), json!(clearance_m));
    }
    Feature { kind: "Feature", properties, geometry }
}

fn object(value: Value) -> Map<String, Value> {
    match value {
        Value::Object(map) => map,
        _ => Map::new(),
    }
}

fn point(at: GeoPoint) -> Geometry {
    Geometry { kind: "Point", coordinates: position(at) }
}

/// The outer ring counter-clockwise, holes clockwise (RFC 7946, 3.1.6).
fn polygon(rings: &[Vec<GeoPoint>]) -> Value {
    let rings = rings.iter().enumerate().map(|(index, ring)| {
        let wanted = index == 0;
        let mut corners: Vec<Value> = ring.iter().copied().map(position).collect();
        if counter_clockwise(ring) != wanted {
            corners.reverse();
        }
        corners.extend(corners.first().cloned());
        Value::Array(corners)
    });
    Value::Array(rings.collect())
}

/// Longitudes are taken the shorter way from the first corner.
fn counter_clockwise(ring: &[GeoPoint]) -> bool {
    let Some(first) = ring.first() else { return true };
    let flat = |corner: &GeoPoint| {
        let east = (corner.longitude - first.longitude + 540.0).rem_euclid(360.0) - 180.0;
        (east, corner.latitude - first.latitude)
    };
    let twice_area: f64 = (0..ring.len())
        .map(|index| {
            let (a, b) = (flat(&ring[index]), flat(&ring[(index + 1) % ring.len()]));
            a.0 * b.1 - b.0 * a.1
        })
        .sum();
    twice_area >= 0.0
}

/// Nine decimals of a degree, 0.11 mm; adding zero turns −0 into 0.
fn position(at: GeoPoint) -> Value {
    let nine = |degrees: f64| (degrees * 1e9).round() / 1e9 + 0.0;
    json!([nine(at.longitude), nine(at.latitude)])
}
