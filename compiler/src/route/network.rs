//! Ways that lead over other lanes.
//!
//! In: the lanes and the ways found between their ends. Out: which ends hang together, and the
//! quickest chain from one to another.
//!
//! Every lane is proven to be free, so it is a way too, with the tool up and the wheels between the
//! rows: through it nose first, and back out of it where the machine may reverse. Such a machine
//! can also drive any way back as it came. A lane that ends where nothing can turn is thus left as
//! it was entered, and a few ways between lanes join all of them. Quickest chains are found by
//! Dijkstra's algorithm (1959), what hangs together by two floods of the graph, along its edges and
//! against them.

use super::order::Node;
use crate::geometry::Path;
use crate::ranked::Ranked;
use crate::turns::Drive;
use std::collections::BinaryHeap;
use std::sync::Arc;

/// Where a lane, driven as its node says, begins or ends; of the depot, where the route ends and
/// where it begins.
#[derive(Copy, Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Vertex(usize);

impl Vertex {
    /// Where ways to the node arrive.
    pub(super) const fn begin(node: Node) -> Self {
        Self(2 * node.index())
    }
    /// Where ways from the node leave.
    pub(super) const fn end(node: Node) -> Self {
        Self(2 * node.index() + 1)
    }
    /// The node, and whether this is its end.
    pub(super) const fn node(self) -> (Node, bool) {
        (Node::from_index(self.0 / 2), self.0 % 2 == 1)
    }
    pub(super) const fn index(self) -> usize {
        self.0
    }
}

/// The ends of all lanes with what joins them.
pub(super) struct Network {
    drive: Drive,
    edges: Vec<Vec<Edge>>,
}

struct Edge {
    to: usize,
    seconds: f64,
    path: Arc<Path>,
}

impl Network {
    /// So many lanes and the depot, nothing joined.
    pub(super) fn of(drive: Drive, lanes: usize) -> Self {
        Self { drive, edges: (0..4 * (lanes + 1)).map(|_| Vec::new()).collect() }
    }

    /// Adds a way, and the way back as it came where the machine may reverse. A way that the steering
    /// cannot follow, as a lap of arcs is for one that takes its time, is none. Besides what it takes, it counts
    /// so many seconds for sown soil.
    pub(super) fn join(&mut self, from: Vertex, to: Vertex, path: &Path, toll_s: f64) {
        if !can_steer(&self.drive, path) {
            return;
        }
        self.add(from, to, path, toll_s);
        if self.drive.may_reverse {
            let (from, to) = (self.as_begin(to), self.as_end(from));
            self.add(from, to, &path.retraced(), toll_s);
        }
    }

    /// At the depot the machine may stand in any heading: a way from it is a way to it, retraced.
    fn as_end(&self, vertex: Vertex) -> Vertex {
        if self.is_depot(vertex) { Vertex::begin(vertex.node().0) } else { vertex }
    }
    fn as_begin(&self, vertex: Vertex) -> Vertex {
        if self.is_depot(vertex) { Vertex::end(vertex.node().0) } else { vertex }
    }
    fn is_depot(&self, vertex: Vertex) -> bool {
        vertex.0 / 4 == self.edges.len() / 4 - 1
    }

    fn add(&mut self, from: Vertex, to: Vertex, path: &Path, toll_s: f64) {
        let seconds = self.drive.cost_s(&path.pieces) + toll_s;
        self.edges[from.0].push(Edge { to: to.0, seconds, path: Arc::new(path.clone()) });
    }

    /// Seconds that the quickest chain from a place to each counts; infinite where none leads.
    pub(super) fn seconds_from(&self, from: Vertex) -> Vec<f64> {
        self.flood(from, None).into_iter().map(|reached| reached.seconds).collect()
    }

    /// The quickest chain.
    pub(super) fn chain(&self, from: Vertex, to: Vertex) -> Option<Path> {
        let reached = self.flood(from, Some(to));
        let mut edges: Vec<&Edge> = Vec::new();
        let mut at = to.0;
        while at != from.0 {
            let (before, edge) = reached[at].by?;
            edges.push(&self.edges[before][edge]);
            at = before;
        }
        let mut links = edges.iter().rev().map(|edge| &*edge.path);
        let first = links.next()?.clone();
        Some(links.fold(first, Path::then))
    }

    fn flood(&self, from: Vertex, goal: Option<Vertex>) -> Vec<Reached> {
        let mut reached = vec![Reached { seconds: f64::INFINITY, by: None }; self.edges.len()];
        reached[from.0].seconds = 0.0;
        let mut open = BinaryHeap::from([Ranked { rank: 0.0, index: from.0 }]);
        while let Some(Ranked { rank: seconds, index: vertex }) = open.pop() {
            if goal.is_some_and(|goal| goal.0 == vertex) {
                break;
            }
            if seconds > reached[vertex].seconds {
                continue;
            }
            for (index, edge) in self.edges[vertex].iter().enumerate() {
                let through = seconds + edge.seconds;
                if through < reached[edge.to].seconds {
                    reached[edge.to] = Reached { seconds: through, by: Some((vertex, index)) };
                    open.push(Ranked { rank: through, index: edge.to });
                }
            }
        }
        reached
    }

    /// For each place the number of the group in which every place leads to every other.
    pub(super) fn groups(&self) -> Vec<usize> {
        let onward: Vec<Vec<usize>> =
            self.edges.iter().map(|edges| edges.iter().map(|edge| edge.to).collect()).collect();
        let mut backward: Vec<Vec<usize>> = vec![Vec::new(); onward.len()];
        for (from, to) in
            onward.iter().enumerate().flat_map(|(from, to)| to.iter().map(move |&to| (from, to)))
        {
            backward[to].push(from);
        }
        let mut finished = Vec::with_capacity(onward.len());
        let mut seen = vec![false; onward.len()];
        for first in 0..onward.len() {
            finish(&onward, first, &mut seen, &mut finished);
        }
        let mut group = vec![usize::MAX; onward.len()];
        let mut groups = 0;
        for &first in finished.iter().rev() {
            if group[first] != usize::MAX {
                continue;
            }
            group[first] = groups;
            let mut open = vec![first];
            while let Some(vertex) = open.pop() {
                for &before in &backward[vertex] {
                    if group[before] == usize::MAX {
                        group[before] = groups;
                        open.push(before);
                    }
                }
            }
            groups += 1;
        }
        group
    }
}

/// Whether the steering follows a way from straight to straight.
pub(super) fn can_steer(drive: &Drive, path: &Path) -> bool {
    /// Rounding of curvatures, 1/m, and of their change, as a share.
    const ROUNDING: (f64, f64) = (1e-9, 1e-6);
    let Some(sharpness) = drive.sharpness else { return true };
    let mut held = 0.0_f64;
    path.pieces.iter().all(|piece| {
        let jumps = (piece.curvature_start - held).abs() > ROUNDING.0;
        let change = (piece.curvature_end - piece.curvature_start).abs();
        held = piece.curvature_end;
        !jumps && change <= sharpness * piece.distance() * (1.0 + ROUNDING.1) + ROUNDING.0
    }) && held.abs() <= ROUNDING.0
}

/// Lists what a place leads to, each after all that it leads to (Kosaraju, as in Sharir 1981).
fn finish(onward: &[Vec<usize>], first: usize, seen: &mut [bool], finished: &mut Vec<usize>) {
    if std::mem::replace(&mut seen[first], true) {
        return;
    }
    let mut open = vec![(first, 0)];
    while let Some((vertex, next)) = open.last_mut() {
        match onward[*vertex].get(*next) {
            Some(&to) => {
                *next += 1;
                if !std::mem::replace(&mut seen[to], true) {
                    open.push((to, 0));
                }
            }
            None => {
                finished.push(*vertex);
                open.pop();
            }
        }
    }
}

#[derive(Copy, Clone)]
struct Reached {
    seconds: f64,
    /// The place before, and which of its edges led on.
    by: Option<(usize, usize)>,
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::{Gear, Piece, Pose};

    const DRIVE: Drive = Drive {
        radius_m: 2.5,
        sharpness: None,
        may_reverse: true,
        turns_on_spot: false,
        speed_m_per_s: 1.0,
        reverse_m_per_s: 1.0,
        backed_m: f64::INFINITY,
        gear_change_s: 2.0,
        spot_s_per_rad: 4.0,
    };

    fn straight(x: f64, metres: f64) -> Path {
        Path { start: Pose::new(x, 0.0, 0.0), pieces: vec![Piece::straight(Gear::Forward, metres)] }
    }

    /// Lane 0 leads to lane 1; nothing leads back.
    fn two_lanes(drive: Drive) -> Network {
        let mut network = Network::of(drive, 2);
        let [first, second] = [Node::along(0), Node::along(1)];
        network.join(Vertex::begin(first), Vertex::end(first), &straight(0.0, 10.0), 0.0);
        network.join(Vertex::end(first), Vertex::begin(second), &straight(10.0, 3.0), 0.0);
        network.join(Vertex::begin(second), Vertex::end(second), &straight(13.0, 7.0), 0.0);
        network
    }

    #[test]
    fn a_machine_that_reverses_leaves_a_lane_as_it_came() {
        let network = two_lanes(DRIVE);
        let (from, to) = (Vertex::end(Node::along(1)), Vertex::begin(Node::along(0)));
        // 20 m in three pieces, each from and to nose forward.
        assert!((network.seconds_from(from)[to.index()] - (20.0 + 3.0 * 4.0)).abs() < 1e-9);
        let chain = network.chain(from, to).unwrap();
        assert!(chain.pieces.iter().all(|piece| piece.gear == Gear::Reverse));
        assert_eq!(chain.length(), 20.0);
        let groups = network.groups();
        assert_eq!(groups[from.index()], groups[to.index()]);
    }

    #[test]
    fn a_way_that_the_steering_cannot_follow_joins_nothing() {
        let mut network = Network::of(Drive { sharpness: Some(0.1), ..DRIVE }, 1);
        let lane = Node::along(0);
        let arc = Path { start: Pose::new(0.0, 0.0, 0.0), pieces: vec![Piece::arc(Gear::Forward, 5.0, 0.2)] };
        network.join(Vertex::begin(lane), Vertex::end(lane), &arc, 0.0);
        assert!(network.chain(Vertex::begin(lane), Vertex::end(lane)).is_none());
        network.join(Vertex::begin(lane), Vertex::end(lane), &straight(0.0, 5.0), 0.0);
        assert!(network.chain(Vertex::begin(lane), Vertex::end(lane)).is_some());
    }

    #[test]
    fn one_that_does_not_reverse_cannot_go_back() {
        let network = two_lanes(Drive { may_reverse: false, ..DRIVE });
        let (last, first) = (Vertex::end(Node::along(1)), Vertex::begin(Node::along(0)));
        assert!(network.chain(last, first).is_none());
        assert_eq!(network.seconds_from(first)[last.index()], 20.0);
        assert_ne!(network.groups()[last.index()], network.groups()[first.index()]);
    }

    #[test]
    fn of_two_chains_the_one_that_crosses_less_sown_soil_is_taken() {
        let mut network = two_lanes(DRIVE);
        let (from, to) = (Vertex::end(Node::along(0)), Vertex::begin(Node::along(1)));
        network.join(from, to, &straight(10.0, 1.0), 2.5);
        assert_eq!(network.seconds_from(from)[to.index()], 3.0);
        network.join(from, to, &straight(10.0, 1.0), 1.5);
        assert_eq!(network.seconds_from(from)[to.index()], 2.5);
    }

    #[test]
    fn a_way_from_the_depot_is_a_way_to_it() {
        let mut network = two_lanes(DRIVE);
        let depot = Node::along(2);
        network.join(Vertex::end(depot), Vertex::begin(Node::along(0)), &straight(-5.0, 5.0), 0.0);
        let home = network.seconds_from(Vertex::end(Node::along(0)))[Vertex::begin(depot).index()];
        assert!((home - (10.0 + 4.0 + 5.0 + 4.0)).abs() < 1e-9);
    }
}
