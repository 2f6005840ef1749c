//! What no order can undercut: a Held–Karp bound (Held & Karp 1970, 1971) for lanes that have two
//! ends and ways that have a direction.
//!
//! In: costs and the seconds of an order at hand. Out: a proven bound, the charges that prove it,
//! and the ways that orders near the bound use.
//!
//! A way joins two ends of lanes; a route is then a tour over the ends in which each lane is an
//! edge that must be driven. Every such tour is a 1-tree, so the cheapest 1-tree that holds the
//! lanes costs no more ([`relaxation`]). It keeps to these rules of tours only as far as charges
//! make it, which every tour pays alike:
//!
//! - one way at each end;
//! - of the two ways of a lane one enters and one leaves: so a way in the wrong direction does not
//!   count the smaller of both costs for long;
//! - one way from each stage of the work to the next;
//! - at least one way out of any odd set of ends (Edmonds 1965; [`odd`]);
//! - at least one way into any set of nodes that holds both directions of a lane, but not the depot (Fischetti, Salazar
//!   González & Toth 1995; [`entered`]).
//!
//! The sets of the last two kinds are found as the trees go.
//! Subgradient ascent with Polyak's step drives the charges, and the best value on the way is the
//! bound. The trees are sought among the promising ways; between times all ways are looked at, and
//! only such a tree proves anything.

use super::order::{BARRED_S, Costs, Node};
use entered::{EnteredSet, pay_out_to};
use odd::{OddSet, pay_out};
use relaxation::{Relaxation, Tree};
use std::collections::BTreeSet;

mod entered;
mod flow;
mod odd;
mod relaxation;

/// Steps without progress after which the stride is shortened.
const PATIENCE: usize = 10;
/// By how much it is shortened, and below which it is not worth a step.
const SHORTENED: f64 = 0.8;
const SHORTEST: f64 = 0.002;
/// The stride at first, from nothing and from charges that proved another bound; and at least where odd sets were
/// found.
const STRIDE: f64 = 1.0;
const STRIDE_AGAIN: f64 = 0.1;
const STRIDE_ON_NEWS: f64 = 0.6;
/// The share of the last direction in the next: it damps the zigzag (Volgenant & Jonker 1982).
const MOMENTUM: f64 = 0.4;
/// The share of the newest tree in the average of trees, which comes near the relaxation's own
/// solution (Barahona & Anbil 2000).
const NEWEST: f64 = 0.06;
/// Steps before the first search for sets that the trees cross too seldom, and between two.
const SETS_AFTER: usize = 60;
const SETS_EVERY: usize = 30;
/// The share of a climb in which they are searched for: no climb settles while what it climbs grows.
const SETS_FOUND_IN: f64 = 0.5;
/// Sets times ends at most: looking at all ways takes time in proportion.
const MOST_SETS: usize = 1_000_000;
/// The ascent ends when the gap is below this share.
const CLOSED: f64 = 1e-6;
/// Taken off for rounding, as a share.
const ROUNDING: f64 = 1e-9;
/// A way with this share in the average of trees is one that orders near the bound use.
const LIKELY: f64 = 0.02;

/// The bound with the charges that prove it.
pub(super) struct Bound {
    /// At most the seconds of the order at hand.
    pub seconds: f64,
    /// Ways that orders near the bound use, with the share that they have in its trees.
    pub likely: Vec<(f64, Node, Node)>,
    charges: Charges,
    odd: Vec<OddSet>,
    entered: Vec<EnteredSet>,
    /// The ends of the promising ways.
    near: Vec<(usize, usize)>,
}

impl Bound {
    /// What the charges add to each way, row by row: with it, all ways that good orders use cost
    /// near the same, others more.
    pub(super) fn added(&self) -> Vec<f64> {
        let ends = self.charges.at_end.len();
        let mut added = Vec::with_capacity(ends * ends);
        for from in 0..ends {
            let leaving = from ^ 1;
            let mut row: Vec<f64> =
                (0..ends).map(|to| self.charges.leaving(leaving) + self.charges.entering(to)).collect();
            pay_out(&mut row, leaving, &self.odd, &self.charges.odd);
            pay_out_to(&mut row, from, &self.entered, &self.charges.entered);
            added.extend(row);
        }
        added
    }
}

/// How long to climb.
#[derive(Copy, Clone)]
pub(super) struct Climb {
    /// Changes of the charges.
    pub steps: usize,
    /// How often all ways are looked at meanwhile.
    pub proofs: usize,
}

/// The bound; `known` is the seconds of an order at hand. The climb begins from what proved another bound
/// for the same lanes, where there is one.
pub(super) fn held_karp(costs: &Costs, known: f64, climb: Climb, begin: Option<&Bound>) -> Bound {
    let goal = known.min(BARRED_S);
    let mut relaxation = Relaxation::of(costs, begin.map_or(&[], |bound| &bound.near));
    let mut ascent = Ascent::new(costs, goal, climb, begin);
    relaxation.cross(&ascent.odd, 0);
    relaxation.enter(&ascent.entered, 0);
    let on_new_ways = if begin.is_some() { STRIDE_AGAIN } else { STRIDE_ON_NEWS };
    let mut proven = 0.0_f64;
    for _ in 0..climb.proofs {
        ascent.climb(&mut relaxation, climb.steps / climb.proofs);
        let seconds = relaxation.prove(&ascent.best.charges, &ascent.odd, &ascent.entered);
        proven = proven.max(seconds);
        if ascent.best.seconds > seconds {
            ascent.best.seconds = seconds;
            ascent.stride = ascent.stride.max(on_new_ways);
            ascent.waited = 0;
        } else if goal - proven <= CLOSED * goal {
            break;
        }
    }
    let seconds = (proven * (1.0 - ROUNDING)).min(known).max(0.0);
    let likely = relaxation.directed(&ascent.average, LIKELY);
    let near = relaxation.ways().iter().map(|way| (way.a, way.b)).collect();
    let Ascent { best, odd, entered, .. } = ascent;
    Bound { seconds, likely, charges: best.charges, odd, entered, near }
}

/// Adds so many of the sets that are not known yet, those first out of or into which least leads.
fn take_new<S: Ord + Clone>(
    mut found: Vec<(f64, S)>,
    most: usize,
    sets: &mut Vec<S>,
    known: &mut BTreeSet<S>,
) {
    found.sort_by(|a, b| a.0.total_cmp(&b.0));
    let new = found.into_iter().map(|(_, set)| set).filter(|set| known.insert(set.clone()));
    sets.extend(new.take(most));
}

/// What is charged, or paid out, for ways.
#[derive(Clone, Debug)]
struct Charges {
    /// For each way at an end.
    at_end: Vec<f64>,
    /// Half of it for each way that enters a lane; half paid out for each that leaves it.
    into_lane: Vec<f64>,
    /// For each way between stages.
    at_passage: f64,
    /// Paid out for each way out of an odd set; never negative.
    odd: Vec<f64>,
    /// Paid out for each way into a set that must be entered; never negative.
    entered: Vec<f64>,
}

impl Charges {
    fn none(costs: &Costs) -> Self {
        let ends = costs.side();
        Self {
            at_end: vec![0.0; ends],
            into_lane: vec![0.0; ends / 2],
            at_passage: 0.0,
            odd: Vec::new(),
            entered: Vec::new(),
        }
    }

    /// For a way that enters at an end.
    fn entering(&self, end: usize) -> f64 {
        self.at_end[end] + 0.5 * self.into_lane[end / 2]
    }

    /// For a way that leaves at an end.
    fn leaving(&self, end: usize) -> f64 {
        self.at_end[end] - 0.5 * self.into_lane[end / 2]
    }

    /// What every tour pays that leads so often from one stage to the next.
    fn paid_by_all(&self, passages: f64) -> f64 {
        let paid_out = self.odd.iter().chain(&self.entered).sum::<f64>();
        self.at_end.iter().sum::<f64>() + passages * self.at_passage - paid_out
    }

    fn all(&self) -> impl Iterator<Item = &f64> {
        self.at_end
            .iter()
            .chain(&self.into_lane)
            .chain([&self.at_passage])
            .chain(&self.odd)
            .chain(&self.entered)
    }

    fn all_mut(&mut self) -> impl Iterator<Item = &mut f64> {
        self.at_end
            .iter_mut()
            .chain(&mut self.into_lane)
            .chain([&mut self.at_passage])
            .chain(&mut self.odd)
            .chain(&mut self.entered)
    }
}

/// Charges and the value of the cheapest tree with them.
struct Reached {
    charges: Charges,
    seconds: f64,
}

/// The climb to charges that prove most.
struct Ascent {
    goal: f64,
    charges: Charges,
    slope: Charges,
    best: Reached,
    odd: Vec<OddSet>,
    known_odd: BTreeSet<OddSet>,
    entered: Vec<EnteredSet>,
    known_entered: BTreeSet<EnteredSet>,
    /// The average of the trees: the share of each promising way in both directions.
    average: Vec<[f64; 2]>,
    stride: f64,
    waited: usize,
    steps: usize,
    /// Steps after which no more sets are searched for.
    sets_until: usize,
}

impl Ascent {
    fn new(costs: &Costs, goal: f64, climb: Climb, begin: Option<&Bound>) -> Self {
        let charges = begin.map_or_else(|| Charges::none(costs), |bound| bound.charges.clone());
        let odd = begin.map_or_else(Vec::new, |bound| bound.odd.clone());
        let entered = begin.map_or_else(Vec::new, |bound| bound.entered.clone());
        Self {
            goal,
            slope: Charges::none(costs),
            best: Reached { charges: charges.clone(), seconds: f64::NEG_INFINITY },
            charges,
            known_odd: odd.iter().cloned().collect(),
            odd,
            known_entered: entered.iter().cloned().collect(),
            entered,
            average: Vec::new(),
            stride: if begin.is_some() { STRIDE_AGAIN } else { STRIDE },
            waited: 0,
            steps: 0,
            sets_until: (SETS_FOUND_IN * climb.steps as f64) as usize,
        }
    }

    fn climb(&mut self, relaxation: &mut Relaxation, steps: usize) {
        for _ in 0..steps {
            let tree = relaxation.cheapest_tree(&self.charges);
            self.remember(&tree, relaxation.len());
            if self.waited >= PATIENCE {
                self.stride *= SHORTENED;
                self.waited = 0;
            }
            let closed = self.goal - self.best.seconds <= CLOSED * self.goal;
            if closed || self.stride < SHORTEST || !self.step(&tree) {
                return;
            }
            self.steps += 1;
            let may_find = self.steps < self.sets_until
                && (self.odd.len() + self.entered.len()) * self.charges.at_end.len() < MOST_SETS;
            if may_find && self.steps >= SETS_AFTER && self.steps.is_multiple_of(SETS_EVERY) {
                self.look_for_sets(relaxation);
            }
        }
    }

    fn remember(&mut self, tree: &Tree, ways: usize) {
        let newest = if self.average.is_empty() { 1.0 } else { NEWEST };
        self.average.resize(ways, [0.0; 2]);
        self.average.as_flattened_mut().iter_mut().for_each(|share| *share *= 1.0 - newest);
        for &(way, forth) in &tree.ways {
            self.average[way][0] += newest * forth;
            self.average[way][1] += newest * (1.0 - forth);
        }
        let progress = 10.0 * CLOSED * self.goal;
        self.waited = if tree.value > self.best.seconds + progress { 0 } else { self.waited + 1 };
        if tree.value > self.best.seconds {
            self.best = Reached { charges: self.charges.clone(), seconds: tree.value };
        }
    }

    /// Changes the charges towards the tree's excess; false where there is none.
    fn step(&mut self, tree: &Tree) -> bool {
        self.slope.odd.resize(tree.excess.odd.len(), 0.0);
        self.slope.entered.resize(tree.excess.entered.len(), 0.0);
        for (own, new) in self.slope.all_mut().zip(tree.excess.all()) {
            *own = MOMENTUM * *own + (1.0 - MOMENTUM) * new;
        }
        let idle = (self.charges.odd.iter().zip(&self.slope.odd))
            .chain(self.charges.entered.iter().zip(&self.slope.entered))
            .filter(|(paid, slope)| **paid <= 0.0 && **slope < 0.0);
        let idle: f64 = idle.map(|(_, slope)| slope * slope).sum();
        let steepness = self.slope.all().map(|x| x * x).sum::<f64>() - idle;
        if steepness <= 1e-9 {
            return false;
        }
        let length = self.stride * (self.goal - tree.value).max(0.0) / steepness;
        for (own, along) in self.charges.all_mut().zip(self.slope.all()) {
            *own += length * along;
        }
        self.charges.odd.iter_mut().chain(&mut self.charges.entered).for_each(|paid| *paid = paid.max(0.0));
        true
    }

    fn look_for_sets(&mut self, relaxation: &mut Relaxation) {
        let (odd, entered) = (self.odd.len(), self.entered.len());
        odd::add_violated(relaxation.ways(), &self.average, &mut self.odd, &mut self.known_odd);
        entered::add_violated(relaxation.ways(), &self.average, &mut self.entered, &mut self.known_entered);
        if self.odd.len() == odd && self.entered.len() == entered {
            return;
        }
        relaxation.cross(&self.odd, odd);
        relaxation.enter(&self.entered, entered);
        for charges in [&mut self.charges, &mut self.best.charges] {
            charges.odd.resize(self.odd.len(), 0.0);
            charges.entered.resize(self.entered.len(), 0.0);
        }
        self.stride = self.stride.max(STRIDE_ON_NEWS);
        self.waited = 0;
    }
}
