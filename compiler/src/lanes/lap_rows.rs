//! The rows of a lap: each tool row where it lies over soil that nothing else works.
//!
//! In: a way, the tool bar and that soil. Out: the rows of each lane that the way becomes. Where a
//! tool row crosses the soil's edge is found on chords that leave its true course by less than a
//! millimetre; between two crossings it is inside or outside as a whole.

use super::straight::{BRIDGED_GAP_M, SHORTEST_ROW_M};
use super::toolbar::Toolbar;
use super::{BlockIdx, Lane, RowSpan};
use crate::geometry::interval::{Interval, merged};
use crate::geometry::{Path, Point, Pose, cross, region};
use geo::MultiPolygon;
use rstar::primitives::{GeomWithData, Rectangle};
use rstar::{AABB, RTree};

/// How far a chord may leave a tool row's course, metres.
const CHORD_M: f64 = 0.000_5;

/// The lanes of a way over soil; none shorter than asked.
pub fn lanes(way: &Path, toolbar: &Toolbar, soil: &MultiPolygon, shortest_lane: f64) -> Vec<Lane> {
    let soil = Soil::new(soil);
    let rows: Vec<(usize, Interval)> = toolbar
        .row_offsets
        .iter()
        .enumerate()
        .flat_map(|(tool_row, &right)| {
            soil.under(way, toolbar.forward, right).into_iter().map(move |i| (tool_row, i))
        })
        .collect();
    let extents = merged(rows.iter().map(|row| row.1).collect(), BRIDGED_GAP_M);
    let lane = |extent: Interval| Lane {
        block: BlockIdx(0),
        line: way.between(extent.from, extent.to),
        back: None,
        rows_back: Vec::new(),
        rows: rows
            .iter()
            .filter(|(_, along)| along.from >= extent.from && along.to <= extent.to)
            .map(|&(tool_row, along)| RowSpan {
                tool_row,
                row: tool_row as i64,
                from: along.from - extent.from,
                to: along.to - extent.from,
            })
            .collect(),
    };
    extents.into_iter().filter(|extent| extent.length() >= shortest_lane).map(lane).collect()
}

type Edge = GeomWithData<Rectangle<[f64; 2]>, [Point; 2]>;

/// Soil, with its edges found by place.
pub struct Soil<'a> {
    region: &'a MultiPolygon,
    edges: RTree<Edge>,
}

impl<'a> Soil<'a> {
    /// Of a region.
    pub fn new(region: &'a MultiPolygon) -> Self {
        let array = |p: Point| [p.x, p.y];
        let edges = region::rings(region).flat_map(geo::LineString::lines).map(|line| {
            Edge::new(Rectangle::from_corners(array(line.start), array(line.end)), [line.start, line.end])
        });
        Self { region, edges: RTree::bulk_load(edges.collect()) }
    }

    /// Where along a way the body's point at `forward`, `right` metres lies over it.
    pub fn under(&self, way: &Path, forward: f64, right: f64) -> Vec<Interval> {
        over_soil(way, |pose| pose.ground(forward, right), self)
    }
}

fn over_soil(way: &Path, tool: impl Fn(Pose) -> Point, soil: &Soil) -> Vec<Interval> {
    let mut cuts = vec![0.0];
    let mut travelled = 0.0;
    for (start, piece) in way.steps() {
        let part = Path { start, pieces: vec![*piece] };
        let poses = part.sampled(CHORD_M).poses;
        let share = piece.length / (poses.len() - 1) as f64;
        for (chord, pair) in poses.windows(2).enumerate() {
            let ends = [tool(pair[0]), tool(pair[1])];
            let crossed = crossings(ends, &soil.edges).map(|at| travelled + share * (chord as f64 + at));
            cuts.extend(crossed);
        }
        travelled += piece.length;
    }
    cuts.push(travelled);
    cuts.sort_by(f64::total_cmp);
    let is_over = |piece: &Interval| {
        region::contains(soil.region, tool(way.pose_at(f64::midpoint(piece.from, piece.to))))
    };
    let pieces = cuts.windows(2).map(|pair| Interval::new(pair[0], pair[1])).filter(is_over).collect();
    let mut over = merged(pieces, 1e-6);
    over.retain(|piece| piece.length() >= SHORTEST_ROW_M);
    over
}

/// Shares of a chord at which it crosses edges.
fn crossings([from, to]: [Point; 2], edges: &RTree<Edge>) -> impl Iterator<Item = f64> {
    let box_of = AABB::from_corners([from.x, from.y], [to.x, to.y]);
    edges.locate_in_envelope_intersecting(&box_of).filter_map(move |edge| {
        let [a, b] = edge.data;
        let (chord, along) = (to - from, b - a);
        let skew = cross(chord, along);
        let (at, on_edge) = (cross(a - from, along) / skew, cross(a - from, chord) / skew);
        ((0.0..=1.0).contains(&at) && (0.0..=1.0).contains(&on_edge)).then_some(at)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::example;
    use geo::polygon;

    #[test]
    fn each_row_ends_where_a_slanted_edge_crosses_it() {
        let toolbar = Toolbar::new(&example::machine());
        let soil = polygon![(x: 0.0, y: -20.0), (x: 60.0, y: -20.0), (x: 40.0, y: 20.0), (x: 0.0, y: 20.0)];
        let way = Path::straight(Point { x: -10.0, y: 0.0 }, Point { x: 90.0, y: 0.0 });
        let found = lanes(&way, &toolbar, &soil.into(), 3.0);
        assert_eq!(found.len(), 1);
        let begin = found[0].line.start.at.x;
        for row in &found[0].rows {
            let right = toolbar.row_offsets[row.tool_row];
            let tool = |along: f64| begin + along + toolbar.forward;
            assert!(tool(row.from).abs() < 1e-6, "{row:?}");
            // The edge from (60, -20) to (40, 20) is at x = 50 - y / 2, and right of east is south.
            assert!((tool(row.to) - (50.0 + right / 2.0)).abs() < 1e-6, "{row:?}");
        }
        assert_eq!(found[0].rows.len(), toolbar.row_offsets.len());
    }

    #[test]
    fn a_wide_gap_makes_two_lanes_and_a_narrow_one_lifts_the_tool() {
        let toolbar = Toolbar::new(&example::machine());
        let way = Path::straight(Point { x: 0.0, y: 0.0 }, Point { x: 100.0, y: 0.0 });
        let over = |gap: f64| {
            let piece = |from: f64, to: f64| polygon![(x: from, y: -9.0), (x: to, y: -9.0), (x: to, y: 9.0), (x: from, y: 9.0)];
            lanes(&way, &toolbar, &MultiPolygon(vec![piece(10.0, 40.0), piece(40.0 + gap, 90.0)]), 3.0)
        };
        assert_eq!(over(5.0).len(), 2);
        let bridged = over(2.0);
        assert_eq!((bridged.len(), bridged[0].rows.len()), (1, 2 * toolbar.row_offsets.len()));
    }
}
