//! How far a point must at least go to the goal through the free space.
//!
//! In: the free space, where the way begins and ends. Out: for any place a bound on the metres to
//! the goal, or that no way leads there, or only one that is much longer than from the start.
//!
//! Method: Dijkstra's algorithm over square cells with eight neighbours, from the goal, within
//! the cells that the caller calls free. Steps along eight directions overstate a straight line by
//! at most 1/cos(π/8); the bound is divided by that.

use crate::geometry::{Cells, Point};
use crate::num;
use crate::ranked::Ranked;
use std::collections::BinaryHeap;

/// Smallest cell, metres: gaps narrower than a machine show.
const SMALLEST_M: f64 = 0.5;

/// Distances to one goal.
pub struct DistanceMap {
    cells: Cells,
    metres: Vec<f64>,
    /// The next cell on the way to the goal; itself where none is.
    ahead: Vec<usize>,
}

impl DistanceMap {
    /// The side of a cell that covers a rectangle with so many cells at most, metres.
    pub fn cell_m((low, high): (Point, Point), most_cells: f64) -> f64 {
        num::sqrt((high.x - low.x) * (high.y - low.y) / most_cells).max(SMALLEST_M)
    }

    /// Distances to the goal within a rectangle. A cell counts its metres so many times as is said
    /// of its centre, at least once, and is closed where nothing is said; none where no way of a
    /// point leads from start to goal.
    pub fn new(
        bounds: (Point, Point),
        cell_m: f64,
        start: Point,
        goal: Point,
        weight: impl Fn(Point) -> Option<f64>,
    ) -> Option<Self> {
        let cells = Cells::covering(bounds, cell_m);
        let metres = vec![f64::INFINITY; cells.count()];
        let mut map = Self { cells, metres, ahead: (0..cells.count()).collect() };
        map.flood(cells.at(start)?, goal, |cell| weight(cells.centre(cell)))?;
        map.at_least(start).map(|_| map)
    }

    /// The centres of cells on a shortest way through cells, from near a point to near the goal.
    pub fn downhill(&self, from: Point) -> Vec<Point> {
        let mut centres = Vec::new();
        let mut here = self.cells.at(from);
        while let Some(cell) = here {
            centres.push(self.cells.centre(cell));
            here = Some(self.ahead[cell]).filter(|&next| next != cell);
        }
        centres
    }

    /// Metres from a point to the goal, never more than the truth; none where no way leads.
    pub fn at_least(&self, point: Point) -> Option<f64> {
        /// 1/cos(π/8), what steps in eight directions add to a straight line at most.
        const OCTILE: f64 = 1.082_392_200_292_394;
        /// What the cells at both ends add, in cells.
        const ENDS: f64 = 2.0 * std::f64::consts::SQRT_2;
        let metres = self.metres[self.cells.at(point)?];
        metres.is_finite().then(|| ((metres - ENDS * self.cells.side_m) / OCTILE).max(0.0))
    }

    /// As far as the last cell that is asked for and somewhat on.
    fn flood(&mut self, last: usize, goal: Point, weight: impl Fn(usize) -> Option<f64>) -> Option<()> {
        /// How much farther than from the start distances are needed: a share, and metres.
        const DETOUR: (f64, f64) = (1.2, 25.0);
        let mut limit_m = f64::INFINITY;
        let first = self.cells.at(goal)?;
        let mut weights: Vec<Option<Option<f64>>> = vec![None; self.metres.len()];
        let mut open = BinaryHeap::from([Ranked { rank: 0.0, index: first }]);
        self.metres[first] = 0.0;
        while let Some(Ranked { rank, index }) = open.pop() {
            if rank > limit_m {
                break;
            }
            if rank > self.metres[index] {
                continue;
            }
            if index == last {
                limit_m = DETOUR.0 * rank + DETOUR.1;
            }
            for (next, step) in self.neighbours(index) {
                if rank + step * self.cells.side_m >= self.metres[next] {
                    continue;
                }
                let weight = *weights[next].get_or_insert_with(|| weight(next));
                let through = rank + step * self.cells.side_m * weight.unwrap_or(f64::INFINITY);
                if through < self.metres[next] {
                    self.metres[next] = through;
                    self.ahead[next] = index;
                    open.push(Ranked { rank: through, index: next });
                }
            }
        }
        Some(())
    }

    fn neighbours(&self, cell: usize) -> impl Iterator<Item = (usize, f64)> + use<> {
        const DIAGONAL: f64 = std::f64::consts::SQRT_2;
        const AROUND: [(isize, isize, f64); 8] = [
            (1, 0, 1.0),
            (1, 1, DIAGONAL),
            (0, 1, 1.0),
            (-1, 1, DIAGONAL),
            (-1, 0, 1.0),
            (-1, -1, DIAGONAL),
            (0, -1, 1.0),
            (1, -1, DIAGONAL),
        ];
        let (columns, rows) = (self.cells.columns, self.cells.rows);
        let (column, row) = (cell % columns, cell / columns);
        AROUND.into_iter().filter_map(move |(right, up, step)| {
            let column = column.checked_add_signed(right).filter(|&c| c < columns)?;
            let row = row.checked_add_signed(up).filter(|&r| r < rows)?;
            Some((row * columns + column, step))
        })
    }
}
