//! Square cells over a rectangle, numbered from its lower left corner row by row.

use super::Point;
use std::ops::RangeInclusive;

/// Square cells.
#[derive(Copy, Clone, Debug)]
pub struct Cells {
    low: Point,
    /// The side of a cell, metres.
    pub side_m: f64,
    /// Cells side by side.
    pub columns: usize,
    /// Cells one above the other.
    pub rows: usize,
}

impl Cells {
    /// Cells that cover a rectangle, given by its corners.
    pub fn covering((low, high): (Point, Point), side_m: f64) -> Self {
        let count = |metres: f64| (metres / side_m).ceil() as usize + 1;
        Self { low, side_m, columns: count(high.x - low.x), rows: count(high.y - low.y) }
    }

    /// How many there are.
    pub const fn count(&self) -> usize {
        self.columns * self.rows
    }

    /// The cell that holds a point.
    pub fn at(&self, point: Point) -> Option<usize> {
        let right = (point.x - self.low.x) / self.side_m;
        let up = (point.y - self.low.y) / self.side_m;
        let inside = (0.0..self.columns as f64).contains(&right) && (0.0..self.rows as f64).contains(&up);
        inside.then_some(up as usize * self.columns + right as usize)
    }

    /// The cells that a rectangle touches, given by its corners.
    pub fn between(&self, low: Point, high: Point) -> impl Iterator<Item = usize> + use<> {
        let columns = self.touched(low.x - self.low.x, high.x - self.low.x, self.columns);
        let (side_by_side, rows) = (self.columns, self.rows_between(low.y, high.y));
        rows.flat_map(move |row| columns.clone().map(move |column| row * side_by_side + column))
    }

    /// The rows that an interval touches.
    pub fn rows_between(&self, low: f64, high: f64) -> RangeInclusive<usize> {
        self.touched(low - self.low.y, high - self.low.y, self.rows)
    }

    fn touched(&self, low: f64, high: f64, count: usize) -> RangeInclusive<usize> {
        let cell = |metres: f64| (metres / self.side_m).floor().max(0.0) as usize;
        cell(low)..=cell(high).min(count - 1)
    }

    /// How many moves of a chess king lead from each cell to the nearest of those that are goals;
    /// `u16::MAX` where there is none.
    ///
    /// Two passes over the grid, each looking at the four neighbours already done: exact for
    /// king moves (A. Rosenfeld and J. Pfaltz, "Sequential operations in digital picture
    /// processing", *Journal of the ACM* 13, 1966).
    pub fn king_moves(&self, is_goal: impl Fn(usize) -> bool) -> Vec<u16> {
        let mut moves: Vec<u16> =
            (0..self.count()).map(|cell| if is_goal(cell) { 0 } else { u16::MAX }).collect();
        let behind = [(-1, 0), (-1, -1), (0, -1), (1, -1)];
        let ahead = [(1, 0), (1, 1), (0, 1), (-1, 1)];
        for cell in 0..self.count() {
            self.relax(&mut moves, cell, behind);
        }
        for cell in (0..self.count()).rev() {
            self.relax(&mut moves, cell, ahead);
        }
        moves
    }

    fn relax(&self, moves: &mut [u16], cell: usize, neighbours: [(isize, isize); 4]) {
        for neighbour in neighbours.into_iter().filter_map(|step| self.beside(cell, step)) {
            moves[cell] = moves[cell].min(moves[neighbour].saturating_add(1));
        }
    }

    /// The cell so many columns to the right and rows up.
    pub fn beside(&self, cell: usize, (right, up): (isize, isize)) -> Option<usize> {
        let column =
            (cell % self.columns).checked_add_signed(right).filter(|&column| column < self.columns)?;
        let row = (cell / self.columns).checked_add_signed(up).filter(|&row| row < self.rows)?;
        Some(row * self.columns + column)
    }

    /// The middle of a cell.
    pub fn centre(&self, cell: usize) -> Point {
        Point {
            x: self.low.x + ((cell % self.columns) as f64 + 0.5) * self.side_m,
            y: self.low.y + ((cell / self.columns) as f64 + 0.5) * self.side_m,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cell_holds_its_middle_and_nothing_outside_is_in_one() {
        let cells = Cells::covering((Point { x: -3.0, y: 7.0 }, Point { x: 2.2, y: 8.1 }), 0.5);
        assert_eq!((cells.columns, cells.rows), (12, 4));
        for cell in 0..cells.count() {
            assert_eq!(cells.at(cells.centre(cell)), Some(cell));
        }
        assert_eq!(cells.at(Point { x: -3.01, y: 7.5 }), None);
        assert_eq!(cells.at(Point { x: 0.0, y: 9.01 }), None);
    }

    #[test]
    fn a_king_goes_round_nothing() {
        let cells = Cells::covering((Point { x: 0.0, y: 0.0 }, Point { x: 5.9, y: 3.9 }), 1.0);
        let goals = [cells.columns + 1, cells.count() - 1];
        let moves = cells.king_moves(|cell| goals.contains(&cell));
        for (cell, &found) in moves.iter().enumerate() {
            let far = |goal: usize| {
                let apart = |per: fn(usize, usize) -> usize| {
                    per(cell, cells.columns).abs_diff(per(goal, cells.columns))
                };
                apart(|cell, columns| cell % columns).max(apart(|cell, columns| cell / columns))
            };
            assert_eq!(usize::from(found), goals.into_iter().map(far).min().unwrap_or(0));
        }
        assert!(cells.king_moves(|_| false).iter().all(|&moves| moves == u16::MAX));
    }
}
