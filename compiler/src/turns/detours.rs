//! How far a way must lead where the straight line leaves the field.
//!
//! In: the footprint and the fence. Out: for any two places a bound on the metres between them, as the
//! reference point drives.
//!
//! It keeps its footprint's inner radius from the fence. An outline half as far from it, its edges made straight
//! by the other half at most, is thus never crossed, and the shortest way past such an outline bends only at
//! corners that it touches (Lozano-Pérez & Wesley 1979). What a place sees is told direction by direction, in
//! equal steps: nothing is hidden but what lies beyond a stretch of the outline that spans a whole step. Some
//! places count as seen that are not, and the bound stays one.

use super::FreeSpace;
use crate::geometry::{Point, cross, distance, region, unit};
use crate::num;
use crate::ranked::Ranked;
use geo::{Area, ConvexHull, LineString, MultiPolygon, Simplify};
use std::collections::BinaryHeap;

/// Steps of direction all round.
const STEPS: usize = 1024;
const LAST_STEP: usize = STEPS - 1;

/// A place nearer than this to a corner stands on it, metres.
const SAME_M: f64 = 1e-6;

/// How far ways must lead through a field that is not convex.
pub struct Detours {
    /// Rings that ways do not cross, the last corner joined to the first.
    outline: Vec<Vec<Point>>,
    corners: Vec<Corner>,
    /// Metres of the shortest way from corner to corner.
    between: Vec<Vec<f64>>,
    /// The directions at which steps begin.
    rays: Vec<Point>,
}

/// A corner of the outline with its neighbours.
#[derive(Copy, Clone)]
struct Corner {
    before: Point,
    at: Point,
    after: Point,
}

impl Corner {
    /// Whether a line from a place can bend round it: no edge lies on one side and the other edge on the other.
    fn bends(&self, from: Point) -> bool {
        let along = self.at - from;
        let least = SAME_M * num::hypot(along.x, along.y);
        let [one, other] = [self.before, self.after].map(|next| cross(along, next - self.at));
        one * other >= 0.0 || one.abs().min(other.abs()) < least
    }
}

/// A place with the corners that a way from it may bend round first.
pub struct Lookout {
    at: Point,
    /// With the metres to each.
    corners: Vec<(usize, f64)>,
}

/// Where a ring crosses the beginning of a step, as seen from a place.
struct Crossing {
    ray: usize,
    metres: f64,
    /// The farthest corner between it and the next crossing of the ring.
    then_metres: f64,
}

impl Detours {
    /// Through the free space. Where hardly any way is longer than the straight line, none counts as longer.
    pub fn through(space: &FreeSpace, fence: &MultiPolygon) -> Self {
        /// The share of its convex hull that a field fills if few lines between its places leave it.
        const NEARLY_CONVEX: f64 = 0.98;
        let half_m = 0.5 * space.footprint().core();
        let is_convex = fence.unsigned_area() > NEARLY_CONVEX * fence.convex_hull().unsigned_area();
        let kept_off = if half_m <= 0.0 || is_convex {
            MultiPolygon(Vec::new())
        } else {
            region::inset(fence, half_m).simplify(half_m)
        };
        let outline: Vec<Vec<Point>> = region::rings(&kept_off).map(open).collect();
        let ray = |step: usize| unit(2.0 * num::PI * step as f64 / STEPS as f64);
        let corners = outline.iter().flat_map(|ring| corners(ring)).collect();
        let mut detours = Self { outline, corners, between: Vec::new(), rays: (0..STEPS).map(ray).collect() };
        detours.join_corners();
        detours
    }

    fn join_corners(&mut self) {
        let onward: Vec<Vec<(usize, f64)>> = self
            .corners
            .iter()
            .map(|from| {
                let mut seen = self.seen(&self.sight(from.at));
                seen.retain(|&(to, _)| from.bends(self.corners[to].at));
                seen
            })
            .collect();
        self.between = (0..onward.len()).map(|corner| shortest(&onward, corner)).collect();
    }

    /// What ways from or to a place may bend round.
    pub fn lookout(&self, at: Point) -> Lookout {
        Lookout { at, corners: self.seen(&self.sight(at)) }
    }

    /// The corners that a way may bend round first, with the metres to each.
    fn seen(&self, sight: &Sight) -> Vec<(usize, f64)> {
        let seen = self.corners.iter().enumerate().filter_map(|(index, corner)| {
            let metres = distance(sight.at, corner.at);
            let is_seen = metres > SAME_M && corner.bends(sight.at) && sight.reaches(corner.at);
            is_seen.then_some((index, metres))
        });
        seen.collect()
    }

    /// Metres from a place to each of others, never more than the truth.
    pub fn at_least(&self, from: Point) -> impl Fn(&Lookout) -> f64 + use<> {
        let sight = self.sight(from);
        let seen = self.seen(&sight);
        let to_corner = |corner| {
            let ways = seen.iter().map(|&(first, metres)| metres + self.between[first][corner]);
            ways.fold(f64::INFINITY, f64::min)
        };
        let to_corners: Vec<f64> = (0..self.corners.len()).map(to_corner).collect();
        move |to| {
            let straight_m = distance(sight.at, to.at);
            if sight.reaches(to.at) {
                return straight_m;
            }
            let ways = to.corners.iter().map(|&(last, metres)| to_corners[last] + metres);
            let shortest_m = ways.fold(f64::INFINITY, f64::min);
            if shortest_m.is_finite() { shortest_m } else { straight_m }
        }
    }

    fn sight(&self, at: Point) -> Sight {
        let mut sight = Sight { at, metres: vec![f64::INFINITY; STEPS] };
        for ring in &self.outline {
            let crossings = self.crossings(ring, at);
            for (i, one) in crossings.iter().enumerate() {
                let next = &crossings[(i + 1) % crossings.len()];
                let step = match (next.ray + STEPS - one.ray) % STEPS {
                    1 => one.ray,
                    LAST_STEP => next.ray,
                    _ => continue,
                };
                let farthest = one.metres.max(one.then_metres).max(next.metres);
                sight.metres[step] = sight.metres[step].min(farthest);
            }
        }
        sight
    }

    /// Where a ring crosses the beginnings of steps, in its order.
    fn crossings(&self, ring: &[Point], from: Point) -> Vec<Crossing> {
        let mut crossings: Vec<Crossing> = Vec::new();
        let mut at_first = 0.0_f64;
        for (i, &corner) in ring.iter().enumerate() {
            let (a, b) = (corner - from, ring[(i + 1) % ring.len()] - from);
            let ends = [a, b].map(|end| num::hypot(end.x, end.y));
            let turn = turned(a, b);
            let mut then_metres = ends[1];
            if ends[0].min(ends[1]) < SAME_M || turn.abs() > 0.499 * STEPS as f64 {
                then_metres = f64::INFINITY;
            } else {
                crossings.extend(self.crossed(a, b, turn, ends[0].max(ends[1])));
            }
            let last = crossings.last_mut().map_or(&mut at_first, |last| &mut last.then_metres);
            *last = last.max(then_metres);
        }
        if let Some(last) = crossings.last_mut() {
            last.then_metres = last.then_metres.max(at_first);
        }
        crossings
    }

    /// The beginnings of steps that an edge crosses, seen from the origin.
    fn crossed(&self, a: Point, b: Point, turn: f64, far: f64) -> impl Iterator<Item = Crossing> + '_ {
        let (begin, edge) = (steps_of(a), b - a);
        let end = begin + turn;
        let (first, last, onward) =
            if turn >= 0.0 { (begin.ceil(), end.floor(), 1) } else { (begin.floor(), end.ceil(), -1) };
        let (first, last) = (first as i64, last as i64);
        (0..=onward * (last - first)).map(move |i| {
            let ray = (first + onward * i).rem_euclid(STEPS as i64) as usize;
            let across = cross(self.rays[ray], edge);
            let is_along = across.abs() < 1e-6 * num::hypot(edge.x, edge.y);
            let metres = if is_along { far } else { (cross(a, edge) / across).clamp(0.0, far) };
            Crossing { ray, metres, then_metres: 0.0 }
        })
    }
}

/// What a place sees.
struct Sight {
    at: Point,
    /// How far at most within each step of direction.
    metres: Vec<f64>,
}

impl Sight {
    fn reaches(&self, place: Point) -> bool {
        let step = (steps_of(place - self.at).floor() as i64).rem_euclid(STEPS as i64) as usize;
        distance(self.at, place) <= self.metres[step] + SAME_M
    }
}

/// The direction of a vector in steps, from -½ to ½ of all.
fn steps_of(vector: Point) -> f64 {
    num::atan2(vector.y, vector.x) * (STEPS as f64 / (2.0 * num::PI))
}

/// Steps from one direction to another, to the left.
fn turned(a: Point, b: Point) -> f64 {
    let steps = steps_of(b) - steps_of(a);
    steps - STEPS as f64 * (steps / STEPS as f64).round()
}

fn open(ring: &LineString) -> Vec<Point> {
    ring.0[..ring.0.len().saturating_sub(1)].to_vec()
}

fn corners(ring: &[Point]) -> impl Iterator<Item = Corner> + '_ {
    let around = |i: usize| ring[i % ring.len()];
    (0..ring.len()).map(move |i| Corner {
        before: around(i + ring.len() - 1),
        at: ring[i],
        after: around(i + 1),
    })
}

/// Metres of the shortest way from one corner to each (Dijkstra 1959).
fn shortest(onward: &[Vec<(usize, f64)>], from: usize) -> Vec<f64> {
    let mut metres = vec![f64::INFINITY; onward.len()];
    metres[from] = 0.0;
    let mut open = BinaryHeap::from([Ranked { rank: 0.0, index: from }]);
    while let Some(Ranked { rank, index }) = open.pop() {
        if rank > metres[index] {
            continue;
        }
        for &(next, step) in &onward[index] {
            let through = rank + step;
            if through < metres[next] {
                metres[next] = through;
                open.push(Ranked { rank: through, index: next });
            }
        }
    }
    metres
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Footprint;
    use geo::{Polygon, polygon};
    use proptest::prelude::*;

    fn through(fence: &MultiPolygon) -> Detours {
        let body = [(1.5, -1.0), (1.5, 1.0), (-1.0, 1.0), (-1.0, -1.0)];
        Detours::through(&FreeSpace::new(fence, Footprint::around(body)), fence)
    }

    fn metres(detours: &Detours, from: Point, to: Point) -> f64 {
        detours.at_least(from)(&detours.lookout(to))
    }

    fn at(x: f64, y: f64) -> Point {
        Point { x, y }
    }

    #[test]
    fn round_a_long_corner_the_bound_is_near_the_shortest_way_and_never_above() {
        let angle = polygon![(x: 0.0, y: 0.0), (x: 200.0, y: 0.0), (x: 200.0, y: 20.0), (x: 20.0, y: 20.0),
            (x: 20.0, y: 200.0), (x: 0.0, y: 200.0)];
        let detours = through(&angle.into());
        // Round the corner between the inner edges, a metre from it.
        let aside = 1.0 / 2.0_f64.sqrt();
        let shortest_m = 2.0 * (170.0 + aside).hypot(10.0 - aside);
        for (from, to) in [(at(190.0, 10.0), at(10.0, 190.0)), (at(10.0, 190.0), at(190.0, 10.0))] {
            let found = metres(&detours, from, to);
            assert!((0.99 * shortest_m..=shortest_m).contains(&found), "{found} {shortest_m}");
        }
        assert!((metres(&detours, at(190.0, 10.0), at(185.0, 10.0)) - 5.0).abs() < 1e-9);
    }

    #[test]
    fn round_a_hole_the_way_bends_at_its_corners() {
        let pond = polygon![exterior: [(x: 0.0, y: 0.0), (x: 100.0, y: 0.0), (x: 100.0, y: 100.0), (x: 0.0, y: 100.0)],
            interiors: [[(x: 40.0, y: 10.0), (x: 40.0, y: 70.0), (x: 60.0, y: 70.0), (x: 60.0, y: 10.0)]]];
        let detours = through(&pond.into());
        // Under it, half of the inner radius of 1 m away.
        let under = 2.0 * 29.5_f64.hypot(10.5) + 21.0;
        let found = metres(&detours, at(10.0, 20.0), at(90.0, 20.0));
        assert!((found - under).abs() < 0.5, "{found} {under}");
        let seen = metres(&detours, at(10.0, 90.0), at(90.0, 90.0));
        assert!((seen - 80.0).abs() < 1e-9, "{seen}");
    }

    #[test]
    fn where_no_corner_points_inwards_every_way_may_be_straight() {
        let detours = through(&polygon![(x: 0.0, y: 0.0), (x: 90.0, y: 0.0), (x: 80.0, y: 50.0)].into());
        let found = metres(&detours, at(10.0, 5.0), at(70.0, 5.0));
        assert!((found - 60.0).abs() < 1e-9, "{found}");
    }

    /// A star round the origin, its corners so far away.
    fn star(reach: &[f64]) -> LineString {
        let step = 2.0 * num::PI / reach.len() as f64;
        let corner = |(i, r): (usize, &f64)| {
            let (y, x) = num::sin_cos(step * i as f64);
            at(r * x, r * y)
        };
        LineString(reach.iter().enumerate().map(corner).collect())
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(48))]

        /// Of any way of two straight legs that keeps its distance from the fence and from a hole, the bound
        /// is no longer; where one leg will do, it is as long.
        #[test]
        fn the_bound_is_never_longer_than_a_way(
            outer in prop::collection::vec(15.0..60.0_f64, 5..14),
            hole in prop::collection::vec(2.0..9.0_f64, 3..9),
            places in prop::collection::vec((-45.0..45.0_f64, -45.0..45.0_f64), 14),
        ) {
            let fence: MultiPolygon = Polygon::new(star(&outer), vec![star(&hole)]).into();
            let body = [(1.5, -1.0), (1.5, 1.0), (-1.0, 1.0), (-1.0, -1.0)];
            let space = FreeSpace::new(&fence, Footprint::around(body));
            let keeps_off = |place: Point| space.signed_distance(place, 2.0) > space.footprint().core();
            let is_clear = |from: Point, to: Point| {
                let steps = (distance(from, to) / 0.1).ceil().max(1.0);
                (0..=steps as u32).all(|i| keeps_off(from + (to - from) * (f64::from(i) / steps)))
            };
            let detours = Detours::through(&space, &fence);
            let places: Vec<Point> = places.into_iter().map(|(x, y)| at(x, y)).filter(|&p| keeps_off(p)).collect();
            for &from in &places {
                let onward: Vec<Point> = places.iter().copied().filter(|&by| is_clear(from, by)).collect();
                for &to in &places {
                    let found = metres(&detours, from, to);
                    prop_assert!(found >= distance(from, to) - 1e-9);
                    for &by in onward.iter().filter(|&&by| is_clear(by, to)) {
                        let way_m = distance(from, by) + distance(by, to);
                        prop_assert!(found <= way_m + 1e-6, "{found} m of {way_m} m from {from:?} to {to:?}");
                    }
                }
            }
        }
    }
}
