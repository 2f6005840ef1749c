//! Lanes beside the bent ones of the sowing, for a machine of another number of tool rows.
//!
//! A point to the right of the reference point runs on an arc about the same centre, and the body looks the
//! same way there. So a machine whose reference point follows that point's way, its tools as far behind as
//! the outlets were, carries them over the very rows: a lane's rows are taken in groups, and each group's
//! way is the sown one moved by `d` to the right, a piece of curvature κ becoming one of `κ / (1 + κ d)`, as
//! many times longer as it is less bent.

use super::Laid;
use crate::check::Machine;
use crate::geometry::band::band;
use crate::geometry::{Path, Piece, Pose, region};
use crate::lanes::{Lane, LaneIdx, RowSpan};
use crate::seeds::SeedRun;
use crate::site::FieldSite;
use crate::sown::Outlets;
use crate::turns::{FreeSpace, SPARE_M, footprint};
use crate::uncertainty::Sigma;
use geo::{MultiPolygon, Polygon};
use lanewright_schema::quantity::Length;
use std::ops::Range;

/// Where a machine can go along bent rows.
pub struct Bends<'a> {
    space: FreeSpace,
    machine: &'a Machine,
    outlets: &'a Outlets,
}

/// Radii are compared to this, metres.
const ROUNDING_M: f64 = 1e-6;

impl<'a> Bends<'a> {
    /// Of one field.
    pub fn new(place: &FieldSite, machine: &'a Machine, outlets: &'a Outlets) -> Self {
        Self { space: FreeSpace::new(&place.fence, footprint(machine)), machine, outlets }
    }

    /// Lanes along those of the sowing, each with its number. Notes the sharpest bend that is too sharp.
    pub fn lay<'l>(
        &self,
        lanes: impl Iterator<Item = (usize, &'l Lane)>,
        runs: &[(&SeedRun, Sigma)],
        spacing_m: f64,
        sharpest: &mut Option<Length>,
    ) -> Laid {
        let mut laid = Laid::default();
        let mut missed: Vec<Polygon> = Vec::new();
        for (number, lane) in lanes {
            for (first, sown) in groups(self.outlets.offsets.len(), self.machine.row_offsets.len()) {
                let spans: Vec<&RowSpan> =
                    lane.rows.iter().filter(|span| sown.contains(&span.tool_row)).collect();
                if spans.is_empty() {
                    continue;
                }
                let own = |sown: usize| (sown as i64 - first) as usize;
                let aside = self.outlets.offsets[sown.start] - self.machine.row_offsets[own(sown.start)];
                let Some(line) = self.drivable(&lane.line, aside.to_m(), sharpest) else {
                    missed.extend(spans.iter().flat_map(|span| self.strip(lane, span, spacing_m)));
                    continue;
                };
                let along = |metres: f64| moved_along(&lane.line, aside.to_m(), metres);
                let rows = spans.iter().map(|span| RowSpan {
                    tool_row: own(span.tool_row),
                    from: along(span.from),
                    to: along(span.to),
                    ..**span
                });
                let index = LaneIdx(laid.lanes.len());
                let of_group =
                    runs.iter().filter(|(run, _)| run.lane.0 == number && sown.contains(&run.tool_row));
                laid.runs.extend(of_group.map(|(run, sigma)| {
                    (SeedRun { lane: index, tool_row: own(run.tool_row), ..(*run).clone() }, *sigma)
                }));
                let rows = rows.collect();
                laid.lanes.push(Lane { line, back: None, rows, rows_back: Vec::new(), ..lane.clone() });
            }
        }
        laid.missed = region::union_all(&missed);
        laid
    }

    /// The way moved aside, if the machine can drive it.
    fn drivable(&self, way: &Path, aside: f64, sharpest: &mut Option<Length>) -> Option<Path> {
        let turn = self.machine.steering.turning_radius.to_m();
        let radius =
            |piece: &Piece| 1.0 / piece.curvature_start.abs() + aside * piece.curvature_start.signum();
        let bends = way.pieces.iter().filter(|piece| piece.curvature_start.abs() > 0.0);
        let least = bends.map(radius).fold(f64::INFINITY, f64::min);
        if least < turn - ROUNDING_M {
            let least = Length::m(least);
            *sharpest = Some(sharpest.map_or(least, |before| before.min(least)));
            return None;
        }
        let moved = moved(way, aside);
        self.space.clearance(&moved, SPARE_M).is_ok().then_some(moved)
    }

    /// What the lanes' rows cover.
    pub fn soil<'l>(&self, lanes: impl Iterator<Item = &'l Lane>, spacing_m: f64) -> MultiPolygon {
        let rows = lanes.flat_map(|lane| lane.rows.iter().map(move |span| (lane, span)));
        let strips: Vec<Polygon> = rows.flat_map(|(lane, span)| self.strip(lane, span, spacing_m)).collect();
        region::union_all(&strips)
    }

    fn strip(&self, lane: &Lane, span: &RowSpan, spacing_m: f64) -> Vec<Polygon> {
        let right = self.outlets.offsets[span.tool_row].to_m();
        let sides = [right - spacing_m / 2.0, right + spacing_m / 2.0];
        band(&lane.line.between(span.from, span.to), self.outlets.forward.to_m(), sides)
    }
}

/// Sown tool rows in groups of the machine's own: the sown row under its leftmost, and those that it works.
/// The last group is moved back onto rows that are worked already, so that it stays beside the others.
fn groups(sown: usize, own: usize) -> Vec<(i64, Range<usize>)> {
    if sown < own {
        return vec![(-(((own - sown) / 2) as i64), 0..sown)];
    }
    let group = |from: usize| (from.min(sown - own) as i64, from..(from + own).min(sown));
    (0..sown).step_by(own).map(group).collect()
}

/// The way of a point so far to the right of the reference point. Lanes are lines and arcs.
fn moved(way: &Path, aside: f64) -> Path {
    let start = Pose { at: way.start.ground(0.0, aside), ..way.start };
    let pieces = way.pieces.iter().map(|piece| {
        let longer = 1.0 + piece.curvature_start * aside;
        Piece::arc(piece.gear, piece.length * longer, piece.curvature_start / longer)
    });
    Path { start, pieces: pieces.collect() }
}

/// How far that point has come when the reference point has come so far.
fn moved_along(way: &Path, aside: f64, metres: f64) -> f64 {
    let mut left = metres;
    let mut moved = 0.0;
    for piece in &way.pieces {
        let part = left.min(piece.length);
        moved += part * (1.0 + piece.curvature_start * aside);
        left -= part;
    }
    moved + left
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::{Gear, distance};

    /// Any tool point is where the sowing's was, a metre to the side and back again, all along.
    #[test]
    fn a_tool_beside_the_moved_way_is_where_the_outlet_was() {
        let way = Path {
            start: Pose::new(4.0, 9.0, 0.7),
            pieces: vec![
                Piece::straight(Gear::Forward, 5.0),
                Piece::arc(Gear::Forward, 6.0, 0.3),
                Piece::arc(Gear::Forward, 4.0, -0.2),
            ],
        };
        for aside in [-0.9, 0.675, 1.35] {
            let moved = moved(&way, aside);
            for metres in [0.0, 3.0, 5.5, 9.0, 12.0, 15.0] {
                let outlet = way.pose_at(metres).ground(-0.9, 1.125);
                let tool = moved.pose_at(moved_along(&way, aside, metres)).ground(-0.9, 1.125 - aside);
                assert!(distance(outlet, tool) < 1e-9, "{aside} {metres}");
            }
        }
    }

    #[test]
    fn each_sown_row_is_in_one_group() {
        assert_eq!(groups(6, 3), [(0, 0..3), (3, 3..6)]);
        assert_eq!(groups(6, 4), [(0, 0..4), (2, 4..6)]);
        assert_eq!(groups(6, 8), [(-1, 0..6)]);
    }
}
