//! Where blocks meet, a tool's way may come near to plants of another block: the windows in which a
//! blade would reach into their clear circle, and the stretches of a row in which tools beside it would, so
//! that they stay out there.
//!
//! Rows of one block are parallel and need no look. So the ground is cut into square cells, those that
//! rows of more than one block come near to are seams, and only what lies in seams is held against each
//! other: each window's swept trapezoid, as its rectangle, against the plants of other blocks about it.

use super::BladeMotion;
use crate::geometry::interval::{Interval, merged};
use crate::geometry::{Point, distance};
use crate::num;
use crate::seeds::{SeedMap, SeedRun};

/// Plants of a map that stand near to rows of another block than their own.
pub struct Plants {
    cells: Cells,
    /// Whether each cell is a seam.
    seams: Vec<bool>,
    /// Where each cell's plants begin.
    begins: Vec<u32>,
    /// The plants, those of a cell together.
    by_cell: Vec<Plant>,
    /// The most that stays clear round one.
    clear_m: f64,
}

/// A plant.
#[derive(Copy, Clone)]
struct Plant {
    at: Point,
    /// The block of its row.
    block: usize,
    /// What stays clear round it.
    clear_m: f64,
}

impl Plants {
    /// Of a map of more than one block, for tools that reach so far beside their row, with what stays clear
    /// round the plants of each run; none where there is but one block.
    pub fn of(seeds: &SeedMap, half_m: f64, clear_m: impl Fn(&SeedRun) -> f64) -> Option<Self> {
        let first = seeds.runs.first()?.block;
        if seeds.runs.iter().all(|run| run.block == first) {
            return None;
        }
        let most_m = seeds.runs.iter().map(&clear_m).fold(0.0, f64::max);
        let reach_m = half_m + most_m;
        // Twice the reach: a point of a row, its nearest sample and a plant within reach of it lie in
        // the same cell or in cells that touch.
        let side_m = (2.0 * reach_m).max(1.0);
        let samples: Vec<(Point, usize)> = seeds
            .runs
            .iter()
            .flat_map(|run| sampled(run, side_m / 2.0).into_iter().map(|at| (at, run.block.0)))
            .collect();
        let cells = Cells::about(&samples, side_m);
        let seams = cells.seams(&samples);
        let mut near: Vec<(usize, Plant)> = Vec::new();
        for run in &seeds.runs {
            let (block, clear_m) = (run.block.0, clear_m(run));
            near.extend(run.positions().filter_map(|at| {
                let cell = cells.of(at);
                seams[cell].then_some((cell, Plant { at, block, clear_m }))
            }));
        }
        near.sort_by_key(|plant| plant.0);
        let mut begins = vec![0_u32; seams.len() + 1];
        for (cell, _) in &near {
            begins[cell + 1] += 1;
        }
        for index in 1..begins.len() {
            begins[index] += begins[index - 1];
        }
        let by_cell = near.into_iter().map(|plant| plant.1).collect();
        Some(Self { cells, seams, begins, by_cell, clear_m: most_m })
    }

    /// Those of a run's windows, by the place before each, in which the blade would come too near.
    pub fn too_near(
        &self,
        run: &SeedRun,
        windows: impl Iterator<Item = (u32, u32)>,
        motion: &BladeMotion,
    ) -> Vec<u32> {
        if !sampled(run, self.cells.side_m / 2.0).into_iter().any(|at| self.seams[self.cells.of(at)]) {
            return Vec::new();
        }
        let plants: Vec<Point> = run.positions().collect();
        let together = run.pattern.seeds() as usize;
        windows
            .filter(|&(before, after)| {
                let (before, after) = (before as usize, after as usize);
                let ends = (plants[(before + 1) * together - 1], plants[after * together]);
                self.meets(ends, run.block.0, motion)
            })
            .map(|(before, _)| before)
            .collect()
    }

    /// Whether the motion between two plants comes nearer than its clear circle to a plant of another
    /// block.
    fn meets(&self, (from, to): (Point, Point), block: usize, motion: &BladeMotion) -> bool {
        let apart = distance(from, to);
        let (ahead_x, ahead_y) = ((to.x - from.x) / apart, (to.y - from.y) / apart);
        let middle = Point { x: f64::midpoint(from.x, to.x), y: f64::midpoint(from.y, to.y) };
        let half = (apart / 2.0 - motion.clear_m).max(0.0);
        let reach = num::hypot(half, motion.half_band_m) + self.clear_m;
        self.about(middle, reach).any(|plant| {
            let (x, y) = (plant.at.x - middle.x, plant.at.y - middle.y);
            let along = ((x * ahead_x + y * ahead_y).abs() - half).max(0.0);
            let across = ((y * ahead_x - x * ahead_y).abs() - motion.half_band_m).max(0.0);
            plant.block != block && num::hypot(along, across) < plant.clear_m
        })
    }

    /// The stretches of a run, metres along it from its first seed, in which tools that reach `half_m` to
    /// either side would come into the clear circle of a plant of another block; it is looked at as far as
    /// `beyond_m` beyond its ends.
    pub fn blocked(&self, run: &SeedRun, half_m: f64, beyond_m: f64) -> Vec<Interval> {
        let line = lengthened(&run.line(0.01), beyond_m);
        let points = points_along(&line, self.cells.side_m / 2.0);
        let mut passed = -beyond_m;
        let mut blocked = Vec::new();
        for pair in points.windows(2) {
            let (from, length) = (pair[0], distance(pair[0], pair[1]));
            let ahead = (pair[1] - from) / length.max(f64::MIN_POSITIVE);
            let reach = half_m + self.clear_m + length;
            for &Plant { at, block, clear_m } in self.about(from, reach) {
                let (x, y) = (at.x - from.x, at.y - from.y);
                let along = x * ahead.x + y * ahead.y;
                let aside = ((y * ahead.x - x * ahead.y).abs() - half_m).max(0.0);
                let beside = (-clear_m..=length + clear_m).contains(&along);
                if block != run.block.0 && beside && aside < clear_m {
                    let half = num::sqrt(clear_m * clear_m - aside * aside);
                    blocked.push(Interval::new(passed + along - half, passed + along + half));
                }
            }
            passed += length;
        }
        merged(blocked, 0.0)
    }

    /// Plants in the cells about a place.
    fn about(&self, middle: Point, reach: f64) -> impl Iterator<Item = &Plant> {
        let low = self.cells.column_and_row(Point { x: middle.x - reach, y: middle.y - reach });
        let high = self.cells.column_and_row(Point { x: middle.x + reach, y: middle.y + reach });
        (low.1..=high.1).flat_map(move |row| {
            let begin = self.begins[row * self.cells.columns + low.0] as usize;
            let end = self.begins[row * self.cells.columns + high.0 + 1] as usize;
            &self.by_cell[begin..end]
        })
    }
}

/// Points of a run no farther apart than `step_m`, its ends among them.
fn sampled(run: &SeedRun, step_m: f64) -> Vec<Point> {
    points_along(&run.line(0.01), step_m)
}

/// A line that runs straight on so far beyond both its ends.
fn lengthened(line: &[Point], by_m: f64) -> Vec<Point> {
    let on = |from: Point, to: Point| {
        let apart = distance(from, to);
        if apart > 0.0 { to + (to - from) * (by_m / apart) } else { to }
    };
    let last = line.len() - 1;
    let begin = on(line[1.min(last)], line[0]);
    let end = on(line[last.saturating_sub(1)], line[last]);
    [&[begin], line, &[end]].concat()
}

/// The corners of a line and points between them, no farther apart than `step_m`.
fn points_along(line: &[Point], step_m: f64) -> Vec<Point> {
    let mut points = vec![line[0]];
    for pair in line.windows(2) {
        let parts = (distance(pair[0], pair[1]) / step_m).ceil().max(1.0);
        let step = (pair[1] - pair[0]) / parts;
        points.extend((1..=parts as u32).map(|part| pair[0] + step * f64::from(part)));
    }
    points
}

/// Square cells over a piece of ground.
struct Cells {
    low: Point,
    side_m: f64,
    columns: usize,
    rows: usize,
}

impl Cells {
    /// Over all of these points, with a cell to spare on each side.
    fn about(points: &[(Point, usize)], side_m: f64) -> Self {
        let mut low = Point { x: f64::INFINITY, y: f64::INFINITY };
        let mut high = Point { x: f64::NEG_INFINITY, y: f64::NEG_INFINITY };
        for (at, _) in points {
            low = Point { x: low.x.min(at.x), y: low.y.min(at.y) };
            high = Point { x: high.x.max(at.x), y: high.y.max(at.y) };
        }
        let low = Point { x: low.x - side_m, y: low.y - side_m };
        let cells = |from: f64, to: f64| ((to - from) / side_m) as usize + 2;
        Self { low, side_m, columns: cells(low.x, high.x), rows: cells(low.y, high.y) }
    }

    fn column_and_row(&self, at: Point) -> (usize, usize) {
        let index = |metres: f64, cells: usize| ((metres / self.side_m).max(0.0) as usize).min(cells - 1);
        (index(at.x - self.low.x, self.columns), index(at.y - self.low.y, self.rows))
    }

    fn of(&self, at: Point) -> usize {
        let (column, row) = self.column_and_row(at);
        row * self.columns + column
    }

    /// The cells that points of more than one block lie in or beside.
    fn seams(&self, points: &[(Point, usize)]) -> Vec<bool> {
        let mut owner: Vec<Option<usize>> = vec![None; self.columns * self.rows];
        let mut seams = vec![false; owner.len()];
        for (at, block) in points {
            let (column, row) = self.column_and_row(*at);
            for row in row.saturating_sub(1)..=(row + 1).min(self.rows - 1) {
                for column in column.saturating_sub(1)..=(column + 1).min(self.columns - 1) {
                    let cell = row * self.columns + column;
                    seams[cell] |= *owner[cell].get_or_insert(*block) != *block;
                }
            }
        }
        seams
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::check::Pattern;
    use crate::lanes::{BlockIdx, LaneIdx};
    use crate::seeds::RowCourse;

    fn run(block: usize, from: Point, angle: f64, count: u32, spacing_m: f64, pattern: Pattern) -> SeedRun {
        SeedRun {
            block: BlockIdx(block),
            lane: LaneIdx(block),
            tool_row: 0,
            row: 0,
            zone: None,
            first: 0,
            step: 1,
            count,
            spacing_m,
            pattern,
            course: RowCourse::Straight { from, angle },
        }
    }

    /// A row eastwards past the ends of two rows of another block, 25 cm beside it, tools 20 cm to either side:
    /// the drilled row keeps them out by its own circle, the single plants by theirs.
    #[test]
    fn each_plant_keeps_its_own_circle_clear() {
        let row = run(0, Point { x: 0.0, y: 0.0 }, 0.0, 101, 0.2, Pattern::Single);
        let north = num::PI / 2.0;
        let single = run(1, Point { x: 5.0, y: 0.25 }, north, 20, 0.4, Pattern::Single);
        let drilled = run(1, Point { x: 15.0, y: 0.25 }, north, 200, 0.04, Pattern::Drill);
        let seeds = SeedMap { runs: vec![row, single, drilled] };
        let clear_m = |run: &SeedRun| if run.pattern == Pattern::Drill { 0.13 } else { 0.06 };
        let plants = Plants::of(&seeds, 0.2, clear_m).unwrap();
        let blocked = plants.blocked(&seeds.runs[0], 0.2, 0.0);
        let half = |clear_m: f64| (clear_m * clear_m - 0.05 * 0.05_f64).sqrt();
        let expected = [(5.0, half(0.06)), (15.0, half(0.13))];
        assert_eq!(blocked.len(), 2, "{blocked:?}");
        for (found, (at, half)) in blocked.iter().zip(expected) {
            let off = (found.from - (at - half)).abs().max((found.to - (at + half)).abs());
            assert!(off < 1e-9, "{found:?} about {at} by {half}");
        }
    }
}
