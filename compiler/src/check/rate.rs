//! How closely soil is sown where that is not as the field's spacing says.
//!
//! In: what is asked of zones or blocks, each in one of four ways, and perhaps a pattern. Out: their rates.
//! Rows line up where rates meet, and seeds keep their distance, because all spacings of a field are whole
//! multiples of one part of its own: the distance in a zone is `step / parts` of the field's, where its rate
//! asks for `1 / rate`, or for `n / rate` with `n` times as many seeds at a place. The fewest parts are taken
//! with which every rate is met within 1 %; where so many parts are not enough, the best of them.

use super::{Crop, Findings, Pattern, Spacing, Stand, brief};
use lanewright_schema::job::Place;
use lanewright_schema::quantity::Length;
use std::ops::RangeInclusive;

/// How closely some soil is sown, and in which pattern.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Rate {
    /// The share of the field's own number of seeds that is asked for.
    pub asked: f64,
    /// Parts of the field's own spacing from place to place; none where nothing is sown.
    pub step: u32,
    /// What lies at a place, where that is not what lies at the field's own.
    pub pattern: Option<Pattern>,
}

impl Rate {
    /// The field's own, on so many parts.
    pub const fn own(parts: u32) -> Self {
        Self { asked: 1.0, step: parts, pattern: None }
    }

    /// How a row is sown at this rate that is sown like `own` at the field's.
    pub fn stand(&self, own: Stand, parts: u32) -> Stand {
        let spacing = own.spacing * f64::from(self.step) / f64::from(parts);
        Stand { spacing, pattern: self.pattern.unwrap_or(own.pattern) }
    }

    /// The share of the field's own number of seeds that it comes to, where those lie in this pattern.
    pub fn sown(&self, (parts, own): (u32, Pattern)) -> f64 {
        let places = if self.step == 0 { 0.0 } else { f64::from(parts) / f64::from(self.step) };
        places * more_seeds(self.pattern, own)
    }

    /// Whether seeds lie alike at both, whatever was asked for.
    pub fn is_sown_like(&self, other: &Self) -> bool {
        (self.step, self.pattern) == (other.step, other.pattern)
    }
}

/// How many times as many seeds lie at a place as at one of the field's own.
fn more_seeds(pattern: Option<Pattern>, own: Pattern) -> f64 {
    f64::from(pattern.unwrap_or(own).seeds()) / f64::from(own.seeds())
}

/// A rate before its places are put on parts of the field's own spacing.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Wanted {
    /// The share of the field's own number of seeds.
    pub share: f64,
    /// What lies at a place, where that is not what lies at the field's own.
    pub pattern: Option<Pattern>,
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
    BetweenPlaces(Length),
}

impl Asked {
    /// As a share of the field's own number of seeds, in the field's own pattern or in another; wanted plants
    /// need a crop.
    pub fn share(self, spacing: &Spacing, pattern: Option<Pattern>, crop: Option<&Crop>) -> Option<f64> {
        let own_per_ha = 1e4 * spacing.own_stand().seeds_per_m2(spacing.between_rows);
        Some(match self {
            Self::Rate(share) => share,
            Self::SeedsPerHa(seeds) => seeds / own_per_ha,
            Self::PlantsPerHa(plants) => {
                let crop = crop?;
                plants / (crop.germination * crop.field_emergence) / own_per_ha
            }
            Self::BetweenPlaces(distance) => {
                spacing.between_seeds / distance * more_seeds(pattern, spacing.pattern)
            }
        })
    }
}

/// What is wanted as rates on one number of parts, in their order, in a field of this pattern.
pub fn on_parts(wanted: &[Wanted], own: Pattern) -> (u32, Vec<Rate>) {
    let places: Vec<f64> =
        wanted.iter().map(|wanted| wanted.share / more_seeds(wanted.pattern, own)).collect();
    let parts = parts(&places);
    let rate = |(wanted, &places): (&Wanted, &f64)| Rate {
        asked: wanted.share,
        step: step(places, parts),
        pattern: wanted.pattern,
    };
    (parts, wanted.iter().zip(&places).map(rate).collect())
}

/// The fewest parts with which so many places for each of the field's own are met, or those with which the
/// worst are met best.
fn parts(places: &[f64]) -> u32 {
    let sown = || places.iter().filter(|&&places| places > 0.0);
    let worst = |parts: u32| sown().map(|&places| off(places, parts).abs()).fold(0.0, f64::max);
    let met = (1..=MOST_PARTS).find(|&parts| worst(parts) <= MET);
    let best = || (1..=MOST_PARTS).min_by(|&a, &b| worst(a).total_cmp(&worst(b))).unwrap_or(1);
    met.unwrap_or_else(best)
}

/// Parts of the field's own spacing from place to place that meet so many places best; none for no place.
fn step(places: f64, parts: u32) -> u32 {
    if places > 0.0 { (f64::from(parts) / places).round().max(1.0) as u32 } else { 0 }
}

/// How far the places that are sown lie from those asked for, as a share of them.
fn off(places: f64, parts: u32) -> f64 {
    f64::from(parts) / f64::from(step(places, parts)) / places - 1.0
}

/// Tells of rates that the parts do not meet.
pub fn tell_rounded(rates: &[Rate], own: (u32, Pattern), place: &Place, findings: &mut Findings) {
    let off = |rate: &Rate| (rate.sown(own) / rate.asked - 1.0).abs();
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
                percent(worst.sown(own))
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
                .hint(format!("write hills shorter than {apart} cm, or a lower rate there"));
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

    const HILL: Pattern = Pattern::Hill { seeds: 3, length: Length::cm(6.0) };

    fn alike(shares: &[f64]) -> Vec<Wanted> {
        shares.iter().map(|&share| Wanted { share, pattern: None }).collect()
    }

    /// Parts, and the steps of the rates.
    fn on(wanted: &[Wanted], own: Pattern) -> (u32, Vec<u32>) {
        let (parts, rates) = on_parts(wanted, own);
        (parts, rates.iter().map(|rate| rate.step).collect())
    }

    #[test]
    fn few_parts_meet_plain_shares() {
        for own in [Pattern::Single, HILL] {
            assert_eq!(on(&alike(&[1.0]), own), (1, vec![1]));
            assert_eq!(on(&alike(&[1.0, 0.75]), own), (3, vec![3, 4]));
            assert_eq!(on(&alike(&[0.8, 0.0, 1.0, 1.25]), own), (20, vec![25, 0, 20, 16]));
        }
    }

    /// Three seeds at a place lie three times as far apart, and a third as far where the field has hills.
    #[test]
    fn as_many_seeds_in_another_pattern_lie_otherwise_apart() {
        let wanted = |share, pattern| Wanted { share, pattern: Some(pattern) };
        assert_eq!(on(&[wanted(1.0, HILL)], Pattern::Single), (1, vec![3]));
        assert_eq!(on(&[wanted(1.0, Pattern::Single)], HILL), (3, vec![1]));
        assert_eq!(on(&[wanted(0.75, HILL), wanted(1.5, Pattern::Drill)], Pattern::Single), (3, vec![12, 2]));
        let (parts, rates) = on_parts(&[wanted(1.5, Pattern::Drill)], HILL);
        let own = Stand { spacing: Length::cm(36.0), pattern: HILL };
        let stand = rates[0].stand(own, parts);
        assert_eq!(stand.pattern, Pattern::Drill);
        assert!((stand.spacing.to_cm() - 8.0).abs() < 0.08, "{} cm", stand.spacing.to_cm());
        assert!(rates[0].is_sown_like(&Rate { asked: 1.49, ..rates[0] }));
        assert!(!rates[0].is_sown_like(&Rate { pattern: None, ..rates[0] }));
    }

    proptest! {
        /// A single share between half and double is met, and a few are met nearly, whatever the pattern.
        #[test]
        fn shares_are_met(
            shares in prop::collection::vec(0.5..2.0_f64, 1..5), seeds in 2_u32..5, hills in any::<bool>(),
        ) {
            let hill = Pattern::Hill { seeds, length: Length::cm(1.0) };
            let (own, pattern) = if hills { (hill, None) } else { (Pattern::Single, Some(hill)) };
            let wanted: Vec<Wanted> = shares.iter().map(|&share| Wanted { share, pattern }).collect();
            let off = |wanted: &[Wanted]| {
                let (parts, rates) = on_parts(wanted, own);
                let off = |rate: &Rate| (rate.sown((parts, own)) / rate.asked - 1.0).abs();
                rates.iter().map(off).fold(0.0, f64::max)
            };
            prop_assert!(off(&wanted[..1]) <= MET + 1e-12);
            prop_assert!(off(&wanted) < 0.03);
        }

        /// What a rate is sown as is what its stand has.
        #[test]
        fn the_share_is_that_of_the_stand(step in 1_u32..200, parts in 1_u32..61, seeds in 2_u32..9, own_seeds in 2_u32..9) {
            let hill = |seeds| Pattern::Hill { seeds, length: Length::cm(1.0) };
            let own = Stand { spacing: Length::cm(40.0), pattern: hill(own_seeds) };
            let rows = Length::cm(45.0);
            for pattern in [None, Some(Pattern::Single), Some(hill(seeds))] {
                let rate = Rate { asked: 1.0, step, pattern };
                let stood = rate.stand(own, parts).seeds_per_m2(rows) / own.seeds_per_m2(rows);
                prop_assert!((rate.sown((parts, own.pattern)) / stood - 1.0).abs() < 1e-12);
            }
        }
    }
}
