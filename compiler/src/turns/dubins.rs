//! Forward-only ways between two poses with bounded curvature: the six words of Dubins.
//!
//! Method: L. E. Dubins, "On curves of minimal length with a constraint on average curvature",
//! *American Journal of Mathematics* 79 (1957), which shows that the shortest is one of six
//! words; closed forms of all six after A. M. Shkel and V. Lumelsky, "Classification of the
//! Dubins set", *Robotics and Autonomous Systems* 34 (2001). The omega turn between lanes closer
//! than two radii is the word `LRL` or `RLR`, the U turn between lanes farther apart `LSL` or
//! `RSR`. It knows no fence: every word comes out, not only the shortest.

use super::word::{Bend, Letter, Relative, forward_arc as arc, length};
use crate::num;
use Bend::{Left, Right, Straight};

/// Calls `each` with the letters of every word that joins the two poses.
pub fn words(goal: Relative, mut each: impl FnMut(&[Letter])) {
    let distance = num::hypot(goal.x, goal.y);
    let bearing = if distance > 0.0 { num::atan2(goal.y, goal.x) } else { 0.0 };
    let set = Set::new(distance, -bearing, goal.angle - bearing);
    let solutions = [
        ([Left, Straight, Left], Some(set.lsl())),
        ([Right, Straight, Right], Some(set.rsr())),
        ([Left, Straight, Right], set.lsr()),
        ([Right, Straight, Left], set.rsl()),
        ([Right, Left, Right], set.rlr()),
        ([Left, Right, Left], set.lrl()),
    ];
    for (bends, solution) in solutions {
        if let Some([first, middle, last]) = solution {
            each(&[(bends[0], first), (bends[1], middle), (bends[2], last)]);
        }
    }
}

/// The length of the shortest, in turning radii.
pub fn shortest(goal: Relative) -> f64 {
    let mut best = f64::INFINITY;
    words(goal, |letters| best = best.min(length(letters)));
    best
}

/// Shkel and Lumelsky's variables: the distance `d`, the angles α at the start and β at the goal
/// against the line between them, and their sines and cosines.
struct Set {
    d: f64,
    alpha: f64,
    beta: f64,
    sin_a: f64,
    cos_a: f64,
    sin_b: f64,
    cos_b: f64,
    cos_ab: f64,
}

type Lengths = Option<[f64; 3]>;

impl Set {
    fn new(d: f64, alpha: f64, beta: f64) -> Self {
        let (sin_a, cos_a) = num::sin_cos(alpha);
        let (sin_b, cos_b) = num::sin_cos(beta);
        let cos_ab = cos_a * cos_b + sin_a * sin_b;
        Self { d, alpha, beta, sin_a, cos_a, sin_b, cos_b, cos_ab }
    }

    fn lsl(&self) -> [f64; 3] {
        let square = 2.0 + self.d * self.d - 2.0 * self.cos_ab + 2.0 * self.d * (self.sin_a - self.sin_b);
        let tangent = num::atan2(self.cos_b - self.cos_a, self.d + self.sin_a - self.sin_b);
        [arc(tangent - self.alpha), num::sqrt(square.max(0.0)), arc(self.beta - tangent)]
    }

    fn rsr(&self) -> [f64; 3] {
        let square = 2.0 + self.d * self.d - 2.0 * self.cos_ab + 2.0 * self.d * (self.sin_b - self.sin_a);
        let tangent = num::atan2(self.cos_a - self.cos_b, self.d - self.sin_a + self.sin_b);
        [arc(self.alpha - tangent), num::sqrt(square.max(0.0)), arc(tangent - self.beta)]
    }

    fn lsr(&self) -> Lengths {
        let square = self.d * self.d - 2.0 + 2.0 * self.cos_ab + 2.0 * self.d * (self.sin_a + self.sin_b);
        let middle = root(square)?;
        let tangent =
            num::atan2(-self.cos_a - self.cos_b, self.d + self.sin_a + self.sin_b) - num::atan2(-2.0, middle);
        Some([arc(tangent - self.alpha), middle, arc(tangent - self.beta)])
    }

    fn rsl(&self) -> Lengths {
        let square = self.d * self.d - 2.0 + 2.0 * self.cos_ab - 2.0 * self.d * (self.sin_a + self.sin_b);
        let middle = root(square)?;
        let tangent =
            num::atan2(self.cos_a + self.cos_b, self.d - self.sin_a - self.sin_b) - num::atan2(2.0, middle);
        Some([arc(self.alpha - tangent), middle, arc(self.beta - tangent)])
    }

    fn rlr(&self) -> Lengths {
        let cosine =
            (6.0 - self.d * self.d + 2.0 * self.cos_ab + 2.0 * self.d * (self.sin_a - self.sin_b)) / 8.0;
        let middle = 2.0 * num::PI - angle_of(cosine)?;
        let tangent = num::atan2(self.cos_a - self.cos_b, self.d - self.sin_a + self.sin_b);
        let first = arc(self.alpha - tangent + 0.5 * middle);
        Some([first, middle, arc(self.alpha - self.beta - first + middle)])
    }

    fn lrl(&self) -> Lengths {
        let cosine =
            (6.0 - self.d * self.d + 2.0 * self.cos_ab + 2.0 * self.d * (self.sin_b - self.sin_a)) / 8.0;
        let middle = 2.0 * num::PI - angle_of(cosine)?;
        let tangent = num::atan2(self.cos_b - self.cos_a, self.d + self.sin_a - self.sin_b);
        let first = arc(tangent - self.alpha + 0.5 * middle);
        Some([first, middle, arc(self.beta - self.alpha - first + middle)])
    }
}

/// Tolerance of the existence conditions, so that touching circles count as touching.
const ROUNDING: f64 = 1e-12;

fn root(square: f64) -> Option<f64> {
    (square >= -ROUNDING).then(|| num::sqrt(square.max(0.0)))
}

fn angle_of(cosine: f64) -> Option<f64> {
    (cosine.abs() <= 1.0 + ROUNDING).then(|| num::acos(cosine.clamp(-1.0, 1.0)))
}

#[cfg(test)]
mod tests {
    use super::super::word::Word;
    use super::*;
    use crate::geometry::{Path, Pose};
    use proptest::prelude::*;

    fn shortest_m(from: Pose, to: Pose, radius: f64) -> f64 {
        shortest(Relative::between(from, to, radius)) * radius
    }

    /// The length in metres of the word with these bends.
    fn word_m(from: Pose, to: Pose, radius: f64, bends: [Bend; 3]) -> f64 {
        let mut found = f64::INFINITY;
        words(Relative::between(from, to, radius), |letters| {
            if letters.iter().map(|l| l.0).eq(bends) {
                found = length(letters) * radius;
            }
        });
        found
    }

    fn opposite_lanes(width: f64) -> (Pose, Pose) {
        (Pose::new(0.0, 0.0, num::PI / 2.0), Pose::new(width, 0.0, -num::PI / 2.0))
    }

    /// U turn: (π − 2) r + w for w ≥ 2r; omega: r (3π − 4 asin((2r + w) / 4r)) below. D. Bochtis
    /// and S. Vougioukas, "Minimising the non-working distance travelled by machines operating in
    /// a headland field pattern", *Biosystems Engineering* 101 (2008); the formulas as derived
    /// again from the word's geometry.
    #[test]
    fn turns_between_opposite_lanes_have_their_published_lengths() {
        for (radius, width) in [(1.0, 2.0), (1.0, 3.0), (4.5, 9.0), (4.5, 12.0), (2.5, 40.0)] {
            let (from, to) = opposite_lanes(width);
            let formula = (num::PI - 2.0) * radius + width;
            assert!((shortest_m(from, to, radius) - formula).abs() < 1e-9);
        }
        for (radius, width) in [(1.0, 1e-9), (1.0, 0.5), (1.0, 1.5), (4.5, 3.0), (4.5, 6.0)] {
            let (from, to) = opposite_lanes(width);
            let quarter = num::asin((2.0 * radius + width) / (4.0 * radius));
            let formula = radius * (3.0 * num::PI - 4.0 * quarter);
            assert!((shortest_m(from, to, radius) - formula).abs() < 1e-9);
        }
    }

    /// Numbers of the same formulas, worked out with two independent programs to 1e-6.
    #[test]
    fn turns_between_opposite_lanes_have_these_numbers() {
        for (radius, width, metres) in [
            (1.0, 1e-9, 7.330_383),
            (1.0, 0.5, 6.724_252),
            (1.0, 1.0, 6.032_530),
            (1.0, 1.5, 5.163_035),
            (1.0, 2.0, num::PI),
            (1.0, 3.0, 4.141_593),
            (4.5, 3.0, 29.276_403),
            (4.5, 6.0, 24.679_507),
            (4.5, 9.0, 14.137_167),
            (4.5, 12.0, 17.137_167),
        ] {
            let (from, to) = opposite_lanes(width);
            let found = shortest_m(from, to, radius);
            assert!((found - metres).abs() < 1e-6, "r {radius} w {width}: {found}");
        }
    }

    /// Depth of the omega turn beyond the lane ends: r + √(4r² − (r + w/2)²); it hangs over by
    /// r − w/2 on each side. Derived from the three touching circles.
    #[test]
    fn omega_turn_is_as_deep_and_wide_as_its_three_circles() {
        for (radius, width, depth) in
            [(1.0f64, 0.5, 2.5612), (1.0, 1.0, 2.3229), (4.5, 3.0, 11.2082), (4.5, 6.0, 9.4749)]
        {
            let (from, to) = opposite_lanes(width);
            let mut best: Option<Word> = None;
            words(Relative::between(from, to, radius), |letters| {
                if best.is_none_or(|word| length(letters) < length(word.letters())) {
                    best = Some(Word::new(letters));
                }
            });
            let pieces = best.map(|word| word.pieces(radius).collect()).unwrap_or_default();
            let poses = Path { start: from, pieces }.sampled(1e-6).poses;
            let deepest = poses.iter().fold(0.0f64, |far, pose| far.max(pose.at.y));
            let leftmost = poses.iter().fold(0.0f64, |far, pose| far.min(pose.at.x));
            assert!((deepest - depth).abs() < 1e-4, "{deepest}");
            assert!((leftmost + radius - 0.5 * width).abs() < 1e-4, "{leftmost}");
        }
    }

    /// First value: the test file of the Julia package Dubins.jl (test1.jl). The others were
    /// derived from the closed forms and their end poses integrated.
    #[test]
    fn general_poses_have_their_known_lengths() {
        let start = Pose::new(0.0, 0.0, 0.0);
        let found = shortest_m(start, Pose::new(5.0, 0.0, 3.0), 1.0);
        assert!((found - 8.272_519).abs() < 1e-6, "{found}");

        let corner = Pose::new(4.0, 4.0, num::PI / 2.0);
        for (bends, metres) in [
            ([Left, Straight, Left], 5.813_437),
            ([Right, Straight, Right], 18.0666),
            ([Left, Straight, Right], 11.9707),
            ([Right, Straight, Left], 11.9707),
        ] {
            let found = word_m(start, corner, 1.0, bends);
            assert!((found - metres).abs() < 1e-4, "{bends:?} {found}");
        }
        let about = shortest_m(start, Pose::new(0.0, 0.0, num::PI), 1.0);
        assert!((about - 7.0 * num::PI / 3.0).abs() < 1e-9, "{about}");
        let quarter = num::PI / 4.0;
        let across = shortest_m(Pose::new(1.0, 1.0, quarter), Pose::new(-3.0, -3.0, -quarter), 1.0);
        assert!((across - 9.475_402).abs() < 1e-6, "{across}");
    }

    proptest! {
        #[test]
        fn every_word_drives_to_the_goal(x in -12.0..12.0f64, y in -12.0..12.0f64,
                                         angle in -3.2..3.2f64, radius in 0.5..6.0f64) {
            let (from, to) = (Pose::new(3.0, -2.0, 0.7), Pose::new(x, y, angle));
            let mut found = 0;
            words(Relative::between(from, to, radius), |letters| {
                let pieces = Word::new(letters).pieces(radius).collect();
                let end = Path { start: from, pieces }.end();
                assert!(end.distance(&to) < 1e-6 && end.turn_to(&to).abs() < 1e-6, "{letters:?}");
                found += 1;
            });
            prop_assert!(found >= 2);
        }

        #[test]
        fn length_is_no_less_than_the_crow_flies_and_ignores_mirror_reversal_and_scale(
            x in -6.0..6.0f64, y in -6.0..6.0f64, angle in -3.0..3.0f64
        ) {
            let (from, to) = (Pose::new(0.0, 0.0, 0.0), Pose::new(x, y, angle));
            let metres = shortest_m(from, to, 1.0);
            prop_assert!(metres >= num::hypot(x, y) - 1e-9);
            let mirrored = shortest_m(from, Pose::new(x, -y, -angle), 1.0);
            prop_assert!((metres - mirrored).abs() < 1e-8);
            let back = shortest_m(to.turned_round(), from.turned_round(), 1.0);
            prop_assert!((metres - back).abs() < 1e-8);
            let large = shortest_m(from, Pose::new(3.0 * x, 3.0 * y, angle), 3.0);
            prop_assert!((3.0 * metres - large).abs() < 1e-8);
        }
    }
}
