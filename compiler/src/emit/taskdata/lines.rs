//! Lines of a field: the fence, and the ways between lanes, so that a terminal shows the whole route.
//!
//! The standard has no type for a way that is driven with the tool up. These are tram lines, the
//! type for where wheels run: nothing steers along them and nothing is worked there. They come in
//! driving order and are named after the lanes that they join; what drives them is the plan.

use super::{Places, label};
use crate::geometry::{Path, Point as GroundPoint, region};
use crate::pipeline::FieldPlan;
use crate::site::FieldSite;
use lanewright_schema::taskdata::{LineString, LineStringType, PointType};

/// How far a chord may leave a way that is shown and not driven, metres.
const CHORD_TOLERANCE_M: f64 = 0.01;

/// The fence, then the ways in driving order.
pub fn lines(places: &Places, site: &FieldSite, plan: &FieldPlan) -> Vec<LineString> {
    let fence = region::rings(&site.fence).map(|ring| LineString {
        designator: Some(label("Fence of body and antennas")),
        ..line(LineStringType::Fence, &ring.0, places)
    });
    let last = plan.route.visits.len();
    let ways = plan.route.ways.iter().enumerate().filter_map(|(after, way)| {
        let name = match after {
            0 => "To lane 1".to_owned(),
            _ if after == last => format!("From lane {last}"),
            _ => format!("Lane {after} to {}", after + 1),
        };
        Some(LineString { designator: Some(label(&name)), ..driven(&way.as_ref()?.path, places) })
    });
    fence.chain(ways).collect()
}

fn driven(path: &Path, places: &Places) -> LineString {
    let at: Vec<GroundPoint> =
        path.sampled(CHORD_TOLERANCE_M).poses.into_iter().map(|pose| pose.at).collect();
    LineString {
        length_mm: Some((path.length() * 1000.0).round() as u32),
        ..line(LineStringType::TramLine, &at, places)
    }
}

/// A line through places, none twice in a row.
fn line(kind: LineStringType, at: &[GroundPoint], places: &Places) -> LineString {
    let mut points: Vec<_> = at.iter().map(|&at| places.point(PointType::Other, at)).collect();
    points.dedup();
    LineString { points, ..LineString::new(kind) }
}
