//! Tasks: one planned task for each field and operation, with its zones, allocations, cautions and
//! the logs that a later comparison of work and plan needs.
//!
//! The work zone is the task's default, with a grid over it where the field has treatment zones; outside the field and without a position the rate is zero
//! and the toolbar off. Rates are raw values of the data dictionary.

use super::device::{self, Described, condensed_states};
use super::lots::{Lot, Lots};
use super::rates::{RateGrid, rate_grid};
use super::{CUSTOMER, FARM, guidance, label, number, partfield, rule};
use crate::budget::SeedNeed;
use crate::check::{Field, Operation, Pattern, Rate};
use crate::diagnostic::Finding;
use crate::operations::{self, RowOrder, WorkOrder};
use crate::pipeline::Compiled;
use crate::rules;
use crate::weeding::Weeding;
use chrono::{NaiveDate, NaiveTime};
use lanewright_schema::quantity::Length;
use lanewright_schema::taskdata::ddi::{self, Entry};
use lanewright_schema::taskdata::{
    AllocationStamp, CodedComment, CodedCommentId, CommentAllocation, CommentScope, CulturalPractice,
    CulturalPracticeId, DataLogTrigger, Ddi, DeviceAllocation, DeviceElementId, GuidanceAllocation,
    LocalTime, LogMethods, OperTechPractice, OperationTechnique, OperationTechniqueId,
    OperationTechniqueReference, ProcessDataVariable, ProductAllocation, StampType, Task, TaskId, TaskStatus,
    TransferMode, TreatmentZone,
};

/// Where the work is done.
const WORK_ZONE: u8 = 1;
/// Outside the field.
const OUT_OF_FIELD_ZONE: u8 = 2;
/// While there is no position.
const POSITION_LOST_ZONE: u8 = 3;
/// Whose set-points the cells of a grid hold.
const GRID_ZONE: u8 = 4;

/// Off, of a work state.
const OFF: i32 = 0;

/// A machine at walking pace writes a record for each of its steps.
const LOG_INTERVAL_MS: i32 = 1000;

/// The usual cautions, short enough for a comment of the standard.
const CAUTIONS: &[&str] = &[
    "Walk the field before work",
    "Keep people and animals away",
    "Follow the machine's manual",
    "Mind lines, pipes and slopes",
    "Heed the label of treated seed",
    "Keep to local codes and licences",
    "Meet ISO 18497 and machine rules",
    "Plan replaces no safety function",
];

/// One task for each field and operation, in the order in which a field is worked, and the files of
/// their grids.
pub fn tasks(compiled: &Compiled, lots: &Lots, machine: &Described) -> (Vec<Task>, Vec<(String, Vec<u8>)>) {
    let fields = compiled.job.fields.iter().zip(&compiled.fields).enumerate();
    let works = fields.flat_map(|(i, (field, plan))| {
        let lot = lots.of_crop(&field.crop);
        let sowing = plan.orders.iter().map(move |order| Work {
            operation: order.operation,
            zones: zones(order, lot, machine),
            product: lot.map(|lot| product(lot, &plan.budget.seed, machine)),
            logged: (SOWING_EVERY_SECOND, SOWING_TOTALS),
        });
        let weeding = plan.weeding.iter().map(|weeding| Work {
            operation: weeding.pass.operation,
            zones: weeding_zones(weeding, machine),
            product: None,
            logged: (WEEDING_EVERY_SECOND, WEEDING_TOTALS),
        });
        sowing.chain(weeding).map(move |work| (i, field, work))
    });
    let mut files = Vec::new();
    let tasks = works
        .enumerate()
        .map(|(n, (i, field, work))| {
            let lot = lots.of_crop(&field.crop);
            let grid = grid(compiled, i, number(n), (work.operation, lot, machine));
            let mut task = task(compiled, TaskId::office(number(n)), i, field, work, machine);
            if let Some(RateGrid { zone, grid, file }) = grid {
                task.zones.push(zone);
                task.grids.push(grid);
                files.push(file);
            }
            task
        })
        .collect();
    (tasks, files)
}

/// The grid of a field with treatment zones, with cells as wide as the machine.
fn grid(
    compiled: &Compiled,
    field: usize,
    number: u32,
    (operation, lot, machine): (Operation, Option<&Lot>, &Described),
) -> Option<RateGrid> {
    let (site, zones) = (&compiled.site.fields[field], &compiled.fields[field].zones);
    if operation.is_weeding() || zones.zones.is_empty() {
        return None;
    }
    let (asked, job) = (&compiled.job.fields[field], &compiled.job);
    let order = |rate: Rate| operations::work_order(operation, asked, &job.machine, (rate, zones.parts));
    let values = |rate: Rate| work_values(&order(rate), lot, machine);
    rate_grid((site, zones), number, GRID_ZONE, job.machine.working_width, &values)
}

/// What tells the task of one operation from another's.
struct Work {
    operation: Operation,
    zones: Vec<TreatmentZone>,
    product: Option<ProductAllocation>,
    /// What is logged every second, and which totals.
    logged: (&'static [Entry], &'static [Entry]),
}

fn task(
    compiled: &Compiled,
    id: TaskId,
    index: usize,
    field: &Field,
    work: Work,
    machine: &Described,
) -> Task {
    let (practice, technique) = operation_ids(work.operation);
    let mut task = Task::new(id, TaskStatus::Planned);
    task.designator = Some(label(&format!("{} {}", operation_name(work.operation), field.name)));
    task.customer = Some(CUSTOMER);
    task.farm = Some(FARM);
    task.partfield = Some(partfield::partfield_id(index));
    task.default_zone = Some(WORK_ZONE);
    task.position_lost_zone = Some(POSITION_LOST_ZONE);
    task.out_of_field_zone = Some(OUT_OF_FIELD_ZONE);
    task.practice = Some(OperTechPractice { technique: Some(technique), ..OperTechPractice::new(practice) });
    task.zones = work.zones;
    task.devices.push(DeviceAllocation {
        client_name_mask: Some(device::NAME_MASK),
        device: Some(device::DEVICE),
        ..DeviceAllocation::new(machine.device.client_name)
    });
    task.products.extend(work.product);
    task.log_triggers = log_triggers(machine, work.logged);
    task.comments = (1..=CAUTIONS.len() as u32)
        .map(|n| CommentAllocation { comment: Some(CodedCommentId::office(n)), ..CommentAllocation::new() })
        .collect();
    let stamp = AllocationStamp::new(midnight(compiled.job.order.issued), StampType::Planned);
    task.guidance.push(GuidanceAllocation::new(guidance::group_id(index), stamp));
    task
}

fn midnight(day: NaiveDate) -> LocalTime {
    LocalTime(day.and_time(NaiveTime::MIN))
}

/// The zone of the work, and the two in which nothing is done.
fn zones(order: &WorkOrder, lot: Option<&Lot>, machine: &Described) -> Vec<TreatmentZone> {
    let set = |entry: Entry, raw: i32| ProcessDataVariable {
        element: Some(machine.toolbar),
        ..ProcessDataVariable::new(entry.ddi, raw)
    };
    let zone = |code: u8, name: &str, values: Vec<ProcessDataVariable>| TreatmentZone {
        designator: Some(label(name)),
        values,
        ..TreatmentZone::new(code)
    };
    let no_seed = || ProcessDataVariable {
        product: lot.map(|lot| lot.product),
        ..set(ddi::SETPOINT_COUNT_PER_AREA, 0)
    };
    let nothing = || vec![no_seed(), set(ddi::SETPOINT_WORK_STATE, OFF)];
    vec![
        zone(WORK_ZONE, operation_name(order.operation), work_values(order, lot, machine)),
        zone(OUT_OF_FIELD_ZONE, "Outside the field", nothing()),
        zone(POSITION_LOST_ZONE, "Position lost", nothing()),
    ]
}

/// The set-points of the work.
fn work_values(order: &WorkOrder, lot: Option<&Lot>, machine: &Described) -> Vec<ProcessDataVariable> {
    let set = |entry: Entry, raw: i32| ProcessDataVariable {
        element: Some(machine.toolbar),
        ..ProcessDataVariable::new(entry.ddi, raw)
    };
    let of_seed = |entry: Entry, raw: i32| ProcessDataVariable {
        product: lot.map(|lot| lot.product),
        ..set(entry, raw)
    };
    let rate = ddi::SETPOINT_COUNT_PER_AREA;
    let mut work = vec![of_seed(rate, rate.raw(order.seeds_per_m2))];
    if order.has_places() {
        let spacing = order.seed_spacing.and_then(whole_millimetres);
        work.extend(spacing.map(|mm| of_seed(ddi::SETPOINT_SPACING, mm)));
    }
    work.push(set(ddi::SETPOINT_SEEDING_DEPTH, ddi::SETPOINT_SEEDING_DEPTH.raw(order.depth.to_mm())));
    let speed = ddi::SETPOINT_SPEED.raw(order.speed.to_m_per_s() * 1000.0);
    work.push(ProcessDataVariable { element: Some(machine.machine), ..set(ddi::SETPOINT_SPEED, speed) });
    if !order.is_uniform() {
        work.extend(row_values(order, lot, machine));
    }
    work
}

/// The zone of a weeding pass, and the two in which the tools are up. Single events stand in
/// `weed-events.parquet`: the format has no place for them.
fn weeding_zones(weeding: &Weeding, machine: &Described) -> Vec<TreatmentZone> {
    let set = |element: DeviceElementId, entry: Entry, raw: i32| ProcessDataVariable {
        element: Some(element),
        ..ProcessDataVariable::new(entry.ddi, raw)
    };
    let zone = |code: u8, name: &str, values: Vec<ProcessDataVariable>| TreatmentZone {
        designator: Some(label(name)),
        values,
        ..TreatmentZone::new(code)
    };
    let depth = ddi::SETPOINT_TILLAGE_DEPTH.raw(weeding.pass.depth.to_mm());
    let speed = ddi::SETPOINT_SPEED.raw(weeding.speed.to_m_per_s() * 1000.0);
    let work = vec![
        set(machine.toolbar, ddi::SETPOINT_TILLAGE_DEPTH, depth),
        set(machine.machine, ddi::SETPOINT_SPEED, speed),
    ];
    let up = || vec![set(machine.toolbar, ddi::SETPOINT_WORK_STATE, OFF)];
    vec![
        zone(WORK_ZONE, operation_name(weeding.pass.operation), work),
        zone(OUT_OF_FIELD_ZONE, "Outside the field", up()),
        zone(POSITION_LOST_ZONE, "Position lost", up()),
    ]
}

/// What each row is to give, where rows differ.
fn row_values(order: &WorkOrder, lot: Option<&Lot>, machine: &Described) -> Vec<ProcessDataVariable> {
    let of_row = |(row, &element): (&RowOrder, &DeviceElementId)| {
        let value = |entry: Entry, raw: i32| ProcessDataVariable {
            element: Some(element),
            product: lot.map(|lot| lot.product),
            ..ProcessDataVariable::new(entry.ddi, raw)
        };
        let rate = ddi::SETPOINT_COUNT_PER_AREA;
        let spacing = match row.stand.pattern {
            Pattern::Drill => None,
            Pattern::Single | Pattern::Hill { .. } => whole_millimetres(row.stand.spacing),
        };
        let rate = value(rate, rate.raw(row.seeds_per_m2));
        std::iter::once(rate).chain(spacing.map(|mm| value(ddi::SETPOINT_SPACING, mm))).collect::<Vec<_>>()
    };
    order.rows.iter().zip(&machine.rows).flat_map(of_row).collect()
}

/// The spacing in the only unit that its entry has, if that says it to a hundredth of a millimetre
/// in a hundred seeds.
fn whole_millimetres(spacing: Length) -> Option<i32> {
    let mm = spacing.to_mm();
    ((mm - mm.round()).abs() <= 1e-4).then(|| mm.round() as i32)
}

/// Tells when a field's spacing cannot be a set-point.
pub fn spacing_finding(field: &Field) -> Option<Finding> {
    let own = std::iter::once(field.spacing.own_stand());
    let stands = own.chain(field.spacing.own_rows.iter().map(|own| own.stand));
    let (parts, rates) = field.rates();
    let spacing = stands
        .flat_map(|stand| rates.iter().map(move |rate| rate.stand(stand, parts)))
        .filter(|stand| stand.pattern != Pattern::Drill)
        .map(|stand| stand.spacing)
        .find(|spacing| whole_millimetres(*spacing).is_none())?;
    let message = format!(
        "the task of `{}` states seeds per area but not their spacing of {:.2} mm: data dictionary entry 16 has whole millimetres only",
        field.name,
        spacing.to_mm()
    );
    Some(
        rules::finding(rule::SPACING_NOT_WHOLE, message)
            .with_hint("a spacing of whole millimetres can be stated; the seed map holds any"),
    )
}

/// The seed to fill in: counted, or weighed where the count passes the format's 32 bits.
fn product(lot: &Lot, need: &SeedNeed, machine: &Described) -> ProductAllocation {
    let (entry, quantity) = planned_quantity(need);
    ProductAllocation {
        quantity_ddi: Some(entry),
        quantity: Some(quantity),
        transfer: Some(TransferMode::Filling),
        element: Some(machine.toolbar),
        ..ProductAllocation::new(lot.product)
    }
}

fn planned_quantity(need: &SeedNeed) -> (Ddi, i32) {
    match i32::try_from(need.seeds) {
        Ok(count) => (ddi::SETPOINT_COUNT_CONTENT.ddi, count),
        Err(_) => (ddi::SETPOINT_MASS_CONTENT.ddi, ddi::SETPOINT_MASS_CONTENT.raw(need.mass.to_g())),
    }
}

const SOWING_EVERY_SECOND: &[Entry] = &[
    ddi::ACTUAL_COUNT_PER_AREA,
    ddi::ACTUAL_SPACING,
    ddi::ACTUAL_SEEDING_DEPTH,
    ddi::ACTUAL_SPEED,
    ddi::GUIDANCE_LINE_DEVIATION,
    ddi::ACTUAL_SINGULATION,
    ddi::ACTUAL_SKIP,
    ddi::ACTUAL_MULTIPLE,
];

const SOWING_TOTALS: &[Entry] = &[
    ddi::APPLICATION_TOTAL_COUNT,
    ddi::TOTAL_AREA,
    ddi::EFFECTIVE_TOTAL_DISTANCE,
    ddi::INEFFECTIVE_TOTAL_DISTANCE,
    ddi::EFFECTIVE_TOTAL_TIME,
    ddi::INEFFECTIVE_TOTAL_TIME,
];

const WEEDING_EVERY_SECOND: &[Entry] =
    &[ddi::ACTUAL_TILLAGE_DEPTH, ddi::ACTUAL_SPEED, ddi::GUIDANCE_LINE_DEVIATION];

const WEEDING_TOTALS: &[Entry] = &[
    ddi::TOTAL_AREA,
    ddi::EFFECTIVE_TOTAL_DISTANCE,
    ddi::INEFFECTIVE_TOTAL_DISTANCE,
    ddi::EFFECTIVE_TOTAL_TIME,
    ddi::INEFFECTIVE_TOTAL_TIME,
];

/// What to log. Every record of a log bears time and position; a trigger without an element asks
/// every element that has the value, so each row answers for itself.
fn log_triggers(
    machine: &Described,
    (every_second, totals): (&'static [Entry], &'static [Entry]),
) -> Vec<DataLogTrigger> {
    let timed = |entry: Entry, methods: LogMethods| DataLogTrigger {
        time_ms: Some(LOG_INTERVAL_MS),
        ..DataLogTrigger::new(entry.ddi, methods)
    };
    let changed = |entry: Entry| DataLogTrigger {
        change: Some(1),
        ..DataLogTrigger::new(entry.ddi, LogMethods::CHANGE)
    };
    let states = std::iter::once(ddi::ACTUAL_WORK_STATE).chain(condensed_states(machine.rows.len()));
    let every_second = every_second.iter().map(|&entry| timed(entry, LogMethods::TIME));
    let totals = totals.iter().map(|&entry| timed(entry, LogMethods::TIME.and(LogMethods::TOTAL)));
    states.map(changed).chain(every_second).chain(totals).collect()
}

/// The cautions as comments that every task refers to.
pub fn cautions() -> Vec<CodedComment> {
    (1..)
        .zip(CAUTIONS)
        .map(|(n, text)| CodedComment::new(CodedCommentId::office(n), label(text), CommentScope::Global))
        .collect()
}

/// The practices and techniques of the operations, each once.
pub fn practices(operations: &[Operation]) -> (Vec<CulturalPractice>, Vec<OperationTechnique>) {
    operations
        .iter()
        .map(|&operation| {
            let (practice, technique) = operation_ids(operation);
            let practice = CulturalPractice {
                techniques: vec![OperationTechniqueReference::new(technique)],
                ..CulturalPractice::new(practice, label(operation_name(operation)))
            };
            (practice, OperationTechnique::new(technique, label(technique_name(operation))))
        })
        .unzip()
}

/// Fixed for each operation, so that the same work has the same identity in every set.
const fn operation_ids(operation: Operation) -> (CulturalPracticeId, OperationTechniqueId) {
    let number = match operation {
        Operation::Sowing => 1,
        Operation::PreEmergenceWeeding => 2,
        Operation::InterRowWeeding => 3,
        Operation::IntraRowWeeding => 4,
    };
    (CulturalPracticeId::office(number), OperationTechniqueId::office(number))
}

const fn operation_name(operation: Operation) -> &'static str {
    match operation {
        Operation::Sowing => "Sowing",
        Operation::PreEmergenceWeeding => "Pre-emergence weeding",
        Operation::InterRowWeeding => "Inter-row weeding",
        Operation::IntraRowWeeding => "Intra-row weeding",
    }
}

const fn technique_name(operation: Operation) -> &'static str {
    match operation {
        Operation::Sowing => "Seeds on a lattice",
        Operation::PreEmergenceWeeding => "Tools above the seed map",
        Operation::InterRowWeeding => "Tools between mapped rows",
        Operation::IntraRowWeeding => "Blades between mapped plants",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use lanewright_schema::quantity::{Area, Mass};
    use lanewright_schema::taskdata::Text;

    #[test]
    fn every_caution_fits_uncut() {
        for caution in CAUTIONS {
            assert_eq!(Text::<32>::cut(caution).lost, 0, "{caution}");
        }
    }

    #[test]
    fn a_spacing_is_a_set_point_only_in_whole_millimetres() {
        assert_eq!(whole_millimetres(Length::cm(18.0)), Some(180));
        assert_eq!(whole_millimetres(Length::mm(52.5)), None);
    }

    #[test]
    fn seed_beyond_the_count_is_weighed() {
        let need = |seeds| SeedNeed {
            seeds,
            mass: Mass::kg(12.5),
            units: None,
            hopper_fills: 1,
            plants: 0.0,
            area: Area::ZERO,
        };
        assert_eq!(planned_quantity(&need(2_147_483_647)), (Ddi(0x004D), i32::MAX));
        assert_eq!(planned_quantity(&need(2_147_483_648)), (Ddi(0x004A), 12_500));
    }
}
