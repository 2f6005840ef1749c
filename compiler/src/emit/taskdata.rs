//! The ISO 11783-10 task data set of a compiled job: what the machine is told.
//!
//! In: everything computed. Out: the text of `TASKDATA.XML` (version 4.3, from the office side) and
//! of `LINKLIST.XML`, and the files of grids. One partfield, guidance group and set of tasks for each field; numbers of
//! identities count from 1 in the job's order. Positions leave with nine decimals of a degree in the
//! output's reference frame. What a job asks that the format cannot hold is told by [`limits`].
//!
//! The guidance patterns are the lanes in driving order; the ways between them are lines of the
//! field, so that a terminal shows them, and stand in full in `plan.geojson`.

mod device;
mod guidance;
mod lines;
mod links;
mod lots;
mod partfield;
mod rates;
mod task;
#[cfg(test)]
mod tests;

use crate::check::{Job, KeepOut, Operation};
use crate::diagnostic::Finding;
use crate::geometry::Point as GroundPoint;
use crate::pipeline::Compiled;
use crate::rules;
use crate::site::Baseline;
use device::{Described, Duty, Metered};
use lanewright_schema::quantity::GeoPoint;
use lanewright_schema::taskdata::{
    AttachedFile, BaseStation, BaseStationId, Customer, CustomerId, Farm, FarmId, Latitude, Longitude,
    MajorVersion, MinorVersion, Point, PointType, TaskData, Text, TransferOrigin, write,
};
use lots::Lots;

/// Rules of the findings made here.
pub mod rule {
    /// A name longer than the format allows.
    pub const NAME_SHORTENED: &str = "task-data/name-shortened";
    /// A seed spacing that the format cannot state.
    pub const SPACING_NOT_WHOLE: &str = "task-data/spacing-not-whole";
}

const CUSTOMER: CustomerId = CustomerId::office(1);
const FARM: FarmId = FarmId::office(1);
const BASE_STATION: BaseStationId = BaseStationId::office(1);

/// Characters that the standard allows a name.
const NAME_LENGTH: usize = 32;

/// The files of the `TASKDATA` folder.
#[derive(Clone, Debug, PartialEq)]
pub struct TaskDataFiles {
    /// `TASKDATA.XML`.
    pub task_data: String,
    /// `LINKLIST.XML`.
    pub link_list: String,
    /// Name and bytes of each grid's file.
    pub grids: Vec<(String, Vec<u8>)>,
}

/// The task data set of a job.
pub fn task_data(compiled: &Compiled) -> TaskDataFiles {
    let job = &compiled.job;
    let lots = Lots::of(job);
    let machine = device::described(&job.machine, duty(job));
    let (set, grids) = task_data_set(compiled, &lots, &machine);
    let link_list = links::link_list(&set, job, &lots);
    TaskDataFiles { task_data: write(&set), link_list: write(&link_list), grids }
}

/// Rows are told for themselves where some field wants them sown otherwise than others.
fn duty(job: &Job) -> Duty {
    if job.order.operations[0].is_weeding() {
        return Duty::Weeds;
    }
    let alike = job.fields.iter().all(|field| field.spacing.own_rows.is_empty());
    Duty::Sows(if alike { Metered::Together } else { Metered::RowByRow })
}

/// What of a job the format cannot hold: notes, since a machine can work without it.
pub fn limits(job: &Job) -> Vec<Finding> {
    let sowing = job.order.operations.contains(&Operation::Sowing);
    let spacings = job.fields.iter().filter(|_| sowing).filter_map(task::spacing_finding);
    shortened_names(job).into_iter().chain(spacings).collect()
}

fn task_data_set(
    compiled: &Compiled,
    lots: &Lots,
    machine: &Described,
) -> (TaskData, Vec<(String, Vec<u8>)>) {
    let job = &compiled.job;
    let mut set = TaskData::new(
        MajorVersion::Four,
        MinorVersion::Three,
        label("Lanewright"),
        label(env!("CARGO_PKG_VERSION")),
        TransferOrigin::Office,
    );
    set.attached_files.push(AttachedFile::link_list());
    set.customers.push(Customer::new(CUSTOMER, label(&job.order.customer)));
    set.farms.push(Farm { customer: Some(CUSTOMER), ..Farm::new(FARM, label(&job.order.farm)) });
    set.base_stations.extend(compiled.site.baseline.as_ref().map(base_station));
    set.products = lots.products();
    set.crop_types = lots.crop_types();
    (set.cultural_practices, set.operation_techniques) = task::practices(&job.order.operations);
    set.comments = task::cautions();
    set.devices.push(machine.device.clone());
    set.partfields = partfield::partfields(compiled, lots);
    let grids;
    (set.tasks, grids) = task::tasks(compiled, lots, machine);
    (set, grids)
}

fn base_station(baseline: &Baseline) -> BaseStation {
    let (north, east) = degrees(baseline.at);
    let up_mm = baseline.height.to_mm().round() as i32;
    BaseStation::new(BASE_STATION, label(&baseline.name), north, east, up_mm)
}

/// A name as far as the format holds it.
fn label<const MAX: usize>(text: &str) -> Text<MAX> {
    Text::cut(text).text
}

/// Numbers of identities count from 1.
fn number(index: usize) -> u32 {
    u32::try_from(index + 1).unwrap_or(u32::MAX)
}

fn whole(value: f64) -> u32 {
    value.round() as u32
}

/// A place as the standard writes it. What PROJ gives lies on the globe; rounding may leave it by
/// less than the last digit.
fn degrees(place: GeoPoint) -> (Latitude, Longitude) {
    let north = Latitude::nearest(place.latitude.clamp(-90.0, 90.0));
    let east = Longitude::nearest(place.longitude.clamp(-180.0, 180.0));
    (north.unwrap_or_default(), east.unwrap_or_default())
}

/// From the field frame to points of the standard.
struct Places<'a> {
    to_geo: &'a dyn Fn(GroundPoint) -> GeoPoint,
}

impl Places<'_> {
    fn point(&self, kind: PointType, at: GroundPoint) -> Point {
        let (north, east) = degrees((self.to_geo)(at));
        Point::new(kind, north, east)
    }
    fn named(&self, kind: PointType, at: GroundPoint, name: &str) -> Point {
        Point { designator: Some(label(name)), ..self.point(kind, at) }
    }
}

/// One finding for each name of the job that the format cuts, in the job's order.
fn shortened_names(job: &Job) -> Vec<Finding> {
    let order = [("customer", &job.order.customer), ("farm", &job.order.farm)].map(|(w, n)| (w, n, None));
    let base = job.base_station.iter().map(|base| ("base station", &base.name, Some(&base.span)));
    let machine = [("machine", &job.machine.name, Some(&job.machine.span))];
    let fields = job.fields.iter().flat_map(|field| {
        let keep_outs =
            field.keep_outs.iter().map(|KeepOut { name, span, .. }| ("keep-out", name, Some(span)));
        let entrances = field.entrances.iter().map(|entrance| ("entrance", &entrance.name, None));
        let refill_points = field.refill_points.iter().map(|point| ("refill point", &point.name, None));
        let places = keep_outs.chain(entrances).chain(refill_points);
        [("field", &field.name, Some(&field.span))].into_iter().chain(places)
    });
    let names = order.into_iter().chain(base).chain(machine).chain(fields);
    names
        .filter(|(_, name, _)| name.chars().count() > NAME_LENGTH)
        .map(|(what, name, span)| {
            let kept = label::<NAME_LENGTH>(name);
            let message = format!("the {what} `{name}` is called `{}` in the task data", kept.as_str());
            let finding = rules::finding(rule::NAME_SHORTENED, message).with_hint(format!(
                "ISO 11783-10 allows {NAME_LENGTH} characters; put what tells names apart first"
            ));
            match span {
                Some(span) => finding.with_span(span.clone(), "this name is too long"),
                None => finding,
            }
        })
        .collect()
}
