//! GeoPackages (OGC 12-128): every feature table, its geometries and its columns.
//!
//! Geometries are well-known binary (OGC 06-103r4) behind the package's own header; heights and
//! measures are left aside. Tables in other frames than the first are passed over and told. Not
//! read: curves, tiles, attribute tables without geometry.

use super::sqlite::{Database, Table, Value};
use super::{Content, Format, Geometry, Refusal, Shape, StatedFrame, Vertex};

/// Reads a package.
pub fn read(bytes: &[u8]) -> Result<Content, Refusal> {
    let database = Database::open(bytes).map_err(damaged)?;
    let table = |name: &str| database.table(name).map_err(damaged);
    let Some(layers) = table("gpkg_geometry_columns")? else {
        return Err(Refusal::new("is a database without a table of features")
            .hint("export the boundary as a GeoPackage, OGC 12-128"));
    };
    let systems = table("gpkg_spatial_ref_sys")?;
    let mut content =
        Content { format: Format::GeoPackage, frame: StatedFrame::Unnamed, shapes: vec![], oddities: vec![] };
    let many = layers.rows.len() > 1;
    for row in &layers.rows {
        let (Some(name), Some(column)) =
            (text(&layers, row, "table_name"), text(&layers, row, "column_name"))
        else {
            continue;
        };
        let frame = frame(integer(&layers, row, "srs_id"), systems.as_ref());
        if content.shapes.is_empty() {
            content.frame = frame;
        } else if content.frame != frame {
            content.oddities.push(format!("the layer `{name}` is in another frame and passed over"));
            continue;
        }
        let Some(features) = table(&name)? else { continue };
        layer(&features, &column, many.then_some(name.as_str()), &mut content);
    }
    Ok(content)
}

fn damaged(damage: &'static str) -> Refusal {
    Refusal::new(format!("cannot be read: {damage}"))
}

fn text(table: &Table, row: &[Value], column: &str) -> Option<String> {
    match row.get(table.column(column)?)? {
        Value::Text(text) => Some(text.clone()),
        _ => None,
    }
}

fn integer(table: &Table, row: &[Value], column: &str) -> Option<i64> {
    match row.get(table.column(column)?)? {
        Value::Integer(number) => Some(*number),
        _ => None,
    }
}

/// By EPSG code where the package has one, else by its description.
fn frame(id: Option<i64>, systems: Option<&Table>) -> StatedFrame {
    let Some((id, systems)) = id.zip(systems) else { return StatedFrame::Unnamed };
    let row = systems.rows.iter().find(|row| integer(systems, row, "srs_id") == Some(id));
    let Some(row) = row else { return StatedFrame::Unnamed };
    let organization = text(systems, row, "organization").unwrap_or_default();
    let code = integer(systems, row, "organization_coordsys_id").filter(|code| *code > 0);
    match (code, text(systems, row, "definition")) {
        (Some(code), _) if organization.eq_ignore_ascii_case("EPSG") => {
            StatedFrame::Named(format!("EPSG:{code}"))
        }
        (_, Some(definition)) if definition != "undefined" => StatedFrame::Named(definition),
        _ => StatedFrame::Unnamed,
    }
}

fn layer(features: &Table, geometry: &str, name: Option<&str>, content: &mut Content) {
    let Some(geometry) = features.column(geometry) else { return };
    let mut unread = 0;
    for row in &features.rows {
        let found = match row.get(geometry) {
            Some(Value::Blob(blob)) => geometries(blob),
            _ => None,
        };
        let Some(found) = found.filter(|found| !found.is_empty()) else {
            unread += 1;
            continue;
        };
        let cells = features.columns.iter().zip(row).enumerate().filter(|(column, _)| *column != geometry);
        let mut attributes: Vec<(String, String)> =
            cells.filter_map(|(_, (column, value))| Some((column.clone(), plain(value)?))).collect();
        attributes.extend(name.map(|name| ("layer".to_owned(), name.to_owned())));
        let shape = |geometry| Shape { attributes: attributes.clone(), geometry };
        content.shapes.extend(found.into_iter().map(shape));
    }
    if unread > 0 {
        let of = name.map_or(String::new(), |name| format!(" of the layer `{name}`"));
        content.oddities.push(format!("{unread} features{of} have no geometry that can be read"));
    }
}

fn plain(value: &Value) -> Option<String> {
    match value {
        Value::Null | Value::Blob(_) => None,
        Value::Integer(number) => Some(number.to_string()),
        Value::Real(number) => Some(number.to_string()),
        Value::Text(text) => Some(text.clone()),
    }
}

/// Behind `GP`, a version, flags, the frame's id and a box of a size that the flags tell, lies
/// well-known binary.
fn geometries(blob: &[u8]) -> Option<Vec<Geometry>> {
    let [b'G', b'P', _, flags, _, _, _, _, rest @ ..] = blob else { return None };
    let envelope = match (flags >> 1) & 7 {
        0 => 0,
        1 => 32,
        2 | 3 => 48,
        4 => 64,
        _ => return None,
    };
    let mut found = Found::default();
    let mut bytes = Bytes { rest: rest.get(envelope..)?, little: false, width: 2 };
    bytes.geometry(&mut found, 0)?;
    let mut all = Vec::new();
    if !found.polygons.is_empty() {
        all.push(Geometry::Polygons(found.polygons));
    }
    all.extend(found.lines.into_iter().map(Geometry::Line));
    all.extend(found.points.into_iter().map(Geometry::Point));
    Some(all)
}

#[derive(Default)]
struct Found {
    polygons: Vec<Vec<Vec<Vertex>>>,
    lines: Vec<Vec<Vertex>>,
    points: Vec<Vertex>,
}

/// Collections nest no deeper than this.
const DEEPEST: usize = 8;

struct Bytes<'b> {
    rest: &'b [u8],
    little: bool,
    /// Numbers to a position.
    width: usize,
}

impl Bytes<'_> {
    fn geometry(&mut self, found: &mut Found, depth: usize) -> Option<()> {
        if depth > DEEPEST {
            return None;
        }
        self.little = self.take::<1>()? == [1];
        let kind = self.count()?;
        // Heights and measures by thousands as the standard has it, or by flags as some write them.
        let flags = [0x8000_0000, 0x4000_0000].map(|flag| usize::from(kind & flag != 0));
        let plain = kind & 0x0fff_ffff;
        let thousands = [0, 1, 1, 2].get(plain as usize / 1000).copied()?;
        self.width = 2 + thousands.max(flags[0] + flags[1]);
        match plain % 1000 {
            1 => {
                let point = self.vertex()?;
                // An empty point is written as one of no numbers.
                found.points.extend((!point.x.is_nan()).then_some(point));
            }
            2 => found.lines.push(self.line()?),
            3 => {
                let rings = self.rings()?;
                found.polygons.extend((!rings.is_empty()).then_some(rings));
            }
            4..=7 => {
                for _ in 0..self.count()? {
                    self.geometry(found, depth + 1)?;
                }
            }
            _ => return None,
        }
        Some(())
    }

    fn rings(&mut self) -> Option<Vec<Vec<Vertex>>> {
        (0..self.count()?).map(|_| self.line()).collect()
    }

    fn line(&mut self) -> Option<Vec<Vertex>> {
        let count = self.count()? as usize;
        if count.checked_mul(8 * self.width)? > self.rest.len() {
            return None;
        }
        (0..count).map(|_| self.vertex()).collect()
    }

    fn vertex(&mut self) -> Option<Vertex> {
        let (x, y) = (self.number()?, self.number()?);
        for _ in 2..self.width {
            self.number()?;
        }
        Some(Vertex::new(x, y))
    }

    fn number(&mut self) -> Option<f64> {
        let bytes = self.take::<8>()?;
        Some(if self.little { f64::from_le_bytes(bytes) } else { f64::from_be_bytes(bytes) })
    }

    fn count(&mut self) -> Option<u32> {
        let bytes = self.take::<4>()?;
        Some(if self.little { u32::from_le_bytes(bytes) } else { u32::from_be_bytes(bytes) })
    }

    fn take<const N: usize>(&mut self) -> Option<[u8; N]> {
        let (taken, rest) = self.rest.split_first_chunk::<N>()?;
        self.rest = rest;
        Some(*taken)
    }
}
