//! The way back from ground metres to longitude and latitude, as a polynomial fitted to PROJ.
//!
//! In: a frame and the ground that it must serve. Out: two bivariate polynomials with a bound on
//! their distance from PROJ, below a hundredth of a millimetre, found on a grid denser than the
//! one that they were fitted on. PROJ takes some hundred nanoseconds a point; a field's millions of
//! seeds need less. Coefficients come from interpolation at Chebyshev nodes (Trefethen,
//! Approximation Theory and Approximation Practice, 2013, ch. 4), degree raised until the bound
//! holds, and are rounded to a grid far below it, so that a last digit of the platform's PROJ does
//! not show.

use super::frame::{FieldFrame, Projector, longitude_difference, wrap_longitude};
use crate::diagnostic::Finding;
use crate::geometry::Point;
use crate::num;
use geo::Rect;
use lanewright_schema::quantity::GeoPoint;

/// The farthest that a fitted position may lie from PROJ's, metres.
pub const BOUND_M: f64 = 1e-5;

const METRES_PER_DEGREE: f64 = 111_700.0;
/// Coefficients are multiples of this many degrees, 0.4 µm.
const COEFFICIENT_STEP: f64 = 1.0 / (1_u64 << 38) as f64;
const LARGEST_DEGREE: usize = 12;

/// From ground metres to a place in the output's reference frame. Plain data: any thread may use it.
#[derive(Clone, Debug, PartialEq)]
pub struct InverseProjection {
    origin: GeoPoint,
    middle: Point,
    half_m: f64,
    degree: usize,
    /// Degrees from the origin; `row[i][j]` belongs to `uⁱvʲ`, `i + j <= degree`, rows of falling length.
    longitude: Vec<Vec<f64>>,
    latitude: Vec<Vec<f64>>,
    bound_m: f64,
}

/// Longitude and latitude as polynomials of one variable, for points along a line.
#[derive(Clone, Debug, PartialEq)]
pub struct AlongLine {
    origin: GeoPoint,
    longitude: Vec<f64>,
    latitude: Vec<f64>,
}

impl InverseProjection {
    /// Fits the inverse over a piece of ground.
    pub fn over(frame: &FieldFrame, ground: Rect) -> Result<Self, Finding> {
        let projector = Projector::new(frame)?;
        let middle = ground.center();
        let half_m = (ground.width().max(ground.height()) / 2.0).max(100.0);
        for degree in 2..=LARGEST_DEGREE {
            let fitted = fit(frame, &projector, middle, half_m, degree)?;
            if fitted.bound_m < BOUND_M {
                return Ok(fitted);
            }
        }
        Err(Finding::error(
            "frame/projection",
            "the field lies so near a pole that longitude has no polynomial there",
        ))
    }

    /// The place of a point on the ground that was fitted.
    pub fn to_geo(&self, point: Point) -> GeoPoint {
        let (u, v) = self.normalised(point);
        self.place(bivariate(&self.longitude, u, v), bivariate(&self.latitude, u, v))
    }

    /// How far from the middle of the ground that was fitted, in halves of its side: to 1 within.
    pub fn off_middle(&self, point: Point) -> f64 {
        let (u, v) = self.normalised(point);
        u.abs().max(v.abs())
    }

    /// The polynomials along `from + t × step`, for many points on one line.
    pub fn along(&self, from: Point, step: Point) -> AlongLine {
        let (u, v) = self.normalised(from);
        let (du, dv) = (step.x / self.half_m, step.y / self.half_m);
        AlongLine {
            origin: self.origin,
            longitude: compose(&self.longitude, (u, du), (v, dv)),
            latitude: compose(&self.latitude, (u, du), (v, dv)),
        }
    }

    /// The most that a position can lie from PROJ's, metres, as found on a dense grid and doubled.
    pub const fn bound_m(&self) -> f64 {
        self.bound_m
    }

    fn normalised(&self, point: Point) -> (f64, f64) {
        ((point.x - self.middle.x) / self.half_m, (point.y - self.middle.y) / self.half_m)
    }

    fn place(&self, east: f64, north: f64) -> GeoPoint {
        GeoPoint {
            longitude: wrap_longitude(self.origin.longitude + east),
            latitude: self.origin.latitude + north,
        }
    }
}

impl AlongLine {
    /// The place at parameter `t`.
    pub fn to_geo(&self, t: f64) -> GeoPoint {
        GeoPoint {
            longitude: wrap_longitude(self.origin.longitude + horner(&self.longitude, t)),
            latitude: self.origin.latitude + horner(&self.latitude, t),
        }
    }

    /// Appends the places at parameters `first`, `first + 1`, and so on: `count` of them.
    pub fn extend(&self, first: u32, count: u32, longitude: &mut Vec<f64>, latitude: &mut Vec<f64>) {
        extend_horner(&self.longitude, first, count, longitude, |east| {
            wrap_longitude(self.origin.longitude + east)
        });
        extend_horner(&self.latitude, first, count, latitude, |north| self.origin.latitude + north);
    }
}

fn fit(
    frame: &FieldFrame,
    projector: &Projector,
    middle: Point,
    half_m: f64,
    degree: usize,
) -> Result<InverseProjection, Finding> {
    let count = degree + 1;
    let nodes: Vec<f64> = (0..count).map(|k| num::cos(num::PI * (k as f64 + 0.5) / count as f64)).collect();
    let mut longitude = vec![vec![0.0; count]; count];
    let mut latitude = vec![vec![0.0; count]; count];
    for (i, &u) in nodes.iter().enumerate() {
        for (j, &v) in nodes.iter().enumerate() {
            let place = projector.to_geo(at(middle, half_m, u, v))?;
            longitude[i][j] = longitude_difference(place.longitude, frame.origin.longitude);
            latitude[i][j] = place.latitude - frame.origin.latitude;
        }
    }
    let mut fitted = InverseProjection {
        origin: frame.origin,
        middle,
        half_m,
        degree,
        longitude: monomials(&longitude),
        latitude: monomials(&latitude),
        bound_m: 0.0,
    };
    fitted.bound_m = 2.0 * largest_error_m(&fitted, projector)?;
    Ok(fitted)
}

fn at(middle: Point, half_m: f64, u: f64, v: f64) -> Point {
    Point { x: middle.x + half_m * u, y: middle.y + half_m * v }
}

fn largest_error_m(fitted: &InverseProjection, projector: &Projector) -> Result<f64, Finding> {
    let steps = 3 * fitted.degree + 2;
    let mut largest: f64 = 0.0;
    for i in 0..=steps {
        for j in 0..=steps {
            let (u, v) = (2.0 * i as f64 / steps as f64 - 1.0, 2.0 * j as f64 / steps as f64 - 1.0);
            let point = at(fitted.middle, fitted.half_m, u, v);
            let (true_place, place) = (projector.to_geo(point)?, fitted.to_geo(point));
            let east = longitude_difference(place.longitude, true_place.longitude)
                * num::cos(true_place.latitude.to_radians());
            let north = place.latitude - true_place.latitude;
            largest = largest.max(num::hypot(east, north) * METRES_PER_DEGREE);
        }
    }
    Ok(largest)
}

/// Coefficients of `uⁱvʲ`, total degree bounded, from values at the Chebyshev nodes of both axes.
fn monomials(values: &[Vec<f64>]) -> Vec<Vec<f64>> {
    let count = values.len();
    let by_v: Vec<Vec<f64>> = values.iter().map(|row| monomials_1d(row)).collect();
    let columns: Vec<Vec<f64>> =
        (0..count).map(|j| monomials_1d(&by_v.iter().map(|row| row[j]).collect::<Vec<f64>>())).collect();
    (0..count)
        .map(|i| {
            (0..count - i).map(|j| (columns[j][i] / COEFFICIENT_STEP).round() * COEFFICIENT_STEP).collect()
        })
        .collect()
}

/// Monomial coefficients of the polynomial through the values at the Chebyshev nodes.
fn monomials_1d(values: &[f64]) -> Vec<f64> {
    let count = values.len();
    let mut sum = vec![0.0; count];
    let (mut before, mut current) = (vec![0.0; count], vec![0.0; count]);
    current[0] = 1.0;
    for order in 0..count {
        let weight = if order == 0 { 1.0 } else { 2.0 } / count as f64;
        let coefficient = weight
            * values
                .iter()
                .enumerate()
                .map(|(k, value)| value * num::cos(num::PI * order as f64 * (k as f64 + 0.5) / count as f64))
                .sum::<f64>();
        for (total, term) in sum.iter_mut().zip(&current) {
            *total += coefficient * term;
        }
        let factor = if order == 0 { 1.0 } else { 2.0 };
        let next: Vec<f64> =
            (0..count).map(|p| if p == 0 { 0.0 } else { factor * current[p - 1] } - before[p]).collect();
        before = std::mem::replace(&mut current, next);
    }
    sum
}

fn bivariate(rows: &[Vec<f64>], u: f64, v: f64) -> f64 {
    rows.iter().rev().fold(0.0, |sum, row| sum * u + horner(row, v))
}

fn horner(coefficients: &[f64], t: f64) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, c| sum * t + c)
}

/// Values of a polynomial at consecutive whole numbers, side by side so that the processor takes
/// several at a time; each is the very value that [`horner`] gives.
fn extend_horner(
    coefficients: &[f64],
    first: u32,
    count: u32,
    into: &mut Vec<f64>,
    finish: impl Fn(f64) -> f64,
) {
    const SIDE_BY_SIDE: u32 = 64;
    for start in (first..first + count).step_by(SIDE_BY_SIDE as usize) {
        let width = SIDE_BY_SIDE.min(first + count - start) as usize;
        let mut parameters = [0.0; SIDE_BY_SIDE as usize];
        for (parameter, index) in parameters.iter_mut().zip(start..) {
            *parameter = f64::from(index);
        }
        let mut sums = [0.0; SIDE_BY_SIDE as usize];
        for coefficient in coefficients.iter().rev() {
            for (sum, parameter) in sums.iter_mut().zip(&parameters) {
                *sum = *sum * parameter + coefficient;
            }
        }
        into.extend(sums[..width].iter().map(|&sum| finish(sum)));
    }
}

/// The polynomial of `t` that comes of `u = u0 + du·t`, `v = v0 + dv·t`.
fn compose(rows: &[Vec<f64>], u: (f64, f64), v: (f64, f64)) -> Vec<f64> {
    rows.iter().rev().fold(vec![0.0; rows.len()], |sum, row| {
        let inner = row.iter().rev().fold(vec![0.0; rows.len()], |inner, &c| {
            let mut next = times_linear(&inner, v);
            next[0] += c;
            next
        });
        let mut next = times_linear(&sum, u);
        for (total, term) in next.iter_mut().zip(inner) {
            *total += term;
        }
        next
    })
}

fn times_linear(polynomial: &[f64], (constant, slope): (f64, f64)) -> Vec<f64> {
    (0..polynomial.len())
        .map(|p| polynomial[p] * constant + if p == 0 { 0.0 } else { polynomial[p - 1] * slope })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::super::datum::Datum;
    use super::super::frame::field_frame;
    use super::*;
    use crate::check::ReferenceFrame;
    use geo::coord;
    use lanewright_schema::quantity::Length;
    use proptest::prelude::*;

    fn frame(latitude: f64, longitude: f64) -> FieldFrame {
        let reference =
            ReferenceFrame { name: "WGS 84".into(), proj: "EPSG:4326".into(), epoch: None, span: None };
        field_frame(&Datum::of(&reference).unwrap(), &[GeoPoint { longitude, latitude }], Length::ZERO)
            .unwrap()
    }

    fn square(half_m: f64) -> Rect {
        Rect::new(coord! {x: -half_m, y: -half_m}, coord! {x: half_m, y: half_m})
    }

    fn metres_apart(a: GeoPoint, b: GeoPoint) -> f64 {
        let east = longitude_difference(a.longitude, b.longitude) * a.latitude.to_radians().cos();
        (east * 111_320.0).hypot((a.latitude - b.latitude) * 111_320.0)
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]
        /// Random points against PROJ, which the fit has not seen, at any latitude where crops grow.
        #[test]
        fn stays_within_its_bound_of_proj(
            latitude in -70.0..70.0_f64, longitude in -180.0..180.0_f64, half_m in 100.0..9000.0_f64,
            points in prop::collection::vec((-1.0..1.0_f64, -1.0..1.0_f64), 50),
        ) {
            let frame = frame(latitude, longitude);
            let inverse = InverseProjection::over(&frame, square(half_m)).unwrap();
            let projector = Projector::new(&frame).unwrap();
            prop_assert!(inverse.bound_m() < BOUND_M);
            for (u, v) in points {
                let point = coord! {x: u * half_m, y: v * half_m};
                let apart = metres_apart(projector.to_geo(point).unwrap(), inverse.to_geo(point));
                prop_assert!(apart <= inverse.bound_m(), "{apart} > {}", inverse.bound_m());
            }
        }

        #[test]
        fn a_line_gives_the_same_places_as_its_points(
            x in -300.0..300.0_f64, y in -300.0..300.0_f64, angle in 0.0..7.0_f64,
        ) {
            let inverse = InverseProjection::over(&frame(52.0, 179.999), square(1000.0)).unwrap();
            let step = coord! {x: 0.18 * angle.cos(), y: 0.18 * angle.sin()};
            let line = inverse.along(coord! {x: x, y: y}, step);
            for t in [0.0, 1.0, 500.0, 2000.0] {
                let point = coord! {x: x + t * step.x, y: y + t * step.y};
                prop_assert!(metres_apart(line.to_geo(t), inverse.to_geo(point)) < 1e-7);
            }
            let (mut longitude, mut latitude) = (vec![], vec![]);
            line.extend(3, 200, &mut longitude, &mut latitude);
            for (index, place) in longitude.into_iter().zip(latitude).enumerate() {
                let expected = line.to_geo(index as f64 + 3.0);
                prop_assert_eq!(place, (expected.longitude, expected.latitude));
            }
        }
    }

    #[test]
    fn a_pole_is_refused() {
        let finding = InverseProjection::over(&frame(89.999, 0.0), square(500.0)).unwrap_err();
        assert_eq!(finding.rule, "frame/projection");
    }
}
