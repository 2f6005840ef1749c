//! The summary's words on the release of the seed: how long it falls, how far ahead it is let go, and
//! how fast the machine may drive.

use super::super::words;
use super::document::Block;
use crate::check::{Machine, Spacing};
use crate::operations::{Release, RowRelease};
use lanewright_schema::quantity::{Length, Speed};

/// What holds for all rows.
pub fn told(machine: &Machine, spacing: &Spacing, release: &Release) -> Block {
    let metering = &machine.metering;
    let ms = |seconds: f64| words::decimal(seconds * 1000.0, 0);
    let busiest = release.rows.iter().map(|row| row.seeds_per_s).fold(0.0, f64::max);
    let straight = Length::m(machine.working_speed.to_m_per_s() * release.flight.to_s());
    let mut rows = vec![
        (
            "From command to landing".to_owned(),
            format!(
                "{} ms: a fall of {} after a gate delay of {} ms",
                ms(release.flight.to_s()),
                words::measure(metering.drop_height),
                ms(metering.gate_delay.to_s())
            ),
        ),
        (
            "Let go ahead of its place".to_owned(),
            format!("{} mm on straight lanes, at {}", mm(straight), words::speed(machine.working_speed)),
        ),
        ("Busiest row".to_owned(), feed(busiest, metering.highest_rate)),
    ];
    rows.extend(release.fed_up_to.map(|speed| ("Fed up to".to_owned(), rounded_down(speed))));
    if let (Some(wanted), Some(speed)) = (spacing.precision, release.precise_up_to) {
        let held = format!("{}, seeds within {} mm along the row", rounded_down(speed), mm(wanted));
        rows.push(("Precise up to".to_owned(), held));
    }
    Block::Facts { rows }
}

fn feed(busiest: f64, highest: Option<f64>) -> String {
    let of = highest.map_or_else(String::new, |most| {
        format!(", of {} that its metering unit gives", words::short(most, 1))
    });
    format!("{} seeds a second at most{of}", words::decimal(busiest, 1))
}

/// Row by row, where lanes bend.
pub fn bends(release: &Release) -> Option<Block> {
    let bent = |row: &RowRelease| row.pace[1] - row.pace[0] > 0.001;
    if !release.rows.iter().any(bent) {
        return None;
    }
    let rows = release.rows.iter().enumerate().map(|(index, row)| {
        vec![
            (index + 1).to_string(),
            range(mm(row.lead[0]), &mm(row.lead[1])),
            words::decimal(row.seeds_per_s, 1),
        ]
    });
    Some(Block::table(&["Tool row", "Let go ahead, mm", "Seeds a second at most"], 1, rows.collect()))
}

fn range(least: String, most: &str) -> String {
    if least == most { least } else { format!("{least} to {most}") }
}

fn mm(length: Length) -> String {
    words::decimal(length.to_mm(), 0)
}

/// A limit is never rounded up.
fn rounded_down(speed: Speed) -> String {
    words::speed(Speed::km_per_h((speed.to_km_per_h() * 100.0).floor() / 100.0))
}
