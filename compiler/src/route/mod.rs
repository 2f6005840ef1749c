//! The order and direction in which the lanes are driven.

pub mod order;

mod bound;
mod exact;
mod search;
mod tour;

use crate::lanes::LaneIdx;
use crate::turns::Manoeuvre;

/// One lane as driven.
#[derive(Copy, Clone, Debug, PartialEq, Eq)]
pub struct Visit {
    /// Which lane.
    pub lane: LaneIdx,
    /// Whether its `line` is driven, else its `back`.
    pub along: bool,
}

/// The route over one field.
#[derive(Clone, Debug)]
pub struct Route {
    /// Every lane of the plan once, in driving order, less those cut off.
    pub visits: Vec<Visit>,
    /// Lanes that no drivable way leads to.
    pub cut_off: Vec<LaneIdx>,
    /// `visits.len() + 1` ways: home to the first lane, between lanes, last lane to the exit.
    /// The first and the last are `None` where the job names neither home nor entrance.
    pub ways: Vec<Option<Manoeuvre>>,
    /// Seconds of ways in the best order that could exist: a proven lower bound.
    pub bound_s: f64,
}
