//! Regions of ground: offsets and boolean operations on polygons with holes.
//!
//! Boolean operations run on whole numbers, on one grid for all regions (`GRID_PER_M`): an edge
//! that two regions share stays shared through any chain of operations, and none of them begins a
//! cascade of slivers. Offsets round their convex side; the chords that stand for an arc leave it by
//! at most [`ARC_TOLERANCE_M`].

use super::Point;
use geo::algorithm::buffer::{BufferStyle, LineJoin};
use geo::{Area, Buffer, Contains, LineString, MultiPolygon, Polygon};
use i_overlay::core::fill_rule::FillRule;
use i_overlay::core::overlay::{Overlay, ShapeType};
use i_overlay::core::overlay_rule::OverlayRule;
use i_overlay::i_float::int::point::IntPoint;
use i_overlay::string::slice::IntSlice;

/// Grid lines in a metre: the grid is about a micrometre wide.
const GRID_PER_M: f64 = 1_048_576.0;

/// How far a polygon over the seam of two others must reach into each, metres, for the three to become one
/// whatever the grid does to their corners: they move by less than a grid's diagonal between them.
pub const SEAM_M: f64 = 3.0 / GRID_PER_M;

/// How far a chord of a rounded offset may lie from its arc, metres.
pub const ARC_TOLERANCE_M: f64 = 0.0002;

/// Every point of the region at least `distance` from its boundary.
pub fn inset(region: &MultiPolygon, distance: f64) -> MultiPolygon {
    if distance <= 0.0 || region.0.is_empty() {
        return region.clone();
    }
    clean(region.buffer_with_style(style(-distance)))
}

/// Every point within `distance` of the region.
pub fn outset(region: &MultiPolygon, distance: f64) -> MultiPolygon {
    if distance <= 0.0 || region.0.is_empty() {
        return region.clone();
    }
    clean(region.buffer_with_style(style(distance)))
}

/// The region that a disc of this radius can sweep without leaving it: corners rounded, necks gone.
pub fn opened(region: &MultiPolygon, radius: f64) -> MultiPolygon {
    outset(&inset(region, radius), radius)
}

/// Points of `a` that are not in `b`.
pub fn difference(a: &MultiPolygon, b: &MultiPolygon) -> MultiPolygon {
    combined(a, b, OverlayRule::Difference)
}

/// Points in both.
pub fn intersection(a: &MultiPolygon, b: &MultiPolygon) -> MultiPolygon {
    combined(a, b, OverlayRule::Intersect)
}

/// Points in either.
pub fn union(a: &MultiPolygon, b: &MultiPolygon) -> MultiPolygon {
    combined(a, b, OverlayRule::Union)
}

/// Points in any of the polygons, which may overlap and may be wound either way.
pub fn union_all(polygons: &[Polygon]) -> MultiPolygon {
    let mut overlay = Overlay::<i64>::new(polygons.len() * 4);
    for polygon in polygons {
        add(&mut overlay, polygon, ShapeType::Subject);
    }
    from_grid(&overlay.overlay(OverlayRule::Subject, FillRule::NonZero))
}

/// The region's connected pieces once it is cut along open lines, in no order of theirs. A line's end
/// that dangles inside cuts nothing.
pub fn cut(region: &MultiPolygon, lines: &[Vec<Point>]) -> Vec<Polygon> {
    let rings: Vec<Vec<IntPoint<i64>>> = region
        .iter()
        .flat_map(|polygon| {
            let holes = polygon.interiors().iter().map(|hole| wound(hole, Turn::Right).collect());
            std::iter::once(wound(polygon.exterior(), Turn::Left).collect()).chain(holes)
        })
        .collect();
    let lines: Vec<Vec<IntPoint<i64>>> =
        lines.iter().map(|line| line.iter().map(|&point| on_grid(point)).collect()).collect();
    from_grid(&rings.slice_by_paths(&lines, FillRule::NonZero)).0
}

/// Square metres, holes left out.
pub fn area(region: &MultiPolygon) -> f64 {
    region.unsigned_area()
}

/// Whether the point lies inside, not on the edge.
pub fn contains(region: &MultiPolygon, point: Point) -> bool {
    region.contains(&point)
}

/// Every ring, exteriors and holes.
pub fn rings(region: &MultiPolygon) -> impl Iterator<Item = &LineString> {
    region.0.iter().flat_map(|p| std::iter::once(p.exterior()).chain(p.interiors()))
}

fn combined(a: &MultiPolygon, b: &MultiPolygon, rule: OverlayRule) -> MultiPolygon {
    let mut overlay = Overlay::<i64>::new(rings(a).chain(rings(b)).map(|r| r.0.len()).sum());
    for polygon in &a.0 {
        add(&mut overlay, polygon, ShapeType::Subject);
    }
    for polygon in &b.0 {
        add(&mut overlay, polygon, ShapeType::Clip);
    }
    from_grid(&overlay.overlay(rule, FillRule::NonZero))
}

/// Exteriors go in counter-clockwise and holes clockwise, so that winding tells inside from outside.
fn add(overlay: &mut Overlay<i64>, polygon: &Polygon, role: ShapeType) {
    overlay.add_path_iter(wound(polygon.exterior(), Turn::Left), role);
    for hole in polygon.interiors() {
        overlay.add_path_iter(wound(hole, Turn::Right), role);
    }
}

#[derive(Copy, Clone, PartialEq)]
enum Turn {
    Left,
    Right,
}

fn wound(ring: &LineString, turn: Turn) -> impl Iterator<Item = IntPoint<i64>> {
    let twice_area: f64 = ring.lines().map(|l| l.determinant()).sum();
    let turns = if twice_area > 0.0 { Turn::Left } else { Turn::Right };
    let corners = &ring.0[..ring.0.len().saturating_sub(1)];
    let count = corners.len();
    (0..count).map(move |i| on_grid(corners[if turns == turn { i } else { count - 1 - i }]))
}

fn on_grid(point: Point) -> IntPoint<i64> {
    IntPoint { x: (point.x * GRID_PER_M).round() as i64, y: (point.y * GRID_PER_M).round() as i64 }
}

fn from_grid(shapes: &[Vec<Vec<IntPoint<i64>>>]) -> MultiPolygon {
    let ring = |contour: &Vec<IntPoint<i64>>| {
        let mut points: Vec<Point> = contour
            .iter()
            .map(|p| Point { x: p.x as f64 / GRID_PER_M, y: p.y as f64 / GRID_PER_M })
            .collect();
        points.push(points[0]);
        LineString(points)
    };
    let polygons = shapes.iter().filter_map(|contours| {
        let (exterior, holes) = contours.split_first()?;
        Some(Polygon::new(ring(exterior), holes.iter().map(ring).collect()))
    });
    clean(MultiPolygon(polygons.collect()))
}

fn style(distance: f64) -> BufferStyle<f64> {
    let angle = (8.0 * ARC_TOLERANCE_M / distance.abs()).sqrt().clamp(0.01, 0.2);
    BufferStyle::new(distance).line_join(LineJoin::Round(angle))
}

/// Drops pieces that rounding to the grid leaves behind: nothing below a square millimetre is soil.
fn clean(region: MultiPolygon) -> MultiPolygon {
    MultiPolygon(region.0.into_iter().filter(|p| p.unsigned_area() > 1e-6).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::polygon;

    fn rectangle(width: f64, height: f64) -> MultiPolygon {
        polygon![(x: 0.0, y: 0.0), (x: width, y: 0.0), (x: width, y: height), (x: 0.0, y: height)].into()
    }

    #[test]
    fn inset_of_a_rectangle_is_the_smaller_rectangle() {
        let inner = inset(&rectangle(300.0, 100.0), 9.0);
        assert!((area(&inner) - 282.0 * 82.0).abs() < 1e-3, "{}", area(&inner));
    }

    #[test]
    fn outset_of_a_square_has_quarter_circles_at_its_corners() {
        let grown = outset(&rectangle(10.0, 10.0), 2.0);
        let exact = 100.0 + 4.0 * 20.0 + 4.0 * std::f64::consts::PI;
        assert!(
            (area(&grown) - exact).abs() < 4.0 * std::f64::consts::PI * ARC_TOLERANCE_M,
            "{}",
            area(&grown)
        );
    }

    #[test]
    fn opening_rounds_corners_and_drops_what_is_narrower_than_the_disc() {
        let opened_square = opened(&rectangle(10.0, 10.0), 2.0);
        let lost = 4.0 * (4.0 - std::f64::consts::PI);
        assert!((area(&opened_square) - (100.0 - lost)).abs() < 0.01);
        assert!(opened(&rectangle(100.0, 3.0), 2.0).0.is_empty());
    }
}
