//! The lanes of the sowing as a machine of the same tool rows drives them.
//!
//! A tool must pass where the sowing machine's outlet did. On a straight lane the reference point
//! therefore starts as much farther on as its own tools lie farther behind, and the lane can be driven
//! from either end. Round a bend a tool cuts corners by its distance from the reference point,
//! so on lanes that bend the way is the sowing machine's own, and the tools must lie as far behind as its outlets.

use super::Retraced;
use crate::check::{Field, Machine, Pass};
use crate::geometry::{Gear, Path, Piece, Point, Pose};
use crate::lanes::{Course, Lane, LanePlan, RowSpan};
use crate::num;
use crate::sown::SownField;

/// Every lane and every seed.
pub fn follow(sown: SownField, pass: &Pass, machine: &Machine, field: &Field) -> Retraced {
    let SownField { lanes: plan, seeds, sigmas, outlets } = sown;
    let bends = |lane: &Lane| {
        !matches!(plan.blocks[lane.block.0].course, Course::Straight { .. })
            || lane.line.pieces.iter().any(|piece| piece.sharpest() > 0.0)
    };
    let driven = |lane: &Lane| {
        if bends(lane) {
            lane.clone()
        } else {
            straight(lane, outlets.forward.to_m(), machine.tool_forward.to_m(), outlets.offsets.len())
        }
    };
    let lanes = plan.lanes.iter().map(driven).collect();
    Retraced {
        lanes: LanePlan { lanes, ..plan },
        seeds,
        sigmas,
        missing: pass.missing.clone(),
        row_spacing: field.spacing.between_rows,
        place_spacing: field.spacing.between_seeds,
    }
}

fn straight(lane: &Lane, outlets: f64, tools: f64, rows: usize) -> Lane {
    let (start, length) = (lane.line.start, lane.line.length());
    let path = |at: Point, angle: f64| Path {
        start: Pose { at, angle },
        pieces: vec![Piece::arc(Gear::Forward, length, 0.0)],
    };
    let mirrored = |span: &RowSpan| RowSpan {
        tool_row: rows - 1 - span.tool_row,
        from: length - span.to,
        to: length - span.from,
        ..*span
    };
    let far = start.ground(length + outlets + tools, 0.0);
    Lane {
        block: lane.block,
        line: path(start.ground(outlets - tools, 0.0), start.angle),
        back: Some(path(far, num::wrap_angle(start.angle + num::PI))),
        rows: lane.rows.clone(),
        rows_back: lane.rows.iter().map(mirrored).collect(),
    }
}
