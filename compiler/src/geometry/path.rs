//! Poses, and paths made of pieces whose curvature changes linearly: straight lines, circular
//! arcs, clothoids and turns on the spot.
//!
//! A path is its start pose and its pieces, so that any later pose is found by integration and
//! two equal paths are equal values. Signed curvature is positive to the left.

use super::Point;
use crate::num;

/// Where a machine's reference point is and which way its body looks.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Pose {
    /// The reference point, metres.
    pub at: Point,
    /// The body's forward direction, radians counter-clockwise from east.
    pub angle: f64,
}

/// How a piece is driven.
#[derive(Copy, Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Gear {
    /// Nose first.
    Forward,
    /// Tail first.
    Reverse,
    /// Turning on the spot about the reference point.
    Spot,
}

/// One piece of a path.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Piece {
    /// How it is driven.
    pub gear: Gear,
    /// Metres travelled, never negative; for [`Gear::Spot`] the signed turn in radians,
    /// positive to the left.
    pub length: f64,
    /// Curvature at the piece's start, 1/m, as the steering holds it: positive when the body
    /// turns left in forward travel. A reverse piece with positive curvature turns the body right.
    pub curvature_start: f64,
    /// Curvature at its end; between, it changes linearly with the distance.
    pub curvature_end: f64,
}

impl Piece {
    /// A straight line or an arc of constant curvature.
    pub const fn arc(gear: Gear, length: f64, curvature: f64) -> Self {
        Self { gear, length, curvature_start: curvature, curvature_end: curvature }
    }
    /// A turn on the spot, radians, positive to the left.
    pub const fn spot(turn: f64) -> Self {
        Self { gear: Gear::Spot, length: turn, curvature_start: 0.0, curvature_end: 0.0 }
    }
    /// Metres that the reference point moves.
    pub const fn distance(&self) -> f64 {
        match self.gear {
            Gear::Spot => 0.0,
            Gear::Forward | Gear::Reverse => self.length,
        }
    }
}

/// A drivable way of the reference point.
#[derive(Clone, Debug, PartialEq)]
pub struct Path {
    /// Where it begins.
    pub start: Pose,
    /// Its pieces in driving order.
    pub pieces: Vec<Piece>,
}
