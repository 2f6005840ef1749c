//! Reads the tables of `tests/reference/`.

use serde::de::DeserializeOwned;
use std::path::PathBuf;

/// The repository's folder.
pub fn repository() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// A table of reference values. An empty list would pass every loop, so it is an error here.
pub fn table<T: DeserializeOwned>(file: &str, list: &str) -> Vec<T> {
    let path = repository().join("tests/reference").join(file);
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    let mut lists: std::collections::BTreeMap<String, toml::Value> =
        toml::from_str(&text).unwrap_or_else(|e| panic!("{}: {e}", path.display()));
    let rows: Vec<T> = lists
        .remove(list)
        .unwrap_or_else(|| panic!("{file} has no list {list}"))
        .try_into()
        .unwrap_or_else(|e| panic!("{file}, {list}: {e}"));
    assert!(!rows.is_empty(), "{file}, {list}: nothing to check");
    rows
}

/// Fails, naming the check, when two figures are farther apart than the tolerance.
#[track_caller]
pub fn close(id: &str, what: &str, found: f64, expected: f64, tolerance: f64) {
    assert!(
        (found - expected).abs() <= tolerance,
        "{id}, {what}: {found} is {:e} away from {expected}; {tolerance:e} is allowed",
        (found - expected).abs()
    );
}
