//! Refill points as a person names them: the starter job with small hoppers, compiled by the command.

use lanewright_schema::plan::{Feature, Plan, Shape, What};
use std::fs;
use std::path::Path;
use std::process::{Command, Output};

/// Where the starter's home is.
const HOME: &str = "[48.63018515, -27.42398621]";

fn command(dir: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_lanewright"));
    command.current_dir(dir);
    command
}

/// A folder with the starter job in it, with hoppers of this size, these refill points, and whatever else the field has.
fn started(hopper: &str, points: &[(&str, &str)], more: &str) -> tempfile::TempDir {
    let dir = tempfile::tempdir().expect("a temporary folder");
    let made = command(dir.path()).args(["new", "."]).output().expect("the command starts");
    assert!(made.status.success());
    let job = dir.path().join("job.toml");
    let starter = fs::read_to_string(&job).expect("the starter");
    let points: String = points
        .iter()
        .map(|(name, at)| format!("[[field.refill_point]]\nname = \"{name}\"\nat = {at}\n\n"))
        .collect();
    let keep_out = "# Something to stay clear of";
    let text = starter.replace("hopper = \"2 kg\"", &format!("hopper = \"{hopper}\""));
    let text = text.replace(keep_out, &(points + more + keep_out));
    assert_ne!(text, starter);
    fs::write(job, text).expect("written");
    dir
}

fn compile(dir: &Path, arguments: &[&str]) -> Output {
    let command =
        command(dir).args(["compile", "job.toml", "-o", "out", "--format", "json"]).args(arguments).output();
    command.expect("the command starts")
}

/// The findings, one JSON object each.
fn findings(output: &Output) -> Vec<serde_json::Value> {
    let lines = String::from_utf8(output.stdout.clone()).expect("UTF-8");
    lines.lines().map(|line| serde_json::from_str(line).expect("one JSON object")).collect()
}

fn plan(dir: &Path) -> Plan {
    let text = fs::read_to_string(dir.join("out/job/plan.geojson")).expect("written");
    Plan::from_geojson(&text).expect("a plan")
}

fn line(feature: &Feature) -> &[[f64; 2]] {
    match &feature.shape {
        Shape::Line(line) => line,
        other => panic!("{other:?}"),
    }
}

/// Every stop is at the point, on the way from the lane before to the lane after; the bound and the gap know nothing of
/// the drives there.
#[test]
fn every_stop_is_at_the_point_and_the_way_leads_by_it() {
    let dir = started("60 g", &[("seed trailer", HOME)], "");
    let output = compile(dir.path(), &[]);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stdout));
    let plan = plan(dir.path());
    let stops: Vec<(usize, [f64; 2])> = plan
        .features
        .iter()
        .filter_map(|feature| match (&feature.what, &feature.shape) {
            (What::Stop { after, reason, refill_point, .. }, Shape::Point(at)) => {
                assert_eq!((reason.as_str(), refill_point.as_deref()), ("refill", Some("seed trailer")));
                Some((*after, *at))
            }
            _ => None,
        })
        .collect();
    assert!(stops.len() > 5, "{stops:?}");
    for (after, at) in stops {
        assert_eq!(at, [-27.423_986_21, 48.630_185_15]);
        let turn = plan
            .features
            .iter()
            .find(|feature| matches!(&feature.what, What::Turn(way) if way.from == after))
            .unwrap_or_else(|| panic!("no turn after {after}"));
        assert!(line(turn).contains(&at), "the turn after {after} passes by");
    }
    let read = |name: &str| fs::read_to_string(dir.path().join("out/job").join(name)).expect("written");
    assert!(read("summary.md").contains("refill the hoppers at seed trailer"));
    assert!(read("TASKDATA/TASKDATA.XML").contains("B=\"seed trailer\""));
    assert!(read("map.svg").contains(">Home, seed trailer</text>"));
    let manifest: serde_json::Value = serde_json::from_str(&read("manifest.json")).expect("JSON");
    let figures = &manifest["fields"][0];
    let figure = |name: &str| figures[name].as_f64().unwrap_or_else(|| panic!("{name} in {figures}"));
    let backing_s = figures["backing_s"].as_f64().unwrap_or(0.0);
    let lifting_s = 2.0 * 3.0 * figure("lanes");
    let ways_s = figure("turn_s") - lifting_s + figure("transit_s") + figure("toll_s") + backing_s;
    let compared_s = ways_s - figure("refill_detours_s");
    assert!(figure("refill_detours_s") > 600.0 && compared_s >= figure("route_bound_s"));
    let gap = (compared_s - figure("route_bound_s")) / compared_s;
    assert!((gap - figure("route_gap")).abs() < 1e-5, "{gap} against {}", figure("route_gap"));
}

/// One point at each end of the lanes: neither is driven to across the field.
#[test]
fn of_two_points_the_nearer_is_driven_to() {
    let far = "[48.63030000, -27.42190000]";
    let one = started("60 g", &[("west", HOME)], "");
    let two = started("60 g", &[("west", HOME), ("east", far)], "");
    let detours_s = |dir: &Path| {
        let output = compile(dir, &[]);
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stdout));
        let text = fs::read_to_string(dir.join("out/job/manifest.json")).expect("written");
        let manifest: serde_json::Value = serde_json::from_str(&text).expect("JSON");
        manifest["fields"][0]["refill_detours_s"].as_f64().expect("a number")
    };
    assert!(detours_s(two.path()) < 0.8 * detours_s(one.path()));
    let plan = plan(two.path());
    for name in ["west", "east"] {
        let is_driven_to = |feature: &Feature| matches!(&feature.what, What::Stop { refill_point: Some(point), .. } if point == name);
        assert!(plan.features.iter().any(is_driven_to), "{name}");
    }
}

/// What is left of an interrupted order is filled there, too.
#[test]
fn the_rest_of_an_order_is_filled_at_the_point() {
    let dir = started("60 g", &[("seed trailer", HOME)], "");
    let output = compile(dir.path(), &["--resume-from", "20:30"]);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stdout));
    let plan = plan(dir.path());
    let points: Vec<Option<&str>> = plan
        .features
        .iter()
        .filter_map(|feature| match &feature.what {
            What::Stop { refill_point, .. } => Some(refill_point.as_deref()),
            _ => None,
        })
        .collect();
    assert!(points.len() > 2 && points.iter().all(|&point| point == Some("seed trailer")), "{points:?}");
}

/// A ditch, with the corners of its polygon.
fn ditch(corners: &str) -> String {
    format!("[[field.keep_out]]\nname = \"Ditch\"\npolygon = [{corners}]\nclearance = \"0.1 m\"\n\n")
}

/// Compiles the starter job with a refill point for hoppers of a size. It is refused by this rule at the point's line;
/// what the hint says to write.
#[track_caller]
fn refused(hopper: &str, at: &str, more: &str, rule: &str) -> Option<String> {
    let dir = started(hopper, &[("seed trailer", at)], more);
    let output = compile(dir.path(), &[]);
    assert_eq!(output.status.code(), Some(1), "{}", String::from_utf8_lossy(&output.stdout));
    assert!(!dir.path().join("out").exists(), "nothing is written");
    let findings = findings(&output);
    let found = findings.iter().find(|finding| finding["rule"] == rule);
    let found = found.unwrap_or_else(|| panic!("{rule}: nothing in {findings:#?}")).clone();
    let job = fs::read_to_string(dir.path().join("job.toml")).expect("the job");
    let line = found["line"].as_u64().expect("a line") as usize;
    assert_eq!(job.lines().nth(line - 1), Some(format!("at = {at}").as_str()));
    let hint = found["hint"].as_str().expect("a hint");
    Some(hint.split_once("at = ")?.1.split_once('`')?.0.to_owned())
}

#[track_caller]
fn passes(points: &[(&str, &str)], more: &str) {
    let dir = started("60 g", points, more);
    let output = compile(dir.path(), &[]);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stdout));
}

#[test]
fn a_point_outside_the_fence_is_refused_at_its_line() {
    refused("2 kg", "[48.63000000, -27.42500000]", "", "refill-point/outside-fence");
}

/// Where the hint says, the machine fits.
#[test]
fn a_point_without_room_is_refused_with_a_place_that_passes() {
    let at = refused("2 kg", "[48.63011000, -27.42418500]", "", "refill-point/no-room").expect("a place");
    passes(&[("seed trailer", &at)], "");
}

/// A ditch cuts a corner off, in which the machine finds room but no lane that is worth being moved there.
#[test]
fn a_point_that_no_way_leads_to_is_refused_with_a_place_that_passes() {
    let ditch = ditch(
        "[48.62980, -27.42206], [48.62999, -27.42174], [48.629994, -27.421744], [48.629804, -27.422064]",
    );
    let at = refused("2 kg", "[48.62987200, -27.42187200]", &ditch, "refill-point/cut-off").expect("a place");
    passes(&[("seed trailer", &at)], &ditch);
}

/// A ditch cuts the field in two, and the seed stands on one side of it.
#[test]
fn hoppers_that_no_point_keeps_filled_are_refused_with_a_second_that_passes() {
    let ditch =
        ditch("[48.6297, -27.42280], [48.6312, -27.42280], [48.6312, -27.422786], [48.6297, -27.422786]");
    let at = refused("60 g", HOME, &ditch, "refill-point/too-far").expect("a place");
    passes(&[("west", HOME), ("east", &at)], &ditch);
}
