//! How far the machine's reference point has come when a tool has come so far: on a curve an outer
//! tool runs farther, an inner one less.
//!
//! A tool `f` ahead of and `r` to the right of the reference point, which drives a curve of curvature
//! κ (positive to the left), moves by `√((1 + κ r)² + (κ f)²)` for each metre of the reference point: the
//! velocity of a point of a rigid body.

use crate::geometry::Path;
use crate::num;

/// Knots of a curve whose curvature changes lie no farther apart than this, metres.
const STEP_M: f64 = 0.1;

/// The tool's way over the reference point's, as knots of a rising line.
pub struct ToolWay {
    /// Reference point, tool; metres.
    knots: Vec<(f64, f64)>,
}

impl ToolWay {
    /// Of a tool on a lane, from `from` to `to` metres of the reference point.
    pub fn new(line: &Path, from: f64, to: f64, forward: f64, right: f64) -> Self {
        let mut knots = vec![(from, 0.0)];
        let (mut reference, mut tool) = (from, 0.0);
        for piece in &line.between(from, to).pieces {
            let changes = (piece.curvature_end - piece.curvature_start).abs() > 0.0;
            let parts = if changes { (piece.length / STEP_M).ceil().max(1.0) as u32 } else { 1 };
            for part in 0..parts {
                let share = (f64::from(part) + 0.5) / f64::from(parts);
                let curvature = piece.curvature_start + share * (piece.curvature_end - piece.curvature_start);
                let metres = piece.length / f64::from(parts);
                reference += metres;
                tool += metres * num::hypot(1.0 + curvature * right, curvature * forward);
                knots.push((reference, tool));
            }
        }
        Self { knots }
    }

    /// Where the reference point is when the tool has come so far.
    pub fn reference(&self, tool: f64) -> f64 {
        let next = self.knots.partition_point(|knot| knot.1 < tool).clamp(1, self.knots.len().max(2) - 1);
        match self.knots.get(next - 1..=next) {
            Some(&[(from, passed), (to, there)]) if there > passed => {
                from + (to - from) * (tool - passed) / (there - passed)
            }
            _ => self.knots[0].0 + tool,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::{Gear, Piece, Pose};

    /// A quarter circle of 10 m to the left, then 5 m straight: a tool 2 m to the right runs on 12 m.
    #[test]
    fn an_outer_tool_runs_farther() {
        let quarter = num::PI / 2.0;
        let line = Path {
            start: Pose::new(0.0, 0.0, 0.0),
            pieces: vec![Piece::arc(Gear::Forward, 10.0 * quarter, 0.1), Piece::straight(Gear::Forward, 5.0)],
        };
        let way = ToolWay::new(&line, 0.0, line.length(), 0.0, 2.0);
        assert!((way.reference(6.0 * quarter) - 5.0 * quarter).abs() < 1e-9);
        assert!((way.reference(12.0 * quarter + 1.0) - (10.0 * quarter + 1.0)).abs() < 1e-9);
    }
}
