//! Findings for people: the fact, the place in the job with the text underlined, the figures
//! beside it, the place on the ground, and after a blank line the hint.

use super::place::{excerpt, place};
use annotate_snippets::renderer::DecorStyle;
use annotate_snippets::{AnnotationKind, Group, Level, Renderer, Snippet};
use lanewright::diagnostic::{Finding, Severity};
use lanewright_schema::quantity::GeoPoint;

/// Whether the reader's terminal shows colours.
#[derive(Copy, Clone, Debug, PartialEq, Eq)]
pub enum Colour {
    /// Escape sequences.
    Styled,
    /// Plain characters.
    Plain,
}

/// Longer lines, such as a whole survey without a line break, are named and not shown.
const LONGEST_SHOWN: usize = 64 << 10;

/// The finding as text that ends with a newline. `source` is the file that it points into.
pub fn render(finding: &Finding, source: Option<&[u8]>, colour: Colour) -> String {
    let renderer = match colour {
        Colour::Styled => Renderer::styled(),
        Colour::Plain => Renderer::plain(),
    }
    .decor_style(DecorStyle::Ascii);
    let title = level(finding.severity).primary_title(&finding.message).id(finding.rule);
    let mut group = Group::with_title(title);
    if let Some(snippet) = snippet(finding, source) {
        group = group.element(snippet);
    } else if let (Some(span), Some(source)) = (&finding.span, source) {
        let at = place(source, &span.bytes);
        let words = format!("line {}, column {}", at.line, at.column);
        group = group.element(Level::NOTE.with_name(&span.file).message(words));
    }
    if let Some(place) = finding.place {
        group = group.element(Level::NOTE.with_name("place").message(coordinates(place)));
    }
    let mut text = renderer.render(&[group]) + "\n";
    for line in &finding.map {
        text += &format!("  | {line}\n");
    }
    if let Some(hint) = &finding.hint {
        let hint = Group::with_title(Level::HELP.with_name("hint").secondary_title(hint));
        text = [text, renderer.render(&[hint]), String::new()].join("\n");
    }
    text
}

fn level(severity: Severity) -> Level<'static> {
    match severity {
        Severity::Error => Level::ERROR,
        Severity::Warning => Level::WARNING,
        Severity::Note => Level::NOTE,
    }
}

fn snippet<'a>(
    finding: &'a Finding,
    source: Option<&[u8]>,
) -> Option<Snippet<'a, annotate_snippets::Annotation<'a>>> {
    let span = finding.span.as_ref()?;
    let shown = excerpt(source?, &span.bytes);
    if shown.text.len() > LONGEST_SHOWN {
        return None;
    }
    let mut annotation = AnnotationKind::Primary.span(shown.span);
    if !finding.label.is_empty() {
        annotation = annotation.label(&finding.label);
    }
    Some(Snippet::source(shown.text).line_start(shown.first_line).path(&span.file).annotation(annotation))
}

/// Latitude, longitude as a job writes them; seven decimals are a centimetre, enough to walk to.
fn coordinates(place: GeoPoint) -> String {
    format!("latitude {:.7}, longitude {:.7}", place.latitude, place.longitude)
}

#[cfg(test)]
mod tests {
    use super::*;
    use lanewright::diagnostic::Span;

    const JOB: &str = "[machine]\nrows = 6\nworking_width = \"3 m\"\n";

    fn width() -> Finding {
        let at = JOB.find("\"3 m\"").expect("the job states a width");
        Finding::error("machine/width", "tool rows do not fill the working width")
            .with_span(
                Span { file: "job.toml".into(), bytes: at..at + 5 },
                "6 rows at 45 cm cover 2.70 m, the job says 3.00 m",
            )
            .with_hint("write `working_width = \"2.7 m\"`")
    }

    #[test]
    fn underlines_the_text_and_gives_figures_and_hint() {
        insta::assert_snapshot!(render(&width(), Some(JOB.as_bytes()), Colour::Plain), @r#"
        error[machine/width]: tool rows do not fill the working width
         --> job.toml:3:17
          |
        3 | working_width = "3 m"
          |                 ^^^^^ 6 rows at 45 cm cover 2.70 m, the job says 3.00 m

        hint: write `working_width = "2.7 m"`
        "#);
    }

    #[test]
    fn tells_a_place_on_the_ground() {
        let finding = Finding::error("field/self-crossing", "the boundary crosses itself")
            .with_place(GeoPoint { longitude: -27.4, latitude: 48.6125 });
        insta::assert_snapshot!(render(&finding, None, Colour::Plain), @"
        error[field/self-crossing]: the boundary crosses itself
         |
         = place: latitude 48.6125000, longitude -27.4000000
        ");
    }

    #[test]
    fn a_map_follows_the_place() {
        let finding = Finding::error("audit/inside-fence", "the body is not proven to stay inside")
            .with_map(vec!["##  BXB".into(), "#   +++".into()]);
        insta::assert_snapshot!(render(&finding, None, Colour::Plain), @"
        error[audit/inside-fence]: the body is not proven to stay inside
          | ##  BXB
          | #   +++
        ");
    }

    #[test]
    fn colour_only_adds_escape_sequences() {
        let styled = render(&width(), Some(JOB.as_bytes()), Colour::Styled);
        let mut plain = String::new();
        let mut rest = styled.as_str();
        while let Some(start) = rest.find('\u{1b}') {
            plain += &rest[..start];
            let end = rest[start..].find('m').expect("a sequence ends with m");
            rest = &rest[start + end + 1..];
        }
        plain += rest;
        assert_ne!(styled, plain);
        assert_eq!(plain, render(&width(), Some(JOB.as_bytes()), Colour::Plain));
    }
}
