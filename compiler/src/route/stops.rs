//! An order with its stops for refilling.
//!
//! In: the ways that are known, an order, the hoppers. Out: an order whose ways and stops together take no longer.
//! Ways a little longer may let the hoppers last to where a person comes sooner, or save a stop.
//!
//! Of all reversals and short exchanges that lengthen the ways by less than stops could save, the first that pays,
//! shortest ways first, is made, over and over; what an order's stops cost is worked out exactly each time. Where
//! stops could save nothing, nothing is tried.

use super::order::{Costs, Node, Order};
use super::refill::Hoppers;
use super::tour::{Exchange, Move, Tour};

/// The longest stretch, in lanes, that is moved.
const SHORT: usize = 3;
/// Orders whose stops are worked out, at most.
const TRIED: usize = 4000;
/// An order is worth changing above this, seconds.
const WORTH_S: f64 = 1.0;

/// `in_all` gives the number of a lane in the whole field.
pub(super) fn with_stops(known: &Costs, order: &Order, hoppers: &Hoppers, in_all: &[usize]) -> Order {
    let stops_s = |nodes: &[Node]| {
        let nodes: Vec<Node> = nodes.iter().map(|node| node.of(in_all[node.lane()])).collect();
        hoppers.stops_s(&nodes)
    };
    let least_s = hoppers.stops_at_least_s(in_all);
    let mut tour = Tour::new(known, &order.nodes);
    let mut own_s = stops_s(&order.nodes);
    let mut left = TRIED;
    while own_s.is_finite() && own_s - least_s > WORTH_S {
        let mut moves = moves_within(&tour, own_s - least_s);
        moves.truncate(left);
        let better = moves.into_iter().find_map(|(change_s, step)| {
            left -= 1;
            let mut changed = tour.clone();
            changed.apply(step);
            let changed_s = stops_s(&changed.order());
            (change_s + changed_s < own_s - WORTH_S).then_some((changed, changed_s))
        });
        let Some(better) = better else { break };
        (tour, own_s) = better;
    }
    let nodes = tour.order();
    Order { seconds: known.total(&nodes), nodes }
}

/// The moves that add less than a limit, those that add least first.
fn moves_within(tour: &Tour, limit_s: f64) -> Vec<(f64, Move)> {
    let lanes = tour.lanes();
    let reversals =
        (1..=lanes).flat_map(|first| (first..=lanes).map(move |last| Move::Reverse { first, last }));
    let exchanges = (1..=lanes).flat_map(|first| {
        let short_first = (first..first + SHORT)
            .flat_map(move |middle| (middle + 1..=lanes).map(move |last| (middle, last)));
        let short_last = (first + SHORT..=lanes).flat_map(move |middle| {
            (middle + 1..=(middle + SHORT).min(lanes)).map(move |last| (middle, last))
        });
        short_first.chain(short_last).flat_map(move |(middle, last)| {
            let exchange = Exchange { first, middle, last };
            [
                Move::Exchange(exchange),
                Move::ExchangeReversingEarlier(exchange),
                Move::ExchangeReversingLater(exchange),
            ]
        })
    });
    let priced = reversals.chain(exchanges).map(|step| (tour.change(step), step));
    let mut moves: Vec<(f64, Move)> = priced.filter(|&(change_s, _)| change_s < limit_s).collect();
    moves.sort_by(|a, b| a.0.total_cmp(&b.0));
    moves
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Lanes beside each other, each of 40 seeds; where each ends, a person walks so many metres.
    fn ground(walks_m: &[[f64; 2]], capacity: u64) -> (Costs, Hoppers) {
        let mut costs = Costs::barred(vec![0; walks_m.len()]);
        let depot = costs.depot();
        for from in costs.nodes() {
            costs.set(depot, from, 5.0);
            costs.set(from, depot, 5.0);
            for to in costs.nodes().filter(|to| to.lane() != from.lane()) {
                let across = if from.is_along() == to.is_along() { 60.0 } else { 0.0 };
                costs.set(from, to, 10.0 * from.lane().abs_diff(to.lane()) as f64 + across);
            }
        }
        (costs, Hoppers::example(walks_m, 40, capacity))
    }

    fn in_sequence(lanes: usize) -> Vec<Node> {
        (0..lanes).map(|lane| if lane % 2 == 0 { Node::along(lane) } else { Node::back(lane) }).collect()
    }

    /// The hoppers last for two lanes, and only at the third lane's near end a person is at hand: driven first
    /// of the third pair or last of the second, it saves the walk.
    #[test]
    fn lanes_end_where_a_person_is_when_hoppers_are_empty() {
        let walks_m = [[200.0; 2], [200.0; 2], [200.0, 0.0], [200.0; 2]];
        let (costs, hoppers) = ground(&walks_m, 100);
        let nodes = in_sequence(4);
        let order = Order { seconds: costs.total(&nodes), nodes };
        let better = with_stops(&costs, &order, &hoppers, &[0, 1, 2, 3]);
        assert_eq!(hoppers.stops_s(&order.nodes), 600.0 + 400.0);
        assert_eq!(hoppers.stops_s(&better.nodes), 600.0);
        assert!(better.seconds < order.seconds + 400.0);
    }

    proptest! {
        #[test]
        fn ways_and_stops_never_take_longer(
            walks_m in prop::collection::vec(prop::array::uniform2(0.0..300.0f64), 2..9),
            capacity in 40_u64..200,
        ) {
            let (costs, hoppers) = ground(&walks_m, capacity);
            let nodes = in_sequence(walks_m.len());
            let order = Order { seconds: costs.total(&nodes), nodes };
            let lanes: Vec<usize> = (0..walks_m.len()).collect();
            let better = with_stops(&costs, &order, &hoppers, &lanes);
            let total = |order: &Order| costs.total(&order.nodes) + hoppers.stops_s(&order.nodes);
            prop_assert!(total(&better) <= total(&order));
            prop_assert!(hoppers.stops_s(&better.nodes) >= hoppers.stops_at_least_s(&lanes));
            let mut driven: Vec<usize> = better.nodes.iter().map(|node| node.lane()).collect();
            driven.sort_unstable();
            prop_assert_eq!(driven, lanes);
        }
    }
}
