//! Every demo job, compiled twice: both times the same bytes, and those that were approved under
//! `golden/<job>/`. `UPDATE_GOLDEN=1` (or `make golden`) approves what comes out now, and pins it in the
//! weeding jobs that are computed from it.

use lanewright::pipeline::{self, SeedFile, Wish};
use lanewright_schema::job::{SourceError, Sources};
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

/// The repository's folder; jobs are named from there, as `make demo` names them.
fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

struct Repository;

impl Sources for Repository {
    fn read(&self, path: &str, _limit: usize) -> Result<Vec<u8>, SourceError> {
        fs::read(root().join(path)).map_err(|error| SourceError::Unreadable(error.to_string()))
    }
}

type Files = BTreeMap<String, Vec<u8>>;

fn compile(name: &str) -> Files {
    let compilation = pipeline::compile(&Repository, &format!("demo-jobs/{name}.toml"), &Wish::default());
    let Some(compiled) = &compilation.compiled else {
        panic!("{name} is refused: {:#?}", compilation.findings)
    };
    let emission = compilation.emission(compiled, name, SeedFile::LeftOut);
    let content = |path: &str| {
        let mut bytes = Vec::new();
        emission.write(path, &mut bytes).expect("memory takes any file");
        bytes
    };
    emission.paths().map(|path| (path.to_owned(), content(path))).collect()
}

/// Writes the digest of the approved sowing into the weeding jobs that are computed from it.
fn pin(job: &str) {
    let path = root().join(format!("demo-jobs/{job}.toml"));
    let text = fs::read_to_string(&path).expect("the job can be read");
    let value = |key: &str| {
        let line = text.lines().find(|line| line.starts_with(&format!("{key} = \"")))?;
        line.split('"').nth(1)
    };
    let (Some(sown), Some(pinned)) = (value("sown"), value("sown_digest")) else { return };
    let manifest = fs::read(root().join("demo-jobs").join(sown).join("manifest.json"));
    let digest = Sha256::digest(manifest.expect("the sowing is approved before the weeding"));
    let digest: String = digest.iter().map(|byte| format!("{byte:02x}")).collect();
    fs::write(&path, text.replace(pinned, &digest)).expect("the job can be written");
}

fn approved(dir: &Path) -> Files {
    let mut files = Files::new();
    let mut folders = vec![dir.to_path_buf()];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(&folder).into_iter().flatten() {
            let path = entry.expect("the folder can be read").path();
            if path.is_dir() {
                folders.push(path);
            } else {
                let name = path.strip_prefix(dir).expect("it is within").to_string_lossy().replace('\\', "/");
                files.insert(name, fs::read(&path).expect("the file can be read"));
            }
        }
    }
    files
}

fn approve(dir: &Path, files: &Files) {
    if dir.exists() {
        fs::remove_dir_all(dir).expect("the old files can go");
    }
    for (name, bytes) in files {
        let path = dir.join(name);
        fs::create_dir_all(path.parent().expect("a file lies in a folder")).expect("the folder can be made");
        fs::write(path, bytes).expect("the file can be written");
    }
}

/// The first line in which two files part, for the message.
fn first_difference(name: &str, approved: &[u8], now: &[u8]) -> String {
    let lines = |bytes: &[u8]| -> Vec<String> {
        String::from_utf8_lossy(bytes).lines().map(|line| line.chars().take(200).collect()).collect()
    };
    let (old, new) = (lines(approved), lines(now));
    let at = old.iter().zip(&new).take_while(|(a, b)| a == b).count();
    let line = |lines: &[String]| lines.get(at).cloned().unwrap_or_default();
    format!("{name}:{}\n  approved {}\n  now      {}", at + 1, line(&old), line(&new))
}

#[test]
fn demo_jobs_give_the_approved_bytes_every_time() {
    let jobs: Vec<String> = {
        let mut jobs: Vec<String> = fs::read_dir(root().join("demo-jobs"))
            .expect("the demo jobs")
            .filter_map(|entry| {
                entry.expect("an entry").file_name().to_str()?.strip_suffix(".toml").map(str::to_owned)
            })
            .collect();
        jobs.sort();
        jobs
    };
    assert!(jobs.len() >= 4, "{jobs:?}");
    let mut differences = Vec::new();
    for job in &jobs {
        let update = std::env::var_os("UPDATE_GOLDEN").is_some();
        if update {
            pin(job);
        }
        let now = compile(job);
        assert!(now == compile(job), "{job}: two compiles differ");
        let dir = root().join("golden").join(job);
        if update {
            approve(&dir, &now);
            continue;
        }
        let approved = approved(&dir);
        for name in approved.keys().chain(now.keys().filter(|name| !approved.contains_key(*name))) {
            match (approved.get(name), now.get(name)) {
                (Some(old), Some(new)) if old == new => {}
                (Some(old), Some(new)) => {
                    differences.push(first_difference(&format!("{job}/{name}"), old, new));
                }
                (Some(_), None) => differences.push(format!("{job}/{name} is no longer written")),
                (None, _) => differences.push(format!("{job}/{name} is written and was never approved")),
            }
        }
    }
    assert!(differences.is_empty(), "run `make golden` if this is meant\n{}", differences.join("\n"));
}
