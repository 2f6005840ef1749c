//! A weeding job as a person gets it wrong: each slip is refused by its rule, at its line, with a hint
//! that passes once it is followed. The sown folder is the approved output of a demo job.

use lanewright::diagnostic::{Finding, Severity};
use lanewright::pipeline::{self, Wish};
use lanewright_schema::job::{SourceError, Sources};
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

pub fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// The repository with some files in place of its own.
pub struct Changed(pub BTreeMap<String, Vec<u8>>);

impl Sources for Changed {
    fn read(&self, path: &str, _limit: usize) -> Result<Vec<u8>, SourceError> {
        match self.0.get(path) {
            Some(bytes) => Ok(bytes.clone()),
            None => fs::read(root().join(path)).map_err(|_| SourceError::Missing),
        }
    }
}

pub const JOB: &str = "demo-jobs/mill-piece-weeding.toml";

pub fn sound() -> String {
    fs::read_to_string(root().join(JOB)).expect("the demo job")
}

fn told(job: &str, other: &[(&str, Vec<u8>)]) -> (Vec<Finding>, bool) {
    told_in(JOB, job, other.iter().map(|(path, bytes)| ((*path).to_owned(), bytes.clone())).collect())
}

/// What is told of a job at a path, with some files in place of the repository's, and whether it compiles.
pub fn told_in(path: &str, job: &str, mut files: BTreeMap<String, Vec<u8>>) -> (Vec<Finding>, bool) {
    files.insert(path.to_owned(), job.as_bytes().to_vec());
    let compilation = pipeline::compile(&Changed(files), path, &Wish::default());
    (compilation.findings, compilation.compiled.is_some())
}

fn refused(job: &str) -> (Finding, String) {
    refused_in(JOB, job, BTreeMap::new())
}

/// The one error, and the line of the job at which it is told.
pub fn refused_in(path: &str, job: &str, files: BTreeMap<String, Vec<u8>>) -> (Finding, String) {
    let (findings, compiled) = told_in(path, job, files);
    let errors: Vec<Finding> = findings.into_iter().filter(|f| f.severity == Severity::Error).collect();
    assert!(!compiled && errors.len() == 1, "{errors:#?}");
    let span = errors[0].span.clone().expect("a place");
    let text = if span.file == path {
        job.to_owned()
    } else {
        fs::read_to_string(root().join(&span.file)).expect("the file of the finding")
    };
    let line = text[..span.bytes.start].matches('\n').count();
    (errors[0].clone(), text.lines().nth(line).unwrap_or_default().to_owned())
}

fn with(from: &str, to: &str) -> String {
    let job = sound();
    assert!(job.contains(from), "the demo job has no `{from}`");
    job.replacen(from, to, 1)
}

/// What a hint says between its first backquotes.
fn quoted(hint: &str) -> String {
    hint.split('`').nth(1).expect("a hint that shows what to write").to_owned()
}

#[test]
fn too_fast_is_refused_with_the_speed_that_passes() {
    let (finding, line) = refused(&with("speed = \"1.2 km/h\"", "speed = \"6 km/h\""));
    assert_eq!((finding.rule, line.as_str()), ("weeding/too-fast", "speed = \"6 km/h\""));
    let mended = with("speed = \"1.2 km/h\"", &quoted(&finding.hint.unwrap()));
    assert!(told(&mended, &[]).1);
}

#[test]
fn a_blade_wider_than_the_window_is_refused_with_the_width_that_passes() {
    let (finding, line) = refused(&with("width = \"6 cm\"", "width = \"25 cm\""));
    assert_eq!(finding.rule, "weeding/blade-window");
    assert!(line.starts_with("blade"), "{line}");
    let mended = with("width = \"6 cm\"", &quoted(&finding.hint.unwrap()));
    assert!(told(&mended, &[]).1);
}

#[test]
fn a_pass_before_sowing_is_refused() {
    let (finding, line) = refused(&with("date = 2027-06-07", "date = 2027-05-02"));
    assert_eq!((finding.rule, line.as_str()), ("weeding/before-sowing", "date = 2027-05-02"));
    assert!(told(&with("date = 2027-06-07", "date = 2027-05-03"), &[]).1);
}

#[test]
fn another_map_than_the_pinned_is_refused_with_its_digest() {
    let job = sound();
    let pin = job.lines().find(|line| line.starts_with("sown_digest")).unwrap();
    let (finding, line) = refused(&job.replace(pin, "sown_digest = \"00\""));
    assert_eq!((finding.rule, line.as_str()), ("sown/changed", "sown_digest = \"00\""));
    assert_eq!(quoted(&finding.hint.unwrap()), pin);
    let (findings, compiled) = told(&job.replace(pin, ""), &[]);
    let unpinned = findings.iter().find(|finding| finding.rule == "sown/not-pinned").unwrap();
    assert!(compiled && unpinned.severity == Severity::Warning);
    assert_eq!(quoted(unpinned.hint.as_ref().unwrap()), pin);
}

#[test]
fn an_edited_map_is_refused_whatever_the_manifest_says() {
    let path = "golden/mill-piece/seed-rows.geojson";
    let text = fs::read_to_string(root().join(path)).unwrap();
    let edited = text.replacen("\"first_x\":", "\"first_x\":1", 1).into_bytes();
    let (findings, compiled) = told(&sound(), &[(path, edited)]);
    assert!(!compiled);
    assert!(findings.iter().any(|finding| finding.rule == "sown/changed"), "{findings:#?}");
}

#[test]
fn another_field_frame_or_machine_is_refused_at_its_line() {
    let (finding, line) = refused(&with("[order]", "fields = [\"Mil Piece\"]\n[order]"));
    assert_eq!((finding.rule, line.as_str()), ("sown/other-field", "fields = [\"Mil Piece\"]"));
    assert_eq!(finding.hint.as_deref(), Some("did you mean `\"Mill Piece\"`?"));

    let (finding, line) = refused(&with("ITRF2014@2027.3", "ITRF2014@2029.3"));
    assert_eq!(finding.rule, "sown/other-frame");
    assert!(line.starts_with("base_station_frame"), "{line}");
    assert!(finding.hint.unwrap().contains("ITRF2014@2027.3"));

    let (finding, line) = refused(&with("machines/ox-6-hoe.toml", "machines/heron-8.toml"));
    assert_eq!(finding.rule, "weeding/rows-do-not-fit");
    assert!(line.starts_with("rows = "), "{line}");
}

fn over_seeds(depth: &str, date: &str) -> String {
    let job = sound();
    let pass = job.find("[pass]").unwrap();
    format!(
        "{}[pass]\noperation = \"pre-emergence weeding\"\ndate = {date}\ndepth = \"{depth}\"\nemergence = 2027-05-14\n",
        &job[..pass]
    )
}

#[test]
fn a_pass_over_the_seeds_stays_above_them_and_ahead_of_them() {
    assert!(told(&over_seeds("15 mm", "2027-05-10"), &[]).1);
    let (finding, line) = refused(&over_seeds("2 cm", "2027-05-10"));
    assert_eq!((finding.rule, line.as_str()), ("weeding/deeper-than-seed", "depth = \"2 cm\""));
    assert_eq!(quoted(&finding.hint.unwrap()), "depth = \"15 mm\"");
    let (finding, line) = refused(&over_seeds("15 mm", "2027-05-14"));
    assert_eq!((finding.rule, line.as_str()), ("weeding/after-emergence", "date = 2027-05-14"));
}

fn over_seeds_by_season(season: &str) -> String {
    over_seeds("15 mm", "2027-05-10").replace("emergence = 2027-05-14", &format!("season = {{ {season} }}"))
}

const MONTHS: &str = "[\"1 °C\", \"2 °C\", \"5 °C\", \"8 °C\", \"13 °C\", \"16 °C\", \"18 °C\", \"17 °C\", \"14 °C\", \"10 °C\", \"5 °C\", \"2 °C\"]";
const CABBAGE: &str = "sown_on = 2027-05-03, base_temperature = \"3.5 °C\", thermal_time = \"100 °C d\"";

/// 100 °C d above 3.5 °C, fitted to the days of Harrington and Minges 1954 for cabbage, in May of 13 °C on
/// average: the thirteenth day, the third counted.
#[test]
fn the_day_of_emergence_comes_from_thermal_time_where_it_is_not_given() {
    let job = over_seeds_by_season(&format!("{CABBAGE}, monthly = {MONTHS}"));
    assert!(told(&job, &[]).1, "{:#?}", told(&job, &[]).0);
    let (finding, line) = refused(&job.replace("date = 2027-05-10", "date = 2027-05-15"));
    assert_eq!((finding.rule, line.as_str()), ("weeding/after-emergence", "date = 2027-05-15"));
    assert!(finding.message.contains("expected from 2027-05-15 on"), "{}", finding.message);
}

#[test]
fn a_season_that_does_not_tell_the_day_is_refused_at_its_line() {
    let eleven = MONTHS.replacen("\"1 °C\", ", "", 1);
    let cold = "sown_on = 2027-05-03, base_temperature = \"25 °C\", thermal_time = \"100 °C d\"";
    for (season, rule) in [
        (CABBAGE.to_owned(), "season/no-weather"),
        (format!("{CABBAGE}, monthly = {eleven}"), "season/no-weather"),
        (format!("{CABBAGE}, monthly = {MONTHS}, daily = \"logs/spring.csv\""), "season/given-twice"),
        (format!("{cold}, monthly = {MONTHS}"), "season/too-cold"),
        (format!("{CABBAGE}, ceiling_temperature = \"2 °C\", monthly = {MONTHS}"), "job/out-of-range"),
    ] {
        let table = ("demo-jobs/logs/spring.csv", b"date,mean\n2027-05-03,11\n".to_vec());
        let (findings, compiled) = told(&over_seeds_by_season(&season), &[table]);
        let finding = findings.iter().find(|finding| finding.rule == rule);
        let finding = finding.unwrap_or_else(|| panic!("{rule}: {findings:#?}"));
        assert!(!compiled && finding.span.is_some() && finding.hint.is_some(), "{finding:#?}");
    }
    let twice =
        over_seeds("15 mm", "2027-05-10") + &format!("season = {{ {CABBAGE}, monthly = {MONTHS} }}\n");
    assert_eq!(refused(&twice).0.rule, "season/given-twice");
    for (table, fact) in [
        ("date,mean\n2027-05-03,11\n2027-05-04,12\n", "no temperature for 2027-05-05, when 16.0 of 100 °C d"),
        ("date,mean\n2027-05-04,11\n", "no temperature for 2027-05-03"),
        ("day,mean\n2027-05-03,11\n", "missing field `date`"),
    ] {
        let job = over_seeds_by_season(&format!("{CABBAGE}, daily = \"logs/spring.csv\""));
        let (findings, compiled) = told(&job, &[("demo-jobs/logs/spring.csv", table.as_bytes().to_vec())]);
        let finding = findings.iter().find(|finding| finding.rule == "season/no-weather").expect(fact);
        assert!(!compiled && finding.message.contains(fact), "{}", finding.message);
    }
}

/// The pass of the demo job between the rows.
pub fn inter_row(tools: &str) -> String {
    let job = sound();
    let pass = job.find("[pass]").unwrap();
    format!(
        "{}[pass]\noperation = \"inter-row weeding\"\ndate = 2027-06-07\ndepth = \"2 cm\"\nplant_radius = \"4 cm\"\ntools = {tools}\n",
        &job[..pass]
    )
}

#[test]
fn tools_too_wide_for_the_gap_are_refused_with_the_width_that_passes() {
    let (finding, line) = refused(&inter_row("{ per_gap = 2, width = \"16 cm\", overlap = \"2 cm\" }"));
    assert_eq!(finding.rule, "weeding/tools-too-wide");
    assert!(line.starts_with("tools = "), "{line}");
    assert!(
        finding.message.contains("30.0 cm") && finding.message.contains("45.0 cm"),
        "{}",
        finding.message
    );
    let width = quoted(&finding.hint.unwrap());
    assert!(told(&inter_row(&format!("{{ per_gap = 2, {width}, overlap = \"2 cm\" }}")), &[]).1);
}

#[test]
fn a_blade_that_rests_in_the_plants_room_is_refused_with_the_band_that_passes() {
    let blade = "travel_out = \"100 ms\"";
    let (finding, line) = refused(&with(blade, &format!("{blade}, row_band = \"6 cm\"")));
    assert_eq!(finding.rule, "weeding/row-band");
    assert!(line.starts_with("blade = "), "{line}");
    let band = quoted(&finding.hint.unwrap());
    assert!(told(&with(blade, &format!("{blade}, {band}")), &[]).1);
}

/// Each way to open a window that no speed opens: a narrower blade, fewer deviations, or what the next
/// sowing can do about it. The window is `s − 2 r` (reference checks J11, J12).
#[test]
fn what_would_open_the_window_is_told_with_figures() {
    let (finding, _) = refused(&with("width = \"6 cm\"", "width = \"25 cm\""));
    assert!(quoted(finding.hint.as_ref().unwrap()).starts_with("width = "), "{finding:#?}");

    let large = with("plant_radius = \"4 cm\"", "plant_radius = \"12 cm\"");
    let (finding, _) = refused(&large);
    assert_eq!(finding.rule, "weeding/blade-window");
    let hint = finding.hint.unwrap();
    assert!(hint.starts_with("sow at least "), "{hint}");
    let mended = large.replace("deviations = 2", &quoted(&hint));
    assert!(mended != large && told(&mended, &[]).1, "{hint}");

    let (finding, _) = refused(&with("plant_radius = \"4 cm\"", "plant_radius = \"16 cm\""));
    let hint = finding.hint.unwrap();
    assert!(hint.contains("leaves reach less far"), "{hint}");

    // A band that leaves so much room reaches into the next row's plants, too: that needs no word of its own.
    let (finding, _) = refused(&with("plant_radius = \"4 cm\"", "plant_radius = \"24 cm\""));
    assert_eq!(finding.rule, "weeding/blade-window");
}

const TABLE: &str = "demo-jobs/logs/mill-piece-missing.csv";

#[test]
fn a_table_of_another_kind_or_of_another_map_is_refused_at_its_line() {
    let faults = [
        ("field,block,row\nMill Piece,0,3\n", "missing field `index`"),
        ("field,block,row,index\nMill Piece,0,three,3\n", "invalid digit"),
        ("field,block,row,index\nMill Piece,0,3\n", "3 fields"),
        ("field,block,row,index\nMill Piece,0,3,100000\n", "not on the seed map of `Mill Piece`"),
        ("field,block,row,index\nMill Piece,9,3,10\n", "block 9, row 3, index 10"),
        ("field,block,row,index\nUpper Sallow,0,3,10\n", "names the field `Upper Sallow`"),
        ("field,block,row,index\nM\u{fffd}ll,0,3,10\n", "the field `M"),
    ];
    for (table, fact) in faults {
        let (findings, compiled) = told(&sound(), &[(TABLE, table.as_bytes().to_vec())]);
        let finding = findings.iter().find(|finding| finding.rule == "weeding/missing-seeds");
        let finding = finding.unwrap_or_else(|| panic!("{table}: {findings:#?}"));
        assert!(!compiled && finding.message.contains(fact), "{fact}: {}", finding.message);
        let span = finding.span.as_ref().expect("a place");
        assert!(sound()[..span.bytes.end].ends_with("logs/mill-piece-missing.csv\""), "{finding:#?}");
        assert!(finding.hint.is_some());
    }
    let (findings, compiled) = told(&sound(), &[(TABLE, b"field,block,row,index\n\xff,0,3,1\n".to_vec())]);
    assert!(!compiled && findings.iter().any(|finding| finding.rule == "weeding/missing-seeds"));
    assert!(told(&sound(), &[(TABLE, b"field,block,row,index\n".to_vec())]).1, "an empty log misses nothing");
}

/// The files of another sowing than the demo's in the place of that one's approved folder.
pub fn sown_instead(sowing: &str) -> BTreeMap<String, Vec<u8>> {
    sown_with(sowing, BTreeMap::new())
}

/// So it is with some files in place of the repository's.
pub fn sown_with(sowing: &str, mut files: BTreeMap<String, Vec<u8>>) -> BTreeMap<String, Vec<u8>> {
    let path = "demo-jobs/mill-piece.toml";
    files.insert(path.to_owned(), sowing.as_bytes().to_vec());
    let sources = Changed(files);
    let compilation = pipeline::compile(&sources, path, &Wish::default());
    let compiled = compilation.compiled.as_ref().unwrap_or_else(|| panic!("{:#?}", compilation.findings));
    let emission = compilation.emission(compiled, "mill-piece", pipeline::SeedFile::LeftOut);
    let file = |name: &str| {
        let mut bytes = Vec::new();
        emission.write(name, &mut bytes).expect("memory takes it");
        (format!("golden/mill-piece/{name}"), bytes)
    };
    emission.paths().map(file).collect()
}

/// A weeding job over another sowing than the demo's: the sowing job is compiled into memory.
fn over_a_sowing(sowing: &str, weeding: &str) -> (Vec<Finding>, bool) {
    told_in(JOB, &unpinned(weeding), sown_instead(sowing))
}

/// A weeding job that takes its seed map as it is.
pub fn unpinned(weeding: &str) -> String {
    let pin = weeding.lines().find(|line| line.starts_with("sown_digest")).expect("a pin");
    weeding.replace(pin, "")
}

pub fn sowing() -> String {
    fs::read_to_string(root().join("demo-jobs/mill-piece.toml")).expect("the demo job")
}

#[test]
fn a_blade_in_drilled_rows_is_refused_and_tools_between_them_are_not() {
    let drilled =
        sowing().replace("between_seeds = \"40 cm\"", "between_seeds = \"4 cm\"\npattern = \"drill\"");
    let table = "missing = \"logs/mill-piece-missing.csv\"";
    let (findings, compiled) = over_a_sowing(&drilled, &with(table, ""));
    assert!(!compiled);
    let finding = findings.iter().find(|finding| finding.rule == "weeding/drilled-row").expect("the rule");
    assert!(finding.span.is_some() && finding.hint.as_ref().unwrap().contains("inter-row weeding"));
    assert!(over_a_sowing(&drilled, &inter_row("{ per_gap = 2, width = \"12 cm\" }")).1);
}

#[test]
fn an_older_frame_than_that_of_the_map_is_refused_with_the_frame_that_passes() {
    for older in ["ITRF2014@2021.5", "ITRF2008@2027.3", "ETRS89"] {
        let (finding, line) = refused(&with("ITRF2014@2027.3", older));
        assert_eq!(finding.rule, "sown/other-frame");
        assert!(line.starts_with("base_station_frame") && finding.message.contains(older), "{finding:#?}");
        assert!(finding.hint.unwrap().contains("\"ITRF2014@2027.3\""));
    }
}

#[test]
fn every_file_of_the_map_is_held_against_its_digest() {
    for name in ["plan.geojson", "seed-rows.geojson", "manifest.json"] {
        let path = format!("golden/mill-piece/{name}");
        let mut bytes = fs::read(root().join(&path)).unwrap();
        bytes.push(b' ');
        let (findings, compiled) = told(&sound(), &[(&path, bytes)]);
        assert!(!compiled && findings.iter().any(|finding| finding.rule == "sown/changed"), "{findings:#?}");
    }
}

/// Reference checks J12 and J13, derived: the window is `s − 2 r`, and it opens up to the speed at which
/// blade and motion fill it.
#[test]
fn the_highest_speed_is_that_at_which_the_motion_fills_the_window() {
    let compiled = pipeline::compile(&Changed(BTreeMap::new()), JOB, &Wish::default()).compiled.unwrap();
    let pass = compiled.fields[0].weeding.as_ref().unwrap();
    let fastest = pass.fastest.unwrap().to_m_per_s();
    let at = |speed: f64| {
        let job = with("speed = \"1.2 km/h\"", &format!("speed = \"{speed} m/s\""));
        told(&job, &[]).1
    };
    assert!(at(fastest) && !at(fastest + 0.004));
    let motion = pass.section.in_row.unwrap();
    let window = 0.40 - 2.0 * motion.clear_m;
    assert!(motion.blade_m + motion.in_m + motion.out_m < window);
}
