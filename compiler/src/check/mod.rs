//! From the job as written to the job as meant: every problem told at once, nothing left to
//! examine later.
//!
//! In: the [`Draft`] of a job. Out: the [`Job`], valid by construction, or every finding; tables that
//! could not be read are passed over, and leave no job. Only what the
//! text alone decides is decided here; what needs the field in metres is left to the site.

use crate::diagnostic::{Finding, Severity, Told};
use crate::read::span;
use crate::rules;
use lanewright_schema::job::{self as written, Draft, Part, Place, Written};
use lanewright_schema::quantity::{GeoPoint, Time};
use std::fmt::Display;
use std::ops::RangeInclusive;

mod block_rates;
mod boundary;
mod crop;
mod emergence;
mod field;
pub(crate) mod frames;
pub mod job;
mod layout;
mod machine;
mod rate;
pub(crate) mod ring;
mod spacing;
#[cfg(test)]
pub(crate) mod tests;
mod weeding;
mod zone_attribute;
mod zone_classes;
mod zone_pattern;
mod zones;

pub use block_rates::{BlockRate, BlockRates};
pub use frames::named as named_frame;
pub use job::*;
pub use rate::Rate;
pub use weeding::*;
pub use zones::{Zone, Zones};

/// Checks a job as far as it was read; no job comes of one that was not read whole.
pub fn check(file: &Draft) -> Told<Job> {
    let mut findings = Findings::default();
    let job = check_parts(file, &mut findings);
    let refused = findings.0.iter().any(|finding| finding.severity == Severity::Error);
    Told { value: job.filter(|_| !refused), findings: findings.0 }
}

/// Checks every part before it says whether all are well.
fn check_parts(file: &Draft, findings: &mut Findings) -> Option<Job> {
    let order = file.order.as_ref().and_then(|part| order(part, findings));
    let frames = file.frames.as_ref().and_then(|part| frames::frames(part, findings));
    let base_station =
        file.base_station.as_ref().map(|part| part.as_ref().and_then(|part| base_station(part, findings)));
    let machine_file = file.machine.as_ref().map(|Part(machine)| machine);
    let machine = machine_file.and_then(|part| machine::machine(part, findings));
    if let Some(part) = machine_file.filter(|part| part.hopper.is_none()) {
        findings
            .raise(
                "machine/no-hopper",
                &part.name.place,
                format!("`{}` has no hopper to sow from", part.name.value),
            )
            .hint("add `hopper = \"2 kg\"`, the mass of seed that one row's hopper holds");
    }
    let crop_files = file.crop.as_ref().map(|crops| crops.0.iter().map(|Part(crop)| crop));
    let crops: Vec<Crop> =
        crop_files.clone().into_iter().flatten().filter_map(|part| crop::crop(part, findings)).collect();
    let crop_names = crop_files.map(|files| files.map(|crop| &crop.name));
    tell_twins(crop_names.clone().into_iter().flatten(), "crop/two-of-one-name", "crops", findings);
    let known = field::Known {
        machine: machine_file,
        crops: &crops,
        crop_names: crop_names.map(|names| names.map(|name| name.value.as_str()).collect()),
        base_station: base_station.as_ref().and_then(|station| Some(station.as_ref()?.at)),
        survey_frame: frames.as_ref().map(|frames| frames.survey.clone()),
    };
    let fields = file.field.as_ref().and_then(|list| fields(&list.0, &known, &file.place, findings));
    Some(Job {
        order: order?,
        frames: frames?,
        base_station: base_station?,
        machine: machine?,
        fields: fields?,
    })
}

fn fields(
    list: &[Part<written::Field>],
    known: &field::Known<'_>,
    job: &Place,
    findings: &mut Findings,
) -> Option<Vec<Field>> {
    tell_twins(list.iter().map(|Part(field)| &field.name), "field/two-of-one-name", "fields", findings);
    if list.is_empty() {
        findings.raise("field/none", job, "the job has no field").hint("add a `[[field]]`");
    }
    let fields: Vec<Option<Field>> =
        list.iter().map(|Part(field)| field::field(field, known, findings)).collect();
    fields.into_iter().collect()
}

fn order(order: &written::Order, findings: &mut Findings) -> Option<Order> {
    let operations = operations(&order.operations, findings);
    hours(&order.hours_per_day, findings);
    Some(Order {
        title: order.title.value.clone(),
        issued: order.issued.value,
        customer: order.customer.value.clone(),
        farm: order.farm.value.clone(),
        operations: operations?,
        hours_per_day: order.hours_per_day.value,
    })
}

/// Hours of a day's work.
fn hours(hours: &Written<Time>, findings: &mut Findings) {
    findings.above_zero(hours, "hours_per_day");
    if hours.value > Time::h(24.0) {
        findings
            .raise(
                "order/hours",
                &hours.place,
                format!("a day of work of {} h is longer than a day", hours.value.to_h()),
            )
            .hint("write at most `\"24 h\"`");
    }
}

fn operations(
    list: &Written<Vec<Written<written::OperationName>>>,
    findings: &mut Findings,
) -> Option<Vec<Operation>> {
    let mut operations = Vec::new();
    for name in &list.value {
        let operation = match name.value {
            written::OperationName::Sowing => Operation::Sowing,
        };
        if operations.contains(&operation) {
            findings
                .raise("order/operations", &name.place, "an operation is listed twice")
                .hint("name each operation once");
            return None;
        }
        operations.push(operation);
    }
    if operations.is_empty() {
        findings
            .raise("order/operations", &list.place, "no operation is ordered")
            .hint("write `operations = [\"sowing\"]`");
        return None;
    }
    Some(operations)
}

fn base_station(station: &written::BaseStation, findings: &mut Findings) -> Option<BaseStation> {
    Some(BaseStation {
        name: station.name.value.clone(),
        at: findings.point(&station.at)?,
        height: station.height.value,
        span: span(&station.place),
    })
}

/// Tells each name that stands a second time.
fn tell_twins<'w>(
    names: impl Iterator<Item = &'w Written<String>>,
    rule: &'static str,
    things: &str,
    findings: &mut Findings,
) {
    let mut seen: Vec<&str> = Vec::new();
    for name in names {
        if seen.contains(&name.value.as_str()) {
            findings
                .raise(rule, &name.place, format!("two {things} are called `{}`", name.value))
                .hint("give each a name of its own");
        }
        seen.push(&name.value);
    }
}

/// The findings of a check, with the few checks that every part needs.
#[derive(Default)]
pub(crate) struct Findings(pub Vec<Finding>);

/// A finding just raised, to add to.
struct Raised<'f>(&'f mut Finding);

impl Raised<'_> {
    /// Adds what to type.
    fn hint(self, hint: impl Into<String>) -> Self {
        self.0.hint = Some(hint.into());
        self
    }
    /// Adds the words beside the underline.
    fn label(self, label: impl Into<String>) -> Self {
        self.0.label = label.into();
        self
    }
    /// Adds the place on the ground.
    fn ground(self, place: GeoPoint) -> Self {
        self.0.place = Some(place);
        self
    }
}

impl Findings {
    fn raise(&mut self, rule: &'static str, place: &Place, message: impl Into<String>) -> Raised<'_> {
        self.0.push(rules::finding(rule, message).with_span(span(place), ""));
        let last = self.0.len() - 1;
        Raised(&mut self.0[last])
    }

    /// Tells a quantity that is zero or negative.
    fn above_zero<Q: PartialOrd + Default + Copy>(&mut self, quantity: &Written<Q>, key: &str) {
        if quantity.value <= Q::default() {
            let is = if quantity.value < Q::default() { "negative" } else { "zero" };
            self.raise("job/not-above-zero", &quantity.place, format!("`{key}` is {is}"))
                .label("must be above zero")
                .hint("write a value above zero");
        }
    }

    /// Tells a quantity beyond what there is. One that is negative, or zero where it must be above,
    /// is told by the checks of the sign.
    fn within<Q: PartialOrd + Default + Copy>(
        &mut self,
        quantity: &Written<Q>,
        key: &str,
        (range, words): &(RangeInclusive<Q>, &str),
    ) {
        let sign_told = *range.start() >= Q::default() && quantity.value <= Q::default();
        if !sign_told && !range.contains(&quantity.value) {
            self.raise("job/out-of-range", &quantity.place, format!("`{key}` lies outside {words}"))
                .label("no machine, field or crop has this")
                .hint(format!("write a value from {words}"));
        }
    }

    /// Tells a quantity that is negative.
    fn not_negative<Q: PartialOrd + Default + Copy>(&mut self, quantity: &Written<Q>, key: &str) {
        if quantity.value < Q::default() {
            self.raise("job/negative", &quantity.place, format!("`{key}` is negative"))
                .hint("write zero or a value above it");
        }
    }

    /// The position, if there is such a place on the Earth.
    fn point(&mut self, point: &Written<GeoPoint>) -> Option<GeoPoint> {
        let GeoPoint { longitude, latitude } = point.value;
        if is_on_earth(point.value) {
            return Some(point.value);
        }
        let hint = if longitude.abs() <= 90.0 && latitude.abs() <= 180.0 {
            format!("latitude and longitude may be swapped: `[{longitude}, {latitude}]`")
        } else if latitude.abs() <= 90.0 && longitude.abs() <= 540.0 {
            format!("write the longitude as {}", longitude - 360.0 * longitude.signum())
        } else {
            "latitudes lie from -90 to 90, longitudes from -180 to 180".to_owned()
        };
        self.raise(
            "job/no-such-place",
            &point.place,
            format!("there is no place at latitude {latitude}, longitude {longitude}"),
        )
        .hint(hint);
        None
    }
}

/// A number for a message: as few decimals as tell it, at most three.
fn brief(value: f64) -> impl Display {
    (value * 1000.0).round() / 1000.0
}

/// Metres for a message: whole kilometres when far, centimetres when near.
fn distance(metres: f64) -> String {
    match metres {
        far if far >= 10_000.0 => format!("{:.0} km", far / 1000.0),
        middling if middling >= 100.0 => format!("{middling:.0} m"),
        near => format!("{near:.2} m"),
    }
}

/// A count with its noun.
fn counted(count: usize, noun: &str) -> String {
    if count == 1 { format!("1 {noun}") } else { format!("{count} {noun}s") }
}

fn is_on_earth(point: GeoPoint) -> bool {
    point.longitude.abs() <= 180.0 && point.latitude.abs() <= 90.0
}
