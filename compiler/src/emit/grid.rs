//! Polygons on the grid of rounded positions.
//!
//! In: polygons whose positions have been rounded, exteriors counter-clockwise. Out: the same ground
//! without the crossings, spikes and turned-over rings that rounding gives to slivers a fraction of
//! a millimetre wide; every vertex stays on the grid. The overlay of integers does the work, which
//! is exact; ground that it finds nothing of is gone.

use i_overlay::core::fill_rule::FillRule;
use i_overlay::core::overlay::{IntOverlayOptions, Overlay, ShapeType};
use i_overlay::core::overlay_rule::OverlayRule;
use i_overlay::core::solver::Solver;
use i_overlay::i_float::int::point::IntPoint;
use lanewright_schema::plan::{Polygon, Position};

/// Grid lines in a degree: nine decimals.
const PER_DEGREE: f64 = 1e9;

/// The ground of the polygons as valid polygons (OGC simple features).
pub fn valid(polygons: &[Polygon]) -> Vec<Polygon> {
    let options = IntOverlayOptions { ogc: true, ..IntOverlayOptions::default() };
    let vertices = polygons.iter().flatten().map(Vec::len).sum();
    let mut overlay = Overlay::<i64>::new_custom(vertices, options, Solver::default());
    for ring in polygons.iter().flatten() {
        let open = &ring[..ring.len().saturating_sub(1)];
        overlay.add_path_iter(open.iter().map(|&at| on_grid(at)), ShapeType::Subject);
    }
    let shapes = overlay.overlay(OverlayRule::Subject, FillRule::Positive);
    shapes.iter().map(|rings| rings.iter().map(|ring| closed(ring)).collect()).collect()
}

fn on_grid([longitude, latitude]: Position) -> IntPoint<i64> {
    IntPoint { x: (longitude * PER_DEGREE).round() as i64, y: (latitude * PER_DEGREE).round() as i64 }
}

fn closed(ring: &[IntPoint<i64>]) -> Vec<Position> {
    let position = |at: &IntPoint<i64>| [at.x as f64 / PER_DEGREE, at.y as f64 / PER_DEGREE];
    ring.iter().chain(ring.first()).map(position).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::{Area, Coord, LineString, MultiPolygon, Validation};

    /// Grid steps about a place, as degrees.
    fn ring(steps: &[[i32; 2]]) -> Vec<Position> {
        let at = |&[x, y]: &[i32; 2]| [(7e9 + f64::from(x)) / 1e9, (51e9 + f64::from(y)) / 1e9];
        steps.iter().chain(steps.first()).map(at).collect()
    }

    /// In grid steps.
    fn ground(polygons: &[Polygon]) -> MultiPolygon {
        let line = |ring: &Vec<Position>| {
            LineString(
                ring.iter()
                    .map(|p| Coord { x: (p[0] * 1e9 - 7e9).round(), y: (p[1] * 1e9 - 51e9).round() })
                    .collect(),
            )
        };
        let polygon =
            |rings: &Polygon| geo::Polygon::new(line(&rings[0]), rings[1..].iter().map(line).collect());
        MultiPolygon(polygons.iter().map(polygon).collect())
    }

    #[test]
    fn a_sound_polygon_with_its_hole_stays() {
        let sound = vec![
            ring(&[[0, 0], [1000, 0], [1000, 1000], [0, 1000]]),
            ring(&[[400, 400], [400, 600], [600, 600], [600, 400]]),
        ];
        let same = ground(&valid(&[sound]));
        assert!((same.signed_area() - 960_000.0).abs() < 1e-6, "{}", same.signed_area());
        assert_eq!(same.0[0].interiors().len(), 1);
    }

    #[test]
    fn crossings_and_spikes_are_resolved() {
        // The upper edge dips below the lower one by a step, and a spike leaves the right side.
        let bent =
            vec![ring(&[[0, 0], [500, 2], [1000, 0], [3000, 0], [1000, 1], [1000, 300], [501, 1], [0, 300]])];
        let before = ground(std::slice::from_ref(&bent));
        assert!(!before.is_valid());
        let after = ground(&valid(&[bent]));
        assert!(after.is_valid(), "{after:?}");
        assert!((after.signed_area() - before.unsigned_area()).abs() < 3000.0);
    }

    #[test]
    fn ground_that_has_been_turned_over_is_gone() {
        assert!(valid(&[vec![ring(&[[0, 0], [0, 1], [1000, 0]])]]).is_empty());
    }
}
