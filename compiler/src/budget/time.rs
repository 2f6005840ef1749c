//! Time and capacity.
//!
//! Field efficiency is the time that the worked area takes at full width and working speed, as a
//! share of all the time spent on the field; capacity is `C = S · w · E / 10` in ha/h, with km/h and
//! metres (ASABE EP496, as quoted in University of Kentucky AEN-73, 1991). Overlap, turns, lifting,
//! transits and stops all count against it.

use super::TimeBudget;
use lanewright_schema::quantity::{Area, Length, Speed, Time};

/// Hectares an hour of a machine of this width, speed and field efficiency.
pub fn capacity_ha_per_h(width: Length, speed: Speed, field_efficiency: f64) -> f64 {
    speed.to_km_per_h() * width.to_m() * field_efficiency / 10.0
}

/// Hours spent on one field, by what they are spent on.
#[derive(Copy, Clone, Debug, Default, PartialEq)]
pub struct Spent {
    /// In lanes.
    pub work: Time,
    /// In turns, lifting and lowering included.
    pub turn: Time,
    /// From home and back.
    pub transit: Time,
    /// Standing for refills, and being moved by hand.
    pub stop: Time,
}

impl Spent {
    /// All of it.
    pub fn total(&self) -> Time {
        self.work + self.turn + self.transit + self.stop
    }
}

/// The time budget of an area worked at a width and a speed, in days of so many hours.
pub fn time_budget(
    spent: Spent,
    worked: Area,
    width: Length,
    speed: Speed,
    hours_per_day: Time,
) -> TimeBudget {
    let total = spent.total();
    let at_best = Time::h(worked.to_ha() / capacity_ha_per_h(width, speed, 1.0));
    let field_efficiency = if total > Time::ZERO { at_best / total } else { 0.0 };
    let ha_per_h = capacity_ha_per_h(width, speed, field_efficiency);
    TimeBudget {
        work: spent.work,
        turn: spent.turn,
        transit: spent.transit,
        stop: spent.stop,
        field_efficiency,
        ha_per_h,
        ha_per_day: ha_per_h * hours_per_day.to_h(),
        days: total / hours_per_day,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const FOOT_M: f64 = 0.3048;
    const MILE_KM: f64 = 1.609_344;
    const ACRE_HA: f64 = 0.404_685_642_24;

    fn acres_per_h(feet: f64, miles_per_h: f64, percent: f64) -> f64 {
        let (width, speed) = (Length::m(feet * FOOT_M), Speed::km_per_h(miles_per_h * MILE_KM));
        capacity_ha_per_h(width, speed, percent / 100.0) / ACRE_HA
    }

    /// Reference checks B1 to B6: Iowa State University Extension PM 696 (2001) and A3-24, table 1;
    /// Progressive Forage, "Farm field equipment: efficiency versus capacity".
    #[test]
    fn capacities_agree_with_extension_sheets() {
        let published = [
            (40.0, 6.0, 70.0, 20.4, 0.05),
            (50.0, 6.0, 70.0, 25.5, 0.05),
            (15.0, 5.0, 63.0, 5.7, 0.05),
            (30.0, 6.0, 60.0, 13.1, 0.05),
            (7.0 * 16.0 / 12.0, 5.0, 85.0, 4.8, 0.05),
            (10.0 * 18.0 / 12.0, 5.0, 83.0, 7.5, 0.05),
            (60.0, 12.0, 68.0, 59.3, 0.06),
            (80.0, 12.0, 68.0, 79.1, 0.06),
            (30.0, 5.0, 100.0, 18.2, 0.06),
            (30.0, 5.0, 80.0, 14.5, 0.06),
            (30.0, 5.0, 60.0, 10.9, 0.06),
        ];
        for (feet, speed, efficiency, expected, tolerance) in published {
            let found = acres_per_h(feet, speed, efficiency);
            assert!((found - expected).abs() <= tolerance, "{feet} ft: {found} against {expected}");
        }
    }

    /// Reference check B7, derived.
    #[test]
    fn capacity_in_hectares() {
        let capacity = |w, v, e| capacity_ha_per_h(Length::m(w), Speed::km_per_h(v), e);
        assert!((capacity(2.0, 8.0, 0.8) - 1.28).abs() < 1e-9);
        assert!((capacity(4.0, 4.5, 0.7) - 1.26).abs() < 1e-9);
    }

    /// Reference check B8 (NIAB, "Field size and biodiversity"): a machine that would do 8 ha/h does
    /// 4, 6 and 7 when it turns for a half, a quarter and an eighth of its time.
    #[test]
    fn turning_takes_its_share() {
        for (share, expected) in [(0.5, 4.0), (0.25, 6.0), (0.125, 7.0)] {
            let spent = Spent { work: Time::h(1.0 - share), turn: Time::h(share), ..Spent::default() };
            let worked = Area::ha(8.0 * (1.0 - share));
            let budget = time_budget(spent, worked, Length::m(8.0), Speed::km_per_h(10.0), Time::h(10.0));
            assert!((budget.ha_per_h - expected).abs() < 1e-9);
            assert!((budget.ha_per_day - 10.0 * expected).abs() < 1e-9);
            assert!((budget.days - 0.1).abs() < 1e-12);
        }
    }

    /// Reference check B9, derived: 33 lanes of 300 m, 3 m wide, at 1 m/s, with 32 turns of
    /// 29.2764 m at 0.6 m/s.
    #[test]
    fn lanes_and_turns_make_a_field_efficiency() {
        let spent = Spent {
            work: Time::s(9900.0),
            turn: Length::m(32.0 * 29.2764) / Speed::m_per_s(0.6),
            ..Spent::default()
        };
        let worked = Length::m(33.0 * 300.0) * Length::m(3.0);
        let budget = time_budget(spent, worked, Length::m(3.0), Speed::m_per_s(1.0), Time::h(8.0));
        assert!((budget.turn.to_s() - 1561.4).abs() < 0.05);
        assert!((budget.field_efficiency - 0.86377).abs() < 1e-4);
        assert!((budget.ha_per_h - 0.93287).abs() < 1e-4);
    }
}
