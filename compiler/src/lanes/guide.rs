//! The curve that contour lanes are offsets of: as near to a given line as the machine and the rows
//! allow.
//!
//! A tool that does not sit at the reference point runs outside a bend. With the tool `a` from the
//! reference point and `κ` the curvature of a lane, its middle runs `a² κ / 2` farther out, so that
//! the gap between two lanes a working width `w` apart is off by `w a² κ² / 2`; and where the
//! curvature changes by `Δκ` within the tool's reach, two lanes driven in opposite directions are
//! off by at most another `a² Δκ / 2` (both by Taylor's expansion of the pose). The curve is
//! smoothed until both together stay below [`TRUE_M`] on every lane of the zone, and until every
//! lane's radius is one that the machine steers and at which the inner rows still run forward.

use super::toolbar::Toolbar;
use crate::geometry::corner::corners;
use crate::geometry::curve::{Bend, Curve};
use crate::geometry::{Gear, Piece, Point, distance, region};
use crate::num;
use geo::{BoundingRect, ConvexHull, LineString, MultiPolygon, Simplify};

/// How far neighbouring rows of two lanes may lie from their spacing, metres.
pub const TRUE_M: f64 = 0.001;

/// A lane's radius is larger than the machine's by this factor, to leave it something to correct
/// with (common practice, no source).
const RADIUS_FACTOR: f64 = 1.3;

/// Share of [`TRUE_M`] that one step of curvature may take.
const STEP_SHARE: f64 = 0.1;

/// Smoothing that is tried first, metres, and the factor from one try to the next.
const FIRST_SMOOTHING_M: f64 = 4.0;
const SMOOTHER: f64 = 1.3;

/// The zone's outline is looked at on chords of at most this length, metres.
pub const OUTLINE_CHORD_M: f64 = 2.0;

/// Edges worth following are looked for on an outline simplified by this much, metres.
const COARSE_M: f64 = 1.0;
/// The line along such an edge is simplified by this much, metres.
const FINE_M: f64 = 0.1;
/// A corner that turns by more ends an edge, radians (about 35°).
const CORNER: f64 = 0.6;
/// An edge that turns by less altogether is straight, radians (about 5°).
const BENT: f64 = 0.09;
/// At most so many edges are tried, the longest first.
const MOST_EDGES: usize = 3;

/// The curve along a line for a zone; none where no smoothing makes one that is not all but
/// straight.
pub fn along(line: &[Point], zone: &MultiPolygon, toolbar: &Toolbar) -> Option<Curve> {
    let bounds = zone.bounding_rect()?;
    let across = num::hypot(bounds.width(), bounds.height());
    let limits = Limits::of(toolbar);
    let beyond = 2.0 * across + toolbar.width;
    let mut smoothing = FIRST_SMOOTHING_M;
    while smoothing < 2.0 * across {
        let curve = Curve::smoothed(line, smoothing, beyond, limits.step());
        if limits.hold(&curve, zone) {
            return Some(curve);
        }
        smoothing *= SMOOTHER;
    }
    None
}

/// Bent edges of a zone: stretches of its outline between sharp corners.
/// The `rounded` metres at either end, where the zone's corners are rounded, are left out.
pub fn bent_edges(zone: &MultiPolygon, rounded: f64) -> Vec<Vec<Point>> {
    let fine = zone.simplify(FINE_M);
    let mut edges: Vec<Vec<Point>> = region::rings(&fine)
        .flat_map(between_corners)
        .map(|edge| without_ends(&edge, rounded))
        .filter(|edge| edge.len() > 2)
        .collect();
    let length = |edge: &Vec<Point>| edge.windows(2).map(|pair| distance(pair[0], pair[1])).sum::<f64>();
    edges.sort_by(|a, b| length(b).total_cmp(&length(a)));
    edges.truncate(MOST_EDGES);
    edges
}

fn without_ends(edge: &[Point], ends: f64) -> Vec<Point> {
    let away = |end: Option<&Point>, point: &Point| end.is_some_and(|end| distance(*end, *point) > ends);
    edge.iter().filter(|point| away(edge.first(), point) && away(edge.last(), point)).copied().collect()
}

/// The stretches of a ring between its sharp corners, those that bend.
fn between_corners(fine: &LineString) -> Vec<Vec<Point>> {
    let coarse = corners(&fine.simplify(COARSE_M));
    let sharp: Vec<usize> = (0..coarse.len()).filter(|&i| coarse[i].turn().abs() > CORNER).collect();
    let points = &fine.0[..fine.0.len().saturating_sub(1)];
    let place = |at: Point| points.iter().position(|point| *point == at);
    sharp
        .iter()
        .zip(sharp.iter().cycle().skip(1))
        .filter_map(|(&from, &to)| {
            let between = (from + 1..).map(|i| i % coarse.len()).take_while(|&i| i != to);
            let turn: f64 = between.map(|i| coarse[i].turn().abs()).sum();
            if turn < BENT || from == to {
                return None;
            }
            let (first, last) = (place(coarse[from].at)?, place(coarse[to].at)?);
            let count = (last + points.len() - first) % points.len();
            Some((0..=count).map(|i| points[(first + i) % points.len()]).collect())
        })
        .collect()
}

/// What the curve of contour lanes must keep.
struct Limits {
    /// Smallest radius of a lane, metres.
    radius: f64,
    /// How far the tool sits from the reference point, metres.
    tool: f64,
    width: f64,
}

impl Limits {
    fn of(toolbar: &Toolbar) -> Self {
        Self {
            radius: (RADIUS_FACTOR * toolbar.turning_radius).max(toolbar.width / 2.0 + toolbar.row_spacing),
            tool: toolbar.forward.abs(),
            width: toolbar.width,
        }
    }

    /// The largest step of curvature from arc to arc.
    fn step(&self) -> f64 {
        let from_tool = 2.0 * STEP_SHARE * TRUE_M / (self.tool * self.tool).max(f64::MIN_POSITIVE);
        from_tool.min(0.05 / self.radius)
    }

    fn hold(&self, curve: &Curve, zone: &MultiPolygon) -> bool {
        let hull: Vec<Point> = zone.convex_hull().exterior().0.clone();
        if !curve.bends().iter().all(|bend| self.wide_enough(bend, &hull)) {
            return false;
        }
        let reach = extent(curve, zone);
        [reach.0, 0.0, reach.1].into_iter().all(|right| self.true_at(curve, right))
    }

    /// Whether every point of the zone lies so far from the bend's centre that the lane through it
    /// is wide enough; then, too, no point is square to two places of the curve.
    fn wide_enough(&self, bend: &Bend, hull: &[Point]) -> bool {
        if bend.curvature == 0.0 {
            return true;
        }
        let middle = Piece::arc(Gear::Forward, bend.length / 2.0, bend.curvature).end(bend.start);
        let inward =
            hull.iter().map(|point| -bend.curvature.signum() * middle.body(*point).1).fold(0.0, f64::max);
        1.0 / bend.curvature.abs() - inward >= self.radius
    }

    /// Whether rows of lanes beside this offset keep their spacing.
    fn true_at(&self, curve: &Curve, right: f64) -> bool {
        let offset = curve.offset(right);
        let mut from = 0.0;
        let pieces: Vec<(f64, f64)> = offset
            .pieces
            .iter()
            .map(|piece| {
                let begin = from;
                from += piece.length;
                (begin, piece.curvature_start)
            })
            .collect();
        (0..pieces.len()).all(|i| {
            let (_, curvature) = pieces[i];
            let near = pieces[..i].iter().rev().zip(pieces[1..=i].iter().rev());
            // Arcs behind within the reach of the tool to both sides.
            let change = near
                .take_while(|(_, after)| pieces[i].0 - after.0 <= 2.0 * self.tool)
                .map(|(before, _)| (before.1 - curvature).abs())
                .fold(0.0, f64::max);
            let square = self.tool * self.tool;
            let off = self.width * square * curvature * curvature / 2.0 + square * change / 2.0;
            off <= TRUE_M
        })
    }
}

/// From how far left to how far right of the curve a zone lies; left is negative.
pub fn extent(curve: &Curve, zone: &MultiPolygon) -> (f64, f64) {
    region::rings(zone)
        .flat_map(LineString::lines)
        .flat_map(|line| {
            let chords = (distance(line.start, line.end) / OUTLINE_CHORD_M).ceil().max(1.0) as u32;
            (0..chords).map(move |i| line.start + line.delta() * (f64::from(i) / f64::from(chords)))
        })
        .map(|point| curve.place(point).1)
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)))
}
