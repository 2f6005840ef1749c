//! Lanes of a block along a curve: each an offset of it, so that rows lie side by side as in a
//! straight block.
//!
//! In: a zone, the curve, the tool bar and where its body may be. Out: lanes whose tool rows begin
//! and end where their own true courses cross the zone's edge, for either direction of driving. A
//! bar behind the reference point turns with it in a bend, so that its outer rows pass an edge
//! earlier or later than its middle; each direction has spans of its own.

use super::clearance::stretches;
use super::guide::{TRUE_M, extent};
use super::heading::Prices;
use super::lap_rows::Soil;
use super::missed::missed;
use super::stations::Offset;
use super::straight::{BRIDGED_GAP_M, Group, RowPiece, SHORTEST_ROW_M, groups_after};
use super::toolbar::Toolbar;
use super::{Block, BlockIdx, Course, LaidBlock, Lane, RowSpan};
use crate::geometry::band::ribbon;
use crate::geometry::interval::{Interval, merged, without};
use crate::geometry::{Curve, Path, Point, region};
use crate::turns::{FreeSpace, SPARE_M};
use geo::{MultiPolygon, Polygon};

/// Rounds of finding where a tool row passes a point when the lane is driven the other way; each
/// leaves a twentieth of the error at most.
const ROUNDS: usize = 8;

/// Share of the zone's soil that groups must leave to further lanes for groups that begin elsewhere to
/// be tried.
const MUCH_MISSED: f64 = 0.05;

/// A driving direction of a lane under way: where each tool row is at work.
type Spans = Vec<(usize, i64, Interval)>;

/// Lays lanes over a zone along a curve: groups of rows counted from the zone's edge, then lanes for
/// rows that these miss. Where that is much, groups counted from a few rows aside may cost less.
pub fn contour_block(
    zone: &MultiPolygon,
    space: &FreeSpace,
    toolbar: &Toolbar,
    curve: &Curve,
    prices: &Prices,
) -> LaidBlock {
    let (left, right) = extent(curve, zone);
    let rows = ((right - left) / toolbar.row_spacing + 1e-6).floor().max(0.0);
    let first_row = left + ((right - left) - (rows - 1.0) * toolbar.row_spacing) / 2.0;
    let soil = Soil::new(zone);
    let laying = Laying { space, toolbar, curve, first_row, rows: rows as i64, soil, prices };
    let lanes = laying.cheapest(region::area(zone));
    let covered: Vec<Polygon> = lanes.iter().flat_map(|lane| strips(lane, toolbar)).collect();
    let worked = region::intersection(&region::union_all(&covered), zone);
    let block = Block { zone: zone.clone(), course: Course::Contour };
    LaidBlock { block, lanes, worked }
}

/// What a lane's rows cover. Rows keep their spacing to [`TRUE_M`]; each strip takes half of that
/// more to either side, so that no soil lies between.
fn strips(lane: &Lane, toolbar: &Toolbar) -> Vec<Polygon> {
    let half = (toolbar.row_spacing + TRUE_M) / 2.0;
    lane.rows
        .iter()
        .map(|row| {
            let right = toolbar.row_offsets[row.tool_row];
            ribbon(&lane.line.between(row.from, row.to), toolbar.forward, [right - half, right + half])
        })
        .collect()
}

struct Laying<'a> {
    space: &'a FreeSpace,
    toolbar: &'a Toolbar,
    curve: &'a Curve,
    /// How far row 0 lies to the right of the curve.
    first_row: f64,
    rows: i64,
    soil: Soil<'a>,
    prices: &'a Prices,
}

/// The lanes of all rows.
struct Laid {
    lanes: Vec<Lane>,
    /// How many of them take the rows in groups; the rest take what these miss.
    in_groups: usize,
}

impl Laying<'_> {
    /// The lanes that cost least of those that begin their groups at one row or another; those that
    /// begin at the edge where they miss little.
    fn cheapest(&self, soil_m2: f64) -> Vec<Lane> {
        let laid = |narrow: i64| self.laid(groups_after(narrow, self.rows, self.toolbar));
        let from_edge = laid(0);
        let missed_m: f64 = from_edge.lanes[from_edge.in_groups..].iter().map(row_metres).sum();
        if missed_m * self.toolbar.row_spacing < MUCH_MISSED * soil_m2 {
            return from_edge.lanes;
        }
        let price = |lanes: &[Lane]| {
            let driven_m = lanes.iter().map(|lane| lane.line.length()).sum();
            let worked_m: f64 = lanes.iter().map(row_metres).sum();
            self.prices.in_all(driven_m, lanes.len(), soil_m2 - worked_m * self.toolbar.row_spacing)
        };
        let others = (1..self.toolbar.row_offsets.len() as i64).map(laid);
        std::iter::once(from_edge)
            .chain(others)
            .map(|laid| (price(&laid.lanes), laid.lanes))
            .min_by(|a, b| a.0.total_cmp(&b.0))
            .map_or_else(Vec::new, |(_, lanes)| lanes)
    }

    /// Lanes that take the rows in groups, then those that the groups miss.
    fn laid(&self, groups: Vec<Group>) -> Laid {
        let mut lanes = Vec::new();
        let mut unworked: Vec<Vec<Interval>> = vec![Vec::new(); self.rows as usize];
        for group in groups {
            let offset = self.offset(group.first);
            let over = self.over_soil(&group, &offset.way);
            let laid = self.lanes(&offset.way, &over);
            for (tool_row, row, along) in over {
                unworked[row as usize].push(stations(&offset, tool_row, along));
            }
            for (lane, from) in &laid {
                for span in &lane.rows {
                    let along = Interval::new(from + span.from, from + span.to);
                    let row = &mut unworked[span.row as usize];
                    *row = without(row, stations(&offset, span.tool_row, along));
                }
            }
            lanes.extend(laid.into_iter().map(|(lane, _)| lane));
        }
        let in_groups = lanes.len();
        let tools = self.toolbar.row_offsets.len();
        let reach = |first| self.reach(first, &unworked);
        let taken = missed(unworked.clone(), tools, self.prices.shortest_lane_m, reach);
        lanes.extend(taken.iter().filter_map(|(first, pieces)| self.over_pieces(*first, pieces)));
        Laid { lanes, in_groups }
    }

    /// The way of the reference point with the leftmost tool row over a row.
    fn offset(&self, first: i64) -> Offset<'_> {
        let row = self.first_row + first as f64 * self.toolbar.row_spacing;
        Offset::new(self.curve, self.toolbar, row - self.toolbar.row_offsets[0])
    }

    /// Where along its way each tool row of a group is over the zone.
    fn over_soil(&self, group: &Group, way: &Path) -> Spans {
        group
            .active
            .clone()
            .flat_map(|row| {
                let tool_row = (row - group.first) as usize;
                let right = self.toolbar.row_offsets[tool_row];
                let over = self.soil.under(way, self.toolbar.forward, right);
                over.into_iter().map(move |along| (tool_row, row, along))
            })
            .collect()
    }

    /// The lanes of one way from end to end of the curve, each with where along the way it begins.
    fn lanes(&self, way: &Path, rows: &Spans) -> Vec<(Lane, f64)> {
        self.runs(rows.iter().map(|row| row.2))
            .into_iter()
            .flat_map(|run| self.drivable(way, run))
            .filter_map(|reach| self.lane(way, &within(rows, reach)))
            .collect()
    }

    /// Runs of row pieces that are long enough for a lane.
    fn runs(&self, pieces: impl Iterator<Item = Interval>) -> Vec<Interval> {
        let mut runs = merged(pieces.collect(), BRIDGED_GAP_M);
        runs.retain(|run| run.length() >= self.prices.shortest_lane_m);
        runs
    }

    /// Stations between which every tool row of the group that begins at a row can work what its rows
    /// have unworked.
    fn reach(&self, first: i64, unworked: &[Vec<Interval>]) -> Vec<Interval> {
        let offset = self.offset(first);
        let last = self.toolbar.row_offsets.len() - 1;
        let rows = first.max(0)..(first + last as i64 + 1).min(unworked.len() as i64);
        self.runs(rows.flat_map(|row| unworked[row as usize].iter().copied()))
            .into_iter()
            .flat_map(|run| {
                let along = [0, last].map(|tool_row| [run.from, run.to].map(|at| offset.along(tool_row, at)));
                let [left, right] = along;
                self.drivable(&offset.way, Interval::new(left[0].min(right[0]), left[1].max(right[1])))
            })
            .filter_map(|reach| stations(&offset, 0, reach).common(stations(&offset, last, reach)))
            .collect()
    }

    /// The lane over pieces of rows that are told by stations.
    fn over_pieces(&self, first: i64, pieces: &[RowPiece]) -> Option<Lane> {
        let offset = self.offset(first);
        let rows: Spans = pieces
            .iter()
            .map(|&RowPiece { tool_row, row, along }| {
                let at = |station| offset.along(tool_row, station);
                (tool_row, row, Interval::new(at(along.from), at(along.to)))
            })
            .collect();
        self.lane(&offset.way, &rows).map(|(lane, _)| lane)
    }

    /// Where of a run the machine fits, whichever way it is driven.
    fn drivable(&self, way: &Path, run: Interval) -> Vec<Interval> {
        let there = stretches(&way.between(run.from, run.to), self.space);
        let there = there.into_iter().map(|fits| fits.shifted(run.from));
        if !self.is_symmetric() {
            return there.collect();
        }
        let shift = 2.0 * self.toolbar.forward;
        let back = stretches(&way.between(run.from + shift, run.to + shift).turned_round(), self.space);
        let back: Vec<Interval> =
            back.into_iter().rev().map(|fits| Interval::new(run.to - fits.to, run.to - fits.from)).collect();
        there.flat_map(|one| back.iter().filter_map(move |&other| one.common(other))).collect()
    }

    /// The lane over pieces of rows, and where along the way it begins.
    fn lane(&self, way: &Path, rows: &Spans) -> Option<(Lane, f64)> {
        let extent = extent_of(rows)?;
        if extent.length() < self.prices.shortest_lane_m {
            return None;
        }
        let line = way.between(extent.from, extent.to);
        if !self.fits(&line) {
            return None;
        }
        let (back, rows_back) = self.driven_back(way, rows).filter(|(back, _)| self.fits(back)).unzip();
        let lane = Lane {
            block: BlockIdx(0),
            line,
            back,
            rows: spans(rows, extent),
            rows_back: rows_back.unwrap_or_default(),
        };
        Some((lane, extent.from))
    }

    fn fits(&self, path: &Path) -> bool {
        self.space.clearance(path, SPARE_M).is_ok()
    }

    /// The same rows driven from the other end; none for a bar that would not lie over them then.
    fn driven_back(&self, way: &Path, rows: &Spans) -> Option<(Path, Vec<RowSpan>)> {
        if !self.is_symmetric() {
            return None;
        }
        let last = self.toolbar.row_offsets.len() - 1;
        let back: Spans = rows
            .iter()
            .map(|&(tool_row, row, along)| {
                let at = |along| self.met_on_the_way_back(way, tool_row, along);
                (last - tool_row, row, Interval::new(at(along.from), at(along.to)))
            })
            .collect();
        let extent = extent_of(&back)?;
        let turned: Vec<(usize, i64, Interval)> = back
            .iter()
            .map(|&(tool_row, row, along)| {
                (tool_row, row, Interval::new(extent.to - along.to, extent.to - along.from))
            })
            .collect();
        let own = Interval::new(0.0, extent.length());
        Some((way.between(extent.from, extent.to).turned_round(), spans(&turned, own)))
    }

    /// Where on the way, driven from its other end, the tool is at the place at which the tool row
    /// is at `along` when it is driven as it lies.
    fn met_on_the_way_back(&self, way: &Path, tool_row: usize, along: f64) -> f64 {
        let (forward, right) = (self.toolbar.forward, self.toolbar.row_offsets[tool_row]);
        let place: Point = way.pose_at(along).ground(forward, right);
        (0..ROUNDS).fold(along + 2.0 * forward, |at, _| {
            // The way's own direction there: the tool lies on the machine's other side of it.
            let pose = way.pose_at(at);
            at + pose.body(place).0 + forward
        })
    }

    fn is_symmetric(&self) -> bool {
        self.toolbar.shift_reversed().abs() < 1e-9
    }
}

/// What of the row pieces lies within reach.
fn within(rows: &Spans, reach: Interval) -> Spans {
    rows.iter()
        .filter_map(|&(tool_row, row, along)| Some((tool_row, row, along.common(reach)?)))
        .filter(|(_, _, along)| along.length() >= SHORTEST_ROW_M)
        .collect()
}

/// The stations between which a tool row is on a stretch of its way.
fn stations(offset: &Offset, tool_row: usize, along: Interval) -> Interval {
    Interval::new(offset.station(tool_row, along.from), offset.station(tool_row, along.to))
}

fn row_metres(lane: &Lane) -> f64 {
    lane.rows.iter().map(|row| row.to - row.from).sum()
}

fn extent_of(rows: &Spans) -> Option<Interval> {
    let from = rows.iter().map(|row| row.2.from).min_by(f64::total_cmp)?;
    let to = rows.iter().map(|row| row.2.to).max_by(f64::total_cmp)?;
    Some(Interval::new(from, to))
}

fn spans(rows: &Spans, extent: Interval) -> Vec<RowSpan> {
    rows.iter()
        .map(|&(tool_row, row, along)| RowSpan {
            tool_row,
            row,
            from: along.from - extent.from,
            to: along.to - extent.from,
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::super::guide;
    use super::*;
    use crate::check::Machine;
    use crate::geometry::{Gear, Piece, Pose};
    use crate::num;
    use crate::site::example;
    use crate::turns;
    use geo::{Distance, Euclidean, LineString, Polygon};
    use proptest::prelude::*;

    /// A strip round a line of arcs, each a length and a turn. To either side it is as wide as told for the
    /// line's two ends, and changes its width evenly.
    fn strip(bends: &[(f64, f64)], half_widths: [f64; 2]) -> (Vec<Point>, MultiPolygon) {
        let pieces = bends.iter().map(|&(length, turn)| Piece::arc(Gear::Forward, length, turn / length));
        let line = Path { start: Pose::new(0.0, 0.0, 0.3), pieces: pieces.collect() };
        let steps = (line.length() / 8.0).ceil() as usize;
        let poses = line.poses_at((0..=steps).map(|i| line.length() * i as f64 / steps as f64));
        let [from, to] = half_widths;
        let half_width = |i: usize| from + (to - from) * i as f64 / steps as f64;
        let right = (0..=steps).map(|i| poses[i].ground(0.0, half_width(i)));
        let left = (0..=steps).rev().map(|i| poses[i].ground(0.0, -half_width(i)));
        let ring = LineString(right.chain(left).collect());
        (poses.iter().map(|pose| pose.at).collect(), Polygon::new(ring, vec![]).into())
    }

    fn laid(machine: &Machine, bends: &[(f64, f64)]) -> Option<(MultiPolygon, LaidBlock)> {
        let toolbar = Toolbar::new(machine);
        let (line, zone) = strip(bends, [14.0; 2]);
        let fence = region::outset(&zone, 6.0);
        let space = FreeSpace::new(&fence, turns::footprint(machine));
        let curve = guide::along(&line, &zone, &toolbar)?;
        let block = contour_block(&zone, &space, &toolbar, &curve, &Prices::new(machine, toolbar.width));
        Some((zone, block))
    }

    /// A body of 3.0 m over a bar of 2.7 m.
    fn wide_machine() -> Machine {
        let mut machine = example::machine();
        for corner in &mut machine.body {
            let right = 1.5_f64.copysign(corner.right.to_m());
            corner.right = lanewright_schema::quantity::Length::m(right);
        }
        machine
    }

    /// Lanes along a line of a zone that reaches to the fence.
    fn beside_fence(machine: &Machine, line: &[Point], zone: &MultiPolygon) -> LaidBlock {
        let toolbar = Toolbar::new(machine);
        let space = FreeSpace::new(zone, turns::footprint(machine));
        let curve = guide::along(line, zone, &toolbar).unwrap();
        contour_block(zone, &space, &toolbar, &curve, &Prices::new(machine, toolbar.width))
    }

    /// Of 14 rows the outermost lie too near to the fence, so that of lanes counted from the edge only the
    /// middle one fits.
    #[test]
    fn two_lanes_fit_side_by_side_between_fences() {
        let (line, zone) = strip(&[(120.0, 0.3), (120.0, 0.2)], [3.2; 2]);
        let block = beside_fence(&wide_machine(), &line, &zone);
        let lengths: Vec<f64> = block.lanes.iter().map(|lane| lane.line.length()).collect();
        assert!(lengths.len() == 2 && lengths.iter().all(|&length| length > 230.0), "{lengths:?}");
        assert!(block.lanes.iter().all(|lane| lane.rows.len() == 6 && lane.back.is_some()));
    }

    /// The true course of a row's tool, lane driven as it lies or from its other end.
    fn course(machine: &Machine, lane: &Lane, row: i64, back: bool) -> LineString {
        let (way, spans) = match (&lane.back, back) {
            (Some(way), true) => (way, &lane.rows_back),
            _ => (&lane.line, &lane.rows),
        };
        let span = spans.iter().find(|span| span.row == row).unwrap();
        let steps = ((span.to - span.from) / 0.05).ceil() as usize;
        let at = |i: usize| span.from + (span.to - span.from) * i as f64 / steps as f64;
        let (forward, right) = (machine.tool_forward.to_m(), machine.row_offsets[span.tool_row].to_m());
        LineString(way.poses_at((0..=steps).map(at)).iter().map(|pose| pose.ground(forward, right)).collect())
    }

    /// Between a row of one lane and the next row, of another lane, lies the row spacing to a millimetre.
    fn keep_their_spacing(machine: &Machine, a: &Lane, row: i64, b: &Lane) -> Result<(), TestCaseError> {
        for directions in [(false, false), (false, true), (true, false)] {
            let here = course(machine, a, row, directions.0);
            let there = course(machine, b, row + 1, directions.1);
            let ends = [there.0[0], there.0[there.0.len() - 1]];
            for point in here.0.iter().skip(60).step_by(30) {
                let gap = Euclidean.distance(&geo::Point(*point), &there);
                let from_end = |end: &Point| (gap - crate::geometry::distance(*end, *point)).abs();
                let beside_end = ends.iter().any(|end| from_end(end) < 1e-9);
                prop_assert!(beside_end || (gap - 0.45).abs() < 0.001, "{gap} after row {row}");
            }
        }
        Ok(())
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(12))]

        /// In a strip beside the fence that grows narrower, lanes of any rows work all but what the body
        /// and whole rows leave; no piece of a row is worked twice, and rows keep their spacing.
        #[test]
        fn a_tapered_strip_beside_the_fence_is_worked_once(
            bends in prop::collection::vec((60.0..90.0_f64, -0.2..0.2_f64), 2..4),
            wide in 3.0..6.0_f64, narrow in 2.0..3.0_f64,
        ) {
            let machine = wide_machine();
            let toolbar = Toolbar::new(&machine);
            let (line, zone) = strip(&bends, [wide, narrow]);
            let curve = guide::along(&line, &zone, &toolbar).unwrap();
            let block = beside_fence(&machine, &line, &zone);
            let mut pieces: Vec<(i64, Interval)> = block.lanes.iter().flat_map(|lane| {
                lane.rows.iter().map(|row| {
                    let tool = |along: f64| {
                        lane.line.pose_at(along).ground(toolbar.forward, toolbar.row_offsets[row.tool_row])
                    };
                    let station = |along: f64| curve.place(tool(along)).0;
                    (row.row, Interval::new(station(row.from), station(row.to)))
                })
            }).collect();
            pieces.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.from.total_cmp(&b.1.from)));
            for pair in pieces.windows(2) {
                prop_assert!(pair[0].0 != pair[1].0 || pair[1].1.from > pair[0].1.to - 1e-6, "{pair:?}");
            }
            for a in &block.lanes {
                let last = a.rows.iter().map(|span| span.row).max().unwrap();
                for b in block.lanes.iter().filter(|b| b.rows.iter().any(|span| span.row == last + 1)) {
                    keep_their_spacing(&machine, a, last, b)?;
                }
            }
            let strips: Vec<Polygon> = block.lanes.iter().flat_map(|lane| strips(lane, &toolbar)).collect();
            let in_all: f64 = strips.iter().map(geo::Area::unsigned_area).sum();
            let once = region::area(&region::union_all(&strips));
            prop_assert!(in_all < 1.004 * once, "{in_all} m² on {once} m²");
            // A body of 3.0 m and its room over a bar of 2.7 m leave 0.17 m, whole rows up to a row.
            let reachable = region::area(&region::inset(&zone, 0.17));
            let worked = region::area(&block.worked);
            prop_assert!(worked > 0.8 * reachable, "{worked} of {reachable} m²");
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(12))]

        /// Between the last row of one lane and the first of the next lies the row spacing, to a
        /// millimetre, on the tools' true courses and in whichever directions the two are driven;
        /// and the rows cover the strip once.
        #[test]
        fn rows_of_neighbouring_lanes_keep_their_spacing(
            bends in prop::collection::vec((40.0..80.0_f64, -0.35..0.35_f64), 2..4), tool in -2.0..1.5_f64,
        ) {
            let mut machine = example::machine();
            machine.tool_forward = lanewright_schema::quantity::Length::m(tool);
            let Some((zone, block)) = laid(&machine, &bends) else { return Ok(()) };
            let rows = machine.row_offsets.len() as i64;
            let mut pairs = 0;
            for pair in block.lanes.windows(2) {
                let row = pair[0].rows.iter().map(|span| span.row).max().unwrap();
                let next = pair[1].rows.iter().any(|span| span.row == row + 1);
                if !next || (row + 1) % rows != 0 {
                    continue;
                }
                keep_their_spacing(&machine, &pair[0], row, &pair[1])?;
                pairs += 1;
            }
            prop_assert!(pairs > 3);
            let (worked, whole) = (region::area(&block.worked), region::area(&zone));
            prop_assert!(worked > 0.9 * whole && worked <= whole, "{worked} of {whole} m²");
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(12))]

        /// No lane is tighter than the machine steers with its reserve. Its curvature changes in steps
        /// for each of which the wheels of a machine 1.9 m from axle to axle turn by a tenth of a degree
        /// at most; from piece to piece, at working speed, they turn more slowly than 15°/s.
        #[test]
        fn steering_follows_the_lanes(
            bends in prop::collection::vec((20.0..80.0_f64, -0.6..0.6_f64), 2..4), radius in 2.0..9.0_f64,
        ) {
            const WHEELBASE_M: f64 = 1.9;
            let mut machine = example::machine();
            machine.steering.turning_radius = lanewright_schema::quantity::Length::m(radius);
            let Some((_, block)) = laid(&machine, &bends) else { return Ok(()) };
            let speed = machine.working_speed.to_m_per_s();
            let ways = block.lanes.iter().flat_map(|lane| std::iter::once(&lane.line).chain(&lane.back));
            for way in ways {
                let sharpest = way.pieces.iter().map(Piece::sharpest).fold(0.0, f64::max);
                prop_assert!(sharpest * 1.3 * radius <= 1.0 + 1e-9, "{sharpest}");
                for pair in way.pieces.windows(2) {
                    prop_assert!(pair.iter().all(|piece| piece.curvature_start == piece.curvature_end));
                    let step = (pair[1].curvature_start - pair[0].curvature_start).abs();
                    let wheels_deg = (WHEELBASE_M * step).to_degrees();
                    prop_assert!(wheels_deg <= 0.1, "{wheels_deg}");
                }
                // The ends of a lane may cut a piece short.
                for inner in way.pieces.windows(2).skip(1).take(way.pieces.len().saturating_sub(3)) {
                    let step = (inner[1].curvature_start - inner[0].curvature_start).abs();
                    let seconds = 0.5 * (inner[0].distance() + inner[1].distance()) / speed;
                    let wheels_deg_per_s = (WHEELBASE_M * step).to_degrees() / seconds;
                    prop_assert!(wheels_deg_per_s < 15.0, "{wheels_deg_per_s}");
                }
            }
        }
    }

    /// Either direction works the very same pieces of rows.
    #[test]
    fn both_directions_work_the_same_ground() {
        let machine = example::machine();
        let (_, block) = laid(&machine, &[(60.0, 0.25), (60.0, 0.25)]).unwrap();
        for lane in &block.lanes {
            let back = lane.back.as_ref().unwrap();
            for (row, again) in lane.rows.iter().zip(&lane.rows_back) {
                assert_same_place(&machine, (&lane.line, row, row.from), (back, again, again.to));
                assert_same_place(&machine, (&lane.line, row, row.to), (back, again, again.from));
            }
        }
    }

    fn assert_same_place(
        machine: &Machine,
        (line, row, along): (&Path, &RowSpan, f64),
        (back, again, along_back): (&Path, &RowSpan, f64),
    ) {
        let tool = |way: &Path, span: &RowSpan, along: f64| {
            let right = machine.row_offsets[span.tool_row].to_m();
            way.pose_at(along).ground(machine.tool_forward.to_m(), right)
        };
        let apart = crate::geometry::distance(tool(line, row, along), tool(back, again, along_back));
        assert!(apart < 0.000_7, "{apart} m apart at {row:?}");
    }

    /// A bend tighter than the tool's leaving of it allows is followed as nearly as it may be.
    #[test]
    fn a_tight_corner_is_rounded() {
        let machine = example::machine();
        let (zone, block) = laid(&machine, &[(70.0, 0.0), (4.0, 0.4), (70.0, 0.0)]).unwrap();
        let sharpest =
            block.lanes.iter().flat_map(|lane| &lane.line.pieces).map(Piece::sharpest).fold(0.0, f64::max);
        // w a² κ² / 2 stays below a millimetre.
        assert!(sharpest < num::sqrt(2.0 * 0.001 / 2.7) / 1.2, "{sharpest}");
        assert!(region::area(&block.worked) > 0.9 * region::area(&zone));
    }
}
