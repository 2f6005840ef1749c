//! Parts of a field that are driven one after another.
//!
//! In: which lanes hang together. Out: the parts worth driving, each with where its order may begin
//! and end, and its lanes' costs numbered on their own.
//!
//! Between parts a person moves the machine. Soil that does not touch the rest is worth that
//! always; a pocket of soil that touches it, but that the machine cannot drive to, only from
//! [`WORTH_MOVING_M`] on.

use super::order::{Costs, Node, Order, links};
use super::ways::{Link, Ways};
use crate::geometry::{Pose, distance};
use crate::lanes::LanePlan;
use std::collections::BTreeSet;

/// Metres of lanes for which a person moves the machine: some minutes of sowing.
const WORTH_MOVING_M: f64 = 100.0;

/// Lanes that are driven in one go.
#[derive(Clone, Debug)]
pub(super) struct Part {
    /// In rising order.
    pub lanes: Vec<usize>,
    /// Whether the order begins at the depot; else anywhere.
    pub from_home: bool,
    /// Whether it ends there.
    pub to_home: bool,
}

/// The parts in the order of their size, the one that home belongs to first.
pub(super) fn parts(ways: &Ways, plan: &LanePlan, with_home: bool) -> Vec<Part> {
    let mut groups = ways.groups(|lane| plan.lanes[lane].line.length());
    let mut reached: BTreeSet<Option<u32>> = BTreeSet::new();
    groups.retain(|group| reached.insert(ways.soil_part(group.lanes[0])) || group.metres >= WORTH_MOVING_M);
    let several = groups.len() > 1;
    groups
        .into_iter()
        .enumerate()
        .map(|(rank, group)| {
            let from_home = with_home && rank == 0 && group.is_served;
            Part { lanes: group.lanes, from_home, to_home: from_home && !several }
        })
        .collect()
}

/// The part with a lane that begins nearest.
pub(super) fn nearest_part(parts: &[Part], from: Pose, plan: &LanePlan) -> usize {
    let away = |part: &Part| {
        let begins = part.lanes.iter().map(|&lane| distance(from.at, plan.lanes[lane].line.start.at));
        begins.fold(f64::INFINITY, f64::min)
    };
    (0..parts.len()).min_by(|&a, &b| away(&parts[a]).total_cmp(&away(&parts[b]))).unwrap_or(0)
}

impl Part {
    /// The costs of its lanes.
    pub(super) fn costs(&self, ways: &Ways) -> Costs {
        let stages = self.lanes.iter().map(|&lane| ways.stages()[lane]).collect();
        let mut costs = ways.costs().only(&self.lanes, stages);
        let depot = costs.depot();
        for node in costs.nodes() {
            if !self.from_home {
                costs.set(depot, node, 0.0);
            }
            if !self.to_home {
                costs.set(node, depot, 0.0);
            }
        }
        costs
    }

    /// Its costs without those of ways that are not known to be drivable.
    pub(super) fn known(&self, costs: &Costs, ways: &Ways) -> Costs {
        let barred = Costs::barred((0..costs.lanes()).map(|lane| costs.stage(lane)).collect());
        self.with_known(barred, costs, ways)
    }

    /// Its costs with those of ways that are not known as the ways that are let expect.
    pub(super) fn expected(&self, costs: &Costs, ways: &Ways) -> Costs {
        let depot = costs.depot();
        let nodes = costs.nodes().chain([depot]).map(|node| self.in_all(ways.costs(), (node, depot)).0);
        let (leaving, entering): (Vec<f64>, Vec<f64>) = nodes.map(|node| ways.beyond_s(node)).unzip();
        self.with_known(costs.clone().raised(&leaving, &entering), costs, ways)
    }

    /// Its costs with ways that count a chain at the least that they could take.
    pub(super) fn at_least(&self, costs: &Costs, ways: &Ways) -> Costs {
        let (all, depot) = (ways.costs(), costs.depot());
        let mut least = costs.clone();
        for ((from, to), minimum_s) in ways.chained().filter(|&(link, _)| self.drives(all, link)) {
            if let (Some(from), Some(to)) = (self.own(all, from, depot), self.own(all, to, depot)) {
                least.set(from, to, minimum_s);
            }
        }
        least
    }

    /// Other costs, with its own for ways that are known and for those that lead from or to nowhere.
    fn with_known(&self, mut other: Costs, costs: &Costs, ways: &Ways) -> Costs {
        let (all, depot) = (ways.costs(), costs.depot());
        let own = |link: Link| Some((self.own(all, link.0, depot)?, self.own(all, link.1, depot)?));
        let driven = ways.known().filter(|&link| self.drives(all, link)).filter_map(own);
        let free = costs.nodes().flat_map(|node| [(depot, node), (node, depot)]);
        let free = free.filter(|&(from, _)| if from == depot { !self.from_home } else { !self.to_home });
        for (from, to) in driven.chain(free) {
            other.set(from, to, costs.get(from, to));
        }
        other
    }

    /// A node of all as one of its own.
    fn own(&self, all: &Costs, node: Node, depot: Node) -> Option<Node> {
        match self.lanes.binary_search(&node.lane()) {
            Ok(lane) => Some(node.of(lane)),
            Err(_) => (node == all.depot()).then_some(depot),
        }
    }

    /// Brings the costs of its lanes up to date with what was planned.
    pub(super) fn renew(&self, costs: &mut Costs, ways: &mut Ways) {
        let own = |node: Node| self.own(ways.costs(), node, costs.depot());
        let changed: Vec<(Node, Node, f64)> = ways
            .changed()
            .iter()
            .filter(|&&link| self.drives(ways.costs(), link))
            .filter_map(|&(from, to)| Some((own(from)?, own(to)?, ways.costs().get(from, to))))
            .collect();
        ways.forget_changed();
        for (from, to, seconds) in changed {
            costs.set(from, to, seconds);
        }
    }

    /// The ways of an order of its lanes, in nodes of all; without those that lead from or to
    /// nowhere.
    pub(super) fn links<'a>(&'a self, all: &'a Costs, order: &'a Order) -> impl Iterator<Item = Link> + 'a {
        let links: Vec<Link> = links(all, &self.order_in_all(order).nodes).collect();
        links.into_iter().filter(|&link| self.drives(all, link))
    }

    /// Whether the machine drives the way, if it is in the order; else it leads from or to nowhere.
    pub(super) fn drives(&self, all: &Costs, (from, to): Link) -> bool {
        (self.from_home || from != all.depot()) && (self.to_home || to != all.depot())
    }

    /// An order of its lanes, in nodes of all.
    pub(super) fn order_in_all(&self, order: &Order) -> Order {
        Order { nodes: order.nodes.iter().map(|node| node.of(self.lanes[node.lane()])).collect(), ..*order }
    }

    /// A way between its lanes, in nodes of all.
    pub(super) fn in_all(&self, all: &Costs, (from, to): Link) -> Link {
        let in_all = |node: Node| self.lanes.get(node.lane()).map_or(all.depot(), |&lane| node.of(lane));
        (in_all(from), in_all(to))
    }
}

/// The lanes without those at which a stuck order, in nodes of all, needs a barred way: of the two
/// lanes of such a way, the one with fewer ways.
pub(super) fn without_dead_ends(ways: &Ways, lanes: &[usize], stuck: &Order) -> Vec<usize> {
    let costs = ways.costs();
    let count = |node: Node| {
        let others = costs.nodes().filter(|&other| costs.get(node, other).is_finite()).count();
        others + costs.nodes().filter(|&other| costs.get(other, node).is_finite()).count()
    };
    let barred = links(costs, &stuck.nodes).filter(|&(from, to)| !costs.get(from, to).is_finite());
    let mut lone: BTreeSet<usize> = barred
        .map(|(from, to)| match (from == costs.depot(), to == costs.depot()) {
            (true, _) => to.lane(),
            (_, true) => from.lane(),
            _ if count(to) < count(from) => to.lane(),
            _ => from.lane(),
        })
        .collect();
    if lone.is_empty() {
        lone.extend(lanes.first());
    }
    lanes.iter().copied().filter(|lane| !lone.contains(lane)).collect()
}
