//! Columns of places across straight rows: where neighbouring rows have their places side by side, those of
//! one index stand in a line at right angles to the rows.
//!
//! A column is a row of another lattice. Its heading is the sown one turned left by a right angle, its number
//! is the index of its places, and they count by the sown row with its sign turned, since rows count to the
//! right: place `-k` of column `m` is place `m` of row `k`.

use super::straight::SownRows;
use crate::check::Pattern;
use crate::geometry::heading_of_angle;
use crate::geometry::interval::Interval;
use crate::geometry::strip::Axes;
use crate::lanes::{BlockIdx, Course, LaneIdx};
use crate::num;
use crate::seeds::{RowCourse, SeedRun};
use crate::uncertainty::Sigma;
use lanewright_schema::quantity::Length;
use std::collections::BTreeMap;

/// The columns of a block.
#[derive(Clone, Debug)]
pub struct Columns {
    /// Column 0 runs through their origin and along them.
    axes: Axes,
    /// Metres between neighbouring columns: from place to place of the sown rows.
    pub axes_spacing_m: f64,
    /// Metres from place to place of a column: between the sown rows.
    row_spacing_m: f64,
    /// Column, first and last sown row of places that follow one another.
    pieces: Vec<(i64, i64, i64)>,
    /// Of their places, along the column and across it.
    sigma: Sigma,
}

/// Places of two rows so far apart along the rows stand side by side, metres.
const SIDE_BY_SIDE_M: f64 = 0.001;

/// The columns of a block with these rows, none where it has no seeds; or why there are none.
pub fn columns(
    axes: &Axes,
    row_spacing_m: f64,
    runs: &[(&SeedRun, Sigma)],
) -> Result<Option<Columns>, String> {
    let Some((first, _)) = runs.first() else { return Ok(None) };
    let offset = |run: &SeedRun| {
        let begins = run.straight_step().map_or(0.0, |(from, _)| axes.local(from).0);
        begins - run.number() as f64 * run.spacing_m
    };
    for (run, _) in runs {
        match run.pattern {
            Pattern::Single => {}
            Pattern::Hill { length, .. } => {
                return Err(format!(
                    "its plants stand in hills {:.0} cm long, not in columns",
                    length.to_cm()
                ));
            }
            Pattern::Drill => return Err("its rows are drilled, so that plants have no places".to_owned()),
        }
        if (run.spacing_m - first.spacing_m).abs() > 1e-6 {
            return Err(format!(
                "its rows are sown at different distances, {:.1} cm and {:.1} cm",
                first.spacing_m * 100.0,
                run.spacing_m * 100.0
            ));
        }
        let shift = (offset(run) - offset(first)) / run.spacing_m;
        let shift = (shift - shift.round()).abs();
        if shift * run.spacing_m > SIDE_BY_SIDE_M {
            return Err(format!(
                "places of neighbouring rows do not stand side by side but are shifted, by {:.0} % of their distance",
                100.0 * shift
            ));
        }
    }
    let angle = num::wrap_angle(axes.angle + num::PI / 2.0);
    let most = |pick: fn(&Sigma) -> Length| {
        runs.iter().map(|(_, sigma)| pick(sigma)).fold(Length::ZERO, Length::max)
    };
    Ok(Some(Columns {
        axes: Axes::new(axes.ground(offset(first), 0.0), angle),
        axes_spacing_m: first.spacing_m,
        row_spacing_m,
        pieces: pieces(runs),
        sigma: Sigma { along: most(|sigma| sigma.across), across: most(|sigma| sigma.along) },
    }))
}

/// Pieces of columns: each place of a row goes on with the place beside it in the row before.
fn pieces(runs: &[(&SeedRun, Sigma)]) -> Vec<(i64, i64, i64)> {
    let mut rows: BTreeMap<i64, Vec<&SeedRun>> = BTreeMap::new();
    for (run, _) in runs {
        rows.entry(run.row).or_default().push(run);
    }
    let mut under_way: BTreeMap<i64, (i64, i64)> = BTreeMap::new();
    let mut pieces = Vec::new();
    for (&row, runs) in &rows {
        for index in runs.iter().flat_map(|run| run.number()..run.number() + i64::from(run.count)) {
            match under_way.get_mut(&index) {
                Some((_, last)) if *last == row - 1 => *last = row,
                _ => pieces.extend(under_way.insert(index, (row, row)).map(|(from, to)| (index, from, to))),
            }
        }
    }
    pieces.extend(under_way.into_iter().map(|(index, (from, to))| (index, from, to)));
    pieces.sort_unstable();
    pieces
}

impl Columns {
    /// The block's course as it is crossed.
    pub fn course(&self) -> Course {
        Course::Straight { heading: heading_of_angle(self.axes.angle), datum: self.axes.origin }
    }

    /// Columns as rows to be gone along.
    pub fn rows(&self) -> SownRows {
        let step = self.row_spacing_m;
        let mut along: BTreeMap<i64, Vec<Interval>> = BTreeMap::new();
        let mut runs = Vec::with_capacity(self.pieces.len());
        for &(column, from, to) in &self.pieces {
            let (first, last) = (-(to as f64) * step, -(from as f64) * step);
            along.entry(column).or_default().push(Interval::new(first - step / 2.0, last + step / 2.0));
            let run = SeedRun {
                block: BlockIdx(0),
                lane: LaneIdx(0),
                tool_row: 0,
                row: column,
                zone: None,
                first: -to,
                step: 1,
                count: (to - from + 1) as u32,
                spacing_m: step,
                pattern: Pattern::Single,
                course: RowCourse::Straight {
                    from: self.axes.ground(first, column as f64 * self.axes_spacing_m),
                    angle: self.axes.angle,
                },
            };
            runs.push((run, self.sigma));
        }
        for pieces in along.values_mut() {
            pieces.sort_by(|a, b| a.from.total_cmp(&b.from));
        }
        SownRows { axes: self.axes, spacing_m: self.axes_spacing_m, along, runs }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::{Point, distance};

    fn row(axes: &Axes, row: i64, first: i64, count: u32, shift: f64) -> SeedRun {
        let from = axes.ground((first as f64 + shift) * 0.5, row as f64 * 0.45);
        SeedRun {
            block: BlockIdx(0),
            lane: LaneIdx(0),
            tool_row: 0,
            row,
            zone: None,
            first,
            step: 1,
            count,
            spacing_m: 0.5,
            pattern: Pattern::Single,
            course: RowCourse::Straight { from, angle: axes.angle },
        }
    }

    const SIGMA: Sigma = Sigma { along: Length::mm(20.0), across: Length::mm(10.0) };

    /// Rows 2 to 5, the third of them interrupted: every place of a column is one of a row, and each is in
    /// one column only.
    #[test]
    fn every_place_stands_in_one_column() {
        let axes = Axes::new(Point { x: 3.0, y: -8.0 }, 2.1);
        let rows = [
            row(&axes, 2, -1, 6, 0.25),
            row(&axes, 3, 0, 6, 0.25),
            row(&axes, 4, 0, 2, 0.25),
            row(&axes, 4, 4, 3, 0.25),
            row(&axes, 5, 0, 5, 0.25),
        ];
        let runs: Vec<(&SeedRun, Sigma)> = rows.iter().map(|run| (run, SIGMA)).collect();
        let columns = columns(&axes, 0.45, &runs).unwrap().unwrap().rows();
        let mut found: Vec<(i64, i64, Point)> = Vec::new();
        for (run, sigma) in &columns.runs {
            assert_eq!((sigma.along, sigma.across), (SIGMA.across, SIGMA.along));
            let places = (run.first..).zip(run.positions());
            found.extend(places.map(|(index, at)| (-index, run.row, at)));
        }
        found.sort_by_key(|place| (place.0, place.1));
        let sown =
            rows.iter().flat_map(|run| (run.first..).zip(run.positions()).map(|(i, at)| (run.row, i, at)));
        let sown: Vec<(i64, i64, Point)> = sown.collect();
        assert_eq!(found.len(), sown.len());
        for (column, row) in found.iter().zip(&sown) {
            assert_eq!((column.0, column.1), (row.0, row.1));
            assert!(distance(column.2, row.2) < 1e-9);
        }
        let longest = columns.runs.iter().map(|(run, _)| run.count).max();
        assert_eq!(longest, Some(4), "columns 0, 1 and 4 go through all four rows");
    }

    #[test]
    fn rows_that_are_shifted_have_no_columns() {
        let axes = Axes::new(Point { x: 0.0, y: 0.0 }, 0.0);
        let rows = [row(&axes, 0, 0, 9, 0.0), row(&axes, 1, 0, 9, 0.5)];
        let runs: Vec<(&SeedRun, Sigma)> = rows.iter().map(|run| (run, SIGMA)).collect();
        assert!(columns(&axes, 0.45, &runs).unwrap_err().contains("by 50 %"));
    }
}
