//! Drivable ways between two poses, inside the fence.
//!
//! In: the free space, how the machine drives, and two poses. Out: the quickest way found, or
//! nothing where there is none. Ways in closed form come first, in order of their time: on the
//! spot, forward, reversing, fishtail; then the same with a straight before and after, or with a course
//! away from a fence; then a search through the free space. Each is proven to stay inside the fence,
//! not sampled.
//! Where the machine says how fast it steers, curvature has no jump anywhere: arcs begin and end
//! with clothoids, and the wheels look straight ahead wherever the gear changes.
//! A way that crosses sown soil pays a toll, so that a longer way round may be preferred.

use crate::geometry::{Gear, Path, Piece, Pose};
use candidates::Candidate;
use supply::Supply;

mod candidates;
mod continuous;
mod detours;
mod distance;
pub mod drive;
pub mod dubins;
mod eased;
pub mod fishtail;
pub mod free_space;
pub mod on_spot;
pub mod reeds_shepp;
mod search;
mod shorten;
mod supply;
pub mod toll;
mod word;

pub use candidates::{lower_bound_s, rough_bound_s};
pub use detours::{Detours, Lookout};
use drive::Counted;
pub use drive::{Drive, footprint};
pub use free_space::{Clearance, FreeSpace};
pub use toll::Toll;

/// Ways are planned to keep this much from the fence, so that a later proof with its own bounds
/// finds room, metres. Where a way's first or last pose is nearer, no nearer than that.
pub const SPARE_M: f64 = 0.01;

/// A way between lane ends, or between a lane end and home.
#[derive(Clone, Debug)]
pub struct Manoeuvre {
    /// The way of the reference point.
    pub path: Path,
    /// What it looks like.
    pub shape: TurnShape,
    /// Seconds at turning speed, gear changes included.
    pub time_s: f64,
    /// Seconds that it counts more for the sown soil that it crosses.
    pub toll_s: f64,
    /// Seconds that it counts more for backing farther than a manoeuvre needs.
    pub backing_s: f64,
}

impl Manoeuvre {
    /// Of pieces whose toll is known.
    fn new(drive: &Drive, path: Path, shape: TurnShape, toll_s: f64) -> Self {
        let Counted { time_s, backing_s } = drive.counted(&path.pieces);
        Self { path, shape, time_s, toll_s, backing_s }
    }

    /// What it counts among other ways: its time, its toll, and what backing counts more.
    pub fn cost_s(&self) -> f64 {
        self.time_s + self.toll_s + self.backing_s
    }

    /// This way and then one that begins where it ends, with a halt between.
    #[must_use]
    pub fn then(self, next: &Self) -> Self {
        Self {
            path: self.path.then(&next.path),
            shape: self.shape.max(next.shape),
            time_s: self.time_s + next.time_s,
            toll_s: self.toll_s + next.toll_s,
            backing_s: self.backing_s + next.backing_s,
        }
    }
}

/// The family a manoeuvre belongs to; the names go into `plan.geojson` in kebab-case.
#[derive(Copy, Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum TurnShape {
    /// Straight on.
    Straight,
    /// On the spot, with straight driving between.
    OnTheSpot,
    /// Forward arcs and lines (Dubins).
    Forward,
    /// Forward and reverse arcs and lines (Reeds and Shepp).
    Reversing,
    /// Found by search through the free space.
    Searched,
}

/// The quickest way found from one pose to another: in closed form, else by search.
pub fn manoeuvre(space: &FreeSpace, drive: &Drive, from: Pose, to: Pose) -> Option<Manoeuvre> {
    let task = Task::new(space, drive, &Toll::NONE, from, to)?;
    task.fitting().or_else(|| task.searched())
}

/// The quickest way in closed form that stays inside the fence. It takes a small part of the time
/// that a search takes.
pub fn closed_form(space: &FreeSpace, drive: &Drive, toll: &Toll, from: Pose, to: Pose) -> Option<Manoeuvre> {
    Task::new(space, drive, toll, from, to)?.fitting()
}

/// A way between the same poses that costs less, by a closer look at straights before and after it.
pub fn refined(space: &FreeSpace, drive: &Drive, toll: &Toll, way: &Manoeuvre) -> Option<Manoeuvre> {
    let task = Task::new(space, drive, toll, way.path.start, way.path.end())?;
    task.bettered(way)
}

/// The quickest way in closed form without a straight before or after it: found at once, or not.
pub fn direct(space: &FreeSpace, drive: &Drive, toll: &Toll, from: Pose, to: Pose) -> Option<Manoeuvre> {
    let task = Task::new(space, drive, toll, from, to)?;
    task.best_of(task.direct(), f64::INFINITY)
}

/// A way found by search, where no closed form fits.
pub fn searched(space: &FreeSpace, drive: &Drive, toll: &Toll, from: Pose, to: Pose) -> Option<Manoeuvre> {
    Task::new(space, drive, toll, from, to)?.searched()
}

/// A way along a path that is known to lead inside the fence, shortened where closed forms allow.
pub fn shortened(space: &FreeSpace, drive: &Drive, toll: &Toll, path: Path) -> Option<Manoeuvre> {
    let task = Task::new(space, drive, toll, path.start, path.end())?;
    let fits = space.admits(path.start, &path.pieces, task.need_m);
    if fits { task.along(candidates::merged(path.pieces)) } else { None }
}

/// Lengths of straights before and after a way, in turning radii, or in half the machine's reach where
/// that is more: those that tell which ways are worth driving, and those that make one quick.
const FEW_STRAIGHTS: [f64; 3] = [0.5, 1.5, 4.0];
const MANY_STRAIGHTS: [f64; 9] = [0.15, 0.3, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0, 4.0];

/// So many candidates are tried at most, the quicker ones first; and so many once a way is known: where that crosses
/// sown rows, any other has to cross them too.
const MOST: usize = 200;
const MORE: usize = 30;

/// Rounding of a clearance, metres.
const ROUNDING_M: f64 = 1e-7;

/// What is asked of one manoeuvre.
#[derive(Copy, Clone)]
struct Task<'a> {
    space: &'a FreeSpace,
    drive: &'a Drive,
    toll: &'a Toll<'a>,
    from: Pose,
    to: Pose,
    need_m: f64,
}

impl<'a> Task<'a> {
    /// None where the machine does not fit at either end, or no gap between is wide enough.
    fn new(space: &'a FreeSpace, drive: &'a Drive, toll: &'a Toll<'a>, from: Pose, to: Pose) -> Option<Self> {
        let room = space.clearance_at(from)?.min(space.clearance_at(to)?);
        let task = Self { space, drive, toll, from, to, need_m: SPARE_M.min(room - ROUNDING_M) };
        space.joins(from, to).then_some(task)
    }

    /// The quickest closed form that fits.
    fn fitting(&self) -> Option<Manoeuvre> {
        let direct = self.best_of(self.direct(), f64::INFINITY);
        let limit_s = direct.as_ref().map_or(f64::INFINITY, Manoeuvre::cost_s);
        if direct.as_ref().is_some_and(|way| self.is_hardly_beaten(way)) {
            return direct;
        }
        self.best_of(self.with_straights(&FEW_STRAIGHTS), limit_s)
            .or(direct)
            .or_else(|| self.best_of(self.with_straights(&MANY_STRAIGHTS), f64::INFINITY))
            .or_else(|| eased::eased(self))
    }

    /// Whether a longer look would hardly better a way.
    fn is_hardly_beaten(&self, way: &Manoeuvre) -> bool {
        /// What clothoids add to ways of arcs on the radius of half turns, by experience.
        const CLOTHOIDS: f64 = 1.05;
        let bound_s = lower_bound_s(&self.drive.without_delay(), self.from, self.to);
        let quickest_s = if self.drive.steered().is_some() { CLOTHOIDS * bound_s } else { bound_s + 1e-9 };
        way.cost_s() <= quickest_s
    }

    /// Every way in closed form.
    fn direct(&self) -> Supply<'_> {
        Supply::new(self.drive, self.from, self.to, [(0.0, 0.0)])
    }

    /// Every way in closed form with a straight before it, after it, or both, of these lengths.
    fn with_straights(&self, lengths: &[f64]) -> Supply<'_> {
        let (before, after) =
            (self.straights(self.from, 1.0, lengths), self.straights(self.to, -1.0, lengths));
        let pairs = before.iter().flat_map(|&before| after.iter().map(move |&after| (before, after)));
        Supply::new(self.drive, self.from, self.to, pairs.filter(|&pair| pair != (0.0, 0.0)))
    }

    /// A way that costs less than a known one: straights before and after it are made longer and
    /// shorter, by less and less (R. Hooke and T. A. Jeeves, "Direct search", *Journal of the ACM* 8, 1961).
    fn bettered(&self, known: &Manoeuvre) -> Option<Manoeuvre> {
        /// The first change and the last, in units of straights.
        const CHANGES: (f64, f64) = (0.8, 0.1);
        /// What gains less is no change, seconds.
        const GAIN_S: f64 = 0.02;
        let signed_m = |piece: Option<&Piece>| {
            piece.filter(|piece| piece.sharpest() == 0.0).map_or(0.0, |piece| match piece.gear {
                Gear::Reverse => -piece.length,
                Gear::Forward => piece.length,
                Gear::Spot => 0.0,
            })
        };
        let pieces = &known.path.pieces;
        let mut straights = (signed_m(pieces.first()), signed_m(pieces.last()));
        let (mut best, mut best_s) = (None, known.cost_s());
        let mut change_m = CHANGES.0 * self.unit_m();
        while change_m >= CHANGES.1 * self.unit_m() {
            match self.tried(self.with_straights_about(straights, change_m), best_s - GAIN_S, MORE) {
                Some((way, with)) => (best_s, best, straights) = (way.cost_s(), Some(way), with),
                None => change_m *= 0.5,
            }
        }
        best
    }

    /// Every way in closed form with straights before and after it that differ so much from these.
    fn with_straights_about(&self, (before_m, after_m): (f64, f64), change_m: f64) -> Supply<'_> {
        let changed = |metres: f64| [metres, metres - change_m, metres + change_m];
        let pairs =
            changed(before_m).into_iter().flat_map(|before| changed(after_m).map(|after| (before, after)));
        let allowed = |metres: f64| metres >= 0.0 || self.drive.may_reverse;
        let pairs = pairs.filter(|&(before, after)| allowed(before) && allowed(after));
        Supply::new(self.drive, self.from, self.to, pairs.filter(|&pair| pair != (before_m, after_m)))
    }

    /// What lengths of straights are counted in, metres.
    fn unit_m(&self) -> f64 {
        self.drive.radius_m.max(0.5 * self.space.footprint().reach())
    }

    /// Signed lengths of straights that are free: from the pose along `sense`, and against it
    /// where the machine may reverse.
    fn straights(&self, pose: Pose, sense: f64, lengths: &[f64]) -> Vec<f64> {
        let unit = self.unit_m();
        let mut all = vec![0.0];
        for side in if self.drive.may_reverse { &[1.0, -1.0][..] } else { &[1.0][..] } {
            let free = lengths.iter().map(|length| side * length * unit).take_while(|&length| {
                let metres = sense * length;
                let gear = if metres < 0.0 { Gear::Reverse } else { Gear::Forward };
                self.space.admits(pose, &[Piece::straight(gear, metres.abs())], self.need_m)
            });
            all.extend(free);
        }
        all
    }

    /// The candidate that stays inside the fence and costs least, less than the limit.
    fn best_of(&self, candidates: Supply<'_>, limit_s: f64) -> Option<Manoeuvre> {
        self.tried(candidates, limit_s, MOST).map(|(way, _)| way)
    }

    /// The same, with the straights before and after it. So many are tried at most.
    fn tried(
        &self,
        mut candidates: Supply<'_>,
        limit_s: f64,
        most: usize,
    ) -> Option<(Manoeuvre, (f64, f64))> {
        let mut best = None;
        let (mut best_s, mut left) = (limit_s, most);
        while left > 0
            && let Some(candidate) = candidates.next_below(best_s)
        {
            left -= 1;
            let Some(pieces) = self.pieces_of(candidate) else { continue };
            let cost_s = self.drive.cost_s(&pieces);
            if self.space.may_admit(self.from, &pieces, self.need_m)
                && let Some(toll_s) = self.toll.below(self.from, &pieces, best_s - cost_s)
                && let Some(path) = self.proven(pieces)
            {
                let shape = shape_of(&path.pieces);
                let way = Manoeuvre::new(self.drive, path, shape, toll_s);
                left = left.min(MORE);
                best_s = way.cost_s();
                best = Some((way, candidate.straights_m()));
            }
        }
        best
    }

    /// A candidate's pieces. Before clothoids are fitted, which takes a while, its arcs are tried.
    fn pieces_of(&self, candidate: &Candidate) -> Option<Vec<Piece>> {
        /// How far clothoids may run beside the arcs that they began from, metres.
        const BESIDE_M: f64 = 0.4;
        let promises = self.drive.steered().is_none()
            || self.space.may_admit(self.from, &candidate.arcs(), self.need_m - BESIDE_M);
        if promises { candidate.pieces(self.drive, self.from, self.to) } else { None }
    }

    /// A way by search, shortened.
    fn searched(&self) -> Option<Manoeuvre> {
        self.along(search::search(self)?)
    }

    /// A known way, shortened.
    fn along(&self, pieces: Vec<Piece>) -> Option<Manoeuvre> {
        let pieces = shorten::shorten(self, pieces);
        let toll_s = self.toll.seconds(self.from, &pieces);
        let path = self.proven(pieces)?;
        Some(Manoeuvre::new(self.drive, path, TurnShape::Searched, toll_s))
    }

    /// The pieces as a path if it is inside the fence and ends at the goal.
    fn proven(&self, pieces: Vec<Piece>) -> Option<Path> {
        /// Rounding of closed forms near the edge of their existence, metres and radians.
        const MISSES: f64 = 1e-7;
        if !self.space.holds(self.from, &pieces, self.need_m) {
            return None;
        }
        let path = Path { start: self.from, pieces };
        let end = path.end();
        let arrives = end.distance(&self.to) < MISSES && end.turn_to(&self.to).abs() < MISSES;
        arrives.then_some(path)
    }
}

fn shape_of(pieces: &[Piece]) -> TurnShape {
    if pieces.iter().any(|piece| piece.gear == Gear::Spot) {
        TurnShape::OnTheSpot
    } else if pieces.iter().any(|piece| piece.gear == Gear::Reverse) {
        TurnShape::Reversing
    } else if pieces.iter().all(|piece| piece.sharpest() < 1e-9) {
        TurnShape::Straight
    } else {
        TurnShape::Forward
    }
}

#[cfg(test)]
mod tests;
