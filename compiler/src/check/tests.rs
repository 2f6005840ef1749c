//! The checks through the front door: a job's text in, findings out. Every rule that reading and
//! checking can raise has a job here that raises it, and every fix that a hint shows is tried.

use super::*;
use crate::read::{SourceError, Sources, read};
use lanewright_schema::job::{Asked, Draft};
use lanewright_schema::quantity::Length;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::path::Path;

/// A job with nothing wrong in it.
pub(crate) const SOUND: &str = r#"
[order]
title = "Chicory on Lower Sallow"
issued = 2027-04-12
customer = "Aldermoor Growers' Cooperative"
farm = "Sallow Farm"
operations = ["sowing"]
hours_per_day = "10 h"

[frames]
survey = "ETRS89"

[base_station]
name = "Sallow mast"
at = [48.61, -27.4]
height = "74.2 m"

[machine]
name = "Ox-6"
rows = 6
row_spacing = "45 cm"
working_width = "2.7 m"
tool_offset = "-0.9 m"
body = [["1.6 m", "-1.5 m"], ["1.6 m", "1.5 m"], ["-1.2 m", "1.5 m"], ["-1.2 m", "-1.5 m"]]
antennas = [
    { forward = "0.5 m", right = "-1.1 m", height = "2.1 m" },
    { forward = "0.5 m", right = "1.1 m", height = "2.1 m" },
]
wheel_tracks = ["-90 cm", "90 cm"]
tyre_width = "18 cm"
turning_radius = "2.5 m"
may_reverse = true
turns_on_spot = false
working_speed = "0.9 km/h"
turning_speed = "1.1 km/h"
transit_speed = "2.5 km/h"
hopper = "2 kg"

[[crop]]
name = "chicory"
variety = "Thrennow Ivory"
depth = "1 cm"
thousand_seed_mass = "6.5 g"
germination = "94 %"
field_emergence = "85 %"

[[field]]
name = "Lower Sallow"
corners = [
    [48.610, -27.410],
    [48.610, -27.407],
    [48.612, -27.407],
    [48.612, -27.410],
]
fence_margin = "0.5 m"
crop = "chicory"
home = [48.6102, -27.4098]
headland = { laps = 2, corners = "square" }

[[field.keep_out]]
name = "pole"
at = [48.611, -27.4085]
radius = "0.4 m"
clearance = "1 m"

[field.spacing]
between_rows = "45 cm"
between_seeds = "9 cm"
stagger = 0.5
"#;

/// One slip: what is changed in the sound job, the rule that must speak, the text that it must
/// underline, and the fix that the hint shows where it shows one.
struct Slip {
    from: &'static str,
    to: &'static str,
    rule: &'static str,
    at: &'static str,
    fix: Option<&'static str>,
}

const fn slip(from: &'static str, to: &'static str, rule: &'static str, at: &'static str) -> Slip {
    Slip { from, to, rule, at, fix: None }
}

impl Slip {
    /// With the fix: what stands in the hint, and makes the job sound when it replaces `at`.
    const fn fixed_by(self, fix: &'static str) -> Self {
        Self { fix: Some(fix), ..self }
    }
}

pub(super) const BOUNDARY: &str = "corners = [
    [48.610, -27.410],
    [48.610, -27.407],
    [48.612, -27.407],
    [48.612, -27.410],
]";

const SLIPS: &[Slip] = &[
    slip("rows = 6", "rows = 6 6", "job/syntax", ""),
    slip("row_spacing = ", "row_spcing = ", "job/unknown-key", "row_spcing").fixed_by("row_spacing"),
    slip("[field.spacing]", "[field.spacings]", "job/unknown-key", "spacings").fixed_by("spacing"),
    slip("tyre_width = \"18 cm\"\n", "", "job/missing-key", "[machine]"),
    slip("[order]", "[ordre]", "job/unknown-key", "ordre").fixed_by("order"),
    slip("depth = \"1 cm\"\n", "", "job/missing-key", "[[crop]]"),
    slip("clearance = \"1 m\"", "", "job/missing-key", "[[field.keep_out]]"),
    slip("row_spacing = \"45 cm\"", "row_spacing = 45", "job/bare-number", "45").fixed_by("\"45 cm\""),
    slip("row_spacing = \"45 cm\"", "row_spacing = 0.45", "job/bare-number", "0.45").fixed_by("\"0.45 m\""),
    slip("row_spacing = \"45 cm\"", "row_spacing = \"45\"", "job/bare-number", "\"45\"")
        .fixed_by("\"45 cm\""),
    slip("\"0.9 km/h\"", "\"0.9 kg\"", "job/wrong-unit", "\"0.9 kg\"").fixed_by("\"0.9 km/h\""),
    slip("\"45 cm\"\nworking", "\"45 inch\"\nworking", "job/wrong-unit", "\"45 inch\"").fixed_by("\"45 cm\""),
    slip("\"0.9 km/h\"", "\"0,9 km/h\"", "job/wrong-value", "\"0,9 km/h\"").fixed_by("\"0.9 km/h\""),
    slip("[\"sowing\"]", "[\"soving\"]", "job/wrong-value", "\"soving\"").fixed_by("\"sowing\""),
    slip("\"Ox-6\"", "\"\"", "job/wrong-value", "\"\""),
    slip("may_reverse = true", "may_reverse = \"yes\"", "job/wrong-type", "\"yes\""),
    slip("rows = 6", "rows = -6", "job/wrong-type", "-6"),
    slip("2027-04-12", "\"12 April\"", "job/wrong-type", "\"12 April\""),
    slip("at = [48.61, -27.4]", "at = [48.61]", "job/wrong-type", "[48.61]"),
    slip("[machine]\n", "[machin]\n", "job/unknown-key", "machin").fixed_by("machine"),
    slip(BOUNDARY, "boundary = \"gone.geojson\"", "job/missing-file", "\"gone.geojson\""),
    slip(BOUNDARY, "boundary = \"locked.geojson\"", "job/unreadable-file", "\"locked.geojson\""),
    slip(BOUNDARY, "boundary = \"huge.geojson\"", "job/too-large", "\"huge.geojson\""),
    slip(BOUNDARY, "boundary = \"nothing.geojson\"", "field/boundary-file", "\"nothing.geojson\""),
    slip(BOUNDARY, "boundary = \"old-text.geojson\"", "job/not-utf8", "\u{0}"),
    slip(BOUNDARY, "boundary = \"two.geojson\"", "field/boundary-choice", "\"two.geojson\""),
    slip(
        BOUNDARY,
        "boundary = \"two.geojson\"\nboundary_name = \"West\"",
        "field/boundary-choice",
        "\"West\"",
    ),
    slip(BOUNDARY, "boundary = \"two.geojson\"\nboundary_index = 3", "field/boundary-choice", "3"),
    slip("\"10 h\"", "\"0 h\"", "job/not-above-zero", "\"0 h\""),
    slip("\"9 cm\"", "\"-9 cm\"", "job/not-above-zero", "\"-9 cm\""),
    slip("\"9 cm\"", "\"0 cm\"", "job/not-above-zero", "\"0 cm\""),
    slip("\"0.5 m\"\ncrop", "\"-0.5 m\"\ncrop", "job/negative", "\"-0.5 m\""),
    slip("\"9 cm\"", "\"0.9 mm\"", "job/out-of-range", "\"0.9 mm\""),
    slip("\"0.4 m\"", "\"1e300 m\"", "job/out-of-range", "\"1e300 m\""),
    slip("\"2.5 m\"", "\"250 m\"", "job/out-of-range", "\"250 m\""),
    slip("\"0.9 km/h\"", "\"900 km/h\"", "job/out-of-range", "\"900 km/h\""),
    slip("\"6.5 g\"", "\"6500 kg\"", "job/out-of-range", "\"6500 kg\""),
    slip("\"2 kg\"", "\"2e-9 kg\"", "job/out-of-range", "\"2e-9 kg\""),
    slip(
        "home = [48.6102, -27.4098]",
        "home = [148.6102, -27.4098]",
        "job/no-such-place",
        "[148.6102, -27.4098]",
    ),
    slip("\"10 h\"", "\"26 h\"", "order/hours", "\"26 h\"").fixed_by("\"24 h\""),
    slip("[\"sowing\"]", "[]", "order/operations", "[]").fixed_by("[\"sowing\"]"),
    slip("[\"sowing\"]", "[\"sowing\", \"sowing\"]", "order/operations", "\"sowing\""),
    slip("\"ETRS89\"", "\"ETRS98\"", "frame/unknown", "\"ETRS98\"").fixed_by("\"ETRS89\""),
    slip("\"ETRS89\"", "\"EPSG:99999\"", "frame/unknown", "\"EPSG:99999\"").fixed_by("\"EPSG:4258\""),
    slip("\"ETRS89\"", "\"EPSG:25832\"", "frame/unknown", "\"EPSG:25832\"").fixed_by("\"ETRS89\""),
    slip("\"ETRS89\"", "\"ITRF2014@spring\"", "frame/epoch", "\"ITRF2014@spring\"")
        .fixed_by("\"ITRF2014@2027.3\""),
    slip(
        "\"ETRS89\"",
        "\"ETRS89\"\nground = \"ETRF2014@2020.0\"",
        "frame/ground-epoch",
        "\"ETRF2014@2020.0\"",
    )
    .fixed_by("\"ETRF2014\""),
    slip("rows = 6", "rows = 6000", "machine/rows", "6000"),
    slip("\"2.7 m\"", "\"3 m\"", "machine/width-mismatch", "\"3 m\"").fixed_by("\"2.7 m\""),
    slip("\"-90 cm\"", "\"-67.5 cm\"", "machine/tracks-on-rows", "\"-67.5 cm\"").fixed_by("\"-45 cm\""),
    slip("\"-90 cm\"", "\"-150 cm\"", "machine/tracks-on-rows", "\"-150 cm\"").fixed_by("\"-135 cm\""),
    slip("\"18 cm\"", "\"42 cm\"", "machine/tracks-on-rows", "\"-90 cm\""),
    slip("turning_radius = \"2.5 m\"\n", "", "machine/steering", "false"),
    slip("turning_radius = \"2.5 m\"", "turning_radius = \"0 m\"", "machine/steering", "\"0 m\""),
    slip(
        "turning_radius = \"2.5 m\"",
        "turning_radius = \"2.5 m\"\nwheelbase = \"1.9 m\"\nsteering_rate = \"0 deg/s\"",
        "job/not-above-zero",
        "\"0 deg/s\"",
    ),
    slip(
        "turning_radius = \"2.5 m\"",
        "turning_radius = \"2.5 m\"\nsteering_rate = \"15 deg/s\"",
        "machine/steering",
        "\"15 deg/s\"",
    ),
    slip(", [\"-1.2 m\", \"1.5 m\"], [\"-1.2 m\", \"-1.5 m\"]]", "]", "machine/body", ""),
    slip(
        "[\"-1.2 m\", \"1.5 m\"], [\"-1.2 m\", \"-1.5 m\"]",
        "[\"-1.2 m\", \"-1.5 m\"], [\"-1.2 m\", \"1.5 m\"]",
        "machine/body",
        "",
    ),
    slip("right = \"1.1 m\"", "right = \"11 m\"", "machine/antenna-off-body", ""),
    slip("\"-0.9 m\"", "\"-1.9 m\"", "machine/rows-off-body", ""),
    slip("[machine]\n", "[machine]\nreverse_speed = \"0 km/h\"\n", "job/not-above-zero", "\"0 km/h\""),
    slip(
        "headland = { laps = 2, corners = \"square\" }",
        "headland = { laps = 2 }\nentrance = { name = \"gate\", at = [48.61, -27.409], width = \"2.9 m\" }",
        "entrance/too-narrow",
        "\"2.9 m\"",
    )
    .fixed_by("\"3 m\""),
    slip(
        "headland = { laps = 2, corners = \"square\" }",
        "headland = { laps = 2 }\nentrance = [{ name = \"gate\", at = [48.61, -27.409] }, { name = \"gate\", at = [48.611, -27.409] }]",
        "entrance/two-of-one-name",
        "\"gate\"",
    ),
    slip(
        "headland = { laps = 2, corners = \"square\" }",
        "headland = { laps = 2 }\nrefill_point = [{ name = \"trailer\", at = [48.61, -27.409] }, { name = \"trailer\", at = [48.611, -27.409] }]",
        "refill-point/two-of-one-name",
        "\"trailer\"",
    ),
    slip("[machine]\n", "[machine]\nprecision = { timing = \"-3 ms\" }\n", "job/negative", "\"-3 ms\""),
    slip("[machine]\n", "[machine]\nprecision = { tilt = \"45 deg\" }\n", "job/out-of-range", "\"45 deg\""),
    slip("depth = \"1 cm\"\n", "depth = \"1 cm\"\nplant_scatter = \"1 m\"\n", "job/out-of-range", "\"1 m\""),
    slip("\"94 %\"", "\"940 %\"", "crop/share", "\"940 %\""),
    slip("crop = \"chicory\"", "crop = \"chickory\"", "crop/unknown", "\"chickory\"").fixed_by("\"chicory\""),
    slip(
        "[[crop]]",
        "[[crop]]\nname = \"chicory\"\nvariety = \"Thrennow Ivory\"\ndepth = \"1 cm\"\nthousand_seed_mass = \"6.5 g\"\ngermination = \"94 %\"\nfield_emergence = \"85 %\"\n\n[[crop]]",
        "crop/two-of-one-name",
        "\"chicory\"",
    ),
    slip("between_rows = \"45 cm\"", "between_rows = \"50 cm\"", "spacing/not-the-machines", "\"50 cm\"")
        .fixed_by("\"45 cm\""),
    slip("stagger = 0.5", "stagger = 1.5", "spacing/stagger", "1.5").fixed_by("0.5"),
    slip("stagger = 0.5", "stagger = \"square\"", "spacing/not-square", "\"9 cm\""),
    slip("between_seeds = \"9 cm\"\n", "", "spacing/stand", "[field.spacing]"),
    slip("between_seeds = ", "seeds_per_ha = 100_000\nbetween_seeds = ", "spacing/stand", "100_000"),
    slip("between_seeds = \"9 cm\"", "seeds_per_ha = 1", "spacing/stand", "1"),
    slip("between_seeds = \"9 cm\"", "plants_per_ha = 0", "job/not-above-zero", "0"),
    slip("between_seeds = \"9 cm\"", "units_per_ha = 1.1", "spacing/no-unit", "1.1"),
    slip(
        "between_seeds = \"9 cm\"",
        "pattern = \"hill\"\nbetween_hills = \"40 cm\"",
        "spacing/pattern",
        "[field.spacing]",
    ),
    slip(
        "between_seeds = \"9 cm\"",
        "pattern = \"hill\"\nbetween_seeds = \"40 cm\"\nseeds_per_hill = 3\nhill_length = \"6 cm\"",
        "spacing/pattern",
        "\"40 cm\"",
    ),
    slip(
        "between_seeds = \"9 cm\"",
        "pattern = \"hill\"\nbetween_hills = \"40 cm\"\nseeds_per_hill = 1\nhill_length = \"6 cm\"",
        "spacing/pattern",
        "1",
    ),
    slip("between_seeds = ", "seeds_per_hill = 3\nbetween_seeds = ", "spacing/pattern", "3"),
    slip(
        "between_seeds = \"9 cm\"",
        "pattern = \"hill\"\nbetween_hills = \"40 cm\"\nseeds_per_hill = 3\nhill_length = \"0.4 m\"",
        "spacing/hill-too-long",
        "\"0.4 m\"",
    ),
    slip("stagger = 0.5", "tool_row = { rows = [7], between_seeds = \"36 cm\" }", "spacing/no-such-row", "7"),
    slip(
        "stagger = 0.5",
        "tool_row = [{ rows = [1, 6], between_seeds = \"36 cm\" }, { rows = [6], between_seeds = \"9 cm\" }]",
        "spacing/no-such-row",
        "6",
    ),
    slip("stagger = 0.5", "tool_row = { rows = [1] }", "spacing/stand", "{ rows = [1] }"),
    slip("stagger = 0.5", "tramlines = { every = 6, first = 9, rows = [2] }", "spacing/tramlines", "9"),
    slip("stagger = 0.5", "tramlines = { every = 6, rows = [] }", "spacing/tramlines", "[]"),
    slip(
        "stagger = 0.5",
        "tramlines = { every = 1, rows = [1, 2, 3, 4, 5, 6] }",
        "spacing/tramlines",
        "[1, 2, 3, 4, 5, 6]",
    ),
    slip("stagger = 0.5", "row_end_margin = \"-1 m\"", "job/negative", "\"-1 m\""),
    slip("stagger = 0.5", "precision = \"0 mm\"", "job/not-above-zero", "\"0 mm\""),
    slip("[machine]\n", "[machine]\nmetering = { highest_rate = 0 }\n", "job/not-above-zero", "0"),
    slip("[machine]\n", "[machine]\nmetering = { drop_height = \"3 m\" }\n", "job/out-of-range", "\"3 m\""),
    slip(
        "fence_margin",
        "boundary = \"two.geojson\"\nboundary_index = 1\nfence_margin",
        "field/boundary",
        "\"two.geojson\"",
    ),
    slip(BOUNDARY, "", "field/boundary", "\"Lower Sallow\""),
    slip("    [48.612, -27.407],\n    [48.612, -27.410],\n", "", "field/few-corners", ""),
    slip(
        "    [48.612, -27.407],\n    [48.612, -27.410],\n",
        "    [48.612, -27.410],\n    [48.612, -27.407],\n",
        "field/self-crossing",
        "[48.612, -27.407]",
    ),
    slip(
        "    [48.612, -27.407],\n    [48.612, -27.410],\n",
        "    [48.610, -27.405],\n    [48.610001, -27.407],\n",
        "field/zero-area",
        "",
    ),
    slip(
        "    [48.612, -27.410],\n",
        "    [48.612, -27.410],\n    [48.612, -27.410],\n",
        "field/repeated-point",
        "",
    ),
    slip(
        BOUNDARY,
        "corners = [[-27.410, 48.610], [-27.407, 48.610], [-27.407, 48.612], [-27.410, 48.612]]",
        "field/swapped",
        "",
    ),
    slip("laps = 2", "laps = 2, width = \"6 m\"", "field/headland", "\"6 m\""),
    slip("may_reverse = true", "may_reverse = false", "field/square-corners", "\"square\"")
        .fixed_by("\"round\""),
    slip("headland =", "guidance = { along_edge = 5 }\nheadland =", "field/no-such-edge", "5"),
    slip("headland =", "guidance = { along_edges = [2, 6] }\nheadland =", "field/no-such-edge", "[2, 6]"),
    slip("headland =", "guidance = {}\nheadland =", "field/guidance", "{}"),
    slip(
        "headland =",
        "guidance = { along = [[48.611, -27.41]] }\nheadland =",
        "field/short-line",
        "[[48.611, -27.41]]",
    ),
    slip(
        "headland =",
        "blocks = 2\ndividing_line = { points = [[48.609, -27.4085], [48.613, -27.4085]] }\nheadland =",
        "field/blocks",
        "2",
    ),
    slip(
        "headland =",
        "dividing_line = { points = [[48.609, -27.4085], [48.609, -27.4085]] }\nheadland =",
        "field/short-line",
        "[[48.609, -27.4085], [48.609, -27.4085]]",
    ),
    slip(
        "headland =",
        "zones = { file = \"two.geojson\" }\nheadland =",
        "zones/rate-attribute",
        "{ file = \"two.geojson\" }",
    ),
    slip(
        "headland =",
        "zones = { file = \"two.geojson\", class = [{ below = 80, rate = \"80 %\" }] }\nheadland =",
        "zones/class",
        "{ file = \"two.geojson\", class = [{ below = 80, rate = \"80 %\" }] }",
    ),
    slip(
        "headland =",
        "zones = { file = \"dot.geojson\", rate = \"rate\" }\nheadland =",
        "zones/no-polygon",
        "\"dot.geojson\"",
    ),
    slip(
        "headland =",
        "zones = { file = \"two.geojson\", rate = \"Rate_1\" }\nheadland =",
        "zones/attribute-missing",
        "\"Rate_1\"",
    ),
    slip(
        "headland =",
        "zones = { file = \"two.geojson\", rate = \"name\" }\nheadland =",
        "zones/attribute-unreadable",
        "\"name\"",
    ),
    slip(
        "headland =",
        "zones = { file = \"two.geojson\", rate = \"index\" }\nheadland =",
        "zones/rate",
        "\"index\"",
    ),
    slip(
        "headland =",
        "zones = { file = \"two.geojson\", rate = \"rate\", elsewhere = \"900 %\" }\nheadland =",
        "zones/rate",
        "\"900 %\"",
    ),
    slip(
        "headland =",
        "zones = { file = \"two.geojson\", rate = \"rate\", elsewhere = \"330 %\" }\nheadland =",
        "zones/rate-rounded",
        "\"rate\"",
    ),
    slip("radius = \"0.4 m\"", "", "keep-out/shape", "\"pole\""),
    slip(
        "at = [48.611, -27.4085]\nradius = \"0.4 m\"",
        "polygon = [[48.611, -27.4085], [48.611, -27.4084]]",
        "keep-out/few-corners",
        "",
    ),
    slip(
        "at = [48.611, -27.4085]\nradius = \"0.4 m\"",
        "polygon = [[48.611, -27.409], [48.6112, -27.4085], [48.611, -27.4085], [48.6112, -27.409]]",
        "keep-out/self-crossing",
        "[48.611, -27.4085]",
    ),
    slip(
        "at = [48.611, -27.4085]\nradius = \"0.4 m\"",
        "polygon = [[48.611, -27.409], [48.611, -27.4085], [48.611, -27.408]]",
        "keep-out/zero-area",
        "",
    ),
    slip("at = [48.611, -27.4085]", "at = [48.621, -27.4085]", "keep-out/outside", "\"pole\""),
];

/// The files beside the job.
struct Folder(BTreeMap<String, Vec<u8>>);

impl Sources for Folder {
    fn read(&self, path: &str, limit: usize) -> Result<Vec<u8>, SourceError> {
        match path {
            "locked.geojson" => Err(SourceError::Unreadable("permission denied".into())),
            "huge.geojson" => Err(SourceError::TooLarge),
            _ => self.0.read(path, limit),
        }
    }
}

fn folder(job: &str) -> Folder {
    let square = |name: &str, south: f64, rate: f64| {
        let north = south + 0.002;
        format!(
            r#"{{"type":"Feature","properties":{{"name":"{name}","rate":{rate},"index":120}},"geometry":{{"type":"Polygon","coordinates":[[[-27.41,{south}],[-27.407,{south}],[-27.407,{north}],[-27.41,{north}],[-27.41,{south}]]]}}}}"#
        )
    };
    let two = format!(
        r#"{{"type":"FeatureCollection","features":[{},{}]}}"#,
        square("North", 48.61, 4.4),
        square("South", 48.6, 4.2)
    );
    let files = [
        ("job.toml", job.as_bytes().to_vec()),
        ("two.geojson", two.into_bytes()),
        ("nothing.geojson", br#"{"type":"FeatureCollection","features":[]}"#.to_vec()),
        ("dot.geojson", br#"{"type":"Point","coordinates":[-27.409,48.611]}"#.to_vec()),
        ("old-text.geojson", b"{\"name\":\"M\xfchle\"}".to_vec()),
    ];
    Folder(files.into_iter().map(|(path, bytes)| (path.to_owned(), bytes)).collect())
}

fn sowing(asked: Option<Asked>) -> Option<Box<Draft>> {
    match asked {
        Some(Asked::Sowing(draft)) => Some(draft),
        _ => None,
    }
}

/// Everything that is found in a job, and the job if it passes.
fn told(text: &str) -> (Vec<Finding>, Option<Job>) {
    let read = read(&folder(text), "job.toml");
    let mut findings = read.findings;
    let readable = findings.is_empty();
    let job = sowing(read.asked).and_then(|draft| check(&draft).tell(&mut findings));
    (findings, job.filter(|_| readable))
}

fn edited(slip: &Slip) -> String {
    assert!(SOUND.contains(slip.from), "the sound job has no `{}`", slip.from);
    SOUND.replacen(slip.from, slip.to, 1)
}

fn underlined(job: &str, finding: &Finding) -> String {
    let Some(span) = &finding.span else { return String::new() };
    let folder = folder(job);
    let bytes = folder.0.get(&span.file).and_then(|bytes| bytes.get(span.bytes.clone())).unwrap_or_default();
    String::from_utf8_lossy(bytes).into_owned()
}

#[test]
fn the_sound_job_is_sound() {
    let (findings, job) = told(SOUND);
    assert_eq!(findings, []);
    let job = job.unwrap();
    assert_eq!(job.machine.row_offsets.len(), 6);
    assert!((job.machine.row_offsets[0].to_cm() + 112.5).abs() < 1e-9);
    assert_eq!(job.frames.output.proj, "EPSG:4258");
    assert_eq!(job.fields[0].parts[0].exterior.len(), 4);
}

#[test]
fn every_slip_is_told_at_its_place() {
    for slip in SLIPS {
        let job = edited(slip);
        let (findings, passed) = told(&job);
        let found = findings.iter().filter(|finding| finding.rule == slip.rule);
        let texts: Vec<String> = found.map(|finding| underlined(&job, finding)).collect();
        assert!(!texts.is_empty(), "{}: nothing in {findings:#?}", slip.rule);
        let right = texts.iter().any(|text| text == slip.at || slip.at.is_empty() || slip.at == "\u{0}");
        assert!(right, "{} underlines {texts:?} in {findings:#?}", slip.rule);
        let refused = findings.iter().any(|finding| finding.severity == Severity::Error);
        assert_eq!(passed.is_none(), refused, "{}", slip.rule);
        let causes: BTreeSet<&str> = findings.iter().map(|finding| finding.rule).collect();
        assert_eq!(causes.len(), 1, "one slip, one kind of finding: {causes:?}");
    }
}

#[test]
fn every_fix_that_a_hint_shows_is_good() {
    for slip in SLIPS {
        let Some(fix) = slip.fix else { continue };
        let job = edited(slip);
        let (findings, _) = told(&job);
        let finding = findings.iter().find(|finding| finding.rule == slip.rule).unwrap();
        let hint = finding.hint.clone().unwrap_or_default();
        assert!(hint.contains(fix), "{}: the hint `{hint}` does not show `{fix}`", slip.rule);
        let span = finding.span.clone().unwrap();
        let (head, tail) = (&job[..span.bytes.start], &job[span.bytes.end..]);
        let at = &job[span.bytes.clone()];
        let mended = format!("{head}{}{tail}", if slip.at == at { fix } else { at });
        let (findings, passed) = told(&mended);
        assert!(passed.is_some(), "{} `{fix}`: {findings:#?}", slip.rule);
    }
}

fn spacing_of(instead_of_distance: &str) -> Spacing {
    let (findings, job) =
        told(&SOUND.replace("between_seeds = \"9 cm\"\nstagger = 0.5", instead_of_distance));
    assert_eq!(findings, []);
    job.unwrap().fields.remove(0).spacing
}

/// Reference checks C1, C3 and C5, derived: seeds a hectare and wanted plants become distances.
#[test]
fn a_stand_becomes_a_distance() {
    let cm = |text: &str| spacing_of(text).between_seeds.to_cm();
    assert!((cm("seeds_per_ha = 123_457") - 18.0).abs() < 1e-4);
    // 94 % germinate and 85 % of these emerge.
    assert!((cm("plants_per_ha = 90_000") - 1e6 / (0.45 * 90_000.0 / 0.799)).abs() < 1e-9);
    let hills = "pattern = \"hill\"\nseeds_per_ha = 150_000\nseeds_per_hill = 3\nhill_length = \"6 cm\"";
    assert!((cm(hills) - 1e6 / (0.45 * 50_000.0)).abs() < 1e-9);
    let drilled = spacing_of("pattern = \"drill\"\nseeds_per_ha = 2_000_000");
    assert!((drilled.between_seeds.to_mm() - 1e7 / (0.45 * 2_000_000.0)).abs() < 1e-9);
    assert_eq!(drilled.pattern, Pattern::Drill);
}

/// Reference check D3, derived: rows 45 cm apart are equidistant at 51.96 cm, shifted by a half.
#[test]
fn a_stagger_decides_the_distance_where_nothing_else_does() {
    let hex = spacing_of("stagger = \"hex\"");
    assert!((hex.between_seeds.to_cm() - 45.0 * 2.0 / 3.0_f64.sqrt()).abs() < 1e-9);
    assert_eq!(hex.stagger, 0.5);
    let square = spacing_of("stagger = \"square\"");
    assert_eq!((square.between_seeds, square.stagger), (Length::cm(45.0), 0.0));
    let wide = spacing_of("stagger = \"hex\"\nbetween_seeds = \"3 m\"");
    assert!(wide.stagger > 0.2 && wide.stagger < 0.5);
}

#[test]
fn rows_are_counted_from_one_and_lanes_too() {
    let spacing = spacing_of(
        "between_seeds = \"18 cm\"\ntool_row = { rows = [6, 1], between_seeds = \"36 cm\" }\ntramlines = { every = 6, rows = [2, 5] }",
    );
    assert_eq!(spacing.stand(5).spacing, Length::cm(36.0));
    assert_eq!(spacing.stand(4).spacing, Length::cm(18.0));
    let tramlines = spacing.tramlines.unwrap();
    // Rows 2 and 5 of lanes 3 and 9.
    let unsown: Vec<i64> = (0..60).filter(|row| tramlines.holds(*row, 6)).collect();
    assert_eq!(unsown, [13, 16, 49, 52]);
}

/// What a person reads, as one document.
#[test]
fn findings_read_well() {
    let mut document = String::new();
    for slip in SLIPS {
        let job = edited(slip);
        writeln!(document, "# {}", slip.to.lines().next().unwrap_or("(left out)")).unwrap();
        for finding in told(&job).0 {
            let line = finding.span.as_ref().map_or(0, |span| {
                let text = String::from_utf8_lossy(folder(&job).0.get(&span.file).unwrap_or(&Vec::new()))
                    .into_owned();
                text.get(..span.bytes.start).map_or(0, |head| head.lines().count())
            });
            writeln!(document, "{:?} {} line {line}: {}", finding.severity, finding.rule, finding.message)
                .unwrap();
            writeln!(document, "    `{}` {}", underlined(&job, &finding).replace('\n', "⏎"), finding.label)
                .unwrap();
            writeln!(document, "    hint: {}", finding.hint.as_deref().unwrap_or("none")).unwrap();
        }
    }
    insta::assert_snapshot!(document);
}

#[test]
fn every_rule_of_reading_and_checking_has_a_slip() {
    let raised: BTreeSet<&str> = SLIPS.iter().map(|slip| slip.rule).collect();
    let own_tests = [
        "field/none",
        "field/two-of-one-name",
        "zones/beside-tool-rows",
        "zones/raster-numbers",
        "zones/raster-ragged",
    ];
    let known: BTreeSet<&str> = rules::READ.iter().chain(rules::CHECK).map(|rule| rule.name).collect();
    let tried: BTreeSet<&str> = raised.into_iter().chain(own_tests).collect();
    assert_eq!(tried, known);
}

#[test]
fn two_fields_of_one_name_are_told_at_the_second() {
    let field = SOUND.split_once("[[field]]").unwrap().1;
    let job = format!("{SOUND}\n[[field]]{field}");
    let (findings, passed) = told(&job);
    assert!(passed.is_none());
    assert_eq!(findings.len(), 1);
    assert_eq!(findings[0].rule, "field/two-of-one-name");
    assert!(findings[0].span.as_ref().unwrap().bytes.start > SOUND.len());
}

#[test]
fn a_job_without_a_field_is_told() {
    let job = format!("field = []\n{}", SOUND.split_once("[[field]]").unwrap().0);
    assert_eq!(told(&job).0.iter().map(|finding| finding.rule).collect::<Vec<_>>(), ["field/none"]);
}

#[test]
fn all_problems_come_at_once() {
    let job = SOUND
        .replace("row_spacing = \"45 cm\"", "row_spacing = 45")
        .replace("germination", "germinaton")
        .replace("\"2 kg\"", "\"2 m\"");
    let rules: Vec<&str> = told(&job).0.iter().map(|finding| finding.rule).collect();
    assert_eq!(rules, ["job/bare-number", "job/wrong-unit", "job/unknown-key"], "in the order of the lines");
    let job =
        SOUND.replace("\"2.7 m\"", "\"3 m\"").replace("\"94 %\"", "\"0 %\"").replace("laps = 2", "laps = 0");
    let rules: Vec<&str> = told(&job).0.iter().map(|finding| finding.rule).collect();
    assert_eq!(rules, ["machine/width-mismatch", "crop/share", "job/not-above-zero"]);
}

/// A slip in the text of one table hides nothing that another table means, and brings forth nothing
/// in tables that refer to it.
#[test]
fn text_and_meaning_are_told_in_one_round() {
    let job = SOUND
        .replace("row_spacing = \"45 cm\"", "row_spacing = 45")
        .replace("\"94 %\"", "\"940 %\"")
        .replace("\"10 h\"", "\"26 h\"")
        .replace("laps = 2", "laps = 0");
    let (findings, passed) = told(&job);
    let rules: Vec<&str> = findings.iter().map(|finding| finding.rule).collect();
    assert_eq!(rules, ["job/bare-number", "order/hours", "crop/share", "job/not-above-zero"]);
    assert!(passed.is_none());
    let job = SOUND.replace("\"6.5 g\"", "6.5").replace("\"9 cm\"", "\"0 cm\"");
    let rules: Vec<&str> = told(&job).0.iter().map(|finding| finding.rule).collect();
    assert_eq!(rules, ["job/bare-number", "job/not-above-zero"], "the crop is there, if not readable");
}

#[test]
fn a_field_across_the_antimeridian_is_one_polygon() {
    let job = SOUND
        .replace("-27.410", "179.999")
        .replace("-27.407", "-179.998")
        .replace("-27.4085", "-179.9999")
        .replace("-27.4098", "179.9995")
        .replace("-27.4]", "179.99]");
    let (findings, passed) = told(&job);
    assert_eq!(findings, []);
    let exterior = &passed.unwrap().fields[0].parts[0].exterior;
    assert!(exterior.iter().all(|corner| corner.longitude.abs() <= 180.0));
}

#[test]
fn a_slip_in_a_part_points_into_the_part() {
    let (head, rest) = SOUND.split_once("[machine]\n").unwrap();
    let (machine, tail) = rest.split_once("\n[[crop]]").unwrap();
    let mut folder = folder(&format!("machine = \"machines/ox.toml\"\n{head}\n[[crop]]{tail}"));
    folder.0.insert("machines/ox.toml".into(), machine.replace("\"2 kg\"", "2").into_bytes());
    let read = read(&folder, "job.toml");
    let finding = &read.findings[0];
    assert_eq!(finding.rule, "job/bare-number");
    assert_eq!(finding.span.as_ref().unwrap().file, "machines/ox.toml");
    assert_eq!(read.inputs.len(), 2);
}

#[test]
fn a_job_too_large_or_missing_is_told() {
    let mut huge = folder("");
    huge.0.insert("job.toml".into(), vec![b'#'; lanewright_schema::job::TOML_LIMIT + 1]);
    assert_eq!(read(&huge, "job.toml").findings[0].rule, "job/too-large");
    assert_eq!(read(&huge, "gone.toml").findings[0].rule, "job/missing-file");
}

/// The demo jobs, from the disk.
struct Disk;

impl Sources for Disk {
    fn read(&self, path: &str, _: usize) -> Result<Vec<u8>, SourceError> {
        std::fs::read(path).map_err(|_| SourceError::Missing)
    }
}

#[test]
fn every_demo_job_is_well() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../demo-jobs");
    let mut jobs = 0;
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|extension| extension == "toml") {
            let read = read(&Disk, path.to_str().unwrap());
            assert_eq!(read.findings, [], "{}", path.display());
            let told = match read.asked.unwrap() {
                Asked::Sowing(draft) => check(&draft),
                Asked::Weeding(_) => continue,
            };
            assert_eq!(told.findings, [], "{}", path.display());
            assert!(told.value.is_some());
            jobs += 1;
        }
    }
    assert!(jobs >= 4);
}

proptest::proptest! {
    /// Any bytes are a job or refused, never a panic.
    #[test]
    fn any_bytes_are_answered(bytes in proptest::collection::vec(proptest::num::u8::ANY, 0..400)) {
        let folder = Folder([("job.toml".to_owned(), bytes)].into());
        match read(&folder, "job.toml").asked {
            Some(Asked::Sowing(draft)) => {
                check(&draft);
            }
            Some(Asked::Weeding(file)) => {
                weeding_job(&file);
            }
            None => {}
        }
    }

    /// So is the sound job with any piece of it replaced by any text.
    #[test]
    fn any_edit_is_answered(start in 0..SOUND.len(), length in 0_usize..40, text in "[-0-9a-z\\[\\]{}=\", \n.]{0,12}") {
        let end = (start + length).min(SOUND.len());
        if SOUND.is_char_boundary(start) && SOUND.is_char_boundary(end) {
            told(&format!("{}{text}{}", &SOUND[..start], &SOUND[end..]));
        }
    }

    /// So is any ring of corners, and what passes has area.
    #[test]
    fn any_ring_is_answered(corners in proptest::collection::vec((-0.01..0.01_f64, -0.01..0.01_f64), 0..12)) {
        let list: Vec<String> =
            corners.iter().map(|(north, east)| format!("[{}, {}]", 48.61 + north, -27.4 + east)).collect();
        let (findings, passed) = told(&SOUND.replace(BOUNDARY, &format!("corners = [{}]", list.join(", "))));
        let refused = findings.iter().any(|finding| finding.severity == Severity::Error);
        proptest::prop_assert_eq!(passed.is_none(), refused);
    }
}
