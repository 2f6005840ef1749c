//! What of the rows stays unsown as the job asks: tramlines, the ends of straight rows, zones that get no
//! seed.
//!
//! In: the lanes once their order is settled. Out: the same lanes, whose rows leave out what is not sown;
//! its soil is left over for that reason. On lanes that bend and can be driven from either end zones are
//! not cut out: no seed is laid there, but the soil counts as worked.

use super::RowEnds;
use super::along;
use super::lay::Tool;
use super::zones::parts;
use crate::check::{Machine, Spacing};
use crate::geometry::interval::{self, Interval};
use crate::geometry::{Point, distance};
use crate::lanes::{self, Course, Lane, LaneIdx, LanePlan, LeftOverReason, RowSpan};
use crate::site::SiteZones;
use lanewright_schema::quantity::Length;

/// Pieces of a row shorter than this, metres, are none.
const SHORTEST_M: f64 = 1e-3;
/// Chords of a bent row are this long, metres.
const STEP_M: f64 = 0.2;

/// The lanes with the rows that are sown.
#[must_use]
pub fn sown_rows(plan: LanePlan, spacing: &Spacing, zones: &SiteZones, machine: &Machine) -> LanePlan {
    let unsown_zones = zones.rates().any(|rate| rate.step == 0);
    if spacing.tramlines.is_none() && spacing.row_end_margin == Length::ZERO && !unsown_zones {
        return plan;
    }
    let kept = kept(&plan, spacing, zones, machine);
    let mut sown = plan;
    for (index, kept) in kept.into_iter().enumerate() {
        let lane = &sown.lanes[index];
        let whole =
            |(span, kept): (&RowSpan, &Vec<Interval>)| kept[..] == [Interval::new(span.from, span.to)];
        if lane.rows.iter().zip(&kept).all(whole) {
            continue;
        }
        let (shorter, gone) = (shorter(lane, &kept), gone(lane, &kept));
        sown = lanes::without_rows(sown, LaneIdx(index), shorter, gone, LeftOverReason::Unsown, machine);
    }
    sown
}

/// For each lane and each of its row pieces what of it is sown, metres along the lane.
fn kept(plan: &LanePlan, spacing: &Spacing, zones: &SiteZones, machine: &Machine) -> Vec<Vec<Vec<Interval>>> {
    let rows = RowEnds::of(plan, machine);
    let margin = spacing.row_end_margin.to_m();
    let mut kept: Vec<Vec<Vec<Interval>>> =
        plan.lanes.iter().map(|lane| vec![Vec::new(); lane.rows.len()]).collect();
    for (at, placed) in rows.0.iter().enumerate() {
        let lane = &plan.lanes[placed.lane.0];
        let (span, tool) = (placed.span, Tool { lane, span: placed.span, machine });
        let course = &plan.blocks[placed.block.0].course;
        let straight = matches!(course, Course::Straight { .. });
        let tramline =
            |tramlines: &crate::check::Tramlines| tramlines.holds(span.row, machine.row_offsets.len() as i64);
        if straight && spacing.tramlines.as_ref().is_some_and(tramline) {
            continue;
        }
        let mut whole = Interval::new(span.from, span.to);
        if let Course::Straight { heading, datum } = course {
            let [first, last] = [span.from, span.to].map(|at| along(*heading, *datum, tool.at(at)));
            let [low, high] = rows.free_ends(at).map(|free| if free { margin } else { 0.0 });
            let (near, far) = if first < last { (low, high) } else { (high, low) };
            whole = Interval::new(span.from + near, span.to - far);
        }
        if whole.length() < SHORTEST_M {
            continue;
        }
        let pieces = if straight || lane.back.is_none() { sown_in(&tool, whole, zones) } else { vec![whole] };
        let index = lane.rows.iter().position(|other| *other == span);
        if let Some(index) = index {
            kept[placed.lane.0][index] = pieces;
        }
    }
    kept
}

/// The pieces of a stretch of a lane over which a tool row is over soil that is sown.
fn sown_in(tool: &Tool, whole: Interval, zones: &SiteZones) -> Vec<Interval> {
    if zones.rates().all(|rate| rate.step > 0) {
        return vec![whole];
    }
    // On a bend a tool moves farther than the reference point, or less far.
    let steps = if tool.lane.line.pieces.len() > 1 { (whole.length() / STEP_M).ceil() } else { 1.0 };
    let lane_m: Vec<f64> =
        (0..=steps as u32).map(|i| whole.from + whole.length() * f64::from(i) / steps).collect();
    let line: Vec<Point> = lane_m.iter().map(|&at| tool.at(at)).collect();
    let row_m: Vec<f64> = line
        .windows(2)
        .scan(0.0, |passed, pair| {
            *passed += distance(pair[0], pair[1]);
            Some(*passed)
        })
        .collect();
    let on_lane = |row: f64| {
        let chord = row_m.partition_point(|&end| end < row).min(row_m.len() - 1);
        let begin = if chord == 0 { 0.0 } else { row_m[chord - 1] };
        let share = ((row - begin) / (row_m[chord] - begin).max(f64::MIN_POSITIVE)).clamp(0.0, 1.0);
        lane_m[chord] + share * (lane_m[chord + 1] - lane_m[chord])
    };
    let sown = parts(zones, &line).into_iter().filter(|part| part.rate.step > 0);
    let pieces = sown.map(|part| Interval::new(on_lane(part.from), on_lane(part.to)));
    let joined = interval::merged(pieces.collect(), SHORTEST_M);
    joined.into_iter().filter(|piece| piece.length() >= SHORTEST_M).collect()
}

/// The pieces of a lane's rows that are not among these.
fn gone(lane: &Lane, kept: &[Vec<Interval>]) -> Vec<RowSpan> {
    let of_span = |(span, kept): (&RowSpan, &Vec<Interval>)| -> Vec<RowSpan> {
        let left = interval::gaps(kept.clone(), Interval::new(span.from, span.to)).into_iter();
        let piece = |piece: Interval| RowSpan { from: piece.from, to: piece.to, ..*span };
        left.filter(|piece| piece.length() > 0.0).map(piece).collect()
    };
    lane.rows.iter().zip(kept).flat_map(of_span).collect()
}

/// The lane with these pieces of its rows.
fn shorter(lane: &Lane, kept: &[Vec<Interval>]) -> Lane {
    let of_span = |(span, kept): (&RowSpan, &Vec<Interval>)| -> Vec<RowSpan> {
        kept.iter().map(|piece| RowSpan { from: piece.from, to: piece.to, ..*span }).collect()
    };
    let turned = |((back, span), kept): ((&RowSpan, &RowSpan), &Vec<Interval>)| -> Vec<RowSpan> {
        let piece = |piece: &Interval| RowSpan {
            from: back.from + (span.to - piece.to),
            to: back.to - (piece.from - span.from),
            ..*back
        };
        kept.iter().map(piece).collect()
    };
    Lane {
        rows: lane.rows.iter().zip(kept).flat_map(of_span).collect(),
        rows_back: lane.rows_back.iter().zip(&lane.rows).zip(kept).flat_map(turned).collect(),
        ..lane.clone()
    }
}
