//! Words: ways of a few arcs and lines, as the literature on shortest paths names them (`LSL`,
//! `L+R-L+` …), in radii and radians, apart from any place and size.
//!
//! In: what stands between two poses, scaled to a turning radius of one. Out: pieces in metres.

use crate::geometry::{Gear, Piece, Pose};
use crate::num;

/// What the steering does in one letter of a word.
#[derive(Copy, Clone, Debug, PartialEq, Eq)]
pub enum Bend {
    /// The tightest arc to the left in forward travel.
    Left,
    /// Straight.
    Straight,
    /// The tightest arc to the right in forward travel.
    Right,
}

/// One letter: its bend and its length in turning radii, negative when driven in reverse.
pub type Letter = (Bend, f64);

/// A pose seen from another, lengths in turning radii.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Relative {
    /// Ahead.
    pub x: f64,
    /// To the left.
    pub y: f64,
    /// The turn to the left, radians in `(-π, π]`.
    pub angle: f64,
}

impl Relative {
    /// The goal as seen from the start.
    pub fn between(from: Pose, to: Pose, radius: f64) -> Self {
        let (forward, right) = from.body(to.at);
        Self { x: forward / radius, y: -right / radius, angle: from.turn_to(&to) }
    }
}

/// Up to five letters in driving order.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Word {
    letters: [Letter; 5],
    count: usize,
}

impl Word {
    /// A word from at most five letters.
    pub fn new(spelt: &[Letter]) -> Self {
        let mut letters = [(Bend::Straight, 0.0); 5];
        letters[..spelt.len()].copy_from_slice(spelt);
        Self { letters, count: spelt.len() }
    }

    /// Its letters.
    pub fn letters(&self) -> &[Letter] {
        &self.letters[..self.count]
    }

    /// Its pieces for a turning radius in metres; letters of no length are left out.
    pub fn pieces(&self, radius: f64) -> impl Iterator<Item = Piece> + '_ {
        /// Shorter letters are rounding, radii.
        const NOTHING: f64 = 1e-10;
        self.letters().iter().filter(|(_, length)| length.abs() > NOTHING).map(move |&(bend, length)| {
            let gear = if length < 0.0 { Gear::Reverse } else { Gear::Forward };
            let curvature = match bend {
                Bend::Left => 1.0 / radius,
                Bend::Straight => 0.0,
                Bend::Right => -1.0 / radius,
            };
            Piece::arc(gear, length.abs() * radius, curvature)
        })
    }
}

/// The length of letters in turning radii.
pub fn length(letters: &[Letter]) -> f64 {
    letters.iter().map(|(_, length)| length.abs()).sum()
}

/// Whether forward and reverse, and whether left and right are exchanged.
#[derive(Copy, Clone, Debug)]
pub struct Symmetry {
    /// −1 where forward and reverse are exchanged.
    pub gear: f64,
    /// −1 where left and right are exchanged.
    pub side: f64,
}

impl Symmetry {
    /// All four.
    pub const ALL: [Self; 4] = [
        Self { gear: 1.0, side: 1.0 },
        Self { gear: -1.0, side: 1.0 },
        Self { gear: 1.0, side: -1.0 },
        Self { gear: -1.0, side: -1.0 },
    ];

    /// The goal in the exchanged world.
    pub fn seen(self, goal: Relative) -> Relative {
        Relative { x: self.gear * goal.x, y: self.side * goal.y, angle: self.gear * self.side * goal.angle }
    }

    /// A letter of the exchanged world in ours.
    pub fn undone(self, (bend, length): Letter) -> Letter {
        let bend = match bend {
            Bend::Left if self.side < 0.0 => Bend::Right,
            Bend::Right if self.side < 0.0 => Bend::Left,
            same => same,
        };
        (bend, self.gear * length)
    }
}

/// An arc in `[0, 2π)`; a whole circle that rounding made of nothing is nothing.
pub fn forward_arc(angle: f64) -> f64 {
    /// Less of an angle than moves a goal kilometres away by a micrometre.
    const NOTHING: f64 = 1e-10;
    let whole = 2.0 * num::PI;
    let wrapped = angle - whole * (angle / whole).floor();
    if whole - wrapped < NOTHING { 0.0 } else { wrapped }
}
