//! Manoeuvres on hard ground: tight headlands, poles, ponds, corners.

use super::*;
use crate::geometry::Footprint;
use crate::num;
use geo::{LineString, MultiPolygon, Polygon, polygon};

/// A six-row machine of 2.7 m, tool behind.
fn six_rows() -> Footprint {
    Footprint::around([(1.9, -0.9), (1.9, 0.9), (-0.4, 1.4), (-1.2, 1.4), (-1.2, -1.4), (-0.4, -1.4)])
}

fn forward_only() -> Drive {
    Drive {
        radius_m: 2.5,
        sharpness: None,
        may_reverse: false,
        turns_on_spot: false,
        speed_m_per_s: 1.0,
        reverse_m_per_s: 1.0,
        backed_m: f64::INFINITY,
        gear_change_s: 2.0,
        spot_s_per_rad: 3.0,
    }
}

fn reversing() -> Drive {
    Drive { may_reverse: true, ..forward_only() }
}

fn on_the_spot() -> Drive {
    Drive { radius_m: 0.0, turns_on_spot: true, ..reversing() }
}

/// Wheels at 15°/s on a wheelbase of 1.9 m, at 0.4 m/s.
fn slow_steering(drive: &Drive) -> Drive {
    Drive { sharpness: Some(0.344), ..*drive }
}

/// Two lanes 2 m apart, and a headland on which a fishtail is quickest: backing up slowly takes longer,
/// and more slowly still the machine turns without.
#[test]
fn slow_reverse_takes_its_time_and_is_left_where_that_pays() {
    let field = rectangle(60.0, 60.0);
    let (from, to) = (Pose::new(30.0, 30.0, NORTH), Pose::new(32.0, 30.0, SOUTH));
    let reverse_m = |way: &Manoeuvre| {
        way.path.pieces.iter().filter(|p| p.gear == Gear::Reverse).map(|p| p.length).sum::<f64>()
    };
    let backing_at = |speed| check(&field, &Drive { reverse_m_per_s: speed, ..reversing() }, from, to);
    let [even, slow, slowest] = [1.0, 0.8, 0.02].map(backing_at);
    assert!(reverse_m(&even) > 0.5, "{:?}", even.path.pieces);
    assert!(even.time_s < slow.time_s && slow.time_s < slowest.time_s);
    assert!((slow.path.length() + 0.25 * reverse_m(&slow) + 4.0 - slow.time_s).abs() < 1e-6);
    assert_eq!(reverse_m(&slowest), 0.0);
}

fn rectangle(width: f64, height: f64) -> MultiPolygon {
    polygon![(x: 0.0, y: 0.0), (x: width, y: 0.0), (x: width, y: height), (x: 0.0, y: height)].into()
}

fn with_holes(field: &MultiPolygon, holes: Vec<LineString>) -> MultiPolygon {
    let exterior = field.0[0].exterior().clone();
    Polygon::new(exterior, holes).into()
}

fn disc(x: f64, y: f64, radius: f64) -> LineString {
    (0..60)
        .map(|i| num::sin_cos(f64::from(i) * num::PI / 30.0))
        .map(|(sin, cos)| (x + radius * cos, y + radius * sin))
        .collect()
}

const NORTH: f64 = num::PI / 2.0;
const SOUTH: f64 = -num::PI / 2.0;

#[track_caller]
fn check(field: &MultiPolygon, drive: &Drive, from: Pose, to: Pose) -> Manoeuvre {
    let space = FreeSpace::new(field, six_rows());
    let Some(found) = manoeuvre(&space, drive, from, to) else {
        panic!("no way from {from:?} to {to:?}");
    };
    let end = found.path.end();
    assert!(end.distance(&to) < 1e-6 && end.turn_to(&to).abs() < 1e-6, "{end:?}");
    assert!(space.clearance(&found.path, SPARE_M - 1e-3).is_ok());
    assert!((drive.time_s(&found.path.pieces) - found.time_s).abs() < 1e-6);
    assert!(found.time_s >= lower_bound_s(drive, from, to) - 1e-9);
    let mut wheels = 0.0;
    for piece in &found.path.pieces {
        if let Some(sharpness) = drive.sharpness {
            assert!((piece.curvature_start - wheels).abs() < 1e-9);
            let change = (piece.curvature_end - piece.curvature_start).abs();
            assert!(change <= sharpness * piece.distance() * (1.0 + 1e-9));
            wheels = piece.curvature_end;
        }
        assert!(piece.sharpest() * drive.radius_m <= 1.0 + 1e-9);
        assert!(piece.gear != Gear::Reverse || drive.may_reverse);
        assert!(piece.gear != Gear::Spot || drive.turns_on_spot);
    }
    assert!(drive.sharpness.is_none() || wheels.abs() < 1e-9);
    found
}

#[test]
fn slow_steering_turns_in_the_open_and_on_narrow_headlands_and_round_ponds() {
    let field = rectangle(100.0, 100.0);
    let (from, to) = (Pose::new(50.0, 50.0, NORTH), Pose::new(52.7, 50.0, SOUTH));
    for drive in [forward_only(), reversing()] {
        let quick = check(&field, &drive, from, to);
        let slow = check(&field, &slow_steering(&drive), from, to);
        assert!(slow.time_s > quick.time_s && slow.time_s < 1.6 * quick.time_s, "{slow:?}");
    }
    let (from, to) = (Pose::new(30.0, 94.0, NORTH), Pose::new(32.7, 94.0, SOUTH));
    check(&field, &slow_steering(&reversing()), from, to);
    let field = with_holes(&rectangle(80.0, 60.0), vec![disc(40.0, 30.0, 12.0)]);
    let (from, to) = (Pose::new(22.0, 30.0, 0.0), Pose::new(58.0, 30.0, 0.0));
    for drive in [forward_only(), reversing()] {
        let found = check(&field, &slow_steering(&drive), from, to);
        assert!((46.0..52.0).contains(&found.time_s), "{}", found.time_s);
    }
}

/// From lane to lap at a right angle: a straight, one bend, a straight.
#[test]
fn slow_steering_turns_a_corner() {
    let field = rectangle(100.0, 100.0);
    let (from, to) = (Pose::new(50.0, 50.0, NORTH), Pose::new(55.0, 55.0, 0.0));
    let found = check(&field, &slow_steering(&forward_only()), from, to);
    assert_eq!(found.shape, TurnShape::Forward);
    assert!(found.path.length() < 10.0, "{}", found.path.length());
}

#[test]
fn in_the_open_the_bound_is_reached() {
    let field = rectangle(100.0, 100.0);
    let (from, to) = (Pose::new(50.0, 50.0, NORTH), Pose::new(56.0, 50.0, SOUTH));
    for drive in [forward_only(), reversing(), on_the_spot()] {
        let found = check(&field, &drive, from, to);
        assert!((found.time_s - lower_bound_s(&drive, from, to)).abs() < 1e-9, "{found:?}");
    }
}

#[test]
fn a_narrow_headland_takes_a_fishtail() {
    let field = rectangle(60.0, 60.0);
    let (from, to) = (Pose::new(30.0, 55.0, NORTH), Pose::new(32.7, 55.0, SOUTH));
    let found = check(&field, &reversing(), from, to);
    assert_eq!(found.shape, TurnShape::Reversing);
}

/// The shortest line round a disc of 13.4 m, the pond with half the machine's width, is 46.7 m:
/// two tangents and an arc, by elementary geometry.
#[test]
fn round_a_pond_the_way_is_searched_and_near_the_shortest_line() {
    let field = with_holes(&rectangle(80.0, 60.0), vec![disc(40.0, 30.0, 12.0)]);
    let (from, to) = (Pose::new(22.0, 30.0, 0.0), Pose::new(58.0, 30.0, 0.0));
    for drive in [forward_only(), reversing()] {
        let found = check(&field, &drive, from, to);
        assert_eq!(found.shape, TurnShape::Searched);
        assert!((46.0..48.5).contains(&found.time_s), "{}", found.time_s);
    }
    let found = check(&field, &on_the_spot(), from, to);
    assert!(found.time_s < 60.0, "{}", found.time_s);
}

#[test]
fn out_of_a_dead_end_backwards_and_not_at_all_forwards() {
    let field = MultiPolygon::from(polygon![
        (x: 0.0, y: 0.0), (x: 60.0, y: 0.0), (x: 60.0, y: 30.0), (x: 34.0, y: 30.0),
        (x: 34.0, y: 50.0), (x: 29.0, y: 50.0), (x: 29.0, y: 30.0), (x: 0.0, y: 30.0)
    ]);
    let (nook, yard) = (Pose::new(31.5, 47.0, NORTH), Pose::new(10.0, 15.0, NORTH));
    for drive in [reversing(), on_the_spot()] {
        check(&field, &drive, nook, yard);
        check(&field, &drive, yard, nook);
    }
    let space = FreeSpace::new(&field, six_rows());
    assert!(manoeuvre(&space, &forward_only(), nook, yard).is_none());
}

#[test]
fn the_rough_bound_is_below_the_bound_and_equal_nearby() {
    for drive in [forward_only(), reversing(), on_the_spot()] {
        for step in 0..200_i32 {
            let spread = f64::from(step) * 0.4;
            let from = Pose::new(0.0, 0.0, f64::from(step));
            let to = Pose::new(spread * num::cos(3.0 * spread), spread, 2.0 * f64::from(step));
            let (rough, bound) = (rough_bound_s(&drive, from, to), lower_bound_s(&drive, from, to));
            assert!(rough <= bound + 1e-9, "{rough} {bound}");
            if !drive.steers() || from.distance(&to) < 12.0 * drive.radius_m {
                assert!((rough - bound).abs() < 1e-12);
            }
        }
    }
}

/// Ways round a pole, each farther from it than the last: shortened, they come nearer, though never as
/// near as the proof is fine.
#[test]
fn a_shortened_way_keeps_its_distance_from_the_fence() {
    let field = with_holes(&rectangle(60.0, 40.0), vec![disc(30.0, 20.0, 0.2)]);
    let space = FreeSpace::new(&field, six_rows());
    let mut nearest_m = f64::INFINITY;
    for step in 0..200 {
        let straight = Piece::straight(Gear::Forward, 0.01 * f64::from(step));
        let [left, right] = [0.4, -0.4].map(|bend| Piece::arc(Gear::Forward, 2.4, bend));
        let pieces = vec![left, straight, right, right, straight, left];
        let path = Path { start: Pose::new(24.0, 18.6, 0.0), pieces };
        if let Some(way) = shortened(&space, &reversing(), &Toll::NONE, path) {
            let kept = space.clearance(&way.path, SPARE_M - 1e-6);
            assert!(kept.is_ok(), "{step}: {kept:?}");
            nearest_m = nearest_m.min(space.clearance(&way.path, 0.0).map_or(0.0, |kept| kept.at_least_m));
        }
    }
    assert!(nearest_m < 0.1, "{nearest_m}");
}

/// From the fence ahead at a corner to the corner itself, backwards, half a hand's breadth beside fences.
#[test]
fn a_machine_backs_into_a_corner_along_the_fence() {
    let field = rectangle(60.0, 60.0);
    let space = FreeSpace::new(&field, six_rows());
    let beside = 1.4 + 0.06;
    let from = Pose::new(60.0 - 1.95, beside, 0.0);
    let to = Pose::new(60.0 - beside, 1.25, NORTH);
    let found = closed_form(&space, &reversing(), &Toll::NONE, from, to);
    let found = found.expect("a way in closed form");
    assert!(found.path.end().distance(&to) < 1e-6 && space.clearance(&found.path, SPARE_M - 1e-3).is_ok());
    assert!(found.time_s < 40.0, "{} s", found.time_s);
    assert!(found.path.pieces.last().is_some_and(|piece| piece.gear == Gear::Reverse));
}
