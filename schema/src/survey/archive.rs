//! Zipped surveys: the members of a ZIP file that hold one, each read by its own reader.
//!
//! What else lies in the file is passed over and told. Unpacking stops at a stated size, so that a
//! few kilobytes cannot become gigabytes. A ZIP file within the file is not opened.

use super::{Content, FORMATS, Refusal, SIZE_LIMIT, read_member};
use std::borrow::Cow;
use std::io::{Cursor, Read};
use zip::ZipArchive;

/// A survey has a handful of members.
const MOST_MEMBERS: usize = 10_000;

/// Reads whatever the members hold.
pub fn read(bytes: &[u8]) -> Result<Content, Refusal> {
    let mut archive = Archive::open(bytes)?;
    let names = archive.names();
    let of = |extensions: &[&str]| -> Vec<&String> {
        let wanted = |name: &&String| extensions.iter().any(|end| name.to_ascii_lowercase().ends_with(end));
        names.iter().filter(wanted).collect()
    };
    // The first kind that is there; a shapefile's table is no survey of its own.
    let kinds = [
        of(&["taskdata.xml"]),
        of(&[".shp"]),
        of(&[".gpkg"]),
        of(&[".kml"]),
        of(&[".geojson", ".json"]),
        of(&[".gpx"]),
        of(&[".gml"]),
        of(&[".tif", ".tiff"]),
        of(&[".csv", ".txt", ".nmea", ".log", ".xml"]),
    ];
    let Some(members) = kinds.iter().find(|members| !members.is_empty()) else {
        let shown: Vec<&str> = names.iter().take(6).map(String::as_str).collect();
        return Err(Refusal::new(format!("holds no survey, but `{}`", shown.join("`, `")))
            .hint(format!("zip the boundary in one of these: {FORMATS}")));
    };
    let mut whole: Option<Content> = None;
    for member in members {
        let bytes = archive.read(member)?;
        let mut beside = |name: &str| {
            let (folder, _) = member.rsplit_once('/').unwrap_or_default();
            let wanted = if folder.is_empty() { name.to_owned() } else { format!("{folder}/{name}") };
            let found = names.iter().find(|known| known.eq_ignore_ascii_case(&wanted))?;
            archive.read(found).ok()
        };
        let content = match read_member(member, &bytes, &mut beside) {
            Ok(content) => content,
            // A document of links beside others that hold the places is nothing to refuse for.
            Err(refusal) if members.len() == 1 => return Err(refusal.within(member)),
            Err(_) => continue,
        };
        whole = Some(match whole {
            None => content,
            Some(before) => before.and(content, member)?,
        });
    }
    let mut whole = whole.ok_or_else(|| Refusal::new("holds no survey that can be read"))?;
    // Places in a member are no places in the file that a person sees.
    whole.shapes.iter_mut().for_each(|shape| shape.geometry.vertices_mut(&mut |vertex| vertex.bytes = 0..0));
    let others = names.len().saturating_sub(members.len());
    if others > 0 && !members.iter().all(|member| member.to_ascii_lowercase().ends_with(".shp")) {
        whole.oddities.push(match others {
            1 => "1 other file in it is passed over".to_owned(),
            many => format!("{many} other files in it are passed over"),
        });
    }
    Ok(whole)
}

/// A ZIP file with a limit on what comes out of it.
struct Archive<'b> {
    inner: ZipArchive<Cursor<&'b [u8]>>,
    left: usize,
}

impl<'b> Archive<'b> {
    fn open(bytes: &'b [u8]) -> Result<Self, Refusal> {
        let inner = ZipArchive::new(Cursor::new(bytes))
            .map_err(|error| Refusal::new(format!("is no whole ZIP file: {error}")))?;
        if inner.len() > MOST_MEMBERS {
            return Err(Refusal::new(format!("holds {} files; it is no survey", inner.len())));
        }
        Ok(Self { inner, left: SIZE_LIMIT })
    }

    /// Names of files, without hidden ones, which systems leave behind.
    fn names(&self) -> Vec<String> {
        let of_use = |name: &String| {
            let file = name.rsplit('/').next().unwrap_or(name);
            !file.is_empty() && !file.starts_with('.')
        };
        self.inner.file_names().flatten().map(Cow::into_owned).filter(of_use).collect()
    }

    fn read(&mut self, name: &str) -> Result<Vec<u8>, Refusal> {
        let member = self
            .inner
            .by_name(name)
            .map_err(|error| Refusal::new(format!("holds `{name}`, which cannot be unpacked: {error}")))?;
        let mut bytes = Vec::new();
        member
            .take(self.left as u64 + 1)
            .read_to_end(&mut bytes)
            .map_err(|error| Refusal::new(format!("holds `{name}`, which is damaged: {error}")))?;
        self.left = self.left.checked_sub(bytes.len()).ok_or_else(|| {
            Refusal::new(format!("unpacks to more than {} MiB", SIZE_LIMIT >> 20))
                .hint("is this the file that was meant?")
        })?;
        Ok(bytes)
    }
}
