//! `seeds.parquet`: one row a seed, GeoParquet 1.1 (Open Geospatial Consortium, 2024).
//!
//! Columns: `field`, `block`, `row`, `index`, `member` (of the seeds at one place), `lane`, `x`, `y` (metres in the field frame),
//! `longitude`, `latitude`, `sigma_along`, `sigma_across` (metres, standard deviations of the plant's
//! place along and across its row), and `geometry`, the point of `x` and `y` in the standard's native
//! encoding, with the field frame's PROJJSON. Integers are delta-coded; coordinates are split into
//! byte streams and compressed, and are expected on a binary grid, so that their last bytes are
//! zeros. Row groups are encoded on all cores and written in order: the bytes depend on neither
//! thread count nor timing, and memory on neither the number of seeds.

use bytes::Bytes;
use parquet::basic::{Compression, Encoding, LogicalType, Repetition, Type as Physical, ZstdLevel};
use parquet::column::writer::{ColumnCloseResult, get_column_writer, get_typed_column_writer};
use parquet::data_type::{ByteArray, ByteArrayType, DataType, DoubleType, FloatType, Int32Type};
use parquet::errors::Result;
use parquet::file::metadata::{ColumnChunkMetaData, KeyValue};
use parquet::file::properties::{EnabledStatistics, WriterProperties, WriterPropertiesPtr};
use parquet::file::writer::{SerializedFileWriter, SerializedPageWriter, TrackedWrite};
use parquet::schema::types::{
    ColumnDescPtr, PrimitiveTypeBuilder, SchemaDescPtr, SchemaDescriptor, Type, TypePtr,
};
use serde_json::{Value, json};
use std::io::{self, Write};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, sync_channel};
use std::thread;

/// What the file says about itself.
#[derive(Clone, Debug, PartialEq)]
pub struct Header {
    /// The field frame.
    pub projjson: Value,
    /// Decimal year of its coordinates, where its reference frame moves.
    pub epoch: Option<f64>,
}

/// The rows of one row group, column by column; all of one field and of equal length.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SeedColumns {
    /// The field's name.
    pub field: String,
    /// The block whose lattice numbers the seed.
    pub block: Vec<i32>,
    /// Row number in that lattice.
    pub row: Vec<i32>,
    /// Index of its place in the row.
    pub index: Vec<i32>,
    /// Which of the seeds at that place, counted from zero.
    pub member: Vec<i32>,
    /// The lane that sows it, by driving order.
    pub lane: Vec<i32>,
    /// Metres east in the field frame.
    pub x: Vec<f64>,
    /// Metres north in the field frame.
    pub y: Vec<f64>,
    /// Degrees east.
    pub longitude: Vec<f64>,
    /// Degrees north.
    pub latitude: Vec<f64>,
    /// Standard deviation of the plant's place along its row, metres.
    pub sigma_along: Vec<f32>,
    /// Standard deviation of the plant's place across its row, metres.
    pub sigma_across: Vec<f32>,
}

/// Values in a page: what a reader has to hold, and long enough for the compressor.
const PAGE_VALUES: usize = 1 << 16;

/// Writes the file. `make` gives each of the row groups, in any order and on any thread.
pub fn write(
    out: &mut dyn Write,
    header: &Header,
    groups: usize,
    make: impl Fn(usize) -> SeedColumns + Sync,
) -> io::Result<()> {
    let format = root().and_then(Format::new).map_err(io::Error::other)?;
    write_groups(out, header, &format, groups, |group, last| format.encode(&make(group), &mut last.names))
}

/// Writes a file of row groups. `encode` gives each of them, in any order and on any thread; columns that
/// a thread may need again it keeps in [`Last`].
pub(super) fn write_groups(
    out: &mut dyn Write,
    header: &Header,
    format: &Format,
    groups: usize,
    encode: impl Fn(usize, &mut Last) -> Result<Encoded> + Sync,
) -> io::Result<()> {
    let mut file =
        SerializedFileWriter::new(Vec::new(), format.schema.root_schema_ptr(), format.properties.clone())
            .map_err(io::Error::other)?;
    let mut bounds = Bounds::NONE;
    thread::scope(|scope| {
        let queues: Vec<Receiver<Result<Encoded>>> = (0..workers().min(groups))
            .map(|worker| {
                // One group waits while the next is made, so memory stays flat.
                let (sender, queue) = sync_channel(1);
                let encode = &encode;
                let own = (worker..groups).step_by(workers().min(groups));
                scope.spawn(move || {
                    let mut last = Last::default();
                    for group in own {
                        if sender.send(encode(group, &mut last)).is_err() {
                            return;
                        }
                    }
                });
                queue
            })
            .collect();
        for group in 0..groups {
            let encoded = queues[group % queues.len()].recv().map_err(io::Error::other)?;
            let encoded = encoded.map_err(io::Error::other)?;
            bounds = bounds.and(encoded.bounds);
            append(&mut file, encoded.chunks).map_err(io::Error::other)?;
            file.flush()?;
            out.write_all(&std::mem::take(file.inner_mut()))?;
        }
        Ok::<(), io::Error>(())
    })?;
    file.append_key_value_metadata(KeyValue::new("geo".to_owned(), header.geo(bounds).to_string()));
    out.write_all(&file.into_inner().map_err(io::Error::other)?)
}

fn workers() -> usize {
    thread::available_parallelism().map_or(1, usize::from)
}

fn append(file: &mut SerializedFileWriter<Vec<u8>>, chunks: Vec<Chunk>) -> Result<()> {
    let mut group = file.next_row_group()?;
    for chunk in chunks {
        group.append_column(&chunk.bytes, chunk.close)?;
    }
    group.close().map(|_| ())
}

impl Header {
    /// The file's metadata, GeoParquet 1.1.0, section "Metadata".
    pub(super) fn geo(&self, bounds: Bounds) -> Value {
        let mut geometry = json!({
            "encoding": "point",
            "geometry_types": ["Point"],
            "crs": self.projjson,
        });
        if let Some(bbox) = bounds.bbox() {
            geometry["bbox"] = json!(bbox);
        }
        if let Some(epoch) = self.epoch {
            geometry["epoch"] = json!(epoch);
        }
        json!({"version": "1.1.0", "primary_column": "geometry", "columns": {"geometry": geometry}})
    }
}

/// The box round all points.
#[derive(Copy, Clone, Debug, PartialEq)]
pub(super) struct Bounds {
    low: [f64; 2],
    high: [f64; 2],
}

impl Bounds {
    pub(super) const NONE: Self = Self { low: [f64::INFINITY; 2], high: [f64::NEG_INFINITY; 2] };

    pub(super) fn of(x: &[f64], y: &[f64]) -> Self {
        let range = |values: &[f64]| {
            values
                .iter()
                .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), &v| (low.min(v), high.max(v)))
        };
        let ((west, east), (south, north)) = (range(x), range(y));
        Self { low: [west, south], high: [east, north] }
    }

    pub(super) fn and(self, other: Self) -> Self {
        Self {
            low: [self.low[0].min(other.low[0]), self.low[1].min(other.low[1])],
            high: [self.high[0].max(other.high[0]), self.high[1].max(other.high[1])],
        }
    }

    fn bbox(self) -> Option<[f64; 4]> {
        (self.low[0] <= self.high[0]).then_some([self.low[0], self.low[1], self.high[0], self.high[1]])
    }
}

/// A row group ready to be written.
pub(super) struct Encoded {
    pub(super) chunks: Vec<Chunk>,
    pub(super) bounds: Bounds,
}

/// One column of a row group, encoded and compressed.
#[derive(Clone)]
pub(super) struct Chunk {
    bytes: Bytes,
    close: ColumnCloseResult,
}

/// The last columns of words that a thread made, since most row groups need the very same.
#[derive(Default)]
pub(super) struct Last {
    pub(super) names: Names,
    pub(super) words: Option<(Vec<bool>, Chunk)>,
}

/// The last column of field names.
#[derive(Default)]
pub(super) struct Names {
    last: Option<(String, usize, Chunk)>,
}

/// The schema with how each column is encoded.
pub(super) struct Format {
    schema: SchemaDescPtr,
    properties: WriterPropertiesPtr,
}

const INTEGERS: [&str; 5] = ["block", "row", "index", "member", "lane"];
const COORDINATES: [&str; 4] = ["x", "y", "longitude", "latitude"];
const DEVIATIONS: [&str; 2] = ["sigma_along", "sigma_across"];

impl Format {
    /// Of a file with these columns: words by a dictionary, whole numbers by their differences, others by
    /// byte streams.
    pub(super) fn new(root: TypePtr) -> Result<Self> {
        let schema = SchemaDescriptor::new(root);
        let mut properties = WriterProperties::builder()
            .set_created_by(concat!("lanewright ", env!("CARGO_PKG_VERSION")).to_owned())
            .set_compression(Compression::ZSTD(ZstdLevel::try_new(1)?))
            .set_dictionary_enabled(false)
            .set_statistics_enabled(EnabledStatistics::Chunk)
            .set_offset_index_disabled(true)
            .set_write_batch_size(PAGE_VALUES)
            .set_data_page_row_count_limit(PAGE_VALUES);
        for column in schema.columns() {
            let encoding = match column.physical_type() {
                Physical::DOUBLE | Physical::FLOAT => Encoding::BYTE_STREAM_SPLIT,
                Physical::INT32 => Encoding::DELTA_BINARY_PACKED,
                _ => {
                    properties = properties.set_column_dictionary_enabled(column.path().clone(), true);
                    continue;
                }
            };
            properties = properties.set_column_encoding(column.path().clone(), encoding);
            if column.physical_type() == Physical::DOUBLE {
                // The file's box says where the points are.
                let none = EnabledStatistics::None;
                properties = properties.set_column_statistics_enabled(column.path().clone(), none);
            }
        }
        Ok(Self { schema: Arc::new(schema), properties: Arc::new(properties.build()) })
    }

    fn encode(&self, rows: &SeedColumns, names: &mut Names) -> Result<Encoded> {
        let mut chunks = vec![self.names(&rows.field, rows.x.len(), names)?];
        let integers = [&rows.block, &rows.row, &rows.index, &rows.member, &rows.lane];
        for (at, values) in integers.into_iter().enumerate() {
            chunks.push(self.chunk::<Int32Type>(1 + at, values)?);
        }
        for (at, values) in [&rows.x, &rows.y, &rows.longitude, &rows.latitude].into_iter().enumerate() {
            chunks.push(self.chunk::<DoubleType>(1 + INTEGERS.len() + at, values)?);
        }
        for (at, values) in [&rows.sigma_along, &rows.sigma_across].into_iter().enumerate() {
            chunks.push(self.chunk::<FloatType>(1 + INTEGERS.len() + COORDINATES.len() + at, values)?);
        }
        self.repeat(&mut chunks, 1 + INTEGERS.len())?;
        Ok(Encoded { chunks, bounds: Bounds::of(&rows.x, &rows.y) })
    }

    /// Appends the point's coordinates: they are `x` and `y` again, so their bytes are too.
    pub(super) fn repeat(&self, chunks: &mut Vec<Chunk>, x: usize) -> Result<()> {
        for column in [x, x + 1] {
            chunks.push(chunks[column].of_column(&self.schema.column(chunks.len()))?);
        }
        Ok(())
    }

    pub(super) fn names(&self, field: &str, rows: usize, names: &mut Names) -> Result<Chunk> {
        if let Some((name, count, chunk)) = &names.last
            && name == field
            && *count == rows
        {
            return Ok(chunk.clone());
        }
        let chunk = self.chunk::<ByteArrayType>(0, &vec![ByteArray::from(field); rows])?;
        names.last = Some((field.to_owned(), rows, chunk.clone()));
        Ok(chunk)
    }

    pub(super) fn chunk<T: DataType>(&self, column: usize, values: &[T::T]) -> Result<Chunk> {
        let mut sink = TrackedWrite::new(Vec::new());
        let pages = Box::new(SerializedPageWriter::new(&mut sink));
        let mut writer = get_typed_column_writer::<T>(get_column_writer(
            self.schema.column(column),
            self.properties.clone(),
            pages,
        ));
        writer.write_batch(values, None, None)?;
        let close = writer.close()?;
        Ok(Chunk { bytes: sink.into_inner()?.into(), close })
    }
}

impl Chunk {
    /// The same bytes as another column of the same type.
    fn of_column(&self, column: &ColumnDescPtr) -> Result<Self> {
        let from = &self.close.metadata;
        let mut metadata = ColumnChunkMetaData::builder(column.clone())
            .set_compression_codec(from.compression_codec())
            .set_encodings_mask(*from.encodings_mask())
            .set_total_compressed_size(from.compressed_size())
            .set_total_uncompressed_size(from.uncompressed_size())
            .set_num_values(from.num_values())
            .set_data_page_offset(from.data_page_offset());
        if let Some(statistics) = from.statistics() {
            metadata = metadata.set_statistics(statistics.clone());
        }
        Ok(Self {
            bytes: self.bytes.clone(),
            close: ColumnCloseResult { metadata: metadata.build()?, ..self.close.clone() },
        })
    }
}

fn root() -> Result<TypePtr> {
    let mut fields =
        vec![required("field", Physical::BYTE_ARRAY).with_logical_type(Some(LogicalType::String)).build()?];
    for name in INTEGERS {
        fields.push(required(name, Physical::INT32).build()?);
    }
    for name in COORDINATES {
        fields.push(required(name, Physical::DOUBLE).build()?);
    }
    for name in DEVIATIONS {
        fields.push(required(name, Physical::FLOAT).build()?);
    }
    let point = ["x", "y"].map(|name| required(name, Physical::DOUBLE).build().map(Arc::new));
    let geometry = Type::group_type_builder("geometry")
        .with_repetition(Repetition::REQUIRED)
        .with_fields(point.into_iter().collect::<Result<_>>()?)
        .build()?;
    fields.push(geometry);
    let fields = fields.into_iter().map(Arc::new).collect();
    Type::group_type_builder("seeds").with_fields(fields).build().map(Arc::new)
}

fn required(name: &str, physical: Physical) -> PrimitiveTypeBuilder<'_> {
    Type::primitive_type_builder(name, physical).with_repetition(Repetition::REQUIRED)
}

#[cfg(test)]
mod tests {
    use super::*;
    use parquet::file::reader::{FileReader, SerializedFileReader};
    use parquet::record::RowAccessor;

    fn group(number: usize) -> SeedColumns {
        let rows = 1000 + number;
        let count = |from: i32| (from..).take(rows).collect::<Vec<i32>>();
        let grid = |scale: f64| (0..rows).map(|i| i as f64 * scale).collect::<Vec<f64>>();
        SeedColumns {
            field: format!("Field {}", number % 2),
            block: vec![0; rows],
            row: vec![-7; rows],
            index: count(-20),
            member: vec![0; rows],
            lane: vec![number as i32 + 1; rows],
            x: grid(0.25),
            y: grid(-0.5),
            longitude: grid(0.125),
            latitude: grid(0.0625),
            sigma_along: vec![0.025; rows],
            sigma_across: vec![0.03125; rows],
        }
    }

    fn file(groups: usize) -> Vec<u8> {
        let header = Header { projjson: json!({"type": "ProjectedCRS"}), epoch: Some(2027.5) };
        let mut bytes = Vec::new();
        write(&mut bytes, &header, groups, group).unwrap();
        bytes
    }

    /// The crate's own reader finds every value, in order; other readers are tried in `tests/`.
    #[test]
    fn what_is_written_is_read_back() {
        let reader = SerializedFileReader::new(Bytes::from(file(5))).unwrap();
        let mut rows = reader.get_row_iter(None).unwrap();
        for number in 0..5 {
            let group = group(number);
            for i in 0..group.x.len() {
                let row = rows.next().unwrap().unwrap();
                assert_eq!(row.get_string(0).unwrap(), &group.field);
                assert_eq!(row.get_int(3).unwrap(), group.index[i]);
                assert_eq!(row.get_int(5).unwrap(), group.lane[i]);
                assert!((row.get_double(6).unwrap() - group.x[i]).abs() < f64::EPSILON);
                assert!((row.get_double(9).unwrap() - group.latitude[i]).abs() < f64::EPSILON);
                assert!((row.get_float(11).unwrap() - group.sigma_across[i]).abs() < f32::EPSILON);
                let point = row.get_group(12).unwrap();
                assert!((point.get_double(1).unwrap() - group.y[i]).abs() < f64::EPSILON);
            }
        }
        assert!(rows.next().is_none());
    }

    #[test]
    fn metadata_are_geoparquet() {
        let reader = SerializedFileReader::new(Bytes::from(file(2))).unwrap();
        let pairs = reader.metadata().file_metadata().key_value_metadata().unwrap();
        let geo = pairs.iter().find(|pair| pair.key == "geo").unwrap().value.as_ref().unwrap();
        let geo: Value = serde_json::from_str(geo).unwrap();
        assert_eq!(geo["version"], "1.1.0");
        let geometry = &geo["columns"][geo["primary_column"].as_str().unwrap()];
        assert_eq!(geometry["encoding"], "point");
        assert_eq!(geometry["bbox"], json!([0.0, -500.0, 250.0, 0.0]));
        assert_eq!(geometry["epoch"], 2027.5);
    }

    #[test]
    fn twice_written_gives_the_same_bytes() {
        assert!(file(7) == file(7));
    }

    #[test]
    fn a_map_without_seeds_is_a_file_without_rows() {
        let reader = SerializedFileReader::new(Bytes::from(file(0))).unwrap();
        assert_eq!(reader.metadata().file_metadata().num_rows(), 0);
    }

    #[test]
    fn a_writer_that_fails_stops_the_work() {
        struct Full;
        impl Write for Full {
            fn write(&mut self, _: &[u8]) -> io::Result<usize> {
                Err(io::ErrorKind::StorageFull.into())
            }
            fn flush(&mut self) -> io::Result<()> {
                Ok(())
            }
        }
        let header = Header { projjson: Value::Null, epoch: None };
        let error = write(&mut Full, &header, 50, group).unwrap_err();
        assert_eq!(error.kind(), io::ErrorKind::StorageFull);
    }
}
