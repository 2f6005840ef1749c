//! Shortest turns in the open against published and derived lengths. Checks G1 to G22.
//!
//! Asked of the program as it plans: a machine of some millimetres in a wide fence, at 1 m/s, with
//! no time lost at changes of gear, so that seconds are metres.

use crate::reference::{close, table};
use crate::setting::polygon;
use lanewright::geometry::{Footprint, Path, Point, Pose};
use lanewright::turns::{Drive, FreeSpace, lower_bound_s, manoeuvre};
use proptest::prelude::*;
use serde::Deserialize;
use std::f64::consts::PI;

fn drive(radius_m: f64, may_reverse: bool) -> Drive {
    Drive {
        radius_m,
        sharpness: None,
        may_reverse,
        turns_on_spot: false,
        speed_m_per_s: 1.0,
        reverse_m_per_s: 1.0,
        backed_m: f64::INFINITY,
        gear_change_s: 0.0,
        spot_s_per_rad: 0.0,
    }
}

fn open_ground() -> FreeSpace {
    let edge = 2000.0;
    let fence = polygon(&[[-edge, -edge], [edge, -edge], [edge, edge], [-edge, edge]]);
    FreeSpace::new(&fence, Footprint::around([(0.001, 0.0), (-0.001, 0.001), (-0.001, -0.001)]))
}

fn pose([x, y, angle]: [f64; 3]) -> Pose {
    Pose { at: Point { x, y }, angle }
}

/// The way the program takes: it must end at the goal and be no shorter than its own bound.
#[track_caller]
fn way(space: &FreeSpace, drive: &Drive, from: Pose, to: Pose) -> Path {
    let found = manoeuvre(space, drive, from, to).expect("the ground is open").path;
    let end = found.end();
    assert!(end.distance(&to) < 1e-6, "ends {} m from the goal", end.distance(&to));
    assert!(end.turn_to(&to).abs() < 1e-6, "ends {} rad from the goal", end.turn_to(&to));
    assert_eq!(found.start, from);
    close("G21", "bound against way", lower_bound_s(drive, from, to), found.length(), 1e-6);
    found
}

#[derive(Deserialize)]
struct Parallel {
    id: String,
    source: String,
    r: f64,
    w: f64,
    forward: f64,
    depth: f64,
    fishtail: Option<f64>,
    reversing: f64,
}

/// G7 to G16, with G3's depth and G4's fishtail. The table has six decimals of lengths, four of depths.
#[test]
fn turns_between_parallel_lanes_have_the_known_lengths() {
    let space = open_ground();
    for row in table::<Parallel>("turns.toml", "parallel") {
        assert!(!row.source.is_empty());
        let (from, to) = (pose([0.0, 0.0, 0.0]), pose([0.0, row.w, PI]));
        let forward = way(&space, &drive(row.r, false), from, to);
        close(&row.id, "forward", forward.length(), row.forward, 1e-6);
        let depth = forward.sampled(1e-6).poses.iter().map(|p| p.at.x).fold(0.0, f64::max);
        close(&row.id, "depth", depth, row.depth, 6e-5);
        let reversing = way(&space, &drive(row.r, true), from, to);
        close(&row.id, "reversing", reversing.length(), row.reversing, 1e-6);
        if let Some(fishtail) = row.fishtail {
            assert!(reversing.length() <= fishtail + 1e-6, "{}: longer than a fishtail", row.id);
        }
    }
}

/// G1, G2, G5, G6: the closed forms over the whole range, whose branches meet at w = 2 r.
#[test]
fn the_closed_forms_hold_for_any_width() {
    for step in 1..=80 {
        let (r, w) = (2.5, 0.1 * f64::from(step));
        let (from, to) = (pose([0.0, 0.0, 0.0]), pose([0.0, w, PI]));
        let forward = if w >= 2.0 * r {
            (PI - 2.0) * r + w
        } else {
            r * (3.0 * PI - 4.0 * ((2.0 * r + w) / (4.0 * r)).asin())
        };
        close("G1/G2", "forward", lower_bound_s(&drive(r, false), from, to), forward, 1e-9);
        let reversing = if w <= 2.0 * r { PI * r } else { (PI - 2.0) * r + w };
        close("G5", "reversing", lower_bound_s(&drive(r, true), from, to), reversing, 1e-9);
    }
}

#[derive(Deserialize)]
struct General {
    id: String,
    source: String,
    start: [f64; 3],
    goal: [f64; 3],
    length: f64,
}

/// G17 to G20.
#[test]
fn forward_ways_have_the_published_lengths() {
    let space = open_ground();
    for row in table::<General>("turns.toml", "forward") {
        assert!(!row.source.is_empty());
        let found = way(&space, &drive(1.0, false), pose(row.start), pose(row.goal));
        close(&row.id, "length", found.length(), row.length, 1e-6);
    }
}

/// G22.
#[test]
fn reversing_ways_have_the_known_lengths() {
    let space = open_ground();
    for row in table::<General>("turns.toml", "reversing") {
        assert!(!row.source.is_empty());
        let found = way(&space, &drive(1.0, true), pose(row.start), pose(row.goal));
        close(&row.id, "length", found.length(), row.length, 1e-6);
    }
}

fn length(may_reverse: bool, radius: f64, from: Pose, to: Pose) -> f64 {
    lower_bound_s(&drive(radius, may_reverse), from, to)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    /// G21, for any two poses: no shorter than the straight line, reversing no longer than forward,
    /// the same in a mirror, the same when driven from the goal to the start, growing with the
    /// radius when everything does, and ending at the goal.
    #[test]
    fn shortest_ways_keep_their_symmetries(
        x in -12.0..12.0_f64, y in -12.0..12.0_f64, angle in -PI..PI, first in -PI..PI, scale in 0.3..6.0_f64,
    ) {
        let (from, to) = (pose([0.0, 0.0, first]), pose([x, y, angle]));
        let (forward, reversing) = (length(false, 1.0, from, to), length(true, 1.0, from, to));
        prop_assert!(forward >= x.hypot(y) - 1e-9);
        prop_assert!(reversing >= x.hypot(y) - 1e-9);
        prop_assert!(reversing <= forward + 1e-9);
        for (may_reverse, found) in [(false, forward), (true, reversing)] {
            let mirrored = length(may_reverse, 1.0, pose([0.0, 0.0, -first]), pose([x, -y, -angle]));
            prop_assert!((mirrored - found).abs() < 1e-8, "mirrored {mirrored}, {found}");
            let returned = length(may_reverse, 1.0, pose([x, y, angle + PI]), pose([0.0, 0.0, first + PI]));
            prop_assert!((returned - found).abs() < 1e-8, "returned {returned}, {found}");
            let scaled = length(may_reverse, scale, from, pose([scale * x, scale * y, angle]));
            prop_assert!((scaled / scale - found).abs() < 1e-8, "scaled {scaled}, {found}");
        }
        let space = open_ground();
        way(&space, &drive(1.0, false), from, to);
        way(&space, &drive(1.0, true), from, to);
    }
}
