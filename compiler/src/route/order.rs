//! The best order of lanes, as a problem of its own: every lane once, in either direction, from
//! the depot and back to it, in the least seconds of ways between.
//!
//! In: [`Costs`], a square matrix of seconds. Out: an [`Order`] and a proven lower bound.
//! Up to [`EXACT_LANES`] lanes the order is the optimum (Held & Karp 1962); beyond that it is
//! found by local search, never worse than driving the lanes as they are numbered, and the bound
//! is a Held–Karp bound (1970, 1971) that knows of directions and of odd sets.
//!
//! It knows no geometry, and it uses no clock: the effort is counted in steps, so that the same
//! costs give the same order on any machine.

use super::bound::{Bound, Climb, held_karp};
use super::search::Guide;
use super::{exact, search};
use std::sync::Arc;

/// Up to this many lanes the optimum is found.
pub const EXACT_LANES: usize = 14;

/// What a barred way costs inside the solvers: more than any route, small enough to keep digits.
pub(super) const BARRED_S: f64 = 1e7;

/// A lane in one of its two directions, or the depot.
#[derive(Copy, Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Node(u32);

impl Node {
    /// The lane driven along its line.
    pub const fn along(lane: usize) -> Self {
        Self(2 * lane as u32)
    }
    /// The lane driven from its other end.
    pub const fn back(lane: usize) -> Self {
        Self(2 * lane as u32 + 1)
    }
    /// The same lane in the other direction.
    #[must_use]
    pub const fn flipped(self) -> Self {
        Self(self.0 ^ 1)
    }
    /// The same direction of another lane.
    #[must_use]
    pub const fn of(self, lane: usize) -> Self {
        Self(2 * lane as u32 + (self.0 & 1))
    }
    /// Which lane; the depot counts as the lane after the last.
    pub const fn lane(self) -> usize {
        self.0 as usize / 2
    }
    /// Whether the lane is driven along its line.
    pub const fn is_along(self) -> bool {
        self.0.is_multiple_of(2)
    }
    pub(super) const fn index(self) -> usize {
        self.0 as usize
    }
    pub(super) const fn from_index(index: usize) -> Self {
        Self(index as u32)
    }
}

/// Seconds from the end of one node to the beginning of another. What was never set is barred.
///
/// The depot stands for where the route begins and ends: the way from it is the way to the first
/// lane, the way to it is the way out. Where the route may begin anywhere, these cost nothing.
#[derive(Clone, Debug)]
pub struct Costs {
    stages: Vec<u8>,
    first_stage: u8,
    last_stage: u8,
    /// Row by row; [`BARRED_S`] for whatever is barred.
    seconds: Arc<Vec<f64>>,
}

impl Costs {
    /// All ways barred. Each lane has a stage; lanes of a lower stage are driven before all lanes
    /// of a higher one.
    pub fn barred(stages: Vec<u8>) -> Self {
        let side = 2 * stages.len() + 2;
        Self {
            first_stage: stages.iter().copied().min().unwrap_or(0),
            last_stage: stages.iter().copied().max().unwrap_or(0),
            stages,
            seconds: Arc::new(vec![BARRED_S; side * side]),
        }
    }
    /// How many lanes.
    pub const fn lanes(&self) -> usize {
        self.stages.len()
    }
    /// The node that stands for the route's beginning and end.
    pub const fn depot(&self) -> Node {
        Node::along(self.lanes())
    }
    /// Every lane in every direction.
    pub fn nodes(&self) -> impl Iterator<Item = Node> + use<> {
        (0..2 * self.lanes()).map(Node::from_index)
    }
    /// Seconds of the way; infinite where barred.
    pub fn get(&self, from: Node, to: Node) -> f64 {
        let seconds = self.seconds[from.index() * self.side() + to.index()];
        if seconds < BARRED_S { seconds } else { f64::INFINITY }
    }
    /// States the seconds of a way; infinity bars it. One that leads back to an earlier stage stays
    /// barred.
    pub fn set(&mut self, from: Node, to: Node, seconds: f64) {
        let side = self.side();
        let seconds = if self.out_of_stage(from, to) { BARRED_S } else { seconds.min(BARRED_S) };
        Arc::make_mut(&mut self.seconds)[from.index() * side + to.index()] = seconds;
    }
    /// The lane's stage.
    pub fn stage(&self, lane: usize) -> u8 {
        self.stages[lane]
    }
    /// Seconds of a whole order, from the depot to the depot.
    pub fn total(&self, order: &[Node]) -> f64 {
        let mut at = self.depot();
        let mut seconds = 0.0;
        for &next in order.iter().chain([&self.depot()]) {
            seconds += self.get(at, next);
            at = next;
        }
        seconds
    }

    /// The costs with so many seconds more on each way that is not barred: as many as are told for the node that it
    /// leaves or for the one that it enters, whichever is more.
    #[must_use]
    pub fn raised(mut self, leaving: &[f64], entering: &[f64]) -> Self {
        let side = self.side();
        let rows = Arc::make_mut(&mut self.seconds).chunks_mut(side);
        for (row, &more) in rows.zip(leaving) {
            for (seconds, &other) in row.iter_mut().zip(entering) {
                *seconds = if *seconds < BARRED_S { *seconds + more.max(other) } else { *seconds };
            }
        }
        self
    }

    /// The costs of some of the lanes, which are numbered anew in the order given, each with its
    /// stage.
    #[must_use]
    pub fn only(&self, lanes: &[usize], stages: Vec<u8>) -> Self {
        let mut costs = Self::barred(stages);
        let all: Vec<Node> = costs.nodes().chain([costs.depot()]).collect();
        let own = |node: Node| lanes.get(node.lane()).map_or(self.depot(), |&lane| node.of(lane));
        for &from in &all {
            for &to in &all {
                costs.set(from, to, self.get(own(from), own(to)));
            }
        }
        costs
    }

    pub(super) const fn side(&self) -> usize {
        2 * self.lanes() + 2
    }

    /// The matrix with [`BARRED_S`] for whatever is barred, row by row.
    pub(super) fn penalised(&self) -> Arc<Vec<f64>> {
        Arc::clone(&self.seconds)
    }

    fn out_of_stage(&self, from: Node, to: Node) -> bool {
        let stage_of = |node: Node| self.stages.get(node.lane()).copied();
        match (stage_of(from), stage_of(to)) {
            (Some(before), Some(after)) => before > after,
            (None, Some(after)) => after != self.first_stage,
            (Some(before), None) => before != self.last_stage,
            (None, None) => false,
        }
    }
}

/// Every lane once.
#[derive(Clone, Debug, PartialEq)]
pub struct Order {
    /// In driving order.
    pub nodes: Vec<Node>,
    /// Seconds of ways. Infinite if no order without a barred way was found; then the nodes use as
    /// few of these as could be found.
    pub seconds: f64,
}

/// How thoroughly orders are searched for. All are counted in steps, none in seconds, so that each gives the
/// same order anywhere.
#[derive(Copy, Clone, Debug, Default, PartialEq, Eq)]
pub enum Effort {
    /// The first good order.
    Low,
    /// Until looking further seldom pays.
    #[default]
    Normal,
    /// Several times as long.
    High,
}

impl Effort {
    /// Its name, as it is asked for.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Low => "low",
            Self::Normal => "normal",
            Self::High => "high",
        }
    }

    /// How many times as many random exchanges are tried.
    const fn times(self) -> usize {
        match self {
            Self::Low | Self::Normal => 1,
            Self::High => 6,
        }
    }

    /// The climb to charges that prove.
    const fn proving(self) -> Climb {
        match self {
            Self::Low => Climb { steps: 600, proofs: 3 },
            Self::Normal => Climb { steps: 1200, proofs: 5 },
            Self::High => Climb { steps: 6000, proofs: 12 },
        }
    }
}

/// Finds orders of the same lanes while their costs become better known.
///
/// What the bound charges for ways guides the search. Costs that change here and there hardly change it; after
/// others it is [renewed](Self::renewed).
pub struct Solver {
    effort: Effort,
    guide: Option<Guide>,
    bound: Option<Bound>,
}

/// The climbs to charges that guide, and to those that guide and prove after costs have changed.
const GUIDING: Climb = Climb { steps: 600, proofs: 2 };
const GUIDING_AGAIN: Climb = Climb { steps: 200, proofs: 1 };
const PROVING_AGAIN: Climb = Climb { steps: 400, proofs: 2 };

impl Solver {
    /// For these lanes.
    pub fn new(costs: &Costs, effort: Effort) -> Self {
        if costs.lanes() <= EXACT_LANES {
            return Self { effort, guide: None, bound: None };
        }
        let begin = search::constructed(costs, &Guide::none(costs));
        Self::guided_by(costs, held_karp(costs, costs.total(&begin), GUIDING, None), effort)
    }

    /// For the same lanes at other costs; `known` is the seconds of an order at hand.
    #[must_use]
    pub fn renewed(&self, costs: &Costs, known: f64) -> Self {
        match &self.bound {
            Some(begin) => {
                Self::guided_by(costs, held_karp(costs, known, GUIDING_AGAIN, Some(begin)), self.effort)
            }
            None => Self { effort: self.effort, guide: None, bound: None },
        }
    }

    /// The bound; `known` is the seconds of an order at hand.
    pub fn lower_bound(&self, costs: &Costs, known: f64) -> LowerBound {
        bounded(costs, known, self.effort.proving(), self.bound.as_ref())
    }

    /// Seconds that no order undercut at the costs that it was made for; infinite where orders of so few lanes are
    /// searched for exactly.
    pub fn bound_s(&self) -> f64 {
        self.bound.as_ref().map_or(f64::INFINITY, |bound| bound.seconds)
    }

    /// Seconds that no order undercuts at these costs, soon found; `known` is the seconds of an order at hand. Infinite
    /// where orders are searched for exactly.
    pub fn bound_again_s(&self, costs: &Costs, known: f64) -> f64 {
        let climbed = |begin| held_karp(costs, known, GUIDING_AGAIN, Some(begin)).seconds;
        self.bound.as_ref().map_or(f64::INFINITY, climbed)
    }

    /// How thoroughly it searches.
    pub const fn effort(&self) -> Effort {
        self.effort
    }

    fn guided_by(costs: &Costs, bound: Bound, effort: Effort) -> Self {
        Self { effort, guide: Some(Guide::of(costs, &bound)), bound: Some(bound) }
    }

    /// Ways that good orders are likely to use.
    pub fn likely(&self) -> impl Iterator<Item = (Node, Node)> {
        self.guide.iter().flat_map(|guide| guide.likely.iter().map(|&(_, from, to)| (from, to)))
    }

    /// A good order, soon found.
    pub fn first(&self, costs: &Costs) -> Order {
        self.found(costs, |guide| search::chosen(costs, guide))
    }

    /// An order no worse than this one, which was found for other costs; mended where it pays.
    pub fn repaired(&self, costs: &Costs, order: &Order) -> Order {
        self.found(costs, |guide| search::repaired(costs, guide, &order.nodes))
    }

    /// An order no worse than this one, searched for thoroughly.
    pub fn polished(&self, costs: &Costs, order: &Order) -> Order {
        self.found(costs, |guide| search::polished(costs, guide, &order.nodes, self.effort.times()))
    }

    fn found(&self, costs: &Costs, search: impl FnOnce(&Guide) -> Vec<Node>) -> Order {
        let nodes = self.guide.as_ref().map_or_else(|| exact::optimum(costs), search);
        Order { seconds: costs.total(&nodes), nodes }
    }
}

/// The best order that is found.
pub fn best_order(costs: &Costs) -> Order {
    let solver = Solver::new(costs, Effort::default());
    solver.polished(costs, &solver.first(costs))
}

/// What no order can undercut.
pub struct LowerBound {
    /// Seconds.
    pub seconds: f64,
    /// Ways that keep the bound low: where one of them takes longer, the bound may rise.
    pub rests_on: Vec<(Node, Node)>,
    proof: Option<Bound>,
}

impl LowerBound {
    /// The bound for the same lanes at costs that have changed here and there.
    #[must_use]
    pub fn renewed(&self, costs: &Costs, known: f64) -> Self {
        bounded(costs, known, PROVING_AGAIN, self.proof.as_ref())
    }
}

/// The bound; `known` is the seconds of an order at hand.
pub fn lower_bound(costs: &Costs, known: f64) -> LowerBound {
    bounded(costs, known, Effort::default().proving(), None)
}

fn bounded(costs: &Costs, known: f64, climb: Climb, begin: Option<&Bound>) -> LowerBound {
    if costs.lanes() <= EXACT_LANES {
        let nodes = exact::optimum(costs);
        let rests_on = links(costs, &nodes).collect();
        return LowerBound { seconds: costs.total(&nodes), rests_on, proof: None };
    }
    let bound = held_karp(costs, known, climb, begin);
    LowerBound {
        seconds: bound.seconds,
        rests_on: bound.likely.iter().map(|&(_, from, to)| (from, to)).collect(),
        proof: Some(bound),
    }
}

/// Every way of an order, from the depot to the depot.
pub fn links(costs: &Costs, nodes: &[Node]) -> impl Iterator<Item = (Node, Node)> {
    let depot = costs.depot();
    let from = std::iter::once(depot).chain(nodes.iter().copied());
    from.zip(nodes.iter().copied().chain([depot]))
}

/// The lanes as they are numbered, stage by stage, each in the direction that suits best.
pub fn sequential(costs: &Costs) -> Order {
    let mut lanes: Vec<usize> = (0..costs.lanes()).collect();
    lanes.sort_by_key(|&lane| costs.stage(lane));
    let nodes = best_directions(costs, &lanes);
    Order { seconds: costs.total(&nodes), nodes }
}

/// The directions that make a given sequence of lanes cheapest: the shortest path through two
/// nodes a lane.
pub(super) fn best_directions(costs: &Costs, lanes: &[usize]) -> Vec<Node> {
    let way = |from: Node, to: Node| costs.get(from, to).min(BARRED_S);
    let pair = |lane: usize| [Node::along(lane), Node::back(lane)];
    let mut reached: Vec<[(f64, Node); 2]> = Vec::with_capacity(lanes.len());
    for &lane in lanes {
        let step = pair(lane).map(|to| match reached.last() {
            None => (way(costs.depot(), to), costs.depot()),
            Some(before) => cheaper(
                before
                    .iter()
                    .zip(pair(lanes[reached.len() - 1]))
                    .map(|(&(seconds, _), from)| (seconds + way(from, to), from)),
            ),
        });
        reached.push(step);
    }
    let Some(&last_lane) = lanes.last() else { return Vec::new() };
    let ends = reached[lanes.len() - 1].iter().zip(pair(last_lane));
    let (_, mut node) = cheaper(ends.map(|(&(seconds, _), from)| (seconds + way(from, costs.depot()), from)));
    let mut nodes = vec![node];
    for step in reached[1..].iter().rev() {
        node = step[usize::from(!node.is_along())].1;
        nodes.push(node);
    }
    nodes.reverse();
    nodes
}

fn cheaper(options: impl Iterator<Item = (f64, Node)>) -> (f64, Node) {
    options.fold((f64::INFINITY, Node(0)), |best, option| if option.0 < best.0 { option } else { best })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::num;
    use proptest::prelude::*;

    /// Length of the forward turn between parallel lanes `distance` apart, ends level: Π and Ω turn
    /// (Dubins RSR and LRL; closed forms after Bochtis & Vougioukas 2008).
    fn parallel_turn_m(radius: f64, distance: f64) -> f64 {
        if distance >= 2.0 * radius {
            return (num::PI - 2.0) * radius + distance;
        }
        radius * (3.0 * num::PI - 4.0 * num::asin((2.0 * radius + distance) / (4.0 * radius)))
    }

    /// Parallel lanes with level ends, from anywhere to anywhere. Neighbours in the order are
    /// driven in opposite directions; the other way round the machine would have to cross a lane.
    fn parallel_field(lanes: usize, width: f64, radius: f64) -> Costs {
        let mut costs = Costs::barred(vec![0; lanes]);
        let depot = costs.depot();
        for from in costs.nodes() {
            costs.set(depot, from, 0.0);
            costs.set(from, depot, 0.0);
            for to in costs.nodes() {
                if from.lane() != to.lane() && from.is_along() != to.is_along() {
                    let distance = from.lane().abs_diff(to.lane()) as f64 * width;
                    costs.set(from, to, parallel_turn_m(radius, distance));
                }
            }
        }
        costs
    }

    /// Parallel lanes whose ends lie on a slant: at each end the machine turns to the one side sooner than to the other,
    /// as a field looks that is a parallelogram. Invented.
    fn slanting_field(lanes: usize) -> Costs {
        let mut costs = parallel_field(lanes, 2.7, 2.5);
        for from in 0..lanes {
            for to in (0..lanes).filter(|&to| to != from) {
                for (leaves, enters, uphill) in [
                    (Node::along(from), Node::back(to), to > from),
                    (Node::back(from), Node::along(to), to < from),
                ] {
                    let more = if uphill { 8.0 } else { 0.0 };
                    costs.set(leaves, enters, costs.get(leaves, enters) + more);
                }
            }
        }
        costs
    }

    #[test]
    fn the_bound_is_near_where_lanes_end_on_a_slant() {
        let costs = slanting_field(12);
        let optimum = best_order(&costs).seconds;
        let bound = held_karp(&costs, optimum, Effort::default().proving(), None).seconds;
        assert!(bound <= optimum && bound > 0.97 * optimum, "{bound} of {optimum}");
    }

    fn local_optimum(costs: &Costs) -> Vec<Node> {
        let guide = Guide::of(costs, &held_karp(costs, sequential(costs).seconds, GUIDING, None));
        search::polished(costs, &guide, &search::chosen(costs, &guide), 1)
    }

    fn lanes_of(order: &Order) -> Vec<usize> {
        let mut lanes: Vec<usize> = order.nodes.iter().map(|node| node.lane()).collect();
        lanes.sort_unstable();
        lanes
    }

    /// Sequential and optimal metres between `lanes` lanes: computed by an exact dynamic program of
    /// another author in another language on the closed forms above; no publication.
    const SOLVED: [(f64, f64, usize, f64, f64); 8] = [
        (3.0, 4.5, 6, 146.382, 76.686),
        (3.0, 4.5, 8, 204.935, 104.960),
        (3.0, 4.5, 10, 263.488, 145.235),
        (3.0, 4.5, 14, 380.593, 195.783),
        (3.0, 6.0, 8, 282.419, 140.947),
        (2.0, 5.0, 10, 308.285, 149.372),
        (6.0, 4.5, 10, 222.116, 161.777),
        (3.0, 3.0, 12, 199.073, 112.345),
    ];

    #[test]
    fn few_lanes_are_driven_in_the_optimal_order() {
        for (width, radius, lanes, in_sequence, optimum) in SOLVED {
            let costs = parallel_field(lanes, width, radius);
            let best = best_order(&costs);
            assert!((sequential(&costs).seconds - in_sequence).abs() < 1e-3, "{lanes} × {width} m");
            assert!((best.seconds - optimum).abs() < 1e-3, "{lanes} × {width} m: {}", best.seconds);
            assert!((lower_bound(&costs, best.seconds).seconds - optimum).abs() < 1e-3);
            assert_eq!(lanes_of(&best), (0..lanes).collect::<Vec<_>>());
        }
    }

    #[test]
    fn local_search_comes_near_the_optimum_of_few_lanes() {
        for (width, radius, lanes, _, optimum) in SOLVED {
            let costs = parallel_field(lanes, width, radius);
            let found = costs.total(&local_optimum(&costs));
            assert!(found < 1.06 * optimum, "{lanes} × {width} m: {found} against {optimum}");
        }
    }

    #[test]
    fn two_hundred_lanes_come_near_the_bound() {
        let costs = parallel_field(200, 2.7, 2.5);
        let best = best_order(&costs);
        let bound = lower_bound(&costs, best.seconds).seconds;
        assert_eq!(lanes_of(&best), (0..200).collect::<Vec<_>>());
        assert!(bound <= best.seconds);
        assert!(best.seconds < 1.03 * bound, "{} against {bound}", best.seconds);
        assert_eq!(best, best_order(&costs));
    }

    #[test]
    fn headland_laps_come_before_the_lanes() {
        let mut stages = vec![1; 20];
        stages.extend([0, 0, 0]);
        let mut costs = Costs::barred(stages);
        let depot = costs.depot();
        for from in costs.nodes() {
            costs.set(depot, from, 1.0);
            costs.set(from, depot, 1.0);
            for to in costs.nodes().filter(|to| to.lane() != from.lane()) {
                costs.set(from, to, 1.0 + from.lane().abs_diff(to.lane()) as f64);
            }
        }
        let best = best_order(&costs);
        assert!(best.seconds.is_finite());
        assert!(best.nodes[..3].iter().all(|node| node.lane() >= 20));
        assert!(lower_bound(&costs, best.seconds).seconds > 0.99 * best.seconds);
    }

    #[test]
    fn no_lane_is_no_way() {
        let mut costs = Costs::barred(Vec::new());
        costs.set(costs.depot(), costs.depot(), 0.0);
        assert_eq!(best_order(&costs), Order { nodes: Vec::new(), seconds: 0.0 });
    }

    /// Any costs, some ways barred, some lanes of a later stage.
    fn any_costs(lanes: std::ops::Range<usize>) -> impl Strategy<Value = Costs> {
        lanes.prop_flat_map(|lanes| {
            let side = 2 * lanes + 1;
            let cells = proptest::collection::vec(
                prop_oneof![9 => 1.0..100.0, 1 => Just(f64::INFINITY)],
                side * side,
            );
            (proptest::collection::vec(0_u8..4, lanes), cells).prop_map(move |(stages, cells)| {
                let mut costs = Costs::barred(stages);
                for from in 0..side {
                    for to in (0..side).filter(|to| from / 2 != to / 2) {
                        costs.set(Node::from_index(from), Node::from_index(to), cells[from * side + to]);
                    }
                }
                costs
            })
        })
    }

    /// Every order and every direction.
    fn cheapest_by_trying_all(costs: &Costs, driven: &mut Vec<Node>) -> f64 {
        if driven.len() == costs.lanes() {
            return costs.total(driven);
        }
        let mut best = f64::INFINITY;
        for node in costs.nodes() {
            if driven.iter().all(|other| other.lane() != node.lane()) {
                driven.push(node);
                best = best.min(cheapest_by_trying_all(costs, driven));
                driven.pop();
            }
        }
        best
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(40))]

        #[test]
        fn exact_order_is_the_cheapest_of_all(costs in any_costs(1..6)) {
            let cheapest = cheapest_by_trying_all(&costs, &mut Vec::new());
            let best = best_order(&costs);
            if cheapest.is_finite() {
                prop_assert!((best.seconds - cheapest).abs() < 1e-6);
            } else {
                prop_assert!(best.seconds.is_infinite());
            }
        }

        #[test]
        fn bound_is_never_above_the_optimum(costs in any_costs(5..11)) {
            let optimum = best_order(&costs).seconds;
            let loose = if optimum.is_finite() { 1.5 * optimum } else { optimum };
            for known in [loose, optimum] {
                let bound = held_karp(&costs, known, Effort::default().proving(), None);
                prop_assert!(bound.seconds <= optimum);
            }
        }

        #[test]
        fn bound_from_other_charges_is_never_above_the_optimum(costs in any_costs(5..11), share in 0.2..1.5f64) {
            let before = held_karp(&costs, best_order(&costs).seconds, Effort::default().proving(), None);
            let mut changed = costs.clone();
            for (from, to) in costs.nodes().flat_map(|from| costs.nodes().map(move |to| (from, to))).step_by(3) {
                changed.set(from, to, share * costs.get(from, to));
            }
            let optimum = best_order(&changed).seconds;
            for climb in [GUIDING_AGAIN, PROVING_AGAIN] {
                let loose = if optimum.is_finite() { 1.5 * optimum } else { optimum };
                let bound = held_karp(&changed, loose, climb, Some(&before));
                prop_assert!(bound.seconds <= optimum);
            }
        }

        #[test]
        fn local_search_is_never_worse_than_in_sequence(costs in any_costs(14..40)) {
            let best = best_order(&costs);
            prop_assert_eq!(lanes_of(&best), (0..costs.lanes()).collect::<Vec<_>>());
            prop_assert!(best.seconds <= sequential(&costs).seconds);
            prop_assert!(lower_bound(&costs, best.seconds).seconds <= best.seconds);
            let again = Solver::new(&costs, Effort::default()).repaired(&costs, &best);
            prop_assert!(again.seconds <= best.seconds);
        }
    }
}
