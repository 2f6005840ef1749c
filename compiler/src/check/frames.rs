//! Reference frames by the names that the trade gives them, or by EPSG code.
//!
//! In: the texts. Out: what PROJ is given, with the epoch. The names are those of the EPSG dataset
//! (version 12.013, as in the `proj.db` of the bundled PROJ): every geographic frame in degrees
//! from Greenwich that is not deprecated. How to get from one frame to another, and whether that
//! takes an epoch, is settled on the ground.

use super::{Findings, Frames, ReferenceFrame};
use crate::read::span;
use lanewright_schema::job::{self as written, Written, nearest};
use lanewright_schema::quantity::Length;

/// Code and name, one frame a line.
const EPSG: &str = include_str!("frames.tsv");

/// The frames; those of base station and output, where left out, follow the one before.
pub fn frames(file: &written::Frames, findings: &mut Findings) -> Option<Frames> {
    let survey = frame(&file.survey, findings);
    let base_station = match &file.base_station {
        Some(text) => frame(text, findings),
        None => survey.clone(),
    };
    let output = match &file.output {
        Some(text) => frame(text, findings),
        None => base_station.clone(),
    };
    let ground = file.ground.as_ref().map(|text| ground(text, findings));
    if let Some(height) = &file.height {
        findings.within(height, "height", &(Length::m(-500.0)..=Length::m(6500.0), "-500 m to 6500 m"));
    }
    let height = file.height.as_ref().map_or(Length::ZERO, |height| height.value);
    let ground = match ground {
        Some(frame) => Some(frame?),
        None => None,
    };
    Some(Frames { survey: survey?, base_station: base_station?, output: output?, ground, height })
}

/// The frame in which the ground rests: at every epoch, so that it takes none.
fn ground(text: &Written<String>, findings: &mut Findings) -> Option<ReferenceFrame> {
    let frame = frame(text, findings)?;
    if frame.epoch.is_some() {
        findings
            .raise(
                "frame/ground-epoch",
                &text.place,
                format!("the ground rests in {} at every epoch, or it does not rest in it", frame.name),
            )
            .hint(format!("leave the epoch out: `\"{}\"`", frame.name));
        return None;
    }
    Some(frame)
}

/// One frame, with its epoch behind an `@`.
pub fn frame(text: &Written<String>, findings: &mut Findings) -> Option<ReferenceFrame> {
    let (wanted, epoch) = match text.value.split_once('@') {
        Some((name, epoch)) => (name.trim(), Some(decimal_year(epoch, text, findings)?)),
        None => (text.value.as_str(), None),
    };
    let Some(frame) = named(wanted) else {
        let by_code = fold(wanted).starts_with("EPSG:");
        let near = nearest(wanted, known().map(|(_, name)| name));
        let hint = match near.filter(|_| !by_code) {
            Some(near) => format!("did you mean `\"{near}\"`?"),
            None => "write a name such as `\"ETRS89\"` or a code such as `\"EPSG:4258\"`".to_owned(),
        };
        findings
            .raise(
                "frame/unknown",
                &text.place,
                format!("`{wanted}` is no frame of latitudes and longitudes in the EPSG dataset"),
            )
            .hint(hint);
        return None;
    };
    Some(ReferenceFrame { epoch, span: Some(span(&text.place)), ..frame })
}

/// The geographic frame of this name or code, without an epoch.
pub fn named(text: &str) -> Option<ReferenceFrame> {
    let folded = fold(text);
    let found = match folded.strip_prefix("EPSG:") {
        Some(code) => known().find(|(known, _)| *known == code),
        None => known().find(|(_, name)| fold(name) == folded),
    };
    found.map(|(code, name)| ReferenceFrame {
        name: name.to_owned(),
        proj: format!("EPSG:{code}"),
        epoch: None,
        span: None,
    })
}

fn known() -> impl Iterator<Item = (&'static str, &'static str)> {
    EPSG.lines().filter_map(|line| line.split_once('\t'))
}

/// Names are compared without case and blanks: `WGS84` is `WGS 84`.
fn fold(name: &str) -> String {
    name.chars().filter(|c| !c.is_whitespace()).collect::<String>().to_uppercase()
}

fn decimal_year(text: &str, place: &Written<String>, findings: &mut Findings) -> Option<f64> {
    let year = text.trim().parse::<f64>().ok().filter(|year| (1980.0..2100.0).contains(year));
    if year.is_none() {
        findings
            .raise("frame/epoch", &place.place, format!("`{}` is not an epoch", text.trim()))
            .hint("write it as a decimal year, `\"ITRF2014@2027.3\"`");
    }
    year
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    /// PROJ's own database is the judge.
    #[test]
    fn proj_knows_every_frame_by_this_name() {
        for (code, name) in known() {
            let crs = proj::Proj::new(&format!("EPSG:{code}")).unwrap();
            let text = crs.to_projjson(Some(false), None, None).unwrap();
            let described: serde_json::Value = serde_json::from_str(&text).unwrap();
            assert_eq!(described["type"], "GeographicCRS", "EPSG:{code}");
            assert_eq!(described["name"], name, "EPSG:{code}");
        }
    }

    #[test]
    fn no_two_names_are_told_apart_by_case_or_blanks_alone() {
        let folded: BTreeSet<String> = known().map(|(_, name)| fold(name)).collect();
        assert_eq!(folded.len(), known().count());
        assert!(folded.len() > 500);
    }
}
