//! A job as far as its text could be read: each table by itself, so that what one of them means can
//! be checked although another has a slip in it.

use super::decode::{Decode, OneOrMore, Part, Reader, decode_key, tell_unknown_keys};
use super::problem::Place;
use super::table::{Key, Table};
use super::{BaseStation, Crop, Field, Frames, JobFile, Machine, Order};
use schemars::{Schema, SchemaGenerator};
use toml::de::DeTable;

/// The tables of a [`JobFile`], each `None` where something in it could not be read.
#[derive(Clone, Debug)]
pub struct Draft {
    /// Who wants what by when.
    pub order: Option<Order>,
    /// The reference frames.
    pub frames: Option<Frames>,
    /// The base station; the inner `None` where the job has none.
    pub base_station: Option<Option<BaseStation>>,
    /// The machine.
    pub machine: Option<Part<Machine>>,
    /// The crops, all or none.
    pub crop: Option<OneOrMore<Part<Crop>>>,
    /// The fields, all or none.
    pub field: Option<OneOrMore<Part<Field>>>,
    /// Where the job begins.
    pub place: Place,
}

impl Table for Draft {
    const NAME: &'static str = JobFile::NAME;
    const ABOUT: &'static str = JobFile::ABOUT;
    const KEYS: &'static [Key] = JobFile::KEYS;

    fn decode_table(table: &DeTable<'_>, place: Place, reader: &mut Reader<'_>) -> Option<Self> {
        tell_unknown_keys(table, Self::KEYS, reader);
        Some(Self {
            order: part(table, "order", &place, reader),
            frames: part(table, "frames", &place, reader),
            base_station: part(table, "base_station", &place, reader),
            machine: part(table, "machine", &place, reader),
            crop: part(table, "crop", &place, reader),
            field: part(table, "field", &place, reader),
            place,
        })
    }

    fn key_schemas(generator: &mut SchemaGenerator) -> Vec<Schema> {
        JobFile::key_schemas(generator)
    }
}

fn part<T: Decode>(table: &DeTable<'_>, name: &str, place: &Place, reader: &mut Reader<'_>) -> Option<T> {
    let key = JobFile::KEYS.iter().find(|key| key.name == name)?;
    decode_key(table, JobFile::KEYS, key, place, reader)
}
