//! Guidance: one group for each field, in it one pattern for each lane in driving order.
//!
//! A straight lane is an AB line, a headland lap a curve; neither may be copied sideways or
//! lengthened, since the lanes are all there and end where the rows end. A pattern's line runs in
//! driving direction and is the way of the machine's reference point.

use super::{BASE_STATION, Places, label, number};
use crate::geometry::{Path, Pose, heading_of_angle};
use crate::lanes::{Course, Lane};
use crate::num;
use crate::pipeline::{Compiled, FieldPlan};
use crate::route::Visit;
use lanewright_schema::quantity::{GeoPoint, Heading};
use lanewright_schema::taskdata::{
    Bearing, Extension, GnssMethod, GuidanceGroup, GuidanceGroupId, GuidancePattern, GuidancePatternId,
    GuidancePatternType, LineString, LineStringType, Point, PointType, Propagation,
};

/// How far a chord of a curve may leave the lane: a tenth of what RTK repeats.
const CHORD_TOLERANCE_M: f64 = 0.001;

/// The lanes of one field.
pub fn group(
    compiled: &Compiled,
    field: usize,
    plan: &FieldPlan,
    places: &Places,
    ids: &mut impl Iterator<Item = GuidancePatternId>,
) -> GuidanceGroup {
    let name = format!("Lanes {}", compiled.site.fields[field].name);
    let mut group = GuidanceGroup { designator: Some(label(&name)), ..GuidanceGroup::new(group_id(field)) };
    let digits = plan.route.visits.len().to_string().len();
    for ((order, visit), id) in (1..).zip(&plan.route.visits).zip(ids) {
        let lane = &plan.lanes.lanes[visit.lane.0];
        let kind = match plan.lanes.blocks[lane.block.0].course {
            Course::Straight { .. } | Course::Contour => "Lane",
            Course::Lap { .. } => "Lap",
        };
        let path = driven(*visit, lane);
        let mut pattern = pattern(id, path, compiled, places);
        pattern.designator = Some(label(&format!("{kind} {order:0digits$}")));
        group.patterns.push(pattern);
    }
    group
}

/// The identity of the group of the field at this place in the job.
pub fn group_id(field: usize) -> GuidanceGroupId {
    GuidanceGroupId::office(number(field))
}

fn driven(visit: Visit, lane: &Lane) -> &Path {
    match &lane.back {
        Some(back) if !visit.along => back,
        _ => &lane.line,
    }
}

fn pattern(id: GuidancePatternId, path: &Path, compiled: &Compiled, places: &Places) -> GuidancePattern {
    let job = &compiled.job;
    let straight = path.pieces.iter().all(|piece| piece.sharpest() == 0.0);
    let (kind, poses) = if straight {
        (GuidancePatternType::Ab, vec![path.start, path.end()])
    } else {
        (GuidancePatternType::Curve, path.sampled(CHORD_TOLERANCE_M).poses)
    };
    let line = LineString {
        width_mm: Some(job.machine.working_width.to_mm().round() as u32),
        length_mm: Some((path.length() * 1000.0).round() as u32),
        points: line_points(&poses, places),
        ..LineString::new(LineStringType::GuidancePattern)
    };
    GuidancePattern {
        propagation: Some(Propagation::No),
        extension: Some(Extension::No),
        heading: if straight { true_heading(path.start, compiled.site.frame.origin, places) } else { None },
        gnss_method: Some(GnssMethod::Desktop),
        base_station: compiled.site.baseline.as_ref().map(|_| BASE_STATION),
        original_srid: Some(label(&job.frames.output.proj)),
        ..GuidancePattern::new(id, kind, line)
    }
}

/// First A, last B, guidance points between; none given twice.
fn line_points(poses: &[Pose], places: &Places) -> Vec<Point> {
    let mut points: Vec<Point> =
        poses.iter().map(|pose| places.point(PointType::GuidancePoint, pose.at)).collect();
    points.dedup();
    if let Some(first) = points.first_mut() {
        first.kind = PointType::GuidanceReferenceA;
    }
    if let Some(last) = points.last_mut() {
        last.kind = PointType::GuidanceReferenceB;
    }
    points
}

/// Clockwise from true north: the heading in the field frame and the meridian convergence there,
/// `tan γ = tan Δλ sin φ` (Snyder 1987, Map Projections: A Working Manual, USGS PP 1395, p. 57,
/// for the sphere; within a field it differs from the ellipsoid's by less than a millionth of a
/// degree).
fn true_heading(pose: Pose, origin: GeoPoint, places: &Places) -> Option<Bearing> {
    let at = (places.to_geo)(pose.at);
    let east = num::wrap_angle((at.longitude - origin.longitude).to_radians());
    let convergence = num::atan2(num::sin(east) * num::sin(at.latitude.to_radians()), num::cos(east));
    let heading = Heading::degrees(heading_of_angle(pose.angle).to_degrees() + convergence.to_degrees());
    Bearing::nearest((heading.to_degrees() * 1e6).round() / 1e6)
}
