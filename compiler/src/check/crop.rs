//! The crop and its seed lot.

use super::{Crop, Findings, brief};
use lanewright_schema::job::units::Share;
use lanewright_schema::job::{self as written, Written};
use lanewright_schema::quantity::{Length, Mass};

/// How far a plant comes up beside its seed where the job does not say: chosen so that ordinary
/// machines come out within the published errors of seed maps; no source of its own.
const PLANT_SCATTER: Length = Length::mm(18.0);

/// Checks a crop.
pub fn crop(file: &written::Crop, findings: &mut Findings) -> Option<Crop> {
    findings.above_zero(&file.depth, "depth");
    findings.above_zero(&file.thousand_seed_mass, "thousand_seed_mass");
    findings.within(&file.depth, "depth", &(Length::mm(0.1)..=Length::m(1.0), "0.1 mm to 1 m"));
    let masses = (Mass::g(0.001)..=Mass::kg(100.0), "0.001 g to 100 kg");
    findings.within(&file.thousand_seed_mass, "thousand_seed_mass", &masses);
    let germination = share(&file.germination, "germination", findings);
    let field_emergence = share(&file.field_emergence, "field_emergence", findings);
    if let Some(unit) = &file.seeds_per_unit {
        findings.above_zero(unit, "seeds_per_unit");
    }
    if let Some(scatter) = &file.plant_scatter {
        findings.not_negative(scatter, "plant_scatter");
        findings.within(scatter, "plant_scatter", &(Length::ZERO..=Length::cm(20.0), "0 mm to 20 cm"));
    }
    Some(Crop {
        name: file.name.value.clone(),
        variety: file.variety.value.clone(),
        depth: file.depth.value,
        thousand_seed_mass: file.thousand_seed_mass.value,
        germination: germination?,
        field_emergence: field_emergence?,
        seeds_per_unit: file.seeds_per_unit.as_ref().map(|unit| u64::from(unit.value)),
        plant_scatter: file.plant_scatter.as_ref().map_or(PLANT_SCATTER, |scatter| scatter.value),
    })
}

fn share(share: &Written<Share>, key: &str, findings: &mut Findings) -> Option<f64> {
    let ratio = share.value.ratio();
    if ratio > 0.0 && ratio <= 1.0 {
        return Some(ratio);
    }
    findings
        .raise("crop/share", &share.place, format!("`{key}` is {} %", brief(ratio * 100.0)))
        .label("must be above 0 % and at most 100 %")
        .hint("write the share as the seed lot's certificate gives it, for example `\"92 %\"`");
    None
}
