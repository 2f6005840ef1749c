//! The order and direction in which the lanes are driven.
//!
//! In: the lanes, the fence, the machine and where it stands. Out: every lane once, the ways
//! between, and a proven lower bound on their time. Most ways count at least what they would take in
//! the open, or through the field where it bends round corners; the ways that an order uses are
//! planned inside the fence, their true times take the place of the minima, and the order is searched
//! for again, until it uses planned ways only.
//!
//! Where hoppers have to be refilled on the way, an order counts its stops too; they are fixed for the order at
//! hand, once every seed is laid ([`refills`]). Where the job names refill points, the ways on which the hoppers are
//! filled lead by way of them.

pub mod order;

mod along;
mod bound;
mod exact;
mod network;
mod parts;
mod refill;
mod refill_points;
mod search;
mod settle;
mod sown;
mod standing;
mod stops;
mod tour;
mod trips;
mod way_out;
mod ways;

use crate::check::{Field, Headland, HeadlandSown, LapCorners, Machine};
use crate::diagnostic::{Finding, Told};
use crate::geometry::{Path, Point};
use crate::lanes::{Course, Lane, LaneIdx, LanePlan, RowSpan};
use crate::rules;
use crate::site::FieldSite;
use crate::turns::toll::{Moment, Soil, Wheels};
use crate::turns::{Detours, Drive, FreeSpace, Manoeuvre, Toll, footprint};
pub use order::Effort;
pub use refill::{Hoppers, hoppers, refills};
pub use way_out::{Hold, WayOut, ways_out};

use geo::{Distance, Euclidean, LineString, MultiPolygon, Polygon};
use order::{Costs, Order, Solver, links};
use parts::{Part, nearest_part, parts, without_dead_ends};
use settle::{proven, settled};
use standing::standing_place;
use std::collections::BTreeSet;
use ways::{Tolls, Ways};

/// One lane as driven.
#[derive(Copy, Clone, Debug, PartialEq, Eq)]
pub struct Visit {
    /// Which lane.
    pub lane: LaneIdx,
    /// Whether its `line` is driven, else its `back`.
    pub along: bool,
}

impl Visit {
    /// The way on which it drives its lane.
    pub fn way(self, lane: &Lane) -> &Path {
        match (self.along, &lane.back) {
            (false, Some(back)) => back,
            _ => &lane.line,
        }
    }

    /// What each tool row works, distances along [`Visit::way`].
    pub fn rows(self, lane: &Lane) -> &[RowSpan] {
        if self.along { &lane.rows } else { &lane.rows_back }
    }
}

/// What of the lanes' rows is sown when the work begins.
#[derive(Copy, Clone, Debug, PartialEq, Eq)]
pub enum Rows {
    /// Nothing: the work sows them, lane by lane.
    SownOnTheWay,
    /// Everything: a pass over what was sown.
    SownBefore,
}

/// The route over one field.
#[derive(Clone, Debug)]
pub struct Route {
    /// Every lane of the plan once, in driving order, less those cut off.
    pub visits: Vec<Visit>,
    /// Lanes that no drivable way leads to.
    pub cut_off: Vec<LaneIdx>,
    /// `visits.len() + 1` ways: home to the first lane, between lanes, last lane to the exit.
    /// The first and the last are `None` where the job names neither home nor entrance, any other
    /// where a person moves the machine, as a stop there says.
    pub ways: Vec<Option<Manoeuvre>>,
    /// Where the machine waits for a person, in driving order.
    pub stops: Vec<Stop>,
    /// Seconds of ways in the best order that could exist, as far as ways are known: a proven lower bound on orders at
    /// these costs. A way that was planned counts its planned time, any other no more than it could take.
    pub bound_s: f64,
    /// Seconds, toll included, that ways by refill points count more than the same ways without the stop; the bound
    /// knows nothing of them.
    pub detours_s: f64,
}

impl Route {
    /// Seconds of all ways, their toll included, as if no refill point lay on them: what the bound bounds.
    pub fn ways_s(&self) -> f64 {
        self.ways.iter().flatten().map(Manoeuvre::cost_s).sum::<f64>() - self.detours_s
    }
}

/// A halt at which a person does something.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Stop {
    /// Lanes driven before it.
    pub after: usize,
    /// What for.
    pub reason: StopReason,
}

/// Why the machine waits.
#[derive(Copy, Clone, Debug, PartialEq)]
pub enum StopReason {
    /// No drivable way leads to the next part of the field: a person moves the machine there.
    MovedByHand {
        /// From where.
        from: Point,
        /// Where the next lane begins.
        to: Point,
    },
    /// The seed would not last through the next lane.
    Refill {
        /// Where the machine waits.
        at: Point,
        /// Where the seed comes from.
        from: SeedFrom,
    },
}

/// Where the seed comes from that fills the hoppers.
#[derive(Copy, Clone, Debug, PartialEq)]
pub enum SeedFrom {
    /// A person carries it in from the field's edge.
    Edge {
        /// So far.
        metres: f64,
    },
    /// It stands at the refill point of this number.
    Point(usize),
}

/// Ways planned ahead to and from each lane end.
const AHEAD: usize = 1;

/// Finds the route over one field.
pub fn route(
    field: &Field,
    site: &FieldSite,
    machine: &Machine,
    plan: &LanePlan,
    rows: Rows,
    hoppers: Option<&Hoppers>,
    effort: Effort,
) -> Told<Route> {
    let ground = Ground::of(field, site, machine, plan, rows);
    let (mut ways, parts, mut findings) = joined(&ground, site, plan);
    let route = over_parts(&mut ways, parts, plan, (hoppers, effort));
    match &route {
        Some(route) => {
            findings.extend(route.stops.iter().filter_map(|stop| moved(site, stop)));
            findings.extend(route.cut_off.iter().map(|&lane| cut_off(site, plan, lane)));
        }
        None => findings.push(no_way(site, machine, plan)),
    }
    Told { value: route, findings }
}

/// The order of a part of a field as a problem that other solvers can be given.
#[derive(Clone, Debug)]
pub struct Problem {
    /// Seconds of all ways, as far as they are planned; of any other the least that it could take.
    pub all: Costs,
    /// Seconds of the ways that are known to be drivable; any other is barred.
    pub known: Costs,
    /// The order that was found.
    pub order: Order,
    /// Seconds that no order undercuts.
    pub bound_s: f64,
}

/// The problems that a field's route is made of, solved.
pub fn problems(
    field: &Field,
    site: &FieldSite,
    machine: &Machine,
    plan: &LanePlan,
    rows: Rows,
    effort: Effort,
) -> Vec<Problem> {
    let ground = Ground::of(field, site, machine, plan, rows);
    let (mut ways, parts, _) = joined(&ground, site, plan);
    parts
        .into_iter()
        .filter_map(|part| best_order(&mut ways, part, None, effort))
        .map(|(_, problem)| problem)
        .collect()
}

/// Where and how the machine may drive.
struct Ground {
    space: FreeSpace,
    detours: Detours,
    soil: Soil,
    tracks_m: Vec<f64>,
    tyre_m: f64,
    over_sown_s_per_m: f64,
    rows: Rows,
    turning: Drive,
    transit: Drive,
    /// Of each lane.
    stages: Vec<u8>,
}

impl Ground {
    fn of(field: &Field, site: &FieldSite, machine: &Machine, plan: &LanePlan, rows: Rows) -> Self {
        let space = FreeSpace::new(&site.fence, footprint(machine));
        let stages = stages(field.headland, &site.fence, plan);
        Self {
            detours: Detours::through(&space, &site.fence),
            soil: sown::sown(&space, machine, plan, &stages),
            space,
            tracks_m: machine.wheel_tracks.iter().map(|track| track.to_m()).collect(),
            tyre_m: machine.tyre_width.to_m(),
            over_sown_s_per_m: field.over_sown_rows.to_s(),
            rows,
            turning: Drive::turning(machine),
            transit: Drive::transit(machine),
            stages,
        }
    }

    fn wheels(&self) -> Wheels<'_> {
        Wheels { tracks_m: &self.tracks_m, tyre_m: self.tyre_m }
    }

    /// What sown soil costs at a moment.
    fn toll(&self, moment: Moment) -> Toll<'_> {
        Toll::new(&self.soil, self.wheels(), self.over_sown_s_per_m, moment)
    }

    /// All ways between lanes and the place where the route begins and ends.
    fn ways(&self, plan: &LanePlan, standing: Option<Point>) -> Ways<'_> {
        let tolls = Tolls {
            soil: &self.soil,
            wheels: self.wheels(),
            s_per_m: self.over_sown_s_per_m,
            rows: self.rows,
        };
        let (drives, stages) = ((self.turning, self.transit), self.stages.clone());
        Ways::new(&self.space, &self.detours, tolls, drives, &plan.lanes, stages, standing)
    }
}

/// The ways of a field, its parts, and what is to be told of where the route begins.
fn joined<'a>(ground: &'a Ground, site: &FieldSite, plan: &LanePlan) -> (Ways<'a>, Vec<Part>, Vec<Finding>) {
    let mut findings = Vec::new();
    let standing = standing_place(site, &ground.space, &mut findings);
    let joined_from = |standing: Option<Point>| {
        let mut ways = ground.ways(plan, standing);
        let near = ways.nearest(ways.costs().nodes(), AHEAD);
        ways.plan(near);
        ways.join();
        let parts = parts(&ways, plan, standing.is_some());
        (ways, parts)
    };
    let (mut ways, mut parts) = joined_from(standing);
    if let Some(at) = standing
        && !parts.iter().any(|part| part.from_home)
    {
        let message = "no drivable way leads from home to any lane and back";
        findings.push(rules::finding("route/home-cut-off", message).with_place(site.inverse.to_geo(at)));
        (ways, parts) = joined_from(None);
    }
    (ways, parts, findings)
}

/// In which stage of the work each lane is driven, those of a lower stage first. Laps with square corners go
/// from the outermost inwards, so that the manoeuvres at their corners find the soil of the next lap unsown. Laps
/// round a hole that are not to be first are driven among the lanes about it: once all of these are sown, none
/// could be reached but over them.
fn stages(headland: Headland, fence: &MultiPolygon, plan: &LanePlan) -> Vec<u8> {
    let with_lanes = if headland.sown == HeadlandSown::First { u8::MAX } else { 0 };
    let stage = |lane: &Lane| match (&plan.blocks[lane.block.0].course, headland.corners) {
        (Course::Straight { .. } | Course::Contour, _) => with_lanes,
        (Course::Lap { .. }, _) if with_lanes == 0 && is_round_a_hole(lane, fence) => with_lanes,
        (Course::Lap { lap }, LapCorners::Square) => u8::try_from(*lap).unwrap_or(u8::MAX),
        (Course::Lap { .. }, LapCorners::Round) => 1,
    };
    plan.lanes.iter().map(stage).collect()
}

/// Whether a lap runs beside holes of the fence, nowhere beside its outside.
fn is_round_a_hole(lap: &Lane, fence: &MultiPolygon) -> bool {
    /// Places along it that are looked at.
    const PLACES: u32 = 8;
    let nearest = |rings: &mut dyn Iterator<Item = &LineString>, at: Point| {
        rings.map(|ring| Euclidean.distance(&geo::Point::from(at), ring)).fold(f64::INFINITY, f64::min)
    };
    let length = lap.line.length();
    let places = lap.line.poses_at((0..=PLACES).map(|i| length * f64::from(i) / f64::from(PLACES)));
    places.into_iter().all(|place| {
        let outside = nearest(&mut fence.iter().map(Polygon::exterior), place.at);
        nearest(&mut fence.iter().flat_map(Polygon::interiors), place.at) < outside
    })
}

/// The route over all parts, one after another; none where no part can be driven. What begins
/// nearest to the end of one part follows it.
fn over_parts(
    ways: &mut Ways,
    mut parts: Vec<Part>,
    plan: &LanePlan,
    (hoppers, effort): (Option<&Hoppers>, Effort),
) -> Option<Route> {
    let mut route =
        Route { visits: vec![], cut_off: vec![], ways: vec![], stops: vec![], bound_s: 0.0, detours_s: 0.0 };
    while !parts.is_empty() {
        let next = match route.visits.last() {
            Some(visit) => nearest_part(&parts, driven(plan, *visit).end(), plan),
            None => 0,
        };
        let part = parts.swap_remove(next);
        let Some((part, Problem { order, bound_s, .. })) = best_order(ways, part, hoppers, effort) else {
            continue;
        };
        let order = part.order_in_all(&order);
        let visits: Vec<Visit> = order
            .nodes
            .iter()
            .map(|node| Visit { lane: LaneIdx(node.lane()), along: node.is_along() })
            .collect();
        if let (Some(&last), Some(&first)) = (route.visits.last(), visits.first()) {
            let (from, to) = (driven(plan, last).end().at, driven(plan, first).start.at);
            let reason = StopReason::MovedByHand { from, to };
            route.stops.push(Stop { after: route.visits.len(), reason });
            route.ways.pop();
        }
        route.visits.extend(visits);
        let driven = |link| if part.drives(ways.costs(), link) { ways.way(link).cloned() } else { None };
        route.ways.extend(links(ways.costs(), &order.nodes).map(driven));
        route.bound_s += bound_s;
    }
    let driven: BTreeSet<LaneIdx> = route.visits.iter().map(|visit| visit.lane).collect();
    route.cut_off = (0..plan.lanes.len()).map(LaneIdx).filter(|lane| !driven.contains(lane)).collect();
    (!route.visits.is_empty()).then_some(route)
}

/// The way of a lane as driven.
fn driven(plan: &LanePlan, visit: Visit) -> &Path {
    visit.way(&plan.lanes[visit.lane.0])
}

/// The best order of a part with its bound. Lanes at which no order can do without a barred way are
/// left out of the part.
fn best_order(
    ways: &mut Ways,
    mut part: Part,
    hoppers: Option<&Hoppers>,
    effort: Effort,
) -> Option<(Part, Problem)> {
    while !part.lanes.is_empty() {
        let mut costs = part.costs(ways);
        let solver = Solver::new(&costs, effort);
        match settled(ways, &part, &mut costs, &solver) {
            Ok(order) => {
                let (order, bound_s) = proven(ways, &part, &mut costs, &solver, hoppers, order);
                let (all, known) = (part.at_least(&costs, ways), part.known(&costs, ways));
                return Some((part, Problem { all, known, order, bound_s }));
            }
            Err(stuck) => part.lanes = without_dead_ends(ways, &part.lanes, &part.order_in_all(&stuck)),
        }
    }
    None
}

fn moved(site: &FieldSite, stop: &Stop) -> Option<Finding> {
    let StopReason::MovedByHand { from, .. } = stop.reason else { return None };
    let (name, next) = (&site.name, stop.after + 1);
    let message = format!(
        "no drivable way leads to lane {next} of `{name}`: after lane {} a person moves the machine there",
        stop.after
    );
    Some(rules::finding("route/moved-by-hand", message).with_place(site.inverse.to_geo(from)))
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
