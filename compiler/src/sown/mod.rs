//! What was sown, from the folder that the sowing job's compile left; never planned anew.
//!
//! In: a weeding job with the bytes of `manifest.json`, `plan.geojson` and `seed-rows.geojson`. Out: the
//! site in the very field frame of the seed map, its lanes and its seeds, as values of the stages that
//! made them. Every file must have the digest that the
//! manifest gives it, and the manifest the one that the job pins.

mod field;
mod folder;
mod lanes;
mod missing;

use crate::check::{Job, Operation, Order, WeedingJob};
use crate::diagnostic::{Finding, Severity, Told};
use crate::lanes::LanePlan;
use crate::rules;
use crate::seeds::SeedMap;
use crate::site::{self, Projector, Site};
use crate::uncertainty::Sigma;
use folder::Folder;
use lanewright_schema::quantity::Length;

/// What was sown.
#[derive(Clone, Debug)]
pub struct Sown {
    /// The weeding as a job on the sown fields.
    pub job: Job,
    /// The fields in metres, in the seed map's frame.
    pub site: Site,
    /// The fields, in the job's order.
    pub fields: Vec<SownField>,
}

/// A field as it was sown.
#[derive(Clone, Debug)]
pub struct SownField {
    /// The lanes as the sowing machine drove them.
    pub lanes: LanePlan,
    /// Where its seed outlets were.
    pub outlets: Outlets,
    /// Every seed.
    pub seeds: SeedMap,
    /// For each run of seeds, how far its plants may stand from where the map says.
    pub sigmas: Vec<Sigma>,
}

/// The seed outlets of the sowing machine.
#[derive(Clone, Debug, PartialEq)]
pub struct Outlets {
    /// How far each lay to the right of the reference point, from left to right.
    pub offsets: Vec<Length>,
    /// How far all lay ahead of it.
    pub forward: Length,
}

/// Reads a sown folder and puts the weeding job on it.
pub fn sown(asked: &WeedingJob) -> Told<Sown> {
    let mut findings = Vec::new();
    let value = rebuild(asked, &mut findings).unwrap_or_else(|finding| {
        findings.push(finding);
        None
    });
    let refused = findings.iter().any(|finding| finding.severity == Severity::Error);
    Told { value: value.filter(|_| !refused), findings }
}

fn rebuild(asked: &WeedingJob, findings: &mut Vec<Finding>) -> Result<Option<Sown>, Finding> {
    let folder = Folder::read(asked, findings)?;
    let frames = folder.frames(asked)?;
    let fields = folder.fields(asked)?;
    let job = Job {
        order: Order {
            title: asked.title.clone(),
            issued: asked.issued,
            customer: asked.customer.clone(),
            farm: asked.farm.clone(),
            operations: vec![asked.pass.operation],
            hours_per_day: asked.hours_per_day,
        },
        frames,
        base_station: folder.base_station(),
        machine: asked.machine.clone(),
        fields,
    };
    findings.extend(before_sowing(asked, &folder)?);
    findings.extend(folder.field_not_sown(asked));
    let Some(site) = site::site_in_frame(&job, &folder.manifest.frame.proj).tell(findings) else {
        return Ok(None);
    };
    let projector = Projector::new(&site.frame)?;
    let fields = job
        .fields
        .iter()
        .map(|field| field::sown_field(&field.name, &folder, &projector))
        .collect::<Result<Vec<_>, _>>()?;
    for (field, sown) in job.fields.iter().zip(&fields) {
        findings.extend(missing::not_on_the_map(&asked.pass, field, &sown.seeds));
    }
    Ok(Some(Sown { job, site, fields }))
}

/// A pass over seeds that are not in the ground yet.
fn before_sowing(asked: &WeedingJob, folder: &Folder) -> Result<Option<Finding>, Finding> {
    let sown = folder.issued()?;
    if asked.pass.date >= sown {
        return Ok(None);
    }
    let message = format!("the pass is planned for {}, the sowing was ordered on {sown}", asked.pass.date);
    Ok(Some(
        rules::finding("weeding/before-sowing", message)
            .with_span(asked.pass.places.date.clone(), "nothing is sown yet")
            .with_hint(format!("write {sown} or a later day")),
    ))
}

impl Operation {
    /// Whether it is a pass over what was sown.
    pub fn is_weeding(self) -> bool {
        self != Self::Sowing
    }
}
