//! What the tool does along the route: set-points of each operation.

use crate::check::Operation;
use lanewright_schema::quantity::{Length, Speed};

/// One operation on one field.
#[derive(Clone, Debug, PartialEq)]
pub struct WorkOrder {
    /// Which operation.
    pub operation: Operation,
    /// Seeds per square metre that the lattice amounts to.
    pub seeds_per_m2: f64,
    /// Distance between seeds in the row.
    pub seed_spacing: Length,
    /// Seeding depth.
    pub depth: Length,
    /// Speed with the tool down.
    pub speed: Speed,
    /// Seeds per second and row at that speed.
    pub seeds_per_s: f64,
}
