//! A field whose treatment zones have patterns of their own, so that rows pass from one into another: sown, read
//! back from what was emitted, and weeded as the plants of each zone stand.

use super::block_patterns::{between_plants, by_pattern, emitted, the_blade_stays_clear, weeded};
use super::retrace::each_plant_is_under_its_tool;
use super::weeding::{JOB, inter_row, refused_in, sowing, sown_with, unpinned};
use lanewright::check::Pattern;
use lanewright::geometry::{Point, distance};
use lanewright::seeds::SeedRun;
use lanewright_schema::quantity::Length;
use lanewright_schema::seedmap::rows::{self, RowPattern};
use std::collections::BTreeMap;

const PAIRS: &str = "\"share\": 1, \"kind\": \"hill\", \"together\": 2, \"length\": \"6 cm\"";
const DRILLED: &str = "\"kind\": \"drill\", \"share\": \"400 %\"";

/// The folder of the demo field, whose east is a zone of these attributes and whose west has single seeds.
fn sown(attributes: &str) -> BTreeMap<String, Vec<u8>> {
    let zone = |name: &str, attributes: &str, [west, east]: [f64; 2]| {
        format!(
            "{{\"type\": \"Feature\", \"properties\": {{\"name\": \"{name}\", {attributes}}}, \
             \"geometry\": {{\"type\": \"Polygon\", \"coordinates\": [[[{west}, 48.6065], [{east}, 48.6065], \
             [{east}, 48.6080], [{west}, 48.6080], [{west}, 48.6065]]]}}}}"
        )
    };
    let west = zone("West", "\"share\": 1, \"kind\": null", [-27.4045, -27.40335]);
    let east = zone("East", attributes, [-27.40335, -27.4020]);
    let zones = format!("{{\"type\": \"FeatureCollection\", \"features\": [{west}, {east}]}}");
    let job = format!(
        "{}\n[field.zones]\nfile = \"fields/mill-piece-zones.geojson\"\nrate = \"share\"\npattern = \"kind\"\n\
         seeds_per_hill = \"together\"\nhill_length = \"length\"\n",
        sowing()
    );
    sown_with(
        &job,
        BTreeMap::from([("demo-jobs/fields/mill-piece-zones.geojson".to_owned(), zones.into_bytes())]),
    )
}

/// Clear distances where a straight row passes from one pattern into the other, with those of the two.
fn across_the_border(runs: &[SeedRun]) -> Vec<(f64, [f64; 2])> {
    let ends = |run: &SeedRun| {
        let line: Vec<Point> = run.line(0.01);
        [line[0], line[line.len() - 1]]
    };
    let one_row = |pair: &&[SeedRun]| {
        (pair[0].block, pair[0].row, pair[0].lane) == (pair[1].block, pair[1].row, pair[1].lane)
            && pair[0].pattern != pair[1].pattern
            && pair[0].straight_step().is_some()
    };
    let clear = |pair: &[SeedRun]| {
        let gap = distance(ends(&pair[0])[1], ends(&pair[1])[0]);
        let own = [&pair[0], &pair[1]].map(|run| run.stand().clear().to_m());
        (gap, [own[0].min(own[1]), own[0].max(own[1])])
    };
    runs.windows(2).filter(one_row).map(clear).collect()
}

#[test]
fn rows_that_pass_into_hills_are_weeded_as_each_zone_stands() {
    let folder = sown(PAIRS);
    let sown = emitted(&folder);
    assert!(sown[0] > 5000 && sown[1] > 5000 && sown[2] == 0, "{sown:?}");
    let compiled = weeded(&between_plants(), folder.clone());
    let runs = &compiled.fields[0].seeds.runs;
    assert_eq!(by_pattern(runs), sown);
    let borders = across_the_border(runs);
    assert!(borders.len() > 50, "{}", borders.len());
    // Places are 40 cm apart and 80, of which 40 cm and 74 stay clear: less than the 40 cm between pairs of them.
    for (clear, own) in borders {
        assert_eq!(own.map(|own| (own * 1e3).round()), [400.0, 740.0]);
        assert!(clear > own[0] - 1e-4 && clear < own[0] + 0.4 + 1e-4, "{clear}");
    }
    the_blade_stays_clear(&compiled);
    each_plant_is_under_its_tool(&compiled);
    let section = compiled.fields[0].weeding.as_ref().unwrap().section;
    assert_eq!((section.pattern, section.plant_spacing), (Pattern::Single, Length::cm(40.0)), "the closest");

    // Three tool rows have lanes of their own over the same places.
    let narrow = between_plants().replace("machines/ox-6-hoe.toml", "machines/wren-3-hoe.toml");
    let compiled = weeded(&narrow, folder);
    each_plant_is_under_its_tool(&compiled);
    the_blade_stays_clear(&compiled);
}

#[test]
fn a_blade_is_refused_for_the_drilled_zone_and_tools_between_the_rows_are_not() {
    let folder = sown(DRILLED);
    let sown = emitted(&folder);
    assert!(sown[0] > 5000 && sown[2] > 20_000, "{sown:?}");
    let text = String::from_utf8(folder["golden/mill-piece/seed-rows.geojson"].clone()).unwrap();
    for row in rows::read(&text).unwrap() {
        let drilled = row.run.pattern == RowPattern::Drill;
        assert_eq!(row.run.zone.as_deref() == Some("East"), drilled);
        assert_eq!(row.run.sigma_along_m > 0.1, drilled, "{:?}", row.run);
    }
    let (finding, line) = refused_in(JOB, &between_plants(), folder.clone());
    assert_eq!(finding.rule, "weeding/drilled-row");
    let counts = format!("{} of {} plants", sown[2], sown[0] + sown[2]);
    assert!(finding.message.starts_with(&counts), "{}", finding.message);
    assert!(line.starts_with("blade"), "{line}");

    let compiled = weeded(&unpinned(&inter_row("{ per_gap = 2, width = \"12 cm\" }")), folder);
    assert_eq!(by_pattern(&compiled.fields[0].seeds.runs), sown);
    each_plant_is_under_its_tool(&compiled);
}

#[test]
fn rows_of_two_patterns_are_not_crossed() {
    let across = between_plants().replace("[pass]\n", "[pass]\ndirection = \"across\"\n");
    for (attributes, reason) in
        [(PAIRS, "its plants stand in hills 6 cm long"), (DRILLED, "its rows are drilled")]
    {
        let (finding, line) = refused_in(JOB, &across, sown(attributes));
        assert_eq!(finding.rule, "weeding/not-square", "{finding:#?}");
        assert!(finding.message.contains(reason), "{}", finding.message);
        assert_eq!(line, "direction = \"across\"");
    }
}

/// The summary and the task say of each zone what is sown there.
#[test]
fn each_zone_is_told_with_its_pattern() {
    let folder = sown(PAIRS);
    let summary = String::from_utf8(folder["golden/mill-piece/summary.md"].clone()).unwrap();
    for said in
        ["| East | ", " | 80 cm, 2 seeds within 6 cm | ", " | 40 cm, one seed | ", "the clear distance"]
    {
        assert!(summary.contains(said), "`{said}` is not in\n{summary}");
    }
    let task = String::from_utf8(folder["golden/mill-piece/TASKDATA/TASKDATA.XML"].clone()).unwrap();
    assert!(task.contains("<GRD ") && task.contains("A=\"0010\""));
    let map = String::from_utf8(folder["golden/mill-piece/map.svg"].clone()).unwrap();
    assert!(map.contains("100 %, hills, 80 cm: East"), "the legend");
}
