//! The summary's words on treatment zones: how each is sown and with how many seeds.

use super::super::words;
use super::document::Block;
use super::pattern;
use crate::check::{Field, Rate};
use crate::geometry::region;
use crate::pipeline::FieldPlan;
use crate::seeds::SeedRun;
use crate::site::SiteZones;
use lanewright_schema::quantity::{Area, Length};

/// One line of the table: zones of one name and rate.
struct Line {
    name: String,
    rate: Rate,
    zones: Vec<Option<usize>>,
}

/// What each zone gets; nothing for a field without zones.
pub fn blocks(field: &Field, plan: &FieldPlan) -> Vec<Block> {
    let zones = &plan.zones;
    if zones.zones.is_empty() {
        return Vec::new();
    }
    let own = field.spacing.own_stand();
    let many_patterns = zones.rates().any(|rate| rate.pattern.is_some());
    let rows = lines(zones).into_iter().filter_map(|Line { name, rate, zones: of_line }| {
        let runs: Vec<&SeedRun> = plan.seeds.runs.iter().filter(|run| of_line.contains(&run.zone)).collect();
        let seeds: u64 = runs.iter().map(|run| run.seeds()).sum();
        let row_m: f64 = runs.iter().map(|run| f64::from(run.count) * run.spacing_m).sum();
        let area = Area::m2(row_m * field.spacing.between_rows.to_m());
        if rate.step == 0 {
            let drawn: f64 =
                of_line.iter().flatten().map(|&zone| region::area(&zones.zones[zone].ground)).sum();
            let unsown = [name, words::area(Area::m2(drawn)), percent(0.0), "unsown".to_owned()];
            return Some(unsown.into_iter().chain(["–", "–", "0"].map(str::to_owned)).collect());
        }
        let stand = rate.stand(own, zones.parts);
        let apart = words::measure(stand.spacing);
        (seeds > 0).then(|| {
            vec![
                name,
                words::area(area),
                percent(rate.asked),
                percent(rate.sown((zones.parts, field.spacing.pattern))),
                if many_patterns { pattern::at_places(stand) } else { apart },
                words::count((seeds as f64 / area.to_ha()).round() as u64),
                words::count(seeds),
            ]
        })
    });
    let head = ["Zone", "Area", "Asked", "Sown", "In the row", "Seeds a hectare", "Seeds"];
    let table = Block::table(&head, 1, rows.collect());
    vec![Block::Heading { text: "Treatment zones".to_owned() }, table, Block::text(lattice(field, zones))]
}

fn lines(zones: &SiteZones) -> Vec<Line> {
    let mut lines: Vec<Line> = Vec::new();
    let named =
        zones.zones.iter().enumerate().map(|(index, zone)| (zone.name.clone(), zone.rate, Some(index)));
    let elsewhere = zones.elsewhere.map(|rate| ("Soil in no zone".to_owned(), rate, None));
    for (name, rate, zone) in named.chain(elsewhere) {
        match lines.iter_mut().find(|line| (&line.name, line.rate) == (&name, rate)) {
            Some(line) => line.zones.push(zone),
            None => lines.push(Line { name, rate, zones: vec![zone] }),
        }
    }
    lines
}

/// A share to a tenth of a per cent, without a nought at its end.
fn percent(share: f64) -> String {
    format!("{} %", words::short(share * 100.0, 1))
}

fn lattice(field: &Field, zones: &SiteZones) -> String {
    let own = field.spacing.between_seeds;
    let part = Length::m(own.to_m() / f64::from(zones.parts));
    let patterns = field.zones.is_some() && zones.rates().any(|rate| rate.pattern.is_some());
    let across = if patterns {
        "the clear distance between places is no less than the smaller of the two zones' own and no more than the \
         larger; where these are nearly alike, it may be the common measure of both spacings more than the smaller"
    } else {
        "its seeds are no nearer than in the closer zone and no farther than in the wider"
    };
    format!(
        "100 % is the spacing above. Every spacing is a whole number of {}, of which the field's own has {}: rows \
         line up within a zone, and where a row passes from one into the next {across}. A zone that a row only \
         grazes is sown as the zone beside it.",
        words::measure(part),
        zones.parts
    )
}
