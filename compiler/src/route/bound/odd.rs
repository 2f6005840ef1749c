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
use std::collections::BTreeSet;

/// So many new sets are taken at once, those most violated first.
const MOST: usize = 30;
/// A set counts as violated if less leads out of it than this.
const VIOLATED: f64 = 0.9;
/// Ways with a smaller share are taken to be none.
const NONE: f64 = 1e-3;

/// A set with an odd number of ends: whether each end is in it. The depot's leaving end never is.
pub(super) type OddSet = Vec<bool>;

/// Adds the violated sets that are not known yet.
pub(super) fn add_violated(
    ways: &[Way],
    shares: &[f64],
    sets: &mut Vec<OddSet>,
    known: &mut BTreeSet<OddSet>,
) {
    let mut used: Vec<(f64, &Way)> =
        shares.iter().copied().zip(ways).filter(|&(share, _)| share > NONE).collect();
    used.sort_by(|a, b| b.0.total_cmp(&a.0));
    let ends = 1 + ways.iter().map(|way| way.a.max(way.b)).max().unwrap_or(0);
    let mut violated: Vec<(f64, OddSet)> = odd_sets_joined(&used, ends)
        .into_iter()
        .map(|set| {
            let leading_out = used.iter().filter(|(_, way)| set[way.a] != set[way.b]);
            (leading_out.map(|(share, _)| share).sum(), set)
        })
        .filter(|(leading_out, _)| *leading_out < VIOLATED)
        .collect();
    violated.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut left = MOST;
    for (_, set) in violated {
        if left > 0 && known.insert(set.clone()) {
            sets.push(set);
            left -= 1;
        }
    }
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
    set
}
