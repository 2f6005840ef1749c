//! An order that uses planned ways only, and its bound.
//!
//! In: ways of which few are planned, any other at the least that it could take. Out: a good order of a
//! part's lanes, all of its ways laid out, and what no order undercuts.
//!
//! Minima promise more than ways through a field keep. An order is therefore searched for in turns:
//! among all ways, those that it needs being planned until it needs no others, and among the planned
//! ways alone, which promise nothing that they do not keep. Each turn knows more ways than the last. A way that
//! is not known is expected to take beyond its minimum what the known ones at its ends do; the bound expects
//! nothing.

use super::order::{Costs, Effort, LowerBound, Order, Solver};
use super::parts::Part;
use super::refill::Hoppers;
use super::stops::with_stops;
use super::ways::{Link, Ways};

/// How long to go on.
struct Patience {
    /// Turns at most.
    turns: usize,
    /// How often the bound is worked out anew at most once the ways that it rests on are known, as long as it
    /// rises.
    proofs: usize,
}

const fn patience(effort: Effort) -> Patience {
    match effort {
        Effort::Low => Patience { turns: 0, proofs: 1 },
        Effort::Normal => Patience { turns: 8, proofs: 32 },
        Effort::High => Patience { turns: 24, proofs: 64 },
    }
}
/// How many turns, and how many new bounds, may gain less than is worth one, a share of the order's time and of the bound.
const IDLE_TURNS: usize = 3;
const WORTH: f64 = 0.002;
const WORTH_OF_BOUND: f64 = 0.0001;
/// An order that lies above the bound by a smaller share is as good as any.
const CLOSE: f64 = 0.005;
/// An order that lies farther above the bound, or above what was hoped of it, as a share, is searched for once more, from
/// nothing.
const DOUBTFUL: f64 = 0.1;
/// How often at most where a first one falls short of what was hoped.
const BEGINNINGS: usize = 3;
/// Where a later search begins with an order that takes longer by a larger share, it ends there.
const PROMISING: f64 = 0.02;
/// Orders that are found before the last one is kept but for ways that turn out to be barred.
const ROUNDS: usize = 40;

/// The best order of a part's lanes that uses planned ways only, or the order that is stuck.
pub(super) fn settled(
    ways: &mut Ways,
    part: &Part,
    costs: &mut Costs,
    solver: &Solver,
) -> Result<Order, Order> {
    ways.forget_changed();
    ways.plan(solver.likely().map(|link| part.in_all(ways.costs(), link)).collect());
    part.renew(costs, ways);
    let first = begun(ways, part, costs, solver)?;
    let order = in_turns(ways, part, costs, solver, first);
    Ok(again(ways, part, costs, solver, order))
}

/// A first order. Where its ways turn out to take far more than hoped, others are searched for from nothing with what
/// is known of ways by then.
fn begun(ways: &mut Ways, part: &Part, costs: &mut Costs, solver: &Solver) -> Result<Order, Order> {
    let mut hoped = solver.first(&part.expected(costs, ways));
    let mut hoped_s = hoped.seconds;
    let mut best = mended(ways, part, costs, solver, hoped)?;
    for _ in 0..BEGINNINGS {
        if best.seconds <= (1.0 + DOUBTFUL) * hoped_s {
            break;
        }
        let fresh = solver.renewed(costs, best.seconds);
        hoped = fresh.first(&part.expected(costs, ways));
        hoped_s = hoped.seconds;
        let Ok(other) = mended(ways, part, costs, &fresh, hoped) else { break };
        best.seconds = costs.total(&best.nodes);
        if other.seconds < best.seconds {
            best = other;
        }
    }
    Ok(best)
}

/// An order no worse, searched for in turns.
fn in_turns(ways: &mut Ways, part: &Part, costs: &mut Costs, solver: &Solver, mut best: Order) -> Order {
    let mut idle = 0;
    for _ in 0..patience(solver.effort()).turns {
        ways.renew_chains();
        look_about(ways, part, &best);
        part.renew(costs, ways);
        let hoped = solver.polished(&part.expected(costs, ways), &best);
        let Ok(order) = mended(ways, part, costs, solver, hoped) else { break };
        let order = among_known(ways, part, costs, solver, order);
        best.seconds = costs.total(&best.nodes);
        let gained_s = best.seconds - order.seconds;
        if gained_s > 0.0 {
            best = order;
        }
        idle += usize::from(gained_s <= WORTH * best.seconds);
        let is_close = || best.seconds <= (1.0 + CLOSE) * solver.bound_again_s(costs, best.seconds);
        if idle == IDLE_TURNS || is_close() {
            break;
        }
    }
    best
}

/// Lets ways become known that could take the place of those of an order that waste most.
fn look_about(ways: &mut Ways, part: &Part, order: &Order) {
    /// How many of these, and how many ways at each of their ends.
    const WASTEFUL: usize = 12;
    const INSTEAD: usize = 8;
    /// How many chains in all.
    const CHAINS: usize = 12;
    let used = part.links(ways.costs(), order).collect();
    let wasteful = ways.most_wasteful(used, WASTEFUL);
    ways.plan(wasteful.iter().flat_map(|&link| ways.instead_of(link, INSTEAD)).collect());
    ways.lay_out(ways.chains_instead_of(&wasteful, CHAINS));
}

/// An order no worse: where this one is far above the bound, one that is searched for from nothing with what is known
/// of ways by now.
fn again(ways: &mut Ways, part: &Part, costs: &mut Costs, solver: &Solver, mut order: Order) -> Order {
    if solver.effort() == Effort::Low {
        return order;
    }
    let fresh = solver.renewed(costs, order.seconds);
    if order.seconds <= (1.0 + DOUBTFUL) * fresh.bound_s() {
        return order;
    }
    let first = fresh.first(&part.expected(costs, ways));
    let Ok(first) = mended(ways, part, costs, &fresh, first) else { return order };
    order.seconds = costs.total(&order.nodes);
    if first.seconds > (1.0 + PROMISING) * order.seconds {
        return order;
    }
    let other = in_turns(ways, part, costs, &fresh, first);
    order.seconds = costs.total(&order.nodes);
    if other.seconds < order.seconds { other } else { order }
}

/// Mends an order as times become known, until all of its ways are laid out; or the order that is stuck.
fn mended(
    ways: &mut Ways,
    part: &Part,
    costs: &mut Costs,
    solver: &Solver,
    mut order: Order,
) -> Result<Order, Order> {
    for round in 0.. {
        if !order.seconds.is_finite() {
            order = solver.polished(&part.expected(costs, ways), &order);
        }
        if !order.seconds.is_finite() {
            return Err(order);
        }
        let used: Vec<Link> = part.links(ways.costs(), &order).collect();
        let open: Vec<Link> = used.iter().copied().filter(|&link| !ways.is_known(link)).collect();
        if !open.is_empty() {
            ways.plan(open);
        } else if used.iter().all(|&link| ways.is_planned(link)) {
            break;
        } else {
            ways.lay_out(used);
        }
        part.renew(costs, ways);
        order.seconds = costs.total(&order.nodes);
        let is_final = round >= ROUNDS && order.seconds.is_finite();
        order = if is_final { order } else { solver.repaired(&part.expected(costs, ways), &order) };
    }
    Ok(order)
}

/// An order no worse, searched for among ways that are known to be drivable. Chains among them may turn out to take
/// longer once they are laid out; then it is searched for once more.
fn among_known(ways: &mut Ways, part: &Part, costs: &mut Costs, solver: &Solver, order: Order) -> Order {
    /// How often at most.
    const SEARCHES: usize = 6;
    let mut best = spared(ways, part, costs, order);
    for _ in 0..SEARCHES {
        let known = part.known(costs, ways);
        let hoped = solver.renewed(&known, best.seconds).polished(&known, &best);
        let hoped_s = hoped.seconds;
        let other = spared(ways, part, costs, hoped);
        best.seconds = costs.total(&best.nodes);
        let hoped_gain_s = best.seconds - hoped_s;
        if other.seconds < best.seconds {
            best = other;
        }
        if hoped_gain_s <= WORTH * best.seconds {
            break;
        }
    }
    best
}

/// The order, searched for once more and with its stops, and its bound. Where that rests on ways that are not planned, or were
/// found by a quick look, these become known as well as those of the order; then it may rest on others.
pub(super) fn proven(
    ways: &mut Ways,
    part: &Part,
    costs: &mut Costs,
    solver: &Solver,
    hoppers: Option<&Hoppers>,
    order: Order,
) -> (Order, f64) {
    ways.renew_chains();
    part.renew(costs, ways);
    let mut bound = solver.lower_bound(&part.at_least(costs, ways), costs.total(&order.nodes));
    let mut idle = 0;
    for _ in 1..patience(solver.effort()).proofs {
        know(ways, part, costs, &bound);
        let renewed = bound.renewed(&part.at_least(costs, ways), order.seconds);
        idle += usize::from(renewed.seconds - bound.seconds <= WORTH_OF_BOUND * bound.seconds);
        bound = renewed;
        if idle == IDLE_TURNS {
            break;
        }
    }
    know(ways, part, costs, &bound);
    let order = among_known(ways, part, costs, solver, order);
    let order = match hoppers {
        Some(hoppers) => refilled(ways, part, costs, hoppers, order),
        None => order,
    };
    let bound_s = bound.renewed(&part.at_least(costs, ways), order.seconds).seconds;
    (order, bound_s)
}

/// The order, or one whose ways and stops for refilling together take less.
fn refilled(ways: &mut Ways, part: &Part, costs: &mut Costs, hoppers: &Hoppers, order: Order) -> Order {
    let known = part.known(costs, ways);
    let other = with_stops(&known, &order, hoppers, &part.lanes);
    if other.nodes == order.nodes {
        return order;
    }
    let [one, other] = [order, other].map(|order| spared(ways, part, costs, order));
    let in_all_s = |order: &Order| order.seconds + hoppers.stops_s(&part.order_in_all(order).nodes);
    if in_all_s(&other) < in_all_s(&one) { other } else { one }
}

/// The order with its ways laid out, looked at closely and led along lanes, as far as that pays.
fn spared(ways: &mut Ways, part: &Part, costs: &mut Costs, mut order: Order) -> Order {
    let used: Vec<Link> = part.links(ways.costs(), &order).collect();
    ways.lay_out(used.clone());
    ways.refine(used.clone());
    ways.spare_rows(used);
    part.renew(costs, ways);
    order.seconds = costs.total(&order.nodes);
    order
}

/// Lets the ways that a bound rests on become known.
fn know(ways: &mut Ways, part: &Part, costs: &mut Costs, bound: &LowerBound) {
    let rests_on = bound.rests_on.iter().map(|&link| part.in_all(ways.costs(), link));
    let rests_on: Vec<Link> = rests_on.collect();
    ways.plan(rests_on.clone());
    ways.lay_out(rests_on.clone());
    ways.refine(rests_on);
    part.renew(costs, ways);
}
