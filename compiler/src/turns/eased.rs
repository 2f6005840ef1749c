//! Ways from and to poses beside a fence: on an arc of the turning radius the far end of the body would
//! swing over it.
//!
//! In: what is asked of a manoeuvre. Out: the quickest way found that leaves the fence, or comes up to
//! it, on a course whose curvature grows no faster than the body allows, with any way in closed form
//! between.
//!
//! A way that makes an angle `ψ` with a straight fence must keep `h cos ψ + f sin ψ` from it, `h` being
//! the body's half width and `f` its reach behind the way's direction. A way that keeps just that has
//! the radius `f cot ψ - h`: a tractrix, widened by the half width. (Own derivation.) It is followed by
//! arcs, each on the radius that the course has where the arc begins, the widest on it.

use super::{Manoeuvre, Task, candidates, lower_bound_s, shape_of};
use crate::geometry::{Gear, Path, Piece, Point, Pose};
use crate::num;

/// Straights before a course, in turning radii, in reverse where negative.
const STRAIGHTS: [f64; 9] = [0.0, 0.5, -0.5, 1.0, -1.0, 2.0, -2.0, 4.0, -4.0];
/// The angle up to which the room that lanes keep beside a fence allows an arc at once, radians.
const AT_ONCE: f64 = 0.03;
/// From one arc of a course to the next the angle grows by so much.
const GROWTH: f64 = 1.5;
/// The turn of an arc that fits where none of this is needed, radians.
const NEEDLESS: f64 = 0.3;
/// Ends farther apart are not joined so, in turning radii.
const FAR: f64 = 2000.0;

/// The quickest way found for ends of which at least one lies beside a fence.
pub fn eased(task: &Task<'_>) -> Option<Manoeuvre> {
    let drive = task.drive;
    let is_far = task.from.distance(&task.to) > FAR * drive.radius_m;
    if is_far || !drive.may_reverse || drive.radius_m <= 0.0 || drive.steered().is_some() {
        return None;
    }
    let (starts, ends) = (leads(task, task.from), leads(task, task.to));
    let mut pairs: Vec<Pair> = starts
        .iter()
        .flat_map(|start| ends.iter().map(move |end| (start, end.retraced())))
        .filter(|(start, end)| !start.pieces.is_empty() || !end.pieces.is_empty())
        .map(|(start, end)| {
            let around_s = drive.time_s(&start.pieces) + drive.time_s(&end.pieces);
            let at_least_s = around_s + lower_bound_s(drive, start.end(), end.start);
            Pair { start, end, around_s, at_least_s }
        })
        .collect();
    pairs.sort_by(|a, b| a.at_least_s.total_cmp(&b.at_least_s));
    let mut best: Option<Manoeuvre> = None;
    for pair in pairs {
        let best_s = best.as_ref().map_or(f64::INFINITY, Manoeuvre::cost_s);
        if pair.at_least_s >= best_s {
            break;
        }
        let between = Task { from: pair.start.end(), to: pair.end.start, ..*task };
        let found = between.best_of(between.direct(), best_s - pair.around_s);
        let joined = found.and_then(|found| joined(task, pair.start, &found.path, &pair.end));
        best = joined.filter(|way| way.cost_s() < best_s).or(best);
    }
    best
}

/// A course away from the first pose and one up to the last.
struct Pair<'a> {
    start: &'a Path,
    end: Path,
    /// Seconds of both.
    around_s: f64,
    /// No way with them takes less.
    at_least_s: f64,
}

fn joined(task: &Task<'_>, start: &Path, between: &Path, end: &Path) -> Option<Manoeuvre> {
    let pieces: Vec<Piece> = start.pieces.iter().chain(&between.pieces).chain(&end.pieces).copied().collect();
    let pieces = candidates::merged(pieces);
    let toll_s = task.toll.seconds(task.from, &pieces);
    let path = task.proven(pieces)?;
    let shape = shape_of(&path.pieces);
    Some(Manoeuvre::new(task.drive, path, shape, toll_s))
}

/// Courses away from a fence that begin at a pose, and the way that is none.
fn leads(task: &Task<'_>, pose: Pose) -> Vec<Path> {
    let radius_m = task.drive.radius_m;
    let body: Vec<_> = task.space.footprint().corners_at(Pose::new(0.0, 0.0, 0.0)).collect();
    let most = |of: fn(&Point) -> f64| body.iter().map(of).fold(0.0, f64::max);
    let (ahead, behind, half_width) = (most(|p| p.x), most(|p| -p.x), most(|p| p.y.abs()));
    let fits = |pieces: &[Piece]| task.space.admits(pose, pieces, task.need_m);
    let courses = [(Gear::Forward, behind), (Gear::Reverse, ahead)]
        .map(|(gear, trailing)| (gear, course(trailing, half_width, radius_m)));
    let mut leads = vec![Path::at(pose)];
    for straight in STRAIGHTS {
        let gear = if straight < 0.0 { Gear::Reverse } else { Gear::Forward };
        let straight = Some(Piece::straight(gear, straight.abs() * radius_m)).filter(|s| s.length > 0.0);
        for (gear, course) in &courses {
            for left in [1.0, -1.0] {
                let after = |arcs: &[(f64, f64)]| -> Vec<Piece> {
                    let arc = |&(turn, radius): &(f64, f64)| Piece::arc(*gear, turn * radius, left / radius);
                    straight.into_iter().chain(arcs.iter().map(arc)).collect()
                };
                let eased = after(course);
                if !fits(&after(&[(NEEDLESS, radius_m)])) && fits(&eased) {
                    leads.push(Path { start: pose, pieces: eased });
                }
            }
        }
    }
    leads
}

/// The arcs of a course away from a fence until it is as tight as the machine steers: the turn of each,
/// radians, and its radius, metres.
fn course(trailing_m: f64, half_width_m: f64, tightest_m: f64) -> Vec<(f64, f64)> {
    let mut arcs = vec![(AT_ONCE, tightest_m)];
    let mut angle = AT_ONCE;
    loop {
        let radius = trailing_m / num::tan(angle) - half_width_m;
        if radius <= tightest_m {
            return arcs;
        }
        arcs.push((angle * (GROWTH - 1.0), radius));
        angle *= GROWTH;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// The far end of the body swings beyond the fence line no more than on the first short arc, and
        /// where the course ends the machine may steer as it likes.
        #[test]
        fn a_body_leaves_the_fence_without_swinging_over_it(
            trailing in 0.5..3.0_f64, half_width in 0.8..2.0_f64, radius in 1.5..6.0_f64,
        ) {
            let beyond = |arcs: &[(f64, f64)]| {
                let pieces = arcs.iter().map(|&(turn, radius)| Piece::arc(Gear::Forward, turn * radius, 1.0 / radius));
                let path = Path { start: Pose::new(0.0, 0.0, 0.0), pieces: pieces.collect() };
                let poses = path.sampled(1e-4).poses;
                let side = poses.iter().map(|pose| -half_width - pose.ground(-trailing, half_width).y);
                side.fold(0.0, f64::max)
            };
            let course = course(trailing, half_width, radius);
            let turned: f64 = course.iter().map(|arc| arc.0).sum();
            let on = [&course[..], &[(0.6, radius)]].concat();
            let at_once = trailing * AT_ONCE;
            prop_assert!(beyond(&on) <= at_once, "{} of {at_once}", beyond(&on));
            if course.len() > 1 {
                prop_assert!(beyond(&[(turned, radius)]) > beyond(&course), "{course:?}");
            }
        }
    }
}
