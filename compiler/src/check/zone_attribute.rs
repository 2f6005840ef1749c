//! The attribute of a file of zones that tells how closely each is sown.
//!
//! In: the keys that name it, and each zone with its attributes. Out: each zone's share of the field's own
//! number of seeds.

use super::rate::{Asked, RATES, percent};
use super::{Crop, Findings, Pattern, Spacing, brief};
use crate::survey::{SurveyedZone, VALUE};
use lanewright_schema::job::units::{self, NotQuantity, Share};
use lanewright_schema::job::{self as written, Written};
use lanewright_schema::quantity::Length;

/// What the attribute says.
#[derive(Copy, Clone, PartialEq)]
enum Says {
    Rate,
    SeedsPerHa,
    PlantsPerHa,
    BetweenSeeds,
    BetweenHills,
}

impl Says {
    const fn is_distance(self) -> bool {
        matches!(self, Self::BetweenSeeds | Self::BetweenHills)
    }
}

/// The attribute that tells the rate.
pub struct Attribute<'f> {
    says: Says,
    /// Its name.
    pub name: &'f Written<String>,
}

impl Attribute<'_> {
    /// Whether the number of a raster's cell can be what it holds; told where not.
    pub fn is_number(&self, findings: &mut Findings) -> bool {
        let (key, place) = (&self.name.value, &self.name.place);
        if !key.eq_ignore_ascii_case(VALUE) {
            findings
                .raise("zones/attribute-missing", place, format!("the cells of a raster have no `{key}`"))
                .hint(format!("write `\"{VALUE}\"`, as the number of a cell is called"));
            return false;
        }
        if self.says.is_distance() {
            findings
                .raise("zones/attribute-unreadable", place, "the number of a raster's cell has no unit")
                .hint("sort the numbers into classes: `class = [{ from = 17, below = 19, between_seeds = \"18 cm\" }]`");
            return false;
        }
        true
    }
}

/// The one attribute that is named, if any. Nothing where two are.
#[expect(clippy::option_option, reason = "outside: whether it is sound; inside: whether it is said")]
pub fn attribute<'f>(file: &'f written::Zones, findings: &mut Findings) -> Option<Option<Attribute<'f>>> {
    let keys = [
        (Says::Rate, "rate", &file.rate),
        (Says::SeedsPerHa, "seeds_per_ha", &file.seeds_per_ha),
        (Says::PlantsPerHa, "plants_per_ha", &file.plants_per_ha),
        (Says::BetweenSeeds, "between_seeds", &file.between_seeds),
        (Says::BetweenHills, "between_hills", &file.between_hills),
    ];
    let said: Vec<_> =
        keys.into_iter().filter_map(|(says, key, name)| Some((says, key, name.as_ref()?))).collect();
    match said.as_slice() {
        [] => Some(None),
        [(says, _, name)] => Some(Some(Attribute { says: *says, name })),
        [(_, first, _), (_, second, name), ..] => {
            findings
                .raise(
                    "zones/rate-attribute",
                    &name.place,
                    format!("`{first}` and `{second}` each name an attribute with the rate"),
                )
                .hint(format!("leave out `{first}` or `{second}`"));
            None
        }
    }
}

/// What people call a zone, else its number.
pub fn called(zone: &SurveyedZone<'_>, index: usize) -> String {
    zone.shape.names().next().map_or_else(|| format!("number {}", index + 1), |name| format!("`{name}`"))
}

/// The share of the field's own number of seeds that a zone asks for, in the pattern that it states.
pub fn rate(
    zone: &SurveyedZone<'_>,
    (name, pattern): (&str, Option<Pattern>),
    attribute: &Attribute<'_>,
    (spacing, crop): (&Spacing, Option<&Crop>),
    findings: &mut Findings,
) -> Option<f64> {
    tell_other_distance(name, pattern, attribute, spacing, findings)?;
    let key = &attribute.name.value;
    let Some(text) = zone.shape.attribute(key) else {
        let known: Vec<&str> = zone.shape.attributes.iter().map(|(key, _)| key.as_str()).collect();
        let hint = if known.is_empty() {
            format!("give it the attribute `{key}`")
        } else {
            format!("give it the attribute `{key}`; it has {}", known.join(", "))
        };
        findings
            .raise("zones/attribute-missing", &attribute.name.place, format!("zone {name} has no `{key}`"))
            .hint(hint);
        return None;
    };
    let asked = match attribute.says {
        Says::Rate => units::parse::<Share>(text).map(Share::ratio).or_else(bare).map(Asked::Rate),
        Says::SeedsPerHa => number(text).map(Asked::SeedsPerHa),
        Says::PlantsPerHa => number(text).map(Asked::PlantsPerHa),
        Says::BetweenSeeds | Says::BetweenHills => units::parse::<Length>(text).map(Asked::BetweenPlaces),
    };
    let Ok(asked) = asked else {
        let example = match attribute.says {
            Says::Rate => "`0.8` or `80 %`",
            Says::SeedsPerHa | Says::PlantsPerHa => "`90000`",
            Says::BetweenSeeds | Says::BetweenHills => "`18 cm`, with its unit",
        };
        findings
            .raise(
                "zones/attribute-unreadable",
                &attribute.name.place,
                format!("`{key}` of zone {name} is `{text}`, which tells no rate"),
            )
            .hint(format!("write it as {example}"));
        return None;
    };
    let rate = asked.share(spacing, pattern, crop)?;
    let unsown = rate == 0.0 && !attribute.says.is_distance();
    if unsown || RATES.contains(&rate) {
        return Some(rate);
    }
    let hint = if attribute.says == Says::Rate && RATES.contains(&(rate / 100.0)) {
        format!("a share in per cent has its sign: `{} %`", brief(rate))
    } else {
        "a zone gets 20 % to 500 % of the field's own seeds, or 0 and stays unsown".to_owned()
    };
    findings
        .raise(
            "zones/rate",
            &attribute.name.place,
            format!("zone {name} asks for {} of the field's own number of seeds", percent(rate)),
        )
        .hint(hint);
    None
}

/// Nothing, and told, where the distance is that of another pattern: where a zone states its own, between seeds
/// in hills; and between hills where there are none.
fn tell_other_distance(
    name: &str,
    pattern: Option<Pattern>,
    attribute: &Attribute<'_>,
    spacing: &Spacing,
    findings: &mut Findings,
) -> Option<()> {
    let in_hills = |pattern| matches!(pattern, Pattern::Hill { .. });
    let (said, are) = match attribute.says {
        Says::BetweenSeeds if pattern.is_some_and(in_hills) => ("`between_seeds` is not said of", "are"),
        Says::BetweenHills if !in_hills(pattern.unwrap_or(spacing.pattern)) => {
            ("`between_hills` is said of", "are not")
        }
        _ => return Some(()),
    };
    findings
        .raise(
            "spacing/pattern",
            &attribute.name.place,
            format!("{said} hills, and the seeds of zone {name} {are} in hills"),
        )
        .hint("name an attribute with a share in its place, which fits every pattern: `rate = \"rate\"`");
    None
}

fn bare(error: NotQuantity) -> Result<f64, NotQuantity> {
    match error {
        NotQuantity::BareNumber(number) => Ok(number),
        other => Err(other),
    }
}

fn number(text: &str) -> Result<f64, NotQuantity> {
    text.trim().parse().ok().filter(|number: &f64| number.is_finite()).ok_or(NotQuantity::NoNumber)
}
