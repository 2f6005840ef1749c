//! Reference frames by the names that the trade gives them, or by EPSG code.

use super::{Findings, Frames, ReferenceFrame};
use lanewright_schema::job::{self as written, Written, nearest};

/// Names and EPSG codes of geographic 2D frames, from the EPSG dataset.
const NAMED: &[(&str, u32)] = &[
    ("WGS 84", 4326),
    ("WGS 84 (G1150)", 9055),
    ("WGS 84 (G1674)", 9056),
    ("WGS 84 (G1762)", 9057),
    ("WGS 84 (G2139)", 9755),
    ("WGS 84 (G2296)", 10606),
    ("ETRS89", 4258),
    ("ITRF2000", 8997),
    ("ITRF2005", 8998),
    ("ITRF2008", 8999),
    ("ITRF2014", 9000),
    ("ITRF2020", 9990),
    ("NAD83(2011)", 6318),
    ("GDA94", 4283),
    ("GDA2020", 7844),
    ("NZGD2000", 4167),
    ("SIRGAS 2000", 4674),
    ("JGD2011", 6668),
];

/// The three frames; those left out follow the one before.
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
    Some(Frames { survey: survey?, base_station: base_station?, output: output? })
}

fn frame(text: &Written<String>, findings: &mut Findings) -> Option<ReferenceFrame> {
    let (name, epoch) = match text.value.split_once('@') {
        Some((name, epoch)) => (name.trim(), Some(decimal_year(epoch, text, findings)?)),
        None => (text.value.as_str(), None),
    };
    let folded = fold(name);
    let proj = match folded.strip_prefix("EPSG:").map(str::parse::<u32>) {
        Some(Ok(code)) => Some(format!("EPSG:{code}")),
        _ => NAMED.iter().find(|(known, _)| fold(known) == folded).map(|(_, code)| format!("EPSG:{code}")),
    };
    let Some(proj) = proj else {
        let hint = match nearest(name, NAMED.iter().map(|(known, _)| *known)) {
            Some(near) => format!("did you mean `\"{near}\"`?"),
            None => "write a name such as `\"ETRS89\"` or a code such as `\"EPSG:4258\"`".to_owned(),
        };
        findings
            .raise("frame/unknown", &text.place, format!("`{name}` is no reference frame that is known here"))
            .hint(hint);
        return None;
    };
    let name = NAMED.iter().find(|(_, code)| proj == format!("EPSG:{code}")).map_or(name, |(known, _)| known);
    Some(ReferenceFrame { name: name.to_owned(), proj, epoch })
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
