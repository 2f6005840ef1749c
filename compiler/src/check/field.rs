//! The field: its keep-outs, headland, heading and way-points, about its boundary.

use super::block_rates::block_rates;
use super::boundary::{Boundary, boundary};
use super::layout::layout;
use super::ring::{KEEP_OUT, ring};
use super::{
    Crop, Entrance, Field, FieldPlaces, Findings, GeoPolygon, Headland, HeadlandSize, HeadlandSown, KeepOut,
    KeepOutShape, LapCorners, ReferenceFrame, RefillPoint, brief, distance, spacing, tell_twins, zones,
};
use crate::num::hypot;
use crate::read::span;
use crate::survey::plane::Plane;
use lanewright_schema::job::{self as written, HeadlandChoice, Written, nearest};
use lanewright_schema::quantity::{GeoPoint, Length, Time};
use std::ops::RangeInclusive;

/// Left out, a metre over sown rows counts as three seconds more: two tyres crush a third of a square
/// metre of crop, half of which its neighbours make good. Common practice, no source.
const OVER_SOWN_ROWS: Time = Time::s(3.0);

/// A boundary further than this from the base station is not where it was meant to be; no
/// correction service reaches as far (common practice, no source).
const FAR_M: f64 = 100_000.0;

/// Lengths on a field beyond which something else was meant.
const FIELD_LENGTHS: (RangeInclusive<Length>, &str) = (Length::ZERO..=Length::m(5000.0), "0 m to 5 km");

/// What a field is checked against.
pub struct Known<'j> {
    /// The machine as written, where it could be read.
    pub machine: Option<&'j written::Machine>,
    /// The crops that passed.
    pub crops: &'j [Crop],
    /// The names of all crops, passed or not, where they could be read.
    pub crop_names: Option<Vec<&'j str>>,
    /// Where the base station stands.
    pub base_station: Option<GeoPoint>,
    /// The frame of every coordinate in the job.
    pub survey_frame: Option<ReferenceFrame>,
}

/// Checks a field.
pub fn field(file: &written::Field, known: &Known<'_>, findings: &mut Findings) -> Option<Field> {
    findings.not_negative(&file.fence_margin, "fence_margin");
    findings.within(&file.fence_margin, "fence_margin", &FIELD_LENGTHS);
    let over_sown_rows = over_sown_rows(file.over_sown_rows.as_ref(), findings);
    let boundary = boundary(file, known.survey_frame.as_ref(), findings)
        .filter(|boundary| !tell_swapped(boundary, known.base_station, findings));
    let crop = crop_of(&file.crop, known, findings);
    let spacing = spacing::spacing(&file.spacing, known.machine, crop, findings);
    let own = zones::Known { spacing: spacing.as_ref(), crop, frame: known.survey_frame.as_ref() };
    let zones = file.zones.as_ref().map(|zones| zones::zones(zones, &own, findings));
    let block_rates = block_rates(file, &own, findings);
    let headland = headland(file.headland.as_ref(), known.machine, findings);
    let home = file.home.as_ref().map(|home| findings.point(home));
    let entrances = entrances(file, known.machine, findings);
    let refill_points = refill_points(file, findings);
    let mut keep_outs: Vec<Option<KeepOut>> = file
        .keep_out
        .iter()
        .flat_map(|many| &many.0)
        .map(|keep_out| check_keep_out(keep_out, boundary.as_ref(), findings))
        .collect();
    let Boundary { parts, span: place, obstacles, entrances: surveyed, .. } = boundary?;
    keep_outs.extend(obstacles.into_iter().map(Some));
    let entrances = entrances.map(|named| named.into_iter().chain(surveyed).collect());
    let layout = layout(file, &parts, findings);
    Some(Field {
        name: file.name.value.clone(),
        keep_outs: keep_outs.into_iter().collect::<Option<_>>()?,
        fence_margin: file.fence_margin.value,
        over_sown_rows,
        headland: headland?,
        layout: layout?,
        home: match home {
            Some(home) => Some(home?),
            None => None,
        },
        entrances: entrances?,
        refill_points: refill_points?,
        crop: crop?.clone(),
        spacing: spacing?,
        zones: match zones {
            Some(zones) => Some(zones?),
            None => None,
        },
        block_rates: block_rates?,
        span: place,
        places: places(file),
        parts,
    })
}

/// What a metre over sown rows counts, for sowing and for weeding.
pub fn over_sown_rows(written: Option<&Written<Time>>, findings: &mut Findings) -> Time {
    if let Some(over) = written {
        findings.not_negative(over, "over_sown_rows");
        findings.within(over, "over_sown_rows", &(Time::ZERO..=Time::s(600.0), "0 s to 600 s"));
    }
    written.map_or(OVER_SOWN_ROWS, |over| over.value)
}

fn places(file: &written::Field) -> FieldPlaces {
    FieldPlaces {
        name: Some(span(&file.name.place)),
        home: file.home.as_ref().map(|home| span(&home.place)),
        fence_margin: Some(span(&file.fence_margin.place)),
        headland: file.headland.as_ref().map(|headland| match headland {
            HeadlandChoice::None(place) => span(place),
            HeadlandChoice::Sized(headland) => match (&headland.laps, &headland.width) {
                (Some(laps), _) => span(&laps.place),
                (None, Some(width)) => span(&width.place),
                (None, None) => span(&headland.place),
            },
        }),
        guidance: file.guidance.as_ref().map(|guidance| span(&guidance.place)),
        dividing_lines: file
            .dividing_line
            .iter()
            .flat_map(|many| &many.0)
            .map(|line| span(&line.points.place))
            .collect(),
        blocks: file.block.iter().flat_map(|many| &many.0).map(|block| span(&block.at.place)).collect(),
        crop: Some(span(&file.crop.place)),
        entrances: file.entrance.iter().flat_map(|many| &many.0).map(|e| span(&e.at.place)).collect(),
        refill_points: file.refill_point.iter().flat_map(|many| &many.0).map(|p| span(&p.at.place)).collect(),
    }
}

fn crop_of<'j>(name: &Written<String>, known: &Known<'j>, findings: &mut Findings) -> Option<&'j Crop> {
    if let Some(names) = &known.crop_names
        && !names.contains(&name.value.as_str())
    {
        let hint = match nearest(&name.value, names.iter().copied()) {
            Some(near) => format!("did you mean `\"{near}\"`?"),
            None => format!("the job's crops are: {}", names.join(", ")),
        };
        findings
            .raise("crop/unknown", &name.place, format!("the job has no crop `{}`", name.value))
            .hint(hint);
    }
    known.crops.iter().find(|crop| crop.name == name.value)
}

fn headland(
    choice: Option<&HeadlandChoice>,
    machine: Option<&written::Machine>,
    findings: &mut Findings,
) -> Option<Headland> {
    let file = match choice {
        None => {
            return Some(Headland {
                size: HeadlandSize::AsTurnsNeed,
                sown: HeadlandSown::Last,
                corners: LapCorners::Round,
            });
        }
        Some(HeadlandChoice::None(_)) => {
            return Some(Headland {
                size: HeadlandSize::None,
                sown: HeadlandSown::No,
                corners: LapCorners::Round,
            });
        }
        Some(HeadlandChoice::Sized(file)) => file,
    };
    let size = match (&file.laps, &file.width) {
        (Some(laps), None) => {
            findings.above_zero(laps, "laps");
            HeadlandSize::Laps(laps.value)
        }
        (None, Some(width)) => {
            findings.above_zero(width, "width");
            findings.within(width, "width", &FIELD_LENGTHS);
            HeadlandSize::Width(width.value)
        }
        (None, None) => HeadlandSize::AsTurnsNeed,
        (Some(_), Some(width)) => {
            findings
                .raise("field/headland", &width.place, "the headland is given twice, in laps and as a width")
                .hint("leave out `laps` or `width`");
            return None;
        }
    };
    let sown = match file.sown.as_ref().map(|sown| sown.value) {
        Some(written::SownWhen::First) => HeadlandSown::First,
        Some(written::SownWhen::Last) | None => HeadlandSown::Last,
        Some(written::SownWhen::No) => HeadlandSown::No,
    };
    let corners = corners(file, machine, findings);
    Some(Headland { size, sown, corners })
}

fn corners(
    headland: &written::Headland,
    machine: Option<&written::Machine>,
    findings: &mut Findings,
) -> LapCorners {
    let Some(asked) = &headland.corners else { return LapCorners::Round };
    match asked.value {
        written::LapCorners::Round => LapCorners::Round,
        written::LapCorners::Square => {
            if machine.is_some_and(|machine| !machine.may_reverse.value && !machine.turns_on_spot.value) {
                findings
                    .raise(
                        "field/square-corners",
                        &asked.place,
                        "square corners ask for a machine that reverses or turns on the spot",
                    )
                    .hint("set `corners = \"round\"`, or leave it out");
            }
            LapCorners::Square
        }
    }
}

fn entrances(
    file: &written::Field,
    machine: Option<&written::Machine>,
    findings: &mut Findings,
) -> Option<Vec<Entrance>> {
    let names = file.entrance.iter().flat_map(|many| &many.0).map(|entrance| &entrance.name);
    tell_twins(names, "entrance/two-of-one-name", "entrances", findings);
    let entrances: Vec<Option<Entrance>> = file
        .entrance
        .iter()
        .flat_map(|many| &many.0)
        .map(|entrance| {
            if let Some(width) = &entrance.width {
                findings.above_zero(width, "width");
                findings.within(width, "width", &FIELD_LENGTHS);
                wide_enough(&entrance.name.value, width, machine, findings);
            }
            Some(Entrance { name: entrance.name.value.clone(), at: findings.point(&entrance.at)? })
        })
        .collect();
    entrances.into_iter().collect()
}

fn refill_points(file: &written::Field, findings: &mut Findings) -> Option<Vec<RefillPoint>> {
    let names = file.refill_point.iter().flat_map(|many| &many.0).map(|point| &point.name);
    tell_twins(names, "refill-point/two-of-one-name", "refill points", findings);
    let points: Vec<Option<RefillPoint>> = file
        .refill_point
        .iter()
        .flat_map(|many| &many.0)
        .map(|point| Some(RefillPoint { name: point.name.value.clone(), at: findings.point(&point.at)? }))
        .collect();
    points.into_iter().collect()
}

/// The machine is driven through an entrance nose first.
fn wide_enough(
    name: &str,
    width: &Written<Length>,
    machine: Option<&written::Machine>,
    findings: &mut Findings,
) {
    let Some(machine) = machine else { return };
    let across = machine.body.value.iter().map(|corner| corner.value[1]);
    let (left, right) = across.fold((Length::ZERO, Length::ZERO), |(l, r), at| (l.min(at), r.max(at)));
    let body = right - left;
    if width.value < body {
        let (gate, body) = (brief(width.value.to_m()), brief(body.to_m()));
        let message =
            format!("entrance `{name}` is {gate} m wide, the body of `{}` {body} m", machine.name.value);
        findings
            .raise("entrance/too-narrow", &width.place, message)
            .label("the machine cannot pass")
            .hint(format!("leave the entrance out, or write `\"{body} m\"` if it is that wide"));
    }
}

fn check_keep_out(
    file: &written::KeepOut,
    boundary: Option<&Boundary>,
    findings: &mut Findings,
) -> Option<KeepOut> {
    findings.not_negative(&file.clearance, "clearance");
    findings.within(&file.clearance, "clearance", &FIELD_LENGTHS);
    let shape = match (&file.polygon, &file.at, &file.radius) {
        (Some(polygon), None, None) => KeepOutShape::Ring(ring(polygon, &KEEP_OUT, findings)?),
        (None, Some(at), Some(radius)) => {
            findings.above_zero(radius, "radius");
            findings.within(radius, "radius", &FIELD_LENGTHS);
            KeepOutShape::Circle { centre: findings.point(at)?, radius: radius.value }
        }
        _ => {
            findings
                .raise(
                    "keep-out/shape",
                    &file.name.place,
                    format!(
                        "the keep-out `{}` is neither a polygon nor a point with a radius",
                        file.name.value
                    ),
                )
                .hint("give `polygon`, or both `at` and `radius`");
            return None;
        }
    };
    if let Some(boundary) = boundary {
        tell_far_keep_out(file, &shape, &boundary.parts, findings);
    }
    Some(KeepOut {
        name: file.name.value.clone(),
        shape,
        clearance: file.clearance.value,
        span: span(&file.place),
    })
}

/// A keep-out whose box does not meet the field's is outside it without doubt.
fn tell_far_keep_out(
    file: &written::KeepOut,
    shape: &KeepOutShape,
    parts: &[GeoPolygon],
    findings: &mut Findings,
) {
    let Some(origin) = parts.first().and_then(|part| part.exterior.first()) else { return };
    let plane = Plane::about(*origin);
    let bounds = |points: &mut dyn Iterator<Item = GeoPoint>, grown_m: f64| {
        let mut low = [f64::INFINITY; 2];
        let mut high = [f64::NEG_INFINITY; 2];
        for point in points.map(|point| plane.metres(point)) {
            for axis in 0..2 {
                low[axis] = low[axis].min(point[axis] - grown_m);
                high[axis] = high[axis].max(point[axis] + grown_m);
            }
        }
        (low, high)
    };
    let (field_low, field_high) =
        bounds(&mut parts.iter().flat_map(|part| part.exterior.iter().copied()), Length::ZERO.to_m());
    let (low, high) = match shape {
        KeepOutShape::Ring(ring) => bounds(&mut ring.iter().copied(), 0.0),
        KeepOutShape::Circle { centre, radius } => bounds(&mut std::iter::once(*centre), radius.to_m()),
    };
    let gap = (0..2)
        .map(|axis| (low[axis] - field_high[axis]).max(field_low[axis] - high[axis]))
        .fold(0.0, f64::max);
    if gap > 0.0 {
        findings
            .raise(
                "keep-out/outside",
                &file.name.place,
                format!("the keep-out `{}` lies {} outside the field", file.name.value, distance(gap)),
            )
            .hint("check its position, or leave it out");
    }
}

/// Whether the boundary lies where only swapped coordinates could have put it.
fn tell_swapped(boundary: &Boundary, base_station: Option<GeoPoint>, findings: &mut Findings) -> bool {
    let corner = boundary.parts.first().and_then(|part| part.exterior.first());
    let (Some(station), Some(&corner)) = (base_station, corner) else { return false };
    let plane = Plane::about(station);
    let away = |point: GeoPoint| {
        let [east, north] = plane.metres(point);
        hypot(east, north)
    };
    let here = away(corner);
    let near = |point: GeoPoint| point.latitude.abs() <= 90.0 && away(point) <= FAR_M;
    let turned = GeoPoint { longitude: corner.latitude, latitude: corner.longitude };
    let (swapped, what, hint) = match boundary.exchanged {
        Some(grid) if !near(turned) => {
            (grid, "easting and northing", "check the order of the columns, or of the axes of the map grid")
        }
        _ => (
            turned,
            "latitude and longitude",
            "in a job write `[latitude, longitude]`, in GeoJSON `[longitude, latitude]`",
        ),
    };
    if here < FAR_M || !near(swapped) {
        return false;
    }
    findings.0.push(
        crate::rules::finding(
            "field/swapped",
            format!(
                "the boundary lies {} from the base station; with {what} exchanged it lies {} away",
                distance(here),
                distance(away(swapped))
            ),
        )
        .with_span(boundary.span.clone(), format!("{what} look swapped"))
        .with_place(corner)
        .with_hint(hint),
    );
    true
}
