//! A way for a machine that turns on the spot, along places with room to turn.
//!
//! In: one manoeuvre's task. Out: pieces that first drive straight to a place with room, then from
//! place to place with turns on the spot, and at last straight to the goal; nothing where there is
//! no such way. Shortening it is left to what follows.
//!
//! Method: the distance map over cells at whose every point the machine can turn about, walked
//! downhill. Between neighbouring cells every pose is free whatever its heading.

use super::super::Task;
use super::super::candidates::merged;
use super::distance::DistanceMap;
use crate::geometry::{Gear, Piece, Point, Pose};
use crate::num;

/// Pieces to the goal along places with room to turn.
pub fn guided(task: &Task<'_>) -> Option<Vec<Piece>> {
    let room_m = task.space.footprint().reach() + task.need_m;
    let has_room = |centre: Point, half_diagonal_m: f64| {
        let wanted = room_m + half_diagonal_m;
        task.space.signed_distance(centre, wanted) >= wanted
    };
    // So much that the cell in which the pose lies has room too.
    let roomy = |pose: Pose| has_room(pose.at, 2.0 * DistanceMap::HALF_DIAGONAL_M);
    let leave_m = straight_to_room(task, task.from, 1.0, roomy)?;
    let reach_m = straight_to_room(task, task.to, -1.0, roomy)?;
    let (start, goal) = (task.from.advanced(leave_m), task.to.advanced(-reach_m));
    let map = DistanceMap::new(task.space.bounds(), start.at, goal.at, has_room)?;
    let mut stops = map.downhill(start.at);
    stops.push(goal.at);
    let mut pieces = vec![signed_straight(leave_m)];
    let mut pose = start;
    for stop in stops {
        let (east, north) = (stop.x - pose.at.x, stop.y - pose.at.y);
        let metres = num::hypot(east, north);
        if metres > 1e-9 {
            let driven = Pose { angle: num::atan2(north, east), ..pose };
            pieces.push(Piece::spot(pose.turn_to(&driven)));
            pieces.push(Piece::straight(Gear::Forward, metres));
            pose = Pose { at: stop, ..driven };
        }
    }
    pieces.push(Piece::spot(pose.turn_to(&goal)));
    pieces.push(signed_straight(reach_m));
    let pieces = merged(pieces);
    task.space.admits(task.from, &pieces, task.need_m).then_some(pieces)
}

/// The shortest free straight from a pose along `sense` that ends where there is room, or against
/// it where the machine may reverse; its signed length along `sense`.
fn straight_to_room(task: &Task<'_>, pose: Pose, sense: f64, roomy: impl Fn(Pose) -> bool) -> Option<f64> {
    /// Metres between places that are looked at.
    const STEP_M: f64 = 0.25;
    /// Places looked at on either side.
    const MOST: u32 = 200;
    let sides = if task.drive.may_reverse { &[1.0, -1.0][..] } else { &[1.0][..] };
    let nearest = |side: f64| {
        let lengths = (0..MOST).map(|count| side * STEP_M * f64::from(count));
        let length = lengths.into_iter().find(|&m| roomy(pose.advanced(sense * m)))?;
        let way = [signed_straight(sense * length)];
        task.space.admits(pose, &way, task.need_m).then_some(length)
    };
    let lengths = sides.iter().filter_map(|&side| nearest(side));
    lengths.min_by(|a, b| a.abs().total_cmp(&b.abs()))
}

fn signed_straight(metres: f64) -> Piece {
    Piece::straight(if metres < 0.0 { Gear::Reverse } else { Gear::Forward }, metres.abs())
}
