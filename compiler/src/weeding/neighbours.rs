//! Where blocks meet, a blade's way may come near to plants of another block: the windows in which it
//! would reach into their clear circle, so that it stays out there.
//!
//! All plants lie on a grid of cells. For each window the swept trapezoid's rectangle is held against the
//! plants of other blocks in the cells about it. Rows of one block are parallel and need no look.

use super::BladeMotion;
use crate::geometry::{Point, distance};
use crate::num;
use crate::seeds::{SeedMap, SeedRun};

/// Side of a cell, metres: a few plants each.
const CELL_M: f64 = 0.5;

/// A plant and the block of its row.
type Plant = (Point, usize);

/// Plants by cells, those of a cell together.
pub struct Plants {
    low: Point,
    columns: usize,
    /// Where each cell's plants begin.
    begins: Vec<u32>,
    by_cell: Vec<Plant>,
}

impl Plants {
    /// Every plant of a map of more than one block; none where there is but one.
    pub fn of(seeds: &SeedMap) -> Option<Self> {
        let first = seeds.runs.first()?.block;
        if seeds.runs.iter().all(|run| run.block == first) {
            return None;
        }
        let all: Vec<Plant> =
            seeds.runs.iter().flat_map(|run| run.positions().map(|at| (at, run.block.0))).collect();
        let mut low = Point { x: f64::INFINITY, y: f64::INFINITY };
        let mut high = Point { x: f64::NEG_INFINITY, y: f64::NEG_INFINITY };
        for (at, _) in &all {
            low = Point { x: low.x.min(at.x), y: low.y.min(at.y) };
            high = Point { x: high.x.max(at.x), y: high.y.max(at.y) };
        }
        let columns = cell(high.x - low.x) + 1;
        let cells = columns * (cell(high.y - low.y) + 1);
        let of = |at: Point| cell(at.y - low.y) * columns + cell(at.x - low.x);
        let mut begins = vec![0_u32; cells + 1];
        for (at, _) in &all {
            begins[of(*at) + 1] += 1;
        }
        for index in 1..begins.len() {
            begins[index] += begins[index - 1];
        }
        let mut next = begins.clone();
        let mut plants = all.clone();
        for plant in all {
            let slot = &mut next[of(plant.0)];
            plants[*slot as usize] = plant;
            *slot += 1;
        }
        Some(Self { low, columns, begins, by_cell: plants })
    }

    /// Those of a run's windows, by the place before each, in which the blade would come too near.
    pub fn too_near(
        &self,
        run: &SeedRun,
        windows: impl Iterator<Item = (u32, u32)>,
        motion: &BladeMotion,
    ) -> Vec<u32> {
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
        let reach = num::hypot(half, motion.half_band_m) + motion.clear_m;
        self.about(middle, reach).any(|&(at, other)| {
            let (x, y) = (at.x - middle.x, at.y - middle.y);
            let along = ((x * ahead_x + y * ahead_y).abs() - half).max(0.0);
            let across = ((y * ahead_x - x * ahead_y).abs() - motion.half_band_m).max(0.0);
            other != block && num::hypot(along, across) < motion.clear_m
        })
    }

    fn about(&self, middle: Point, reach: f64) -> impl Iterator<Item = &Plant> {
        let rows = self.begins.len().saturating_sub(1) / self.columns;
        let span = |at: f64, low: f64, cells: usize| {
            (cell(at - reach - low), cell(at + reach - low).min(cells.saturating_sub(1)))
        };
        let (west, east) = span(middle.x, self.low.x, self.columns);
        let (south, north) = span(middle.y, self.low.y, rows);
        (south..=north).flat_map(move |row| {
            let begin = self.begins[row * self.columns + west.min(self.columns - 1)] as usize;
            let end = self.begins[row * self.columns + east + 1] as usize;
            &self.by_cell[begin.min(end)..end]
        })
    }
}

fn cell(metres: f64) -> usize {
    (metres / CELL_M).max(0.0) as usize
}
