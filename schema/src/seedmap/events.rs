//! `weed-events.parquet`: one row an event of a weeding tool, GeoParquet 1.1 (Open Geospatial
//! Consortium, 2024).
//!
//! Columns: `field`, `block`, `row`, `index` (of the plant or seed beside which it happens), `lane` (by
//! driving order), `event` (`in`: the tool begins its way into the soil; `out`: it begins its way
//! back), `distance` (metres of the machine's reference point from the lane's beginning), `speed`
//! (metres per second), `x`, `y` (the tool, metres in the field frame), `longitude`, `latitude`, and
//! `geometry`, the point of `x` and `y` with the field frame's PROJJSON. Groups are made one at a
//! time, so memory depends on no number of events.

use super::parquet::{Bounds, Header};
use parquet::basic::{Compression, Encoding, LogicalType, Repetition, Type as Physical, ZstdLevel};
use parquet::data_type::{ByteArray, ByteArrayType, DataType, DoubleType, Int32Type};
use parquet::errors::Result;
use parquet::file::metadata::KeyValue;
use parquet::file::properties::{EnabledStatistics, WriterProperties, WriterPropertiesPtr};
use parquet::file::writer::{SerializedFileWriter, SerializedRowGroupWriter};
use parquet::schema::types::{ColumnPath, PrimitiveTypeBuilder, Type, TypePtr};
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

/// Writes the file, a row group for each of the columns handed in.
pub fn write(
    out: &mut dyn Write,
    header: &Header,
    groups: impl Iterator<Item = EventColumns>,
) -> io::Result<()> {
    let mut bounds = Bounds::NONE;
    let mut file = root()
        .and_then(|root| SerializedFileWriter::new(Vec::new(), root, properties()?))
        .map_err(io::Error::other)?;
    for rows in groups {
        bounds = bounds.and(Bounds::of(&rows.x, &rows.y));
        append(&mut file, &rows).map_err(io::Error::other)?;
        file.flush()?;
        out.write_all(&std::mem::take(file.inner_mut()))?;
    }
    file.append_key_value_metadata(KeyValue::new("geo".to_owned(), header.geo(bounds).to_string()));
    out.write_all(&file.into_inner().map_err(io::Error::other)?)
}

fn append(file: &mut SerializedFileWriter<Vec<u8>>, rows: &EventColumns) -> Result<()> {
    let mut group = file.next_row_group()?;
    let word = |event: &Event| ByteArray::from(if *event == Event::In { "in" } else { "out" });
    column::<ByteArrayType>(&mut group, &vec![ByteArray::from(rows.field.as_str()); rows.x.len()])?;
    for values in [&rows.block, &rows.row, &rows.index, &rows.lane] {
        column::<Int32Type>(&mut group, values)?;
    }
    column::<ByteArrayType>(&mut group, &rows.event.iter().map(word).collect::<Vec<_>>())?;
    let places = [&rows.x, &rows.y, &rows.longitude, &rows.latitude, &rows.x, &rows.y];
    for values in [&rows.distance, &rows.speed].into_iter().chain(places) {
        column::<DoubleType>(&mut group, values)?;
    }
    group.close().map(|_| ())
}

fn column<T: DataType>(group: &mut SerializedRowGroupWriter<'_, Vec<u8>>, values: &[T::T]) -> Result<()> {
    if let Some(mut column) = group.next_column()? {
        column.typed::<T>().write_batch(values, None, None)?;
        column.close()?;
    }
    Ok(())
}

const WORDS: [&str; 2] = ["field", "event"];
const INTEGERS: [&str; 4] = ["block", "row", "index", "lane"];
const NUMBERS: [&str; 6] = ["distance", "speed", "x", "y", "longitude", "latitude"];

fn properties() -> Result<WriterPropertiesPtr> {
    let mut properties = WriterProperties::builder()
        .set_created_by(concat!("lanewright ", env!("CARGO_PKG_VERSION")).to_owned())
        .set_compression(Compression::ZSTD(ZstdLevel::try_new(1)?))
        .set_dictionary_enabled(false)
        .set_statistics_enabled(EnabledStatistics::Chunk)
        .set_offset_index_disabled(true);
    for name in WORDS {
        properties = properties.set_column_dictionary_enabled(ColumnPath::from(name), true);
    }
    for name in INTEGERS {
        properties = properties.set_column_encoding(ColumnPath::from(name), Encoding::DELTA_BINARY_PACKED);
    }
    let point = ["x", "y"].map(|name| ColumnPath::from(vec!["geometry".to_owned(), name.to_owned()]));
    for path in NUMBERS.map(ColumnPath::from).into_iter().chain(point) {
        properties = properties.set_column_encoding(path, Encoding::BYTE_STREAM_SPLIT);
    }
    Ok(Arc::new(properties.build()))
}

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
            event: vec![Event::In, Event::Out],
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
        write(&mut bytes, &header, [group(1), group(2)].into_iter()).unwrap();
        let reader = SerializedFileReader::new(Bytes::from(bytes)).unwrap();
        let rows: Vec<_> = reader.get_row_iter(None).unwrap().map(Result::unwrap).collect();
        assert_eq!(rows.len(), 4);
        assert_eq!(rows[3].get_string(5).unwrap(), "out");
        assert_eq!(rows[3].get_int(4).unwrap(), 2);
        assert!((rows[3].get_double(6).unwrap() - 1.75).abs() < f64::EPSILON);
        let pairs = reader.metadata().file_metadata().key_value_metadata().unwrap();
        let geo = pairs.iter().find(|pair| pair.key == "geo").unwrap().value.as_ref().unwrap();
        let geo: Value = serde_json::from_str(geo).unwrap();
        assert_eq!(geo["columns"]["geometry"]["bbox"], json!([10.0, -3.0, 10.25, -3.0]));
    }
}
