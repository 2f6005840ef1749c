//! The places of one span of a row: on a straight block's lattice, or along a lap by arc length.
//!
//! In: the lane, the span and the tool that works it, how it is sown, and what of the row is laid
//! already. Out: the places zone by zone, each with the way from the first seed to the last.

use super::zones::{Places, Stretch, Window, handover, stretches};
use super::{RowCourse, SeedRun, along, course_of};
use crate::check::{Machine, Pattern, Rate, Spacing, Stand};
use crate::geometry::{Path, Point, angle_of_heading, distance, unit};
use crate::lanes::{Lane, RowSpan};
use crate::site::SiteZones;
use lanewright_schema::quantity::Heading;

/// A share of a seed spacing within which a bound counts as on a lattice place, so that rounding in
/// two neighbouring spans cannot give the place to both or to none.
const ON_PLACE: f64 = 1e-6;
/// Where a lap closes, its last seed stays at least this share of a spacing from its first: nearer,
/// the two would be a multiple by ISO 7256-1.
const CLOSEST_AT_CLOSURE: f64 = 0.5;

/// Places that follow each other on one lattice.
pub struct Laid {
    /// The treatment zone.
    pub zone: Option<usize>,
    /// From the number of a place to that of the next.
    pub step: u32,
    /// Metres from place to place.
    pub spacing_m: f64,
    /// What lies at a place.
    pub pattern: Pattern,
    /// Number of the first.
    pub first: i64,
    /// How many, at least one.
    pub count: u32,
    /// From the first seed to the last.
    pub course: RowCourse,
}

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
    /// The places of a span that lie behind what of its row is laid already. With the spans that abut it
    /// the row goes from one of these places to the other, metres along the heading.
    pub fn runs(
        &self,
        tool: &Tool,
        [begins, ends]: [f64; 2],
        before: Option<&SeedRun>,
        zones: &SiteZones,
    ) -> Vec<Laid> {
        let along = |point: Point| along(self.heading, self.datum, point);
        let [a, b] = [tool.span.from, tool.span.to].map(|at| along(tool.at(at)));
        let (near, far) = (a.min(b), a.max(b));
        let row = Row::of(self, tool.span.row);
        let mut stretches = stretches(zones, &[row.at(begins), row.at(ends)], self.stand);
        for stretch in &mut stretches {
            (stretch.from, stretch.to) = (stretch.from + begins, stretch.to + begins);
        }
        let lattice = |stretch: &Stretch| Places::of(stretch.rate, self.stand, zones.parts, row.phase);
        let mut first_after = None;
        let mut laid = Vec::with_capacity(stretches.len());
        for (index, stretch) in stretches.iter().enumerate().filter(|(_, stretch)| stretch.rate.step > 0) {
            let places = lattice(stretch);
            let spacing_m = places.spacing;
            let pattern = stretch.rate.stand(self.stand, zones.parts).pattern;
            let half_m = places.extent / 2.0;
            let first_from = |along_m: f64| (along_m / spacing_m - row.phase - ON_PLACE).ceil() as i64;
            let taken = before.map_or(f64::NEG_INFINITY, |run| {
                let extent = run.pattern.length().to_m();
                let laid = Places { step: run.step, spacing: run.spacing_m, extent, ..places };
                let last = along(run.end()) - extent / 2.0;
                last + if (run.spacing_m / f64::from(run.step) - places.part_m).abs()
                    > ON_PLACE * places.part_m
                {
                    // Another tool row has sown otherwise: half a spacing of each belongs to a place, so
                    // that the two meet without a skip or a multiple.
                    (run.spacing_m + spacing_m) / 2.0
                } else {
                    Window::of(&laid, &places).least
                }
            });
            let least = first_from((near + half_m).max(taken));
            let most = first_from(far - half_m);
            let next = stretches.get(index + 1).filter(|next| next.rate.step > 0);
            let handed = next.map(|next| handover(&places, &lattice(next), stretch.to));
            let first = least.max(first_after.unwrap_or_else(|| first_from(stretch.from + half_m)));
            let end = most.min(handed.map_or_else(|| first_from(stretch.to - half_m), |(last, _)| last + 1));
            first_after = handed.map(|(_, first)| first);
            let Some(count) = u32::try_from(end - first).ok().filter(|&count| count > 0) else { continue };
            let from = row.at((first as f64 + row.phase) * spacing_m - half_m);
            let number = (first as f64 + row.phase) * f64::from(places.step);
            laid.push(Laid {
                zone: stretch.zone,
                step: places.step,
                spacing_m,
                pattern,
                first: (number + ON_PLACE).floor() as i64,
                count,
                course: RowCourse::Straight { from, angle: row.angle },
            });
        }
        laid
    }
}

/// A row of a straight block.
struct Row {
    datum: Point,
    angle: f64,
    ahead: Point,
    right_m: f64,
    phase: f64,
}

impl Row {
    fn of(lattice: &Lattice, row: i64) -> Self {
        let angle = angle_of_heading(lattice.heading);
        Self {
            datum: lattice.datum,
            angle,
            ahead: unit(angle),
            right_m: row as f64 * lattice.spacing.between_rows.to_m(),
            phase: (row as f64 * lattice.spacing.stagger).rem_euclid(1.0),
        }
    }

    /// The place on it that lies so far from the datum along the heading.
    fn at(&self, along_m: f64) -> Point {
        Point {
            x: self.datum.x + along_m * self.ahead.x + self.right_m * self.ahead.y,
            y: self.datum.y + along_m * self.ahead.y - self.right_m * self.ahead.x,
        }
    }
}

/// A curved way of a tool in one zone.
pub struct CurvedStretch {
    /// The zone, or none of them.
    pub zone: Option<usize>,
    /// How closely it is sown.
    pub rate: Rate,
    /// The way, with what it has before the zone.
    pub way: Path,
    /// How much that is: a hill may begin before the zone that its middle lies in, and places may begin where
    /// one more hill of the zone before has no room.
    pub before_m: f64,
}

/// The zones along a curved way of a tool.
pub fn stretches_along(tool: &Tool, stand: Stand, zones: &SiteZones) -> Vec<CurvedStretch> {
    let way = tool.way();
    if zones.zones.is_empty() {
        let rate = zones.elsewhere.unwrap_or(Rate::own(zones.parts));
        return vec![CurvedStretch { zone: None, rate, way, before_m: 0.0 }];
    }
    let line: Vec<Point> = way.sampled(CHORD_M).poses.into_iter().map(|pose| pose.at).collect();
    let found = stretches(zones, &line, stand);
    // Chords are shorter than their arcs.
    let longer = found.last().map_or(1.0, |last| way.length() / last.to);
    let hill_m = |stretch: &Stretch| stretch.rate.stand(stand, zones.parts).pattern.length().to_m();
    let cut = |(index, stretch): (usize, &Stretch)| {
        let (from, to) = (stretch.from * longer, stretch.to * longer);
        let before = index.checked_sub(1).map_or(0.0, |before| hill_m(&found[before]));
        let before_m = hill_m(stretch).max(before).min(from);
        let way = way.between(from - before_m, to);
        CurvedStretch { zone: stretch.zone, rate: stretch.rate, way, before_m }
    };
    found.iter().enumerate().map(cut).collect()
}

/// How far a chord may leave a curved row where its zones are looked up, metres.
const CHORD_M: f64 = 0.01;

/// Places along a curved way, the first of them `begin_m` behind its begin. Where it begins less
/// than a spacing behind the row's last seed, the spacing runs on; where what was laid before is of another
/// pattern or spacing, the clear distance to it is this one's own, or, as far as the border asks for it, up to
/// the larger of the two. Else it begins anew, and the numbers leave out the places that the gap has. Where a
/// lap closes, no seed falls beside its first.
pub fn along_way(stretch: &CurvedStretch, stand: Stand, begin_m: f64, row: &[SeedRun]) -> Option<Laid> {
    let CurvedStretch { way, before_m, zone, .. } = stretch;
    let (spacing_m, length_m) = (stand.spacing.to_m(), stand.pattern.length().to_m());
    let (first, offset) = match row.last() {
        None => (0, before_m + begin_m),
        Some(before) => {
            let gap = distance(way.pose_at(*before_m).at, before.end());
            let clear_m = stand.clear().to_m();
            let rest = (clear_m - gap).max(0.0);
            let widest = spacing_m.max(before.spacing_m);
            let room = clear_m.max(before.stand().clear().to_m()) - gap;
            let (steps, rest) = if room >= -ON_PLACE * spacing_m {
                (1.0, rest)
            } else if gap <= widest && room >= -before_m {
                (1.0, room)
            } else {
                (((gap + length_m) / spacing_m).round().max(2.0), rest)
            };
            (before.first + i64::from(before.count) - 1 + steps as i64, before_m + rest)
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
    let course = RowCourse::Curved(way.between(offset, end));
    Some(Laid { zone: *zone, step: 1, spacing_m, pattern: stand.pattern, first, count, course })
}
