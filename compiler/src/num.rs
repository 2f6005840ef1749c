//! The only door to transcendental functions. `std`'s differ between platforms in the last digit,
//! which would break the promise of the same bytes from the same job.

pub use libm::{acos, asin, atan, atan2, cos, erfc, exp, log, sin, tan};

/// Half a turn, radians.
pub const PI: f64 = std::f64::consts::PI;

/// Square root, which IEEE 754 rounds correctly everywhere.
pub fn sqrt(square: f64) -> f64 {
    square.sqrt()
}

/// Length of the hypotenuse. Made for metres and radians: squares must not overflow.
pub fn hypot(x: f64, y: f64) -> f64 {
    (x * x + y * y).sqrt()
}

/// Sine and cosine of an angle in radians.
pub fn sin_cos(angle: f64) -> (f64, f64) {
    libm::sincos(angle)
}

/// An angle in radians brought into `(-π, π]`.
pub fn wrap_angle(angle: f64) -> f64 {
    if -PI < angle && angle <= PI {
        return angle;
    }
    let turns = (angle / (2.0 * PI)).round();
    let wrapped = angle - turns * 2.0 * PI;
    if wrapped <= -PI { wrapped + 2.0 * PI } else { wrapped }
}
