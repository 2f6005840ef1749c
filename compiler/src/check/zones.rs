//! Treatment zones: parts of a field that are sown closer or wider than its spacing says.
//!
//! In: the file of zones and what tells each one's rate, an attribute or classes of a raster's numbers.
//! Out: polygons with their rates.

use super::rate::{RATES, Rate, Wanted, on_parts, percent, tell_long_hills, tell_rounded};
use super::zone_attribute::{Attribute, attribute, rate};
use super::zone_classes::{Class, classes};
use super::{Crop, Findings, GeoPolygon, ReferenceFrame, Spacing};
use crate::diagnostic::Span;
use crate::read::span;
use crate::survey::{self, SurveyedZone};
use lanewright_schema::job::units::Share;
use lanewright_schema::job::{self as written, Written};
use lanewright_schema::survey::{Format, Survey};

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
    let shares = asked.into_iter().chain(elsewhere);
    let wanted: Vec<Wanted> = shares.map(|share| Wanted { share, pattern: None }).collect();
    let (parts, mut rates) = on_parts(&wanted, spacing.pattern);
    tell_rounded(&rates, (parts, spacing.pattern), place, findings);
    let elsewhere = elsewhere.and_then(|_| rates.pop());
    let zones = surveyed
        .into_iter()
        .zip(rates)
        .map(|(zone, rate)| {
            let name = match &told_by {
                ToldBy::Attribute(_) => zone.shape.names().next(),
                ToldBy::Classes(classes) => class_of(&zone, classes).and_then(|class| class.name),
            };
            let name = name.map_or_else(|| percent(rate.asked), str::to_owned);
            Zone { name, polygons: zone.polygons, rate }
        })
        .collect();
    let zones = Zones { parts, zones, elsewhere, span: span(&file.file.place) };
    let sown = zones.zones.iter().filter(|zone| zone.rate.step > 0);
    if let Some(closest) = sown.min_by_key(|zone| zone.rate.step) {
        let within = format!("zone `{}`", closest.name);
        tell_long_hills(&within, (closest.rate, parts), spacing, place, findings);
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
