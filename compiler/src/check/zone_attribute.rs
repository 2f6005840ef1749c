//! The attribute of a file of zones that tells how closely each is sown.
//!
//! In: the keys that name it, and each zone with its attributes. Out: each zone's share of the field's own
//! number of seeds.

use super::rate::{Asked, RATES, percent};
use super::{Crop, Findings, Spacing, brief};
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
        if self.says == Says::BetweenSeeds {
            findings
                .raise("zones/attribute-unreadable", place, "the number of a raster's cell has no unit")
                .hint("sort the numbers into classes: `class = [{ from = 17, below = 19, between_seeds = \"18 cm\" }]`");
            return false;
        }
        true
    }
}

/// The one attribute that is named.
pub fn attribute<'f>(file: &'f written::Zones, findings: &mut Findings) -> Option<Attribute<'f>> {
    let keys = [
        (Says::Rate, "rate", &file.rate),
        (Says::SeedsPerHa, "seeds_per_ha", &file.seeds_per_ha),
        (Says::PlantsPerHa, "plants_per_ha", &file.plants_per_ha),
        (Says::BetweenSeeds, "between_seeds", &file.between_seeds),
    ];
    let said: Vec<_> =
        keys.into_iter().filter_map(|(says, key, name)| Some((says, key, name.as_ref()?))).collect();
    match said.as_slice() {
        [(says, _, name)] => Some(Attribute { says: *says, name }),
        [] => {
            findings
                .raise(
                    "zones/rate-attribute",
                    &file.place,
                    "nothing says which attribute tells a zone's rate",
                )
                .hint("add, for example, `rate = \"rate\"`, the attribute with `0.8` or `80 %`");
            None
        }
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

/// The share of the field's own number of seeds that a zone asks for.
pub fn rate(
    zone: &SurveyedZone<'_>,
    index: usize,
    attribute: &Attribute<'_>,
    spacing: &Spacing,
    crop: Option<&Crop>,
    findings: &mut Findings,
) -> Option<f64> {
    let name =
        zone.shape.names().next().map_or_else(|| format!("number {}", index + 1), |n| format!("`{n}`"));
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
        Says::BetweenSeeds => units::parse::<Length>(text).map(Asked::BetweenPlaces),
    };
    let Ok(asked) = asked else {
        let example = match attribute.says {
            Says::Rate => "`0.8` or `80 %`",
            Says::SeedsPerHa | Says::PlantsPerHa => "`90000`",
            Says::BetweenSeeds => "`18 cm`, with its unit",
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
    let rate = asked.share(spacing, None, crop)?;
    let unsown = rate == 0.0 && attribute.says != Says::BetweenSeeds;
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

fn bare(error: NotQuantity) -> Result<f64, NotQuantity> {
    match error {
        NotQuantity::BareNumber(number) => Ok(number),
        other => Err(other),
    }
}

fn number(text: &str) -> Result<f64, NotQuantity> {
    text.trim().parse().ok().filter(|number: &f64| number.is_finite()).ok_or(NotQuantity::NoNumber)
}
