//! The fence's edges by place: a grid of square cells, each with the edges near it, and for cells
//! with none a bound on how far the nearest edge is.
//!
//! In: segments that form closed rings. Out: near a point, all segments closer than a stated
//! distance; the distance of a point; whether the rings enclose it (by crossings, even and odd).

use crate::geometry::convex::{Segment, point_to_segment};
use crate::geometry::distance;
use crate::geometry::{Cells, Point};
use crate::num;

/// Edges by place.
#[derive(Clone, Debug)]
pub struct Edges {
    segments: Vec<Segment>,
    /// The part of the fence that each segment belongs to, counted from one.
    parts: Vec<u32>,
    bounds: (Point, Point),
    cells: Cells,
    /// Edges of cell `i` are `listed[starts[i]..starts[i + 1]]`: all within `listed_m` of it.
    starts: Vec<u32>,
    listed: Vec<u32>,
    listed_m: f64,
    /// Edges of row `i` for counting crossings, by the same scheme.
    row_starts: Vec<u32>,
    row_listed: Vec<u32>,
    /// Cells to the nearest cell with a listed edge, counted as a chess king moves.
    king_moves: Vec<u16>,
    /// No edge is nearer to the middle of cell `i` than `clear_m[i]`.
    clear_m: Vec<f64>,
}

/// The edges near a point.
pub struct Near<'a> {
    segments: &'a [Segment],
    listed: &'a [u32],
    /// Every edge that is not listed is farther from the point than this, metres.
    pub beyond: f64,
}

impl Near<'_> {
    /// The listed edges.
    pub fn edges(&self) -> impl Iterator<Item = Segment> + '_ {
        self.listed.iter().map(|&index| self.segments[index as usize])
    }
}

impl Edges {
    /// Sorts the segments of each part for machines that reach so far from their reference point.
    pub fn new(parts: impl Iterator<Item = Vec<Segment>>, reach_m: f64) -> Self {
        /// More cells than this cost more to fill than they save.
        const MOST_CELLS: f64 = 60_000.0;
        /// How far beyond the machine's reach edges are listed, metres.
        const MARGIN_M: f64 = 3.5;
        let (mut segments, mut part_of) = (Vec::new(), Vec::new());
        for (part, mut edges) in (1..).zip(parts) {
            part_of.extend(std::iter::repeat_n(part, edges.len()));
            segments.append(&mut edges);
        }
        let listed_m = reach_m + MARGIN_M;
        let border = listed_m + reach_m;
        let (low, high) = bounds(&segments);
        let around = (
            Point { x: low.x - border, y: low.y - border },
            Point { x: high.x + border, y: high.y + border },
        );
        let area_m2 = (around.1.x - around.0.x) * (around.1.y - around.0.y);
        let cell_m = num::sqrt(area_m2 / MOST_CELLS).max(0.5 * reach_m).max(1.0);
        let mut edges = Self {
            segments,
            parts: part_of,
            bounds: (low, high),
            cells: Cells::covering(around, cell_m),
            starts: Vec::new(),
            listed: Vec::new(),
            listed_m,
            row_starts: Vec::new(),
            row_listed: Vec::new(),
            king_moves: Vec::new(),
            clear_m: Vec::new(),
        };
        (edges.starts, edges.listed) = edges.list_by_cell();
        (edges.row_starts, edges.row_listed) = edges.list_by_row();
        edges.king_moves =
            edges.cells.king_moves(|cell| !span(&edges.starts, &edges.listed, cell).is_empty());
        edges.clear_m = (0..edges.cells.count())
            .map(|cell| edges.distance(edges.cells.centre(cell), f64::INFINITY))
            .collect();
        edges
    }

    /// The corners of the smallest upright rectangle round all segments.
    pub const fn bounds(&self) -> (Point, Point) {
        self.bounds
    }

    /// The edges near a point; none, and nothing known beyond, outside the grid.
    pub fn near(&self, point: Point) -> Near<'_> {
        let Some(cell) = self.cells.at(point) else {
            return Near { segments: &self.segments, listed: &[], beyond: 0.0 };
        };
        let listed = span(&self.starts, &self.listed, cell);
        let moves = f64::from(self.king_moves[cell]);
        let beyond = self.listed_m + (moves - 1.0).max(0.0) * self.cells.side_m;
        Near { segments: &self.segments, listed, beyond }
    }

    /// The distance of a point from the nearest edge, at most `cap_m`.
    pub fn distance(&self, point: Point, cap_m: f64) -> f64 {
        let near = self.near(point);
        near.edges().fold(near.beyond.min(cap_m), |least, edge| least.min(point_to_segment(point, edge)))
    }

    /// No edge is nearer to the point than this, metres: a bound that is found at once, not above zero
    /// where nothing is known.
    pub fn distance_at_least(&self, point: Point) -> f64 {
        let Some(cell) = self.cells.at(point) else { return 0.0 };
        self.clear_m[cell] - distance(point, self.cells.centre(cell))
    }

    /// Whether the rings enclose the point.
    pub fn encloses(&self, point: Point) -> bool {
        self.part_at(point).is_some()
    }

    /// The part whose rings enclose the point. A part that does not is crossed an even number of
    /// times on the way out, so that it cancels itself in an exclusive or of all crossings.
    pub fn part_at(&self, point: Point) -> Option<u32> {
        let row = self.cells.at(point)? / self.cells.columns;
        let crossed = span(&self.row_starts, &self.row_listed, row).iter().filter(|&&index| {
            let [from, to] = self.segments[index as usize];
            (from.y > point.y) != (to.y > point.y)
                && point.x < from.x + (point.y - from.y) / (to.y - from.y) * (to.x - from.x)
        });
        let part = crossed.fold(0, |part, &index| part ^ self.parts[index as usize]);
        (part != 0).then_some(part)
    }

    fn list_by_cell(&self) -> (Vec<u32>, Vec<u32>) {
        let within = self.listed_m + 0.5 * std::f64::consts::SQRT_2 * self.cells.side_m;
        let mut pairs = Vec::new();
        for (index, &segment) in self.segments.iter().enumerate() {
            let (low, high) = bounds(&[segment]);
            let about = Point { x: within, y: within };
            for cell in self.cells.between(low - about, high + about) {
                if point_to_segment(self.cells.centre(cell), segment) <= within {
                    pairs.push((cell as u32, index as u32));
                }
            }
        }
        sorted_into(pairs, self.cells.count())
    }

    fn list_by_row(&self) -> (Vec<u32>, Vec<u32>) {
        let mut pairs = Vec::new();
        for (index, &segment) in self.segments.iter().enumerate() {
            let (low, high) = bounds(&[segment]);
            for row in self.cells.rows_between(low.y, high.y) {
                pairs.push((row as u32, index as u32));
            }
        }
        sorted_into(pairs, self.cells.rows)
    }
}

fn span<'a>(starts: &[u32], listed: &'a [u32], index: usize) -> &'a [u32] {
    &listed[starts[index] as usize..starts[index + 1] as usize]
}

/// Pairs of (bin, item) as one list with the start of each bin, items in rising order.
fn sorted_into(mut pairs: Vec<(u32, u32)>, bins: usize) -> (Vec<u32>, Vec<u32>) {
    pairs.sort_unstable();
    let mut starts = vec![0u32; bins + 1];
    for &(bin, _) in &pairs {
        starts[bin as usize + 1] += 1;
    }
    for bin in 0..bins {
        starts[bin + 1] += starts[bin];
    }
    (starts, pairs.into_iter().map(|(_, item)| item).collect())
}

fn bounds(segments: &[Segment]) -> (Point, Point) {
    let none =
        (Point { x: f64::INFINITY, y: f64::INFINITY }, Point { x: f64::NEG_INFINITY, y: f64::NEG_INFINITY });
    let (low, high) = segments.iter().flatten().fold(none, |(low, high), point| {
        (
            Point { x: low.x.min(point.x), y: low.y.min(point.y) },
            Point { x: high.x.max(point.x), y: high.y.max(point.y) },
        )
    });
    if low.x <= high.x { (low, high) } else { (Point::zero(), Point::zero()) }
}
