//! The rules' manual: one page a rule, or a line for each.

use lanewright::diagnostic::Severity;
use lanewright::rules;

/// The page of a rule; without a name, or with one that is not a rule's, the list of all.
pub fn page(name: Option<&str>) -> String {
    match name.and_then(rules::rule) {
        Some(rule) => format!("{rule}\n"),
        None => list(),
    }
}

fn list() -> String {
    let width = rules::all().map(|rule| rule.name.len()).max().unwrap_or(0);
    let lines: Vec<String> = rules::all()
        .map(|rule| {
            let severity = match rule.severity {
                Severity::Error => "error",
                Severity::Warning => "warning",
                Severity::Note => "note",
            };
            format!("{:width$}  {severity:7}  {}\n", rule.name, rule.finds)
        })
        .collect();
    lines.concat()
}
