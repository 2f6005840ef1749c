//! Events of the tools, run by run: when a tool begins its way into the soil and when its way back.
//!
//! A run's events are kept as what tells them apart, not one by one; they are made while they are
//! written.

use super::neighbours::Plants;
use super::tool_way::ToolWay;
use super::{BladeMotion, Over};
use crate::check::Machine;
use crate::geometry::interval::{Interval, gaps};
use crate::geometry::{Path, Point, distance};
use crate::lanes::{Lane, RowSpan};
use crate::num;
use crate::retrace::Retraced;
use crate::route::Visit;
use crate::seeds::{RowCourse, SeedRun};
use lanewright_schema::quantity::Length;
use lanewright_schema::seedmap::events::Event;
use lanewright_schema::seedmap::missing::Missing;
use rayon::prelude::*;

/// What the tool over a run of seeds does.
#[derive(Clone, Debug, PartialEq)]
pub enum RunEvents {
    /// In where the row begins, out where it ends.
    AlongRow {
        /// Stretches of the row, metres from its first seed, in which the tools stay out, since a plant of
        /// another block is near; in order.
        blocked: Vec<Interval>,
    },
    /// In and out between each two plants.
    BetweenPlants {
        /// How the blade moves.
        motion: BladeMotion,
        /// Places without a plant, counted from the run's first, rising.
        missing: Vec<u32>,
        /// Places behind which the blade stays out, since the row bends or a plant of another block is
        /// near, rising.
        barred: Vec<u32>,
    },
}

/// One event.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct ToolEvent {
    /// What happens.
    pub event: Event,
    /// Lattice index of the plant or seed beside which it happens.
    pub index: i64,
    /// Metres of the reference point from the lane's beginning.
    pub distance_m: f64,
    /// Metres along the row from the run's first seed, where the tool is over the row.
    pub along_m: Option<f64>,
    /// The tool.
    pub at: Point,
}

/// Tools that stay in the soil along each row.
pub fn along_rows(sown: &Retraced) -> Vec<RunEvents> {
    vec![RunEvents::AlongRow { blocked: Vec::new() }; sown.seeds.runs.len()]
}

/// Tools that reach so far to either side of each row, and stay so far from the plants of each run of another
/// block.
pub fn beside_rows(sown: &Retraced, half: Length, clear: impl Fn(&SeedRun) -> Length) -> Vec<RunEvents> {
    let half_m = half.to_m();
    let plants = Plants::of(&sown.seeds, half_m, |run| clear(run).to_m());
    let Some(plants) = plants else { return along_rows(sown) };
    let of_run =
        |run: &SeedRun| RunEvents::AlongRow { blocked: plants.blocked(run, half_m, run.spacing_m + END_M) };
    sown.seeds.runs.par_iter().map(of_run).collect()
}

/// A blade that works between plants.
pub fn between_plants(over: &Over, motion: &BladeMotion) -> Vec<RunEvents> {
    let field = &over.field.name;
    let place =
        |run: &SeedRun, index: i64| Missing { field: field.clone(), block: run.block.0, row: run.row, index };
    let seeds = &over.sown.seeds;
    let plants = Plants::of(seeds, motion.half_band_m, |_| motion.clear_m);
    let of_run = |run: &SeedRun| {
        let (first, end, step) = (run.first, run.last() + 1, i64::from(run.step));
        let missing = over.sown.missing.range(place(run, first)..place(run, end));
        let on_run = missing.filter(|place| (place.index - first) % step == 0);
        let missing: Vec<u32> = on_run.map(|place| ((place.index - first) / step) as u32).collect();
        let windows = || RunEvents::pairs(run, &missing);
        let mut barred = bends(run, windows());
        if let Some(plants) = &plants {
            barred.extend(plants.too_near(run, windows(), motion));
        }
        barred.sort_unstable();
        barred.dedup();
        RunEvents::BetweenPlants { motion: *motion, missing, barred }
    };
    seeds.runs.par_iter().map(of_run).collect()
}

/// A row that turns by more than this between two plants, radians, bends: a toolbar behind the
/// reference point then stands askew to it, and the blade with it.
const BEND: f64 = 0.01;

/// Those of a run's windows, by the place before each, in which its row bends.
fn bends(run: &SeedRun, windows: impl Iterator<Item = (u32, u32)>) -> Vec<u32> {
    let RowCourse::Curved(course) = &run.course else { return Vec::new() };
    let poses = course.poses_at((0..run.count).map(|place| f64::from(place) * run.spacing_m));
    let turn = |before: u32, after: u32| poses[before as usize].turn_to(&poses[after as usize]).abs();
    windows.filter(|&(before, after)| turn(before, after) > BEND).map(|(before, _)| before).collect()
}

impl RunEvents {
    /// Places between whose plants the blade works.
    fn windows<'a>(
        run: &SeedRun,
        missing: &[u32],
        barred: &'a [u32],
    ) -> impl DoubleEndedIterator<Item = (u32, u32)> + 'a {
        Self::pairs(run, missing).filter(|(before, _)| barred.binary_search(before).is_err())
    }

    /// Places of each two plants that follow one another, counted from the run's first.
    fn pairs(run: &SeedRun, missing: &[u32]) -> impl DoubleEndedIterator<Item = (u32, u32)> + use<> {
        let present: Vec<u32> = if missing.is_empty() {
            Vec::new()
        } else {
            (0..run.count).filter(|place| missing.binary_search(place).is_err()).collect()
        };
        let count = if missing.is_empty() { run.count } else { present.len() as u32 };
        (1..count).map(move |i| match present.get(i as usize - 1..=i as usize) {
            Some(&[before, after]) => (before, after),
            _ => (i - 1, i),
        })
    }

    /// Metres of the row that the blade works, as a mean over the band.
    pub fn worked_m(&self, run: &SeedRun, motion: &BladeMotion) -> f64 {
        let Self::BetweenPlants { missing, barred, .. } = self else { return 0.0 };
        let hill_m = run.pattern.length().to_m();
        let apart = |(before, after): (u32, u32)| f64::from(after - before) * run.spacing_m - hill_m;
        Self::windows(run, missing, barred).map(|window| motion.worked_m(apart(window)).max(0.0)).sum()
    }

    /// Stretches of the row, metres from its first seed, that tools beside it work, its ends included; a
    /// stretch shorter than [`SHORTEST_M`] is not worth a way into the soil.
    fn stretches(run: &SeedRun, blocked: &[Interval]) -> Vec<Interval> {
        let beyond = run.spacing_m + END_M;
        let whole = Interval::new(-beyond, run.length_m() + beyond);
        let free = gaps(blocked.to_vec(), whole);
        free.into_iter().filter(|free| blocked.is_empty() || free.length() >= SHORTEST_M).collect()
    }

    /// Metres of the row in which tools beside it stay out.
    pub fn kept_out_m(&self, run: &SeedRun) -> f64 {
        let Self::AlongRow { blocked } = self else { return 0.0 };
        let row = Interval::new(0.0, run.length_m());
        let worked = Self::stretches(run, blocked).into_iter().filter_map(|free| free.common(row));
        row.length() - worked.map(Interval::length).sum::<f64>()
    }

    /// How many events there are.
    pub fn count(&self, run: &SeedRun) -> usize {
        match self {
            Self::AlongRow { blocked } => 2 * Self::stretches(run, blocked).len(),
            Self::BetweenPlants { missing, barred, .. } => {
                2 * (run.count as usize).saturating_sub(missing.len() + 1 + barred.len())
            }
        }
    }

    /// Hands over every event in driving order.
    pub fn each(&self, run: &SeedRun, driven: &Driven, mut take: impl FnMut(ToolEvent)) {
        match self {
            Self::AlongRow { blocked } => {
                let Some(span) = driven.span(run) else { return };
                let forward = driven.with_indices(run);
                let length = run.length_m();
                let mut stretches = Self::stretches(run, blocked);
                if !forward {
                    stretches.reverse();
                }
                let places = |stretch: &Interval| {
                    if forward { [stretch.from, stretch.to] } else { [stretch.to, stretch.from] }
                };
                let places: Vec<f64> = stretches.iter().flat_map(places).collect();
                let located = driven.located(run, places.iter().map(|place| place.clamp(0.0, length)));
                let distance = |(along_m, (distance_m, _)): (f64, (f64, Point))| {
                    let beyond = along_m - along_m.clamp(0.0, length);
                    (distance_m + if forward { beyond } else { -beyond }).clamp(span.from, span.to)
                };
                let places: Vec<(f64, f64)> =
                    places.iter().zip(located).map(|(&at, located)| (at, distance((at, located)))).collect();
                for ends in places.chunks_exact(2).filter(|ends| ends[1].1 > ends[0].1) {
                    for (event, &(along_m, distance_m)) in [Event::In, Event::Out].into_iter().zip(ends) {
                        let place = (along_m / run.spacing_m).round().clamp(0.0, f64::from(run.count - 1));
                        let index = run.first + place as i64 * i64::from(run.step);
                        let at = driven.tool(&span, distance_m);
                        take(ToolEvent { event, index, distance_m, along_m: None, at });
                    }
                }
            }
            Self::BetweenPlants { motion, missing, barred } => {
                let window = motion.window();
                let forward = driven.with_indices(run);
                let hill_m = run.pattern.length().to_m();
                let (passed_by, reached) = if forward { (hill_m, 0.0) } else { (0.0, hill_m) };
                let place = |offset: u32| f64::from(offset) * run.spacing_m;
                let pairs = Self::windows(run, missing, barred);
                let mut places = Vec::with_capacity(self.count(run));
                let mut tell = |(passed, ahead): (u32, u32), sign: f64| {
                    places.push((Event::In, passed, place(passed) + passed_by + sign * window.after_m));
                    places.push((Event::Out, ahead, place(ahead) + reached - sign * window.before_m));
                };
                if forward {
                    pairs.for_each(|(before, after)| tell((before, after), 1.0));
                } else {
                    pairs.rev().for_each(|(before, after)| tell((after, before), -1.0));
                }
                let located = driven.located(run, places.iter().map(|place| place.2));
                for ((event, offset, along_m), (distance_m, at)) in places.into_iter().zip(located) {
                    take(ToolEvent {
                        event,
                        index: run.first + i64::from(offset) * i64::from(run.step),
                        distance_m,
                        along_m: Some(along_m),
                        at,
                    });
                }
            }
        }
    }
}

/// A stretch of row between two plants of other blocks that is shorter than this, metres, is left.
const SHORTEST_M: f64 = 0.3;
/// A row goes on beyond its first and its last seed by a place and no more than this, metres.
const END_M: f64 = 3.0;

/// A run begins so near to where its tool does, and in so near a direction, or else it ends there.
const NEAR_M: f64 = 1.0;
const NEAR_RAD: f64 = 0.8;

/// A lane as it is driven.
pub struct Driven<'a> {
    lane: &'a Lane,
    visit: Visit,
    path: &'a Path,
    machine: &'a Machine,
}

impl<'a> Driven<'a> {
    /// A lane driven by a machine.
    pub fn new(lane: &'a Lane, visit: Visit, machine: &'a Machine) -> Self {
        Self { lane, visit, path: visit.way(lane), machine }
    }

    /// The row piece on which a run lies, as driven.
    fn span(&self, run: &SeedRun) -> Option<RowSpan> {
        let first = match &run.course {
            RowCourse::Straight { from, .. } => *from,
            RowCourse::Curved(course) => course.start.at,
        };
        // Where a row is interrupted, the first seed lies beside an end of its own piece.
        let away = |span: &RowSpan| {
            let end = |along: f64| distance(self.tool(span, along), first);
            end(span.from).min(end(span.to))
        };
        let of_row = self.visit.rows(self.lane).iter().filter(|span| span.row == run.row);
        of_row.min_by(|a, b| away(a).total_cmp(&away(b))).copied()
    }

    fn tool(&self, span: &RowSpan, along: f64) -> Point {
        let right = self.machine.row_offsets[span.tool_row].to_m();
        self.path.pose_at(along).ground(self.machine.tool_forward.to_m(), right)
    }

    /// Whether the run's indices rise as the lane is driven.
    fn with_indices(&self, run: &SeedRun) -> bool {
        match &run.course {
            RowCourse::Straight { angle, .. } => {
                num::wrap_angle(self.path.start.angle - angle).abs() < 0.5 * num::PI
            }
            RowCourse::Curved(course) => {
                let Some(span) = self.span(run) else { return true };
                let begins = distance(self.tool(&span, span.from), course.start.at);
                begins < NEAR_M && self.path.pose_at(span.from).turn_to(&course.start).abs() < NEAR_RAD
            }
        }
    }

    /// For places along a run, metres from its first seed in driving order: how far the reference
    /// point has come, and where the tool is.
    fn located(&self, run: &SeedRun, places: impl Iterator<Item = f64> + Clone) -> Vec<(f64, Point)> {
        let forward = self.machine.tool_forward.to_m();
        match &run.course {
            RowCourse::Straight { from, angle } => {
                let (sin, cos) = num::sin_cos(*angle);
                let start = self.path.start;
                let (ahead_y, ahead_x) = num::sin_cos(start.angle);
                let along = |at: Point| (at.x - start.at.x) * ahead_x + (at.y - start.at.y) * ahead_y;
                let place = |metres: f64| {
                    let at = Point { x: from.x + metres * cos, y: from.y + metres * sin };
                    (along(at) - forward, at)
                };
                places.map(place).collect()
            }
            RowCourse::Curved(course) => {
                let Some(span) = self.span(run) else { return Vec::new() };
                let right = self.machine.row_offsets[span.tool_row].to_m();
                let way = ToolWay::new(self.path, span.from, span.to, forward, right);
                let first = self.tool(&span, span.from);
                if self.with_indices(run) {
                    let begins = distance(first, course.start.at);
                    let poses = course.poses_at(places.clone());
                    places
                        .zip(poses)
                        .map(|(metres, pose)| (way.reference(begins + metres), pose.at))
                        .collect()
                } else {
                    let (begins, length) = (distance(first, course.end().at), course.length());
                    let falling: Vec<f64> = places.collect();
                    let mut poses = course.poses_at(falling.iter().rev().copied());
                    poses.reverse();
                    let located = falling.into_iter().zip(poses);
                    located.map(|(metres, pose)| (way.reference(begins + length - metres), pose.at)).collect()
                }
            }
        }
    }
}
