//! Sets of nodes that the trees enter too seldom.
//!
//! In: the promising ways and their shares in the average of trees. Out: sets of nodes, among them a lane in
//! both of its directions, into which less than one way leads in that average. A tour drives that lane in one
//! of them and comes from the depot, so at least one way must lead into the set (the generalised subtour
//! elimination of Fischetti, Salazar González & Toth 1995, for ways that have a direction). Without it half of a lane
//! one way and half of it the other could each be part of a little tour of its own.
//!
//! Method: for each lane, the least cut between the depot and its two nodes ([`flow`](super::flow)).

use super::flow::Flow;
use super::relaxation::Way;
use super::take_new;
use std::collections::BTreeSet;

/// So many new sets are taken at once, those most violated first.
const MOST: usize = 40;
/// A set counts as violated if less leads into it than this.
const VIOLATED: f64 = 0.9;
/// Ways with a smaller share are taken to be none.
const NONE: f64 = 0.02;

/// A set of nodes that holds both directions of some lane and not the depot.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct EnteredSet {
    inside: Vec<bool>,
    members: Vec<usize>,
}

impl EnteredSet {
    fn of(inside: Vec<bool>) -> Self {
        let members = (0..inside.len()).filter(|&node| inside[node]).collect();
        Self { inside, members }
    }

    /// Whether a way from a node to another leads into it.
    pub(super) fn is_entered(&self, from: usize, to: usize) -> bool {
        self.inside[to] && !self.inside[from]
    }
}

/// Takes off the ways from one node to every other what is paid out for leading into the sets.
pub(super) fn pay_out_to(ways: &mut [f64], from: usize, sets: &[EnteredSet], paid_out: &[f64]) {
    for (set, &paid_out) in sets.iter().zip(paid_out).filter(|&(set, &paid)| paid > 0.0 && !set.inside[from])
    {
        for &to in &set.members {
            ways[to] -= paid_out;
        }
    }
}

/// Takes off the ways to one node from every other, which stand by the end at which that leaves, what is paid
/// out for leading into the sets.
pub(super) fn pay_out_from(ways: &mut [f64], to: usize, sets: &[EnteredSet], paid_out: &[f64]) {
    let mut off_all = 0.0;
    for (set, &paid_out) in sets.iter().zip(paid_out).filter(|&(set, &paid)| paid > 0.0 && set.inside[to]) {
        off_all += paid_out;
        for &from in &set.members {
            ways[from ^ 1] += paid_out;
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
    sets: &mut Vec<EnteredSet>,
    known: &mut BTreeSet<EnteredSet>,
) {
    let ends = 1 + ways.iter().map(|way| way.a.max(way.b)).max().unwrap_or(0);
    let mut flow = flow_of(ways, shares, ends);
    let mut violated: Vec<(f64, EnteredSet)> = Vec::new();
    let mut seen = vec![false; ends];
    let is_depot: Vec<bool> = (0..ends).map(|node| node == depot_of(ends)).collect();
    for lane in 0..ends / 2 - 1 {
        if seen[2 * lane] && seen[2 * lane + 1] {
            continue;
        }
        if let Some(leads_in) = flow.least_cut(&is_depot, &[2 * lane, 2 * lane + 1], VIOLATED) {
            let set = EnteredSet::of(flow.inside().to_vec());
            set.members.iter().for_each(|&node| seen[node] = true);
            violated.push((leads_in, set));
        }
    }
    take_new(violated, MOST, sets, known);
}

/// The shares as what can flow from node to node. The depot is one node whichever way it is driven.
fn flow_of(ways: &[Way], shares: &[[f64; 2]], ends: usize) -> Flow {
    let depot = depot_of(ends);
    let node = |end: usize| if end / 2 == depot / 2 { depot } else { end };
    let mut flow = Flow::between(ends);
    for (way, share) in ways.iter().zip(shares) {
        for (from, to, share) in [(way.a ^ 1, way.b, share[0]), (way.b ^ 1, way.a, share[1])] {
            if share > NONE {
                flow.add(node(from), node(to), share, 0.0);
            }
        }
    }
    flow
}

const fn depot_of(ends: usize) -> usize {
    ends - 2
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn what_leads_into_a_set_is_paid_for(
            sets in proptest::collection::vec((proptest::collection::vec(any::<bool>(), 8), -1.0..5.0f64), 0..6),
            node in 0..8_usize,
        ) {
            let (sets, paid_out): (Vec<EnteredSet>, Vec<f64>) =
                sets.into_iter().map(|(inside, paid_out)| (EnteredSet::of(inside), paid_out)).unzip();
            let (mut from_it, mut to_it) = (vec![100.0; 8], vec![100.0; 8]);
            pay_out_to(&mut from_it, node, &sets, &paid_out);
            pay_out_from(&mut to_it, node, &sets, &paid_out);
            let after = |from: usize, to: usize| {
                let entered = sets.iter().zip(&paid_out).filter(|(set, _)| set.is_entered(from, to));
                100.0 - entered.map(|(_, paid_out)| paid_out.max(0.0)).sum::<f64>()
            };
            for other in 0..8 {
                prop_assert!((from_it[other] - after(node, other)).abs() < 1e-9);
                prop_assert!((to_it[other ^ 1] - after(other, node)).abs() < 1e-9);
            }
        }
    }

    /// Lanes 0 and 1 are half driven in circles of their own, one in either direction; lane 2 comes from the depot.
    #[test]
    fn a_circle_of_halves_is_found() {
        let way = |a: usize, b: usize| Way::between(a, b, [1.0; 2]);
        let ways = [way(1, 3), way(0, 2), way(4, 7), way(5, 6)];
        let shares = [[0.5, 0.5], [0.5, 0.5], [0.0, 1.0], [1.0, 0.0]];
        let (mut sets, mut known) = (Vec::new(), BTreeSet::new());
        add_violated(&ways, &shares, &mut sets, &mut known);
        assert_eq!(sets.iter().map(|set| set.members.clone()).collect::<Vec<_>>(), [vec![0, 1, 2, 3]]);
        add_violated(&ways, &shares, &mut sets, &mut known);
        assert_eq!(sets.len(), 1);
    }
}
