//! Ways of continuous curvature: every arc of a word begins and ends with a clothoid, as long as the
//! steering needs at this speed, so that the wheels look straight ahead wherever two letters join.
//!
//! In: a word's letters and the poses that it joins. Out: pieces that join the same poses, or
//! nothing. A change of gear thus finds the wheels straight, and no wheel is turned at a standstill.
//!
//! Method: a bend is clothoid, arc, clothoid, or two clothoids where it is too small for the full
//! lock (T. Fraichard and A. Scheuer, "From Reeds and Shepp's to continuous-curvature paths", *IEEE
//! Transactions on Robotics* 20, 2004). Such bends are no circles, so the word's lengths are only a
//! first guess; Newton's method, with the least change of all letters in each step, moves the end
//! onto the goal. A letter that would change its gear on the way there makes the word fail.

use super::word::{Bend, Letter};
use crate::geometry::{Gear, Piece, Pose};
use crate::num;

/// What the steering can do on the way.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Steered {
    /// Curvature at full lock, 1/m.
    curvature: f64,
    /// Change of curvature per metre driven, 1/m².
    sharpness: f64,
    /// Where the clothoid from straight ahead to full lock ends.
    locked: Pose,
}

impl Steered {
    /// Steering with a tightest radius, metres, and a change of curvature per metre driven, 1/m².
    pub fn new(radius_m: f64, sharpness: f64) -> Self {
        let curvature = 1.0 / radius_m;
        let locked = clothoid(Gear::Forward, curvature, sharpness).end(ORIGIN);
        Self { curvature, sharpness, locked }
    }

    /// Half the distance between the two straights that a half turn joins, metres: words of this
    /// radius are near what these bends make of them.
    pub fn half_turn_radius_m(&self) -> f64 {
        0.5 * self.chord_m(num::PI)
    }

    /// A bend that turns the body by `deflection`, radians, above zero; to the left in forward
    /// travel where `side` is 1, to the right where it is −1. The arc may have no length.
    pub fn bend(&self, gear: Gear, side: f64, deflection: f64) -> [Piece; 3] {
        let peak = self.peak(deflection);
        let into = clothoid(gear, side * peak, self.sharpness);
        let out = Piece { curvature_start: side * peak, curvature_end: 0.0, ..into };
        [into, Piece::arc(gear, self.arc_m(deflection), side * peak), out]
    }

    /// The pieces of letters that lead from one pose to another, begun from letters in turning radii
    /// of `radius_m`.
    pub fn joined(&self, letters: &[Letter], radius_m: f64, from: Pose, to: Pose) -> Option<Vec<Piece>> {
        /// Newton's steps at most, and the error that ends them, metres and radians.
        const MOST_STEPS: usize = 12;
        const ARRIVED: f64 = 1e-10;
        let mut spelt: Vec<Letter> = letters.iter().copied().filter(|letter| letter.1.abs() > 1e-9).collect();
        for _ in 0..MOST_STEPS {
            let (miss, slopes) = self.miss(&spelt, radius_m, from, to);
            if miss.iter().all(|part| part.abs() < ARRIVED) {
                return Some(self.pieces(&spelt, radius_m).collect());
            }
            let weights = solved(&slopes, miss)?;
            for (letter, slope) in spelt.iter_mut().zip(&slopes) {
                let next = letter.1 - (0..3).map(|part| slope[part] * weights[part]).sum::<f64>();
                if next * letter.1 <= 0.0 || next.abs() > most_of(letter.0) {
                    return None;
                }
                letter.1 = next;
            }
        }
        None
    }

    fn pieces<'a>(&'a self, letters: &'a [Letter], radius_m: f64) -> impl Iterator<Item = Piece> + 'a {
        letters.iter().flat_map(move |&(bend, length)| {
            let gear = if length < 0.0 { Gear::Reverse } else { Gear::Forward };
            match bend {
                Bend::Straight => [Piece::straight(gear, length.abs() * radius_m), NOTHING, NOTHING],
                Bend::Left => self.bend(gear, 1.0, length.abs()),
                Bend::Right => self.bend(gear, -1.0, length.abs()),
            }
        })
    }

    /// How far the letters' end lies from the goal, east and north in turning radii, and radians; and
    /// how that changes with each letter.
    ///
    /// A bend is its own mirror image, so that it moves along its middle direction by its chord.
    fn miss(&self, letters: &[Letter], radius_m: f64, from: Pose, to: Pose) -> ([f64; 3], Vec<[f64; 3]>) {
        let (mut x, mut y, mut angle) = (from.at.x - to.at.x, from.at.y - to.at.y, from.angle);
        let mut own: Vec<[f64; 5]> = Vec::with_capacity(letters.len());
        for &(bend, length) in letters {
            let (along_m, slope_m, side) = match bend {
                Bend::Straight => (length * radius_m, radius_m, 0.0),
                Bend::Left => {
                    (length.signum() * self.chord_m(length.abs()), self.chord_slope_m(length.abs()), 1.0)
                }
                Bend::Right => {
                    (length.signum() * self.chord_m(length.abs()), self.chord_slope_m(length.abs()), -1.0)
                }
            };
            let (sin, cos) = num::sin_cos(angle + 0.5 * side * length);
            x += along_m * cos;
            y += along_m * sin;
            angle += side * length;
            let turned = 0.5 * side * along_m;
            own.push([slope_m * cos - turned * sin, slope_m * sin + turned * cos, side, x, y]);
        }
        let slopes = own.iter().map(|&[east, north, side, at_x, at_y]| {
            [(east - side * (y - at_y)) / radius_m, (north + side * (x - at_x)) / radius_m, side]
        });
        ([x / radius_m, y / radius_m, num::wrap_angle(angle - to.angle)], slopes.collect())
    }

    /// Metres from where a bend begins to where it ends.
    fn chord_m(&self, deflection: f64) -> f64 {
        let arc_m = self.arc_m(deflection);
        let middle = if arc_m > 0.0 {
            Piece::arc(Gear::Forward, 0.5 * arc_m, self.curvature).end(self.locked)
        } else {
            clothoid(Gear::Forward, self.peak(deflection), self.sharpness).end(ORIGIN)
        };
        let (sin, cos) = num::sin_cos(0.5 * deflection);
        2.0 * (middle.at.x * cos + middle.at.y * sin)
    }

    /// How the chord grows with the deflection.
    fn chord_slope_m(&self, deflection: f64) -> f64 {
        let small = 1e-4 * deflection;
        (self.chord_m(deflection + small) - self.chord_m(deflection - small)) / (2.0 * small)
    }

    /// The sharpest curvature of a bend.
    fn peak(&self, deflection: f64) -> f64 {
        num::sqrt(deflection * self.sharpness).min(self.curvature)
    }

    /// The length of its arc.
    fn arc_m(&self, deflection: f64) -> f64 {
        let by_clothoids = self.curvature * self.curvature / self.sharpness;
        (deflection - by_clothoids).max(0.0) / self.curvature
    }
}

const ORIGIN: Pose = Pose::new(0.0, 0.0, 0.0);
const NOTHING: Piece = Piece::straight(Gear::Forward, 0.0);

/// From straight ahead to a curvature.
fn clothoid(gear: Gear, curvature: f64, sharpness: f64) -> Piece {
    Piece { gear, length: curvature.abs() / sharpness, curvature_start: 0.0, curvature_end: curvature }
}

/// A bend of more than a whole turn is a detour.
const fn most_of(bend: Bend) -> f64 {
    match bend {
        Bend::Straight => f64::INFINITY,
        Bend::Left | Bend::Right => 2.0 * num::PI,
    }
}

/// What the slopes are weighed with in the least change that takes the miss to nothing: three linear
/// equations, by Cramer's rule; none where they are not independent.
fn solved(slopes: &[[f64; 3]], miss: [f64; 3]) -> Option<[f64; 3]> {
    let mut rows = [[0.0; 3]; 3];
    for slope in slopes {
        for row in 0..3 {
            for column in 0..3 {
                rows[row][column] += slope[row] * slope[column];
            }
        }
    }
    let determinant = |m: [[f64; 3]; 3]| {
        m[0][0] * (m[1][1] * m[2][2] - m[1][2] * m[2][1]) - m[0][1] * (m[1][0] * m[2][2] - m[1][2] * m[2][0])
            + m[0][2] * (m[1][0] * m[2][1] - m[1][1] * m[2][0])
    };
    let whole = determinant(rows);
    if whole.abs() < 1e-9 {
        return None;
    }
    Some([0, 1, 2].map(|column| {
        let mut replaced = rows;
        for row in 0..3 {
            replaced[row][column] = miss[row];
        }
        determinant(replaced) / whole
    }))
}

#[cfg(test)]
mod tests {
    use super::super::word::Relative;
    use super::super::{dubins, reeds_shepp};
    use super::*;
    use proptest::prelude::*;

    fn steered() -> Steered {
        Steered::new(2.5, 0.2)
    }

    /// A clothoid of sharpness σ turns by κ²/2σ up to κ: elementary calculus.
    #[test]
    fn a_bend_turns_by_what_is_asked_and_needs_no_lock_for_little() {
        for deflection in [0.05, 0.4, 0.8, 1.0, 2.0, 5.0] {
            for (gear, side) in [(Gear::Forward, 1.0), (Gear::Forward, -1.0), (Gear::Reverse, 1.0)] {
                let bend = steered().bend(gear, side, deflection);
                let turn: f64 = bend.iter().map(Piece::turn).sum();
                let sense = if gear == Gear::Reverse { -side } else { side };
                assert!((turn - sense * deflection).abs() < 1e-12, "{turn} {deflection}");
                assert!(bend.iter().all(|piece| piece.sharpest() <= 0.4 + 1e-12));
                assert_eq!(bend[0].curvature_end, bend[1].curvature_start);
            }
        }
        assert!(steered().bend(Gear::Forward, 1.0, 0.2)[1].length < 1e-15);
    }

    /// A circle of radius r that clothoids of length l lead into stands back by l²/24r from the
    /// straights (first term of the series, in any book on laying out railways and roads).
    #[test]
    fn a_half_turn_is_wider_than_two_radii_and_nears_them_with_quick_steering() {
        let found = steered().half_turn_radius_m();
        assert!((found - 2.5 - 2.0 * 2.0 / (24.0 * 2.5)).abs() < 1e-3, "{found}");
        let quick = Steered::new(2.5, 1e4);
        assert!((quick.half_turn_radius_m() - 2.5).abs() < 1e-4);
    }

    proptest! {
        #[test]
        fn every_word_that_is_joined_drives_to_the_goal_without_a_jump(
            x in -25.0..25.0f64, y in -25.0..25.0f64, angle in -3.1..3.1f64
        ) {
            let (from, to) = (Pose::new(1.0, 2.0, 0.3), Pose::new(x, y, angle));
            let radius_m = steered().half_turn_radius_m();
            let (mut tried, mut joined) = (0, 0);
            let mut tell = |letters: &[Letter]| {
                tried += 1;
                let Some(pieces) = steered().joined(letters, radius_m, from, to) else { return };
                joined += 1;
                let end = pieces.iter().fold(from, |pose, piece| piece.end(pose));
                assert!(end.distance(&to) < 1e-8 && end.turn_to(&to).abs() < 1e-8);
                let mut curvature = 0.0;
                for piece in pieces.iter().filter(|piece| piece.length > 0.0) {
                    assert!((piece.curvature_start - curvature).abs() < 1e-12);
                    let change = (piece.curvature_end - piece.curvature_start).abs();
                    assert!(change <= 0.2 * piece.length + 1e-9);
                    assert!(piece.sharpest() <= 0.4 + 1e-12);
                    curvature = piece.curvature_end;
                }
                assert!(curvature.abs() < 1e-12);
            };
            let goal = Relative::between(from, to, radius_m);
            dubins::words(goal, &mut tell);
            reeds_shepp::words(goal, &mut tell);
            prop_assert!(4 * joined >= tried || from.distance(&to) < 12.0, "{joined} of {tried}");
        }
    }
}
