//! A second panel for a field with treatment zones: how closely each part of it is sown.

use super::paper::{Paper, number};
use super::{Panel, colour, places};
use crate::check::{Field, Pattern, Rate};
use crate::emit::words;
use crate::site::{FieldSite, SiteZones};
use geo::InteriorPoint;
use serde::Serialize;

/// Rates that the legend lists; further ones are counted.
const LISTED: usize = 8;
/// Entries below each other.
const IN_A_COLUMN: usize = 5;
/// Between entries, and between the legend's columns.
const LINE_MM: f64 = 5.0;
const COLUMN_MM: f64 = 56.0;
/// Letters for which a column has room.
const LETTERS: usize = 28;

/// The zones of a panel.
#[derive(Serialize)]
pub struct Zones {
    tints: Vec<Tint>,
    entries: Vec<Entry>,
}

#[derive(Serialize)]
struct Tint {
    path: String,
    colour: String,
}

/// A line of the legend.
#[derive(Serialize)]
struct Entry {
    x: String,
    y: String,
    colour: String,
    text: String,
}

/// The panel of a field with zones.
pub fn panel(site: &FieldSite, field: &Field, zones: &SiteZones, titles: (String, String)) -> Option<Panel> {
    if zones.zones.is_empty() {
        return None;
    }
    let paper = Paper::showing(&site.boundary);
    let (marks, mut labels) = places(site, &[], &paper);
    let rates = rates(zones, field.spacing.pattern);
    let colour_of = |rate: Rate| {
        let at = rates.iter().position(|(known, _)| known.is_sown_like(&rate)).unwrap_or(0);
        let sown = rates.iter().filter(|(rate, _)| rate.step > 0).count();
        let share = 1.0 - at as f64 / (sown.max(2) - 1) as f64;
        if rate.step == 0 { colour::UNSOWN.to_owned() } else { colour::of_rate(share) }
    };
    let elsewhere =
        zones.elsewhere.map(|rate| Tint { path: paper.area(&site.boundary), colour: colour_of(rate) });
    let tints = elsewhere
        .into_iter()
        .chain(
            zones
                .zones
                .iter()
                .map(|zone| Tint { path: paper.area(&zone.ground), colour: colour_of(zone.rate) }),
        )
        .collect();
    for zone in &zones.zones {
        if let Some(middle) = zone.ground.interior_point() {
            labels.place_centred(zone.name.clone(), paper.at(middle.0), "place");
        }
    }
    Some(Panel {
        marks,
        labels: labels.placed,
        zones: Some(Zones { tints, entries: entries(field, zones, &rates, colour_of) }),
        ..Panel::of_ground(titles, site, &paper)
    })
}

/// Every rate with the names of its zones, the densest first, in a field of this pattern.
fn rates(zones: &SiteZones, own: Pattern) -> Vec<(Rate, Vec<String>)> {
    let mut rates: Vec<(Rate, Vec<String>)> = Vec::new();
    let named = zones.zones.iter().map(|zone| (zone.rate, zone.name.clone()));
    let elsewhere = zones.elsewhere.map(|rate| (rate, "elsewhere".to_owned()));
    for (rate, name) in named.chain(elsewhere) {
        match rates.iter_mut().find(|(known, _)| known.is_sown_like(&rate)) {
            Some((_, names)) if !names.contains(&name) => names.push(name),
            Some(_) => {}
            None => rates.push((rate, vec![name])),
        }
    }
    let sown = |rate: &Rate| rate.sown((zones.parts, own));
    rates.sort_by(|(a, _), (b, _)| sown(b).total_cmp(&sown(a)));
    rates
}

fn entries(
    field: &Field,
    zones: &SiteZones,
    rates: &[(Rate, Vec<String>)],
    colour_of: impl Fn(Rate) -> String,
) -> Vec<Entry> {
    let text = |rate: Rate, names: &[String]| {
        let share = words::short(rate.sown((zones.parts, field.spacing.pattern)) * 100.0, 1);
        let stand = rate.stand(field.spacing.own_stand(), zones.parts);
        let apart = words::measure(stand.spacing);
        let how = match (rate.step, rate.pattern) {
            (0, _) => "unsown".to_owned(),
            (_, None) => format!("{share} %, {apart}"),
            (_, Some(Pattern::Single)) => format!("{share} %, single, {apart}"),
            (_, Some(Pattern::Hill { .. })) => format!("{share} %, hills, {apart}"),
            (_, Some(Pattern::Drill)) => format!("{share} %, drilled"),
        };
        shortened(&format!("{how}: {}", names.join(", ")))
    };
    let mut entries: Vec<Entry> = rates
        .iter()
        .take(LISTED)
        .enumerate()
        .map(|(i, (rate, names))| Entry {
            x: number((i / IN_A_COLUMN) as f64 * COLUMN_MM),
            y: number((i % IN_A_COLUMN) as f64 * LINE_MM),
            colour: colour_of(*rate),
            text: text(*rate, names),
        })
        .collect();
    if let (Some(last), true) = (entries.last_mut(), rates.len() > LISTED) {
        last.text = format!("and {} more", rates.len() + 1 - LISTED);
    }
    entries
}

/// As much of a text as has room.
fn shortened(text: &str) -> String {
    if text.chars().count() <= LETTERS {
        return text.to_owned();
    }
    text.chars().take(LETTERS - 1).chain(['…']).collect()
}
