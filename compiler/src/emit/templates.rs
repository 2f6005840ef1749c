//! The templates of what people read, and their rendering from plain values.

use minijinja::syntax::SyntaxConfig;
use minijinja::value::Serde;
use minijinja::{AutoEscape, Environment, UndefinedBehavior};
use serde::Serialize;

const MARKDOWN: &str = "summary.md";

/// Each template with the name by which its escaping is chosen.
const TEMPLATES: [(&str, &str); 3] = [
    ("map.svg", include_str!("templates/map.svg.j2")),
    (MARKDOWN, include_str!("templates/summary.md.j2")),
    ("summary.html", include_str!("templates/summary.html.j2")),
];

/// Renders one of them.
///
/// # Panics
/// Where a template and its values do not fit together, which is a mistake in this program and
/// shows in its tests.
pub fn render(name: &str, values: &impl Serialize) -> String {
    let mut environment = Environment::new();
    environment.set_undefined_behavior(UndefinedBehavior::Strict);
    let syntax =
        SyntaxConfig::builder().trim_blocks(true).lstrip_blocks(true).keep_trailing_newline(true).build();
    environment.set_syntax(syntax.expect("the delimiters are the usual ones"));
    environment.set_auto_escape_callback(|name| match name {
        MARKDOWN => AutoEscape::None,
        _ => AutoEscape::Html,
    });
    environment.add_filter("cell", cell);
    for (name, source) in TEMPLATES {
        environment.add_template(name, source).expect("the templates are sound");
    }
    let template = environment.get_template(name).expect("only its own templates are asked for");
    template.render(Serde(values)).expect("the templates fit their values")
}

/// Text that stays in one cell of a Markdown table and is nothing but text there.
fn cell(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '\n' | '\r' => escaped.push(' '),
            '|' | '\\' | '`' | '*' | '_' | '<' | '>' | '[' | ']' | '#' => escaped.extend(['\\', letter]),
            _ => escaped.push(letter),
        }
    }
    escaped
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_cannot_break_a_table() {
        assert_eq!(cell("a|b\n*c*"), "a\\|b \\*c\\*");
    }
}
