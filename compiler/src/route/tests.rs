//! Routes over whole small fields.

use super::order::Node;
use super::*;
use crate::check::{Field, GeoPolygon, Headland, HeadlandSize, HeadlandSown, Job, LapCorners};
use crate::lanes::lanes;
use crate::num;
use crate::site::example::{job, place};
use crate::site::site;
use lanewright_schema::quantity::Length;

/// A rectangle of degrees whose lower left corner lies `east` and `north` of polygon A's.
fn rectangle(east: f64, north: f64, width: f64, height: f64) -> GeoPolygon {
    let (south, west) = (50.0 + north, 8.0 + east);
    let exterior = vec![
        place(south, west),
        place(south, west + width),
        place(south + height, west + width),
        place(south + height, west),
    ];
    GeoPolygon { exterior, holes: vec![] }
}

fn job_with(change: impl FnOnce(&mut Field)) -> Job {
    let mut job = job();
    change(&mut job.fields[0]);
    job
}

fn routed(job: &Job) -> (LanePlan, Told<Route>) {
    let told = site(job);
    let site = told.value.unwrap_or_else(|| panic!("{:?}", told.findings));
    let plan = lanes(&job.fields[0], &site.fields[0], &job.machine).value.unwrap();
    let told =
        route(&job.fields[0], &site.fields[0], &job.machine, &plan, Rows::SownOnTheWay, None, Effort::Normal);
    (plan, told)
}

fn driven_lane(plan: &LanePlan, visit: Visit) -> &Path {
    let lane = &plan.lanes[visit.lane.0];
    if visit.along { &lane.line } else { lane.back.as_ref().unwrap() }
}

fn seconds(route: &Route) -> f64 {
    route.ways.iter().flatten().map(Manoeuvre::cost_s).sum()
}

#[test]
fn every_lane_is_driven_once_and_ways_join_them() {
    let job = job_with(|field| {
        field.parts = vec![rectangle(0.0, 0.0, 0.0012, 0.0006)];
        field.home = Some(place(50.0001, 8.0001));
    });
    let (plan, told) = routed(&job);
    let route = told.value.unwrap();
    assert!(told.findings.is_empty(), "{:?}", told.findings);
    let mut driven: Vec<usize> = route.visits.iter().map(|visit| visit.lane.0).collect();
    driven.sort_unstable();
    assert_eq!(driven, (0..plan.lanes.len()).collect::<Vec<_>>());
    assert_eq!(route.ways.len(), route.visits.len() + 1);
    for (way, pair) in route.ways[1..].iter().zip(route.visits.windows(2)) {
        let way = &way.as_ref().unwrap().path;
        assert!(way.start.distance(&driven_lane(&plan, pair[0]).end()) < 1e-6);
        assert!(way.end().distance(&driven_lane(&plan, pair[1]).start) < 1e-6);
    }
    assert!(route.bound_s <= seconds(&route));
    assert!(seconds(&route) < 1.2 * route.bound_s, "{} against {}", seconds(&route), route.bound_s);
    let home = site(&job).value.unwrap().fields[0].home.unwrap();
    for pose in
        [route.ways[0].as_ref().unwrap().path.start, route.ways.last().unwrap().as_ref().unwrap().path.end()]
    {
        assert!(num::hypot(home.x - pose.at.x, home.y - pose.at.y) < 1e-6);
    }
}

#[test]
fn headland_sown_first_is_driven_first() {
    let job = job_with(|field| {
        field.parts = vec![rectangle(0.0, 0.0, 0.0012, 0.0006)];
        field.headland.sown = HeadlandSown::First;
        field.home = None;
    });
    let (plan, told) = routed(&job);
    let route = told.value.unwrap();
    let is_lap =
        |visit: &Visit| matches!(plan.blocks[plan.lanes[visit.lane.0].block.0].course, Course::Lap { .. });
    let laps = route.visits.iter().filter(|visit| is_lap(visit)).count();
    assert!(laps > 0 && laps < route.visits.len());
    assert!(route.visits[..laps].iter().all(is_lap));
    assert!(route.ways[0].is_none() && route.ways[route.visits.len()].is_none());
}

/// Ways between the sides of a lap find the next lap's soil unsown, and take what a corner takes.
#[test]
fn laps_with_square_corners_are_driven_from_the_outermost_inwards() {
    for sown in [HeadlandSown::First, HeadlandSown::Last] {
        let job = job_with(|field| {
            field.parts = vec![rectangle(0.0, 0.0, 0.0012, 0.0006)];
            field.headland = Headland { size: HeadlandSize::Laps(2), sown, corners: LapCorners::Square };
            field.home = None;
        });
        let (plan, told) = routed(&job);
        let route = told.value.unwrap();
        let lap = |visit: &Visit| match plan.blocks[plan.lanes[visit.lane.0].block.0].course {
            Course::Lap { lap } => Some(lap),
            Course::Straight { .. } | Course::Contour => None,
        };
        let mut driven: Vec<Option<u32>> = route.visits.iter().map(lap).collect();
        let corners = (1..driven.len()).filter(|&k| driven[k].is_some() && driven[k - 1] == driven[k]);
        let slowest = corners.map(|k| route.ways[k].as_ref().unwrap().time_s).fold(0.0, f64::max);
        assert!(slowest < 60.0, "{slowest} s for a corner");
        driven.dedup();
        let expected =
            if sown == HeadlandSown::First { [Some(1), Some(2), None] } else { [None, Some(1), Some(2)] };
        assert_eq!(driven, expected);
    }
}

#[test]
fn parts_that_do_not_touch_are_driven_one_after_another() {
    let job = job_with(|field| {
        field.parts = vec![rectangle(0.0, 0.0, 0.001, 0.0005), rectangle(0.002, 0.0, 0.0008, 0.0004)];
        field.home = Some(place(50.00025, 8.0005));
    });
    let (plan, told) = routed(&job);
    let route = told.value.unwrap();
    let mut driven: Vec<usize> = route.visits.iter().map(|visit| visit.lane.0).collect();
    driven.sort_unstable();
    assert_eq!(driven, (0..plan.lanes.len()).collect::<Vec<_>>());
    assert!(route.cut_off.is_empty());
    // Home lies in the part that is driven first.
    let [Stop { after, reason: StopReason::MovedByHand { from, to } }] = route.stops[..] else {
        panic!("{:?}", route.stops)
    };
    let east = |visit: &Visit| plan.lanes[visit.lane.0].line.start.at.x;
    let (first, second) = route.visits.split_at(after);
    let westmost = second.iter().map(east).fold(f64::INFINITY, f64::min);
    assert!(first.iter().all(|visit| east(visit) < westmost));
    assert_eq!(from, driven_lane(&plan, route.visits[after - 1]).end().at);
    assert_eq!(to, driven_lane(&plan, route.visits[after]).start.at);
    // No way is claimed between the parts, nor back home from the second.
    let none: Vec<usize> = (0..route.ways.len()).filter(|&way| route.ways[way].is_none()).collect();
    assert_eq!(none, [after, route.visits.len()]);
    let rules: Vec<&str> = told.findings.iter().map(|finding| finding.rule).collect();
    assert_eq!(rules, ["route/moved-by-hand"]);
}

/// A hall with a spur in which the machine cannot turn.
fn hall_with_spur() -> Job {
    let mut job = job_with(|field| {
        let mut hall = rectangle(0.0, 0.0, 0.0006, 0.0004);
        let spur = [(0.000_18, 0.0006), (0.000_18, 0.0016), (0.000_25, 0.0016), (0.000_25, 0.0006)];
        let spur = spur.map(|(north, east)| place(50.0 + north, 8.0 + east));
        hall.exterior.splice(2..2, spur);
        field.parts = vec![hall];
        field.home = Some(place(50.0001, 8.0003));
    });
    job.machine.steering.may_reverse = true;
    job
}

#[test]
fn a_lane_that_ends_where_nothing_turns_is_left_in_reverse() {
    let job = hall_with_spur();
    let (plan, told) = routed(&job);
    let route = told.value.unwrap();
    let in_spur = plan.lanes.iter().filter(|lane| lane.line.start.at.x.max(lane.line.end().at.x) > 20.0);
    assert!(in_spur.count() > 0, "the spur has no lane");
    assert!(route.cut_off.is_empty(), "{:?}", told.findings);
    assert!(route.stops.is_empty());
}

#[test]
fn a_home_too_near_the_fence_is_met_as_near_as_the_machine_fits() {
    let job = job_with(|field| {
        field.parts = vec![rectangle(0.0, 0.0, 0.001, 0.0005)];
        field.home = Some(place(50.000_01, 8.0005));
    });
    let (_, told) = routed(&job);
    let route = told.value.unwrap();
    assert!(route.ways[0].is_some());
    assert_eq!(told.findings.len(), 1);
    assert_eq!(told.findings[0].rule, "route/home-moved");
}

#[test]
fn without_room_to_turn_a_person_moves_the_machine_to_each_lane() {
    let mut job = job_with(|field| {
        field.parts = vec![rectangle(0.0, 0.0, 0.002, 0.000_065_5)];
        field.headland.size = HeadlandSize::None;
        field.fence_margin = Length::ZERO;
        field.home = None;
    });
    job.machine.steering.may_reverse = false;
    let (plan, told) = routed(&job);
    assert!(plan.lanes.len() > 1, "{} lanes", plan.lanes.len());
    let route = told.value.unwrap();
    assert_eq!(route.visits.len(), plan.lanes.len());
    assert_eq!(route.stops.len(), plan.lanes.len() - 1);
    assert!(told.findings.iter().all(|finding| finding.rule == "route/moved-by-hand"));
}

/// Two arms beside each other, joined at their feet only: by the crow's way near, by the machine's far.
/// The order may begin and end anywhere, so one arm may be driven before and after the other.
#[test]
fn one_arm_is_driven_in_one_go() {
    let job = job_with(|field| {
        let mut both = rectangle(0.0, 0.0, 0.0014, 0.0018);
        let gap = [(0.0018, 0.0008), (0.0003, 0.0008), (0.0003, 0.0006), (0.0018, 0.0006)];
        let gap = gap.map(|(north, east)| place(50.0 + north, 8.0 + east));
        both.exterior.splice(3..3, gap);
        field.parts = vec![both];
        field.home = None;
    });
    let (plan, told) = routed(&job);
    let route = told.value.unwrap();
    let middle = plan.lanes.iter().map(|lane| lane.line.start.at.x).sum::<f64>() / plan.lanes.len() as f64;
    let arm = |visit: &Visit| {
        let lane = &plan.lanes[visit.lane.0];
        let lap = matches!(plan.blocks[lane.block.0].course, Course::Lap { .. });
        let (start, end) = (lane.line.start.at, lane.line.end().at);
        let upright = (start.x - end.x).abs() < 5.0 && (start.y - end.y).abs() > 80.0;
        (!lap && upright).then_some(start.x > middle)
    };
    let arms: Vec<bool> = route.visits.iter().filter_map(arm).collect();
    assert!(arms.contains(&true) && arms.contains(&false), "{arms:?}");
    let changes = arms.windows(2).filter(|pair| pair[0] != pair[1]).count();
    assert!(changes <= 2, "{arms:?}");
    assert!(seconds(&route) < 1.1 * route.bound_s, "{} against {}", seconds(&route), route.bound_s);
}

#[test]
fn the_bound_counts_a_chain_at_no_more_than_it_takes_laid_out() {
    let job = hall_with_spur();
    let site = &site(&job).value.unwrap().fields[0];
    let plan = lanes(&job.fields[0], site, &job.machine).value.unwrap();
    let ground = Ground::of(&job.fields[0], site, &job.machine, &plan, Rows::SownOnTheWay);
    let (mut ways, parts, _) = joined(&ground, site, &plan);
    let [part] = &parts[..] else { panic!("{parts:?}") };
    assert_eq!(part.lanes.len(), plan.lanes.len());
    let chains: Vec<(Node, Node)> = ways.chained().map(|(link, _)| link).collect();
    let costs = part.costs(&ways);
    let bounded = part.at_least(&costs, &ways);
    ways.lay_out(chains.clone());
    let laid_out = chains.iter().filter_map(|&link| Some((link, ways.way(link)?.cost_s())));
    let laid_out: Vec<((Node, Node), f64)> = laid_out.collect();
    assert!(laid_out.iter().all(|&((from, to), seconds)| seconds >= bounded.get(from, to) - 1e-6));
    assert!(laid_out.iter().any(|&((from, to), seconds)| seconds < costs.get(from, to) - 1.0));
}
