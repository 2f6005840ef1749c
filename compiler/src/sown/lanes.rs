//! The lanes of the sowing as the sowing machine drove them.

use crate::geometry::{Gear, Path, Piece, Point, Pose, angle_of_heading};
use crate::lanes::{BlockIdx, Lane, RowSpan};
use lanewright_schema::manifest;
use lanewright_schema::plan;
use lanewright_schema::quantity::Heading;

/// Tool rows nearer to each other than this, metres, are the same.
const SAME_ROW_M: f64 = 0.001;

/// A lane of the plan; none where it works a row that the sowing machine has not.
pub fn lane(lane: &plan::Lane, sower: &manifest::Machine) -> Option<Lane> {
    let rows = lane
        .rows
        .iter()
        .map(|piece| {
            let tool_row =
                sower.row_offsets_m.iter().position(|row| (row - piece.offset_m).abs() < SAME_ROW_M)?;
            Some(RowSpan { tool_row, row: piece.row, from: piece.from_m, to: piece.to_m })
        })
        .collect::<Option<Vec<_>>>()?;
    Some(Lane { block: BlockIdx(lane.block), line: way(lane), back: None, rows, rows_back: Vec::new() })
}

fn way(lane: &plan::Lane) -> Path {
    let [x, y] = lane.start_m;
    let piece = |&[length, curvature_start, curvature_end]: &[f64; 3]| Piece {
        gear: Gear::Forward,
        length,
        curvature_start,
        curvature_end,
    };
    Path {
        start: Pose { at: Point { x, y }, angle: angle_of_heading(Heading::degrees(lane.heading_deg)) },
        pieces: lane.pieces.iter().map(piece).collect(),
    }
}
