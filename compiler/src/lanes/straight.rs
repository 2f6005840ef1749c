//! Lanes of a block with one heading: parallel rows on a lattice, taken in groups of the machine's
//! tool rows, each row clipped to the soil on its own and each lane to where the body fits.
//!
//! Method: in the heading's own coordinates a row is a line across the zone, hence a list of exact
//! intervals; a lane is the set of places where the body can slide without meeting the fence, again
//! exact, both ways. A lane works what its rows and that set have in common. Rows that these lanes
//! miss get lanes of their own where that pays.

use super::missed::missed;
use super::toolbar::{ROOM_M, Toolbar};
use super::{Block, BlockIdx, Course, LaidBlock, Lane, RowSpan};
use crate::geometry::interval::{Interval, merged, without};
use crate::geometry::strip::{Axes, LocalEdges};
use crate::geometry::{Gear, Path, Piece, Pose, heading_of_angle, region};
use crate::num;
use geo::{Coord, MapCoords, MultiPolygon, Polygon, Rect};

/// Row pieces closer than this along the lane are driven through with the tool lifted; farther
/// apart they are lanes of their own.
pub const BRIDGED_GAP_M: f64 = 3.0;

/// A row piece shorter than this is left out.
pub const SHORTEST_ROW_M: f64 = 0.3;

/// Lays lanes over a zone inside the fence, along an angle. A lane shorter than `shortest_lane` is
/// left out.
pub fn straight_block(
    zone: &MultiPolygon,
    fence: &MultiPolygon,
    toolbar: &Toolbar,
    angle: f64,
    shortest_lane: f64,
) -> LaidBlock {
    let axes = Axes::new(Coord::zero(), angle);
    let (soil, edges) = (LocalEdges::new(zone, &axes), LocalEdges::new(fence, &axes));
    let lattice = Lattice::within(&soil, &edges, toolbar, axes);
    let rows = soil.inside(lattice.first_row, toolbar.row_spacing, lattice.rows);
    let drivable = Drivable { fence, edges: &edges, axes: &axes, toolbar };
    let taken = lattice.taken(&rows, &drivable, shortest_lane);
    let covered: Vec<Polygon> =
        taken.iter().flat_map(|lane| &lane.1).map(|piece| lattice.strip(piece)).collect();
    let lanes = lattice.lanes(&taken, toolbar);
    let datum = axes.ground(soil.t.from, lattice.first_row);
    let worked = region::intersection(&lattice.on_ground(&region::union_all(&covered)), zone);
    let course = Course::Straight { heading: heading_of_angle(angle), datum };
    LaidBlock { block: Block { zone: zone.clone(), course }, lanes, worked }
}

/// The rows of a block in its heading's coordinates.
pub struct Lattice {
    /// The heading's coordinates.
    pub axes: Axes,
    /// Place of row 0, to the right of the axes.
    pub first_row: f64,
    /// How many rows there are.
    pub rows: usize,
    /// From row to row.
    pub row_spacing: f64,
}

/// A lane to be: the lattice row under its leftmost tool row, and its pieces.
pub type Taken = (i64, Vec<RowPiece>);

impl Lattice {
    /// As many whole rows as fit side by side, where the body can be beside the fence, with what is
    /// over shared between both sides.
    fn within(zone: &LocalEdges, fence: &LocalEdges, toolbar: &Toolbar, axes: Axes) -> Self {
        let half = toolbar.width / 2.0;
        let from = zone.v.from.max(fence.v.from + toolbar.left() - half);
        let to = zone.v.to.min(fence.v.to - toolbar.right() + half);
        let rows = ((to - from) / toolbar.row_spacing + 1e-6).floor().max(0.0);
        let spare = (to - from) - rows * toolbar.row_spacing;
        Self {
            axes,
            first_row: from + (spare + toolbar.row_spacing) / 2.0,
            rows: rows as usize,
            row_spacing: toolbar.row_spacing,
        }
    }

    /// Lanes that take the rows in groups of the tool rows, then those that the groups miss.
    pub fn taken(&self, rows: &[Vec<Interval>], drivable: &Drivable, shortest_lane: f64) -> Vec<Taken> {
        let toolbar = drivable.toolbar;
        let reach = |first: i64| drivable.tool_reach(self.reference(first, toolbar));
        let mut taken: Vec<Taken> = Vec::new();
        for group in groups(self.rows as i64, toolbar) {
            for reach in reach(group.first) {
                let pieces = group.pieces(rows, reach);
                let long_enough =
                    pieces.into_iter().filter(|pieces| extent(pieces).length() >= shortest_lane);
                taken.extend(long_enough.map(|pieces| (group.first, pieces)));
            }
        }
        let mut unworked = rows.to_vec();
        work(&mut unworked, taken.iter().flat_map(|lane| &lane.1));
        taken.extend(missed(unworked, toolbar.row_offsets.len(), shortest_lane, reach));
        taken
    }

    /// The lanes that were taken.
    pub fn lanes(&self, taken: &[Taken], toolbar: &Toolbar) -> Vec<Lane> {
        let lane = |(first, pieces): &Taken| {
            self.lane(pieces, extent(pieces), self.reference(*first, toolbar), toolbar)
        };
        taken.iter().map(lane).collect()
    }

    /// Where the reference point runs when the leftmost tool row is over a row.
    fn reference(&self, first: i64, toolbar: &Toolbar) -> f64 {
        self.row(first) - toolbar.row_offsets[0]
    }

    fn row(&self, index: i64) -> f64 {
        self.first_row + index as f64 * self.row_spacing
    }

    /// What a row piece covers, in the lattice's own coordinates, where the edges of neighbouring
    /// strips lie exactly on one another.
    fn strip(&self, piece: &RowPiece) -> Polygon {
        let edge = |steps: i64| self.first_row + (steps as f64 - 0.5) * self.row_spacing;
        let (left, right) = (edge(piece.row), edge(piece.row + 1));
        let Interval { from, to } = piece.along;
        Rect::new(Coord { x: from, y: left }, Coord { x: to, y: right }).to_polygon()
    }

    fn on_ground(&self, region: &MultiPolygon) -> MultiPolygon {
        region.map_coords(|c| self.axes.ground(c.x, c.y))
    }

    fn lane(&self, pieces: &[RowPiece], extent: Interval, reference: f64, toolbar: &Toolbar) -> Lane {
        let straight = |at, angle| Path {
            start: Pose { at, angle },
            pieces: vec![Piece::arc(Gear::Forward, extent.length(), 0.0)],
        };
        let start = self.axes.ground(extent.from - toolbar.forward, reference);
        let far = self.axes.ground(extent.to + toolbar.forward, reference + toolbar.shift_reversed());
        let last = toolbar.row_offsets.len() - 1;
        let rows = pieces.iter().map(|p| RowSpan {
            tool_row: p.tool_row,
            row: p.row,
            from: p.along.from - extent.from,
            to: p.along.to - extent.from,
        });
        let rows_back = pieces.iter().map(|p| RowSpan {
            tool_row: last - p.tool_row,
            row: p.row,
            from: extent.to - p.along.to,
            to: extent.to - p.along.from,
        });
        Lane {
            block: BlockIdx(0),
            line: straight(start, self.axes.angle),
            back: Some(straight(far, num::wrap_angle(self.axes.angle + num::PI))),
            rows: rows.collect(),
            rows_back: rows_back.collect(),
        }
    }
}

/// Rows side by side in lanes. The last lane is moved back onto rows that are sown already, so that
/// it stays beside the others, and only its new rows work.
pub fn groups(rows: i64, toolbar: &Toolbar) -> Vec<Group> {
    groups_after(0, rows, toolbar)
}

/// The same with a lane of so many rows, fewer than the tool rows, before them.
pub fn groups_after(narrow: i64, rows: i64, toolbar: &Toolbar) -> Vec<Group> {
    let tools = toolbar.row_offsets.len() as i64;
    if rows < tools {
        let first = -(tools - rows) / 2;
        return (rows > 0).then_some(Group { first, active: 0..rows }).into_iter().collect();
    }
    let narrow_group = (narrow > 0).then_some(Group { first: 0, active: 0..narrow });
    let whole = (narrow..rows)
        .step_by(toolbar.row_offsets.len())
        .map(|from| Group { first: from.min(rows - tools), active: from..(from + tools).min(rows) });
    narrow_group.into_iter().chain(whole).collect()
}

/// Rows that one lane takes.
pub struct Group {
    /// Lattice row under the leftmost tool row.
    pub first: i64,
    /// Lattice rows that it works.
    pub active: std::ops::Range<i64>,
}

/// A piece of a row, `along` the block's axes.
#[derive(Clone, Copy, Debug)]
pub struct RowPiece {
    /// The tool row over it.
    pub tool_row: usize,
    /// Its lattice row.
    pub row: i64,
    /// From where to where.
    pub along: Interval,
}

impl Group {
    /// The row pieces within reach, in runs that are a lane each.
    pub fn pieces(&self, rows: &[Vec<Interval>], reach: Interval) -> Vec<Vec<RowPiece>> {
        let pieces: Vec<RowPiece> = self
            .active
            .clone()
            .flat_map(|row| rows[row as usize].iter().map(move |along| (row, *along)))
            .filter_map(|(row, along)| {
                let along = along.common(reach)?;
                let tool_row = (row - self.first) as usize;
                (along.length() >= SHORTEST_ROW_M).then_some(RowPiece { tool_row, row, along })
            })
            .collect();
        merged(pieces.iter().map(|p| p.along).collect(), BRIDGED_GAP_M)
            .into_iter()
            .map(|run| pieces.iter().filter(|p| p.along.common(run).is_some()).copied().collect())
            .collect()
    }
}

/// From where to where the pieces of one lane reach.
pub fn extent(pieces: &[RowPiece]) -> Interval {
    pieces.iter().fold(Interval::new(f64::INFINITY, f64::NEG_INFINITY), |all, p| {
        Interval::new(all.from.min(p.along.from), all.to.max(p.along.to))
    })
}

/// Takes worked pieces out of what of each row is still to be worked.
pub fn work<'a>(unworked: &mut [Vec<Interval>], pieces: impl IntoIterator<Item = &'a RowPiece>) {
    for piece in pieces {
        let row = &mut unworked[piece.row as usize];
        *row = without(row, piece.along);
    }
}

/// Where the machine can be on a lane's line.
pub struct Drivable<'a> {
    /// What it stays inside of.
    pub fence: &'a MultiPolygon,
    /// The same along the axes.
    pub edges: &'a LocalEdges,
    /// Along which it drives.
    pub axes: &'a Axes,
    /// The machine.
    pub toolbar: &'a Toolbar,
}

impl Drivable<'_> {
    /// Stretches that the tool can work whichever way the lane is driven.
    fn tool_reach(&self, reference: f64) -> Vec<Interval> {
        let along = self.free(reference, &self.toolbar.body);
        let back = self.free(reference + self.toolbar.shift_reversed(), &self.toolbar.body_reversed());
        along
            .iter()
            .flat_map(|a| back.iter().filter(|b| a.common(**b).is_some()).map(move |b| (*a, *b)))
            .filter_map(|(a, b)| a.shifted(self.toolbar.forward).common(b.shifted(-self.toolbar.forward)))
            .collect()
    }

    fn free(&self, v: f64, body: &[(f64, f64)]) -> Vec<Interval> {
        let (x, y) = body.iter().fold((0.0, 0.0), |sum, p| (sum.0 + p.0, sum.1 + p.1));
        let (x, y) = (x / body.len() as f64, y / body.len() as f64);
        self.edges
            .free(v, body)
            .into_iter()
            .filter(|i| i.length() > ROOM_M)
            .filter(|i| region::contains(self.fence, self.axes.ground((i.from + i.to) / 2.0 + x, v + y)))
            .collect()
    }
}
