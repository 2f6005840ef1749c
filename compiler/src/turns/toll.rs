//! What a way costs beside its time: sown soil under the wheels.
//!
//! In: where soil is worked and in which stage of the work. Out: seconds that a way counts more, so
//! that of two ways the one that crosses fewer rows is taken unless it takes much longer. It is a
//! preference and no count: seeds under the tyres are counted in the budget.
//!
//! Method: soil is kept on square cells, each with a place on a row. A wheel track is looked up at short
//! steps; where it crosses rows it counts so much a metre, all tracks together what one metre of the
//! machine does. A tyre of width w that crosses rows s apart lies on a row for w / s of its way, at any
//! angle. Where it runs nearly along them it is on a row or beside it: there it counts s / w times as
//! much on a row, and nothing beside it, so that slanting ways gain nothing and lanes are free. Within
//! soil that is alike all round, which is known for larger cells, a way across it needs no looking up.

use crate::geometry::{Cells, Gear, Piece, Point, Pose, cross, distance, unit};
use crate::num;
use std::cmp::Ordering;

/// Cells in a row of a larger one.
const COARSER: u32 = 8;

/// Sown soil, small enough for a large field's cells to be looked up quickly.
#[derive(Copy, Clone, Debug, PartialEq)]
struct Sown {
    /// When, counted from zero.
    stage: u8,
    /// The rows' direction, a unit vector.
    direction: [f32; 2],
    /// How far a row lies to the right of the line in that direction through the origin, less whole
    /// row spacings, metres.
    row_m: f32,
}

/// Soil by the stage in which it is sown.
#[derive(Clone, Debug)]
pub struct Soil {
    row_spacing_m: f64,
    cells: Cells,
    sown: Vec<Option<Sown>>,
    /// Larger cells.
    coarse: Cells,
    /// How far from the middle of each of them all soil is alike, metres; zero where that is not known.
    alike_m: Vec<f64>,
}

impl Sown {
    fn of(row: Pose, stage: u8, row_spacing_m: f64) -> Self {
        let direction = unit(row.angle);
        let mut sown = Self { stage, direction: [direction.x as f32, direction.y as f32], row_m: 0.0 };
        sown.row_m = sown.right_m(row.at).rem_euclid(row_spacing_m) as f32;
        sown
    }

    fn direction(self) -> Point {
        let [x, y] = self.direction.map(f64::from);
        Point { x, y }
    }

    /// How far a place lies to the right of the line through the origin.
    fn right_m(self, at: Point) -> f64 {
        cross(at, self.direction())
    }

    /// Whether a wheel that runs in this direction, a unit vector, stays on a row or beside it for long.
    fn is_along(self, heading: Point) -> bool {
        /// The sine of ten degrees.
        const NEARLY: f64 = 0.173_648_177_666_930_33;
        cross(self.direction(), heading).abs() <= NEARLY
    }

    /// Whether rows in this direction are sown in the same stage.
    fn is_like(self, other: Self) -> bool {
        (self.stage, self.direction) == (other.stage, other.direction)
    }

    /// How far a place lies from the nearest of the parallel rows.
    fn beside_m(self, at: Point, row_spacing_m: f64) -> f64 {
        let right_m = self.right_m(at) - f64::from(self.row_m);
        (right_m - row_spacing_m * (right_m / row_spacing_m).round()).abs()
    }
}

impl Soil {
    /// Soil that is not sown, within the corners of a rectangle. A cell is at least as wide as
    /// the spacing of the rows to come.
    pub fn unsown((low, high): (Point, Point), row_spacing_m: f64) -> Self {
        /// Smaller cells tell a headland from its lanes no better.
        const LEAST_CELL_M: f64 = 0.5;
        /// More cells than this cost more than they tell.
        const MOST_CELLS: f64 = 1e6;
        let area_m2 = (high.x - low.x) * (high.y - low.y);
        let cell_m = num::sqrt(area_m2 / MOST_CELLS).max(row_spacing_m).max(LEAST_CELL_M);
        let cells = Cells::covering((low, high), cell_m);
        let coarse = Cells::covering((low, high), f64::from(COARSER) * cell_m);
        let (sown, alike_m) = (vec![None; cells.count()], vec![0.0; coarse.count()]);
        Self { row_spacing_m, cells, sown, coarse, alike_m }
    }

    /// The same soil, once all of it is sown: quicker to look up.
    #[must_use]
    pub fn surveyed(mut self) -> Self {
        let alike = |one: Option<Sown>, other: Option<Sown>| match (one, other) {
            (Some(one), Some(other)) => one.is_like(other),
            (one, other) => one.is_none() && other.is_none(),
        };
        // What each of the larger cells is like throughout; none where it is not.
        let mut kinds: Vec<Option<Option<Sown>>> = vec![None; self.coarse.count()];
        let mut seen = vec![0; self.coarse.count()];
        for (cell, &sown) in self.sown.iter().enumerate() {
            let Some(within) = self.coarse.at(self.cells.centre(cell)) else { continue };
            seen[within] += 1;
            kinds[within] =
                if seen[within] == 1 { Some(sown) } else { kinds[within].filter(|&kind| alike(kind, sown)) };
        }
        let is_border = |cell: usize| {
            let Some(kind) = kinds[cell].filter(|_| seen[cell] == COARSER * COARSER) else { return true };
            [(1, 0), (0, 1), (-1, 0), (0, -1)].into_iter().any(|step| match self.coarse.beside(cell, step) {
                Some(beside) => kinds[beside].is_some_and(|other| !alike(kind, other)),
                None => kind.is_some(),
            })
        };
        let side_m = self.coarse.side_m;
        let within_m = |moves: u16| (f64::from(moves) - 0.5).max(0.0) * side_m;
        self.alike_m = self.coarse.king_moves(is_border).into_iter().map(within_m).collect();
        self
    }

    /// The side of a cell, metres.
    pub const fn cell_m(&self) -> f64 {
        self.cells.side_m
    }

    /// A row that is sown in a stage, by a pose on it. Where two stages meet, the earlier stays.
    pub fn sow(&mut self, on_row: Pose, stage: u8) {
        let Some(cell) = self.cells.at(on_row.at) else { return };
        if self.sown[cell].is_none_or(|known| stage < known.stage) {
            self.sown[cell] = Some(Sown::of(on_row, stage, self.row_spacing_m));
        }
    }

    fn at(&self, at: Point) -> Option<Sown> {
        self.cells.at(at).and_then(|cell| self.sown[cell])
    }

    /// How far round a place all soil is like there, metres; not above zero where that is not known.
    fn alike_m(&self, at: Point) -> f64 {
        let known_m = |cell: usize| self.alike_m[cell] - distance(at, self.coarse.centre(cell));
        self.coarse.at(at).map_or(0.0, known_m)
    }
}

/// When a way is driven.
#[derive(Copy, Clone, Debug, PartialEq, Eq)]
pub enum Moment {
    /// Before anything is sown.
    Before,
    /// During a stage: half of its soil is taken to be sown.
    During(u8),
    /// When all is sown.
    After,
}

/// What runs on the soil.
#[derive(Copy, Clone, Debug)]
pub struct Wheels<'a> {
    /// Wheel tracks, metres to the right of the reference point.
    pub tracks_m: &'a [f64],
    /// Width of a tyre, metres.
    pub tyre_m: f64,
}

/// Soil that is alike all round.
struct Open {
    sown: Option<Sown>,
    /// How far it goes on, metres; below zero where it is not known to.
    left_m: f64,
}

/// What sown soil costs on a way driven at a moment.
#[derive(Copy, Clone, Debug)]
pub struct Toll<'a> {
    /// None where it costs nothing.
    soil: Option<&'a Soil>,
    wheels: Wheels<'a>,
    s_per_m: f64,
    moment: Moment,
}

impl<'a> Toll<'a> {
    /// Driving over sown soil costs no more than any driving.
    pub const NONE: Toll<'static> = Toll {
        soil: None,
        wheels: Wheels { tracks_m: &[], tyre_m: 0.0 },
        s_per_m: 0.0,
        moment: Moment::Before,
    };

    /// A toll of so many seconds for a metre that all wheel tracks run on sown soil.
    pub fn new(soil: &'a Soil, wheels: Wheels<'a>, s_per_m: f64, moment: Moment) -> Self {
        let nothing = s_per_m <= 0.0 || wheels.tracks_m.is_empty() || moment == Moment::Before;
        Self { soil: (!nothing).then_some(soil), wheels, s_per_m, moment }
    }

    /// Seconds for pieces that begin at a pose.
    pub fn seconds(&self, start: Pose, pieces: &[Piece]) -> f64 {
        self.below(start, pieces, f64::INFINITY).unwrap_or(f64::INFINITY)
    }

    /// The same if it is below a limit, which is known as soon as it is not.
    pub fn below(&self, start: Pose, pieces: &[Piece], limit_s: f64) -> Option<f64> {
        /// Metres between places that are looked up.
        const STEP_M: f64 = 0.5;
        let Some(soil) = self.soil else { return (limit_s > 0.0).then_some(0.0) };
        let (mut pose, mut seconds) = (start, 0.0);
        for piece in pieces.iter().filter(|piece| piece.length != 0.0) {
            if piece.gear != Gear::Spot {
                let count = (piece.length / STEP_M).ceil();
                let step_m = piece.length / count;
                let mut open = Open { sown: None, left_m: -1.0 };
                for (at, heading) in piece.middles(pose, count as u32) {
                    if open.left_m < 0.0 {
                        open = self.open(soil, at);
                    }
                    seconds += step_m * self.s_per_m * self.share_in(soil, &open, at, heading);
                    if seconds >= limit_s {
                        return None;
                    }
                    open.left_m -= step_m;
                }
            }
            pose = piece.end(pose);
        }
        (seconds < limit_s).then_some(seconds)
    }

    /// Seconds a metre at a place, across its rows.
    pub fn s_per_m_at(&self, at: Point) -> f64 {
        let sown = self.soil.and_then(|soil| soil.at(at));
        sown.map_or(0.0, |sown| self.s_per_m * self.share(sown.stage))
    }

    /// How far from a place all wheels run on soil that is alike.
    fn open(&self, soil: &Soil, at: Point) -> Open {
        let outermost_m = self.wheels.tracks_m.iter().fold(0.0, |most: f64, track| most.max(track.abs()));
        Open { sown: soil.at(at), left_m: soil.alike_m(at) - outermost_m }
    }

    /// The share of the wheel tracks on sown rows, looked up only where the open ends.
    fn share_in(&self, soil: &Soil, open: &Open, reference: Point, heading: Point) -> f64 {
        match open.sown {
            _ if open.left_m < 0.0 => self.share_on_sown(soil, reference, heading),
            None => 0.0,
            Some(sown) if !sown.is_along(heading) => self.share(sown.stage),
            Some(_) => self.share_on_sown(soil, reference, heading),
        }
    }

    /// The share of the wheel tracks on sown rows, where one that crosses them counts whole.
    fn share_on_sown(&self, soil: &Soil, reference: Point, heading: Point) -> f64 {
        let Wheels { tracks_m, tyre_m } = self.wheels;
        let weight = |right: f64| {
            let at = reference + Point { x: heading.y, y: -heading.x } * right;
            soil.at(at).map_or(0.0, |sown| {
                let share = self.share(sown.stage);
                if share == 0.0 {
                    return 0.0;
                }
                let on_row = if !sown.is_along(heading) {
                    1.0
                } else if sown.beside_m(at, soil.row_spacing_m) <= 0.5 * tyre_m {
                    soil.row_spacing_m / tyre_m
                } else {
                    0.0
                };
                on_row * share
            })
        };
        tracks_m.iter().map(|&right| weight(right)).sum::<f64>() / tracks_m.len() as f64
    }

    /// The share of soil of a stage that is sown at the moment.
    fn share(&self, stage: u8) -> f64 {
        match self.moment {
            Moment::Before => 0.0,
            Moment::After => 1.0,
            Moment::During(now) => match stage.cmp(&now) {
                Ordering::Less => 1.0,
                Ordering::Equal => 0.5,
                Ordering::Greater => 0.0,
            },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::sync::LazyLock;

    /// Tracks on the tenth of a row spacing beside a row's middle, 1.8 m apart.
    const WHEELS: Wheels<'static> = Wheels { tracks_m: &[-0.9, 0.9], tyre_m: 0.12 };
    const SPACING_M: f64 = 0.6;
    /// The rows' direction.
    const ANGLE: f64 = num::PI / 3.0;

    /// A strip from x = 10 to 20 sown in stage 0, one from 20 to 30 in stage 1; rows askew, one of them
    /// through the origin.
    fn strips() -> Soil {
        let corner = |m| Point { x: m, y: m };
        let mut soil = Soil::unsown((corner(0.0), corner(40.0)), SPACING_M);
        let origin = Pose::new(0.0, 0.0, ANGLE);
        for row in -80..80 {
            for step in -100..500 {
                let at = origin.ground(f64::from(step) * 0.1, f64::from(row) * SPACING_M);
                if (10.0..=30.0).contains(&at.x) {
                    soil.sow(Pose { at, angle: ANGLE }, u8::from(at.x >= 20.0));
                }
            }
        }
        soil
    }

    #[test]
    fn a_way_pays_for_what_is_sown_when_it_is_driven() {
        let soil = strips();
        let (start, across) = (Pose::new(5.0, 20.0, 0.0), [Piece::straight(Gear::Forward, 30.0)]);
        for (moment, seconds) in [
            (Moment::Before, 0.0),
            (Moment::During(0), 3.0 * 5.0),
            (Moment::During(1), 3.0 * 15.0),
            (Moment::After, 3.0 * 20.0),
        ] {
            let toll = Toll::new(&soil, WHEELS, 3.0, moment);
            let found = toll.seconds(start, &across);
            // A cell of 0.6 m at each edge.
            assert!((found - seconds).abs() < 3.0 * 1.2, "{moment:?} {found}");
        }
        assert_eq!(Toll::NONE.seconds(start, &across), 0.0);
    }

    /// A pose on the sown soil, so far right of a row's middle, that looks along the rows.
    fn beside_a_row(right_m: f64) -> Pose {
        let row = Pose::new(0.0, 0.0, ANGLE);
        Pose { at: row.ground(28.0, 10.0 * SPACING_M + right_m), angle: ANGLE }
    }

    #[test]
    fn along_the_rows_only_tyres_on_them_pay() {
        let soil = strips();
        let toll = Toll::new(&soil, WHEELS, 3.0, Moment::After);
        let back = [Piece::straight(Gear::Reverse, 5.0)];
        // 1.8 m are three row spacings: both tyres run in the middle between two rows, or on rows.
        assert_eq!(toll.seconds(beside_a_row(0.0), &back), 0.0);
        let on_rows = toll.seconds(beside_a_row(0.3), &back);
        assert!((on_rows - 3.0 * 5.0 * SPACING_M / 0.12).abs() < 1e-9, "{on_rows}");
    }

    /// What a slanting way pays does not hang on its slant.
    #[test]
    fn nearly_along_the_rows_a_way_pays_as_across_them() {
        let soil = strips();
        let toll = Toll::new(&soil, WHEELS, 3.0, Moment::After);
        for degrees in [4.0_f64, 8.0, 12.0, 40.0] {
            let start = beside_a_row(0.0);
            let slanting = Pose { angle: start.angle - degrees.to_radians(), ..start };
            // As many whole rows as 9 m lead over, so that no part of one stands for all.
            let rows = (9.0 * degrees.to_radians().sin() / SPACING_M).round();
            let metres = rows * SPACING_M / degrees.to_radians().sin();
            let found = toll.seconds(slanting, &[Piece::straight(Gear::Reverse, metres)]);
            assert!((found / (3.0 * metres) - 1.0).abs() < 0.25, "{degrees} {found} {metres}");
        }
    }

    proptest! {
        #[test]
        fn surveyed_soil_costs_the_same(
            x in -5.0..45.0f64, y in -5.0..45.0f64, angle in -3.2..3.2f64,
            metres in 0.1..50.0f64, radius_m in 2.0..60.0f64, stage in 0..2u8,
        ) {
            static SOILS: LazyLock<(Soil, Soil)> = LazyLock::new(|| (strips(), strips().surveyed()));
            let (soil, surveyed) = &*SOILS;
            let pieces = [Piece::arc(Gear::Forward, metres, 1.0 / radius_m), Piece::straight(Gear::Reverse, metres)];
            let seconds = |soil: &Soil| {
                Toll::new(soil, WHEELS, 3.0, Moment::During(stage)).seconds(Pose::new(x, y, angle), &pieces)
            };
            prop_assert!((seconds(soil) - seconds(surveyed)).abs() < 1e-9);
        }
    }

    #[test]
    fn the_middle_of_a_strip_is_known_to_be_alike() {
        let soil = strips().surveyed();
        assert!(soil.alike_m(Point { x: 2.0, y: 21.0 }) > 1.0);
        assert!(soil.alike_m(Point { x: 20.0, y: 20.0 }) <= 0.0);
    }

    #[test]
    fn a_wheel_beside_the_strip_pays_nothing() {
        let soil = strips();
        let start = Pose::new(9.5, 5.0, num::PI / 2.0);
        let toll = Toll::new(&soil, WHEELS, 3.0, Moment::After);
        let found = toll.seconds(start, &[Piece::straight(Gear::Forward, 10.0)]);
        assert!((found - 15.0).abs() < 1e-9, "{found}");
    }
}
