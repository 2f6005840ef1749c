//! Ways along lanes, for what would else crush many plants.
//!
//! In: the lanes, the free space and where a way begins and ends. Out: the way that gets onto the line
//! of a lane or a headland lap, follows it with the wheels between its rows, and leaves it, if one is
//! found. Places to get on and off are taken at steps along each line, those tried first that promise
//! the least time and toll, and none that promise more than the way that is known; what leads onto the
//! line and off it are closed forms. Off a line the way may follow one more line.

use super::ways::{cheaper, standing_poses};
use crate::geometry::{Path, Point, Pose, distance};
use crate::lanes::Lane;
use crate::turns::{Drive, FreeSpace, Manoeuvre, Toll, direct, lower_bound_s, rough_bound_s, shortened};
use std::collections::BTreeMap;

/// Metres between places on a line.
const STEP_M: f64 = 2.0;
/// Places near each end that are looked at, on each line.
const NEAR: usize = 6;
/// Pairs of places that are tried.
const TRIED: usize = 48;

/// The lines of all lanes, each in both directions.
pub(super) struct Lines {
    lines: Vec<Line>,
}

struct Line {
    path: Path,
    length_m: f64,
    /// Whether it ends as it begins.
    is_closed: bool,
    /// Poses at steps of [`STEP_M`].
    places: Vec<Pose>,
}

impl Lines {
    pub(super) fn of(lanes: &[Lane]) -> Self {
        let both = |lane: &Lane| [lane.line.clone(), lane.line.turned_round()];
        Self { lines: lanes.iter().flat_map(both).map(Line::new).collect() }
    }

    /// The way that costs least of those looked at; off its line it may follow so many more.
    pub(super) fn way(&self, task: &Along, hops: u32) -> Option<Manoeuvre> {
        let mut on: BTreeMap<(usize, usize), Option<Manoeuvre>> = BTreeMap::new();
        let mut off: BTreeMap<(usize, usize), Option<Manoeuvre>> = BTreeMap::new();
        let mut best: Option<(f64, Pair)> = None;
        for pair in self.promising(task) {
            let line = &self.lines[pair.line];
            let getting_on =
                on.entry((pair.line, pair.on)).or_insert_with(|| task.onto(line.places[pair.on]));
            let Some(getting_on_s) = getting_on.as_ref().map(Manoeuvre::cost_s) else { continue };
            let getting_off =
                off.entry((pair.line, pair.off)).or_insert_with(|| task.off(line.places[pair.off]));
            let Some(getting_off_s) = getting_off.as_ref().map(Manoeuvre::cost_s) else { continue };
            let cost_s = getting_on_s + getting_off_s + line.between_m(pair) / task.drive.speed_m_per_s;
            if best.is_none_or(|(least_s, _)| cost_s < least_s) {
                best = Some((cost_s, pair));
            }
        }
        let (_, pair) = best?;
        let line = &self.lines[pair.line];
        let onto = on.remove(&(pair.line, pair.on))??;
        let mut leaving = off.remove(&(pair.line, pair.off))??;
        if hops > 0 && leaving.toll_s > 0.0 {
            let from = End::At(line.places[pair.off]);
            let rest = Along { from, known_s: leaving.cost_s(), ..*task };
            leaving = cheaper(Some(leaving), self.way(&rest, hops - 1))?;
        }
        let path = onto.path.then(&line.between(pair)).then(&leaving.path);
        shortened(task.space, task.drive, task.toll, path)
    }

    /// The pairs of places that promise to cost least, those first.
    fn promising(&self, task: &Along) -> Vec<Pair> {
        let mut reached: Vec<Reached> =
            (0..self.lines.len()).filter_map(|line| self.reached(task, line)).collect();
        reached.sort_by(|a, b| a.least_s.total_cmp(&b.least_s).then(a.line.cmp(&b.line)));
        let mut pairs: Vec<(f64, Pair)> = Vec::new();
        for line in &reached {
            if pairs.get(TRIED - 1).is_some_and(|last| line.least_s > last.0) {
                break;
            }
            pairs.extend(self.pairs_on(task, line));
            pairs.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
            pairs.truncate(TRIED);
        }
        pairs.into_iter().map(|(_, pair)| pair).collect()
    }

    /// A line with the places on it that are quickest to reach and to leave; none where no way over it promises
    /// to cost less than the one that is known.
    fn reached(&self, task: &Along, index: usize) -> Option<Reached> {
        let line = &self.lines[index];
        let off = line.quickest(task, |place| [End::At(place), task.to], task.known_s);
        let left_s = task.known_s - off.first()?.0;
        let on = line.quickest(task, |place| [task.from, End::At(place)], left_s);
        let least_s = on.first()?.0 + off.first()?.0;
        Some(Reached { line: index, on, off, least_s })
    }

    /// Places to get on and off on one line, with what they promise to cost: less than the way that is known.
    fn pairs_on(&self, task: &Along, reached: &Reached) -> Vec<(f64, Pair)> {
        let line = &self.lines[reached.line];
        let least_s = |places: &[(f64, usize)]| places.first().map_or(f64::INFINITY, |place| place.0);
        let left_s = task.known_s - least_s(&reached.off);
        let onward = line.cheapest(task, |place| [task.from, End::At(place)], &reached.on, left_s);
        let left_s = task.known_s - least_s(&onward);
        let back = line.cheapest(task, |place| [End::At(place), task.to], &reached.off, left_s);
        let pairs = onward
            .iter()
            .flat_map(|&(on_s, on)| back.iter().map(move |&(off_s, off)| (on_s + off_s, on, off)));
        pairs
            .filter(|&(_, on, off)| line.is_closed || on < off)
            .map(|(ends_s, on, off)| {
                let pair = Pair { line: reached.line, on, off };
                (ends_s + line.between_m(pair) / task.drive.speed_m_per_s, pair)
            })
            .filter(|&(promised_s, _)| promised_s < task.known_s)
            .collect()
    }
}

/// A line with places on it, each with the seconds that the way to it, or from it, takes at least.
struct Reached {
    line: usize,
    on: Vec<(f64, usize)>,
    off: Vec<(f64, usize)>,
    /// What any way over it takes at least.
    least_s: f64,
}

/// Where a way begins or ends.
#[derive(Copy, Clone)]
pub(super) enum End {
    /// At a pose.
    At(Pose),
    /// Where the machine stands, in any of several headings.
    Standing(Point),
}

impl End {
    const fn place(self) -> Point {
        match self {
            Self::At(pose) => pose.at,
            Self::Standing(at) => at,
        }
    }

    /// The poses from or to which a way may lead whose other end is there.
    fn poses(self, other: Self) -> Vec<Pose> {
        match (self, other) {
            (Self::At(pose), _) => vec![pose],
            (Self::Standing(at), Self::At(other)) => standing_poses(at, other).collect(),
            (Self::Standing(_), Self::Standing(_)) => Vec::new(),
        }
    }
}

/// What is asked: a way from one end to another.
#[derive(Copy, Clone)]
pub(super) struct Along<'a> {
    pub space: &'a FreeSpace,
    pub drive: &'a Drive,
    pub toll: &'a Toll<'a>,
    /// What the way that is known costs.
    pub known_s: f64,
    pub from: End,
    pub to: End,
}

impl Along<'_> {
    /// Seconds that a way takes at least; and as far as the distance tells, which is known at once.
    fn least_s(&self, [from, to]: [End; 2]) -> f64 {
        let (starts, ends) = (from.poses(to), to.poses(from));
        let ways = starts.iter().flat_map(|&from| ends.iter().map(move |&to| (from, to)));
        ways.map(|(from, to)| rough_bound_s(self.drive, from, to)).fold(f64::INFINITY, f64::min)
    }
    fn straight_s(&self, [from, to]: [End; 2]) -> f64 {
        distance(from.place(), to.place()) / self.drive.speed_m_per_s
    }

    /// Seconds of toll straight across, if they are below a limit.
    fn across_s(&self, [from, to]: [End; 2], limit_s: f64) -> Option<f64> {
        let path = Path::straight(from.place(), to.place());
        self.toll.below(path.start, &path.pieces, limit_s)
    }

    fn onto(&self, place: Pose) -> Option<Manoeuvre> {
        let starts = self.from.poses(End::At(place));
        self.first_of(starts.into_iter().map(|pose| (pose, place)).collect())
    }
    fn off(&self, place: Pose) -> Option<Manoeuvre> {
        let ends = self.to.poses(End::At(place));
        self.first_of(ends.into_iter().map(|pose| (place, pose)).collect())
    }

    /// A closed form between the poses of a pair, those tried first that are quickest in the open.
    fn first_of(&self, mut pairs: Vec<(Pose, Pose)>) -> Option<Manoeuvre> {
        /// Of so many pairs.
        const MOST: usize = 3;
        pairs.sort_by(|a, b| {
            lower_bound_s(self.drive, a.0, a.1).total_cmp(&lower_bound_s(self.drive, b.0, b.1))
        });
        let mut tried = pairs.into_iter().take(MOST);
        tried.find_map(|(from, to)| direct(self.space, self.drive, self.toll, from, to))
    }
}

/// Where a way gets on a line and off it, by number of place.
#[derive(Copy, Clone, PartialEq, Eq, PartialOrd, Ord)]
struct Pair {
    line: usize,
    on: usize,
    off: usize,
}

fn by_cost(a: &(f64, usize), b: &(f64, usize)) -> std::cmp::Ordering {
    a.0.total_cmp(&b.0).then(a.1.cmp(&b.1))
}

impl Line {
    fn new(path: Path) -> Self {
        /// Metres and radians.
        const SAME: f64 = 1e-6;
        let length_m = path.length();
        let steps = (length_m / STEP_M).floor() as u32;
        let places = path.poses_at((0..=steps).map(|step| f64::from(step) * STEP_M));
        let end = path.end();
        let is_closed = end.distance(&path.start) < SAME && end.turn_to(&path.start).abs() < SAME;
        Self { path, length_m, is_closed, places }
    }

    /// The places that are quickest to reach or to leave, the quickest first, none that takes longer than a
    /// limit: `ends` gives both ends of the way for a place.
    fn quickest(&self, task: &Along, ends: impl Fn(Pose) -> [End; 2], limit_s: f64) -> Vec<(f64, usize)> {
        let straight =
            self.places.iter().enumerate().map(|(index, &place)| (task.straight_s(ends(place)), index));
        let mut straight: Vec<(f64, usize)> = straight.filter(|&(least_s, _)| least_s < limit_s).collect();
        straight.sort_by(by_cost);
        let mut quickest: Vec<(f64, usize)> = Vec::new();
        for (straight_s, index) in straight {
            let worst_s = quickest.get(2 * NEAR - 1).map_or(limit_s, |worst| worst.0);
            if straight_s >= worst_s {
                break;
            }
            let priced = (task.least_s(ends(self.places[index])), index);
            if priced.0 < worst_s {
                quickest.insert(quickest.partition_point(|known| by_cost(known, &priced).is_lt()), priced);
                quickest.truncate(2 * NEAR);
            }
        }
        quickest
    }

    /// Those of them that promise to cost least, toll included, none that costs more than a limit.
    fn cheapest(
        &self,
        task: &Along,
        ends: impl Fn(Pose) -> [End; 2],
        quickest: &[(f64, usize)],
        limit_s: f64,
    ) -> Vec<(f64, usize)> {
        let within = quickest.iter().filter(|&&(least_s, _)| least_s < limit_s);
        let with_toll = within.filter_map(|&(least_s, index)| {
            Some((least_s + task.across_s(ends(self.places[index]), limit_s - least_s)?, index))
        });
        let mut cheapest: Vec<(f64, usize)> = with_toll.collect();
        cheapest.sort_by(by_cost);
        cheapest.truncate(NEAR);
        cheapest
    }

    fn between_m(&self, pair: Pair) -> f64 {
        let apart_m = (pair.off as f64 - pair.on as f64) * STEP_M;
        if apart_m > 0.0 { apart_m } else { apart_m + self.length_m }
    }

    fn between(&self, pair: Pair) -> Path {
        let (on_m, off_m) = (pair.on as f64 * STEP_M, pair.off as f64 * STEP_M);
        if on_m < off_m {
            self.path.between(on_m, off_m)
        } else {
            self.path.between(on_m, self.length_m).then(&self.path.between(0.0, off_m))
        }
    }
}
