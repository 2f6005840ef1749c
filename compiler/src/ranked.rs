//! Entries of queues that give the least first.

use std::cmp::Ordering;

/// An entry of a heap: least rank first, then the lower index.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Ranked<I = usize> {
    /// Seconds or metres, never NaN.
    pub rank: f64,
    /// What it stands for.
    pub index: I,
}

impl<I: Ord> Eq for Ranked<I> {}
impl<I: Ord> PartialOrd for Ranked<I> {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}
impl<I: Ord> Ord for Ranked<I> {
    fn cmp(&self, other: &Self) -> Ordering {
        other.rank.total_cmp(&self.rank).then_with(|| other.index.cmp(&self.index))
    }
}
