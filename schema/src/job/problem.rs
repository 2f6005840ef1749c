//! What can be wrong with a job as text, before anybody asks what it means: plain values, one for
//! each problem, with its place. The compiler turns them into findings.

use std::ops::Range;
use std::sync::Arc;

/// A place in one of the files that make up a job.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place {
    /// The file's path as it was opened, `-` for standard input.
    pub file: Arc<str>,
    /// Byte offsets into that file.
    pub bytes: Range<usize>,
}

/// A value with the place where it was written. Two are equal when their values are.
#[derive(Clone, Debug)]
pub struct Written<T> {
    /// What was written.
    pub value: T,
    /// Where.
    pub place: Place,
}

impl<T: PartialEq> PartialEq for Written<T> {
    fn eq(&self, other: &Self) -> bool {
        self.value == other.value
    }
}

/// Which of the things that can be wrong with a text.
#[derive(Copy, Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum ProblemKind {
    /// Not TOML.
    Syntax,
    /// Not UTF-8.
    NotUtf8,
    /// Larger than its kind of file may be.
    TooLarge,
    /// A file that is not there.
    MissingFile,
    /// A file that is there and cannot be read.
    UnreadableFile,
    /// A key that the table does not have.
    UnknownKey,
    /// A key that the table needs.
    MissingKey,
    /// A number without its unit.
    BareNumber,
    /// A unit of another quantity, or of none.
    WrongUnit,
    /// Text where a number belongs, a table where text belongs, and so on.
    WrongType,
    /// The right type with a value outside the list or range.
    WrongValue,
    /// A geometry file that holds no polygon that could be a boundary.
    BoundaryFile,
}

/// One problem. Texts are lower case, without a final full stop.
#[derive(Clone, Debug, PartialEq)]
pub struct Problem {
    /// Which.
    pub kind: ProblemKind,
    /// Where; a file that could not be opened at all has no place within it.
    pub place: Option<Place>,
    /// The fact, one line.
    pub message: String,
    /// Words beside the underlined text.
    pub label: String,
    /// What to type instead.
    pub hint: Option<String>,
}
