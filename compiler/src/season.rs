//! When a crop comes up: the day on which the heat since sowing reaches what it needs.
//!
//! In: the day of sowing, the crop's base temperature and thermal time, the temperatures of the days. Out:
//! the first day on which the degree-days above the base, the day of sowing counted whole, are as many.
//! The heat of a day with a minimum and a maximum is that of a sine between them (Allen 1976, Environmental
//! Entomology 5:388, single sine); above a ceiling more warmth adds nothing (horizontal cutoff). Monthly
//! means hold in the middle of their months, and between them the temperature changes evenly.

use crate::num;
use chrono::{Datelike, NaiveDate};
use lanewright_schema::quantity::{Temperature, ThermalTime};
use lanewright_schema::weather::Day;

/// What decides the day.
#[derive(Clone, Debug, PartialEq)]
pub struct Season {
    /// The day of sowing.
    pub sown_on: NaiveDate,
    /// Below it nothing grows.
    pub base: Temperature,
    /// Above it nothing grows faster.
    pub ceiling: Option<Temperature>,
    /// Degree-days from sowing until the first plants are up.
    pub thermal_time: ThermalTime,
    /// The weather.
    pub weather: Weather,
}

/// Temperatures, day by day or month by month.
#[derive(Clone, Debug, PartialEq)]
pub enum Weather {
    /// Day after day.
    Days(Vec<Day>),
    /// Mean of each month, January first.
    Months([Temperature; 12]),
}

/// When plants are up.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Emergence {
    /// The first day on which they are expected.
    pub date: NaiveDate,
    /// Days of warmth, the day of sowing included.
    pub days: u32,
    /// Their degree-days.
    pub warmth: ThermalTime,
    /// Their mean temperature.
    pub mean: Temperature,
}

/// Why no day was found.
#[derive(Copy, Clone, Debug, PartialEq)]
pub enum NoEmergence {
    /// Nothing is known of a day, the one of sowing or one before the crop is up.
    NoWeather {
        /// That day.
        day: NaiveDate,
        /// Degree-days until then.
        warmth: ThermalTime,
    },
    /// A year does not suffice.
    TooCold {
        /// Degree-days in that year.
        warmth: ThermalTime,
    },
}

/// Longer than this, days, no seed lies in the ground.
const A_YEAR: u32 = 366;

/// The day on which plants are expected.
pub fn emergence(season: &Season) -> Result<Emergence, NoEmergence> {
    let (mut warmth, mut mean) = (0.0, 0.0);
    let mut date = season.sown_on;
    for days in 1..=A_YEAR {
        let so_far = ThermalTime::degree_days(warmth);
        let Some((minimum, maximum)) = season.weather.on(date) else {
            return Err(NoEmergence::NoWeather { day: date, warmth: so_far });
        };
        warmth += season.warmth(minimum, maximum);
        mean += f64::midpoint(minimum, maximum);
        if warmth >= season.thermal_time.to_degree_days() - 1e-9 {
            let (warmth, mean) =
                (ThermalTime::degree_days(warmth), Temperature::celsius(mean / f64::from(days)));
            return Ok(Emergence { date, days, warmth, mean });
        }
        let Some(next) = date.succ_opt() else { break };
        date = next;
    }
    Err(NoEmergence::TooCold { warmth: ThermalTime::degree_days(warmth) })
}

impl Season {
    /// Degree-days of a day.
    fn warmth(&self, minimum: f64, maximum: f64) -> f64 {
        let above = |threshold: Temperature| degree_days(minimum, maximum, threshold.to_celsius());
        above(self.base) - self.ceiling.map_or(0.0, above)
    }
}

/// Degree-days above a threshold of a day whose temperature is a sine.
fn degree_days(minimum: f64, maximum: f64, threshold: f64) -> f64 {
    let (mean, swing) = (f64::midpoint(minimum, maximum), (maximum - minimum) / 2.0);
    if threshold <= minimum {
        return mean - threshold;
    }
    if threshold >= maximum {
        return 0.0;
    }
    let crossing = num::asin((threshold - mean) / swing);
    ((mean - threshold) * (num::PI / 2.0 - crossing) + swing * num::cos(crossing)) / num::PI
}

impl Weather {
    /// The lowest and the highest temperature of a day.
    fn on(&self, date: NaiveDate) -> Option<(f64, f64)> {
        match self {
            Self::Days(days) => {
                let first = days.first()?.date;
                let index = usize::try_from((date - first).num_days()).ok()?;
                days.get(index).map(|day| (day.minimum, day.maximum))
            }
            Self::Months(means) => {
                let mean = between_months(means, date);
                Some((mean, mean))
            }
        }
    }
}

/// The temperature of a day between the middles of two months.
fn between_months(means: &[Temperature; 12], date: NaiveDate) -> f64 {
    let length = f64::from(date.num_days_in_month());
    let months = f64::from(date.month0()) + (f64::from(date.day()) - 0.5) / length + 11.5;
    let (before, share) = (months.floor(), months.fract());
    let mean = |month: f64| means[month as usize % 12].to_celsius();
    mean(before) + share * (mean(before + 1.0) - mean(before))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn day(year: i32, month: u32, day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(year, month, day).expect("a date")
    }

    /// 7, 14 above 12: documentation of the R package `TrenchR`, `degree_days`, after Allen 1976, two decimals;
    /// the others derived from the integral of the sine, as the property below does anew.
    #[test]
    fn the_heat_of_a_day_is_that_of_the_published_method() {
        assert!((degree_days(7.0, 14.0, 12.0) - 0.47).abs() < 5e-3);
        for (minimum, maximum, base, expected) in
            [(2.0, 16.0, 5.0, 4.60299), (1.0, 11.0, 3.0, 3.38774), (4.0, 10.0, 3.0, 4.0)]
        {
            assert!((degree_days(minimum, maximum, base) - expected).abs() < 1e-5);
        }
        let capped = |minimum, maximum, base, ceiling| {
            degree_days(minimum, maximum, base) - degree_days(minimum, maximum, ceiling)
        };
        assert!((capped(12.0, 34.0, 8.0, 30.0) - 14.26212).abs() < 1e-5);
        assert!((capped(5.0, 25.0, 3.0, 20.0) - 10.91002).abs() < 1e-5);
    }

    proptest! {
        #[test]
        fn the_heat_of_a_day_is_the_integral_of_its_sine(
            minimum in -10.0..20.0_f64, swing in 0.0..20.0_f64, threshold in -5.0..25.0_f64,
        ) {
            let maximum = minimum + swing;
            let at = |part: f64| {
                let celsius = f64::midpoint(minimum, maximum) + swing / 2.0 * num::sin(2.0 * num::PI * part);
                (celsius - threshold).max(0.0)
            };
            let sum: f64 = (0..20_000).map(|i| at((f64::from(i) + 0.5) / 20_000.0)).sum();
            prop_assert!((degree_days(minimum, maximum, threshold) - sum / 20_000.0).abs() < 1e-4);
        }
    }

    fn steady(minimum: f64, maximum: f64) -> Weather {
        let date = day(2027, 3, 20);
        Weather::Days(date.iter_days().take(300).map(|date| Day { date, minimum, maximum }).collect())
    }

    fn beet(weather: Weather) -> Season {
        Season {
            sown_on: day(2027, 4, 1),
            base: Temperature::celsius(3.0),
            ceiling: Some(Temperature::celsius(20.0)),
            thermal_time: ThermalTime::degree_days(90.0),
            weather,
        }
    }

    /// Derived: 6 degree-days a day from 4 and 14 °C above 3 °C, and with 0 and 12 °C the sine gives 25 days
    /// where the mean alone would give 30.
    #[test]
    fn days_are_counted_from_the_day_of_sowing() {
        let found = emergence(&beet(steady(4.0, 14.0))).unwrap();
        assert_eq!((found.days, found.date), (15, day(2027, 4, 15)));
        assert_eq!(emergence(&beet(steady(0.0, 12.0))).unwrap().days, 25);
    }

    /// Sugar beet, 90 °C d above 3 °C with a ceiling of 20 °C: parameters of the crop file SUG0601 of WOFOST
    /// (Wageningen). Days to emergence at soil temperatures of 38 to 45, 45 to 52, 52 to 60 and 60 to 70 °F:
    /// North Dakota State University Extension, 7 May 2020.
    #[test]
    fn sugar_beet_is_up_within_the_published_days() {
        for (celsius, days) in [(5.3, 21..=60), (9.2, 10..=21), (13.3, 7..=12), (18.3, 5..=7)] {
            let found = emergence(&beet(steady(celsius, celsius))).unwrap();
            assert!(days.contains(&found.days), "{celsius} °C: {} days", found.days);
        }
    }

    #[test]
    fn monthly_means_hold_in_the_middle_of_their_months() {
        let means: [Temperature; 12] = std::array::from_fn(|month| Temperature::celsius(month as f64));
        assert!((between_months(&means, day(2027, 1, 16)) - 0.0).abs() < 1e-9);
        assert!((between_months(&means, day(2027, 7, 16)) - 6.0).abs() < 1e-9);
        let (june, july) = (day(2027, 6, 30), day(2027, 7, 1));
        let (june, july) = (between_months(&means, june), between_months(&means, july));
        assert!((june - 5.483).abs() < 1e-3 && (july - 5.516).abs() < 1e-3);
        let turn = between_months(&means, day(2027, 12, 31));
        assert!((turn - 5.68).abs() < 0.01, "half-way from December's 11 to January's 0: {turn}");
    }

    #[test]
    fn weather_that_ends_or_never_warms_is_told() {
        let Weather::Days(days) = steady(8.0, 8.0) else { unreachable!() };
        let short = Weather::Days(days[..20].to_vec());
        let found = emergence(&beet(short)).unwrap_err();
        assert_eq!(
            found,
            NoEmergence::NoWeather { day: day(2027, 4, 9), warmth: ThermalTime::degree_days(40.0) }
        );
        let frozen = Weather::Months([Temperature::celsius(1.0); 12]);
        assert!(matches!(emergence(&beet(frozen)), Err(NoEmergence::TooCold { .. })));
    }
}
