//! Directions, lane counts and areas of shapes whose answers geometry gives. Checks H1 to H12.

use crate::reference::{close, table};
use crate::setting::{ground, machine, polygon, wanted};
use geo::MultiPolygon;
use lanewright::check::{Headland, HeadlandSize, HeadlandSown, LapCorners};
use lanewright::geometry::region;
use lanewright::lanes::{Course, LanePlan, lanes, with_overlap};
use lanewright_schema::quantity::Length;
use serde::Deserialize;

#[derive(Deserialize)]
struct Shape {
    id: String,
    source: String,
    corners: Vec<[f64; 2]>,
    width_m: f64,
    heading_deg: f64,
    lanes: usize,
}

fn plan(
    boundary: MultiPolygon,
    heading_deg: Option<f64>,
    row_spacing_m: f64,
    headland: Headland,
) -> LanePlan {
    let mut field = wanted();
    field.headland = headland;
    let machine = machine(6, row_spacing_m);
    let told = lanes(&field, &ground(boundary, heading_deg), &machine);
    with_overlap(told.value.unwrap_or_else(|| panic!("refused: {:?}", told.findings)), &machine)
}

const NO_HEADLAND: Headland =
    Headland { size: HeadlandSize::None, sown: HeadlandSown::No, corners: LapCorners::Round };

/// What the planner keeps to spare between body and fence, so that the proof of the fence has room.
const ROOM_M: f64 = 0.025;

/// H2 to H6, H9: as many lanes as the extent across asks for, no more. Where the last lane would lie
/// in a corner and be shorter than the machine is wide, it may be left over instead (H3).
#[test]
fn as_many_lanes_as_the_extent_asks_for() {
    for shape in table::<Shape>("coverage.toml", "lanes") {
        assert!(!shape.source.is_empty());
        let laid = plan(polygon(&shape.corners), Some(shape.heading_deg), shape.width_m / 6.0, NO_HEADLAND);
        let mut expected = shape.lanes;
        if shape.id == "H3" && laid.lanes.len() == expected - 1 {
            // The corner above the last lane but one: 3 m high, 6.25 m wide.
            let corner: f64 = laid.left_over.iter().map(|piece| piece.area_m2).sum();
            assert!(corner > 4.0, "{}: a lane is missing, only {corner} m² are left over", shape.id);
            expected -= 1;
        }
        assert_eq!(laid.lanes.len(), expected, "{}, heading {}", shape.id, shape.heading_deg);
    }
}

/// H8: 34 lanes of 3 m over 100 m are 2 % more than the field. Rows are clipped one by one, so the
/// machine passes over that strip but sows nothing twice.
#[test]
fn the_last_lane_overlaps_the_field_but_not_the_crop() {
    let laid = plan(
        polygon(&[[0.0, 0.0], [300.0, 0.0], [300.0, 100.0], [0.0, 100.0]]),
        Some(90.0),
        0.5,
        NO_HEADLAND,
    );
    close("H8", "passed over", laid.lanes.len() as f64 * 3.0 / 100.0 - 1.0, 0.02, 1e-9);
    close("H8", "sown twice", laid.areas.overlap, 0.0, 1e-6);
    close("H8", "worked", laid.areas.worked, 30_000.0, 800.0 * ROOM_M);
}

/// H1: the best heading of a convex field is parallel to an edge of its hull.
#[test]
fn the_best_heading_is_parallel_to_an_edge() {
    for shape in table::<Shape>("coverage.toml", "lanes") {
        let laid = plan(polygon(&shape.corners), None, shape.width_m / 6.0, NO_HEADLAND);
        let edges: Vec<f64> = (0..shape.corners.len())
            .map(|i| {
                let (a, b) = (shape.corners[i], shape.corners[(i + 1) % shape.corners.len()]);
                (b[0] - a[0]).atan2(b[1] - a[1]).to_degrees().rem_euclid(180.0)
            })
            .collect();
        for block in &laid.blocks {
            let Course::Straight { heading, .. } = block.course else {
                panic!("{}: no straight block", shape.id)
            };
            let off = edges
                .iter()
                .map(|edge| {
                    let apart = (heading.to_degrees() - edge).rem_euclid(180.0);
                    apart.min(180.0 - apart)
                })
                .fold(f64::INFINITY, f64::min);
            assert!(
                off < 1e-6,
                "{}: heading {} is {off} degrees from the next edge",
                shape.id,
                heading.to_degrees()
            );
        }
    }
}

/// H7: an L with legs of 300 x 60 and 60 x 240 m takes 100 lanes in one direction, 40 when each leg
/// is worked along itself: a planner that does not split it loses 60 lanes.
#[test]
fn an_l_is_split_into_its_legs() {
    let l = [[0.0, 0.0], [300.0, 0.0], [300.0, 60.0], [60.0, 60.0], [60.0, 300.0], [0.0, 300.0]];
    let one_way = plan(polygon(&l), Some(90.0), 0.5, NO_HEADLAND);
    assert_eq!(one_way.lanes.len(), 100);
    let best = plan(polygon(&l), None, 0.5, NO_HEADLAND);
    assert_eq!(best.lanes.len(), 40);
    assert_eq!(best.blocks.len(), 2);
    close("H7", "worked", best.areas.worked, 32_400.0, 1e-3 * 32_400.0);
}

/// H10: 300 x 100 m less a headland of 9 m leave 23 124 m², 22.92 % are headland.
#[test]
fn a_headland_takes_its_share() {
    let field = polygon(&[[0.0, 0.0], [300.0, 0.0], [300.0, 100.0], [0.0, 100.0]]);
    for size in [HeadlandSize::Width(Length::m(9.0)), HeadlandSize::Laps(3)] {
        let laid = plan(
            field.clone(),
            Some(90.0),
            0.5,
            Headland { size, sown: HeadlandSown::No, corners: LapCorners::Round },
        );
        // "At least this wide": no narrower than asked, wider by some centimetres at most.
        let room = 2.0 * (282.0 + 82.0) * 4.0 * ROOM_M;
        assert!(laid.areas.headland >= 30_000.0 - 23_124.0 - 1e-3, "{}", laid.areas.headland);
        close("H10", "headland", laid.areas.headland, 30_000.0 - 23_124.0, room);
        close("H10", "share", laid.areas.headland / laid.areas.field, 0.2292, 1e-4 + room / 30_000.0);
    }
}

/// Of a rectangle whose laps have square corners nothing is left but the strip beside the fence, which the
/// tool bar does not reach, and what it leaves where it backs into a corner.
#[test]
fn square_corners_leave_the_strip_beside_the_fence() {
    let field = polygon(&[[0.0, 0.0], [120.0, 0.0], [120.0, 80.0], [0.0, 80.0]]);
    let left = |corners| {
        let wish = Headland { size: HeadlandSize::Laps(2), sown: HeadlandSown::Last, corners };
        let laid = plan(field.clone(), Some(90.0), 0.45, wish);
        // Rows that end at a slant in the corners of two laps reach over their neighbours: 12 rows at each
        // corner, each with less than a square of half a row spacing.
        let slants = 4.0 * 12.0 * 0.225 * 0.225;
        assert!(laid.areas.overlap < slants, "{}", laid.areas.overlap);
        laid.areas.left_over
    };
    let strip = region::area(&field) - region::area(&region::inset(&field, 0.25));
    let (round, square) = (left(LapCorners::Round), left(LapCorners::Square));
    assert!(square < strip + 4.0 * 1.5, "{square} m² of a strip of {strip}");
    assert!(square < round - 4.0 * 4.0, "{square} m² against {round}");
}

/// H11: a square of 10 m with a clearance of 2 m takes 180 + 4 pi m², its corners rounded. What is
/// kept out may be larger by the chords that stand outside the arcs, never smaller.
#[test]
fn a_clearance_rounds_the_corners() {
    let grown =
        region::area(&region::outset(&polygon(&[[0.0, 0.0], [10.0, 0.0], [10.0, 10.0], [0.0, 10.0]]), 2.0));
    close("H11", "grown", grown, 180.0 + 4.0 * std::f64::consts::PI, 0.01);
}

/// H12: every square metre is worked, headland, keep-out or left over with a reason; and rows stay
/// on the soil.
#[test]
fn nothing_is_dropped_in_silence() {
    let shapes: [&[[f64; 2]]; 4] = [
        &[[0.0, 0.0], [310.0, 12.0], [287.0, 140.0], [20.0, 96.0]],
        &[[0.0, 0.0], [300.0, 0.0], [300.0, 60.0], [60.0, 60.0], [60.0, 300.0], [0.0, 300.0]],
        &[
            [0.0, 0.0],
            [120.0, -40.0],
            [260.0, 10.0],
            [180.0, 90.0],
            [210.0, 190.0],
            [60.0, 150.0],
            [90.0, 70.0],
        ],
        &[[0.0, 0.0], [400.0, 0.0], [0.0, 300.0]],
    ];
    let sizes = [HeadlandSize::None, HeadlandSize::Laps(2), HeadlandSize::AsTurnsNeed];
    for outline in shapes {
        for (sown, corners) in [
            (HeadlandSown::No, LapCorners::Round),
            (HeadlandSown::Last, LapCorners::Round),
            (HeadlandSown::Last, LapCorners::Square),
        ] {
            for size in sizes {
                let field = polygon(outline);
                let laid = plan(field.clone(), None, 0.45, Headland { size, sown, corners });
                let areas = laid.areas;
                let sum = areas.worked + areas.headland + areas.keep_out + areas.left_over;
                close("H12", "sum of areas", sum, areas.field, 1e-6 * areas.field);
                close("H12", "field", areas.field, region::area(&field), 1e-6 * areas.field);
                let listed: f64 = laid.left_over.iter().map(|piece| piece.area_m2).sum();
                close("H12", "left over, listed", listed, areas.left_over, 1e-6 * areas.field);
                assert!(areas.worked > 0.5 * areas.field, "only {} of {}", areas.worked, areas.field);
                let slack = region::outset(&field, 0.001);
                for lane in &laid.lanes {
                    for row in &lane.rows {
                        assert!(row.from < row.to, "{row:?}");
                        for at in [row.from, row.to] {
                            let place = lane.line.pose_at(at).at;
                            assert!(region::contains(&slack, place), "{place:?} is outside the field");
                        }
                    }
                }
            }
        }
    }
}
