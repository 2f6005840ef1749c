//! The table of air temperatures: CSV with a heading line, `date`, and either `minimum` and `maximum` or
//! `mean` of each day, degrees Celsius; one line a day, day after day. Further columns are passed over.

use chrono::NaiveDate;
use serde::Deserialize;

/// The temperatures of a day, degrees Celsius.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Day {
    /// The day.
    pub date: NaiveDate,
    /// The lowest.
    pub minimum: f64,
    /// The highest; the same as the lowest where only a mean is known.
    pub maximum: f64,
}

#[derive(Deserialize)]
struct Line {
    date: NaiveDate,
    minimum: Option<f64>,
    maximum: Option<f64>,
    mean: Option<f64>,
}

/// Every day of a table, in order; or what is wrong with it.
pub fn read(bytes: &[u8]) -> Result<Vec<Day>, String> {
    let mut days: Vec<Day> = Vec::new();
    for line in csv::ReaderBuilder::new().trim(csv::Trim::All).from_reader(bytes).deserialize::<Line>() {
        let line = line.map_err(|error| error.to_string())?;
        let day = day(&line)?;
        if let Some(before) = days.last()
            && before.date.succ_opt() != Some(day.date)
        {
            return Err(format!("{} follows {}, which is not the day before", day.date, before.date));
        }
        days.push(day);
    }
    if days.is_empty() { Err("it has no days".to_owned()) } else { Ok(days) }
}

fn day(line: &Line) -> Result<Day, String> {
    let date = line.date;
    let (minimum, maximum) = match (line.minimum, line.maximum, line.mean) {
        (Some(minimum), Some(maximum), _) => (minimum, maximum),
        (None, None, Some(mean)) => (mean, mean),
        _ => return Err(format!("{date} has neither `minimum` and `maximum` nor `mean` alone")),
    };
    let on_earth = |celsius: f64| (-90.0..=60.0).contains(&celsius);
    if !on_earth(minimum) || !on_earth(maximum) {
        return Err(format!("{date} lies outside -90 °C to 60 °C"));
    }
    if minimum > maximum {
        return Err(format!("{date} has a minimum above its maximum"));
    }
    Ok(Day { date, minimum, maximum })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_are_read_with_their_extremes_or_their_mean() {
        let table = "station,date,minimum,maximum\nmast,2027-04-12,3.5,14\nmast,2027-04-13,-1,9.5\n";
        let days = read(table.as_bytes()).unwrap();
        assert_eq!((days.len(), days[1].minimum, days[1].maximum), (2, -1.0, 9.5));
        let days = read(b"date,mean\n2027-04-12,8.25\n").unwrap();
        assert_eq!((days[0].minimum, days[0].maximum), (8.25, 8.25));
    }

    #[test]
    fn what_is_no_such_table_is_told_with_the_day() {
        let told = |table: &str| read(table.as_bytes()).unwrap_err();
        assert!(told("date,mean\n2027-04-12,8\n2027-04-14,8\n").starts_with("2027-04-14 follows 2027-04-12"));
        assert!(told("date,minimum\n2027-04-12,8\n").contains("2027-04-12 has neither"));
        assert!(told("date,minimum,maximum\n2027-04-12,8,3\n").contains("above its maximum"));
        assert!(told("date,mean\n2027-04-12,81\n").contains("outside"));
        assert!(told("date,mean\n12.4.2027,8\n").contains("line: 2"));
        assert!(told("mean\n8\n").contains("date"));
        assert_eq!(told("date,mean\n"), "it has no days");
    }
}
