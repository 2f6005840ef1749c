//! The summary's account of a weeding pass on one field.
//!
//! In: what the tools do. Out: what is worked and what it may cost in plants, the room of each tool row,
//! and one metre of row drawn to scale.

use super::super::words;
use super::document::Block;
use super::drawing;
use crate::check::{Direction, Field, Tools};
use crate::pipeline::FieldPlan;
use crate::season::{Emergence, Season};
use crate::weeding::Weeding;
use lanewright_schema::quantity::{Length, Temperature};

/// The blocks of a pass.
pub fn blocks(field: &Field, plan: &FieldPlan, weeding: &Weeding) -> Vec<Block> {
    let mut blocks = vec![
        facts(field, plan, weeding),
        Block::Drawing { svg: drawing::svg(&weeding.section), caption: drawing::caption(&weeding.section) },
    ];
    if weeding.section.plant_radius > Length::ZERO || weeding.section.clear > Length::ZERO {
        blocks.push(Block::text(
            "Room by tool row, from left to right. A plant stands within one deviation of the tool's place over \
             it in two cases out of three: the deviation of the seed map and that of this machine, their squares \
             added.",
        ));
        blocks.push(rows(weeding));
    }
    blocks
}

fn facts(field: &Field, plan: &FieldPlan, weeding: &Weeding) -> Block {
    let shares = &weeding.shares;
    let mut rows = vec![
        ("Day", words::date(weeding.pass.date)),
        (
            "Depth",
            format!(
                "{}; seed lies at {}",
                words::measure(weeding.pass.depth),
                words::measure(field.crop.depth)
            ),
        ),
        ("Tools", tools(weeding)),
        ("Direction", direction(weeding).to_owned()),
        ("Surface worked", words::percent(shares.surface)),
        ("Band along the row worked", words::percent(shares.row_band)),
    ];
    match &weeding.pass.tools {
        Tools::OverSeeds(over) => {
            rows.push((
                "Before",
                format!("{}, when the first plants are expected", words::date(over.emergence)),
            ));
            rows.extend(over.thermal.iter().map(|(season, found)| ("Why that day", warmth(season, found))));
            rows.push(("Expected loss", "none: the tools stay above the seed".to_owned()));
        }
        Tools::BetweenRows(_) | Tools::InRow(_) => {
            rows.push((
                "Expected loss",
                format!(
                    "{} of the plants, {} if every seed comes up, stand where the tools pass",
                    fine_percent(shares.loss),
                    words::count((shares.loss * plan.budget.seed.seeds as f64).round() as u64)
                ),
            ));
            rows.push(("Touched at a leaf or lost", format!("{} at most", fine_percent(shares.touched))));
        }
    }
    if let (Direction::Across, Tools::BetweenRows(_)) = (weeding.pass.direction, &weeding.pass.tools) {
        let left = 1.0 - shares.surface;
        rows.push((
            "Left by passes both ways",
            format!("{} of straight rows, with these tools along and across", words::percent(left * left)),
        ));
    }
    if let Some(fastest) = weeding.fastest {
        rows.push((
            "Speed",
            format!(
                "{}; the blade has time between two plants up to {}",
                words::speed(weeding.speed),
                words::speed(fastest)
            ),
        ));
    }
    if !weeding.pass.missing.is_empty() {
        let here = weeding.pass.missing.iter().filter(|place| place.field == field.name).count() as u64;
        rows.push(("Not sown", format!("{}, where the blade stays in", words::counted(here, "place"))));
    }
    let barred = weeding.barred();
    if barred > 0 {
        let fact = format!(
            "{}, where the row bends or a plant of another block is too near",
            words::counted(barred, "gap")
        );
        rows.push(("Blade stays out", fact));
    }
    let runs = weeding.events.iter().zip(&plan.seeds.runs);
    let kept_out_m: f64 = runs.map(|(events, run)| events.kept_out_m(run)).sum();
    if kept_out_m >= 1.0 {
        let fact = format!(
            "{} m of row, where a plant of another block is too near",
            words::count(kept_out_m.round() as u64)
        );
        rows.push(("Tools stay out", fact));
    }
    let rows = rows.into_iter().map(|(name, fact)| (name.to_owned(), fact)).collect();
    Block::Facts { rows }
}

/// How the day of emergence comes about.
fn warmth(season: &Season, found: &Emergence) -> String {
    let celsius = |temperature: Temperature| words::decimal(temperature.to_celsius(), 1);
    let ceiling =
        season.ceiling.map_or(String::new(), |ceiling| format!(", none above {} °C", celsius(ceiling)));
    format!(
        "sown on {}; {} of {} °C on average, that day included, bring {} of the needed {} °C d above {} °C{ceiling}",
        words::date(season.sown_on),
        words::counted(u64::from(found.days), "day"),
        celsius(found.mean),
        words::decimal(found.warmth.to_degree_days(), 1),
        words::decimal(season.thermal_time.to_degree_days(), 1),
        celsius(season.base),
    )
}

fn direction(weeding: &Weeding) -> &'static str {
    match weeding.pass.direction {
        Direction::Along => "along the rows",
        Direction::Across => "at right angles to straight rows, along bent ones",
    }
}

fn tools(weeding: &Weeding) -> String {
    match &weeding.pass.tools {
        Tools::OverSeeds(over) if weeding.shares.surface >= 1.0 => {
            format!("the whole surface, {} above the seed", words::measure(over.clearance))
        }
        Tools::OverSeeds(over) => {
            format!(
                "{} of each row spacing, {} above the seed",
                words::measure(over.worked),
                words::measure(over.clearance)
            )
        }
        Tools::BetweenRows(tools) => format!(
            "{} of {} in each gap, {} together",
            tools.per_gap,
            words::measure(tools.width),
            words::measure(tools.worked())
        ),
        Tools::InRow(blade) => format!(
            "a blade of {} in each row, in within {:.0} ms, out within {:.0} ms",
            words::measure(blade.width),
            blade.travel_in.to_s() * 1000.0,
            blade.travel_out.to_s() * 1000.0
        ),
    }
}

fn rows(weeding: &Weeding) -> Block {
    let mm = |length: Length| words::decimal(length.to_mm(), 1);
    let rows = weeding.rows.iter().enumerate().map(|(index, row)| {
        vec![(index + 1).to_string(), mm(row.sigma.along), mm(row.sigma.across), mm(row.clear)]
    });
    let head = ["Tool row", "Deviation along, mm", "Deviation across, mm", "Kept clear, mm"];
    Block::table(&head, 1, rows.collect())
}

/// Two decimals: losses are small.
fn fine_percent(share: f64) -> String {
    format!("{} %", words::decimal(share * 100.0, 2))
}
