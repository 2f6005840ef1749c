//! The field's boundary, from corners in the job or from a survey.
//!
//! In: the field as written and the frame of its coordinates. Out: simple polygons with the place in
//! the job that states them, and what the survey tells of obstacles and ways in. What was mended is
//! told.

use super::{Entrance, Findings, GeoPolygon, KeepOut, KeepOutShape, ReferenceFrame};
use crate::diagnostic::Span;
use crate::read::span;
use crate::survey::{
    self, Asked, Choice, Corner, Crossings, FieldSurvey, Mending, ObstacleShape, Quality, TOLERANCE,
};
use lanewright_schema::job::{self as written, Place, Ring, Written};
use lanewright_schema::quantity::{GeoPoint, Length};
use lanewright_schema::survey::Survey;

/// A boundary that passed.
pub struct Boundary {
    /// Its parts, with simple rings.
    pub parts: Vec<GeoPolygon>,
    /// Where the job states it.
    pub span: Span,
    /// Obstacles of the survey.
    pub obstacles: Vec<KeepOut>,
    /// Ways in of the survey.
    pub entrances: Vec<Entrance>,
    /// Its first corner, had the survey's easting and northing been exchanged.
    pub exchanged: Option<GeoPoint>,
}

/// The boundary of a field.
pub fn boundary(
    file: &written::Field,
    frame: Option<&ReferenceFrame>,
    findings: &mut Findings,
) -> Option<Boundary> {
    let tolerance = match &file.boundary_tolerance {
        Some(tolerance) => {
            findings.not_negative(tolerance, "boundary_tolerance");
            tolerance.value.max(Length::ZERO)
        }
        None => TOLERANCE,
    };
    match (&file.corners, &file.boundary) {
        (Some(corners), None) => from_corners(file, corners, tolerance, findings),
        (None, Some(survey)) => from_survey(file, survey, tolerance, frame, findings),
        (Some(_), Some(survey)) => {
            findings
                .raise(
                    "field/boundary",
                    &survey.place,
                    "the boundary is given twice, as corners and as a file",
                )
                .hint("leave out `corners` or `boundary`");
            None
        }
        (None, None) => {
            findings
                .raise(
                    "field/boundary",
                    &file.name.place,
                    format!("the field `{}` has no boundary", file.name.value),
                )
                .hint("add `corners = [[latitude, longitude], …]` or `boundary = \"file.geojson\"`");
            None
        }
    }
}

fn crossings(file: &written::Field) -> Crossings {
    match &file.repair {
        Some(repair) if repair.value => Crossings::Cut,
        _ => Crossings::Refused,
    }
}

fn quality(file: &written::Field) -> Quality {
    match file.fix_quality.as_ref().map(|quality| quality.value) {
        None | Some(written::FixQuality::RtkFixed) => Quality::RtkFixed,
        Some(written::FixQuality::RtkFloat) => Quality::RtkFloat,
        Some(written::FixQuality::Differential) => Quality::Differential,
        Some(written::FixQuality::Any) => Quality::Any,
    }
}

fn from_corners(
    file: &written::Field,
    corners: &Ring,
    tolerance: Length,
    findings: &mut Findings,
) -> Option<Boundary> {
    if let Some(nowhere) = corners.value.iter().find(|corner| !super::is_on_earth(corner.value)) {
        findings.point(nowhere);
        return None;
    }
    let ring = corners.value.iter().map(|c| Corner { at: c.value, bytes: c.place.bytes.clone() }).collect();
    let mending = Mending {
        file: &corners.place.file,
        tolerance,
        crossings: crossings(file),
        whole: Some(span(&corners.place)),
    };
    let parts = mending.polygon(vec![ring], &mut findings.0)?;
    Some(Boundary {
        parts,
        span: span(&corners.place),
        obstacles: vec![],
        entrances: vec![],
        exchanged: None,
    })
}

fn from_survey(
    file: &written::Field,
    survey: &Written<Survey>,
    tolerance: Length,
    frame: Option<&ReferenceFrame>,
    findings: &mut Findings,
) -> Option<Boundary> {
    let (choice, choice_at) = choice(file, &survey.place, findings)?;
    let asked = Asked {
        choice,
        frame: file.boundary_frame.as_ref().map(|frame| frame.value.clone()),
        into: frame.cloned(),
        tolerance,
        crossings: crossings(file),
        quality: quality(file),
    };
    let told = survey::field(&survey.value, &asked);
    findings.0.extend(told.findings.into_iter().map(|mut finding| {
        let at = if finding.rule == "field/boundary-choice" { &choice_at } else { &survey.place };
        finding.span.get_or_insert_with(|| span(at));
        finding
    }));
    let field = told.value?;
    let obstacles = obstacles(file, survey, &field, findings)?;
    let entrances = field.entrances.into_iter().map(|(name, at)| Entrance { name, at }).collect();
    Some(Boundary {
        parts: field.parts,
        span: span(&survey.place),
        obstacles,
        entrances,
        exchanged: field.exchanged,
    })
}

/// Which shape the job asks for, and where it says so.
fn choice(file: &written::Field, boundary: &Place, findings: &mut Findings) -> Option<(Choice, Place)> {
    Some(match (&file.boundary_name, &file.boundary_where, &file.boundary_index) {
        (Some(name), _, _) => (Choice::Name(name.value.clone()), name.place.clone()),
        (None, Some(text), _) => match text.value.split_once('=') {
            Some((key, value)) => {
                let [key, value] = [key, value].map(|side| side.trim().to_owned());
                (Choice::Where { key, value }, text.place.clone())
            }
            None => {
                findings
                    .raise(
                        "field/boundary-choice",
                        &text.place,
                        format!("`{}` does not name an attribute and its value", text.value),
                    )
                    .hint("write both, with an equals sign between: `boundary_where = \"crop=oats\"`");
                return None;
            }
        },
        (None, None, Some(index)) => (Choice::Index(index.value as usize), index.place.clone()),
        (None, None, None) => (Choice::Only, boundary.clone()),
    })
}

/// The survey's obstacles as keep-outs; each needs a clearance, from the survey or from the job.
fn obstacles(
    file: &written::Field,
    survey: &Written<Survey>,
    field: &FieldSurvey,
    findings: &mut Findings,
) -> Option<Vec<KeepOut>> {
    if let Some(clearance) = &file.obstacle_clearance {
        findings.not_negative(clearance, "obstacle_clearance");
    }
    let stated = file.obstacle_clearance.as_ref().map(|clearance| clearance.value);
    let mut keep_outs = Vec::new();
    for obstacle in &field.obstacles {
        let Some(clearance) = obstacle.clearance.or(stated) else {
            findings
                .raise(
                    "survey/obstacle-clearance",
                    &survey.place,
                    format!("nobody says how far to stay from the survey's obstacle `{}`", obstacle.name),
                )
                .hint("add `obstacle_clearance = \"1 m\"`, or `clearance_m` to the survey");
            return None;
        };
        let shape = match &obstacle.shape {
            ObstacleShape::Circle { centre, radius } => {
                KeepOutShape::Circle { centre: *centre, radius: *radius }
            }
            ObstacleShape::Ring(ring) => KeepOutShape::Ring(ring.clone()),
        };
        let name = obstacle.name.clone();
        keep_outs.push(KeepOut { name, shape, clearance, span: span(&survey.place) });
    }
    Some(keep_outs)
}
