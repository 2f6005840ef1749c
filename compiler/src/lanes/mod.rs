//! Lanes: blocks with a heading each, the machine's lanes, each tool row's own beginning and end,
//! headland laps, and what stays unworked and why.

use crate::geometry::{Path, Point};
use geo::MultiPolygon;
use lanewright_schema::quantity::Heading;

/// Where a lane belongs.
#[derive(Copy, Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct BlockIdx(pub usize);

/// A lane of one field.
#[derive(Copy, Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct LaneIdx(pub usize);

/// The lanes of one field.
#[derive(Clone, Debug)]
pub struct LanePlan {
    /// Blocks: first those of the main field, then one for each headland lap that is sown.
    pub blocks: Vec<Block>,
    /// All lanes, those of a block together.
    pub lanes: Vec<Lane>,
    /// The headland: fence less main field. Empty if there is none.
    pub headland: MultiPolygon,
    /// What no row covers, with reasons.
    pub left_over: Vec<LeftOver>,
    /// Areas that add up.
    pub areas: LaneAreas,
}

/// Soil worked on one lattice.
#[derive(Clone, Debug)]
pub struct Block {
    /// The soil it covers.
    pub zone: MultiPolygon,
    /// The way its lanes and rows run.
    pub course: Course,
}

/// How a block's rows run.
#[derive(Clone, Debug)]
pub enum Course {
    /// Parallel straight rows. Row `k` lies `k × row spacing` to the right of the line through
    /// the datum along the heading; seeds count from the datum's own line across.
    Straight {
        /// The heading.
        heading: Heading,
        /// The lattice's origin.
        datum: Point,
    },
    /// Rows that follow a headland lap's way; rows are tool rows, seeds count from each row's
    /// first point.
    Lap {
        /// One is outermost.
        lap: u32,
    },
}

/// One lane: a way of the machine with its tool rows.
#[derive(Clone, Debug)]
pub struct Lane {
    /// Its block.
    pub block: BlockIdx,
    /// The way of the reference point, tool entering at the start and leaving at the end.
    pub line: Path,
    /// The same lane driven from its other end, where that is allowed; of equal length.
    pub back: Option<Path>,
    /// What each tool row works when `line` is driven. On `back` the tool rows are mirrored and
    /// distances count from the other end.
    pub rows: Vec<RowSpan>,
}

/// One uninterrupted piece of one row in one lane.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct RowSpan {
    /// Index into the machine's tool rows, left to right, when `line` is driven.
    pub tool_row: usize,
    /// Number of the row in its block's lattice.
    pub row: i64,
    /// Metres along `line` at which the tool enters the row.
    pub from: f64,
    /// Metres along `line` at which it leaves.
    pub to: f64,
}

/// Soil that no row covers.
#[derive(Clone, Debug)]
pub struct LeftOver {
    /// Where.
    pub shape: MultiPolygon,
    /// How much, square metres.
    pub area_m2: f64,
    /// Why.
    pub reason: LeftOverReason,
}

/// Why soil stays unworked.
#[derive(Copy, Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum LeftOverReason {
    /// Between boundary and fence.
    FenceMargin,
    /// Steps of the row ends against a slanted edge, and strips beside the outermost row.
    RowEnds,
    /// A place that the tool bar cannot reach while the body stays inside the fence.
    OutOfReach,
    /// Row pieces too short to be worth a lane.
    TooShort,
    /// No drivable way leads there.
    CutOff,
}

/// Square metres. `worked + headland + keep_out + left_over = field`.
#[derive(Copy, Clone, Debug, Default, PartialEq)]
pub struct LaneAreas {
    /// The boundary's area.
    pub field: f64,
    /// Inside the fence.
    pub soil: f64,
    /// Covered by rows, sown headland included.
    pub worked: f64,
    /// Headland left unsown on purpose.
    pub headland: f64,
    /// Keep-outs with their clearance, inside the boundary.
    pub keep_out: f64,
    /// The rest, as listed in `left_over`.
    pub left_over: f64,
    /// Covered twice.
    pub overlap: f64,
}
