//! Regions of ground: offsets and boolean operations on polygons with holes.
//!
//! Thin names over the `geo` crate, which does the work in exact integer arithmetic on a grid of
//! about a micrometre for a field of a kilometre. Offsets round their convex side; the chords that
//! stand for an arc leave it by at most [`ARC_TOLERANCE_M`].

use super::Point;
use geo::algorithm::buffer::{BufferStyle, LineJoin};
use geo::{Area, BooleanOps, Buffer, Contains, LineString, MultiPolygon, Polygon};

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
    clean(a.difference(b))
}

/// Points in both.
pub fn intersection(a: &MultiPolygon, b: &MultiPolygon) -> MultiPolygon {
    clean(a.intersection(b))
}

/// Points in either.
pub fn union(a: &MultiPolygon, b: &MultiPolygon) -> MultiPolygon {
    clean(a.union(b))
}

/// Points in any of the polygons; their interiors may overlap.
pub fn union_all(polygons: &[Polygon]) -> MultiPolygon {
    clean(geo::unary_union(polygons))
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
