//! Drivable ways between two poses, inside the fence.

pub mod dubins;
pub mod fishtail;
pub mod on_spot;
pub mod reeds_shepp;
mod word;

use crate::geometry::Path;

/// A way between lane ends, or between a lane end and home.
#[derive(Clone, Debug)]
pub struct Manoeuvre {
    /// The way of the reference point.
    pub path: Path,
    /// What it looks like.
    pub shape: TurnShape,
    /// Seconds at turning speed, gear changes included.
    pub time_s: f64,
}

/// The family a manoeuvre belongs to; the names go into `plan.geojson` in kebab-case.
#[derive(Copy, Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum TurnShape {
    /// Straight on.
    Straight,
    /// On the spot, with straight driving between.
    OnTheSpot,
    /// Forward arcs and lines (Dubins).
    Forward,
    /// Forward and reverse arcs and lines (Reeds and Shepp).
    Reversing,
    /// Found by search through the free space.
    Searched,
}
