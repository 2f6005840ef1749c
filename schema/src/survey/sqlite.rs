//! The tables of an SQLite 3 database, read from its bytes.
//!
//! In: the whole file. Out: a table's column names and its rows. Source: "Database File Format",
//! sqlite.org/fileformat2.html. The
//! library of SQLite reads from a disk, and from bytes only where PROJ is built anew with it. Not
//! read: indices, tables without row ids, write-ahead logs, texts in UTF-16.

/// A value of a row.
#[derive(Clone, Debug, PartialEq)]
pub enum Value {
    /// Nothing.
    Null,
    /// A whole number.
    Integer(i64),
    /// A number.
    Real(f64),
    /// A text.
    Text(String),
    /// Bytes.
    Blob(Vec<u8>),
}

/// A table.
#[derive(Clone, Debug)]
pub struct Table {
    /// The names of its columns.
    pub columns: Vec<String>,
    /// Its rows, each as long as the columns.
    pub rows: Vec<Vec<Value>>,
}

impl Table {
    /// The index of a column, its name in any case.
    pub fn column(&self, name: &str) -> Option<usize> {
        self.columns.iter().position(|column| column.eq_ignore_ascii_case(name))
    }
}

/// A database.
pub struct Database<'b> {
    bytes: &'b [u8],
    page_size: usize,
    usable: usize,
}

/// What is wrong with a file, in words.
pub type Damage = &'static str;

const MAGIC: &[u8] = b"SQLite format 3\0";
const ENDS_EARLY: Damage = "the database ends early";
const DAMAGED: Damage = "the database is damaged";
/// Trees of any real size are not deeper.
const DEEPEST: usize = 20;

/// Whether a file is such a database.
pub fn is_database(start: &[u8]) -> bool {
    start.starts_with(MAGIC)
}

impl<'b> Database<'b> {
    /// Opens a database.
    pub fn open(bytes: &'b [u8]) -> Result<Self, Damage> {
        let header = bytes.get(..100).ok_or(ENDS_EARLY)?;
        let page_size = match u16::from_be_bytes([header[16], header[17]]) {
            1 => 65_536,
            size => usize::from(size),
        };
        let usable = page_size.checked_sub(usize::from(header[20])).ok_or(DAMAGED)?;
        if !page_size.is_power_of_two() || usable < 480 {
            return Err(DAMAGED);
        }
        match u32::from_be_bytes([header[56], header[57], header[58], header[59]]) {
            0 | 1 => Ok(Self { bytes, page_size, usable }),
            _ => Err("the database holds its texts in UTF-16"),
        }
    }

    /// A table by its name, in any case; `None` where there is none.
    pub fn table(&self, name: &str) -> Result<Option<Table>, Damage> {
        let schema = self.schema()?;
        let found = schema.into_iter().find(|(known, _, _)| known.eq_ignore_ascii_case(name));
        let Some((_, root, sql)) = found else { return Ok(None) };
        let columns = columns(&sql);
        let width = columns.len();
        let row_id = columns.iter().position(|(_, is_row_id)| *is_row_id);
        let rows = self.rows(root)?.into_iter().map(|(id, mut row)| {
            row.resize(width, Value::Null);
            if let Some(cell) = row_id.and_then(|column| row.get_mut(column)) {
                *cell = Value::Integer(id);
            }
            row
        });
        let rows = rows.collect();
        Ok(Some(Table { columns: columns.into_iter().map(|(name, _)| name).collect(), rows }))
    }

    /// Name, root page and definition of each table.
    fn schema(&self) -> Result<Vec<(String, usize, String)>, Damage> {
        let rows = self.rows(1)?.into_iter().filter_map(|(_, row)| match row.as_slice() {
            [Value::Text(kind), Value::Text(name), _, Value::Integer(root), Value::Text(sql)]
                if kind == "table" =>
            {
                Some((name.clone(), usize::try_from(*root).ok()?, sql.clone()))
            }
            _ => None,
        });
        Ok(rows.collect())
    }

    /// Every row of the tree with this root, in the order of their ids.
    fn rows(&self, root: usize) -> Result<Vec<(i64, Vec<Value>)>, Damage> {
        let mut walk = Walk {
            database: self,
            rows: Vec::new(),
            pages_left: self.page_count(),
            bytes_left: self.bytes.len(),
        };
        walk.page(root, 0)?;
        Ok(walk.rows)
    }

    fn page_count(&self) -> usize {
        self.bytes.len() / self.page_size
    }

    fn page(&self, number: usize) -> Result<&'b [u8], Damage> {
        let start =
            number.checked_sub(1).and_then(|index| index.checked_mul(self.page_size)).ok_or(DAMAGED)?;
        self.bytes.get(start..start + self.page_size).ok_or(ENDS_EARLY)
    }
}

/// A walk through a tree. Each page is there once, so a walk through more pages, or through more
/// bytes of rows, than the file has goes in circles.
struct Walk<'d, 'b> {
    database: &'d Database<'b>,
    rows: Vec<(i64, Vec<Value>)>,
    pages_left: usize,
    bytes_left: usize,
}

impl Walk<'_, '_> {
    fn page(&mut self, number: usize, depth: usize) -> Result<(), Damage> {
        if depth > DEEPEST {
            return Err(DAMAGED);
        }
        self.pages_left = self.pages_left.checked_sub(1).ok_or(DAMAGED)?;
        let page = self.database.page(number)?;
        let header = if number == 1 { 100 } else { 0 };
        let kind = page[header];
        let cells = usize::from(u16_at(page, header + 3)?);
        let pointers = header + if kind == INTERIOR { 12 } else { 8 };
        for cell in 0..cells {
            let at = usize::from(u16_at(page, pointers + 2 * cell)?);
            match kind {
                INTERIOR => self.page(u32_at(page, at)?, depth + 1)?,
                LEAF => self.row(page, at)?,
                _ => return Err(DAMAGED),
            }
        }
        if kind == INTERIOR { self.page(u32_at(page, header + 8)?, depth + 1) } else { Ok(()) }
    }

    fn row(&mut self, page: &[u8], at: usize) -> Result<(), Damage> {
        let mut cell = Cursor { bytes: page.get(at..).ok_or(DAMAGED)? };
        let length = usize::try_from(cell.varint()?).map_err(|_| DAMAGED)?;
        let id = cell.varint()?;
        self.bytes_left = self.bytes_left.checked_sub(length).ok_or(DAMAGED)?;
        let payload = self.payload(cell.bytes, length)?;
        self.rows.push((id, record(&payload)?));
        Ok(())
    }

    /// The payload of a cell, with what overflows it into other pages.
    fn payload(&self, cell: &[u8], length: usize) -> Result<Vec<u8>, Damage> {
        let usable = self.database.usable;
        let most = usable - 35;
        if length <= most {
            return Ok(cell.get(..length).ok_or(DAMAGED)?.to_vec());
        }
        let least = (usable - 12) * 32 / 255 - 23;
        let spread = least + (length - least) % (usable - 4);
        let local = if spread <= most { spread } else { least };
        let mut payload = cell.get(..local).ok_or(DAMAGED)?.to_vec();
        let mut next = u32_at(cell, local)?;
        while payload.len() < length {
            let page = self.database.page(next)?;
            let take = (length - payload.len()).min(usable - 4);
            payload.extend_from_slice(page.get(4..4 + take).ok_or(DAMAGED)?);
            next = u32_at(page, 0)?;
        }
        Ok(payload)
    }
}

const INTERIOR: u8 = 5;
const LEAF: u8 = 13;

fn u16_at(bytes: &[u8], at: usize) -> Result<u16, Damage> {
    let two = bytes.get(at..at + 2).ok_or(DAMAGED)?;
    Ok(u16::from_be_bytes([two[0], two[1]]))
}

fn u32_at(bytes: &[u8], at: usize) -> Result<usize, Damage> {
    let four = bytes.get(at..at + 4).ok_or(DAMAGED)?;
    Ok(u32::from_be_bytes([four[0], four[1], four[2], four[3]]) as usize)
}

struct Cursor<'c> {
    bytes: &'c [u8],
}

impl<'c> Cursor<'c> {
    fn take(&mut self, count: usize) -> Result<&'c [u8], Damage> {
        let (taken, rest) = self.bytes.split_at_checked(count).ok_or(DAMAGED)?;
        self.bytes = rest;
        Ok(taken)
    }

    /// Seven bits a byte, the highest telling whether another follows; the ninth byte is whole.
    fn varint(&mut self) -> Result<i64, Damage> {
        let mut value: u64 = 0;
        for index in 0..9 {
            let byte = self.take(1)?[0];
            if index == 8 {
                return Ok(((value << 8) | u64::from(byte)) as i64);
            }
            value = (value << 7) | u64::from(byte & 0x7f);
            if byte & 0x80 == 0 {
                return Ok(value as i64);
            }
        }
        Ok(value as i64)
    }
}

/// A record: the types of its values, then the values.
fn record(payload: &[u8]) -> Result<Vec<Value>, Damage> {
    let mut head = Cursor { bytes: payload };
    let length = usize::try_from(head.varint()?).map_err(|_| DAMAGED)?;
    let mut body = Cursor { bytes: payload.get(length..).ok_or(DAMAGED)? };
    let head_start = payload.len() - head.bytes.len();
    let mut types = Cursor { bytes: payload.get(head_start..length).ok_or(DAMAGED)? };
    let mut values = Vec::new();
    while !types.bytes.is_empty() {
        values.push(value(types.varint()?, &mut body)?);
    }
    Ok(values)
}

fn value(kind: i64, body: &mut Cursor<'_>) -> Result<Value, Damage> {
    let integer = |bytes: &[u8]| {
        let negative = bytes.first().is_some_and(|byte| byte & 0x80 != 0);
        bytes.iter().fold(if negative { -1 } else { 0_i64 }, |value, byte| (value << 8) | i64::from(*byte))
    };
    Ok(match kind {
        0 => Value::Null,
        1..=4 => Value::Integer(integer(body.take(kind as usize)?)),
        5 => Value::Integer(integer(body.take(6)?)),
        6 => Value::Integer(integer(body.take(8)?)),
        7 => Value::Real(f64::from_bits(integer(body.take(8)?) as u64)),
        8 | 9 => Value::Integer(kind - 8),
        long if long >= 12 => {
            let bytes = body.take(usize::try_from((long - 12) / 2).map_err(|_| DAMAGED)?)?;
            if long % 2 == 0 {
                Value::Blob(bytes.to_vec())
            } else {
                Value::Text(String::from_utf8_lossy(bytes).into_owned())
            }
        }
        _ => return Err(DAMAGED),
    })
}

/// The columns of a `CREATE TABLE`, each with whether it stands for the row's id.
fn columns(sql: &str) -> Vec<(String, bool)> {
    let Some((_, list)) = sql.split_once('(') else { return vec![] };
    let list = list.rsplit_once(')').map_or(list, |(list, _)| list);
    let mut columns = Vec::new();
    for definition in split_outside_brackets(list) {
        let (name, rest) = name_and_rest(definition.trim());
        let keyword = ["CONSTRAINT", "PRIMARY", "UNIQUE", "CHECK", "FOREIGN"];
        if name.is_empty()
            || (!definition.trim().starts_with(['"', '[', '`'])
                && keyword.contains(&name.to_uppercase().as_str()))
        {
            continue;
        }
        let rest = rest.to_uppercase();
        let row_id = rest.trim_start().starts_with("INTEGER") && rest.contains("PRIMARY KEY");
        columns.push((name, row_id));
    }
    columns
}

fn split_outside_brackets(list: &str) -> Vec<&str> {
    let (mut depth, mut quoted, mut start) = (0_i32, None, 0);
    let mut parts = Vec::new();
    for (at, c) in list.char_indices() {
        match (quoted, c) {
            (Some(end), c) if c == end => quoted = None,
            (None, '"' | '`' | '\'') => quoted = Some(c),
            (None, '[') => quoted = Some(']'),
            (None, '(') => depth += 1,
            (None, ')') => depth -= 1,
            (None, ',') if depth == 0 => {
                parts.push(&list[start..at]);
                start = at + 1;
            }
            _ => {}
        }
    }
    parts.push(&list[start..]);
    parts
}

fn name_and_rest(definition: &str) -> (String, &str) {
    let quotes = [('"', '"'), ('`', '`'), ('[', ']'), ('\'', '\'')];
    for (open, close) in quotes {
        if let Some(inner) = definition.strip_prefix(open) {
            let (name, rest) = inner.split_once(close).unwrap_or((inner, ""));
            return (name.to_owned(), rest);
        }
    }
    let end = definition.find(char::is_whitespace).unwrap_or(definition.len());
    (definition[..end].to_owned(), &definition[end..])
}
