//! For tests: values of every element's type, drawn from a seed, so that one property covers all.

use super::*;
use proptest::prelude::*;

/// Draws numbers; the same seed gives the same values.
pub struct Source {
    state: u64,
    depth: usize,
}

/// A type that values can be drawn of.
pub trait Sample {
    /// One value.
    fn sample(source: &mut Source) -> Self;
}

impl Source {
    pub const fn new(seed: u64) -> Self {
        Self { state: seed, depth: 0 }
    }
    /// `SplitMix64` (Steele, Lea and Flood 2014).
    pub const fn number(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mixed = (self.state ^ (self.state >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }
    pub const fn below(&mut self, end: usize) -> usize {
        (self.number() % end as u64) as usize
    }
    pub fn value<T: Sample>(&mut self) -> T {
        T::sample(self)
    }
    pub fn option<T: Sample>(&mut self) -> Option<T> {
        (self.below(2) == 0).then(|| self.value())
    }
    /// Short, and empty far from the root, since elements may contain their own kind.
    pub fn list<T: Sample>(&mut self) -> Vec<T> {
        let length = if self.depth < 6 { self.below(3) } else { 0 };
        self.depth += 1;
        let list = (0..length).map(|_| self.value()).collect();
        self.depth -= 1;
        list
    }
    fn degrees(&mut self, size: f64) -> f64 {
        (self.number() as f64 / u64::MAX as f64 * 2.0 - 1.0) * size
    }
}

macro_rules! samples {
    ($($type:ty = |$source:ident| $value:expr;)+) => {
        $(impl Sample for $type {
            fn sample($source: &mut Source) -> Self {
                $value
            }
        })+
    };
}

samples! {
    u8 = |s| s.number() as u8;
    u16 = |s| s.number() as u16;
    u32 = |s| s.number() as u32;
    i32 = |s| s.number() as i32;
    Latitude = |s| Latitude::nearest(s.degrees(90.0)).unwrap();
    Longitude = |s| Longitude::nearest(s.degrees(180.0)).unwrap();
    Bearing = |s| Bearing::nearest(s.degrees(360.0).abs()).unwrap();
    Accuracy = |s| Accuracy::nearest(s.degrees(65.0).abs()).unwrap();
    Dilution = |s| Dilution::nearest(s.degrees(99.9).abs()).unwrap();
    CellSize = |s| CellSize::nearest(s.degrees(1.0).abs()).unwrap();
    Scale = |s| Scale::nearest(s.degrees(1e8).abs().max(1e-9)).unwrap();
    Ddi = |s| Ddi(s.value());
    ClientName = |s| ClientName(s.number());
    LocalizationLabel = |_s| LocalizationLabel::ENGLISH;
    StructureLabel = |s| StructureLabel::new(&s.number().to_be_bytes().map(|b| b & 0x7F)).unwrap();
    LocalTime = |s| {
        let seconds = i64::from(s.value::<i32>());
        LocalTime(chrono::DateTime::from_timestamp(seconds, 0).unwrap().naive_utc())
    };
    LogMethods = |s| LogMethods::from_text(&s.below(32).to_string()).unwrap();
    DataProperties = |s| DataProperties::from_text(&s.below(8).to_string()).unwrap();
    ObjectRef = |s| if s.below(2) == 0 { s.value::<PartfieldId>().into() } else { s.value::<TaskId>().into() };
}

impl<const MAX: usize> Sample for Text<MAX> {
    fn sample(source: &mut Source) -> Self {
        const LETTERS: [char; 12] = ['a', 'Z', '7', ' ', '<', '>', '&', '"', '\'', 'é', 'ß', '🌾'];
        let length = source.below(MAX + 1);
        let text: String = (0..length).map(|_| LETTERS[source.below(LETTERS.len())]).collect();
        Self::cut(&text).text
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn a_task_data_set_survives_its_xml(seed in any::<u64>()) {
        let set: TaskData = Source::new(seed).value();
        prop_assert_eq!(read::<TaskData>(&write(&set)), Ok(set));
    }

    #[test]
    fn a_link_list_survives_its_xml(seed in any::<u64>()) {
        let list: LinkList = Source::new(seed).value();
        prop_assert_eq!(read::<LinkList>(&write(&list)), Ok(list));
    }

    #[test]
    fn any_text_is_read_or_refused(text in "[<>/A-Z=\"'& \n]*") {
        let _ = read::<TaskData>(&text);
    }
}
