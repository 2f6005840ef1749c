//! The files that a compile leaves behind.
//!
//! In: all that was computed, what was read, what was found. Out: an [`Emission`]: the paths of
//! the files and what writes each. Nothing is written here; a caller hands in the writers. Every
//! coordinate is rounded once, on its way through [`numbers`].

mod grid;
pub mod manifest;
pub mod map;
pub mod numbers;
pub mod plan;
#[cfg(test)]
mod sample;
pub mod seed_files;
pub mod summary;
pub mod taskdata;
mod templates;
pub mod weed_events;
mod words;

use crate::check::Operation;
use crate::diagnostic::Finding;
use crate::pipeline::Compiled;
use lanewright_schema::manifest::{File, Manifest};
use sha2::{Digest, Sha256};
use std::io::{self, Write};
use std::sync::OnceLock;

/// A file that the job was read from.
#[derive(Copy, Clone, Debug)]
pub struct Input<'a> {
    /// Its path as the job names it.
    pub path: &'a str,
    /// Its bytes.
    pub bytes: &'a [u8],
}

/// What an emission says about the compile besides its result.
#[derive(Copy, Clone, Debug)]
pub struct About<'a> {
    /// The job file's stem.
    pub job: &'a str,
    /// Every file read.
    pub inputs: &'a [Input<'a>],
    /// Everything found, errors aside.
    pub findings: &'a [Finding],
}

/// The files of one job.
pub struct Emission<'a> {
    files: Vec<OutputFile<'a>>,
    manifest: Manifest,
}

/// One file, made when it is written.
struct OutputFile<'a> {
    path: String,
    content: Content<'a>,
    sha256: OnceLock<String>,
}

/// What writes a file's bytes, the same ones each time.
type Content<'a> = Box<dyn Fn(&mut dyn Write) -> io::Result<()> + Send + Sync + 'a>;

const MANIFEST: &str = "manifest.json";

/// The files of a compiled job.
///
/// # Panics
/// Where the plan holds numbers that are not finite, which no stage hands on.
pub fn emit<'a>(compiled: &'a Compiled, about: &About) -> Emission<'a> {
    let inputs = about
        .inputs
        .iter()
        .map(|input| File { path: input.path.into(), sha256: hexadecimal(&Sha256::digest(input.bytes)) })
        .collect();
    let document = summary::document(compiled, about);
    let plan = plan::plan(compiled).to_geojson();
    let task_data = taskdata::task_data(compiled);
    let mut emission = Emission {
        files: vec![
            bytes("TASKDATA/TASKDATA.XML", task_data.task_data),
            bytes("TASKDATA/LINKLIST.XML", task_data.link_list),
            bytes("summary.md", summary::markdown(&document)),
            bytes("summary.html", summary::html(&document, compiled)),
            bytes("map.svg", map::svg(compiled)),
            bytes("plan.geojson", plan.expect("finite numbers and plain names go into any GeoJSON")),
        ],
        manifest: manifest::manifest(compiled, about.job, inputs, about.findings),
    };
    let grids = task_data.grids.into_iter();
    emission.files.extend(grids.map(|(name, content)| bytes(&format!("TASKDATA/{name}"), content)));
    // A pass over what was sown refers to the seed map of the sowing and makes none.
    if compiled.job.order.operations.contains(&Operation::Sowing) {
        let seed_rows = seed_files::seed_rows(compiled);
        let seed_rows = seed_rows.expect("finite numbers go into any GeoJSON");
        emission.files.push(bytes("seed-rows.geojson", seed_rows));
    }
    emission
}

impl<'a> Emission<'a> {
    /// The paths in the folder, the manifest last.
    pub fn paths(&self) -> impl Iterator<Item = &str> {
        self.files.iter().map(|file| file.path.as_str()).chain([MANIFEST])
    }

    /// Adds a file that is made when it is written; `content` writes the same bytes each time.
    #[must_use]
    pub fn with(
        mut self,
        path: &str,
        content: impl Fn(&mut dyn Write) -> io::Result<()> + Send + Sync + 'a,
    ) -> Self {
        self.files.push(OutputFile {
            path: path.into(),
            content: Box::new(content),
            sha256: OnceLock::new(),
        });
        self
    }

    /// Writes the file of a path. The manifest needs the digest of every other file, so it makes
    /// those again that were not written before it.
    pub fn write(&self, path: &str, out: &mut dyn Write) -> io::Result<()> {
        if path == MANIFEST {
            return out.write_all(self.finished_manifest()?.as_bytes());
        }
        match self.files.iter().find(|file| file.path == path) {
            Some(file) => file.write(out),
            None => Err(io::Error::new(io::ErrorKind::NotFound, path.to_owned())),
        }
    }

    fn finished_manifest(&self) -> io::Result<String> {
        let mut manifest = self.manifest.clone();
        for file in &self.files {
            if file.sha256.get().is_none() {
                file.write(&mut io::sink())?;
            }
            let sha256 = file.sha256.get().cloned().unwrap_or_default();
            manifest.outputs.push(File { path: file.path.clone(), sha256 });
        }
        Ok(manifest.to_json()?)
    }
}

impl OutputFile<'_> {
    fn write(&self, out: &mut dyn Write) -> io::Result<()> {
        let mut hashing = Hashing { out, digest: Sha256::new() };
        (self.content)(&mut hashing)?;
        let sha256 = hexadecimal(&hashing.digest.finalize());
        self.sha256.get_or_init(|| sha256);
        Ok(())
    }
}

/// A file whose bytes are at hand.
fn bytes<'a>(path: &str, bytes: impl Into<Vec<u8>>) -> OutputFile<'a> {
    let bytes = bytes.into();
    OutputFile {
        path: path.into(),
        content: Box::new(move |out| out.write_all(&bytes)),
        sha256: OnceLock::new(),
    }
}

/// Hands bytes on and digests them on the way.
struct Hashing<'a> {
    out: &'a mut dyn Write,
    digest: Sha256,
}

impl Write for Hashing<'_> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let written = self.out.write(bytes)?;
        self.digest.update(&bytes[..written]);
        Ok(written)
    }
    fn flush(&mut self) -> io::Result<()> {
        self.out.flush()
    }
}

/// Two digits a byte.
pub(crate) fn hexadecimal(bytes: &[u8]) -> String {
    const DIGITS: &[u8; 16] = b"0123456789abcdef";
    let digits = bytes.iter().flat_map(|byte| [byte >> 4, byte & 15]);
    digits.map(|digit| char::from(DIGITS[usize::from(digit)])).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const ABOUT: About =
        About { job: "long-acre", inputs: &[Input { path: "long-acre.toml", bytes: b"abc" }], findings: &[] };

    fn written(emission: &Emission, path: &str) -> Vec<u8> {
        let mut bytes = Vec::new();
        emission.write(path, &mut bytes).unwrap();
        bytes
    }

    #[test]
    fn the_manifest_has_the_digest_of_every_file_whether_written_before_or_not() {
        let compiled = sample::compiled(2);
        let emission = emit(&compiled, &ABOUT).with("seeds.txt", |out| out.write_all(b"abc"));
        let early = written(&emission, MANIFEST);
        for path in emission.paths() {
            written(&emission, path);
        }
        assert_eq!(written(&emission, MANIFEST), early);
        let manifest = Manifest::from_json(std::str::from_utf8(&early).unwrap()).unwrap();
        let listed = manifest.outputs.iter().map(|file| file.path.as_str());
        assert_eq!(listed.chain([MANIFEST]).collect::<Vec<_>>(), emission.paths().collect::<Vec<_>>());
        // FIPS 180-2, appendix B.1: the digest of "abc".
        let abc = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(manifest.outputs.last().unwrap().sha256, abc);
        assert_eq!(manifest.inputs[0].sha256, abc);
    }

    #[test]
    fn twice_emitted_gives_the_same_bytes() {
        let (one, two) = (sample::compiled(3), sample::compiled(3));
        let (one, two) = (emit(&one, &ABOUT), emit(&two, &ABOUT));
        for path in one.paths() {
            assert!(written(&one, path) == written(&two, path), "{path}");
        }
    }
}
