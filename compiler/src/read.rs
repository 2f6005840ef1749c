//! Reading: from the bytes of a job and its parts to the job as written.
//!
//! In: a path and the [`Sources`] that hold it. Out: the job as far as it could be read, every
//! problem in its text as a finding, and the files that were read. What the values mean is settled by
//! [`check`](crate::check).

use crate::diagnostic::{Finding, Span};
use crate::rules;
use lanewright_schema::job::{self, Asked, Place, Problem, ProblemKind};

pub use lanewright_schema::job::{Input, SourceError, Sources};

/// A job that was read, with the files that it took.
#[derive(Clone, Debug)]
pub struct Read {
    /// The job as written, as far as it could be read.
    pub asked: Option<Asked>,
    /// What is wrong with its text; where anything is, the job is refused.
    pub findings: Vec<Finding>,
    /// Every file that was read, the job first: for rendering findings and for the manifest.
    pub inputs: Vec<Input>,
}

/// Reads a job and every part that it names.
pub fn read(sources: &dyn Sources, path: &str) -> Read {
    let parsed = job::parse(sources, path);
    let findings = parsed.problems.into_iter().map(finding).collect();
    Read { asked: parsed.asked, findings, inputs: parsed.inputs }
}

/// A place in the job as findings give it.
pub fn span(place: &Place) -> Span {
    Span { file: place.file.to_string(), bytes: place.bytes.clone() }
}

/// A problem of a text as the finding that it is.
pub fn finding(problem: Problem) -> Finding {
    let mut finding = rules::finding(rule_of(problem.kind), problem.message);
    if let Some(place) = &problem.place {
        finding = finding.with_span(span(place), problem.label);
    }
    finding.hint = problem.hint;
    finding
}

const fn rule_of(kind: ProblemKind) -> &'static str {
    match kind {
        ProblemKind::Syntax => "job/syntax",
        ProblemKind::NotUtf8 => "job/not-utf8",
        ProblemKind::TooLarge => "job/too-large",
        ProblemKind::MissingFile => "job/missing-file",
        ProblemKind::UnreadableFile => "job/unreadable-file",
        ProblemKind::UnknownKey => "job/unknown-key",
        ProblemKind::MissingKey => "job/missing-key",
        ProblemKind::BareNumber => "job/bare-number",
        ProblemKind::WrongUnit => "job/wrong-unit",
        ProblemKind::WrongType => "job/wrong-type",
        ProblemKind::WrongValue => "job/wrong-value",
        ProblemKind::BoundaryFile => "field/boundary-file",
    }
}
