//! What the compiler tells a person: findings with a rule, a place in the job, the figures that
//! decided it and a hint. Data only; renderers live in the command line.

use lanewright_schema::quantity::GeoPoint;
use serde::Serialize;
use std::ops::Range;

/// How much a finding weighs. Each rule has exactly one.
#[derive(Copy, Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Severity {
    /// Worth knowing; needs no action.
    Note,
    /// Probably not what was meant; the compile goes on.
    Warning,
    /// The job is refused.
    Error,
}

/// A place in a source text: which file, and the bytes within it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Span {
    /// The path as the person wrote it, or `-` for standard input.
    pub file: String,
    /// Byte offsets into that file.
    pub bytes: Range<usize>,
}

/// One thing found. Texts are lower case, without a final full stop, with figures and units.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Finding {
    /// Stable name, `area/what`, e.g. `field/self-crossing`; `lanewright explain RULE` tells more.
    pub rule: &'static str,
    /// How much it weighs.
    pub severity: Severity,
    /// The fact, one line.
    pub message: String,
    /// Words beside the underlined text; may be empty.
    pub label: String,
    /// The place in the job, when there is one.
    pub span: Option<Span>,
    /// The place on the ground, when there is one.
    pub place: Option<GeoPoint>,
    /// The place as a small map in characters, line by line; empty where a place says enough.
    pub map: Vec<String>,
    /// What to type so that it passes.
    pub hint: Option<String>,
}

impl Finding {
    /// A finding with a rule, a severity and a message; add the rest with the `with_` methods.
    pub fn new(rule: &'static str, severity: Severity, message: impl Into<String>) -> Self {
        Self {
            rule,
            severity,
            message: message.into(),
            label: String::new(),
            span: None,
            place: None,
            map: Vec::new(),
            hint: None,
        }
    }
    /// An error: the job is refused.
    pub fn error(rule: &'static str, message: impl Into<String>) -> Self {
        Self::new(rule, Severity::Error, message)
    }
    /// A warning.
    pub fn warning(rule: &'static str, message: impl Into<String>) -> Self {
        Self::new(rule, Severity::Warning, message)
    }
    /// A note.
    pub fn note(rule: &'static str, message: impl Into<String>) -> Self {
        Self::new(rule, Severity::Note, message)
    }
    /// Adds the place in the job and the words beside the underline.
    #[must_use]
    pub fn with_span(mut self, span: Span, label: impl Into<String>) -> Self {
        self.span = Some(span);
        self.label = label.into();
        self
    }
    /// Adds the place in the job where one is known.
    #[must_use]
    pub fn with_span_if(self, span: Option<&Span>, label: impl Into<String>) -> Self {
        match span {
            Some(span) => self.with_span(span.clone(), label),
            None => self,
        }
    }
    /// Adds the place on the ground.
    #[must_use]
    pub fn with_place(mut self, place: GeoPoint) -> Self {
        self.place = Some(place);
        self
    }
    /// Adds a small map of that place.
    #[must_use]
    pub fn with_map(mut self, map: Vec<String>) -> Self {
        self.map = map;
        self
    }
    /// Adds what to type.
    #[must_use]
    pub fn with_hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = Some(hint.into());
        self
    }
}

/// A stage's result with what it has to say. `value` is `None` exactly when a finding is an error.
#[derive(Clone, Debug)]
pub struct Told<T> {
    /// What the stage made, unless it refused.
    pub value: Option<T>,
    /// Everything it found, in the order in which it found it.
    pub findings: Vec<Finding>,
}

impl<T> Told<T> {
    /// The value; its findings join those told before.
    pub fn tell(self, findings: &mut Vec<Finding>) -> Option<T> {
        findings.extend(self.findings);
        self.value
    }
}
