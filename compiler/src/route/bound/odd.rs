//! Odd sets of ends that the trees leave too seldom.
//!
//! In: the promising ways and their shares in the average of trees. Out: sets with an odd number
//! of ends out of which less than one way leads, in that average. In a tour every end has one way,
//! and these pair the ends off; out of an odd set at least one must lead.
//!
//! Method: least cuts between ends in odd groups (Padberg & Rao 1982), found one by one as those of a cut tree
//! are (Gusfield 1990; [`flow`](super::flow)). Ends that ways join by more than a violated set leaves out are one group
//! from the beginning; those between which so much can flow become one.

use super::flow::Flow;
use super::relaxation::Way;
use super::take_new;
use std::collections::BTreeSet;

/// So many new sets are taken at once, those most violated first.
const MOST: usize = 30;
/// A set counts as violated if less leads out of it than this.
const VIOLATED: f64 = 0.9;
/// Ways with a smaller share are taken to be none.
const NONE: f64 = 0.01;

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
    let ends = 1 + ways.iter().map(|way| way.a.max(way.b)).max().unwrap_or(0);
    let shares = shares.iter().map(|share| share[0] + share[1]);
    let used: Vec<Used> = (ways.iter().zip(shares).filter(|&(_, share)| share > NONE))
        .map(|(way, share)| Used { a: way.a, b: way.b, share })
        .collect();
    take_new(violated(&used, ends), MOST, sets, known);
}

/// Two ends and the share of the way between them.
struct Used {
    a: usize,
    b: usize,
    share: f64,
}

/// Odd sets of several ends out of which too little leads, and how much does.
fn violated(used: &[Used], ends: usize) -> Vec<(f64, OddSet)> {
    let group = groups(used, ends);
    let mut members: Vec<Vec<usize>> = vec![Vec::new(); ends];
    for end in 0..ends {
        members[group[end]].push(end);
    }
    let between: Vec<Used> = (used.iter().map(|way| Used { a: group[way.a], b: group[way.b], ..*way }))
        .filter(|way| way.a != way.b)
        .collect();
    let depot = group[ends - 1];
    let order = outwards(depot, &between, ends);
    let odd: Vec<usize> = order.into_iter().filter(|&group| members[group].len() % 2 == 1).collect();
    least_cuts(&odd, depot, &between, ends)
        .into_iter()
        .map(|(leads_out, groups)| {
            let set: Vec<usize> = groups.iter().flat_map(|&group| &members[group]).copied().collect();
            (leads_out, set)
        })
        .filter(|(_, set)| set.len() % 2 == 1 && set.len() > 1 && set.len() + 1 < ends)
        .map(|(leads_out, set)| (leads_out, set_of(&set, ends)))
        .collect()
}

/// Sets of groups out of which too little leads, that part some of those given from each other or from the depot.
fn least_cuts(some: &[usize], depot: usize, between: &[Used], count: usize) -> Vec<(f64, Vec<usize>)> {
    let mut flow = Flow::between(count);
    for way in between {
        flow.add(way.a, way.b, way.share, way.share);
    }
    let mut cut_from = vec![depot; count];
    let mut same: Vec<usize> = (0..count).collect();
    let mut found = Vec::new();
    for (rank, &one) in some.iter().enumerate().filter(|&(_, &one)| one != depot) {
        let from = same[cut_from[one]];
        let is_from: Vec<bool> = same.iter().map(|&same| same == from).collect();
        let Some(leads_out) = flow.least_cut(&is_from, &[one], VIOLATED) else {
            same[one] = from;
            continue;
        };
        let inside = flow.inside();
        for &later in &some[rank + 1..] {
            if inside[later] && cut_from[later] == cut_from[one] {
                cut_from[later] = one;
            }
        }
        found.push((leads_out, (0..count).filter(|&group| inside[group]).collect()));
    }
    found
}

/// The group of each end, called by the first in it: ends that so large a share joins that it leads out of no violated
/// set.
fn groups(used: &[Used], ends: usize) -> Vec<usize> {
    let mut group: Vec<usize> = (0..ends).collect();
    for way in used.iter().filter(|way| way.share >= VIOLATED) {
        let (one, other) = (group[way.a].min(group[way.b]), group[way.a].max(group[way.b]));
        group.iter_mut().filter(|group| **group == other).for_each(|group| *group = one);
    }
    group
}

/// All groups, from the depot on to those that ways join to it, then any others: the nearer two are, the sooner a cut
/// between them is found.
fn outwards(depot: usize, between: &[Used], count: usize) -> Vec<usize> {
    let mut beside: Vec<Vec<usize>> = vec![Vec::new(); count];
    for way in between {
        beside[way.a].push(way.b);
        beside[way.b].push(way.a);
    }
    let mut order = Vec::with_capacity(count);
    let mut is_in = vec![false; count];
    let mut next = 0;
    for first in std::iter::once(depot).chain(0..count) {
        if !is_in[first] {
            is_in[first] = true;
            order.push(first);
        }
        while let Some(&group) = order.get(next) {
            next += 1;
            for &other in &beside[group] {
                if !is_in[other] {
                    is_in[other] = true;
                    order.push(other);
                }
            }
        }
    }
    order
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

    /// Ends 0 to 4 hang together by halves. The heaviest way of all, from end 0 to end 5, does not make it a set of six,
    /// which it is all right to leave never.
    #[test]
    fn an_odd_set_beside_a_heavy_way_is_found() {
        let halves = [(1, 2), (2, 3), (3, 4), (4, 5), (5, 1), (0, 1)];
        let halves = halves.map(|(a, b)| Used { a, b, share: if (a, b) == (0, 1) { 0.1 } else { 0.5 } });
        let heavy = [(0, 6), (7, 8), (6, 9)].map(|(a, b)| Used { a, b, share: 0.8 });
        let used: Vec<Used> = halves.into_iter().chain(heavy).collect();
        let found = violated(&used, 10);
        let sets: Vec<&[usize]> = found.iter().map(|(_, set)| &set.fewer[..]).collect();
        assert!(sets.contains(&&[1, 2, 3, 4, 5][..]) || sets.contains(&&[0, 6, 7, 8, 9][..]), "{sets:?}");
    }

    proptest! {
        /// If an odd set of several ends is left by too little, and by less than any one end, such a set is found, and
        /// nothing else is.
        #[test]
        fn violated_sets_are_found_where_there_are_any(
            shares in proptest::collection::vec(prop_oneof![2 => Just(0.0), 1 => 0.05..1.0f64], 28),
        ) {
            let pairs = (0..8).flat_map(|a| (a + 1..8).map(move |b| (a, b)));
            let used: Vec<Used> =
                pairs.zip(shares).filter(|&(_, share)| share > 0.0).map(|((a, b), share)| Used { a, b, share }).collect();
            let leads_out = |inside: &dyn Fn(usize) -> bool| {
                used.iter().filter(|way| inside(way.a) != inside(way.b)).map(|way| way.share).sum::<f64>()
            };
            let odd = (0..128_u32).filter(|set| set.count_ones() % 2 == 1);
            let least_of = |several: bool| {
                let sets = odd.clone().filter(|set| (set.count_ones() > 1 && set.count_ones() < 7) == several);
                sets.map(|set| leads_out(&|end| set >> end & 1 == 1)).fold(f64::INFINITY, f64::min)
            };
            let least = least_of(true);
            let found = violated(&used, 8);
            if least < VIOLATED - 0.02 && least < least_of(false) - 0.02 {
                prop_assert!(!found.is_empty());
            }
            for (told, set) in found {
                prop_assert!(set.inside.iter().filter(|&&inside| inside).count() % 2 == 1 && !set.inside[7]);
                let leading_out = leads_out(&|end| set.inside[end]);
                prop_assert!(leading_out < VIOLATED + 0.02 && (told - leading_out).abs() < 0.02);
            }
        }
    }

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
