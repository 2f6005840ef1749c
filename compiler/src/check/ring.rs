//! Rings on the Earth as far as they can be judged before they are projected.
//!
//! In: corners in longitude and latitude. Out: the ring as the [`Job`](super::Job) holds it, not
//! closed, without repeated points, or what is wrong with it. Longitudes stay within ±180; a ring
//! across the antimeridian is unrolled about its first corner for the judgement alone.

use super::{Findings, brief, counted, is_on_earth};
use crate::survey::plane::{Plane, apart, area, meetings, perimeter};
use lanewright_schema::job::Ring;
use lanewright_schema::quantity::GeoPoint;

/// Points nearer than this to the one before are the same point, metres.
const SAME_POINT_M: f64 = 0.001;
/// A ring whose mean width is less is a sliver, metres.
pub const SLIVER_M: f64 = 0.5;
/// At most so many crossings of one ring are told.
const MEETINGS_TOLD: usize = 5;

/// The rules that a ring of some kind is judged by.
#[derive(Debug)]
pub struct Rules {
    /// What it is, for messages: `boundary`.
    pub thing: &'static str,
    /// Fewer than three corners.
    pub few_corners: &'static str,
    /// Crosses itself.
    pub self_crossing: &'static str,
    /// Zero area, or a sliver.
    pub zero_area: &'static str,
    /// What becomes of slivers.
    pub slivers: Slivers,
}

/// What becomes of a ring that is too narrow to be worked.
#[derive(Copy, Clone, Debug, PartialEq, Eq)]
pub enum Slivers {
    /// It is refused.
    Refused,
    /// It is kept: a ditch in a field is narrow and there.
    Kept,
}

/// The rules for a field's boundary.
pub const BOUNDARY: Rules = Rules {
    thing: "boundary",
    few_corners: "field/few-corners",
    self_crossing: "field/self-crossing",
    zero_area: "field/zero-area",
    slivers: Slivers::Refused,
};

/// The rules for the outline of a survey's obstacle: a pole is small and there.
pub const OBSTACLE: Rules = Rules {
    thing: "obstacle",
    few_corners: "keep-out/few-corners",
    self_crossing: "keep-out/self-crossing",
    zero_area: "keep-out/zero-area",
    slivers: Slivers::Kept,
};

/// The rules for a hole of a boundary.
pub const HOLE: Rules = Rules { thing: "hole", slivers: Slivers::Kept, ..BOUNDARY };

/// The rules for a keep-out.
pub const KEEP_OUT: Rules = Rules {
    thing: "keep-out",
    few_corners: "keep-out/few-corners",
    self_crossing: "keep-out/self-crossing",
    zero_area: "keep-out/zero-area",
    slivers: Slivers::Refused,
};

/// Checks a ring; the corners that are left, the first not given again.
pub fn ring(ring: &Ring, rules: &Rules, findings: &mut Findings) -> Option<Vec<GeoPoint>> {
    let thing = rules.thing;
    // One corner that is nowhere tells enough; a whole file of them would drown the rest.
    if let Some(nowhere) = ring.value.iter().find(|corner| !is_on_earth(corner.value)) {
        findings.point(nowhere);
        return None;
    }
    let all: Vec<GeoPoint> = ring.value.iter().map(|corner| corner.value).collect();
    let kept = without_repeats(&all);
    tell_repeats(ring, &all, kept.len(), thing, findings);
    if kept.len() < 3 {
        findings
            .raise(
                rules.few_corners,
                &ring.place,
                format!("the {thing} has {} and encloses nothing", counted(kept.len(), "corner")),
            )
            .hint("give at least three corners that differ");
        return None;
    }
    let corners: Vec<GeoPoint> = kept.iter().map(|&index| all[index]).collect();
    let plane = Plane::about(corners[0]);
    let outline: Vec<[f64; 2]> = corners.iter().map(|&corner| plane.metres(corner)).collect();
    let meetings = meetings(&outline);
    let square_metres = area(&outline).abs();
    let mean_width = 2.0 * square_metres / perimeter(&outline);
    let thin = square_metres < 1.0 || mean_width < SLIVER_M;
    if thin && rules.slivers == Slivers::Refused && meetings.iter().all(|meeting| meeting.overlap) {
        findings
            .raise(
                rules.zero_area,
                &ring.place,
                format!(
                    "the {thing} encloses {} m² at a mean width of {} m",
                    brief(square_metres),
                    brief(mean_width)
                ),
            )
            .ground(corners[0])
            .hint("check the corners; no machine can work there");
        return None;
    }
    for meeting in meetings.iter().take(MEETINGS_TOLD) {
        let ground = plane.point(meeting.at);
        let [first, second] = meeting.edges.map(|edge| kept[edge] + 1);
        let meet = if meeting.overlap { "lie on one another from" } else { "cross at" };
        findings
            .raise(
                rules.self_crossing,
                &ring.value[second - 1].place,
                format!(
                    "edges {first} and {second} of the {thing} {meet} latitude {:.7}, longitude {:.7}",
                    ground.latitude, ground.longitude
                ),
            )
            .label(format!("edge {second} starts here"))
            .ground(ground)
            .hint("give the corners in the order in which one would walk round them");
    }
    meetings.is_empty().then_some(corners)
}

/// Tells how many corners were repeats, not counting the one that closes the ring.
fn tell_repeats(ring: &Ring, all: &[GeoPoint], kept: usize, thing: &str, findings: &mut Findings) {
    let closed = all.len() > 1 && all.first() == all.last();
    let repeats = all.len() - kept - usize::from(closed);
    if repeats > 0 && kept >= 3 {
        findings
            .raise(
                "field/repeated-point",
                &ring.place,
                format!(
                    "{} of the {thing} left out, each the same place as the one before",
                    counted(repeats, "corner")
                ),
            )
            .hint("nothing needs to be done");
    }
}

/// Indices of the corners that differ from the one before; a closing corner is left out.
fn without_repeats(corners: &[GeoPoint]) -> Vec<usize> {
    let mut kept: Vec<usize> = Vec::with_capacity(corners.len());
    for index in 0..corners.len() {
        if kept.last().is_none_or(|&last| !same(corners[last], corners[index])) {
            kept.push(index);
        }
    }
    while kept.len() > 1 && same(corners[kept[0]], corners[kept[kept.len() - 1]]) {
        kept.pop();
    }
    kept
}

fn same(a: GeoPoint, b: GeoPoint) -> bool {
    apart(a, b) < SAME_POINT_M
}
