//! The entries of the data dictionary (ISO 11783-11) that we use, with unit and resolution.
//!
//! Source: the public data dictionary, version 2025012101; numbers, units and resolutions only.

use super::value::Ddi;

/// An entry of the data dictionary.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Entry {
    /// Its number.
    pub ddi: Ddi,
    /// The unit that a raw value times the resolution is in; empty for a code.
    pub unit: &'static str,
    /// What one step of the raw value is worth.
    pub resolution: f64,
}

impl Entry {
    /// The raw value nearest to a value in the entry's unit; the last that there is beyond the
    /// 32-bit range.
    pub fn raw(&self, value: f64) -> i32 {
        (value / self.resolution).round() as i32
    }
    /// Whether a value has a raw value at all.
    pub fn holds(&self, value: f64) -> bool {
        let steps = (value / self.resolution).round();
        (f64::from(i32::MIN)..=f64::from(i32::MAX)).contains(&steps)
    }
    /// The value that a raw value stands for.
    pub fn value(&self, raw: i32) -> f64 {
        f64::from(raw) * self.resolution
    }
    /// The entry some places further on, for entries that the dictionary has in rows.
    #[must_use]
    pub const fn following(self, places: u16) -> Self {
        Self { ddi: Ddi(self.ddi.0 + places), ..self }
    }
}

macro_rules! dictionary {
    ($($(#[$doc:meta])* $name:ident = $ddi:literal, $unit:literal, $resolution:literal;)+) => {
        $(
            $(#[$doc])*
            #[doc = concat!("\n\nIn ", $resolution, " ", $unit, ".")]
            pub const $name: Entry = Entry { ddi: Ddi($ddi), unit: $unit, resolution: $resolution };
        )+

        /// All of them, in the order of their numbers.
        pub const ALL: &[Entry] = &[$($name,)+];
    };
}

dictionary! {
    /// Seeds per area to be sown.
    SETPOINT_COUNT_PER_AREA = 0x000B, "/m²", 0.001;
    /// Seeds per area being sown.
    ACTUAL_COUNT_PER_AREA = 0x000C, "/m²", 0.001;
    /// Distance between seeds to be kept.
    SETPOINT_SPACING = 0x0010, "mm", 1.0;
    /// Distance between seeds being kept.
    ACTUAL_SPACING = 0x0011, "mm", 1.0;
    /// Depth of tillage tools to be kept.
    SETPOINT_TILLAGE_DEPTH = 0x0033, "mm", 1.0;
    /// Depth of tillage tools being kept.
    ACTUAL_TILLAGE_DEPTH = 0x0034, "mm", 1.0;
    /// Seeding depth to be kept.
    SETPOINT_SEEDING_DEPTH = 0x0038, "mm", 1.0;
    /// Seeding depth being kept.
    ACTUAL_SEEDING_DEPTH = 0x0039, "mm", 1.0;
    /// Working width at the moment.
    ACTUAL_WORKING_WIDTH = 0x0043, "mm", 1.0;
    /// Largest working width.
    MAXIMUM_WORKING_WIDTH = 0x0046, "mm", 1.0;
    /// Mass to be filled in.
    SETPOINT_MASS_CONTENT = 0x004A, "g", 1.0;
    /// Mass that a bin holds when full.
    MAXIMUM_MASS_CONTENT = 0x004C, "g", 1.0;
    /// Seeds to be filled in.
    SETPOINT_COUNT_CONTENT = 0x004D, "#", 1.0;
    /// Seeds sown in the task.
    APPLICATION_TOTAL_COUNT = 0x0052, "#", 1.0;
    /// Area worked in the task.
    TOTAL_AREA = 0x0074, "m²", 1.0;
    /// Distance driven in the task with the tool working.
    EFFECTIVE_TOTAL_DISTANCE = 0x0075, "mm", 1.0;
    /// Distance driven in the task with the tool idle.
    INEFFECTIVE_TOTAL_DISTANCE = 0x0076, "mm", 1.0;
    /// Time in the task with the tool working.
    EFFECTIVE_TOTAL_TIME = 0x0077, "s", 1.0;
    /// Time in the task with the tool idle.
    INEFFECTIVE_TOTAL_TIME = 0x0078, "s", 1.0;
    /// Offset of a device element, positive forward.
    OFFSET_X = 0x0086, "mm", 1.0;
    /// Offset of a device element, positive to the right.
    OFFSET_Y = 0x0087, "mm", 1.0;
    /// Offset of a device element, positive down.
    OFFSET_Z = 0x0088, "mm", 1.0;
    /// Whether an element works: 0 off, 1 on, 2 error, 3 not installed.
    ACTUAL_WORK_STATE = 0x008D, "", 1.0;
    /// How a device is coupled.
    CONNECTOR_TYPE = 0x009D, "", 1.0;
    /// Work states of 16 elements, two bits each, leftmost lowest; further sixteens follow.
    ACTUAL_CONDENSED_WORK_STATE = 0x00A1, "", 1.0;
    /// Whether an element is to work: codes as for the actual work state.
    SETPOINT_WORK_STATE = 0x0121, "", 1.0;
    /// Speed to be kept.
    SETPOINT_SPEED = 0x018C, "mm/s", 1.0;
    /// Speed being driven.
    ACTUAL_SPEED = 0x018D, "mm/s", 1.0;
    /// Share of single seeds: the quality of feed index of ISO 7256-1.
    ACTUAL_SINGULATION = 0x019F, "ppm", 1.0;
    /// Share of missing seeds: the miss index of ISO 7256-1.
    ACTUAL_SKIP = 0x01A1, "ppm", 1.0;
    /// Share of multiple seeds: the multiples index of ISO 7256-1.
    ACTUAL_MULTIPLE = 0x01A3, "ppm", 1.0;
    /// Distance of the guidance line to the right of the reference point.
    GUIDANCE_LINE_DEVIATION = 0x0201, "mm", 1.0;
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::taskdata::Attribute;

    #[test]
    fn raw_values_are_counts_of_the_resolution() {
        // Public data dictionary: 1 is 0.001 seeds per square metre, so 8 of them are 8000.
        assert_eq!(SETPOINT_COUNT_PER_AREA.raw(8.0), 8000);
        assert_eq!(OFFSET_Y.raw(-171.4), -171);
        assert!((SETPOINT_COUNT_PER_AREA.value(12_346) - 12.346).abs() < 1e-12);
        assert!(!SETPOINT_COUNT_CONTENT.holds(3e9));
    }

    #[test]
    fn numbers_are_unique_and_in_order() {
        assert!(ALL.windows(2).all(|pair| pair[0].ddi < pair[1].ddi));
        assert_eq!(ACTUAL_CONDENSED_WORK_STATE.following(1).ddi.to_text(), "00A2");
    }
}
