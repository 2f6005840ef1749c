//! Lines across a region, all along one direction: where each lies inside, and where a convex body
//! can slide along it without touching the region's edge.
//!
//! Everything happens in the direction's own coordinates: `t` along it, `v` to its right, both in
//! metres from an origin. The intervals are exact but for rounding: no sampling is involved.

use super::interval::{Interval, gaps};
use super::{Point, region};
use crate::num;
use geo::{Coord, MultiPolygon};

/// A direction with an origin: coordinates along it and to its right.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Axes {
    /// Where `t = v = 0`.
    pub origin: Point,
    /// The direction, radians counter-clockwise from east.
    pub angle: f64,
    along: Point,
}

impl Axes {
    /// Axes with this origin and direction.
    pub fn new(origin: Point, angle: f64) -> Self {
        let (y, x) = num::sin_cos(angle);
        Self { origin, angle, along: Coord { x, y } }
    }
    /// `(t, v)` of a ground point.
    pub fn local(&self, point: Point) -> (f64, f64) {
        let d = point - self.origin;
        (d.x * self.along.x + d.y * self.along.y, d.x * self.along.y - d.y * self.along.x)
    }
    /// The ground point at `(t, v)`.
    pub fn ground(&self, t: f64, v: f64) -> Point {
        Coord {
            x: self.origin.x + t * self.along.x + v * self.along.y,
            y: self.origin.y + t * self.along.y - v * self.along.x,
        }
    }
}

/// A region's edges in the coordinates of some axes.
#[derive(Clone, Debug)]
pub struct LocalEdges {
    edges: Vec<[(f64, f64); 2]>,
    /// Extent along the axes.
    pub t: Interval,
    /// Extent to the right.
    pub v: Interval,
}

impl LocalEdges {
    /// The edges of all rings of a region that is not empty.
    pub fn new(region: &MultiPolygon, axes: &Axes) -> Self {
        let edges: Vec<_> = region::rings(region)
            .flat_map(geo::LineString::lines)
            .map(|line| [axes.local(line.start), axes.local(line.end)])
            .collect();
        let extent = |pick: fn(&(f64, f64)) -> f64| {
            edges.iter().flatten().map(pick).fold(Interval::new(f64::INFINITY, f64::NEG_INFINITY), |i, x| {
                Interval::new(i.from.min(x), i.to.max(x))
            })
        };
        Self { t: extent(|p| p.0), v: extent(|p| p.1), edges }
    }

    /// Where each of `count` lines `v = first + i · step` lies inside the region.
    pub fn inside(&self, first: f64, step: f64, count: usize) -> Vec<Vec<Interval>> {
        let mut crossings: Vec<Vec<f64>> = vec![Vec::new(); count];
        for [(t0, v0), (t1, v1)] in &self.edges {
            let (low, high) = if v0 < v1 { (v0, v1) } else { (v1, v0) };
            let from = ((low - first) / step).ceil().max(0.0) as usize;
            for (i, line) in crossings.iter_mut().enumerate().skip(from.saturating_sub(1)) {
                let v = first + i as f64 * step;
                if v > *high {
                    break;
                }
                if (*v0 <= v) != (*v1 <= v) {
                    line.push(t0 + (v - v0) / (v1 - v0) * (t1 - t0));
                }
            }
        }
        crossings.into_iter().map(pairs).collect()
    }

    /// Where the reference point of a convex body may be on the line `v`, so that the body meets
    /// no edge. The body's corners are `(forward, right)` from its reference point; whether the
    /// body is then inside the region or outside it is the caller's question.
    pub fn free(&self, v: f64, body: &[(f64, f64)]) -> Vec<Interval> {
        let (left, right) = extent_right(body);
        let length = body.iter().map(|p| p.0.abs()).fold(0.0, f64::max);
        let within = Interval::new(self.t.from - length, self.t.to + length);
        let blocked = self
            .edges
            .iter()
            .filter_map(|edge| clipped(*edge, v + left, v + right))
            .map(|edge| blocked_by(edge, v, body))
            .collect();
        gaps(blocked, within)
    }
}

fn pairs(mut crossings: Vec<f64>) -> Vec<Interval> {
    crossings.sort_by(f64::total_cmp);
    crossings.chunks_exact(2).map(|c| Interval::new(c[0], c[1])).filter(|i| i.from < i.to).collect()
}

fn extent_right(body: &[(f64, f64)]) -> (f64, f64) {
    body.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), p| (low.min(p.1), high.max(p.1)))
}

/// The part of an edge between two lines of constant `v`.
fn clipped([a, b]: [(f64, f64); 2], low: f64, high: f64) -> Option<[(f64, f64); 2]> {
    let (a, b) = if a.1 <= b.1 { (a, b) } else { (b, a) };
    if b.1 <= low || a.1 >= high {
        return None;
    }
    let at = |v: f64| (a.0 + (v - a.1) / (b.1 - a.1) * (b.0 - a.0), v);
    Some([if a.1 < low { at(low) } else { a }, if b.1 > high { at(high) } else { b }])
}

/// Reference positions at which the body meets the edge. The body's front is a concave function of
/// the lateral place and its back a convex one, so the extremes lie at the edge's ends or beside a
/// corner of the body.
fn blocked_by([a, b]: [(f64, f64); 2], v: f64, body: &[(f64, f64)]) -> Interval {
    let on_edge = |lateral: f64| {
        let share = if b.1 > a.1 { (lateral + v - a.1) / (b.1 - a.1) } else { 0.0 };
        a.0 + share.clamp(0.0, 1.0) * (b.0 - a.0)
    };
    let ends = [(a.0, a.1 - v), (b.0, b.1 - v)];
    let beside_corners = body
        .iter()
        .map(|corner| corner.1)
        .filter(|lateral| *lateral > ends[0].1 && *lateral < ends[1].1)
        .map(|lateral| (on_edge(lateral), lateral));
    ends.into_iter().chain(beside_corners).fold(
        Interval::new(f64::INFINITY, f64::NEG_INFINITY),
        |blocked, (t, lateral)| {
            let (back, front) = chord(body, lateral);
            Interval::new(blocked.from.min(t - front), blocked.to.max(t - back))
        },
    )
}

/// How far back and how far forward a convex body reaches at a lateral place.
fn chord(body: &[(f64, f64)], lateral: f64) -> (f64, f64) {
    let mut back = f64::INFINITY;
    let mut front = f64::NEG_INFINITY;
    for (i, p) in body.iter().enumerate() {
        let q = body[(i + 1) % body.len()];
        let (low, high) = if p.1 <= q.1 { (*p, q) } else { (q, *p) };
        if lateral < low.1 || lateral > high.1 {
            continue;
        }
        let xs = if high.1 > low.1 {
            let x = low.0 + (lateral - low.1) / (high.1 - low.1) * (high.0 - low.0);
            [x, x]
        } else {
            [low.0, high.0]
        };
        back = back.min(xs[0].min(xs[1]));
        front = front.max(xs[0].max(xs[1]));
    }
    (back, front)
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::polygon;

    fn square_with_hole() -> MultiPolygon {
        polygon!(
            exterior: [(x: 0.0, y: 0.0), (x: 100.0, y: 0.0), (x: 100.0, y: 100.0), (x: 0.0, y: 100.0)],
            interiors: [[(x: 40.0, y: 40.0), (x: 60.0, y: 40.0), (x: 60.0, y: 60.0), (x: 40.0, y: 60.0)]],
        )
        .into()
    }

    #[test]
    fn local_coordinates_are_along_and_to_the_right_and_invert() {
        let axes = Axes::new(Coord { x: 3.0, y: 4.0 }, num::PI / 2.0);
        let (t, v) = axes.local(Coord { x: 5.0, y: 14.0 });
        assert!((t - 10.0).abs() < 1e-12 && (v - 2.0).abs() < 1e-12, "north is along, east is right");
        let back = axes.ground(t, v);
        assert!((back.x - 5.0).abs() < 1e-12 && (back.y - 14.0).abs() < 1e-12);
    }

    #[test]
    fn lines_are_interrupted_by_holes() {
        let edges = LocalEdges::new(&square_with_hole(), &Axes::new(Coord::zero(), 0.0));
        let lines = edges.inside(-95.0, 45.0, 3);
        assert_eq!(lines[0], vec![Interval::new(0.0, 100.0)]);
        assert_eq!(lines[1], vec![Interval::new(0.0, 40.0), Interval::new(60.0, 100.0)]);
        assert_eq!(lines[2], vec![Interval::new(0.0, 100.0)]);
    }

    #[test]
    fn a_body_stops_where_its_nose_or_its_shoulder_meets_an_edge() {
        let edges = LocalEdges::new(&square_with_hole(), &Axes::new(Coord::zero(), 0.0));
        let body = [(2.0, -1.0), (2.0, 1.0), (-1.0, 1.0), (-1.0, -1.0)];
        let inner = edges.free(-50.0, &body);
        assert_eq!(inner[0], Interval::new(1.0, 38.0));
        assert_eq!(inner[1], Interval::new(41.0, 58.0), "within the hole it meets no edge either");
        assert_eq!(inner[2], Interval::new(61.0, 98.0));
        let grazing = edges.free(-39.5, &body);
        assert_eq!(grazing[0], Interval::new(1.0, 38.0));
        let clear = edges.free(-38.5, &body);
        assert_eq!(clear[0], Interval::new(1.0, 98.0));
    }

    #[test]
    fn a_pointed_nose_reaches_further_into_a_slanted_corner_than_its_box_would() {
        let wedge: MultiPolygon = polygon![(x: 0.0, y: -50.0), (x: 50.0, y: 0.0), (x: 0.0, y: 50.0)].into();
        let edges = LocalEdges::new(&wedge, &Axes::new(Coord::zero(), 0.0));
        let arrow = [(2.0, 0.0), (0.0, 1.0), (0.0, -1.0)];
        let free = edges.free(0.0, &arrow);
        assert!((free[0].to - 48.0).abs() < 1e-9, "{free:?}");
    }
}
