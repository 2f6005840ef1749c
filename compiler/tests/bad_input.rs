//! Bad input as a person meets it: the starter job with one slip, compiled by the command. Each is
//! refused with exit status 1, with a finding at its line and a hint, and nothing is written.

use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::{Command, Output, Stdio};

const LANEWRIGHT: &str = env!("CARGO_BIN_EXE_lanewright");

/// One slip: what is changed in the starter job, the rule that must speak, and the text in the line
/// that it must point at.
struct Slip {
    from: &'static str,
    to: &'static str,
    rule: &'static str,
    line: &'static str,
}

const fn slip(from: &'static str, to: &'static str, rule: &'static str, line: &'static str) -> Slip {
    Slip { from, to, rule, line }
}

const SLIPS: &[Slip] = &[
    slip("row_spacing =", "row_spcing =", "job/unknown-key", "row_spcing"),
    slip("tyre_width = \"18 cm\"\n", "", "job/missing-key", "[machine]"),
    slip("row_spacing = \"45 cm\"", "row_spacing = 45", "job/bare-number", "row_spacing"),
    slip("row_spacing = \"45 cm\"", "row_spacing = \"45 kg\"", "job/wrong-unit", "row_spacing"),
    slip("\"9 cm\"", "\"-9 cm\"", "job/not-above-zero", "between_seeds"),
    slip("\"9 cm\"", "\"0 cm\"", "job/not-above-zero", "between_seeds"),
    slip("\"9 cm\"", "\"0.0001 mm\"", "job/out-of-range", "between_seeds"),
    slip("stagger = 0.5", "precision = \"18 mm\"", "metering/precision", "working_speed"),
    slip("[machine]\n", "[machine]\nmetering = { highest_rate = 2 }\n", "metering/rate", "working_speed"),
    slip("\"2.7 m\"", "\"3 m\"", "machine/width-mismatch", "working_width"),
    slip(
        "corners = [\n",
        "corners = [[48.63, -27.42], [48.64, -27.42]]\nold = [\n",
        "field/few-corners",
        "corners",
    ),
    slip(
        "[48.63062456, -27.42154193]",
        "[48.62950000, -27.42300000]",
        "field/self-crossing",
        "[48.62950000, -27.42300000]",
    ),
    slip(
        "corners = [\n",
        "corners = [[48.63, -27.424], [48.63, -27.422], [48.63, -27.42]]\nold = [\n",
        "field/zero-area",
        "corners",
    ),
    slip("at = [48.63041917,", "at = [48.64041917,", "keep-out/outside", "Pole"),
    slip("\"0.3 m\"", "\"300 m\"", "keep-out/swallows-field", "[[field.keep_out]]"),
    slip("laps = 4", "laps = 40", "field/headland-too-wide", "laps = 40"),
    slip("laps = 4", "width = \"200 m\"", "field/headland-too-wide", "200 m"),
    slip("margin = \"0.5 m\"", "margin = \"80 m\"", "field/margin-leaves-nothing", "fence_margin"),
    slip("survey = \"ITRF2014@2027.3\"", "survey = \"EPSG:99999\"", "frame/unknown", "survey"),
    slip("survey = \"ITRF2014@2027.3\"", "survey = \"ITRF2014\"", "frame/epoch-missing", "survey"),
    slip("survey = \"ITRF2014@2027.3\"", "survey = \"ITRF2014@2015.0\"", "frame/epochs-differ", "survey"),
    slip("[frames]\n", "[frames]\nground = \"ITRF2014\"\n", "frame/ground-drifts", "ground"),
    slip("[frames]\n", "[frames]\nground = \"GDA2020\"\n", "frame/no-transformation", "ground"),
    slip("[frames]\n", "[frames]\nground = \"ETRF2014@2020.0\"\n", "frame/ground-epoch", "ground"),
    slip("survey = \"ITRF2014@2027.3\"", "survey = \"GDA2020\"", "frame/no-transformation", "survey"),
    slip("corners = [\n", "boundary = \"gone.geojson\"\nold = [\n", "job/missing-file", "gone.geojson"),
    slip("corners = [\n", "boundary = \".\"\nold = [\n", "job/unreadable-file", "boundary"),
    slip("\"-90 cm\", \"90 cm\"", "\"-67.5 cm\", \"90 cm\"", "machine/tracks-on-rows", "wheel_tracks"),
    slip("name = \"Ox-6\"", "name = Ox-6", "job/syntax", "Ox-6"),
];

/// A folder with the starter job in it, and the job's text.
fn started() -> (tempfile::TempDir, String) {
    let dir = tempfile::tempdir().expect("a temporary folder");
    let made = command(dir.path()).args(["new", "."]).output().expect("the command starts");
    assert!(made.status.success());
    let text = fs::read_to_string(dir.path().join("job.toml")).expect("the starter");
    (dir, text)
}

fn command(dir: &Path) -> Command {
    let mut command = Command::new(LANEWRIGHT);
    command.current_dir(dir);
    command
}

fn compile(dir: &Path, job: &str) -> Output {
    command(dir).args(["compile", job, "-o", "out", "--format", "json"]).output().expect("the command starts")
}

/// The findings of a refused compile that wrote nothing.
#[track_caller]
fn refused(dir: &Path, output: &Output) -> Vec<serde_json::Value> {
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(1), "{said}");
    assert!(!dir.join("out").exists(), "nothing is written");
    let lines = String::from_utf8(output.stdout.clone()).expect("UTF-8");
    lines.lines().map(|line| serde_json::from_str(line).expect("one JSON object")).collect()
}

/// The starter job with a slip in it. Where the boundary is replaced, the old one goes.
fn edited(good: &str, slip: &Slip) -> String {
    assert!(good.contains(slip.from), "the starter job has no `{}`", slip.from);
    let text = good.replacen(slip.from, slip.to, 1);
    match text.split_once("old = [\n") {
        Some((head, rest)) => head.to_owned() + rest.split_once("\n]\n").expect("the list ends").1,
        None => text,
    }
}

#[test]
fn every_slip_is_refused_at_its_line_with_a_hint() {
    let (dir, good) = started();
    for slip in SLIPS {
        let text = edited(&good, slip);
        fs::write(dir.path().join("job.toml"), &text).expect("written");
        let findings = refused(dir.path(), &compile(dir.path(), "job.toml"));
        let found = findings.iter().find(|finding| finding["rule"] == slip.rule);
        let found = found.unwrap_or_else(|| panic!("{}: nothing in {findings:#?}", slip.rule));
        let line = found["line"].as_u64().unwrap_or_else(|| panic!("{} has a line", slip.rule));
        let pointed_at = text.lines().nth(line as usize - 1).expect("a line of the job");
        assert!(pointed_at.contains(slip.line), "{} points at `{pointed_at}`", slip.rule);
        assert!(found["hint"].is_string(), "{} has no hint", slip.rule);
    }
}

#[test]
fn exchanged_latitude_and_longitude_are_told() {
    let (dir, good) = started();
    let swapped: String = good
        .lines()
        .map(|line| match line.trim().strip_prefix("[48.6").and_then(|rest| rest.strip_suffix("],")) {
            Some(rest) => {
                let (latitude, longitude) = rest.split_once(", ").expect("two numbers");
                format!("    [{longitude}, 48.6{latitude}],\n")
            }
            None => format!("{line}\n"),
        })
        .collect();
    fs::write(dir.path().join("job.toml"), swapped).expect("written");
    let findings = refused(dir.path(), &compile(dir.path(), "job.toml"));
    assert_eq!(findings[0]["rule"], "field/swapped");
}

#[test]
fn two_fields_of_one_name_are_told_at_the_second() {
    let (dir, good) = started();
    let at = good.find("\n[[field]]\n").expect("a field");
    fs::write(dir.path().join("job.toml"), format!("{good}{}", &good[at..])).expect("written");
    let findings = refused(dir.path(), &compile(dir.path(), "job.toml"));
    assert_eq!(findings[0]["rule"], "field/two-of-one-name");
    assert!(findings[0]["line"].as_u64() > Some(good.lines().count() as u64));
}

#[test]
fn a_strip_too_narrow_for_the_machine_is_told_with_its_width() {
    let (dir, good) = started();
    let (head, rest) = good.split_once("corners = [\n").expect("corners");
    let (_, tail) = rest.split_once("\n]\n").expect("the list ends");
    let (tail, spacing) = tail.split_once("home =").expect("a home");
    let spacing = &spacing[spacing.find("[field.spacing]").expect("a spacing")..];
    let strip = "corners = [[48.6301, -27.4242], [48.6301, -27.4202], [48.630125, -27.4202], [48.630125, -27.4242]]\n";
    fs::write(dir.path().join("job.toml"), [head, strip, tail, "headland = \"none\"\n", spacing].concat())
        .expect("written");
    let findings = refused(dir.path(), &compile(dir.path(), "job.toml"));
    assert_eq!(findings[0]["rule"], "machine/body-beyond-fence");
    assert!(
        findings[0]["message"].as_str().is_some_and(|message| message.contains("which is 1.")),
        "{findings:#?}"
    );
}

#[test]
fn bytes_that_are_no_text_and_files_that_are_empty_are_told() {
    let (dir, good) = started();
    let latin = good.replace("Sallow mast", "M\u{fc}hle").chars().map(|c| c as u8).collect::<Vec<u8>>();
    fs::write(dir.path().join("job.toml"), latin).expect("written");
    let findings = refused(dir.path(), &compile(dir.path(), "job.toml"));
    assert_eq!(findings[0]["rule"], "job/not-utf8");
    assert!(findings[0]["line"].as_u64() > Some(1));
    fs::write(dir.path().join("job.toml"), "").expect("written");
    let findings = refused(dir.path(), &compile(dir.path(), "job.toml"));
    assert!(findings.len() >= 5 && findings.iter().all(|finding| finding["rule"] == "job/missing-key"));
}

/// 200 MB are refused before they are held in memory: the command may take 512 MB of address space
/// for its code, threads and data in all.
#[cfg(target_os = "linux")]
#[test]
fn two_hundred_megabytes_are_refused_in_little_memory() {
    let (dir, _) = started();
    let file = fs::File::create(dir.path().join("job.toml")).expect("made");
    file.set_len(200_000_000).expect("a file of zeros");
    let script = format!("ulimit -v 524288; exec '{LANEWRIGHT}' compile job.toml -o out --format json");
    let output = Command::new("sh").args(["-c", &script]).current_dir(dir.path()).output().expect("a shell");
    let findings = refused(dir.path(), &output);
    assert_eq!(findings[0]["rule"], "job/too-large");
}

#[test]
fn a_bad_job_through_standard_input_is_refused_at_its_line() {
    let (dir, good) = started();
    let mut child = command(dir.path())
        .args(["compile", "-", "-o", "out", "--format", "json"])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("the command starts");
    let bad = good.replace("\"9 cm\"", "9");
    child.stdin.take().expect("piped").write_all(bad.as_bytes()).expect("it reads");
    let findings = refused(dir.path(), &child.wait_with_output().expect("it ends"));
    assert_eq!((&findings[0]["file"], &findings[0]["rule"]), (&"-".into(), &"job/bare-number".into()));
}

#[test]
fn a_folder_given_as_job_is_wrong_usage() {
    let (dir, _) = started();
    let output = compile(dir.path(), ".");
    assert_eq!(output.status.code(), Some(2));
    assert_eq!(String::from_utf8_lossy(&output.stderr), "error: . is a folder, not a job file\n");
}
