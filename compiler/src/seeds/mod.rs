//! Every seed of a field, as lattice runs.
//!
//! In: the lanes with each tool row's beginning and end, the spacing and the machine. Out: runs of
//! consecutive lattice indices. In a straight block seed `m` of row `k` lies at
//! `(m + phase(k)) · spacing` from the datum along the heading, `k` row spacings to its right, where
//! `phase(k)` is the fraction of `k · stagger`; it depends on no lane, so rows of different lanes
//! line up and any later pass finds the same places. Along a contour lane or a headland lap seeds are
//! spaced by arc length on the row's own way; along a contour, too, `phase(k)` shifts a row's first. A span takes the indices from its beginning up to, but not
//! including, its end: spans that abut share no seed.

use crate::check::{Machine, Spacing};
use crate::geometry::{Path, Point, Pose, angle_of_heading, distance};
use crate::lanes::{BlockIdx, Course, Lane, LaneIdx, LanePlan, RowSpan};
use crate::num;
use lanewright_schema::quantity::Heading;

mod course;

pub use course::course_of;

/// All seeds of one field.
#[derive(Clone, Debug)]
pub struct SeedMap {
    /// In order of block, row, first index.
    pub runs: Vec<SeedRun>,
    /// Distance between seeds along a row, metres.
    pub spacing_m: f64,
}

/// Consecutive seeds of one row.
#[derive(Clone, Debug)]
pub struct SeedRun {
    /// The block whose lattice numbers it.
    pub block: BlockIdx,
    /// The lane that sows it.
    pub lane: LaneIdx,
    /// The tool row that sows it when the lane's `line` is driven.
    pub tool_row: usize,
    /// Row number in the block's lattice.
    pub row: i64,
    /// Lattice index of the first seed.
    pub first: i64,
    /// How many seeds, at least one.
    pub count: u32,
    /// The way of the row from the first seed to the last.
    pub course: RowCourse,
}

/// The way of a run.
#[derive(Clone, Debug)]
pub enum RowCourse {
    /// A straight line.
    Straight {
        /// The first seed.
        from: Point,
        /// Angle of the row, radians counter-clockwise from east.
        angle: f64,
    },
    /// A curve, by its arc length.
    Curved(Path),
}

/// A share of a seed spacing within which a bound counts as on a lattice place, so that rounding in
/// two neighbouring spans cannot give the place to both or to none.
const ON_PLACE: f64 = 1e-6;
/// Where a lap closes, its last seed stays at least this share of a spacing from its first: nearer,
/// the two would be a multiple by ISO 7256-1.
const CLOSEST_AT_CLOSURE: f64 = 0.5;

/// Lays the seeds of a field.
pub fn seeds(plan: &LanePlan, spacing: &Spacing, machine: &Machine) -> SeedMap {
    let spacing_m = spacing.between_seeds.to_m();
    let mut spans: Vec<(BlockIdx, i64, f64, LaneIdx, RowSpan)> = plan
        .lanes
        .iter()
        .enumerate()
        .flat_map(|(index, lane)| {
            lane.rows.iter().map(move |&span| (lane.block, span.row, LaneIdx(index), span))
        })
        .map(|(block, row, lane, span)| {
            let order = order_in_row(&plan.blocks[block.0].course, &plan.lanes[lane.0], &span, machine);
            (block, row, order, lane, span)
        })
        .collect();
    spans.sort_by(|a, b| (a.0, a.1).cmp(&(b.0, b.1)).then(a.2.total_cmp(&b.2)).then(a.3.cmp(&b.3)));

    let mut runs: Vec<SeedRun> = Vec::with_capacity(spans.len());
    for (block, row, _, lane, span) in spans {
        let row_begin =
            runs.iter().rposition(|run| (run.block, run.row) != (block, row)).map_or(0, |i| i + 1);
        let in_row = &runs[row_begin..];
        let tool = Tool { lane: &plan.lanes[lane.0], span, machine };
        let laid = match &plan.blocks[block.0].course {
            Course::Straight { heading, datum } => {
                Lattice { heading: *heading, datum: *datum, spacing }.run(&tool, in_row.last())
            }
            Course::Contour { .. } => {
                let phase = (row as f64 * spacing.stagger).rem_euclid(1.0);
                along_way(&tool, spacing_m, phase * spacing_m, in_row)
            }
            Course::Lap { .. } => along_way(&tool, spacing_m, 0.0, in_row),
        };
        runs.extend(laid.map(|(first, count, course)| SeedRun {
            block,
            lane,
            tool_row: span.tool_row,
            row,
            first,
            count,
            course,
        }));
    }
    SeedMap { runs, spacing_m }
}

impl SeedMap {
    /// How many seeds there are.
    pub fn count(&self) -> u64 {
        self.runs.iter().map(|run| u64::from(run.count)).sum()
    }
}

impl SeedRun {
    /// Where its seeds lie, in order of their indices, one at a time.
    pub fn positions(&self, spacing_m: f64) -> Positions<'_> {
        let steps = match &self.course {
            RowCourse::Straight { from, angle } => {
                let (sin, cos) = num::sin_cos(*angle);
                Steps::Straight { from: *from, step: Point { x: spacing_m * cos, y: spacing_m * sin } }
            }
            RowCourse::Curved(path) => {
                Steps::Curved { path, piece: 0, start: path.start, passed: 0.0, spacing_m }
            }
        };
        Positions { next: 0, count: self.count, steps }
    }

    fn start(&self) -> Point {
        match &self.course {
            RowCourse::Straight { from, .. } => *from,
            RowCourse::Curved(path) => path.start.at,
        }
    }

    fn end(&self, spacing_m: f64) -> Point {
        match &self.course {
            RowCourse::Straight { .. } => self.line(spacing_m, spacing_m)[1],
            RowCourse::Curved(path) => path.end().at,
        }
    }

    /// The first seed and the step from one seed to the next, where the row is straight.
    pub fn straight_step(&self, spacing_m: f64) -> Option<(Point, Point)> {
        match self.course {
            RowCourse::Straight { from, angle } => {
                let (sin, cos) = num::sin_cos(angle);
                Some((from, Point { x: spacing_m * cos, y: spacing_m * sin }))
            }
            RowCourse::Curved(_) => None,
        }
    }

    /// The line from the first seed to the last: two points where straight, else so many that no
    /// chord leaves the way by more than `tolerance_m`.
    pub fn line(&self, spacing_m: f64, tolerance_m: f64) -> Vec<Point> {
        match &self.course {
            RowCourse::Straight { from, angle } => {
                let (sin, cos) = num::sin_cos(*angle);
                let length = spacing_m * f64::from(self.count - 1);
                vec![*from, Point { x: from.x + length * cos, y: from.y + length * sin }]
            }
            RowCourse::Curved(path) => path.sampled(tolerance_m).poses.into_iter().map(|p| p.at).collect(),
        }
    }
}

/// The seeds of a run, made one at a time.
pub struct Positions<'a> {
    next: u32,
    count: u32,
    steps: Steps<'a>,
}

enum Steps<'a> {
    Straight { from: Point, step: Point },
    Curved { path: &'a Path, piece: usize, start: Pose, passed: f64, spacing_m: f64 },
}

impl Iterator for Positions<'_> {
    type Item = Point;

    fn next(&mut self) -> Option<Point> {
        if self.next == self.count {
            return None;
        }
        let index = f64::from(self.next);
        self.next += 1;
        Some(match &mut self.steps {
            Steps::Straight { from, step } => {
                Point { x: from.x + index * step.x, y: from.y + index * step.y }
            }
            Steps::Curved { path, piece, start, passed, spacing_m } => {
                let distance = index * *spacing_m;
                while let Some(current) = path.pieces.get(*piece) {
                    let is_last = *piece + 1 == path.pieces.len();
                    if distance <= *passed + current.distance() || is_last {
                        break;
                    }
                    *passed += current.distance();
                    *start = current.end(*start);
                    *piece += 1;
                }
                match path.pieces.get(*piece) {
                    Some(current) => {
                        current.pose_after(*start, (distance - *passed).clamp(0.0, current.distance())).at
                    }
                    None => path.start.at,
                }
            }
        })
    }

    fn size_hint(&self) -> (usize, Option<usize>) {
        let left = (self.count - self.next) as usize;
        (left, Some(left))
    }
}

impl ExactSizeIterator for Positions<'_> {}

/// One tool row in one span of a lane.
struct Tool<'a> {
    lane: &'a Lane,
    span: RowSpan,
    machine: &'a Machine,
}

impl Tool<'_> {
    fn forward_m(&self) -> f64 {
        self.machine.tool_forward.to_m()
    }

    fn right_m(&self) -> f64 {
        self.machine.row_offsets[self.span.tool_row].to_m()
    }

    fn at(&self, along_m: f64) -> Point {
        self.lane.line.pose_at(along_m).ground(self.forward_m(), self.right_m())
    }

    fn way(&self) -> Path {
        course_of(&self.lane.line.between(self.span.from, self.span.to), self.forward_m(), self.right_m())
    }
}

fn order_in_row(course: &Course, lane: &Lane, span: &RowSpan, machine: &Machine) -> f64 {
    match course {
        Course::Straight { heading, datum } => {
            let tool = Tool { lane, span: *span, machine };
            along(*heading, *datum, tool.at(span.from)).min(along(*heading, *datum, tool.at(span.to)))
        }
        Course::Contour { .. } | Course::Lap { .. } => 0.0,
    }
}

fn along(heading: Heading, datum: Point, point: Point) -> f64 {
    let (sin, cos) = num::sin_cos(angle_of_heading(heading));
    (point.x - datum.x) * cos + (point.y - datum.y) * sin
}

/// The lattice of a straight block.
struct Lattice<'a> {
    heading: Heading,
    datum: Point,
    spacing: &'a Spacing,
}

impl Lattice<'_> {
    fn run(&self, tool: &Tool, before: Option<&SeedRun>) -> Option<(i64, u32, RowCourse)> {
        let spacing_m = self.spacing.between_seeds.to_m();
        let row = tool.span.row as f64;
        let phase = (row * self.spacing.stagger).rem_euclid(1.0);
        let place = |along_m: f64| {
            let at = along(self.heading, self.datum, tool.at(along_m)) / spacing_m - phase;
            (at - ON_PLACE).ceil() as i64
        };
        let (a, b) = (place(tool.span.from), place(tool.span.to));
        let taken = before.map_or(i64::MIN, |run| run.first + i64::from(run.count));
        let first = a.min(b).max(taken);
        let count = u32::try_from(a.max(b) - first).ok().filter(|&count| count > 0)?;

        let angle = angle_of_heading(self.heading);
        let (sin, cos) = num::sin_cos(angle);
        let (forward, right) = ((first as f64 + phase) * spacing_m, row * self.spacing.between_rows.to_m());
        let from = Point {
            x: self.datum.x + forward * cos + right * sin,
            y: self.datum.y + forward * sin - right * cos,
        };
        Some((first, count, RowCourse::Straight { from, angle }))
    }
}

/// Seeds along a curved row, the first so many metres behind its begin. Where a span begins less than a spacing behind the row's last seed, the
/// spacing runs on; else it begins anew. Where a lap closes, no seed falls beside its first.
fn along_way(tool: &Tool, spacing_m: f64, begin_m: f64, row: &[SeedRun]) -> Option<(i64, u32, RowCourse)> {
    let way = tool.way();
    let (first, offset) = match row.last() {
        None => (0, begin_m),
        Some(before) => {
            let gap = distance(way.start.at, before.end(spacing_m));
            (before.first + i64::from(before.count), (spacing_m - gap).max(0.0))
        }
    };
    let mut count = ((way.length() - offset) / spacing_m - ON_PLACE).ceil().max(0.0) as u32;
    let begin = row.first().map_or_else(|| way.pose_at(offset).at, SeedRun::start);
    while count > 1 {
        let last = way.pose_at(offset + f64::from(count - 1) * spacing_m).at;
        if distance(last, begin) >= CLOSEST_AT_CLOSURE * spacing_m {
            break;
        }
        count -= 1;
    }
    let course = way.between(offset, offset + f64::from(count.checked_sub(1)?) * spacing_m);
    Some((first, count, RowCourse::Curved(course)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::{Gear, Piece};
    use crate::lanes::{Block, LaneAreas};
    use crate::site::example;
    use geo::MultiPolygon;
    use lanewright_schema::quantity::Length;
    use proptest::prelude::*;
    use std::collections::BTreeSet;

    fn plan(course: Course, lanes: Vec<Lane>) -> LanePlan {
        LanePlan {
            blocks: vec![Block { zone: MultiPolygon(vec![]), course }],
            lanes,
            headland: MultiPolygon(vec![]),
            left_over: vec![],
            areas: LaneAreas::default(),
        }
    }

    fn lane(line: Path, rows: Vec<RowSpan>) -> Lane {
        Lane { block: BlockIdx(0), line, back: None, rows, rows_back: Vec::new() }
    }

    fn spacing(between_seeds: Length, stagger: f64) -> Spacing {
        Spacing { between_seeds, stagger, ..example::field().spacing }
    }

    /// A lane of the straight lattice, driven along the heading or against it, so that the bar's
    /// middle runs between rows `6·number + 2` and `6·number + 3`; every row is worked from `from`
    /// to `to` metres along the heading from the datum's line across.
    fn straight_lane(heading: Heading, datum: Point, number: i64, cuts: &[f64], against: bool) -> Lane {
        let (machine, angle) = (example::machine(), angle_of_heading(heading));
        let lattice = Pose { at: datum, angle };
        let middle = (6.0 * number as f64 + 2.5) * machine.row_spacing.to_m();
        let tool = machine.tool_forward.to_m();
        let (low, high) = (cuts[0], cuts[cuts.len() - 1]);
        let (start, end) = if against { (high + tool, low + tool) } else { (low - tool, high - tool) };
        let line = Path::straight(lattice.ground(start, middle), lattice.ground(end, middle));
        let rows = cuts
            .windows(2)
            .flat_map(|w| (0_u8..6).map(move |row| (row, w[0], w[1])))
            .map(|(row, from, to)| RowSpan {
                tool_row: usize::from(if against { 5 - row } else { row }),
                row: 6 * number + i64::from(row),
                from: if against { high - to } else { from - low },
                to: if against { high - from } else { to - low },
            })
            .collect();
        lane(line, rows)
    }

    proptest! {
        /// Every lattice place of a row between the span's ends holds one seed, whichever way the
        /// lane is driven and however it is cut, and nothing else does.
        #[test]
        fn each_place_of_the_lattice_is_sown_once(
            degrees in 0.0..360.0_f64, datum in (-200.0..200.0_f64, -200.0..200.0_f64),
            seed_mm in 20_u32..500, stagger in prop_oneof![Just(0.0), Just(0.5), 0.0..1.0_f64],
            low in -150.0..100.0_f64, pieces in prop::collection::vec(0.01..40.0_f64, 1..5),
            number in -4_i64..4, against in any::<bool>(),
        ) {
            let (heading, datum) = (Heading::degrees(degrees), Point { x: datum.0, y: datum.1 });
            let cuts: Vec<f64> = pieces.iter().fold(vec![low], |mut cuts, piece| {
                cuts.push(cuts[cuts.len() - 1] + piece);
                cuts
            });
            let between_seeds = Length::mm(f64::from(seed_mm));
            let lanes = vec![straight_lane(heading, datum, number, &cuts, against)];
            let map = seeds(
                &plan(Course::Straight { heading, datum }, lanes),
                &spacing(between_seeds, stagger),
                &example::machine(),
            );
            let lattice = Pose { at: datum, angle: angle_of_heading(heading) };
            let mut seen = BTreeSet::new();
            for run in &map.runs {
                for (place, seed) in (run.first..).zip(run.positions(map.spacing_m)) {
                    prop_assert!(seen.insert((run.row, place)), "sown twice");
                    let (forward, right) = lattice.body(seed);
                    let phase = (run.row as f64 * stagger).rem_euclid(1.0);
                    prop_assert!((forward - (place as f64 + phase) * map.spacing_m).abs() < 1e-8);
                    prop_assert!((right - run.row as f64 * 0.45).abs() < 1e-8);
                    prop_assert!(forward > low - 1e-6 && forward < cuts[cuts.len() - 1] + 1e-6);
                }
            }
            for row in 6 * number..6 * number + 6 {
                let sown = seen.range((row, i64::MIN)..=(row, i64::MAX)).count() as f64;
                let expected = (cuts[cuts.len() - 1] - low) / map.spacing_m;
                prop_assert!((sown - expected).abs() < 1.0 + 1e-6, "{sown} of {expected}");
            }
            prop_assert_eq!(seen.len() as u64, map.count());
        }

        /// Along a lap, neighbours are one spacing apart by arc length, hence no farther apart in
        /// a straight line and at least half a spacing where the lap closes.
        #[test]
        fn seeds_along_a_lap_keep_their_spacing(
            radius in 4.0..20.0_f64, side in 20.0..80.0_f64, seed_mm in 30_u32..300,
        ) {
            let corner = Piece::arc(Gear::Forward, radius * num::PI / 2.0, 1.0 / radius);
            let edge = Piece::straight(Gear::Forward, side);
            let line = Path { start: Pose::new(0.0, 0.0, 0.3), pieces: [edge, corner].repeat(4) };
            let rows = (0_u8..6)
                .map(|row| RowSpan { tool_row: row.into(), row: row.into(), from: 0.0, to: line.length() })
                .collect();
            let mut machine = example::machine();
            machine.tool_forward = Length::ZERO;
            let spacing = spacing(Length::mm(f64::from(seed_mm)), 0.0);
            let map = seeds(&plan(Course::Lap { lap: 1 }, vec![lane(line.clone(), rows)]), &spacing, &machine);
            prop_assert_eq!(map.runs.len(), 6);
            for run in &map.runs {
                let places: Vec<Point> = run.positions(map.spacing_m).collect();
                let shrunk = 1.0 - (map.spacing_m / (radius - 1.2)).powi(2) / 20.0;
                for pair in places.windows(2) {
                    let apart = distance(pair[0], pair[1]);
                    prop_assert!(apart <= map.spacing_m + 1e-9 && apart > shrunk * map.spacing_m, "{apart}");
                }
                let closure = distance(places[0], places[places.len() - 1]);
                prop_assert!(closure >= 0.5 * map.spacing_m && closure < 1.6 * map.spacing_m, "{closure}");
                let last = *run.line(map.spacing_m, 0.001).last().unwrap();
                prop_assert!(distance(last, places[places.len() - 1]) < 1e-9);
            }
        }
    }

    /// Reference check C1: 0.45 m between rows and 0.18 m between seeds make 123 457 seeds a hectare.
    #[test]
    fn a_hectare_holds_what_its_spacing_says() {
        let (heading, datum) = (Heading::degrees(0.0), Point { x: 0.0, y: 0.0 });
        let lanes: Vec<Lane> =
            (0..20).map(|n| straight_lane(heading, datum, n, &[0.0, 180.0], n % 2 == 1)).collect();
        let hectares = 20.0 * 2.7 * 180.0 / 1e4;
        let spacing = spacing(Length::cm(18.0), 0.0);
        let map = seeds(&plan(Course::Straight { heading, datum }, lanes), &spacing, &example::machine());
        assert!((map.count() as f64 / hectares - 123_457.0).abs() < 1.0, "{}", map.count());
    }

    #[test]
    fn a_lap_cut_in_two_runs_on() {
        let line = Path::straight(Point { x: 0.0, y: 0.0 }, Point { x: 100.0, y: 0.0 });
        let span = |from, to| RowSpan { tool_row: 2, row: 2, from, to };
        let lanes = vec![lane(line.clone(), vec![span(0.0, 33.33)]), lane(line, vec![span(33.33, 100.0)])];
        let spacing = spacing(Length::cm(18.0), 0.0);
        let map = seeds(&plan(Course::Lap { lap: 1 }, lanes), &spacing, &example::machine());
        let places: Vec<Point> = map.runs.iter().flat_map(|r| r.positions(0.18)).collect();
        assert_eq!(places.len(), 556);
        assert!(places.windows(2).all(|w| (distance(w[0], w[1]) - 0.18).abs() < 1e-9));
        assert_eq!(map.runs[1].first, i64::from(map.runs[0].count));
    }
}
