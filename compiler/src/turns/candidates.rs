//! Every way in closed form between two poses, with its time.
//!
//! In: the poses and how the machine drives. Out: candidates; none is checked against the fence.
//! A candidate may begin and end with a straight: the machine first drives on or backs off, and
//! approaches the goal from before it or from beyond.

use super::drive::Drive;
use super::word::{Bend, Letter, Relative, Word};
use super::{dubins, fishtail, on_spot, reeds_shepp};
use crate::geometry::{Gear, Piece, Pose};
use crate::num;

/// A way from pose to pose in closed form.
#[derive(Clone, Debug)]
pub struct Candidate {
    /// Seconds.
    pub time_s: f64,
    /// Straight metres before the core, in reverse where negative.
    before_m: f64,
    core: Core,
    /// Straight metres after it, in reverse where negative.
    after_m: f64,
}

#[derive(Clone, Debug)]
enum Core {
    /// A word and the radius that its letters count in.
    Word(Word, f64),
    OnSpot(Vec<Piece>),
}

impl Candidate {
    /// Its pieces between the poses that it was made for; neighbours of one gear and curvature are
    /// one. None where the steering is too slow for it.
    pub fn pieces(&self, drive: &Drive, from: Pose, to: Pose) -> Option<Vec<Piece>> {
        match (&self.core, drive.steered()) {
            (Core::Word(word, radius_m), Some(steered)) => {
                let before = (Bend::Straight, self.before_m / radius_m);
                let after = (Bend::Straight, self.after_m / radius_m);
                let letters = [&[before], word.letters(), &[after]].concat();
                steered.joined(&letters, *radius_m, from, to).map(merged)
            }
            _ => Some(self.arcs()),
        }
    }

    /// The straights before and after it, metres, in reverse where negative.
    pub const fn straights_m(&self) -> (f64, f64) {
        (self.before_m, self.after_m)
    }

    /// Its pieces as if the steering followed at once.
    pub fn arcs(&self) -> Vec<Piece> {
        let mut pieces = straight(self.before_m);
        match &self.core {
            Core::Word(word, radius_m) => pieces.extend(word.pieces(*radius_m)),
            Core::OnSpot(core) => pieces.extend_from_slice(core),
        }
        pieces.extend(straight(self.after_m));
        merged(pieces)
    }
}

/// Adds every way from pose to pose with these straights before and after that takes less than
/// `limit_s`.
pub fn add(
    found: &mut Vec<Candidate>,
    drive: &Drive,
    (from, before_m): (Pose, f64),
    (to, after_m): (Pose, f64),
    limit_s: f64,
) {
    let (start, goal) = (from.advanced(before_m), to.advanced(-after_m));
    let mut consider = |core: Core, inner_s: f64, first: Gear, last: Gear| {
        let time_s = inner_s + straights_s(drive, before_m, after_m, first, last);
        if time_s < limit_s {
            found.push(Candidate { time_s, before_m, core, after_m });
        }
    };
    if drive.turns_on_spot {
        for pieces in on_spot::ways(start, goal) {
            let gears = || pieces.iter().map(|p| p.gear).filter(|&gear| gear != Gear::Spot);
            let gear = gears().next().unwrap_or(gear_of(before_m));
            if gear == Gear::Forward || drive.may_reverse {
                let inner_s = core_s(drive, &pieces);
                consider(Core::OnSpot(pieces), inner_s, gear, gear);
            }
        }
    }
    if drive.steers() {
        let joins_at_corners = drive.steered().is_some() && before_m == 0.0 && after_m == 0.0;
        let drive = drive.without_delay();
        let relative = Relative::between(start, goal, drive.radius_m);
        let mut tell = |letters: &[Letter]| {
            let word = Word::new(letters);
            let (inner_s, first, last) = word_s(&drive, letters);
            consider(Core::Word(word, drive.radius_m), inner_s, first, last);
        };
        dubins::words(relative, &mut tell);
        if joins_at_corners {
            corner(relative, drive.may_reverse, &mut tell);
        }
        if drive.may_reverse {
            reeds_shepp::words(relative, &mut tell);
            fishtail::words(relative, &mut tell);
        }
    }
}

/// Seconds that a way with these straights before and after takes at least, found at once.
pub fn least_s(drive: &Drive, (from, before_m): (Pose, f64), (to, after_m): (Pose, f64)) -> f64 {
    const ROUNDING: f64 = 1e-9;
    let (start, goal) = (from.advanced(before_m), to.advanced(-after_m));
    let driving_s = |signed_m: f64| drive.driving_s(gear_of(signed_m), signed_m.abs());
    let between_s = start.distance(&goal) / drive.speed_m_per_s;
    driving_s(before_m) + driving_s(after_m) + between_s * (1.0 - ROUNDING)
}

/// Calls `each` with straight, arc, straight: the way round one corner, which no shortest word has
/// when it begins and ends with a straight.
fn corner(goal: Relative, may_reverse: bool, mut each: impl FnMut(&[Letter])) {
    let (sin, cos) = num::sin_cos(goal.angle);
    if sin.abs() < 1e-6 {
        return;
    }
    let after = goal.y / sin;
    let before = goal.x - after * cos;
    let tangent = num::tan(0.5 * goal.angle.abs());
    let bend = if goal.angle > 0.0 { Bend::Left } else { Bend::Right };
    let letters =
        [(Bend::Straight, before - tangent), (bend, goal.angle.abs()), (Bend::Straight, after - tangent)];
    if may_reverse || letters.iter().all(|letter| letter.1 >= 0.0) {
        each(&letters);
    }
}

/// Seconds of the best way in the open; no drivable way takes less.
///
/// A way with reverse in it changes gear at least twice, and is no shorter than the shortest of
/// Reeds and Shepp; one without is no shorter than the shortest of Dubins. A machine that turns
/// on the spot either steers on arcs or turns on the spot, never both in one way.
pub fn lower_bound_s(drive: &Drive, from: Pose, to: Pose) -> f64 {
    let mut best = f64::INFINITY;
    if drive.turns_on_spot {
        let (turning, distance) = on_spot::least_turning(from, to);
        best = distance / drive.speed_m_per_s + turning[0] * drive.spot_s_per_rad;
        if drive.may_reverse {
            let reversing = distance / drive.speed_m_per_s
                + turning[1] * drive.spot_s_per_rad
                + 2.0 * drive.gear_change_s;
            best = best.min(reversing);
        }
    }
    if drive.steers() {
        let relative = Relative::between(from, to, drive.radius_m);
        let seconds_per_radius = drive.radius_m / drive.speed_m_per_s;
        best = best.min(dubins::shortest(relative) * seconds_per_radius);
        let crow = num::hypot(relative.x, relative.y).max(relative.angle.abs());
        let reversing_s = 2.0 * drive.gear_change_s;
        if drive.may_reverse && crow * seconds_per_radius + reversing_s < best {
            best = best.min(reeds_shepp::shortest(relative) * seconds_per_radius + reversing_s);
        }
    }
    best
}

/// A looser bound that is found at once: where the poses lie more than a dozen turning radii apart,
/// the straight line's. A field has a million pairs of lane ends, most of them so far apart.
pub fn rough_bound_s(drive: &Drive, from: Pose, to: Pose) -> f64 {
    /// Turning radii.
    const FAR: f64 = 12.0;
    let straight_m = from.distance(&to);
    if drive.steers() && straight_m > FAR * drive.radius_m {
        straight_m / drive.speed_m_per_s
    } else {
        lower_bound_s(drive, from, to)
    }
}

/// Pieces with neighbours of one gear and constant curvature joined, and nothing of no length.
pub fn merged(pieces: impl IntoIterator<Item = Piece>) -> Vec<Piece> {
    let mut joined: Vec<Piece> = Vec::new();
    for piece in pieces {
        match joined.last_mut() {
            Some(last) if joins(last, &piece) => last.length += piece.length,
            _ => joined.push(piece),
        }
        if joined.last().is_some_and(|last| last.length.abs() < 1e-12) {
            joined.pop();
        }
    }
    joined
}

fn joins(a: &Piece, b: &Piece) -> bool {
    let same = |x: f64, y: f64| (x - y).abs() < 1e-12;
    a.gear == b.gear
        && same(a.curvature_start, a.curvature_end)
        && same(a.curvature_end, b.curvature_start)
        && same(b.curvature_start, b.curvature_end)
}

fn straight(metres: f64) -> Vec<Piece> {
    if metres == 0.0 { Vec::new() } else { vec![Piece::straight(gear_of(metres), metres.abs())] }
}

fn gear_of(signed: f64) -> Gear {
    if signed < 0.0 { Gear::Reverse } else { Gear::Forward }
}

/// Seconds of a core without the changes of gear at its ends.
fn core_s(drive: &Drive, pieces: &[Piece]) -> f64 {
    let spot: f64 = pieces.iter().filter(|p| p.gear == Gear::Spot).map(|p| p.length.abs()).sum();
    let driving_s: f64 = pieces.iter().map(|piece| drive.driving_s(piece.gear, piece.distance())).sum();
    spot * drive.spot_s_per_rad + driving_s
}

/// Seconds of a word without the changes of gear at its ends, and the gears at its ends.
fn word_s(drive: &Drive, letters: &[Letter]) -> (f64, Gear, Gear) {
    let mut gears = letters.iter().filter(|l| l.1.abs() > 1e-10).map(|l| gear_of(l.1));
    let first = gears.next().unwrap_or(Gear::Forward);
    let (mut last, mut changes) = (first, 0.0);
    for gear in gears {
        if gear != last {
            changes += 1.0;
        }
        last = gear;
    }
    let driving_s = |letter: &Letter| drive.driving_s(gear_of(letter.1), letter.1.abs() * drive.radius_m);
    (letters.iter().map(driving_s).sum::<f64>() + changes * drive.gear_change_s, first, last)
}

/// Seconds of the straights and of every change of gear outside the core.
fn straights_s(drive: &Drive, before_m: f64, after_m: f64, first: Gear, last: Gear) -> f64 {
    let chain = [Some(Gear::Forward), (before_m != 0.0).then(|| gear_of(before_m)), Some(first)];
    let end = [Some(last), (after_m != 0.0).then(|| gear_of(after_m)), Some(Gear::Forward)];
    let changes = |gears: [Option<Gear>; 3]| {
        let gears: Vec<Gear> = gears.into_iter().flatten().collect();
        gears.windows(2).filter(|pair| pair[0] != pair[1]).count() as f64
    };
    let driving_s = |signed_m: f64| drive.driving_s(gear_of(signed_m), signed_m.abs());
    driving_s(before_m) + driving_s(after_m) + (changes(chain) + changes(end)) * drive.gear_change_s
}
