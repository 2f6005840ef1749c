//! What joins the ends of lanes: the network that chains lead over.
//!
//! In: ends of lanes of which few are joined. Out: a network in which all lanes hang together between which a way
//! is found, and the groups that they fall into.

use super::super::network::Vertex;
use super::super::order::Node;
use super::{Link, Ways};
use crate::geometry::{Path, Pose};
use crate::turns::{Drive, FreeSpace, Manoeuvre, Toll, closed_form, direct, lower_bound_s, searched};
use rayon::prelude::*;
use std::collections::{BTreeMap, BTreeSet};

/// Searches through the free space that may join what nothing else joins.
const JOINING_SEARCHES: usize = 24;

/// Lanes each of which leads to every other.
#[derive(Clone, Debug)]
pub(in crate::route) struct Group {
    /// In rising order.
    pub lanes: Vec<usize>,
    /// Their length.
    pub metres: f64,
    /// Whether ways lead to them from where the machine stands, and back.
    pub is_served: bool,
}

/// Where a way between groups begins and ends.
type Pair = (Vertex, Vertex);

/// How such a way is found.
type Find = fn(&FreeSpace, &Drive, &Toll, Pose, Pose) -> Option<Manoeuvre>;

impl Ways<'_> {
    /// Joins the ends of lanes that hang together so far by nothing: in closed form, else by
    /// search. Ways without a closed form then count the chains that there are.
    pub(in crate::route) fn join(&mut self) {
        self.join_by(direct, 12, usize::MAX);
        self.join_by(closed_form, 3, usize::MAX);
        self.join_by(searched, 3, JOINING_SEARCHES);
        self.join_depot();
        self.join_stages();
        self.renew_chains();
    }

    /// Joins the ends of lanes of later stages to lanes near by of earlier ones: no order leads there, but chains do.
    fn join_stages(&mut self) {
        /// Lanes near each end that are looked at, and those that are tried.
        const NEAR: usize = 12;
        const MOST: usize = 3;
        let begins: Vec<(Node, Pose)> =
            self.drivable_nodes().filter_map(|node| Some((node, self.enters(node)?))).collect();
        let pairs: Vec<Pair> = self
            .drivable_nodes()
            .filter_map(|node| Some((node, self.leaves(node)?)))
            .flat_map(|(node, from)| {
                let is_earlier = |other: Node| self.stages[other.lane()] < self.stages[node.lane()];
                let earlier = (0..begins.len()).filter(|&at| is_earlier(begins[at].0));
                let nearest = least(earlier.map(|at| (from.distance(&begins[at].1), at)), NEAR);
                let promised = nearest
                    .into_iter()
                    .map(|(_, at)| (lower_bound_s(&self.turning, from, begins[at].1), begins[at].0));
                let likely = least(promised, MOST);
                likely.into_iter().map(move |(_, other)| (Vertex::end(node), Vertex::begin(other)))
            })
            .collect();
        let found: Vec<Option<Manoeuvre>> =
            pairs.par_iter().map(|&pair| self.between(pair, closed_form)).collect();
        for ((from, to), way) in pairs.into_iter().zip(found) {
            if let Some(way) = way {
                self.join_at((from, to), &way.path);
            }
        }
    }

    /// Groups of lanes in each of which every lane leads to every other, and lone lanes; first those
    /// that the machine can be driven to from the depot and back from, then the longer ones. Each
    /// lane is in one.
    pub(in crate::route) fn groups(&self, length: impl Fn(usize) -> f64) -> Vec<Group> {
        let of_place = self.network.groups();
        let mut groups: BTreeMap<(bool, usize), Group> = BTreeMap::new();
        let from_depot = self.network.seconds_from(Vertex::end(self.costs.depot()));
        for node in self.drivable_nodes() {
            let (begin, end) = (Vertex::begin(node), Vertex::end(node));
            let group = of_place[begin.index()];
            let is_lone = group != of_place[end.index()];
            let found = groups.entry((is_lone, if is_lone { node.index() } else { group }));
            let found = found.or_insert_with(|| Group {
                lanes: Vec::new(),
                metres: 0.0,
                is_served: self.standing.is_some()
                    && from_depot[begin.index()].is_finite()
                    && self.network.seconds_from(end)[Vertex::begin(self.costs.depot()).index()].is_finite(),
            });
            if found.lanes.last() != Some(&node.lane()) {
                found.lanes.push(node.lane());
                found.metres += length(node.lane());
            }
        }
        let mut groups: Vec<Group> = groups.into_values().collect();
        groups.sort_by(|a, b| b.is_served.cmp(&a.is_served).then(b.metres.total_cmp(&a.metres)));
        let mut taken: BTreeSet<usize> = BTreeSet::new();
        for group in &mut groups {
            group.lanes.retain(|&lane| taken.insert(lane));
            group.metres = group.lanes.iter().map(|&lane| length(lane)).sum();
        }
        groups.retain(|group| !group.lanes.is_empty());
        groups
    }

    /// Joins groups, nearest places first, in so many rounds and by so many tries at most.
    fn join_by(&mut self, find: Find, rounds: usize, most: usize) {
        let mut tried: BTreeSet<Pair> = BTreeSet::new();
        for _ in 0..rounds {
            let mut pairs = self.open_pairs(&tried);
            pairs.truncate(most.saturating_sub(tried.len()));
            if pairs.is_empty() {
                return;
            }
            let found: Vec<Option<Manoeuvre>> =
                pairs.par_iter().map(|&pair| self.between(pair, find)).collect();
            for (&(from, to), way) in pairs.iter().zip(found) {
                tried.insert((from, to));
                if let Some(way) = way {
                    self.join_at((from, to), &way.path);
                }
            }
        }
    }

    /// The most promising pairs of places by which each group, save the largest, could be joined to
    /// another.
    fn open_pairs(&self, tried: &BTreeSet<Pair>) -> Vec<Pair> {
        /// Pairs of each group that are tried at once, and places near each that are looked at.
        const MOST: usize = 4;
        const NEAR: usize = 12;
        let of_place = self.network.groups();
        let places: Vec<(Vertex, Pose)> = self.places().collect();
        let mut size: BTreeMap<usize, usize> = BTreeMap::new();
        for (vertex, _) in &places {
            *size.entry(of_place[vertex.index()]).or_default() += 1;
        }
        let largest = size.iter().max_by_key(|&(&group, &count)| (count, std::cmp::Reverse(group)));
        let Some((&largest, _)) = largest else { return Vec::new() };
        let mut by_group: BTreeMap<usize, Vec<(f64, Pair)>> = BTreeMap::new();
        for &(vertex, pose) in places.iter().filter(|(vertex, _)| of_place[vertex.index()] != largest) {
            let group = of_place[vertex.index()];
            let part = self.part(vertex.node().0);
            let others = (0..places.len())
                .filter(|&at| of_place[places[at].0.index()] != group)
                .filter(|&at| part.zip(self.part(places[at].0.node().0)).is_none_or(|(a, b)| a == b))
                .map(|at| (pose.distance(&places[at].1), at));
            for (_, at) in least(others, NEAR) {
                let (other, there) = places[at];
                let mut directions = vec![(vertex, pose, other, there)];
                if !self.turning.may_reverse {
                    directions.push((other, there, vertex, pose));
                }
                for (from, here, to, there) in directions {
                    if !tried.contains(&(from, to)) {
                        let seconds = lower_bound_s(&self.turning, here, there);
                        by_group.entry(group).or_default().push((seconds, (from, to)));
                    }
                }
            }
        }
        let best = by_group.into_values().flat_map(|pairs| least(pairs, MOST));
        least(best, usize::MAX).into_iter().map(|(_, pair)| pair).collect()
    }

    /// Where no closed form leads from the depot, or none to it, a search may.
    fn join_depot(&mut self) {
        /// Searches in each direction.
        const MOST: usize = 4;
        let depot = self.costs.depot();
        if self.standing.is_none() {
            return;
        }
        let from = self.network.seconds_from(Vertex::end(depot));
        let to = Vertex::begin(depot).index();
        if !self.drivable_nodes().any(|node| from[Vertex::begin(node).index()].is_finite()) {
            let links = self.cheapest(self.costs.nodes().map(|node| (depot, node)), MOST).collect();
            self.search_depot(links);
        }
        let leads_to_it = |node: Node| self.network.seconds_from(Vertex::end(node))[to].is_finite();
        if !self.drivable_nodes().any(leads_to_it) {
            let links = self.cheapest(self.costs.nodes().map(|node| (node, depot)), MOST).collect();
            self.search_depot(links);
        }
    }

    fn search_depot(&mut self, links: Vec<Link>) {
        let found: Vec<Option<Manoeuvre>> = links.par_iter().map(|&link| self.searched(link)).collect();
        for (link, way) in links.into_iter().zip(found) {
            if let Some(way) = way {
                self.settle(link, way);
            }
        }
    }

    fn join_at(&mut self, (from, to): Pair, path: &Path) {
        let toll_s = self.toll((from.node().0, to.node().0)).seconds(path.start, &path.pieces);
        self.network.join(from, to, path, toll_s);
    }

    fn between(&self, (from, to): Pair, find: Find) -> Option<Manoeuvre> {
        find(self.space, &self.turning, &Toll::NONE, self.pose(from)?, self.pose(to)?)
    }

    /// Every end of every lane.
    fn places(&self) -> impl Iterator<Item = (Vertex, Pose)> + '_ {
        self.drivable_nodes()
            .flat_map(|node| [Vertex::begin(node), Vertex::end(node)])
            .filter_map(|vertex| Some((vertex, self.pose(vertex)?)))
    }

    fn pose(&self, vertex: Vertex) -> Option<Pose> {
        let (node, at_end) = vertex.node();
        if at_end { self.leaves(node) } else { self.enters(node) }
    }
}

/// So many with the least costs, those first.
pub(super) fn least<T: Ord>(priced: impl IntoIterator<Item = (f64, T)>, most: usize) -> Vec<(f64, T)> {
    let mut priced: Vec<(f64, T)> = priced.into_iter().collect();
    priced.sort_by(|a, b| a.0.total_cmp(&b.0).then_with(|| a.1.cmp(&b.1)));
    priced.truncate(most);
    priced
}
