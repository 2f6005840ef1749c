//! The TOML job: its `language`, and the way from bytes to what is asked, a [`Draft`] of a sowing job or
//! a [`WeedingFile`].
//!
//! In: the path of a job and the [`Sources`] that hold it and its parts. Out: the job as written,
//! every value with its unit and its place, as far as it could be read, and every problem.

mod decode;
mod draft;
mod language;
mod problem;
mod sources;
mod table;
pub mod units;
mod weeding;

pub use decode::{OneOrMore, Part, nearest};
pub use draft::Draft;
pub use language::*;
pub use problem::{Place, Problem, ProblemKind, Written};
pub use sources::{Files, Input, SourceError, Sources, resolve};
pub use table::{Key, Table};
pub use weeding::*;

use crate::survey::{self, Survey};
use decode::{Node, Reader};
use schemars::generate::SchemaSettings;
use std::sync::Arc;
use toml::de::DeTable;

/// The largest TOML file that is read.
pub const TOML_LIMIT: usize = 8 << 20;

/// A text with more syntax errors than this is no TOML at all, and the rest say nothing new.
const SYNTAX_ERRORS_TOLD: usize = 20;

/// What became of a job's text.
#[derive(Clone, Debug)]
pub struct Parsed {
    /// The job as far as it could be read; complete where there is no problem.
    pub asked: Option<Asked>,
    /// Everything that is wrong, in the order of the files and of the places in them.
    pub problems: Vec<Problem>,
    /// Every file that was read, the job first.
    pub inputs: Vec<Input>,
}

/// Reads a job and every part that it names.
pub fn parse(sources: &dyn Sources, path: &str) -> Parsed {
    let mut reader = Reader {
        file: Arc::from(path),
        files: Files { sources, inputs: Vec::new() },
        problems: Vec::new(),
        key: None,
    };
    let asked = decode_file(path, None, &mut reader);
    let mut problems = reader.problems;
    let inputs = reader.files.inputs;
    problems.sort_by_key(|problem| {
        problem.place.as_ref().map(|place| {
            let file = inputs.iter().position(|input| input.path == *place.file);
            (file, place.bytes.start)
        })
    });
    Parsed { asked, problems, inputs }
}

/// The JSON Schema of a job, for editors.
///
/// # Panics
///
/// Never: a JSON value is always writable.
pub fn json_schema() -> String {
    schema_text::<JobFile>()
}

fn schema_text<T: Table>() -> String {
    let mut generator = SchemaSettings::draft2020_12().into_generator();
    let mut schema = table::table_schema::<T>(&mut generator);
    schema.insert("$schema".to_owned(), "https://json-schema.org/draft/2020-12/schema".into());
    let mut text = serde_json::to_string_pretty(&schema).expect("a JSON value is always writable");
    text.push('\n');
    text
}

/// The JSON Schema of a weeding job.
///
/// # Panics
///
/// Never: a JSON value is always writable.
pub fn weeding_json_schema() -> String {
    schema_text::<WeedingFile>()
}

/// Reads a part of the job that stands in a file of its own.
fn decode_part<T: Table>(written: &str, node: &Node<'_>, reader: &mut Reader<'_>) -> Option<T> {
    let path = resolve(&reader.file, written);
    let outer = std::mem::replace(&mut reader.file, Arc::from(path.as_str()));
    let named_at = Place { file: outer.clone(), bytes: node.span() };
    let part = decode_file(&path, Some(named_at), reader);
    reader.file = outer;
    part
}

/// Reads the survey of a boundary.
fn decode_survey(written: &str, node: &Node<'_>, reader: &mut Reader<'_>) -> Option<Survey> {
    let path = resolve(&reader.file, written);
    let files = &mut reader.files;
    let survey = survey::read(&path, &mut |path, limit| files.read(path, limit));
    match survey {
        Ok(survey) => Some(survey),
        Err(problem) => {
            let place = problem.place.or_else(|| Some(reader.place(node)));
            reader.problems.push(Problem { place, ..problem });
            None
        }
    }
}

/// Decodes a whole file as one table, telling every syntax error first.
fn decode_file<T: Table>(path: &str, named_at: Option<Place>, reader: &mut Reader<'_>) -> Option<T> {
    let text = text_of(path, TOML_LIMIT, named_at, reader)?;
    let (tree, errors) = DeTable::parse_recoverable(&text);
    let syntax_is_sound = errors.is_empty();
    let json = text.trim_start().starts_with('{');
    let hint = if json {
        "this looks like JSON; a boundary in GeoJSON is named by a field's `boundary`"
    } else {
        "write `key = value`, one a line, and text in double quotes"
    };
    for error in errors.into_iter().take(SYNTAX_ERRORS_TOLD) {
        let place = Place { file: reader.file.clone(), bytes: error.span().unwrap_or(0..0) };
        reader.problems.push(Problem {
            kind: ProblemKind::Syntax,
            place: Some(place),
            message: format!("not TOML: {}", error.message()),
            label: String::new(),
            hint: Some(hint.to_owned()),
        });
    }
    // A tree with holes would bring forth problems that vanish with the syntax errors.
    if !syntax_is_sound {
        return None;
    }
    let place = Place { file: reader.file.clone(), bytes: 0..0 };
    T::decode_table(tree.get_ref(), place, reader)
}

/// The text of a file, or the problem told.
fn text_of(path: &str, limit: usize, named_at: Option<Place>, reader: &mut Reader<'_>) -> Option<String> {
    let (kind, message, hint) = match reader.files.read(path, limit) {
        Ok(bytes) => match String::from_utf8(bytes) {
            Ok(text) => return Some(text),
            Err(error) => {
                let at = error.utf8_error().valid_up_to();
                reader.problems.push(Problem {
                    kind: ProblemKind::NotUtf8,
                    place: Some(Place { file: Arc::from(path), bytes: at..at + 1 }),
                    message: format!("`{path}` is not UTF-8 text from byte {at} on"),
                    label: String::new(),
                    hint: Some("save it as UTF-8".to_owned()),
                });
                return None;
            }
        },
        Err(SourceError::Missing) => (
            ProblemKind::MissingFile,
            format!("there is no file `{path}`"),
            named_at.is_some().then(|| "a path starts at the folder of the file that names it".to_owned()),
        ),
        Err(SourceError::Unreadable(why)) => (
            ProblemKind::UnreadableFile,
            format!("`{path}` cannot be read: {why}"),
            Some("name a file that you may read".to_owned()),
        ),
        Err(SourceError::TooLarge) => (
            ProblemKind::TooLarge,
            format!("`{path}` is larger than {} MiB", limit >> 20),
            Some("is this the file that was meant?".to_owned()),
        ),
    };
    reader.problems.push(Problem { kind, place: named_at, message, label: String::new(), hint });
    None
}

#[cfg(test)]
mod tests;
