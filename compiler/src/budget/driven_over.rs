//! Seeds in the ground that tyres pass over in turns and transits.
//!
//! In: the route, the seeds, the machine, and whether the route sows them. Out: for each way of the
//! route how many seeds sown before it lie where a tyre runs. In lanes tyres run between the rows; a machine whose
//! tyres would not is refused earlier.
//!
//! Method: a tyre sweeps the band of its width beside the reference point's way, at the track's
//! distance. Rows are cut into short straight pieces, each with the lattice numbers at its ends, and
//! a piece's share inside the band is the seeds between two numbers. All axles are taken to run in
//! the tracks of the reference point's; a seed under two tyres of one way counts once.

use crate::check::Machine;
use crate::geometry::band::band;
use crate::geometry::interval::{Interval, merged};
use crate::geometry::{Path, Point, cross, distance};
use crate::route::{Route, Rows};
use crate::seeds::{RowCourse, SeedMap, SeedRun};
use geo::Polygon;
use rstar::primitives::{GeomWithData, Rectangle};
use rstar::{AABB, RTree};
use std::collections::BTreeMap;

/// Rows are cut into pieces no longer than this, metres, so that a search by place finds few.
const PIECE_M: f64 = 12.0;
/// Numbers so near are one, which rounding has set apart.
const JOINED: f64 = 1e-6;
/// How far a piece may leave a curved row, metres.
const CHORD_M: f64 = 0.005;

/// For each way of the route, the seeds that tyres pass over.
pub fn driven_over(route: &Route, seeds: &SeedMap, machine: &Machine, rows: Rows) -> Vec<u64> {
    let rank: BTreeMap<_, _> =
        route.visits.iter().enumerate().map(|(order, visit)| (visit.lane, order)).collect();
    let is_sown = |run: &SeedRun, order: usize| match rows {
        Rows::SownBefore => true,
        Rows::SownOnTheWay => rank.get(&run.lane).is_some_and(|&sown_at| sown_at < order),
    };
    let pieces = RTree::bulk_load(
        seeds.runs.iter().enumerate().flat_map(|(index, run)| pieces_of(index, run)).collect(),
    );
    let over = |order: usize, path: &Path| {
        let mut passed: BTreeMap<usize, Vec<Interval>> = BTreeMap::new();
        for quad in tracks(path, machine) {
            let corners: Vec<Point> = quad.exterior().0[..4].to_vec();
            for piece in pieces.locate_in_envelope_intersecting(&envelope(&corners)) {
                let piece = piece.data;
                if is_sown(&seeds.runs[piece.run], order)
                    && let Some(share) = inside(&corners, piece.ends)
                {
                    let number = |share: f64| piece.first + share * (piece.last - piece.first);
                    passed
                        .entry(piece.run)
                        .or_default()
                        .push(Interval::new(number(share.from), number(share.to)));
                }
            }
        }
        passed
            .into_iter()
            .map(|(run, shares)| {
                let places: u64 = merged(shares, JOINED).into_iter().map(numbers_in).sum();
                places * u64::from(seeds.runs[run].pattern.seeds())
            })
            .sum()
    };
    route
        .ways
        .iter()
        .enumerate()
        .map(|(order, way)| way.as_ref().map_or(0, |way| over(order, &way.path)))
        .collect()
}

/// A straight piece of a row, with the lattice numbers at its ends counted from the run's first seed.
#[derive(Copy, Clone)]
struct Piece {
    run: usize,
    ends: [Point; 2],
    first: f64,
    last: f64,
}

type Placed = GeomWithData<Rectangle<[f64; 2]>, Piece>;

fn pieces_of(index: usize, run: &SeedRun) -> Vec<Placed> {
    let line = match &run.course {
        RowCourse::Straight { .. } => cut(&run.line(CHORD_M)),
        RowCourse::Curved(_) => run.line(CHORD_M),
    };
    // A hill counts where its middle is.
    let half_m = run.pattern.length().to_m() / 2.0;
    let place = |along_m: f64| (along_m - half_m) / run.spacing_m;
    let mut travelled_m = 0.0;
    line.windows(2)
        .map(|pair| {
            let first = place(travelled_m);
            travelled_m += distance(pair[0], pair[1]);
            let piece = Piece { run: index, ends: [pair[0], pair[1]], first, last: place(travelled_m) };
            let array = |p: Point| [p.x, p.y];
            Placed::new(Rectangle::from_corners(array(pair[0]), array(pair[1])), piece)
        })
        .collect()
}

fn cut(line: &[Point]) -> Vec<Point> {
    let (from, to) = (line[0], line[1]);
    let count = (distance(from, to) / PIECE_M).ceil().max(1.0);
    (0..=count as u32).map(|i| from + (to - from) * (f64::from(i) / count)).collect()
}

/// What the tyres sweep, in quadrilaterals.
fn tracks(path: &Path, machine: &Machine) -> Vec<Polygon> {
    let half = machine.tyre_width.to_m() / 2.0;
    let track = |right_m: f64| band(path, 0.0, [right_m - half, right_m + half]);
    machine.wheel_tracks.iter().flat_map(|right| track(right.to_m())).collect()
}

fn envelope(corners: &[Point]) -> AABB<[f64; 2]> {
    let points: Vec<[f64; 2]> = corners.iter().map(|p| [p.x, p.y]).collect();
    AABB::from_points(&points)
}

/// The share of a straight inside a convex polygon of either winding (clipping after Cyrus and Beck,
/// 1978).
fn inside(corners: &[Point], [from, to]: [Point; 2]) -> Option<Interval> {
    let along = to - from;
    let edges = || corners.iter().zip(corners.iter().cycle().skip(1)).map(|(&a, &b)| (a, b - a));
    let winding = edges().map(|(a, edge)| cross(a, a + edge)).sum::<f64>().signum();
    let mut share = Interval::new(0.0, 1.0);
    for (corner, edge) in edges() {
        let (depth, gain) = (winding * cross(edge, from - corner), winding * cross(edge, along));
        if gain == 0.0 {
            if depth < 0.0 {
                return None;
            }
        } else if gain > 0.0 {
            share.from = share.from.max(-depth / gain);
        } else {
            share.to = share.to.min(-depth / gain);
        }
    }
    (share.from <= share.to).then_some(share)
}

/// Whole numbers in an interval.
fn numbers_in(interval: Interval) -> u64 {
    (interval.to.floor() - interval.from.ceil() + 1.0).max(0.0) as u64
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::check::Pattern;
    use crate::geometry::{Gear, Piece as Motion, Pose};
    use crate::lanes::{BlockIdx, LaneIdx};
    use crate::num;
    use crate::route::Visit;
    use crate::site::example;
    use crate::turns::{Manoeuvre, TurnShape};
    use lanewright_schema::quantity::Length;

    /// A run of 101 seeds each 0.2 m to the east, from the origin on.
    fn row(lane: usize, course: RowCourse) -> SeedRun {
        let (block, lane, pattern) = (BlockIdx(0), LaneIdx(lane), Pattern::Single);
        SeedRun {
            block,
            lane,
            tool_row: 0,
            row: 0,
            zone: None,
            first: 7,
            step: 1,
            count: 101,
            spacing_m: 0.2,
            pattern,
            course,
        }
    }

    fn straight() -> RowCourse {
        RowCourse::Straight { from: Point { x: 0.0, y: 0.0 }, angle: 0.0 }
    }

    /// Two lanes, and between them a way north across the row, 5.03 m from its first seed.
    fn count(lane: usize, course: RowCourse, tracks_m: &[f64], tyre_m: f64) -> Vec<u64> {
        counted(Rows::SownOnTheWay, lane, course, tracks_m, tyre_m)
    }

    fn counted(rows: Rows, lane: usize, course: RowCourse, tracks_m: &[f64], tyre_m: f64) -> Vec<u64> {
        let path = Path {
            start: Pose::new(5.03, -3.0, num::PI / 2.0),
            pieces: vec![Motion::straight(Gear::Forward, 6.0)],
        };
        let way = Manoeuvre { path, shape: TurnShape::Straight, time_s: 6.0, toll_s: 0.0, backing_s: 0.0 };
        let visits = (0..2).map(|lane| Visit { lane: LaneIdx(lane), along: true }).collect();
        let route = Route {
            visits,
            cut_off: vec![],
            ways: vec![None, Some(way), None],
            stops: vec![],
            bound_s: 0.0,
            detours_s: 0.0,
        };
        let machine = Machine {
            wheel_tracks: tracks_m.iter().map(|&track| Length::m(track)).collect(),
            tyre_width: Length::m(tyre_m),
            ..example::machine()
        };
        driven_over(&route, &SeedMap { runs: vec![row(lane, course)] }, &machine, rows)
    }

    #[test]
    fn seeds_under_each_tyre_count_once_and_only_when_sown_before() {
        // Tyres from 3.83 to 4.23 m and from 5.83 to 6.23 m: seeds 20, 21 and 30, 31.
        assert_eq!(count(0, straight(), &[-1.0, 1.0], 0.4), [0, 4, 0]);
        assert_eq!(count(0, straight(), &[-1.0, -1.0], 0.4), [0, 2, 0]);
        assert_eq!(count(1, straight(), &[-1.0, 1.0], 0.4), [0, 0, 0]);
        assert_eq!(counted(Rows::SownBefore, 1, straight(), &[-1.0, 1.0], 0.4), [0, 4, 0]);
    }

    #[test]
    fn a_bent_row_counts_by_its_arc_length() {
        // An eighth of a circle of 20 m round (0, 20): at x from 3.83 to 4.23 m the arc length is
        // 20 asin(x / 20), from 3.854 to 4.262 m, and from 5.83 to 6.23 m from 5.915 to 6.335 m.
        let bent =
            Path { start: Pose::new(0.0, 0.0, 0.0), pieces: vec![Motion::arc(Gear::Forward, 20.0, 0.05)] };
        assert_eq!(count(0, RowCourse::Curved(bent), &[-1.0, 1.0], 0.4), [0, 4, 0]);
    }

    #[test]
    fn a_way_along_a_row_counts_each_seed_under_the_tyre() {
        let along = RowCourse::Straight { from: Point { x: 4.05, y: -20.0 }, angle: num::PI / 2.0 };
        // From 3 m before to 3 m behind the row's seeds 85 to 100, and the row ends at y = 0.
        assert_eq!(count(0, along, &[-1.0], 0.4), [0, 16, 0]);
    }
}
