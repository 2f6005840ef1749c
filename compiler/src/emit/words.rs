//! Figures in words for people: units, thousands separators, dates spelt.
//!
//! In: quantities. Out: English text. Plain decimals are for programs and stand elsewhere.

use chrono::NaiveDate;
use lanewright_schema::quantity::{Area, GeoPoint, Length, Mass, Speed, Time};

/// A whole number with commas between thousands.
pub fn count(value: u64) -> String {
    let digits = value.to_string();
    let mut grouped = String::with_capacity(digits.len() + digits.len() / 3);
    for (i, digit) in digits.chars().enumerate() {
        if i > 0 && (digits.len() - i).is_multiple_of(3) {
            grouped.push(',');
        }
        grouped.push(digit);
    }
    grouped
}

/// A whole number of things, `1 lane`, `2 lanes`.
pub fn counted(value: u64, one: &str) -> String {
    if value == 1 { format!("1 {one}") } else { format!("{} {one}s", count(value)) }
}

/// A decimal with commas between thousands.
pub fn decimal(value: f64, decimals: usize) -> String {
    let text = format!("{:.decimals$}", value.abs());
    let (whole, fraction) = text.split_once('.').map_or((text.as_str(), ""), |(w, f)| (w, f));
    let whole = whole.parse().map_or_else(|_| whole.to_owned(), count);
    let negative = value < 0.0 && text.bytes().any(|b| (b'1'..=b'9').contains(&b));
    let (sign, point) = (if negative { "−" } else { "" }, if fraction.is_empty() { "" } else { "." });
    format!("{sign}{whole}{point}{fraction}")
}

/// A decimal without idle zeros at its end.
pub fn short(value: f64, decimals: usize) -> String {
    let text = decimal(value, decimals);
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// Hectares from a tenth on, else square metres.
pub fn area(area: Area) -> String {
    if area.to_ha() >= 0.1 {
        format!("{} ha", decimal(area.to_ha(), 2))
    } else if area.to_m2() >= 10.0 {
        format!("{} m²", decimal(area.to_m2(), 0))
    } else {
        format!("{} m²", decimal(area.to_m2(), 1))
    }
}

/// A distance driven: kilometres from one on, else metres.
pub fn distance(length: Length) -> String {
    if length.to_m() >= 1000.0 {
        format!("{} km", decimal(length.to_m() / 1000.0, 1))
    } else {
        format!("{} m", decimal(length.to_m(), 0))
    }
}

/// A measure of a machine or a crop: metres from one on, else centimetres.
pub fn measure(length: Length) -> String {
    if length.abs().to_m() >= 1.0 {
        format!("{} m", short(length.to_m(), 2))
    } else {
        format!("{} cm", short(length.to_cm(), 1))
    }
}

/// Hours and minutes, to the minute.
pub fn duration(time: Time) -> String {
    let minutes = time.to_min().round() as u64;
    match (minutes / 60, minutes % 60) {
        (0, minutes) => format!("{minutes} min"),
        (hours, 0) => format!("{} h", count(hours)),
        (hours, minutes) => format!("{} h {minutes:02} min", count(hours)),
    }
}

/// Kilograms, or grams below one.
pub fn mass(mass: Mass) -> String {
    if mass.to_kg() >= 1.0 {
        format!("{} kg", decimal(mass.to_kg(), 2))
    } else {
        format!("{} g", decimal(mass.to_g(), 0))
    }
}

/// Kilometres an hour.
pub fn speed(speed: Speed) -> String {
    format!("{} km/h", short(speed.to_km_per_h(), 2))
}

/// A share in per cent.
pub fn percent(share: f64) -> String {
    format!("{} %", decimal(share * 100.0, 1))
}

/// A day, spelt.
pub fn date(day: NaiveDate) -> String {
    day.format("%A, %-d %B %Y").to_string()
}

/// A place, to a centimetre.
pub fn place(place: GeoPoint) -> String {
    let part = |value: f64, positive: &str, negative: &str| {
        format!("{:.7}° {}", value.abs(), if value < 0.0 { negative } else { positive })
    };
    format!("{}, {}", part(place.latitude, "N", "S"), part(place.longitude, "E", "W"))
}

/// A list with commas and a last `and`.
pub fn list(items: &[String]) -> String {
    match items {
        [] => String::new(),
        [only] => only.clone(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thousands_are_told_apart() {
        let told: Vec<String> = [0, 999, 1000, 1_234_567].into_iter().map(count).collect();
        assert_eq!(told, ["0", "999", "1,000", "1,234,567"]);
        assert_eq!(decimal(-12_345.678, 1), "−12,345.7");
        assert_eq!(decimal(-0.04, 1), "0.0");
        assert_eq!((short(2.70, 2), short(100.0, 0)), ("2.7".into(), "100".into()));
    }

    #[test]
    fn each_quantity_takes_the_unit_that_reads_best() {
        assert_eq!(area(Area::ha(4.031)), "4.03 ha");
        assert_eq!(area(Area::m2(812.6)), "813 m²");
        assert_eq!(distance(Length::m(999.4)), "999 m");
        assert_eq!(distance(Length::m(15_320.0)), "15.3 km");
        assert_eq!(measure(Length::cm(37.5)), "37.5 cm");
        assert_eq!(duration(Time::min_(61.4)), "1 h 01 min");
        assert_eq!(duration(Time::h(14.0)), "14 h");
        assert_eq!(mass(Mass::g(321.4)), "321 g");
    }

    #[test]
    fn dates_and_places_are_spelt() {
        assert_eq!(date(NaiveDate::from_ymd_opt(2027, 4, 12).unwrap()), "Monday, 12 April 2027");
        let south_west = GeoPoint { longitude: -27.400_794_58, latitude: -8.5 };
        assert_eq!(place(south_west), "8.5000000° S, 27.4007946° W");
    }
}
