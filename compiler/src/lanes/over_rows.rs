//! Lanes over straight rows that are there already, for a machine of any number of tool rows.
//!
//! In: where each row of a lattice is, the fence, the machine. Out: lanes on that lattice, taken in groups of
//! the machine's tool rows as those of a block to be sown are, and what of the rows no lane reaches.

use super::Lane;
use super::straight::{Drivable, Lattice, work};
use super::toolbar::Toolbar;
use crate::check::Machine;
use crate::geometry::interval::Interval;
use crate::geometry::strip::{Axes, LocalEdges};
use geo::MultiPolygon;

/// Rows of one lattice.
#[derive(Clone, Debug)]
pub struct LatticeRows {
    /// Row 0 runs through their origin and along them, each next row a spacing to its right.
    pub axes: Axes,
    /// Metres between neighbours.
    pub spacing_m: f64,
    /// Number of the first row.
    pub first: i64,
    /// Where each row is, along the axes, from the first row on.
    pub along: Vec<Vec<Interval>>,
}

/// Lanes over rows.
#[derive(Clone, Debug)]
pub struct OverRows {
    /// The lanes, their block still to be told.
    pub lanes: Vec<Lane>,
    /// Row by row what they miss.
    pub missed: Vec<(i64, Interval)>,
}

/// Lays lanes over rows. A lane shorter than the machine is wide is left out.
pub fn over_rows(rows: &LatticeRows, fence: &MultiPolygon, machine: &Machine) -> OverRows {
    let toolbar = Toolbar::new(machine);
    let edges = LocalEdges::new(fence, &rows.axes);
    let lattice = Lattice {
        axes: rows.axes,
        first_row: rows.first as f64 * rows.spacing_m,
        rows: rows.along.len(),
        row_spacing: rows.spacing_m,
    };
    let drivable = Drivable { fence, edges: &edges, axes: &rows.axes, toolbar: &toolbar };
    let taken = lattice.taken(&rows.along, &drivable, toolbar.width);
    let mut missed = rows.along.clone();
    work(&mut missed, taken.iter().flat_map(|lane| &lane.1));
    let mut lanes = lattice.lanes(&taken, &toolbar);
    for span in lanes.iter_mut().flat_map(|lane| lane.rows.iter_mut().chain(&mut lane.rows_back)) {
        span.row += rows.first;
    }
    let missed = (rows.first..).zip(missed);
    OverRows {
        lanes,
        missed: missed.flat_map(|(row, left)| left.into_iter().map(move |i| (row, i))).collect(),
    }
}
