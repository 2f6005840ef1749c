//! From a parsed TOML tree to the types of [`language`](super::language), collecting every problem
//! on the way instead of stopping at the first.
//!
//! In: a tree whose nodes know their place. Out: a value, or nothing when anything inside was
//! wrong. The decoder settles types, units and words; what the values mean is not its business.

use super::problem::{Place, Problem, ProblemKind, Written};
use super::sources::Files;
use super::table::{Key, Table, table_schema};
use super::units::{self, NotQuantity, Quantity, Share};
use crate::quantity::{
    Angle, AngularSpeed, GeoPoint, Heading, Length, Mass, Speed, Temperature, ThermalTime, Time,
};
use chrono::NaiveDate;
use schemars::{Schema, SchemaGenerator, json_schema};
use std::sync::Arc;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// A node of the TOML tree.
pub type Node<'t> = Spanned<DeValue<'t>>;

/// A type that a job can hold.
pub trait Decode: Sized {
    /// Whether a table must have a key of this type.
    const REQUIRED: bool = true;
    /// The value where the key is absent; `None` where it must not be.
    fn absent() -> Option<Self> {
        None
    }
    /// Reads the node; tells the reader what is wrong where it cannot.
    fn decode(node: &Node<'_>, reader: &mut Reader<'_>) -> Option<Self>;
    /// What an editor may know about it.
    fn schema(generator: &mut SchemaGenerator) -> Schema;
}

/// What the decoder carries along: the file it is in, the key it is at, the problems so far.
pub struct Reader<'s> {
    /// The file that the nodes come from.
    pub file: Arc<str>,
    /// The way to other files, with the memory of which were read.
    pub files: Files<'s>,
    /// Everything found so far.
    pub problems: Vec<Problem>,
    /// The key whose value is being read.
    pub key: Option<&'static Key>,
}

impl Reader<'_> {
    /// The place of a node in the current file.
    pub fn place<T>(&self, node: &Spanned<T>) -> Place {
        Place { file: self.file.clone(), bytes: node.span() }
    }

    /// Tells one problem.
    pub fn tell<T>(
        &mut self,
        kind: ProblemKind,
        node: &Spanned<T>,
        message: String,
        label: impl Into<String>,
        hint: Option<String>,
    ) {
        let place = Some(self.place(node));
        self.problems.push(Problem { kind, place, message, label: label.into(), hint });
    }

    /// Tells that another type belongs here.
    pub fn wrong_type(&mut self, node: &Node<'_>, expected: &str) {
        let found = &type_in_words(node.get_ref());
        let (key, hint) = match self.key {
            Some(key) => {
                (format!("`{}`", key.name), Some(format!("for example `{} = {}`", key.name, key.example)))
            }
            None => ("this".to_owned(), None),
        };
        self.tell(
            ProblemKind::WrongType,
            node,
            format!("{key} needs {expected}, not {found}"),
            format!("{found} here"),
            hint,
        );
    }

    /// Tells that the value is of the right type and still none of those allowed.
    pub fn wrong_value(&mut self, node: &Node<'_>, message: String, hint: Option<String>) {
        self.tell(ProblemKind::WrongValue, node, message, "", hint);
    }
}

fn type_in_words(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(_) => "text".to_owned(),
        DeValue::Integer(number) => format!("the number {number}"),
        DeValue::Float(number) => format!("the number {number}"),
        DeValue::Boolean(truth) => truth.to_string(),
        DeValue::Datetime(_) => "a date".to_owned(),
        DeValue::Array(items) => format!("a list of {}", items.len()),
        DeValue::Table(_) => "a table".to_owned(),
    }
}

/// The number in a node, whole or not.
pub fn number(node: &Node<'_>) -> Option<f64> {
    match node.get_ref() {
        DeValue::Integer(_) => whole(node).map(|value| value as f64),
        DeValue::Float(float) => float.as_str().parse().ok().filter(|value: &f64| value.is_finite()),
        _ => None,
    }
}

fn whole(node: &Node<'_>) -> Option<i64> {
    let integer = node.get_ref().as_integer()?;
    i64::from_str_radix(integer.as_str(), integer.radix()).ok()
}

impl Decode for String {
    fn decode(node: &Node<'_>, reader: &mut Reader<'_>) -> Option<Self> {
        let text = node.get_ref().as_str();
        match text {
            Some(text) if text.trim().is_empty() => {
                let key = reader.key.map_or("this", |key| key.name);
                reader.wrong_value(node, format!("`{key}` is empty"), None);
                None
            }
            Some(text) => Some(text.trim().to_owned()),
            None => {
                reader.wrong_type(node, "text");
                None
            }
        }
    }
    fn schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "string", "minLength": 1 })
    }
}

impl Decode for bool {
    fn decode(node: &Node<'_>, reader: &mut Reader<'_>) -> Option<Self> {
        let value = node.get_ref().as_bool();
        if value.is_none() {
            reader.wrong_type(node, "true or false");
        }
        value
    }
    fn schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "boolean" })
    }
}

impl Decode for u32 {
    fn decode(node: &Node<'_>, reader: &mut Reader<'_>) -> Option<Self> {
        let value = whole(node).and_then(|value| Self::try_from(value).ok());
        if value.is_none() {
            reader.wrong_type(node, "a whole number of zero or more");
        }
        value
    }
    fn schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "integer", "minimum": 0 })
    }
}

impl Decode for f64 {
    fn decode(node: &Node<'_>, reader: &mut Reader<'_>) -> Option<Self> {
        let value = number(node);
        if value.is_none() {
            reader.wrong_type(node, "a number");
        }
        value
    }
    fn schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "number" })
    }
}

impl Decode for NaiveDate {
    fn decode(node: &Node<'_>, reader: &mut Reader<'_>) -> Option<Self> {
        let date = match node.get_ref() {
            DeValue::Datetime(moment) if moment.time.is_none() => moment.date,
            _ => None,
        };
        let day = date.and_then(|date| {
            Self::from_ymd_opt(i32::from(date.year), u32::from(date.month), u32::from(date.day))
        });
        if day.is_none() {
            reader.wrong_type(node, "a date without quotes and without a time");
        }
        day
    }
    fn schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "string", "format": "date" })
    }
}

impl Decode for GeoPoint {
    fn decode(node: &Node<'_>, reader: &mut Reader<'_>) -> Option<Self> {
        let pair = node.get_ref().as_array().and_then(|array| match array.as_ref() {
            [latitude, longitude] => Some((number(latitude)?, number(longitude)?)),
            _ => None,
        });
        if pair.is_none() {
            reader.wrong_type(node, "a position as [latitude, longitude] in degrees");
        }
        pair.map(|(latitude, longitude)| Self { longitude, latitude })
    }
    fn schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({
            "type": "array",
            "prefixItems": [
                { "type": "number", "minimum": -90, "maximum": 90 },
                { "type": "number", "minimum": -180, "maximum": 180 }
            ],
            "minItems": 2,
            "maxItems": 2
        })
    }
}

/// Reads a quantity; its problems show the fix.
fn decode_quantity<Q: Quantity>(node: &Node<'_>, reader: &mut Reader<'_>) -> Option<Q> {
    let key = reader.key;
    let name = key.map_or("this", |key| key.name);
    // The first quoted text of the key's example is the example of one value.
    let example = key.and_then(|key| key.example.split('"').nth(1)).unwrap_or_default();
    let bare = |reader: &mut Reader<'_>, value: f64| {
        let fixed = units::suggest::<Q>(value, example);
        reader.tell(
            ProblemKind::BareNumber,
            node,
            format!("`{name}` is a bare number; {} needs its unit", Q::NAME),
            "unit missing",
            Some(format!("write `\"{fixed}\"`, with the unit that is meant: {}", units::list::<Q>())),
        );
    };
    let Some(text) = node.get_ref().as_str() else {
        match number(node) {
            Some(value) => bare(reader, value),
            None => reader.wrong_type(node, &format!("{} such as `\"{example}\"`", Q::NAME)),
        }
        return None;
    };
    match units::parse::<Q>(text) {
        Ok(quantity) => return Some(quantity),
        Err(NotQuantity::BareNumber(value)) => bare(reader, value),
        Err(NotQuantity::WrongUnit { number, unit }) => reader.tell(
            ProblemKind::WrongUnit,
            node,
            format!("`{unit}` is not a unit of `{name}`, which is {}", Q::NAME),
            format!("`{unit}` here"),
            Some(format!(
                "write `\"{}\"`; the units are {}",
                units::suggest::<Q>(number, example),
                units::list::<Q>()
            )),
        ),
        Err(NotQuantity::DecimalComma) => reader.wrong_value(
            node,
            format!("`{name}` has a decimal comma"),
            Some(format!("write `\"{}\"`", text.trim().replacen(',', ".", 1))),
        ),
        Err(NotQuantity::NoNumber) => reader.wrong_value(
            node,
            format!("`{text}` is not {}", Q::NAME),
            Some(format!("write a number and its unit, `\"{example}\"`")),
        ),
    }
    None
}

macro_rules! decode_quantities {
    ($($quantity:ty),+) => { $(
        impl Decode for $quantity {
            fn decode(node: &Node<'_>, reader: &mut Reader<'_>) -> Option<Self> {
                decode_quantity(node, reader)
            }
            fn schema(_: &mut SchemaGenerator) -> Schema {
                quantity_schema::<Self>()
            }
        }
    )+ };
}
decode_quantities!(Length, Speed, Mass, Time, Angle, Heading, Share, AngularSpeed, Temperature, ThermalTime);

/// The text pattern of a quantity.
pub fn quantity_schema<Q: Quantity>() -> Schema {
    let symbols: Vec<&str> = Q::UNITS.iter().map(|unit| unit.symbol).collect();
    let pattern = format!(r"^\s*[+-]?[0-9]+(\.[0-9]+)?([eE][+-]?[0-9]+)?\s*({})\s*$", symbols.join("|"));
    json_schema!({ "type": "string", "pattern": pattern })
}

impl<T: Decode> Decode for Written<T> {
    const REQUIRED: bool = T::REQUIRED;
    fn decode(node: &Node<'_>, reader: &mut Reader<'_>) -> Option<Self> {
        let place = reader.place(node);
        T::decode(node, reader).map(|value| Self { value, place })
    }
    fn schema(generator: &mut SchemaGenerator) -> Schema {
        T::schema(generator)
    }
}

impl<T: Decode> Decode for Option<T> {
    const REQUIRED: bool = false;
    fn absent() -> Option<Self> {
        Some(None)
    }
    fn decode(node: &Node<'_>, reader: &mut Reader<'_>) -> Option<Self> {
        T::decode(node, reader).map(Some)
    }
    fn schema(generator: &mut SchemaGenerator) -> Schema {
        T::schema(generator)
    }
}

impl<T: Decode> Decode for Vec<T> {
    fn decode(node: &Node<'_>, reader: &mut Reader<'_>) -> Option<Self> {
        let Some(array) = node.get_ref().as_array() else {
            reader.wrong_type(node, "a list");
            return None;
        };
        decode_all(array, reader)
    }
    fn schema(generator: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "array", "items": T::schema(generator) })
    }
}

impl<T: Decode, const N: usize> Decode for [T; N] {
    fn decode(node: &Node<'_>, reader: &mut Reader<'_>) -> Option<Self> {
        match node.get_ref().as_array() {
            Some(array) if array.len() == N => decode_all::<T>(array, reader)?.try_into().ok(),
            _ => {
                reader.wrong_type(node, &format!("a list of {N}"));
                None
            }
        }
    }
    fn schema(generator: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "array", "items": T::schema(generator), "minItems": N, "maxItems": N })
    }
}

/// A list with more bad items than this is of another kind; the rest of it is not gone through.
const FAILURES_TOLD: usize = 20;

/// Decodes every item, telling the problems of all, before it says whether all are well.
fn decode_all<T: Decode>(nodes: &[Node<'_>], reader: &mut Reader<'_>) -> Option<Vec<T>> {
    let key = reader.key;
    let mut items = Vec::with_capacity(nodes.len());
    let mut failures = 0;
    for node in nodes {
        reader.key = key;
        match T::decode(node, reader) {
            Some(item) => items.push(item),
            None => failures += 1,
        }
        if failures == FAILURES_TOLD {
            break;
        }
    }
    (failures == 0).then_some(items)
}

/// One thing or a list of them: `[[field]]` several times, or `field = "north.toml"`.
#[derive(Clone, Debug, Default)]
pub struct OneOrMore<T>(pub Vec<T>);

impl<T: Decode> Decode for OneOrMore<T> {
    fn decode(node: &Node<'_>, reader: &mut Reader<'_>) -> Option<Self> {
        match node.get_ref().as_array() {
            Some(array) => decode_all(array, reader).map(Self),
            None => T::decode(node, reader).map(|one| Self(vec![one])),
        }
    }
    fn schema(generator: &mut SchemaGenerator) -> Schema {
        let one = T::schema(generator);
        json_schema!({ "anyOf": [one, { "type": "array", "items": one, "minItems": 1 }] })
    }
}

/// A part of the job written in place, or in a file of its own whose path stands in its stead.
#[derive(Clone, Debug)]
pub struct Part<T>(pub T);

impl<T: Table> Decode for Part<T> {
    fn decode(node: &Node<'_>, reader: &mut Reader<'_>) -> Option<Self> {
        match node.get_ref() {
            DeValue::Table(table) => T::decode_table(table, reader.place(node), reader).map(Self),
            DeValue::String(path) => super::decode_part(path, node, reader).map(Self),
            _ => {
                reader.wrong_type(node, "a table, or the path of a file that holds one");
                None
            }
        }
    }
    fn schema(generator: &mut SchemaGenerator) -> Schema {
        let table = table_schema::<T>(generator);
        json_schema!({ "anyOf": [
            table,
            { "type": "string", "description": "Path of a TOML file that holds this table, from the file that names it." }
        ] })
    }
}

/// Decodes the value of one key of a table, or tells that it is missing. The value under a
/// misspelt key is gone through as well, so that its problems are told in the same breath.
pub fn decode_key<T: Decode>(
    table: &DeTable<'_>,
    keys: &'static [Key],
    key: &'static Key,
    place: &Place,
    reader: &mut Reader<'_>,
) -> Option<T> {
    let exact = table.iter().find(|(name, _)| name.get_ref() == key.name);
    let misspelt = || table.iter().find(|(name, _)| likely_key(name.get_ref(), keys) == Some(key.name));
    if let Some((_, node)) = exact.or_else(misspelt) {
        reader.key = Some(key);
        return T::decode(node, reader);
    }
    let absent = T::absent();
    if absent.is_none() {
        reader.problems.push(Problem {
            kind: ProblemKind::MissingKey,
            place: Some(place.clone()),
            message: format!("`{}` is missing", key.name),
            label: format!("no `{}` here", key.name),
            hint: Some(format!("add `{} = {}`", key.name, key.example)),
        });
    }
    absent
}

/// Tells each key that the table does not have, with the nearest that it does.
pub fn tell_unknown_keys(table: &DeTable<'_>, keys: &'static [Key], reader: &mut Reader<'_>) {
    let unknown = table.iter().filter(|(name, _)| !is_key(name.get_ref(), keys));
    for (name, _) in unknown.take(FAILURES_TOLD) {
        let written = name.get_ref();
        let hint = match likely_key(written, keys) {
            Some(near) => format!("did you mean `{near}`?"),
            None => {
                let names: Vec<&str> = keys.iter().map(|key| key.name).collect();
                format!("the keys of this table are {}", names.join(", "))
            }
        };
        reader.tell(
            ProblemKind::UnknownKey,
            name,
            format!("unknown key `{written}`"),
            "not a key of this table",
            Some(hint),
        );
    }
}

fn is_key(written: &str, keys: &[Key]) -> bool {
    keys.iter().any(|key| key.name == written)
}

/// The key that a misspelt one stands for.
fn likely_key(written: &str, keys: &'static [Key]) -> Option<&'static str> {
    let near = nearest(written, keys.iter().map(|key| key.name));
    near.filter(|_| !is_key(written, keys))
}

/// The word most like the written one, if it is like it at all.
pub fn nearest<'n>(written: &str, names: impl Iterator<Item = &'n str>) -> Option<&'n str> {
    let fold = |name: &str| name.to_lowercase().replace(['-', ' '], "_");
    let written = fold(written.get(..64).unwrap_or(written));
    names
        .map(|name| (name, strsim::normalized_damerau_levenshtein(&written, &fold(name))))
        .filter(|(_, likeness)| *likeness > 0.6)
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .map(|(name, _)| name)
}
