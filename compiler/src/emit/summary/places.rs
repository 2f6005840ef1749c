//! The summary's tables of how far a plant may stand from where the seed map says.
//!
//! In: the terms of every tool row, and how the field is sown. Out: a sentence, the terms of the plants that
//! are least certain, with their sums for the seed and for the plant, and the sums zone by zone where they
//! differ.

use super::super::words;
use super::document::Block;
use crate::check::{Machine, Rate, Spacing};
use crate::site::{LONG_BASELINE, SiteZones};
use crate::uncertainty::{Cause, Sigma, Term, Uncertainty, sum};
use lanewright_schema::quantity::Length;

/// How far the plants of a field may stand.
pub fn blocks(
    machine: &Machine,
    spacing: &Spacing,
    zones: &SiteZones,
    uncertainty: &Uncertainty,
) -> Vec<Block> {
    let rows = 0..machine.row_offsets.len();
    let of_rate = |rate: Rate| {
        let stand = |row| rate.stand(spacing.stand(row), zones.parts);
        least_certain(rows.clone().map(|row| uncertainty.terms(row, stand(row))))
    };
    let of_zones: Vec<(Option<usize>, Vec<Term>)> =
        zones.sown().map(|(zone, rate)| (zone, of_rate(rate))).collect();
    let terms = least_certain(of_zones.iter().map(|(_, terms)| terms.clone()));
    let mut blocks = vec![told(&terms), table(machine, uncertainty.baseline, &terms)];
    if of_zones.iter().any(|(_, other)| sum(other) != sum(&terms)) {
        blocks.push(by_zone(zones, &of_zones));
    }
    blocks
}

/// What the sum means.
fn told(terms: &[Term]) -> Block {
    let plant = sum(terms);
    Block::text(format!(
        "Along its row, two plants in three stand within {} mm of where the seed map says; across it, within \
         {} mm. 19 in 20 stand within twice as much. The table gives one standard deviation of each cause, \
         for the tool row that is least certain; their squares add up. A base station that stands elsewhere \
         than stated moves all plants alike and is not in it.",
        mm(plant.along),
        mm(plant.across)
    ))
}

/// The terms and their sums.
fn table(machine: &Machine, baseline: Option<Length>, terms: &[Term]) -> Block {
    let seed = terms.iter().take_while(|term| term.cause != Cause::Emergence).copied().collect::<Vec<_>>();
    let mut rows: Vec<Vec<String>> = Vec::new();
    for term in terms {
        if term.cause == Cause::Emergence {
            rows.push(row("Where the seed lies".to_owned(), sum(&seed)));
        }
        rows.push(row(because(term.cause, machine, baseline), term.sigma));
    }
    rows.push(row("Where the plant stands".to_owned(), sum(terms)));
    Block::table(&["From", "Along the row, mm", "Across the row, mm"], 1, rows)
}

/// The sums of each zone, those of one name and size once.
fn by_zone(zones: &SiteZones, of_zones: &[(Option<usize>, Vec<Term>)]) -> Block {
    let name = |zone: usize| format!("Where the plant stands in {}", zones.zones[zone].name);
    let mut rows: Vec<Vec<String>> = Vec::new();
    for (zone, terms) in of_zones {
        let name = zone.map_or_else(|| "Where the plant stands in no zone".to_owned(), name);
        let row = row(name, sum(terms));
        if !rows.contains(&row) {
            rows.push(row);
        }
    }
    Block::table(&["Zone by zone", "Along the row, mm", "Across the row, mm"], 1, rows)
}

fn row(name: String, sigma: Sigma) -> Vec<String> {
    vec![name, mm(sigma.along), mm(sigma.across)]
}

fn mm(length: Length) -> String {
    words::decimal(length.to_mm(), 1)
}

/// Those terms whose sum is the largest; the first of several.
fn least_certain(of_plants: impl Iterator<Item = Vec<Term>>) -> Vec<Term> {
    let size = |terms: &[Term]| {
        let Sigma { along, across } = sum(terms);
        (along * along + across * across).to_m2()
    };
    of_plants
        .reduce(|worst, terms| if size(&terms) > size(&worst) { terms } else { worst })
        .unwrap_or_default()
}

fn because(cause: Cause, machine: &Machine, baseline: Option<Length>) -> String {
    let precision = &machine.precision;
    match (cause, baseline) {
        (Cause::Position, Some(baseline)) => {
            format!("Position: 8 mm and 1 mm per km, {} from the base station", words::distance(baseline))
        }
        (Cause::Position, None) => format!(
            "Position: 8 mm and 1 mm per km; no base station is named, {} are taken",
            words::distance(LONG_BASELINE)
        ),
        (Cause::Tilt, _) => format!(
            "Tilt of the antennas: {}° left, {} above the ground",
            words::short(precision.tilt.to_deg(), 2),
            words::measure(machine.antenna_height)
        ),
        (Cause::Heading, _) => {
            format!("Heading: {}°, carried to the tool", words::short(precision.heading.to_deg(), 2))
        }
        (Cause::Steering, _) => "Steering beside the line".to_owned(),
        (Cause::Timing, _) => format!(
            "Moment of release: {} ms at {}",
            words::short(precision.timing.to_ms(), 1),
            words::speed(machine.working_speed)
        ),
        (Cause::Drop, _) => "Fall, bounce and roll of the seed".to_owned(),
        (Cause::Drill, _) => "Seeds of a drilled line have no places of their own".to_owned(),
        (Cause::Emergence, _) => "Plant beside its seed".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::check::Pattern;
    use crate::site::{SiteZone, example};
    use crate::uncertainty::uncertainty;

    #[test]
    fn the_sums_stand_below_their_terms() {
        let machine = example::machine();
        let found = uncertainty(&machine, None, &example::field().crop);
        let blocks = blocks(&machine, &example::field().spacing, &SiteZones::none(), &found);
        let [_, Block::Table(table)] = blocks.as_slice() else { panic!("a table") };
        let names: Vec<&str> = table.rows.iter().map(|row| row[0].as_str()).collect();
        assert_eq!(names[6..], ["Where the seed lies", "Plant beside its seed", "Where the plant stands"]);
        assert!(names[0].ends_with("no base station is named, 10.0 km are taken"), "{}", names[0]);
        let squares =
            |rows: &[Vec<String>]| rows.iter().map(|r| r[1].parse::<f64>().unwrap().powi(2)).sum::<f64>();
        assert!((squares(&table.rows[..6]).sqrt() - table.rows[6][1].parse::<f64>().unwrap()).abs() < 0.2);
        assert!((squares(&table.rows[6..8]).sqrt() - table.rows[8][1].parse::<f64>().unwrap()).abs() < 0.2);
    }

    /// A drilled block is less certain along its rows than the rest, which has a line of its own.
    #[test]
    fn zones_of_other_patterns_have_sums_of_their_own() {
        let machine = example::machine();
        let found = uncertainty(&machine, None, &example::field().crop);
        let ground = geo::Rect::new(geo::coord! { x: 0.0, y: 0.0 }, geo::coord! { x: 9.0, y: 9.0 });
        let rate = Rate { asked: 3.0, step: 1, pattern: Some(Pattern::Drill) };
        let zones = SiteZones {
            parts: 3,
            zones: vec![SiteZone::new("block 1".into(), ground.to_polygon().into(), rate)],
            elsewhere: Some(Rate::own(3)),
        };
        let blocks = blocks(&machine, &example::field().spacing, &zones, &found);
        let [_, Block::Table(terms), Block::Table(sums)] = blocks.as_slice() else { panic!("two tables") };
        assert!(terms.rows[6][0].starts_with("Seeds of a drilled line") && terms.rows[6][1] == "60.0");
        let names: Vec<&str> = sums.rows.iter().map(|row| row[0].as_str()).collect();
        assert_eq!(names, ["Where the plant stands in no zone", "Where the plant stands in block 1"]);
        let along: Vec<f64> = sums.rows.iter().map(|row| row[1].parse().unwrap()).collect();
        assert!((along[0].hypot(60.0) - along[1]).abs() < 0.2, "{along:?}");
        assert_eq!(sums.rows[1][1], terms.rows[9][1], "the table of causes is that of the least certain");
    }
}
