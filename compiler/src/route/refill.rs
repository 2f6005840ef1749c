//! Where the hoppers are refilled.
//!
//! In: the route and the seeds of each lane. Out: the route with a stop at the end of a lane wherever
//! the seed would not last to the next. Each row has a hopper of its own; a stop fills all of them,
//! and they are full at the start. A machine that a person has to move is filled there too.
//!
//! A person walks in from the field's edge, or the machine drives to a named point
//! ([`refill_points`](super::refill_points)). Among all choices of stops with which no hopper runs
//! empty, the one is taken that costs the least time, walking there and back included: a shortest
//! path over the gaps between lanes, exact for the order at hand (the tour splitting of Beasley
//! 1983). The order itself is searched for with what its stops would cost ([`with_stops`](super::stops)).

use super::order::Node;
use super::refill_points::at_points;
use super::{Ground, Route, Rows, SeedFrom, Stop, StopReason, Visit};
use crate::check::{Crop, Field, Machine};
use crate::diagnostic::{Finding, Told};
use crate::geometry::{Point, distance, region};
use crate::lanes::{LaneIdx, LanePlan};
use crate::rules;
use crate::seeds::SeedMap;
use crate::site::FieldSite;
use geo::{Distance, Euclidean, Point as GeoPoint};

/// How fast a person walks over soil, metres per second: 3.6 km/h. Common practice, no source.
const WALKING_M_PER_S: f64 = 1.0;
/// A stop farther than this from the field's edge is told, metres. Common practice, no source.
const FAR_M: f64 = 50.0;

/// What the hoppers hold, what each lane takes from them, and where the machine stands at its ends.
#[derive(Clone, Debug)]
pub struct Hoppers {
    /// Seeds that each holds.
    capacity: u64,
    /// Of each lane, driven along its line and back.
    lanes: Vec<[AtLane; 2]>,
    /// Seconds of a stop without the walk.
    refill_s: f64,
    /// Where the seed stands; none where a person carries it in.
    points: Vec<Point>,
    /// Speed of drives there.
    speed_m_per_s: f64,
}

/// A lane as driven.
#[derive(Clone, Debug)]
struct AtLane {
    /// Seeds that each hopper gives.
    need: Vec<u64>,
    /// Where it begins and ends.
    begin: Point,
    end: Point,
    /// How far the end lies from the field's edge.
    from_edge_m: f64,
}

/// The hoppers of a machine that sows these lanes.
pub fn hoppers(
    site: &FieldSite,
    machine: &Machine,
    crop: &Crop,
    plan: &LanePlan,
    seeds: &SeedMap,
) -> Hoppers {
    let mut needs = vec![vec![0_u64; machine.row_offsets.len()]; plan.lanes.len()];
    for run in &seeds.runs {
        needs[run.lane.0][run.tool_row] += run.seeds();
    }
    let at_lane = |(lane, need): (usize, Vec<u64>)| {
        let back = need.iter().rev().copied().collect();
        [(true, need), (false, back)].map(|(along, need)| {
            let path = super::driven(plan, Visit { lane: LaneIdx(lane), along });
            let (begin, end) = (path.start.at, path.end().at);
            let edges =
                region::rings(&site.boundary).map(|ring| Euclidean.distance(&GeoPoint::from(end), ring));
            AtLane { need, begin, end, from_edge_m: edges.fold(f64::INFINITY, f64::min) }
        })
    };
    Hoppers {
        capacity: hopper_seeds(machine, crop),
        lanes: needs.into_iter().enumerate().map(at_lane).collect(),
        refill_s: machine.refill_time.to_s(),
        points: site.refill_points.iter().map(|(_, at)| *at).collect(),
        speed_m_per_s: machine.turning_speed.to_m_per_s(),
    }
}

impl Hoppers {
    fn after(&self, visit: Visit) -> &AtLane {
        &self.lanes[visit.lane.0][usize::from(!visit.along)]
    }

    /// Whole seeds that each holds.
    pub(super) const fn capacity(&self) -> u64 {
        self.capacity
    }

    /// Seconds of a stop alone.
    pub(super) const fn refill_s(&self) -> f64 {
        self.refill_s
    }

    /// Seeds that each hopper gives in each lane of an order.
    pub(super) fn needs(&self, visits: &[Visit]) -> Vec<&[u64]> {
        visits.iter().map(|&visit| self.after(visit).need.as_slice()).collect()
    }

    /// The stop at the end of a lane, to which a person carries the seed.
    pub(super) fn carried_in(&self, visit: Visit) -> StopReason {
        let AtLane { end, from_edge_m, .. } = self.after(visit);
        StopReason::Refill { at: *end, from: SeedFrom::Edge { metres: *from_edge_m } }
    }

    /// Seconds of a stop between two lanes; the way by a refill point counts straight.
    fn stop_s(&self, [one, next]: [&AtLane; 2]) -> f64 {
        if self.points.is_empty() {
            return self.refill_s + 2.0 * one.from_edge_m / WALKING_M_PER_S;
        }
        let by_m = |&point: &Point| distance(one.end, point) + distance(point, next.begin);
        let nearest_m = self.points.iter().map(by_m).fold(f64::INFINITY, f64::min);
        self.refill_s + (nearest_m - distance(one.end, next.begin)) / self.speed_m_per_s
    }

    /// Seconds of the stops that an order of lanes needs; infinite where a hopper does not hold the seed of
    /// one of them.
    pub(super) fn stops_s(&self, nodes: &[Node]) -> f64 {
        let lanes: Vec<&AtLane> = nodes
            .iter()
            .map(|node| self.after(Visit { lane: LaneIdx(node.lane()), along: node.is_along() }))
            .collect();
        let needs: Vec<&[u64]> = lanes.iter().map(|lane| lane.need.as_slice()).collect();
        let stop_s = |after: usize| self.stop_s([lanes[after - 1], lanes[after]]);
        best_stops(&needs, self.capacity, stop_s)
            .map_or(f64::INFINITY, |stops| stops.into_iter().map(stop_s).sum())
    }

    /// Seconds that the stops of no order of these lanes undercut.
    pub(super) fn stops_at_least_s(&self, lanes: &[usize]) -> f64 {
        let ways = || lanes.iter().map(|&lane| &self.lanes[lane]);
        let walks_m = ways().flatten().map(|lane| lane.from_edge_m);
        let least_m = if self.points.is_empty() { walks_m.fold(f64::INFINITY, f64::min) } else { 0.0 };
        let least_s = self.refill_s + 2.0 * least_m / WALKING_M_PER_S;
        let of_all: u64 = ways().map(|[along, _]| along.need.iter().sum::<u64>()).sum();
        let rows = ways().next().map_or(1, |[along, _]| along.need.len().max(1) as u64);
        let fills = of_all.div_ceil(self.capacity * rows);
        if fills > 1 { (fills - 1) as f64 * least_s } else { 0.0 }
    }
}

/// The route with its stops for refilling. Refused where a hopper does not hold the seed of a lane.
pub fn refills(
    field: &Field,
    site: &FieldSite,
    machine: &Machine,
    plan: &LanePlan,
    seeds: &SeedMap,
    route: Route,
) -> Told<Route> {
    let hoppers = hoppers(site, machine, &field.crop, plan, seeds);
    if let Some(finding) = too_small(&hoppers, site, machine, plan, seeds, &route) {
        return Told { value: None, findings: vec![finding] };
    }
    let mut told = if site.refill_points.is_empty() {
        at_lane_ends(site, &hoppers, route)
    } else {
        let ground = Ground::of(field, site, machine, plan, Rows::SownOnTheWay);
        at_points(field, site, &ground, plan, &hoppers, route)
    };
    if let Some(route) = &mut told.value {
        route.stops.sort_by_key(|stop| (stop.after, matches!(stop.reason, StopReason::MovedByHand { .. })));
    }
    told
}

/// The route with its stops where a person carries the seed in.
fn at_lane_ends(site: &FieldSite, hoppers: &Hoppers, mut route: Route) -> Told<Route> {
    let lanes: Vec<&AtLane> = route.visits.iter().map(|&visit| hoppers.after(visit)).collect();
    let person_is_there = |after: usize| route.stops.iter().any(|stop| stop.after == after);
    let costs_s = |after: usize| {
        if person_is_there(after) {
            hoppers.refill_s
        } else {
            hoppers.stop_s([lanes[after - 1], lanes[after]])
        }
    };
    let stops = best_stops(&hoppers.needs(&route.visits), hoppers.capacity, costs_s).unwrap_or_default();
    let far = |&&after: &&usize| lanes[after - 1].from_edge_m > FAR_M && !person_is_there(after);
    let findings =
        stops.iter().filter(far).map(|&after| far_from_edge(site, after, lanes[after - 1])).collect();
    let stops: Vec<Stop> = stops
        .into_iter()
        .map(|after| Stop { after, reason: hoppers.carried_in(route.visits[after - 1]) })
        .collect();
    route.stops.extend(stops);
    Told { value: Some(route), findings }
}

/// Whole seeds that a hopper holds, at least one.
fn hopper_seeds(machine: &Machine, crop: &Crop) -> u64 {
    ((machine.hopper / (crop.thousand_seed_mass / 1000.0) + 1e-9) as u64).max(1)
}

/// The stops that cost least: after how many visits each. None where a visit needs more than the capacity.
pub(super) fn best_stops(
    needs: &[impl AsRef<[u64]>],
    capacity: u64,
    costs_s: impl Fn(usize) -> f64,
) -> Option<Vec<usize>> {
    // For each visit before which the hoppers are full: the least seconds of stops until then, and
    // the stop before.
    let mut reached: Vec<(f64, Option<usize>)> = vec![(f64::INFINITY, None); needs.len()];
    let mut last = (f64::INFINITY, None);
    if let Some(first) = reached.first_mut() {
        *first = (0.0, None);
    }
    for full in 0..needs.len() {
        let mut used = vec![0_u64; needs[full].as_ref().len()];
        for (visit, need) in needs.iter().enumerate().skip(full) {
            used.iter_mut().zip(need.as_ref()).for_each(|(used, need)| *used += need);
            if used.iter().any(|&seeds| seeds > capacity) {
                break;
            }
            let so_far_s = reached[full].0;
            match reached.get_mut(visit + 1) {
                Some(next) if so_far_s + costs_s(visit + 1) < next.0 => {
                    *next = (so_far_s + costs_s(visit + 1), Some(full));
                }
                None if so_far_s < last.0 => last = (so_far_s, Some(full)),
                _ => {}
            }
        }
    }
    let mut stops: Vec<usize> =
        std::iter::successors(last.1, |&full| reached[full].1).filter(|&full| full > 0).collect();
    stops.reverse();
    (needs.is_empty() || last.0.is_finite()).then_some(stops)
}

/// Tells a lane of the route whose seed a hopper does not hold.
fn too_small(
    hoppers: &Hoppers,
    site: &FieldSite,
    machine: &Machine,
    plan: &LanePlan,
    seeds: &SeedMap,
    route: &Route,
) -> Option<Finding> {
    let capacity = hoppers.capacity;
    let most = |visit: &Visit| hoppers.after(*visit).need.iter().copied().max().unwrap_or(0);
    let visit = *route.visits.iter().find(|visit| most(visit) > capacity)?;
    let of_lane = seeds.runs.iter().filter(|run| run.lane == visit.lane);
    let metres_a_seed =
        of_lane.map(|run| run.spacing_m / f64::from(run.pattern.seeds())).fold(f64::INFINITY, f64::min);
    Some(hopper_too_small(site, machine, metres_a_seed, plan, visit, most(&visit), capacity))
}

fn hopper_too_small(
    site: &FieldSite,
    machine: &Machine,
    metres_a_seed: f64,
    plan: &LanePlan,
    visit: Visit,
    most: u64,
    capacity: u64,
) -> Finding {
    let path = super::driven(plan, visit);
    let reaches_m = capacity as f64 * metres_a_seed;
    let needed = machine.hopper * (most as f64 / capacity as f64);
    let message = format!(
        "a hopper of {} g reaches {reaches_m:.0} m of a row; a lane of {:.0} m in `{}` needs {most} seeds, the hopper holds {capacity}",
        machine.hopper.to_g(),
        path.length(),
        site.name,
    );
    rules::finding("machine/hopper-too-small", message)
        .with_span(machine.span.clone(), format!("holds {} g a row", machine.hopper.to_g()))
        .with_place(site.inverse.to_geo(path.start.at))
        .with_hint(format!("bring a hopper of at least `hopper = \"{} g\"`", needed.to_g().ceil()))
}

fn far_from_edge(site: &FieldSite, after: usize, lane: &AtLane) -> Finding {
    let message = format!(
        "the refill after lane {after} of `{}` is {:.0} m inside the field; a hopper lasts no farther",
        site.name, lane.from_edge_m,
    );
    rules::finding("route/refill-inside", message).with_place(site.inverse.to_geo(lane.end))
}

#[cfg(test)]
impl Hoppers {
    /// Lanes that each take so many seeds of one hopper; at their ends a person walks so many metres.
    pub(super) fn example(walks_m: &[[f64; 2]], need: u64, capacity: u64) -> Self {
        let at = Point { x: 0.0, y: 0.0 };
        let lane = |from_edge_m: f64| AtLane { need: vec![need], begin: at, end: at, from_edge_m };
        let lanes = walks_m.iter().map(|ends| ends.map(lane)).collect();
        Self { capacity, lanes, refill_s: 600.0, points: vec![], speed_m_per_s: 1.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn fills(needs: &[Vec<u64>], capacity: u64) -> usize {
        best_stops(needs, capacity, |_| 1.0).unwrap().len()
    }

    #[test]
    fn the_fullest_row_decides_when_to_fill() {
        assert_eq!(fills(&[vec![60, 10], vec![30, 10], vec![20, 10]], 100), 1);
        assert_eq!(fills(&[vec![60, 10], vec![30, 10], vec![10, 10]], 100), 0);
        assert_eq!(fills(&[vec![0, 0]], 100), 0);
        assert_eq!(fills(&[], 100), 0);
    }

    #[test]
    fn a_stop_counts_the_way_by_the_nearest_point() {
        let place = |x: f64| Point { x, y: 0.0 };
        let lane = |begin: f64, end: f64| AtLane {
            need: vec![40],
            begin: place(begin),
            end: place(end),
            from_edge_m: 500.0,
        };
        let lanes = vec![[lane(0.0, 90.0), lane(90.0, 0.0)], [lane(4.0, 96.0), lane(96.0, 4.0)]];
        let hoppers = Hoppers {
            capacity: 40,
            lanes,
            refill_s: 600.0,
            points: vec![Point { x: 0.0, y: 3.0 }, place(100.0)],
            speed_m_per_s: 2.0,
        };
        assert_eq!(hoppers.stops_s(&[Node::along(0), Node::back(1)]), 600.0 + 0.5 * (10.0 + 4.0 - 6.0));
        assert_eq!(hoppers.stops_s(&[Node::back(0), Node::along(1)]), 600.0 + 0.5 * (3.0 + 5.0 - 4.0));
        assert_eq!(hoppers.stops_at_least_s(&[0, 1]), 600.0);
    }

    /// 40 seeds a lane, 100 in a hopper: a stop is due after one or two lanes, and after each second
    /// lane the machine stands at the near edge.
    #[test]
    fn stops_are_where_a_person_comes_soonest() {
        let needs = vec![vec![40]; 6];
        let near_after_even = |after: usize| if after.is_multiple_of(2) { 600.0 } else { 900.0 };
        assert_eq!(best_stops(&needs, 100, near_after_even).unwrap(), [2, 4]);
        let near_after_odd = |after: usize| if after.is_multiple_of(2) { 1900.0 } else { 600.0 };
        assert_eq!(best_stops(&needs, 100, near_after_odd).unwrap(), [1, 3, 5]);
        assert_eq!(best_stops(&[vec![40], vec![101]], 100, near_after_odd), None);
    }

    proptest! {
        /// No hopper runs empty, and trying all choices finds none that costs less.
        #[test]
        fn no_choice_of_stops_costs_less(
            needs in prop::collection::vec(prop::collection::vec(0_u64..60, 2), 1..9),
            costs in prop::collection::vec(1.0..10.0f64, 10),
        ) {
            let lasts = |stops: &[usize]| {
                let mut left = [60_u64; 2];
                needs.iter().enumerate().all(|(visit, need)| {
                    if stops.contains(&visit) {
                        left = [60; 2];
                    }
                    left.iter_mut().zip(need).all(|(left, need)| {
                        let enough = *left >= *need;
                        *left = left.saturating_sub(*need);
                        enough
                    })
                })
            };
            let total = |stops: &[usize]| stops.iter().map(|&after| costs[after]).sum::<f64>();
            let found = best_stops(&needs, 60, |after| costs[after]).unwrap();
            prop_assert!(lasts(&found));
            for choice in 0..1_usize << (needs.len() - 1) {
                let stops: Vec<usize> = (1..needs.len()).filter(|after| choice >> (after - 1) & 1 == 1).collect();
                prop_assert!(!lasts(&stops) || total(&found) <= total(&stops) + 1e-9);
            }
        }
    }
}
