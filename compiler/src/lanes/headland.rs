//! The headland: how many laps the turns need, the laps as offsets of the fence, and the main
//! field inside them.
//!
//! A lap's way is the edge of what a disc of the lap's radius can sweep inside the fence inset by
//! the lap's distance, so that convex corners are rounded and necks too narrow to turn round in
//! are left. The outermost lap is eased into its corners and out of them; the others keep their
//! distance from it. Where corners are to be square, laps are offsets of the fence as it is, cut into
//! sides at the corners.

use super::easing::Easing;
use super::lap_clearance::{ends_farther_in, to_leave};
use super::sides::{sides, square_corners};
use super::toolbar::Toolbar;
use crate::check::{Headland, HeadlandSize, HeadlandSown, LapCorners};
use crate::geometry::band::band;
use crate::geometry::fillet::filleted;
use crate::geometry::{Footprint, Path, Point, direction, distance, region};
use crate::num;
use crate::turns::FreeSpace;
use geo::{BoundingRect, Distance, Euclidean, LineString, MultiPolygon, Polygon, Simplify};

/// How far a simplified lap may lie from the true offset, metres.
const SIMPLIFIED_M: f64 = 0.005;

/// How much farther in the first lap lies, metres, try after try, where the body comes too near to the
/// fence.
const FARTHER_IN_M: [f64; 8] = [0.01, 0.01, 0.02, 0.03, 0.04, 0.06, 0.08, 0.12];

/// Outlines are simplified by this much before they are offset, metres: rounded ones have thousands of corners.
const OUTLINE_M: f64 = 0.002;

/// What the first lap has to spare beside a straight fence, metres; bends take more, each what it needs.
const SPARE_M: f64 = 0.003;

/// The same where corners are square: in a corner the machine has to steer off the fence.
const SQUARE_SPARE_M: f64 = 0.056;

/// A lap's radius is larger than the machine's, so that it survives the rounding of offsets.
const RADIUS_FACTOR: f64 = 1.3;

/// Headland and main field of a fence.
#[derive(Clone, Debug)]
pub struct HeadlandPlan {
    /// Where straight lanes go.
    pub main: MultiPolygon,
    /// The laps, outermost first.
    pub laps: Vec<Lap>,
}

/// A lap round one ring of the headland, or a part of it.
#[derive(Clone, Debug)]
pub struct Lap {
    /// One is outermost.
    pub number: u32,
    /// Its ways in driving order. Where two meet at a corner, the second works the corner.
    pub ways: Vec<Path>,
}

/// Where laps run, and how they pass corners.
struct Ground<'a> {
    toolbar: &'a Toolbar,
    corners: LapCorners,
    /// Where the first lap's way may run.
    room: MultiPolygon,
    /// Where the machine leaves the field.
    exit: Option<Point>,
    /// Where the first lap's ways begin and end that close on themselves.
    beginnings: Vec<Point>,
}

/// Divides what lies inside the fence. Laps are laid only where the headland is sown; they begin and
/// end near where the machine leaves the field.
pub fn headland(
    fence: &MultiPolygon,
    toolbar: &Toolbar,
    wish: Headland,
    exit: Option<Point>,
) -> HeadlandPlan {
    let count = match wish.size {
        HeadlandSize::None => return HeadlandPlan { main: fence.clone(), laps: Vec::new() },
        HeadlandSize::Laps(count) => count,
        HeadlandSize::Width(width) => laps_within(width.to_m(), toolbar),
        HeadlandSize::AsTurnsNeed => laps_that_turns_need(toolbar),
    };
    let ground = Ground::new(fence, toolbar, wish.corners, exit);
    let count = count.min(laps_across(fence, toolbar));
    let innermost = ground.within(count);
    let laps = match wish.sown {
        HeadlandSown::No => Vec::new(),
        HeadlandSown::First | HeadlandSown::Last => {
            let outer = (1..count).flat_map(|lap| ground.laps(lap, &ground.within(lap)));
            outer.chain(ground.laps(count, &innermost)).collect()
        }
    };
    HeadlandPlan { main: ground.main_field(fence, &innermost), laps }
}

/// The most laps that leave a main field with room for what `holds` asks of it; zero if not even
/// one does.
pub fn most_laps(
    fence: &MultiPolygon,
    toolbar: &Toolbar,
    corners: LapCorners,
    holds: impl Fn(&MultiPolygon) -> bool,
) -> u32 {
    let ground = Ground::new(fence, toolbar, corners, None);
    let (mut most, mut too_many) = (0, laps_across(fence, toolbar) + 1);
    while too_many - most > 1 {
        let count = u32::midpoint(most, too_many);
        if holds(&ground.main_field(fence, &ground.within(count))) {
            most = count;
        } else {
            too_many = count;
        }
    }
    most
}

/// How wide a headland of so many laps is, from the fence to the main field.
pub fn width_of_laps(count: u32, toolbar: &Toolbar) -> f64 {
    beside_fence(toolbar) + f64::from(count) * toolbar.width
}

impl<'a> Ground<'a> {
    fn new(fence: &MultiPolygon, toolbar: &'a Toolbar, corners: LapCorners, exit: Option<Point>) -> Self {
        let fence = without_small_holes(fence, 2.0 * toolbar.width);
        let square: Vec<Point> = match corners {
            LapCorners::Round => Vec::new(),
            LapCorners::Square => region::rings(&fence).flat_map(square_corners).collect(),
        };
        let room = easing(toolbar, corners).room(&fence, &square);
        let mut ground = Self { toolbar, corners, room, exit, beginnings: Vec::new() };
        let space = FreeSpace::new(&fence, Footprint::around(toolbar.body.iter().copied()));
        if corners == LapCorners::Round {
            ground.begin(space.footprint().reach());
        }
        ground.keep_off(&space);
        ground
    }

    /// Settles where laps begin, and lets them lie farther in there, easing back over so many metres: the body
    /// swings out when the machine steers onto the lap and off it.
    fn begin(&mut self, ease_m: f64) {
        let room = self.within(1);
        let outsides: Vec<&LineString> = room.iter().map(Polygon::exterior).collect();
        for (at, polygon) in room.iter().enumerate() {
            let near = self.begins_near(at, &outsides);
            self.beginnings.push(self.beginning(&open(polygon.exterior()), near).1);
            for hole in polygon.interiors() {
                self.beginnings.push(self.beginning(&open(hole), None).1);
            }
        }
        let swing =
            self.toolbar.swing(self.toolbar.turning_radius) - self.toolbar.left().max(self.toolbar.right());
        let laps = self.laps(1, &room);
        let left: Vec<Polygon> = laps
            .iter()
            .flat_map(|lap| &lap.ways)
            .flat_map(|way| ends_farther_in(way, swing, ease_m))
            .collect();
        self.room = region::difference(&self.room, &region::union_all(&left));
    }

    /// Where a lap should begin near: the lap nearest to the way out of the field there, any other where the next
    /// lap is nearest, as the machine comes from it or goes on to it.
    fn begins_near(&self, at: usize, laps: &[&LineString]) -> Option<Point> {
        let apart = |place: Point, lap: usize| Euclidean.distance(&geo::Point::from(place), laps[lap]);
        let is_by = |exit: &Point| (0..laps.len()).all(|other| apart(*exit, at) <= apart(*exit, other));
        let others = (0..laps.len()).filter(|&other| other != at).flat_map(|other| &laps[other].0);
        let nearest = || others.map(|&place| (apart(place, at), place)).min_by(|a, b| a.0.total_cmp(&b.0));
        self.exit.filter(is_by).or_else(|| nearest().map(|(_, place)| place)).or(self.exit)
    }

    /// Lets the first lap lie farther in where the body would come too near to the fence.
    fn keep_off(&mut self, space: &FreeSpace) {
        for farther_in_m in FARTHER_IN_M {
            let laps = self.laps(1, &self.within(1));
            let ways = laps.iter().flat_map(|lap| &lap.ways);
            let left: Vec<Polygon> = ways.flat_map(|way| to_leave(way, space, farther_in_m)).collect();
            if left.is_empty() {
                break;
            }
            self.room = region::difference(&self.room, &region::union_all(&left));
        }
    }

    /// Where straight lanes go inside what the innermost lap's way encloses.
    fn main_field(&self, fence: &MultiPolygon, innermost: &MultiPolygon) -> MultiPolygon {
        region::intersection(&region::inset(innermost, self.toolbar.width / 2.0), fence)
    }

    /// What a lap's way encloses.
    fn within(&self, lap: u32) -> MultiPolygon {
        let inwards = f64::from(lap - 1) * self.toolbar.width;
        match self.corners {
            LapCorners::Round => {
                let radius = lap_radius(self.toolbar);
                let middle = region::inset(&self.room.simplify(OUTLINE_M), inwards + radius);
                region::outset(&middle.simplify(OUTLINE_M), radius)
            }
            LapCorners::Square => region::inset(&self.room, inwards),
        }
    }

    fn laps(&self, number: u32, within: &MultiPolygon) -> Vec<Lap> {
        let radius = self.tightest();
        let laps_round = |ring: &LineString| {
            let sides = match self.corners {
                LapCorners::Round => Vec::new(),
                LapCorners::Square => sides(ring, self.toolbar, SIMPLIFIED_M),
            };
            if sides.is_empty() {
                let corners = open(ring);
                let ways = filleted(&chain(&corners, self.beginning_beside(&corners)), radius);
                return ways.into_iter().map(|way| Lap { number, ways: vec![way] }).collect();
            }
            let ways = sides.iter().flat_map(|side| filleted(side, radius)).collect();
            vec![Lap { number, ways }]
        };
        region::rings(within).flat_map(laps_round).collect()
    }

    /// The tightest that a lap's way turns.
    fn tightest(&self) -> f64 {
        self.toolbar.turning_radius.max(self.toolbar.width / 2.0 + self.toolbar.row_spacing / 2.0)
    }

    /// Where a lap on a ring begins, with the number of the edge: where it comes nearest to a place, else to an
    /// end of its longest edge. Lanes run along that more often than not, and the outermost ends there.
    fn beginning(&self, corners: &[Point], near: Option<Point>) -> (usize, Point) {
        let length = |[a, b]: [Point; 2]| distance(a, b);
        let longest = edges(corners).max_by(|a, b| length(a.1).total_cmp(&length(b.1)));
        let (edge, [from, to]) = longest.unwrap_or((0, [corners[0]; 2]));
        nearest_beginning(corners, self.tightest(), near.unwrap_or(from)).unwrap_or((edge, (from + to) / 2.0))
    }

    /// The same for any lap: beside where a first lap begins, if there is one.
    fn beginning_beside(&self, corners: &[Point]) -> (usize, Point) {
        /// How much farther inside than the first lap another begins beside it, working widths.
        const BESIDE: f64 = 4.0;
        self.beginnings
            .iter()
            .flat_map(|begin| edges(corners).map(|(i, edge)| (i, nearest_on(edge, *begin), *begin)))
            .map(|(i, at, begin)| (i, at, distance(at, begin)))
            .min_by(|a, b| a.2.total_cmp(&b.2))
            .filter(|nearest| nearest.2 < BESIDE * self.toolbar.width)
            .map_or_else(|| self.beginning(corners, self.exit), |(i, at, _)| (i, at))
    }
}

/// The edges of a ring, numbered.
fn edges(corners: &[Point]) -> impl Iterator<Item = (usize, [Point; 2])> {
    (0..corners.len()).map(|i| (i, [corners[i], corners[(i + 1) % corners.len()]]))
}

/// The corners of a ring, simplified, each once.
fn open(ring: &LineString) -> Vec<Point> {
    let mut corners = ring.simplify(SIMPLIFIED_M).0;
    corners.pop();
    corners
}

fn nearest_on([a, b]: [Point; 2], place: Point) -> Point {
    let along = b - a;
    let share =
        (along.x * (place.x - a.x) + along.y * (place.y - a.y)) / (along.x * along.x + along.y * along.y);
    a + along * share.clamp(0.0, 1.0)
}

/// More laps than this cannot lie inside the fence, however it is shaped.
fn laps_across(fence: &MultiPolygon, toolbar: &Toolbar) -> u32 {
    let narrow_side = fence.bounding_rect().map_or(0.0, |bounds| bounds.width().min(bounds.height()));
    (narrow_side / 2.0 / toolbar.width).ceil() as u32 + 1
}

/// Laps that a turn into the next lane needs, when it begins with the tool at the main field's edge
/// and ends there: the reference point runs on by the tool's offset, then a half circle, whose
/// outermost point is the body's outer front corner.
pub fn laps_that_turns_need(toolbar: &Toolbar) -> u32 {
    let radius = toolbar.turning_radius;
    let depth = radius + toolbar.swing(radius) + toolbar.forward.abs();
    laps_within(depth, toolbar)
}

/// Laps whose headland is at least so wide.
pub fn laps_within(width: f64, toolbar: &Toolbar) -> u32 {
    ((width - beside_fence(toolbar)) / toolbar.width - 1e-9).ceil().max(1.0) as u32
}

/// How far the first lap's outermost row lies from the fence.
fn beside_fence(toolbar: &Toolbar) -> f64 {
    easing(toolbar, LapCorners::Round).beside - toolbar.width / 2.0
}

/// The radius of the laps' rounded corners: what the machine steers with some to spare, and wide
/// enough that the innermost row still runs forward.
fn lap_radius(toolbar: &Toolbar) -> f64 {
    (RADIUS_FACTOR * toolbar.turning_radius).max(toolbar.width / 2.0 + toolbar.row_spacing)
}

fn easing(toolbar: &Toolbar, corners: LapCorners) -> Easing {
    let spare = match corners {
        LapCorners::Round => SPARE_M,
        LapCorners::Square => SQUARE_SPARE_M,
    };
    Easing::new(toolbar, lap_radius(toolbar), spare)
}

/// A ring's corners as a chain that begins and ends at a place on an edge.
fn chain(corners: &[Point], (edge, begin): (usize, Point)) -> Vec<Point> {
    let around = (1..=corners.len()).map(|i| corners[(edge + i) % corners.len()]);
    let between = around.filter(|corner| distance(*corner, begin) > SIMPLIFIED_M);
    std::iter::once(begin).chain(between).chain(std::iter::once(begin)).collect()
}

/// The place on a ring's edges nearest to another from which the ring runs straight, on both sides, for
/// as long as a turn onto it needs; with the edge's number.
fn nearest_beginning(corners: &[Point], radius: f64, place: Point) -> Option<(usize, Point)> {
    /// Turning radii, before and behind, besides what the rounding of the corners takes.
    const STRAIGHT: f64 = 2.0;
    let corner = |i: usize| corners[i % corners.len()];
    let rounded_m = |i: usize| {
        let (before, at, after) = (corner(i + corners.len() - 1), corner(i), corner(i + 1));
        let turn = num::wrap_angle(direction(at, after) - direction(before, at)).abs();
        radius * num::tan(0.5 * turn.min(0.9 * num::PI))
    };
    let beginnings = (0..corners.len()).filter_map(|i| {
        let (a, b) = (corner(i), corner(i + 1));
        let length = distance(a, b);
        let (first, last) = (rounded_m(i) + STRAIGHT * radius, length - rounded_m(i + 1) - STRAIGHT * radius);
        let along = (b - a) / length;
        let nearest = along.x * (place.x - a.x) + along.y * (place.y - a.y);
        (first <= last).then(|| (i, a + along * nearest.clamp(first, last)))
    });
    beginnings.min_by(|a, b| distance(a.1, place).total_cmp(&distance(b.1, place)))
}

/// The region with holes filled that fit into a square of this size: a pole is driven past, not
/// round.
fn without_small_holes(region: &MultiPolygon, size: f64) -> MultiPolygon {
    let is_large =
        |hole: &&LineString| hole.bounding_rect().is_some_and(|r| r.width().max(r.height()) > size);
    MultiPolygon(
        region
            .iter()
            .map(|p| {
                Polygon::new(p.exterior().clone(), p.interiors().iter().filter(is_large).cloned().collect())
            })
            .collect(),
    )
}

/// What the tool bar covers along a way.
pub fn swath(way: &Path, toolbar: &Toolbar) -> MultiPolygon {
    let half = toolbar.width / 2.0;
    region::union_all(&band(way, toolbar.forward, [-half, half]))
}
