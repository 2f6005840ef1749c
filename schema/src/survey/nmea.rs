//! A receiver's log of NMEA 0183: the fixes of its GGA sentences, with their quality and the height
//! of the antenna.
//!
//! A sentence whose checksum is wrong is passed over and counted, as is one without a position. What
//! lies between sentences, comments or another protocol, is passed over untold. Positions are in the
//! frame of the receiver's corrections, which the log does not name.

use super::{Content, Fix, Format, Geometry, Refusal, Shape, StatedFrame, Vertex};
use ::nmea::parse_nmea_sentence;
use ::nmea::sentences::parse_gga;

/// Whether the beginning of a file is such a log.
pub fn is_log(start: &[u8]) -> bool {
    start.split(|&byte| byte == b'\n').any(|line| {
        let talker = line.get(1..3).is_some_and(|talker| talker.iter().all(u8::is_ascii_uppercase));
        line.first() == Some(&b'$') && talker && line.contains(&b',') && line.contains(&b'*')
    })
}

/// Reads a log.
pub fn read(bytes: &[u8]) -> Result<Content, Refusal> {
    let mut fixes = Vec::new();
    let (mut sentences, mut damaged, mut without) = (0, 0, 0);
    let mut start = 0;
    for line in bytes.split(|&byte| byte == b'\n') {
        let at = start;
        start += line.len() + 1;
        let Some(text) = gga(line) else { continue };
        sentences += 1;
        let Some(sentence) = parse_nmea_sentence(text).ok().filter(|s| s.checksum == s.calc_checksum())
        else {
            damaged += 1;
            continue;
        };
        let fix = parse_gga(sentence).ok();
        let position = fix.as_ref().and_then(|fix| fix.latitude.zip(fix.longitude));
        match position {
            Some((latitude, longitude)) => fixes.push(Fix {
                vertex: Vertex::at(longitude, latitude, at..at + text.len()),
                quality: quality(text),
                height_m: fix.and_then(|fix| fix.altitude).map(f64::from),
            }),
            None => without += 1,
        }
    }
    if fixes.is_empty() {
        return Err(Refusal::new(format!(
            "is a log of NMEA 0183 without a position: {sentences} GGA sentences, {damaged} of them damaged"
        ))
        .hint("let the receiver write GGA sentences, and begin the walk once it has a fix"));
    }
    let mut oddities = Vec::new();
    let counted = [(damaged, "damaged, their checksum wrong"), (without, "without a position")];
    oddities.extend(
        counted
            .into_iter()
            .filter(|(count, _)| *count > 0)
            .map(|(count, what)| format!("{count} of {sentences} GGA sentences are {what}, and passed over")),
    );
    oddities.extend(heights(&fixes));
    let geometry = Geometry::Fixes(fixes);
    let shapes = vec![Shape { attributes: vec![], geometry }];
    Ok(Content { format: Format::Nmea, frame: StatedFrame::ByFormat, shapes, oddities })
}

/// The GGA sentence of a line, whatever stands before and after it.
fn gga(line: &[u8]) -> Option<&str> {
    let start = line.iter().position(|&byte| byte == b'$')?;
    let text = str::from_utf8(&line[start..]).ok()?.trim_end();
    (text.get(3..7) == Some("GGA,")).then_some(text)
}

/// The sixth field; the sentence was parsed before.
fn quality(text: &str) -> u8 {
    text.split(',').nth(6).and_then(|field| field.parse().ok()).unwrap_or(0)
}

fn heights(fixes: &[Fix]) -> Option<String> {
    let heights = || fixes.iter().filter_map(|fix| fix.height_m);
    let lowest = heights().fold(f64::INFINITY, f64::min);
    let highest = heights().fold(f64::NEG_INFINITY, f64::max);
    (lowest <= highest).then(|| format!("the antenna was {lowest:.1} to {highest:.1} m above mean sea level"))
}
