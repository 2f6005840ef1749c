//! The weeding job as checked: what the text alone decides of a pass. What needs the seed map is left
//! to `sown` and `weeding`.

use super::emergence;
use super::{Findings, Machine, Operation, ReferenceFrame, brief, field, machine};
use crate::diagnostic::{Severity, Span, Told};
use crate::read::span;
use crate::season::{Emergence, Season};
use chrono::NaiveDate;
use lanewright_schema::job::{self as written, DirectionName, Part, Place, SownFiles, WeedingName, Written};
use lanewright_schema::quantity::{Length, Time};
use lanewright_schema::seedmap::missing::{self, Missing};
use std::collections::BTreeSet;

/// A weeding job: one pass over what was sown.
#[derive(Clone, Debug)]
pub struct WeedingJob {
    /// The files of the sown folder.
    pub sown: Written<SownFiles>,
    /// The digest that its manifest must have.
    pub pin: Option<Written<String>>,
    /// Fields to weed; all of the folder where none is named.
    pub fields: Vec<Written<String>>,
    /// The frame of the base station on the day, where it is stated.
    pub base_station_frame: Option<ReferenceFrame>,
    /// Title of the work order.
    pub title: String,
    /// Day of issue.
    pub issued: NaiveDate,
    /// The customer's name.
    pub customer: String,
    /// The farm's name.
    pub farm: String,
    /// Hours of work a day.
    pub hours_per_day: Time,
    /// The machine that weeds; its working speed is the pass's.
    pub machine: Machine,
    /// What it does.
    pub pass: Pass,
}

/// A pass over the field.
#[derive(Clone, Debug, PartialEq)]
pub struct Pass {
    /// What is done; never sowing.
    pub operation: Operation,
    /// Day of the work.
    pub date: NaiveDate,
    /// How it runs over straight rows.
    pub direction: Direction,
    /// How deep the tools work, above zero.
    pub depth: Length,
    /// The tools.
    pub tools: Tools,
    /// Places without a seed.
    pub missing: BTreeSet<Missing>,
    /// What a metre over sown rows counts more than the time that it takes. Not negative.
    pub over_sown_rows: Time,
    /// Where the job states what a later stage may refuse.
    pub places: PassPlaces,
}

/// How a pass runs over straight rows.
#[derive(Copy, Clone, Debug, PartialEq, Eq)]
pub enum Direction {
    /// Along them.
    Along,
    /// At right angles to them.
    Across,
}

/// Where the job states parts of a pass.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PassPlaces {
    /// The pass.
    pub pass: Span,
    /// The day.
    pub date: Span,
    /// The depth.
    pub depth: Span,
    /// The speed.
    pub speed: Span,
    /// The tools' or the blade's width.
    pub width: Span,
    /// The rows of the machine.
    pub rows: Span,
    /// The table of places without a seed.
    pub missing: Span,
    /// The direction over the rows.
    pub direction: Span,
}

/// What works the soil.
#[derive(Clone, Debug, PartialEq)]
pub enum Tools {
    /// Tools above the seeds, before plants are up.
    OverSeeds(OverSeeds),
    /// Tools in the gaps between the rows.
    BetweenRows(BetweenRows),
    /// A blade in each row.
    InRow(InRow),
}

/// Tools that work above the seeds.
#[derive(Clone, Debug, PartialEq)]
pub struct OverSeeds {
    /// First day on which plants are expected to be up.
    pub emergence: NaiveDate,
    /// What that day was computed from, where it was not given.
    pub thermal: Option<(Season, Emergence)>,
    /// How much shallower than the seed they stay.
    pub clearance: Length,
    /// How wide one row's tool works; the whole row spacing where the whole surface is worked.
    pub worked: Length,
}

/// Tools between the rows.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct BetweenRows {
    /// Tools in a gap, at least one.
    pub per_gap: u32,
    /// Width of one, above zero.
    pub width: Length,
    /// How far neighbours overlap.
    pub overlap: Length,
    /// How much room plants are left.
    pub clear: Clear,
}

impl BetweenRows {
    /// Width that the tools of a gap work together.
    pub fn worked(&self) -> Length {
        self.width * f64::from(self.per_gap) - self.overlap * f64::from(self.per_gap - 1)
    }
}

/// A blade in the row.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct InRow {
    /// Its width along the row, above zero.
    pub width: Length,
    /// Time to cross the band along the row.
    pub travel_in: Time,
    /// Time back.
    pub travel_out: Time,
    /// Width of the band, where it is stated.
    pub row_band: Option<Length>,
    /// How much room plants are left.
    pub clear: Clear,
}

/// The room that is left round a plant.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Clear {
    /// How far its leaves reach.
    pub plant_radius: Length,
    /// Deviations of its place beyond them.
    pub deviations: f64,
}

/// How much shallower than the seed tools stay where the job does not say: common practice, no source.
const SEED_CLEARANCE: Length = Length::mm(5.0);
/// Deviations that are kept clear where the job does not say.
const DEVIATIONS: f64 = 2.0;

/// Checks a weeding job.
pub fn weeding_job(file: &written::WeedingFile) -> Told<WeedingJob> {
    let mut findings = Findings::default();
    let job = check(file, &mut findings);
    let refused = findings.0.iter().any(|finding| finding.severity == Severity::Error);
    Told { value: job.filter(|_| !refused), findings: findings.0 }
}

fn check(file: &written::WeedingFile, findings: &mut Findings) -> Option<WeedingJob> {
    let Part(machine_file) = &file.machine;
    let machine = machine::machine(machine_file, findings);
    super::hours(&file.order.hours_per_day, findings);
    let base_station_frame =
        file.base_station_frame.as_ref().map(|text| super::frames::frame(text, findings));
    let pass = pass(&file.pass, machine_file, findings);
    let mut machine = machine?;
    if let Some(speed) = &file.pass.speed {
        findings.above_zero(speed, "speed");
        machine.working_speed = speed.value;
    }
    Some(WeedingJob {
        sown: file.sown.clone(),
        pin: file.sown_digest.clone(),
        fields: file.fields.as_ref().map(|names| names.value.clone()).unwrap_or_default(),
        base_station_frame: match base_station_frame {
            Some(frame) => Some(frame?),
            None => None,
        },
        title: file.order.title.value.clone(),
        issued: file.order.issued.value,
        customer: file.order.customer.value.clone(),
        farm: file.order.farm.value.clone(),
        hours_per_day: file.order.hours_per_day.value,
        machine,
        pass: pass?,
    })
}

fn pass(file: &written::Pass, machine: &written::Machine, findings: &mut Findings) -> Option<Pass> {
    findings.above_zero(&file.depth, "depth");
    let tools = match file.operation.value {
        WeedingName::PreEmergence => over_seeds(file, machine, findings).map(Tools::OverSeeds),
        WeedingName::InterRow => between_rows(file, findings).map(Tools::BetweenRows),
        WeedingName::IntraRow => in_row(file, findings).map(Tools::InRow),
    };
    let missing = match &file.missing {
        Some(table) => missing_seeds(table, findings)?,
        None => BTreeSet::new(),
    };
    let width = file.tools.as_ref().map(|tools| &tools.width.place);
    let width = width.or(file.blade.as_ref().map(|blade| &blade.width.place)).unwrap_or(&file.place);
    let speed = file.speed.as_ref().map_or(&machine.working_speed.place, |speed| &speed.place);
    Some(Pass {
        operation: match file.operation.value {
            WeedingName::PreEmergence => Operation::PreEmergenceWeeding,
            WeedingName::InterRow => Operation::InterRowWeeding,
            WeedingName::IntraRow => Operation::IntraRowWeeding,
        },
        date: file.date.value,
        direction: match file.direction.as_ref().map(|direction| direction.value) {
            Some(DirectionName::Across) => Direction::Across,
            Some(DirectionName::Along) | None => Direction::Along,
        },
        depth: file.depth.value,
        tools: tools?,
        missing,
        over_sown_rows: field::over_sown_rows(file.over_sown_rows.as_ref(), findings),
        places: PassPlaces {
            pass: span(&file.operation.place),
            date: span(&file.date.place),
            depth: span(&file.depth.place),
            speed: span(speed),
            width: span(width),
            rows: span(&machine.rows.place),
            missing: span(file.missing.as_ref().map_or(&file.place, |table| &table.place)),
            direction: span(file.direction.as_ref().map_or(&file.place, |direction| &direction.place)),
        },
    })
}

fn missing_seeds(table: &Written<written::NamedFile>, findings: &mut Findings) -> Option<BTreeSet<Missing>> {
    match missing::read(&table.value.bytes) {
        Ok(places) => Some(places),
        Err(error) => {
            findings
                .raise(
                    "weeding/missing-seeds",
                    &table.place,
                    format!("`{}` is no table of seeds that were not sown: {error}", table.value.path),
                )
                .hint("a CSV table with the headings `field,block,row,index`");
            None
        }
    }
}

/// Tells a key that this kind of weeding needs.
fn needed<'a, T>(
    value: Option<&'a T>,
    key: &str,
    example: &str,
    file: &written::Pass,
    findings: &mut Findings,
) -> Option<&'a T> {
    if value.is_none() {
        findings
            .raise("weeding/tools", &file.operation.place, format!("this weeding needs `{key}`"))
            .hint(format!("add `{key} = {example}`"));
    }
    value
}

/// Tells a key that this kind of weeding has no use for.
fn not_used(place: Option<&Place>, key: &str, findings: &mut Findings) {
    if let Some(place) = place {
        findings
            .raise("weeding/tools", place, format!("this weeding does not use `{key}`"))
            .hint(format!("leave out `{key}`, or name the operation that is meant"));
    }
}

fn over_seeds(
    file: &written::Pass,
    machine: &written::Machine,
    findings: &mut Findings,
) -> Option<OverSeeds> {
    not_used(file.blade.as_ref().map(|blade| &blade.place), "blade", findings);
    not_used(file.plant_radius.as_ref().map(|radius| &radius.place), "plant_radius", findings);
    let (emergence, thermal) = match (&file.emergence, &file.season) {
        (None, Some(season)) => match emergence::of(season, findings) {
            Some((season, found)) => (Some(found.date), Some((season, found))),
            None => return None,
        },
        (Some(given), Some(season)) => {
            findings
                .raise(
                    "season/given-twice",
                    &season.place,
                    "the day of emergence is given and to be computed",
                )
                .hint("leave out `season` or `emergence`");
            (Some(given.value), None)
        }
        _ => (
            needed(file.emergence.as_ref(), "emergence", "2027-04-27", file, findings).map(|day| day.value),
            None,
        ),
    };
    let clearance = file.seed_clearance.as_ref().map_or(SEED_CLEARANCE, |clearance| clearance.value);
    if let Some(clearance) = &file.seed_clearance {
        findings.not_negative(clearance, "seed_clearance");
    }
    let emergence = emergence?;
    if file.date.value >= emergence {
        findings
            .raise(
                "weeding/after-emergence",
                &file.date.place,
                format!(
                    "the pass over the seeds is planned for {}, plants are expected from {} on",
                    file.date.value, emergence
                ),
            )
            .hint(format!("write a day before {emergence}, or order `inter-row weeding`"));
    }
    let worked = match &file.tools {
        Some(tools) => gap_tools(tools, findings).2,
        None => machine.row_spacing.value,
    };
    Some(OverSeeds { emergence, thermal, clearance, worked })
}

fn between_rows(file: &written::Pass, findings: &mut Findings) -> Option<BetweenRows> {
    not_used(file.blade.as_ref().map(|blade| &blade.place), "blade", findings);
    not_used(file.emergence.as_ref().map(|day| &day.place), "emergence", findings);
    not_used(file.season.as_ref().map(|season| &season.place), "season", findings);
    let clear = clear(file, findings);
    let example = "{ per_gap = 2, width = \"14 cm\", overlap = \"2 cm\" }";
    let tools = needed(file.tools.as_ref(), "tools", example, file, findings)?;
    let (per_gap, overlap, _) = gap_tools(tools, findings);
    Some(BetweenRows { per_gap, width: tools.width.value, overlap, clear: clear? })
}

/// How many tools, how far they overlap, how wide they work together.
fn gap_tools(tools: &written::GapTools, findings: &mut Findings) -> (u32, Length, Length) {
    findings.above_zero(&tools.per_gap, "per_gap");
    findings.above_zero(&tools.width, "width");
    let overlap = tools.overlap.as_ref().map_or(Length::ZERO, |overlap| overlap.value);
    if let Some(written) = &tools.overlap {
        findings.not_negative(written, "overlap");
        if overlap >= tools.width.value {
            findings
                .raise(
                    "weeding/tools",
                    &written.place,
                    format!(
                        "tools of {} cm cannot overlap by {} cm",
                        brief(tools.width.value.to_cm()),
                        brief(overlap.to_cm())
                    ),
                )
                .hint("write an overlap smaller than a tool's width");
        }
    }
    let per_gap = tools.per_gap.value.max(1);
    let worked = tools.width.value * f64::from(per_gap) - overlap * f64::from(per_gap - 1);
    (per_gap, overlap, worked)
}

fn in_row(file: &written::Pass, findings: &mut Findings) -> Option<InRow> {
    not_used(file.tools.as_ref().map(|tools| &tools.place), "tools", findings);
    not_used(file.emergence.as_ref().map(|day| &day.place), "emergence", findings);
    not_used(file.season.as_ref().map(|season| &season.place), "season", findings);
    let clear = clear(file, findings);
    let example = "{ width = \"4 cm\", travel_in = \"80 ms\", travel_out = \"80 ms\" }";
    let blade = needed(file.blade.as_ref(), "blade", example, file, findings)?;
    findings.above_zero(&blade.width, "width");
    findings.above_zero(&blade.travel_in, "travel_in");
    findings.above_zero(&blade.travel_out, "travel_out");
    if let Some(band) = &blade.row_band {
        findings.above_zero(band, "row_band");
    }
    Some(InRow {
        width: blade.width.value,
        travel_in: blade.travel_in.value,
        travel_out: blade.travel_out.value,
        row_band: blade.row_band.as_ref().map(|band| band.value),
        clear: clear?,
    })
}

fn clear(file: &written::Pass, findings: &mut Findings) -> Option<Clear> {
    let radius = needed(file.plant_radius.as_ref(), "plant_radius", "\"2 cm\"", file, findings)?;
    findings.not_negative(radius, "plant_radius");
    let deviations = file.deviations.as_ref().map_or(DEVIATIONS, |factor| factor.value.0);
    if let Some(written) = &file.deviations
        && !(0.0..=6.0).contains(&deviations)
    {
        findings
            .raise("job/out-of-range", &written.place, "`deviations` lies outside 0 to 6")
            .hint("write 2, which leaves one plant in twenty beyond, or 3");
    }
    Some(Clear { plant_radius: radius.value, deviations })
}
