//! Where the hoppers are refilled.
//!
//! In: the route and the seeds of each lane. Out: the route with a stop at the end of a lane wherever
//! the seed would not last to the next. Each row has a hopper of its own; a stop fills all of them,
//! and they are full at the start. A machine that a person has to move is filled there too.
//!
//! A person walks in from the field's edge. Among all choices of stops with which no hopper runs
//! empty, the one is taken that costs the least time, walking there and back included: a shortest
//! path over the gaps between lanes, exact for the order at hand (the tour splitting of Beasley
//! 1983). The order itself is searched for with what its stops would cost ([`with_stops`](super::stops)).

use super::order::Node;
use super::{Route, Stop, StopReason, Visit};
use crate::check::{Crop, Machine};
use crate::diagnostic::{Finding, Told};
use crate::geometry::{Point, region};
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
}

/// A lane as driven.
#[derive(Clone, Debug)]
struct AtLane {
    /// Seeds that each hopper gives.
    need: Vec<u64>,
    /// Where it ends.
    at: Point,
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
            let at = super::driven(plan, Visit { lane: LaneIdx(lane), along }).end().at;
            let edges =
                region::rings(&site.boundary).map(|ring| Euclidean.distance(&GeoPoint::from(at), ring));
            AtLane { need, at, from_edge_m: edges.fold(f64::INFINITY, f64::min) }
        })
    };
    Hoppers {
        capacity: hopper_seeds(machine, crop),
        lanes: needs.into_iter().enumerate().map(at_lane).collect(),
        refill_s: machine.refill_time.to_s(),
    }
}

impl Hoppers {
    fn after(&self, visit: Visit) -> &AtLane {
        &self.lanes[visit.lane.0][usize::from(!visit.along)]
    }

    fn stop_s(&self, lane: &AtLane) -> f64 {
        self.refill_s + 2.0 * lane.from_edge_m / WALKING_M_PER_S
    }

    /// Seconds of the stops that an order of lanes needs; infinite where a hopper does not hold the seed of
    /// one of them.
    pub(super) fn stops_s(&self, nodes: &[Node]) -> f64 {
        let lanes: Vec<&AtLane> = nodes
            .iter()
            .map(|node| self.after(Visit { lane: LaneIdx(node.lane()), along: node.is_along() }))
            .collect();
        let needs: Vec<&[u64]> = lanes.iter().map(|lane| lane.need.as_slice()).collect();
        let stop_s = |after: usize| self.stop_s(lanes[after - 1]);
        best_stops(&needs, self.capacity, stop_s)
            .map_or(f64::INFINITY, |stops| stops.into_iter().map(stop_s).sum())
    }

    /// Seconds that the stops of no order of these lanes undercut.
    pub(super) fn stops_at_least_s(&self, lanes: &[usize]) -> f64 {
        let ways = || lanes.iter().map(|&lane| &self.lanes[lane]);
        let least_s = ways().flatten().map(|lane| self.stop_s(lane)).fold(f64::INFINITY, f64::min);
        let of_all: u64 = ways().map(|[along, _]| along.need.iter().sum::<u64>()).sum();
        let rows = ways().next().map_or(1, |[along, _]| along.need.len().max(1) as u64);
        let fills = of_all.div_ceil(self.capacity * rows);
        if fills > 1 { (fills - 1) as f64 * least_s } else { 0.0 }
    }
}

/// The route with its stops for refilling. Refused where a hopper does not hold the seed of a lane.
pub fn refills(
    site: &FieldSite,
    machine: &Machine,
    crop: &Crop,
    plan: &LanePlan,
    seeds: &SeedMap,
    mut route: Route,
) -> Told<Route> {
    let hoppers = hoppers(site, machine, crop, plan, seeds);
    let capacity = hoppers.capacity;
    let lanes: Vec<&AtLane> = route.visits.iter().map(|&visit| hoppers.after(visit)).collect();
    let needs: Vec<&[u64]> = lanes.iter().map(|lane| lane.need.as_slice()).collect();
    let person_is_there = |after: usize| route.stops.iter().any(|stop| stop.after == after);
    let costs_s = |after: usize| {
        if person_is_there(after) { hoppers.refill_s } else { hoppers.stop_s(lanes[after - 1]) }
    };
    let Some(stops) = best_stops(&needs, capacity, costs_s) else {
        let most = |need: &&[u64]| need.iter().copied().max().unwrap_or(0);
        let visit = needs.iter().position(|need| most(need) > capacity).unwrap_or(0);
        let (most, visit) = (most(&needs[visit]), route.visits[visit]);
        let of_lane = seeds.runs.iter().filter(|run| run.lane == visit.lane);
        let metres_a_seed =
            of_lane.map(|run| run.spacing_m / f64::from(run.pattern.seeds())).fold(f64::INFINITY, f64::min);
        let finding = hopper_too_small(site, machine, metres_a_seed, plan, visit, most, capacity);
        return Told { value: None, findings: vec![finding] };
    };
    let stops = stops.into_iter().map(|after| (after, lanes[after - 1].at, lanes[after - 1].from_edge_m));
    let far = |&(after, _, from_edge_m): &(usize, Point, f64)| from_edge_m > FAR_M && !person_is_there(after);
    let stops: Vec<(usize, Point, f64)> = stops.collect();
    let findings = stops
        .iter()
        .filter(|stop| far(stop))
        .map(|&(after, at, from_edge_m)| far_from_edge(site, after, at, from_edge_m))
        .collect();
    route.stops.extend(
        stops
            .into_iter()
            .map(|(after, at, from_edge_m)| Stop { after, reason: StopReason::Refill { at, from_edge_m } }),
    );
    route.stops.sort_by_key(|stop| (stop.after, matches!(stop.reason, StopReason::MovedByHand { .. })));
    Told { value: Some(route), findings }
}

/// Whole seeds that a hopper holds, at least one.
fn hopper_seeds(machine: &Machine, crop: &Crop) -> u64 {
    ((machine.hopper / (crop.thousand_seed_mass / 1000.0) + 1e-9) as u64).max(1)
}

/// The stops that cost least: after how many visits each. None where a visit needs more than the capacity.
fn best_stops(
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

fn far_from_edge(site: &FieldSite, after: usize, at: Point, from_edge_m: f64) -> Finding {
    let message = format!(
        "the refill after lane {after} of `{}` is {:.0} m inside the field; a hopper lasts no farther",
        site.name, from_edge_m,
    );
    rules::finding("route/refill-inside", message).with_place(site.inverse.to_geo(at))
}

#[cfg(test)]
impl Hoppers {
    /// Lanes that each take so many seeds of one hopper; at their ends a person walks so many metres.
    pub(super) fn example(walks_m: &[[f64; 2]], need: u64, capacity: u64) -> Self {
        let at = Point { x: 0.0, y: 0.0 };
        let lane = |from_edge_m: f64| AtLane { need: vec![need], at, from_edge_m };
        Self { capacity, lanes: walks_m.iter().map(|ends| ends.map(lane)).collect(), refill_s: 600.0 }
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
