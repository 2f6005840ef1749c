//! Weeding by another machine than the one that sowed, and across the rows: every plant of the seed map is
//! under one tool row, or told to be left out, and what does not fit is refused for the true reason.

use super::weeding::{Changed, refused_in, root, told_in};
use lanewright::geometry::Point;
use lanewright::pipeline::{self, Compiled, Wish};
use lanewright::seeds::RowCourse;
use std::collections::BTreeMap;
use std::fs;

const ALONG: &str = "demo-jobs/bent-strip-weeding.toml";
const ACROSS: &str = "demo-jobs/teal-piece-weeding.toml";
const NARROW: &str = "demo-jobs/machines/wren-3-hoe.toml";

fn text(path: &str) -> String {
    fs::read_to_string(root().join(path)).expect(path)
}

fn compiled(path: &str, files: &[(&str, String)]) -> (Compiled, Vec<String>) {
    let files = files.iter().map(|(path, text)| ((*path).to_owned(), text.clone().into_bytes())).collect();
    let compilation = pipeline::compile(&Changed(files), path, &Wish::default());
    let told =
        compilation.findings.iter().map(|finding| format!("{}: {}", finding.rule, finding.message)).collect();
    (compilation.compiled.unwrap_or_else(|| panic!("{:#?}", compilation.findings)), told)
}

/// Seeds of the sown folder.
fn sown(folder: &str) -> u64 {
    let manifest: serde_json::Value =
        serde_json::from_str(&text(&format!("{folder}/manifest.json"))).unwrap();
    manifest["figures"]["seeds"].as_u64().unwrap()
}

/// Seeds that findings say are left out.
fn left_out(told: &[String]) -> u64 {
    let counts = told.iter().filter_map(|finding| finding.strip_prefix("weeding/left-out: "));
    counts.map(|message| message.split(' ').next().unwrap().parse::<u64>().unwrap()).sum()
}

/// On straight lanes every seed lies under the tool row that its run names, between the tool's ways in and
/// out; and no place is gone over twice.
pub fn each_plant_is_under_its_tool(compiled: &Compiled) {
    let (plan, machine) = (&compiled.fields[0], &compiled.job.machine);
    let forward = machine.tool_forward.to_m();
    let mut places: Vec<[i64; 2]> = Vec::new();
    for visit in &plan.route.visits {
        let lane = &plan.lanes.lanes[visit.lane.0];
        let start = visit.way(lane).start;
        for run in plan.seeds.runs.iter().filter(|run| run.lane == visit.lane) {
            places
                .extend(run.positions().map(|at| [(at.x * 1e3).round() as i64, (at.y * 1e3).round() as i64]));
            if matches!(run.course, RowCourse::Curved(_)) {
                continue;
            }
            let span = visit.rows(lane).iter().filter(|span| span.row == run.row);
            let under = |at: Point| {
                let (ahead, right) = start.body(at);
                span.clone().any(|span| {
                    let beside = (right - machine.row_offsets[span.tool_row].to_m()).abs();
                    let along = ahead - forward;
                    beside < 0.002 && along > span.from - 1e-3 && along < span.to + 1e-3
                })
            };
            assert!(run.positions().all(under), "row {} of lane {}", run.row, visit.lane.0);
        }
    }
    let all = places.len();
    places.sort_unstable();
    places.dedup();
    assert_eq!(places.len(), all, "a place is gone over twice");
}

#[test]
fn three_four_and_eight_tool_rows_go_over_what_six_have_sown() {
    let narrow = text(NARROW);
    let wider = |rows: u32, width: &str, half: &str, tracks: &str| {
        narrow
            .replace("rows = 3", &format!("rows = {rows}"))
            .replace("\"1.35 m\"", width)
            .replace(
                "0.8 m\"],\n    [\"-1.2 m\", \"-0.8 m\"",
                &format!("{half} m\"],\n    [\"-1.2 m\", \"-{half} m\""),
            )
            .replace("\"-22.5 cm\", \"22.5 cm\"", tracks)
    };
    let tracks_between = "\"-45 cm\", \"45 cm\"";
    for machine in [
        narrow.clone(),
        wider(4, "\"1.8 m\"", "1.0", tracks_between),
        wider(8, "\"3.6 m\"", "1.9", tracks_between),
    ] {
        let (compiled, told) = compiled(ALONG, &[(NARROW, machine)]);
        each_plant_is_under_its_tool(&compiled);
        let weeded = compiled.fields[0].seeds.count();
        assert_eq!(weeded + left_out(&told), sown("golden/bent-strip"), "{told:#?}");
        assert!(weeded * 10 > sown("golden/bent-strip") * 8, "{told:#?}");
    }
}

/// A machine that turns in no less than the sowing's own laps cannot turn closer to their inside.
#[test]
fn bends_that_are_too_sharp_beside_the_sown_way_are_left_out_with_the_radius() {
    let wide = text(NARROW).replace("turning_radius = \"1.6 m\"", "turning_radius = \"2.5 m\"");
    let (compiled, told) = compiled(ALONG, &[(NARROW, wide)]);
    each_plant_is_under_its_tool(&compiled);
    let finding = told.iter().find(|finding| finding.starts_with("weeding/left-out")).expect("a warning");
    assert!(finding.contains("turns in 2.50 m"), "{finding}");
    assert_eq!(compiled.fields[0].seeds.count() + left_out(&told), sown("golden/bent-strip"));
}

#[test]
fn tool_rows_another_distance_apart_are_refused() {
    let other = text(NARROW).replace("\"45 cm\"", "\"50 cm\"").replace("\"1.35 m\"", "\"1.5 m\"");
    let files = BTreeMap::from([(NARROW.to_owned(), other.into_bytes())]);
    let (finding, _) = refused_in(ALONG, &text(ALONG), files);
    assert_eq!(finding.rule, "weeding/rows-do-not-fit");
    assert!(finding.message.contains("50.0 cm apart") && finding.message.contains("45.0 cm"), "{finding:#?}");
}

#[test]
fn squares_are_crossed_plant_by_plant() {
    let (compiled, told) = compiled(ACROSS, &[]);
    each_plant_is_under_its_tool(&compiled);
    assert_eq!(compiled.fields[0].seeds.count() + left_out(&told), sown("golden/teal-piece"), "{told:#?}");
    let sown: serde_json::Value = serde_json::from_str(&text("golden/teal-piece/plan.geojson")).unwrap();
    let first =
        |kind: &str| sown["features"].as_array().unwrap().iter().find(|f| f["properties"]["kind"] == kind);
    let along = first("block").unwrap()["properties"]["heading_deg"].as_f64().unwrap();
    let lane = &compiled.fields[0].lanes.lanes[0];
    let across = lanewright::geometry::heading_of_angle(lane.line.start.angle).to_degrees();
    assert!(((across - along).rem_euclid(180.0) - 90.0).abs() < 1e-6, "{along} {across}");
}

/// Reference check D7, derived: crossed hoeing of a square grid of 25 cm with 6 cm left to each side leaves
/// (0.12 / 0.25)² = 23.04 %; here 26 of 45 cm are worked, but near plants of the laps.
#[test]
fn tools_between_columns_leave_the_square_of_what_one_way_leaves() {
    let job = text(ACROSS);
    let pass = job.replace("intra-row", "inter-row");
    let (head, _) = pass.split_once("speed = ").unwrap();
    let job = format!(
        "{head}plant_radius = \"3 cm\"\ntools = {{ per_gap = 2, width = \"14 cm\", overlap = \"2 cm\" }}\n"
    );
    let (compiled, _) = compiled(ACROSS, &[(ACROSS, job)]);
    let surface = compiled.fields[0].weeding.as_ref().unwrap().shares.surface;
    let whole = 26.0 / 45.0;
    assert!(surface <= whole + 1e-9 && surface > 0.95 * whole, "{surface}");
    let one_way: f64 = 0.12 / 0.25;
    assert!((one_way * one_way - 0.2304).abs() < 1e-12);
}

/// What stands in no columns is refused with the reason.
#[test]
fn what_cannot_be_crossed_is_refused_for_the_true_reason() {
    let across = |path: &str| text(path).replace("[pass]\n", "[pass]\ndirection = \"across\"\n");
    for (path, rule, reason) in [
        (ALONG, "weeding/not-square", "none of its rows are straight"),
        ("demo-jobs/bean-hills-weeding.toml", "weeding/not-square", "hills 6 cm long"),
        ("demo-jobs/plain-field-weeding.toml", "weeding/not-square", "shifted, by 50 %"),
        ("demo-jobs/mill-piece-weeding.toml", "weeding/rows-do-not-fit", "40.0 cm"),
    ] {
        let (finding, line) = refused_in(path, &across(path), BTreeMap::new());
        assert_eq!(finding.rule, rule, "{path}: {finding:#?}");
        assert!(finding.message.contains(reason) && finding.hint.is_some(), "{path}: {finding:#?}");
        assert!(line.starts_with("direction = ") || line.starts_with("rows = "), "{line}");
    }
    assert!(told_in(ACROSS, &text(ACROSS), BTreeMap::new()).1);
}

/// A rectangle has columns too, for tool rows as far apart as its places; bent rows then need a pass of
/// their own.
#[test]
fn a_rectangle_is_crossed_by_tool_rows_of_its_other_side() {
    let path = "demo-jobs/mill-piece-weeding.toml";
    let hoe = "demo-jobs/machines/ox-6-hoe.toml";
    let machine = text(hoe)
        .replace("row_spacing = \"45 cm\"", "row_spacing = \"40 cm\"")
        .replace("\"2.7 m\"", "\"2.4 m\"")
        .replace("\"-90 cm\", \"90 cm\"", "\"-80 cm\", \"80 cm\"");
    let job = text(path).replace("[pass]\n", "[pass]\ndirection = \"across\"\n");
    let (compiled, told) = compiled(path, &[(path, job), (hoe, machine)]);
    each_plant_is_under_its_tool(&compiled);
    assert_eq!(compiled.fields[0].seeds.count() + left_out(&told), sown("golden/mill-piece"), "{told:#?}");
    assert!(told.iter().any(|finding| finding.contains("bent rows, which are not crossed")), "{told:#?}");
    // The places of the log are found in the numbers of the columns: a gap is worked through there.
    let crossed = &compiled.fields[0];
    let missing = |run: &lanewright::weeding::RunEvents| match run {
        lanewright::weeding::RunEvents::BetweenPlants { missing, .. } => missing.len(),
        lanewright::weeding::RunEvents::AlongRow { .. } => 0,
    };
    assert_eq!(crossed.weeding.as_ref().unwrap().events.iter().map(missing).sum::<usize>(), 3);
}
