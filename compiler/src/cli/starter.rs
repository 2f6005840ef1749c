//! The starter job that `lanewright new` writes.

use super::folder;
use std::io;
use std::path::{Path, PathBuf};

/// The job's text.
pub const JOB: &str = include_str!("starter/job.toml");

/// Writes `dir/job.toml`, making the folder where it is missing; never overwrites.
pub fn write(dir: &Path) -> io::Result<PathBuf> {
    let path = dir.join("job.toml");
    folder::write_new(&path, JOB.as_bytes())?;
    Ok(path)
}
