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
        rules: &super::ring::BOUNDARY,
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

#[cfg(test)]
mod tests {
    use crate::check::tests::{BOUNDARY, SOUND};
    use crate::check::{Field, check};
    use crate::diagnostic::Finding;
    use crate::read::read;
    use lanewright_schema::job::Asked;
    use std::collections::BTreeMap;

    const CORNERS: &str = "name;code;lat;lon;radius
A;corner;48,610;-27,410;
B;corner;48,610;-27,407;
C;corner;48,612;-27,407;
D;corner;48,612;-27,410;
7;mast;48,6112;-27,4080;0,5
road;gate;48,610;-27,4085;
";

    /// The sound job with these lines in place of its corners, and one file beside it.
    fn told(lines: &str, path: &str, text: &str) -> (Vec<Finding>, Option<Field>) {
        let job = SOUND.replace(BOUNDARY, lines);
        let files: BTreeMap<String, Vec<u8>> = [("job.toml", job.as_str()), (path, text)]
            .map(|(path, text)| (path.to_owned(), text.as_bytes().to_vec()))
            .into();
        let read = read(&files, "job.toml");
        let mut findings = read.findings;
        let Some(Asked::Sowing(draft)) = read.asked else { panic!("a sowing job") };
        let job = check(&draft).tell(&mut findings);
        (findings, job.and_then(|mut job| job.fields.pop()))
    }

    #[track_caller]
    fn refused(lines: &str, text: &str) -> Finding {
        let (mut findings, field) = told(lines, "a.csv", text);
        assert!(field.is_none() && findings.len() == 1, "{findings:#?}");
        findings.remove(0)
    }

    #[test]
    fn a_table_of_corners_gives_boundary_keep_outs_and_entrances() {
        let lines = "boundary = \"a.csv\"\nobstacle_clearance = \"1.5 m\"";
        let (findings, field) = told(lines, "a.csv", CORNERS);
        assert_eq!(findings, []);
        let field = field.unwrap();
        assert_eq!(field.parts[0].exterior.len(), 4);
        let keep_outs: Vec<(&str, f64)> =
            field.keep_outs.iter().map(|k| (k.name.as_str(), k.clearance.to_m())).collect();
        assert_eq!(keep_outs, [("pole", 1.0), ("mast 7", 1.5)], "the job's own first");
        assert_eq!(field.entrances[0].name, "gate road");
    }

    #[test]
    fn an_obstacle_needs_a_clearance_and_the_hint_is_good() {
        let finding = refused("boundary = \"a.csv\"", CORNERS);
        assert_eq!(finding.rule, "survey/obstacle-clearance");
        assert!(finding.hint.unwrap().contains("obstacle_clearance = \"1 m\""));
        assert!(told("boundary = \"a.csv\"\nobstacle_clearance = \"1 m\"", "a.csv", CORNERS).1.is_some());
    }

    #[test]
    fn an_attribute_is_named_with_its_value() {
        let finding = refused("boundary = \"a.csv\"\nboundary_where = \"oats\"", CORNERS);
        assert_eq!(finding.rule, "field/boundary-choice");
        assert!(finding.hint.unwrap().contains("\"crop=oats\""));
    }

    /// Zone 26 of UTM; a rectangle of 220 m by 221 m, about the sound job's field by PROJ.
    const GRID: &str =
        "easting,northing\n469778.0,5384184.0\n469998.0,5384184.0\n469998.0,5384405.0\n469778.0,5384405.0\n";

    #[test]
    fn a_map_grid_is_named_by_the_job() {
        let lines = "boundary = \"a.csv\"\nboundary_frame = \"EPSG:32626\"";
        let job = told(lines, "a.csv", GRID);
        let corner = job.1.unwrap_or_else(|| panic!("{:#?}", job.0)).parts[0].exterior[0];
        assert!(
            (corner.latitude - 48.61).abs() < 0.001 && (corner.longitude + 27.41).abs() < 0.001,
            "{corner:?}"
        );
        assert_eq!(refused("boundary = \"a.csv\"", GRID).rule, "survey/frame-missing");
    }

    #[test]
    fn exchanged_eastings_and_northings_are_known_by_the_grid() {
        let exchanged = GRID.replace("easting,northing", "northing,easting");
        let lines = "boundary = \"a.csv\"\nboundary_frame = \"EPSG:32626\"";
        let (findings, field) = told(lines, "a.csv", &exchanged);
        assert!(field.is_none());
        let finding = findings.last().unwrap();
        assert_eq!(finding.rule, "survey/outside-frame");
        assert!(finding.hint.as_ref().unwrap().contains("easting and northing are exchanged"));
    }

    #[test]
    fn a_walk_with_poor_fixes_is_refused_unless_the_job_takes_them() {
        let places = [(48.61, 27.41), (48.61, 27.407), (48.612, 27.407), (48.612, 27.41), (48.61, 27.41)];
        let minutes = |degrees: f64| (degrees.fract() * 60.0, degrees.trunc());
        let sentence = |(latitude, longitude): (f64, f64)| {
            let ((north, n), (west, w)) = (minutes(latitude), minutes(longitude));
            let body = format!(
                "GPGGA,120000,{n:02.0}{north:010.7},N,{w:03.0}{west:010.7},W,5,12,0.6,80.0,M,50.0,M,,"
            );
            let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
            format!("${body}*{sum:02X}\r\n")
        };
        let log: String = places.into_iter().map(sentence).collect();
        assert_eq!(refused("boundary = \"a.csv\"", &log).rule, "survey/no-good-fix");
        let (_, field) = told("boundary = \"a.log\"\nfix_quality = \"rtk-float\"", "a.log", &log);
        assert_eq!(field.unwrap().parts[0].exterior.len(), 4);
    }

    #[test]
    fn a_crossing_is_cut_where_the_job_asks_for_it() {
        let tie = "lat,lon\n48.610,-27.410\n48.612,-27.407\n48.610,-27.407\n48.612,-27.410\n";
        let finding = refused("boundary = \"a.csv\"", tie);
        assert_eq!(finding.rule, "field/self-crossing");
        let (findings, field) = told("boundary = \"a.csv\"\nrepair = true", "a.csv", tie);
        assert_eq!(findings[0].rule, "survey/parted");
        assert_eq!(field.unwrap().parts.len(), 2);
    }
}
