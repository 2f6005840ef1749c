//! Where jobs and the files that they name come from: the disk, and standard input as `-`.

use lanewright_schema::job::{SourceError, Sources};
use std::fs::File;
use std::io::{self, Read};

/// The disk and standard input.
#[derive(Copy, Clone, Debug)]
pub struct Disk;

impl Sources for Disk {
    fn read(&self, path: &str, limit: usize) -> Result<Vec<u8>, SourceError> {
        let bytes = if path == "-" {
            read_at_most(io::stdin().lock(), limit)
        } else {
            File::open(path).and_then(|file| read_at_most(file, limit))
        };
        match bytes {
            Ok(bytes) if bytes.len() > limit => Err(SourceError::TooLarge),
            Ok(bytes) => Ok(bytes),
            Err(error) if error.kind() == io::ErrorKind::NotFound => Err(SourceError::Missing),
            Err(error) => Err(SourceError::Unreadable(error.to_string())),
        }
    }
}

/// One byte more than the limit, so that a longer source is told from one that just fits.
fn read_at_most(source: impl Read, limit: usize) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    source.take(limit as u64 + 1).read_to_end(&mut bytes)?;
    Ok(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tells_missing_unreadable_and_too_large_apart() {
        let dir = tempfile::tempdir().expect("a temporary folder");
        let path = |name: &str| dir.path().join(name).to_string_lossy().into_owned();
        std::fs::write(path("job.toml"), "twelve bytes").expect("written");
        assert_eq!(Disk.read(&path("job.toml"), 12), Ok(b"twelve bytes".to_vec()));
        assert_eq!(Disk.read(&path("job.toml"), 11), Err(SourceError::TooLarge));
        assert_eq!(Disk.read(&path("other.toml"), 11), Err(SourceError::Missing));
        assert!(matches!(Disk.read(&path("."), 11), Err(SourceError::Unreadable(_))));
    }
}
