//! Classes of a raster's numbers, each with how closely its cells are sown.
//!
//! In: the classes as written. Out: the bounds of each and its share of the field's own number of
//! seeds. No number is in two classes; cells whose number is in none are in no zone.

use super::Findings;
use super::rate::{Asked, RATES, percent};
use super::spacing::tell_said_twice;
use super::zones::Known;
use lanewright_schema::job::{self as written, Place};
use lanewright_schema::quantity::Length;
use std::ops::Range;

/// A class.
pub struct Class<'f> {
    /// The numbers in it.
    pub numbers: Range<f64>,
    /// What people call it.
    pub name: Option<&'f str>,
    /// Its share of the field's own number of seeds.
    pub share: f64,
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
    if let Some(distance) = &file.between_seeds {
        findings.above_zero(distance, "between_seeds");
    }
    let share = match said(file).as_slice() {
        [] => {
            findings
                .raise("zones/class", &file.place, "nothing says how closely this class is sown")
                .hint("add, for example, `rate = \"80 %\"`");
            None
        }
        [(_, asked, place)] => share(*asked, place, known, findings),
        [(first, ..), (second, _, place), ..] => {
            tell_said_twice(first, second, place, findings);
            None
        }
    };
    let name = file.name.as_ref().map(|name| name.value.as_str());
    Some(Class { numbers: numbers?, name, share: share?, place: &file.place })
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
    [rate, seeds, plants, distance].into_iter().flatten().collect()
}

fn share(asked: Asked, place: &Place, known: &Known<'_>, findings: &mut Findings) -> Option<f64> {
    if matches!(asked, Asked::BetweenPlaces(distance) if distance <= Length::ZERO) {
        return None;
    }
    let share = asked.share(known.spacing?, None, known.crop)?;
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
