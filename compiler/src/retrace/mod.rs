//! The rows that were sown as the weeding machine goes over them.
//!
//! In: the field as sown, the machine, the direction of the pass. Out: lanes of that machine with the runs
//! of seeds under its tool rows. A machine with the sowing machine's tool rows drives the lanes of the
//! sowing. Any other whose rows are the same distance apart gets lanes of its own on the same lattice: on
//! straight rows they are laid anew (`straight`), on bent ones they run beside the sowing's (`bent`).
//! Across the rows lanes run at right angles to straight ones, where places of neighbouring rows stand
//! side by side (`columns`); bent rows are then gone along. What no lane reaches is told.

mod bent;
mod columns;
mod follow;
mod straight;

use crate::check::{Direction, Field, Machine, Pass};
use crate::diagnostic::{Finding, Severity, Span, Told};
use crate::geometry::strip::Axes;
use crate::geometry::{angle_of_heading, region};
use crate::lanes::{BlockIdx, Course, Lane, LaneIdx, LanePlan, LeftOver, LeftOverReason};
use crate::rules;
use crate::seeds::{SeedMap, SeedRun};
use crate::site::FieldSite;
use crate::sown::SownField;
use crate::uncertainty::Sigma;
use geo::MultiPolygon;
use lanewright_schema::quantity::Length;
use lanewright_schema::seedmap::missing::Missing;
use std::collections::BTreeSet;

/// A sown field as the weeding machine goes over it.
#[derive(Clone, Debug)]
pub struct Retraced {
    /// Its lanes.
    pub lanes: LanePlan,
    /// Every seed that they pass over, under the machine's tool rows. Where rows are crossed, a run is a
    /// column of places: its row is their index, its indices are the sown rows with their sign turned.
    pub seeds: SeedMap,
    /// For each run, how far its plants may stand from where the map says, along and across it.
    pub sigmas: Vec<Sigma>,
    /// Places without a seed, numbered as the runs are.
    pub missing: BTreeSet<Missing>,
    /// Between the rows that are gone along.
    pub row_spacing: Length,
    /// From place to place of the first of them.
    pub place_spacing: Length,
}

/// Tool rows nearer to each other than this are the same.
const SAME: Length = Length::mm(1.0);

/// The field as this machine goes over it; refused where its rows do not fit.
pub fn retrace(
    pass: &Pass,
    machine: &Machine,
    field: &Field,
    place: &FieldSite,
    sown: SownField,
) -> Told<Retraced> {
    let mut findings: Vec<Finding> = Vec::new();
    let fitting = Fitting { pass, machine, field };
    let value = match pass.direction {
        Direction::Along => fitting.along(&sown).map(|()| {
            if machine.row_offsets.len() == sown.outlets.offsets.len() {
                follow::follow(sown, pass, machine, field)
            } else {
                laid_anew(&fitting, place, sown, &[], &mut findings)
            }
        }),
        Direction::Across => {
            fitting.across(&sown).map(|columns| laid_anew(&fitting, place, sown, &columns, &mut findings))
        }
    };
    if value.as_ref().is_ok_and(|retraced| retraced.lanes.lanes.is_empty()) {
        findings.push(fitting.no_lane());
    }
    let value = value.map_err(|finding| findings.push(finding)).ok();
    let refused = findings.iter().any(|finding| finding.severity == Severity::Error);
    Told { value: value.filter(|_| !refused), findings }
}

/// Whether tool rows fit.
struct Fitting<'a> {
    pass: &'a Pass,
    machine: &'a Machine,
    field: &'a Field,
}

/// The columns of a block's places.
type BlockColumns = (BlockIdx, columns::Columns);

impl Fitting<'_> {
    /// Along the rows.
    fn along(&self, sown: &SownField) -> Result<(), Finding> {
        let spacing = self.field.spacing.between_rows;
        if (self.machine.row_spacing - spacing).abs() > SAME {
            let rows = format!("the rows of `{}`", self.field.name);
            return Err(self.far_apart(&rows, spacing));
        }
        self.in_bends(sown)
    }

    /// Across them: the columns of each straight block.
    fn across(&self, sown: &SownField) -> Result<Vec<BlockColumns>, Finding> {
        let mut blocks = Vec::new();
        for (index, block) in sown.lanes.blocks.iter().enumerate() {
            let &Course::Straight { heading, datum } = &block.course else { continue };
            let axes = Axes::new(datum, angle_of_heading(heading));
            let runs: Vec<(&SeedRun, Sigma)> = runs_of(sown, BlockIdx(index)).collect();
            let columns = columns::columns(&axes, self.field.spacing.between_rows.to_m(), &runs);
            blocks.extend(columns.map_err(|reason| self.no_columns(&reason))?.map(|c| (BlockIdx(index), c)));
        }
        let Some((_, first)) = blocks.first() else {
            return Err(self.no_columns("none of its rows are straight"));
        };
        let spacing = Length::m(first.axes_spacing_m);
        let mut others = blocks.iter().map(|(_, columns)| Length::m(columns.axes_spacing_m));
        if let Some(other) = others.find(|other| (*other - spacing).abs() > SAME) {
            return Err(self.no_columns(&format!(
                "its blocks are sown at different distances, {:.1} cm and {:.1} cm",
                spacing.to_cm(),
                other.to_cm()
            )));
        }
        if (self.machine.row_spacing - spacing).abs() > SAME {
            let columns = format!("the places along the rows of `{}`", self.field.name);
            return Err(self.far_apart(&columns, spacing));
        }
        if self.goes_along_bends() { self.in_bends(sown) } else { Ok(()) }?;
        Ok(blocks)
    }

    /// Whether its rows are as far apart as the sown ones.
    fn goes_along_bends(&self) -> bool {
        (self.machine.row_spacing - self.field.spacing.between_rows).abs() <= SAME
    }

    /// A tool cuts corners by its distance from the reference point, so that it must be the outlet's.
    fn in_bends(&self, sown: &SownField) -> Result<(), Finding> {
        let straight = |course: &Course| matches!(course, Course::Straight { .. });
        let apart = self.machine.tool_forward - sown.outlets.forward;
        if sown.lanes.blocks.iter().all(|block| straight(&block.course)) || apart.abs() <= SAME {
            return Ok(());
        }
        let message = format!(
            "bent lanes of `{}` were sown with outlets {:.2} m ahead of the reference point; tools {:.2} m ahead leave its rows in curves",
            self.field.name,
            sown.outlets.forward.to_m(),
            self.machine.tool_forward.to_m()
        );
        let hint = format!("mount the tools at `tool_offset = \"{} m\"`", sown.outlets.forward.to_m());
        Err(self.does_not_fit(message, hint, "these rows"))
    }

    fn far_apart(&self, rows: &str, spacing: Length) -> Finding {
        let message = format!(
            "the tool rows of `{}` are {:.1} cm apart, {rows} {:.1} cm",
            self.machine.name,
            self.machine.row_spacing.to_cm(),
            spacing.to_cm()
        );
        let hint = format!("take a machine with `row_spacing = \"{} cm\"`", spacing.to_cm());
        self.does_not_fit(message, hint, "these rows")
    }

    fn does_not_fit(&self, message: String, hint: String, label: &str) -> Finding {
        rules::finding("weeding/rows-do-not-fit", message)
            .with_span(self.pass.places.rows.clone(), label)
            .with_hint(hint)
    }

    fn no_lane(&self) -> Finding {
        let message =
            format!("no lane of `{}` fits over the rows of `{}`", self.machine.name, self.field.name);
        self.does_not_fit(
            message,
            "take a machine that is shorter, or turns in less".to_owned(),
            "this machine",
        )
    }

    fn no_columns(&self, reason: &str) -> Finding {
        rules::finding("weeding/not-square", format!("`{}` cannot be crossed: {reason}", self.field.name))
            .with_span(self.pass.places.direction.clone(), "at right angles to the rows")
            .with_hint("write `direction = \"along\"`; to be crossed, sow with `stagger = \"square\"`")
    }
}

fn runs_of(sown: &SownField, block: BlockIdx) -> impl Iterator<Item = (&SeedRun, Sigma)> {
    let runs = sown.seeds.runs.iter().zip(sown.sigmas.iter().copied());
    runs.filter(move |(run, _)| run.block == block)
}

/// What a block's new lanes pass over and what they miss.
#[derive(Clone, Debug)]
struct Laid {
    /// Its lanes.
    lanes: Vec<Lane>,
    /// Runs on them, numbered among them.
    runs: Vec<(SeedRun, Sigma)>,
    /// Soil that they miss.
    missed: MultiPolygon,
}

impl Default for Laid {
    fn default() -> Self {
        Self { lanes: Vec::new(), runs: Vec::new(), missed: MultiPolygon(Vec::new()) }
    }
}

/// Lanes of the machine's own, block by block.
fn laid_anew(
    fitting: &Fitting,
    place: &FieldSite,
    sown: SownField,
    columns: &[BlockColumns],
    findings: &mut Vec<Finding>,
) -> Retraced {
    let Fitting { pass, machine, field } = *fitting;
    let bends = bent::Bends::new(place, machine, &sown.outlets);
    let spacing = field.spacing.between_rows;
    let mut blocks = sown.lanes.blocks.clone();
    let mut made = Laid::default();
    let mut missed: Vec<MultiPolygon> = Vec::new();
    let mut sharpest = None;
    let mut lost = Lost::default();
    for (index, block) in sown.lanes.blocks.iter().enumerate() {
        let index = BlockIdx(index);
        let runs: Vec<(&SeedRun, Sigma)> = runs_of(&sown, index).collect();
        let lanes = || sown.lanes.lanes.iter().enumerate().filter(|(_, lane)| lane.block == index);
        let crossed = columns.iter().find(|(block, _)| *block == index).map(|(_, columns)| columns);
        let (laid, lost_here) = match (&block.course, crossed) {
            (Course::Straight { .. }, Some(columns)) => {
                blocks[index.0].course = columns.course();
                (straight::lay(&columns.rows(), index, place, machine), &mut lost.beside_fence)
            }
            (&Course::Straight { heading, datum }, None) => {
                let axes = Axes::new(datum, angle_of_heading(heading));
                let along = lanes().map(|(_, lane)| lane);
                let rows = straight::SownRows::of(axes, spacing.to_m(), along, &runs, &sown.outlets);
                (straight::lay(&rows, index, place, machine), &mut lost.beside_fence)
            }
            _ if !fitting.goes_along_bends() => {
                let missed = bends.soil(lanes().map(|(_, lane)| lane), spacing.to_m());
                (Laid { missed, ..Laid::default() }, &mut lost.other_spacing)
            }
            _ => (bends.lay(lanes(), &runs, spacing.to_m(), &mut sharpest), &mut lost.in_bends),
        };
        *lost_here += plants(runs.iter().map(|run| run.0)) - plants(laid.runs.iter().map(|run| &run.0));
        missed.push(region::intersection(&laid.missed, &block.zone));
        let first = made.lanes.len();
        made.lanes.extend(laid.lanes.into_iter().map(|lane| Lane { block: index, ..lane }));
        made.runs.extend(
            laid.runs.into_iter().map(|(run, sigma)| {
                (SeedRun { block: index, lane: LaneIdx(run.lane.0 + first), ..run }, sigma)
            }),
        );
    }
    findings.extend(lost.findings(fitting, sharpest));
    made.runs.sort_by_key(|(run, _)| (run.block, run.row, run.first));
    let (runs, sigmas): (Vec<SeedRun>, Vec<Sigma>) = made.runs.into_iter().unzip();
    let crossed = columns.first().map(|(_, columns)| columns);
    Retraced {
        lanes: with_missed(LanePlan { blocks, lanes: made.lanes, ..sown.lanes }, missed),
        missing: pass.missing.iter().map(|place| renumbered(place, columns)).collect(),
        row_spacing: crossed.map_or(spacing, |columns| Length::m(columns.axes_spacing_m)),
        place_spacing: crossed.map_or(field.spacing.between_seeds, |_| spacing),
        seeds: SeedMap { runs },
        sigmas,
    }
}

/// The plan with soil that no lane goes over any more.
fn with_missed(mut plan: LanePlan, missed: Vec<MultiPolygon>) -> LanePlan {
    for shape in missed {
        let area_m2 = region::area(&shape).min(plan.areas.worked);
        if area_m2 > 0.0 {
            plan.areas.worked -= area_m2;
            plan.areas.left_over += area_m2;
            plan.left_over.push(LeftOver { shape, area_m2, reason: LeftOverReason::OutOfReach });
        }
    }
    plan
}

/// A place in the numbers of the columns, where its block is crossed.
fn renumbered(place: &Missing, columns: &[BlockColumns]) -> Missing {
    if columns.iter().any(|(block, _)| block.0 == place.block) {
        Missing { row: place.index, index: -place.row, ..place.clone() }
    } else {
        place.clone()
    }
}

fn plants<'a>(runs: impl Iterator<Item = &'a SeedRun>) -> u64 {
    runs.map(SeedRun::seeds).sum()
}

/// Seeds that no lane passes over, by the reason.
#[derive(Copy, Clone, Debug, Default)]
struct Lost {
    beside_fence: u64,
    in_bends: u64,
    other_spacing: u64,
}

impl Lost {
    fn findings(self, fitting: &Fitting, sharpest: Option<Length>) -> Vec<Finding> {
        let Fitting { pass, machine, field } = *fitting;
        let told = |count: u64, why: String, span: &Span, label: &str, hint: String| {
            (count > 0).then(|| {
                let message = format!("{count} seeds of `{}` are not weeded: {why}", field.name);
                rules::finding("weeding/left-out", message).with_span(span.clone(), label).with_hint(hint)
            })
        };
        let beside_fence = told(
            self.beside_fence,
            format!("the tools of `{}` do not come there while it stays inside the fence", machine.name),
            &pass.places.rows,
            "these rows",
            "weed there by hand, or take a machine that is shorter before and behind its tools".to_owned(),
        );
        let turn = machine.steering.turning_radius.to_m();
        let (why, hint) = match sharpest {
            Some(radius) => (
                format!(
                    "beside the sowing's way its bends are as sharp as {:.2} m, `{}` turns in {turn:.2} m",
                    radius.to_m(),
                    machine.name
                ),
                format!(
                    "take a machine with `turning_radius = \"{:.2} m\"` or less, or the rows of the sowing machine",
                    (radius.to_m() * 100.0).floor() / 100.0
                ),
            ),
            None => (
                format!("beside the sowing's bent way `{}` would leave the fence", machine.name),
                "weed there by hand, or take the rows of the sowing machine".to_owned(),
            ),
        };
        let in_bends = told(self.in_bends, why, &pass.places.rows, "these rows", hint);
        let other_spacing = told(
            self.other_spacing,
            "they stand in bent rows, which are not crossed, and the tool rows are another distance apart"
                .to_owned(),
            &pass.places.direction,
            "only straight rows are crossed",
            "weed them with a pass along the rows".to_owned(),
        );
        [beside_fence, in_bends, other_spacing].into_iter().flatten().collect()
    }
}
