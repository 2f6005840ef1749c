//! Output folders that come into being whole or not at all: everything is written to a temporary
//! folder beside the target, which is then renamed.

use std::fs;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

/// The file by whose presence a folder is known as an earlier output, hence may be replaced.
const MARK: &str = "manifest.json";

/// Writes `parent/name` with a file at each of the paths within it, whose bytes `content` writes,
/// replacing an earlier output of that name. On any error `parent` is as it was before.
pub fn write(
    parent: &Path,
    name: &str,
    paths: &[&str],
    content: impl Fn(&str, &mut dyn Write) -> io::Result<()>,
) -> io::Result<PathBuf> {
    let target = parent.join(name);
    refuse_foreign(&target)?;
    let made = create_missing(parent)?;
    let filled = |fresh: &Path| {
        paths.iter().try_for_each(|path| write_file(&fresh.join(path), |out| content(path, out)))
    };
    write_beside(parent, &target, filled).inspect_err(|_| {
        for dir in made.iter().rev() {
            // Only an empty folder can go this way; a folder that is in use by now stays.
            let _ = fs::remove_dir(dir);
        }
    })?;
    Ok(target)
}

/// Writes one file that is not there yet, with the folders that it needs.
pub fn write_new(path: &Path, bytes: &[u8]) -> io::Result<()> {
    write_file(path, |out| out.write_all(bytes))
}

/// Writes one file whole or not at all, replacing the one that was there.
pub fn replace(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let workshop = tempfile::Builder::new().prefix(".lanewright-").tempdir_in(folder)?;
    let fresh = workshop.path().join("new");
    write_new(&fresh, bytes)?;
    fs::rename(fresh, path)?;
    workshop.close()
}

fn write_beside(parent: &Path, target: &Path, fill: impl Fn(&Path) -> io::Result<()>) -> io::Result<()> {
    let workshop = tempfile::Builder::new().prefix(".lanewright-").tempdir_in(parent)?;
    let fresh = workshop.path().join("new");
    fs::create_dir(&fresh)?;
    fill(&fresh)?;
    let aside = workshop.path().join("old");
    let earlier = target.symlink_metadata().is_ok();
    if earlier {
        fs::rename(target, &aside)?;
    }
    if let Err(error) = fs::rename(&fresh, target) {
        if earlier {
            fs::rename(&aside, target)?;
        }
        return Err(error);
    }
    workshop.close()
}

fn write_file(path: &Path, write: impl Fn(&mut dyn Write) -> io::Result<()>) -> io::Result<()> {
    if let Some(dir) = path.parent() {
        fs::create_dir_all(dir)?;
    }
    let mut file = BufWriter::new(fs::File::create_new(path)?);
    write(&mut file)?;
    file.into_inner().map_err(io::IntoInnerError::into_error)?.sync_all()
}

/// A folder that something else made is not ours to replace.
fn refuse_foreign(target: &Path) -> io::Result<()> {
    let Ok(kind) = target.symlink_metadata() else { return Ok(()) };
    let replaceable =
        kind.is_dir() && (target.join(MARK).is_file() || fs::read_dir(target)?.next().is_none());
    if replaceable {
        return Ok(());
    }
    Err(io::Error::new(
        io::ErrorKind::AlreadyExists,
        format!("it exists and is not an earlier output (it holds no {MARK}), so it stays untouched"),
    ))
}

/// Makes the folder and its missing parents; gives those that it made, outermost first.
fn create_missing(dir: &Path) -> io::Result<Vec<PathBuf>> {
    let mut missing: Vec<PathBuf> = dir
        .ancestors()
        .take_while(|ancestor| !ancestor.as_os_str().is_empty() && !ancestor.exists())
        .map(Path::to_path_buf)
        .collect();
    missing.reverse();
    fs::create_dir_all(dir)?;
    Ok(missing)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every file holds its own path.
    fn path_itself(path: &str, out: &mut dyn Write) -> io::Result<()> {
        out.write_all(path.as_bytes())
    }

    fn names(dir: &Path) -> Vec<String> {
        let mut names: Vec<String> = fs::read_dir(dir)
            .expect("the folder is there")
            .map(|entry| entry.expect("it can be read").file_name().to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    }

    #[test]
    fn writes_folders_within_and_leaves_nothing_else() {
        let dir = tempfile::tempdir().expect("a temporary folder");
        let out = dir.path().join("deep/out");
        let target =
            write(&out, "job", &[MARK, "TASKDATA/TASKDATA.XML"], path_itself).expect("it can be written");
        assert_eq!(names(&out), ["job"]);
        assert_eq!(names(&target), ["TASKDATA", MARK]);
        let inner = fs::read_to_string(target.join("TASKDATA/TASKDATA.XML"));
        assert_eq!(inner.expect("written"), "TASKDATA/TASKDATA.XML");
    }

    #[test]
    fn replaces_an_earlier_output_whole() {
        let dir = tempfile::tempdir().expect("a temporary folder");
        write(dir.path(), "job", &[MARK, "seeds.parquet"], path_itself).expect("it can be written");
        write(dir.path(), "job", &[MARK], path_itself).expect("it can be replaced");
        assert_eq!(names(dir.path()), ["job"]);
        assert_eq!(names(&dir.path().join("job")), [MARK]);
    }

    #[test]
    fn a_failure_leaves_what_was_there() {
        let dir = tempfile::tempdir().expect("a temporary folder");
        write(dir.path(), "job", &[MARK], path_itself).expect("it can be written");
        let until_full = |path: &str, out: &mut dyn Write| match path {
            MARK => Err(io::Error::from(io::ErrorKind::StorageFull)),
            _ => path_itself(path, out),
        };
        for out in [dir.path().to_path_buf(), dir.path().join("new/out")] {
            let error = write(&out, "job", &["map.svg", MARK], until_full).expect_err("the disk is full");
            assert_eq!(error.kind(), io::ErrorKind::StorageFull);
        }
        assert_eq!(names(dir.path()), ["job"]);
        assert_eq!(names(&dir.path().join("job")), [MARK]);
    }

    #[test]
    fn a_folder_that_something_else_made_stays() {
        let dir = tempfile::tempdir().expect("a temporary folder");
        fs::create_dir(dir.path().join("photos")).expect("made");
        fs::write(dir.path().join("photos/one.jpg"), "x").expect("written");
        let error = write(dir.path(), "photos", &[MARK], path_itself).expect_err("it is not ours");
        assert_eq!(error.kind(), io::ErrorKind::AlreadyExists);
        assert_eq!(names(&dir.path().join("photos")), ["one.jpg"]);
    }
}
