//! Rings on the Earth as far as they can be judged before they are projected.
//!
//! In: corners in longitude and latitude. Out: the ring as the [`Job`](super::Job) holds it, not
//! closed, without repeated points, or what is wrong with it. Longitudes stay within ±180; a ring
//! across the antimeridian is unrolled about its first corner for the judgement alone. The plane
//! used here is an equirectangular one about that corner, which is good to a few per cent and
//! serves for thresholds only.

use super::{Findings, brief};
use crate::num::{cos, hypot};
use geo::line_intersection::{LineIntersection, line_intersection};
use geo::{Coord, Line};
use lanewright_schema::job::Ring;
use lanewright_schema::quantity::GeoPoint;
use rstar::RTree;
use rstar::primitives::GeomWithData;

/// Metres in one degree of latitude, mean (a quarter meridian is 10 002 km on WGS 84).
const METRES_PER_DEGREE: f64 = 10_001_966.0 / 90.0;
/// Points nearer than this to the one before are the same point, metres.
const SAME_POINT_M: f64 = 0.001;
/// A ring whose mean width is less is a sliver, metres.
const SLIVER_M: f64 = 0.5;
/// At most so many crossings of one ring are told.
const CROSSINGS_TOLD: usize = 5;

/// The rules that a ring of some kind is judged by.
pub struct Rules {
    /// What it is, for messages: `boundary`.
    pub thing: &'static str,
    /// Fewer than three corners.
    pub few_corners: &'static str,
    /// Crosses itself.
    pub self_crossing: &'static str,
    /// Zero area, or a sliver.
    pub no_area: &'static str,
}

/// Checks a ring; the corners that are left, the first not given again.
pub fn ring(ring: &Ring, rules: &Rules, findings: &mut Findings) -> Option<Vec<GeoPoint>> {
    let corners: Vec<Option<GeoPoint>> = ring.value.iter().map(|corner| findings.point(corner)).collect();
    let corners = corners.into_iter().collect::<Option<Vec<_>>>()?;
    let kept = without_repeats(&corners);
    let dropped = kept_or_closing(&corners, kept.len());
    if dropped > 0 {
        findings
            .raise(
                "field/repeated-point",
                &ring.place,
                format!("{dropped} corners of the {} repeat the one before and are left out", rules.thing),
            )
            .hint("nothing needs to be done");
    }
    let thing = rules.thing;
    if kept.len() < 3 {
        findings
            .raise(
                rules.few_corners,
                &ring.place,
                format!("the {thing} has {} corners and encloses nothing", kept.len()),
            )
            .hint("give at least three corners that differ");
        return None;
    }
    let corners: Vec<GeoPoint> = kept.iter().map(|&index| corners[index]).collect();
    let plane = Plane::about(corners[0]);
    let outline: Vec<[f64; 2]> = corners.iter().map(|&corner| plane.metres(corner)).collect();
    let crossings = crossings(&outline);
    for &(first, second, at) in crossings.iter().take(CROSSINGS_TOLD) {
        let ground = plane.point(at);
        findings
            .raise(
                rules.self_crossing,
                &ring.value[kept[second]].place,
                format!(
                    "edges {} and {} of the {thing} cross at latitude {:.7}, longitude {:.7}",
                    kept[first] + 1,
                    kept[second] + 1,
                    ground.latitude,
                    ground.longitude
                ),
            )
            .label(format!("edge {} starts here", kept[second] + 1))
            .ground(ground)
            .hint("give the corners in the order in which one would walk round them");
    }
    if !crossings.is_empty() {
        return None;
    }
    let square_metres = area(&outline).abs();
    let mean_width = 2.0 * square_metres / perimeter(&outline);
    if square_metres < 1.0 || mean_width < SLIVER_M {
        findings
            .raise(
                rules.no_area,
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
    Some(corners)
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

/// How many corners were repeats, not counting the one that closes the ring.
fn kept_or_closing(corners: &[GeoPoint], kept: usize) -> usize {
    let closed = corners.len() > 1 && corners.first() == corners.last();
    corners.len() - kept - usize::from(closed)
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

/// Pairs of edges that cross or lie on one another, each with the place, lower edge first.
/// Edges that merely touch at a corner are let pass.
pub fn crossings(ring: &[[f64; 2]]) -> Vec<(usize, usize, [f64; 2])> {
    let coord = |p: [f64; 2]| Coord { x: p[0], y: p[1] };
    let lines: Vec<Line> = edges(ring).map(|(a, b)| Line::new(coord(a), coord(b))).collect();
    let tree = RTree::bulk_load(
        lines.iter().enumerate().map(|(index, line)| GeomWithData::new(*line, index)).collect(),
    );
    let mut found = Vec::new();
    for (first, line) in lines.iter().enumerate() {
        let envelope = rstar::RTreeObject::envelope(line);
        for other in tree.locate_in_envelope_intersecting(&envelope) {
            let second = other.data;
            if second <= first {
                continue;
            }
            match line_intersection(*line, lines[second]) {
                Some(LineIntersection::SinglePoint { intersection, is_proper: true }) => {
                    found.push((first, second, [intersection.x, intersection.y]));
                }
                Some(LineIntersection::Collinear { intersection })
                    if intersection.start != intersection.end =>
                {
                    found.push((first, second, [intersection.start.x, intersection.start.y]));
                }
                _ => {}
            }
        }
    }
    found.sort_by_key(|&(first, second, _)| (first, second));
    found
}
