//! What must hold of everything that is driven: each lane once, ways joined to lanes, no curve
//! tighter than the machine steers, no gear that it has not, the tool up in every way.

use super::{Fault, Proof};
use crate::check::Machine;
use crate::geometry::{Gear, Path, Point};
use crate::lanes::{Lane, LanePlan};
use crate::num;
use crate::route::{Route, StopReason};

/// Lane and way meet within this distance, metres, and this angle, degrees.
const JOINT_M: f64 = 0.001;
const JOINT_DEG: f64 = 0.01;
/// Rounding of curvatures, 1/m, and of distances along a lane, metres.
const CURVATURE_ROUNDING: f64 = 1e-9;
const DISTANCE_ROUNDING_M: f64 = 1e-6;
/// Rounding of the wheels' rate, a share of it.
const RATE_ROUNDING: f64 = 1e-6;

/// Everything that is driven, in driving order: way, lane, way, … A new stretch begins wherever a
/// person has moved the machine.
pub(super) fn driven<'a>(plan: &'a LanePlan, route: &'a Route) -> Vec<Vec<&'a Path>> {
    let mut stretches: Vec<Vec<&Path>> = vec![Vec::with_capacity(2 * route.visits.len() + 1)];
    for (k, way) in route.ways.iter().enumerate() {
        if moved_by_hand(route, k) {
            stretches.push(Vec::new());
        }
        let lane = route.visits.get(k).and_then(|visit| {
            let lane = plan.lanes.get(visit.lane.0)?;
            if visit.along { Some(&lane.line) } else { lane.back.as_ref() }
        });
        if let Some(stretch) = stretches.last_mut() {
            stretch.extend(way.iter().map(|way| &way.path).chain(lane));
        }
    }
    stretches
}

fn moved_by_hand(route: &Route, after: usize) -> bool {
    route
        .stops
        .iter()
        .any(|stop| stop.after == after && matches!(stop.reason, StopReason::MovedByHand { .. }))
}

/// Nothing between two paths of a stretch but a joint.
pub(super) fn joined(stretches: &[Vec<&Path>]) -> [Proof; 2] {
    let mut gap = (0.0_f64, None);
    let mut kink = (0.0_f64, None);
    for pair in stretches.iter().flat_map(|paths| paths.windows(2)) {
        let (end, start) = (pair[0].end(), pair[1].start);
        let metres = end.distance(&start);
        let degrees = end.turn_to(&start).abs().to_degrees();
        gap = larger(gap, (metres, Some(start.at)));
        kink = larger(kink, (degrees, Some(start.at)));
    }
    [
        Proof::new("audit/joined", "m", JOINT_M - gap.0, gap.1, |margin| {
            format!(
                "a way and a lane lie {:.1} mm apart; at most 1 mm is allowed",
                1000.0 * (JOINT_M - margin)
            )
        }),
        Proof::new("audit/joined", "°", JOINT_DEG - kink.0, kink.1, |margin| {
            format!("a way and a lane meet at {:.3}°; at most 0.01° is allowed", JOINT_DEG - margin)
        }),
    ]
}

/// Curvature within the steering's, and only gears that the machine has.
pub(super) fn drivable(paths: &[&Path], machine: &Machine) -> [Proof; 2] {
    let steering = machine.steering;
    let radius_m = steering.turning_radius.to_m();
    let allowed = if radius_m > 0.0 { 1.0 / radius_m } else { 0.0 };
    let mut sharpest = (0.0_f64, None);
    let mut refused: Vec<Point> = Vec::new();
    for path in paths {
        for (start, piece) in path.steps() {
            let may = match piece.gear {
                Gear::Forward => true,
                Gear::Reverse => steering.may_reverse,
                Gear::Spot => steering.turns_on_spot,
            };
            if !may || piece.distance() < 0.0 {
                refused.push(start.at);
            }
            if piece.gear != Gear::Spot {
                sharpest = larger(sharpest, (piece.sharpest(), Some(start.at)));
            }
        }
    }
    let margin = allowed - sharpest.0;
    let margin = if margin < 0.0 && margin > -CURVATURE_ROUNDING { 0.0 } else { margin };
    [
        Proof::new("audit/curvature", "1/m", margin, sharpest.1, |_| {
            format!(
                "a curve of {:.3} m is tighter than the turning radius of {radius_m:.3} m",
                1.0 / sharpest.0
            )
        }),
        Proof::none_of("audit/steering", "pieces", &refused, |count| {
            format!("{count} pieces are driven in a way that the machine cannot drive")
        }),
    ]
}

/// How fast the wheels must turn in ways, where the machine says how fast they do. A way begins and
/// ends with the wheels straight; between its pieces they do not jump, nor turn at a standstill.
pub(super) fn steering_rate(route: &Route, machine: &Machine) -> Option<Proof> {
    let rate = machine.steering.rate?;
    let last = route.ways.len().saturating_sub(1);
    let mut fastest = (0.0_f64, None);
    for (order, way) in route.ways.iter().enumerate().filter_map(|(order, way)| Some((order, way.as_ref()?)))
    {
        let speed = if order == 0 || order == last { machine.transit_speed } else { machine.turning_speed };
        for (change_per_m, place) in curvature_changes(&way.path) {
            let wheels = change_per_m * rate.wheelbase.to_m() * speed.to_m_per_s();
            fastest = larger(fastest, (wheels.to_degrees(), Some(place)));
        }
    }
    let allowed = rate.wheels.to_deg_per_s();
    let margin = allowed - fastest.0;
    let margin = if margin < 0.0 && margin > -RATE_ROUNDING * allowed { 0.0 } else { margin };
    Some(Proof::new("audit/steering-rate", "°/s", margin, fastest.1, |_| {
        format!("the wheels would have to turn at {:.1}°/s; the machine's turn at {allowed:.1}°/s", fastest.0)
    }))
}

/// Change of curvature per metre in each piece, and without end where two pieces differ.
fn curvature_changes(path: &Path) -> Vec<(f64, Point)> {
    let mut changes = Vec::new();
    let mut held = 0.0;
    let jump = |from: f64, to: f64| if (from - to).abs() > CURVATURE_ROUNDING { f64::INFINITY } else { 0.0 };
    for (start, piece) in path.steps() {
        let change = (piece.curvature_end - piece.curvature_start).abs();
        let per_m = if change == 0.0 { 0.0 } else { change / piece.distance() };
        changes.push((per_m.max(jump(held, piece.curvature_start)), start.at));
        held = piece.curvature_end;
    }
    changes.push((jump(held, 0.0), path.end().at));
    changes
}

/// Each lane is driven once or reported as cut off.
pub(super) fn every_lane_once(plan: &LanePlan, route: &Route) -> Proof {
    let mut times = vec![0_u32; plan.lanes.len()];
    let mut unknown = 0;
    let listed = route.visits.iter().map(|visit| visit.lane).chain(route.cut_off.iter().copied());
    for lane in listed {
        match times.get_mut(lane.0) {
            Some(count) => *count += 1,
            None => unknown += 1,
        }
    }
    let mut wrong: Vec<Point> = Vec::new();
    for (lane, _) in plan.lanes.iter().zip(&times).filter(|(_, count)| **count != 1) {
        wrong.push(lane.line.start.at);
    }
    for visit in route.visits.iter().filter(|visit| !visit.along) {
        let lane = plan.lanes.get(visit.lane.0);
        wrong.extend(lane.filter(|lane| lane.back.is_none()).map(|lane| lane.line.start.at));
    }
    let joints = route.visits.len() + 1 == route.ways.len();
    let driven_or_moved = |after: usize| route.ways[after].is_some() != moved_by_hand(route, after);
    let broken = joints && !(1..route.visits.len()).all(driven_or_moved);
    if unknown > 0 || !joints || broken {
        wrong.extend(plan.lanes.first().map(|lane| lane.line.start.at));
    }
    Proof::none_of("audit/every-lane-once", "lanes", &wrong, |count| {
        format!("{count} lanes are not driven exactly once")
    })
}

/// Rows lie within their lane, and the lane's other direction works the very same ground.
pub(super) fn tool_in_lane(plan: &LanePlan, machine: &Machine) -> Proof {
    let mut least = (f64::MAX, None);
    for lane in &plan.lanes {
        let length = lane.line.length();
        for row in &lane.rows {
            let margin = row.from.min(length - row.to).min(row.to - row.from);
            least = smaller(least, (margin, Some(lane.line.start.at)));
        }
        if let Some(apart) = apart_on_the_way_back(lane, machine) {
            least = smaller(least, (JOINT_M - apart.metres, Some(apart.place)));
        }
    }
    let margin = least.1.map_or(0.0, |_| least.0);
    let margin = if (-DISTANCE_ROUNDING_M..0.0).contains(&margin) { 0.0 } else { margin };
    Proof::new("audit/tool-in-lane", "m", margin, least.1, |margin| {
        format!("a row reaches {:.1} mm beyond its lane", -1000.0 * margin)
    })
}

/// How far a row's ends lie apart when the lane is driven from either end.
fn apart_on_the_way_back(lane: &Lane, machine: &Machine) -> Option<Fault> {
    let back = lane.back.as_ref()?;
    let tool = machine.tool_forward.to_m();
    let mut worst: Option<Fault> = None;
    if lane.rows.len() != lane.rows_back.len() {
        return Some(Fault { metres: f64::MAX, place: lane.line.start.at });
    }
    for (row, again) in lane.rows.iter().zip(&lane.rows_back) {
        let offset = machine.row_offsets.get(row.tool_row)?.to_m();
        let offset_back = machine.row_offsets.get(again.tool_row)?.to_m();
        for (along, along_back) in [(row.from, again.to), (row.to, again.from)] {
            let there = lane.line.pose_at(along).ground(tool, offset);
            let again = back.pose_at(along_back).ground(tool, offset_back);
            let metres = num::hypot(there.x - again.x, there.y - again.y);
            if worst.as_ref().is_none_or(|worst| metres > worst.metres) {
                worst = Some(Fault { metres, place: there });
            }
        }
    }
    worst
}

fn larger(a: (f64, Option<Point>), b: (f64, Option<Point>)) -> (f64, Option<Point>) {
    if b.0 > a.0 || a.1.is_none() { b } else { a }
}

fn smaller(a: (f64, Option<Point>), b: (f64, Option<Point>)) -> (f64, Option<Point>) {
    if b.0 < a.0 { b } else { a }
}
