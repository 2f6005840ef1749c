//! Rings on the Earth as far as they can be judged before they are projected.
//!
//! In: corners in longitude and latitude. Out: the ring as the [`Job`](super::Job) holds it, not
//! closed, without repeated points, or what is wrong with it. Longitudes stay within ±180; a ring
//! across the antimeridian is unrolled about its first corner for the judgement alone. The plane
//! used here is an equirectangular one about that corner, which is good to a few per cent and
//! serves for thresholds only.

use super::{Findings, brief, counted, is_on_earth};
use crate::num::{cos, hypot};
use geo::line_intersection::{LineIntersection, line_intersection};
use geo::{Coord, Line};
use lanewright_schema::job::Ring;
use lanewright_schema::quantity::GeoPoint;
use rstar::primitives::GeomWithData;
use rstar::{RTree, RTreeObject};

/// Metres in one degree of latitude, mean (a quarter meridian is 10 002 km on WGS 84).
const METRES_PER_DEGREE: f64 = 10_001_966.0 / 90.0;
/// Points nearer than this to the one before are the same point, metres.
const SAME_POINT_M: f64 = 0.001;
/// A ring whose mean width is less is a sliver, metres.
const SLIVER_M: f64 = 0.5;
/// At most so many crossings of one ring are told.
const MEETINGS_TOLD: usize = 5;

/// The rules that a ring of some kind is judged by.
pub struct Rules {
    /// What it is, for messages: `boundary`.
    pub thing: &'static str,
    /// Fewer than three corners.
    pub few_corners: &'static str,
    /// Crosses itself.
    pub self_crossing: &'static str,
    /// Zero area, or a sliver.
    pub zero_area: &'static str,
}

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
    if thin && meetings.iter().all(|meeting| meeting.overlap) {
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
    let [x, y] = Plane::about(a).metres(b);
    hypot(x, y) < SAME_POINT_M
}

/// An equirectangular plane about a point.
pub struct Plane {
    origin: GeoPoint,
    metres_per_degree_east: f64,
}

impl Plane {
    /// The plane about a point.
    pub fn about(origin: GeoPoint) -> Self {
        Self {
            origin,
            metres_per_degree_east: METRES_PER_DEGREE * cos(origin.latitude.to_radians()).max(1e-6),
        }
    }

    /// Metres east and north of the origin, the shorter way round the Earth.
    pub fn metres(&self, point: GeoPoint) -> [f64; 2] {
        let east = wrap(point.longitude - self.origin.longitude);
        [east * self.metres_per_degree_east, (point.latitude - self.origin.latitude) * METRES_PER_DEGREE]
    }

    /// The point so many metres east and north of the origin.
    fn point(&self, [east, north]: [f64; 2]) -> GeoPoint {
        GeoPoint {
            longitude: wrap(self.origin.longitude + east / self.metres_per_degree_east),
            latitude: self.origin.latitude + north / METRES_PER_DEGREE,
        }
    }
}

/// A longitude brought into ±180.
fn wrap(longitude: f64) -> f64 {
    if longitude > 180.0 {
        longitude - 360.0
    } else if longitude < -180.0 {
        longitude + 360.0
    } else {
        longitude
    }
}

/// Twice the shoelace, halved: positive where the ring runs counter-clockwise.
pub fn area(ring: &[[f64; 2]]) -> f64 {
    edges(ring).map(|(a, b)| a[0] * b[1] - b[0] * a[1]).sum::<f64>() / 2.0
}

fn perimeter(ring: &[[f64; 2]]) -> f64 {
    edges(ring).map(|(a, b)| hypot(b[0] - a[0], b[1] - a[1])).sum()
}

fn edges(ring: &[[f64; 2]]) -> impl Iterator<Item = ([f64; 2], [f64; 2])> {
    (0..ring.len()).map(|index| (ring[index], ring[(index + 1) % ring.len()]))
}

/// Two edges that meet where they should not.
pub struct Meeting {
    /// The edges, the lower first.
    pub edges: [usize; 2],
    /// Where, or where it begins.
    pub at: [f64; 2],
    /// Whether they lie on one another, as the two sides of a spike do, rather than cross.
    pub overlap: bool,
}

/// Pairs of edges that cross or lie on one another. Edges that merely touch at a corner are let
/// pass.
pub fn meetings(ring: &[[f64; 2]]) -> Vec<Meeting> {
    let coord = |p: [f64; 2]| Coord { x: p[0], y: p[1] };
    let lines: Vec<Line> = edges(ring).map(|(a, b)| Line::new(coord(a), coord(b))).collect();
    let indexed = lines.iter().enumerate().map(|(index, line)| GeomWithData::new(*line, index));
    let tree = RTree::bulk_load(indexed.collect());
    let mut found = Vec::new();
    for (first, line) in lines.iter().enumerate() {
        for other in tree.locate_in_envelope_intersecting(&line.envelope()) {
            let second = other.data;
            if second > first
                && let Some((at, overlap)) = meeting_point(*line, lines[second])
            {
                found.push(Meeting { edges: [first, second], at: [at.x, at.y], overlap });
            }
        }
    }
    found.sort_by_key(|meeting| meeting.edges);
    found
}

fn meeting_point(a: Line, b: Line) -> Option<(Coord, bool)> {
    match line_intersection(a, b)? {
        LineIntersection::SinglePoint { intersection, is_proper: true } => Some((intersection, false)),
        LineIntersection::Collinear { intersection } if intersection.start != intersection.end => {
            Some((intersection.start, true))
        }
        _ => None,
    }
}
