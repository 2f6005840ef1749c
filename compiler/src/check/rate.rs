//! How closely soil is sown where that is not as the field's spacing says.
//!
//! In: what is asked of zones or blocks, each in one of four ways. Out: their rates.
//! Rows line up where rates meet, and seeds keep their distance, because all spacings of a field are whole
//! multiples of one part of its own: the distance in a zone is `step / parts` of the field's, where its rate
//! asks for `1 / rate`. The fewest parts are taken with which every rate is met within 1 %; where so many
//! parts are not enough, the best of them.

use super::{Crop, Findings, Spacing, Stand, brief};
use lanewright_schema::job::Place;
use lanewright_schema::quantity::Length;
use std::ops::RangeInclusive;

/// A share of the field's own number of seeds.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Rate {
    /// As asked for.
    pub asked: f64,
    /// Parts of the field's own spacing from place to place; none where nothing is sown.
    pub step: u32,
}

impl Rate {
    /// The field's own, on so many parts.
    pub const fn own(parts: u32) -> Self {
        Self { asked: 1.0, step: parts }
    }

    /// How a row is sown at this rate that is sown like `own` at the field's.
    pub fn stand(&self, own: Stand, parts: u32) -> Stand {
        Stand { spacing: own.spacing * f64::from(self.step) / f64::from(parts), ..own }
    }

    /// The share of the field's own number of seeds that it comes to.
    pub fn sown(&self, parts: u32) -> f64 {
        if self.step == 0 { 0.0 } else { f64::from(parts) / f64::from(self.step) }
    }

    /// Whether seeds lie alike at both, whatever was asked for.
    pub fn is_sown_like(&self, other: &Self) -> bool {
        self.step == other.step
    }
}

/// Rates beyond which something else was meant.
pub const RATES: RangeInclusive<f64> = 0.2..=5.0;
/// A rate met as near as this is met.
const MET: f64 = 0.01;
/// The spacing is divided into so many parts at most.
const MOST_PARTS: u32 = 60;

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

/// Shares of the field's own number of seeds as rates on one number of parts, in their order.
pub fn on_parts(shares: &[f64]) -> (u32, Vec<Rate>) {
    let parts = parts(shares);
    (parts, shares.iter().map(|&asked| Rate { asked, step: step(asked, parts) }).collect())
}

/// The fewest parts with which every share is met, or those with which the worst is met best.
fn parts(shares: &[f64]) -> u32 {
    let sown = || shares.iter().filter(|&&share| share > 0.0);
    let worst = |parts: u32| sown().map(|&share| off(share, parts).abs()).fold(0.0, f64::max);
    let met = (1..=MOST_PARTS).find(|&parts| worst(parts) <= MET);
    let best = || (1..=MOST_PARTS).min_by(|&a, &b| worst(a).total_cmp(&worst(b))).unwrap_or(1);
    met.unwrap_or_else(best)
}

/// Parts of the field's own spacing from place to place that meet a share best; none for no share.
fn step(share: f64, parts: u32) -> u32 {
    if share > 0.0 { (f64::from(parts) / share).round().max(1.0) as u32 } else { 0 }
}

/// How far the share that is sown lies from the one asked for, as a share of it.
fn off(share: f64, parts: u32) -> f64 {
    f64::from(parts) / f64::from(step(share, parts)) / share - 1.0
}

/// Tells of rates that the parts do not meet.
pub fn tell_rounded(rates: &[Rate], parts: u32, place: &Place, findings: &mut Findings) {
    let off = |rate: &Rate| (rate.sown(parts) / rate.asked - 1.0).abs();
    let sown = rates.iter().filter(|rate| rate.step > 0);
    let worst = sown.max_by(|a, b| off(a).total_cmp(&off(b)).then(a.asked.total_cmp(&b.asked)));
    let Some(worst) = worst.filter(|worst| off(worst) > MET) else { return };
    findings
        .raise(
            "zones/rate-rounded",
            place,
            format!(
                "{} of the field's seeds is sown as {}, the nearest that keeps all rates on one lattice",
                percent(worst.asked),
                percent(worst.sown(parts))
            ),
        )
        .hint("fewer rates that differ from each other are met more closely");
}

/// Hills that run into each other where soil is sown at this rate.
pub fn tell_long_hills(
    within: &str,
    (rate, parts): (Rate, u32),
    spacing: &Spacing,
    place: &Place,
    findings: &mut Findings,
) {
    let own = std::iter::once(spacing.own_stand()).chain(spacing.own_rows.iter().map(|own| own.stand));
    for stand in own.map(|own| rate.stand(own, parts)) {
        if stand.pattern.length() >= stand.spacing {
            let apart = brief(stand.spacing.to_cm());
            findings
                .raise(
                    "spacing/hill-too-long",
                    place,
                    format!(
                        "in {within} hills {} cm long run into each other: their middles are {apart} cm apart",
                        brief(stand.pattern.length().to_cm())
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
    fn few_parts_meet_plain_shares() {
        let on = |shares: &[f64]| {
            let (parts, rates) = on_parts(shares);
            (parts, rates.iter().map(|rate| rate.step).collect::<Vec<_>>())
        };
        assert_eq!(on(&[1.0]), (1, vec![1]));
        assert_eq!(on(&[1.0, 0.75]), (3, vec![3, 4]));
        assert_eq!(on(&[0.8, 0.0, 1.0, 1.25]), (20, vec![25, 0, 20, 16]));
    }

    proptest! {
        /// A single share between half and double is met, and a few are met nearly.
        #[test]
        fn shares_are_met(shares in prop::collection::vec(0.5..2.0_f64, 1..5)) {
            let off = |shares: &[f64]| {
                let (parts, rates) = on_parts(shares);
                rates.iter().map(|rate| (rate.sown(parts) / rate.asked - 1.0).abs()).fold(0.0, f64::max)
            };
            prop_assert!(off(&shares[..1]) <= MET);
            prop_assert!(off(&shares) < 0.03);
        }
    }
}
