//! Shares of plants by the normal distribution (Abramowitz and Stegun 1964, section 26.2).

use crate::num;

/// Share beyond a distance, to either side.
pub fn beyond(distance: f64, sigma: f64) -> f64 {
    2.0 * beyond_one_side(distance, sigma)
}

/// Share beyond a distance, to one side.
pub fn beyond_one_side(distance: f64, sigma: f64) -> f64 {
    if sigma > 0.0 {
        0.5 * num::erfc(distance / sigma / std::f64::consts::SQRT_2)
    } else if distance > 0.0 {
        0.0
    } else {
        1.0
    }
}

/// Intervals of Simpson's rule over a band; the integrands are smooth on its scale.
const INTERVALS: u32 = 200;

/// The mean of `share(y)` over plants whose place across the row `y` is normal with this deviation,
/// within `half` of the row; those beyond count nothing.
pub fn mean_across(half: f64, sigma: f64, share: impl Fn(f64) -> f64) -> f64 {
    if sigma <= 0.0 {
        return share(0.0);
    }
    let step = 2.0 * half / f64::from(INTERVALS);
    let density = |y: f64| {
        let z = y / sigma;
        num::exp(-0.5 * z * z) / (sigma * num::sqrt(2.0 * num::PI))
    };
    let sum: f64 = (0..=INTERVALS)
        .map(|i| {
            let weight = match i {
                0 | INTERVALS => 1.0,
                odd if odd % 2 == 1 => 4.0,
                _ => 2.0,
            };
            let y = -half + step * f64::from(i);
            weight * density(y) * share(y)
        })
        .sum();
    sum * step / 3.0
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Abramowitz and Stegun 1964, table 26.1: P(1) = 0.8413447461, P(2) = 0.9772498681; and the
    /// 4.55 % beyond two deviations that follow.
    #[test]
    fn shares_are_those_of_the_table() {
        assert!((beyond_one_side(1.0, 1.0) - (1.0 - 0.841_344_746_1)).abs() < 1e-9);
        assert!((beyond(2.0, 1.0) - 2.0 * (1.0 - 0.977_249_868_1)).abs() < 1e-9);
        assert!((mean_across(2.0, 1.0, |_| 1.0) - (1.0 - beyond(2.0, 1.0))).abs() < 1e-9);
    }

    #[test]
    fn without_deviation_every_plant_stands_where_it_should() {
        assert!(beyond(0.01, 0.0).abs() < f64::EPSILON);
        assert!((mean_across(0.1, 0.0, |y| y + 0.25) - 0.25).abs() < f64::EPSILON);
    }
}
