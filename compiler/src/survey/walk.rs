//! From a walk round a field to the ring that was meant.
//!
//! In: the fixes or the drawn line, in order. Out: the ring's corners, and what was left out, or why
//! the walk encloses nothing. Method: fixes of a poorer quality than asked go; up to three fixes in a
//! row that jump away and come back go; a receiver that stands still gives one corner; what was
//! walked on past the start goes; the ends are joined where they are near enough.

use super::mend::Corner;
use super::plane::{Plane, distance};
use crate::diagnostic::Finding;
use crate::rules;
use lanewright_schema::quantity::GeoPoint;
use lanewright_schema::survey::Fix;

/// A receiver moves less than this while it stands still, metres: three times the sigma of a fixed
/// solution, rounded up.
const STILL_M: f64 = 0.05;
/// So many fixes in a row are a stand.
const STILL_FIXES: usize = 5;
/// A step so many times the usual one, and as long as this in metres, is a jump.
const JUMP: f64 = 8.0;
const JUMP_M: f64 = 3.0;
/// At most so many fixes in a row are taken for outliers.
const OUTLIERS: usize = 3;
/// A walk that comes this near its start again has come round, metres.
const NEAR_START_M: f64 = 1.0;
/// The last share of a walk in which it comes round.
const LAST_PART: f64 = 0.2;
/// Ends further apart are not joined, metres, unless other steps are as long.
const OPEN_M: f64 = 10.0;

/// The poorest quality of fix that is taken, by the quality indicator of NMEA 0183.
#[derive(Copy, Clone, Debug, PartialEq, Eq, Default)]
pub enum Quality {
    /// Fixed carrier-phase solutions alone.
    #[default]
    RtkFixed,
    /// Floating ones too.
    RtkFloat,
    /// Everything with corrections.
    Differential,
    /// Every fix by satellite.
    Any,
}

impl Quality {
    fn takes(self, indicator: u8) -> bool {
        match self {
            Self::RtkFixed => indicator == 4,
            Self::RtkFloat => matches!(indicator, 4 | 5),
            Self::Differential => matches!(indicator, 2..=5),
            Self::Any => matches!(indicator, 1..=5),
        }
    }
}

/// What people call a quality indicator.
fn quality_name(indicator: u8) -> &'static str {
    match indicator {
        0 => "no fix",
        1 => "autonomous",
        2 => "differential",
        3 => "precise",
        4 => "RTK fixed",
        5 => "RTK float",
        6 => "estimated",
        7 => "manual",
        8 => "simulated",
        _ => "unknown",
    }
}

/// The fixes that are good enough.
pub fn good_enough<'f>(
    fixes: &'f [Fix],
    quality: Quality,
    findings: &mut Vec<Finding>,
) -> Result<Vec<&'f Fix>, Finding> {
    let good: Vec<&Fix> = fixes.iter().filter(|fix| quality.takes(fix.quality)).collect();
    let counted = || {
        let mut counts: Vec<(u8, usize)> = Vec::new();
        for fix in fixes.iter().filter(|fix| !quality.takes(fix.quality)) {
            match counts.iter_mut().find(|(known, _)| *known == fix.quality) {
                Some((_, count)) => *count += 1,
                None => counts.push((fix.quality, 1)),
            }
        }
        let counts: Vec<String> =
            counts.iter().map(|(indicator, count)| format!("{count} {}", quality_name(*indicator))).collect();
        counts.join(", ")
    };
    if good.is_empty() {
        return Err(rules::finding(
            "survey/no-good-fix",
            format!("none of {} fixes is of the quality asked for: {}", fixes.len(), counted()),
        )
        .with_hint(
            "walk the boundary again with corrections, or ask for less with `fix_quality` (--quality)",
        ));
    }
    if good.len() < fixes.len() {
        findings.push(rules::finding(
            "survey/fixes-left-out",
            format!(
                "{} of {} fixes left out for their quality: {}",
                fixes.len() - good.len(),
                fixes.len(),
                counted()
            ),
        ));
    }
    Ok(good)
}

/// The ring that a walk means.
pub fn ring(walk: Vec<Corner>, findings: &mut Vec<Finding>) -> Result<Vec<Corner>, Finding> {
    let walk = without_outliers(walk, findings);
    let walk = without_stands(&walk, findings);
    let walk = once_round(walk, findings);
    tell_gap(&walk, findings);
    closed(walk, findings)
}

fn in_metres(corners: &[Corner]) -> Vec<[f64; 2]> {
    let Some(first) = corners.first() else { return vec![] };
    let plane = Plane::about(first.at);
    corners.iter().map(|corner| plane.metres(corner.at)).collect()
}

fn steps(metres: &[[f64; 2]]) -> Vec<f64> {
    metres.windows(2).map(|pair| distance(pair[0], pair[1])).collect()
}

/// The usual step, of those that are a step at all.
fn usual(steps: &[f64]) -> f64 {
    let mut moving: Vec<f64> = steps.iter().copied().filter(|step| *step > STILL_M).collect();
    moving.sort_by(f64::total_cmp);
    moving.get(moving.len() / 2).copied().unwrap_or(0.0)
}

fn without_outliers(walk: Vec<Corner>, findings: &mut Vec<Finding>) -> Vec<Corner> {
    let metres = in_metres(&walk);
    let jump = (JUMP * usual(&steps(&metres))).max(JUMP_M);
    let mut out = vec![false; walk.len()];
    let mut index = 1;
    while index < walk.len() {
        let before = metres[index - 1];
        let back = (1..=OUTLIERS).find(|count| {
            metres.get(index + count).is_some_and(|after| distance(before, *after) < jump / 2.0)
                && (0..*count).all(|k| distance(before, metres[index + k]) > jump)
        });
        match back {
            Some(count) if !out[index - 1] => {
                out[index..index + count].fill(true);
                index += count + 1;
            }
            _ => index += 1,
        }
    }
    let away = walk.iter().zip(&metres).zip(&out).enumerate().filter(|(_, (_, out))| **out);
    let away: Vec<(f64, GeoPoint)> =
        away.map(|(index, ((corner, &at), _))| (distance(metres[index - 1], at), corner.at)).collect();
    if let Some((far, place)) = away.iter().copied().max_by(|a, b| a.0.total_cmp(&b.0)) {
        let fixes = if away.len() == 1 { "1 fix".to_owned() } else { format!("{} fixes", away.len()) };
        findings.push(
            rules::finding(
                "survey/outliers",
                format!("{fixes} left out that jump away from the walk and back, up to {far:.1} m"),
            )
            .with_place(place),
        );
    }
    walk.into_iter().zip(out).filter(|(_, out)| !out).map(|(corner, _)| corner).collect()
}

fn without_stands(walk: &[Corner], findings: &mut Vec<Finding>) -> Vec<Corner> {
    let metres = in_metres(walk);
    let mut kept = Vec::with_capacity(walk.len());
    let (mut stands, mut collapsed, mut start) = (0, 0, 0);
    let mut longest: Option<(usize, GeoPoint)> = None;
    while start < walk.len() {
        let end = (start + 1..walk.len())
            .find(|&index| distance(metres[start], metres[index]) >= STILL_M)
            .unwrap_or(walk.len());
        if end - start >= STILL_FIXES {
            let middle = mean(&walk[start..end]);
            if longest.is_none_or(|(length, _)| end - start > length) {
                longest = Some((end - start, middle.at));
            }
            (stands, collapsed) = (stands + 1, collapsed + end - start);
            kept.push(middle);
        } else {
            kept.extend_from_slice(&walk[start..end]);
        }
        start = end;
    }
    if let Some((length, place)) = longest {
        let message = if stands == 1 {
            format!("{length} fixes where the receiver stood still became one corner")
        } else {
            format!(
                "{collapsed} fixes at {stands} places where the receiver stood still became a corner each, the most {length}"
            )
        };
        findings.push(rules::finding("survey/stood-still", message).with_place(place));
    }
    kept
}

/// The mean of fixes that lie within centimetres.
fn mean(fixes: &[Corner]) -> Corner {
    let plane = Plane::about(fixes[0].at);
    let sum = fixes
        .iter()
        .map(|fix| plane.metres(fix.at))
        .fold([0.0; 2], |sum, at| [sum[0] + at[0], sum[1] + at[1]]);
    let count = fixes.len() as f64;
    Corner { at: plane.point([sum[0] / count, sum[1] / count]), bytes: fixes[0].bytes.clone() }
}

/// Leaves out what was walked on after coming round.
fn once_round(mut walk: Vec<Corner>, findings: &mut Vec<Finding>) -> Vec<Corner> {
    let metres = in_metres(&walk);
    let way = steps(&metres);
    let whole: f64 = way.iter().sum();
    let mut so_far = 0.0;
    let mut round: Option<(usize, f64)> = None;
    for (index, step) in way.iter().enumerate() {
        so_far += step;
        let from_start = distance(metres[0], metres[index + 1]);
        if so_far > (1.0 - LAST_PART) * whole && from_start < round.map_or(NEAR_START_M, |(_, least)| least) {
            round = Some((index + 1, from_start));
        }
    }
    if let Some((last, _)) = round.filter(|(last, _)| last + 1 < walk.len()) {
        let past: f64 = way[last..].iter().sum();
        findings.push(
            rules::finding(
                "survey/past-start",
                format!("the walk went on for {past:.1} m past its start; left out"),
            )
            .with_place(walk[0].at),
        );
        walk.truncate(last + 1);
    }
    walk
}

/// Tells the longest stretch without a fix.
fn tell_gap(walk: &[Corner], findings: &mut Vec<Finding>) {
    let steps = steps(&in_metres(walk));
    let jump = (JUMP * usual(&steps)).max(JUMP_M);
    let longest = steps.iter().copied().enumerate().max_by(|a, b| a.1.total_cmp(&b.1));
    if let Some((index, length)) = longest.filter(|(_, length)| *length > jump && steps.len() > 20) {
        findings.push(
            rules::finding(
                "survey/gap",
                format!("the walk has a stretch of {length:.1} m without a fix; it is taken as straight"),
            )
            .with_place(walk[index].at),
        );
    }
}

/// Joins the ends, or refuses where they are too far apart for a slip.
pub fn closed(walk: Vec<Corner>, findings: &mut Vec<Finding>) -> Result<Vec<Corner>, Finding> {
    let metres = in_metres(&walk);
    let (Some(&first), Some(&last)) = (metres.first(), metres.last()) else { return Ok(walk) };
    let gap = distance(first, last);
    if gap < 0.001 {
        return Ok(walk);
    }
    let longest = steps(&metres).into_iter().fold(0.0, f64::max);
    if gap > OPEN_M && gap > 2.0 * longest {
        return Err(rules::finding(
            "survey/open",
            format!("the boundary's ends lie {gap:.1} m apart, and its longest step is {longest:.1} m"),
        )
        .with_place(walk[walk.len() - 1].at)
        .with_hint("walk on to where the walk began, or give the corners that are missing"));
    }
    findings.push(
        rules::finding("survey/closed", format!("the boundary's ends, {gap:.2} m apart, are joined"))
            .with_place(walk[walk.len() - 1].at),
    );
    Ok(walk)
}
