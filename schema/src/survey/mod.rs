//! Surveys as people bring them: a boundary, obstacles and ways in, in whatever format the receiver
//! or the office wrote.
//!
//! In: the bytes of a file, and a way to the files beside it. Out: a [`Survey`], the plain shapes
//! with their attributes, the frame that the file states, and what was odd about it; or the one
//! [`Problem`] that keeps it from being read. The format is told by the content, never by the name
//! alone. Nothing here computes: positions are as written, x east and y north, in whatever unit and
//! frame the file has.

mod archive;
pub mod clean;
mod csv;
mod geojson;
mod geopackage;
mod geotiff;
mod gml;
mod gpx;
mod kml;
mod nmea;
mod shapefile;
mod sqlite;
mod taskdata;
mod xml;

use crate::job::{Place, Problem, ProblemKind, SourceError};
use std::fmt;
use std::ops::Range;
use std::sync::Arc;

/// The largest survey file that is read.
pub const SIZE_LIMIT: usize = 256 << 20;

/// What a file holds, as written.
#[derive(Clone, Debug, PartialEq)]
pub struct Survey {
    /// The file, as opened.
    pub file: Arc<str>,
    /// What it was read as.
    pub format: Format,
    /// The frame of its positions, as far as the file says.
    pub frame: StatedFrame,
    /// Everything with a place, in the file's order. Never empty.
    pub shapes: Vec<Shape>,
    /// What was strange, or was passed over: one line each.
    pub oddities: Vec<String>,
}

/// A format that is read.
#[derive(Copy, Clone, Debug, PartialEq, Eq)]
pub enum Format {
    /// RFC 7946.
    GeoJson,
    /// OGC 12-007.
    Kml,
    /// `.shp` with `.dbf`, `.prj`, `.cpg`.
    Shapefile,
    /// OGC 12-128.
    GeoPackage,
    /// OGC 07-036.
    Gml,
    /// GPX 1.0 and 1.1.
    Gpx,
    /// A table of points.
    Csv,
    /// A receiver's log.
    Nmea,
    /// ISO 11783-10.
    TaskData,
    /// OGC 19-008r4.
    GeoTiff,
}

impl fmt::Display for Format {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(match self {
            Self::GeoJson => "GeoJSON",
            Self::Kml => "KML",
            Self::Shapefile => "Shapefile",
            Self::GeoPackage => "GeoPackage",
            Self::Gml => "GML",
            Self::Gpx => "GPX",
            Self::Csv => "CSV",
            Self::Nmea => "NMEA 0183",
            Self::TaskData => "ISO 11783-10 task data",
            Self::GeoTiff => "GeoTIFF",
        })
    }
}

/// The frame of a file's positions.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum StatedFrame {
    /// Longitude and latitude, WGS 84 for want of any way to say otherwise in this format.
    ByFormat,
    /// As the file names it: an EPSG code, a URN, or a description in well-known text.
    Named(String),
    /// As the file names it; `x` and `y` are its first and second axis, whichever those are.
    NamedInOwnOrder(String),
    /// Longitude and latitude by their headings, in a frame that nobody names.
    Degrees,
    /// Numbers in a frame that nobody names.
    Unnamed,
}

/// Something with a place.
#[derive(Clone, Debug, PartialEq)]
pub struct Shape {
    /// What the file says about it, in the file's order.
    pub attributes: Vec<(String, String)>,
    /// Where it is.
    pub geometry: Geometry,
}

/// Where a shape is.
#[derive(Clone, Debug, PartialEq)]
pub enum Geometry {
    /// Polygons: the outer ring, then its holes; closed or not.
    Polygons(Vec<Vec<Vec<Vertex>>>),
    /// A line, drawn or walked.
    Line(Vec<Vertex>),
    /// A line of fixes, each with the quality that its receiver gave it.
    Fixes(Vec<Fix>),
    /// A point.
    Point(Vertex),
    /// Numbers on a grid.
    Grid(Grid),
}

/// Cells with a number each.
#[derive(Clone, Debug, PartialEq)]
pub struct Grid {
    /// Cells in a row, at least one.
    pub columns: usize,
    /// `x` and `y` of the cell corner at a column and a row, as `[at 0, per column, per row]`; column 0
    /// and row 0 are those of the first cell's first corner.
    pub ground: [[f64; 3]; 2],
    /// Row by row; none where there are no data.
    pub cells: Vec<Option<f64>>,
}

/// A position as written.
#[derive(Clone, Debug, PartialEq)]
pub struct Vertex {
    /// Longitude in degrees or easting in metres.
    pub x: f64,
    /// Latitude in degrees or northing in metres.
    pub y: f64,
    /// Where it stands in the file, for formats that are text; else empty.
    pub bytes: Range<u32>,
}

/// A position with what its receiver said of it.
#[derive(Clone, Debug, PartialEq)]
pub struct Fix {
    /// Where.
    pub vertex: Vertex,
    /// The quality indicator of NMEA 0183's GGA sentence.
    pub quality: u8,
    /// Height of the antenna above mean sea level, metres.
    pub height_m: Option<f64>,
}

impl Vertex {
    /// A position with no place in a text.
    pub const fn new(x: f64, y: f64) -> Self {
        Self { x, y, bytes: 0..0 }
    }

    /// A position at its place in a text.
    pub const fn at(x: f64, y: f64, bytes: Range<usize>) -> Self {
        Self { x, y, bytes: bytes.start as u32..bytes.end as u32 }
    }
}

impl Geometry {
    /// Every vertex, to change.
    fn vertices_mut(&mut self, change: &mut dyn FnMut(&mut Vertex)) {
        match self {
            Self::Polygons(polygons) => polygons.iter_mut().flatten().flatten().for_each(change),
            Self::Line(line) => line.iter_mut().for_each(change),
            Self::Fixes(fixes) => fixes.iter_mut().for_each(|fix| change(&mut fix.vertex)),
            Self::Point(vertex) => change(vertex),
            Self::Grid(_) => {}
        }
    }
}

impl Shape {
    /// What people would call it: its name, its id and the like.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        let wanted = |key: &str| NAME_KEYS.iter().any(|known| key.eq_ignore_ascii_case(known));
        self.attributes
            .iter()
            .filter(move |(key, value)| wanted(key) && !value.is_empty())
            .map(|(_, value)| value.as_str())
    }

    /// The value of an attribute; keys are compared without case.
    pub fn attribute(&self, key: &str) -> Option<&str> {
        let found = self.attributes.iter().find(|(known, _)| known.eq_ignore_ascii_case(key));
        found.map(|(_, value)| value.as_str())
    }
}

/// Attributes that name a shape.
const NAME_KEYS: [&str; 3] = ["name", "designator", "id"];

/// A way to files: at most `limit` bytes of the one at a path.
pub type Open<'a> = dyn FnMut(&str, usize) -> Result<Vec<u8>, SourceError> + 'a;

/// A way to what lies beside a file, by name.
type Beside<'a> = dyn FnMut(&str) -> Option<Vec<u8>> + 'a;

/// Reads the survey at a path, which may be a folder with a task data set.
pub fn read(path: &str, open: &mut Open<'_>) -> Result<Survey, Problem> {
    let (path, bytes) = match open(path, SIZE_LIMIT) {
        Ok(bytes) => (path.to_owned(), bytes),
        Err(error) => task_data_folder(path, open).ok_or_else(|| unreadable(path, &error))?,
    };
    let file: Arc<str> = Arc::from(path.as_str());
    let refused = |refusal: Refusal| refusal.at(&file, bytes.len());
    let folder = path.rfind('/').map_or("", |slash| &path[..=slash]);
    let mut beside = |name: &str| open(&format!("{folder}{name}"), SIZE_LIMIT).ok();
    let content = if bytes.starts_with(b"PK") {
        archive::read(&bytes)
    } else {
        read_member(&path, &bytes, &mut beside)
    };
    let mut content = content.map_err(refused)?;
    if content.shapes.is_empty() {
        return Err(refused(Refusal::new("holds no polygon, line or point").hint(HOLDS_NOTHING)));
    }
    content.oddities.extend(misnamed(&path, content.format));
    Ok(Survey {
        file,
        format: content.format,
        frame: content.frame,
        shapes: content.shapes,
        oddities: content.oddities,
    })
}

/// The task data set of a folder, where it usually lies.
fn task_data_folder(folder: &str, open: &mut Open<'_>) -> Option<(String, Vec<u8>)> {
    let folder = folder.trim_end_matches('/');
    let names = ["TASKDATA.XML", "TASKDATA/TASKDATA.XML", "TaskData.xml", "taskdata.xml"];
    names.iter().find_map(|name| {
        let path = format!("{folder}/{name}");
        open(&path, SIZE_LIMIT).ok().map(|bytes| (path, bytes))
    })
}

const HOLDS_NOTHING: &str = "a boundary is a polygon, a walked line that ends where it began, or its corners";
const FORMATS: &str =
    "GeoJSON, KML, KMZ, GML, Shapefile, GeoPackage, GPX, CSV, NMEA 0183, ISO 11783-10 task data";

/// What a format's reader gives.
struct Content {
    format: Format,
    frame: StatedFrame,
    shapes: Vec<Shape>,
    oddities: Vec<String>,
}

impl Content {
    /// Two members of one file as one, if their frames are one.
    fn and(mut self, other: Self, member: &str) -> Result<Self, Refusal> {
        if other.frame != self.frame && !other.shapes.is_empty() && !self.shapes.is_empty() {
            return Err(Refusal::new(format!("holds surveys in different frames, one of them `{member}`"))
                .hint("unpack it, and name the one that is meant"));
        }
        self.frame = if self.shapes.is_empty() { other.frame } else { self.frame };
        self.shapes.extend(other.shapes);
        self.oddities.extend(other.oddities.into_iter().map(|oddity| format!("`{member}`: {oddity}")));
        Ok(self)
    }
}

/// So much of a file tells its format.
const SNIFFED: usize = 4096;
/// A shapefile begins with this number, most significant byte first.
const SHAPEFILE: [u8; 4] = 9994_u32.to_be_bytes();

/// Reads a file that is not packed, by what it begins with.
fn read_member(name: &str, bytes: &[u8], beside: &mut Beside<'_>) -> Result<Content, Refusal> {
    let start = &bytes[..bytes.len().min(SNIFFED)];
    let text_start = String::from_utf8_lossy(start);
    let text_start = text_start.trim_start_matches('\u{feff}').trim_start();
    if text_start.is_empty() {
        Err(Refusal::new("is empty"))
    } else if start.starts_with(&SHAPEFILE) {
        shapefile::read(name, bytes, beside)
    } else if sqlite::is_database(start) {
        geopackage::read(bytes)
    } else if geotiff::is_raster(start) {
        geotiff::read(bytes)
    } else if text_start.starts_with(['{', '[']) {
        geojson::read(utf8(bytes)?)
    } else if text_start.starts_with('<') {
        read_xml(bytes, text_start, beside)
    } else if nmea::is_log(start) {
        nmea::read(bytes)
    } else if start.contains(&0) {
        Err(Refusal::new("is in no format that is read here")
            .hint(format!("save the boundary in one of these: {FORMATS}")))
    } else {
        csv::read(bytes)
    }
}

fn read_xml(bytes: &[u8], start: &str, beside: &mut Beside<'_>) -> Result<Content, Refusal> {
    let text = utf8(bytes)?;
    match xml::root_name(start).as_deref() {
        Some("kml") => kml::read(text),
        Some("gpx") => gpx::read(text),
        Some(root) if gml::is_root(root) => gml::read(text),
        Some("ISO11783_TaskData") => taskdata::read(text, beside),
        Some(other) => Err(Refusal::new(format!("is XML with `{other}` outermost, which is not read here"))
            .hint(format!("save the boundary in one of these: {FORMATS}"))),
        None => Err(Refusal::new("begins like XML and has no element")),
    }
}

/// A name that promises another format is odd, and most often a slip.
fn misnamed(path: &str, format: Format) -> Option<String> {
    let (_, extension) = path.rsplit('/').next()?.rsplit_once('.')?;
    let extension = extension.to_ascii_lowercase();
    let promised: &[&str] = match format {
        Format::GeoJson => &["geojson", "json"],
        Format::Kml => &["kml", "kmz"],
        Format::Shapefile => &["shp"],
        Format::GeoPackage => &["gpkg"],
        Format::Gml => &["gml", "xml"],
        Format::Gpx => &["gpx"],
        Format::Nmea => &["nmea", "log", "txt", "nma", "ubx"],
        Format::TaskData => &["xml"],
        Format::GeoTiff => &["tif", "tiff"],
        Format::Csv => &["csv", "txt", "tsv", "asc", "xyz", "pnt", "dat"],
    };
    (extension != "zip" && !promised.contains(&extension.as_str()))
        .then(|| format!("the file is called `.{extension}` and holds {format}"))
}

/// Why a file cannot be read, before its name is known.
struct Refusal {
    kind: ProblemKind,
    /// Where in its text; `None` where it has none.
    place: Option<usize>,
    /// Follows the file's name.
    message: String,
    hint: Option<String>,
}

impl Refusal {
    fn new(message: impl Into<String>) -> Self {
        Self { kind: ProblemKind::BoundaryFile, place: None, message: message.into(), hint: None }
    }

    fn hint(self, hint: impl Into<String>) -> Self {
        Self { hint: Some(hint.into()), ..self }
    }

    /// The same of a member of a packed file, whose text nobody can be shown.
    fn within(self, member: &str) -> Self {
        Self { place: None, message: format!("holds `{member}`, which {}", self.message), ..self }
    }

    fn place(self, offset: usize) -> Self {
        Self { place: Some(offset), ..self }
    }

    fn at(self, file: &Arc<str>, length: usize) -> Problem {
        let bytes = |at: usize| at.min(length)..(at + 1).min(length);
        Problem {
            kind: self.kind,
            place: self.place.map(|at| Place { file: file.clone(), bytes: bytes(at) }),
            message: format!("`{file}` {}", self.message),
            label: String::new(),
            hint: self.hint,
        }
    }
}

fn utf8(bytes: &[u8]) -> Result<&str, Refusal> {
    str::from_utf8(bytes).map_err(|error| {
        let at = error.valid_up_to();
        let message = format!("is not UTF-8 text from byte {at} on");
        Refusal { kind: ProblemKind::NotUtf8, ..Refusal::new(message) }.place(at).hint("save it as UTF-8")
    })
}

/// A file that could not be had at all.
fn unreadable(path: &str, error: &SourceError) -> Problem {
    let (kind, message, hint) = match error {
        SourceError::Missing => (
            ProblemKind::MissingFile,
            format!("there is no file `{path}`"),
            Some("a path starts at the folder of the file that names it".to_owned()),
        ),
        SourceError::Unreadable(why) => (
            ProblemKind::UnreadableFile,
            format!("`{path}` cannot be read: {why}"),
            Some("name a file that you may read".to_owned()),
        ),
        SourceError::TooLarge => (
            ProblemKind::TooLarge,
            format!("`{path}` is larger than {} MiB", SIZE_LIMIT >> 20),
            Some("is this the file that was meant?".to_owned()),
        ),
    };
    Problem { kind, place: None, message, label: String::new(), hint }
}

#[cfg(test)]
mod tests;
