//! Least cuts between nodes that shares of ways join.
//!
//! In: arcs with what can flow along them. Out: the set of nodes round some of them into which least leads from
//! another.
//!
//! Method: augmenting paths (Ford & Fulkerson 1956), shortest first (Edmonds & Karp 1972), from the set outwards, so
//! that the smallest of equal sets is found.

use std::collections::VecDeque;

/// What is left to flow along an arc that is smaller than this does not count.
const NONE: f64 = 1e-3;

/// Nodes and arcs.
pub(super) struct Flow {
    /// From each node: arcs by their index; an arc and its way back follow each other.
    arcs_of: Vec<Vec<usize>>,
    to: Vec<usize>,
    capacity: Vec<f64>,
    left: Vec<f64>,
    /// The arc from each node on the way to the set.
    by: Vec<Option<usize>>,
    inside: Vec<bool>,
    queue: VecDeque<usize>,
}

impl Flow {
    /// Without arcs.
    pub(super) fn between(nodes: usize) -> Self {
        Self {
            arcs_of: vec![Vec::new(); nodes],
            to: Vec::new(),
            capacity: Vec::new(),
            left: Vec::new(),
            by: vec![None; nodes],
            inside: vec![false; nodes],
            queue: VecDeque::new(),
        }
    }

    /// Joins two nodes by what can flow from the one to the other, and back.
    pub(super) fn add(&mut self, from: usize, to: usize, there: f64, back: f64) {
        for (one, other, capacity) in [(from, to, there), (to, from, back)] {
            self.arcs_of[one].push(self.to.len());
            self.to.push(other);
            self.capacity.push(capacity);
        }
    }

    /// How much flows at most from some nodes, which are told for each, to some others, if less than so much; then
    /// [`Self::inside`] tells the set round these into which so little leads.
    pub(super) fn least_cut(&mut self, is_from: &[bool], others: &[usize], enough: f64) -> Option<f64> {
        self.left.clone_from(&self.capacity);
        let mut flow = 0.0;
        while let Some(from) = self.reached(is_from, others) {
            flow += self.augment(from);
            if flow >= enough {
                return None;
            }
        }
        Some(flow)
    }

    /// Whether each node is in the set that was found last.
    pub(super) fn inside(&self) -> &[bool] {
        &self.inside
    }

    /// The node from which something can flow yet to some others.
    fn reached(&mut self, is_from: &[bool], others: &[usize]) -> Option<usize> {
        self.inside.fill(false);
        self.by.fill(None);
        self.queue.clear();
        for &other in others {
            self.inside[other] = true;
            self.queue.push_back(other);
        }
        while let Some(at) = self.queue.pop_front() {
            for &arc in &self.arcs_of[at] {
                let before = self.to[arc];
                if !self.inside[before] && self.left[arc ^ 1] > NONE {
                    self.inside[before] = true;
                    self.by[before] = Some(arc ^ 1);
                    if is_from[before] {
                        return Some(before);
                    }
                    self.queue.push_back(before);
                }
            }
        }
        None
    }

    /// Lets flow what can along the way found last.
    fn augment(&mut self, from: usize) -> f64 {
        let mut most = f64::INFINITY;
        let mut at = from;
        while let Some(arc) = self.by[at] {
            most = most.min(self.left[arc]);
            at = self.to[arc];
        }
        at = from;
        while let Some(arc) = self.by[at] {
            self.left[arc] -= most;
            self.left[arc ^ 1] += most;
            at = self.to[arc];
        }
        most
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn the_cut_is_the_least_of_all(shares in proptest::collection::vec(0.0..1.0f64, 30)) {
            let mut flow = Flow::between(6);
            let mut arcs = Vec::new();
            let pairs = (0..6).flat_map(|a| (0..6).filter(move |&b| a != b).map(move |b| (a, b)));
            for ((a, b), share) in pairs.zip(shares).filter(|&(_, share)| share > 0.5) {
                flow.add(a, b, share, 0.0);
                arcs.push((a, b, share));
            }
            let leads_in = |set: u32| {
                let inside = |node: usize| set >> node & 1 == 1;
                arcs.iter().filter(|&&(a, b, _)| !inside(a) && inside(b)).map(|(.., share)| share).sum::<f64>()
            };
            let least = (0..64_u32).filter(|set| set & 0b11_0001 == 0b11_0000).map(leads_in).fold(f64::INFINITY, f64::min);
            let found = flow.least_cut(&[true, false, false, false, false, false], &[4, 5], 1.5);
            prop_assert_eq!(found.is_some(), least < 1.5);
            if let Some(found) = found {
                let set = flow.inside().iter().enumerate().map(|(node, &inside)| u32::from(inside) << node).sum();
                prop_assert!((leads_in(set) - least).abs() < 0.02 && (found - least).abs() < 0.02);
            }
        }
    }
}
