//! From byte offsets to lines and columns, for sources that may not even be UTF-8.

use std::ops::Range;

/// A stretch of a source in lines and columns, both from one, columns in characters. The end is
/// the first column after the stretch.
#[derive(Copy, Clone, Debug, PartialEq, Eq)]
pub struct Place {
    /// Line of its first character.
    pub line: usize,
    /// Column of its first character.
    pub column: usize,
    /// Line of its end.
    pub end_line: usize,
    /// Column of its end.
    pub end_column: usize,
}

/// The whole lines that a stretch touches, with the stretch's place in their text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Excerpt {
    /// The lines, with what is not UTF-8 replaced.
    pub text: String,
    /// Number of the first of them, from one.
    pub first_line: usize,
    /// The stretch, in bytes of `text`.
    pub span: Range<usize>,
}

/// Where the bytes lie; offsets beyond the source mean its end.
pub fn place(source: &[u8], bytes: &Range<usize>) -> Place {
    let (start, end) = clamp(source, bytes);
    let (line, column) = line_and_column(source, start);
    let (end_line, end_column) = line_and_column(source, end);
    Place { line, column, end_line, end_column }
}

/// The lines to show for the bytes.
pub fn excerpt(source: &[u8], bytes: &Range<usize>) -> Excerpt {
    let (start, end) = clamp(source, bytes);
    let first = line_start(source, start);
    let last = source[end..].iter().position(|&byte| byte == b'\n').map_or(source.len(), |at| end + at);
    let before = String::from_utf8_lossy(&source[first..start]);
    let within = String::from_utf8_lossy(&source[start..end]);
    let after = String::from_utf8_lossy(&source[end..last]);
    Excerpt {
        span: before.len()..before.len() + within.len(),
        text: [before, within, after].concat(),
        first_line: line_and_column(source, first).0,
    }
}

/// Offsets within the source, the end not before the start and never just after a line's end:
/// a table's span that takes its newline along would underline the next line.
fn clamp(source: &[u8], bytes: &Range<usize>) -> (usize, usize) {
    let start = bytes.start.min(source.len());
    let mut end = bytes.end.clamp(start, source.len());
    while end > start && source[start..end].ends_with(b"\n") {
        end -= 1;
    }
    (start, end)
}

fn line_start(source: &[u8], at: usize) -> usize {
    source[..at].iter().rposition(|&byte| byte == b'\n').map_or(0, |newline| newline + 1)
}

fn line_and_column(source: &[u8], at: usize) -> (usize, usize) {
    let start = line_start(source, at);
    let line = source[..start].split(|&byte| byte == b'\n').count();
    let column = 1 + String::from_utf8_lossy(&source[start..at]).chars().count();
    (line, column)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_count_characters_and_lines_count_from_one() {
        let source = "a = 1\nname = \"Løkke\"\n".as_bytes();
        let start = source.len() - 2 - "kke".len();
        let found = place(source, &(start..start + 3));
        assert_eq!(found, Place { line: 2, column: 11, end_line: 2, end_column: 14 });
    }

    #[test]
    fn offsets_beyond_the_source_mean_its_end() {
        let found = place(b"ab\ncd", &(90..95));
        assert_eq!(found, Place { line: 2, column: 3, end_line: 2, end_column: 3 });
    }

    #[test]
    fn an_excerpt_holds_whole_lines_and_survives_what_is_not_utf8() {
        let source = b"first\nse\xffcond\nthird";
        let shown = excerpt(source, &(8..9));
        assert_eq!(shown.text, "se\u{fffd}cond");
        assert_eq!(shown.first_line, 2);
        assert_eq!(&shown.text[shown.span], "\u{fffd}");
    }

    #[test]
    fn a_stretch_that_ends_with_a_newline_does_not_touch_the_next_line() {
        assert_eq!(excerpt(b"[order]\nx\n", &(0..8)).text, "[order]");
    }
}
