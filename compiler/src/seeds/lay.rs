//! The places of one span of a row: on a straight block's lattice, or along a lap by arc length.
//!
//! In: the lane, the span and the tool that works it, how it is sown, and what of the row is laid
//! already. Out: the first place, how many, and the way from the first seed to the last.

use super::{RowCourse, SeedRun, along, course_of};
use crate::check::{Machine, Spacing, Stand};
use crate::geometry::{Path, Point, angle_of_heading, distance};
use crate::lanes::{Lane, RowSpan};
use crate::num;
use lanewright_schema::quantity::Heading;

/// A share of a seed spacing within which a bound counts as on a lattice place, so that rounding in
/// two neighbouring spans cannot give the place to both or to none.
const ON_PLACE: f64 = 1e-6;
/// Where a lap closes, its last seed stays at least this share of a spacing from its first: nearer,
/// the two would be a multiple by ISO 7256-1.
const CLOSEST_AT_CLOSURE: f64 = 0.5;

/// First place, how many, and the way.
type Laid = (i64, u32, RowCourse);

/// One tool row in one span of a lane.
pub struct Tool<'a> {
    pub lane: &'a Lane,
    pub span: RowSpan,
    pub machine: &'a Machine,
}

impl Tool<'_> {
    fn forward_m(&self) -> f64 {
        self.machine.tool_forward.to_m()
    }

    fn right_m(&self) -> f64 {
        self.machine.row_offsets[self.span.tool_row].to_m()
    }

    /// Where the tool is when the reference point is so far along the lane.
    pub fn at(&self, along_m: f64) -> Point {
        self.lane.line.pose_at(along_m).ground(self.forward_m(), self.right_m())
    }

    fn way(&self) -> Path {
        course_of(&self.lane.line.between(self.span.from, self.span.to), self.forward_m(), self.right_m())
    }
}

/// The lattice of a straight block, as one row of it is sown.
pub struct Lattice<'a> {
    pub heading: Heading,
    pub datum: Point,
    pub spacing: &'a Spacing,
    pub stand: Stand,
}

impl Lattice<'_> {
    /// The places of a span, `margins` metres within its near and its far end, that lie behind what
    /// of its row is laid already.
    pub fn run(&self, tool: &Tool, margins: [f64; 2], before: Option<&SeedRun>) -> Option<Laid> {
        let (spacing_m, half_m) = (self.stand.spacing.to_m(), self.stand.pattern.length().to_m() / 2.0);
        let row = tool.span.row as f64;
        let phase = (row * self.spacing.stagger).rem_euclid(1.0);
        let first_from = |along_m: f64| (along_m / spacing_m - phase - ON_PLACE).ceil() as i64;
        let along = |point: Point| along(self.heading, self.datum, point);
        let [a, b] = [tool.span.from, tool.span.to].map(|at| along(tool.at(at)));
        // Half a spacing of each belongs to a place, so that rows sown in two ways meet without a skip
        // or a multiple.
        let taken = before.map_or(f64::NEG_INFINITY, |run| {
            along(run.end()) - run.pattern.length().to_m() / 2.0 + (run.spacing_m + spacing_m) / 2.0
        });
        let first = first_from((a.min(b) + margins[0] + half_m).max(taken));
        let end = first_from(a.max(b) - margins[1] - half_m);
        let count = u32::try_from(end - first).ok().filter(|&count| count > 0)?;

        let angle = angle_of_heading(self.heading);
        let (sin, cos) = num::sin_cos(angle);
        let forward = (first as f64 + phase) * spacing_m - half_m;
        let right = row * self.spacing.between_rows.to_m();
        let from = Point {
            x: self.datum.x + forward * cos + right * sin,
            y: self.datum.y + forward * sin - right * cos,
        };
        Some((first, count, RowCourse::Straight { from, angle }))
    }
}

/// Places along a curved row, the first of them `begin_m` behind its begin. Where a span begins less
/// than a spacing behind the row's last seed, the spacing runs on; else it begins anew, and the numbers
/// leave out the places that the gap has. Where a lap closes, no seed falls beside its first.
pub fn along_way(tool: &Tool, stand: Stand, begin_m: f64, row: &[SeedRun]) -> Option<Laid> {
    let (spacing_m, length_m) = (stand.spacing.to_m(), stand.pattern.length().to_m());
    let way = tool.way();
    let (first, offset) = match row.last() {
        None => (0, begin_m),
        Some(before) => {
            let gap = distance(way.start.at, before.end());
            let rest = spacing_m - length_m - gap;
            let steps = if rest < -ON_PLACE * spacing_m {
                ((gap + length_m) / spacing_m).round().max(2.0)
            } else {
                1.0
            };
            (before.first + i64::from(before.count) - 1 + steps as i64, rest.max(0.0))
        }
    };
    let mut count = ((way.length() - offset - length_m) / spacing_m - ON_PLACE).ceil().max(0.0) as u32;
    let begin = row.first().map_or_else(|| way.pose_at(offset).at, SeedRun::start);
    while count > 1 {
        let last = way.pose_at(offset + f64::from(count - 1) * spacing_m + length_m).at;
        if distance(last, begin) >= CLOSEST_AT_CLOSURE * (spacing_m - length_m) {
            break;
        }
        count -= 1;
    }
    let end = offset + f64::from(count.checked_sub(1)?) * spacing_m + length_m;
    Some((first, count, RowCourse::Curved(way.between(offset, end))))
}
