//! A field whose blocks have patterns of their own: sown, read back from what was emitted, and weeded as the
//! plants of each block stand.

use super::retrace::each_plant_is_under_its_tool;
use super::weeding::{Changed, JOB, inter_row, refused_in, sound, sowing, sown_instead, told_in, unpinned};
use lanewright::check::Pattern;
use lanewright::pipeline::{self, Compiled, Wish};
use lanewright::seeds::SeedRun;
use lanewright::weeding::{Driven, RunEvents};
use lanewright_schema::quantity::Length;
use lanewright_schema::seedmap::events::Event;
use lanewright_schema::seedmap::rows::{self, RowPattern};
use std::collections::BTreeMap;

/// Pairs of cabbages, as many a hectare as the single ones 40 cm apart.
pub const PAIRS: &str = "pattern = \"hill\"\nseeds_per_hill = 2\nhill_length = \"6 cm\"";
const DRILLED: &str = "pattern = \"drill\"\nbetween_seeds = \"10 cm\"";

/// The demo field in two blocks, the eastern one of which is sown so.
fn in_two_blocks(keys: &str) -> String {
    format!(
        "{}\n[[field.dividing_line]]\npoints = [[48.6065, -27.40335], [48.6080, -27.40335]]\n\n\
         [[field.block]]\nat = [48.60725, -27.40305]\n{keys}\n",
        sowing()
    )
}

/// The demo's pass without its table of missing places, which is of another map.
pub fn between_plants() -> String {
    unpinned(&sound().replace("missing = \"logs/mill-piece-missing.csv\"", ""))
}

pub fn weeded(job: &str, mut files: BTreeMap<String, Vec<u8>>) -> Compiled {
    files.insert(JOB.to_owned(), job.as_bytes().to_vec());
    let compilation = pipeline::compile(&Changed(files), JOB, &Wish::default());
    compilation.compiled.unwrap_or_else(|| panic!("{:#?}", compilation.findings))
}

/// Seeds by pattern: single, in hills, drilled.
pub fn by_pattern(runs: &[SeedRun]) -> [u64; 3] {
    let of = |wanted: fn(Pattern) -> bool| {
        runs.iter().filter(|run| wanted(run.pattern)).map(SeedRun::seeds).sum::<u64>()
    };
    [
        of(|pattern| pattern == Pattern::Single),
        of(|pattern| pattern == Pattern::Hill { seeds: 2, length: Length::cm(6.0) }),
        of(|pattern| pattern == Pattern::Drill),
    ]
}

/// Seeds by pattern in the emitted rows.
pub fn emitted(files: &BTreeMap<String, Vec<u8>>) -> [u64; 3] {
    let text = String::from_utf8(files["golden/mill-piece/seed-rows.geojson"].clone()).unwrap();
    let rows = rows::read(&text).unwrap();
    [RowPattern::Single, RowPattern::Hill, RowPattern::Drill].map(|pattern| {
        let of_pattern = rows.iter().filter(|row| row.run.pattern == pattern);
        of_pattern.map(|row| u64::from(row.run.count) * u64::from(row.run.hill_seeds.unwrap_or(1))).sum()
    })
}

/// Each way of the blade into the row and out of it stays the clear distance from the seeds before and
/// behind it, whether they stand alone or in hills; and there is one between each two places.
pub fn the_blade_stays_clear(compiled: &Compiled) {
    let (plan, machine) = (&compiled.fields[0], &compiled.job.machine);
    let pass = plan.weeding.as_ref().unwrap();
    let motion = pass.section.in_row.unwrap();
    let mut ways = [0; 2];
    for (run, events) in plan.seeds.runs.iter().zip(&pass.events) {
        let RunEvents::BetweenPlants { barred, .. } = events else { panic!("a blade") };
        let visit = *plan.route.visits.iter().find(|visit| visit.lane == run.lane).unwrap();
        let mut told = Vec::new();
        let driven = Driven::new(&plan.lanes.lanes[run.lane.0], visit, machine);
        events.each(run, &driven, |event| told.push((event.event, event.along_m.unwrap())));
        assert_eq!(told.len(), 2 * (run.count as usize - 1 - barred.len()));
        let places = (0..run.count).map(|place| f64::from(place) * run.spacing_m);
        let seeds: Vec<f64> = places.flat_map(|place| run.members().map(move |m| place + m)).collect();
        for pair in told.chunks_exact(2) {
            let [(Event::In, sets_out), (Event::Out, turns_back)] = *pair else { panic!("in, then out") };
            let ahead = if turns_back > sets_out { 1.0 } else { -1.0 };
            let [from, to] = [
                sets_out - ahead * motion.blade_m / 2.0,
                turns_back + ahead * (motion.out_m + motion.blade_m / 2.0),
            ];
            let (from, to) = (from.min(to), from.max(to));
            let nearest = seeds.iter().map(|seed| (from - seed).max(seed - to)).fold(f64::INFINITY, f64::min);
            assert!((nearest - motion.clear_m).abs() < 1e-6, "{nearest} m of {} m", motion.clear_m);
            ways[usize::from(run.pattern != Pattern::Single)] += 1;
        }
    }
    assert!(ways.iter().all(|&ways| ways > 1000), "{ways:?}");
}

#[test]
fn single_plants_and_hills_of_one_field_are_weeded_as_each_stands() {
    let folder = sown_instead(&in_two_blocks(PAIRS));
    let sown = emitted(&folder);
    assert!(sown[0] > 5000 && sown[1] > 5000 && sown[2] == 0, "{sown:?}");
    let compiled = weeded(&between_plants(), folder.clone());
    assert_eq!(by_pattern(&compiled.fields[0].seeds.runs), sown);
    the_blade_stays_clear(&compiled);
    each_plant_is_under_its_tool(&compiled);
    let section = compiled.fields[0].weeding.as_ref().unwrap().section;
    assert_eq!((section.pattern, section.plant_spacing), (Pattern::Single, Length::cm(40.0)), "the closest");
    let share = sown[0] as f64 / (sown[0] + sown[1]) as f64;
    assert!((section.plant_share - share).abs() < 1e-12);

    // Three tool rows have lanes of their own over the same places.
    let narrow = between_plants().replace("machines/ox-6-hoe.toml", "machines/wren-3-hoe.toml");
    let compiled = weeded(&narrow, folder);
    each_plant_is_under_its_tool(&compiled);
    the_blade_stays_clear(&compiled);
}

#[test]
fn a_blade_is_refused_for_the_drilled_block_and_tools_between_the_rows_are_not() {
    let folder = sown_instead(&in_two_blocks(DRILLED));
    let sown = emitted(&folder);
    assert!(sown[0] > 5000 && sown[2] > 20_000, "{sown:?}");
    let (finding, line) = refused_in(JOB, &between_plants(), folder.clone());
    assert_eq!(finding.rule, "weeding/drilled-row");
    let counts = format!("{} of {} plants", sown[2], sown[0] + sown[2]);
    assert!(finding.message.starts_with(&counts), "{}", finding.message);
    assert!(line.starts_with("blade"), "{line}");
    assert!(finding.hint.unwrap().contains("inter-row weeding"));

    let compiled = weeded(&unpinned(&inter_row("{ per_gap = 2, width = \"12 cm\" }")), folder);
    let plan = &compiled.fields[0];
    assert_eq!(by_pattern(&plan.seeds.runs), sown);
    each_plant_is_under_its_tool(&compiled);
    let pass = plan.weeding.as_ref().unwrap();
    // Most plants are drilled; how uncertain these are along their rows takes no room beside them.
    assert_eq!((pass.section.pattern, pass.section.plant_spacing), (Pattern::Drill, Length::cm(10.0)));
    for row in &pass.rows {
        assert!(row.sigma.along > Length::cm(10.0) && row.sigma.across < Length::cm(5.0), "{row:?}");
        assert!((row.clear - Length::cm(4.0) - row.sigma.across * 2.0).abs() < Length::mm(1e-6));
    }
}

/// Emitted deviations are those of each block's own pattern.
#[test]
fn a_drilled_block_is_uncertain_along_its_rows_and_the_rest_is_not() {
    let folder = sown_instead(&in_two_blocks(DRILLED));
    let text = String::from_utf8(folder["golden/mill-piece/seed-rows.geojson"].clone()).unwrap();
    for row in rows::read(&text).unwrap() {
        let drilled = row.run.pattern == RowPattern::Drill;
        assert_eq!(row.run.zone.is_some(), drilled);
        assert_eq!(row.run.sigma_along_m > 0.1, drilled, "{:?}", row.run);
        assert!(row.run.sigma_across_m < 0.05);
    }
    let summary = String::from_utf8(folder["golden/mill-piece/summary.md"].clone()).unwrap();
    for said in [
        "| block 1 | ",
        " | 10 cm on average, drilled | ",
        " | 40 cm, one seed | ",
        "| Where the plant stands in block 1 | ",
        "| Where the plant stands in no zone | ",
    ] {
        assert!(summary.contains(said), "`{said}` is not in\n{summary}");
    }
}

/// What has no columns is not crossed, for the true reason: hills, drilled rows, other distances.
#[test]
fn blocks_that_differ_are_not_crossed() {
    let across = between_plants().replace("[pass]\n", "[pass]\ndirection = \"across\"\n");
    for (keys, reason) in [
        (PAIRS, "its plants stand in hills 6 cm long"),
        (DRILLED, "its rows are drilled"),
        ("rate = \"80 %\"", "its blocks are sown at different distances, 40.0 cm and 50.0 cm"),
    ] {
        let (finding, line) = refused_in(JOB, &across, sown_instead(&in_two_blocks(keys)));
        assert_eq!(finding.rule, "weeding/not-square", "{finding:#?}");
        assert!(finding.message.contains(reason), "{}", finding.message);
        assert_eq!(line, "direction = \"across\"");
    }
    let along = across.replace("\"across\"", "\"along\"");
    assert!(told_in(JOB, &along, sown_instead(&in_two_blocks(PAIRS))).1, "as the hint says");
}
