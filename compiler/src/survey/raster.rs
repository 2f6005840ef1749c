//! A raster's cells as polygons.
//!
//! In: a grid of numbers. Out: for each number a shape with the outlines of all cells that hold it,
//! and the number as its attribute `value`; cells without data are in none. Cells that share an edge and a
//! number make one polygon. An outline keeps every corner at which more than two polygons meet, so that
//! neighbours have the very same corners, and stay neighbours in whatever frame the corners are taken to.

use crate::diagnostic::Finding;
use crate::rules;
use lanewright_schema::survey::{Geometry, Grid, Shape, Survey, Vertex};
use std::ops::Range;

/// The attribute that a cell's number becomes.
pub const VALUE: &str = "value";
/// More numbers that differ are no classes but a measurement.
const MOST_NUMBERS: usize = 64;
/// More corners in all are noise.
const MOST_CORNERS: usize = 200_000;

/// The same survey with the number of its class, from zero, in each cell of a raster; nothing where it is
/// none.
pub fn classed(survey: &Survey, classes: &[Range<f64>]) -> Option<Survey> {
    let class_of = |number: f64| classes.iter().position(|class| class.contains(&number));
    let shape = |shape: &Shape| match &shape.geometry {
        Geometry::Grid(grid) => {
            let cells = grid.cells.iter().map(|cell| cell.and_then(class_of).map(|class| class as f64));
            let grid = Grid { columns: grid.columns, ground: grid.ground, cells: cells.collect() };
            Some(Shape { attributes: shape.attributes.clone(), geometry: Geometry::Grid(grid) })
        }
        _ => None,
    };
    let shapes = survey.shapes.iter().map(shape).collect::<Option<_>>()?;
    Some(Survey {
        file: survey.file.clone(),
        format: survey.format,
        frame: survey.frame.clone(),
        shapes,
        oddities: survey.oddities.clone(),
    })
}

/// The shapes of a grid, the least number first.
pub fn shapes(grid: &Grid) -> Result<Vec<Shape>, Finding> {
    let numbers = numbers(grid)?;
    let patches = Patches::of(grid);
    let outlines = patches.outlines()?;
    let mut shapes: Vec<(f64, Vec<Vec<Vec<Vertex>>>)> = numbers.into_iter().map(|n| (n, vec![])).collect();
    for (rings, number) in outlines.into_iter().zip(&patches.numbers) {
        let at = shapes.partition_point(|(known, _)| known < number);
        let on_ground = |ring: Vec<Corner>| ring.into_iter().map(|corner| vertex(grid, corner)).collect();
        shapes[at].1.push(rings.into_iter().map(on_ground).collect());
    }
    let shape = |(number, polygons)| Shape {
        attributes: vec![(VALUE.to_owned(), written(number))],
        geometry: Geometry::Polygons(polygons),
    };
    Ok(shapes.into_iter().map(shape).collect())
}

/// The numbers that cells hold, each once, the least first.
fn numbers(grid: &Grid) -> Result<Vec<f64>, Finding> {
    let mut numbers: Vec<f64> = Vec::new();
    for &number in grid.cells.iter().flatten() {
        let at = numbers.partition_point(|&known| known < number);
        if numbers.get(at) != Some(&number) {
            numbers.insert(at, number);
        }
        if numbers.len() > MOST_NUMBERS {
            return Err(rules::finding(
                "zones/raster-numbers",
                format!("the cells of the raster hold more than {MOST_NUMBERS} different numbers"),
            )
            .with_hint("sort them into classes: `class = [{ below = 80, rate = \"80 %\" }, { from = 80, rate = \"100 %\" }]`"));
        }
    }
    Ok(numbers)
}

/// A number as it was meant where single precision has held it.
fn written(number: f64) -> String {
    let narrow = number as f32;
    if f64::from(narrow) == number { narrow.to_string() } else { number.to_string() }
}

/// A corner of cells, by column and row.
#[derive(Copy, Clone, Debug, PartialEq, Eq)]
struct Corner {
    column: usize,
    row: usize,
}

fn vertex(grid: &Grid, corner: Corner) -> Vertex {
    let [x, y] =
        grid.ground.map(|[at, column, row]| at + column * corner.column as f64 + row * corner.row as f64);
    Vertex::new(x, y)
}

/// Cells that hold one number and hang together by their edges.
struct Patches {
    columns: usize,
    rows: usize,
    /// For each cell, row by row, the number of its patch.
    of_cell: Vec<Option<u32>>,
    /// For each patch what its cells hold.
    numbers: Vec<f64>,
}

impl Patches {
    fn of(grid: &Grid) -> Self {
        let (columns, rows) = (grid.columns, grid.cells.len() / grid.columns);
        let mut patches = Self { columns, rows, of_cell: vec![None; grid.cells.len()], numbers: vec![] };
        for (first, cell) in grid.cells.iter().enumerate() {
            let Some(number) = *cell else { continue };
            if patches.of_cell[first].is_some() {
                continue;
            }
            let patch = patches.numbers.len() as u32;
            patches.numbers.push(number);
            let mut open = vec![first];
            while let Some(at) = open.pop() {
                if patches.of_cell[at].is_none() && grid.cells[at] == Some(number) {
                    patches.of_cell[at] = Some(patch);
                    open.extend(beside(at, columns, rows));
                }
            }
        }
        patches
    }

    /// The patch of a cell; none beyond the raster's edges.
    fn patch(&self, column: Option<usize>, row: Option<usize>) -> Option<u32> {
        let (column, row) = (column.filter(|&c| c < self.columns)?, row.filter(|&r| r < self.rows)?);
        self.of_cell[row * self.columns + column]
    }

    /// For each patch its rings, the outer one first.
    fn outlines(&self) -> Result<Vec<Vec<Vec<Corner>>>, Finding> {
        let mut rings: Vec<Vec<Vec<Corner>>> = vec![vec![]; self.numbers.len()];
        let mut seen = vec![false; self.of_cell.len()];
        let mut corners = 0;
        for (cell, patch) in self.of_cell.iter().enumerate() {
            let Some(patch) = *patch else { continue };
            let (column, row) = (cell % self.columns, cell / self.columns);
            let above = self.patch(Some(column), row.checked_sub(1));
            if above == Some(patch) || seen[cell] {
                continue;
            }
            let ring = self.ring(Corner { column, row }, patch, &mut seen);
            corners += ring.len();
            if corners > MOST_CORNERS {
                return Err(rules::finding(
                    "zones/raster-ragged",
                    format!("the outlines of the raster's cells have more than {MOST_CORNERS} corners"),
                )
                .with_hint("smooth it, or take larger cells, so that cells of one number lie together"));
            }
            rings[patch as usize].push(ring);
        }
        Ok(rings)
    }

    /// The ring that goes along the upper edge of the cell at this corner, its patch at the right hand.
    /// Marks each cell along whose upper edge it goes in this direction.
    fn ring(&self, start: Corner, patch: u32, seen: &mut [bool]) -> Vec<Corner> {
        let (mut at, mut heading) = (start, Heading::Right);
        let mut ring = Vec::new();
        loop {
            if heading == Heading::Right {
                seen[at.row * self.columns + at.column] = true;
            }
            at = heading.step(at);
            let [behind_left, ahead_left, ahead_right] = heading.around(at).map(|(c, r)| self.patch(c, r));
            let next = if ahead_left == Some(patch) {
                heading.to_left()
            } else if ahead_right == Some(patch) {
                heading
            } else {
                heading.to_right()
            };
            if next != heading || behind_left != ahead_left {
                ring.push(at);
            }
            heading = next;
            if (at, heading) == (start, Heading::Right) {
                return ring;
            }
        }
    }
}

/// The cells that share an edge with one.
fn beside(cell: usize, columns: usize, rows: usize) -> impl Iterator<Item = usize> {
    let (column, row) = (cell % columns, cell / columns);
    [
        (column > 0).then(|| cell - 1),
        (column + 1 < columns).then(|| cell + 1),
        (row > 0).then(|| cell - columns),
        (row + 1 < rows).then(|| cell + columns),
    ]
    .into_iter()
    .flatten()
}

/// A direction along the edges of cells: right is along a row, down to the next row.
#[derive(Copy, Clone, PartialEq, Eq)]
enum Heading {
    Right,
    Down,
    Left,
    Up,
}

/// A cell by column and row; none before the first.
type Cell = (Option<usize>, Option<usize>);

impl Heading {
    const fn to_right(self) -> Self {
        match self {
            Self::Right => Self::Down,
            Self::Down => Self::Left,
            Self::Left => Self::Up,
            Self::Up => Self::Right,
        }
    }

    const fn to_left(self) -> Self {
        self.to_right().to_right().to_right()
    }

    const fn step(self, at: Corner) -> Corner {
        let Corner { column, row } = at;
        match self {
            Self::Right => Corner { column: column + 1, row },
            Self::Down => Corner { column, row: row + 1 },
            Self::Left => Corner { column: column - 1, row },
            Self::Up => Corner { column, row: row - 1 },
        }
    }

    /// The cells about a corner as one comes to it: behind left, ahead left, ahead right.
    fn around(self, at: Corner) -> [Cell; 3] {
        let (west, east) = (at.column.checked_sub(1), Some(at.column));
        let (north, south) = (at.row.checked_sub(1), Some(at.row));
        match self {
            Self::Right => [(west, north), (east, north), (east, south)],
            Self::Down => [(east, north), (east, south), (west, south)],
            Self::Left => [(east, south), (west, south), (west, north)],
            Self::Up => [(west, south), (west, north), (east, north)],
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::check::tests::SOUND;
    use crate::check::{Pattern, check};
    use crate::geometry::region;
    use crate::read::read;
    use crate::site::{SiteZones, site};
    use geo::{Coord, LineString, MultiPolygon, Polygon, Validation};
    use lanewright_schema::job::Asked;
    use lanewright_schema::quantity::Length;
    use proptest::prelude::*;
    use std::collections::BTreeMap;
    use std::io::Cursor;
    use tiff::encoder::TiffEncoder;
    use tiff::encoder::colortype::Gray32Float;
    use tiff::tags::Tag;

    fn grid(columns: usize, cells: &[u8]) -> Grid {
        let cells = cells.iter().map(|&cell| (cell > 0).then(|| f64::from(cell))).collect();
        Grid { columns, ground: [[100.0, 2.0, 0.0], [50.0, 0.0, -2.0]], cells }
    }

    fn ground(shape: &Shape) -> MultiPolygon {
        let Geometry::Polygons(polygons) = &shape.geometry else { panic!("{shape:?}") };
        let ring = |ring: &Vec<Vertex>| -> LineString {
            ring.iter().map(|vertex| Coord { x: vertex.x, y: vertex.y }).collect::<Vec<_>>().into()
        };
        let polygon =
            |rings: &Vec<Vec<Vertex>>| Polygon::new(ring(&rings[0]), rings[1..].iter().map(ring).collect());
        MultiPolygon(polygons.iter().map(polygon).collect())
    }

    #[test]
    fn cells_of_one_number_are_one_shape() {
        let shapes = shapes(&grid(3, &[1, 1, 2, 1, 0, 2, 1, 1, 1])).unwrap();
        let values: Vec<_> = shapes.iter().map(|shape| shape.attribute("value").unwrap()).collect();
        assert_eq!(values, ["1", "2"]);
        assert_eq!(region::area(&ground(&shapes[0])), 24.0);
        let Geometry::Polygons(second) = &shapes[1].geometry else { panic!() };
        let corners: Vec<_> = second[0][0].iter().map(|vertex| (vertex.x, vertex.y)).collect();
        // The corner at (104, 48) lies on a straight edge, where the cell without data begins.
        assert_eq!(corners, [(106.0, 50.0), (106.0, 46.0), (104.0, 46.0), (104.0, 48.0), (104.0, 50.0)]);
    }

    #[test]
    fn numbers_are_written_as_they_were_meant() {
        assert_eq!([written(f64::from(0.8_f32)), written(0.8), written(90_000.0)], ["0.8", "0.8", "90000"]);
    }

    #[test]
    fn a_measurement_and_noise_are_refused() {
        let wide = Grid { cells: (0..65).map(|n| Some(f64::from(n))).collect(), ..grid(65, &[]) };
        assert_eq!(shapes(&wide).unwrap_err().rule, "zones/raster-numbers");
        let noise: Vec<u8> = (0..400 * 400).map(|n| ((n / 400 + n % 400) % 2 + 1) as u8).collect();
        assert_eq!(shapes(&grid(400, &noise)).unwrap_err().rule, "zones/raster-ragged");
    }

    /// A GeoTIFF over the sound job's field, in cells of some 10 m from its north-western corner on.
    fn file(columns: u32, cells: &[f32]) -> Vec<u8> {
        let (mut bytes, rows) = (Vec::new(), cells.len() as u32 / columns);
        let mut encoder = TiffEncoder::new(Cursor::new(&mut bytes)).unwrap();
        let mut image = encoder.new_image::<Gray32Float>(columns, rows).unwrap();
        let tags = image.encoder();
        tags.write_tag(Tag::ModelPixelScaleTag, [0.00015, 0.0001, 0.0]).unwrap();
        tags.write_tag(Tag::ModelTiepointTag, [0.0, 0.0, 0.0, -27.4101, 48.6121, 0.0]).unwrap();
        let keys: [u16; 12] = [1, 1, 0, 2, 1024, 0, 1, 2, 2048, 0, 1, 4258];
        tags.write_tag(Tag::GeoKeyDirectoryTag, keys).unwrap();
        tags.write_tag(Tag::GdalNodata, "-1").unwrap();
        image.write_data(cells).unwrap();
        bytes
    }

    /// What is told of the sound job with such zones, with the text that each finding underlines, and
    /// how closely the zones are sown.
    fn told(keys: &str, raster: Vec<u8>) -> (Vec<(Finding, String)>, Option<SiteZones>) {
        let job = format!("{SOUND}\n[field.zones]\nfile = \"soil.tif\"\n{keys}\n");
        let files: BTreeMap<String, Vec<u8>> = [("job.toml", job.clone().into_bytes()), ("soil.tif", raster)]
            .map(|(p, b)| (p.to_owned(), b))
            .into();
        let read = read(&files, "job.toml");
        let mut findings = read.findings;
        let zones = match read.asked {
            Some(Asked::Sowing(draft)) => {
                check(&draft).tell(&mut findings).and_then(|job| site(&job).tell(&mut findings))
            }
            _ => None,
        };
        let text = |finding: &Finding| {
            finding.span.as_ref().map_or(String::new(), |at| job[at.bytes.clone()].into())
        };
        let findings =
            findings.into_iter().map(|finding| (text(&finding), finding)).map(|(t, f)| (f, t)).collect();
        (findings, zones.map(|mut site| site.fields.remove(0).zones))
    }

    /// 22 by 22 cells cover the field; its west has four fifths of the seeds, its east as many as the field.
    fn halves(west: f32, east: f32) -> Vec<f32> {
        (0..22 * 22).map(|cell| if cell % 22 < 11 { west } else { east }).collect()
    }

    #[test]
    fn a_raster_gives_a_field_its_zones() {
        let (findings, zones) = told("rate = \"value\"", file(22, &halves(0.8, 1.0)));
        let zones = zones.unwrap_or_else(|| panic!("{findings:#?}")).zones;
        let rates: Vec<(&str, f64)> =
            zones.iter().map(|zone| (zone.name.as_str(), zone.rate.asked)).collect();
        assert_eq!(rates, [("80 %", 0.8), ("100 %", 1.0)]);
        let shares = zones.iter().map(|zone| region::area(&zone.ground));
        let all: f64 = shares.clone().sum();
        // The border lies 0.00155° east of the field's western edge, which is 0.003° wide.
        assert!(shares.zip([1.55, 1.45]).all(|(area, of)| (area / all - of / 3.0).abs() < 1e-4));
    }

    #[test]
    fn rasters_that_make_no_zones_are_refused_at_their_line() {
        let numbers: Vec<f32> = (0..22 * 22).map(|cell| 0.8 + 0.001 * (cell % 80) as f32).collect();
        let noise: Vec<f32> = (0..400 * 400).map(|cell| ((cell / 400 + cell) % 2) as f32 + 1.0).collect();
        let mut holed = halves(0.8, 1.0);
        holed[5 * 22 + 5] = -1.0;
        let cases = [
            (22, numbers, "zones/raster-numbers", "\"soil.tif\""),
            (400, noise, "zones/raster-ragged", "\"soil.tif\""),
            (22, holed, "zones/uncovered", "\"soil.tif\""),
            (11, halves(0.8, 0.8)[..11 * 22].to_vec(), "zones/uncovered", "\"soil.tif\""),
            (22, vec![-1.0; 22 * 22], "field/boundary-file", "\"soil.tif\""),
            (22, halves(80.0, 100.0), "zones/rate", "\"value\""),
        ];
        for (columns, cells, rule, at) in cases {
            let (findings, zones) = told("rate = \"value\"", file(columns, &cells));
            assert!(zones.is_none(), "{rule}");
            let known = findings.iter().find(|(finding, _)| finding.rule == rule);
            let (finding, text) = known.unwrap_or_else(|| panic!("{rule}: {findings:#?}"));
            assert_eq!(text, at, "{rule}");
            assert!(finding.hint.is_some(), "{rule}");
        }
    }

    /// A measurement of 484 different numbers in two classes; the lower half of the field is left unsown.
    #[test]
    fn classes_sort_a_measurement() {
        let measured: Vec<f32> = (0..22 * 22).map(|cell| cell as f32 / 4.0).collect();
        let keys = "class = [\n { from = 60.5, rate = \"0 %\" },\n { name = \"North\", below = 60.5, between_seeds = \"12 cm\" },\n]";
        let (findings, zones) = told(keys, file(22, &measured));
        let zones = zones.unwrap_or_else(|| panic!("{findings:#?}")).zones;
        let rates: Vec<(&str, f64)> =
            zones.iter().map(|zone| (zone.name.as_str(), zone.rate.asked)).collect();
        assert_eq!(rates, [("North", 0.75), ("0 %", 0.0)]);
        let areas: Vec<f64> = zones.iter().map(|zone| region::area(&zone.ground)).collect();
        // The border lies half-way, but for a tenth of a cell.
        assert!((areas[0] / areas[1] - 1.0).abs() < 0.03, "{areas:?}");
    }

    /// Hills of three where the numbers are low, drilled rows on the rest; 100 % where nothing says how close.
    #[test]
    fn classes_have_patterns_of_their_own() {
        let hills = "{ below = 0.9, pattern = \"hill\", seeds_per_hill = 3, hill_length = \"4 cm\" }";
        let keys = format!("class = [{hills}, {{ from = 0.9, pattern = \"drill\", rate = \"150 %\" }}]");
        let (findings, zones) = told(&keys, file(22, &halves(0.8, 1.0)));
        let zones = zones.unwrap_or_else(|| panic!("{findings:#?}"));
        let stands: Vec<(f64, Option<Pattern>)> = zones
            .zones
            .iter()
            .map(|zone| (f64::from(zone.rate.step) / f64::from(zones.parts), zone.rate.pattern))
            .collect();
        let hill = Pattern::Hill { seeds: 3, length: Length::cm(4.0) };
        assert_eq!(stands, [(3.0, Some(hill)), (2.0 / 3.0, Some(Pattern::Drill))]);
    }

    #[test]
    fn keys_without_sense_are_refused_at_their_line() {
        let cases = [
            (
                "class = [{ pattern = \"hill\", hill_length = \"4 cm\" }]",
                "spacing/pattern",
                "{ pattern = \"hill\", hill_length = \"4 cm\" }",
            ),
            ("class = [{ rate = \"80 %\", seeds_per_hill = 3 }]", "spacing/pattern", "3"),
            ("class = [{ between_hills = \"40 cm\" }]", "spacing/pattern", "\"40 cm\""),
            (
                "class = [{ pattern = \"hill\", seeds_per_hill = 2, hill_length = \"19 cm\" }]",
                "spacing/hill-too-long",
                "\"19 cm\"",
            ),
            ("rate = \"value\"\npattern = \"kind\"", "zones/attribute-missing", "\"kind\""),
            ("pattern = \"kind\"\nclass = [{ rate = \"80 %\" }]", "zones/rate-attribute", "\"kind\""),
            (
                "class = [{ rate = \"80 %\", from = 2, below = 1 }]",
                "zones/class",
                "{ rate = \"80 %\", from = 2, below = 1 }",
            ),
            ("class = [{ from = 1 }]", "zones/class", "{ from = 1 }"),
            (
                "class = [{ below = 2, rate = \"80 %\" }, { from = 1, rate = \"90 %\" }]",
                "zones/class",
                "{ from = 1, rate = \"90 %\" }",
            ),
            ("class = [{ rate = \"900 %\" }]", "zones/rate", "\"900 %\""),
            ("class = [{ between_seeds = \"0 cm\" }]", "job/not-above-zero", "\"0 cm\""),
            ("class = [{ rate = \"80 %\", seeds_per_ha = 90_000 }]", "spacing/stand", "90_000"),
            ("rate = \"rate\"", "zones/attribute-missing", "\"rate\""),
            ("between_seeds = \"value\"", "zones/attribute-unreadable", "\"value\""),
            ("rate = \"value\"\nclass = [{ rate = \"80 %\" }]", "zones/rate-attribute", "\"value\""),
            ("class = [{ below = 1, rate = \"80 %\" }]", "zones/uncovered", "\"soil.tif\""),
        ];
        for (keys, rule, at) in cases {
            let (findings, zones) = told(keys, file(22, &halves(0.8, 1.0)));
            assert!(zones.is_none(), "{keys}");
            let known = findings.iter().find(|(finding, _)| finding.rule == rule);
            let (_, text) = known.unwrap_or_else(|| panic!("{rule}: {findings:#?}"));
            assert_eq!(text, at, "{keys}");
        }
    }

    proptest! {
        /// Each shape is valid and holds the middles of its own cells and of no others, and its area is
        /// theirs.
        #[test]
        fn shapes_hold_their_cells(columns in 1..9_usize, cells in prop::collection::vec(0..4_u8, 9..80)) {
            let grid = grid(columns, &cells[..cells.len() / columns * columns]);
            let shapes = shapes(&grid).unwrap();
            for shape in &shapes {
                let own = |cell: &Option<f64>| cell.is_some_and(|n| Some(n.to_string().as_str()) == shape.attribute("value"));
                let ground = ground(shape);
                for polygon in &ground {
                    prop_assert!(polygon.is_valid(), "{:?}", polygon.validation_errors());
                }
                let count = grid.cells.iter().filter(|cell| own(cell)).count();
                prop_assert!((region::area(&ground) - 4.0 * count as f64).abs() < 1e-9);
                for (at, cell) in grid.cells.iter().enumerate() {
                    let middle = Coord {
                        x: 101.0 + 2.0 * (at % columns) as f64,
                        y: 49.0 - 2.0 * (at / columns) as f64,
                    };
                    prop_assert_eq!(region::contains(&ground, middle), own(cell));
                }
            }
            let held: usize = shapes.iter().map(|shape| ground(shape).0.len()).sum();
            prop_assert!(held > 0 || grid.cells.iter().all(Option::is_none));
        }

        /// Every corner of a polygon that lies on the edge of another is a corner of that one, too.
        #[test]
        fn neighbours_share_their_corners(columns in 1..7_usize, cells in prop::collection::vec(0..3_u8, 9..50)) {
            let grid = grid(columns, &cells[..cells.len() / columns * columns]);
            let grounds: Vec<MultiPolygon> = shapes(&grid).unwrap().iter().map(ground).collect();
            let rings: Vec<&LineString> = grounds.iter().flat_map(region::rings).collect();
            for corner in rings.iter().flat_map(|ring| &ring.0) {
                for edge in rings.iter().flat_map(|ring| ring.lines()) {
                    let inside = |low: f64, at: f64, high: f64| low.min(high) < at && at < low.max(high);
                    let across = edge.start.x == corner.x && edge.end.x == corner.x && inside(edge.start.y, corner.y, edge.end.y);
                    let along = edge.start.y == corner.y && edge.end.y == corner.y && inside(edge.start.x, corner.x, edge.end.x);
                    prop_assert!(!across && !along, "{corner:?} on {edge:?}");
                }
            }
        }
    }
}
