//! The way through, on one screen: a job's path in, everything computed from it out.
//!
//! Each step is a stage: a pure function from plain values to plain values. Fields are planned
//! side by side, and their findings keep the job's order. Nothing here reads or writes a file; the
//! caller lends the [`Sources`] and takes the [`Emission`].

use crate::audit::{self, Audit};
use crate::budget::{self, Budget};
use crate::check::{self, Field, Job, WeedingJob};
use crate::diagnostic::{Finding, Told};
use crate::emit::{self, About, Emission};
use crate::lanes::{self, LanePlan, LeftOverReason};
use crate::operations::{self, Release, WorkOrder};
use crate::read::{self, Input, Sources};
use crate::rest::{self, Rest, Restart};
use crate::retrace::{self, Retraced};
use crate::route::{self, Effort, Route, Rows};
use crate::rules;
use crate::seeds::{self, SeedMap};
use crate::site::{self, FieldSite, Site, SiteZones};
use crate::sown::{self, SownField};
use crate::uncertainty::{self, Uncertainty};
use crate::weeding::{self, Weeding};
use lanewright_schema::job::Asked;
use lanewright_schema::quantity::Length;
use rayon::prelude::*;

/// What is asked for besides what the job says.
#[derive(Clone, Debug, Default)]
pub struct Wish {
    /// How thoroughly the order of the lanes is searched for.
    pub effort: Effort,
    /// Where an order that was interrupted goes on: its rest is compiled, on the same lattice.
    pub restart: Option<Restart>,
}

/// Takes a job through every stage, or as far as it is not refused.
pub fn compile(sources: &dyn Sources, path: &str, wish: &Wish) -> Compilation {
    let read = read::read(sources, path);
    let mut findings = read.findings;
    let readable = findings.is_empty();
    let compiled = match read.asked {
        Some(Asked::Sowing(draft)) => {
            let job = check::check(&draft).tell(&mut findings);
            job.filter(|_| readable).and_then(|job| plan(job, wish, &mut findings))
        }
        Some(Asked::Weeding(file)) => {
            let job = check::weeding_job(&file).tell(&mut findings);
            let job = job.filter(|_| readable && whole_pass(wish, &mut findings));
            job.and_then(|job| plan_weeding(&job, wish.effort, &mut findings))
        }
        None => None,
    };
    Compilation { compiled, findings, inputs: read.inputs }
}

fn plan(job: Job, wish: &Wish, findings: &mut Vec<Finding>) -> Option<Compiled> {
    let names: Vec<&str> = job.fields.iter().map(|field| field.name.as_str()).collect();
    if let Some(finding) = wish.restart.as_ref().and_then(|restart| rest::which_field(restart, &names)) {
        findings.push(finding);
        return None;
    }
    findings.extend(emit::taskdata::limits(&job));
    let site = site::site(&job).tell(findings)?;
    let plans: Vec<Told<FieldPlan>> = job
        .fields
        .par_iter()
        .zip(&site.fields)
        .enumerate()
        .map(|(index, (field, place))| {
            let baseline = site.baseline.as_ref().map(|baseline| baseline.to_fields[index]);
            plan_field(&job, field, place, baseline, wish)
        })
        .collect();
    let plans: Vec<Option<FieldPlan>> = plans.into_iter().map(|plan| plan.tell(findings)).collect();
    let fields = plans.into_iter().collect::<Option<_>>()?;
    Some(Compiled { job, site, fields, effort: wish.effort })
}

fn plan_field(
    job: &Job,
    field: &Field,
    place: &FieldSite,
    baseline: Option<Length>,
    wish: &Wish,
) -> Told<FieldPlan> {
    let mut findings = Vec::new();
    let value = stages(job, field, place, baseline, wish, &mut findings);
    Told { value, findings }
}

fn stages(
    job: &Job,
    field: &Field,
    place: &FieldSite,
    baseline: Option<Length>,
    wish: &Wish,
    findings: &mut Vec<Finding>,
) -> Option<FieldPlan> {
    let machine = &job.machine;
    let lanes = lanes::lanes(field, place, machine).tell(findings)?;
    let zones = seeds::zones_of(&lanes, field, place);
    let ahead = seeds::seeds(&lanes, &[], &field.spacing, &zones, machine);
    let hoppers = route::hoppers(place, machine, &field.crop, &lanes, &ahead);
    let rows = Rows::SownOnTheWay;
    let route =
        route::route(field, place, machine, &lanes, rows, Some(&hoppers), wish.effort).tell(findings)?;
    let lanes = lanes::without(lanes, &route.cut_off, LeftOverReason::CutOff, machine);
    let lanes = seeds::sown_rows(lanes, &field.spacing, &zones, machine);
    let seeds = seeds::seeds(&lanes, &route.visits, &field.spacing, &zones, machine);
    let uncertainty = uncertainty::uncertainty(machine, baseline, &field.crop);
    let whole = Rest { lanes, seeds, route };
    let here = |at: &&Restart| at.field.as_ref().is_none_or(|name| *name == field.name);
    let Rest { lanes, seeds, route } = match wish.restart.as_ref().filter(here) {
        Some(restart) => rest::rest(whole, restart, machine).tell(findings)?,
        None => whole,
    };
    let lanes = lanes::with_overlap(lanes, machine);
    let route = route::refills(field, place, machine, &lanes, &seeds, route).tell(findings)?;
    let orders = operations::operations(&job.order.operations, field, machine);
    let release = operations::release(field, &zones, machine, &lanes, &route.visits, &uncertainty);
    let release = release.tell(findings)?;
    let budget = budget::budget(&job.order, field, machine, &lanes, &route, &seeds);
    let audit = audit::audit(field, place, machine, &lanes, &route, &seeds).tell(findings)?;
    let (release, weeding) = (Some(release), None);
    Some(FieldPlan { lanes, route, zones, seeds, uncertainty, orders, release, weeding, budget, audit })
}

/// The rest of a weeding pass is not planned; tells so where it is asked for.
fn whole_pass(wish: &Wish, findings: &mut Vec<Finding>) -> bool {
    findings.extend(wish.restart.as_ref().map(|_| {
        rules::finding("resume/weeding", "the rest of a weeding pass cannot be planned").with_hint(
            "compile the weeding job as a whole, and start the machine at the lane where it stopped",
        )
    }));
    wish.restart.is_none()
}

/// A pass over what was sown: lanes and seeds come from the sown folder, the rest is planned.
fn plan_weeding(asked: &WeedingJob, effort: Effort, findings: &mut Vec<Finding>) -> Option<Compiled> {
    let sown::Sown { job, site, fields } = sown::sown(asked).tell(findings)?;
    findings.extend(emit::taskdata::limits(&job));
    let plans: Vec<Told<FieldPlan>> = fields
        .into_par_iter()
        .enumerate()
        .map(|(index, sown)| {
            let baseline = site.baseline.as_ref().map(|baseline| baseline.to_fields[index]);
            let mut findings = Vec::new();
            let (field, place) = (&job.fields[index], &site.fields[index]);
            let value = weeding_stages(asked, &job, (field, place, sown), baseline, effort, &mut findings);
            Told { value, findings }
        })
        .collect();
    let plans: Vec<Option<FieldPlan>> = plans.into_iter().map(|plan| plan.tell(findings)).collect();
    let fields = plans.into_iter().collect::<Option<_>>()?;
    Some(Compiled { job, site, fields, effort })
}

fn weeding_stages(
    asked: &WeedingJob,
    job: &Job,
    (field, place, sown): (&Field, &FieldSite, SownField),
    baseline: Option<Length>,
    effort: Effort,
    findings: &mut Vec<Finding>,
) -> Option<FieldPlan> {
    let machine = &job.machine;
    let over = retrace::retrace(&asked.pass, machine, field, place, sown).tell(findings)?;
    let weeding = weeding::weeding(&asked.pass, machine, baseline, field, &over).tell(findings)?;
    let Retraced { lanes, seeds, .. } = over;
    let route = route::route(field, place, machine, &lanes, Rows::SownBefore, None, effort).tell(findings)?;
    let lanes = lanes::without(lanes, &route.cut_off, LeftOverReason::CutOff, machine);
    let lanes = lanes::with_overlap(lanes, machine);
    let uncertainty = uncertainty::uncertainty(machine, baseline, &field.crop);
    let budget = budget::weeding_budget(&job.order, machine, &lanes, &route, &seeds);
    let audit = audit::audit(field, place, machine, &lanes, &route, &seeds).tell(findings)?;
    let (orders, release, weeding) = (Vec::new(), None, Some(weeding));
    let zones = place.zones.clone();
    Some(FieldPlan { lanes, route, zones, seeds, uncertainty, orders, release, weeding, budget, audit })
}

/// What became of a job.
#[derive(Clone, Debug)]
pub struct Compilation {
    /// All that was computed, unless the job is refused.
    pub compiled: Option<Compiled>,
    /// Everything found, stage by stage.
    pub findings: Vec<Finding>,
    /// Every file that was read, the job first.
    pub inputs: Vec<Input>,
}

impl Compilation {
    /// The files of a compiled job, in a folder of this name.
    pub fn emission<'a>(&'a self, compiled: &'a Compiled, name: &str, seed_file: SeedFile) -> Emission<'a> {
        let inputs: Vec<emit::Input> =
            self.inputs.iter().map(|input| emit::Input { path: &input.path, bytes: &input.bytes }).collect();
        let about = About { job: name, inputs: &inputs, findings: &self.findings };
        let emission = emit::emit(compiled, &about);
        if compiled.fields.iter().any(|field| field.weeding.is_some()) {
            let write = move |out: &mut dyn std::io::Write| emit::weed_events::weed_events(compiled, out);
            return emission.with("weed-events.parquet", write);
        }
        match seed_file {
            SeedFile::LeftOut => emission,
            SeedFile::Written => {
                emission.with("seeds.parquet", move |out| emit::seed_files::seeds_parquet(compiled, out))
            }
        }
    }
}

/// Whether every single seed gets its row in a file.
#[derive(Copy, Clone, Debug, PartialEq, Eq)]
pub enum SeedFile {
    /// It does.
    Written,
    /// It does not; the runs tell all.
    LeftOut,
}

/// A job with all that was computed from it.
#[derive(Clone, Debug)]
pub struct Compiled {
    /// What was asked.
    pub job: Job,
    /// The fields in metres.
    pub site: Site,
    /// One plan for each field, in the job's order.
    pub fields: Vec<FieldPlan>,
    /// How thoroughly the order of the lanes was searched for.
    pub effort: Effort,
}

/// Everything computed for one field.
#[derive(Clone, Debug)]
pub struct FieldPlan {
    /// Lanes and what stays unworked.
    pub lanes: LanePlan,
    /// Their order and the ways between.
    pub route: Route,
    /// How closely its parts are sown.
    pub zones: SiteZones,
    /// Every seed.
    pub seeds: SeedMap,
    /// How far its plants may stand from there.
    pub uncertainty: Uncertainty,
    /// Set-points, one for each operation.
    pub orders: Vec<WorkOrder>,
    /// When seeds are let go, where any are.
    pub release: Option<Release>,
    /// What tools do, where the job is a weeding job.
    pub weeding: Option<Weeding>,
    /// Time and seed.
    pub budget: Budget,
    /// What was proven.
    pub audit: Audit,
}
