//! What the tools of a weeding pass do over a field that was sown: where they work, where they stay
//! away, how many plants that costs, and every event in and out of the soil.
//!
//! In: the pass, the machine, the sown field as it goes over it. Out: a [`Weeding`]. A plant stands within its standard
//! deviation σ of its place on the seed map, and the tool within its own of where it should be; both
//! are independent, so their variances add up. Round each place a circle of the plant's radius and k σ
//! stays clear, in every pose of the tool. The loss is the share of plants that stand, by a normal
//! distribution of that σ, where the tool passes nevertheless.

mod between_rows;
mod events;
mod in_row;
mod neighbours;
mod normal;
mod over_seeds;
mod tool_way;

use crate::check::{Clear, Field, Machine, Pass, Pattern, Stand, Tools};
use crate::diagnostic::{Severity, Told};
use crate::retrace::Retraced;
use crate::seeds::SeedRun;
use crate::uncertainty::{self, Sigma};
use lanewright_schema::quantity::{Length, Speed};

pub use events::{Driven, RunEvents, ToolEvent};
pub use in_row::{BladeMotion, Window};

/// A pass over one field.
#[derive(Clone, Debug)]
pub struct Weeding {
    /// What was asked.
    pub pass: Pass,
    /// Speed with the tools in the soil.
    pub speed: Speed,
    /// The highest speed at which the window between two plants still opens, for a blade in the row.
    pub fastest: Option<Speed>,
    /// Each tool row, left to right.
    pub rows: Vec<RowBand>,
    /// What one row's tools do, seen from above.
    pub section: Section,
    /// How much is worked, and at which loss.
    pub shares: Shares,
    /// For each run of seeds, what the tool over it does.
    pub events: Vec<RunEvents>,
}

impl Weeding {
    /// Gaps between two plants in which the blade stays out, since the row bends or a plant of another block
    /// is near.
    pub fn barred(&self) -> u64 {
        let of_run = |run: &RunEvents| match run {
            RunEvents::AlongRow { .. } => 0,
            RunEvents::BetweenPlants { barred, .. } => barred.len() as u64,
        };
        self.events.iter().map(of_run).sum()
    }
}

/// One tool row's uncertainty and room.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct RowBand {
    /// How far a plant may stand from the tool's place over it.
    pub sigma: Sigma,
    /// What stays clear round a plant's place.
    pub clear: Length,
}

/// What the tools do to one row, to scale.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Section {
    /// Between neighbouring rows.
    pub row_spacing: Length,
    /// From place to place of a row.
    pub plant_spacing: Length,
    /// What stands at a place.
    pub pattern: Pattern,
    /// Share of the field's plants that stand in such rows.
    pub plant_share: f64,
    /// How far leaves reach; zero where no plant is up.
    pub plant_radius: Length,
    /// What stays clear round a plant's place.
    pub clear: Length,
    /// Width that is worked between two rows, in their middle.
    pub between_rows: Length,
    /// The blade's way into the row and out of it.
    pub in_row: Option<BladeMotion>,
}

/// Shares of one.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Shares {
    /// Of the sown surface, worked.
    pub surface: f64,
    /// Of the band along the row that tools between the rows leave, worked.
    pub row_band: f64,
    /// Of the plants, inside the swept band: the expected loss.
    pub loss: f64,
    /// Of the plants, at least touched at a leaf.
    pub touched: f64,
}

/// Computes the pass over a field.
pub fn weeding(
    pass: &Pass,
    machine: &Machine,
    baseline: Option<Length>,
    field: &Field,
    sown: &Retraced,
) -> Told<Weeding> {
    let mut findings = Vec::new();
    let over = Over { pass, machine, baseline, field, sown };
    let made = match &pass.tools {
        Tools::OverSeeds(tools) => over_seeds::pass(tools, &over, &mut findings),
        Tools::BetweenRows(tools) => between_rows::pass(tools, &over, &mut findings),
        Tools::InRow(blade) => in_row::pass(blade, &over, &mut findings),
    };
    let refused = findings.iter().any(|finding| finding.severity == Severity::Error);
    Told { value: Some(made).filter(|_| !refused), findings }
}

/// A pass with what it goes over.
struct Over<'a> {
    pass: &'a Pass,
    machine: &'a Machine,
    baseline: Option<Length>,
    field: &'a Field,
    sown: &'a Retraced,
}

impl Over<'_> {
    /// For each tool row, how far the plants of those of its runs that count may stand from the tool's place
    /// over them.
    fn row_sigmas(&self, speed: Speed, counts: impl Fn(&SeedRun) -> bool) -> Vec<Sigma> {
        let tools: Vec<Sigma> = self
            .machine
            .row_offsets
            .iter()
            .map(|&right| uncertainty::sum(&uncertainty::tool(self.machine, right, self.baseline, speed)))
            .collect();
        let mut largest = vec![Sigma::default(); tools.len()];
        let runs = self.sown.seeds.runs.iter().zip(&self.sown.sigmas);
        for (run, sown) in runs.filter(|(run, _)| counts(run)) {
            let sigma = sown.and(tools[run.tool_row]);
            let most = &mut largest[run.tool_row];
            most.along = most.along.max(sigma.along);
            most.across = most.across.max(sigma.across);
        }
        largest
    }

    fn speed(&self) -> Speed {
        self.machine.working_speed
    }

    /// How most plants stand.
    fn commonest(&self) -> Stand {
        let mut stands: Vec<(Stand, u64)> = Vec::new();
        for run in &self.sown.seeds.runs {
            match stands.iter_mut().find(|(stand, _)| is_same(*stand, run.stand())) {
                Some((_, plants)) => *plants += run.seeds(),
                None => stands.push((run.stand(), run.seeds())),
            }
        }
        let most = stands.into_iter().reduce(|most, other| if other.1 > most.1 { other } else { most });
        let first = Stand { spacing: self.sown.place_spacing, pattern: self.field.spacing.pattern };
        most.map_or(first, |(stand, _)| stand)
    }

    /// Share of the plants that stand so.
    fn share(&self, stand: Stand) -> f64 {
        let runs = &self.sown.seeds.runs;
        let alike = runs.iter().filter(|run| is_same(stand, run.stand()));
        let all: u64 = runs.iter().map(SeedRun::seeds).sum();
        alike.map(SeedRun::seeds).sum::<u64>() as f64 / all.max(1) as f64
    }

    /// A mean over plants; those under one tool row and of one pattern have the same share.
    fn mean(&self, share: impl Fn(usize, Pattern) -> f64) -> f64 {
        let mut groups: Vec<(usize, Pattern, u64)> = Vec::new();
        for run in &self.sown.seeds.runs {
            let of_run =
                |group: &&mut (usize, Pattern, u64)| (group.0, group.1) == (run.tool_row, run.pattern);
            match groups.iter_mut().find(of_run) {
                Some(group) => group.2 += run.seeds(),
                None => groups.push((run.tool_row, run.pattern, run.seeds())),
            }
        }
        let all: u64 = groups.iter().map(|group| group.2).sum();
        let sum: f64 = groups.iter().map(|&(row, pattern, plants)| plants as f64 * share(row, pattern)).sum();
        if all > 0 { sum / all as f64 } else { 0.0 }
    }
}

/// Whether places are as far apart, to what a map rounds, and hold the same.
fn is_same(a: Stand, b: Stand) -> bool {
    a.pattern == b.pattern && (a.spacing - b.spacing).abs() < Length::mm(1e-3)
}

/// Whether seeds have places of their own.
fn has_places(run: &SeedRun) -> bool {
    run.pattern != Pattern::Drill
}

impl Clear {
    /// What stays clear round a plant's place: its radius and so many deviations, the larger of
    /// those along and across the row.
    pub fn round(&self, sigma: Sigma) -> Length {
        self.plant_radius + sigma.along.max(sigma.across) * self.deviations
    }

    /// What stays clear beside a row.
    pub fn beside(&self, sigma: Sigma) -> Length {
        self.plant_radius + sigma.across * self.deviations
    }
}
