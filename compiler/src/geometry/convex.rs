//! Convex polygons: the hull of points, and the distance from a filled hull to a segment.
//!
//! The hull is Andrew's monotone chain (1979). The distance first looks for a separating line
//! along the hull's edges and the segment, which gives a lower bound; the exact distance between
//! corners and edges is computed only where that bound is not enough. Numbers are plain f64: a
//! caller that needs a proof keeps a margin far above rounding.

use super::Point;
use crate::num;

/// A straight edge between two points.
pub type Segment = [Point; 2];

/// A convex polygon, corners counter-clockwise; one or two points stand for a point or a segment.
#[derive(Clone, Debug, PartialEq)]
pub struct Convex(Vec<Point>);

impl Convex {
    /// The hull of points, at least one.
    pub fn hull(mut points: Vec<Point>) -> Self {
        points.sort_unstable_by(|a, b| a.x.total_cmp(&b.x).then(a.y.total_cmp(&b.y)));
        points.dedup();
        if points.len() < 3 {
            return Self(points);
        }
        let mut chain: Vec<Point> = Vec::with_capacity(points.len() + 1);
        let lower = points.iter();
        let upper = points.iter().rev().skip(1);
        let mut floor = 2;
        for (index, &point) in lower.chain(upper).enumerate() {
            if index == points.len() {
                floor = chain.len() + 1;
            }
            while chain.len() >= floor && cross(chain[chain.len() - 2], chain[chain.len() - 1], point) <= 0.0
            {
                chain.pop();
            }
            chain.push(point);
        }
        chain.pop();
        Self(chain)
    }

    /// The corners, counter-clockwise.
    pub fn corners(&self) -> &[Point] {
        &self.0
    }

    /// Its edges, counter-clockwise.
    pub fn edges(&self) -> impl Iterator<Item = Segment> + '_ {
        let next = self.0.iter().cycle().skip(1);
        self.0.iter().zip(next).map(|(&from, &to)| [from, to])
    }

    /// The distance from the filled polygon to a segment, zero where they touch. Where it is
    /// surely at least `enough`, any value between `enough` and the distance may come back.
    pub fn distance_to(&self, segment: Segment, enough: f64) -> f64 {
        let gap = self.separation(segment);
        if gap <= 0.0 || gap >= enough {
            return gap.max(0.0);
        }
        let from_corners = self.0.iter().map(|&corner| point_to_segment(corner, segment));
        let from_ends =
            self.edges().flat_map(|edge| segment.into_iter().map(move |end| point_to_segment(end, edge)));
        from_corners.chain(from_ends).fold(f64::INFINITY, f64::min)
    }

    /// The widest gap between two parallel lines along an edge or the segment that keep both
    /// apart; not above zero when they touch.
    fn separation(&self, [from, to]: Segment) -> f64 {
        let mut gap = f64::NEG_INFINITY;
        for [corner, next] in self.edges() {
            let length = num::hypot(next.x - corner.x, next.y - corner.y);
            if length > 0.0 {
                let near = cross(corner, next, from).max(cross(corner, next, to));
                gap = gap.max(-near / length);
            }
        }
        let length = num::hypot(to.x - from.x, to.y - from.y);
        if length > 0.0 {
            let sides = self.0.iter().map(|&corner| cross(from, to, corner) / length);
            let (low, high) = sides.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), side| {
                (low.min(side), high.max(side))
            });
            gap = gap.max(low).max(-high);
        }
        gap
    }
}

/// Metres from a point to the nearest point of a segment.
pub fn point_to_segment(point: Point, [from, to]: Segment) -> f64 {
    let (along_x, along_y) = (to.x - from.x, to.y - from.y);
    let (x, y) = (point.x - from.x, point.y - from.y);
    let square = along_x * along_x + along_y * along_y;
    let share = if square > 0.0 { ((x * along_x + y * along_y) / square).clamp(0.0, 1.0) } else { 0.0 };
    num::hypot(x - share * along_x, y - share * along_y)
}

/// Twice the area of the triangle, positive when it runs counter-clockwise.
fn cross(a: Point, b: Point, c: Point) -> f64 {
    (b.x - a.x) * (c.y - a.y) - (b.y - a.y) * (c.x - a.x)
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::{Distance, Euclidean, Line, LineString, Polygon};
    use proptest::prelude::*;

    fn point() -> impl Strategy<Value = Point> {
        (-10.0..10.0f64, -10.0..10.0f64).prop_map(|(x, y)| Point { x, y })
    }

    proptest! {
        /// The `geo` crate's own distance is the second opinion.
        #[test]
        fn distance_agrees_with_another_implementation(
            points in proptest::collection::vec(point(), 3..12), from in point(), to in point()
        ) {
            let hull = Convex::hull(points);
            let polygon = Polygon::new(LineString::new(hull.corners().to_vec()), vec![]);
            let expected = Euclidean.distance(&polygon, &Line::new(from, to));
            let found = hull.distance_to([from, to], f64::INFINITY);
            prop_assert!((found - expected).abs() < 1e-9, "{found} {expected}");
            let bound = hull.distance_to([from, to], 0.5);
            prop_assert!(bound <= expected + 1e-9 && bound >= expected.min(0.5) - 1e-9);
        }

        #[test]
        fn a_hull_turns_left_and_holds_every_point(points in proptest::collection::vec(point(), 3..20)) {
            let hull = Convex::hull(points.clone());
            for [from, to] in hull.edges() {
                for &point in &points {
                    prop_assert!(cross(from, to, point) > -1e-9);
                }
            }
        }
    }
}
