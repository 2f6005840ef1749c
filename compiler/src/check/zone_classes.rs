//! Classes of a raster's numbers, each with how closely its cells are sown.
//!
//! In: the classes as written. Out: the bounds of each, its share of the field's own number of seeds, and the
//! pattern that it states. No number is in two classes; cells whose number is in none are in no zone.

use super::rate::{Asked, RATES, Wanted, percent};
use super::spacing::{pattern_of_class, tell_said_twice};
use super::zones::Known;
use super::{Findings, Pattern};
use lanewright_schema::job::{self as written, Place};
use lanewright_schema::quantity::Length;
use std::ops::Range;

/// A class.
pub struct Class<'f> {
    /// The numbers in it.
    pub numbers: Range<f64>,
    /// What people call it.
    pub name: Option<&'f str>,
    /// How it is sown; in the field's own pattern where it states none.
    pub wanted: Wanted,
    /// Where it states its pattern.
    pub pattern: Option<&'f Place>,
    /// Where it states the length of its hills.
    pub hill: Option<&'f Place>,
    place: &'f Place,
}

/// Checks the classes of a field's zones.
pub fn classes<'f>(
    file: &'f [written::ZoneClass],
    known: &Known<'_>,
    findings: &mut Findings,
) -> Option<Vec<Class<'f>>> {
    let classes: Vec<Option<Class>> = file.iter().map(|class| one(class, known, findings)).collect();
    let mut classes: Vec<Class> = classes.into_iter().collect::<Option<_>>()?;
    classes.sort_by(|a, b| a.numbers.start.total_cmp(&b.numbers.start));
    let mut apart = true;
    for pair in classes.windows(2).filter(|pair| pair[1].numbers.start < pair[0].numbers.end) {
        apart = false;
        findings
            .raise(
                "zones/class",
                pair[1].place,
                format!("numbers from {} on are in another class, too", pair[1].numbers.start),
            )
            .hint(format!("let the lower class end there: `below = {}`", pair[1].numbers.start));
    }
    apart.then_some(classes)
}

fn one<'f>(file: &'f written::ZoneClass, known: &Known<'_>, findings: &mut Findings) -> Option<Class<'f>> {
    let numbers = numbers(file, findings);
    for (key, distance) in [("between_seeds", &file.between_seeds), ("between_hills", &file.between_hills)] {
        if let Some(distance) = distance {
            findings.above_zero(distance, key);
        }
    }
    let pattern = pattern_of_class(file, known.spacing.map(|spacing| spacing.pattern), findings)?;
    let share = match said(file).as_slice() {
        [] if file.pattern.is_some() => Some(1.0),
        [] => {
            findings
                .raise("zones/class", &file.place, "nothing says how closely this class is sown")
                .hint("add, for example, `rate = \"80 %\"`");
            None
        }
        [(_, asked, place)] => share(*asked, pattern, place, known, findings),
        [(first, ..), (second, _, place), ..] => {
            tell_said_twice(first, second, place, findings);
            None
        }
    };
    Some(Class {
        numbers: numbers?,
        name: file.name.as_ref().map(|name| name.value.as_str()),
        wanted: Wanted { share: share?, pattern },
        pattern: file.pattern.as_ref().map(|pattern| &pattern.place),
        hill: file.hill_length.as_ref().map(|length| &length.place),
        place: &file.place,
    })
}

fn numbers(file: &written::ZoneClass, findings: &mut Findings) -> Option<Range<f64>> {
    let from = file.from.as_ref().map_or(f64::NEG_INFINITY, |from| from.value);
    let below = file.below.as_ref().map_or(f64::INFINITY, |below| below.value);
    if from < below {
        return Some(from..below);
    }
    findings
        .raise("zones/class", &file.place, format!("no number is from {from} on and below {below}"))
        .hint(format!("exchange them: `from = {below}`, `below = {from}`"));
    None
}

/// Every way in which a class says how close it is sown.
fn said(file: &written::ZoneClass) -> Vec<(&'static str, Asked, &Place)> {
    let rate = file.rate.as_ref().map(|said| ("rate", Asked::Rate(said.value.ratio()), &said.place));
    let seeds = file.seeds_per_ha.as_ref();
    let seeds = seeds.map(|said| ("seeds_per_ha", Asked::SeedsPerHa(said.value.into()), &said.place));
    let plants = file.plants_per_ha.as_ref();
    let plants = plants.map(|said| ("plants_per_ha", Asked::PlantsPerHa(said.value.into()), &said.place));
    let distance = file.between_seeds.as_ref();
    let distance = distance.map(|said| ("between_seeds", Asked::BetweenPlaces(said.value), &said.place));
    let hills = file.between_hills.as_ref();
    let hills = hills.map(|said| ("between_hills", Asked::BetweenPlaces(said.value), &said.place));
    [rate, seeds, plants, distance, hills].into_iter().flatten().collect()
}

fn share(
    asked: Asked,
    pattern: Option<Pattern>,
    place: &Place,
    known: &Known<'_>,
    findings: &mut Findings,
) -> Option<f64> {
    if matches!(asked, Asked::BetweenPlaces(distance) if distance <= Length::ZERO) {
        return None;
    }
    let share = asked.share(known.spacing?, pattern, known.crop)?;
    if share == 0.0 || RATES.contains(&share) {
        return Some(share);
    }
    findings
        .raise(
            "zones/rate",
            place,
            format!("this class asks for {} of the field's own number of seeds", percent(share)),
        )
        .hint("a class gets 20 % to 500 % of the field's own seeds, or 0 and stays unsown");
    None
}
