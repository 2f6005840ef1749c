//! How a job gets at its files: through a trait, so that reading stays free of IO.

use std::collections::BTreeMap;

/// Whatever holds the files: a disk, standard input, a map in memory.
pub trait Sources {
    /// The bytes at a path, at most `limit` of them.
    fn read(&self, path: &str, limit: usize) -> Result<Vec<u8>, SourceError>;
}

/// Why a file could not be had.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum SourceError {
    /// It is not there.
    Missing,
    /// It is there, and this is what the system says.
    Unreadable(String),
    /// It is larger than the limit.
    TooLarge,
}

impl Sources for BTreeMap<String, Vec<u8>> {
    fn read(&self, path: &str, limit: usize) -> Result<Vec<u8>, SourceError> {
        match self.get(path) {
            Some(bytes) if bytes.len() > limit => Err(SourceError::TooLarge),
            Some(bytes) => Ok(bytes.clone()),
            None => Err(SourceError::Missing),
        }
    }
}

/// A file that was read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Input {
    /// Its path as it was opened.
    pub path: String,
    /// What was in it.
    pub bytes: Vec<u8>,
}

/// The way to the files, with the memory of which were read.
pub struct Files<'s> {
    /// Where they are.
    pub sources: &'s dyn Sources,
    /// Those read so far, each once, in the order of reading.
    pub inputs: Vec<Input>,
}

impl Files<'_> {
    /// Reads a file and remembers it.
    pub fn read(&mut self, path: &str, limit: usize) -> Result<Vec<u8>, SourceError> {
        let bytes = self.sources.read(path, limit)?;
        if !self.inputs.iter().any(|input| input.path == path) {
            self.inputs.push(Input { path: path.to_owned(), bytes: bytes.clone() });
        }
        Ok(bytes)
    }
}

/// A path written in a file, seen from where that file was opened.
pub fn resolve(from_file: &str, written: &str) -> String {
    if written.starts_with('/') {
        return written.to_owned();
    }
    let folder = from_file.rfind('/').map_or("", |slash| &from_file[..=slash]);
    let mut parts: Vec<&str> = folder.split_terminator('/').collect();
    for part in written.split('/') {
        match part {
            "." => {}
            ".." if parts.last().is_some_and(|last| !["", ".", ".."].contains(last)) => {
                parts.pop();
            }
            _ => parts.push(part),
        }
    }
    if parts.is_empty() { ".".to_owned() } else { parts.join("/") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn paths_start_at_the_file_that_names_them() {
        assert_eq!(resolve("jobs/plain.toml", "machines/ox.toml"), "jobs/machines/ox.toml");
        assert_eq!(resolve("jobs/fields/a.toml", "../b.geojson"), "jobs/b.geojson");
        assert_eq!(resolve("plain.toml", "./ox.toml"), "ox.toml");
        assert_eq!(resolve("plain.toml", "../ox.toml"), "../ox.toml");
        assert_eq!(resolve("./plain.toml", "../ox.toml"), "./../ox.toml");
        assert_eq!(resolve("-", "ox.toml"), "ox.toml");
        assert_eq!(resolve("plain.toml", "."), ".");
        assert_eq!(resolve("/jobs/plain.toml", "ox.toml"), "/jobs/ox.toml");
        assert_eq!(resolve("jobs/plain.toml", "/ox.toml"), "/ox.toml");
    }
}
