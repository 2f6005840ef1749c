//! An order under change: what a move would cost, and making it.
//!
//! Places count from 1 to the number of lanes; the depot stands at place 0 and at the last place
//! plus one. Sums along the order and against it turn the worth of any move into a few terms.

use super::order::{Costs, Node};
use std::sync::Arc;

/// Two neighbouring stretches: `first..=middle` and `middle + 1..=last`, none empty.
#[derive(Copy, Clone, Debug, PartialEq, Eq)]
pub(super) struct Exchange {
    pub first: usize,
    pub middle: usize,
    pub last: usize,
}

/// A change of the order. A reversed stretch is driven from its end, each lane from its other end.
#[derive(Copy, Clone, Debug, PartialEq, Eq)]
pub(super) enum Move {
    /// Reverses the stretch.
    Reverse { first: usize, last: usize },
    /// The later stretch first.
    Exchange(Exchange),
    /// The later stretch first, then the earlier one reversed.
    ExchangeReversingEarlier(Exchange),
    /// The later stretch first, reversed.
    ExchangeReversingLater(Exchange),
}

/// The order of all lanes.
#[derive(Debug)]
pub(super) struct Tour {
    side: usize,
    way: Arc<Vec<f64>>,
    nodes: Vec<Node>,
    /// Place of each lane.
    places: Vec<usize>,
    /// Seconds of ways from the depot to each place.
    along: Vec<f64>,
    /// Seconds of ways from each place back to place 1, lanes driven from their other ends.
    against: Vec<f64>,
    scratch: Vec<Node>,
}

impl Clone for Tour {
    fn clone(&self) -> Self {
        Self {
            side: self.side,
            way: Arc::clone(&self.way),
            nodes: self.nodes.clone(),
            places: self.places.clone(),
            along: self.along.clone(),
            against: self.against.clone(),
            scratch: Vec::new(),
        }
    }
    fn clone_from(&mut self, other: &Self) {
        self.nodes.clone_from(&other.nodes);
        self.places.clone_from(&other.places);
        self.along.clone_from(&other.along);
        self.against.clone_from(&other.against);
    }
}

impl Tour {
    pub(super) fn new(costs: &Costs, order: &[Node]) -> Self {
        let depot = costs.depot();
        let nodes: Vec<Node> = [depot].into_iter().chain(order.iter().copied()).chain([depot]).collect();
        let mut tour = Self {
            side: costs.side(),
            way: costs.penalised(),
            places: vec![0; costs.lanes()],
            along: vec![0.0; nodes.len()],
            against: vec![0.0; nodes.len()],
            nodes,
            scratch: Vec::new(),
        };
        tour.renew(1, costs.lanes());
        tour
    }

    pub(super) fn lanes(&self) -> usize {
        self.places.len()
    }
    pub(super) fn order(&self) -> Vec<Node> {
        self.nodes[1..=self.lanes()].to_vec()
    }
    pub(super) fn seconds(&self) -> f64 {
        self.along[self.lanes() + 1]
    }
    pub(super) fn at(&self, place: usize) -> Node {
        self.nodes[place]
    }
    /// Where a way leaves the lane; the depot's at the beginning.
    pub(super) fn place_as_from(&self, lane: usize) -> usize {
        self.places.get(lane).copied().unwrap_or(0)
    }
    /// Where a way reaches the lane; the depot's at the end.
    pub(super) fn place_as_to(&self, lane: usize) -> usize {
        self.places.get(lane).copied().unwrap_or(self.lanes() + 1)
    }
    pub(super) fn way(&self, from: Node, to: Node) -> f64 {
        self.way[from.index() * self.side + to.index()]
    }
    /// Driving the lane from its other end; nothing for the depot.
    pub(super) fn flip_of(&self, lane: usize) -> Option<Move> {
        self.places.get(lane).map(|&place| Move::Reverse { first: place, last: place })
    }

    /// Seconds that the move adds; negative where it improves.
    pub(super) fn change(&self, step: Move) -> f64 {
        match step {
            Move::Reverse { first, last } => {
                let (before, after) = (self.at(first - 1), self.at(last + 1));
                let turned = self.reversed(first, last);
                self.way(before, turned.enters) + turned.seconds + self.way(turned.leaves, after)
                    - (self.along[last + 1] - self.along[first - 1])
            }
            Move::Exchange(e) => {
                self.joined(e, &self.kept(e.middle + 1, e.last), &self.kept(e.first, e.middle))
            }
            Move::ExchangeReversingEarlier(e) => {
                self.joined(e, &self.kept(e.middle + 1, e.last), &self.reversed(e.first, e.middle))
            }
            Move::ExchangeReversingLater(e) => {
                self.joined(e, &self.reversed(e.middle + 1, e.last), &self.kept(e.first, e.middle))
            }
        }
    }

    /// Makes the move; gives the lanes at whose side a way has changed.
    pub(super) fn apply(&mut self, step: Move) -> [usize; 6] {
        let (first, cut, last) = match step {
            Move::Reverse { first, last } => {
                self.reverse(first, last);
                (first, first, last)
            }
            Move::Exchange(e) => self.exchange(e),
            Move::ExchangeReversingEarlier(e) => {
                self.reverse(e.first, e.middle);
                self.exchange(e)
            }
            Move::ExchangeReversingLater(e) => {
                self.reverse(e.middle + 1, e.last);
                self.exchange(e)
            }
        };
        self.renew(first, last);
        [first - 1, first, cut, cut + 1, last, last + 1].map(|place| self.nodes[place].lane())
    }

    /// The lanes at the sides of a stretch of this move.
    pub(super) fn sides(&self, step: Move) -> [usize; 4] {
        let (first, last) = match step {
            Move::Reverse { first, last } => (first, last),
            Move::Exchange(e) | Move::ExchangeReversingEarlier(e) | Move::ExchangeReversingLater(e) => {
                (e.first, e.last)
            }
        };
        [first - 1, first, last, last + 1].map(|place| self.nodes[place].lane())
    }

    fn reverse(&mut self, first: usize, last: usize) {
        let stretch = &mut self.nodes[first..=last];
        stretch.reverse();
        for node in stretch {
            *node = node.flipped();
        }
    }

    fn exchange(&mut self, e: Exchange) -> (usize, usize, usize) {
        self.scratch.clear();
        self.scratch.extend_from_slice(&self.nodes[e.first..=e.middle]);
        self.nodes.copy_within(e.middle + 1..=e.last, e.first);
        let cut = e.first + e.last - e.middle;
        self.nodes[cut..=e.last].copy_from_slice(&self.scratch);
        (e.first, cut - 1, e.last)
    }

    /// Renews places and sums of a stretch that has changed, and of what comes after it.
    fn renew(&mut self, first: usize, last: usize) {
        let end = self.lanes() + 1;
        let onward = (last + 1).min(end);
        let (along, against) = (self.along[onward], self.against[onward]);
        for place in first..=onward {
            let (before, node) = (self.nodes[place - 1], self.nodes[place]);
            if let Some(own) = self.places.get_mut(node.lane()) {
                *own = place;
            }
            self.along[place] = self.along[place - 1] + self.way(before, node);
            if place > 1 && place < end {
                self.against[place] = self.against[place - 1] + self.way(node.flipped(), before.flipped());
            }
        }
        let (longer, back) = (self.along[onward] - along, self.against[onward] - against);
        for sum in &mut self.along[onward + 1..] {
            *sum += longer;
        }
        if onward < end {
            for sum in &mut self.against[onward + 1..end] {
                *sum += back;
            }
        }
    }

    fn kept(&self, first: usize, last: usize) -> Stretch {
        Stretch {
            enters: self.nodes[first],
            leaves: self.nodes[last],
            seconds: self.along[last] - self.along[first],
        }
    }

    fn reversed(&self, first: usize, last: usize) -> Stretch {
        Stretch {
            enters: self.nodes[last].flipped(),
            leaves: self.nodes[first].flipped(),
            seconds: self.against[last] - self.against[first],
        }
    }

    fn joined(&self, e: Exchange, earlier: &Stretch, later: &Stretch) -> f64 {
        self.way(self.nodes[e.first - 1], earlier.enters)
            + earlier.seconds
            + self.way(earlier.leaves, later.enters)
            + later.seconds
            + self.way(later.leaves, self.nodes[e.last + 1])
            - (self.along[e.last + 1] - self.along[e.first - 1])
    }
}

/// A stretch as it would be driven.
struct Stretch {
    enters: Node,
    leaves: Node,
    seconds: f64,
}
