//! The lanes of the sowing as the weeding machine drives them.
//!
//! A tool must pass where the sowing machine's outlet did. On a straight lane the reference point
//! therefore starts as much farther on as its own tools lie farther behind, and the lane can be driven
//! from either end. Round a bend a tool cuts corners by its distance from the reference point,
//! so on lanes that bend the way is the sowing machine's own, and the tools must lie as far behind as its outlets.

use crate::check::Machine;
use crate::geometry::{Gear, Path, Piece, Point, Pose, angle_of_heading};
use crate::lanes::{BlockIdx, Lane, RowSpan};
use crate::num;
use lanewright_schema::manifest;
use lanewright_schema::plan;
use lanewright_schema::quantity::Heading;

/// Tool rows nearer to each other than this, metres, are the same.
pub const SAME_ROW_M: f64 = 0.001;

/// A lane of the plan; none where it works a row that the sowing machine has not.
pub fn lane(lane: &plan::Lane, sower: &manifest::Machine, weeder: &Machine) -> Option<Lane> {
    let way = way(lane);
    let rows = lane
        .rows
        .iter()
        .map(|piece| {
            let tool_row =
                sower.row_offsets_m.iter().position(|row| (row - piece.offset_m).abs() < SAME_ROW_M)?;
            Some(RowSpan { tool_row, row: piece.row, from: piece.from_m, to: piece.to_m })
        })
        .collect::<Option<Vec<_>>>()?;
    let block = BlockIdx(lane.block);
    let bends = lane.pieces.iter().any(|[_, begin, end]| begin.abs() + end.abs() > 0.0);
    if lane.lap || bends {
        return Some(Lane { block, line: way, back: None, rows, rows_back: Vec::new() });
    }
    let (angle, length) = (way.start.angle, way.length());
    let (outlets, tools) = (sower.tool_x_m, weeder.tool_forward.to_m());
    let straight = |start: Point, angle: f64| Path {
        start: Pose { at: start, angle },
        pieces: vec![Piece::arc(Gear::Forward, length, 0.0)],
    };
    let line = straight(way.start.ground(outlets - tools, 0.0), angle);
    let far = way.start.ground(length + outlets + tools, 0.0);
    let back = Some(straight(far, num::wrap_angle(angle + num::PI)));
    let last = sower.row_offsets_m.len() - 1;
    let mirrored = |span: &RowSpan| RowSpan {
        tool_row: last - span.tool_row,
        from: length - span.to,
        to: length - span.from,
        ..*span
    };
    let rows_back = rows.iter().map(mirrored).collect();
    Some(Lane { block, line, back, rows, rows_back })
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
