//! `manifest.json`: what a compile made, from what, with which figures and proofs; for programs.
//!
//! In and out: a [`Manifest`]. The JSON Schema made from these types is published as
//! `schema/manifest.schema.json`.

use schemars::{JsonSchema, Schema, schema_for};
use serde::{Deserialize, Serialize};

/// What a compile made of one job.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Manifest {
    /// The program that wrote it.
    pub program: String,
    /// Its version.
    pub version: String,
    /// The job file's stem, which is also the folder's name.
    pub job: String,
    /// How thoroughly the order of the lanes was searched for, `low`, `normal` or `high`: with the same job and
    /// effort, the same files.
    pub effort: String,
    /// What was ordered.
    pub order: Order,
    /// The field frame: every metre of the outputs is one of its metres.
    pub frame: Frame,
    /// The machine as the plan assumes it.
    pub machine: Machine,
    /// Totals over all fields.
    pub figures: Figures,
    /// The same figures for each field, in the job's order.
    pub fields: Vec<FieldFigures>,
    /// What the tools of a weeding pass do on each field; left out where nothing is weeded.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub weeding: Vec<Weeding>,
    /// What was proven, with the margin left.
    pub checks: Vec<Check>,
    /// What the compiler had to say about the job.
    pub findings: Vec<Finding>,
    /// Files read.
    pub inputs: Vec<File>,
    /// Files written, this one left out.
    pub outputs: Vec<File>,
}

/// What was ordered.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Order {
    /// Day of issue, `2027-04-12`.
    pub issued: String,
    /// What is done, in order: `sowing`, `pre-emergence weeding`, `inter-row weeding`, `intra-row
    /// weeding`.
    pub operations: Vec<String>,
}

/// The field frame.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Frame {
    /// PROJ string from longitude and latitude to metres east and north.
    pub proj: String,
    /// Name of the reference frame of longitude and latitude.
    pub reference: String,
    /// Its epoch, decimal year, where one applies.
    pub epoch: Option<f64>,
    /// Name of the frame in which the ground was taken to rest between epochs, where the job names
    /// one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ground: Option<String>,
}

/// The machine. Points are metres from the reference point, `[forward, right]`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Machine {
    /// Its name.
    pub name: String,
    /// Outline of the body with the toolbar.
    pub body_m: Vec<[f64; 2]>,
    /// The antennas.
    pub antennas_m: Vec<[f64; 2]>,
    /// How far the seed outlets lie ahead of the reference point; behind is negative.
    pub tool_x_m: f64,
    /// Offset of each tool row to the right, left to right.
    pub row_offsets_m: Vec<f64>,
    /// Smallest radius of the reference point's path; 0 where it only turns on the spot.
    pub turning_radius_m: f64,
}

/// Figures of a field or of a whole job.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Figures {
    /// Inside the boundary; `worked + headland + keep_out + left_over`.
    pub field_m2: f64,
    /// Inside the fence.
    pub soil_m2: f64,
    /// Covered by rows, sown headland included.
    pub worked_m2: f64,
    /// Headland left unsown on purpose.
    pub headland_m2: f64,
    /// Keep-outs with their clearance.
    pub keep_out_m2: f64,
    /// Soil that no row covers, each piece with its reason in `plan.geojson`.
    pub left_over_m2: f64,
    /// Covered by rows of two lanes, each a strip of the row spacing's width: where rows end at a slanting edge
    /// of their block, half of the strip reaches over it.
    pub overlap_m2: f64,
    /// Lanes driven.
    pub lanes: u64,
    /// Ways between two lanes.
    pub turns: u64,
    /// Metres driven in lanes.
    pub lane_m: f64,
    /// Metres driven in turns.
    pub turn_m: f64,
    /// Metres driven from home and back.
    pub transit_m: f64,
    /// Seeds on the lattice.
    pub seeds: u64,
    /// Of these, seeds that tyres pass over in later turns and transits.
    pub seeds_driven_over: u64,
    /// Seconds in lanes.
    pub work_s: f64,
    /// Seconds in turns, lifting and lowering the tool included.
    pub turn_s: f64,
    /// Seconds from home and back.
    pub transit_s: f64,
    /// Seconds standing for refills.
    pub stop_s: f64,
    /// Worked area over what the working width covers in the total time at working speed.
    pub field_efficiency: f64,
    /// Seconds that turns and transits count more in the choice among them for crossing sown rows;
    /// no time that passes.
    #[serde(default)]
    pub toll_s: f64,
    /// Seconds that they count more for stretches of more than ten metres in reverse; no time that passes.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub backing_s: f64,
    /// Seconds of turns and transits, toll included, in the best order of these lanes that could
    /// exist: a proven lower bound on orders of ways that count their time once they are planned, and no more than they
    /// could take before.
    pub route_bound_s: f64,
    /// Seconds, toll included, that turns by refill points count more than the same turns without the stop.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub refill_detours_s: f64,
    /// Share of the route's turns and transits, toll and backing included, lifting and detours by refill points left
    /// out, that lies above the bound.
    pub route_gap: f64,
}

/// Figures of one field.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct FieldFigures {
    /// Its name.
    pub name: String,
    /// What stands on it.
    pub crop: Crop,
    /// Where the machine may be taken out of it.
    #[serde(default)]
    pub ways_out: Vec<WayOut>,
    /// Its figures.
    #[serde(flatten)]
    pub figures: Figures,
}

/// A place where the machine may be taken out of a field, for a fault or for the night.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct WayOut {
    /// The entrance's name, or `home` where the job names no entrance.
    pub name: String,
    /// Longitude and latitude, degrees.
    pub at: [f64; 2],
    /// Ends of lanes near it, in driving order, where the machine may be halted for that.
    pub holds: Vec<Hold>,
}

/// The end of a lane near a way out.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Hold {
    /// The lane's number in driving order.
    pub after: usize,
    /// How far it ends from the way out, straight.
    pub metres: f64,
}

/// What stands on a field.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Crop {
    /// The species.
    pub name: String,
    /// The variety.
    pub variety: String,
    /// Seeding depth.
    pub depth_m: f64,
    /// Between neighbouring rows.
    pub row_spacing_m: f64,
    /// Mass of a thousand seeds.
    pub thousand_seed_g: f64,
    /// Share of seeds that germinate.
    pub germination: f64,
    /// Share of germinated seeds that emerge.
    pub field_emergence: f64,
}

/// What the tools of a weeding pass do on one field.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Weeding {
    /// The field.
    pub field: String,
    /// Day of the work, `2027-06-02`.
    pub date: String,
    /// How deep the tools work.
    pub depth_m: f64,
    /// Speed with the tools in the soil.
    pub speed_m_per_s: f64,
    /// The highest speed at which the window between two plants still opens, for a blade in the row.
    pub fastest_m_per_s: Option<f64>,
    /// How far leaves reach from a plant's middle.
    pub plant_radius_m: f64,
    /// What stays clear round a plant's place.
    pub clear_m: f64,
    /// Standard deviations of a plant's place from the tool over it, along and across its row, for each
    /// tool row.
    pub sigma_m: Vec<[f64; 2]>,
    /// Width that is worked in the middle between two rows.
    pub between_rows_m: f64,
    /// The blade in the row.
    pub blade: Option<Blade>,
    /// Share of the sown surface that is worked.
    pub surface: f64,
    /// Share of the band along the row that is worked.
    pub row_band: f64,
    /// Share of the places whose plant stands where tools pass.
    pub loss: f64,
    /// Share of the places whose plant is touched at a leaf, at most.
    pub touched: f64,
}

/// A blade that swings into the row between two plants.
#[derive(Copy, Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Blade {
    /// Its width along the row.
    pub width_m: f64,
    /// Driven while it crosses the band along the row.
    pub in_m: f64,
    /// Driven while it withdraws.
    pub out_m: f64,
    /// Width of that band.
    pub row_band_m: f64,
}

/// One proof.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Check {
    /// The field that it is about.
    pub field: String,
    /// The rule that it proves.
    pub rule: String,
    /// What is left before the rule would be broken.
    pub margin: f64,
    /// Unit of the margin.
    pub unit: String,
    /// How much the true margin may exceed this one, in the same unit; left out where it is exact but
    /// for rounding.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tolerance: Option<f64>,
    /// Longitude and latitude where the margin is smallest.
    #[serde(rename = "where")]
    pub place: Option<[f64; 2]>,
}

/// One thing that the compiler had to say.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Finding {
    /// The rule.
    pub rule: String,
    /// `note`, `warning` or `error`.
    pub severity: String,
    /// The fact.
    pub message: String,
    /// What to type so that it passes.
    pub hint: Option<String>,
    /// The file that it is about.
    pub file: Option<String>,
    /// First and last byte, exclusive, in that file.
    pub bytes: Option<[usize; 2]>,
    /// Longitude and latitude that it is about.
    #[serde(rename = "where")]
    pub place: Option<[f64; 2]>,
}

/// A file read or written.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct File {
    /// Its path: an input's as the job names it, an output's within the folder; `/` between parts.
    pub path: String,
    /// SHA-256 of its bytes, lower-case hexadecimal.
    pub sha256: String,
}

impl Manifest {
    /// The manifest as text, indented.
    pub fn to_json(&self) -> serde_json::Result<String> {
        serde_json::to_string_pretty(self).map(|text| text + "\n")
    }

    /// Reads a manifest.
    pub fn from_json(text: &str) -> serde_json::Result<Self> {
        serde_json::from_str(text)
    }
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "the serializer hands over a reference")]
fn is_zero(value: &f64) -> bool {
    *value == 0.0
}

/// The JSON Schema of the manifest.
pub fn json_schema() -> Schema {
    let mut schema = schema_for!(Manifest);
    schema.insert("title".into(), "Lanewright manifest".into());
    schema
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_schema_is_current() {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/manifest.schema.json");
        let now = serde_json::to_string_pretty(&json_schema()).unwrap() + "\n";
        if std::env::var_os("UPDATE_SCHEMA").is_some() {
            std::fs::write(path, &now).unwrap();
        }
        let published = std::fs::read_to_string(path).unwrap_or_default();
        assert!(published == now, "run the tests of this crate with UPDATE_SCHEMA=1 and commit {path}");
    }

    #[test]
    fn unknown_keys_are_refused() {
        let file = r#"{"path":"map.svg","sha256":"00","size":1}"#;
        assert!(serde_json::from_str::<File>(file).is_err());
    }
}
