//! Treatment zones: parts of a field that are sown closer, wider or in another pattern than its spacing says.
//!
//! In: the file of zones and what tells how each is sown, attributes or classes of a raster's numbers.
//! Out: polygons with their rates.

use super::rate::{RATES, Rate, Wanted, on_parts, percent, tell_long_hills, tell_rounded};
use super::zone_attribute::{Attribute, attribute, called, rate};
use super::zone_classes::{Class, classes};
use super::zone_pattern::{PatternAttributes, pattern_attributes, pattern_of_zone, tell_nowhere};
use super::{Crop, Findings, GeoPolygon, Pattern, ReferenceFrame, Spacing};
use crate::diagnostic::Span;
use crate::read::span;
use crate::survey::{self, SurveyedZone};
use lanewright_schema::job::units::Share;
use lanewright_schema::job::{self as written, Place, Written};
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
    let classed = match &told_by {
        Some(ToldBy::Classes(classes)) => Some(sorted(file, classes, findings)?),
        Some(ToldBy::Attributes { .. }) | None => None,
    };
    let surveyed = surveyed(classed.as_ref().unwrap_or(&file.file.value), file, known, findings);
    let (surveyed, told_by, spacing) = (surveyed?, told_by?, known.spacing?);
    if surveyed.is_empty() {
        findings
            .raise("zones/no-polygon", &file.file.place, "the file of zones holds no polygon")
            .hint("draw each zone as a polygon, with an attribute that tells its rate");
        return None;
    }
    told_by.tell_beside_tool_rows(spacing, findings);
    let mut wanted = told_by.wanted(&surveyed, (spacing, known.crop), findings)?;
    let elsewhere = match elsewhere {
        Some(share) => Some(Wanted { share: share?, pattern: None }),
        None => None,
    };
    wanted.extend(elsewhere);
    let (parts, mut rates) = on_parts(&wanted, spacing.pattern);
    let place = told_by.place().unwrap_or(&file.file.place);
    tell_rounded(&rates, (parts, spacing.pattern), place, findings);
    let elsewhere = elsewhere.and_then(|_| rates.pop());
    let zones = surveyed
        .into_iter()
        .zip(rates)
        .map(|(zone, rate)| {
            let name = told_by.name(&zone).map_or_else(|| percent(rate.asked), str::to_owned);
            Zone { name, polygons: zone.polygons, rate }
        })
        .collect();
    let zones = Zones { parts, zones, elsewhere, span: span(&file.file.place) };
    for (within, rate) in closest(&zones) {
        let place = told_by.hill_place(rate.pattern).unwrap_or(place);
        tell_long_hills(&within, (rate, parts), spacing, place, findings);
    }
    Some(zones)
}

/// The zones that a survey holds; what is told of them has its place in the job.
fn surveyed<'s>(
    survey: &'s Survey,
    file: &written::Zones,
    known: &Known<'_>,
    findings: &mut Findings,
) -> Option<Vec<SurveyedZone<'s>>> {
    let asked_frame = file.frame.as_ref().map(|frame| frame.value.as_str());
    let before = findings.0.len();
    let surveyed = survey::zones(survey, asked_frame, known.frame, &mut findings.0);
    let surveyed = surveyed.map_err(|finding| findings.0.push(finding)).ok();
    for finding in &mut findings.0[before..] {
        finding.span.get_or_insert_with(|| span(&file.file.place));
    }
    surveyed
}

/// Where each pattern is sown closest, for people, and how.
fn closest(zones: &Zones) -> Vec<(String, Rate)> {
    let named = zones.zones.iter().map(|zone| (format!("zone `{}`", zone.name), zone.rate));
    let elsewhere = zones.elsewhere.map(|rate| ("soil in no zone".to_owned(), rate));
    let mut closest: Vec<(String, Rate)> = Vec::new();
    for (within, rate) in named.chain(elsewhere).filter(|(_, rate)| rate.step > 0) {
        match closest.iter_mut().find(|(_, known)| known.pattern == rate.pattern) {
            Some(known) if rate.step < known.1.step => *known = (within, rate),
            Some(_) => {}
            None => closest.push((within, rate)),
        }
    }
    closest
}

/// What tells how zones are sown.
enum ToldBy<'f> {
    Attributes { rate: Option<Attribute<'f>>, pattern: Option<PatternAttributes<'f>> },
    Classes(Vec<Class<'f>>),
}

impl<'f> ToldBy<'f> {
    /// Where the job says what tells the rates, or else the patterns; not of classes.
    fn place(&self) -> Option<&'f Place> {
        match self {
            Self::Attributes { rate, pattern } => {
                let rate = rate.as_ref().map(|rate| &rate.name.place);
                rate.or(pattern.as_ref().map(|pattern| &pattern.name.place))
            }
            Self::Classes(_) => None,
        }
    }

    /// Where the job says what tells the length of such hills, where they are not the field's own.
    fn hill_place(&self, pattern: Option<Pattern>) -> Option<&'f Place> {
        pattern?;
        match self {
            Self::Attributes { pattern, .. } => Some(&pattern.as_ref()?.length?.place),
            Self::Classes(classes) => classes.iter().find(|class| class.wanted.pattern == pattern)?.hill,
        }
    }

    /// What people call a zone.
    fn name<'z>(&'z self, zone: &'z SurveyedZone<'_>) -> Option<&'z str> {
        match self {
            Self::Attributes { .. } => zone.shape.names().next(),
            Self::Classes(classes) => class_of(zone, classes)?.name,
        }
    }

    /// How each zone is to be sown. A pattern that is the field's own is none of the zone's, and soil that stays
    /// unsown has none.
    fn wanted(
        &self,
        surveyed: &[SurveyedZone<'_>],
        (spacing, crop): (&Spacing, Option<&Crop>),
        findings: &mut Findings,
    ) -> Option<Vec<Wanted>> {
        let wanted: Vec<Option<Wanted>> = match self {
            Self::Classes(classes) => {
                surveyed.iter().map(|zone| class_of(zone, classes).map(|class| class.wanted)).collect()
            }
            Self::Attributes { rate: of_rate, pattern: of_pattern } => {
                if let Some(from) = of_pattern {
                    tell_nowhere(surveyed, from, findings);
                }
                let of_zone = |(index, zone): (usize, &SurveyedZone<'_>)| {
                    let called = called(zone, index);
                    let pattern = match of_pattern {
                        Some(from) => pattern_of_zone(zone, &called, from, findings)?,
                        None => None,
                    };
                    let share = match of_rate {
                        Some(from) => rate(zone, (&called, pattern), from, (spacing, crop), findings)?,
                        None => 1.0,
                    };
                    Some(Wanted { share, pattern })
                };
                surveyed.iter().enumerate().map(of_zone).collect()
            }
        };
        let plain = |Wanted { share, pattern }: Wanted| Wanted {
            share,
            pattern: pattern.filter(|&pattern| share > 0.0 && pattern != spacing.pattern),
        };
        wanted.into_iter().map(|wanted| wanted.map(plain)).collect()
    }

    fn tell_beside_tool_rows(&self, spacing: &Spacing, findings: &mut Findings) {
        let place = match self {
            Self::Attributes { pattern, .. } => pattern.as_ref().map(|pattern| &pattern.name.place),
            Self::Classes(classes) => classes.iter().find_map(|class| class.pattern),
        };
        if let (Some(place), false) = (place, spacing.own_rows.is_empty()) {
            findings
                .raise(
                    "zones/beside-tool-rows",
                    place,
                    "zones have patterns here, and so has each `tool_row` of the spacing",
                )
                .hint("leave out the zones' `pattern`, or every `tool_row`; a rate scales both");
        }
    }
}

fn told_by<'f>(file: &'f written::Zones, known: &Known<'_>, findings: &mut Findings) -> Option<ToldBy<'f>> {
    if let Some(class) = &file.class {
        if let Some(name) = of_rate(file).chain(of_pattern(file)).next() {
            findings
                .raise(
                    "zones/rate-attribute",
                    &name.place,
                    "an attribute and classes each tell how the zones are sown",
                )
                .hint("leave out the attribute, or every `class`");
            return None;
        }
        return classes(&class.0, known, findings).map(ToldBy::Classes);
    }
    let (rate, pattern) = (attribute(file, findings), pattern_attributes(file, findings));
    let (rate, pattern) = (rate?, pattern?);
    if rate.is_none() && pattern.is_none() {
        findings
            .raise("zones/rate-attribute", &file.place, "nothing says which attribute tells a zone's rate")
            .hint("add, for example, `rate = \"rate\"`, the attribute with `0.8` or `80 %`");
        return None;
    }
    let raster = file.file.value.format == Format::GeoTiff;
    if let (true, Some(pattern)) = (raster, &pattern) {
        let name = pattern.name;
        findings
            .raise(
                "zones/attribute-missing",
                &name.place,
                format!("the cells of a raster have no `{}`", name.value),
            )
            .hint("sort their numbers into classes: `class = [{ below = 80, pattern = \"drill\" }]`");
        return None;
    }
    let holds = !raster || rate.as_ref().is_none_or(|rate| rate.is_number(findings));
    holds.then_some(ToldBy::Attributes { rate, pattern })
}

/// The keys that name an attribute with the rate, as far as they are written.
fn of_rate(file: &written::Zones) -> impl Iterator<Item = &Written<String>> {
    let keys =
        [&file.rate, &file.seeds_per_ha, &file.plants_per_ha, &file.between_seeds, &file.between_hills];
    keys.into_iter().flatten()
}

/// The keys that name an attribute with the pattern or what it needs, as far as they are written.
fn of_pattern(file: &written::Zones) -> impl Iterator<Item = &Written<String>> {
    [&file.pattern, &file.seeds_per_hill, &file.hill_length].into_iter().flatten()
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
