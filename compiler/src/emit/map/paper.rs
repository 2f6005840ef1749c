//! From ground metres to millimetres on paper, north up, at a round scale.
//!
//! In: the ground to show. Out: a [`Paper`] whose scale is the largest round one that fits, and
//! SVG path data in its millimetres, to a hundredth.

use crate::geometry::Point;
use geo::{BoundingRect, LineString, MultiPolygon};
use std::fmt::Write as _;

/// Width of a panel.
pub const WIDTH_MM: f64 = 186.0;
const TALLEST_MM: f64 = 196.0;
const MARGIN_MM: f64 = 5.0;

const SCALES: [f64; 15] = [
    250.0, 400.0, 500.0, 750.0, 1000.0, 1250.0, 1500.0, 2000.0, 2500.0, 3000.0, 4000.0, 5000.0, 7500.0,
    10_000.0, 20_000.0,
];

/// A sheet of paper with ground on it.
#[derive(Copy, Clone, Debug)]
pub struct Paper {
    /// `1 : denominator`.
    pub denominator: f64,
    /// Height of the map.
    pub height_mm: f64,
    west: f64,
    north: f64,
}

impl Paper {
    /// Paper that shows the region whole, with its bottom edge where the margin ends.
    pub fn showing(region: &MultiPolygon) -> Self {
        let ground = region.bounding_rect().unwrap_or_else(|| {
            geo::Rect::new(geo::coord! { x: 0.0, y: 0.0 }, geo::coord! { x: 1.0, y: 1.0 })
        });
        let (room_x, room_y) = (WIDTH_MM - 2.0 * MARGIN_MM, TALLEST_MM - 2.0 * MARGIN_MM);
        let least = (ground.width() / room_x).max(ground.height() / room_y) * 1000.0;
        let denominator = SCALES.into_iter().find(|&scale| scale >= least).unwrap_or(least);
        let m_per_mm = denominator / 1000.0;
        Self {
            denominator,
            height_mm: ground.height() / m_per_mm + 2.0 * MARGIN_MM,
            west: ground.center().x - WIDTH_MM / 2.0 * m_per_mm,
            north: ground.max().y + MARGIN_MM * m_per_mm,
        }
    }

    /// Millimetres that stand for a length on the ground.
    pub fn mm(&self, metres: f64) -> f64 {
        metres / self.denominator * 1000.0
    }

    /// Metres on the ground that a length on paper stands for.
    pub fn metres(&self, mm: f64) -> f64 {
        mm * self.denominator / 1000.0
    }

    /// Where a point lies: millimetres right and down.
    pub fn at(&self, ground: Point) -> (f64, f64) {
        (self.mm(ground.x - self.west), self.mm(self.north - ground.y))
    }

    /// Path data of a line.
    pub fn line(&self, points: impl IntoIterator<Item = Point>) -> String {
        let mut data = String::new();
        let mut last = None;
        for (x, y) in points.into_iter().map(|point| self.at(point)) {
            let here = (hundredths(x), hundredths(y));
            if last != Some(here) {
                let letter = if last.is_none() { 'M' } else { 'L' };
                write!(data, "{letter}{} {}", number(x), number(y)).expect("a string takes any text");
                last = Some(here);
            }
        }
        data
    }

    /// Path data of a region, for the even-odd rule.
    pub fn area(&self, region: &MultiPolygon) -> String {
        let rings = region.0.iter().flat_map(|p| std::iter::once(p.exterior()).chain(p.interiors()));
        rings.map(|ring: &LineString| self.line(ring.coords().copied()) + "Z").collect()
    }
}

/// Millimetres to a hundredth, without idle zeros.
pub fn number(mm: f64) -> String {
    let hundredths = hundredths(mm);
    format!("{}", hundredths as f64 / 100.0)
}

fn hundredths(mm: f64) -> i64 {
    (mm * 100.0).round() as i64
}

/// A round length on the ground whose bar is at most `longest_mm` long.
pub fn scale_bar_m(paper: &Paper, longest_mm: f64) -> f64 {
    let longest = paper.metres(longest_mm);
    let decade = std::iter::successors(Some(1.0), |d| Some(d * 10.0)).take_while(|&d| d <= longest).last();
    let decade: f64 = decade.unwrap_or(1.0);
    [5.0, 2.0, 1.0].into_iter().map(|k| k * decade).find(|&bar| bar <= longest).unwrap_or(decade)
}

#[cfg(test)]
mod tests {
    use super::*;
    use geo::{Rect, coord};

    fn ground(width: f64, height: f64) -> MultiPolygon {
        Rect::new(coord! { x: 1000.0, y: 2000.0 }, coord! { x: 1000.0 + width, y: 2000.0 + height })
            .to_polygon()
            .into()
    }

    #[test]
    fn the_largest_round_scale_that_fits_is_taken() {
        // 176 mm of room: 300 m need 1 : 1705, and 1 : 2000 is the next round one.
        assert!((Paper::showing(&ground(300.0, 100.0)).denominator - 2000.0).abs() < 1e-9);
        // 186 mm of room upwards: 400 m need 1 : 2151.
        assert!((Paper::showing(&ground(100.0, 400.0)).denominator - 2500.0).abs() < 1e-9);
    }

    #[test]
    fn north_is_up_and_the_middle_is_in_the_middle() {
        let paper = Paper::showing(&ground(300.0, 100.0));
        let (x, y) = paper.at(coord! { x: 1150.0, y: 2100.0 });
        assert!((x - WIDTH_MM / 2.0).abs() < 1e-9 && (y - MARGIN_MM).abs() < 1e-9);
        assert!(paper.at(coord! { x: 1150.0, y: 2000.0 }).1 > y);
    }

    #[test]
    fn a_scale_bar_is_one_two_or_five() {
        let paper = Paper::showing(&ground(300.0, 100.0));
        assert!((scale_bar_m(&paper, 40.0) - 50.0).abs() < 1e-9, "40 mm at 1 : 2000 are 80 m");
        assert_eq!(
            (number(1.999_9), number(-0.001), number(12.345)),
            ("2".into(), "0".into(), "12.35".into())
        );
    }
}
