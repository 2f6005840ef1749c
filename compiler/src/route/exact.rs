//! The optimum for few lanes: the dynamic program of Held & Karp (1962) over the set of lanes
//! driven and the node driven last. Takes `2ⁿ · 2n` numbers, hence only for few.

use super::order::{Costs, Node};
use std::sync::Arc;

/// The cheapest order; barred ways are used only where there is no other way.
pub(super) fn optimum(costs: &Costs) -> Vec<Node> {
    let lanes = costs.lanes();
    if lanes == 0 {
        return Vec::new();
    }
    let table = Table::filled(costs);
    let all = (1 << lanes) - 1;
    let mut set = all;
    let mut next = costs.depot().index();
    let mut nodes = Vec::with_capacity(lanes);
    while set != 0 {
        let last = table.cheapest_last(set, next);
        nodes.push(Node::from_index(last));
        set &= !(1 << (last / 2));
        next = last;
    }
    nodes.reverse();
    nodes
}

/// For each set of lanes and each node: seconds of the best way from the depot through the whole
/// set, that node last.
struct Table {
    side: usize,
    nodes: usize,
    way: Arc<Vec<f64>>,
    seconds: Vec<f64>,
}

impl Table {
    fn filled(costs: &Costs) -> Self {
        let nodes = 2 * costs.lanes();
        let sets = 1_usize << costs.lanes();
        let mut table = Self {
            side: costs.side(),
            nodes,
            way: costs.penalised(),
            seconds: vec![f64::INFINITY; sets * nodes],
        };
        let depot = costs.depot().index();
        for set in 1..sets {
            for node in 0..nodes {
                let before = set & !(1 << (node / 2));
                if before == set {
                    continue;
                }
                table.seconds[set * nodes + node] = if before == 0 {
                    table.way[depot * table.side + node]
                } else {
                    table.through(before, table.cheapest_last(before, node), node)
                };
            }
        }
        table
    }

    fn through(&self, set: usize, last: usize, next: usize) -> f64 {
        self.seconds[set * self.nodes + last] + self.way[last * self.side + next]
    }

    /// The node to drive last in the set if `next` follows; the first of equals.
    fn cheapest_last(&self, set: usize, next: usize) -> usize {
        let mut best = (f64::INFINITY, 0);
        for last in 0..self.nodes {
            let seconds = self.through(set, last, next);
            if seconds < best.0 {
                best = (seconds, last);
            }
        }
        best.1
    }
}
