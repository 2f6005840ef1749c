//! The two streams that a command writes to. What the person asked for goes to standard output,
//! all else to standard error; a reader that has gone away is no failure.

use super::text::Colour;
use super::{Ending, json, text};
use crate::cli::args::Format;
use indicatif::{ProgressBar, ProgressStyle};
use lanewright::diagnostic::Finding;
use std::borrow::Cow;
use std::io::{self, IsTerminal, Write};
use std::time::Duration;

/// Writes to standard output.
pub fn data(bytes: impl AsRef<[u8]>) -> Result<(), Ending> {
    let mut out = io::stdout().lock();
    finish(out.write_all(bytes.as_ref()).and_then(|()| out.flush()), "standard output")
}

/// Writes a line to standard error.
pub fn say(line: &str) -> Result<(), Ending> {
    finish(writeln!(io::stderr().lock(), "{line}"), "standard error")
}

/// Tells findings in the format asked for. `source` gives the bytes of a file that one points to.
pub fn tell<'a>(
    findings: &[Finding],
    source: impl Fn(&str) -> Option<&'a [u8]>,
    format: Format,
) -> Result<(), Ending> {
    for finding in findings {
        let source = finding.span.as_ref().and_then(|span| source(&span.file));
        match format {
            Format::Json => data(json::render(finding, source))?,
            Format::Text => say(&text::render(finding, source, colour()))?,
        }
    }
    Ok(())
}

/// Does the work; meanwhile a terminal shows what is being done.
pub fn while_showing<T>(doing: impl Into<Cow<'static, str>>, work: impl FnOnce() -> T) -> T {
    let spinner = ProgressBar::new_spinner().with_message(doing);
    spinner.set_style(ProgressStyle::default_spinner().tick_strings(&["-", "\\", "|", "/", " "]));
    spinner.enable_steady_tick(Duration::from_millis(120));
    let done = work();
    spinner.finish_and_clear();
    done
}

/// Colours where somebody looks at them and does not mind: see no-color.org.
fn colour() -> Colour {
    let refused = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
    let dumb = std::env::var_os("TERM").is_some_and(|term| term == "dumb");
    if io::stderr().is_terminal() && !refused && !dumb { Colour::Styled } else { Colour::Plain }
}

fn finish(result: io::Result<()>, stream: &str) -> Result<(), Ending> {
    result.map_err(|error| match error.kind() {
        io::ErrorKind::BrokenPipe => Ending::ReaderGone,
        _ => Ending::Machine(format!("cannot write to {stream}: {error}")),
    })
}
