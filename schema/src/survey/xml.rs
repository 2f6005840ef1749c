//! XML of any kind before its own reader sees it: whether it is well formed and of a sane depth,
//! since not every reader ends on a text that ends too early.

use super::Refusal;
use quick_xml::Reader;
use quick_xml::events::Event;

/// Deeper than any survey nests its elements.
const DEEPEST: usize = 100;

/// The local name of the outermost element, from the beginning of the text.
pub fn root_name(start: &str) -> Option<String> {
    let mut reader = Reader::from_str(start);
    loop {
        match reader.read_event().ok()? {
            Event::Start(root) | Event::Empty(root) => return Some(root.local_name().as_ref().to_owned()),
            Event::Eof => return None,
            _ => {}
        }
    }
}

/// Refuses what is not well formed, nests too deep, or declares entities of its own.
pub fn check(text: &str) -> Result<(), Refusal> {
    let mut reader = Reader::from_str(text);
    let mut depth = 0_usize;
    loop {
        let event = reader.read_event();
        let at = usize::try_from(reader.buffer_position()).unwrap_or(usize::MAX);
        match event {
            Ok(Event::Start(_)) => depth += 1,
            Ok(Event::End(_)) => depth = depth.saturating_sub(1),
            Ok(Event::DocType(doctype)) if doctype.contains("<!ENTITY") => {
                return Err(Refusal::new("declares entities of its own, which are not read").place(at));
            }
            Ok(Event::Eof) if depth > 0 => return Err(Refusal::new("ends before its elements do").place(at)),
            Ok(Event::Eof) => return Ok(()),
            Ok(_) => {}
            Err(error) => return Err(Refusal::new(format!("is not XML: {error}")).place(at)),
        }
        if depth > DEEPEST {
            return Err(Refusal::new(format!("nests its elements more than {DEEPEST} deep")).place(at));
        }
    }
}
