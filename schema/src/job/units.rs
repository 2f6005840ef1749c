//! Quantities as a job writes them: a number and its unit in one text, `"45 cm"`.
//!
//! In: a text. Out: the quantity, or what is wrong with it. The unit is compulsory because a bare
//! `45` is read as centimetres by one person and as metres by the next.

use crate::quantity::{Angle, AngularSpeed, Heading, Length, Mass, Speed, Temperature, ThermalTime, Time};

/// A unit: how it is written, and how many SI units (or degrees, or whole shares) one of it is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unit {
    /// As written.
    pub symbol: &'static str,
    /// Its size in the quantity's base unit.
    pub size: f64,
}

const fn unit(symbol: &'static str, size: f64) -> Unit {
    Unit { symbol, size }
}

/// A quantity that a job can write.
pub trait Quantity: Sized {
    /// In words, with its article: `a length`.
    const NAME: &'static str;
    /// The units that it may be written in, smallest first.
    const UNITS: &'static [Unit];
    /// From the value in the base unit.
    fn from_base(value: f64) -> Self;
}

impl Quantity for Length {
    const NAME: &'static str = "a length";
    const UNITS: &'static [Unit] = &[unit("mm", 0.001), unit("cm", 0.01), unit("m", 1.0), unit("km", 1000.0)];
    fn from_base(value: f64) -> Self {
        Self::m(value)
    }
}

impl Quantity for Speed {
    const NAME: &'static str = "a speed";
    const UNITS: &'static [Unit] = &[unit("km/h", 1.0 / 3.6), unit("m/s", 1.0)];
    fn from_base(value: f64) -> Self {
        Self::m_per_s(value)
    }
}

impl Quantity for AngularSpeed {
    const NAME: &'static str = "an angular speed";
    const UNITS: &'static [Unit] = &[unit("deg/s", std::f64::consts::PI / 180.0), unit("rad/s", 1.0)];
    fn from_base(value: f64) -> Self {
        Self::rad_per_s(value)
    }
}

impl Quantity for Mass {
    const NAME: &'static str = "a mass";
    const UNITS: &'static [Unit] = &[unit("mg", 1e-6), unit("g", 0.001), unit("kg", 1.0), unit("t", 1000.0)];
    fn from_base(value: f64) -> Self {
        Self::kg(value)
    }
}

impl Quantity for Time {
    const NAME: &'static str = "a time";
    const UNITS: &'static [Unit] = &[unit("ms", 0.001), unit("s", 1.0), unit("min", 60.0), unit("h", 3600.0)];
    fn from_base(value: f64) -> Self {
        Self::s(value)
    }
}

impl Quantity for Angle {
    const NAME: &'static str = "an angle";
    const UNITS: &'static [Unit] = &[unit("deg", 1.0)];
    fn from_base(value: f64) -> Self {
        Self::deg(value)
    }
}

impl Quantity for Heading {
    const NAME: &'static str = "a heading clockwise from north";
    const UNITS: &'static [Unit] = &[unit("deg", 1.0)];
    fn from_base(value: f64) -> Self {
        Self::degrees(value)
    }
}

impl Quantity for Temperature {
    const NAME: &'static str = "a temperature";
    const UNITS: &'static [Unit] = &[unit("°C", 1.0)];
    fn from_base(value: f64) -> Self {
        Self::celsius(value)
    }
}

impl Quantity for ThermalTime {
    const NAME: &'static str = "a thermal time";
    const UNITS: &'static [Unit] = &[unit("°C d", 1.0)];
    fn from_base(value: f64) -> Self {
        Self::degree_days(value)
    }
}

/// A share of a whole, written in per cent and kept as a ratio.
#[derive(Copy, Clone, Debug, PartialEq, PartialOrd)]
pub struct Share(f64);

impl Share {
    /// One is the whole.
    pub const fn ratio(self) -> f64 {
        self.0
    }
}

impl Quantity for Share {
    const NAME: &'static str = "a share";
    const UNITS: &'static [Unit] = &[unit("%", 0.01)];
    fn from_base(value: f64) -> Self {
        Self(value)
    }
}

/// Why a text is not the quantity.
#[derive(Clone, Debug, PartialEq)]
pub enum NotQuantity {
    /// A number and nothing else.
    BareNumber(f64),
    /// A number with a unit that this quantity does not have.
    WrongUnit {
        /// The number as written.
        number: f64,
        /// The unit as written.
        unit: String,
    },
    /// The number has a decimal comma.
    DecimalComma,
    /// No number at its head, or one that is not finite.
    NoNumber,
}

/// Reads a quantity, `"45 cm"`; the space is optional.
pub fn parse<Q: Quantity>(text: &str) -> Result<Q, NotQuantity> {
    let text = text.trim();
    let (number, symbol) = split(text);
    let Ok(value) = number.parse::<f64>() else {
        let comma = number.is_empty() || !text.contains(',');
        return Err(if comma { NotQuantity::NoNumber } else { NotQuantity::DecimalComma });
    };
    if symbol.starts_with(',') {
        return Err(NotQuantity::DecimalComma);
    }
    if symbol.is_empty() {
        return Err(NotQuantity::BareNumber(value));
    }
    match Q::UNITS.iter().find(|unit| unit.symbol == symbol) {
        Some(unit) => {
            let base = scaled(number, value, unit.size);
            if base.is_finite() { Ok(Q::from_base(base)) } else { Err(NotQuantity::NoNumber) }
        }
        None => Err(NotQuantity::WrongUnit { number: value, unit: symbol.to_owned() }),
    }
}

/// The number with a unit that makes it about as large as the example, for a hint.
pub fn suggest<Q: Quantity>(number: f64, example: &str) -> String {
    let (example_number, example_unit) = split(example.trim());
    let size = |symbol: &str| Q::UNITS.iter().find(|unit| unit.symbol == symbol).map(|unit| unit.size);
    let target = example_number.parse::<f64>().ok().zip(size(example_unit)).map(|(n, s)| (n * s).abs());
    let likeness = |unit: &Unit| {
        let magnitude = (number * unit.size).abs();
        let (low, high) = match target {
            Some(target) if target > 0.0 && magnitude > 0.0 => (magnitude.min(target), magnitude.max(target)),
            _ => (unit.size.min(1.0), unit.size.max(1.0)),
        };
        high / low
    };
    let best = Q::UNITS.iter().min_by(|a, b| likeness(a).total_cmp(&likeness(b)));
    best.map_or_else(|| number.to_string(), |unit| format!("{number} {}", unit.symbol))
}

/// All units of a quantity for a sentence: `mm, cm, m or km`.
pub fn list<Q: Quantity>() -> String {
    let symbols: Vec<&str> = Q::UNITS.iter().map(|unit| unit.symbol).collect();
    match symbols.split_last() {
        Some((last, [])) => (*last).to_owned(),
        Some((last, rest)) => format!("{} or {last}", rest.join(", ")),
        None => String::new(),
    }
}

/// Splits off the longest head that reads as a number; no number in a job has 40 digits.
fn split(text: &str) -> (&str, &str) {
    let end = (1..=text.len().min(40))
        .rev()
        .filter(|&end| text.is_char_boundary(end) && !text[..end].ends_with(char::is_whitespace))
        .find(|&end| text.as_bytes()[end - 1].is_ascii_digit() && text[..end].parse::<f64>().is_ok())
        .unwrap_or(0);
    (&text[..end], text[end..].trim_start())
}

/// The number times the unit's size. Where the size is a power of ten the decimal point is moved
/// in the text, so that `"45 cm"` is the very same number as `"0.45 m"`.
fn scaled(number: &str, value: f64, size: f64) -> f64 {
    const TENS: [(f64, &str); 4] = [(1e-6, "e-6"), (0.001, "e-3"), (0.01, "e-2"), (1000.0, "e3")];
    let moved = TENS
        .iter()
        .find(|(ten, _)| ten.total_cmp(&size).is_eq())
        .map(|(_, exponent)| format!("{number}{exponent}"));
    moved.and_then(|text| text.parse().ok()).unwrap_or(value * size)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_every_unit_with_and_without_the_space() {
        assert_eq!(parse::<Length>("45 cm"), Ok(Length::m(0.45)));
        assert_eq!(parse::<Length>("45cm"), parse("0.45 m"));
        assert_eq!(parse::<Length>(" -1.2 m "), Ok(Length::m(-1.2)));
        assert_eq!(parse::<Length>("7 mm"), Ok(Length::m(0.007)));
        assert_eq!(parse::<Length>("2 km"), Ok(Length::m(2000.0)));
        assert_eq!(parse::<Speed>("3.6 km/h").map(Speed::to_m_per_s), Ok(1.0));
        assert_eq!(parse::<Mass>("4.2 g"), Ok(Mass::kg(0.0042)));
        assert_eq!(parse::<Time>("10 h"), Ok(Time::s(36_000.0)));
        assert_eq!(parse::<Share>("92 %").map(Share::ratio), Ok(0.92));
        assert_eq!(parse::<Temperature>("-2.5 °C"), Ok(Temperature::celsius(-2.5)));
        assert_eq!(parse::<ThermalTime>("90 °C d"), Ok(ThermalTime::degree_days(90.0)));
        assert_eq!(parse::<Heading>("-90 deg").map(Heading::to_degrees), Ok(270.0));
    }

    #[test]
    fn tells_what_is_wrong() {
        assert_eq!(parse::<Length>("45"), Err(NotQuantity::BareNumber(45.0)));
        assert_eq!(parse::<Length>("45,5 cm"), Err(NotQuantity::DecimalComma));
        assert_eq!(parse::<Length>("cm"), Err(NotQuantity::NoNumber));
        assert_eq!(parse::<Length>("inf m"), Err(NotQuantity::NoNumber));
        assert_eq!(parse::<Length>(""), Err(NotQuantity::NoNumber));
        assert_eq!(parse::<Length>("3 kg"), Err(NotQuantity::WrongUnit { number: 3.0, unit: "kg".into() }));
    }

    #[test]
    fn suggests_the_unit_that_gives_the_likeliest_size() {
        assert_eq!(suggest::<Length>(45.0, "45 cm"), "45 cm");
        assert_eq!(suggest::<Length>(0.45, "45 cm"), "0.45 m");
        assert_eq!(suggest::<Length>(450.0, "45 cm"), "450 mm");
        assert_eq!(suggest::<Share>(92.0, "90 %"), "92 %");
        assert_eq!(list::<Length>(), "mm, cm, m or km");
    }

    proptest::proptest! {
        /// Any text is read or refused, never a panic.
        #[test]
        fn never_panics(text in ".*") {
            let _ = parse::<Length>(&text);
        }
    }
}
