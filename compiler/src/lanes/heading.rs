//! The heading of a block, by the cost that matters: driving in lanes, turning between them, and
//! soil left over.
//!
//! Candidates are the directions of the zone's own edges, its hull's among them: the best heading
//! of a convex field is parallel to an edge of its hull (Huang 2001, from memory), and where a
//! field is concave its long edges are what a person would follow. Each candidate is priced on the
//! centre lines of its lanes, which needs no lane to be laid; the cheapest of them row by row.

use super::guide::extent;
use super::lap_rows::Soil;
use super::straight::{self, RowPiece, groups};
use super::toolbar::Toolbar;
use crate::check::Machine;
use crate::geometry::Curve;
use crate::geometry::interval::Interval;
use crate::geometry::region;
use crate::geometry::strip::{Axes, LocalEdges};
use crate::num;
use geo::{ConvexHull, Coord, Line, MultiPolygon, Simplify};

/// Edges whose directions differ by less than this count as one direction, radians (about 1°).
const SAME_DIRECTION: f64 = 0.0175;

/// Directions tried: those with the greatest total edge length.
const MOST_DIRECTIONS: usize = 24;

/// Directions are weighed on an outline simplified by this much, metres: rounded corners have thousands of
/// edges.
const OUTLINE_M: f64 = 0.02;

/// Directions that cost at most this share more than the cheapest are priced row by row.
const NEARLY_AS_CHEAP: f64 = 0.05;

/// Price of leaving soil unworked, in times the time of working it.
const LEFT_OVER_WEIGHT: f64 = 4.0;

/// What lanes cost, for weighing one plan against another before lanes are laid.
#[derive(Copy, Clone, Debug)]
pub struct Prices {
    /// Working width, metres.
    pub width_m: f64,
    /// Seconds per metre of lane.
    pub lane_s_per_m: f64,
    /// Seconds of one turn into a neighbouring lane, tool lifted and lowered.
    pub turn_s: f64,
    /// Lanes shorter than this are not driven, metres.
    pub shortest_lane_m: f64,
}

impl Prices {
    /// From the machine: the turn is the shortest that it can do into the next lane but for the
    /// fence; on the spot, with a cusp (`πr`, Reeds and Shepp 1990), or forward only with a lane or
    /// more skipped (`(π − 2) r + w`, Dubins 1957).
    pub fn new(machine: &Machine, shortest_lane_m: f64) -> Self {
        let width_m = machine.working_width.to_m();
        let radius = machine.steering.turning_radius.to_m();
        let speed = machine.turning_speed.to_m_per_s();
        let drive_s = if machine.steering.turns_on_spot {
            machine.spot_turn_time.to_s() / 2.0 + width_m / speed
        } else if machine.steering.may_reverse {
            num::PI * radius.max(width_m / 2.0) / speed + 2.0 * machine.gear_change_time.to_s()
        } else {
            ((num::PI - 2.0) * radius + width_m.max(2.0 * radius)) / speed
        };
        Self {
            width_m,
            lane_s_per_m: 1.0 / machine.working_speed.to_m_per_s(),
            turn_s: drive_s + 2.0 * machine.lift_time.to_s(),
            shortest_lane_m,
        }
    }

    /// Seconds of working a zone along an angle, soil left over included at its price.
    pub fn of(&self, zone: &MultiPolygon, angle: f64) -> f64 {
        let edges = LocalEdges::new(zone, &Axes::new(Coord::zero(), angle));
        let width = edges.v.length();
        let count = (width / self.width_m - 1e-9).ceil().max(1.0);
        let lanes = edges.inside(edges.v.from + self.width_m / 2.0, self.width_m, count as usize);
        self.of_lanes(zone, lanes.into_iter().flatten())
    }

    fn of_lanes(&self, zone: &MultiPolygon, lanes: impl Iterator<Item = Interval>) -> f64 {
        let worth_driving: Vec<f64> =
            lanes.map(Interval::length).filter(|length| *length >= self.shortest_lane_m).collect();
        let driven: f64 = worth_driving.iter().sum();
        let left_m2 = (region::area(zone) - driven * self.width_m).max(0.0);
        self.in_all(driven, worth_driving.len(), left_m2)
    }

    /// Seconds of working a zone in lanes along a curve, soil left over included at its price.
    pub fn along(&self, zone: &MultiPolygon, curve: &Curve) -> f64 {
        let (left, right) = extent(curve, zone);
        let count = ((right - left) / self.width_m - 1e-9).ceil().max(1.0) as u32;
        let soil = Soil::new(zone);
        let lanes = (0..count).flat_map(|i| {
            let middle = left + (f64::from(i) + 0.5) * self.width_m;
            soil.under(&curve.offset(middle), 0.0, 0.0)
        });
        self.of_lanes(zone, lanes)
    }

    /// The cheapest of the zone's own directions, with its cost. The zone is not empty.
    pub fn best(&self, zone: &MultiPolygon) -> (f64, f64) {
        let priced = self.priced(zone);
        priced.into_iter().min_by(|a, b| a.1.total_cmp(&b.1)).unwrap_or((0.0, f64::INFINITY))
    }

    /// The direction among the cheapest that is so row by row: lanes as long as their longest rows, and rows
    /// that end where they meet the edge.
    pub fn best_by_rows(&self, zone: &MultiPolygon, toolbar: &Toolbar) -> f64 {
        let priced = self.priced(zone);
        let cheapest = priced.iter().map(|priced| priced.1).fold(f64::INFINITY, f64::min);
        let near = priced.into_iter().filter(|priced| priced.1 <= (1.0 + NEARLY_AS_CHEAP) * cheapest);
        near.map(|(angle, _)| (angle, self.by_rows(zone, angle, toolbar)))
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .map_or(0.0, |priced| priced.0)
    }

    /// The zone's own directions with their costs.
    fn priced(&self, zone: &MultiPolygon) -> Vec<(f64, f64)> {
        let outline = zone.simplify(OUTLINE_M);
        directions(zone).into_iter().map(|angle| (angle, self.of(&outline, angle))).collect()
    }

    /// Seconds of working a zone along an angle, row by row.
    fn by_rows(&self, zone: &MultiPolygon, angle: f64, toolbar: &Toolbar) -> f64 {
        let edges = LocalEdges::new(zone, &Axes::new(Coord::zero(), angle));
        let count = (edges.v.length() / toolbar.row_spacing).floor();
        let spare = edges.v.length() - count * toolbar.row_spacing;
        let first = edges.v.from + (spare + toolbar.row_spacing) / 2.0;
        let rows = edges.inside(first, toolbar.row_spacing, count as usize);
        let anywhere = Interval::new(f64::NEG_INFINITY, f64::INFINITY);
        let lanes: Vec<Vec<RowPiece>> = groups(rows.len() as i64, toolbar)
            .iter()
            .flat_map(|group| group.pieces(&rows, anywhere))
            .filter(|pieces| straight::extent(pieces).length() >= self.shortest_lane_m)
            .collect();
        let worked_m: f64 = lanes.iter().flatten().map(|piece| piece.along.length()).sum();
        let driven_m: f64 = lanes.iter().map(|pieces| straight::extent(pieces).length()).sum();
        let left_m2 = (region::area(zone) - worked_m * toolbar.row_spacing).max(0.0);
        self.in_all(driven_m, lanes.len(), left_m2)
    }

    /// Seconds of so many metres of lanes, with soil left over at its price.
    pub fn in_all(&self, driven_m: f64, lanes: usize, left_m2: f64) -> f64 {
        driven_m * self.lane_s_per_m
            + lanes as f64 * self.turn_s
            + left_m2 / self.width_m * self.lane_s_per_m * LEFT_OVER_WEIGHT
    }
}

/// Directions of the zone's edges and of its hull's, in `[0, π)`, the longest total length first.
fn directions(zone: &MultiPolygon) -> Vec<f64> {
    let hull = zone.convex_hull();
    let edges: Vec<Line> =
        region::rings(zone).flat_map(geo::LineString::lines).chain(hull.exterior().lines()).collect();
    let mut by_direction: Vec<(f64, f64)> = edges
        .iter()
        .filter(|edge| edge.start != edge.end)
        .map(|edge| {
            let (dx, dy) = (edge.dx(), edge.dy());
            (num::atan2(dy, dx).rem_euclid(num::PI), num::hypot(dx, dy))
        })
        .collect();
    by_direction.sort_by(|a, b| b.1.total_cmp(&a.1));
    let mut clusters: Vec<(f64, f64)> = Vec::new();
    for (angle, length) in by_direction {
        match clusters.iter_mut().find(|c| is_parallel(c.0, angle)) {
            Some(cluster) => cluster.1 += length,
            None => clusters.push((angle, length)),
        }
    }
    clusters.sort_by(|a, b| b.1.total_cmp(&a.1));
    clusters.into_iter().take(MOST_DIRECTIONS).map(|c| c.0).collect()
}

fn is_parallel(a: f64, b: f64) -> bool {
    let apart = (a - b).rem_euclid(num::PI);
    apart.min(num::PI - apart) < SAME_DIRECTION
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::example;
    use geo::polygon;

    #[test]
    fn row_by_row_no_direction_is_dearer_than_the_one_that_is_chosen() {
        let machine = example::machine();
        let (toolbar, prices) = (Toolbar::new(&machine), Prices::new(&machine, 2.7));
        let zone: MultiPolygon = polygon![
            (x: 0.0, y: 0.0), (x: 60.0, y: 0.4), (x: 130.0, y: 1.3), (x: 200.0, y: 3.0),
            (x: 196.0, y: 40.0), (x: 120.0, y: 37.0), (x: -5.0, y: 30.0),
        ]
        .into();
        let chosen = prices.best_by_rows(&zone, &toolbar);
        let near = prices.priced(&zone);
        let cheapest = near.iter().map(|priced| priced.1).fold(f64::INFINITY, f64::min);
        let near = near.into_iter().filter(|priced| priced.1 < (1.0 + NEARLY_AS_CHEAP) * cheapest);
        let by_rows: Vec<f64> = near.map(|(angle, _)| prices.by_rows(&zone, angle, &toolbar)).collect();
        assert!(by_rows.len() > 1, "more than one direction is near");
        let chosen_s = prices.by_rows(&zone, chosen, &toolbar);
        assert!(by_rows.iter().all(|&seconds| seconds >= chosen_s), "{chosen_s} of {by_rows:?}");
    }

    /// A rectangle is worked whole by as many lanes as its rows take, each as long as the rectangle.
    #[test]
    fn rows_of_a_rectangle_cost_what_they_drive() {
        let machine = example::machine();
        let (toolbar, prices) = (Toolbar::new(&machine), Prices::new(&machine, 2.7));
        let lanes = 7;
        let height = f64::from(lanes) * toolbar.width;
        let zone: MultiPolygon =
            polygon![(x: 0.0, y: 0.0), (x: 300.0, y: 0.0), (x: 300.0, y: height), (x: 0.0, y: height)].into();
        let expected = f64::from(lanes) * (300.0 * prices.lane_s_per_m + prices.turn_s);
        assert!((prices.by_rows(&zone, 0.0, &toolbar) - expected).abs() < 1e-6 * expected);
    }
}
