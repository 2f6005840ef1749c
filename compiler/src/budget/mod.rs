//! Time and seed that a field takes.

use lanewright_schema::quantity::{Area, Length, Mass, Time};

/// What one operation on one field takes.
#[derive(Clone, Debug, PartialEq)]
pub struct Budget {
    /// Driving and standing.
    pub time: TimeBudget,
    /// Metres driven.
    pub distance: DistanceBudget,
    /// Seed, for sowing.
    pub seed: SeedNeed,
}

/// Time by what it is spent on.
#[derive(Copy, Clone, Debug, Default, PartialEq)]
pub struct TimeBudget {
    /// In lanes, tool down or between two pieces of a row.
    pub work: Time,
    /// In turns, lifting and lowering included.
    pub turn: Time,
    /// From home and back.
    pub transit: Time,
    /// Standing for refills.
    pub stop: Time,
    /// `worked area / (working width × working speed) / total time`: a ratio in `(0, 1]`.
    pub field_efficiency: f64,
    /// Hectares worked per hour of total time.
    pub ha_per_h: f64,
    /// Hectares per day of the stated hours.
    pub ha_per_day: f64,
    /// Days of the stated hours.
    pub days: f64,
}

/// Metres by what they are driven for.
#[derive(Copy, Clone, Debug, Default, PartialEq)]
pub struct DistanceBudget {
    /// In lanes.
    pub lane: Length,
    /// In turns.
    pub turn: Length,
    /// From home and back.
    pub transit: Length,
}

/// Seed to bring.
#[derive(Clone, Debug, PartialEq)]
pub struct SeedNeed {
    /// Seeds on the lattice.
    pub seeds: u64,
    /// Their mass.
    pub mass: Mass,
    /// Whole sales units, where the lot states their size.
    pub units: Option<u64>,
    /// Times that the hoppers are filled, the first included.
    pub hopper_fills: u32,
    /// Plants expected from germination and field emergence.
    pub plants: f64,
    /// Area that the seeds stand on.
    pub area: Area,
}
