//! What an attribute can hold: bounded text, decimals, positions, hexadecimal names, times, and
//! the integers of the standard.
//!
//! Each type turns into the text of an XML attribute and back without loss.

use chrono::NaiveDateTime;

/// A value that stands in an attribute.
pub trait Attribute: Sized {
    /// As the attribute's text, not yet escaped.
    fn to_text(&self) -> String;
    /// From the attribute's text, or what is wrong with it.
    fn from_text(text: &str) -> Result<Self, String>;
}

macro_rules! integers {
    ($($type:ty)+) => { $(
        impl Attribute for $type {
            fn to_text(&self) -> String {
                self.to_string()
            }
            fn from_text(text: &str) -> Result<Self, String> {
                text.trim().parse().map_err(|_| {
                    format!("`{text}` is not a whole number from {} to {}", Self::MIN, Self::MAX)
                })
            }
        }
    )+ };
}
integers!(u8 u16 u32 i32);

/// Text of at most `MAX` characters.
///
/// XML has no control characters and attributes no line ends, so each becomes a space.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Text<const MAX: usize>(String);

/// A text made to fit, and what that cost.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cut<const MAX: usize> {
    /// What fits.
    pub text: Text<MAX>,
    /// Characters lost at its end.
    pub lost: usize,
}

impl<const MAX: usize> Text<MAX> {
    /// The beginning that fits, cut between two characters.
    pub fn cut(text: &str) -> Cut<MAX> {
        let kept = text.chars().take(MAX).map(|c| if allowed(c) { c } else { ' ' }).collect();
        Cut { text: Self(kept), lost: text.chars().count().saturating_sub(MAX) }
    }
    /// The text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

fn allowed(c: char) -> bool {
    !c.is_control() && !matches!(c, '\u{FFFE}' | '\u{FFFF}')
}

impl<const MAX: usize> Attribute for Text<MAX> {
    fn to_text(&self) -> String {
        self.0.clone()
    }
    fn from_text(text: &str) -> Result<Self, String> {
        let cut = Self::cut(text);
        if cut.lost == 0 {
            Ok(cut.text)
        } else {
            Err(format!("`{text}` is {} characters too long, {MAX} are allowed", cut.lost))
        }
    }
}

/// A decimal number with nine places, kept as a count of billionths so that it is written and read
/// without loss and never with an exponent.
#[derive(Copy, Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Decimal(i64);

const BILLION: i64 = 1_000_000_000;

impl Decimal {
    /// From a count of billionths.
    pub const fn billionths(count: i64) -> Self {
        Self(count)
    }
    /// The nearest decimal; beyond ±9.2 × 10⁹ the last that there is.
    pub fn nearest(value: f64) -> Self {
        Self((value * 1e9).round() as i64)
    }
    /// The value.
    pub fn to_f64(self) -> f64 {
        self.0 as f64 / 1e9
    }
    /// With all nine places.
    fn full(self) -> String {
        let sign = if self.0 < 0 { "-" } else { "" };
        let size = self.0.unsigned_abs();
        let billion = BILLION.unsigned_abs();
        format!("{sign}{}.{:09}", size / billion, size % billion)
    }
}

impl Attribute for Decimal {
    fn to_text(&self) -> String {
        let full = self.full();
        full.trim_end_matches('0').trim_end_matches('.').to_owned()
    }
    fn from_text(text: &str) -> Result<Self, String> {
        let text = text.trim();
        exact_decimal(text)
            .or_else(|| rounded_decimal(text))
            .ok_or_else(|| format!("`{text}` is not a number"))
    }
}

/// A plain decimal with up to nine places, digit by digit.
fn exact_decimal(text: &str) -> Option<Decimal> {
    let (negative, digits) = match text.strip_prefix('-') {
        Some(rest) => (true, rest),
        None => (false, text.strip_prefix('+').unwrap_or(text)),
    };
    let (whole, places) = digits.split_once('.').unwrap_or((digits, ""));
    let all_digits = whole.bytes().chain(places.bytes()).all(|b| b.is_ascii_digit());
    if whole.len() + places.len() == 0 || places.len() > 9 || !all_digits {
        return None;
    }
    let whole: i64 = if whole.is_empty() { 0 } else { whole.parse().ok()? };
    let places: i64 = format!("{places:0<9}").parse().ok()?;
    let size = whole.checked_mul(BILLION)?.checked_add(places)?;
    Some(Decimal(if negative { -size } else { size }))
}

/// More places than nine, or an exponent: other writers give both.
fn rounded_decimal(text: &str) -> Option<Decimal> {
    let value: f64 = text.parse().ok()?;
    (value.abs() < 9.2e9).then(|| Decimal::nearest(value))
}

macro_rules! bounded_decimal {
    ($(#[$doc:meta])* $name:ident $min:literal $max:literal $to_text:ident) => {
        $(#[$doc])*
        #[derive(Copy, Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(Decimal);

        impl $name {
            #[doc = concat!("The nearest value; none outside ", $min, " to ", $max, ".")]
            pub fn nearest(value: f64) -> Option<Self> {
                ($min..=$max).contains(&value).then(|| Self(Decimal::nearest(value)))
            }
            /// The value.
            pub fn to_f64(self) -> f64 {
                self.0.to_f64()
            }
        }

        impl Attribute for $name {
            fn to_text(&self) -> String {
                self.0.$to_text()
            }
            fn from_text(text: &str) -> Result<Self, String> {
                let decimal = Decimal::from_text(text)?;
                Self::nearest(decimal.to_f64())
                    .map(|_| Self(decimal))
                    .ok_or_else(|| format!("`{text}` is not between {} and {}", $min, $max))
            }
        }
    };
}

bounded_decimal! {
    /// Degrees north, to 0.11 mm.
    Latitude -90.0 90.0 full
}
bounded_decimal! {
    /// Degrees east, to 0.11 mm at the equator.
    Longitude -180.0 180.0 full
}
bounded_decimal! {
    /// A compass direction in degrees clockwise from north.
    Bearing 0.0 360.0 to_text
}
bounded_decimal! {
    /// Accuracy as a root mean square, metres.
    Accuracy 0.0 65.0 to_text
}
bounded_decimal! {
    /// A dilution of precision.
    Dilution 0.0 99.9 to_text
}
bounded_decimal! {
    /// The size of a grid's cell, degrees.
    CellSize 0.0 1.0 to_text
}
bounded_decimal! {
    /// What a raw value is multiplied by to be shown.
    Scale 0.000_000_001 100_000_000.0 to_text
}

/// The number of an entry of the data dictionary, four hexadecimal digits.
#[derive(Copy, Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Ddi(pub u16);

impl Attribute for Ddi {
    fn to_text(&self) -> String {
        format!("{:04X}", self.0)
    }
    fn from_text(text: &str) -> Result<Self, String> {
        hex_bytes(text).map(u16::from_be_bytes).map(Self)
    }
}

/// The 64-bit NAME of a control function, or a mask over one; most significant byte first.
#[derive(Copy, Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ClientName(pub u64);

impl Attribute for ClientName {
    fn to_text(&self) -> String {
        format!("{:016X}", self.0)
    }
    fn from_text(text: &str) -> Result<Self, String> {
        hex_bytes(text).map(u64::from_be_bytes).map(Self)
    }
}

/// The label of a device description's language, as the standard prints it: byte 7 (always FF)
/// first, byte 1 last.
#[derive(Copy, Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct LocalizationLabel([u8; 7]);

impl LocalizationLabel {
    /// English, a point before decimals, metric units.
    pub const ENGLISH: Self = Self([0xFF, 0x00, 0x00, 0x00, 0x40, b'n', b'e']);
}

impl Attribute for LocalizationLabel {
    fn to_text(&self) -> String {
        hex_text(&self.0)
    }
    fn from_text(text: &str) -> Result<Self, String> {
        hex_bytes(text).map(Self)
    }
}

/// The label by which a device description's structure is recognised: 7 to 39 bytes, none of the
/// first seven FF.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct StructureLabel(Vec<u8>);

impl StructureLabel {
    /// From its bytes, if they are a label.
    pub fn new(bytes: &[u8]) -> Option<Self> {
        let fits = (7..=39).contains(&bytes.len()) && !bytes[..7].contains(&0xFF);
        fits.then(|| Self(bytes.to_vec()))
    }
}

impl Attribute for StructureLabel {
    fn to_text(&self) -> String {
        hex_text(&self.0)
    }
    fn from_text(text: &str) -> Result<Self, String> {
        hex_vec(text)
            .and_then(|bytes| Self::new(&bytes))
            .ok_or_else(|| format!("`{text}` is not a label of 7 to 39 bytes"))
    }
}

fn hex_text(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |text, byte| text + &format!("{byte:02X}"))
}

fn hex_vec(text: &str) -> Option<Vec<u8>> {
    if !text.len().is_multiple_of(2) || !text.bytes().all(|b| b.is_ascii_hexdigit()) {
        return None;
    }
    (0..text.len()).step_by(2).map(|i| u8::from_str_radix(&text[i..i + 2], 16).ok()).collect()
}

fn hex_bytes<const N: usize>(text: &str) -> Result<[u8; N], String> {
    hex_vec(text)
        .and_then(|bytes| bytes.try_into().ok())
        .ok_or_else(|| format!("`{text}` is not {} hexadecimal digits", 2 * N))
}

/// A local date and time, to the second.
#[derive(Copy, Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct LocalTime(pub NaiveDateTime);

impl Attribute for LocalTime {
    fn to_text(&self) -> String {
        self.0.format("%Y-%m-%dT%H:%M:%S").to_string()
    }
    /// A fraction of a second is dropped; so is a time zone, since the standard's times are local.
    fn from_text(text: &str) -> Result<Self, String> {
        text.get(..19)
            .and_then(|start| NaiveDateTime::parse_from_str(start, "%Y-%m-%dT%H:%M:%S").ok())
            .map(Self)
            .ok_or_else(|| format!("`{text}` is not a time such as 2026-04-01T08:00:00"))
    }
}

/// What a sum of single bits means: when a value is logged.
#[derive(Copy, Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct LogMethods(u8);

impl LogMethods {
    /// At fixed times.
    pub const TIME: Self = Self(1);
    /// At fixed distances.
    pub const DISTANCE: Self = Self(2);
    /// When it passes a threshold.
    pub const THRESHOLD: Self = Self(4);
    /// When it changes.
    pub const CHANGE: Self = Self(8);
    /// As a total at the end.
    pub const TOTAL: Self = Self(16);

    /// Both.
    #[must_use]
    pub const fn and(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }
    /// Whether all of these are among them.
    pub const fn has(self, other: Self) -> bool {
        self.0 & other.0 == other.0
    }
}

impl Attribute for LogMethods {
    fn to_text(&self) -> String {
        self.0.to_string()
    }
    fn from_text(text: &str) -> Result<Self, String> {
        match u8::from_text(text)? {
            sum @ 0..=31 => Ok(Self(sum)),
            sum => Err(format!("`{sum}` is more than all methods together, 31")),
        }
    }
}

/// What a sum of single bits means: what may be done with a device's value.
#[derive(Copy, Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct DataProperties(u8);

impl DataProperties {
    /// Nothing but read.
    pub const READ: Self = Self(0);
    /// Part of the device's default set of logged values.
    pub const DEFAULT_SET: Self = Self(1);
    /// Can be set by a task.
    pub const SETTABLE: Self = Self(2);

    /// Both.
    #[must_use]
    pub const fn and(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }
}

impl Attribute for DataProperties {
    fn to_text(&self) -> String {
        self.0.to_string()
    }
    fn from_text(text: &str) -> Result<Self, String> {
        match u8::from_text(text)? {
            sum @ 0..=7 => Ok(Self(sum)),
            sum => Err(format!("`{sum}` is more than all properties together, 7")),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn text_is_cut_between_characters_and_tells() {
        let cut = Text::<32>::cut(&"é".repeat(40));
        assert_eq!((cut.text.as_str().chars().count(), cut.lost), (32, 8));
        assert_eq!(Text::<4>::cut("a\nb\u{0}").text.as_str(), "a b ");
        assert!(Text::<4>::from_text("abcde").is_err());
    }

    #[test]
    fn decimals_have_at_most_nine_places_and_no_exponent() {
        assert_eq!(Decimal::nearest(1e-7).to_text(), "0.0000001");
        assert_eq!(Decimal::nearest(-0.25).to_text(), "-0.25");
        assert_eq!(Decimal::nearest(-1e-12).to_text(), "0");
        assert_eq!(Latitude::nearest(52.1).unwrap().to_text(), "52.100000000");
        assert_eq!(Decimal::from_text("1.25e1"), Ok(Decimal::nearest(12.5)));
        assert_eq!(Decimal::from_text("52.12345678949"), Ok(Decimal::billionths(52_123_456_789)));
        for text in ["", "-", ".", "1,5", "1.2.3", "NaN", "inf", "1e300"] {
            assert!(Decimal::from_text(text).is_err(), "{text}");
        }
    }

    #[test]
    fn positions_off_the_globe_are_refused() {
        assert_eq!(Latitude::nearest(90.000_000_001), None);
        assert!(Longitude::from_text("180.1").is_err());
        assert_eq!(Longitude::nearest(f64::NAN), None);
    }

    #[test]
    fn hexadecimal_values_have_their_full_length() {
        assert_eq!(Ddi(11).to_text(), "000B");
        assert!(Ddi::from_text("11").is_err());
        assert!(Ddi::from_text("+00B").is_err());
        assert_eq!(LocalizationLabel::ENGLISH.to_text(), "FF000000406E65");
        assert_eq!(StructureLabel::new(b"000000"), None);
        assert_eq!(StructureLabel::new(&[0xFF; 7]), None);
    }

    #[test]
    fn a_time_has_seconds_and_loses_its_zone() {
        let time = LocalTime::from_text("2026-04-01T08:00:00.000+02:00").unwrap();
        assert_eq!(time.to_text(), "2026-04-01T08:00:00");
        assert!(LocalTime::from_text("2026-04-01T08:00").is_err());
    }

    proptest! {
        #[test]
        fn decimals_survive_text(count in -180_000_000_000_i64..=180_000_000_000) {
            let decimal = Decimal::billionths(count);
            prop_assert_eq!(Decimal::from_text(&decimal.to_text()), Ok(decimal));
            prop_assert_eq!(Decimal::from_text(&decimal.full()), Ok(decimal));
            prop_assert_eq!(Decimal::nearest(decimal.to_f64()), decimal);
        }

        #[test]
        fn any_text_is_read_without_a_panic(text in "\\PC*") {
            let _ = Decimal::from_text(&text);
            let _ = Ddi::from_text(&text);
            let _ = StructureLabel::from_text(&text);
            let _ = LocalTime::from_text(&text);
        }
    }
}
