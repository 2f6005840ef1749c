//! Findings for programs: one JSON object a line.

use super::place::place;
use lanewright::diagnostic::{Finding, Severity};
use serde::Serialize;

/// A finding as a program reads it. Lines and columns count from one, columns in characters; a
/// key without a value is null. A map is drawn in characters, one line a text.
#[derive(Debug, Serialize)]
struct Record<'a> {
    rule: &'a str,
    severity: Severity,
    message: &'a str,
    label: &'a str,
    hint: Option<&'a str>,
    file: Option<&'a str>,
    line: Option<usize>,
    column: Option<usize>,
    end_line: Option<usize>,
    end_column: Option<usize>,
    longitude: Option<f64>,
    latitude: Option<f64>,
    map: Option<&'a [String]>,
}

/// The finding as one line of JSON, newline included. `source` is the file that it points into.
pub fn render(finding: &Finding, source: Option<&[u8]>) -> String {
    let span = finding.span.as_ref();
    let place = span.zip(source).map(|(span, source)| place(source, &span.bytes));
    let record = Record {
        rule: finding.rule,
        severity: finding.severity,
        message: &finding.message,
        label: &finding.label,
        hint: finding.hint.as_deref(),
        file: span.map(|span| span.file.as_str()),
        line: place.map(|place| place.line),
        column: place.map(|place| place.column),
        end_line: place.map(|place| place.end_line),
        end_column: place.map(|place| place.end_column),
        longitude: finding.place.map(|place| place.longitude),
        latitude: finding.place.map(|place| place.latitude),
        map: (!finding.map.is_empty()).then_some(&finding.map),
    };
    serde_json::to_string(&record).expect("strings and numbers always serialise") + "\n"
}

#[cfg(test)]
mod tests {
    use super::*;
    use lanewright::diagnostic::Span;

    #[test]
    fn every_key_is_there_with_or_without_a_value() {
        let finding = Finding::warning("site/baseline", "far")
            .with_span(Span { file: "job.toml".into(), bytes: 3..5 }, "12.1 km");
        insta::assert_snapshot!(render(&finding, Some(b"a\nb=1\n")), @r#"{"rule":"site/baseline","severity":"warning","message":"far","label":"12.1 km","hint":null,"file":"job.toml","line":2,"column":2,"end_line":2,"end_column":4,"longitude":null,"latitude":null,"map":null}"#);
    }
}
