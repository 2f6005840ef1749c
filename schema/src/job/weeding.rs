//! The language of a weeding job: one pass over what a sowing job has sown. It names the folder that
//! the sowing job's compile left, and everything of the field comes from there.

use super::decode::{Decode, Node, Part, Reader, decode_key, nearest, number, tell_unknown_keys};
use super::problem::{Place, Problem, ProblemKind, Written};
use super::sources::{SourceError, resolve};
use super::table::{Key, Table, decode_node, table, table_schema, words};
use super::{Draft, Machine};
use crate::quantity::{Length, Speed, Temperature, ThermalTime, Time};
use chrono::NaiveDate;
use schemars::{Schema, SchemaGenerator, json_schema};
use toml::de::DeTable;

/// A job of either kind, as far as its text could be read.
#[derive(Clone, Debug)]
pub enum Asked {
    /// Fields to be sown.
    Sowing(Box<Draft>),
    /// A pass over what was sown.
    Weeding(Box<WeedingFile>),
}

impl Table for Asked {
    const NAME: &'static str = Draft::NAME;
    const ABOUT: &'static str = Draft::ABOUT;
    const KEYS: &'static [Key] = Draft::KEYS;

    fn decode_table(table: &DeTable<'_>, place: Place, reader: &mut Reader<'_>) -> Option<Self> {
        if table.contains_key("sown") {
            WeedingFile::decode_table(table, place, reader).map(|file| Self::Weeding(Box::new(file)))
        } else {
            Draft::decode_table(table, place, reader).map(|draft| Self::Sowing(Box::new(draft)))
        }
    }

    fn key_schemas(generator: &mut SchemaGenerator) -> Vec<Schema> {
        Draft::key_schemas(generator)
    }
}

table! {
    /// A weeding job: one pass over what a sowing job has sown, computed from the folder that the
    /// sowing job's compile left.
    pub struct WeedingFile {
        /// Path of that folder, from this file.
        sown: Written<SownFiles> = "\"out/plain-field\"";
        /// SHA-256 of the folder's `manifest.json`, which holds those of the maps: a folder that was
        /// changed since is refused. Left out: a warning tells the digest to write.
        sown_digest: Option<Written<String>> = "\"ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad\"";
        /// Names of the fields that are weeded. Left out: all fields of the folder.
        fields: Option<Written<Vec<Written<String>>>> = "[\"Lower Sallow\"]";
        /// Frame of the base station on the day of weeding. Left out: the frame of the seed map.
        base_station_frame: Option<Written<String>> = "\"ITRF2014@2027.3\"";
        /// Who wants what by when.
        order: WeedingOrder = "{ title = \"First hoeing\", issued = 2027-05-28 }";
        /// The machine that weeds, here or in a file of its own.
        machine: Part<Machine> = "\"machines/ox-6-hoe.toml\"";
        /// What it does.
        pass: Pass = "{ operation = \"inter-row weeding\", date = 2027-06-02, depth = \"2 cm\" }";
    }
}

table! {
    /// Who wants what by when.
    pub struct WeedingOrder {
        /// Title of the work order.
        title: Written<String> = "\"Chicory, first hoeing\"";
        /// Day of issue, a date without quotes.
        issued: Written<NaiveDate> = "2027-05-28";
        /// Who ordered the work.
        customer: Written<String> = "\"Aldermoor Growers' Cooperative\"";
        /// The farm that the fields belong to.
        farm: Written<String> = "\"Sallow Farm\"";
        /// Hours of work in a day, in h; at most 24 h.
        hours_per_day: Written<Time> = "\"10 h\"";
    }
}

words! {
    /// A kind of weeding.
    pub enum WeedingName {
        /// Before the crop is up, over its seeds.
        PreEmergence = "pre-emergence weeding";
        /// Between the rows.
        InterRow = "inter-row weeding";
        /// In the row, between the plants.
        IntraRow = "intra-row weeding";
    }
}

words! {
    /// How a pass runs over straight rows.
    pub enum DirectionName {
        /// Along them.
        Along = "along";
        /// At right angles to them.
        Across = "across";
    }
}

table! {
    /// A pass over the field.
    pub struct Pass {
        /// What is done: `pre-emergence weeding`, over the seeds before the crop is up; `inter-row
        /// weeding`, between the rows; `intra-row weeding`, in the row between the plants.
        operation: Written<WeedingName> = "\"inter-row weeding\"";
        /// Day of the work, a date without quotes.
        date: Written<NaiveDate> = "2027-06-02";
        /// How it runs over straight rows: `along` them, or `across`, at right angles, where places of
        /// neighbouring rows stand side by side; bent rows are gone along. Left out: along.
        direction: Option<Written<DirectionName>> = "\"across\"";
        /// How deep the tools work, in cm.
        depth: Written<Length> = "\"2 cm\"";
        /// Speed with the tools in the soil, in km/h. Left out: the machine's working speed.
        speed: Option<Written<Speed>> = "\"1.2 km/h\"";
        /// How far the leaves of a plant reach from its middle on that day, in cm. For weeding beside
        /// plants.
        plant_radius: Option<Written<Length>> = "\"2 cm\"";
        /// How many standard deviations of a plant's place are kept clear round its leaves. Left
        /// out: 2.
        deviations: Option<Written<Factor>> = "2.0";
        /// Tools in the gaps between the rows.
        tools: Option<GapTools> = "{ per_gap = 2, width = \"14 cm\", overlap = \"2 cm\" }";
        /// The blade that works in each row.
        blade: Option<RowBlade> = "{ width = \"4 cm\", travel_in = \"80 ms\", travel_out = \"80 ms\" }";
        /// First day on which plants are expected to be up. For pre-emergence weeding.
        emergence: Option<Written<NaiveDate>> = "2027-04-27";
        /// In its place: what that day is computed from.
        season: Option<Season> = "{ sown_on = 2027-04-14, base_temperature = \"3 °C\", thermal_time = \"90 °C d\", daily = \"logs/spring.csv\" }";
        /// How much shallower than the seed the tools stay, in mm. For pre-emergence weeding. Left
        /// out: 5 mm.
        seed_clearance: Option<Written<Length>> = "\"5 mm\"";
        /// How many seconds of driving it is worth not to drive one metre over the rows, in s; `"0 s"`
        /// where it does not matter. Left out: 3 s.
        over_sown_rows: Option<Written<Time>> = "\"3 s\"";
        /// Path of a CSV table of seeds that were not sown, from the log of sowing: `field`, `block`,
        /// `row`, `index` as in the seed map. The blade stays in the row there.
        missing: Option<Written<NamedFile>> = "\"logs/missing.csv\"";
    }
}

table! {
    /// From sowing to emergence by thermal time: the days until the warmth above a base temperature adds up to
    /// what the crop needs.
    pub struct Season {
        /// Day of sowing, a date without quotes.
        sown_on: Written<NaiveDate> = "2027-04-14";
        /// Temperature below which the crop does not grow, in °C.
        base_temperature: Written<Temperature> = "\"3 °C\"";
        /// Temperature above which more warmth does not hasten it, in °C. Left out: there is none.
        ceiling_temperature: Option<Written<Temperature>> = "\"20 °C\"";
        /// Degree-days from sowing until the first plants are up, in °C d.
        thermal_time: Written<ThermalTime> = "\"90 °C d\"";
        /// Path of a CSV table of the days' temperatures in °C, from the day of sowing on: `date`, and either
        /// `minimum` and `maximum` or `mean`.
        daily: Option<Written<NamedFile>> = "\"logs/spring.csv\"";
        /// In its place: mean temperature of each month, January first, in °C.
        monthly: Option<Written<Vec<Written<Temperature>>>> = "[\"1 °C\", \"2 °C\", \"5 °C\", \"8 °C\", \"13 °C\", \"16 °C\", \"18 °C\", \"17 °C\", \"14 °C\", \"10 °C\", \"5 °C\", \"2 °C\"]";
    }
}

table! {
    /// Tools that work in the gaps between the rows.
    pub struct GapTools {
        /// How many in each gap.
        per_gap: Written<u32> = "2";
        /// Width of one, in cm.
        width: Written<Length> = "\"14 cm\"";
        /// How far neighbours overlap, in cm. Left out: not at all.
        overlap: Option<Written<Length>> = "\"2 cm\"";
    }
}

table! {
    /// A blade that swings into the row between two plants and out before the next.
    pub struct RowBlade {
        /// Its width along the row, in cm.
        width: Written<Length> = "\"4 cm\"";
        /// Time from rest beside the row until it has crossed the band along the row, in ms.
        travel_in: Written<Time> = "\"80 ms\"";
        /// Time back to rest, in ms.
        travel_out: Written<Time> = "\"80 ms\"";
        /// Width of the band along the row that it crosses, in cm. Left out: what a plant needs clear
        /// round it.
        row_band: Option<Written<Length>> = "\"14 cm\"";
    }
}

/// A plain number.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Factor(pub f64);

impl Decode for Factor {
    fn decode(node: &Node<'_>, reader: &mut Reader<'_>) -> Option<Self> {
        let value = number(node);
        if value.is_none() {
            reader.wrong_type(node, "a plain number");
        }
        value.map(Self)
    }
    fn schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "number", "minimum": 0 })
    }
}

/// The largest of a sown folder's files that is read.
const SOWN_LIMIT: usize = 512 << 20;
/// The largest table of missing seeds that is read.
const TABLE_LIMIT: usize = 64 << 20;

/// The files of a sown folder, not yet looked into.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SownFiles {
    /// The folder's path, as opened.
    pub folder: String,
    /// `manifest.json`.
    pub manifest: Vec<u8>,
    /// `plan.geojson`.
    pub plan: Vec<u8>,
    /// `seed-rows.geojson`.
    pub seed_rows: Vec<u8>,
}

impl Decode for SownFiles {
    fn decode(node: &Node<'_>, reader: &mut Reader<'_>) -> Option<Self> {
        let Some(written) = node.get_ref().as_str() else {
            reader.wrong_type(node, "the path of a folder that a sowing job's compile left");
            return None;
        };
        let folder = resolve(&reader.file, written.trim_end_matches('/'));
        let hint = "compile the sowing job first; the path starts at the folder of this file";
        let mut file = |name: &str| read(&format!("{folder}/{name}"), SOWN_LIMIT, hint, node, reader);
        let (manifest, plan, seed_rows) =
            (file("manifest.json")?, file("plan.geojson")?, file("seed-rows.geojson")?);
        Some(Self { folder, manifest, plan, seed_rows })
    }
    fn schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "string", "minLength": 1 })
    }
}

/// A file by its path, with what is in it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NamedFile {
    /// Its path, as opened.
    pub path: String,
    /// Its bytes.
    pub bytes: Vec<u8>,
}

impl Decode for NamedFile {
    fn decode(node: &Node<'_>, reader: &mut Reader<'_>) -> Option<Self> {
        let Some(written) = node.get_ref().as_str() else {
            reader.wrong_type(node, "the path of a file");
            return None;
        };
        let path = resolve(&reader.file, written);
        let bytes = read(&path, TABLE_LIMIT, "a path starts at the folder of this file", node, reader)?;
        Some(Self { path, bytes })
    }
    fn schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "string", "minLength": 1 })
    }
}

fn read(path: &str, limit: usize, hint: &str, node: &Node<'_>, reader: &mut Reader<'_>) -> Option<Vec<u8>> {
    let (kind, message) = match reader.files.read(path, limit) {
        Ok(bytes) => return Some(bytes),
        Err(SourceError::Missing) => (ProblemKind::MissingFile, format!("there is no file `{path}`")),
        Err(SourceError::Unreadable(why)) => {
            (ProblemKind::UnreadableFile, format!("`{path}` cannot be read: {why}"))
        }
        Err(SourceError::TooLarge) => {
            (ProblemKind::TooLarge, format!("`{path}` is larger than {} MiB", limit >> 20))
        }
    };
    let place = Some(reader.place(node));
    reader.problems.push(Problem { kind, place, message, label: String::new(), hint: Some(hint.to_owned()) });
    None
}
