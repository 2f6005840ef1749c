//! Intervals on a line, and sorted sets of them.

/// A stretch of a line from `from` to `to`, `from <= to`.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Interval {
    /// Lower end.
    pub from: f64,
    /// Upper end.
    pub to: f64,
}

impl Interval {
    /// A stretch.
    pub const fn new(from: f64, to: f64) -> Self {
        Self { from, to }
    }
    /// Its length.
    pub fn length(self) -> f64 {
        self.to - self.from
    }
    /// Moved along the line.
    #[must_use]
    pub fn shifted(self, by: f64) -> Self {
        Self::new(self.from + by, self.to + by)
    }
    /// What both cover, if that has a length.
    pub fn common(self, other: Self) -> Option<Self> {
        let both = Self::new(self.from.max(other.from), self.to.min(other.to));
        (both.from < both.to).then_some(both)
    }
}

/// Joins intervals that touch, overlap or lie at most `gap` apart; gives them back in order.
pub fn merged(mut intervals: Vec<Interval>, gap: f64) -> Vec<Interval> {
    intervals.sort_by(|a, b| a.from.total_cmp(&b.from));
    let mut joined: Vec<Interval> = Vec::with_capacity(intervals.len());
    for next in intervals {
        match joined.last_mut() {
            Some(last) if next.from <= last.to + gap => last.to = last.to.max(next.to),
            _ => joined.push(next),
        }
    }
    joined
}

/// The stretches of `within` that none of the intervals covers, in order.
pub fn gaps(intervals: Vec<Interval>, within: Interval) -> Vec<Interval> {
    let mut free = Vec::new();
    let mut from = within.from;
    for taken in merged(intervals, 0.0) {
        if taken.from > from {
            free.push(Interval::new(from, taken.from.min(within.to)));
        }
        from = from.max(taken.to);
        if from >= within.to {
            return free;
        }
    }
    free.push(Interval::new(from, within.to));
    free
}

/// What is left of intervals without one that is taken.
pub fn without(intervals: &[Interval], taken: Interval) -> Vec<Interval> {
    intervals.iter().flat_map(|&left| gaps(vec![taken], left)).filter(|left| left.length() > 0.0).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn merging_joins_across_small_gaps_only() {
        let parts = vec![Interval::new(5.0, 6.0), Interval::new(0.0, 1.0), Interval::new(1.5, 2.0)];
        assert_eq!(merged(parts.clone(), 0.5), vec![Interval::new(0.0, 2.0), Interval::new(5.0, 6.0)]);
        assert_eq!(merged(parts, 0.1).len(), 3);
    }

    #[test]
    fn gaps_are_what_is_left_of_the_whole() {
        let taken = vec![Interval::new(2.0, 3.0), Interval::new(-1.0, 0.5), Interval::new(2.5, 4.0)];
        assert_eq!(
            gaps(taken, Interval::new(0.0, 10.0)),
            vec![Interval::new(0.5, 2.0), Interval::new(4.0, 10.0)]
        );
    }

    #[test]
    fn what_is_taken_is_cut_out_of_each() {
        let rows = [Interval::new(0.0, 4.0), Interval::new(5.0, 9.0)];
        let left = [Interval::new(0.0, 3.0), Interval::new(6.0, 9.0)];
        assert_eq!(without(&rows, Interval::new(3.0, 6.0)), left);
        assert_eq!(without(&rows[..1], Interval::new(-1.0, 4.0)), []);
    }
}
