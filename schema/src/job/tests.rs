//! The language as a whole: its published schema, and the examples in it.

use super::*;
use std::collections::BTreeMap;
use std::path::Path;

/// The published schema is the one that the types give; `UPDATE_SCHEMA=1` writes it.
#[test]
fn the_published_schema_is_current() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("job.schema.json");
    if std::env::var_os("UPDATE_SCHEMA").is_some() {
        std::fs::write(&path, json_schema()).unwrap();
    }
    let published = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(published == json_schema(), "run `UPDATE_SCHEMA=1 cargo test -p lanewright-schema`");
}

#[test]
fn the_published_weeding_schema_is_current() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("weeding.schema.json");
    if std::env::var_os("UPDATE_SCHEMA").is_some() {
        std::fs::write(&path, weeding_json_schema()).unwrap();
    }
    let published = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(published == weeding_json_schema(), "run `UPDATE_SCHEMA=1 cargo test -p lanewright-schema`");
}

/// A weeding job of nothing but the examples of its keys is read without a problem.
#[test]
fn the_examples_are_the_weeding_language() {
    let table =
        |keys: &[Key]| keys.iter().map(|key| format!("{} = {}\n", key.name, key.example)).collect::<String>();
    let top: String = WeedingFile::KEYS
        .iter()
        .filter(|key| !["order", "pass"].contains(&key.name))
        .map(|key| format!("{} = {}\n", key.name, key.example))
        .collect();
    let job = format!("{top}[order]\n{}[pass]\n{}", table(WeedingOrder::KEYS), table(Pass::KEYS));
    let folder =
        ["manifest.json", "plan.geojson", "seed-rows.geojson"].map(|name| format!("out/plain-field/{name}"));
    let mut files: BTreeMap<String, Vec<u8>> = folder.map(|path| (path, b"{}".to_vec())).into();
    files.insert("job.toml".to_owned(), job.into_bytes());
    files.insert("machines/ox-6-hoe.toml".to_owned(), table(Machine::KEYS).into_bytes());
    files.insert("logs/missing.csv".to_owned(), b"field,block,row,index\n".to_vec());
    files.insert("logs/spring.csv".to_owned(), b"date,mean\n2027-04-14,9\n".to_vec());
    let parsed = parse(&files, "job.toml");
    assert_eq!(parsed.problems, []);
    assert!(matches!(parsed.asked, Some(Asked::Weeding(_))));
    assert_eq!(parsed.inputs.len(), 7);
}

/// A table written from nothing but the examples of its keys is read without a problem, so every
/// example in the schema and in a hint is good.
#[test]
fn the_examples_are_the_language() {
    let table = |keys: &[Key], leave_out: &[&str]| {
        let written = keys.iter().filter(|key| !leave_out.contains(&key.name));
        written.map(|key| format!("{} = {}\n", key.name, key.example)).collect::<String>()
    };
    let mut files: BTreeMap<String, Vec<u8>> = BTreeMap::new();
    let mut add = |path: &str, text: String| files.insert(path.to_owned(), text.into_bytes());
    let inline = ["order", "frames", "base_station"];
    let tables = [
        ("order", table(Order::KEYS, &[])),
        ("frames", table(Frames::KEYS, &[])),
        ("base_station", table(BaseStation::KEYS, &[])),
    ];
    let mut job = table(JobFile::KEYS, &inline);
    for (name, text) in tables {
        job += &format!("[{name}]\n{text}");
    }
    add("job.toml", job);
    add("machines/ox-6.toml", table(Machine::KEYS, &[]));
    add("crops/chicory.toml", table(Crop::KEYS, &[]));
    add("fields/long-acre.toml", table(Field::KEYS, &[]));
    let square = r#"{"type":"Polygon","coordinates":[[[5,52],[5.1,52],[5.1,52.1],[5,52]]]}"#;
    add("fields/long-acre.geojson", square.to_owned());
    add("fields/soil.geojson", square.to_owned());
    let parsed = parse(&files, "job.toml");
    assert_eq!(parsed.problems, []);
    let Some(Asked::Sowing(draft)) = parsed.asked else { panic!("a sowing job") };
    assert!(draft.machine.is_some() && draft.field.is_some());
    assert_eq!(parsed.inputs.len(), 6);
}

/// A JSON Schema must be refused by nothing that the decoder takes; here the shapes of both are
/// compared key by key.
#[test]
fn the_schema_has_every_key_with_a_meaning_and_an_example() {
    let schema: serde_json::Value = serde_json::from_str(&json_schema()).unwrap();
    for key in JobFile::KEYS {
        let property = &schema["properties"][key.name];
        assert!(property["description"].as_str().is_some_and(|text| text.len() > 10), "{}", key.name);
        assert_eq!(property["examples"].as_array().map(Vec::len), Some(1), "{}", key.name);
    }
    assert_eq!(schema["required"].as_array().unwrap().len(), 5);
}

#[test]
fn a_file_that_is_no_job_is_told_in_few_words() {
    let files = BTreeMap::from([
        ("field.geojson".to_owned(), "{\"type\": \"Polygon\",\n".repeat(100_000).into_bytes()),
        ("marked.toml".to_owned(), "\u{feff}[ordr]\n".as_bytes().to_vec()),
    ]);
    let problems = parse(&files, "field.geojson").problems;
    assert!((1..=20).contains(&problems.len()), "{}", problems.len());
    assert!(problems[0].hint.as_ref().is_some_and(|hint| hint.contains("JSON")));
    let marked = parse(&files, "marked.toml").problems;
    let unknown = marked.iter().find(|problem| problem.kind == ProblemKind::UnknownKey).unwrap();
    assert_eq!(unknown.place.as_ref().unwrap().bytes, 4..8);
}
