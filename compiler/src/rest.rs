//! The rest of an interrupted order.
//!
//! In: lanes, seeds and route of a whole field, and where the work broke off. Out: the same for what
//! is left, on the same lattice: rows, seed indices and the field frame are those of the whole
//! order, so that what is sown later stands as if nothing had happened. Lanes that are done, and the
//! part of a lane that is, count as left over with that reason.
//!
//! The machine goes on where it stands: no way leads there from home. In a lane that follows a
//! headland lap seeds are counted from the row's beginning, and the work can only go on from there.

use crate::check::Machine;
use crate::diagnostic::{Finding, Told};
use crate::geometry::{Path, Point, Pose};
use crate::lanes::{self, Course, Lane, LaneIdx, LanePlan, LeftOverReason, RowSpan};
use crate::num;
use crate::route::{Route, Stop, Visit};
use crate::rules;
use crate::seeds::{RowCourse, SeedMap, SeedRun};
use crate::turns::Manoeuvre;

/// Where the work goes on.
#[derive(Clone, Debug, PartialEq)]
pub struct Restart {
    /// The field; may be left out where the job has one.
    pub field: Option<String>,
    /// The lane's number in driving order, from 1.
    pub lane: usize,
    /// Metres of it that the reference point has driven.
    pub driven_m: f64,
}

/// What is to be done on a field: the whole of it, or what is left.
#[derive(Clone, Debug)]
pub struct Rest {
    /// The lanes, with their indices.
    pub lanes: LanePlan,
    /// The seeds to sow.
    pub seeds: SeedMap,
    /// The lanes to drive.
    pub route: Route,
}

/// The rest of an order from a lane on, or from within it.
pub fn rest(whole: Rest, restart: &Restart, machine: &Machine) -> Told<Rest> {
    let Rest { lanes: plan, seeds, route } = whole;
    let lanes = route.visits.len();
    let Some(done) = restart.lane.checked_sub(1).filter(|&done| done < lanes) else {
        return refused(no_such_lane(restart, lanes));
    };
    let visit = route.visits[done];
    let lane = &plan.lanes[visit.lane.0];
    let length_m = lane.line.length();
    if restart.driven_m >= length_m {
        return refused(beyond_the_lane(restart, length_m));
    }
    let bends = !matches!(plan.blocks[lane.block.0].course, Course::Straight { .. });
    if bends && restart.driven_m > 0.0 {
        return refused(within_a_lap(restart));
    }
    let cut = cut(lane, visit, restart.driven_m);
    let seeds = unsown(seeds, &route.visits[..done], visit, visit.way(lane), restart.driven_m, machine);
    let gone: Vec<LaneIdx> = route.visits[..done].iter().map(|visit| visit.lane).collect();
    let told = resumed(restart, &seeds, visit.lane);
    let plan = lanes::without(plan, &gone, LeftOverReason::Done, machine);
    let plan = lanes::with_shorter(plan, visit.lane, cut, LeftOverReason::Done, machine);
    let rest = Rest { lanes: plan, seeds, route: remaining(route, done, gone) };
    Told { value: Some(rest), findings: vec![told] }
}

/// The route without its first visits. What all of it takes at least, less what is driven of it,
/// bounds the rest: both together are an order of the whole.
fn remaining(route: Route, done: usize, gone: Vec<LaneIdx>) -> Route {
    let driven_s: f64 = route.ways[..=done].iter().flatten().map(Manoeuvre::cost_s).sum();
    let later = |stop: &Stop| stop.after > done;
    let ways = route.ways.into_iter().skip(done + 1);
    Route {
        visits: route.visits[done..].to_vec(),
        cut_off: route.cut_off.into_iter().chain(gone).collect(),
        ways: std::iter::once(None).chain(ways).collect(),
        stops: route
            .stops
            .into_iter()
            .filter(later)
            .map(|stop| Stop { after: stop.after - done, ..stop })
            .collect(),
        bound_s: (route.bound_s - driven_s).max(0.0),
        detours_s: route.detours_s,
    }
}

/// The lane without the first metres of the way that is driven.
fn cut(lane: &Lane, visit: Visit, driven_m: f64) -> Lane {
    let length = lane.line.length();
    let (from, to) = if visit.along { (driven_m, length) } else { (0.0, length - driven_m) };
    let shorter = |rows: &[RowSpan], from: f64, to: f64| -> Vec<RowSpan> {
        let within =
            |row: &RowSpan| RowSpan { from: row.from.max(from) - from, to: row.to.min(to) - from, ..*row };
        rows.iter().map(within).filter(|row| row.to > row.from).collect()
    };
    Lane {
        block: lane.block,
        line: lane.line.between(from, to),
        back: lane.back.as_ref().map(|back| back.between(length - to, length - from)),
        rows: shorter(&lane.rows, from, to),
        rows_back: shorter(&lane.rows_back, length - to, length - from),
    }
}

/// The seeds of lanes that are not done, and of one those that the tool has not reached.
fn unsown(
    seeds: SeedMap,
    done: &[Visit],
    now: Visit,
    way: &Path,
    driven_m: f64,
    machine: &Machine,
) -> SeedMap {
    let reached_m = driven_m + machine.tool_forward.to_m();
    let keep = |run: SeedRun| {
        if done.iter().any(|visit| visit.lane == run.lane) {
            return None;
        }
        if run.lane == now.lane && driven_m > 0.0 { beyond(run, way.start, reached_m) } else { Some(run) }
    };
    SeedMap { runs: seeds.runs.into_iter().filter_map(keep).collect() }
}

/// The places of a straight run that lie, all seeds of each, so far ahead of a pose.
fn beyond(run: SeedRun, pose: Pose, ahead_m: f64) -> Option<SeedRun> {
    let RowCourse::Straight { from, angle } = run.course else { return Some(run) };
    let (sin, cos) = num::sin_cos(angle);
    let at = |along: f64| Point { x: from.x + along * cos, y: from.y + along * sin };
    let begins_m = |index: u32| f64::from(index) * run.spacing_m;
    let is_left = |index: &u32| {
        let ends = [begins_m(*index), begins_m(*index) + run.pattern.length().to_m()];
        ends.into_iter().all(|along| pose.body(at(along)).0 >= ahead_m)
    };
    let first = (0..run.count).find(is_left)?;
    let last = (0..run.count).rev().find(is_left)?;
    Some(SeedRun {
        first: run.first + i64::from(first) * i64::from(run.step),
        count: last - first + 1,
        course: RowCourse::Straight { from: at(begins_m(first)), angle },
        ..run
    })
}

fn refused(finding: Finding) -> Told<Rest> {
    Told { value: None, findings: vec![finding] }
}

/// Tells which field goes on, where the restart does not say it or names none of the job.
pub fn which_field(restart: &Restart, names: &[&str]) -> Option<Finding> {
    let known = match &restart.field {
        Some(name) => names.contains(&name.as_str()),
        None => names.len() == 1,
    };
    let lane = restart.lane;
    let quoted: Vec<String> = names.iter().map(|name| format!("`{name}`")).collect();
    (!known).then(|| {
        let message =
            format!("the job's fields are {}; which of them goes on is not said", quoted.join(", "));
        rules::finding("resume/which-field", message)
            .with_hint(format!("write `--resume-from \"{}/{lane}\"`", names.first().unwrap_or(&"")))
    })
}

fn no_such_lane(restart: &Restart, lanes: usize) -> Finding {
    let message =
        format!("there is no lane {} to go on from: the order has lanes 1 to {lanes}", restart.lane);
    rules::finding("resume/no-such-lane", message)
        .with_hint("name the lane by its number in the summary's map or in plan.geojson")
}

fn beyond_the_lane(restart: &Restart, length_m: f64) -> Finding {
    let message = format!(
        "lane {} is {length_m:.1} m long: nothing is left of it after {:.1} m",
        restart.lane, restart.driven_m
    );
    rules::finding("resume/beyond-lane", message)
        .with_hint(format!("write `--resume-from {}`", restart.lane + 1))
}

fn within_a_lap(restart: &Restart) -> Finding {
    let message = format!(
        "lane {} follows a bend or a headland lap, whose seeds count from its beginning: it cannot go on after {:.1} m",
        restart.lane, restart.driven_m
    );
    rules::finding("resume/within-lap", message).with_hint(format!(
        "write `--resume-from {}` to sow it anew, or `--resume-from {}` to leave it as it is",
        restart.lane,
        restart.lane + 1
    ))
}

/// Tells with which seeds the work goes on.
fn resumed(restart: &Restart, seeds: &SeedMap, lane: LaneIdx) -> Finding {
    let rows: Vec<String> = seeds
        .runs
        .iter()
        .filter(|run| run.lane == lane)
        .map(|run| format!("row {}: {} to {}", run.row, run.first, run.last()))
        .collect();
    let message = format!(
        "the order goes on in lane {} after {:.1} m, with these seeds on the lattice: {}; that lane is lane 1 here",
        restart.lane,
        restart.driven_m,
        rows.join(", ")
    );
    rules::finding("resume/from", message)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::audit::audit;
    use crate::check::{GeoPolygon, Job};
    use crate::route::{self, Effort, Rows};
    use crate::site::SiteZones;
    use crate::site::{self, FieldSite, example};

    /// A field of 86 m by 44 m, planned whole.
    fn planned() -> (Job, FieldSite, Rest) {
        let mut job = example::job();
        let (south, west) = (50.0, 8.0);
        let corners = [(0.0, 0.0), (0.0, 0.0012), (0.0004, 0.0012), (0.0004, 0.0)];
        let exterior = corners.map(|(north, east)| example::place(south + north, west + east)).to_vec();
        job.fields[0].parts = vec![GeoPolygon { exterior, holes: vec![] }];
        job.fields[0].home = None;
        let place = site::site(&job).value.unwrap().fields.remove(0);
        let plan = lanes::lanes(&job.fields[0], &place, &job.machine).value.unwrap();
        let route = route::route(
            &job.fields[0],
            &place,
            &job.machine,
            &plan,
            Rows::SownOnTheWay,
            None,
            Effort::Normal,
        )
        .value
        .unwrap();
        let seeds = crate::seeds::seeds(
            &plan,
            &route.visits,
            &job.fields[0].spacing,
            &SiteZones::none(),
            &job.machine,
        );
        (job, place, Rest { lanes: plan, seeds, route })
    }

    fn is_straight(whole: &Rest, visit: Visit) -> bool {
        let block = whole.lanes.lanes[visit.lane.0].block;
        matches!(whole.lanes.blocks[block.0].course, Course::Straight { .. })
    }

    fn at(lane: usize, driven_m: f64) -> Restart {
        Restart { field: None, lane, driven_m }
    }

    /// The place of every seed with its row and number.
    fn numbered(seeds: &SeedMap) -> Vec<((usize, i64, i64), Point)> {
        let of_run = |run: &SeedRun| {
            let (block, row, first) = (run.block.0, run.row, run.first);
            let places: Vec<Point> = run.positions().collect();
            (first..).zip(places).map(move |(index, at)| ((block, row, index), at)).collect::<Vec<_>>()
        };
        let mut all: Vec<_> = seeds.runs.iter().flat_map(of_run).collect();
        all.sort_by_key(|seed| seed.0);
        all
    }

    /// Both ways through a lane: every seed that is left keeps its number and its place, those left
    /// out lie behind the tool, and the plan passes every proof.
    #[test]
    fn the_rest_stands_on_the_same_lattice() {
        let (job, place, whole) = planned();
        let lanes = || whole.route.visits.iter().enumerate().skip(1);
        let along = lanes().find(|(_, visit)| visit.along && is_straight(&whole, **visit)).unwrap();
        let back = lanes().find(|(_, visit)| !visit.along).unwrap();
        for (done, &visit) in [along, back] {
            let told = rest(whole.clone(), &at(done + 1, 20.3), &job.machine);
            let left = told.value.unwrap();
            assert_eq!(told.findings[0].rule, "resume/from");
            let (all, remaining) = (numbered(&whole.seeds), numbered(&left.seeds));
            let kept: Vec<_> = remaining.iter().map(|seed| seed.0).collect();
            for (number, at) in &remaining {
                let before = all.iter().find(|seed| seed.0 == *number).unwrap();
                assert!(crate::geometry::distance(*at, before.1) < 1e-9);
            }
            // Rows of this lane end where its way ends, less the tool's offset.
            let way = visit.way(&whole.lanes.lanes[visit.lane.0]);
            let tool_m = job.machine.tool_forward.to_m();
            let of_lane = |map: &SeedMap| {
                let runs: Vec<SeedRun> =
                    map.runs.iter().filter(|run| run.lane == visit.lane).cloned().collect();
                numbered(&SeedMap { runs })
            };
            for (number, at) in of_lane(&whole.seeds) {
                let is_ahead = way.start.body(at).0 - tool_m >= 20.3;
                assert_eq!(is_ahead, kept.contains(&number), "{number:?}");
            }
            let gone: Vec<LaneIdx> = whole.route.visits[..done].iter().map(|visit| visit.lane).collect();
            assert!(left.seeds.runs.iter().all(|run| !gone.contains(&run.lane)));
            assert_eq!(left.route.visits, whole.route.visits[done..]);
            assert_eq!(left.route.ways.len(), left.route.visits.len() + 1);
            let audit = audit(&job.fields[0], &place, &job.machine, &left.lanes, &left.route, &left.seeds);
            assert!(audit.value.is_some(), "{:?}", audit.findings);
        }
    }

    #[test]
    fn places_that_the_order_does_not_have_are_refused() {
        let (job, _, whole) = planned();
        let rule = |restart: &Restart| {
            let told = rest(whole.clone(), restart, &job.machine);
            assert!(told.value.is_none());
            told.findings[0].rule
        };
        assert_eq!(rule(&at(0, 0.0)), "resume/no-such-lane");
        assert_eq!(rule(&at(whole.route.visits.len() + 1, 0.0)), "resume/no-such-lane");
        assert_eq!(rule(&at(1, 1e4)), "resume/beyond-lane");
        let lap = whole.route.visits.iter().position(|visit| !is_straight(&whole, *visit)).unwrap();
        assert_eq!(rule(&at(lap + 1, 5.0)), "resume/within-lap");
        assert!(rest(whole.clone(), &at(lap + 1, 0.0), &job.machine).value.is_some());
    }

    #[test]
    fn a_field_is_named_where_there_are_several() {
        let named = |field: Option<&str>| Restart { field: field.map(str::to_owned), ..at(3, 0.0) };
        assert!(which_field(&named(None), &["Long Acre"]).is_none());
        assert!(which_field(&named(Some("Long Acre")), &["Mill", "Long Acre"]).is_none());
        let finding = which_field(&named(None), &["Mill", "Long Acre"]).unwrap();
        assert_eq!(finding.hint.unwrap(), "write `--resume-from \"Mill/3\"`");
        assert!(which_field(&named(Some("Hall")), &["Mill"]).is_some());
    }
}
