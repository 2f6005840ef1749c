//! The way of a tool row while the machine's reference point follows a path.
//!
//! In: a path and a point fixed to the body. Out: the way of that point, exactly: a rigid body
//! turns about one centre, so a straight piece stays straight and an arc becomes an arc about the
//! same centre with the point's own radius. A point ahead of or behind the reference point meets
//! the joints of such pieces at an angle; the way holds a turn on the spot there. A clothoid is
//! first cut into arcs that leave it by less than a micrometre.

use crate::geometry::{Gear, Path, Piece, Pose};
use crate::num;

/// Turns and joints smaller than this, radians, are none.
const NO_TURN: f64 = 1e-12;
/// Below this radius, metres, the point is the centre and stands still.
const NO_RADIUS_M: f64 = 1e-9;
/// How far arcs may leave a clothoid, metres.
const CLOTHOID_TOLERANCE_M: f64 = 1e-6;

/// The way of the body's point at `forward`, `right` metres from the reference point.
pub fn course_of(line: &Path, forward: f64, right: f64) -> Path {
    let start = Pose { at: line.start.ground(forward, right), angle: line.start.angle };
    let mut course = Path { start, pieces: Vec::with_capacity(line.pieces.len()) };
    let mut angle = None;
    for (pose, piece) in line.steps() {
        let arcs = arcs_of(piece);
        let share = piece.length / f64::from(arcs);
        for arc in 0..arcs {
            let from = share * f64::from(arc);
            let part = middle_arc(piece, from, from + share);
            let Some((heading, image)) = image(piece.pose_after(pose, from), &part, forward, right) else {
                continue;
            };
            match angle {
                None => course.start.angle = heading,
                Some(before) => {
                    let kink = num::wrap_angle(heading - before);
                    if kink.abs() > NO_TURN {
                        course.pieces.push(Piece::spot(kink));
                    }
                }
            }
            angle = Some(num::wrap_angle(heading + image.turn()));
            course.pieces.push(image);
        }
    }
    course
}

/// The direction in which the point sets out, and its own piece.
fn image(pose: Pose, piece: &Piece, forward: f64, right: f64) -> Option<(f64, Piece)> {
    let turn = piece.turn();
    if piece.gear != Gear::Spot && turn.abs() <= NO_TURN {
        let heading = if piece.gear == Gear::Reverse { pose.angle + num::PI } else { pose.angle };
        return Some((num::wrap_angle(heading), Piece::straight(Gear::Forward, piece.length)));
    }
    let centre_left = if piece.gear == Gear::Spot { 0.0 } else { 1.0 / piece.curvature_start };
    let left = -right - centre_left;
    let radius = num::hypot(forward, left);
    if radius < NO_RADIUS_M || turn == 0.0 {
        return None;
    }
    let heading = pose.angle + num::atan2(left, forward) + turn.signum() * num::PI / 2.0;
    Some((num::wrap_angle(heading), Piece::arc(Gear::Forward, radius * turn.abs(), turn.signum() / radius)))
}

fn arcs_of(piece: &Piece) -> u32 {
    let change = (piece.curvature_end - piece.curvature_start).abs();
    if piece.gear == Gear::Spot || change <= f64::EPSILON {
        return 1;
    }
    let cube = change * piece.length * piece.length / CLOTHOID_TOLERANCE_M;
    num::sqrt(cube).ceil().max(1.0) as u32
}

fn middle_arc(piece: &Piece, from: f64, to: f64) -> Piece {
    if piece.gear == Gear::Spot {
        return *piece;
    }
    let part = piece.between(from, to);
    Piece::arc(part.gear, part.length, 0.5 * (part.curvature_start + part.curvature_end))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn any_line() -> impl Strategy<Value = Path> {
        let piece = (0.1..30.0_f64, prop_oneof![Just(0.0), 0.02..0.4_f64, -0.4..-0.02_f64])
            .prop_map(|(length, curvature)| Piece::arc(Gear::Forward, length.min(6.0), curvature));
        let angle = -3.0..3.0_f64;
        (angle, prop::collection::vec(piece, 1..6))
            .prop_map(|(angle, pieces)| Path { start: Pose::new(3.0, -7.0, angle), pieces })
    }

    proptest! {
        /// Against the rigid body itself: the point's distance along its way is summed from short
        /// chords, and there the way must be where the body carries the point.
        #[test]
        fn the_way_is_where_the_body_carries_the_point(
            line in any_line(), forward in -2.0..2.0_f64, right in -3.0..3.0_f64,
        ) {
            let course = course_of(&line, forward, right);
            let mut travelled = 0.0;
            for (start, piece) in line.steps() {
                let mut before = start.ground(forward, right);
                for step in 1..=800 {
                    let pose = piece.pose_after(start, piece.length * f64::from(step) / 800.0);
                    let carried = pose.ground(forward, right);
                    travelled += num::hypot(carried.x - before.x, carried.y - before.y);
                    before = carried;
                    let found = course.pose_at(travelled).at;
                    prop_assert!(num::hypot(found.x - carried.x, found.y - carried.y) < 1e-4);
                }
            }
            prop_assert!((course.length() - travelled).abs() < 1e-4);
            let (end, carried) = (course.end().at, line.end().ground(forward, right));
            prop_assert!(num::hypot(end.x - carried.x, end.y - carried.y) < 1e-9);
        }
    }

    #[test]
    fn an_arc_becomes_an_arc_about_the_same_centre() {
        let line =
            Path { start: Pose::new(0.0, 0.0, 0.0), pieces: vec![Piece::arc(Gear::Forward, 3.0, 0.25)] };
        let course = course_of(&line, -1.2, 1.0);
        let radius = (5.0_f64 * 5.0 + 1.2 * 1.2).sqrt();
        assert_eq!(course.pieces.len(), 1);
        assert!((course.pieces[0].curvature_start - 1.0 / radius).abs() < 1e-12);
        assert!((course.length() - 0.75 * radius).abs() < 1e-12);
    }

    #[test]
    fn a_clothoid_is_followed_to_a_micrometre() {
        let easing = Piece { gear: Gear::Forward, length: 4.0, curvature_start: 0.0, curvature_end: 0.3 };
        let line = Path { start: Pose::new(1.0, 2.0, 0.4), pieces: vec![easing] };
        let (end, carried) = (course_of(&line, -1.0, 0.7).end().at, line.end().ground(-1.0, 0.7));
        assert!(num::hypot(end.x - carried.x, end.y - carried.y) < 1e-5);
    }
}
