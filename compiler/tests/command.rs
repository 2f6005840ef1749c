//! The command as a person or a script meets it: exit status, streams, what is on the disk after.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

fn lanewright(dir: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_lanewright"));
    command.current_dir(dir).env_remove("NO_COLOR");
    command
}

#[track_caller]
fn run(dir: &Path, arguments: &[&str], status: i32) -> Output {
    let output = lanewright(dir).args(arguments).output().expect("the command starts");
    assert_eq!(output.status.code(), Some(status), "{}", String::from_utf8_lossy(&output.stderr));
    output
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).expect("the command writes UTF-8")
}

/// A folder with the starter job in it.
fn started() -> (tempfile::TempDir, PathBuf) {
    let dir = tempfile::tempdir().expect("a temporary folder");
    run(dir.path(), &["new", "first"], 0);
    let job = dir.path().join("first/job.toml");
    (dir, job)
}

fn entries(dir: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(dir)
        .expect("the folder can be read")
        .map(|entry| entry.expect("an entry").file_name().into_string().expect("UTF-8"))
        .collect();
    names.sort();
    names
}

#[test]
fn wrong_usage_ends_with_two() {
    let dir = tempfile::tempdir().expect("a temporary folder");
    run(dir.path(), &[], 2);
    run(dir.path(), &["plough"], 2);
    run(dir.path(), &["compile"], 2);
    run(dir.path(), &["explain", "no/such-rule"], 2);
    let missing = run(dir.path(), &["compile", "missing.toml"], 2);
    assert_eq!(text(&missing.stderr), "error: there is no job file missing.toml\n");
    fs::create_dir(dir.path().join("other")).expect("made");
    for job in ["job.toml", "other/job.toml"] {
        fs::write(dir.path().join(job), "").expect("written");
    }
    let clash = run(dir.path(), &["compile", "job.toml", "other/job.toml"], 2);
    assert!(text(&clash.stderr).contains("would both be written to job"));
}

#[test]
fn the_starter_job_compiles_and_is_never_overwritten() {
    let (dir, job) = started();
    run(dir.path(), &["check", "first/job.toml"], 0);
    run(dir.path(), &["compile", "first/job.toml", "-o", "out"], 0);
    assert_eq!(entries(&dir.path().join("out")), ["job"]);
    assert_eq!(
        entries(&dir.path().join("out/job")),
        [
            "TASKDATA",
            "manifest.json",
            "map.svg",
            "plan.geojson",
            "seed-rows.geojson",
            "summary.html",
            "summary.md"
        ]
    );
    fs::write(&job, "mine").expect("written");
    run(dir.path(), &["new", "first"], 2);
    assert_eq!(fs::read_to_string(job).expect("still there"), "mine");
}

#[test]
fn seeds_are_written_on_demand_and_go_with_the_next_compile() {
    let (dir, _) = started();
    let seeds = dir.path().join("out/job/seeds.parquet");
    run(dir.path(), &["compile", "first/job.toml", "-o", "out", "--seeds"], 0);
    assert_eq!(fs::read(&seeds).expect("written")[..4], *b"PAR1");
    run(dir.path(), &["compile", "first/job.toml", "-o", "out"], 0);
    assert!(!seeds.exists());
}

#[test]
fn effort_is_told_and_gives_the_same_files_each_time() {
    let (dir, _) = started();
    let manifest = |effort: &str, out: &str| {
        run(dir.path(), &["compile", "first/job.toml", "--effort", effort, "-o", out], 0);
        fs::read_to_string(dir.path().join(out).join("job/manifest.json")).expect("written")
    };
    let low = manifest("low", "one");
    assert!(low.contains("\"effort\": \"low\""), "{low}");
    assert_eq!(low, manifest("low", "two"));
    assert!(manifest("high", "one").contains("\"effort\": \"high\""));
    run(dir.path(), &["compile", "first/job.toml", "--effort", "some"], 2);
}

#[test]
fn a_refused_job_writes_nothing_and_points_at_the_line() {
    let (dir, job) = started();
    let good = fs::read_to_string(&job).expect("the starter");
    let line = 1 + good.lines().position(|line| line.starts_with("between_seeds")).expect("a spacing");
    fs::write(&job, good.replace("between_seeds = \"9 cm\"", "between_seeds = 9")).expect("written");
    let refused = run(dir.path(), &["compile", "first/job.toml", "-o", "out"], 1);
    assert!(!dir.path().join("out").exists());
    let told = text(&refused.stderr);
    assert!(told.contains(&format!("first/job.toml:{line}:17")), "{told}");
    assert!(told.contains("\nhint: "), "{told}");
    assert!(!told.contains('\u{1b}'), "no colour outside a terminal");
    assert!(refused.stdout.is_empty());
}

#[test]
fn a_refused_job_leaves_an_earlier_output_and_does_not_stop_the_others() {
    let (dir, job) = started();
    fs::copy(&job, dir.path().join("first/other.toml")).expect("copied");
    run(dir.path(), &["compile", "first/job.toml", "-o", "out"], 0);
    let before = fs::read(dir.path().join("out/job/manifest.json")).expect("written");
    fs::write(&job, "order = 3").expect("written");
    run(dir.path(), &["compile", "first/job.toml", "first/other.toml", "-o", "out"], 1);
    assert_eq!(fs::read(dir.path().join("out/job/manifest.json")).expect("kept"), before);
    assert_eq!(entries(&dir.path().join("out")), ["job", "other"]);
}

#[test]
fn json_findings_are_one_object_a_line_on_standard_output() {
    let (dir, job) = started();
    let good = fs::read_to_string(&job).expect("the starter");
    let bad = good.replace("rows = 6", "rowz = 6").replace("tyre_width", "tyre_widht");
    fs::write(&job, bad).expect("written");
    let refused = run(dir.path(), &["check", "first/job.toml", "--format", "json"], 1);
    let findings: Vec<serde_json::Value> = text(&refused.stdout)
        .lines()
        .map(|line| serde_json::from_str(line).expect("one JSON object"))
        .collect();
    assert!(findings.len() > 1, "two misspelt keys");
    for finding in &findings {
        assert_eq!(finding["file"], "first/job.toml");
        assert!(finding["line"].as_u64() > Some(1));
        assert!(finding["rule"].as_str().is_some_and(|rule| rule.contains('/')));
    }
}

#[test]
fn a_job_may_come_through_standard_input() {
    let (dir, job) = started();
    let mut child = lanewright(dir.path())
        .args(["compile", "-", "-o", "out"])
        .stdin(Stdio::piped())
        .stderr(Stdio::null())
        .spawn()
        .expect("the command starts");
    let bytes = fs::read(job).expect("the starter");
    child.stdin.take().expect("piped").write_all(&bytes).expect("it reads");
    assert_eq!(child.wait().expect("it ends").code(), Some(0));
    assert_eq!(entries(&dir.path().join("out")), ["job"]);
}

const CORNERS: &str = "name,code,lat,lon,radius\nA,,48.61,-27.41,\nB,,48.61,-27.407,\nC,,48.612,-27.407,\nC,,48.612,-27.407,\nD,,48.612,-27.41,\n7,pole,48.611,-27.4085,0.4\n";

#[test]
fn a_survey_becomes_a_clean_file_that_is_read_back() {
    let dir = tempfile::tempdir().expect("a temporary folder");
    fs::write(dir.path().join("corners.csv"), CORNERS).expect("written");
    let told = text(&run(dir.path(), &["survey", "corners.csv", "-o", "field.geojson"], 0).stderr);
    for words in ["corners.csv: CSV, 6 shapes", "4 of 5 corners read", "1 obstacle", "field/repeated-point"] {
        assert!(told.contains(words), "{told}");
    }
    let again = run(dir.path(), &["survey", "field.geojson", "-o", "-"], 0);
    assert_eq!(again.stdout, fs::read(dir.path().join("field.geojson")).expect("written"));
    assert!(text(&again.stderr).contains("nothing was changed"), "{}", text(&again.stderr));
    assert_eq!(entries(dir.path()), ["corners.csv", "field.geojson"]);
}

#[test]
fn a_survey_of_several_fields_lists_them_until_one_is_chosen() {
    let dir = tempfile::tempdir().expect("a temporary folder");
    let ring = |west: f64| {
        format!("[[{west},48.61],[{},48.61],[{},48.612],[{west},48.61]]", west + 0.003, west + 0.003)
    };
    let feature = |name: &str, west: f64| {
        format!(
            r#"{{"type":"Feature","properties":{{"name":"{name}"}},"geometry":{{"type":"Polygon","coordinates":[{}]}}}}"#,
            ring(west)
        )
    };
    let both = format!(
        r#"{{"type":"FeatureCollection","features":[{},{}]}}"#,
        feature("West Piece", -27.41),
        feature("East Piece", -27.4)
    );
    fs::write(dir.path().join("both.geojson"), both).expect("written");
    let refused = run(dir.path(), &["survey", "both.geojson", "-o", "field.geojson"], 1);
    assert!(text(&refused.stderr).contains("1 `West Piece`, 2 `East Piece`"));
    assert_eq!(entries(dir.path()), ["both.geojson"]);
    let one = run(dir.path(), &["survey", "both.geojson", "--name", "East Piece", "-o", "-"], 0);
    assert_eq!(text(&one.stdout).matches("\"kind\":\"boundary\"").count(), 1);
    let all = run(dir.path(), &["survey", "both.geojson", "--all", "-o", "-"], 0);
    assert_eq!(text(&all.stdout).matches("\"kind\":\"boundary\"").count(), 2);
    run(dir.path(), &["survey", "both.geojson", "--all", "--index", "1"], 2);
    run(dir.path(), &["survey", "both.geojson", "--where", "name"], 2);
    run(dir.path(), &["survey", "both.geojson", "--into", "no such frame"], 2);
    run(dir.path(), &["survey", "both.geojson", "-o", "-", "--format", "json"], 2);
    run(dir.path(), &["survey", "gone.geojson"], 1);
}

#[test]
fn schemas_and_rules_are_told() {
    let dir = tempfile::tempdir().expect("a temporary folder");
    for name in ["job", "manifest"] {
        let schema = run(dir.path(), &["schema", name], 0);
        let published = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("../schema/{name}.schema.json"));
        assert_eq!(schema.stdout, fs::read(published).expect("published"));
    }
    let all = text(&run(dir.path(), &["explain"], 0).stdout);
    let name = all.lines().find_map(|line| line.split_whitespace().next()).expect("a rule");
    let one = text(&run(dir.path(), &["explain", name], 0).stdout);
    assert!(one.contains(name), "{one}");
}

#[test]
fn every_command_has_its_help_manual_page_and_completion() {
    let dir = tempfile::tempdir().expect("a temporary folder");
    let overview = text(&run(dir.path(), &["--help"], 0).stdout);
    run(dir.path(), &["man", "pages"], 0);
    let pages = entries(&dir.path().join("pages"));
    let script = text(&run(dir.path(), &["completions", "bash"], 0).stdout);
    for command in ["compile", "check", "schema", "explain", "new", "completions", "man"] {
        assert!(overview.lines().any(|line| line.trim_start().starts_with(command)), "{command}");
        let help = text(&run(dir.path(), &[command, "--help"], 0).stdout);
        assert!(help.contains(&format!("Usage: lanewright {command}")), "{help}");
        assert!(pages.contains(&format!("lanewright-{command}.1")), "{pages:?}");
        assert!(script.contains(command), "{command}");
    }
}

#[test]
fn no_color_is_obeyed_and_a_pipe_gets_none() {
    let (dir, job) = started();
    fs::write(&job, "order = 3").expect("written");
    for no_color in ["", "1"] {
        let output = lanewright(dir.path())
            .args(["check", "first/job.toml"])
            .env("NO_COLOR", no_color)
            .output()
            .expect("the command starts");
        assert!(!text(&output.stderr).contains('\u{1b}'));
    }
}

#[test]
fn a_reader_that_goes_away_is_no_failure() {
    let dir = tempfile::tempdir().expect("a temporary folder");
    let mut child = lanewright(dir.path())
        .arg("explain")
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the command starts");
    drop(child.stdout.take());
    let output = child.wait_with_output().expect("it ends");
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
}

#[test]
fn what_cannot_be_written_ends_with_three() {
    let (dir, _) = started();
    fs::write(dir.path().join("file"), "").expect("written");
    run(dir.path(), &["compile", "first/job.toml", "-o", "file/out"], 3);
    fs::create_dir_all(dir.path().join("out/job")).expect("made");
    fs::write(dir.path().join("out/job/letter.txt"), "mine").expect("written");
    let foreign = run(dir.path(), &["compile", "first/job.toml", "-o", "out"], 3);
    assert!(text(&foreign.stderr).contains("not an earlier output"));
    assert_eq!(entries(&dir.path().join("out/job")), ["letter.txt"]);
}

/// A limit on the size of a file stands for the full disk: writing fails half-way through.
#[cfg(unix)]
#[test]
fn a_full_disk_leaves_nothing_half_written() {
    let (dir, _) = started();
    let script = format!(
        "trap '' XFSZ; ulimit -f 16; exec '{}' compile first/job.toml -o out",
        env!("CARGO_BIN_EXE_lanewright")
    );
    let output = Command::new("sh").args(["-c", &script]).current_dir(dir.path()).output().expect("a shell");
    assert_eq!(output.status.code(), Some(3), "{}", String::from_utf8_lossy(&output.stderr));
    assert_eq!(entries(dir.path()), ["first"]);
}
