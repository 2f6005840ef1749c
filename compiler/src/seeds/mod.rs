//! Every seed of a field, as lattice runs.

use crate::geometry::{Path, Point};
use crate::lanes::{BlockIdx, LaneIdx};

/// All seeds of one field.
#[derive(Clone, Debug)]
pub struct SeedMap {
    /// In order of block, row, first index.
    pub runs: Vec<SeedRun>,
    /// Distance between seeds along a row, metres.
    pub spacing_m: f64,
}

/// Consecutive seeds of one row.
#[derive(Clone, Debug)]
pub struct SeedRun {
    /// The block whose lattice numbers it.
    pub block: BlockIdx,
    /// The lane that sows it.
    pub lane: LaneIdx,
    /// The tool row that sows it when the lane's `line` is driven.
    pub tool_row: usize,
    /// Row number in the block's lattice.
    pub row: i64,
    /// Lattice index of the first seed.
    pub first: i64,
    /// How many seeds, at least one.
    pub count: u32,
    /// The way of the row from the first seed to the last.
    pub course: RowCourse,
}

/// The way of a run.
#[derive(Clone, Debug)]
pub enum RowCourse {
    /// A straight line.
    Straight {
        /// The first seed.
        from: Point,
        /// Angle of the row, radians counter-clockwise from east.
        angle: f64,
    },
    /// A curve, by its arc length.
    Curved(Path),
}
