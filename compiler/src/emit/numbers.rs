//! Numbers on their way out: rounded once, here, so that the same plan gives the same bytes.

use lanewright_schema::plan::Position;
use lanewright_schema::quantity::GeoPoint;

/// Nine decimals of a degree, 0.11 mm.
pub fn degrees(value: f64) -> f64 {
    rounded(value, 1e9)
}

/// Billionths.
pub fn nano(value: f64) -> f64 {
    rounded(value, 1e9)
}

/// Trillionths.
pub fn pico(value: f64) -> f64 {
    rounded(value, 1e12)
}

/// Micrometres, microseconds, millionths.
pub fn micro(value: f64) -> f64 {
    rounded(value, 1e6)
}

/// Degrees in Parquet files are multiples of this, a nanodegree or 0.1 mm.
pub const DEGREE_STEP: f64 = 1.0 / (1_u64 << 30) as f64;

/// Rounds to multiples of a power of two: adding a number of which it is the last binary place
/// rounds to it, as IEEE 754 demands of every addition, and subtracting restores the size.
pub fn snap(values: &mut [f64], step: f64) {
    let carrier = 1.5 * step * (1_u64 << 52) as f64;
    for value in values {
        *value = (*value + carrier) - carrier;
    }
}

/// A place as `[longitude, latitude]`, longitude brought within half a turn of `near`, so that
/// what lies across the 180° meridian stays in one piece.
pub fn position(place: GeoPoint, near: f64) -> Position {
    let turns = ((place.longitude - near) / 360.0).round();
    [degrees(place.longitude - 360.0 * turns), degrees(place.latitude)]
}

/// Adding zero turns −0 into 0.
fn rounded(value: f64, per_unit: f64) -> f64 {
    (value * per_unit).round() / per_unit + 0.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn longitudes_stay_together_across_the_180_degree_meridian() {
        let east = position(GeoPoint { longitude: 179.999_9, latitude: -17.0 }, 179.999_95);
        let west = position(GeoPoint { longitude: -179.999_9, latitude: -17.0 }, 179.999_95);
        assert_eq!((east, west), ([179.999_9, -17.0], [180.000_1, -17.0]));
    }

    #[test]
    fn a_hair_below_zero_is_zero() {
        assert!(micro(-1e-9).is_sign_positive());
    }
}
