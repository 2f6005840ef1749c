//! A good order for many lanes: construction, then iterated local search.
//!
//! Constructions are the field's own patterns (in sequence, skipping, striding), nearest neighbour,
//! and greedy edge, which takes the ways that the bound's trees use most often first. Which ways are
//! promising is read from short lists of each node's nearest, by the costs that the bound has
//! charged (as Helsgaun 2000 does with his own).
//!
//! An order is improved by every move that makes a promising way part of it: reversing a stretch
//! (2-opt; the lanes in it change direction) and exchanging two neighbouring stretches, either of
//! them reversed (3-opt without the rest; with a short stretch it is Or-opt, after Or 1976), then by
//! chains of reversals (Lin & Kernighan 1973). Where nothing improves, two stretches are
//! exchanged at random and the search repairs around them; what is not much worse is gone on from
//! (Lourenço, Martin & Stützle 2003; Dueck & Scheuer 1990). Prefix sums of both directions make each
//! move's worth an expression of a few terms, although the ways there and back cost differently.
//!
//! The random numbers have a fixed seed and the steps are counted: no clock decides anything.

use super::bound::Bound;
use super::order::{BARRED_S, Costs, Node, best_directions, sequential};
use super::tour::{Exchange, Move, Tour};

/// Nodes in each list of nearest ones.
const NEAREST: usize = 8;
/// Nodes among which these are sought when costs have changed.
const NEAR: usize = 48;
/// The longest stretch, in lanes, that Or-opt moves.
const SHORT: usize = 3;
/// The longest stretch that a random exchange moves, where it goes by places.
const SHAKEN: usize = 30;
/// Random exchanges for each lane, where orders are chosen from and then.
const SHAKES_PER_LANE_CHOOSING: usize = 3;
const SHAKES_PER_LANE: usize = 30;
/// By how much an order may be worse at first for the search to go on from it: a share of what
/// the average way takes.
const ALLOWED: f64 = 0.2;
/// Fewer lanes than this are searched as thoroughly as so many.
const FEW: usize = 130;
/// How many reversals a chain tries first, and how long it may grow.
const BREADTH: usize = 5;
const DEPTH: usize = 25;
/// A move is worth making above this, seconds; below it is rounding.
const WORTH_S: f64 = 1e-6;

/// Where good orders are to be found, as the bound tells.
pub(super) struct Guide {
    side: usize,
    /// What the bound's charges add to each way.
    added: Vec<f64>,
    /// For each node those among which its nearest are sought, after it and before it.
    near: [Vec<Vec<Node>>; 2],
    /// Ways in its trees with their shares, those most often used first.
    pub likely: Vec<(f64, Node, Node)>,
}

impl Guide {
    /// Where nothing is known.
    pub(super) fn none(costs: &Costs) -> Self {
        let side = costs.side();
        Self::with(costs, vec![0.0; side * side], Vec::new())
    }

    pub(super) fn of(costs: &Costs, bound: &Bound) -> Self {
        let mut likely = bound.likely.clone();
        likely.sort_by(|a, b| b.0.total_cmp(&a.0).then((a.1, a.2).cmp(&(b.1, b.2))));
        Self::with(costs, bound.added(), likely)
    }

    fn with(costs: &Costs, added: Vec<f64>, likely: Vec<(f64, Node, Node)>) -> Self {
        let mut guide = Self { side: costs.side(), added, near: [Vec::new(), Vec::new()], likely };
        let all: Vec<Node> = costs.nodes().chain([costs.depot()]).collect();
        let list = |seconds: &dyn Fn(Node) -> f64| {
            let priced = all.iter().map(|&node| (seconds(node), node));
            nearest_of(priced.filter(|&(seconds, _)| seconds < BARRED_S).collect(), NEAR, costs.depot())
        };
        guide.near = [
            all.iter().map(|&from| list(&|to| guide.between(costs, from, to))).collect(),
            all.iter().map(|&to| list(&|from| guide.between(costs, from, to))).collect(),
        ];
        guide
    }

    /// What a way to another lane costs with the bound's charges.
    fn between(&self, costs: &Costs, from: Node, to: Node) -> f64 {
        if from.lane() == to.lane() { f64::INFINITY } else { self.reduced(costs, from, to) }
    }

    /// What a way costs with the bound's charges.
    fn reduced(&self, costs: &Costs, from: Node, to: Node) -> f64 {
        costs.get(from, to) + self.added[from.index() * self.side + to.index()]
    }
}

/// An order from nothing: the best of the constructions, improved; never worse than in sequence.
pub(super) fn constructed(costs: &Costs, guide: &Guide) -> Vec<Node> {
    let begins = [best_construction(costs), greedy(costs, guide)];
    cheapest(costs, begins.iter().map(|begin| repaired(costs, guide, begin)).collect())
}

/// The best of several orders from nothing, each searched for a little: with the nearest nodes as
/// the guide tells, and as the bare costs do. Which of them leads farthest cannot be foretold.
pub(super) fn chosen(costs: &Costs, guide: &Guide) -> Vec<Node> {
    let bare = Guide::none(costs);
    let begins = [best_construction(costs), greedy(costs, guide)];
    let tried = begins.iter().flat_map(|begin| [(guide, begin), (&bare, begin)]).map(|(guide, begin)| {
        let mut search = Search::new(costs, guide, begin);
        search.settle(Repair::Chains);
        search.shake(SHAKES_PER_LANE_CHOOSING * costs.lanes().max(FEW));
        search.tour.order()
    });
    cheapest(costs, tried.chain([sequential(costs).nodes]).collect())
}

/// An order no worse, in which no single move or chain improves anything.
pub(super) fn repaired(costs: &Costs, guide: &Guide, order: &[Node]) -> Vec<Node> {
    let mut search = Search::new(costs, guide, order);
    search.settle(Repair::Chains);
    cheapest(costs, vec![search.tour.order(), order.to_vec(), sequential(costs).nodes])
}

/// An order no worse, searched for thoroughly, so many times as long as is usual.
pub(super) fn polished(costs: &Costs, guide: &Guide, order: &[Node], times: usize) -> Vec<Node> {
    let lanes = times * costs.lanes().max(FEW);
    let mut search = Search::new(costs, guide, order);
    search.settle(Repair::Chains);
    search.shake(SHAKES_PER_LANE * lanes);
    search.mark_all();
    search.settle(Repair::Chains);
    cheapest(costs, vec![search.tour.order(), order.to_vec()])
}

/// The cheapest of the sequential order, of patterns that skip lanes, and of nearest neighbour.
fn best_construction(costs: &Costs) -> Vec<Node> {
    let mut orders = vec![sequential(costs).nodes, nearest_neighbour(costs)];
    orders.extend((2..=9).flat_map(|skip| [skipping(costs, skip), striding(costs, skip)]));
    let reversed = orders.clone().into_iter().map(|order| {
        let mut lanes: Vec<usize> = order.iter().rev().map(|node| node.lane()).collect();
        lanes.sort_by_key(|&lane| costs.stage(lane));
        best_directions(costs, &lanes)
    });
    orders.extend(reversed.collect::<Vec<_>>());
    cheapest(costs, orders)
}

/// The ways with the least charged cost, each taken where it joins two stretches of lanes; the
/// last one closes the order (greedy edge, on the costs that the bound has charged).
fn greedy(costs: &Costs, guide: &Guide) -> Vec<Node> {
    let nearest = Nearest::of(costs, guide);
    let all = costs.nodes().chain([costs.depot()]);
    let mut ways: Vec<(f64, Node, Node)> = all
        .flat_map(|from| nearest.after[from.index()].iter().map(move |&to| (from, to)))
        .map(|(from, to)| (guide.reduced(costs, from, to), from, to))
        .collect();
    ways.sort_by(|a, b| a.0.total_cmp(&b.0).then((a.1, a.2).cmp(&(b.1, b.2))));
    let mut stretches = Stretches::of(costs.lanes());
    for (_, from, to) in guide.likely.iter().copied().chain(ways) {
        stretches.join(from, to);
    }
    best_directions(costs, &stretches.lanes_in_order())
}

/// Lanes joined end to end, the depot among them. An end is named by the node that begins there.
struct Stretches {
    joined: Vec<Option<usize>>,
    /// For an end of a stretch, its other end.
    other: Vec<usize>,
}

impl Stretches {
    fn of(lanes: usize) -> Self {
        let ends = 2 * lanes + 2;
        Self { joined: vec![None; ends], other: (0..ends).map(|end| end ^ 1).collect() }
    }

    fn join(&mut self, from: Node, to: Node) {
        let (a, b) = (from.flipped().index(), to.index());
        if self.joined[a].is_some() || self.joined[b].is_some() || self.other[a] == b {
            return;
        }
        (self.joined[a], self.joined[b]) = (Some(b), Some(a));
        let (far, near) = (self.other[a], self.other[b]);
        (self.other[far], self.other[near]) = (near, far);
    }

    /// From the depot on, stretch after stretch.
    fn lanes_in_order(&self) -> Vec<usize> {
        let depot = self.joined.len() / 2 - 1;
        let mut lanes = Vec::with_capacity(depot);
        let mut seen = vec![false; depot + 1];
        let mut begin = 2 * depot + 1;
        seen[depot] = true;
        loop {
            let mut leaving = begin;
            while let Some(entering) = self.joined[leaving] {
                if seen[entering / 2] {
                    break;
                }
                seen[entering / 2] = true;
                lanes.push(entering / 2);
                leaving = entering ^ 1;
            }
            // What is not joined to it yet follows, from an open end.
            let Some(open) = (0..2 * depot).find(|&end| !seen[end / 2] && self.joined[end].is_none()) else {
                return lanes;
            };
            seen[open / 2] = true;
            lanes.push(open / 2);
            begin = open ^ 1;
        }
    }
}

/// Seconds of an order in which a barred way costs [`BARRED_S`].
fn penalised_total(costs: &Costs, order: &[Node]) -> f64 {
    let depot = [costs.depot()];
    let stops: Vec<Node> = depot.iter().chain(order).chain(&depot).copied().collect();
    stops.windows(2).map(|pair| costs.get(pair[0], pair[1]).min(BARRED_S)).sum()
}

fn cheapest(costs: &Costs, orders: Vec<Vec<Node>>) -> Vec<Node> {
    let mut best = (f64::INFINITY, Vec::new());
    for order in orders {
        let total = penalised_total(costs, &order);
        if total < best.0 {
            best = (total, order);
        }
    }
    best.1
}

/// Lanes `0, s, 1, s + 1, …` of each run of `2s` lanes, as one drives a field whose lanes lie
/// closer than the machine turns.
fn skipping(costs: &Costs, skip: usize) -> Vec<Node> {
    let mut lanes = Vec::with_capacity(costs.lanes());
    for run in (0..costs.lanes()).step_by(2 * skip) {
        let pairs = (run..run + skip).flat_map(|lane| [lane, lane + skip]);
        lanes.extend(pairs.filter(|&lane| lane < costs.lanes()));
    }
    lanes.sort_by_key(|&lane| costs.stage(lane));
    best_directions(costs, &lanes)
}

/// Every `s`-th lane to the far side of the field, the neighbours of these on the way back, and
/// so on until all are driven.
fn striding(costs: &Costs, stride: usize) -> Vec<Node> {
    let mut lanes = Vec::with_capacity(costs.lanes());
    for pass in 0..stride {
        let mut across: Vec<usize> = (pass..costs.lanes()).step_by(stride).collect();
        if pass % 2 == 1 {
            across.reverse();
        }
        lanes.extend(across);
    }
    lanes.sort_by_key(|&lane| costs.stage(lane));
    best_directions(costs, &lanes)
}

fn nearest_neighbour(costs: &Costs) -> Vec<Node> {
    let mut left: Vec<Node> = costs.nodes().collect();
    let mut order = Vec::with_capacity(costs.lanes());
    let mut at = costs.depot();
    while !left.is_empty() {
        let mut next = (f64::INFINITY, left[0]);
        for &node in &left {
            let seconds = costs.get(at, node);
            if seconds < next.0 {
                next = (seconds, node);
            }
        }
        at = next.1;
        order.push(at);
        left.retain(|node| node.lane() != at.lane());
    }
    order
}

/// The nearest nodes after and before each node, nearest first; by the node's index.
struct Nearest {
    after: Vec<Vec<Node>>,
    before: Vec<Vec<Node>>,
}

impl Nearest {
    fn of(costs: &Costs, guide: &Guide) -> Self {
        let ranked = |near: &[Vec<Node>], seconds: &dyn Fn(Node, Node) -> f64| {
            let list = |(index, others): (usize, &Vec<Node>)| {
                let priced = others.iter().map(|&other| (seconds(Node::from_index(index), other), other));
                let open = priced.filter(|&(seconds, _)| seconds < BARRED_S).collect();
                nearest_of(open, NEAREST, costs.depot())
            };
            near.iter().enumerate().map(list).collect()
        };
        let [after, before] = &guide.near;
        Self {
            after: ranked(after, &|from, to| guide.between(costs, from, to)),
            before: ranked(before, &|to, from| guide.between(costs, from, to)),
        }
    }
}

/// So many, nearest first, and the depot.
fn nearest_of(mut priced: Vec<(f64, Node)>, most: usize, depot: Node) -> Vec<Node> {
    let nearer = |a: &(f64, Node), b: &(f64, Node)| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1));
    let reachable = priced.iter().any(|&(_, node)| node == depot);
    if priced.len() > most {
        priced.select_nth_unstable_by(most, nearer);
        priced.truncate(most);
    }
    priced.sort_by(nearer);
    let mut nodes: Vec<Node> = priced.into_iter().map(|(_, node)| node).collect();
    if reachable && !nodes.contains(&depot) {
        nodes.push(depot);
    }
    nodes
}

/// What mends an order around lanes that were moved.
#[derive(Copy, Clone)]
enum Repair {
    /// Single moves, over and over.
    Moves,
    /// Chains of reversals too.
    Chains,
}

struct Search {
    tour: Tour,
    nearest: Nearest,
    /// Lanes around which something may improve, each at most once.
    dirty: Vec<usize>,
    is_dirty: Vec<bool>,
    random: XorShift,
}

impl Search {
    fn new(costs: &Costs, guide: &Guide, order: &[Node]) -> Self {
        let tour = Tour::new(costs, order);
        let nearest = Nearest::of(costs, guide);
        let lanes = costs.lanes();
        Self {
            tour,
            nearest,
            dirty: (0..=lanes).rev().collect(),
            is_dirty: vec![true; lanes + 1],
            random: XorShift(0x9E37_79B9_7F4A_7C15),
        }
    }

    /// Improves until no lane's neighbourhood holds a better order.
    fn settle(&mut self, repair: Repair) {
        while let Some(lane) = self.dirty.pop() {
            self.is_dirty[lane] = false;
            while let Some(step) = self.move_around(lane) {
                self.make(step);
            }
            if matches!(repair, Repair::Moves) {
                continue;
            }
            for side in [Side::After, Side::Before] {
                if self.chain(lane, side) {
                    self.mark(lane);
                }
            }
        }
    }

    fn make(&mut self, step: Move) {
        for lane in self.tour.apply(step) {
            self.mark(lane);
        }
    }

    fn mark_all(&mut self) {
        (0..=self.tour.lanes()).rev().for_each(|lane| self.mark(lane));
    }

    fn mark(&mut self, lane: usize) {
        if !self.is_dirty[lane] {
            self.is_dirty[lane] = true;
            self.dirty.push(lane);
        }
    }

    /// Opens the way beside the lane and follows the most promising reversals (Lin & Kernighan
    /// 1973), whatever closing the order again would cost meanwhile; keeps the best closed order
    /// of the chain. Tells whether it improved.
    fn chain(&mut self, lane: usize, side: Side) -> bool {
        let before = self.tour.seconds();
        for choice in 0..BREADTH {
            let mut steps: Vec<Move> = Vec::new();
            let mut added: Vec<(Node, Node)> = Vec::new();
            let mut best = (before - WORTH_S, 0);
            while steps.len() < DEPTH {
                let rank = if steps.is_empty() { choice } else { 0 };
                let Some(link) = self.next_link(lane, side, before, &added, rank) else { break };
                self.tour.apply(link.step);
                steps.push(link.step);
                added.push(link.way);
                if self.tour.seconds() < best.0 {
                    best = (self.tour.seconds(), steps.len());
                }
            }
            let none = steps.is_empty();
            for step in steps.drain(best.1..).rev() {
                self.tour.apply(step);
            }
            if best.1 > 0 {
                for step in steps {
                    for lane in self.tour.sides(step) {
                        self.mark(lane);
                    }
                }
                return true;
            }
            if none {
                break;
            }
        }
        false
    }

    /// The reversal of the given rank that leaves the open order cheapest, if the open order stays
    /// cheaper than the closed one was before the chain.
    fn next_link(
        &self,
        lane: usize,
        side: Side,
        before: f64,
        added: &[(Node, Node)],
        rank: usize,
    ) -> Option<Link> {
        let tour = &self.tour;
        let mut links = match side {
            Side::After => self.links_after(tour.place_as_from(lane)),
            Side::Before => self.links_before(tour.place_as_to(lane)),
        };
        links.retain(|link| link.open < before - WORTH_S && !added.contains(&link.opens));
        links.sort_by(|a, b| a.open.total_cmp(&b.open));
        links.into_iter().nth(rank)
    }

    /// The way after place `i` is open: a reversal from the next place on joins that place's node,
    /// turned, to a node near it.
    fn links_after(&self, i: usize) -> Vec<Link> {
        let tour = &self.tour;
        if i >= tour.lanes() {
            return Vec::new();
        }
        let turned = tour.at(i + 1).flipped();
        let near = self.nearest.after[turned.index()].iter().filter_map(|&to| {
            let place = tour.place_as_to(to.lane());
            (place > i + 1 && tour.at(place) == to).then(|| {
                let step = Move::Reverse { first: i + 1, last: place - 1 };
                let closing = tour.way(tour.at(i), tour.at(place - 1).flipped());
                Link {
                    step,
                    way: (turned, to),
                    opens: (tour.at(place - 1), to),
                    open: tour.seconds() + tour.change(step) - closing,
                }
            })
        });
        near.collect()
    }

    /// The same against the order: the way before place `i` is open.
    fn links_before(&self, i: usize) -> Vec<Link> {
        let tour = &self.tour;
        if i < 2 {
            return Vec::new();
        }
        let turned = tour.at(i - 1).flipped();
        let near = self.nearest.before[turned.index()].iter().filter_map(|&from| {
            let place = tour.place_as_from(from.lane());
            (place + 1 < i && tour.at(place) == from).then(|| {
                let step = Move::Reverse { first: place + 1, last: i - 1 };
                let closing = tour.way(tour.at(place + 1).flipped(), tour.at(i));
                Link {
                    step,
                    way: (from, turned),
                    opens: (from, tour.at(place + 1)),
                    open: tour.seconds() + tour.change(step) - closing,
                }
            })
        });
        near.collect()
    }

    /// Exchanges two stretches at random and repairs by single moves, over and over; goes on from
    /// what is not much worse, less and less so, and ends with the best.
    fn shake(&mut self, times: usize) {
        let lanes = self.tour.lanes();
        let (mut kept, mut best) = (self.tour.clone(), self.tour.clone());
        let allowed_at_first_s = ALLOWED * self.tour.seconds() / lanes as f64;
        for time in 0..times {
            let exchange = self.random_exchange();
            let step = match self.random.below(4) {
                0 => Move::ExchangeReversingEarlier(exchange),
                1 => Move::ExchangeReversingLater(exchange),
                _ => Move::Exchange(exchange),
            };
            self.make(step);
            self.settle(Repair::Moves);
            let allowed_s = allowed_at_first_s * (times - time) as f64 / times as f64;
            if self.tour.seconds() <= kept.seconds() + allowed_s.max(WORTH_S) {
                kept.clone_from(&self.tour);
                if kept.seconds() < best.seconds() {
                    best.clone_from(&kept);
                }
            } else {
                self.tour.clone_from(&kept);
            }
        }
        self.tour.clone_from(&best);
    }

    /// Two stretches, every other time such that the order is cut where lanes near each other are driven, otherwise short
    /// ones.
    fn random_exchange(&mut self) -> Exchange {
        let is_near = self.random.below(2) == 0;
        if is_near && let Some(exchange) = self.near_exchange() {
            return exchange;
        }
        let lanes = self.tour.lanes();
        let longest = SHAKEN.min(lanes / 2);
        let (a, b) = (1 + self.random.below(longest), 1 + self.random.below(longest));
        let first = 1 + self.random.below(lanes + 1 - a - b);
        Exchange { first, middle: first + a - 1, last: first + a + b - 1 }
    }

    /// Stretches of any length between three places where lanes near each other are driven; none where these are fewer.
    fn near_exchange(&mut self) -> Option<Exchange> {
        let lanes = self.tour.lanes();
        let one = 1 + self.random.below(lanes);
        let other = self.place_near(one)?;
        let mut cuts = [one, other, self.place_near(other)?];
        cuts.sort_unstable();
        let [before, middle, last] = cuts;
        (before < middle && middle < last).then_some(Exchange { first: before + 1, middle, last })
    }

    /// The place of a lane near the end of the one at this place.
    fn place_near(&mut self, place: usize) -> Option<usize> {
        let near = &self.nearest.after[self.tour.at(place).index()];
        let lane = near.get(self.random.below(near.len().max(1)))?.lane();
        Some(self.tour.place_as_to(lane)).filter(|&place| place <= self.tour.lanes())
    }

    /// A move that improves and puts a promising way beside this lane into the order: the best one with the first such
    /// way that has any.
    fn move_around(&self, lane: usize) -> Option<Move> {
        let tour = &self.tour;
        let mut best = Best { tour, nearest: &self.nearest, change: -WORTH_S, step: None };
        let (as_from, as_to) = (tour.place_as_from(lane), tour.place_as_to(lane));
        let from = tour.at(as_from);
        let leaving = tour.way(from, tour.at(as_from + 1));
        let to = tour.at(as_to);
        let coming = tour.way(tour.at(as_to - 1), to);
        let after = self.nearest.after[from.index()].iter().map(|&to| (from, to, leaving));
        let before = self.nearest.before[to.index()].iter().map(|&from| (from, to, coming));
        for (from, to, now) in after.chain(before) {
            if tour.way(from, to) < now {
                best.link(from, to);
            }
            if best.step.is_some() {
                return best.step;
            }
        }
        if let Some(step) = tour.flip_of(lane) {
            best.consider(step);
        }
        best.step
    }
}

/// On which side of a lane a chain opens the order.
#[derive(Copy, Clone)]
enum Side {
    Before,
    After,
}

/// One reversal of a chain.
struct Link {
    step: Move,
    /// The way that it adds.
    way: (Node, Node),
    /// The way that it takes out.
    opens: (Node, Node),
    /// Seconds of the order without the way that closes it.
    open: f64,
}

/// The best move seen so far.
struct Best<'a> {
    tour: &'a Tour,
    nearest: &'a Nearest,
    change: f64,
    step: Option<Move>,
}

impl<'a> Best<'a> {
    fn consider(&mut self, step: Move) {
        let change = self.tour.change(step);
        if change < self.change {
            self.change = change;
            self.step = Some(step);
        }
    }

    /// Considers the moves after which `to` follows `from`.
    fn link(&mut self, from: Node, to: Node) {
        let (i, j) = (self.tour.place_as_from(from.lane()), self.tour.place_as_to(to.lane()));
        match (self.tour.at(i) == from, self.tour.at(j) == to) {
            (true, true) if i < j => self.link_forward(i, j),
            (true, true) => self.link_backward(i, j),
            (true, false) => self.link_to_flipped(i, j),
            (false, true) => self.link_from_flipped(i, j),
            (false, false) => {}
        }
    }

    /// Both as they are driven now, `from` at `i` earlier than `to` at `j`.
    fn link_forward(&mut self, i: usize, j: usize) {
        if i + 1 == j {
            return;
        }
        self.insert_elsewhere(i, j);
        for last in j..(j + SHORT).min(self.tour.lanes() + 1) {
            let exchange = Exchange { first: i + 1, middle: j - 1, last };
            self.consider(Move::Exchange(exchange));
            self.consider(Move::ExchangeReversingEarlier(exchange));
        }
        for first in (i.saturating_sub(SHORT - 1).max(1)..=i).rev() {
            let exchange = Exchange { first, middle: i, last: j - 1 };
            self.consider(Move::Exchange(exchange));
            self.consider(Move::ExchangeReversingLater(exchange));
        }
    }

    /// Places after which the order may be cut: what follows the cut is near after `before`, or what leads up to it near
    /// before `after`.
    fn cuts(&self, before: Node, after: Node) -> impl Iterator<Item = usize> + use<'a> {
        let tour = self.tour;
        let followed = self.nearest.after[before.index()].iter().filter_map(move |&node| {
            let place = tour.place_as_to(node.lane());
            (place > 0 && tour.at(place) == node).then(|| place - 1)
        });
        let led_up_to = self.nearest.before[after.index()].iter().filter_map(move |&node| {
            let place = tour.place_as_from(node.lane());
            (tour.at(place) == node).then_some(place)
        });
        followed.chain(led_up_to)
    }

    /// The stretch between `i` and `j` goes to where its ends are near.
    fn insert_elsewhere(&mut self, i: usize, j: usize) {
        let (first, last) = (self.tour.at(i + 1), self.tour.at(j - 1));
        for cut in self.cuts(last, first) {
            if cut >= j && cut <= self.tour.lanes() {
                self.consider(Move::Exchange(Exchange { first: i + 1, middle: j - 1, last: cut }));
            } else if cut < i {
                self.consider(Move::Exchange(Exchange { first: cut + 1, middle: i, last: j - 1 }));
            }
        }
        for cut in self.cuts(first.flipped(), last.flipped()) {
            if cut >= j && cut <= self.tour.lanes() {
                self.consider(Move::ExchangeReversingEarlier(Exchange {
                    first: i + 1,
                    middle: j - 1,
                    last: cut,
                }));
            } else if cut < i {
                self.consider(Move::ExchangeReversingLater(Exchange {
                    first: cut + 1,
                    middle: i,
                    last: j - 1,
                }));
            }
        }
    }

    /// Both as they are driven now, `from` at `i` later than `to` at `j`.
    fn link_backward(&mut self, i: usize, j: usize) {
        if i > self.tour.lanes() || j == 0 {
            return;
        }
        for cut in self.cuts(self.tour.at(j - 1), self.tour.at(i + 1)) {
            if j <= cut && cut < i {
                self.consider(Move::Exchange(Exchange { first: j, middle: cut, last: i }));
            }
        }
        let early = j..(j + SHORT).min(i);
        let late = i.saturating_sub(SHORT).max(early.end)..i;
        for middle in early.chain(late) {
            self.consider(Move::Exchange(Exchange { first: j, middle, last: i }));
        }
    }

    /// `from` at `i` as it is driven now, `to` at `j` in its other direction.
    fn link_to_flipped(&mut self, i: usize, j: usize) {
        if j > i {
            self.consider(Move::Reverse { first: i + 1, last: j });
            for first in (j.saturating_sub(SHORT - 1).max(i + 2)..=j).rev() {
                let exchange = Exchange { first: i + 1, middle: first - 1, last: j };
                self.consider(Move::ExchangeReversingLater(exchange));
            }
        } else {
            for first in (j.saturating_sub(SHORT - 1).max(1)..=j).rev() {
                let exchange = Exchange { first, middle: j, last: i };
                self.consider(Move::ExchangeReversingEarlier(exchange));
            }
        }
    }

    /// `from` at `i` in its other direction, `to` at `j` as it is driven now.
    fn link_from_flipped(&mut self, i: usize, j: usize) {
        if i < j {
            self.consider(Move::Reverse { first: i, last: j - 1 });
            for middle in i..(i + SHORT).min(j - 1) {
                let exchange = Exchange { first: i, middle, last: j - 1 };
                self.consider(Move::ExchangeReversingEarlier(exchange));
            }
        } else {
            for last in i..(i + SHORT).min(self.tour.lanes() + 1) {
                let exchange = Exchange { first: j, middle: i - 1, last };
                self.consider(Move::ExchangeReversingLater(exchange));
            }
        }
    }
}

/// Marsaglia's xorshift (2003), 64 bits; a fixed seed makes it part of the method, not chance.
struct XorShift(u64);

impl XorShift {
    fn below(&mut self, limit: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 % limit as u64) as usize
    }
}
