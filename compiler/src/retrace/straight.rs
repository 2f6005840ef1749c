//! Straight rows that are gone over anew by a machine of any number of tool rows.
//!
//! In: the rows with the runs of seeds on them, each in the coordinates of one lattice. Out: lanes on that
//! lattice, and each run cut to what the lanes over it reach.

use super::Laid;
use crate::check::Machine;
use crate::geometry::interval::{Interval, merged};
use crate::geometry::strip::Axes;
use crate::geometry::{Point, region};
use crate::lanes::{BlockIdx, Lane, LaneIdx, LatticeRows, over_rows};
use crate::seeds::{RowCourse, SeedRun};
use crate::site::FieldSite;
use crate::sown::Outlets;
use crate::uncertainty::Sigma;
use geo::{LineString, Polygon};
use std::collections::BTreeMap;

/// Ends of a row so near to each other are one place where it goes on, and a seed so near to an end lies
/// on it; metres.
const ROUNDING_M: f64 = 1e-5;
/// A piece of row shorter than this is missed by rounding alone, metres.
const MISSED_M: f64 = 0.001;

/// Rows as they were sown, or the columns across them.
#[derive(Clone, Debug)]
pub struct SownRows {
    /// Row 0 runs through their origin and along them.
    pub axes: Axes,
    /// Metres between neighbours.
    pub spacing_m: f64,
    /// Where each row is along the axes.
    pub along: BTreeMap<i64, Vec<Interval>>,
    /// Its runs of seeds, straight along the axes.
    pub runs: Vec<(SeedRun, Sigma)>,
}

impl SownRows {
    /// Those of a block that was sown with these lanes.
    pub fn of<'a>(
        axes: Axes,
        spacing_m: f64,
        lanes: impl Iterator<Item = &'a Lane>,
        runs: &[(&SeedRun, Sigma)],
        outlets: &Outlets,
    ) -> Self {
        let mut along: BTreeMap<i64, Vec<Interval>> = BTreeMap::new();
        for lane in lanes {
            let at =
                |metres: f64| axes.local(lane.line.pose_at(metres).ground(outlets.forward.to_m(), 0.0)).0;
            for span in &lane.rows {
                let (a, b) = (at(span.from), at(span.to));
                along.entry(span.row).or_default().push(Interval::new(a.min(b), a.max(b)));
            }
        }
        let along = along.into_iter().map(|(row, pieces)| (row, merged(pieces, ROUNDING_M))).collect();
        let runs = runs.iter().map(|(run, sigma)| ((*run).clone(), *sigma)).collect();
        Self { axes, spacing_m, along, runs }
    }
}

/// Lanes over rows.
pub fn lay(rows: &SownRows, block: BlockIdx, place: &FieldSite, machine: &Machine) -> Laid {
    let (Some(&first), Some(&last)) = (rows.along.keys().next(), rows.along.keys().next_back()) else {
        return Laid::default();
    };
    let along = (first..=last).map(|row| rows.along.get(&row).cloned().unwrap_or_default()).collect();
    let lattice = LatticeRows { axes: rows.axes, spacing_m: rows.spacing_m, first, along };
    let laid = over_rows(&lattice, &place.fence, machine);
    let mut of_row: BTreeMap<i64, Vec<&(SeedRun, Sigma)>> = BTreeMap::new();
    for run in &rows.runs {
        of_row.entry(run.0.row).or_default().push(run);
    }
    let mut runs = Vec::new();
    for (index, lane) in laid.lanes.iter().enumerate() {
        let begins = rows.axes.local(lane.line.start.ground(machine.tool_forward.to_m(), 0.0)).0;
        for span in &lane.rows {
            let reach = Interval::new(begins + span.from, begins + span.to);
            let on_row = of_row.get(&span.row).into_iter().flatten();
            runs.extend(on_row.filter_map(|(run, sigma)| {
                let run = reached(run, &rows.axes, reach)?;
                Some((SeedRun { block, lane: LaneIdx(index), tool_row: span.tool_row, ..run }, *sigma))
            }));
        }
    }
    let missed = laid.missed.iter().filter(|(_, piece)| piece.length() > MISSED_M);
    let missed: Vec<Polygon> = missed.map(|(row, piece)| strip(rows, *row, *piece)).collect();
    Laid { lanes: laid.lanes, runs, missed: region::union_all(&missed) }
}

/// Those places of a run whose middle lies within reach.
fn reached(run: &SeedRun, axes: &Axes, reach: Interval) -> Option<SeedRun> {
    let (from, step) = run.straight_step()?;
    let begins = axes.local(from).0;
    let middle = begins + run.pattern.length().to_m() / 2.0;
    let place = |end: f64| {
        let places = ((end - ROUNDING_M - middle) / run.spacing_m).ceil();
        places.clamp(0.0, f64::from(run.count)) as u32
    };
    let (first, end) = (place(reach.from), place(reach.to));
    let from: Point = from + step * f64::from(first);
    (end > first).then(|| SeedRun {
        first: run.first + i64::from(first) * i64::from(run.step),
        count: end - first,
        course: RowCourse::Straight { from, angle: axes.angle },
        ..run.clone()
    })
}

fn strip(rows: &SownRows, row: i64, piece: Interval) -> Polygon {
    let [left, right] = [-0.5, 0.5].map(|side| (row as f64 + side) * rows.spacing_m);
    let corners = [(piece.from, left), (piece.to, left), (piece.to, right), (piece.from, right)];
    Polygon::new(LineString(corners.iter().map(|&(t, v)| rows.axes.ground(t, v)).collect()), Vec::new())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::check::Pattern;
    use lanewright_schema::quantity::Length;

    /// Eleven places from 1.0 m to 3.0 m; what is reached is what lies from the one end up to the other.
    #[test]
    fn a_run_is_cut_where_a_lane_ends() {
        let axes = Axes::new(Point { x: 10.0, y: 5.0 }, 0.3);
        let run = SeedRun {
            block: BlockIdx(0),
            lane: LaneIdx(4),
            tool_row: 2,
            row: 3,
            zone: None,
            first: -5,
            step: 1,
            count: 11,
            spacing_m: 0.2,
            pattern: Pattern::Single,
            course: RowCourse::Straight { from: axes.ground(1.0, 1.35), angle: 0.3 },
        };
        let cut = |from: f64, to: f64| {
            reached(&run, &axes, Interval::new(from, to))
                .map(|run| (run.first, run.count, run.positions().next()))
        };
        let (first, count, seed) = cut(1.3, 2.0).unwrap();
        assert_eq!((first, count), (-3, 3), "1.4, 1.6 and 1.8 m");
        let (t, v) = axes.local(seed.unwrap());
        assert!((t - 1.4).abs() < 1e-9 && (v - 1.35).abs() < 1e-9);
        assert_eq!(cut(0.0, 9.0).map(|run| (run.0, run.1)), Some((-5, 11)));
        assert_eq!(cut(3.1, 9.0), None);
        let hill = SeedRun { pattern: Pattern::Hill { seeds: 3, length: Length::cm(10.0) }, ..run.clone() };
        let half = reached(&hill, &axes, Interval::new(1.06, 1.3)).unwrap();
        assert_eq!((half.first, half.count), (-4, 1), "the first hill's middle lies at 1.05 m");
    }
}
