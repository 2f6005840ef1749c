//! Tables of points: comma, semicolon or tab between columns, point or comma in numbers, a row of
//! headings or none.
//!
//! Each row with a position becomes a point; the columns `name`, `code`, `radius`, `clearance` and
//! `field` become its attributes under those names, whatever language of the trade their heading is
//! in. Without headings the columns are told apart by their values, and what was assumed is told.
//! An EPSG code stands in a comment line (`# EPSG:25832`) or in a column `epsg`. Not read: degrees
//! with minutes.

use super::{Content, Format, Geometry, Refusal, Shape, StatedFrame, Vertex};
use csv::{ReaderBuilder, StringRecord, Trim};
use std::borrow::Cow;

/// A longer table is no corner survey.
const MOST_POINTS: usize = 1_000_000;
/// So many rows tell how a table is written.
const SAMPLE: usize = 50;

const HINT: &str =
    "write a heading for each column, such as `name,latitude,longitude,code` or `name,easting,northing,code`";

/// Reads a table.
pub fn read(bytes: &[u8]) -> Result<Content, Refusal> {
    let (text, mut oddities) = decode(bytes);
    let text = text.trim_start_matches('\u{feff}');
    let delimiter = delimiter(text).ok_or_else(|| Refusal::new("is no table of points").hint(HINT))?;
    let rows = rows(text, delimiter)?;
    let (columns, first) = columns(&rows, delimiter, &mut oddities)?;
    let table = Table { delimiter, columns, bytes_known: oddities.is_empty() || text.len() == bytes.len() };
    let mut shapes = Vec::new();
    let mut without = Vec::new();
    for row in &rows[first..] {
        match table.shape(row) {
            Some(shape) => shapes.push(shape),
            None => without.push(row.position().map_or(0, csv::Position::line)),
        }
    }
    oddities.extend(passed_over(&without));
    let frame = stated_frame(text, &rows[first..], &table, &shapes);
    Ok(Content { format: Format::Csv, frame, shapes, oddities })
}

/// The text; what is not UTF-8 is taken for Latin-1, in which every byte is a character.
fn decode(bytes: &[u8]) -> (Cow<'_, str>, Vec<String>) {
    match str::from_utf8(bytes) {
        Ok(text) => (Cow::Borrowed(text), vec![]),
        Err(_) => (
            Cow::Owned(bytes.iter().map(|&byte| char::from(byte)).collect()),
            vec!["the text is not UTF-8; it was read as Latin-1".to_owned()],
        ),
    }
}

/// The separator that gives the rows of the sample the same count of columns, two or more numbers in
/// each but the headings.
fn delimiter(text: &str) -> Option<u8> {
    let lines: Vec<&str> = text.lines().filter(|line| is_row(line)).take(SAMPLE).collect();
    let numbers = |line: &str, delimiter: u8| {
        line.split(char::from(delimiter)).filter(|cell| number(unquoted(cell), delimiter).is_some()).count()
    };
    let fits = |&delimiter: &u8| {
        let with_numbers = lines.iter().filter(|line| numbers(line, delimiter) >= 2).count();
        with_numbers * 2 > lines.len().saturating_sub(1)
    };
    b"\t;,".iter().copied().find(fits).filter(|_| !lines.is_empty())
}

fn is_row(line: &str) -> bool {
    let line = line.trim();
    !line.is_empty() && !line.starts_with('#')
}

fn unquoted(cell: &str) -> &str {
    cell.trim().trim_matches('"')
}

fn rows(text: &str, delimiter: u8) -> Result<Vec<StringRecord>, Refusal> {
    let mut reader = ReaderBuilder::new()
        .delimiter(delimiter)
        .has_headers(false)
        .flexible(true)
        .comment(Some(b'#'))
        .trim(Trim::All)
        .from_reader(text.as_bytes());
    let mut rows = Vec::new();
    for row in reader.records() {
        rows.push(row.map_err(|error| Refusal::new(format!("is not a table: {error}")))?);
        if rows.len() > MOST_POINTS {
            return Err(Refusal::new(format!(
                "has more than {MOST_POINTS} rows; it is no survey of corners"
            )));
        }
    }
    Ok(rows)
}

/// A number with a decimal point, or with a comma where commas do not separate columns.
fn number(text: &str, delimiter: u8) -> Option<f64> {
    let digits = text.bytes().any(|byte| byte.is_ascii_digit());
    let plain = text.bytes().all(|byte| byte.is_ascii_digit() || b"+-.,eE".contains(&byte));
    if !digits || !plain {
        return None;
    }
    let value: f64 = match text.split_once(',') {
        Some((whole, part)) if delimiter != b',' && !part.contains([',', '.']) && !whole.contains('.') => {
            format!("{whole}.{part}").parse().ok()?
        }
        _ => text.parse().ok()?,
    };
    value.is_finite().then_some(value)
}

/// Which column holds what.
#[derive(Clone, Debug, Default, PartialEq)]
struct Columns {
    x: usize,
    y: usize,
    in_degrees: bool,
    frame: Option<usize>,
    /// Name of the attribute and its column.
    attributes: Vec<(&'static str, usize)>,
}

const LATITUDE: &[&str] = &["latitude", "lat", "breite"];
const LONGITUDE: &[&str] = &["longitude", "long", "lon", "lng", "länge"];
const EASTING: &[&str] = &["easting", "east", "e", "x", "rechtswert", "ostwert"];
const NORTHING: &[&str] = &["northing", "north", "n", "y", "hochwert", "nordwert"];
const FRAME: &[&str] = &["epsg", "crs", "srid"];
const ATTRIBUTES: &[(&str, &[&str])] = &[
    (
        "name",
        &["name", "point", "point name", "point id", "pointid", "point no", "id", "no", "nr", "number", "pt"],
    ),
    (
        "code",
        &["code", "point code", "feature code", "kind", "type", "feature", "description", "desc", "remark"],
    ),
    ("radius", &["radius", "r"]),
    ("clearance", &["clearance"]),
    ("field", &["field", "field name", "partfield", "parcel"]),
];

/// The columns, and the first row that holds a point.
fn columns(
    rows: &[StringRecord],
    delimiter: u8,
    oddities: &mut Vec<String>,
) -> Result<(Columns, usize), Refusal> {
    let Some(first) = rows.first() else { return Err(Refusal::new("is no table of points").hint(HINT)) };
    let has_headings = first.iter().filter(|cell| number(cell, delimiter).is_some()).count() < 2;
    if has_headings {
        let columns = by_headings(first, rows.get(1), delimiter).ok_or_else(|| {
            let headings: Vec<&str> = first.iter().take(12).collect();
            Refusal::new(format!("has no columns of positions among `{}`", headings.join("`, `")))
                .place(0)
                .hint(HINT)
        })?;
        return Ok((columns, 1));
    }
    let columns = by_values(rows, delimiter)
        .ok_or_else(|| Refusal::new("has no two columns of numbers that could be positions").hint(HINT))?;
    let (first, second) =
        if columns.in_degrees { ("longitude", "latitude") } else { ("easting", "northing") };
    oddities.push(format!(
        "the table has no headings; column {} is taken as {first}, column {} as {second}",
        columns.x + 1,
        columns.y + 1
    ));
    Ok((columns, 0))
}

fn by_headings(headings: &StringRecord, row: Option<&StringRecord>, delimiter: u8) -> Option<Columns> {
    let folded: Vec<String> = headings.iter().map(fold_heading).collect();
    let find =
        |words: &[&str]| words.iter().find_map(|word| folded.iter().position(|heading| heading == word));
    let (x, y, named_degrees) = match (find(LONGITUDE), find(LATITUDE)) {
        (Some(x), Some(y)) => (x, y, true),
        _ => (find(EASTING)?, find(NORTHING)?, false),
    };
    let small = |column: usize, limit: f64| {
        let cell = row.and_then(|row| row.get(column)).and_then(|cell| number(cell, delimiter));
        cell.is_some_and(|value| value.abs() <= limit)
    };
    // Headings `x` and `y` are used for degrees as well; eastings in a map grid are never so small.
    let in_degrees = named_degrees || (small(x, 180.0) && small(y, 90.0));
    let attributes = ATTRIBUTES.iter().filter_map(|(name, words)| Some((*name, find(words)?))).collect();
    Some(Columns { x, y, in_degrees, frame: find(FRAME), attributes })
}

/// A heading without its unit, its case and its underscores.
fn fold_heading(heading: &str) -> String {
    let bare = heading.split(['[', '(']).next().unwrap_or(heading);
    let bare = bare.trim().to_lowercase().replace(['_', '-', '.'], " ");
    bare.strip_suffix(" m").or_else(|| bare.strip_suffix(" deg")).unwrap_or(&bare).trim().to_owned()
}

/// Without headings: a column of names or none, two columns of positions, perhaps heights, codes.
fn by_values(rows: &[StringRecord], delimiter: u8) -> Option<Columns> {
    let sample = &rows[..rows.len().min(SAMPLE)];
    let width = sample.iter().map(StringRecord::len).min()?;
    let cells = |column: usize| sample.iter().map(move |row| row.get(column).unwrap_or_default());
    let numeric = |column: &usize| cells(*column).all(|cell| number(cell, delimiter).is_some());
    let counted = |column: usize| cells(column).all(|cell| cell.bytes().all(|byte| byte.is_ascii_digit()));
    let mut numbers: Vec<usize> = (0..width).filter(numeric).collect();
    let mut attributes = Vec::new();
    if numbers.len() > 2 && numbers[0] == 0 && counted(0) {
        numbers.remove(0);
        attributes.push(("name", 0));
    }
    let (&first, &second) = (numbers.first()?, numbers.get(1)?);
    if first > 0 && attributes.is_empty() {
        attributes.push(("name", 0));
    }
    let code = (second + 1..width).find(|column| !numeric(column));
    attributes.extend(code.map(|column| ("code", column)));
    let within = |column: usize, limit: f64| {
        cells(column).filter_map(|cell| number(cell, delimiter)).all(|value| value.abs() <= limit)
    };
    let in_degrees = within(first, 90.0) && within(second, 180.0);
    let (x, y) = if in_degrees { (second, first) } else { (first, second) };
    Some(Columns { x, y, in_degrees, frame: None, attributes })
}

struct Table {
    delimiter: u8,
    columns: Columns,
    bytes_known: bool,
}

impl Table {
    fn shape(&self, row: &StringRecord) -> Option<Shape> {
        let value = |column: usize| number(row.get(column)?, self.delimiter);
        let (x, y) = (value(self.columns.x)?, value(self.columns.y)?);
        let start = row.position().map_or(0, |position| position.byte() as usize);
        let length: usize = row.iter().map(str::len).sum::<usize>() + row.len().saturating_sub(1);
        let vertex =
            if self.bytes_known { Vertex::at(x, y, start..start + length) } else { Vertex::new(x, y) };
        let attributes = self.columns.attributes.iter().filter_map(|&(name, column)| {
            let cell = row.get(column).filter(|cell| !cell.is_empty())?;
            Some((name.to_owned(), self.plain(name, cell)))
        });
        Some(Shape { attributes: attributes.collect(), geometry: Geometry::Point(vertex) })
    }

    /// Lengths leave with a decimal point, however the table writes them.
    fn plain(&self, name: &str, cell: &str) -> String {
        let length = ["radius", "clearance"].contains(&name);
        let value = if length { number(cell, self.delimiter) } else { None };
        value.map_or_else(|| cell.to_owned(), |value| value.to_string())
    }
}

fn stated_frame(text: &str, rows: &[StringRecord], table: &Table, shapes: &[Shape]) -> StatedFrame {
    let in_column = table.columns.frame.and_then(|column| rows.first()?.get(column));
    let in_comment = text.lines().filter(|line| line.starts_with('#')).find_map(|line| {
        let at = line.to_ascii_uppercase().find("EPSG")?;
        line.get(at + 4..)
    });
    let code = in_column.or(in_comment).map(|code| {
        let digits = code.trim_start_matches(|c: char| !c.is_ascii_digit());
        digits.split(|c: char| !c.is_ascii_digit()).next().unwrap_or_default()
    });
    match code.filter(|code| !code.is_empty()) {
        Some(code) => StatedFrame::Named(format!("EPSG:{code}")),
        None if table.columns.in_degrees && !shapes.is_empty() => StatedFrame::Degrees,
        None => StatedFrame::Unnamed,
    }
}

fn passed_over(lines: &[u64]) -> Option<String> {
    let first = lines.first()?;
    Some(match lines.len() {
        1 => format!("line {first} has no position and is passed over"),
        many => format!("{many} rows have no position and are passed over, the first in line {first}"),
    })
}
