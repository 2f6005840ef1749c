//! Hoppers that are filled where the seed stands.
//!
//! In: a route, what its lanes take from the hoppers, the named points. Out: the route with a stop at a point wherever
//! the seed would not last to the next: the way between two lanes leads by way of the point that costs least.
//!
//! The choice of stops is exact for the order at hand. Planning ways takes time, so each way by a point counts a
//! minimum at first; those of the best stops are planned, and the stops chosen anew, until all of theirs are planned.

use super::refill::{Hoppers, best_stops};
use super::standing::{fits, nearest_roomy};
use super::trips::{By, Trips};
use super::{Ground, Route, SeedFrom, Stop, StopReason, driven};
use crate::check::Field;
use crate::diagnostic::{Finding, Told};
use crate::geometry::{Point, distance};
use crate::lanes::LanePlan;
use crate::rules;
use crate::site::FieldSite;
use crate::turns::Manoeuvre;

/// The route with its stops at refill points. Where a person moves the machine, the hoppers are filled there.
pub(super) fn at_points(
    field: &Field,
    site: &FieldSite,
    ground: &Ground,
    plan: &LanePlan,
    hoppers: &Hoppers,
    mut route: Route,
) -> Told<Route> {
    let places: Vec<Point> = site.refill_points.iter().map(|(_, at)| *at).collect();
    let mut trips = Trips::of(ground, plan, places.clone(), &route);
    let findings: Vec<Finding> = (0..places.len())
        .filter_map(|point| {
            if !fits(&ground.space, places[point]) {
                return Some(no_room(field, site, ground, point));
            }
            (!trips.reach(point)).then(|| cut_off(field, site, plan, &route, point))
        })
        .collect();
    if !findings.is_empty() {
        return Told { value: None, findings };
    }
    let needs = hoppers.needs(&route.visits);
    let by = loop {
        let costs_s =
            |after: usize| hoppers.refill_s() + trips.best(after).map_or(0.0, |(_, detour_s)| detour_s);
        let Some(stops) = best_stops(&needs, hoppers.capacity(), costs_s) else {
            let may_stop = |after: usize| costs_s(after).is_finite();
            let lane = runs_empty(&needs, hoppers.capacity(), may_stop);
            return Told { value: None, findings: vec![too_far(field, site, plan, &route, lane)] };
        };
        let by: Vec<(usize, Option<By>)> =
            stops.into_iter().map(|after| (after, trips.best(after).map(|(by, _)| by))).collect();
        let open: Vec<By> = by.iter().filter_map(|&(_, by)| by).filter(|&by| trips.is_open(by)).collect();
        if open.is_empty() {
            break by;
        }
        trips.plan(&open);
    };
    for (after, by) in by {
        let reason = match by.and_then(|by| Some((by.point, trips.way(by)?))) {
            Some((point, way)) => {
                let direct_s = route.ways[after].as_ref().map_or(0.0, Manoeuvre::cost_s);
                route.detours_s += way.cost_s() - direct_s;
                route.ways[after] = Some(way.clone());
                StopReason::Refill { at: places[point], from: SeedFrom::Point(point) }
            }
            None => hoppers.carried_in(route.visits[after - 1]),
        };
        route.stops.push(Stop { after, reason });
    }
    Told { value: Some(route), findings }
}

/// The number of the visit in which a hopper runs empty though all are filled wherever they may be.
fn runs_empty(needs: &[&[u64]], capacity: u64, may_stop: impl Fn(usize) -> bool) -> usize {
    let mut used: Vec<u64> = Vec::new();
    let lasts = |(visit, need): (usize, &&[u64])| {
        if visit == 0 || may_stop(visit) {
            used = vec![0; need.len()];
        }
        used.iter_mut().zip(*need).for_each(|(used, need)| *used += need);
        used.iter().all(|&seeds| seeds <= capacity)
    };
    needs.iter().enumerate().map(lasts).position(|lasts| !lasts).unwrap_or(0)
}

/// A finding at a point's line.
fn at_point(field: &Field, site: &FieldSite, point: usize, rule: &'static str, message: String) -> Finding {
    let span = field.places.refill_points.get(point).unwrap_or(&field.span);
    rules::finding(rule, message)
        .with_span(span.clone(), "the machine drives here to be filled")
        .with_place(site.inverse.to_geo(site.refill_points[point].1))
}

fn as_written(site: &FieldSite, at: Point) -> String {
    let place = site.inverse.to_geo(at);
    format!("`at = [{:.8}, {:.8}]`", place.latitude, place.longitude)
}

fn no_room(field: &Field, site: &FieldSite, ground: &Ground, point: usize) -> Finding {
    let (name, at) = &site.refill_points[point];
    let message =
        format!("the machine does not fit inside the fence at refill point `{name}` of `{}`", site.name);
    let hint = match nearest_roomy(site, &ground.space, *at) {
        Some(nearest) => format!("write {}, the nearest place at which it fits", as_written(site, nearest)),
        None => "move it into the field".to_owned(),
    };
    at_point(field, site, point, "refill-point/no-room", message).with_hint(hint)
}

fn cut_off(field: &Field, site: &FieldSite, plan: &LanePlan, route: &Route, point: usize) -> Finding {
    let (name, at) = &site.refill_points[point];
    let message =
        format!("no drivable way leads from the lanes of `{}` to refill point `{name}` and back", site.name);
    let left = route.visits.iter().zip(&route.ways[1..]).filter(|(_, way)| way.is_some());
    let ends = left.map(|(&visit, _)| driven(plan, visit).end().at);
    let nearest = ends.min_by(|a, b| distance(*a, *at).total_cmp(&distance(*b, *at)));
    let hint = match nearest {
        Some(end) => format!("leave it out, or move it near the end of a lane: {}", as_written(site, end)),
        None => "leave it out".to_owned(),
    };
    at_point(field, site, point, "refill-point/cut-off", message).with_hint(hint)
}

fn too_far(field: &Field, site: &FieldSite, plan: &LanePlan, route: &Route, visit: usize) -> Finding {
    let start = driven(plan, route.visits[visit]).start.at;
    let message = format!(
        "hoppers run empty in lane {} of `{}`: no drivable way leads to a refill point from the lanes before it",
        visit + 1,
        site.name
    );
    let span = field.places.refill_points.first().unwrap_or(&field.span);
    rules::finding("refill-point/too-far", message)
        .with_span(span.clone(), "of the field's refill points this is the first")
        .with_place(site.inverse.to_geo(start))
        .with_hint(format!("name a refill point there, too: {}", as_written(site, start)))
}

#[cfg(test)]
mod tests {
    use super::runs_empty;

    #[test]
    fn the_lane_is_told_in_which_a_hopper_runs_empty() {
        let needs: [&[u64]; 5] = [&[40, 0], &[40, 10], &[40, 0], &[40, 0], &[40, 0]];
        assert_eq!(runs_empty(&needs, 100, |_| false), 2);
        assert_eq!(runs_empty(&needs, 100, |after| after == 2), 4);
        assert_eq!(runs_empty(&needs, 40, |after| after < 3), 3);
    }
}
