//! Set-points that differ from zone to zone, as a grid of values (grid type 2 of ISO 11783-10).
//!
//! In: a field's treatment zones and what gives the set-points of a rate. Out: the zone whose set-points the
//! grid's layers are, the grid, and the bytes of its file: rows from south to north, each from west to
//! east, in each cell one little-endian number of four bytes for every set-point. A cell takes the rate
//! at its middle; where that lies just outside the field, that of the zone which is nearest, so that no
//! row end is left out for a cell's sake. The seed map is exact where the grid has cells.

use super::{degrees, label};
use crate::check::Rate;
use crate::geometry::{Point, region};
use crate::num;
use crate::site::{FieldSite, SiteZones};
use geo::{BoundingRect, Distance, Euclidean, Point as GeoPlace};
use lanewright_schema::quantity::{GeoPoint, Length};
use lanewright_schema::taskdata::ddi;
use lanewright_schema::taskdata::{CellSize, Grid, GridType, ProcessDataVariable, TreatmentZone};

/// A grid of more cells gets larger ones.
const MOST_CELLS: f64 = 250_000.0;
/// A billionth of a degree, the last digit of a grid's place and of its cells.
const NANODEGREE: f64 = 1e-9;

/// A grid with its file.
pub struct RateGrid {
    /// The zone whose set-points are the layers.
    pub zone: TreatmentZone,
    /// The grid.
    pub grid: Grid,
    /// The file's name and bytes.
    pub file: (String, Vec<u8>),
}

/// The grid of a field with treatment zones. `values` gives the set-points of a rate.
pub fn rate_grid(
    (site, zones): (&FieldSite, &SiteZones),
    number: u32,
    code: u8,
    cell: Length,
    values: &dyn Fn(Rate) -> Vec<ProcessDataVariable>,
) -> Option<RateGrid> {
    let cells = Cells::over(site, cell)?;
    let sown = set_points(zones, values);
    let same = |a: &ProcessDataVariable, b: &ProcessDataVariable| (a.ddi, a.element) == (b.ddi, b.element);
    // A layer needs its value for every rate.
    let layers: Vec<&ProcessDataVariable> = sown
        .first()?
        .1
        .iter()
        .filter(|value| sown.iter().all(|(_, values)| values.iter().any(|other| same(value, other))))
        .collect();
    let in_cell = |values: Option<&Vec<ProcessDataVariable>>| -> Vec<i32> {
        let of_layer = |layer: &&ProcessDataVariable| match values {
            Some(values) => values.iter().find(|value| same(value, layer)).map_or(0, |value| value.value),
            None if layer.ddi == ddi::SETPOINT_COUNT_PER_AREA.ddi => 0,
            None => layer.value,
        };
        layers.iter().map(of_layer).collect()
    };
    let in_cells: Vec<(Rate, Vec<i32>)> =
        sown.iter().map(|(rate, values)| (*rate, in_cell(Some(values)))).collect();
    let unsown = in_cell(None);
    let mut bytes = Vec::with_capacity(cells.columns as usize * cells.rows as usize * 4 * layers.len());
    for row in 0..cells.rows {
        for column in 0..cells.columns {
            let rate = rate_at((site, zones), cells.middle(site, column, row), cells.half_diagonal_m);
            let known = rate.and_then(|rate| in_cells.iter().find(|(known, _)| known.is_sown_like(&rate)));
            let values = known.map_or(&unsown, |(_, values)| values);
            bytes.extend(values.iter().flat_map(|value| value.to_le_bytes()));
        }
    }
    let name = format!("GRD{number:05}");
    let (north, east) = degrees(cells.corner);
    let mut grid = Grid::new(
        north,
        east,
        CellSize::nearest(cells.height)?,
        CellSize::nearest(cells.width)?,
        cells.columns,
        cells.rows,
        label(&name),
        GridType::Values,
    );
    grid.length_bytes = u32::try_from(bytes.len()).ok();
    grid.zone = Some(code);
    let values = layers.into_iter().map(|layer| ProcessDataVariable { value: 0, ..layer.clone() }).collect();
    let zone =
        TreatmentZone { designator: Some(label("By treatment zone")), values, ..TreatmentZone::new(code) };
    Some(RateGrid { zone, grid, file: (format!("{name}.bin"), bytes) })
}

/// The set-points of every rate at which something is sown, the closest first.
fn set_points(
    zones: &SiteZones,
    values: &dyn Fn(Rate) -> Vec<ProcessDataVariable>,
) -> Vec<(Rate, Vec<ProcessDataVariable>)> {
    let mut found: Vec<(Rate, Vec<ProcessDataVariable>)> = Vec::new();
    for rate in zones.rates().filter(|rate| rate.step > 0) {
        if !found.iter().any(|(known, _)| known.is_sown_like(&rate)) {
            found.push((rate, values(rate)));
        }
    }
    found.sort_by_key(|(rate, _)| rate.step);
    found
}

/// The rate in a cell with this middle; none outside the field.
fn rate_at((site, zones): (&FieldSite, &SiteZones), middle: Point, reach_m: f64) -> Option<Rate> {
    let inside = region::contains(&site.boundary, middle);
    let zone = zones.zone_at(middle);
    if inside && (zone.is_some() || zones.elsewhere.is_some()) {
        return zones.rate(zone);
    }
    let from = GeoPlace::from(middle);
    let off_field = if inside { 0.0 } else { Euclidean.distance(&from, &site.boundary) };
    if off_field > reach_m {
        return None;
    }
    let away = |zone: &usize| Euclidean.distance(&from, &zones.zones[*zone].ground);
    let known = (0..zones.zones.len()).filter(|&zone| !zones.zones[zone].ground.0.is_empty());
    let nearest = known.min_by(|a, b| away(a).total_cmp(&away(b)));
    // At the field's edge a zone is as near as the field itself.
    let there = nearest.filter(|zone| zones.elsewhere.is_none() || away(zone) <= off_field + 0.01);
    zones.rate(there)
}

/// Cells over a field, along meridians and parallels.
struct Cells {
    /// South-west.
    corner: GeoPoint,
    /// Of a cell, degrees.
    height: f64,
    width: f64,
    columns: u32,
    rows: u32,
    half_diagonal_m: f64,
    /// A ground point and its place, and metres a degree there.
    anchor: (Point, GeoPoint),
    metres: [f64; 2],
}

impl Cells {
    fn over(site: &FieldSite, cell: Length) -> Option<Self> {
        let around = site.boundary.bounding_rect()?;
        let side_m = cell.to_m().max(num::sqrt(around.width() * around.height() / MOST_CELLS));
        let middle = around.center();
        let place = |x: f64, y: f64| site.inverse.to_geo(Point { x, y });
        let here = place(middle.x, middle.y);
        let metres = [
            1.0 / (place(middle.x + 1.0, middle.y).longitude - here.longitude),
            1.0 / (place(middle.x, middle.y + 1.0).latitude - here.latitude),
        ];
        let up = |degrees: f64| (degrees / NANODEGREE).ceil() * NANODEGREE;
        let down = |degrees: f64| (degrees / NANODEGREE).floor() * NANODEGREE;
        let (width, height) = (up(side_m / metres[0]), up(side_m / metres[1]));
        let corners = region::rings(&site.boundary).flat_map(|ring| ring.0.iter());
        let places: Vec<GeoPoint> = corners.map(|&corner| site.inverse.to_geo(corner)).collect();
        let extent = |of: fn(&GeoPoint) -> f64| {
            let values = places.iter().map(of);
            values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)))
        };
        let ((west, east), (south, north)) = (extent(|p| p.longitude), extent(|p| p.latitude));
        let corner = GeoPoint { longitude: down(west), latitude: down(south) };
        let count = |span: f64, cell: f64| (span / cell).ceil().max(1.0) as u32;
        Some(Self {
            corner,
            height,
            width,
            columns: count(east - corner.longitude, width),
            rows: count(north - corner.latitude, height),
            half_diagonal_m: num::hypot(width * metres[0], height * metres[1]) / 2.0,
            anchor: (middle, here),
            metres,
        })
    }

    /// The ground point in the middle of a cell: its place is that of a plane about the field's middle,
    /// set right until it is where it should be.
    fn middle(&self, site: &FieldSite, column: u32, row: u32) -> Point {
        let wanted = GeoPoint {
            longitude: self.corner.longitude + (f64::from(column) + 0.5) * self.width,
            latitude: self.corner.latitude + (f64::from(row) + 0.5) * self.height,
        };
        let (mut at, mut place) = self.anchor;
        for _ in 0..3 {
            at.x += (wanted.longitude - place.longitude) * self.metres[0];
            at.y += (wanted.latitude - place.latitude) * self.metres[1];
            place = site.inverse.to_geo(at);
        }
        at
    }
}
