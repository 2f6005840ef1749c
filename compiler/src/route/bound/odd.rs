//! Odd sets of ends that the trees leave too seldom.
//!
//! In: the promising ways and their shares in the average of trees. Out: sets with an odd number
//! of ends out of which less than one way leads, in that average. In a tour every end has one way,
//! and these pair the ends off; out of an odd set at least one must lead.
//!
//! Method: ends are joined in the order of falling shares, as for a spanning tree; each odd set
//! that comes about is looked at. It finds the sets that a threshold on the shares would, for
//! every threshold at once (after Grötschel & Holland 1987), not every violated set.

use super::relaxation::Way;
use super::take_new;
use std::collections::BTreeSet;

/// So many new sets are taken at once, those most violated first.
const MOST: usize = 30;
/// A set counts as violated if less leads out of it than this.
const VIOLATED: f64 = 0.9;
/// Ways with a smaller share are taken to be none.
const NONE: f64 = 1e-3;

/// A set with an odd number of ends. The depot's leaving end is never in it.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct OddSet {
    /// Whether each end is in it.
    inside: Vec<bool>,
    /// Those in it, or those that are not, whichever are fewer.
    fewer: Vec<usize>,
}

impl OddSet {
    fn of(inside: Vec<bool>) -> Self {
        let count = inside.iter().filter(|&&inside| inside).count();
        let side = 2 * count <= inside.len();
        let fewer = (0..inside.len()).filter(|&end| inside[end] == side).collect();
        Self { inside, fewer }
    }

    /// Whether a way between two ends leads out of it, or into it.
    pub(super) fn parts(&self, a: usize, b: usize) -> bool {
        self.inside[a] != self.inside[b]
    }

    fn is_among_fewer(&self, end: usize) -> bool {
        self.fewer.first().is_some_and(|&one| !self.parts(one, end))
    }
}

/// Takes off the ways from one end to every other what is paid out for leading out of the sets.
pub(super) fn pay_out(ways: &mut [f64], from: usize, sets: &[OddSet], paid_out: &[f64]) {
    let mut off_all = 0.0;
    for (set, &paid_out) in sets.iter().zip(paid_out).filter(|&(_, &paid_out)| paid_out > 0.0) {
        let off_fewer = if set.is_among_fewer(from) {
            off_all += paid_out;
            -paid_out
        } else {
            paid_out
        };
        for &end in &set.fewer {
            ways[end] -= off_fewer;
        }
    }
    for seconds in ways {
        *seconds -= off_all;
    }
}

/// Adds the violated sets that are not known yet.
pub(super) fn add_violated(
    ways: &[Way],
    shares: &[[f64; 2]],
    sets: &mut Vec<OddSet>,
    known: &mut BTreeSet<OddSet>,
) {
    let mut used: Vec<(f64, &Way)> =
        shares.iter().map(|share| share[0] + share[1]).zip(ways).filter(|&(share, _)| share > NONE).collect();
    used.sort_by(|a, b| b.0.total_cmp(&a.0));
    let ends = 1 + ways.iter().map(|way| way.a.max(way.b)).max().unwrap_or(0);
    let violated: Vec<(f64, OddSet)> = odd_sets_joined(&used, ends)
        .into_iter()
        .map(|set| {
            let leading_out = used.iter().filter(|(_, way)| set.parts(way.a, way.b));
            (leading_out.map(|(share, _)| share).sum(), set)
        })
        .filter(|(leading_out, _)| *leading_out < VIOLATED)
        .collect();
    take_new(violated, MOST, sets, known);
}

/// Every odd set of several ends that comes about as ways join their ends, in the order given.
fn odd_sets_joined(used: &[(f64, &Way)], ends: usize) -> Vec<OddSet> {
    let mut home: Vec<usize> = (0..ends).collect();
    let mut members: Vec<Vec<usize>> = (0..ends).map(|end| vec![end]).collect();
    let mut found = Vec::new();
    for (_, way) in used {
        let (mut large, mut small) = (home[way.a], home[way.b]);
        if large == small {
            continue;
        }
        if members[large].len() < members[small].len() {
            (large, small) = (small, large);
        }
        let moved = std::mem::take(&mut members[small]);
        for &end in &moved {
            home[end] = large;
        }
        members[large].extend(moved);
        let size = members[large].len();
        if !size.is_multiple_of(2) && size + 1 < ends {
            found.push(set_of(&members[large], ends));
        }
    }
    found
}

/// The set, or its complement where the depot's leaving end, the last, is in it.
fn set_of(members: &[usize], ends: usize) -> OddSet {
    let within = !members.contains(&(ends - 1));
    let mut set = vec![!within; ends];
    for &end in members {
        set[end] = within;
    }
    OddSet::of(set)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn what_leads_out_of_a_set_is_paid_for(
            sets in proptest::collection::vec((proptest::collection::vec(any::<bool>(), 9), -1.0..5.0f64), 0..6),
            from in 0..9_usize,
        ) {
            let (sets, paid_out): (Vec<OddSet>, Vec<f64>) =
                sets.into_iter().map(|(inside, paid_out)| (OddSet::of(inside), paid_out)).unzip();
            let mut ways = vec![100.0; 9];
            pay_out(&mut ways, from, &sets, &paid_out);
            for (to, seconds) in ways.into_iter().enumerate() {
                let crossed = sets.iter().zip(&paid_out).filter(|(set, _)| set.inside[from] != set.inside[to]);
                let paid_out: f64 = crossed.map(|(_, paid_out)| paid_out.max(0.0)).sum();
                prop_assert!((seconds - (100.0 - paid_out)).abs() < 1e-9);
            }
        }
    }
}
