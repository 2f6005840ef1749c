//! The order and direction in which the lanes are driven.
//!
//! In: the lanes, the fence, the machine and where it stands. Out: every lane once, the ways
//! between, and a proven lower bound on their time. The order is found on the unobstructed minima
//! of most ways; then the ways that it uses are planned inside the fence, their true times take
//! the place of the minima, and the order is mended, until it uses planned ways only. Since the
//! minima are never above the true times, little is lost by planning few ways.
//!
//! Refill stops are no part of it.

pub mod order;

mod bound;
mod exact;
mod reach;
mod search;
mod tour;
mod ways;

use crate::check::{HeadlandSown, Machine};
use crate::diagnostic::{Finding, Told};
use crate::geometry::{Point, Pose, region};
use crate::lanes::{Course, LaneIdx, LanePlan};
use crate::num;
use crate::rules;
use crate::site::FieldSite;
use crate::turns::{Drive, FreeSpace, Manoeuvre, footprint};
use geo::{Closest, ClosestPoint};
use order::{Costs, Node, Order, Solver, links, lower_bound};
use std::borrow::Cow;
use ways::{Link, Ways};

/// One lane as driven.
#[derive(Copy, Clone, Debug, PartialEq, Eq)]
pub struct Visit {
    /// Which lane.
    pub lane: LaneIdx,
    /// Whether its `line` is driven, else its `back`.
    pub along: bool,
}

/// The route over one field.
#[derive(Clone, Debug)]
pub struct Route {
    /// Every lane of the plan once, in driving order, less those cut off.
    pub visits: Vec<Visit>,
    /// Lanes that no drivable way leads to.
    pub cut_off: Vec<LaneIdx>,
    /// `visits.len() + 1` ways: home to the first lane, between lanes, last lane to the exit.
    /// The first and the last are `None` where the job names neither home nor entrance.
    pub ways: Vec<Option<Manoeuvre>>,
    /// Seconds of ways in the best order that could exist: a proven lower bound. A way that was
    /// planned counts its planned time, any other the time that it takes without a fence.
    pub bound_s: f64,
}

/// Orders that are found before the search contents itself with the ways planned by then.
const ROUNDS: usize = 40;
/// Bounds that are worked out, each with more ways planned.
const PROOFS: usize = 2;
/// Ways planned ahead to and from each lane end.
const AHEAD: usize = 3;
/// Ways planned in addition beside one that turned out longer than its minimum.
const BESIDE: usize = 6;

/// Finds the route over one field.
pub fn route(site: &FieldSite, machine: &Machine, headland: HeadlandSown, plan: &LanePlan) -> Told<Route> {
    let space = FreeSpace::new(&site.fence, footprint(machine));
    let drives = (Drive::turning(machine), Drive::transit(machine));
    let mut findings = Vec::new();
    let standing = standing_place(site, &space, &mut findings);
    let stages = plan.lanes.iter().map(|lane| stage(headland, &plan.blocks[lane.block.0].course)).collect();
    let ways = Ways::new(&space, drives, &plan.lanes, stages, standing);
    let mut best = best_drivable(ways, plan);
    if standing.is_some() && best.is_none() {
        let stages =
            plan.lanes.iter().map(|lane| stage(headland, &plan.blocks[lane.block.0].course)).collect();
        best = best_drivable(Ways::new(&space, drives, &plan.lanes, stages, None), plan);
        let finding =
            rules::finding("route/home-cut-off", "no drivable way leads from home to any lane and back");
        findings.push(standing.map_or(finding.clone(), |at| finding.with_place(site.inverse.to_geo(at))));
    }
    match &best {
        Some(route) => findings.extend(route.cut_off.iter().map(|&lane| cut_off(site, plan, lane))),
        None => findings.push(no_way(site, machine, plan)),
    }
    Told { value: best, findings }
}

/// Lanes of a lower stage are driven first.
fn stage(headland: HeadlandSown, course: &Course) -> u8 {
    match (course, headland) {
        (Course::Lap { .. }, HeadlandSown::Last) | (Course::Straight { .. }, HeadlandSown::First) => 1,
        (Course::Lap { .. } | Course::Straight { .. }, _) => 0,
    }
}

/// The best route over the lanes that can be driven together; none where that is no lane.
fn best_drivable(mut ways: Ways, plan: &LanePlan) -> Option<Route> {
    let mut lanes: Vec<usize> = (0..plan.lanes.len()).collect();
    let near = ways.nearest(ways.costs().nodes(), AHEAD);
    ways.plan(near);
    while !lanes.is_empty() {
        let length = |lane: usize| plan.lanes[lane].line.length();
        let kept = reach::drivable_together(ways.costs(), &lanes, length);
        if kept.len() < lanes.len() {
            lanes = kept;
            continue;
        }
        match settled(&mut ways, &lanes) {
            Ok(order) => {
                let bound_s = proven_s(&mut ways, &lanes, &order);
                return Some(route_of(&ways, &lanes, &order, bound_s));
            }
            Err(stuck) => lanes = reach::without_dead_ends(ways.costs(), &lanes, &stuck),
        }
    }
    None
}

/// The best order of these lanes that uses planned ways only, or the order that is stuck.
///
/// First the order is only mended as times become known; when it needs no more ways it is searched
/// for thoroughly, once, and mended again.
fn settled(ways: &mut Ways, lanes: &[usize]) -> Result<Order, Order> {
    let solver = Solver::new(&of_lanes(ways.costs(), lanes));
    ways.plan(solver.likely().map(|link| in_lanes(ways.costs(), lanes, link)).collect());
    let mut order = solver.first(&of_lanes(ways.costs(), lanes));
    let mut polished = false;
    for _ in 0..ROUNDS {
        let used = in_all(lanes, &order);
        let open: Vec<Link> =
            links(ways.costs(), &used.nodes).filter(|&link| !ways.is_planned(link)).collect();
        if !polished && (open.is_empty() || !order.seconds.is_finite()) {
            polished = true;
            order = solver.polished(&of_lanes(ways.costs(), lanes), &order);
            continue;
        }
        if !order.seconds.is_finite() {
            if !ways.relent() {
                return Err(used);
            }
            order = solver.repaired(&of_lanes(ways.costs(), lanes), &order);
            continue;
        }
        if open.is_empty() {
            return Ok(used);
        }
        look_closer(ways, &open);
        if ways.has_searched_enough() {
            let firm = solver.repaired(&of_lanes(&ways.without_guesses(), lanes), &order);
            if firm.seconds.is_finite() {
                ways.bar_guesses();
                order = firm;
            }
        }
        order = solver.repaired(&of_lanes(ways.costs(), lanes), &order);
    }
    let order = in_all(lanes, &solver.polished(&of_lanes(&ways.only_planned(), lanes), &order));
    if order.seconds.is_finite() { Ok(order) } else { Err(order) }
}

/// Plans ways that an order uses: in closed form, or by search where it insists on a way that has
/// none. Beside one that turned out longer than it seemed its neighbours are planned too.
fn look_closer(ways: &mut Ways, open: &[Link]) {
    let hoped: Vec<f64> = open.iter().map(|&(from, to)| ways.costs().get(from, to)).collect();
    ways.search(open.to_vec());
    ways.plan(open.to_vec());
    let longer =
        open.iter().zip(hoped).filter(|&(&(from, to), hoped)| ways.costs().get(from, to) > 1.02 * hoped);
    let beside: Vec<Node> = longer.flat_map(|(&(from, to), _)| [from, to]).collect();
    let near = ways.nearest(beside.into_iter().filter(|&node| node != ways.costs().depot()), BESIDE);
    ways.plan(near);
}

/// The costs of some of the lanes.
fn of_lanes<'a>(costs: &'a Costs, lanes: &[usize]) -> Cow<'a, Costs> {
    if lanes.len() == costs.lanes() { Cow::Borrowed(costs) } else { Cow::Owned(costs.only(lanes)) }
}

/// An order of some of the lanes, in nodes of all.
fn in_all(lanes: &[usize], order: &Order) -> Order {
    Order { nodes: order.nodes.iter().map(|node| node.of(lanes[node.lane()])).collect(), ..*order }
}

/// A way between some of the lanes, in nodes of all.
fn in_lanes(costs: &Costs, lanes: &[usize], (from, to): Link) -> Link {
    let in_all = |node: Node| lanes.get(node.lane()).map_or(costs.depot(), |&lane| node.of(lane));
    (in_all(from), in_all(to))
}

/// The bound. Where it rests on ways that are not planned, they are: their true times raise it.
/// The order stays the best, since no way becomes quicker.
fn proven_s(ways: &mut Ways, lanes: &[usize], order: &Order) -> f64 {
    let mut proven_s = 0.0_f64;
    for _ in 0..PROOFS {
        let bound = lower_bound(&of_lanes(&ways.at_least(), lanes), order.seconds);
        proven_s = proven_s.max(bound.seconds);
        let rests_on = bound.rests_on.into_iter();
        if ways.plan(rests_on.map(|link| in_lanes(ways.costs(), lanes, link)).collect()) == 0 {
            break;
        }
    }
    proven_s
}

fn route_of(ways: &Ways, lanes: &[usize], order: &Order, bound_s: f64) -> Route {
    let visit = |node: &Node| Visit { lane: LaneIdx(node.lane()), along: node.is_along() };
    Route {
        visits: order.nodes.iter().map(visit).collect(),
        cut_off: (0..ways.costs().lanes()).filter(|lane| !lanes.contains(lane)).map(LaneIdx).collect(),
        ways: links(ways.costs(), &order.nodes).map(|link| ways.way(link).cloned()).collect(),
        bound_s,
    }
}

/// Where the route begins and ends: home, else the first entrance; where the machine does not fit
/// there, the nearest place where it fits in any heading.
fn standing_place(site: &FieldSite, space: &FreeSpace, findings: &mut Vec<Finding>) -> Option<Point> {
    let (name, asked) = match (site.home, site.entrances.first()) {
        (Some(home), _) => ("home".to_owned(), home),
        (None, Some((name, at))) => (format!("entrance `{name}`"), *at),
        (None, None) => return None,
    };
    let fits = |angle: f64| space.clearance_at(Pose { at: asked, angle }).is_some();
    if (0..16).any(|step| fits(num::wrap_angle(f64::from(step) * num::PI / 8.0))) {
        return Some(asked);
    }
    let roomy = region::inset(&site.fence, space.footprint().reach() + crate::turns::SPARE_M);
    let (Closest::Intersection(nearest) | Closest::SinglePoint(nearest)) = roomy.closest_point(&asked.into())
    else {
        return None;
    };
    let away = num::hypot(nearest.x() - asked.x, nearest.y() - asked.y);
    let message = format!(
        "the machine does not fit inside the fence at {name}; the route begins and ends {away:.1} m from it"
    );
    findings.push(rules::finding("route/home-moved", message).with_place(site.inverse.to_geo(asked)));
    Some(nearest.into())
}

fn cut_off(site: &FieldSite, plan: &LanePlan, lane: LaneIdx) -> Finding {
    let line = &plan.lanes[lane.0].line;
    let message = format!(
        "no drivable way leads to a lane of {:.0} m in `{}`; its soil stays unworked",
        line.length(),
        site.name
    );
    rules::finding("route/cut-off", message).with_place(site.inverse.to_geo(line.start.at))
}

fn no_way(site: &FieldSite, machine: &Machine, plan: &LanePlan) -> Finding {
    let message = format!("`{}` finds no drivable way between the lanes of `{}`", machine.name, site.name);
    let finding = rules::finding("turns/no-way", message)
        .with_hint("add a headland lap, make the fence margin smaller, or let the machine reverse");
    match plan.lanes.first() {
        Some(lane) => finding.with_place(site.inverse.to_geo(lane.line.start.at)),
        None => finding,
    }
}

#[cfg(test)]
mod tests;
