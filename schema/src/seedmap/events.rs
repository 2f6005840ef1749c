//! `weed-events.parquet`: one row an event of a weeding tool, GeoParquet 1.1 (Open Geospatial
//! Consortium, 2024).
//!
//! Columns: `field`, `block`, `row`, `index` (of the plant or seed beside which it happens), `lane` (by
//! driving order), `event` (`in`: the tool begins its way into the soil; `out`: it begins its way
//! back), `distance` (metres of the machine's reference point from the lane's beginning), `speed`
//! (metres per second), `x`, `y` (the tool, metres in the field frame), `longitude`, `latitude`, and
//! `geometry`, the point of `x` and `y` with the field frame's PROJJSON. Row groups are encoded and
//! written as those of `seeds.parquet` are.

use super::in_order::processors;
use super::parquet::{Bounds, Chunk, Encoded, Format, Header, Kept, Names, write_groups};
use parquet::basic::{LogicalType, Repetition, Type as Physical};
use parquet::data_type::{ByteArray, ByteArrayType, DoubleType, Int32Type};
use parquet::errors::Result;
use parquet::schema::types::{PrimitiveTypeBuilder, Type, TypePtr};
use std::io::{self, Write};
use std::sync::Arc;

/// What a tool does.
#[derive(Copy, Clone, Debug, PartialEq, Eq)]
pub enum Event {
    /// It begins its way into the soil.
    In,
    /// It begins its way back.
    Out,
}

/// The rows of one row group, column by column; all of one field and of equal length.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct EventColumns {
    /// The field's name.
    pub field: String,
    /// The block whose lattice numbers the row.
    pub block: Vec<i32>,
    /// Row number in that lattice.
    pub row: Vec<i32>,
    /// Index of the plant beside which it happens.
    pub index: Vec<i32>,
    /// The lane, by driving order.
    pub lane: Vec<i32>,
    /// What happens.
    pub event: Vec<Event>,
    /// Metres of the reference point from the lane's beginning.
    pub distance: Vec<f64>,
    /// Metres per second.
    pub speed: Vec<f64>,
    /// The tool, metres east in the field frame.
    pub x: Vec<f64>,
    /// The tool, metres north in the field frame.
    pub y: Vec<f64>,
    /// Degrees east.
    pub longitude: Vec<f64>,
    /// Degrees north.
    pub latitude: Vec<f64>,
}

/// Writes the file. `make` gives each of the row groups, in any order and on any thread.
pub fn write(
    out: &mut dyn Write,
    header: &Header,
    groups: usize,
    make: impl Fn(usize) -> EventColumns + Sync,
) -> io::Result<()> {
    let format = root().and_then(Format::new).map_err(io::Error::other)?;
    let encode = |group, last: &mut Last| encode(&format, make(group), last);
    write_groups(processors(), out, header, &format, groups, encode)
}

#[derive(Default)]
struct Last {
    names: Kept<Names>,
    /// In and out take turns, so that most row groups have the very same column.
    events: Kept<Vec<Event>>,
}

fn encode(format: &Format, rows: EventColumns, last: &mut Last) -> Result<Encoded> {
    let mut chunks = vec![last.names.chunk((rows.field, rows.x.len()), |names| format.names(names))?];
    for values in [&rows.block, &rows.row, &rows.index, &rows.lane] {
        chunks.push(format.chunk::<Int32Type>(chunks.len(), values)?);
    }
    chunks.push(last.events.chunk(rows.event, |events| words(format, chunks.len(), events))?);
    for values in [&rows.distance, &rows.speed, &rows.x, &rows.y, &rows.longitude, &rows.latitude] {
        chunks.push(format.chunk::<DoubleType>(chunks.len(), values)?);
    }
    let x = chunks.len() - 4;
    format.repeat(&mut chunks, x)?;
    Ok(Encoded { chunks, bounds: Bounds::of(&rows.x, &rows.y) })
}

fn words(format: &Format, column: usize, events: &[Event]) -> Result<Chunk> {
    let (into, out) = (ByteArray::from("in"), ByteArray::from("out"));
    let word = |event: &Event| match event {
        Event::In => into.clone(),
        Event::Out => out.clone(),
    };
    format.chunk::<ByteArrayType>(column, &events.iter().map(word).collect::<Vec<_>>())
}

const INTEGERS: [&str; 4] = ["block", "row", "index", "lane"];
const NUMBERS: [&str; 6] = ["distance", "speed", "x", "y", "longitude", "latitude"];

fn root() -> Result<TypePtr> {
    let text =
        |name| required(name, Physical::BYTE_ARRAY).with_logical_type(Some(LogicalType::String)).build();
    let number = |name: &str| required(name, Physical::DOUBLE).build().map(Arc::new);
    let mut fields = vec![Arc::new(text("field")?)];
    for name in INTEGERS {
        fields.push(Arc::new(required(name, Physical::INT32).build()?));
    }
    fields.push(Arc::new(text("event")?));
    for name in NUMBERS {
        fields.push(number(name)?);
    }
    let geometry = Type::group_type_builder("geometry")
        .with_repetition(Repetition::REQUIRED)
        .with_fields(vec![number("x")?, number("y")?])
        .build()?;
    fields.push(Arc::new(geometry));
    Type::group_type_builder("weed_events").with_fields(fields).build().map(Arc::new)
}

fn required(name: &str, physical: Physical) -> PrimitiveTypeBuilder<'_> {
    Type::primitive_type_builder(name, physical).with_repetition(Repetition::REQUIRED)
}

#[cfg(test)]
mod tests {
    use super::*;
    use bytes::Bytes;
    use parquet::file::reader::{FileReader, SerializedFileReader};
    use parquet::record::RowAccessor;
    use serde_json::{Value, json};

    fn group(lane: i32) -> EventColumns {
        EventColumns {
            field: "Long Acre".into(),
            block: vec![0; 2],
            row: vec![-7; 2],
            index: vec![4, 5],
            lane: vec![lane; 2],
            event: if lane < 3 { vec![Event::In, Event::Out] } else { vec![Event::Out; 2] },
            distance: vec![1.5, 1.75],
            speed: vec![0.25; 2],
            x: vec![10.0, 10.25],
            y: vec![-3.0; 2],
            longitude: vec![8.0, 8.5],
            latitude: vec![50.0; 2],
        }
    }

    #[test]
    fn what_is_written_is_read_back() {
        let header = Header { projjson: json!({"type": "ProjectedCRS"}), epoch: None };
        let mut bytes = Vec::new();
        write(&mut bytes, &header, 3, |number| group(number as i32 + 1)).unwrap();
        let reader = SerializedFileReader::new(Bytes::from(bytes)).unwrap();
        let rows: Vec<_> = reader.get_row_iter(None).unwrap().map(Result::unwrap).collect();
        let events: Vec<&String> = rows.iter().map(|row| row.get_string(5).unwrap()).collect();
        assert_eq!(events, ["in", "out", "in", "out", "out", "out"]);
        assert_eq!(rows[3].get_int(4).unwrap(), 2);
        assert!((rows[3].get_double(6).unwrap() - 1.75).abs() < f64::EPSILON);
        let pairs = reader.metadata().file_metadata().key_value_metadata().unwrap();
        let geo = pairs.iter().find(|pair| pair.key == "geo").unwrap().value.as_ref().unwrap();
        let geo: Value = serde_json::from_str(geo).unwrap();
        assert_eq!(geo["columns"]["geometry"]["bbox"], json!([10.0, -3.0, 10.25, -3.0]));
    }
}
