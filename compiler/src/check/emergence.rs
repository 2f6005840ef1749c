//! The season of a weeding job as checked: the day of emergence from thermal time, where it is not given.

use super::Findings;
use crate::season::{self, Emergence, NoEmergence, Season, Weather};
use lanewright_schema::job as written;
use lanewright_schema::quantity::{Temperature, ThermalTime};
use lanewright_schema::weather;

/// The season and the day that comes of it.
pub fn of(file: &written::Season, findings: &mut Findings) -> Option<(Season, Emergence)> {
    findings.above_zero(&file.thermal_time, "thermal_time");
    let most = ThermalTime::degree_days(5000.0);
    findings.within(&file.thermal_time, "thermal_time", &(ThermalTime::ZERO..=most, "0 °C d to 5000 °C d"));
    let growing = (Temperature::celsius(-5.0)..=Temperature::celsius(40.0), "-5 °C to 40 °C");
    findings.within(&file.base_temperature, "base_temperature", &growing);
    if let Some(ceiling) = &file.ceiling_temperature
        && ceiling.value <= file.base_temperature.value
    {
        findings
            .raise(
                "job/out-of-range",
                &ceiling.place,
                "`ceiling_temperature` is not above `base_temperature`",
            )
            .hint("write the temperature above which more warmth does not hasten the crop, or leave it out");
        return None;
    }
    let season = Season {
        sown_on: file.sown_on.value,
        base: file.base_temperature.value,
        ceiling: file.ceiling_temperature.as_ref().map(|ceiling| ceiling.value),
        thermal_time: file.thermal_time.value,
        weather: weather(file, findings)?,
    };
    match season::emergence(&season) {
        Ok(emergence) => Some((season, emergence)),
        Err(none) => {
            not_found(file, none, findings);
            None
        }
    }
}

fn weather(file: &written::Season, findings: &mut Findings) -> Option<Weather> {
    match (&file.daily, &file.monthly) {
        (Some(table), None) => {
            match weather::read(&table.value.bytes) {
                Ok(days) => Some(Weather::Days(days)),
                Err(why) => {
                    findings
                    .raise(
                        "season/no-weather",
                        &table.place,
                        format!("`{}` is no table of daily temperatures: {why}", table.value.path),
                    )
                    .hint("a CSV table with the headings `date,minimum,maximum` or `date,mean`, a line a day");
                    None
                }
            }
        }
        (None, Some(months)) => {
            let means: Vec<Temperature> = months.value.iter().map(|mean| mean.value).collect();
            let count = means.len();
            let months_of_a_year = <[Temperature; 12]>::try_from(means);
            if months_of_a_year.is_err() {
                findings
                    .raise("season/no-weather", &months.place, format!("`monthly` has {count} means"))
                    .label("a year has twelve months")
                    .hint("write the mean temperature of each month, January first");
            }
            months_of_a_year.ok().map(Weather::Months)
        }
        (Some(_), Some(months)) => {
            findings
                .raise(
                    "season/given-twice",
                    &months.place,
                    "temperatures are given both by days and by months",
                )
                .hint("leave out `monthly`, which knows less");
            None
        }
        (None, None) => {
            findings
                .raise("season/no-weather", &file.place, "the season has no temperatures")
                .hint("add `daily = \"logs/spring.csv\"`, or `monthly` with twelve means");
            None
        }
    }
}

fn not_found(file: &written::Season, none: NoEmergence, findings: &mut Findings) {
    let needs = file.thermal_time.value.to_degree_days();
    match none {
        NoEmergence::NoWeather { day, warmth } => {
            let place = file.daily.as_ref().map_or(&file.place, |table| &table.place);
            findings
                .raise(
                    "season/no-weather",
                    place,
                    format!(
                        "there is no temperature for {day}, when {:.1} of {needs} °C d are reached",
                        warmth.to_degree_days()
                    ),
                )
                .hint(format!(
                    "give the days from sowing on, {} included, and a forecast of those to come",
                    file.sown_on.value
                ));
        }
        NoEmergence::TooCold { warmth } => {
            findings
                .raise(
                    "season/too-cold",
                    &file.thermal_time.place,
                    format!(
                        "a year from sowing has {:.1} °C d above {} °C, the crop needs {needs}",
                        warmth.to_degree_days(),
                        file.base_temperature.value.to_celsius()
                    ),
                )
                .hint("write the crop's own base temperature and thermal time, and the temperatures of this place");
        }
    }
}
