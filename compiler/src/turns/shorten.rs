//! Shorter ways from a way that was found by search.
//!
//! In: a proven way. Out: a proven way that takes no longer. Between any two poses on it the
//! closed forms are tried, the farthest apart first, until a whole pass gains nothing.

use super::Task;
use super::candidates::{self, merged};
use crate::geometry::{Gear, Path, Piece, Pose};
use std::collections::BTreeSet;

/// Poses that shortcuts begin and end at, about so many in each pass over the way, and passes at most: first few
/// poses, between which most of a detour goes.
const POSTS: [(usize, usize); 3] = [(10, 1), (20, 1), (40, 5)];
/// What gains less is not worth it, seconds.
const GAIN_S: f64 = 0.01;

/// A way that takes no longer.
pub fn shorten(task: &Task<'_>, pieces: Vec<Piece>) -> Vec<Piece> {
    let mut best = pieces;
    let mut refused = Refused::default();
    for (posts, passes) in POSTS {
        let longest_m = longest_part_m(task, &best, posts);
        for _ in 0..passes {
            let before_s = task.drive.cost_s(&best);
            best = one_pass(task, best, longest_m, &mut refused);
            if task.drive.cost_s(&best) > before_s - GAIN_S {
                break;
            }
        }
    }
    best
}

fn one_pass(task: &Task<'_>, mut pieces: Vec<Piece>, longest_m: f64, refused: &mut Refused) -> Vec<Piece> {
    let mut parts = cut(task, &pieces, longest_m);
    let mut first = 0;
    while first < parts.len() {
        let shorter = (first + 1..=parts.len()).rev().find_map(|last| {
            let ends = ends(task, &parts, first, last);
            if refused.contains(ends) {
                return None;
            }
            let shorter = shortcut(task, &parts, first, last);
            if shorter.is_none() {
                refused.insert(ends);
            }
            shorter
        });
        if let Some(shorter) = shorter {
            pieces = shorter;
            parts = cut(task, &pieces, longest_m);
        }
        first += 1;
    }
    pieces
}

/// Poses between which no closed form was found to pay, and is not tried again: what there is between them only gets
/// cheaper. A change of gear beside them that came later might have made one pay.
#[derive(Default)]
struct Refused(BTreeSet<[i64; 6]>);

impl Refused {
    fn contains(&self, ends: (Pose, Pose)) -> bool {
        self.0.contains(&Self::key(ends))
    }

    fn insert(&mut self, ends: (Pose, Pose)) {
        self.0.insert(Self::key(ends));
    }

    fn key((start, goal): (Pose, Pose)) -> [i64; 6] {
        /// Parts of a metre and of a radian that are one pose.
        const ALIKE: f64 = 1e5;
        let numbers = [start.at.x, start.at.y, start.angle, goal.at.x, goal.at.y, goal.angle];
        numbers.map(|number| (number * ALIKE).round() as i64)
    }
}

/// Metres of a part at most, where a way is cut into about so many.
fn longest_part_m(task: &Task<'_>, pieces: &[Piece], posts: usize) -> f64 {
    let metres = pieces.iter().map(Piece::distance).sum::<f64>();
    (metres / posts as f64).max(0.25 * task.drive.radius_m).max(0.5)
}

/// A part of a way, in one gear.
struct Part {
    start: Pose,
    pieces: Vec<Piece>,
    metres: f64,
    /// Seconds of toll from the way's beginning to the part's end.
    toll_until_s: f64,
}

impl Part {
    fn is_reverse(&self) -> bool {
        self.pieces[0].gear == Gear::Reverse
    }
}

/// The way cut into parts of so many metres at most, turns on the spot whole, and so what is bent
/// where a way must not begin with the wheels turned.
fn cut(task: &Task<'_>, pieces: &[Piece], longest_m: f64) -> Vec<Part> {
    let path = Path { start: task.from, pieces: pieces.to_vec() };
    let is_steered = task.drive.sharpness.is_some();
    let mut parts: Vec<Part> = Vec::new();
    let mut toll_until_s = 0.0;
    let mut add = |start: Pose, piece: Piece| {
        let metres = piece.distance();
        toll_until_s += task.toll.seconds(start, &[piece]);
        let goes_on = |part: &Part| {
            let is_short = part.pieces[0].gear == piece.gear && part.metres + metres <= longest_m;
            is_short || (is_steered && piece.curvature_start != 0.0)
        };
        match parts.last_mut().filter(|part| goes_on(part)) {
            Some(part) => {
                part.pieces.push(piece);
                part.metres += metres;
                part.toll_until_s = toll_until_s;
            }
            None => parts.push(Part { start, pieces: vec![piece], metres, toll_until_s }),
        }
    };
    for (start, piece) in path.steps() {
        if piece.gear == Gear::Spot || (is_steered && piece.sharpest() > 0.0) {
            add(start, *piece);
            continue;
        }
        let count = (piece.length / longest_m).ceil().max(1.0);
        let share = piece.length / count;
        for part in 0..count as u32 {
            let from = share * f64::from(part);
            add(piece.pose_after(start, from), piece.between(from, from + share));
        }
    }
    parts
}

/// Where the parts from `first` to before `last` begin and end.
fn ends(task: &Task<'_>, parts: &[Part], first: usize, last: usize) -> (Pose, Pose) {
    (parts[first].start, parts.get(last).map_or(task.to, |part| part.start))
}

/// The way with its parts from `first` to before `last` replaced by a closed form that costs less.
fn shortcut(task: &Task<'_>, parts: &[Part], first: usize, last: usize) -> Option<Vec<Piece>> {
    /// Candidates tried between two poses.
    const MOST: usize = 6;
    let toll_until_s = |part: usize| part.checked_sub(1).map_or(0.0, |last| parts[last].toll_until_s);
    let (start, goal) = ends(task, parts, first, last);
    let toll_now_s = toll_until_s(last) - toll_until_s(first);
    let now_s = task.drive.cost_s(pieces(&parts[first..last])) + toll_now_s;
    // What begins or ends in reverse, where now the gear changes, saves that change.
    let is_reverse = |part: Option<&Part>| part.is_some_and(Part::is_reverse);
    let before = first.checked_sub(1).and_then(|before| parts.get(before));
    let changes_at_first = is_reverse(before) && !is_reverse(parts.get(first));
    let changes_at_last = is_reverse(parts.get(last)) && !is_reverse(parts.get(last - 1));
    let saved_s = if changes_at_first || changes_at_last { 2.0 * task.drive.gear_change_s } else { 0.0 };
    let limit_s = now_s + saved_s - GAIN_S;
    if start.distance(&goal) / task.drive.speed_m_per_s > limit_s
        || candidates::lower_bound_s(task.drive, start, goal) > limit_s
    {
        return None;
    }
    let mut found = Vec::new();
    candidates::add(&mut found, task.drive, (start, 0.0), (goal, 0.0), limit_s);
    found.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
    let whole_s = task.drive.cost_s(pieces(parts));
    found.iter().take(MOST).find_map(|candidate| {
        let middle = candidate.pieces(task.drive, start, goal)?;
        let all = || pieces(&parts[..first]).chain(&middle).chain(pieces(&parts[last..]));
        let may_pay_s = toll_now_s + whole_s - GAIN_S - task.drive.cost_s(all());
        // What is refused soonest is asked first.
        let is_shorter = task.space.may_admit(start, &middle, task.need_m)
            && task.toll.below(start, &middle, may_pay_s).is_some()
            && task.space.holds(start, &middle, task.need_m);
        is_shorter.then(|| merged(all().copied()))
    })
}

fn pieces(parts: &[Part]) -> impl Iterator<Item = &Piece> {
    parts.iter().flat_map(|part| &part.pieces)
}
