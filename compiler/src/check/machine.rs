//! The machine: whether its rows, wheels, body and steering can be true together.

use super::{BodyPoint, Findings, Machine, Metering, Precision, Steering, SteeringRate, brief};
use crate::num::hypot;
use crate::read::span;
use crate::survey::plane::{area, meetings};
use lanewright_schema::job::{self as written, Written};
use lanewright_schema::quantity::{Angle, AngularSpeed, Length, Mass, Speed, Time};

/// Least clear soil between a tyre's edge and the middle of a row: common practice, no source.
const LEAST_GAP: Length = Length::cm(2.0);
/// An antenna further from the body than this is probably a slip of the pen.
const ANTENNA_REACH_M: f64 = 1.0;

/// Antennas nearer to each other tell no better heading.
const NEAREST_ANTENNAS_M: f64 = 0.2;

/// Checks the machine.
pub fn machine(file: &written::Machine, findings: &mut Findings) -> Option<Machine> {
    positive_values(file, findings);
    values_within_range(file, findings);
    let row_offsets = rows(file, findings);
    let steering = steering(file, findings);
    let body = body(file, findings);
    wheels_between_rows(file, &row_offsets, findings);
    let antennas = file
        .antennas
        .each_ref()
        .map(|antenna| BodyPoint { forward: antenna.forward.value, right: antenna.right.value });
    let body = body?;
    antennas_near_body(file, &body, findings);
    let precision = precision(file.precision.as_ref(), &antennas, findings);
    rows_within_body(file, &row_offsets, &body, findings);
    let seconds = |time: &Option<Written<Time>>, default: f64| {
        time.as_ref().map_or(Time::s(default), |time| time.value)
    };
    Some(Machine {
        name: file.name.value.clone(),
        row_offsets,
        row_spacing: file.row_spacing.value,
        working_width: file.row_spacing.value * f64::from(file.rows.value),
        tool_forward: file.tool_offset.value,
        body,
        antennas,
        antenna_height: file.antennas[0].height.value.max(file.antennas[1].height.value),
        wheel_tracks: file.wheel_tracks.value.iter().map(|track| track.value).collect(),
        tyre_width: file.tyre_width.value,
        steering: steering?,
        working_speed: file.working_speed.value,
        turning_speed: file.turning_speed.value,
        transit_speed: file.transit_speed.value,
        reverse_speed: file.reverse_speed.as_ref().map(|speed| speed.value),
        spot_turn_time: seconds(&file.spot_turn_time, 24.0),
        gear_change_time: seconds(&file.gear_change_time, 2.0),
        lift_time: seconds(&file.lift_time, 2.0),
        hopper: file.hopper.as_ref().map_or(Mass::ZERO, |hopper| hopper.value),
        refill_time: seconds(&file.refill_time, 600.0),
        metering: file.metering.as_ref().map_or_else(Metering::default, |file| metering(file, findings)),
        precision,
        moving_time: seconds(&file.moving_time, 900.0),
        speed_span: span(&file.working_speed.place),
        body_span: span(&file.body.place),
        radius_span: span(file.turning_radius.as_ref().map_or(&file.place, |radius| &radius.place)),
        span: span(&file.place),
    })
}

/// How seeds are let go, as the job says, else as is common.
fn metering(file: &written::Metering, findings: &mut Findings) -> Metering {
    let common = Metering::default();
    if let Some(rate) = &file.highest_rate {
        findings.above_zero(rate, "highest_rate");
    }
    Metering {
        drop_height: stated(
            file.drop_height.as_ref(),
            "drop_height",
            common.drop_height,
            (Length::m(2.0), "0 m to 2 m"),
            findings,
        ),
        gate_delay: stated(
            file.gate_delay.as_ref(),
            "gate_delay",
            common.gate_delay,
            (Time::s(5.0), "0 s to 5 s"),
            findings,
        ),
        highest_rate: file.highest_rate.as_ref().map(|rate| rate.value),
    }
}

/// How true the machine works, as the job says, else as ordinary machines do.
fn precision(
    file: Option<&written::Precision>,
    antennas: &[BodyPoint; 2],
    findings: &mut Findings,
) -> Precision {
    let ordinary = Precision::ordinary(antennas);
    let Some(file) = file else { return ordinary };
    Precision {
        tilt: stated(
            file.tilt.as_ref(),
            "tilt",
            ordinary.tilt,
            (Angle::deg(30.0), "0 deg to 30 deg"),
            findings,
        ),
        heading: stated(
            file.heading.as_ref(),
            "heading",
            ordinary.heading,
            (Angle::deg(30.0), "0 deg to 30 deg"),
            findings,
        ),
        steering: stated(
            file.steering.as_ref(),
            "steering",
            ordinary.steering,
            (Length::m(1.0), "0 m to 1 m"),
            findings,
        ),
        timing: stated(
            file.timing.as_ref(),
            "timing",
            ordinary.timing,
            (Time::s(5.0), "0 s to 5 s"),
            findings,
        ),
        drop: stated(file.drop.as_ref(), "drop", ordinary.drop, (Length::m(1.0), "0 m to 1 m"), findings),
    }
}

/// A quantity from zero to so much as written, or the common one.
fn stated<Q: PartialOrd + Default + Copy>(
    written: Option<&Written<Q>>,
    key: &str,
    common: Q,
    (most, words): (Q, &str),
    findings: &mut Findings,
) -> Q {
    let Some(written) = written else { return common };
    findings.not_negative(written, key);
    findings.within(written, key, &(Q::default()..=most, words));
    written.value
}

impl Precision {
    /// Of a machine of which no more is known than where its antennas stand: common practice, no
    /// source. The heading's error falls with the distance between the antennas.
    pub fn ordinary(antennas: &[BodyPoint; 2]) -> Self {
        let [a, b] = antennas;
        let apart_m = hypot((a.forward - b.forward).to_m(), (a.right - b.right).to_m());
        Self {
            tilt: Angle::deg(0.3),
            heading: Angle::deg(0.2 / apart_m.max(NEAREST_ANTENNAS_M)),
            steering: Length::mm(10.0),
            timing: Time::ms(10.0),
            drop: Length::mm(10.0),
        }
    }
}

fn positive_values(file: &written::Machine, findings: &mut Findings) {
    findings.above_zero(&file.rows, "rows");
    findings.above_zero(&file.row_spacing, "row_spacing");
    findings.above_zero(&file.working_width, "working_width");
    findings.above_zero(&file.tyre_width, "tyre_width");
    findings.above_zero(&file.working_speed, "working_speed");
    findings.above_zero(&file.turning_speed, "turning_speed");
    findings.above_zero(&file.transit_speed, "transit_speed");
    if let Some(speed) = &file.reverse_speed {
        findings.above_zero(speed, "reverse_speed");
    }
    if let Some(rate) = &file.steering_rate {
        findings.above_zero(rate, "steering_rate");
    }
    if let Some(wheelbase) = &file.wheelbase {
        findings.above_zero(wheelbase, "wheelbase");
    }
    if let Some(hopper) = &file.hopper {
        findings.above_zero(hopper, "hopper");
    }
    for antenna in &file.antennas {
        findings.above_zero(&antenna.height, "height");
    }
    for (time, key) in optional_times(file) {
        if let Some(time) = time {
            findings.not_negative(time, key);
        }
    }
}

/// Values so far from any machine's that they are slips.
fn values_within_range(file: &written::Machine, findings: &mut Findings) {
    let about = (Length::m(-50.0)..=Length::m(50.0), "-50 m to 50 m");
    let width = (Length::mm(1.0)..=Length::m(20.0), "1 mm to 20 m");
    findings.within(&file.row_spacing, "row_spacing", &(Length::cm(1.0)..=Length::m(10.0), "1 cm to 10 m"));
    findings.within(&file.tyre_width, "tyre_width", &width);
    findings.within(&file.tool_offset, "tool_offset", &about);
    for track in &file.wheel_tracks.value {
        findings.within(track, "wheel_tracks", &about);
    }
    for antenna in &file.antennas {
        findings.within(&antenna.forward, "forward", &about);
        findings.within(&antenna.right, "right", &about);
        findings.within(&antenna.height, "height", &width);
    }
    for corner in &file.body.value {
        for value in corner.value {
            findings.within(&Written { value, place: corner.place.clone() }, "body", &about);
        }
    }
    if let Some(radius) = &file.turning_radius {
        findings.within(radius, "turning_radius", &(Length::ZERO..=Length::m(100.0), "0 m to 100 m"));
    }
    if let Some(rate) = &file.steering_rate {
        let rates = AngularSpeed::deg_per_s(0.1)..=AngularSpeed::deg_per_s(1000.0);
        findings.within(rate, "steering_rate", &(rates, "0.1 deg/s to 1000 deg/s"));
    }
    if let Some(wheelbase) = &file.wheelbase {
        findings.within(wheelbase, "wheelbase", &width);
    }
    let speeds = (Speed::km_per_h(0.01)..=Speed::km_per_h(100.0), "0.01 km/h to 100 km/h");
    findings.within(&file.working_speed, "working_speed", &speeds);
    findings.within(&file.turning_speed, "turning_speed", &speeds);
    findings.within(&file.transit_speed, "transit_speed", &speeds);
    if let Some(speed) = &file.reverse_speed {
        findings.within(speed, "reverse_speed", &speeds);
    }
    if let Some(hopper) = &file.hopper {
        findings.within(hopper, "hopper", &(Mass::g(1.0)..=Mass::kg(100_000.0), "1 g to 100000 kg"));
    }
    for (time, key) in optional_times(file) {
        if let Some(time) = time {
            findings.within(time, key, &(Time::ZERO..=Time::h(24.0), "0 h to 24 h"));
        }
    }
}

fn optional_times(file: &written::Machine) -> [(&Option<Written<Time>>, &str); 5] {
    [
        (&file.gear_change_time, "gear_change_time"),
        (&file.lift_time, "lift_time"),
        (&file.spot_turn_time, "spot_turn_time"),
        (&file.refill_time, "refill_time"),
        (&file.moving_time, "moving_time"),
    ]
}

/// Offsets of the tool rows, left to right, once rows and width agree.
fn rows(file: &written::Machine, findings: &mut Findings) -> Vec<Length> {
    let count = file.rows.value;
    if count > 200 {
        findings
            .raise("machine/rows", &file.rows.place, format!("{count} rows are more than any toolbar has"))
            .hint("write how many rows the machine sows at once, at most 200");
        return Vec::new();
    }
    let width = file.row_spacing.value * f64::from(count);
    if (width - file.working_width.value).abs() > Length::mm(0.1) {
        let across = file.working_width.value / f64::from(count.max(1));
        findings
            .raise(
                "machine/width-mismatch",
                &file.working_width.place,
                format!(
                    "{count} rows × {} cm are {} m, not the working width of {} m",
                    brief(file.row_spacing.value.to_cm()),
                    brief(width.to_m()),
                    brief(file.working_width.value.to_m())
                ),
            )
            .hint(format!(
                "write `working_width = \"{} m\"`, or `row_spacing = \"{} cm\"`",
                brief(width.to_m()),
                brief(across.to_cm())
            ));
    }
    let middle = (f64::from(count) - 1.0) / 2.0;
    (0..count).map(|row| file.row_spacing.value * (f64::from(row) - middle)).collect()
}

fn steering(file: &written::Machine, findings: &mut Findings) -> Option<Steering> {
    let spot = file.turns_on_spot.value;
    let radius = match &file.turning_radius {
        Some(radius) => {
            findings.not_negative(radius, "turning_radius");
            if radius.value <= Length::ZERO && !spot {
                findings
                    .raise(
                        "machine/steering",
                        &radius.place,
                        "a turning radius of zero is a turn on the spot",
                    )
                    .hint("write the smallest radius it can drive, or `turns_on_spot = true`");
                return None;
            }
            radius.value
        }
        None if spot => Length::ZERO,
        None => {
            findings
                .raise(
                    "machine/steering",
                    &file.turns_on_spot.place,
                    "the machine does not turn on the spot and has no turning radius, so it cannot turn",
                )
                .hint("add `turning_radius = \"2.5 m\"`, or write `turns_on_spot = true`");
            return None;
        }
    };
    Some(Steering {
        turning_radius: radius,
        may_reverse: file.may_reverse.value,
        turns_on_spot: spot,
        rate: steering_rate(file, radius, findings),
    })
}

/// How fast the steering moves, where that is told and makes sense.
fn steering_rate(file: &written::Machine, radius: Length, findings: &mut Findings) -> Option<SteeringRate> {
    match (&file.steering_rate, &file.wheelbase) {
        (Some(rate), _) if radius <= Length::ZERO => {
            findings
                .raise(
                    "machine/steering",
                    &rate.place,
                    "a machine without a turning radius has no wheels that steer",
                )
                .hint("add `turning_radius`, or leave `steering_rate` out");
            None
        }
        (Some(rate), Some(wheelbase)) => {
            Some(SteeringRate { wheels: rate.value, wheelbase: wheelbase.value })
        }
        (Some(rate), None) => {
            findings
                .raise(
                    "machine/steering",
                    &rate.place,
                    "how fast the curve changes depends on the wheelbase, which is not given",
                )
                .hint("add `wheelbase = \"1.9 m\"`, measured from axle to axle");
            None
        }
        (None, _) => None,
    }
}

/// The body's outline as a simple ring.
fn body(file: &written::Machine, findings: &mut Findings) -> Option<Vec<BodyPoint>> {
    let mut body: Vec<BodyPoint> = file
        .body
        .value
        .iter()
        .map(|corner| BodyPoint { forward: corner.value[0], right: corner.value[1] })
        .collect();
    if body.len() > 1 && body.first() == body.last() {
        body.pop();
    }
    body.dedup();
    let place = &file.body.place;
    if body.len() < 3 {
        findings
            .raise("machine/body", place, format!("a body with {} corners encloses nothing", body.len()))
            .hint("give the corners of the outline in order, at least three");
        return None;
    }
    let outline: Vec<[f64; 2]> = body.iter().map(|p| [p.forward.to_m(), p.right.to_m()]).collect();
    if let Some(meeting) = meetings(&outline).first() {
        let [forward, right] = meeting.at;
        findings
            .raise(
                "machine/body",
                place,
                format!(
                    "the body's outline crosses itself {} m forward, {} m to the right",
                    brief(forward),
                    brief(right)
                ),
            )
            .hint("give the corners in the order in which one would walk round them");
        return None;
    }
    if area(&outline).abs() < 0.01 {
        findings
            .raise("machine/body", place, "the body has no area")
            .hint("give the corners of the outline in order");
        return None;
    }
    Some(body)
}

/// No tyre may run where a row is sown.
fn wheels_between_rows(file: &written::Machine, rows: &[Length], findings: &mut Findings) {
    let needed = file.tyre_width.value / 2.0 + LEAST_GAP;
    for track in &file.wheel_tracks.value {
        let Some(nearest) = rows
            .iter()
            .min_by(|a, b| (**a - track.value).abs().to_m().total_cmp(&(**b - track.value).abs().to_m()))
        else {
            continue;
        };
        let gap = (*nearest - track.value).abs();
        // Where a lane lies beside its neighbour the rows go on in the same spacing.
        let from_row = track.value - *nearest;
        let steps = (from_row / file.row_spacing.value).round();
        let to_any_row = (from_row - file.row_spacing.value * steps).abs();
        if to_any_row.min(gap) < needed - Length::mm(0.01) {
            findings
                .raise(
                    "machine/tracks-on-rows",
                    &track.place,
                    format!(
                        "the wheel at {} cm runs {} cm from a row; half a tyre and {} cm of clear soil are {} cm",
                        brief(track.value.to_cm()),
                        brief(to_any_row.min(gap).to_cm()),
                        brief(LEAST_GAP.to_cm()),
                        brief(needed.to_cm())
                    ),
                )
                .label("a tyre would run on a row")
                .hint(track_hint(file, *nearest, track.value));
        }
    }
}

/// The nearest place midway between rows, or a narrower tyre where even that is too near.
fn track_hint(file: &written::Machine, row: Length, track: Length) -> String {
    let spacing = file.row_spacing.value;
    let widest = spacing - LEAST_GAP * 2.0;
    if widest <= Length::ZERO {
        return format!("rows {} cm apart leave no room for a tyre", brief(spacing.to_cm()));
    }
    if file.tyre_width.value > widest {
        return format!(
            "between rows {} cm apart a tyre may be {} cm wide at most",
            brief(spacing.to_cm()),
            brief(widest.to_cm())
        );
    }
    let midway = row + spacing * (((track - row) / spacing).floor() + 0.5);
    format!("midway between two rows is `\"{} cm\"`", brief(midway.to_cm()))
}

fn antennas_near_body(file: &written::Machine, body: &[BodyPoint], findings: &mut Findings) {
    for antenna in &file.antennas {
        let point = [antenna.forward.value.to_m(), antenna.right.value.to_m()];
        let away = distance_to_body_m(point, body);
        if away > ANTENNA_REACH_M {
            findings
                .raise(
                    "machine/antenna-off-body",
                    &antenna.place,
                    format!("an antenna stands {} m outside the body", brief(away)),
                )
                .hint("check `forward` and `right`, which are counted from the reference point");
        }
    }
}

fn rows_within_body(file: &written::Machine, rows: &[Length], body: &[BodyPoint], findings: &mut Findings) {
    let forward = file.tool_offset.value.to_m();
    let outside = rows.iter().filter(|row| distance_to_body_m([forward, row.to_m()], body) > 1e-6).count();
    if outside > 0 {
        findings
            .raise(
                "machine/rows-off-body",
                &file.body.place,
                format!("{outside} of {} tool rows lie outside the body's outline", rows.len()),
            )
            .hint("the fence is proven for the outline; let it hold the toolbar too");
    }
}

/// Zero inside.
fn distance_to_body_m(point: [f64; 2], body: &[BodyPoint]) -> f64 {
    let corner = |index: usize| {
        let corner = body[index % body.len()];
        [corner.forward.to_m(), corner.right.to_m()]
    };
    let mut inside = false;
    let mut nearest = f64::INFINITY;
    for index in 0..body.len() {
        let (a, b) = (corner(index), corner(index + 1));
        if (a[1] > point[1]) != (b[1] > point[1])
            && point[0] < (b[0] - a[0]) * (point[1] - a[1]) / (b[1] - a[1]) + a[0]
        {
            inside = !inside;
        }
        let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
        let along = ((point[0] - a[0]) * dx + (point[1] - a[1]) * dy) / (dx * dx + dy * dy);
        let share = along.clamp(0.0, 1.0);
        nearest = nearest.min(hypot(point[0] - a[0] - share * dx, point[1] - a[1] - share * dy));
    }
    if inside { 0.0 } else { nearest }
}
