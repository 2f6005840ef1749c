//! Where along a way the body keeps clear of the fence.
//!
//! In: a way and the free space. Out: the stretches of the way on which the body fits, proven. The way is looked at
//! in short steps and wherever a piece of it ends; where the proof then fails between two looks, the way is
//! parted there and no more of it is lost.

use crate::geometry::interval::Interval;
use crate::geometry::{Path, Pose};
use crate::turns::{FreeSpace, SPARE_M};
use std::ops::Range;

/// How far apart a way is looked at, metres.
const LOOK_M: f64 = 0.1;

/// The stretches, in metres along the way and in its order.
pub fn stretches(way: &Path, space: &FreeSpace) -> Vec<Interval> {
    let whole = Interval::new(0.0, way.length());
    if space.clearance(way, SPARE_M).is_ok() {
        return vec![whole];
    }
    let looked = Looked::at(way, space, SPARE_M);
    let stretch = |run: Range<usize>| Interval::new(looked.places[run.start], looked.places[run.end - 1]);
    looked.runs(true).into_iter().map(stretch).flat_map(|stretch| proven(way, stretch, space)).collect()
}

/// A stretch but for the places where the proof does not hold.
fn proven(way: &Path, stretch: Interval, space: &FreeSpace) -> Vec<Interval> {
    if stretch.length() < LOOK_M {
        return Vec::new();
    }
    let part = way.between(stretch.from, stretch.to);
    let Err(last) = space.clearance(&part, SPARE_M) else { return vec![stretch] };
    let places = places(&part);
    let poses = part.poses_at(places.iter().copied());
    let from_last = |i: &usize| poses[*i].distance(&last);
    let nearest = (0..poses.len()).min_by(|i, j| from_last(i).total_cmp(&from_last(j)));
    let at = stretch.from + nearest.map_or(0.0, |i| places[i]);
    let before = Interval::new(stretch.from, (at - LOOK_M).max(stretch.from));
    let after = Interval::new((at + LOOK_M).min(stretch.to), stretch.to);
    [before, after].into_iter().flat_map(|part| proven(way, part, space)).collect()
}

/// Whether the body clears the fence at places along a way.
pub struct Looked {
    /// Metres along the way, from its beginning to its end. The ends of its pieces are among them: there the
    /// body comes nearest to the fence, or farthest from it.
    pub places: Vec<f64>,
    /// One for each place.
    pub poses: Vec<Pose>,
    /// One for each place.
    pub fits: Vec<bool>,
}

impl Looked {
    pub fn at(way: &Path, space: &FreeSpace, need_m: f64) -> Self {
        let places = places(way);
        let poses = way.poses_at(places.iter().copied());
        let fits = |pose: &Pose| space.clearance_at(*pose).is_some_and(|gap| gap > need_m);
        let fits = poses.iter().map(fits).collect();
        Self { places, poses, fits }
    }

    /// Runs of places at which it does, or does not.
    pub fn runs(&self, fit: bool) -> Vec<Range<usize>> {
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
