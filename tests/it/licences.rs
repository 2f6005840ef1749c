//! Every package that is built in offers a licence from this list, so that the whole can be given
//! on under MIT OR Apache-2.0. Asks `cargo metadata` for the packages of this platform, offline.

use crate::reference::repository;
use std::process::Command;

/// SPDX names of licences that ask for no more than notice.
const ALLOWED: [&str; 13] = [
    "0BSD",
    "Apache-2.0",
    "Apache-2.0 WITH LLVM-exception",
    "BSD-2-Clause",
    "BSD-3-Clause",
    "BSL-1.0",
    "CC0-1.0",
    "ISC",
    "MIT",
    "MIT-0",
    "Unicode-3.0",
    "Unlicense",
    "Zlib",
];

#[test]
fn every_dependency_offers_an_allowed_licence() {
    let cargo = std::env::var("CARGO").unwrap_or_else(|_| "cargo".into());
    let out = Command::new(cargo)
        .args(["metadata", "--locked", "--offline", "--format-version", "1", "--filter-platform", &host()])
        .current_dir(repository())
        .output()
        .expect("cargo runs");
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    let metadata: serde_json::Value = serde_json::from_slice(&out.stdout).expect("JSON");
    let packages = metadata["packages"].as_array().expect("a list");
    assert!(packages.len() > 50, "only {} packages", packages.len());
    let refused: Vec<String> = packages
        .iter()
        .filter(|package| !package["license"].as_str().is_some_and(allowed))
        .map(|package| format!("{} {}: {}", package["name"], package["version"], package["license"]))
        .collect();
    assert!(refused.is_empty(), "{}", refused.join("\n"));
}

fn host() -> String {
    let rustc = std::env::var("RUSTC").unwrap_or_else(|_| "rustc".into());
    let out = Command::new(rustc).arg("-vV").output().expect("rustc runs");
    let text = String::from_utf8(out.stdout).expect("text");
    text.lines().find_map(|line| line.strip_prefix("host: ")).expect("a host line").to_owned()
}

/// SPDX expressions as they occur: alternatives within brackets, joined by AND.
/// An old-style `/` stands for OR.
fn allowed(expression: &str) -> bool {
    expression.split(" AND ").all(|part| {
        let part = part.trim().trim_start_matches('(').trim_end_matches(')');
        part.replace('/', " OR ").split(" OR ").any(|name| ALLOWED.contains(&name.trim()))
    })
}

#[test]
fn expressions_are_read_as_spdx_means_them() {
    assert!(allowed("MIT/Apache-2.0"));
    assert!(allowed("(MIT OR Apache-2.0) AND Unicode-3.0"));
    assert!(allowed("GPL-3.0-only OR MIT"));
    assert!(!allowed("MIT AND GPL-3.0-only"));
    assert!(!allowed("GPL-3.0-only"));
}
