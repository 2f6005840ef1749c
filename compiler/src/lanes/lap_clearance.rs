//! What a lap's way leaves for the body to clear the fence.
//!
//! Bends swing the ends of the body out, and the chords and arcs of a way leave its course. Where the body
//! then comes too near to the fence, the way must lie farther in. In: a way and the free space. Out: the
//! ground that the way is to leave.
//!
//! To either side of a place where a way lies farther in it comes back to its old course by
//! `exp(-s / f)`, `f` being the body's reach: its ends gain more by the distance than they lose by the
//! heading. (Own derivation: a tractrix at small angles.)

use super::clearance::Looked;
use crate::geometry::{Path, Point, Pose};
use crate::num;
use crate::turns::FreeSpace;
use geo::{LineString, Polygon};
use std::ops::Range;

/// How far beyond the way, to the fence's side, the ground goes that it is to leave, metres.
const BEYOND_M: f64 = 1.0;

/// A way is back on its old course where it is off it by less, metres.
const BACK_M: f64 = 0.002;

/// The ground that a way is to leave, its field to the left, for it to lie so much farther in where the
/// body comes too near to the fence. What is drawn on beyond the field at its ends stays.
pub fn to_leave(way: &Path, space: &FreeSpace, farther_in_m: f64) -> Vec<Polygon> {
    let looked = Looked::at(way, space, 0.0);
    let last = looked.fits.len();
    let inside = |run: &Range<usize>| run.start > 0 && run.end < last;
    let ease_m = space.footprint().reach();
    looked
        .runs(false)
        .into_iter()
        .filter(inside)
        .map(|run| {
            let beyond_m =
                looked.poses[run.clone()].iter().map(|pose| beyond(*pose, space)).fold(0.0, f64::max);
            let stretch = [looked.places[run.start], looked.places[run.end - 1]];
            beside(way, stretch, farther_in_m + beyond_m, ease_m)
        })
        .collect()
}

/// The ground that a way is to leave for its beginning and its end to lie so much farther in.
pub fn ends_farther_in(way: &Path, farther_in_m: f64, ease_m: f64) -> Vec<Polygon> {
    let length = way.length();
    let straight_m = ease_m.min(length / 2.0);
    let ends = [[0.0, straight_m], [length - straight_m, length]];
    ends.into_iter().map(|end| beside(way, end, farther_in_m, ease_m)).collect()
}

/// How far a corner of the body lies beyond the fence, metres.
fn beyond(pose: Pose, space: &FreeSpace) -> f64 {
    let outline = space.footprint().at(pose);
    outline.corners().iter().map(|&corner| -space.signed_distance(corner, BEYOND_M)).fold(0.0, f64::max)
}

/// The ground between the fence and a course that lies farther in along a stretch and eases back on
/// either side of it.
fn beside(way: &Path, [from, to]: [f64; 2], farther_in_m: f64, ease_m: f64) -> Polygon {
    let eased = ease_m * num::log(farther_in_m / BACK_M).max(1.0);
    let (first, last) = ((from - eased).max(0.0), (to + eased).min(way.length()));
    let steps = ((last - first) / (0.25 * ease_m)).ceil().max(1.0) as usize;
    let evenly = (0..=steps).map(|i| first + (last - first) * i as f64 / steps as f64);
    let mut places: Vec<f64> = evenly.chain([from, to]).collect();
    places.sort_by(f64::total_cmp);
    let poses = way.poses_at(places.iter().copied());
    let aside = |at: f64| farther_in_m * num::exp(-(from - at).max(at - to).max(0.0) / ease_m);
    let inner = poses.iter().zip(&places).map(|(pose, &at)| pose.ground(0.0, -aside(at)));
    let outer = poses.iter().rev().map(|pose| pose.ground(0.0, BEYOND_M));
    let ring: Vec<Point> = inner.chain(outer).collect();
    Polygon::new(LineString(ring), Vec::new())
}

#[cfg(test)]
mod tests {
    use super::super::clearance::stretches;
    use super::*;
    use crate::check::{Headland, HeadlandSize, HeadlandSown, LapCorners};
    use crate::geometry::interval::Interval;
    use crate::lanes::headland::headland;
    use crate::lanes::toolbar::Toolbar;
    use crate::site::example;
    use crate::turns::{self, SPARE_M};
    use geo::{MultiPolygon, polygon};
    use proptest::prelude::*;

    fn first_laps(fence: &MultiPolygon) -> (Vec<Path>, FreeSpace) {
        let machine = example::machine();
        let wish =
            Headland { size: HeadlandSize::Laps(1), sown: HeadlandSown::Last, corners: LapCorners::Round };
        let laps = headland(fence, &Toolbar::new(&machine), wish, None).laps;
        let space = FreeSpace::new(fence, turns::footprint(&machine));
        (laps.into_iter().flat_map(|lap| lap.ways).collect(), space)
    }

    #[test]
    fn a_lap_lies_close_beside_a_straight_fence_and_farther_in_where_it_begins() {
        let fence: MultiPolygon =
            polygon![(x: 0.0, y: 0.0), (x: 90.0, y: 0.0), (x: 90.0, y: 120.0), (x: 0.0, y: 120.0)].into();
        let (ways, space) = first_laps(&fence);
        assert_eq!(ways.len(), 1);
        let gap = |share: f64| space.clearance_at(ways[0].pose_at(share * ways[0].length())).unwrap();
        let toolbar = Toolbar::new(&example::machine());
        let swing = toolbar.swing(toolbar.turning_radius) - toolbar.left();
        assert!(gap(0.5) < SPARE_M + 0.01, "{}", gap(0.5));
        assert!(gap(0.0) > swing && gap(1.0) > swing, "{} and {}", gap(0.0), gap(1.0));
    }

    /// Two squares 120 m apart, and a neck between them that no lap fits in.
    #[test]
    fn laps_on_both_sides_of_a_neck_begin_near_it() {
        let fence: MultiPolygon = polygon![
            (x: 0.0, y: 0.0), (x: 60.0, y: 0.0), (x: 60.0, y: 28.0), (x: 180.0, y: 28.0),
            (x: 180.0, y: 0.0), (x: 240.0, y: 0.0), (x: 240.0, y: 60.0), (x: 180.0, y: 60.0),
            (x: 180.0, y: 32.0), (x: 60.0, y: 32.0), (x: 60.0, y: 60.0), (x: 0.0, y: 60.0),
        ]
        .into();
        let (ways, _) = first_laps(&fence);
        let begins: Vec<f64> = ways.iter().map(|way| way.start.at.x).collect();
        assert_eq!(ways.len(), 2, "{begins:?}");
        assert!(begins.iter().all(|x| (30.0..210.0).contains(x)), "{begins:?}");
    }

    prop_compose! {
        fn any_field()(reach in prop::collection::vec(40.0..90.0_f64, 5..16)) -> MultiPolygon {
            let step = 2.0 * num::PI / reach.len() as f64;
            let corner = |(i, r): (usize, &f64)| {
                let (sin, cos) = num::sin_cos(step * i as f64);
                Point { x: r * cos, y: r * sin }
            };
            Polygon::new(LineString(reach.iter().enumerate().map(corner).collect()), vec![]).into()
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]

        /// Round corners of any kind, convex and hollow, blunt and sharp, the body stays inside the
        /// fence, and the machine drives on without a manoeuvre.
        #[test]
        fn the_first_lap_is_driven_in_one_go(fence in any_field()) {
            let (ways, space) = first_laps(&fence);
            let whole_m: f64 = ways.iter().map(Path::length).sum();
            let fit: Vec<f64> =
                ways.iter().flat_map(|way| stretches(way, &space)).map(Interval::length).collect();
            let fit_m: f64 = fit.iter().sum();
            prop_assert!(fit_m > 0.999 * whole_m, "{fit_m} of {whole_m} m");
            prop_assert!(fit.len() < 3, "{} ways", fit.len());
        }
    }
}
