//! Field capacity against extension sheets, and from lanes and turns end to end. Checks B1 to B10.

use crate::reference::{close, table};
use crate::setting::{ground, machine, polygon, wanted};
use lanewright::budget::{Spent, capacity_ha_per_h, time_budget};
use lanewright::geometry::{Point, Pose};
use lanewright::lanes::lanes;
use lanewright::turns::{Drive, lower_bound_s};
use lanewright_schema::quantity::{Area, Length, Speed, Time};
use serde::Deserialize;

/// The international foot and mile and the acre of 43 560 square feet, exact by definition.
const FOOT_M: f64 = 0.3048;
const MILE_KM: f64 = 1.609_344;
const ACRE_HA: f64 = 43_560.0 * FOOT_M * FOOT_M / 10_000.0;

#[derive(Deserialize)]
struct Us {
    id: String,
    source: String,
    width_ft: f64,
    speed_mph: f64,
    efficiency: f64,
    acres_per_h: f64,
    tolerance: f64,
}

/// B1 to B6, as printed, in acres an hour.
#[test]
fn capacities_are_those_of_the_sheets() {
    for row in table::<Us>("capacity.toml", "us") {
        assert!(!row.source.is_empty());
        let found = capacity_ha_per_h(
            Length::m(row.width_ft * FOOT_M),
            Speed::km_per_h(row.speed_mph * MILE_KM),
            row.efficiency,
        );
        close(&row.id, "acres an hour", found / ACRE_HA, row.acres_per_h, row.tolerance);
    }
}

#[derive(Deserialize)]
struct Metric {
    id: String,
    source: String,
    width_m: f64,
    speed_km_per_h: f64,
    efficiency: f64,
    ha_per_h: f64,
    tolerance: f64,
}

/// B7, B8: through the time budget, with the rest of the time spent on turns.
#[test]
fn time_spent_turning_lowers_the_capacity() {
    for row in table::<Metric>("capacity.toml", "metric") {
        assert!(!row.source.is_empty());
        let (width, speed) = (Length::m(row.width_m), Speed::km_per_h(row.speed_km_per_h));
        let work = Area::ha(5.0).to_m2() / (width.to_m() * speed.to_m_per_s());
        let spent =
            Spent { work: Time::s(work), turn: Time::s(work / row.efficiency - work), ..Spent::default() };
        let budget = time_budget(spent, Area::ha(5.0), width, speed, Time::h(10.0));
        close(&row.id, "ha an hour", budget.ha_per_h, row.ha_per_h, row.tolerance);
        close(&row.id, "efficiency", budget.field_efficiency, row.efficiency, 1e-12);
        close(&row.id, "ha a day", budget.ha_per_day, 10.0 * row.ha_per_h, 10.0 * row.tolerance);
        close(&row.id, "days", budget.days, 5.0 / row.ha_per_h / 10.0, 1e-9);
    }
}

#[derive(Deserialize)]
struct FieldRow {
    id: String,
    source: String,
    lanes: usize,
    turns: usize,
    lane_m: f64,
    work_s: Option<f64>,
    turn_s: Option<f64>,
    efficiency: f64,
    ha_per_h: Option<f64>,
    tolerance: f64,
}

/// B9, B10: lanes as the lane stage counts them, turns as the turn stage measures them, time as the
/// budget adds it up.
#[test]
fn lanes_turns_and_capacity_agree() {
    let machine = machine(6, 0.5);
    let from = Pose { at: Point { x: 0.0, y: 0.0 }, angle: 0.0 };
    let next = Pose { at: Point { x: 0.0, y: 3.0 }, angle: std::f64::consts::PI };
    let turn_s = lower_bound_s(&Drive::turning(&machine), from, next);
    for row in table::<FieldRow>("capacity.toml", "field") {
        assert!(!row.source.is_empty());
        let across = 3.0 * row.lanes as f64;
        let field = polygon(&[[0.0, 0.0], [row.lane_m, 0.0], [row.lane_m, across], [0.0, across]]);
        let laid = lanes(&wanted(), &ground(field, Some(90.0)), &machine).value.expect("a plan");
        assert_eq!(laid.lanes.len(), row.lanes, "{}", row.id);
        let area = Area::m2(row.lane_m * across);
        let work = Time::s(row.lane_m * row.lanes as f64);
        let spent = Spent { work, turn: Time::s(turn_s * row.turns as f64), ..Spent::default() };
        let budget = time_budget(spent, area, machine.working_width, machine.working_speed, Time::h(10.0));
        close(&row.id, "efficiency", budget.field_efficiency, row.efficiency, row.tolerance);
        if let Some(expected) = row.work_s {
            close(&row.id, "work", spent.work.to_s(), expected, 1e-6);
        }
        if let Some(expected) = row.turn_s {
            close(&row.id, "turns", spent.turn.to_s(), expected, 0.05);
        }
        if let Some(expected) = row.ha_per_h {
            close(&row.id, "ha an hour", budget.ha_per_h, expected, row.tolerance);
        }
    }
}
