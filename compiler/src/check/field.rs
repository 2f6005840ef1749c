//! The field: its boundary, keep-outs, headland, heading and way-points.

use super::ring::{Plane, Rules, ring};
use super::{
    Crop, Entrance, Field, FieldPlaces, Findings, GeoPolygon, Guidance, Headland, HeadlandSize, HeadlandSown,
    KeepOut, KeepOutShape, crop, distance,
};
use crate::diagnostic::Span;
use crate::num::hypot;
use crate::read::span;
use lanewright_schema::job::{
    self as written, GuidanceChoice, HeadlandChoice, Ring, Shape, Written, nearest,
};
use lanewright_schema::quantity::{GeoPoint, Length};
use std::ops::RangeInclusive;

/// A boundary further than this from the base station is not where it was meant to be; no
/// correction service reaches as far (common practice, no source).
const FAR_M: f64 = 100_000.0;

/// Lengths on a field beyond which something else was meant.
const FIELD_LENGTHS: (RangeInclusive<Length>, &str) = (Length::ZERO..=Length::m(5000.0), "0 m to 5 km");

const BOUNDARY: Rules = Rules {
    thing: "boundary",
    few_corners: "field/few-corners",
    self_crossing: "field/self-crossing",
    zero_area: "field/zero-area",
};
const KEEP_OUT: Rules = Rules {
    thing: "keep-out",
    few_corners: "keep-out/few-corners",
    self_crossing: "keep-out/self-crossing",
    zero_area: "keep-out/zero-area",
};

/// What a field is checked against.
pub struct Known<'j> {
    /// The machine as written.
    pub machine: &'j written::Machine,
    /// The crops that passed.
    pub crops: &'j [Crop],
    /// The names of all crops, passed or not.
    pub crop_names: Vec<&'j str>,
    /// Where the base station stands.
    pub base_station: Option<GeoPoint>,
}

/// Checks a field.
pub fn field(file: &written::Field, known: &Known<'_>, findings: &mut Findings) -> Option<Field> {
    findings.not_negative(&file.fence_margin, "fence_margin");
    findings.within(&file.fence_margin, "fence_margin", &FIELD_LENGTHS);
    let boundary = boundary(file, findings)
        .filter(|(parts, place)| !tell_swapped(parts, place, known.base_station, findings));
    let crop = crop_of(&file.crop, known, findings);
    let spacing = crop::spacing(&file.spacing, known.machine, findings);
    let headland = headland(file.headland.as_ref(), findings);
    let home = file.home.as_ref().map(|home| findings.point(home));
    let entrances = entrances(file, findings);
    let keep_outs: Vec<Option<KeepOut>> = file
        .keep_out
        .iter()
        .flat_map(|many| &many.0)
        .map(|keep_out| check_keep_out(keep_out, boundary.as_ref(), findings))
        .collect();
    let (parts, place) = boundary?;
    let guidance = guidance(file.guidance.as_ref(), &parts, findings);
    Some(Field {
        name: file.name.value.clone(),
        keep_outs: keep_outs.into_iter().collect::<Option<_>>()?,
        fence_margin: file.fence_margin.value,
        headland: headland?,
        guidance: guidance?,
        home: match home {
            Some(home) => Some(home?),
            None => None,
        },
        entrances: entrances?,
        crop: crop?.clone(),
        spacing: spacing?,
        span: place,
        places: places(file),
        parts,
    })
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
        crop: Some(span(&file.crop.place)),
        entrances: file.entrance.iter().flat_map(|many| &many.0).map(|e| span(&e.at.place)).collect(),
    }
}

/// The polygons of the boundary, and where the job states it.
fn boundary(file: &written::Field, findings: &mut Findings) -> Option<(Vec<GeoPolygon>, Span)> {
    let (polygons, place) = match (&file.corners, &file.boundary) {
        (Some(corners), None) => (vec![vec![corners.clone()]], span(&corners.place)),
        (None, Some(boundary)) => {
            (choose_shape(file, boundary, findings)?.polygons.clone(), span(&boundary.place))
        }
        (Some(_), Some(boundary)) => {
            findings
                .raise(
                    "field/boundary",
                    &boundary.place,
                    "the boundary is given twice, as corners and as a file",
                )
                .hint("leave out `corners` or `boundary`");
            return None;
        }
        (None, None) => {
            findings
                .raise(
                    "field/boundary",
                    &file.name.place,
                    format!("the field `{}` has no boundary", file.name.value),
                )
                .hint("add `corners = [[latitude, longitude], …]` or `boundary = \"file.geojson\"`");
            return None;
        }
    };
    let parts: Vec<Option<GeoPolygon>> =
        polygons.iter().map(|rings| polygon(rings, file, findings)).collect();
    Some((parts.into_iter().collect::<Option<_>>()?, place))
}

fn polygon(rings: &[Ring], file: &written::Field, findings: &mut Findings) -> Option<GeoPolygon> {
    let checked: Vec<Option<Vec<GeoPoint>>> =
        rings.iter().map(|each| ring(each, &BOUNDARY, findings)).collect();
    let mut checked = checked.into_iter();
    let Some(exterior) = checked.next() else {
        findings
            .raise("field/few-corners", &file.name.place, "the boundary has no corners")
            .hint("give at least three corners that differ");
        return None;
    };
    let holes: Option<Vec<Vec<GeoPoint>>> = checked.collect();
    Some(GeoPolygon { exterior: exterior?, holes: holes? })
}

/// The one shape of a boundary file that is meant.
fn choose_shape<'b>(
    file: &written::Field,
    boundary: &'b Written<written::Boundary>,
    findings: &mut Findings,
) -> Option<&'b Shape> {
    let shapes = &boundary.value.shapes;
    let listed = || {
        let names: Vec<String> = shapes
            .iter()
            .enumerate()
            .take(12)
            .map(|(index, shape)| match shape.names.first() {
                Some(name) => format!("{} `{name}`", index + 1),
                None => format!("{} without a name", index + 1),
            })
            .collect();
        let more = if shapes.len() > names.len() {
            format!(" and {} more", shapes.len() - names.len())
        } else {
            String::new()
        };
        format!("the file holds {}{more}", names.join(", "))
    };
    let (place, message) = match (&file.boundary_name, &file.boundary_index) {
        (Some(name), _) => {
            let mut named = shapes.iter().filter(|shape| shape.names.contains(&name.value));
            match (named.next(), named.next()) {
                (Some(shape), None) => return Some(shape),
                (Some(_), Some(_)) => {
                    (&name.place, format!("more than one shape is called `{}`", name.value))
                }
                (None, _) => (&name.place, format!("no shape is called `{}`", name.value)),
            }
        }
        (None, Some(index)) => {
            match (index.value as usize).checked_sub(1).and_then(|index| shapes.get(index)) {
                Some(shape) => return Some(shape),
                None => (&index.place, format!("there is no shape {} among {}", index.value, shapes.len())),
            }
        }
        (None, None) => match shapes.as_slice() {
            [only] => return Some(only),
            _ => (&boundary.place, format!("the file holds {} shapes and none is chosen", shapes.len())),
        },
    };
    findings
        .raise("field/boundary-choice", place, message)
        .hint(format!("choose with `boundary_name` or `boundary_index`; {}", listed()));
    None
}

fn crop_of<'j>(name: &Written<String>, known: &Known<'j>, findings: &mut Findings) -> Option<&'j Crop> {
    if !known.crop_names.contains(&name.value.as_str()) {
        let hint = match nearest(&name.value, known.crop_names.iter().copied()) {
            Some(near) => format!("did you mean `\"{near}\"`?"),
            None => format!("the job's crops are: {}", known.crop_names.join(", ")),
        };
        findings
            .raise("crop/unknown", &name.place, format!("the job has no crop `{}`", name.value))
            .hint(hint);
    }
    known.crops.iter().find(|crop| crop.name == name.value)
}

fn headland(choice: Option<&HeadlandChoice>, findings: &mut Findings) -> Option<Headland> {
    let file = match choice {
        None => return Some(Headland { size: HeadlandSize::AsTurnsNeed, sown: HeadlandSown::Last }),
        Some(HeadlandChoice::None(_)) => {
            return Some(Headland { size: HeadlandSize::None, sown: HeadlandSown::No });
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
    Some(Headland { size, sown })
}

fn guidance(
    choice: Option<&Written<GuidanceChoice>>,
    parts: &[GeoPolygon],
    findings: &mut Findings,
) -> Option<Guidance> {
    match choice.map(|choice| &choice.value) {
        None | Some(GuidanceChoice::Best) => Some(Guidance::Best),
        Some(GuidanceChoice::Heading(heading)) => Some(Guidance::Heading(*heading)),
        Some(GuidanceChoice::AlongEdge(edge)) => {
            let edges = parts.first().map_or(0, |part| part.exterior.len());
            match (edge.value as usize).checked_sub(1) {
                Some(index) if index < edges => Some(Guidance::Edge(index)),
                _ => {
                    findings
                        .raise(
                            "field/no-such-edge",
                            &edge.place,
                            format!("there is no edge {}; the boundary has {edges}", edge.value),
                        )
                        .hint(format!("write a number from 1 to {edges}"));
                    None
                }
            }
        }
    }
}

fn entrances(file: &written::Field, findings: &mut Findings) -> Option<Vec<Entrance>> {
    let entrances: Vec<Option<Entrance>> = file
        .entrance
        .iter()
        .flat_map(|many| &many.0)
        .map(|entrance| {
            Some(Entrance { name: entrance.name.value.clone(), at: findings.point(&entrance.at)? })
        })
        .collect();
    entrances.into_iter().collect()
}

fn check_keep_out(
    file: &written::KeepOut,
    boundary: Option<&(Vec<GeoPolygon>, Span)>,
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
    if let Some((parts, _)) = boundary {
        tell_far_keep_out(file, &shape, parts, findings);
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
fn tell_swapped(
    parts: &[GeoPolygon],
    place: &Span,
    base_station: Option<GeoPoint>,
    findings: &mut Findings,
) -> bool {
    let (Some(station), Some(corner)) = (base_station, parts.first().and_then(|part| part.exterior.first()))
    else {
        return false;
    };
    let plane = Plane::about(station);
    let away = |point: GeoPoint| {
        let [east, north] = plane.metres(point);
        hypot(east, north)
    };
    let swapped = GeoPoint { longitude: corner.latitude, latitude: corner.longitude };
    let here = away(*corner);
    if here < FAR_M || swapped.latitude.abs() > 90.0 || away(swapped) > FAR_M {
        return false;
    }
    findings.0.push(
        crate::rules::finding(
            "field/swapped",
            format!(
                "the boundary lies {} from the base station; with latitude and longitude exchanged it lies {} away",
                distance(here),
                distance(away(swapped))
            ),
        )
        .with_span(place.clone(), "latitude and longitude look swapped")
        .with_place(*corner)
        .with_hint("in a job write `[latitude, longitude]`, in GeoJSON `[longitude, latitude]`"),
    );
    true
}
