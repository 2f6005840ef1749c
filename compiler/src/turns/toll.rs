//! What a way costs beside its time: sown soil under the wheels.
//!
//! In: where soil is worked and in which stage of the work. Out: seconds that a way counts more, so
//! that of two ways the one that crosses fewer rows is taken unless it takes much longer. It is a
//! preference and no count: seeds under the tyres are counted in the budget.
//!
//! Method: soil is kept on square cells. A wheel track is looked up at short steps; where it runs on
//! sown soil it counts so much a metre, all tracks together what one metre of the machine does. A wheel
//! that runs along the rows counts nothing: ways do so over lanes alone, where it runs between them.

use crate::geometry::{Gear, Piece, Point, Pose};
use crate::num;
use std::cmp::Ordering;

/// Sown soil.
#[derive(Copy, Clone, Debug, PartialEq)]
struct Sown {
    /// When, counted from zero.
    stage: u8,
    /// The direction of its rows, degrees in `[0, 180)`.
    rows_deg: u8,
}

/// Soil by the stage in which it is sown.
#[derive(Clone, Debug)]
pub struct Soil {
    low: Point,
    cell_m: f64,
    columns: usize,
    rows: usize,
    cells: Vec<Option<Sown>>,
}

impl Sown {
    /// Whether a wheel that runs in this direction stays beside a row for long.
    fn is_along(self, angle: f64) -> bool {
        /// Degrees.
        const NEARLY: f64 = 3.0;
        let apart = (angle.to_degrees() - f64::from(self.rows_deg)).rem_euclid(180.0);
        apart.min(180.0 - apart) <= NEARLY
    }
}

impl Soil {
    /// Soil that is not sown, within the corners of a rectangle. A cell is at least as wide as
    /// `least_cell_m`.
    pub fn unsown((low, high): (Point, Point), least_cell_m: f64) -> Self {
        /// More cells than this cost more than they tell.
        const MOST_CELLS: f64 = 1e6;
        let area_m2 = (high.x - low.x) * (high.y - low.y);
        let cell_m = num::sqrt(area_m2 / MOST_CELLS).max(least_cell_m);
        let columns = ((high.x - low.x) / cell_m).ceil() as usize + 1;
        let rows = ((high.y - low.y) / cell_m).ceil() as usize + 1;
        Self { low, cell_m, columns, rows, cells: vec![None; columns * rows] }
    }

    /// The side of a cell, metres.
    pub const fn cell_m(&self) -> f64 {
        self.cell_m
    }

    /// A row that is sown in a stage, by a pose on it. Where two stages meet, the earlier stays.
    pub fn sow(&mut self, on_row: Pose, stage: u8) {
        let Some(cell) = self.cell(on_row.at) else { return };
        if self.cells[cell].is_none_or(|known| stage < known.stage) {
            let degrees = on_row.angle.to_degrees().rem_euclid(180.0).round() as u8 % 180;
            self.cells[cell] = Some(Sown { stage, rows_deg: degrees });
        }
    }

    fn at(&self, at: Point) -> Option<Sown> {
        self.cell(at).and_then(|cell| self.cells[cell])
    }

    fn cell(&self, at: Point) -> Option<usize> {
        let column = ((at.x - self.low.x) / self.cell_m).floor();
        let row = ((at.y - self.low.y) / self.cell_m).floor();
        let inside = (0.0..self.columns as f64).contains(&column) && (0.0..self.rows as f64).contains(&row);
        inside.then(|| row as usize * self.columns + column as usize)
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

/// What sown soil costs on a way driven at a moment.
#[derive(Copy, Clone, Debug)]
pub struct Toll<'a> {
    /// None where it costs nothing.
    soil: Option<&'a Soil>,
    /// Wheel tracks, metres to the right of the reference point.
    tracks_m: &'a [f64],
    s_per_m: f64,
    moment: Moment,
}

impl<'a> Toll<'a> {
    /// Driving over sown soil costs no more than any driving.
    pub const NONE: Toll<'static> = Toll { soil: None, tracks_m: &[], s_per_m: 0.0, moment: Moment::Before };

    /// A toll of so many seconds for a metre that all wheel tracks run on sown soil.
    pub fn new(soil: &'a Soil, tracks_m: &'a [f64], s_per_m: f64, moment: Moment) -> Self {
        let nothing = s_per_m <= 0.0 || tracks_m.is_empty() || moment == Moment::Before;
        Self { soil: (!nothing).then_some(soil), tracks_m, s_per_m, moment }
    }

    /// Seconds for pieces that begin at a pose.
    pub fn seconds(&self, start: Pose, pieces: &[Piece]) -> f64 {
        /// Metres between places that are looked up.
        const STEP_M: f64 = 0.5;
        let Some(soil) = self.soil else { return 0.0 };
        let (mut pose, mut seconds) = (start, 0.0);
        for piece in pieces.iter().filter(|piece| piece.length != 0.0) {
            if piece.gear != Gear::Spot {
                let count = (piece.length / STEP_M).ceil();
                let step_m = piece.length / count;
                for step in 0..count as u32 {
                    let at = piece.pose_after(pose, (f64::from(step) + 0.5) * step_m);
                    seconds += step_m * self.s_per_m * self.share_on_sown(soil, at);
                }
            }
            pose = piece.end(pose);
        }
        seconds
    }

    /// Seconds a metre at a place, across its rows.
    pub fn s_per_m_at(&self, at: Point) -> f64 {
        let sown = self.soil.and_then(|soil| soil.at(at));
        sown.map_or(0.0, |sown| self.s_per_m * self.share(sown.stage))
    }

    /// The share of the wheel tracks across sown rows.
    fn share_on_sown(&self, soil: &Soil, pose: Pose) -> f64 {
        let tracks = self.tracks_m.iter().filter_map(|&right| soil.at(pose.ground(0.0, right)));
        let crossed = tracks.filter(|sown| !sown.is_along(pose.angle)).map(|sown| self.share(sown.stage));
        crossed.sum::<f64>() / self.tracks_m.len() as f64
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

    /// A strip from x = 10 to 20 sown in stage 0, one from 20 to 30 in stage 1, rows askew.
    fn strips() -> Soil {
        let corner = |m| Point { x: m, y: m };
        let mut soil = Soil::unsown((corner(0.0), corner(40.0)), 0.5);
        for x in 0..40 {
            for y in 0..80 {
                let y = f64::from(y) * 0.5 + 0.25;
                soil.sow(Pose::new(10.25 + f64::from(x) * 0.5, y, num::PI / 3.0), u8::from(x >= 20));
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
            let toll = Toll::new(&soil, &[-0.9, 0.9], 3.0, moment);
            let found = toll.seconds(start, &across);
            assert!((found - seconds).abs() < 1e-9, "{moment:?} {found}");
        }
        assert_eq!(Toll::NONE.seconds(start, &across), 0.0);
    }

    #[test]
    fn a_way_along_the_rows_pays_nothing() {
        let soil = strips();
        let start = Pose::new(11.0, 5.0, num::PI / 3.0 - num::PI);
        let toll = Toll::new(&soil, &[-0.9, 0.9], 3.0, Moment::After);
        assert_eq!(toll.seconds(start, &[Piece::straight(Gear::Reverse, 15.0)]), 0.0);
    }

    #[test]
    fn a_wheel_beside_the_strip_pays_nothing() {
        let soil = strips();
        let start = Pose::new(9.5, 5.0, num::PI / 2.0);
        let toll = Toll::new(&soil, &[-0.9, 0.9], 3.0, Moment::After);
        let found = toll.seconds(start, &[Piece::straight(Gear::Forward, 10.0)]);
        assert!((found - 15.0).abs() < 1e-9, "{found}");
    }
}
