//! Candidates in order of their time, made no sooner than they are asked for.
//!
//! In: straights that may lead and follow. Out: ways in closed form, the quickest first. A pair of
//! straights is worked out once no quicker way is left over from the others, by a bound on its time.

use super::candidates::{self, Candidate};
use super::drive::Drive;
use crate::geometry::Pose;
use std::cmp::Ordering;
use std::collections::BinaryHeap;
use std::iter::Peekable;
use std::vec::IntoIter;

/// Candidates, the quickest first.
pub struct Supply<'a> {
    ready: BinaryHeap<Ready>,
    made: usize,
    to_make: Peekable<IntoIter<Straights<'a>>>,
}

/// A straight before a way and one after it, metres, in reverse where negative.
struct Straights<'a> {
    drive: &'a Drive,
    start: (Pose, f64),
    goal: (Pose, f64),
    /// No way with them takes less.
    at_least_s: f64,
    rank: usize,
}

impl<'a> Supply<'a> {
    /// Of candidates at hand.
    pub fn of(candidates: Vec<Candidate>) -> Self {
        let mut supply =
            Self { ready: BinaryHeap::new(), made: 0, to_make: Vec::new().into_iter().peekable() };
        supply.add(0, candidates);
        supply
    }

    /// Of ways between two poses with any of these straights before and after.
    pub fn with_straights(
        drive: &'a Drive,
        from: Pose,
        to: Pose,
        straights: impl Iterator<Item = (f64, f64)>,
    ) -> Self {
        let mut to_make: Vec<Straights<'a>> = straights
            .enumerate()
            .map(|(rank, (before, after))| {
                let (start, goal) = ((from, before), (to, after));
                Straights { drive, start, goal, at_least_s: candidates::least_s(drive, start, goal), rank }
            })
            .collect();
        to_make.sort_by(|a, b| a.at_least_s.total_cmp(&b.at_least_s));
        Self { ready: BinaryHeap::new(), made: 0, to_make: to_make.into_iter().peekable() }
    }

    /// The next candidate that takes less than a limit.
    pub fn next_below(&mut self, limit_s: f64) -> Option<Candidate> {
        let known_s = |ready: &BinaryHeap<Ready>| ready.peek().map_or(limit_s, |next| next.candidate.time_s);
        while let Some(straights) = self.to_make.next_if(|next| next.at_least_s <= known_s(&self.ready)) {
            let mut found = Vec::new();
            candidates::add(&mut found, straights.drive, straights.start, straights.goal, limit_s);
            self.add(straights.rank, found);
        }
        self.ready.pop().map(|next| next.candidate).filter(|next| next.time_s < limit_s)
    }

    fn add(&mut self, rank: usize, candidates: Vec<Candidate>) {
        for candidate in candidates {
            self.ready.push(Ready { candidate, rank: (rank, self.made) });
            self.made += 1;
        }
    }
}

/// A candidate in the queue: the quickest first, then those made of earlier straights.
struct Ready {
    candidate: Candidate,
    rank: (usize, usize),
}

impl PartialEq for Ready {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other).is_eq()
    }
}
impl Eq for Ready {}
impl PartialOrd for Ready {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}
impl Ord for Ready {
    fn cmp(&self, other: &Self) -> Ordering {
        other.candidate.time_s.total_cmp(&self.candidate.time_s).then(other.rank.cmp(&self.rank))
    }
}
