//! A smooth line with its offsets: arcs of slowly changing curvature, straight at both ends.
//!
//! Smoothing is the convolution of a chain of points with a triangle of unit area: the tangent at a
//! station is the mean of the chain's directions round about, weighted by the triangle. A corner of
//! `α` becomes a bend no tighter than `h / α` whose curvature changes by no more than `α / h²` a
//! metre, where `h` is half the triangle's base; what is straight for `h` to either side stays where
//! it is. The bend is laid out in arcs, so that every offset is exactly parallel and made of arcs
//! too.
//!
//! `t` is the station, metres along the line; `v` is metres to its right.

use super::{Gear, Path, Piece, Point, Pose, direction, distance};
use crate::num;

/// Steps in which tangents are looked at: shares of half the triangle's base, and no finer than a
/// few decimetres, metres.
const STEPS: f64 = 40.0;
const FINEST_M: f64 = 0.25;

/// Turns smaller than this are none, radians.
const NO_TURN: f64 = 1e-10;

/// A smooth line.
#[derive(Clone, Debug)]
pub struct Curve {
    bends: Vec<Bend>,
}

/// One piece of it.
#[derive(Copy, Clone, Debug)]
pub struct Bend {
    /// Its first station.
    pub from: f64,
    /// The pose there.
    pub start: Pose,
    /// How far the line has turned until there, radians, positive to the left.
    pub turned: f64,
    /// Its length along the line.
    pub length: f64,
    /// Its curvature, positive to the left.
    pub curvature: f64,
}

impl Curve {
    /// Along a chain of points that differ from one to the next, smoothed over `smoothing` metres
    /// to either side and run on straight for `beyond` metres at both ends. Its curvature changes
    /// in steps of at most `step`, unless the smoothing is too short for that.
    pub fn smoothed(chain: &[Point], smoothing: f64, beyond: f64, step: f64) -> Self {
        let chain = Chain::new(chain, smoothing + beyond);
        let fine = (smoothing / STEPS).max(FINEST_M);
        let count = ((chain.length() - 2.0 * smoothing) / fine).ceil().max(1.0) as usize;
        let fine = (chain.length() - 2.0 * smoothing) / count as f64;
        let station = |i: usize| smoothing + fine * i as f64;
        let angles: Vec<f64> = (0..=count).map(|i| chain.tangent(station(i), smoothing).0).collect();
        let lengths: Vec<f64> =
            (0..count).map(|i| fine * chain.tangent(station(i) + fine / 2.0, smoothing).1).collect();
        let turn = |from: usize, to: usize| {
            let turn = num::wrap_angle(angles[to] - angles[from]);
            if turn.abs() < NO_TURN { 0.0 } else { turn }
        };
        let curvature = |i: usize| turn(i, i + 1) / lengths[i];
        // What is straight is no part of a bend: a turn spread over it would carry it aside.
        let differ = |a: usize, b: usize| {
            let (a, b) = (curvature(a), curvature(b));
            (a - b).abs() > step / 2.0 || (a == 0.0) != (b == 0.0)
        };

        let mut drawing = Drawing::from(Pose { at: chain.point(smoothing), angle: angles[0] });
        let mut first = 0;
        for i in 1..=count {
            if i == count || differ(first, i) {
                drawing.bend(lengths[first..i].iter().sum(), turn(first, i));
                first = i;
            }
        }
        Self { bends: drawing.bends }
    }

    /// Its pieces in order.
    pub fn bends(&self) -> &[Bend] {
        &self.bends
    }

    /// The line `right` metres to its right, where it bends nowhere so tightly.
    pub fn offset(&self, right: f64) -> Path {
        let first = self.bends[0].start;
        let pieces = self.bends.iter().map(|bend| {
            let stretch = 1.0 + bend.curvature * right;
            Piece::arc(Gear::Forward, bend.length * stretch, bend.curvature / stretch)
        });
        Path { start: Pose { at: first.ground(0.0, right), angle: first.angle }, pieces: pieces.collect() }
    }

    /// Station and distance to the right of a point; exact where the line bends nowhere so tightly
    /// that two of its places are square to the point.
    pub fn place(&self, point: Point) -> (f64, f64) {
        let after = self.bends.partition_point(|bend| bend.start.body(point).0 >= 0.0);
        let bend = &self.bends[after.saturating_sub(1)];
        let (forward, right) = bend.start.body(point);
        if bend.curvature == 0.0 {
            return (bend.from + forward, right);
        }
        let side = bend.curvature.signum();
        let radius = 1.0 / bend.curvature.abs();
        let outward = radius + side * right;
        let angle = num::atan2(forward, outward);
        // `√(f² + o²) − r` without the loss of digits that a wide bend would bring.
        let apart =
            (forward * forward + side * right * (outward + radius)) / (num::hypot(forward, outward) + radius);
        (bend.from + angle * radius, side * apart)
    }

    /// Metres along the offset `right` metres to the right, from its begin to a station.
    pub fn along(&self, station: f64, right: f64) -> f64 {
        let after = self.bends.partition_point(|bend| bend.from <= station);
        let bend = &self.bends[after.saturating_sub(1)];
        station + right * (bend.turned + (station - bend.from) * bend.curvature)
    }
}

/// A curve being drawn.
struct Drawing {
    bends: Vec<Bend>,
    pen: Pose,
    from: f64,
    turned: f64,
}

impl Drawing {
    const fn from(pen: Pose) -> Self {
        Self { bends: Vec::new(), pen, from: 0.0, turned: 0.0 }
    }

    fn bend(&mut self, length: f64, turn: f64) {
        let curvature = turn / length;
        self.bends.push(Bend { from: self.from, start: self.pen, turned: self.turned, length, curvature });
        self.pen = Piece::arc(Gear::Forward, length, curvature).end(self.pen);
        self.from += length;
        self.turned += turn;
    }
}

/// A chain of points by its arc length.
struct Chain {
    points: Vec<Point>,
    /// Where each point lies along the chain.
    at: Vec<f64>,
}

impl Chain {
    /// The chain run on straight at both ends.
    fn new(chain: &[Point], beyond: f64) -> Self {
        let last = chain.len() - 1;
        let run_on = |from: Point, end: Point| end + (end - from) / distance(from, end) * beyond;
        let mut points = vec![run_on(chain[1], chain[0])];
        points.extend_from_slice(chain);
        points.push(run_on(chain[last - 1], chain[last]));
        let at = points.windows(2).scan(0.0, |sum, pair| {
            *sum += distance(pair[0], pair[1]);
            Some(*sum)
        });
        let at = std::iter::once(0.0).chain(at).collect();
        Self { points, at }
    }

    fn length(&self) -> f64 {
        self.at[self.at.len() - 1]
    }

    fn point(&self, station: f64) -> Point {
        let edge = (self.at.partition_point(|at| *at <= station).max(1) - 1).min(self.at.len() - 2);
        let share = (station - self.at[edge]) / (self.at[edge + 1] - self.at[edge]);
        self.points[edge] + (self.points[edge + 1] - self.points[edge]) * share
    }

    /// Angle and length of the mean direction about a station, weighted by a triangle.
    fn tangent(&self, station: f64, half_base: f64) -> (f64, f64) {
        let first = self.at.partition_point(|at| *at <= station - half_base).max(1) - 1;
        let mut mean = Point { x: 0.0, y: 0.0 };
        for edge in first..self.at.len() - 1 {
            let (from, to) = (self.at[edge], self.at[edge + 1]);
            if from >= station + half_base {
                break;
            }
            let weight =
                weight_until((to - station) / half_base) - weight_until((from - station) / half_base);
            mean = mean + (self.points[edge + 1] - self.points[edge]) * (weight / (to - from));
        }
        (direction(Point { x: 0.0, y: 0.0 }, mean), num::hypot(mean.x, mean.y))
    }
}

/// The triangle's area to the left of a place; its base reaches from -1 to 1.
fn weight_until(place: f64) -> f64 {
    let place = place.clamp(-1.0, 1.0);
    if place < 0.0 { (1.0 + place) * (1.0 + place) / 2.0 } else { 1.0 - (1.0 - place) * (1.0 - place) / 2.0 }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn point(x: f64, y: f64) -> Point {
        Point { x, y }
    }

    prop_compose! {
        fn any_chain()(steps in prop::collection::vec((5.0..60.0_f64, -0.4..0.4_f64), 2..10)) -> Vec<Point> {
            let mut chain = vec![point(0.0, 0.0)];
            let mut angle = 0.0;
            for (length, turn) in steps {
                angle += turn;
                let last = chain[chain.len() - 1];
                chain.push(point(last.x + length * num::cos(angle), last.y + length * num::sin(angle)));
            }
            chain
        }
    }

    #[test]
    fn a_corner_bends_as_its_formula_says() {
        let (turn, smoothing) = (0.3, 20.0);
        let chain =
            [point(-100.0, 0.0), point(0.0, 0.0), point(100.0 * num::cos(turn), 100.0 * num::sin(turn))];
        let curve = Curve::smoothed(&chain, smoothing, 50.0, 1e-5);
        let sharpest = curve.bends().iter().map(|bend| bend.curvature.abs()).fold(0.0, f64::max);
        assert!((sharpest * smoothing / turn - 1.0).abs() < 0.02, "{sharpest}");
        // Where nothing bends within reach, the line is the chain.
        for bend in curve.bends() {
            let off = bend.start.at.y.abs();
            assert!(bend.start.at.x > -smoothing || off < 1e-9, "{off}");
        }
        // The mean distance from the corner over the triangle, h / 3, leaves the corner by
        // h / 3 · sin(α / 2).
        let corner = curve.place(point(0.0, 0.0)).1.abs();
        assert!((corner - smoothing / 3.0 * num::sin(turn / 2.0)).abs() < 0.01, "{corner}");
    }

    proptest! {
        /// The curve stays by its chain, and ends where the chain's run-on ends.
        #[test]
        fn the_curve_follows_its_chain(chain in any_chain(), smoothing in 4.0..40.0_f64) {
            let curve = Curve::smoothed(&chain, smoothing, 100.0, 1e-4);
            let end = curve.offset(0.0).end().at;
            let [before, last] = [chain[chain.len() - 2], chain[chain.len() - 1]];
            let angle = direction(before, last);
            let aside = Pose { at: last, angle }.body(end).1;
            prop_assert!(aside.abs() < 0.05, "{aside}");
        }

        /// Every point has the place that it was made from, and offsets keep their distance.
        #[test]
        fn places_invert(chain in any_chain(), share in 0.0..1.0_f64, right in -30.0..30.0_f64) {
            let curve = Curve::smoothed(&chain, 40.0, 60.0, 1e-4);
            let sharpest = curve.bends().iter().map(|bend| bend.curvature.abs()).fold(0.0, f64::max);
            prop_assume!(sharpest * 31.0 < 1.0);
            let offset = curve.offset(right);
            let along = share * offset.length();
            let (station, found) = curve.place(offset.pose_at(along).at);
            prop_assert!((found - right).abs() < 1e-6, "{found} for {right}");
            prop_assert!((curve.along(station, right) - along).abs() < 1e-6);
        }
    }
}
