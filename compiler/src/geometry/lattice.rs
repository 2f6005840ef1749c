//! Rows of points on a plane: how near the nearest neighbour is, and which shift from row to row
//! keeps it farthest away.
//!
//! Rows lie `rows` apart, points of a row `points` apart, and each next row is shifted by the same
//! share of `points`. Metres throughout.

use crate::num;

/// Shares that are tried before the best is refined.
const TRIED: u32 = 1000;
/// Halvings of the step about the best of them: far below what a metering unit can tell.
const REFINED: u32 = 30;

/// Distance from a point to its nearest neighbour in other rows.
fn across(rows: f64, points: f64, shift: f64) -> f64 {
    let mut nearest = f64::INFINITY;
    let mut away = 1.0;
    while away * rows < nearest {
        let share = away * shift;
        nearest = nearest.min(num::hypot(away * rows, (share - share.round()) * points));
        away += 1.0;
    }
    nearest
}

/// Distance from a point to its nearest neighbour.
pub fn nearest_neighbour(rows: f64, points: f64, shift: f64) -> f64 {
    points.min(across(rows, points, shift))
}

/// The shift, from 0 to a half, that leaves the largest distance to neighbours in other rows: a half
/// where points are no farther apart than `2 / √3` rows.
pub fn widest_shift(rows: f64, points: f64) -> f64 {
    let distance = |shift: f64| across(rows, points, shift);
    let better = |a: f64, b: f64| if distance(b) > distance(a) { b } else { a };
    let tried = |i: u32| 0.5 - f64::from(i) * 0.5 / f64::from(TRIED);
    let mut best = (0..=TRIED).map(tried).fold(0.5, better);
    let mut step = 0.25 / f64::from(TRIED);
    for _ in 0..REFINED {
        best = [best - step, best + step].into_iter().filter(|s| (0.0..=0.5).contains(s)).fold(best, better);
        step *= 0.5;
    }
    best
}

/// The distance of points in a row that makes all six neighbours of a point equally far, where each
/// next row is shifted by a half.
pub fn equidistant(rows: f64) -> f64 {
    2.0 * rows / num::sqrt(3.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn close(found: f64, wanted: f64) {
        assert!((found - wanted).abs() < 5e-7, "{found}, not {wanted}");
    }

    /// Reference checks D1 and D2, derived: at 11.1111 points a square metre the square lattice keeps
    /// 0.3 m, the hexagonal one 0.322371 m with rows 0.279181 m apart, √(2/√3) times as much.
    #[test]
    fn hexagons_keep_points_farther_apart_than_squares() {
        let density = 11.111_111_1;
        let square = 1.0 / num::sqrt(density);
        close(nearest_neighbour(square, square, 0.0), 0.3);
        let rows = num::sqrt(num::sqrt(3.0) / 2.0 / density);
        let points = 1.0 / density / rows;
        close(rows, 0.279_181);
        close(nearest_neighbour(rows, points, widest_shift(rows, points)), 0.322_371);
        close(equidistant(rows), points);
        close(nearest_neighbour(rows, points, 0.5) / nearest_neighbour(square, square, 0.0), 1.074_569_9);
    }

    /// Reference check D3, derived: rows half a metre apart are equidistant at 0.577350 m.
    #[test]
    fn rows_decide_where_all_neighbours_are_equally_far() {
        close(equidistant(0.5), 0.577_350);
        close(nearest_neighbour(0.5, 0.577_350_27, 0.5), 0.577_350);
        close(1e4 / (0.5 * equidistant(0.5)), 34_641.016_151);
    }

    /// Reference check D4, derived: where points are much nearer in the row, no shift helps.
    #[test]
    fn a_shift_does_nothing_for_crowded_rows() {
        close(nearest_neighbour(0.5, 0.18, 0.0), 0.18);
        close(nearest_neighbour(0.5, 0.18, widest_shift(0.5, 0.18)), 0.18);
        close(widest_shift(0.5, 0.18), 0.5);
    }

    proptest! {
        /// No shift on a fine grid leaves more, and none leaves more than the hexagonal lattice of
        /// that density, which is the best that there is (Thue; Fejes Tóth).
        #[test]
        fn no_shift_is_wider(rows in 0.1..1.0_f64, times in 0.1..9.0_f64) {
            let points = rows * times;
            let best = nearest_neighbour(rows, points, widest_shift(rows, points));
            for i in 0..=3000 {
                prop_assert!(nearest_neighbour(rows, points, f64::from(i) / 6000.0) <= best + 1e-9);
            }
            let hexagonal = num::sqrt(2.0 / num::sqrt(3.0) * rows * points);
            prop_assert!(best <= hexagonal * (1.0 + 1e-9));
        }
    }
}
