//! What no order can undercut: the Held–Karp bound (Held & Karp 1970, 1971).
//!
//! A lane has two ends; a way joins two of them, at the smaller of its costs in either direction.
//! A route is then a tour over the ends in which each lane is an edge that must be driven. Every
//! such tour is a 1-tree with two edges at each end, so the cheapest 1-tree that holds the lanes
//! costs no more. Charges at the ends, which every tour pays alike, drive its degrees towards two
//! (subgradient ascent with Polyak's step), and the best value on the way is the bound. One more
//! charge makes the tree pass exactly once from one stage to the next.

use super::order::{BARRED_S, Costs, Node};

/// Steps without progress after which the stride is halved.
const PATIENCE: usize = 12;
/// The ascent ends when the gap is below this share.
const CLOSED: f64 = 1e-6;
/// Taken off for rounding, as a share.
const ROUNDING: f64 = 1e-9;

/// The bound with the charges that prove it.
pub(super) struct Bound {
    /// At most the seconds of the order at hand.
    pub seconds: f64,
    pub charges: Charges,
}

/// The bound after so many steps; `known` is the seconds of an order at hand.
pub(super) fn held_karp(costs: &Costs, known: f64, begin: &Charges, steps: usize) -> Bound {
    let ends = Ends::of(costs);
    let goal = known.min(BARRED_S);
    let mut charges = begin.clone();
    let mut slope = Charges::none(costs);
    let mut best = 0.0_f64;
    let mut proving = charges.clone();
    let mut stride = 1.0;
    let mut waited = 0;
    for _ in 0..steps {
        let tree = ends.cheapest_tree(&charges);
        waited = if tree.value > best + CLOSED * goal { 0 } else { waited + 1 };
        if tree.value > best {
            best = tree.value;
            proving.clone_from(&charges);
        }
        if waited >= PATIENCE {
            stride *= 0.5;
            waited = 0;
        }
        // Mixing in the last direction damps the zigzag (Volgenant & Jonker 1982).
        slope.mix(&tree.excess);
        let steepness = slope.squared();
        if goal - best <= CLOSED * goal || steepness <= 0.0 || stride < 1e-4 {
            break;
        }
        charges.add(&slope, stride * (goal - tree.value).max(0.0) / steepness);
    }
    Bound { seconds: (best * (1.0 - ROUNDING)).min(known), charges: proving }
}

/// What is charged for each way at an end, and for each way between stages.
#[derive(Clone, Debug)]
pub(super) struct Charges {
    at_end: Vec<f64>,
    at_passage: f64,
}

impl Charges {
    pub(super) fn none(costs: &Costs) -> Self {
        Self { at_end: vec![0.0; costs.side()], at_passage: 0.0 }
    }

    /// What a way costs with the charges at its ends: near the same for all ways that good orders
    /// use, more for others.
    pub(super) fn reduced(&self, costs: &Costs, from: Node, to: Node) -> f64 {
        costs.get(from, to) + self.at_end[from.flipped().index()] + self.at_end[to.index()]
    }

    fn mix(&mut self, newer: &Self) {
        for (own, new) in self.at_end.iter_mut().zip(&newer.at_end) {
            *own = 0.3 * *own + 0.7 * new;
        }
        self.at_passage = 0.3 * self.at_passage + 0.7 * newer.at_passage;
    }
    fn squared(&self) -> f64 {
        self.at_end.iter().map(|x| x * x).sum::<f64>() + self.at_passage * self.at_passage
    }
    fn add(&mut self, slope: &Self, length: f64) {
        for (own, along) in self.at_end.iter_mut().zip(&slope.at_end) {
            *own += length * along;
        }
        self.at_passage += length * slope.at_passage;
    }
}

struct Tree {
    /// A lower bound, whatever the charges.
    value: f64,
    /// Ways at each end beyond one; ways between stages beyond one.
    excess: Charges,
}

/// The symmetric relaxation: ends of lanes and the ways between them.
///
/// A node begins at the end of its own index and leaves at the end of its other direction's.
struct Ends {
    count: usize,
    way: Vec<f64>,
    /// Stage of each end; the depot's ends have none.
    stage: Vec<Option<u8>>,
    staged: bool,
}

impl Ends {
    fn of(costs: &Costs) -> Self {
        let count = costs.side();
        let leaving = |end: usize| Node::from_index(end).flipped();
        let entering = Node::from_index;
        let way = (0..count * count)
            .map(|k| (k / count, k % count))
            .map(|(a, b)| costs.get(leaving(a), entering(b)).min(costs.get(leaving(b), entering(a))))
            .map(|seconds| seconds.min(BARRED_S))
            .collect();
        let stage: Vec<Option<u8>> =
            (0..count).map(|end| (end / 2 < costs.lanes()).then(|| costs.stage(end / 2))).collect();
        let staged = (0..costs.lanes()).any(|lane| costs.stage(lane) != costs.stage(0));
        Self { count, way, stage, staged }
    }

    fn passes(&self, a: usize, b: usize) -> bool {
        matches!((self.stage[a], self.stage[b]), (Some(one), Some(other)) if one != other)
    }

    fn charged(&self, charges: &Charges, a: usize, b: usize) -> f64 {
        let passage = if self.staged && self.passes(a, b) { charges.at_passage } else { 0.0 };
        self.way[a * self.count + b] + charges.at_end[a] + charges.at_end[b] + passage
    }

    /// The cheapest 1-tree that holds every lane: a spanning tree of all ends but the depot's
    /// second (Prim 1957), and that one's cheapest way.
    fn cheapest_tree(&self, charges: &Charges) -> Tree {
        let special = self.count - 1;
        let mut value = -charges.at_end.iter().sum::<f64>();
        let mut excess = Charges { at_end: vec![-1.0; self.count], at_passage: 0.0 };
        if self.staged {
            value -= charges.at_passage;
            excess.at_passage = -1.0;
        }
        let mut hold = |a: usize, b: usize| {
            value += self.charged(charges, a, b);
            excess.at_end[a] += 1.0;
            excess.at_end[b] += 1.0;
            if self.staged && self.passes(a, b) {
                excess.at_passage += 1.0;
            }
        };
        let mut open: Vec<usize> = (0..special - 1).collect();
        let mut nearest = vec![(f64::INFINITY, 0); special];
        let mut joined = vec![special - 1];
        while !open.is_empty() {
            for &from in &joined {
                for &end in &open {
                    let seconds = self.charged(charges, from, end);
                    if seconds < nearest[end].0 {
                        nearest[end] = (seconds, from);
                    }
                }
            }
            let next = cheapest(open.iter().map(|&end| (nearest[end].0, end)));
            hold(nearest[next].1, next);
            joined = vec![next, next ^ 1];
            open.retain(|&end| end / 2 != next / 2);
        }
        hold(special, cheapest((0..special - 1).map(|end| (self.charged(charges, special, end), end))));
        Tree { value, excess }
    }
}

fn cheapest(options: impl Iterator<Item = (f64, usize)>) -> usize {
    options.fold((f64::INFINITY, 0), |best, option| if option.0 < best.0 { option } else { best }).1
}
