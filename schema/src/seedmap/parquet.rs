//! `seeds.parquet`: one row a seed, GeoParquet 1.1 (Open Geospatial Consortium, 2024).
//!
//! Columns: `field`, `block`, `row`, `index`, `member` (of the seeds at one place), `lane`, `x`, `y` (metres in the field frame),
//! `longitude`, `latitude`, `sigma_along`, `sigma_across` (metres, standard deviations of the plant's
//! place along and across its row), and `geometry`, the point of `x` and `y` in the standard's native
//! encoding, with the field frame's PROJJSON. Integers are delta-coded; coordinates are split into
//! byte streams and compressed, and are expected on a binary grid, so that their last bytes are
//! zeros. Row groups are encoded on all cores and written in order (`in_order`): the bytes depend on
//! neither thread count nor timing, and memory not on the number of seeds. A column that is the same as in
//! the row group before is not encoded anew.

use super::in_order::{in_order, processors};
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
use std::array;
use std::io::{self, Write};
use std::iter::repeat_n;
use std::sync::Arc;

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
    pub block: Repeated<i32>,
    /// Row number in that lattice.
    pub row: Repeated<i32>,
    /// Index of its place in the row.
    pub index: Vec<i32>,
    /// Which of the seeds at that place, counted from zero.
    pub member: Vec<i32>,
    /// The lane that sows it, by driving order.
    pub lane: Repeated<i32>,
    /// Metres east in the field frame.
    pub x: Vec<f64>,
    /// Metres north in the field frame.
    pub y: Vec<f64>,
    /// Degrees east.
    pub longitude: Vec<f64>,
    /// Degrees north.
    pub latitude: Vec<f64>,
    /// Standard deviation of the plant's place along its row, metres.
    pub sigma_along: Repeated<f32>,
    /// Standard deviation of the plant's place across its row, metres.
    pub sigma_across: Repeated<f32>,
}

impl SeedColumns {
    /// No rows yet, and room for so many.
    pub fn with_room(field: String, rows: usize) -> Self {
        Self {
            field,
            index: Vec::with_capacity(rows),
            member: Vec::with_capacity(rows),
            x: Vec::with_capacity(rows),
            y: Vec::with_capacity(rows),
            longitude: Vec::with_capacity(rows),
            latitude: Vec::with_capacity(rows),
            ..Self::default()
        }
    }
}

/// A column whose values stay the same for many rows: each value with how many rows have it.
#[derive(Clone, Debug, PartialEq)]
pub struct Repeated<T>(Vec<(T, usize)>);

impl<T> Default for Repeated<T> {
    fn default() -> Self {
        Self(Vec::new())
    }
}

impl<T: Copy + PartialEq> Repeated<T> {
    /// Appends so many rows of one value.
    pub fn push(&mut self, value: T, rows: usize) {
        if rows == 0 {
            return;
        }
        match self.0.last_mut() {
            Some((last, so_far)) if *last == value => *so_far += rows,
            _ => self.0.push((value, rows)),
        }
    }

    /// The values, row by row.
    pub fn values(&self) -> Vec<T> {
        let mut values = Vec::with_capacity(self.0.iter().map(|(_, rows)| rows).sum());
        for &(value, rows) in &self.0 {
            values.extend(repeat_n(value, rows));
        }
        values
    }
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
    write_on(processors(), out, header, groups, make)
}

fn write_on(
    threads: usize,
    out: &mut dyn Write,
    header: &Header,
    groups: usize,
    make: impl Fn(usize) -> SeedColumns + Sync,
) -> io::Result<()> {
    let format = root().and_then(Format::new).map_err(io::Error::other)?;
    let encode = |group, last: &mut Last| format.encode(make(group), last);
    write_groups(threads, out, header, &format, groups, encode)
}

/// Writes a file of row groups. `encode` gives each of them, in any order and on any of so many threads;
/// chunks that a thread may need again it keeps in `K`.
pub(super) fn write_groups<K: Default>(
    threads: usize,
    out: &mut dyn Write,
    header: &Header,
    format: &Format,
    groups: usize,
    encode: impl Fn(usize, &mut K) -> Result<Encoded> + Sync,
) -> io::Result<()> {
    let mut file =
        SerializedFileWriter::new(Vec::new(), format.schema.root_schema_ptr(), format.properties.clone())
            .map_err(io::Error::other)?;
    let mut bounds = Bounds::NONE;
    in_order(threads, groups, encode, |encoded| {
        let encoded = encoded.map_err(io::Error::other)?;
        bounds = bounds.and(encoded.bounds);
        append(&mut file, encoded.chunks).map_err(io::Error::other)?;
        file.flush()?;
        out.write_all(&std::mem::take(file.inner_mut()))
    })?;
    file.append_key_value_metadata(KeyValue::new("geo".to_owned(), header.geo(bounds).to_string()));
    out.write_all(&file.into_inner().map_err(io::Error::other)?)
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

/// The lowest and the highest value, sought in eight columns so that the processor compares several at a
/// time.
fn range(values: &[f64]) -> (f64, f64) {
    let lower = |a: f64, b: f64| if b < a { b } else { a };
    let higher = |a: f64, b: f64| if b > a { b } else { a };
    let (mut low, mut high) = ([f64::INFINITY; 8], [f64::NEG_INFINITY; 8]);
    let (eights, rest) = values.as_chunks::<8>();
    for eight in eights {
        low = array::from_fn(|at| lower(low[at], eight[at]));
        high = array::from_fn(|at| higher(high[at], eight[at]));
    }
    let rest = || rest.iter().copied();
    let low = low.into_iter().chain(rest()).fold(f64::INFINITY, lower);
    (low, high.into_iter().chain(rest()).fold(f64::NEG_INFINITY, higher))
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

/// The chunk of one column that a thread made last, with what it was made of: most row groups need the
/// very same of some columns.
pub(super) struct Kept<K>(Option<(K, Chunk)>);

impl<K> Default for Kept<K> {
    fn default() -> Self {
        Self(None)
    }
}

impl<K: PartialEq> Kept<K> {
    /// The chunk of these values, made anew only where they differ from the last.
    pub(super) fn chunk(&mut self, of: K, make: impl FnOnce(&K) -> Result<Chunk>) -> Result<Chunk> {
        if let Some((same, chunk)) = &self.0
            && *same == of
        {
            return Ok(chunk.clone());
        }
        let chunk = make(&of)?;
        self.0 = Some((of, chunk.clone()));
        Ok(chunk)
    }
}

/// The field's name and how often it is said.
pub(super) type Names = (String, usize);

#[derive(Default)]
struct Last {
    names: Kept<Names>,
    block: Kept<Repeated<i32>>,
    member: Kept<Vec<i32>>,
    sigma_along: Kept<Repeated<f32>>,
    sigma_across: Kept<Repeated<f32>>,
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

    fn encode(&self, rows: SeedColumns, last: &mut Last) -> Result<Encoded> {
        let integers = |column, values: &[i32]| self.chunk::<Int32Type>(column, values);
        let numbers = |column, values: &[f64]| self.chunk::<DoubleType>(column, values);
        let deviations = |column, values: &Repeated<f32>| self.chunk::<FloatType>(column, &values.values());
        let mut chunks = vec![
            last.names.chunk((rows.field, rows.x.len()), |names| self.names(names))?,
            last.block.chunk(rows.block, |block| integers(1, &block.values()))?,
            integers(2, &rows.row.values())?,
            integers(3, &rows.index)?,
            last.member.chunk(rows.member, |member| integers(4, member))?,
            integers(5, &rows.lane.values())?,
            numbers(6, &rows.x)?,
            numbers(7, &rows.y)?,
            numbers(8, &rows.longitude)?,
            numbers(9, &rows.latitude)?,
            last.sigma_along.chunk(rows.sigma_along, |sigma| deviations(10, sigma))?,
            last.sigma_across.chunk(rows.sigma_across, |sigma| deviations(11, sigma))?,
        ];
        self.repeat(&mut chunks, 6)?;
        Ok(Encoded { chunks, bounds: Bounds::of(&rows.x, &rows.y) })
    }

    /// Appends the point's coordinates: they are `x` and `y` again, so their bytes are too.
    pub(super) fn repeat(&self, chunks: &mut Vec<Chunk>, x: usize) -> Result<()> {
        for column in [x, x + 1] {
            chunks.push(chunks[column].of_column(&self.schema.column(chunks.len()))?);
        }
        Ok(())
    }

    pub(super) fn names(&self, (field, rows): &Names) -> Result<Chunk> {
        self.chunk::<ByteArrayType>(0, &vec![ByteArray::from(field.as_str()); *rows])
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

    /// Four groups after each other are of one length and block, two of one name and deviation.
    fn group(number: usize) -> SeedColumns {
        let rows = 1000 + number / 4;
        let count = |from: i32| (from..).take(rows).collect::<Vec<i32>>();
        let grid = |scale: f64| (0..rows).map(|i| i as f64 * scale).collect::<Vec<f64>>();
        let mut columns = SeedColumns {
            index: count(-20),
            member: vec![number as i32 / 3; rows],
            x: grid(0.25),
            y: grid(-0.5),
            longitude: grid(0.125),
            latitude: grid(0.0625),
            ..SeedColumns::with_room(format!("Field {}", number / 2 % 2), rows)
        };
        columns.block.push(number as i32 / 4, rows);
        columns.row.push(-7, 300);
        columns.row.push(-6, rows - 300);
        columns.lane.push(number as i32 + 1, rows);
        columns.sigma_along.push(0.025 + (number / 2) as f32, rows);
        columns.sigma_across.push(0.03125, 10 * number);
        columns.sigma_across.push(0.0625, rows - 10 * number);
        columns
    }

    fn file_on(threads: usize, groups: usize) -> Vec<u8> {
        let header = Header { projjson: json!({"type": "ProjectedCRS"}), epoch: Some(2027.5) };
        let mut bytes = Vec::new();
        write_on(threads, &mut bytes, &header, groups, group).unwrap();
        bytes
    }

    fn file(groups: usize) -> Vec<u8> {
        file_on(2, groups)
    }

    /// The crate's own reader finds every value, in order; other readers are tried in `tests/`.
    #[test]
    fn what_is_written_is_read_back() {
        let reader = SerializedFileReader::new(Bytes::from(file(9))).unwrap();
        let mut rows = reader.get_row_iter(None).unwrap();
        for number in 0..9 {
            let group = group(number);
            let [block, row, lane] = [&group.block, &group.row, &group.lane].map(Repeated::values);
            let sigmas = [&group.sigma_along, &group.sigma_across].map(Repeated::values);
            let coordinates = [&group.x, &group.y, &group.longitude, &group.latitude];
            for i in 0..group.x.len() {
                let read = rows.next().unwrap().unwrap();
                assert_eq!(read.get_string(0).unwrap(), &group.field);
                let integers = [block[i], row[i], group.index[i], group.member[i], lane[i]];
                assert_eq!([1, 2, 3, 4, 5].map(|column| read.get_int(column).unwrap()), integers);
                let doubles = [6, 7, 8, 9].map(|column| read.get_double(column).unwrap());
                assert_eq!(doubles, coordinates.map(|values| values[i]));
                let floats = [10, 11].map(|column| read.get_float(column).unwrap());
                assert_eq!(floats, [sigmas[0][i], sigmas[1][i]]);
                let point = read.get_group(12).unwrap();
                assert_eq!([0, 1].map(|axis| point.get_double(axis).unwrap()), [group.x[i], group.y[i]]);
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
        assert_eq!(geometry["bbox"], json!([0.0, -499.5, 249.75, 0.0]));
        assert_eq!(geometry["epoch"], 2027.5);
    }

    /// With one thread a group finds the columns of the group before it kept, with several those of others.
    #[test]
    fn any_number_of_threads_gives_the_same_bytes() {
        let once = file_on(1, 23);
        for threads in [1, 2, 3, 8] {
            assert!(file_on(threads, 23) == once, "{threads} threads");
        }
    }

    #[test]
    fn bounds_find_an_extreme_anywhere() {
        for count in [1, 7, 8, 19] {
            for at in 0..count {
                let mut values = vec![5.0; count];
                values[at] = -2.0;
                let low = range(&values).0;
                values[at] = 9.0;
                assert_eq!((low, range(&values).1), (-2.0, 9.0));
            }
        }
        assert_eq!(Bounds::of(&[], &[]).bbox(), None);
    }

    #[test]
    fn a_repeated_value_goes_on() {
        let mut column = Repeated::default();
        for (value, rows) in [(4, 2), (4, 1), (5, 0), (4, 1), (6, 2)] {
            column.push(value, rows);
        }
        assert_eq!(column.values(), [4, 4, 4, 4, 6, 6]);
        let mut same = Repeated::default();
        same.push(4, 4);
        same.push(6, 2);
        assert_eq!(column, same);
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
