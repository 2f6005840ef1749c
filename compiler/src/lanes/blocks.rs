//! Blocks by cost: a zone cut in two, again and again, as long as the parts with a heading each cost
//! less than the whole with one.
//!
//! Cuts begin at hollow corners and run on along one of the corner's edges to the far side, which
//! is where the lanes of one arm of a field meet those of the other (compare the exact cellular
//! decomposition of Choset 2000, from memory). The cut that saves most is taken first.

use super::heading::Prices;
use crate::geometry::corner::corners;
use crate::geometry::strip::Axes;
use crate::geometry::{Point, region};
use crate::num;
use geo::{Area, LineString, MultiPolygon, Polygon, Simplify};
use rayon::prelude::*;

/// Corners are looked for on an outline simplified by this much, metres.
const OUTLINE_M: f64 = 1.0;

/// A hollow corner turns at least this much, radians (about 12°).
const HOLLOW: f64 = 0.2;

/// A cut must save this share of the cost of what it cuts.
const WORTHWHILE: f64 = 0.015;

/// Cuts tried on one part: those at its most hollow corners.
const MOST_CUTS: usize = 32;

/// A part.
#[derive(Clone, Debug)]
pub struct Part {
    /// The soil.
    pub zone: MultiPolygon,
    /// What working it with the heading that suits it best costs.
    pub cost_s: f64,
}

/// Cuts a connected zone into parts, at most so many. Joining two parts costs one way of `join_s`
/// seconds.
pub fn parts(zone: &MultiPolygon, prices: &Prices, join_s: f64, most: usize) -> Vec<Part> {
    let offer = |part: Part| {
        let cut = if most > 1 { best_cut(&part, prices, join_s) } else { None };
        (part, cut)
    };
    let saving = |(part, cut): &(Part, Option<[Part; 2]>)| {
        cut.as_ref().map(|halves| part.cost_s - halves[0].cost_s - halves[1].cost_s)
    };
    let mut parts = vec![offer(whole(zone.clone(), prices))];
    while parts.len() < most
        && let Some((at, _)) = parts
            .iter()
            .enumerate()
            .filter_map(|(at, part)| Some((at, saving(part)?)))
            .max_by(|a, b| a.1.total_cmp(&b.1).then(b.0.cmp(&a.0)))
        && let Some(halves) = parts[at].1.take()
    {
        parts.splice(at..=at, halves.map(offer));
    }
    parts.into_iter().map(|(part, _)| part).collect()
}

fn whole(zone: MultiPolygon, prices: &Prices) -> Part {
    let (_, cost_s) = prices.best(&zone);
    Part { zone, cost_s }
}

fn best_cut(part: &Part, prices: &Prices, join_s: f64) -> Option<[Part; 2]> {
    let smallest = 4.0 * prices.width_m * prices.width_m;
    let halves: Vec<[Part; 2]> = cuts(&part.zone)
        .par_iter()
        .filter_map(|cut| cut.apply(&part.zone))
        .filter(|halves| halves.iter().all(|h| region::area(h) > smallest))
        .map(|halves| halves.map(|half| whole(half, prices)))
        .collect();
    let cost = |halves: &[Part; 2]| halves[0].cost_s + halves[1].cost_s + join_s;
    halves
        .into_iter()
        .min_by(|a, b| cost(a).total_cmp(&cost(b)))
        .filter(|halves| cost(halves) < part.cost_s * (1.0 - WORTHWHILE))
}

/// A cut: from a corner of the outline straight on.
struct Cut {
    corner: Point,
    angle: f64,
    hollow: f64,
}

/// The cuts worth trying, the most hollow corner's first.
fn cuts(zone: &MultiPolygon) -> Vec<Cut> {
    let outline = zone.simplify(OUTLINE_M);
    let mut cuts: Vec<Cut> = region::rings(&outline).flat_map(hollow_corners).collect();
    cuts.sort_by(|a, b| b.hollow.total_cmp(&a.hollow));
    cuts.truncate(MOST_CUTS);
    cuts
}

/// At each hollow corner, on along the edge that comes in and back along the one that goes out.
/// Regions lie to the left of their rings.
fn hollow_corners(ring: &LineString) -> Vec<Cut> {
    corners(ring)
        .into_iter()
        .filter(|corner| -corner.turn() > HOLLOW)
        .flat_map(|corner| {
            let on = [corner.incoming, num::wrap_angle(corner.outgoing + num::PI)];
            on.map(|angle| Cut { corner: corner.at, angle, hollow: -corner.turn() })
        })
        .collect()
}

impl Cut {
    /// The zone in two, if the cut runs through it: the piece to the left of the cut's first chord,
    /// and all the rest.
    fn apply(&self, zone: &MultiPolygon) -> Option<[MultiPolygon; 2]> {
        let axes = Axes::new(self.corner, self.angle);
        let left = region::intersection(zone, &left_half(&axes));
        let beside = axes.ground(2.0 * OUTLINE_M, -OUTLINE_M / 4.0);
        let piece = left.0.into_iter().find(|p| region::contains(&MultiPolygon(vec![p.clone()]), beside))?;
        let piece = MultiPolygon(vec![piece]);
        let rest = region::difference(zone, &piece);
        (rest.0.len() == 1 && rest.0[0].unsigned_area() > 0.0).then_some([piece, rest])
    }
}

/// Everything to the left of the axes, as far as a field reaches.
fn left_half(axes: &Axes) -> MultiPolygon {
    const FAR_M: f64 = 20_000.0;
    let corner = |t: f64, v: f64| axes.ground(t, v);
    let ring = vec![corner(-FAR_M, 0.0), corner(FAR_M, 0.0), corner(FAR_M, -FAR_M), corner(-FAR_M, -FAR_M)];
    Polygon::new(LineString(ring), vec![]).into()
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::polygon;

    const PRICES: Prices = Prices { width_m: 3.0, lane_s_per_m: 1.0, turn_s: 30.0, shortest_lane_m: 3.0 };

    /// Check H7: one direction needs 100 lanes, two legs with a heading each need 40.
    #[test]
    fn an_l_is_cut_into_its_legs() {
        let l: MultiPolygon = polygon![
            (x: 0.0, y: 0.0), (x: 300.0, y: 0.0), (x: 300.0, y: 60.0),
            (x: 60.0, y: 60.0), (x: 60.0, y: 300.0), (x: 0.0, y: 300.0),
        ]
        .into();
        let cut = parts(&l, &PRICES, 60.0, usize::MAX);
        assert_eq!(cut.len(), 2);
        assert_eq!(parts(&l, &PRICES, 60.0, 1).len(), 1, "left whole where one block is asked for");
        let total: f64 = cut.iter().map(|p| region::area(&p.zone)).sum();
        assert!((total - 32_400.0).abs() < 1e-3);
        let widths: f64 = cut
            .iter()
            .map(|p| {
                crate::geometry::strip::LocalEdges::new(
                    &p.zone,
                    &Axes::new(Point::zero(), PRICES.best(&p.zone).0),
                )
                .v
                .length()
            })
            .sum();
        assert!((widths - 120.0).abs() < 1e-3, "altitudes add up to {widths}");
    }

    #[test]
    fn a_rectangle_stays_whole() {
        let rectangle: MultiPolygon =
            polygon![(x: 0.0, y: 0.0), (x: 300.0, y: 0.0), (x: 300.0, y: 100.0), (x: 0.0, y: 100.0)].into();
        let parts = parts(&rectangle, &PRICES, 60.0, usize::MAX);
        assert_eq!(parts.len(), 1);
        assert!(num::sin(PRICES.best(&parts[0].zone).0).abs() < 1e-9, "lanes run along the long side");
    }
}
