//! How far a way must lead where the straight line leaves the field.
//!
//! In: the free space. Out: for any two places a bound on the metres between them. The footprint's
//! inner disc moves over coarse cells, each free if any point of it could hold the disc's centre, so
//! that what separates two places by less than a cell or two is overlooked, and the bound stays one.

use super::FreeSpace;
use super::distance::DistanceMap;
use crate::geometry::{Cells, Point};
use geo::{Area, ConvexHull, MultiPolygon};

/// How far ways must lead through a field that is not convex.
pub struct Detours {
    cells: Cells,
    /// Where the centre of the footprint's inner disc may be.
    is_free: Vec<bool>,
}

impl Detours {
    /// Through the free space; none where hardly any way is longer than the straight line.
    pub fn through(space: &FreeSpace, fence: &MultiPolygon) -> Option<Self> {
        /// Cells at most: one flood of them for each end of a lane.
        const MOST_CELLS: f64 = 3_000.0;
        /// The share of its convex hull that a field fills if few lines between its places leave it.
        const NEARLY_CONVEX: f64 = 0.9;
        if fence.unsigned_area() > NEARLY_CONVEX * fence.convex_hull().unsigned_area() {
            return None;
        }
        let cell_m = DistanceMap::cell_m(space.bounds(), MOST_CELLS);
        let cells = Cells::covering(space.bounds(), cell_m);
        let is_free = (0..cells.count()).map(|cell| may_hold_core(space, cells.centre(cell), cell_m, 0.0));
        Some(Self { cells, is_free: is_free.collect() })
    }

    /// Metres from a place to each of others, never more than the truth.
    pub fn at_least(&self, from: Point) -> impl Fn(Point) -> f64 + use<> {
        let map = DistanceMap::everywhere(self.cells, from, &self.is_free);
        move |to| map.as_ref().and_then(|map| map.at_least(to)).unwrap_or(0.0)
    }
}

/// Whether any point of a cell could be the centre of the footprint's inner disc.
pub fn may_hold_core(space: &FreeSpace, centre: Point, cell_m: f64, need_m: f64) -> bool {
    let core_m = space.footprint().core();
    let wanted_m = core_m + need_m - 0.5 * std::f64::consts::SQRT_2 * cell_m;
    core_m <= 0.0 || space.signed_distance(centre, wanted_m.abs() + 1e-6) >= wanted_m
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Footprint;
    use geo::polygon;

    #[test]
    fn round_a_long_corner_the_bound_is_near_the_shortest_way_and_never_above() {
        let angle = polygon![(x: 0.0, y: 0.0), (x: 200.0, y: 0.0), (x: 200.0, y: 20.0), (x: 20.0, y: 20.0),
            (x: 20.0, y: 200.0), (x: 0.0, y: 200.0)];
        let fence = MultiPolygon::from(angle);
        let space =
            FreeSpace::new(&fence, Footprint::around([(1.5, -1.0), (1.5, 1.0), (-1.0, 1.0), (-1.0, -1.0)]));
        let detours = Detours::through(&space, &fence).unwrap();
        let (end, other) = (Point { x: 190.0, y: 10.0 }, Point { x: 10.0, y: 190.0 });
        // Along both inner edges, a metre from the corner between them.
        let shortest_m = 2.0 * 170.0_f64.hypot(10.0);
        let found = detours.at_least(end)(other);
        assert!((0.85 * shortest_m..=shortest_m).contains(&found), "{found} {shortest_m}");
        let near = detours.at_least(end)(Point { x: 185.0, y: 10.0 });
        assert!(near <= 5.0, "{near}");
    }

    #[test]
    fn a_field_without_corners_inwards_has_none() {
        let fence = MultiPolygon::from(polygon![(x: 0.0, y: 0.0), (x: 90.0, y: 0.0), (x: 80.0, y: 50.0)]);
        let space = FreeSpace::new(&fence, Footprint::around([(1.5, -1.0), (1.5, 1.0), (-1.0, 0.0)]));
        assert!(Detours::through(&space, &fence).is_none());
    }
}
