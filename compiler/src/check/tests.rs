//! The checks through the front door: a job's text in, rendered findings out.

use super::*;
use crate::read::{Sources, read};
use std::path::Path;

/// The demo jobs, from the disk.
struct Disk;

impl Sources for Disk {
    fn read(&self, path: &str, _: usize) -> Result<Vec<u8>, crate::read::SourceError> {
        std::fs::read(path).map_err(|_| crate::read::SourceError::Missing)
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
            assert_eq!(read.job.findings, [], "{path:?}");
            let told = check(&read.job.value.unwrap());
            assert_eq!(told.findings, [], "{path:?}");
            assert!(told.value.is_some());
            jobs += 1;
        }
    }
    assert!(jobs >= 4);
}
