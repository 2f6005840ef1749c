//! Shorter ways from a way that was found by search.
//!
//! In: a proven way. Out: a proven way that takes no longer. Between any two poses on it the
//! closed forms are tried, the farthest apart first, until a whole pass gains nothing.

use super::Task;
use super::candidates::{self, merged};
use crate::geometry::{Gear, Path, Piece, Pose};

/// Passes over the way at most.
const PASSES: usize = 6;
/// Poses that shortcuts begin and end at, at most.
const POSTS: usize = 40;
/// A pass that gains less ends the work, seconds.
const GAIN_S: f64 = 0.01;

/// A way that takes no longer.
pub fn shorten(task: &Task<'_>, pieces: Vec<Piece>) -> Vec<Piece> {
    let mut best = pieces;
    for _ in 0..PASSES {
        let before_s = task.drive.time_s(&best);
        best = one_pass(task, best);
        if task.drive.time_s(&best) > before_s - GAIN_S {
            break;
        }
    }
    best
}

fn one_pass(task: &Task<'_>, mut pieces: Vec<Piece>) -> Vec<Piece> {
    let mut first = 0;
    loop {
        let parts = cut(task, &pieces);
        if first >= parts.len() {
            return pieces;
        }
        let shorter = (first + 1..=parts.len()).rev().find_map(|last| shortcut(task, &parts, first, last));
        match shorter {
            Some((head, tail)) => {
                pieces = merged(head.into_iter().chain(tail));
                first += 1;
            }
            None => first += 1,
        }
    }
}

/// The way cut into parts no longer than a share of it, turns on the spot whole, and so what is bent
/// where a way must not begin with the wheels turned.
fn cut(task: &Task<'_>, pieces: &[Piece]) -> Vec<(Pose, Piece)> {
    let path = Path { start: task.from, pieces: pieces.to_vec() };
    let longest = path.length() / POSTS as f64;
    let longest = longest.max(0.25 * task.drive.radius_m).max(0.5);
    let mut parts = Vec::new();
    for (start, piece) in path.steps() {
        if piece.gear == Gear::Spot || (task.drive.sharpness.is_some() && piece.sharpest() > 0.0) {
            parts.push((start, *piece));
            continue;
        }
        let count = (piece.length / longest).ceil().max(1.0);
        let share = piece.length / count;
        for part in 0..count as u32 {
            let from = share * f64::from(part);
            parts.push((piece.pose_after(start, from), piece.between(from, from + share)));
        }
    }
    parts
}

/// The way with its parts from `first` to before `last` replaced by a quicker closed form, as
/// what leads to the end of the replacement and what follows.
fn shortcut(
    task: &Task<'_>,
    parts: &[(Pose, Piece)],
    first: usize,
    last: usize,
) -> Option<(Vec<Piece>, Vec<Piece>)> {
    /// Candidates tried between two poses.
    const MOST: usize = 6;
    let wheels_turned = |part: Option<&(Pose, Piece)>| {
        task.drive.sharpness.is_some() && part.is_some_and(|(_, piece)| piece.curvature_start != 0.0)
    };
    if wheels_turned(parts.get(first)) || wheels_turned(parts.get(last)) {
        return None;
    }
    let whole_s = task.drive.time_s(parts.iter().map(|part| &part.1));
    let start = parts[first].0;
    let goal = parts.get(last).map_or(task.to, |part| part.0);
    let replaced: Vec<Piece> = parts[first..last].iter().map(|part| part.1).collect();
    let toll_now_s = task.toll.seconds(start, &replaced);
    let now_s = task.drive.time_s(&replaced) + toll_now_s;
    let slack_s = 2.0 * task.drive.gear_change_s;
    if candidates::lower_bound_s(task.drive, start, goal) > now_s + slack_s - GAIN_S {
        return None;
    }
    let mut found = Vec::new();
    candidates::add(&mut found, task.drive, (start, 0.0), (goal, 0.0), now_s + slack_s);
    found.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    found.iter().take(MOST).find_map(|candidate| {
        let middle = candidate.pieces(task.drive, start, goal)?;
        let head = || parts[..first].iter().map(|part| part.1);
        let tail = || parts[last..].iter().map(|part| part.1);
        let all: Vec<Piece> = head().chain(middle.iter().copied()).chain(tail()).collect();
        let toll_s = task.toll.seconds(start, &middle) - toll_now_s;
        let quicker = task.drive.time_s(&all) + toll_s < whole_s - GAIN_S;
        (quicker && task.space.admits(start, &middle, task.need_m))
            .then(|| (head().chain(middle).collect(), tail().collect()))
    })
}
