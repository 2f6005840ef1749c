//! Which lanes can be driven in one go, where not all can.

use super::order::{Costs, Node};

/// The lanes of the largest set in which every lane leads to every other, by length; those from
/// which the depot can be reached and that can be reached from it come first.
pub(super) fn drivable_together(costs: &Costs, lanes: &[usize], length: impl Fn(usize) -> f64) -> Vec<usize> {
    let depot = costs.depot();
    let nodes: Vec<Node> = lanes.iter().flat_map(|&lane| [Node::along(lane), Node::back(lane)]).collect();
    let mut left = nodes.clone();
    let mut best: (bool, f64, Vec<usize>) = (false, -1.0, Vec::new());
    while let Some(&seed) = left.first() {
        let onward = reached(&nodes, seed, |from, to| costs.way(from, to).is_finite());
        let backward = reached(&nodes, seed, |from, to| costs.way(to, from).is_finite());
        let together: Vec<Node> = onward.into_iter().filter(|node| backward.contains(node)).collect();
        left.retain(|node| !together.contains(node));
        let served = together.iter().any(|&node| costs.way(depot, node).is_finite())
            && together.iter().any(|&node| costs.way(node, depot).is_finite());
        let mut members: Vec<usize> = together.iter().map(|node| node.lane()).collect();
        members.sort_unstable();
        members.dedup();
        let size: f64 = members.iter().map(|&lane| length(lane)).sum();
        if (served, size) > (best.0, best.1) {
            best = (served, size, members);
        }
    }
    if best.0 { best.2 } else { Vec::new() }
}

/// The lanes without those at which a stuck order needs a barred way: of the two lanes of such a
/// way, the one with fewer ways.
pub(super) fn without_dead_ends(costs: &Costs, lanes: &[usize], stuck: &super::Order) -> Vec<usize> {
    let ways = |node: Node| {
        let others = costs.nodes().filter(|&other| costs.way(node, other).is_finite()).count();
        others + costs.nodes().filter(|&other| costs.way(other, node).is_finite()).count()
    };
    let barred =
        super::order::links(costs, &stuck.nodes).filter(|&(from, to)| !costs.get(from, to).is_finite());
    let lone: Vec<usize> = barred
        .map(|(from, to)| match (from == costs.depot(), to == costs.depot()) {
            (true, _) => to.lane(),
            (_, true) => from.lane(),
            _ if ways(to) < ways(from) => to.lane(),
            _ => from.lane(),
        })
        .collect();
    lanes.iter().copied().filter(|lane| !lone.contains(lane)).collect()
}

fn reached(nodes: &[Node], seed: Node, leads: impl Fn(Node, Node) -> bool) -> Vec<Node> {
    let mut found = vec![seed];
    let mut next = 0;
    while let Some(&from) = found.get(next) {
        next += 1;
        let more: Vec<Node> =
            nodes.iter().copied().filter(|&to| !found.contains(&to) && leads(from, to)).collect();
        found.extend(more);
    }
    found
}
