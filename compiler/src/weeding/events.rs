//! Events of the tools, run by run: when a tool begins its way into the soil and when its way back.
//!
//! A run's events are kept as what tells them apart, not one by one; they are made while they are
//! written.

use super::neighbours::Plants;
use super::tool_way::ToolWay;
use super::{BladeMotion, Over};
use crate::check::Machine;
use crate::geometry::{Path, Point, distance};
use crate::lanes::{Lane, RowSpan};
use crate::num;
use crate::route::Visit;
use crate::seeds::{RowCourse, SeedRun};
use crate::sown::SownField;
use lanewright_schema::seedmap::events::Event;
use lanewright_schema::seedmap::missing::Missing;
use rayon::prelude::*;

/// What the tool over a run of seeds does.
#[derive(Clone, Debug, PartialEq)]
pub enum RunEvents {
    /// In where the row begins, out where it ends.
    AlongRow,
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
    /// Metres along the row from the run's first seed.
    pub along_m: f64,
    /// The tool.
    pub at: Point,
}

/// Tools that stay in the soil along each row.
pub fn along_rows(sown: &SownField) -> Vec<RunEvents> {
    vec![RunEvents::AlongRow; sown.seeds.runs.len()]
}

/// A blade that works between plants.
pub fn between_plants(over: &Over, motion: &BladeMotion) -> Vec<RunEvents> {
    let field = &over.field.name;
    let place =
        |run: &SeedRun, index: i64| Missing { field: field.clone(), block: run.block.0, row: run.row, index };
    let seeds = &over.sown.seeds;
    let plants = Plants::of(seeds, motion.half_band_m + motion.clear_m);
    let of_run = |run: &SeedRun| {
        let (first, end) = (run.first, run.first + i64::from(run.count));
        let missing = over.pass.missing.range(place(run, first)..place(run, end));
        let missing: Vec<u32> = missing.map(|place| (place.index - first) as u32).collect();
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

    /// How many events there are.
    pub fn count(&self, run: &SeedRun) -> usize {
        match self {
            Self::AlongRow => 2,
            Self::BetweenPlants { missing, barred, .. } => {
                2 * (run.count as usize).saturating_sub(missing.len() + 1 + barred.len())
            }
        }
    }

    /// Hands over every event in driving order.
    pub fn each(&self, run: &SeedRun, driven: &Driven, mut take: impl FnMut(ToolEvent)) {
        let last = run.first + i64::from(run.count) - 1;
        match self {
            Self::AlongRow => {
                let Some(span) = driven.span(run) else { return };
                let ends = [(run.first, 0.0), (last, run.length_m())];
                let [first, last] = if driven.with_indices(run) { ends } else { [ends[1], ends[0]] };
                let mut tell = |event, (index, along_m), distance_m| {
                    take(ToolEvent { event, index, distance_m, along_m, at: driven.tool(&span, distance_m) });
                };
                tell(Event::In, first, span.from);
                tell(Event::Out, last, span.to);
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
                    take(ToolEvent { event, index: run.first + i64::from(offset), distance_m, along_m, at });
                }
            }
        }
    }
}

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
