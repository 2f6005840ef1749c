//! The fishtail turn and its kin: an arc, a straight in the other gear, an arc.
//!
//! It is never the shortest way, so it is none of Reeds and Shepp's words, but it needs the least
//! depth beyond the lane ends: one radius. Method: the straight is a tangent of the start's and
//! the goal's turning circle, as in the words `CSC`, but runs against the arcs. Common practice
//! on narrow headlands; named among the headland turns by D. Bochtis and S. Vougioukas,
//! *Biosystems Engineering* 101 (2008). It knows no fence.

use super::word::{Bend, Letter, Relative, Symmetry, forward_arc as arc};
use crate::num;
use Bend::{Left, Right, Straight};

/// Calls `each` with the letters of every such word that joins the two poses.
pub fn words(goal: Relative, mut each: impl FnMut(&[Letter])) {
    for symmetry in Symmetry::ALL {
        let seen = symmetry.seen(goal);
        for letters in [Some(same_side(seen)), other_side(seen)].into_iter().flatten() {
            each(&letters.map(|letter| symmetry.undone(letter)));
        }
    }
}

/// Both arcs to the left: `L+S-L+`.
fn same_side(goal: Relative) -> [Letter; 3] {
    let (sin, cos) = num::sin_cos(goal.angle);
    let (x, y) = (goal.x - sin, goal.y - 1.0 + cos);
    let driven = num::atan2(-y, -x);
    [(Left, arc(driven)), (Straight, -num::hypot(x, y)), (Left, arc(goal.angle - driven))]
}

/// To the left, then to the right: `L+S-R+`.
fn other_side(goal: Relative) -> Option<[Letter; 3]> {
    let (sin, cos) = num::sin_cos(goal.angle);
    let (x, y) = (goal.x + sin, goal.y - 1.0 - cos);
    let square = x * x + y * y - 4.0;
    if square < 0.0 {
        return None;
    }
    let straight = num::sqrt(square);
    let driven = num::atan2(y, x) - num::atan2(-2.0, -straight);
    Some([(Left, arc(driven)), (Straight, -straight), (Right, arc(driven - goal.angle))])
}

#[cfg(test)]
mod tests {
    use super::super::word::{Word, length};
    use super::*;
    use crate::geometry::{Path, Pose};
    use proptest::prelude::*;

    /// A quarter turn, 2r − w in reverse, a quarter turn: (π + 2) r − w, one radius deep, for
    /// w < 2r. Derived from its two quarter circles.
    #[test]
    fn between_opposite_lanes_it_is_two_quarter_turns_one_radius_deep() {
        for (radius, width, metres) in
            [(1.0, 0.5, 4.6416), (1.0, 1.0, 4.1416), (4.5, 3.0, 20.1372), (4.5, 6.0, 17.1372)]
        {
            let from = Pose::new(0.0, 0.0, num::PI / 2.0);
            let to = Pose::new(width, 0.0, -num::PI / 2.0);
            let mut turns = Vec::new();
            words(Relative::between(from, to, radius), |letters| {
                if letters[0].0 == Right && letters[2].0 == Right && letters[0].1 > 0.0 {
                    turns.push(Word::new(letters));
                }
            });
            assert_eq!(turns.len(), 1);
            let found = length(turns[0].letters()) * radius;
            assert!((found - metres).abs() < 1e-4, "{found}");
            let path = Path { start: from, pieces: turns[0].pieces(radius).collect() };
            let depth = path.sampled(1e-6).poses.iter().fold(0.0f64, |far, p| far.max(p.at.y));
            assert!((depth - radius).abs() < 1e-5, "{depth}");
        }
    }

    proptest! {
        #[test]
        fn every_word_drives_to_the_goal(x in -9.0..9.0f64, y in -9.0..9.0f64, a in -3.2..3.2f64,
                                         radius in 0.5..6.0f64) {
            let (from, to) = (Pose::new(1.0, -2.0, 0.7), Pose::new(x, y, a));
            let mut count = 0;
            words(Relative::between(from, to, radius), |letters| {
                let pieces = Word::new(letters).pieces(radius).collect();
                let end = Path { start: from, pieces }.end();
                assert!(end.distance(&to) < 1e-6 && end.turn_to(&to).abs() < 1e-6, "{letters:?}");
                count += 1;
            });
            prop_assert!(count >= 4);
        }
    }
}
