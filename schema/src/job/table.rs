//! One definition for a table of the job: its struct, its documentation, its decoder and its JSON
//! Schema come from the same lines, so they cannot disagree.

use super::decode::{Node, Reader};
use super::problem::Place;
use schemars::{Schema, SchemaGenerator, json_schema};
use serde_json::{Map, Value};
use toml::de::DeTable;

/// One key of a table.
#[derive(Debug)]
pub struct Key {
    /// As written.
    pub name: &'static str,
    /// What it means.
    pub about: &'static str,
    /// A value in TOML.
    pub example: &'static str,
    /// Whether the table must have it.
    pub required: bool,
}

/// A table of the job.
pub trait Table: Sized {
    /// Its name in the schema.
    const NAME: &'static str;
    /// What it is.
    const ABOUT: &'static str;
    /// Its keys, in the order in which a person would write them.
    const KEYS: &'static [Key];
    /// Reads every key; `place` is where the table begins.
    fn decode_table(table: &DeTable<'_>, place: Place, reader: &mut Reader<'_>) -> Option<Self>;
    /// The schema of each key, in the order of [`Table::KEYS`].
    fn key_schemas(generator: &mut SchemaGenerator) -> Vec<Schema>;
}

/// Reads a node that must be a table.
pub fn decode_node<T: Table>(node: &Node<'_>, reader: &mut Reader<'_>) -> Option<T> {
    if let Some(table) = node.get_ref().as_table() {
        T::decode_table(table, reader.place(node), reader)
    } else {
        reader.wrong_type(node, "a table");
        None
    }
}

/// The JSON Schema of a table.
pub fn table_schema<T: Table>(generator: &mut SchemaGenerator) -> Schema {
    let mut properties = Map::new();
    for (key, mut schema) in T::KEYS.iter().zip(T::key_schemas(generator)) {
        schema.insert("description".to_owned(), key.about.trim().into());
        if let Some(example) = example_as_json(key) {
            schema.insert("examples".to_owned(), Value::Array(vec![example]));
        }
        properties.insert(key.name.to_owned(), schema.to_value());
    }
    let required: Vec<&str> = T::KEYS.iter().filter(|key| key.required).map(|key| key.name).collect();
    json_schema!({
        "title": T::NAME,
        "description": T::ABOUT.trim(),
        "type": "object",
        "additionalProperties": false,
        "required": required,
        "properties": properties
    })
}

fn example_as_json(key: &Key) -> Option<Value> {
    let document: toml::Table = format!("example = {}", key.example).parse().ok()?;
    document.get("example").map(to_json)
}

fn to_json(value: &toml::Value) -> Value {
    match value {
        toml::Value::String(text) => text.clone().into(),
        toml::Value::Integer(number) => (*number).into(),
        toml::Value::Float(number) => (*number).into(),
        toml::Value::Boolean(truth) => (*truth).into(),
        toml::Value::Datetime(moment) => moment.to_string().into(),
        toml::Value::Array(items) => items.iter().map(to_json).collect(),
        toml::Value::Table(table) => {
            Value::Object(table.iter().map(|(key, value)| (key.clone(), to_json(value))).collect())
        }
    }
}

/// Defines a table: a struct with its keys, each with its meaning, type and an example in TOML.
macro_rules! table {
    (
        $(#[doc = $about:literal])*
        pub struct $name:ident {
            $( $(#[doc = $key_about:literal])* $key:ident: $type:ty = $example:literal; )+
        }
    ) => {
        $(#[doc = $about])*
        #[derive(Clone, Debug)]
        pub struct $name {
            $(
                $(#[doc = $key_about])*
                #[doc = ""]
                #[doc = concat!("Example: `", stringify!($key), " = ", $example, "`")]
                pub $key: $type,
            )+
            /// Where the table begins.
            pub place: Place,
        }

        impl Table for $name {
            const NAME: &'static str = stringify!($name);
            const ABOUT: &'static str = concat!($($about),*);
            const KEYS: &'static [Key] = &[$(Key {
                name: stringify!($key),
                about: concat!($($key_about),*),
                example: $example,
                required: <$type as Decode>::REQUIRED,
            }),+];

            fn decode_table(table: &DeTable<'_>, place: Place, reader: &mut Reader<'_>) -> Option<Self> {
                tell_unknown_keys(table, Self::KEYS, reader);
                let mut keys = Self::KEYS.iter();
                $( let $key = decode_key::<$type>(table, Self::KEYS, keys.next()?, &place, reader); )+
                Some(Self { $( $key: $key?, )+ place })
            }

            fn key_schemas(generator: &mut SchemaGenerator) -> Vec<Schema> {
                vec![$(<$type as Decode>::schema(generator)),+]
            }
        }

        impl Decode for $name {
            fn decode(node: &Node<'_>, reader: &mut Reader<'_>) -> Option<Self> {
                decode_node(node, reader)
            }
            fn schema(generator: &mut SchemaGenerator) -> Schema {
                table_schema::<Self>(generator)
            }
        }
    };
}

/// Defines a list of words of which one is written.
macro_rules! words {
    (
        $(#[doc = $about:literal])*
        pub enum $name:ident { $( $(#[doc = $word_about:literal])* $variant:ident = $word:literal; )+ }
    ) => {
        $(#[doc = $about])*
        #[derive(Copy, Clone, Debug, PartialEq, Eq)]
        pub enum $name { $( $(#[doc = $word_about])* $variant, )+ }

        impl Decode for $name {
            fn decode(node: &Node<'_>, reader: &mut Reader<'_>) -> Option<Self> {
                const WORDS: &[&str] = &[$($word),+];
                match node.get_ref().as_str() {
                    $( Some($word) => return Some(Self::$variant), )+
                    Some(other) => {
                        let near = nearest(other, WORDS.iter().copied());
                        let hint = match near {
                            Some(near) => format!("did you mean `\"{near}\"`?"),
                            None => format!("write one of: {}", WORDS.join(", ")),
                        };
                        reader.wrong_value(node, format!("`{other}` is not one of: {}", WORDS.join(", ")), Some(hint));
                    }
                    None => reader.wrong_type(node, &format!("one of: {}", WORDS.join(", "))),
                }
                None
            }
            fn schema(_: &mut SchemaGenerator) -> Schema {
                json_schema!({ "type": "string", "enum": [$($word),+] })
            }
        }
    };
}

pub(super) use table;
pub(super) use words;
