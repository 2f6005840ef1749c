//! Places of tool rows along a curve: a row is worked from station to station of the curve, whichever
//! of its offsets the machine drives on.
//!
//! In: the curve, the tool bar and an offset. Out: the station that a tool row is at for a place along
//! the offset, and the place for a station.

use super::toolbar::Toolbar;
use crate::geometry::{Curve, Path};

/// Rounds of finding where a tool row passes a station. Each leaves about the share of the error by
/// which the tool's speed along the curve differs from the reference point's.
const ROUNDS: usize = 8;

/// An offset of a curve as the way of the reference point.
pub struct Offset<'a> {
    curve: &'a Curve,
    toolbar: &'a Toolbar,
    right: f64,
    /// The way itself, from end to end of the curve.
    pub way: Path,
}

impl<'a> Offset<'a> {
    /// The offset `right` metres to the right of the curve.
    pub fn new(curve: &'a Curve, toolbar: &'a Toolbar, right: f64) -> Self {
        Self { curve, toolbar, right, way: curve.offset(right) }
    }

    /// The station at which a tool row is when the reference point is so far along the way.
    pub fn station(&self, tool_row: usize, along: f64) -> f64 {
        let right = self.toolbar.row_offsets[tool_row];
        self.curve.place(self.way.pose_at(along).ground(self.toolbar.forward, right)).0
    }

    /// How far along the way the reference point is when a tool row is at a station.
    pub fn along(&self, tool_row: usize, station: f64) -> f64 {
        let goal = self.curve.along(station, self.right);
        (0..ROUNDS).fold(goal - self.toolbar.forward, |at, _| {
            at + goal - self.curve.along(self.station(tool_row, at), self.right)
        })
    }
}
