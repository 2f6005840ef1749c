//! Every seed of a field, as lattice runs.
//!
//! In: the lanes with each tool row's beginning and end, the direction in which each lane is driven,
//! the spacing and the machine. Out: runs of consecutive lattice places. In a straight block place `m`
//! of row `k` lies at `(m + phase(k)) · spacing` from the datum along the heading, `k` row spacings to
//! its right, where `phase(k)` is the fraction of `k · stagger`; it depends on no lane, so rows of
//! different lanes line up and any later pass finds the same places. Along a contour lane or a headland
//! lap places are spaced by arc length on the row's own way; along a contour, too, `phase(k)` shifts a
//! row's first. A single seed lies on its place, a hill with its middle.
//! In a field with treatment zones a zone has a lattice of its own from the same datum, its spacing a
//! whole number of parts of the field's (`zones`); along bends the spacing changes where the row enters
//! the zone. A zone may have a pattern of its own, too. So it is with blocks that have a rate or a pattern of
//! their own.
//! A span takes the places from its beginning up to, but not including, its end, and every seed of a
//! hill lies within it: spans that abut share no seed.

use crate::check::{Machine, Pattern, Spacing, Stand};
use crate::geometry::{Path, Point, angle_of_heading};
use crate::lanes::{BlockIdx, Course, Lane, LaneIdx, LanePlan, RowSpan};
use crate::num;
use crate::route::Visit;
use crate::site::SiteZones;
use lanewright_schema::quantity::{Heading, Length};

mod by_block;
mod course;
mod lay;
mod positions;
mod unsown;
mod zones;

pub use by_block::zones_of;
pub use course::course_of;
pub use positions::Positions;
pub use unsown::sown_rows;

use lay::{Laid, Lattice, Tool, along_way, stretches_along};

/// All seeds of one field.
#[derive(Clone, Debug)]
pub struct SeedMap {
    /// In order of block, row, first index.
    pub runs: Vec<SeedRun>,
}

/// Consecutive places of one row.
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
    /// The treatment zone that it lies in.
    pub zone: Option<usize>,
    /// Lattice index of the first place.
    pub first: i64,
    /// From the index of a place to that of the next.
    pub step: u32,
    /// How many places, at least one.
    pub count: u32,
    /// Metres from place to place.
    pub spacing_m: f64,
    /// What lies at a place.
    pub pattern: Pattern,
    /// The way of the row from the first seed of the first place to the last seed of the last.
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

/// Lays the seeds of a field whose lanes are driven as the visits say, on all that their rows work.
pub fn seeds(
    plan: &LanePlan,
    visits: &[Visit],
    spacing: &Spacing,
    zones: &SiteZones,
    machine: &Machine,
) -> SeedMap {
    let rows = RowEnds::of(plan, machine);
    let backward = backward(plan, visits);
    let tool_rows = machine.row_offsets.len();
    let mut runs: Vec<SeedRun> = Vec::with_capacity(rows.0.len());
    for at in 0..rows.0.len() {
        let Placed { block, lane, span, .. } = rows.0[at];
        let row_begin =
            runs.iter().rposition(|run| (run.block, run.row) != (block, span.row)).map_or(0, |i| i + 1);
        let tool = Tool { lane: &plan.lanes[lane.0], span, machine };
        let over = if backward[lane.0] { tool_rows - 1 - span.tool_row } else { span.tool_row };
        let stand = spacing.stand(over);
        let run = |Laid { zone, step, spacing_m, pattern, first, count, course }: Laid| SeedRun {
            block,
            lane,
            tool_row: span.tool_row,
            row: span.row,
            zone,
            first,
            step,
            count,
            spacing_m,
            pattern,
            course,
        };
        let phase = match &plan.blocks[block.0].course {
            Course::Straight { heading, datum } => {
                let lattice = Lattice { heading: *heading, datum: *datum, spacing, stand };
                let laid = lattice.runs(&tool, rows.goes_on(at), runs[row_begin..].last(), zones);
                runs.extend(laid.into_iter().map(run));
                continue;
            }
            Course::Contour => (span.row as f64 * spacing.stagger).rem_euclid(1.0),
            Course::Lap { .. } => 0.0,
        };
        for stretch in stretches_along(&tool, stand, zones) {
            let stand = stretch.rate.stand(stand, zones.parts);
            let laid = (stretch.rate.step > 0)
                .then(|| along_way(&stretch, stand, phase * stand.spacing.to_m(), &runs[row_begin..]))
                .flatten();
            runs.extend(laid.map(run));
        }
    }
    SeedMap { runs }
}

/// For each lane, whether it is driven against its line.
fn backward(plan: &LanePlan, visits: &[Visit]) -> Vec<bool> {
    let mut backward = vec![false; plan.lanes.len()];
    for visit in visits {
        backward[visit.lane.0] = !visit.along;
    }
    backward
}

/// A span of a row in its block; in a straight block with both ends along the heading.
#[derive(Copy, Clone)]
struct Placed {
    block: BlockIdx,
    lane: LaneIdx,
    span: RowSpan,
    ends_m: [f64; 2],
}

/// Ends of one row so near to each other are one place where it goes on, metres.
const ABUTTING_M: f64 = 1e-6;

/// All spans in order of block, row, place in the row.
struct RowEnds(Vec<Placed>);

impl RowEnds {
    fn of(plan: &LanePlan, machine: &Machine) -> Self {
        let spans = plan.lanes.iter().enumerate().flat_map(|(index, lane)| {
            let course = &plan.blocks[lane.block.0].course;
            lane.rows.iter().map(move |&span| Placed {
                block: lane.block,
                lane: LaneIdx(index),
                span,
                ends_m: ends(course, lane, span, machine),
            })
        });
        let mut spans: Vec<Placed> = spans.collect();
        spans.sort_by(|a, b| {
            (a.block, a.span.row)
                .cmp(&(b.block, b.span.row))
                .then(a.ends_m[0].total_cmp(&b.ends_m[0]))
                .then(a.lane.cmp(&b.lane))
        });
        for row in spans.chunk_by_mut(|a, b| (a.block, a.span.row) == (b.block, b.span.row)) {
            if matches!(plan.blocks[row[0].block.0].course, Course::Contour) {
                put_in_order_along(row, plan, machine);
            }
        }
        Self(spans)
    }

    /// Whether the row ends at either end of this span, rather than going on in another.
    fn free_ends(&self, at: usize) -> [bool; 2] {
        let here = &self.0[at];
        let goes_on = |other: Option<&Placed>, end: usize| {
            other.is_some_and(|other| {
                (other.block, other.span.row) == (here.block, here.span.row)
                    && (other.ends_m[1 - end] - here.ends_m[end]).abs() < ABUTTING_M
            })
        };
        let before = at.checked_sub(1).and_then(|before| self.0.get(before));
        [!goes_on(before, 0), !goes_on(self.0.get(at + 1), 1)]
    }

    /// Where the row begins and ends that this span is a part of, the spans taken together that abut.
    fn goes_on(&self, at: usize) -> [f64; 2] {
        let first = (0..=at).rev().find(|&span| self.free_ends(span)[0]).unwrap_or(at);
        let last = (at..self.0.len()).find(|&span| self.free_ends(span)[1]).unwrap_or(at);
        [self.0[first].ends_m[0], self.0[last].ends_m[1]]
    }
}

/// Brings the spans of one row along a curve into the order in which they lie along it, whichever
/// lanes work them.
fn put_in_order_along(row: &mut [Placed], plan: &LanePlan, machine: &Machine) {
    let lies_before = |a: &Placed, b: &Placed| {
        let [ahead, behind] =
            [a, b].map(|placed| Tool { lane: &plan.lanes[placed.lane.0], span: placed.span, machine });
        let end = ahead.lane.line.pose_at(a.span.to);
        let middle = behind.at(f64::midpoint(b.span.from, b.span.to));
        end.body(middle).0 > machine.tool_forward.to_m()
    };
    for next in 1..row.len() {
        let after = (0..next).find(|&laid| lies_before(&row[next], &row[laid]));
        if let Some(after) = after {
            row[after..=next].rotate_right(1);
        }
    }
}

fn ends(course: &Course, lane: &Lane, span: RowSpan, machine: &Machine) -> [f64; 2] {
    match course {
        Course::Straight { heading, datum } => {
            let tool = Tool { lane, span, machine };
            let [a, b] = [span.from, span.to].map(|at| along(*heading, *datum, tool.at(at)));
            [a.min(b), a.max(b)]
        }
        Course::Contour | Course::Lap { .. } => [0.0; 2],
    }
}

/// Metres from the datum along the heading.
fn along(heading: Heading, datum: Point, point: Point) -> f64 {
    let (sin, cos) = num::sin_cos(angle_of_heading(heading));
    (point.x - datum.x) * cos + (point.y - datum.y) * sin
}

impl SeedMap {
    /// How many seeds there are.
    pub fn count(&self) -> u64 {
        self.runs.iter().map(SeedRun::seeds).sum()
    }
}

impl SeedRun {
    /// The index of its last place.
    pub fn last(&self) -> i64 {
        self.first + i64::from(self.count - 1) * i64::from(self.step)
    }

    /// The number of its first place among those of its own spacing.
    pub fn number(&self) -> i64 {
        self.first.div_euclid(i64::from(self.step))
    }

    /// How it is sown.
    pub fn stand(&self) -> Stand {
        Stand { spacing: Length::m(self.spacing_m), pattern: self.pattern }
    }

    /// How many seeds it has.
    pub fn seeds(&self) -> u64 {
        u64::from(self.count) * u64::from(self.pattern.seeds())
    }

    /// Where its seeds lie, place by place, one at a time.
    pub fn positions(&self) -> Positions<'_> {
        Positions::of(self)
    }

    /// Metres along the row from the first seed of a place to each of its seeds.
    pub fn members(&self) -> impl Iterator<Item = f64> + use<> {
        members(self.pattern)
    }

    /// Metres along the row from its first seed to its last.
    pub fn length_m(&self) -> f64 {
        self.spacing_m * f64::from(self.count - 1) + self.pattern.length().to_m()
    }

    fn start(&self) -> Point {
        match &self.course {
            RowCourse::Straight { from, .. } => *from,
            RowCourse::Curved(path) => path.start.at,
        }
    }

    fn end(&self) -> Point {
        match &self.course {
            RowCourse::Straight { .. } => self.line(1.0)[1],
            RowCourse::Curved(path) => path.end().at,
        }
    }

    /// The first seed, and the step from one place to the next, where the row is straight.
    pub fn straight_step(&self) -> Option<(Point, Point)> {
        match self.course {
            RowCourse::Straight { from, angle } => {
                let (sin, cos) = num::sin_cos(angle);
                Some((from, Point { x: self.spacing_m * cos, y: self.spacing_m * sin }))
            }
            RowCourse::Curved(_) => None,
        }
    }

    /// The line from the first seed to the last: two points where straight, else so many that no
    /// chord leaves the way by more than `tolerance_m`.
    pub fn line(&self, tolerance_m: f64) -> Vec<Point> {
        match &self.course {
            RowCourse::Straight { from, angle } => {
                let (sin, cos) = num::sin_cos(*angle);
                let length = self.length_m();
                vec![*from, Point { x: from.x + length * cos, y: from.y + length * sin }]
            }
            RowCourse::Curved(path) => path.sampled(tolerance_m).poses.into_iter().map(|p| p.at).collect(),
        }
    }
}

/// Metres along the row from the first seed of a place to each of its seeds.
pub fn members(pattern: Pattern) -> impl Iterator<Item = f64> + use<> {
    let (seeds, length_m) = (pattern.seeds(), pattern.length().to_m());
    let gaps = f64::from(seeds.saturating_sub(1).max(1));
    (0..seeds).map(move |seed| f64::from(seed) * length_m / gaps)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::check::Rate;
    use crate::geometry::{Gear, Piece, Pose, distance};
    use crate::lanes::{Block, LaneAreas, LeftOverReason};
    use crate::site::{SiteZone, example};
    use geo::MultiPolygon;
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

    /// The seeds of what is to be sown.
    fn sown(plan: LanePlan, spacing: &Spacing, zones: &SiteZones) -> SeedMap {
        let machine = example::machine();
        seeds(&sown_rows(plan, spacing, zones, &machine), &[], spacing, zones, &machine)
    }

    fn lane(line: Path, rows: Vec<RowSpan>) -> Lane {
        Lane { block: BlockIdx(0), line, back: None, rows, rows_back: Vec::new() }
    }

    fn spacing(between_seeds: Length, stagger: f64) -> Spacing {
        Spacing { between_seeds, stagger, ..example::field().spacing }
    }

    /// Round a straight lane's line.
    fn outline(lane: &Lane) -> MultiPolygon {
        let (a, b) = (lane.line.start.at, lane.line.end().at);
        geo::Rect::new(Point { x: a.x - 0.1, y: a.y }, Point { x: b.x + 0.1, y: b.y }).to_polygon().into()
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
                &[],
                &spacing(between_seeds, stagger),
                &SiteZones::none(),
                &example::machine(),
            );
            let lattice = Pose { at: datum, angle: angle_of_heading(heading) };
            let spacing_m = between_seeds.to_m();
            let mut seen = BTreeSet::new();
            for run in &map.runs {
                for (place, seed) in (run.first..).zip(run.positions()) {
                    prop_assert!(seen.insert((run.row, place)), "sown twice");
                    let (forward, right) = lattice.body(seed);
                    let phase = (run.row as f64 * stagger).rem_euclid(1.0);
                    prop_assert!((forward - (place as f64 + phase) * spacing_m).abs() < 1e-8);
                    prop_assert!((right - run.row as f64 * 0.45).abs() < 1e-8);
                    prop_assert!(forward > low - 1e-6 && forward < cuts[cuts.len() - 1] + 1e-6);
                }
            }
            for row in 6 * number..6 * number + 6 {
                let sown = seen.range((row, i64::MIN)..=(row, i64::MAX)).count() as f64;
                let expected = (cuts[cuts.len() - 1] - low) / spacing_m;
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
            let map = seeds(&plan(Course::Lap { lap: 1 }, vec![lane(line.clone(), rows)]), &[], &spacing, &SiteZones::none(), &machine);
            prop_assert_eq!(map.runs.len(), 6);
            let spacing_m = spacing.between_seeds.to_m();
            for run in &map.runs {
                let places: Vec<Point> = run.positions().collect();
                let shrunk = 1.0 - (spacing_m / (radius - 1.2)).powi(2) / 20.0;
                for pair in places.windows(2) {
                    let apart = distance(pair[0], pair[1]);
                    prop_assert!(apart <= spacing_m + 1e-9 && apart > shrunk * spacing_m, "{apart}");
                }
                let closure = distance(places[0], places[places.len() - 1]);
                prop_assert!(closure >= 0.5 * spacing_m && closure < 1.6 * spacing_m, "{closure}");
                let last = *run.line(0.001).last().unwrap();
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
        let map = seeds(
            &plan(Course::Straight { heading, datum }, lanes),
            &[],
            &spacing,
            &SiteZones::none(),
            &example::machine(),
        );
        assert!((map.count() as f64 / hectares - 123_457.0).abs() < 1.0, "{}", map.count());
    }

    proptest! {
        /// Every seed of a hill lies between the row's ends less their margins, the middle of the
        /// hill on its lattice place, and a row cut in two is sown as if it were not.
        #[test]
        fn hills_stand_on_the_lattice_within_their_row(
            low in -50.0..50.0_f64, length in 5.0..60.0_f64, cut in 0.2..0.8_f64,
            pitch_cm in 20_u32..90, seeds_in in 2_u32..6, share in 0.0..0.9_f64,
            margin in 0.0..1.0_f64, against in any::<bool>(), number in -2_i64..3,
        ) {
            let (heading, datum) = (Heading::degrees(33.0), Point { x: 4.0, y: -7.0 });
            let pitch = Length::cm(pitch_cm.into());
            let pattern = Pattern::Hill { seeds: seeds_in, length: pitch * share };
            let spacing =
                Spacing { pattern, row_end_margin: Length::m(margin), ..spacing(pitch, 0.25) };
            let sown_in = |cuts: &[f64]| {
                let lanes = vec![straight_lane(heading, datum, number, cuts, against)];
                sown(plan(Course::Straight { heading, datum }, lanes), &spacing, &SiteZones::none())
            };
            let (whole, halves) = (sown_in(&[low, low + length]), sown_in(&[low, low + cut * length, low + length]));
            let lattice = Pose { at: datum, angle: angle_of_heading(heading) };
            for run in whole.runs.iter().chain(&halves.runs) {
                let phase = (run.row as f64 * 0.25).rem_euclid(1.0);
                let along: Vec<f64> = run.positions().map(|seed| lattice.body(seed).0).collect();
                prop_assert_eq!(along.len() as u64, run.seeds());
                for (place, hill) in along.chunks(seeds_in as usize).enumerate() {
                    let middle = (run.first as f64 + place as f64 + phase) * pitch.to_m();
                    prop_assert!((0.5 * (hill[0] + hill[hill.len() - 1]) - middle).abs() < 1e-8);
                    prop_assert!(hill[0] >= low + margin - 1e-6);
                    prop_assert!(hill[hill.len() - 1] <= low + length - margin + 1e-6);
                    let step = (pitch * share).to_m() / f64::from(seeds_in - 1);
                    prop_assert!(hill.windows(2).all(|pair| (pair[1] - pair[0] - step).abs() < 1e-8));
                }
            }
            // Only a hill astride the cut may be missing.
            let missing = whole.count() - halves.count();
            prop_assert!(missing <= 6 * u64::from(seeds_in), "{missing}");
            let inner = (length - 2.0 * margin - (pitch * share).to_m()) / pitch.to_m();
            prop_assert!((whole.count() as f64 / f64::from(6 * seeds_in) - inner.max(0.0)).abs() <= 1.0 + 1e-6);
        }
    }

    /// The machine's left row sows another spacing; driven back, that row lies at the other side.
    #[test]
    fn a_tool_row_keeps_its_spacing_whichever_way_it_is_driven() {
        let (heading, datum) = (Heading::degrees(0.0), Point { x: 0.0, y: 0.0 });
        let stand = Stand { spacing: Length::cm(36.0), pattern: Pattern::Single };
        let own_rows = vec![crate::check::OwnRow { tool_row: 0, stand }];
        let spacing = Spacing { own_rows, ..spacing(Length::cm(18.0), 0.0) };
        let lanes = vec![straight_lane(heading, datum, 0, &[0.0, 90.0], false)];
        let plan = plan(Course::Straight { heading, datum }, lanes);
        for (along, wide) in [(true, 0), (false, 5)] {
            let visits = [Visit { lane: LaneIdx(0), along }];
            let map = seeds(&plan, &visits, &spacing, &SiteZones::none(), &example::machine());
            for run in &map.runs {
                let places = if run.row == wide { 250 } else { 500 };
                assert_eq!(run.count, places, "row {} driven along: {along}", run.row);
            }
        }
    }

    #[test]
    fn tramlines_stay_unsown_and_are_left_over() {
        let (heading, datum) = (Heading::degrees(0.0), Point { x: 0.0, y: 0.0 });
        let tramlines = Some(crate::check::Tramlines { every: 3, first: 1, rows: vec![1, 4] });
        let spacing = Spacing { tramlines, ..spacing(Length::cm(18.0), 0.0) };
        let lanes: Vec<Lane> =
            (0..6).map(|n| straight_lane(heading, datum, n, &[0.0, 90.0], n % 2 == 1)).collect();
        let strip = |lane: &Lane| crate::geometry::region::outset(&outline(lane), 5.0);
        let zone =
            crate::geometry::region::union_all(&lanes.iter().flat_map(|l| strip(l).0).collect::<Vec<_>>());
        let mut plan = plan(Course::Straight { heading, datum }, lanes);
        plan.blocks[0].zone = zone;
        let plan = sown_rows(plan, &spacing, &SiteZones::none(), &example::machine());
        assert!((plan.areas.left_over - 4.0 * 90.0 * 0.45).abs() < 1e-3, "{}", plan.areas.left_over);
        assert!(plan.left_over.iter().all(|piece| piece.reason == LeftOverReason::Unsown));
        let map = seeds(&plan, &[], &spacing, &SiteZones::none(), &example::machine());
        let sown: BTreeSet<i64> = map.runs.iter().map(|run| run.row).collect();
        let unsown: Vec<i64> = (0..36).filter(|row| !sown.contains(row)).collect();
        assert_eq!(unsown, [7, 10, 25, 28]);
    }

    #[test]
    fn hills_along_a_lap_run_on() {
        let line = Path {
            start: Pose::new(0.0, 0.0, 0.0),
            pieces: vec![Piece::straight(Gear::Forward, 20.0), Piece::arc(Gear::Forward, 15.0, 0.1)],
        };
        let span = |from, to| RowSpan { tool_row: 2, row: 2, from, to };
        let lanes = vec![lane(line.clone(), vec![span(0.0, 12.0)]), lane(line, vec![span(12.0, 35.0)])];
        let pattern = Pattern::Hill { seeds: 3, length: Length::cm(8.0) };
        let spacing = Spacing { pattern, ..spacing(Length::cm(50.0), 0.0) };
        let mut machine = example::machine();
        machine.tool_forward = Length::ZERO;
        let map = seeds(&plan(Course::Lap { lap: 1 }, lanes), &[], &spacing, &SiteZones::none(), &machine);
        let places: Vec<Point> = map.runs.iter().flat_map(SeedRun::positions).collect();
        assert_eq!(places.len() % 3, 0);
        for hill in places.chunks(3) {
            assert!((distance(hill[0], hill[1]) - 0.04).abs() < 1e-4);
            assert!((distance(hill[1], hill[2]) - 0.04).abs() < 1e-4);
        }
        let firsts: Vec<Point> = places.iter().step_by(3).copied().collect();
        assert!(firsts.windows(2).all(|w| (distance(w[0], w[1]) - 0.5).abs() < 1e-3));
    }

    /// Along a bend of a block with hills, where the field has single seeds, each hill is whole and they are as
    /// far apart as the block's rate says.
    #[test]
    fn hills_of_a_block_run_on_along_a_bend() {
        let line = Path {
            start: Pose::new(0.0, 0.0, 0.0),
            pieces: vec![Piece::straight(Gear::Forward, 20.0), Piece::arc(Gear::Forward, 15.0, 0.1)],
        };
        let lanes = vec![lane(line, vec![RowSpan { tool_row: 2, row: 2, from: 0.0, to: 35.0 }])];
        let pattern = Pattern::Hill { seeds: 3, length: Length::cm(8.0) };
        let around = geo::Rect::new(Point { x: -9.0, y: -9.0 }, Point { x: 60.0, y: 60.0 }).to_polygon();
        let rate = Rate { asked: 1.5, step: 2, pattern: Some(pattern) };
        let zones = SiteZones {
            parts: 1,
            zones: vec![SiteZone::new("block 1".into(), around.into(), rate)],
            elsewhere: Some(Rate::own(1)),
        };
        let mut machine = example::machine();
        machine.tool_forward = Length::ZERO;
        let map =
            seeds(&plan(Course::Contour, lanes), &[], &spacing(Length::cm(25.0), 0.0), &zones, &machine);
        assert_eq!((map.runs.len(), map.runs[0].pattern, map.runs[0].zone), (1, pattern, Some(0)));
        let places: Vec<Point> = map.runs[0].positions().collect();
        for hill in places.chunks(3) {
            assert!((distance(hill[0], hill[2]) - 0.08).abs() < 1e-4);
        }
        let firsts: Vec<Point> = places.iter().step_by(3).copied().collect();
        assert!(firsts.len() > 60 && firsts.windows(2).all(|w| (distance(w[0], w[1]) - 0.5).abs() < 1e-3));
    }

    /// A lane works what another left of a row along a bend, before and behind it.
    #[test]
    fn a_bent_row_runs_on_through_lanes_in_any_order() {
        let line = Path {
            start: Pose::new(0.0, 0.0, 0.0),
            pieces: vec![Piece::straight(Gear::Forward, 50.0), Piece::arc(Gear::Forward, 80.0, 0.015)],
        };
        let span = |from, to| RowSpan { tool_row: 2, row: 2, from, to };
        let middle = lane(line.between(31.0, 97.0), vec![span(0.0, 66.0)]);
        let ends = lane(line, vec![span(0.0, 31.0), span(97.0, 130.0)]);
        let mut machine = example::machine();
        machine.tool_forward = Length::ZERO;
        let plan = plan(Course::Contour, vec![middle, ends]);
        let map = seeds(&plan, &[], &spacing(Length::cm(25.0), 0.0), &SiteZones::none(), &machine);
        assert_eq!(map.runs.iter().map(|run| run.lane.0).collect::<Vec<_>>(), [1, 0, 1]);
        assert!(map.runs.windows(2).all(|pair| pair[1].first == pair[0].last() + 1));
        let places: Vec<Point> = map.runs.iter().flat_map(SeedRun::positions).collect();
        assert!(places.windows(2).all(|w| (distance(w[0], w[1]) - 0.25).abs() < 1e-4));
    }

    #[test]
    fn a_lap_cut_in_two_runs_on() {
        let line = Path::straight(Point { x: 0.0, y: 0.0 }, Point { x: 100.0, y: 0.0 });
        let span = |from, to| RowSpan { tool_row: 2, row: 2, from, to };
        let lanes = vec![lane(line.clone(), vec![span(0.0, 33.33)]), lane(line, vec![span(33.33, 100.0)])];
        let spacing = spacing(Length::cm(18.0), 0.0);
        let map = seeds(
            &plan(Course::Lap { lap: 1 }, lanes),
            &[],
            &spacing,
            &SiteZones::none(),
            &example::machine(),
        );
        let places: Vec<Point> = map.runs.iter().flat_map(|r| r.positions()).collect();
        assert_eq!(places.len(), 556);
        assert!(places.windows(2).all(|w| (distance(w[0], w[1]) - 0.18).abs() < 1e-9));
        assert_eq!(map.runs[1].first, i64::from(map.runs[0].count));
    }

    proptest! {
        /// Through two zones and the soil round them every row keeps its distances, seeds lie on the
        /// lattice of their zone, numbers rise, and no row is longer unsown at its ends than a spacing.
        #[test]
        fn rows_keep_their_distances_through_zones(
            degrees in 0.0..360.0_f64, stagger in 0.0..1.0_f64, steps in prop::array::uniform3(8_u32..25),
            low in -60.0..-40.0_f64, pieces in prop::collection::vec(20.0..60.0_f64, 1..3),
            tilt in -0.5..0.5_f64, against in any::<bool>(),
        ) {
            let (heading, datum) = (Heading::degrees(degrees), Point { x: 3.0, y: -2.0 });
            let lattice = Pose { at: datum, angle: angle_of_heading(heading) };
            let cuts: Vec<f64> = pieces.iter().fold(vec![low], |mut cuts, piece| {
                cuts.push(cuts[cuts.len() - 1] + piece);
                cuts
            });
            let zone = |from: f64, to: f64, step: u32| {
                let corners = [(from, -9.0), (to, -9.0), (to, 9.0), (from, 9.0)];
                let ring = corners.map(|(ahead, right)| lattice.ground(ahead + tilt * right, right));
                let ground = geo::Polygon::new(geo::LineString(ring.to_vec()), vec![]);
                SiteZone::new("zone".into(), ground.into(), Rate { asked: 1.0, step, pattern: None })
            };
            let zones = SiteZones {
                parts: 12,
                zones: vec![zone(-20.0, 5.0, steps[0]), zone(5.0, 30.0, steps[1])],
                elsewhere: Some(Rate { asked: 1.0, step: steps[2], pattern: None }),
            };
            let spacing = spacing(Length::cm(12.0), stagger);
            let lanes = vec![straight_lane(heading, datum, 0, &cuts, against)];
            let map = seeds(
                &plan(Course::Straight { heading, datum }, lanes), &[], &spacing, &zones, &example::machine(),
            );
            for row in 0..6 {
                let runs: Vec<&SeedRun> = map.runs.iter().filter(|run| run.row == row).collect();
                let mut before: Option<(f64, f64)> = None;
                let phase = (row as f64 * stagger).rem_euclid(1.0);
                for run in &runs {
                    for seed in run.positions() {
                        let at = lattice.body(seed).0;
                        let number = at / run.spacing_m - phase;
                        prop_assert!((number - number.round()).abs() < 1e-6);
                        if let Some((last, wide)) = before {
                            let (least, most) = (run.spacing_m.min(wide), run.spacing_m.max(wide));
                            prop_assert!(at - last > least - 1e-6 && at - last < most + 1e-6, "{}", at - last);
                        }
                        before = Some((at, run.spacing_m));
                    }
                }
                prop_assert!(runs.windows(2).all(|pair| pair[1].first > pair[0].last()));
                let ends = [runs[0].positions().next(), runs[runs.len() - 1].positions().last()];
                let [first, last] = ends.map(|end| lattice.body(end.unwrap()).0);
                prop_assert!(first - low < runs[0].spacing_m + 1e-6);
                prop_assert!(cuts[cuts.len() - 1] - last < runs[runs.len() - 1].spacing_m + 1e-6);
            }
        }
    }

    /// A rate whose hills are a share of their spacing long, where parts are a centimetre.
    fn in_zone((step, hill): (u32, Option<(u32, f64)>)) -> Rate {
        let length = |share| Length::cm(f64::from(step) * share);
        let pattern = hill.map(|(seeds, share)| Pattern::Hill { seeds, length: length(share) });
        Rate { asked: 1.0, step, pattern }
    }

    /// How closely three zones are sown, and the hills in each.
    fn three_rates() -> impl Strategy<Value = [(u32, Option<(u32, f64)>); 3]> {
        prop::array::uniform3((8_u32..25, prop::option::of((2_u32..5, 0.0..0.95_f64))))
    }

    /// Two zones side by side along `east`, from one to the next of these metres, and the soil round them.
    fn side_by_side(
        rates: [(u32, Option<(u32, f64)>); 3],
        east: [f64; 3],
        ground: impl Fn(f64, f64) -> Point,
    ) -> SiteZones {
        let zone = |from: f64, to: f64, rate| {
            let ring = [(from, -30.0), (to, -30.0), (to, 60.0), (from, 60.0)].map(|(x, y)| ground(x, y));
            let ground = geo::Polygon::new(geo::LineString(ring.to_vec()), vec![]);
            SiteZone::new("zone".into(), ground.into(), in_zone(rate))
        };
        SiteZones {
            parts: 12,
            zones: vec![zone(east[0], east[1], rates[0]), zone(east[1], east[2], rates[1])],
            elsewhere: Some(in_zone(rates[2])),
        }
    }

    /// The smaller and the larger clear distance of two runs, metres.
    fn clear_of(before: &SeedRun, after: &SeedRun) -> [f64; 2] {
        let [one, other] = [before, after].map(|run| run.stand().clear().to_m());
        [one.min(other), one.max(other)]
    }

    fn common(a: u32, b: u32) -> u32 {
        if b == 0 { a } else { common(b, a % b) }
    }

    proptest! {
        /// Through zones of different patterns, narrow ones among them, the clear distance across each border
        /// lies between those of the two zones, or above the larger by less than what both their spacings are
        /// multiples of; hills are whole, places keep numbers of their own, and row ends are sown.
        #[test]
        fn rows_keep_clear_distances_through_zones_of_patterns(
            degrees in 0.0..360.0_f64, stagger in 0.0..1.0_f64, rates in three_rates(),
            low in -60.0..-40.0_f64, length in 70.0..120.0_f64, cut in 0.1..0.9_f64,
            wide in (0.3..25.0_f64, 0.3..25.0_f64), against in any::<bool>(),
        ) {
            let (heading, datum) = (Heading::degrees(degrees), Point { x: 3.0, y: -2.0 });
            let lattice = Pose { at: datum, angle: angle_of_heading(heading) };
            let zones = side_by_side(rates, [-20.0, wide.0 - 20.0, wide.0 + wide.1 - 20.0], |x, y| lattice.ground(x, y));
            let spacing = spacing(Length::cm(12.0), stagger);
            let whole = [low, low + length];
            let halves = [low, low + cut * length, low + length];
            let course = || Course::Straight { heading, datum };
            for cuts in [&whole[..], &halves[..]] {
                let lanes = vec![straight_lane(heading, datum, 0, cuts, against)];
                let map = seeds(&plan(course(), lanes), &[], &spacing, &zones, &example::machine());
                for row in 0..6 {
                    let runs: Vec<&SeedRun> = map.runs.iter().filter(|run| run.row == row).collect();
                    for run in &runs {
                        let along: Vec<f64> = run.positions().map(|seed| lattice.body(seed).0).collect();
                        prop_assert_eq!(along.len() as u64, run.seeds());
                        prop_assert!(along.windows(2).all(|pair| pair[1] > pair[0] - 1e-9));
                    }
                    for pair in runs.windows(2) {
                        let clear = lattice.body(pair[1].start()).0 - lattice.body(pair[0].end()).0;
                        let [least, most] = clear_of(pair[0], pair[1]);
                        prop_assert!(clear > least - 1e-6, "{clear} of {least}");
                        // At a cut a hill may be missing.
                        if cuts.len() == 2 {
                            let common = f64::from(common(pair[0].step, pair[1].step)) * 0.01;
                            prop_assert!(clear < most + common + 1e-6, "{clear} of {most}");
                        }
                        prop_assert!(pair[1].first > pair[0].last());
                    }
                    let (first, last) = (runs[0], runs[runs.len() - 1]);
                    prop_assert!(lattice.body(first.start()).0 - low < first.spacing_m + 1e-6);
                    prop_assert!(low + length - lattice.body(last.end()).0 < last.spacing_m + 1e-6);
                }
            }
        }

        /// So it is along a bend, where the spacing changes where the row enters a zone.
        #[test]
        fn bent_rows_keep_clear_distances_through_zones_of_patterns(
            rates in three_rates(), enters in 6.0..12.0_f64, wide in 8.0..14.0_f64, stagger in 0.0..1.0_f64,
        ) {
            let line = Path {
                start: Pose::new(0.0, 0.0, 0.0),
                pieces: vec![
                    Piece::straight(Gear::Forward, 20.0),
                    Piece::arc(Gear::Forward, 9.0, 0.1),
                    Piece::straight(Gear::Forward, 20.0),
                ],
            };
            let span = RowSpan { tool_row: 2, row: 2, from: 0.0, to: line.length() };
            let mut machine = example::machine();
            machine.tool_forward = Length::ZERO;
            let zones = side_by_side(rates, [enters, enters + wide, 60.0], |x, y| Point { x, y });
            let plan = plan(Course::Contour, vec![lane(line, vec![span])]);
            let map = seeds(&plan, &[], &spacing(Length::cm(12.0), stagger), &zones, &machine);
            prop_assert_eq!(map.runs.iter().map(|run| run.zone).collect::<Vec<_>>(), [None, Some(0), Some(1)]);
            for pair in map.runs.windows(2) {
                let clear = distance(pair[0].end(), pair[1].start());
                let [least, most] = clear_of(&pair[0], &pair[1]);
                // Chords are shorter than their arcs, by less than this.
                prop_assert!(clear > least - 1e-3 && clear < most + 1e-3, "{clear} of {least} to {most}");
                prop_assert_eq!(pair[1].first, pair[0].last() + 1);
            }
        }
    }
}
