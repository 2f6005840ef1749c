//! `plan.geojson`: the plan of a job as RFC 7946 features, for any program that reads maps.
//!
//! In and out: a [`Plan`]. Positions are `[longitude, latitude]` in degrees, in the reference frame
//! that `manifest.json` names. A line is straight between its vertices in the field frame.
//! A field across the 180° meridian keeps its lines whole: longitudes run on past 180 there, where
//! RFC 7946 §3.1.9 would cut a lane in two.
//!
//! The reader takes what the writer writes; it is no reader of boundary files.

use geojson::GeometryValue;
use serde::{Deserialize, Serialize};

/// Longitude, latitude; degrees.
pub type Position = [f64; 2];

/// Rings, the first the exterior, each closed (first position = last).
pub type Polygon = Vec<Vec<Position>>;

/// Every feature of a job's plan. Within a field: the ground first, then the way in driving order.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Plan {
    /// The features.
    pub features: Vec<Feature>,
}

/// One feature.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Feature {
    /// Name of the field; `None` for what belongs to the whole job.
    pub field: Option<String>,
    /// What it is.
    #[serde(flatten)]
    pub what: What,
    /// Where it is.
    #[serde(with = "shape_as_geojson", rename = "geometry")]
    pub shape: Shape,
}

/// Where a feature is.
#[derive(Clone, Debug, PartialEq)]
pub enum Shape {
    /// A place.
    Point(Position),
    /// A way, at least two positions.
    Line(Vec<Position>),
    /// Ground, one polygon or several.
    Area(Vec<Polygon>),
}

/// What a feature is: its `kind` and the properties that go with it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum What {
    /// The field as surveyed.
    Boundary {
        /// Area in the field frame.
        area_m2: f64,
        /// Length of all rings in the field frame.
        perimeter_m: f64,
    },
    /// The polygon, holes included, that body and antennas never leave.
    Fence {
        /// Area in the field frame.
        area_m2: f64,
        /// How far inside the boundary it stays.
        margin_m: f64,
    },
    /// A thing to stay away from, not grown.
    KeepOut {
        /// Its name.
        name: String,
        /// How far body and antennas stay from it.
        clearance_m: f64,
    },
    /// The ground where the machine turns.
    Headland {
        /// Area in the field frame.
        area_m2: f64,
    },
    /// Soil that is sown closer, wider or in another pattern than the field's own spacing says, or not at all.
    Zone {
        /// Its name.
        name: String,
        /// Share of the field's own number of seeds; 0 where it stays unsown.
        rate: f64,
        /// Area in the field frame.
        area_m2: f64,
    },
    /// Soil on one lattice.
    Block(Block),
    /// A lane as driven.
    Lane(Lane),
    /// The way from one lane to the next.
    Turn(Way),
    /// The way from home to the first lane, or from the last lane to the exit.
    Transit(Way),
    /// Where the machine waits for a person.
    Stop {
        /// The lane driven before it.
        after: usize,
        /// What for, in kebab-case: `moved-by-hand` or `refill`.
        reason: String,
        /// Where the person takes the machine.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        to: Option<Position>,
        /// Name of the refill point at which it waits; the way from the lane before it to the next leads there.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        refill_point: Option<String>,
    },
    /// The end of a lane near a way out, where the machine may be halted to be taken out of the field.
    Hold {
        /// The lane driven before it.
        after: usize,
        /// Name of the way out: an entrance or home.
        way_out: String,
        /// How far from it, straight.
        metres: f64,
    },
    /// Soil that no row covers.
    LeftOver {
        /// Why, in kebab-case.
        reason: String,
        /// How much.
        area_m2: f64,
    },
    /// Where the machine starts and ends, or another way into the field.
    Home {
        /// Its name.
        name: String,
    },
    /// The base station of the position corrections.
    BaseStation {
        /// Its name.
        name: String,
        /// Height above the ellipsoid.
        height_m: f64,
    },
}

/// Soil on one lattice.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Block {
    /// Its number, from 0; lanes and seed rows refer to it.
    pub block: usize,
    /// The headland lap that it is, 1 outermost; `None` in the main field.
    pub lap: Option<u32>,
    /// Compass heading of straight rows; `None` where rows bend.
    pub heading_deg: Option<f64>,
    /// The lattice's origin, east and north metres in the field frame, of straight rows.
    pub datum_m: Option<[f64; 2]>,
    /// Area in the field frame.
    pub area_m2: f64,
}

/// A lane as driven: the line is the way of the machine's reference point.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Lane {
    /// 1, 2, … in driving order over the whole field.
    pub order: usize,
    /// Its block.
    pub block: usize,
    /// Whether it is a headland lap.
    pub lap: bool,
    /// Compass heading at its start.
    pub heading_deg: f64,
    /// Metres that the reference point travels.
    pub length_m: f64,
    /// Where it begins, east and north metres in the field frame.
    pub start_m: [f64; 2],
    /// The same way as the line, but exact: pieces driven forward one after the other, each by its
    /// length in metres and its curvature at its beginning and at its end in 1/m, positive to the
    /// left, which changes in proportion to the length.
    pub pieces: Vec<[f64; 3]>,
    /// The pieces of rows that it works, from left to right, each row's in driving order.
    pub rows: Vec<RowPiece>,
}

/// One uninterrupted piece of one row.
#[derive(Copy, Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RowPiece {
    /// Number of the row in its block's lattice.
    pub row: i64,
    /// How far the row lies to the right of travel.
    pub offset_m: f64,
    /// Where the *reference point* is, metres along the lane from its first position, when the
    /// tool enters the row. The tool itself is `tool_x_m` of the manifest ahead of it.
    pub from_m: f64,
    /// Where the reference point is when the tool leaves the row.
    pub to_m: f64,
}

/// A drivable way with the tool up.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Way {
    /// The lane it leaves; 0 is home or entrance.
    pub from: usize,
    /// The lane it reaches; last + 1 is the exit.
    pub to: usize,
    /// The family of the manoeuvre, in kebab-case.
    pub shape: String,
    /// Metres that the reference point travels.
    pub length_m: f64,
    /// Seconds, changes of gear included.
    pub time_s: f64,
    /// Stretches of one gear; each begins at the vertex that ends the one before.
    pub legs: Vec<Leg>,
}

/// A stretch of a way in one gear.
#[derive(Copy, Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Leg {
    /// How it is driven.
    pub gear: Gear,
    /// Index of its first vertex in the line.
    pub first: usize,
    /// Index of its last vertex; for a turn on the spot it lies at the same place as the first.
    pub last: usize,
    /// Degrees turned on the spot, positive to the right.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub turn_deg: Option<f64>,
}

/// How a leg is driven.
#[derive(Copy, Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Gear {
    /// Nose first.
    Forward,
    /// Tail first.
    Reverse,
    /// Turning on the spot.
    Spot,
}

/// Why a text is no plan.
#[derive(Debug)]
pub struct PlanError(String);

impl std::fmt::Display for PlanError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "not a plan: {}", self.0)
    }
}

impl std::error::Error for PlanError {}

impl Plan {
    /// The plan as text, one feature a line.
    pub fn to_geojson(&self) -> Result<String, PlanError> {
        let lines = self
            .features
            .iter()
            .map(|feature| {
                let feature = geojson::ser::to_feature(feature).map_err(|e| PlanError(e.to_string()))?;
                serde_json::to_string(&feature).map_err(|e| PlanError(e.to_string()))
            })
            .collect::<Result<Vec<_>, _>>()?;
        Ok(format!("{{\"type\":\"FeatureCollection\",\"features\":[\n{}\n]}}\n", lines.join(",\n")))
    }

    /// Reads what [`Plan::to_geojson`] wrote.
    pub fn from_geojson(text: &str) -> Result<Self, PlanError> {
        geojson::de::deserialize_feature_collection_str_to_vec(text)
            .map(|features| Self { features })
            .map_err(|e| PlanError(e.to_string()))
    }
}

/// Goes between [`Shape`] and a GeoJSON geometry.
mod shape_as_geojson {
    use super::{GeometryValue, Position, Shape};
    use geojson::Geometry;
    use serde::de::Error as _;
    use serde::{Deserialize as _, Deserializer, Serialize as _, Serializer};

    pub fn serialize<S: Serializer>(shape: &Shape, serializer: S) -> Result<S::Ok, S::Error> {
        let value = match shape {
            Shape::Point(at) => GeometryValue::new_point(*at),
            Shape::Line(line) => GeometryValue::new_line_string(line.iter().copied()),
            Shape::Area(parts) => match parts.as_slice() {
                [only] => GeometryValue::new_polygon(only.iter().cloned()),
                several => GeometryValue::new_multi_polygon(several.iter().cloned()),
            },
        };
        Geometry::new(value).serialize(serializer)
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Shape, D::Error> {
        let geometry = Geometry::deserialize(deserializer)?;
        let shape = match geometry.value {
            GeometryValue::Point { coordinates } => position(&coordinates).map(Shape::Point),
            GeometryValue::LineString { coordinates } => line(&coordinates).map(Shape::Line),
            GeometryValue::Polygon { coordinates } => polygon(&coordinates).map(|p| Shape::Area(vec![p])),
            GeometryValue::MultiPolygon { coordinates } => {
                coordinates.iter().map(|p| polygon(p)).collect::<Option<_>>().map(Shape::Area)
            }
            _ => None,
        };
        shape.ok_or_else(|| D::Error::custom("a geometry that no feature of a plan has"))
    }

    fn position(position: &geojson::Position) -> Option<Position> {
        position.as_slice().try_into().ok()
    }

    fn line(positions: &[geojson::Position]) -> Option<Vec<Position>> {
        positions.iter().map(position).collect()
    }

    fn polygon(rings: &[Vec<geojson::Position>]) -> Option<Vec<Vec<Position>>> {
        rings.iter().map(|ring| line(ring)).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn example() -> Plan {
        let ring = vec![[7.0, 52.0], [7.1, 52.0], [7.1, 52.1], [7.0, 52.0]];
        let boundary = What::Boundary { area_m2: 12.5, perimeter_m: 20.0 };
        let left_over = What::LeftOver { reason: "row-ends".into(), area_m2: 0.25 };
        let lane = Lane {
            order: 1,
            block: 0,
            lap: false,
            heading_deg: 38.5,
            length_m: 100.0,
            start_m: [-12.5, 3.25],
            pieces: vec![[99.0, 0.0, 0.0], [1.0, 0.0, -0.25]],
            rows: vec![RowPiece { row: -3, offset_m: -0.225, from_m: 1.2, to_m: 98.0 }],
        };
        let turn = Way {
            from: 1,
            to: 2,
            shape: "on-the-spot".into(),
            length_m: 2.7,
            time_s: 20.0,
            legs: vec![
                Leg { gear: Gear::Spot, first: 0, last: 1, turn_deg: Some(-90.0) },
                Leg { gear: Gear::Forward, first: 1, last: 2, turn_deg: None },
            ],
        };
        let of_field = |what, shape| Feature { field: Some("Long Acre".into()), what, shape };
        let line = vec![[7.0, 52.0], [7.0, 52.0], [7.123_456_789, 52.000_000_001]];
        let base = What::BaseStation { name: "Mill roof".into(), height_m: 41.3 };
        Plan {
            features: vec![
                of_field(boundary, Shape::Area(vec![vec![ring.clone()]])),
                of_field(left_over, Shape::Area(vec![vec![ring.clone()], vec![ring]])),
                of_field(What::Lane(lane), Shape::Line(line.clone())),
                of_field(What::Turn(turn), Shape::Line(line)),
                Feature { field: None, what: base, shape: Shape::Point([7.0, 52.0]) },
            ],
        }
    }

    #[test]
    fn reads_back_what_it_wrote() {
        let text = example().to_geojson().unwrap();
        assert_eq!(Plan::from_geojson(&text).unwrap(), example());
    }

    #[test]
    fn every_feature_is_as_rfc_7946_has_it() {
        insta::assert_snapshot!(example().to_geojson().unwrap());
    }

    #[test]
    fn another_geometry_is_refused() {
        let text = r#"{"type":"FeatureCollection","features":[{"type":"Feature",
            "properties":{"field":null,"kind":"home","name":"yard"},
            "geometry":{"type":"MultiPoint","coordinates":[[7.0,52.0]]}}]}"#;
        let error = Plan::from_geojson(text).unwrap_err().to_string();
        assert!(error.contains("no feature of a plan has"), "{error}");
    }
}
