//! Least cuts between nodes that shares of ways join.
//!
//! In: arcs with what can flow along them. Out: the set of nodes round some of them into which least leads from
//! another.
//!
//! Method: augmenting paths (Ford & Fulkerson 1956), shortest first (Edmonds & Karp 1972), from the set outwards, so
//! that the smallest of equal sets is found.

/// What is left to flow along an arc counts if it is more than this: at first only much, at last almost anything, so that
/// few paths carry most (Gabow 1985).
const COUNTING: [f64; 3] = [0.2, 0.05, 0.01];

/// Nodes and arcs.
pub(super) struct Flow {
    /// From each node: arcs by their index; an arc and its way back follow each other.
    arcs_of: Vec<Vec<u32>>,
    arcs: Vec<Arc>,
    /// Arcs along which something flows, some of them more than once.
    flowing: Vec<u32>,
    inside: Vec<bool>,
    /// The nodes inside, in the order in which they were reached.
    reached: Vec<usize>,
    /// The arc from each of them on the way to the first.
    by: Vec<Option<u32>>,
}

struct Arc {
    to: usize,
    capacity: f64,
    left: f64,
}

impl Flow {
    /// Without arcs.
    pub(super) fn between(nodes: usize) -> Self {
        Self {
            arcs_of: vec![Vec::new(); nodes],
            arcs: Vec::new(),
            flowing: Vec::new(),
            inside: vec![false; nodes],
            reached: Vec::new(),
            by: vec![None; nodes],
        }
    }

    /// Joins two nodes by what can flow from the one to the other, and back.
    pub(super) fn add(&mut self, from: usize, to: usize, there: f64, back: f64) {
        for (one, other, capacity) in [(from, to, there), (to, from, back)] {
            self.arcs_of[one].push(self.arcs.len() as u32);
            self.arcs.push(Arc { to: other, capacity, left: capacity });
        }
    }

    /// How much flows at most from some nodes, which are told for each, to some others, if less than so much; then
    /// [`Self::inside`] tells the set round these into which so little leads.
    pub(super) fn least_cut(&mut self, is_from: &[bool], others: &[usize], enough: f64) -> Option<f64> {
        for arc in self.flowing.drain(..) {
            let pair = arc as usize & !1;
            self.arcs[pair..pair + 2].iter_mut().for_each(|arc| arc.left = arc.capacity);
        }
        let mut flow = 0.0;
        for counting in COUNTING {
            while let Some(from) = self.open_from(is_from, others, counting) {
                flow += self.augment(from);
                if flow >= enough {
                    return None;
                }
            }
        }
        Some(flow)
    }

    /// Whether each node is in the set that was found last.
    pub(super) fn inside(&self) -> &[bool] {
        &self.inside
    }

    /// The node from which more than so much can flow yet to some others.
    fn open_from(&mut self, is_from: &[bool], others: &[usize], counting: f64) -> Option<usize> {
        for node in self.reached.drain(..) {
            self.inside[node] = false;
        }
        for &other in others {
            self.reach(other, None);
        }
        let mut next = 0;
        while let Some(&at) = self.reached.get(next) {
            next += 1;
            for nth in 0..self.arcs_of[at].len() {
                let arc = self.arcs_of[at][nth];
                let before = self.arcs[arc as usize].to;
                if !self.inside[before] && self.arcs[arc as usize ^ 1].left > counting {
                    self.reach(before, Some(arc ^ 1));
                    if is_from[before] {
                        return Some(before);
                    }
                }
            }
        }
        None
    }

    fn reach(&mut self, node: usize, by: Option<u32>) {
        self.inside[node] = true;
        self.by[node] = by;
        self.reached.push(node);
    }

    /// Lets flow what can along the way found last.
    fn augment(&mut self, from: usize) -> f64 {
        let first = self.flowing.len();
        let mut most = f64::INFINITY;
        let mut at = from;
        while let Some(arc) = self.by[at] {
            self.flowing.push(arc);
            most = most.min(self.arcs[arc as usize].left);
            at = self.arcs[arc as usize].to;
        }
        for &arc in &self.flowing[first..] {
            self.arcs[arc as usize].left -= most;
            self.arcs[arc as usize ^ 1].left += most;
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
            prop_assume!((least - 1.5).abs() > 0.05);
            let found = flow.least_cut(&[true, false, false, false, false, false], &[4, 5], 1.5);
            prop_assert_eq!(found.is_some(), least < 1.5);
            if let Some(found) = found {
                let set = flow.inside().iter().enumerate().map(|(node, &inside)| u32::from(inside) << node).sum();
                prop_assert!((leads_in(set) - least).abs() < 0.02 && (found - least).abs() < 0.02);
            }
        }
    }
}
