//! Whether the body clears the fence along a lap's way, and what is done where it does not.
//!
//! Bends swing the ends of the body out, and the chords and arcs of a way leave its course. Where the body
//! then comes too near to the fence, the way must lie farther in; where something stands in the headland,
//! it is left out. In: a way and the free space. Out: the ground that the way is to leave for it to lie
//! farther in, or the parts of it that fit.
//!
//! To either side of a place where a way lies farther in it comes back to its old course by
//! `exp(-s / f)`, `f` being the body's reach: its ends gain more by the distance than they lose by the
//! heading. (Own derivation: a tractrix at small angles.)

use crate::geometry::{Path, Point, Pose};
use crate::num;
use crate::turns::{FreeSpace, SPARE_M};
use geo::{LineString, Polygon};
use std::ops::Range;

/// How far apart a way is looked at, metres.
const LOOK_M: f64 = 0.1;

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

/// The parts of a way that keep the body inside the fence, proven; where something stands in the
/// headland, the way before it and the way after it.
pub fn fitting(way: &Path, space: &FreeSpace) -> Vec<Path> {
    if space.clearance(way, SPARE_M).is_ok() {
        return vec![way.clone()];
    }
    let looked = Looked::at(way, space, SPARE_M);
    let part = |run: Range<usize>| way.between(looked.places[run.start], looked.places[run.end - 1]);
    looked.runs(true).into_iter().map(part).flat_map(|part| proven(part, space)).collect()
}

/// A way but for the places where the proof does not hold.
fn proven(way: Path, space: &FreeSpace) -> Vec<Path> {
    let length = way.length();
    if length < LOOK_M {
        return Vec::new();
    }
    let Err(last) = space.clearance(&way, SPARE_M) else { return vec![way] };
    let places = places(&way);
    let poses = way.poses_at(places.iter().copied());
    let from_last = |i: &usize| poses[*i].distance(&last);
    let nearest = (0..poses.len()).min_by(|i, j| from_last(i).total_cmp(&from_last(j)));
    let at = nearest.map_or(0.0, |i| places[i]);
    let before = way.between(0.0, (at - LOOK_M).max(0.0));
    let after = way.between((at + LOOK_M).min(length), length);
    [before, after].into_iter().flat_map(|part| proven(part, space)).collect()
}

/// How far a corner of the body lies beyond the fence, metres.
fn beyond(pose: Pose, space: &FreeSpace) -> f64 {
    let outline = space.footprint().at(pose);
    outline.corners().iter().map(|&corner| -space.signed_distance(corner, BEYOND_M)).fold(0.0, f64::max)
}

/// Whether the body clears the fence at places along a way.
struct Looked {
    /// Metres along the way, from its beginning to its end. The ends of its pieces are among them: there the
    /// body comes nearest to the fence, or farthest from it.
    places: Vec<f64>,
    /// One for each place.
    poses: Vec<Pose>,
    /// One for each place.
    fits: Vec<bool>,
}

impl Looked {
    fn at(way: &Path, space: &FreeSpace, need_m: f64) -> Self {
        let places = places(way);
        let poses = way.poses_at(places.iter().copied());
        let fits = |pose: &Pose| space.clearance_at(*pose).is_some_and(|gap| gap > need_m);
        let fits = poses.iter().map(fits).collect();
        Self { places, poses, fits }
    }

    /// Runs of places at which it does, or does not.
    fn runs(&self, fit: bool) -> Vec<Range<usize>> {
        let mut runs = Vec::new();
        let mut from = 0;
        for same in self.fits.chunk_by(|a, b| a == b) {
            if same[0] == fit {
                runs.push(from..from + same.len());
            }
            from += same.len();
        }
        runs
    }
}

/// Metres along a way, close to each other, the ends of its pieces among them.
fn places(way: &Path) -> Vec<f64> {
    let mut begin = 0.0;
    let mut places = vec![0.0];
    for piece in &way.pieces {
        let steps = (piece.length / LOOK_M).ceil().max(1.0) as usize;
        places.extend((1..=steps).map(|i| begin + piece.length * i as f64 / steps as f64));
        begin += piece.length;
    }
    places
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
    use super::*;
    use crate::check::{Headland, HeadlandSize, HeadlandSown, LapCorners};
    use crate::lanes::headland::headland;
    use crate::lanes::toolbar::Toolbar;
    use crate::site::example;
    use crate::turns;
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
            let length = |ways: &[Path]| ways.iter().map(Path::length).sum::<f64>();
            let fit: Vec<Path> = ways.iter().flat_map(|way| fitting(way, &space)).collect();
            prop_assert!(length(&fit) > 0.999 * length(&ways), "{} of {} m", length(&fit), length(&ways));
            prop_assert!(fit.len() < 3, "{} ways", fit.len());
        }
    }
}
