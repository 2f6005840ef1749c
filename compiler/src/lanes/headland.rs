//! The headland: how many laps the turns need, the laps as offsets of the fence, and the main
//! field inside them.
//!
//! A lap's way is the edge of what a disc of the lap's radius can sweep inside the fence inset by
//! the lap's distance, so that convex corners are rounded and necks too narrow to turn round in
//! are left. The outermost lap is eased into its corners and out of them; the others keep their
//! distance from it. Where corners are to be square, laps are offsets of the fence as it is, cut into
//! sides at the corners.

use super::easing::Easing;
use super::sides::{sides, square_corners};
use super::toolbar::Toolbar;
use crate::check::{Headland, HeadlandSize, HeadlandSown, LapCorners};
use crate::geometry::band::band;
use crate::geometry::fillet::{CUT_M, filleted};
use crate::geometry::{Path, Point, direction, distance, region};
use crate::num;
use crate::turns::{FreeSpace, SPARE_M};
use geo::{BoundingRect, LineString, MultiPolygon, Polygon, Simplify};

/// How far a simplified lap may lie from the true offset, metres.
const SIMPLIFIED_M: f64 = 0.02;

/// How far apart a lap that does not fit is looked at, metres.
const LOOK_M: f64 = 0.1;

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
    let ground = Ground::new(fence, toolbar, wish.corners);
    let count = count.min(laps_across(fence, toolbar));
    let innermost = ground.within(count);
    let laps = match wish.sown {
        HeadlandSown::No => Vec::new(),
        HeadlandSown::First | HeadlandSown::Last => {
            let outer = (1..count).flat_map(|lap| ground.laps(lap, &ground.within(lap), exit));
            outer.chain(ground.laps(count, &innermost, exit)).collect()
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
    let ground = Ground::new(fence, toolbar, corners);
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
    fn new(fence: &MultiPolygon, toolbar: &'a Toolbar, corners: LapCorners) -> Self {
        let fence = without_small_holes(fence, 2.0 * toolbar.width);
        let square: Vec<Point> = match corners {
            LapCorners::Round => Vec::new(),
            LapCorners::Square => region::rings(&fence).flat_map(square_corners).collect(),
        };
        Self { toolbar, corners, room: easing(toolbar).room(&fence, &square) }
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
                region::outset(&region::inset(&self.room, inwards + radius), radius)
            }
            LapCorners::Square => region::inset(&self.room, inwards),
        }
    }

    fn laps(&self, number: u32, within: &MultiPolygon, exit: Option<Point>) -> Vec<Lap> {
        let toolbar = self.toolbar;
        let radius = toolbar.turning_radius.max(toolbar.width / 2.0 + toolbar.row_spacing / 2.0);
        let laps_round = |ring: &LineString| {
            let sides = match self.corners {
                LapCorners::Round => Vec::new(),
                LapCorners::Square => sides(ring, toolbar, SIMPLIFIED_M),
            };
            if sides.is_empty() {
                let ways = filleted(&chain(ring, radius, exit), radius);
                return ways.into_iter().map(|way| Lap { number, ways: vec![way] }).collect();
            }
            let ways = sides.iter().flat_map(|side| filleted(side, radius)).collect();
            vec![Lap { number, ways }]
        };
        region::rings(within).flat_map(laps_round).collect()
    }
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
    easing(toolbar).beside - toolbar.width / 2.0
}

/// The radius of the laps' rounded corners: what the machine steers with some to spare, and wide
/// enough that the innermost row still runs forward.
fn lap_radius(toolbar: &Toolbar) -> f64 {
    (RADIUS_FACTOR * toolbar.turning_radius).max(toolbar.width / 2.0 + toolbar.row_spacing)
}

fn easing(toolbar: &Toolbar) -> Easing {
    Easing::new(toolbar, lap_radius(toolbar), SIMPLIFIED_M + CUT_M)
}

/// A ring as a chain that begins and ends on an edge: where one comes nearest to the exit, else in the
/// middle of the longest.
fn chain(ring: &LineString, radius: f64, exit: Option<Point>) -> Vec<Point> {
    let simple = ring.simplify(SIMPLIFIED_M);
    let corners = &simple.0[..simple.0.len() - 1];
    let edge = |i: usize| (corners[i], corners[(i + 1) % corners.len()]);
    let length = |i: &usize| {
        let (a, b) = edge(*i);
        distance(a, b)
    };
    let longest = (0..corners.len()).max_by(|a, b| length(a).total_cmp(&length(b))).unwrap_or(0);
    let (a, b) = edge(longest);
    let near_exit = exit.and_then(|exit| nearest_beginning(corners, radius, exit));
    let (on_edge, begin) = near_exit.unwrap_or((longest, (a + b) / 2.0));
    let around = (1..=corners.len()).map(|i| corners[(on_edge + i) % corners.len()]);
    std::iter::once(begin).chain(around).chain(std::iter::once(begin)).collect()
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

/// The parts of a way that keep the body inside the fence, proven; where something stands in the
/// headland, the way before it and the way after it.
pub fn fitting(way: &Path, space: &FreeSpace) -> Vec<Path> {
    if space.clearance(way, SPARE_M).is_ok() {
        return vec![way.clone()];
    }
    let length = way.length();
    let steps = (length / LOOK_M).ceil().max(1.0) as usize;
    let at = |i: usize| length * i as f64 / steps as f64;
    let fits: Vec<bool> = way
        .poses_at((0..=steps).map(at))
        .into_iter()
        .map(|pose| space.clearance_at(pose).is_some_and(|gap| gap > SPARE_M))
        .collect();
    let mut parts = Vec::new();
    let mut i = 0;
    while i <= steps {
        let run = fits[i..].iter().take_while(|fit| **fit).count();
        if run > 1 {
            parts.push(way.between(at(i), at(i + run - 1)));
        }
        i += run + 1;
    }
    parts.retain(|part| space.clearance(part, SPARE_M).is_ok());
    parts
}

/// What the tool bar covers along a way.
pub fn swath(way: &Path, toolbar: &Toolbar) -> MultiPolygon {
    let half = toolbar.width / 2.0;
    region::union_all(&band(way, toolbar.forward, [-half, half]))
}
