//! Seed lots: what the job's fields are sown with, each lot once.
//!
//! In: the fields' crops. Out: a product for each lot, a crop type for each species, a variety for
//! each lot under it. Fields with the same species, variety and thousand-seed mass share a lot.

use super::{label, number};
use crate::check::{Crop, Job};
use lanewright_schema::quantity::Mass;
use lanewright_schema::taskdata::{
    CropType, CropTypeId, CropVariety, CropVarietyId, Product, ProductId, ProductType, ddi,
};

/// The lots of a job, in the order in which its fields name them.
pub struct Lots<'a> {
    lots: Vec<Lot<'a>>,
}

/// A lot of seed and its identities.
pub struct Lot<'a> {
    /// What it is.
    pub crop: &'a Crop,
    /// As a product.
    pub product: ProductId,
    /// Its species.
    pub crop_type: CropTypeId,
    /// Its variety.
    pub variety: CropVarietyId,
}

impl<'a> Lots<'a> {
    /// The lots of a job.
    pub fn of(job: &'a Job) -> Self {
        let mut lots: Vec<Lot<'a>> = Vec::new();
        for field in &job.fields {
            if lots.iter().any(|lot| lot.holds(&field.crop)) {
                continue;
            }
            let of_species =
                lots.iter().find(|lot| lot.crop.name == field.crop.name).map(|lot| lot.crop_type);
            let next = CropTypeId::office(number(species(&lots)));
            lots.push(Lot {
                crop: &field.crop,
                product: ProductId::office(number(lots.len())),
                crop_type: of_species.unwrap_or(next),
                variety: CropVarietyId::office(number(lots.len())),
            });
        }
        Self { lots }
    }

    /// The lot of a field's crop.
    pub fn of_crop(&self, crop: &Crop) -> Option<&Lot<'a>> {
        self.lots.iter().find(|lot| lot.holds(crop))
    }

    /// Every lot.
    pub fn iter(&self) -> impl Iterator<Item = &Lot<'a>> {
        self.lots.iter()
    }

    /// Each lot as a product with its mass per thousand, counted by the piece.
    pub fn products(&self) -> Vec<Product> {
        let product = |lot: &Lot| Product {
            quantity_ddi: Some(ddi::SETPOINT_COUNT_CONTENT.ddi),
            kind: Some(ProductType::Single),
            mass_mg_per_1000: Some(milligrams(lot.crop.thousand_seed_mass)),
            ..Product::new(lot.product, label(&format!("{} {}", lot.crop.name, lot.crop.variety)))
        };
        self.lots.iter().map(product).collect()
    }

    /// Each species with its varieties.
    pub fn crop_types(&self) -> Vec<CropType> {
        let mut types: Vec<CropType> = Vec::new();
        for lot in &self.lots {
            let variety = CropVariety {
                product: Some(lot.product),
                ..CropVariety::new(lot.variety, label(&lot.crop.variety))
            };
            match types.iter_mut().find(|known| known.id == lot.crop_type) {
                Some(known) => known.varieties.push(variety),
                None => types.push(CropType {
                    varieties: vec![variety],
                    ..CropType::new(lot.crop_type, label(&lot.crop.name))
                }),
            }
        }
        types
    }
}

impl Lot<'_> {
    fn holds(&self, crop: &Crop) -> bool {
        self.crop.name == crop.name
            && self.crop.variety == crop.variety
            && self.crop.thousand_seed_mass == crop.thousand_seed_mass
    }
}

/// How many species there are among the lots.
fn species(lots: &[Lot]) -> usize {
    let first = |(i, lot): &(usize, &Lot)| lots[..*i].iter().all(|other| other.crop.name != lot.crop.name);
    lots.iter().enumerate().filter(first).count()
}

/// Milligrams per thousand seeds, the unit of a product's mass per count.
fn milligrams(thousand_seed_mass: Mass) -> u32 {
    (thousand_seed_mass.to_g() * 1000.0).round() as u32
}
