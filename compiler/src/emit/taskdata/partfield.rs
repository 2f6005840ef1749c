//! Partfields: boundary, obstacles, headland, main field, entrances and home of each field, and its
//! guidance.
//!
//! Rings repeat their first point at their end. Longitudes stay within ±180°, as the format has it:
//! on a field astride that meridian they jump by 360° within a ring. A piece of headland or main
//! field that rounds to no whole square metre, the format's unit, is left out.

use super::lots::Lots;
use super::{CUSTOMER, FARM, Places, guidance, label, lines, number, whole};
use crate::geometry::region;
use crate::pipeline::{Compiled, FieldPlan};
use crate::route::StopReason;
use crate::site::FieldSite;
use geo::{Area, MultiPolygon};
use lanewright_schema::taskdata::{
    GuidancePatternId, LineString, LineStringType, Partfield, PartfieldId, Point, PointType, Polygon,
    PolygonType,
};

/// One partfield for each field.
pub fn partfields(compiled: &Compiled, lots: &Lots) -> Vec<Partfield> {
    let mut patterns = (1..).map(GuidancePatternId::office);
    let job = &compiled.job;
    let fields = job.fields.iter().zip(&compiled.site.fields).zip(&compiled.fields);
    fields
        .enumerate()
        .map(|(i, ((field, site), plan))| {
            let to_geo = |at| site.inverse.to_geo(at);
            let places = Places { to_geo: &to_geo };
            let area_m2 = whole(site.size.geodesic_area.to_m2());
            let mut partfield = Partfield::new(partfield_id(i), label(&site.name), area_m2);
            partfield.customer = Some(CUSTOMER);
            partfield.farm = Some(FARM);
            let lot = lots.of_crop(&field.crop);
            partfield.crop_type = lot.map(|lot| lot.crop_type);
            partfield.crop_variety = lot.map(|lot| lot.variety);
            partfield.polygons = polygons(&places, site, plan);
            partfield.lines = lines::lines(&places, site, plan);
            partfield.points = points(&places, site, plan);
            let group = guidance::group(compiled, i, plan, &places, &mut patterns);
            partfield.guidance_groups.push(group);
            partfield
        })
        .collect()
}

/// The identity of the field at this place in the job.
pub fn partfield_id(field: usize) -> PartfieldId {
    PartfieldId::office(number(field))
}

fn polygons(places: &Places, site: &FieldSite, plan: &FieldPlan) -> Vec<Polygon> {
    let main_field = region::difference(&site.fence, &plan.lanes.headland);
    let mut polygons = region_polygons(places, PolygonType::Boundary, &site.name, &site.boundary);
    for keep_out in &site.keep_outs {
        polygons.extend(region_polygons(places, PolygonType::Obstacle, &keep_out.name, &keep_out.shape));
    }
    let visible = |region: &MultiPolygon| {
        MultiPolygon(region.0.iter().filter(|piece| piece.unsigned_area() >= 0.5).cloned().collect())
    };
    let headland = visible(&plan.lanes.headland);
    polygons.extend(region_polygons(places, PolygonType::Headland, "Headland", &headland));
    polygons.extend(region_polygons(places, PolygonType::MainField, "Main field", &visible(&main_field)));
    polygons
}

fn region_polygons(places: &Places, kind: PolygonType, name: &str, region: &MultiPolygon) -> Vec<Polygon> {
    let polygon = |piece: &geo::Polygon| {
        let exterior = ring(places, LineStringType::PolygonExterior, piece.exterior());
        let holes = piece.interiors().iter().map(|hole| ring(places, LineStringType::PolygonInterior, hole));
        Polygon {
            designator: Some(label(name)),
            area_m2: Some(whole(piece.unsigned_area())),
            lines: std::iter::once(exterior).chain(holes).collect(),
            ..Polygon::new(kind)
        }
    };
    region.0.iter().map(polygon).collect()
}

fn ring(places: &Places, kind: LineStringType, ring: &geo::LineString) -> LineString {
    let points = ring.0.iter().map(|&at| places.point(PointType::Other, at)).collect();
    LineString { points, ..LineString::new(kind) }
}

/// Ways in, home, and where the machine waits for a person.
fn points(places: &Places, site: &FieldSite, plan: &FieldPlan) -> Vec<Point> {
    let entrances = site.entrances.iter().map(|(name, at)| places.named(PointType::FieldAccess, *at, name));
    let home = site.home.iter().map(|&at| places.named(PointType::HomeBase, at, "Home"));
    let refill_points =
        site.refill_points.iter().map(|(name, at)| places.named(PointType::Storage, *at, name));
    let stops = plan.route.stops.iter().map(|stop| match stop.reason {
        StopReason::MovedByHand { from, .. } => {
            places.named(PointType::Other, from, &format!("After lane {}: move by hand", stop.after))
        }
        StopReason::Refill { at, .. } => {
            places.named(PointType::Other, at, &format!("After lane {}: refill", stop.after))
        }
    });
    entrances.chain(home).chain(refill_points).chain(stops).collect()
}
