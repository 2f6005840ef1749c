//! A plane about a place, for judging a boundary before it is projected.
//!
//! In: longitude and latitude. Out: metres east and north, in an equirectangular plane: good to a
//! few per cent, which serves for thresholds only. A ring across the antimeridian is unrolled about
//! the plane's origin.

use crate::num::{cos, hypot};
use geo::line_intersection::{LineIntersection, line_intersection};
use geo::{Coord, Line};
use lanewright_schema::quantity::GeoPoint;
use rstar::primitives::GeomWithData;
use rstar::{RTree, RTreeObject};

/// Metres in one degree of latitude, mean (a quarter meridian is 10 002 km on WGS 84).
const METRES_PER_DEGREE: f64 = 10_001_966.0 / 90.0;

/// An equirectangular plane about a point.
#[derive(Copy, Clone, Debug)]
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
    pub fn point(&self, [east, north]: [f64; 2]) -> GeoPoint {
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

/// Metres between two places that are near one another.
pub fn apart(a: GeoPoint, b: GeoPoint) -> f64 {
    let [x, y] = Plane::about(a).metres(b);
    hypot(x, y)
}

/// Metres between two points of one plane.
pub fn distance(a: [f64; 2], b: [f64; 2]) -> f64 {
    hypot(b[0] - a[0], b[1] - a[1])
}

/// The point of the edge from `a` to `b` that is nearest to `p`, and how far it is.
pub fn nearest_on([a, b]: [[f64; 2]; 2], p: [f64; 2]) -> ([f64; 2], f64) {
    let along = [b[0] - a[0], b[1] - a[1]];
    let square = along[0] * along[0] + along[1] * along[1];
    let share = if square > 0.0 {
        (((p[0] - a[0]) * along[0] + (p[1] - a[1]) * along[1]) / square).clamp(0.0, 1.0)
    } else {
        0.0
    };
    let nearest = [a[0] + share * along[0], a[1] + share * along[1]];
    (nearest, distance(nearest, p))
}

/// The shoelace: positive where the ring runs counter-clockwise.
pub fn area(ring: &[[f64; 2]]) -> f64 {
    edges(ring).map(|[a, b]| a[0] * b[1] - b[0] * a[1]).sum::<f64>() / 2.0
}

/// The length of the ring.
pub fn perimeter(ring: &[[f64; 2]]) -> f64 {
    edges(ring).map(|[a, b]| distance(a, b)).sum()
}

/// The edges, the closing one last.
pub fn edges(ring: &[[f64; 2]]) -> impl Iterator<Item = [[f64; 2]; 2]> {
    (0..ring.len()).map(|index| [ring[index], ring[(index + 1) % ring.len()]])
}

/// Whether the ring has the point inside, by counting crossings.
pub fn contains(ring: &[[f64; 2]], [x, y]: [f64; 2]) -> bool {
    let crossings = edges(ring)
        .filter(|[a, b]| (a[1] > y) != (b[1] > y) && x < a[0] + (y - a[1]) / (b[1] - a[1]) * (b[0] - a[0]));
    crossings.count() % 2 == 1
}

/// How far the point is from the ring's line.
pub fn off_line(ring: &[[f64; 2]], point: [f64; 2]) -> f64 {
    edges(ring).map(|edge| nearest_on(edge, point).1).fold(f64::INFINITY, f64::min)
}

/// The edges of a ring, to be asked which lie near.
pub type EdgeTree = RTree<GeomWithData<Line, usize>>;

/// Puts the edges of a ring into a tree, each with its index.
pub fn edge_tree(ring: &[[f64; 2]]) -> EdgeTree {
    let coord = |p: [f64; 2]| Coord { x: p[0], y: p[1] };
    let lines = edges(ring).map(|[a, b]| Line::new(coord(a), coord(b)));
    RTree::bulk_load(lines.enumerate().map(|(index, line)| GeomWithData::new(line, index)).collect())
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
    let tree = edge_tree(ring);
    let mut found = Vec::new();
    for edge in &tree {
        for other in tree.locate_in_envelope_intersecting(&edge.envelope()) {
            if other.data > edge.data
                && let Some((at, overlap)) = meeting_point(*edge.geom(), *other.geom())
            {
                found.push(Meeting { edges: [edge.data, other.data], at: [at.x, at.y], overlap });
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
