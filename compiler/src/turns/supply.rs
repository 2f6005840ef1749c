//! Candidates in order of their time, made no sooner than they are asked for.
//!
//! In: straights that may lead and follow. Out: ways in closed form, the quickest first. A pair of
//! straights is worked out once no quicker way is left over from the others, by a bound on its time.

use super::candidates::{self, Candidate};
use super::drive::Drive;
use crate::geometry::Pose;
use crate::ranked::Ranked;
use std::collections::BinaryHeap;
use std::iter::Peekable;
use std::vec::IntoIter;

/// Candidates between two poses, the quickest first.
pub struct Supply<'a> {
    drive: &'a Drive,
    from: Pose,
    to: Pose,
    to_make: Peekable<IntoIter<Straights>>,
    made: Vec<Candidate>,
    /// Places among those made; of equal ones, those of earlier straights first.
    ready: BinaryHeap<Ranked<(usize, usize)>>,
}

/// A straight before a way and one after it, metres, in reverse where negative.
struct Straights {
    before_m: f64,
    after_m: f64,
    /// No way with them takes less.
    at_least_s: f64,
    number: usize,
}

impl<'a> Supply<'a> {
    /// Of ways with any of these straights before and after, metres.
    pub fn new(
        drive: &'a Drive,
        from: Pose,
        to: Pose,
        straights: impl IntoIterator<Item = (f64, f64)>,
    ) -> Self {
        let bounded = |(number, (before_m, after_m))| {
            let at_least_s = candidates::least_s(drive, (from, before_m), (to, after_m));
            Straights { before_m, after_m, at_least_s, number }
        };
        let mut to_make: Vec<Straights> = straights.into_iter().enumerate().map(bounded).collect();
        to_make.sort_by(|a, b| a.at_least_s.total_cmp(&b.at_least_s));
        let to_make = to_make.into_iter().peekable();
        Self { drive, from, to, to_make, made: Vec::new(), ready: BinaryHeap::new() }
    }

    /// The next candidate that takes less than a limit.
    pub fn next_below(&mut self, limit_s: f64) -> Option<&Candidate> {
        while let Some(straights) = self.to_make.next_if(|next| {
            let known_s = self.ready.peek().map_or(limit_s, |ready| ready.rank);
            next.at_least_s <= known_s
        }) {
            self.make(&straights, limit_s);
        }
        let Ranked { rank, index: (_, place) } = self.ready.pop()?;
        (rank < limit_s).then(|| &self.made[place])
    }

    fn make(&mut self, straights: &Straights, limit_s: f64) {
        let first = self.made.len();
        let (start, goal) = ((self.from, straights.before_m), (self.to, straights.after_m));
        candidates::add(&mut self.made, self.drive, start, goal, limit_s);
        let new = self.made[first..].iter().zip(first..);
        self.ready
            .extend(new.map(|(way, place)| Ranked { rank: way.time_s, index: (straights.number, place) }));
    }
}
