//! A whole plan passes; the same plan with one thing moved does not.

use super::*;
use crate::check::{BodyPoint, Job, KeepOut, KeepOutShape, SteeringRate};
use crate::lanes::lanes;
use crate::route::{Effort, Rows, route};
use crate::seeds::seeds;
use crate::site::SiteZones;
use crate::site::example::{job, place, span};
use crate::site::{Site, site};
use geo::{Area, Translate};
use lanewright_schema::quantity::{AngularSpeed, Length};

struct Planned {
    job: Job,
    site: Site,
    plan: LanePlan,
    route: Route,
    seeds: SeedMap,
}

/// A small field with a pole in it.
fn planned() -> Planned {
    planned_by(None)
}

fn planned_by(rate: Option<SteeringRate>) -> Planned {
    let mut job = job();
    job.machine.steering.rate = rate;
    job.fields[0].parts[0].exterior =
        vec![place(50.0, 8.0), place(50.0, 8.001), place(50.0005, 8.0011), place(50.00055, 8.0)];
    job.fields[0].home = Some(place(50.00005, 8.0001));
    job.fields[0].keep_outs = vec![KeepOut {
        name: "pole".into(),
        shape: KeepOutShape::Circle { centre: place(50.00025, 8.0006), radius: Length::m(0.3) },
        clearance: Length::m(1.0),
        span: span(40),
    }];
    let site = site(&job).value.unwrap();
    let plan = lanes(&job.fields[0], &site.fields[0], &job.machine).value.unwrap();
    let route =
        route(&job.fields[0], &site.fields[0], &job.machine, &plan, Rows::SownOnTheWay, None, Effort::Normal)
            .value
            .unwrap();
    let seeds = seeds(&plan, &route.visits, &job.fields[0].spacing, &SiteZones::none(), &job.machine);
    Planned { job, site, plan, route, seeds }
}

fn audited(p: &Planned) -> Told<Audit> {
    audit(&p.job.fields[0], &p.site.fields[0], &p.job.machine, &p.plan, &p.route, &p.seeds)
}

/// The rules that the plan breaks.
#[track_caller]
fn broken(p: &Planned) -> Vec<&'static str> {
    let told = audited(p);
    assert!(told.value.is_none());
    for finding in &told.findings {
        assert!(finding.place.is_some() && finding.map.iter().any(|line| line.contains('X')), "{finding:?}");
    }
    told.findings.iter().map(|finding| finding.rule).collect()
}

#[test]
fn a_plan_as_the_stages_make_it_passes() {
    let p = planned();
    let told = audited(&p);
    assert_eq!(told.findings, Vec::new());
    let audit = told.value.unwrap();
    assert!(audit.checks.iter().all(|check| check.margin >= 0.0));
    let fence = audit.checks.iter().find(|check| check.rule == "audit/inside-fence").unwrap();
    assert!(fence.margin > 0.0 && fence.margin < 0.2, "{}", fence.margin);
}

#[test]
fn a_way_moved_by_five_centimetres_is_found() {
    let mut p = planned();
    let middle = p.route.ways.len() / 2;
    p.route.ways[middle].as_mut().unwrap().path.start.at.x += 0.05;
    assert!(broken(&p).contains(&"audit/joined"));
}

#[test]
fn a_keep_out_moved_by_ten_centimetres_is_found() {
    let mut p = planned();
    for (east, north) in [(0.1, 0.0), (-0.1, 0.0), (0.0, 0.1), (0.0, -0.1)] {
        let shape = p.site.fields[0].keep_outs[0].shape.clone();
        p.site.fields[0].keep_outs[0].shape = shape.translate(east, north);
        assert_eq!(broken(&p), ["audit/fence-true"]);
        p.site.fields[0].keep_outs[0].shape = shape;
    }
}

#[test]
fn an_antenna_moved_out_by_twenty_centimetres_is_found() {
    let mut p = planned();
    // All round the body, on its outline and 20 cm out: the plan comes nearer than that somewhere.
    let round = [(1.4, 0.0), (1.4, 1.35), (0.7, 1.35), (0.0, 1.35), (-0.7, 1.35), (-1.4, 1.35)];
    let all_round = round.into_iter().flat_map(|(forward, right)| [(forward, right), (-forward, -right)]);
    let mut found = 0;
    for (forward, right) in all_round {
        let out = |metres: f64| if metres.abs() < 1.3 { metres } else { metres + 0.2 * metres.signum() };
        p.job.machine.antennas[0] = BodyPoint { forward: Length::m(forward), right: Length::m(right) };
        assert!(audited(&p).value.is_some());
        p.job.machine.antennas[0] =
            BodyPoint { forward: Length::m(out(forward)), right: Length::m(out(right)) };
        let told = audited(&p);
        let fence = told.findings.iter().find(|finding| finding.rule == "audit/inside-fence");
        found += usize::from(fence.is_some());
        if let Some(finding) = fence {
            let map = finding.map.concat();
            assert!(["B", "#", "+", "X"].iter().all(|sign| map.contains(sign)), "{:#?}", finding.map);
        }
    }
    assert!(found > 0);
}

#[test]
fn a_lane_left_out_or_driven_twice_is_found() {
    let mut p = planned();
    p.route.visits[1] = p.route.visits[2];
    assert!(broken(&p).contains(&"audit/every-lane-once"));
}

#[test]
fn a_way_that_the_machine_cannot_drive_is_found() {
    let mut p = planned();
    p.job.machine.steering.turning_radius = Length::m(2.6);
    assert!(broken(&p).contains(&"audit/curvature"));
    p.job.machine.steering.turning_radius = Length::m(2.5);
    p.job.machine.steering.may_reverse = false;
    assert_eq!(broken(&p), ["audit/steering"]);
}

#[test]
fn wheels_that_turn_too_fast_or_jump_are_found() {
    let rate = SteeringRate { wheels: AngularSpeed::deg_per_s(15.0), wheelbase: Length::m(1.9) };
    let mut p = planned_by(Some(rate));
    let audit = audited(&p).value.unwrap();
    let wheels = audit.checks.iter().find(|check| check.rule == "audit/steering-rate").unwrap();
    assert!((0.0..1.0).contains(&wheels.margin), "{}", wheels.margin);
    p.job.machine.steering.rate = Some(SteeringRate { wheels: AngularSpeed::deg_per_s(14.9), ..rate });
    assert_eq!(broken(&p), ["audit/steering-rate"]);
    let mut p = planned();
    p.job.machine.steering.rate = Some(rate);
    assert_eq!(broken(&p), ["audit/steering-rate"]);
}

#[test]
fn a_row_beyond_its_lane_is_found() {
    let mut p = planned();
    let lane = &mut p.plan.lanes[0];
    lane.rows[0].to = lane.line.length() + 0.01;
    assert!(broken(&p).contains(&"audit/tool-in-lane"));
}

#[test]
fn soil_dropped_in_silence_is_found() {
    let mut p = planned();
    p.plan.areas.left_over -= 1.0;
    assert_eq!(broken(&p), ["audit/areas"]);
}

#[test]
fn a_seed_off_the_soil_or_sown_twice_is_found() {
    let mut p = planned();
    let longest = (0..p.seeds.runs.len()).max_by_key(|&k| p.seeds.runs[k].count).unwrap();
    p.seeds.runs[longest].count += 100;
    assert!(broken(&p).contains(&"audit/seeds-on-soil"));
    let mut p = planned();
    let again = p.seeds.runs[longest].clone();
    p.seeds.runs.push(again);
    assert_eq!(broken(&p), ["audit/seeds-apart"]);
}

#[test]
fn a_seed_inside_a_keep_out_is_found() {
    let mut p = planned();
    let hole = p.site.fields[0].fence.0[0].interiors()[0].clone();
    assert!(geo::Polygon::new(hole.clone(), vec![]).unsigned_area() > 5.0);
    let run = p.seeds.runs.iter_mut().max_by_key(|run| run.count).unwrap();
    run.course = crate::seeds::RowCourse::Straight { from: hole.0[0], angle: 0.0 };
    assert!(broken(&p).contains(&"audit/seeds-on-soil"));
}
