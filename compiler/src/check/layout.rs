//! How the lanes are to run: what they follow, where the field is cut into blocks, and blocks that
//! follow something of their own.
//!
//! Whether a line cuts the field, and which block a place lies in, only the ground can tell; that is
//! left to the lanes.

use super::{Division, Findings, GeoPolygon, Guidance, Layout, OwnBlock};
use crate::survey::plane::Plane;
use lanewright_schema::job::{self as written, GuidanceChoice, Line, Place, Written};
use lanewright_schema::quantity::GeoPoint;

/// Points of a line nearer than this to the one before are left out, metres.
const SAME_POINT_M: f64 = 0.01;

/// Checks how a field's lanes are to run.
pub fn layout(
    file: &written::Field,
    parts: &[GeoPolygon],
    findings: &mut Findings,
) -> Option<Layout<GeoPoint>> {
    let guidance = file.guidance.as_ref().map(|choice| guidance(choice, parts, findings));
    let division = division(file, findings);
    let blocks: Vec<Option<OwnBlock<GeoPoint>>> = file
        .block
        .iter()
        .flat_map(|many| &many.0)
        .map(|block| {
            let guidance = block.guidance.as_ref().map(|choice| self::guidance(choice, parts, findings));
            let at = findings.point(&block.at)?;
            Some(OwnBlock { at, guidance: guidance.map_or(Some(None), |sound| sound.map(Some))? })
        })
        .collect();
    Some(Layout {
        guidance: guidance.unwrap_or(Some(Guidance::Best))?,
        division: division?,
        blocks: blocks.into_iter().collect::<Option<_>>()?,
    })
}

fn guidance(
    choice: &Written<GuidanceChoice>,
    parts: &[GeoPolygon],
    findings: &mut Findings,
) -> Option<Guidance<GeoPoint>> {
    match &choice.value {
        GuidanceChoice::Best => Some(Guidance::Best),
        GuidanceChoice::Heading(heading) => Some(Guidance::Heading(*heading)),
        GuidanceChoice::Along(written::Along {
            along_edge: Some(number),
            along_edges: None,
            along: None,
            ..
        }) => edge(number.value, &number.place, parts, findings).map(Guidance::Parallel),
        GuidanceChoice::Along(written::Along {
            along_edge: None,
            along_edges: Some(ends),
            along: None,
            ..
        }) => edges(ends, parts, findings).map(Guidance::Along),
        GuidanceChoice::Along(written::Along {
            along_edge: None,
            along_edges: None,
            along: Some(line),
            ..
        }) => self::line(line, "line", findings).map(Guidance::Along),
        GuidanceChoice::Along(_) => {
            findings
                .raise(
                    "field/guidance",
                    &choice.place,
                    "the lanes are to follow nothing, or more than one thing",
                )
                .hint("give one of `along_edge`, `along_edges` and `along`");
            None
        }
    }
}

/// The corners of a boundary from the begin of one edge to the end of another.
fn edges(ends: &Written<[u32; 2]>, parts: &[GeoPolygon], findings: &mut Findings) -> Option<Vec<GeoPoint>> {
    let [first, last] = ends.value;
    let [begin, _] = edge(first, &ends.place, parts, findings)?;
    edge(last, &ends.place, parts, findings)?;
    let corners = &parts.first()?.exterior;
    let count = corners.len();
    let edges = (last as usize + count - first as usize) % count + 1;
    let after = (0..edges).map(|i| corners[(first as usize + i) % count]);
    Some(std::iter::once(begin).chain(after).collect())
}

/// The two corners of a boundary's edge, counted from 1.
fn edge(number: u32, place: &Place, parts: &[GeoPolygon], findings: &mut Findings) -> Option<[GeoPoint; 2]> {
    let corners = parts.first().map_or(&[][..], |part| &part.exterior);
    match (number as usize).checked_sub(1) {
        Some(index) if index < corners.len() => Some([corners[index], corners[(index + 1) % corners.len()]]),
        _ => {
            let count = corners.len();
            findings
                .raise(
                    "field/no-such-edge",
                    place,
                    format!("there is no edge {number}; the boundary has {count}"),
                )
                .hint(format!("write a number from 1 to {count}"));
            None
        }
    }
}

fn division(file: &written::Field, findings: &mut Findings) -> Option<Division<GeoPoint>> {
    match (&file.blocks, &file.dividing_line) {
        (None, None) => Some(Division::AtMost(usize::MAX)),
        (Some(most), None) => {
            findings.above_zero(most, "blocks");
            Some(Division::AtMost(most.value as usize))
        }
        (None, Some(lines)) => {
            let lines: Vec<Option<Vec<GeoPoint>>> =
                lines.0.iter().map(|line| self::line(&line.points, "dividing line", findings)).collect();
            lines.into_iter().collect::<Option<_>>().map(Division::Lines)
        }
        (Some(most), Some(_)) => {
            findings
                .raise(
                    "field/blocks",
                    &most.place,
                    "the blocks are given twice, by their number and by dividing lines",
                )
                .hint("leave out `blocks` or `dividing_line`");
            None
        }
    }
}

/// The points of a line, repeats left out, two at least.
fn line(line: &Line, thing: &str, findings: &mut Findings) -> Option<Vec<GeoPoint>> {
    let places: Vec<Option<GeoPoint>> = line.value.iter().map(|point| findings.point(point)).collect();
    let mut places: Vec<GeoPoint> = places.into_iter().collect::<Option<_>>()?;
    places.dedup_by(|b, a| {
        let [east, north] = Plane::about(*a).metres(*b);
        crate::num::hypot(east, north) < SAME_POINT_M
    });
    if places.len() < 2 {
        findings
            .raise(
                "field/short-line",
                &line.place,
                format!("the {thing} has fewer than two points that differ"),
            )
            .hint("give at least two points, each `[latitude, longitude]`");
        return None;
    }
    Some(places)
}
