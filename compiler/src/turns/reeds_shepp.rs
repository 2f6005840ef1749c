//! Ways between two poses for a machine that drives forward and in reverse: all 48 words of
//! Reeds and Shepp.
//!
//! Method: J. A. Reeds and L. A. Shepp, "Optimal paths for a car that goes both forwards and
//! backwards", *Pacific Journal of Mathematics* 145 (1990), formulas 8.1 to 8.4 and 8.7 to 8.11;
//! the other words follow by exchanging forward and reverse, left and right, and start and goal.
//! It knows no fence and no gear change: every word comes out, not only the shortest.

use super::word::{Bend, Letter, Relative, Symmetry, length};
use crate::num;
use Bend::{Left, Right, Straight};

/// Calls `each` with the letters of every word that joins the two poses.
pub fn words(goal: Relative, mut each: impl FnMut(&[Letter])) {
    for symmetry in Symmetry::ALL {
        let turned = Frame::new(symmetry.seen(goal));
        let back = Frame::new(backwards(turned.goal));
        let mut tell = |bends: &[Bend], lengths: &[f64]| {
            let mut letters = [(Straight, 0.0); 5];
            for ((letter, &bend), &length) in letters.iter_mut().zip(bends).zip(lengths) {
                *letter = symmetry.undone((bend, length));
            }
            each(&letters[..bends.len()]);
        };
        turned.curve_straight_curve(&mut tell);
        turned.three_curves(&mut tell);
        turned.four_curves(&mut tell);
        turned.two_curves_straight_curve(&mut tell);
        turned.two_curves_straight_two_curves(&mut tell);
        let mut tell_back = |bends: &[Bend], lengths: &[f64]| {
            let (mut from_back, mut back_lengths) = ([Straight; 5], [0.0; 5]);
            let count = bends.len();
            for index in 0..count {
                from_back[index] = bends[count - 1 - index];
                back_lengths[index] = lengths[count - 1 - index];
            }
            tell(&from_back[..count], &back_lengths[..count]);
        };
        back.three_curves(&mut tell_back);
        back.two_curves_straight_curve(&mut tell_back);
    }
}

/// The length of the shortest, in turning radii.
pub fn shortest(goal: Relative) -> f64 {
    let mut best = f64::INFINITY;
    words(goal, |letters| best = best.min(length(letters)));
    best
}

/// The start as seen from the goal, such that a way to it, read from its end, is a way to the
/// goal.
fn backwards(goal: Relative) -> Relative {
    let (sin, cos) = num::sin_cos(goal.angle);
    Relative { x: goal.x * cos + goal.y * sin, y: goal.x * sin - goal.y * cos, angle: goal.angle }
}

/// The goal with what the formulas share.
struct Frame {
    goal: Relative,
    /// Goal circle of a word that begins and ends to the left, from the start's left circle.
    same: (f64, f64),
    /// Goal circle of a word that begins to the left and ends to the right.
    other: (f64, f64),
}

impl Frame {
    fn new(goal: Relative) -> Self {
        let (sin, cos) = num::sin_cos(goal.angle);
        Self { goal, same: (goal.x - sin, goal.y - 1.0 + cos), other: (goal.x + sin, goal.y - 1.0 - cos) }
    }

    /// Formulas 8.1 and 8.2.
    fn curve_straight_curve(&self, tell: &mut impl FnMut(&[Bend], &[f64])) {
        let (u, t) = polar(self.same);
        let v = turn(self.goal.angle - t);
        if t >= -ROUNDING && v >= -ROUNDING {
            tell(&[Left, Straight, Left], &[t, u, v]);
        }
        let (distance, bearing) = polar(self.other);
        let square = distance * distance - 4.0;
        if square >= -ROUNDING {
            let u = num::sqrt(square.max(0.0));
            let t = turn(bearing + num::atan2(2.0, u));
            let v = turn(t - self.goal.angle);
            if t >= -ROUNDING && v >= -ROUNDING {
                tell(&[Left, Straight, Right], &[t, u, v]);
            }
        }
    }

    /// Formulas 8.3 and 8.4.
    fn three_curves(&self, tell: &mut impl FnMut(&[Bend], &[f64])) {
        let (distance, bearing) = polar(self.same);
        if distance > 4.0 {
            return;
        }
        let u = -2.0 * num::asin(0.25 * distance);
        let t = turn(bearing + 0.5 * u + num::PI);
        let v = turn(self.goal.angle - t + u);
        if t >= -ROUNDING {
            tell(&[Left, Right, Left], &[t, u, v]);
        }
    }

    /// Formulas 8.7 and 8.8.
    fn four_curves(&self, tell: &mut impl FnMut(&[Bend], &[f64])) {
        let (xi, eta) = self.other;
        let square = xi * xi + eta * eta;
        let cosine = 0.25 * (2.0 + num::sqrt(square));
        if cosine <= 1.0 {
            let u = num::acos(cosine);
            let (t, v) = self.outer_arcs(u, -u);
            if t >= -ROUNDING && v <= ROUNDING {
                tell(&[Left, Right, Left, Right], &[t, u, -u, v]);
            }
        }
        let cosine = (20.0 - square) / 16.0;
        if (0.0..=1.0).contains(&cosine) {
            let u = -num::acos(cosine);
            let (t, v) = self.outer_arcs(u, u);
            if t >= -ROUNDING && v >= -ROUNDING {
                tell(&[Left, Right, Left, Right], &[t, u, u, v]);
            }
        }
    }

    /// The outer arcs τ and ω of four curves whose inner arcs are `u` and `v`.
    fn outer_arcs(&self, u: f64, v: f64) -> (f64, f64) {
        let (xi, eta) = self.other;
        let delta = u - v;
        let (sin_u, cos_u) = num::sin_cos(u);
        let (sin_delta, cos_delta) = num::sin_cos(delta);
        let a = sin_u - sin_delta;
        let b = cos_u - cos_delta - 1.0;
        let bearing = num::atan2(eta * a - xi * b, xi * a + eta * b);
        let side = 2.0 * (cos_delta - num::cos(v) - cos_u) + 3.0;
        let tau = turn(if side < 0.0 { bearing + num::PI } else { bearing });
        (tau, turn(tau - u + v - self.goal.angle))
    }

    /// Formulas 8.9 and 8.10.
    fn two_curves_straight_curve(&self, tell: &mut impl FnMut(&[Bend], &[f64])) {
        const QUARTER: f64 = 0.5 * num::PI;
        let (distance, bearing) = polar(self.same);
        if distance >= 2.0 {
            let tangent = num::sqrt(distance * distance - 4.0);
            let u = 2.0 - tangent;
            let t = turn(bearing + num::atan2(tangent, -2.0));
            let v = turn(self.goal.angle - QUARTER - t);
            if t >= -ROUNDING && u <= ROUNDING && v <= ROUNDING {
                tell(&[Left, Right, Straight, Left], &[t, -QUARTER, u, v]);
            }
        }
        let (distance, t) = polar((-self.other.1, self.other.0));
        if distance >= 2.0 {
            let u = 2.0 - distance;
            let v = turn(t + QUARTER - self.goal.angle);
            if t >= -ROUNDING && v <= ROUNDING {
                tell(&[Left, Right, Straight, Right], &[t, -QUARTER, u, v]);
            }
        }
    }

    /// Formula 8.11.
    fn two_curves_straight_two_curves(&self, tell: &mut impl FnMut(&[Bend], &[f64])) {
        const QUARTER: f64 = 0.5 * num::PI;
        let (xi, eta) = self.other;
        let square = xi * xi + eta * eta - 4.0;
        if square < 0.0 {
            return;
        }
        let u = 4.0 - num::sqrt(square);
        if u > ROUNDING {
            return;
        }
        let t = turn(num::atan2((4.0 - u) * xi - 2.0 * eta, -2.0 * xi + (u - 4.0) * eta));
        let v = turn(t - self.goal.angle);
        if t >= -ROUNDING && v >= -ROUNDING {
            tell(&[Left, Right, Straight, Left, Right], &[t, -QUARTER, u, -QUARTER, v]);
        }
    }
}

/// Tolerance of the existence conditions, so that touching circles count as touching.
const ROUNDING: f64 = 1e-12;

fn polar((x, y): (f64, f64)) -> (f64, f64) {
    (num::hypot(x, y), num::atan2(y, x))
}

/// An arc in `(-π, π]`; half a circle is half a circle to the side that the word asks for.
fn turn(angle: f64) -> f64 {
    let wrapped = num::wrap_angle(angle);
    if wrapped < ROUNDING - num::PI { wrapped + 2.0 * num::PI } else { wrapped }
}

#[cfg(test)]
mod tests {
    use super::super::dubins;
    use super::super::word::Word;
    use super::*;
    use crate::geometry::{Gear, Path, Pose};
    use proptest::prelude::*;

    fn shortest_m(from: Pose, to: Pose, radius: f64) -> f64 {
        shortest(Relative::between(from, to, radius)) * radius
    }

    fn opposite_lanes(width: f64) -> (Pose, Pose) {
        (Pose::new(0.0, 0.0, num::PI / 2.0), Pose::new(width, 0.0, -num::PI / 2.0))
    }

    /// Between opposite lanes the optimum is πr for every w ≤ 2r and (π − 2) r + w beyond.
    /// Derived; two independent programs agree to 1e-6.
    #[test]
    fn opposite_lanes_follow_the_pi_r_law() {
        for radius in [1.0, 2.5, 4.5] {
            for step in 0..60 {
                let width = 0.05 * f64::from(step) * radius;
                let (from, to) = opposite_lanes(width);
                let law =
                    if width <= 2.0 * radius { num::PI * radius } else { (num::PI - 2.0) * radius + width };
                let found = shortest_m(from, to, radius);
                assert!((found - law).abs() < 1e-6, "r {radius} w {width}: {found} {law}");
            }
        }
    }

    /// A shift of one radius to the side, as two independent programs give it.
    #[test]
    fn sideways_shift_has_its_known_length() {
        let found = shortest_m(Pose::new(0.0, 0.0, 0.0), Pose::new(0.0, 1.0, 0.0), 1.0);
        assert!((found - 2.636_232).abs() < 1e-6, "{found}");
    }

    fn pose() -> impl Strategy<Value = Pose> {
        (-9.0..9.0f64, -9.0..9.0f64, -3.2..3.2f64).prop_map(|(x, y, angle)| Pose::new(x, y, angle))
    }

    proptest! {
        #[test]
        fn every_word_drives_to_the_goal(to in pose(), radius in 0.5..6.0f64) {
            let from = Pose::new(1.0, -2.0, 0.7);
            words(Relative::between(from, to, radius), |letters| {
                let pieces = Word::new(letters).pieces(radius).collect();
                let end = Path { start: from, pieces }.end();
                assert!(end.distance(&to) < 1e-6 && end.turn_to(&to).abs() < 1e-6, "{letters:?}");
            });
        }

        #[test]
        fn optimum_is_between_the_crow_and_forward_only(to in pose()) {
            let goal = Relative::between(Pose::new(0.0, 0.0, 0.0), to, 1.0);
            let found = shortest(goal);
            prop_assert!(found >= num::hypot(goal.x, goal.y) - 1e-9);
            prop_assert!(found <= dubins::shortest(goal) + 1e-9);
        }

        #[test]
        fn optimum_ignores_mirror_reversal_gear_and_scale(to in pose()) {
            let from = Pose::new(0.0, 0.0, 0.0);
            let metres = shortest_m(from, to, 1.0);
            for other in [
                shortest_m(from, Pose::new(to.at.x, -to.at.y, -to.angle), 1.0),
                shortest_m(from, Pose::new(-to.at.x, to.at.y, -to.angle), 1.0),
                shortest_m(to, from, 1.0),
                shortest_m(from, Pose::new(2.0 * to.at.x, 2.0 * to.at.y, to.angle), 2.0) / 2.0,
            ] {
                prop_assert!((metres - other).abs() < 1e-6, "{metres} {other}");
            }
        }
    }

    /// No shorter way exists among ten thousand random ones of the same letters: the words are
    /// complete enough that a chain of random arcs never beats the optimum to its own end.
    #[test]
    fn random_ways_are_never_shorter() {
        let mut state = 88_172_645_463_325_252u64;
        let mut share = || {
            state ^= state << 13;
            state ^= state >> 7;
            state ^= state << 17;
            (state >> 11) as f64 / (1u64 << 53) as f64
        };
        let start = Pose::new(0.0, 0.0, 0.0);
        for _ in 0..10_000 {
            let letters: Vec<Letter> = (0..4)
                .map(|_| {
                    let bend = [Left, Straight, Right][(share() * 3.0) as usize];
                    (bend, 4.0 * share() - 2.0)
                })
                .collect();
            let pieces = Word::new(&letters).pieces(1.0).collect();
            let end = Path { start, pieces }.end();
            let found = shortest_m(start, end, 1.0);
            assert!(found <= length(&letters) + 1e-7, "{letters:?} {found}");
        }
    }

    #[test]
    fn reverse_letters_become_reverse_pieces() {
        let pieces: Vec<_> =
            Word::new(&[(Left, 1.0), (Straight, -2.0)]).pieces(3.0).map(|p| p.gear).collect();
        assert_eq!(pieces, [Gear::Forward, Gear::Reverse]);
    }
}
