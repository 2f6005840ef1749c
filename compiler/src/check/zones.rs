//! Treatment zones: parts of a field that are sown closer or wider than its spacing says.
//!
//! In: the file of zones and what tells each one's rate, an attribute or classes of a raster's numbers.
//! Out: polygons with their rates.
//! Seeds of two zones keep their distance across a border, and the rows of a zone line up, because all
//! spacings of a field are whole multiples of one part of its own: the distance in a zone is
//! `steps / parts` of the field's, where its rate asks for `1 / rate`. The fewest parts are taken with
//! which every zone's rate is met within 1 %; where so many parts are not enough, the best of them.

use super::zone_attribute::{Attribute, attribute, rate};
use super::zone_classes::{Class, classes};
use super::{Crop, Findings, GeoPolygon, ReferenceFrame, Spacing, brief};
use crate::diagnostic::Span;
use crate::read::span;
use crate::survey::{self, SurveyedZone};
use lanewright_schema::job::units::Share;
use lanewright_schema::job::{self as written, Place, Written};
use lanewright_schema::quantity::Length;
use lanewright_schema::survey::{Format, Survey};
use std::ops::RangeInclusive;

/// Zones of one field.
#[derive(Clone, Debug, PartialEq)]
pub struct Zones {
    /// Parts of the field's own spacing that the spacings of zones are whole numbers of; at least one.
    pub parts: u32,
    /// At least one.
    pub zones: Vec<Zone>,
    /// The rate of soil in no zone, where the job gives one.
    pub elsewhere: Option<Rate>,
    /// Where the job names their file.
    pub span: Span,
}

impl Zones {
    /// Every rate at which something is sown, that of soil in no zone last.
    pub fn sown(&self) -> impl Iterator<Item = Rate> {
        self.zones.iter().map(|zone| zone.rate).chain(self.elsewhere).filter(|rate| rate.step > 0)
    }
}

/// A part of a field with its rate.
#[derive(Clone, Debug, PartialEq)]
pub struct Zone {
    /// As the file calls it, else its rate.
    pub name: String,
    /// Its ground; rings may cross themselves.
    pub polygons: Vec<GeoPolygon>,
    /// How close it is sown.
    pub rate: Rate,
}

/// A share of the field's own number of seeds.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Rate {
    /// As asked for.
    pub asked: f64,
    /// Parts of the field's own spacing from place to place; none where nothing is sown.
    pub step: u32,
}

/// Rates beyond which something else was meant.
pub const RATES: RangeInclusive<f64> = 0.2..=5.0;
/// A rate met as near as this is met.
const MET: f64 = 0.01;
/// The spacing is divided into so many parts at most.
const MOST_PARTS: u32 = 60;
/// Rates that were asked for nearer to each other are one.
const SAME_RATE: f64 = 1e-9;

/// What a field's zones are checked against.
pub struct Known<'k> {
    /// The field's own lattice, where it passed.
    pub spacing: Option<&'k Spacing>,
    /// Its crop.
    pub crop: Option<&'k Crop>,
    /// The frame of every coordinate in the job.
    pub frame: Option<&'k ReferenceFrame>,
}

/// Checks the zones of a field.
pub fn zones(file: &written::Zones, known: &Known<'_>, findings: &mut Findings) -> Option<Zones> {
    let told_by = told_by(file, known, findings);
    let elsewhere = file.elsewhere.as_ref().map(|share| elsewhere(share, findings));
    let asked_frame = file.frame.as_ref().map(|frame| frame.value.as_str());
    let before = findings.0.len();
    let classed = match &told_by {
        Some(ToldBy::Classes(classes)) => Some(sorted(file, classes, findings)?),
        Some(ToldBy::Attribute(_)) | None => None,
    };
    let survey = classed.as_ref().unwrap_or(&file.file.value);
    let surveyed = survey::zones(survey, asked_frame, known.frame, &mut findings.0);
    let surveyed = surveyed.map_err(|finding| findings.0.push(finding)).ok();
    for finding in &mut findings.0[before..] {
        finding.span.get_or_insert_with(|| span(&file.file.place));
    }
    let (surveyed, told_by, spacing) = (surveyed?, told_by?, known.spacing?);
    if surveyed.is_empty() {
        findings
            .raise("zones/no-polygon", &file.file.place, "the file of zones holds no polygon")
            .hint("draw each zone as a polygon, with an attribute that tells its rate");
        return None;
    }
    let rates: Vec<Option<f64>> = surveyed
        .iter()
        .enumerate()
        .map(|(index, zone)| match &told_by {
            ToldBy::Attribute(attribute) => rate(zone, index, attribute, spacing, known.crop, findings),
            ToldBy::Classes(classes) => class_of(zone, classes).map(|class| class.share),
        })
        .collect();
    let asked: Vec<f64> = rates.into_iter().collect::<Option<_>>()?;
    let elsewhere = match elsewhere {
        Some(rate) => Some(rate?),
        None => None,
    };
    let place = match &told_by {
        ToldBy::Attribute(attribute) => &attribute.name.place,
        ToldBy::Classes(_) => &file.file.place,
    };
    let distinct = distinct(asked.iter().chain(&elsewhere).copied().filter(|&rate| rate > 0.0));
    let parts = parts(&distinct);
    let rate = |asked: f64| Rate { asked, step: step(asked, parts) };
    tell_rounded(&distinct, parts, place, findings);
    let zones = surveyed
        .into_iter()
        .zip(asked)
        .map(|(zone, asked)| {
            let name = match &told_by {
                ToldBy::Attribute(_) => zone.shape.names().next(),
                ToldBy::Classes(classes) => class_of(&zone, classes).and_then(|class| class.name),
            };
            let name = name.map_or_else(|| percent(asked), str::to_owned);
            Zone { name, polygons: zone.polygons, rate: rate(asked) }
        })
        .collect();
    let zones = Zones { parts, zones, elsewhere: elsewhere.map(rate), span: span(&file.file.place) };
    let sown = zones.zones.iter().filter(|zone| zone.rate.step > 0);
    if let Some(closest) = sown.min_by_key(|zone| zone.rate.step) {
        let within = format!("zone `{}`", closest.name);
        tell_long_hills(&within, closest.rate.step, parts, spacing, place, findings);
    }
    Some(zones)
}

/// What tells how closely zones are sown.
enum ToldBy<'f> {
    Attribute(Attribute<'f>),
    Classes(Vec<Class<'f>>),
}

fn told_by<'f>(file: &'f written::Zones, known: &Known<'_>, findings: &mut Findings) -> Option<ToldBy<'f>> {
    let Some(class) = &file.class else {
        let attribute = attribute(file, findings)?;
        let holds = file.file.value.format != Format::GeoTiff || attribute.is_number(findings);
        return holds.then_some(ToldBy::Attribute(attribute));
    };
    let named = [&file.rate, &file.seeds_per_ha, &file.plants_per_ha, &file.between_seeds];
    if let Some(name) = named.into_iter().flatten().next() {
        findings
            .raise("zones/rate-attribute", &name.place, "an attribute and classes each tell the zones' rates")
            .hint("leave out the attribute, or every `class`");
        return None;
    }
    classes(&class.0, known, findings).map(ToldBy::Classes)
}

/// The raster with the numbers of its classes.
fn sorted(file: &written::Zones, classes: &[Class<'_>], findings: &mut Findings) -> Option<Survey> {
    let numbers: Vec<_> = classes.iter().map(|class| class.numbers.clone()).collect();
    let sorted = survey::classed(&file.file.value, &numbers);
    if sorted.is_none() {
        findings
            .raise(
                "zones/class",
                &file.place,
                "classes sort the numbers of a raster, and the file holds none",
            )
            .hint("leave out every `class` and name the attribute, for example `rate = \"rate\"`");
    }
    sorted
}

fn class_of<'c, 'f>(zone: &SurveyedZone<'_>, classes: &'c [Class<'f>]) -> Option<&'c Class<'f>> {
    classes.get(zone.shape.attribute(survey::VALUE)?.parse::<usize>().ok()?)
}

fn elsewhere(share: &Written<Share>, findings: &mut Findings) -> Option<f64> {
    let rate = share.value.ratio();
    if rate == 0.0 || RATES.contains(&rate) {
        return Some(rate);
    }
    findings
        .raise(
            "zones/rate",
            &share.place,
            format!("soil in no zone would get {} of the field's seeds", percent(rate)),
        )
        .hint("write 0 % to leave it unsown, or a share from 20 % to 500 %");
    None
}

/// How closely soil is to be sown, in one of the ways to say it.
#[derive(Copy, Clone, Debug, PartialEq)]
pub enum Asked {
    /// A share of the field's own number of seeds.
    Rate(f64),
    /// Seeds on a hectare.
    SeedsPerHa(f64),
    /// Plants wanted on a hectare.
    PlantsPerHa(f64),
    /// From place to place in the row.
    BetweenSeeds(Length),
}

impl Asked {
    /// As a share of the field's own number of seeds; wanted plants need a crop.
    pub fn share(self, spacing: &Spacing, crop: Option<&Crop>) -> Option<f64> {
        let own_per_ha = 1e4 * spacing.own_stand().seeds_per_m2(spacing.between_rows);
        Some(match self {
            Self::Rate(share) => share,
            Self::SeedsPerHa(seeds) => seeds / own_per_ha,
            Self::PlantsPerHa(plants) => {
                let crop = crop?;
                plants / (crop.germination * crop.field_emergence) / own_per_ha
            }
            Self::BetweenSeeds(distance) => spacing.between_seeds / distance,
        })
    }
}

/// The rates that differ, the lowest first.
pub fn distinct(rates: impl Iterator<Item = f64>) -> Vec<f64> {
    let mut rates: Vec<f64> = rates.collect();
    rates.sort_by(f64::total_cmp);
    rates.dedup_by(|a, b| (*a - *b).abs() < SAME_RATE);
    rates
}

/// The fewest parts with which every rate is met, or those with which the worst is met best.
pub fn parts(rates: &[f64]) -> u32 {
    let worst = |parts: u32| rates.iter().map(|&rate| off(rate, parts).abs()).fold(0.0, f64::max);
    let met = (1..=MOST_PARTS).find(|&parts| worst(parts) <= MET);
    let best = || (1..=MOST_PARTS).min_by(|&a, &b| worst(a).total_cmp(&worst(b))).unwrap_or(1);
    met.unwrap_or_else(best)
}

/// Parts of the field's own spacing from place to place that meet a rate best; none for no rate.
pub fn step(rate: f64, parts: u32) -> u32 {
    if rate > 0.0 { (f64::from(parts) / rate).round().max(1.0) as u32 } else { 0 }
}

/// How far the rate that is sown lies from the one asked for, as a share of it.
fn off(rate: f64, parts: u32) -> f64 {
    f64::from(parts) / f64::from(step(rate, parts)) / rate - 1.0
}

/// Tells of rates that the parts do not meet.
pub fn tell_rounded(rates: &[f64], parts: u32, place: &Place, findings: &mut Findings) {
    let worst = rates.iter().copied().max_by(|&a, &b| off(a, parts).abs().total_cmp(&off(b, parts).abs()));
    let Some(rate) = worst.filter(|&rate| off(rate, parts).abs() > MET) else { return };
    findings
        .raise(
            "zones/rate-rounded",
            place,
            format!(
                "{} of the field's seeds is sown as {}, the nearest that keeps all rates on one lattice",
                percent(rate),
                percent(f64::from(parts) / f64::from(step(rate, parts)))
            ),
        )
        .hint("fewer rates that differ from each other are met more closely");
}

/// Hills that run into each other where soil is sown most closely.
pub fn tell_long_hills(
    within: &str,
    step: u32,
    parts: u32,
    spacing: &Spacing,
    place: &Place,
    findings: &mut Findings,
) {
    let stands = std::iter::once(spacing.own_stand()).chain(spacing.own_rows.iter().map(|own| own.stand));
    for stand in stands {
        let apart = stand.scaled(step, parts).spacing;
        if stand.pattern.length() >= apart {
            findings
                .raise(
                    "spacing/hill-too-long",
                    place,
                    format!(
                        "in {within} hills {} cm long run into each other: their middles are {} cm apart",
                        brief(stand.pattern.length().to_cm()),
                        brief(apart.to_cm())
                    ),
                )
                .hint("write shorter hills, or a lower rate there");
        }
    }
}

/// A share for people.
pub fn percent(rate: f64) -> String {
    format!("{} %", (rate * 1000.0).round() / 10.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn few_parts_meet_plain_rates() {
        assert_eq!(parts(&[1.0]), 1);
        assert_eq!((parts(&[0.75, 1.0]), step(0.75, 3), step(1.0, 3)), (3, 4, 3));
        assert_eq!(parts(&[0.8, 1.0, 1.25]), 20);
        assert_eq!(step(0.0, 20), 0);
    }

    proptest! {
        /// A single rate between half and double is met, and a few are met nearly.
        #[test]
        fn rates_are_met(rates in prop::collection::vec(0.5..2.0_f64, 1..5)) {
            let alone = [rates[0]];
            prop_assert!(off(alone[0], parts(&alone)).abs() <= MET);
            let parts = parts(&rates);
            prop_assert!(rates.iter().all(|&rate| off(rate, parts).abs() < 0.03));
        }
    }
}
