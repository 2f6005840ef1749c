//! Where the machine can be taken out of the field, and after which lanes it stands near there.
//!
//! In: the ways in and out that the job names, the lanes and their order. Out: for each of them the
//! lanes after which the machine stands nearest. There it can be halted and taken out, for a fault or
//! for the night, with the least driving by hand. Metres are counted straight, whatever lies between.

use super::Route;
use crate::geometry::{Point, distance};
use crate::lanes::LanePlan;
use crate::site::FieldSite;

/// Farther from a way out than this there is nothing to be gained by waiting for a lane's end, metres:
/// common practice, no source.
const NEAR_M: f64 = 50.0;
/// Lanes named for each.
const MOST: usize = 6;

/// A place where the machine is taken out of the field.
#[derive(Clone, Debug, PartialEq)]
pub struct WayOut {
    /// Its name.
    pub name: String,
    /// Where.
    pub at: Point,
    /// Where to halt, in driving order.
    pub holds: Vec<Hold>,
}

/// The end of a lane at which the machine may be halted.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Hold {
    /// Lanes driven before it.
    pub after: usize,
    /// Where.
    pub at: Point,
    /// How far from the way out.
    pub metres: f64,
}

/// The entrances of a field with where to halt near them; its home where it has none.
pub fn ways_out(site: &FieldSite, plan: &LanePlan, route: &Route) -> Vec<WayOut> {
    let home = site.home.iter().map(|&at| ("home".to_owned(), at));
    let named: Vec<(String, Point)> =
        if site.entrances.is_empty() { home.collect() } else { site.entrances.clone() };
    let ends: Vec<Point> =
        route.visits.iter().map(|visit| visit.way(&plan.lanes[visit.lane.0]).end().at).collect();
    let holds = |way_out: Point| {
        let hold =
            |(order, &at): (usize, &Point)| Hold { after: order + 1, at, metres: distance(at, way_out) };
        let mut near: Vec<Hold> =
            ends.iter().enumerate().map(hold).filter(|hold| hold.metres <= NEAR_M).collect();
        near.sort_by(|a, b| a.metres.total_cmp(&b.metres).then(a.after.cmp(&b.after)));
        near.truncate(MOST);
        near.sort_by_key(|hold| hold.after);
        near
    };
    named.into_iter().map(|(name, at)| WayOut { name, at, holds: holds(at) }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lanes::lanes;
    use crate::route::{Effort, Rows, route};
    use crate::site::{example, site};

    #[test]
    fn the_nearest_lane_ends_are_named_in_driving_order() {
        let job = example::job();
        let mut place = site(&job).value.unwrap().fields.remove(0);
        let plan = lanes(&job.fields[0], &place, &job.machine).value.unwrap();
        let route =
            route(&job.fields[0], &place, &job.machine, &plan, Rows::SownOnTheWay, None, Effort::Normal)
                .value
                .unwrap();
        let of_home = ways_out(&place, &plan, &route);
        assert_eq!(of_home.iter().map(|way| way.name.as_str()).collect::<Vec<_>>(), ["home"]);

        let end = |order: usize| {
            let visit = route.visits[order - 1];
            visit.way(&plan.lanes[visit.lane.0]).end().at
        };
        place.entrances = vec![("gate".to_owned(), end(9)), ("ford".to_owned(), Point { x: 9e3, y: 0.0 })];
        let found = ways_out(&place, &plan, &route);
        let [gate, ford] = found.as_slice() else { panic!("{found:?}") };
        assert!(ford.holds.is_empty());
        assert!(gate.holds.len() > 1 && gate.holds.is_sorted_by_key(|hold| hold.after));
        assert!(gate.holds.iter().any(|hold| hold.after == 9 && hold.metres == 0.0));
        let farthest = gate.holds.iter().map(|hold| hold.metres).fold(0.0, f64::max);
        let nearer = (1..=route.visits.len()).filter(|&order| distance(end(order), gate.at) < farthest);
        assert!(nearer.count() < gate.holds.len().max(MOST));
    }
}
