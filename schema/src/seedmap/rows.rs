//! `seed-rows.geojson` (RFC 7946): every run of seeds as a line from its first seed to its last.
//!
//! A straight run has two positions; a curved one so many that no chord leaves its way by more than
//! a tenth of a millimetre. Along the line the seeds are `spacing_m` apart, so the file holds every
//! seed without listing one. A run of one seed is a line of two equal positions.

use serde::{Deserialize, Serialize};

/// Longitude and latitude, degrees.
pub type Position = [f64; 2];

/// One run.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SeedRow {
    /// Its properties.
    pub run: Run,
    /// From the first seed to the last.
    pub line: Vec<Position>,
}

/// What a run is.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Run {
    /// The field's name.
    pub field: String,
    /// The block whose lattice numbers it, as in `plan.geojson`.
    pub block: usize,
    /// Row number in the block's lattice.
    pub row: i64,
    /// The lane that sows it: its `order` in `plan.geojson`.
    pub lane: usize,
    /// Lattice index of the first place; the next has the next index, or one `step` farther on.
    pub first: i64,
    /// From the index of a place to that of the next; absent where it is one. In a field with treatment
    /// zones an index counts parts of the field's own spacing, and a place is as many of them long.
    #[serde(default = "one", skip_serializing_if = "is_one")]
    pub step: u32,
    /// Name of the treatment zone; absent where the run lies in none.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub zone: Option<String>,
    /// How many places, seeds or hills, at least one.
    pub count: u32,
    /// Metres from place to place along the line.
    pub spacing_m: f64,
    /// What lies at a place.
    pub pattern: RowPattern,
    /// Seeds in a hill; absent where the pattern is another.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hill_seeds: Option<u32>,
    /// Metres from the first seed of a hill to its last; the others lie evenly between. Absent where
    /// the pattern is another.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hill_length_m: Option<f64>,
    /// The first seed in the field frame, metres east.
    pub first_x: f64,
    /// The first seed in the field frame, metres north.
    pub first_y: f64,
    /// The last seed in the field frame, metres east.
    pub last_x: f64,
    /// The last seed in the field frame, metres north.
    pub last_y: f64,
    /// Standard deviation of a plant's place along the row, metres.
    pub sigma_along_m: f64,
    /// Standard deviation of a plant's place across the row, metres.
    pub sigma_across_m: f64,
    /// Metres ahead of its place at which a seed is let go, at least and at most: the tool row moves
    /// faster on the outside of a bend than on its inside.
    pub lead_m: [f64; 2],
}

const fn one() -> u32 {
    1
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "the serializer hands over a reference")]
const fn is_one(step: &u32) -> bool {
    *step == 1
}

/// What lies at a place of a row.
#[derive(Copy, Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum RowPattern {
    /// One seed.
    Single,
    /// Some seeds together.
    Hill,
    /// A seed of a line in which seeds have no places of their own; what is told are mean places.
    Drill,
}

#[derive(Serialize, Deserialize)]
struct Collection {
    r#type: CollectionType,
    features: Vec<Feature>,
}

#[derive(Serialize, Deserialize)]
enum CollectionType {
    FeatureCollection,
}

#[derive(Serialize, Deserialize)]
struct Feature {
    r#type: FeatureType,
    geometry: Geometry,
    properties: Properties,
}

#[derive(Serialize, Deserialize)]
enum FeatureType {
    Feature,
}

#[derive(Serialize, Deserialize)]
struct Geometry {
    r#type: GeometryType,
    coordinates: Vec<Position>,
}

#[derive(Serialize, Deserialize)]
enum GeometryType {
    LineString,
}

#[derive(Serialize, Deserialize)]
struct Properties {
    kind: Kind,
    #[serde(flatten)]
    run: Run,
}

#[derive(Serialize, Deserialize)]
enum Kind {
    #[serde(rename = "seed-row")]
    SeedRow,
}

/// The file's text.
pub fn write(rows: Vec<SeedRow>) -> Result<String, serde_json::Error> {
    let features = rows
        .into_iter()
        .map(|row| Feature {
            r#type: FeatureType::Feature,
            geometry: Geometry { r#type: GeometryType::LineString, coordinates: row.line },
            properties: Properties { kind: Kind::SeedRow, run: row.run },
        })
        .collect();
    serde_json::to_string(&Collection { r#type: CollectionType::FeatureCollection, features })
}

/// The rows of a file that [`write()`] made.
pub fn read(text: &str) -> Result<Vec<SeedRow>, serde_json::Error> {
    let collection: Collection = serde_json::from_str(text)?;
    let row = |feature: Feature| SeedRow { run: feature.properties.run, line: feature.geometry.coordinates };
    Ok(collection.features.into_iter().map(row).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row() -> SeedRow {
        let run = Run {
            field: "Long Acre".into(),
            block: 1,
            row: -3,
            lane: 7,
            first: -12,
            count: 2,
            step: 1,
            zone: None,
            spacing_m: 0.18,
            pattern: RowPattern::Single,
            hill_seeds: None,
            hill_length_m: None,
            first_x: 1.5,
            first_y: 2.25,
            last_x: 1.68,
            last_y: 2.25,
            sigma_along_m: 0.0252,
            sigma_across_m: 0.0261,
            lead_m: [0.0178, 0.0231],
        };
        SeedRow { run, line: vec![[8.1, 50.0], [8.100_002_5, 50.0]] }
    }

    #[test]
    fn what_is_written_is_read_back() {
        let pattern = RowPattern::Hill;
        let hills = Run { pattern, hill_seeds: Some(3), hill_length_m: Some(0.06), ..row().run };
        let rows = vec![row(), SeedRow { line: vec![[1.0, 2.0]; 3], run: hills }];
        assert_eq!(read(&write(rows.clone()).unwrap()).unwrap(), rows);
    }

    /// RFC 7946, section 3: any GeoJSON reader finds lines with properties.
    #[test]
    fn it_is_geojson() {
        let text = write(vec![row()]).unwrap();
        let geojson::GeoJson::FeatureCollection(collection) = text.parse().unwrap() else {
            panic!("not a feature collection")
        };
        let feature = &collection.features[0];
        assert_eq!(feature.property("kind").unwrap(), "seed-row");
        assert_eq!(feature.property("first").unwrap(), -12);
        assert_eq!(feature.geometry.as_ref().unwrap().value.type_name(), "LineString");
    }
}
