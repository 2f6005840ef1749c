//! Ways of a machine that turns about its own reference point: turn, drive straight, turn.
//!
//! Each turn comes out in both directions, since the short way round may sweep the tool bar over
//! the fence, and the straight nose first and tail first. Among ways of straight lines with turns
//! on the spot one of these is the quickest in the open: the driven directions must enclose the
//! bearing of the goal, so no detour saves turning. It knows no fence.

use crate::geometry::{Gear, Piece, Pose};
use crate::num;

/// Closer than this, the goal is the same place, metres.
const SAME_PLACE_M: f64 = 1e-9;

/// Every turn–straight–turn from one pose to the other, nose first before tail first.
pub fn ways(from: Pose, to: Pose) -> Vec<Vec<Piece>> {
    let distance = from.distance(&to);
    if distance < SAME_PLACE_M {
        return both_turns(from.turn_to(&to)).into_iter().map(|turn| spot(turn).collect()).collect();
    }
    let bearing = num::atan2(to.at.y - from.at.y, to.at.x - from.at.x);
    let mut found = Vec::new();
    for (gear, driven) in [(Gear::Forward, bearing), (Gear::Reverse, bearing + num::PI)] {
        for first in both_turns(num::wrap_angle(driven - from.angle)) {
            for last in both_turns(num::wrap_angle(to.angle - driven)) {
                let straight = std::iter::once(Piece::straight(gear, distance));
                found.push(spot(first).chain(straight).chain(spot(last)).collect());
            }
        }
    }
    found
}

/// The least turning, radians, with the straight nose first, and with it tail first; and the
/// length of the straight.
pub fn least_turning(from: Pose, to: Pose) -> ([f64; 2], f64) {
    let distance = from.distance(&to);
    if distance < SAME_PLACE_M {
        return ([from.turn_to(&to).abs(); 2], 0.0);
    }
    let bearing = num::atan2(to.at.y - from.at.y, to.at.x - from.at.x);
    let turning =
        |driven: f64| num::wrap_angle(driven - from.angle).abs() + num::wrap_angle(to.angle - driven).abs();
    ([turning(bearing), turning(bearing + num::PI)], distance)
}

/// The short way round, then the long way; only one where there is nothing to turn.
fn both_turns(turn: f64) -> Vec<f64> {
    if turn.abs() < 1e-10 { vec![0.0] } else { vec![turn, turn - turn.signum() * 2.0 * num::PI] }
}

fn spot(turn: f64) -> impl Iterator<Item = Piece> {
    (turn != 0.0).then(|| Piece::spot(turn)).into_iter()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Path;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn every_way_drives_to_the_goal(x in -9.0..9.0f64, y in -9.0..9.0f64, a in -3.2..3.2f64) {
            let (from, to) = (Pose::new(1.0, 2.0, 0.3), Pose::new(x, y, a));
            let ways = ways(from, to);
            prop_assert_eq!(ways.len(), 8);
            for pieces in ways {
                let end = Path { start: from, pieces }.end();
                prop_assert!(end.distance(&to) < 1e-6 && end.turn_to(&to).abs() < 1e-6);
            }
        }

        #[test]
        fn least_turning_is_the_least_of_the_ways(x in -9.0..9.0f64, y in -9.0..9.0f64, a in -3.2..3.2f64) {
            let (from, to) = (Pose::new(1.0, 2.0, 0.3), Pose::new(x, y, a));
            let turning = |pieces: &Vec<Piece>| -> f64 {
                pieces.iter().filter(|p| p.gear == Gear::Spot).map(|p| p.length.abs()).sum()
            };
            let least = ways(from, to).iter().map(turning).fold(f64::INFINITY, f64::min);
            let (bounds, _) = least_turning(from, to);
            prop_assert!((bounds[0].min(bounds[1]) - least).abs() < 1e-9);
        }
    }

    #[test]
    fn turning_about_at_one_place_is_half_a_turn_either_way() {
        let pose = Pose::new(4.0, 4.0, 0.5);
        let turns: Vec<f64> = ways(pose, pose.turned_round()).iter().map(|pieces| pieces[0].length).collect();
        assert_eq!(turns.len(), 2);
        assert!(turns.iter().all(|turn| (turn.abs() - num::PI).abs() < 1e-12));
    }
}
