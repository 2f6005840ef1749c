//! The cheapest 1-tree over the ends of lanes.
//!
//! In: costs and charges. Out: a tree, what it costs with the charges, and by how much it breaks
//! each rule of tours. Most trees are sought among each end's nearest ways (Kruskal 1956); a proof
//! looks at all ways (Prim 1957) and adds those that it needed to the near ones.
//!
//! A node begins at the end of its own index and leaves at the end of its other direction's.

use super::entered::{EnteredSet, pay_out_from, pay_out_to};
use super::odd::{OddSet, pay_out};
use super::{BARRED_S, Charges, Costs, Node};
use std::collections::BTreeSet;

/// Ways kept for each end and each direction.
const NEAR: usize = 8;
/// Directions whose costs differ by less count half each, seconds.
const SAME_S: f64 = 1e-7;

/// A way between two ends, in both directions.
#[derive(Clone, Debug)]
pub(super) struct Way {
    pub a: usize,
    pub b: usize,
    /// Seconds from `a` to `b`, and from `b` to `a`.
    seconds: [f64; 2],
    is_passage: bool,
    /// The odd sets that it leads out of.
    odd: Vec<u32>,
    /// The sets that it leads into, in both directions.
    entered: [Vec<u32>; 2],
}

impl Way {
    /// Within a stage, out of no set and into none.
    pub(super) const fn between(a: usize, b: usize, seconds: [f64; 2]) -> Self {
        Self { a, b, seconds, is_passage: false, odd: Vec::new(), entered: [Vec::new(), Vec::new()] }
    }

    /// With the charges at its ends, in both directions.
    fn directed(&self, charges: &Charges) -> [f64; 2] {
        let paid_out = |sets: &[u32]| sets.iter().map(|&set| charges.entered[set as usize]).sum::<f64>();
        [
            self.seconds[0] + charges.leaving(self.a) + charges.entering(self.b) - paid_out(&self.entered[0]),
            self.seconds[1] + charges.leaving(self.b) + charges.entering(self.a) - paid_out(&self.entered[1]),
        ]
    }

    fn enter(&mut self, sets: &[EnteredSet], first: usize) {
        for (lists, (from, to)) in self.entered.iter_mut().zip([(self.a ^ 1, self.b), (self.b ^ 1, self.a)]) {
            let entered = (first..sets.len()).filter(|&set| sets[set].is_entered(from, to));
            lists.extend(entered.map(|set| set as u32));
        }
    }

    /// With all charges, in the cheaper direction.
    fn charged(&self, charges: &Charges) -> f64 {
        let [there, back] = self.directed(charges);
        let passage = if self.is_passage { charges.at_passage } else { 0.0 };
        let paid_out: f64 = self.odd.iter().map(|&set| charges.odd[set as usize]).sum();
        there.min(back) + passage - paid_out
    }
}

/// A number that sorts as the seconds do, to the digits that half of it holds, with an index in the other half.
fn ranked(seconds: f64, index: usize) -> u64 {
    let bits = (seconds as f32).to_bits();
    let rank = if bits >> 31 == 0 { bits | 1 << 31 } else { !bits };
    u64::from(rank) << 32 | index as u64
}

/// A tree, as good as none else.
pub(super) struct Tree {
    /// What no tour on the ways looked at undercuts, but for rounding, whatever the charges.
    pub value: f64,
    /// By how much it breaks the rule that goes with each charge.
    pub excess: Charges,
    /// Its ways, each with the share of it that leads from `a` to `b`.
    pub ways: Vec<(usize, f64)>,
}

/// Ends of lanes and the ways between them.
pub(super) struct Relaxation {
    ends: usize,
    /// Seconds of the way that leaves at one end and enters at the other, row by row.
    seconds: Vec<f64>,
    /// The same of the way back.
    seconds_back: Vec<f64>,
    /// Stage of each end; the depot's ends have none.
    stage: Vec<Option<u8>>,
    /// Ways between stages in every tour.
    passages: f64,
    near: Vec<Way>,
    is_near: BTreeSet<(usize, usize)>,
    ranked: Vec<u64>,
}

/// A tour leads from each stage to the next once.
fn passages(costs: &Costs) -> f64 {
    let stages: BTreeSet<u8> = (0..costs.lanes()).map(|lane| costs.stage(lane)).collect();
    stages.len().saturating_sub(1) as f64
}

impl Relaxation {
    /// `promising` are the ends of ways that are promising besides those that are near.
    pub(super) fn of(costs: &Costs, promising: &[(usize, usize)]) -> Self {
        let ends = costs.side();
        let leaving = |end: usize| Node::from_index(end).flipped();
        let way = |from: usize, to: usize| costs.get(leaving(from), Node::from_index(to)).min(BARRED_S);
        let seconds = (0..ends * ends).map(|k| way(k / ends, k % ends)).collect();
        let seconds_back = (0..ends * ends).map(|k| way(k % ends, k / ends)).collect();
        let mut relaxation = Self {
            ends,
            seconds,
            seconds_back,
            stage: (0..ends).map(|end| (end / 2 < costs.lanes()).then(|| costs.stage(end / 2))).collect(),
            passages: passages(costs),
            near: Vec::new(),
            is_near: BTreeSet::new(),
            ranked: Vec::new(),
        };
        for end in 0..ends {
            relaxation.add_nearest(end);
        }
        for &(a, b) in promising {
            relaxation.add(a, b);
        }
        relaxation
    }

    /// The promising ways.
    pub(super) fn ways(&self) -> &[Way] {
        &self.near
    }
    pub(super) fn len(&self) -> usize {
        self.near.len()
    }

    /// Notes which ways lead out of the odd sets from the given one on.
    pub(super) fn cross(&mut self, sets: &[OddSet], first: usize) {
        for way in &mut self.near {
            let crossed = (first..sets.len()).filter(|&set| sets[set].parts(way.a, way.b));
            way.odd.extend(crossed.map(|set| set as u32));
        }
    }

    /// Notes which ways lead into the sets from the given one on.
    pub(super) fn enter(&mut self, sets: &[EnteredSet], first: usize) {
        for way in &mut self.near {
            way.enter(sets, first);
        }
    }

    /// The ways with more than this share.
    pub(super) fn directed(&self, shares: &[[f64; 2]], least: f64) -> Vec<(f64, Node, Node)> {
        let link = |share: f64, from: usize, to: usize| {
            (share, Node::from_index(from).flipped(), Node::from_index(to))
        };
        let both = self
            .near
            .iter()
            .zip(shares)
            .flat_map(|(way, share)| [link(share[0], way.a, way.b), link(share[1], way.b, way.a)]);
        both.filter(|&(share, ..)| share > least).collect()
    }

    /// The cheapest 1-tree among the promising ways: a spanning tree of all lanes and the depot,
    /// in which the depot is met at its first end, and its second end's cheapest way. Ways are sorted by the
    /// first seven digits of their costs: it proves nothing.
    pub(super) fn cheapest_tree(&mut self, charges: &Charges) -> Tree {
        let special = self.ends - 1;
        let mut last = (f64::INFINITY, 0);
        self.ranked.clear();
        for (index, way) in self.near.iter().enumerate() {
            let seconds = way.charged(charges);
            if way.b != special {
                self.ranked.push(ranked(seconds, index));
            } else if seconds < last.0 {
                last = (seconds, index);
            }
        }
        self.ranked.sort_unstable();
        let mut joined: Vec<usize> = (0..self.ends / 2).collect();
        let mut ways = vec![last.1];
        let mut value = last.0 - charges.paid_by_all(self.passages);
        for index in self.ranked.iter().map(|&ranked| ranked as u32 as usize) {
            let way = &self.near[index];
            let (a, b) = (root(&mut joined, way.a / 2), root(&mut joined, way.b / 2));
            if a != b {
                joined[a] = b;
                ways.push(index);
                value += way.charged(charges);
                if ways.len() == self.ends / 2 {
                    break;
                }
            }
        }
        value += (self.ends / 2 - ways.len()) as f64 * BARRED_S;
        let forth = |index: usize| {
            let [there, back] = self.near[index].directed(charges);
            if (there - back).abs() < SAME_S {
                0.5
            } else if there < back {
                1.0
            } else {
                0.0
            }
        };
        let ways: Vec<(usize, f64)> = ways.into_iter().map(|index| (index, forth(index))).collect();
        Tree { value, excess: self.excess(charges, &ways), ways }
    }

    /// The same among all ways: what it costs bounds every tour. Ways that it uses become
    /// promising ones.
    pub(super) fn prove(&mut self, charges: &Charges, odd: &[OddSet], entered: &[EnteredSet]) -> f64 {
        let special = self.ends - 1;
        let mut value = -charges.paid_by_all(self.passages);
        let mut used = Vec::with_capacity(self.ends / 2);
        let mut nearest = vec![(f64::INFINITY, 0); special];
        let mut open: Vec<usize> = (0..special - 1).collect();
        let mut joined = vec![special - 1];
        while !open.is_empty() {
            for &from in &joined {
                let row = self.charged_from(from, charges, odd, entered);
                for &end in &open {
                    if row[end] < nearest[end].0 {
                        nearest[end] = (row[end], from);
                    }
                }
            }
            let next = cheapest(open.iter().map(|&end| (nearest[end].0, end)));
            open.retain(|&end| end / 2 != next.1 / 2);
            joined = vec![next.1, next.1 ^ 1];
            value += next.0;
            used.push((nearest[next.1].1, next.1));
        }
        let row = self.charged_from(special, charges, odd, entered);
        let last = cheapest((0..special - 1).map(|end| (row[end], end)));
        used.push((special, last.1));
        let known = self.near.len();
        for (a, b) in used {
            self.add(a, b);
        }
        for way in &mut self.near[known..] {
            let crossed = (0..odd.len()).filter(|&set| odd[set].parts(way.a, way.b));
            way.odd = crossed.map(|set| set as u32).collect();
            way.enter(entered, 0);
        }
        value + last.0
    }

    /// Ways from one end to every other, with all charges, in the cheaper direction.
    fn charged_from(
        &self,
        from: usize,
        charges: &Charges,
        odd: &[OddSet],
        entered: &[EnteredSet],
    ) -> Vec<f64> {
        let (leaving, entering) = (charges.leaving(from), charges.entering(from));
        let rows = from * self.ends..(from + 1) * self.ends;
        let mut there: Vec<f64> = self.seconds[rows.clone()].to_vec();
        let mut back: Vec<f64> = self.seconds_back[rows].to_vec();
        pay_out_to(&mut there, from ^ 1, entered, &charges.entered);
        pay_out_from(&mut back, from, entered, &charges.entered);
        let ways = there.iter().zip(&back);
        let mut row: Vec<f64> = ways
            .enumerate()
            .map(|(to, (there, back))| {
                let there = there + leaving + charges.entering(to);
                let back = back + charges.leaving(to) + entering;
                there.min(back) + if self.passes(from, to) { charges.at_passage } else { 0.0 }
            })
            .collect();
        pay_out(&mut row, from, odd, &charges.odd);
        row
    }

    fn excess(&self, charges: &Charges, ways: &[(usize, f64)]) -> Charges {
        let mut excess = Charges {
            at_end: vec![-1.0; self.ends],
            into_lane: vec![0.0; self.ends / 2],
            at_passage: -self.passages,
            odd: vec![1.0; charges.odd.len()],
            entered: vec![1.0; charges.entered.len()],
        };
        for (way, share) in ways.iter().map(|&(index, share)| (&self.near[index], share)) {
            excess.at_end[way.a] += 1.0;
            excess.at_end[way.b] += 1.0;
            let forth = share - 0.5;
            way.entered[0].iter().for_each(|&set| excess.entered[set as usize] -= share);
            way.entered[1].iter().for_each(|&set| excess.entered[set as usize] -= 1.0 - share);
            excess.into_lane[way.b / 2] += forth;
            excess.into_lane[way.a / 2] -= forth;
            excess.at_passage += if way.is_passage { 1.0 } else { 0.0 };
            way.odd.iter().for_each(|&set| excess.odd[set as usize] -= 1.0);
        }
        // The depot is entered once and left once whatever the charge.
        excess.into_lane[self.ends / 2 - 1] = 0.0;
        excess
    }

    fn way(&self, from: usize, to: usize) -> f64 {
        self.seconds[from * self.ends + to]
    }

    fn passes(&self, a: usize, b: usize) -> bool {
        matches!((self.stage[a], self.stage[b]), (Some(one), Some(other)) if one != other)
    }

    /// The nearest ways of an end, in either direction and out of it; all of the depot's.
    fn add_nearest(&mut self, end: usize) {
        let most = if end / 2 == self.ends / 2 - 1 { self.ends } else { NEAR };
        let out_of_it = |other: usize| self.way(end, other);
        let either = |other: usize| self.way(end, other).min(self.seconds_back[end * self.ends + other]);
        let lists = [self.nearest_of(end, most, out_of_it), self.nearest_of(end, most, either)];
        for other in lists.into_iter().flatten() {
            self.add(end, other);
        }
    }

    fn nearest_of(&self, end: usize, most: usize, seconds: impl Fn(usize) -> f64) -> Vec<usize> {
        let others = (0..self.ends).filter(|&other| other / 2 != end / 2);
        let priced = others.map(|other| (seconds(other), other));
        let mut priced: Vec<(f64, usize)> = priced.filter(|&(seconds, _)| seconds < BARRED_S).collect();
        if priced.len() > most {
            priced.select_nth_unstable_by(most, |x, y| x.0.total_cmp(&y.0).then(x.1.cmp(&y.1)));
            priced.truncate(most);
        }
        priced.into_iter().map(|(_, other)| other).collect()
    }

    fn add(&mut self, a: usize, b: usize) {
        let (a, b) = (a.min(b), a.max(b));
        if self.is_near.insert((a, b)) {
            let is_passage = self.passes(a, b);
            self.near.push(Way { is_passage, ..Way::between(a, b, [self.way(a, b), self.way(b, a)]) });
        }
    }
}

/// Which set of joined lanes a lane is in.
fn root(joined: &mut [usize], mut lane: usize) -> usize {
    while joined[lane] != lane {
        joined[lane] = joined[joined[lane]];
        lane = joined[lane];
    }
    lane
}

fn cheapest(options: impl Iterator<Item = (f64, usize)>) -> (f64, usize) {
    options.fold((f64::INFINITY, 0), |best, option| if option.0 < best.0 { option } else { best })
}
