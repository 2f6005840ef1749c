//! One field on the ground: boundary, keep-outs, fence, sizes, and whether they leave a field.

use super::datum::{Datum, DatumShift};
use super::frame::{FieldFrame, Projector, distance_m};
use super::resting::RestingFrame;
use super::zones::site_zones;
use super::{FieldSite, FieldSize, InverseProjection, SiteKeepOut};
use crate::check::{self, KeepOutShape};
use crate::diagnostic::{Finding, Span};
use crate::geometry::{Point, region};
use crate::num;
use geo::{BoundingRect, Distance, Euclidean, Length as _, LineString, MultiPolygon, Orient, Polygon, Rect};
use geographiclib_rs::{Geodesic, PolygonArea, Winding};
use lanewright_schema::quantity::{Area, GeoPoint, Length};

/// Ground metres are rounded to this when they come from PROJ, so that its last digits, which
/// differ between platforms, decide nothing. A micrometre.
const GRID_PER_M: f64 = 1e6;
/// How far beyond its boundary a field's inverse projection holds.
const BEYOND_M: f64 = 100.0;
/// An entrance farther from the boundary than this belongs to another field.
const ENTRANCE_REACH_M: f64 = 50.0;
/// An entrance on the boundary lies the fence margin outside the fence; this much farther out it is
/// still a gate that a person drives through (common practice, no source).
const GATE_M: f64 = 5.0;
/// Below this a boundary holds no field.
const SMALLEST_FIELD_M2: f64 = 1.0;
/// Geodesic and plane area agree to this: twice the scale error at a frame's reach, and a margin.
const AREA_AGREEMENT: f64 = 5e-6;

/// From the job's coordinates to the ground.
pub struct Road<'a> {
    /// From the survey's frame to the output's.
    pub shift: DatumShift,
    /// The frame in which the ground rests, where the job names one.
    pub ground: Option<&'a RestingFrame>,
    /// From the output's frame to the ground.
    pub projector: Projector,
    /// The output's frame.
    pub datum: &'a Datum,
    /// The field frame.
    pub frame: &'a FieldFrame,
}

impl Road<'_> {
    fn ground(&self, place: GeoPoint) -> Result<Point, Finding> {
        let point = self.projector.to_ground(self.shift.apply(place)?)?;
        Ok(Point {
            x: (point.x * GRID_PER_M).round() / GRID_PER_M,
            y: (point.y * GRID_PER_M).round() / GRID_PER_M,
        })
    }

    pub fn ring(&self, places: &[GeoPoint]) -> Result<LineString, Finding> {
        Ok(LineString(places.iter().map(|&p| self.ground(p)).collect::<Result<_, _>>()?))
    }

    pub fn polygon(&self, polygon: &check::GeoPolygon) -> Result<Polygon, Finding> {
        let holes = polygon.holes.iter().map(|hole| self.ring(hole)).collect::<Result<_, _>>()?;
        Ok(Polygon::new(self.ring(&polygon.exterior)?, holes))
    }
}

/// Puts one field on the ground. Everything that is wrong with it goes to `findings`; `None` when
/// one of them is an error.
pub fn field_site(road: &Road, field: &check::Field, findings: &mut Vec<Finding>) -> Option<FieldSite> {
    let before = findings.len();
    let place = build(road, field, findings).map_err(|finding| findings.push(at_field(finding, field)));
    let refused = findings[before..].iter().any(|f| f.severity == crate::diagnostic::Severity::Error);
    place.ok().filter(|_| !refused)
}

fn build(road: &Road, field: &check::Field, findings: &mut Vec<Finding>) -> Result<FieldSite, Finding> {
    let boundary = boundary(road, field)?;
    let size = size(road, field, &boundary)?;
    let bounds = boundary.bounding_rect().ok_or_else(|| no_field(field, 0.0))?;
    let inverse = InverseProjection::over(road.frame, grown(bounds, BEYOND_M))?;
    let to_geo = |point: Point| inverse.to_geo(point);

    let keep_outs = keep_outs(road, field)?;
    for (asked, keep_out) in field.keep_outs.iter().zip(&keep_outs) {
        findings.extend(keep_out_outside(asked, keep_out, &boundary, field, &to_geo));
    }
    let inside = less_margin(&boundary, field.fence_margin);
    if inside.0.is_empty() {
        return Err(margin_leaves_nothing(field, &boundary));
    }
    let grown: Vec<Polygon> = keep_outs.iter().flat_map(|k| k.grown.0.iter().cloned()).collect();
    let fence = region::difference(&inside, &region::union_all(&grown));
    if fence.0.is_empty() {
        return Err(swallowed(field));
    }
    findings.extend(pieces(field, &fence, &to_geo));

    let zones = site_zones(road, field, (&boundary, &fence), &to_geo, findings)?;
    let home = field.home.map(|p| road.ground(p)).transpose()?;
    let entrances = field
        .entrances
        .iter()
        .map(|e| Ok((e.name.clone(), road.ground(e.at)?)))
        .collect::<Result<Vec<_>, Finding>>()?;
    let refill_points = field
        .refill_points
        .iter()
        .map(|point| Ok((point.name.clone(), road.ground(point.at)?)))
        .collect::<Result<Vec<_>, Finding>>()?;
    let layout = field.layout.placed(&|place: &GeoPoint| road.ground(*place))?;
    findings.extend(home.and_then(|at| home_outside(field, at, &boundary, &fence, &to_geo)));
    findings.extend(entrances.iter().enumerate().filter_map(|(index, (name, at))| {
        entrance_outside(field, index, name, *at, &boundary, &fence, &to_geo)
    }));
    findings.extend(refill_points.iter().enumerate().filter_map(|(index, (name, at))| {
        refill_point_outside(field, index, name, *at, &boundary, &fence, &to_geo)
    }));
    Ok(FieldSite {
        name: field.name.clone(),
        boundary,
        fence,
        keep_outs,
        home,
        layout,
        zones,
        entrances,
        refill_points,
        size,
        inverse,
    })
}

fn boundary(road: &Road, field: &check::Field) -> Result<MultiPolygon, Finding> {
    let parts = field.parts.iter().map(|part| road.polygon(part)).collect::<Result<Vec<_>, _>>()?;
    let boundary = MultiPolygon(parts).orient(geo::orient::Direction::Default);
    let area = region::area(&boundary);
    if area < SMALLEST_FIELD_M2 {
        return Err(no_field(field, area));
    }
    let joined = region::area(&region::union_all(&boundary.0));
    if area - joined > 1e-3 {
        return Err(Finding::error(
            "field/parts-overlap",
            format!("parts of the boundary of `{}` cover {:.1} m² twice", field.name, area - joined),
        )
        .with_span(field.span.clone(), "these parts")
        .with_hint("give each piece of ground to one part only"));
    }
    Ok(boundary)
}

fn keep_outs(road: &Road, field: &check::Field) -> Result<Vec<SiteKeepOut>, Finding> {
    field
        .keep_outs
        .iter()
        .map(|keep_out| {
            let clearance = keep_out.clearance;
            let (shape, grown) = match &keep_out.shape {
                KeepOutShape::Ring(ring) => {
                    let shape = MultiPolygon::from(Polygon::new(road.ring(ring)?, vec![]))
                        .orient(geo::orient::Direction::Default);
                    let grown = outset_holding(&shape, clearance.to_m());
                    (shape, grown)
                }
                KeepOutShape::Circle { centre, radius } => {
                    let centre = road.ground(*centre)?;
                    let circle = |radius_m| MultiPolygon::from(circle_holding(centre, radius_m));
                    (circle(radius.to_m()), circle((*radius + clearance).to_m()))
                }
            };
            Ok(SiteKeepOut { name: keep_out.name.clone(), shape, grown, clearance })
        })
        .collect()
}

/// The region grown so that chords of its rounded corners hold the true arc.
fn outset_holding(shape: &MultiPolygon, distance_m: f64) -> MultiPolygon {
    if distance_m <= 0.0 {
        return shape.clone();
    }
    region::outset(shape, distance_m + region::ARC_TOLERANCE_M)
}

/// The boundary less its margin; at corners that point inwards, chords give the machine less room.
fn less_margin(boundary: &MultiPolygon, margin: Length) -> MultiPolygon {
    if margin.to_m() <= 0.0 {
        return boundary.clone();
    }
    region::inset(boundary, margin.to_m() + region::ARC_TOLERANCE_M)
}

/// A regular polygon round the circle, nowhere farther out than the arc tolerance.
fn circle_holding(centre: Point, radius_m: f64) -> Polygon {
    let half_angle = num::acos(radius_m / (radius_m + region::ARC_TOLERANCE_M));
    let sides = ((num::PI / half_angle).ceil() as usize).clamp(16, 720);
    let outer = radius_m / num::cos(num::PI / sides as f64);
    let ring = (0..sides)
        .map(|k| {
            let (sin, cos) = num::sin_cos(2.0 * num::PI * k as f64 / sides as f64);
            Point { x: centre.x + outer * cos, y: centre.y + outer * sin }
        })
        .collect();
    Polygon::new(LineString(ring), vec![])
}

fn size(road: &Road, field: &check::Field, boundary: &MultiPolygon) -> Result<FieldSize, Finding> {
    let geodesic = road.datum.geodesic();
    let (mut area, mut perimeter) = (0.0, 0.0);
    for part in &field.parts {
        for (ring, sign) in std::iter::once((&part.exterior, 1.0)).chain(part.holes.iter().map(|h| (h, -1.0)))
        {
            let places = ring.iter().map(|&p| road.shift.apply(p)).collect::<Result<Vec<_>, _>>()?;
            let (ring_perimeter, ring_area) = geodesic_size(&geodesic, &places);
            area += sign * ring_area;
            perimeter += ring_perimeter;
        }
    }
    let plane_area = region::area(boundary);
    let scale = road.frame.scale;
    if (plane_area / (area * scale * scale) - 1.0).abs() > AREA_AGREEMENT {
        return Err(Finding::error(
            "site/areas-disagree",
            format!(
                "`{}` measures {area:.2} m² on the ellipsoid and {plane_area:.2} m² in the plane",
                field.name
            ),
        ));
    }
    Ok(FieldSize {
        geodesic_area: Area::m2(area),
        plane_area: Area::m2(plane_area),
        geodesic_perimeter: Length::m(perimeter),
        plane_perimeter: Length::m(region::rings(boundary).map(|r| Euclidean.length(r)).sum()),
    })
}

/// Perimeter and area of a ring of geodesics (Karney, 2013, Algorithms for geodesics, section 6).
fn geodesic_size(geodesic: &Geodesic, ring: &[GeoPoint]) -> (f64, f64) {
    let mut polygon = PolygonArea::new(geodesic, Winding::CounterClockwise);
    for place in ring {
        polygon.add_point(place.latitude, place.longitude);
    }
    let (perimeter, area, _) = polygon.compute(true);
    (perimeter, area.abs())
}

fn grown(bounds: Rect, by: f64) -> Rect {
    let (low, high) = (bounds.min(), bounds.max());
    Rect::new(Point { x: low.x - by, y: low.y - by }, Point { x: high.x + by, y: high.y + by })
}

fn metres_outside(region: &MultiPolygon, point: Point) -> f64 {
    Euclidean.distance(&geo::Point(point), region)
}

fn at_field(finding: Finding, field: &check::Field) -> Finding {
    if finding.span.is_some() { finding } else { finding.with_span(field.span.clone(), "this field") }
}

fn span_or_field(span: Option<&Span>, field: &check::Field) -> Span {
    span.unwrap_or(&field.span).clone()
}

fn no_field(field: &check::Field, area_m2: f64) -> Finding {
    Finding::error("field/zero-area", format!("the boundary of `{}` holds {area_m2:.3} m²", field.name))
        .with_span(field.span.clone(), "this boundary")
        .with_hint("list the corners in the order in which a person walks round the field")
}

fn margin_leaves_nothing(field: &check::Field, boundary: &MultiPolygon) -> Finding {
    let widest = widest_inset(boundary, field.fence_margin.to_m());
    Finding::error(
        "field/margin-leaves-nothing",
        format!(
            "a fence margin of {:.2} m leaves nothing of `{}`, no place of which is farther than {widest:.2} m from its boundary",
            field.fence_margin.to_m(),
            field.name
        ),
    )
    .with_span(span_or_field(field.places.fence_margin.as_ref(), field), "this margin")
    .with_hint(format!("a margin below {widest:.2} m leaves some of the field"))
}

/// The largest inset that leaves something, found by halving.
fn widest_inset(boundary: &MultiPolygon, too_much: f64) -> f64 {
    let (mut low, mut high) = (0.0, too_much);
    for _ in 0..24 {
        let middle = f64::midpoint(low, high);
        if region::inset(boundary, middle).0.is_empty() { high = middle } else { low = middle }
    }
    low
}

fn swallowed(field: &check::Field) -> Finding {
    let span = field.keep_outs.first().map(|k| &k.span);
    Finding::error(
        "keep-out/swallows-field",
        format!("keep-outs with their clearances cover all of `{}` within its fence margin", field.name),
    )
    .with_span(span_or_field(span, field), "with its clearance")
    .with_hint("check the keep-out's corners, its radius and its clearance")
}

fn keep_out_outside(
    asked: &check::KeepOut,
    keep_out: &SiteKeepOut,
    boundary: &MultiPolygon,
    field: &check::Field,
    to_geo: &dyn Fn(Point) -> GeoPoint,
) -> Option<Finding> {
    if region::area(&region::intersection(&keep_out.grown, boundary)) > 0.0 {
        return None;
    }
    let corner = keep_out.shape.0.first()?.exterior().0.first().copied()?;
    Some(
        Finding::error(
            "keep-out/outside",
            format!(
                "keep-out `{}` lies {:.1} m outside `{}`",
                asked.name,
                metres_outside(boundary, corner),
                field.name
            ),
        )
        .with_span(asked.span.clone(), "this keep-out")
        .with_place(to_geo(corner))
        .with_hint(
            "check latitude and longitude, or leave it out: what is outside the boundary is out of reach",
        ),
    )
}

fn pieces(field: &check::Field, fence: &MultiPolygon, to_geo: &dyn Fn(Point) -> GeoPoint) -> Option<Finding> {
    if fence.0.len() <= field.parts.len() {
        return None;
    }
    let mut sizes: Vec<(f64, Point)> = fence
        .0
        .iter()
        .filter_map(|p| Some((region::area(&p.clone().into()), p.exterior().0.first().copied()?)))
        .collect();
    sizes.sort_by(|a, b| b.0.total_cmp(&a.0));
    let list: Vec<String> = sizes.iter().map(|(area, _)| format!("{area:.0} m²")).collect();
    let smallest = sizes.last()?.1;
    Some(
        Finding::note(
            "field/in-pieces",
            format!(
                "within its fence `{}` falls into {} pieces of {}; the machine cannot cross between them",
                field.name,
                list.len(),
                list.join(", ")
            ),
        )
        .with_span(field.span.clone(), "this field")
        .with_place(to_geo(smallest)),
    )
}

fn home_outside(
    field: &check::Field,
    at: Point,
    boundary: &MultiPolygon,
    fence: &MultiPolygon,
    to_geo: &dyn Fn(Point) -> GeoPoint,
) -> Option<Finding> {
    let (how, hint) = outside_fence(boundary, fence, at)?;
    Some(
        Finding::error("home/outside-fence", format!("the home of `{}` lies {how}", field.name))
            .with_span(span_or_field(field.places.home.as_ref(), field), "the machine starts and ends here")
            .with_place(to_geo(at))
            .with_hint(hint),
    )
}

fn refill_point_outside(
    field: &check::Field,
    index: usize,
    name: &str,
    at: Point,
    boundary: &MultiPolygon,
    fence: &MultiPolygon,
    to_geo: &dyn Fn(Point) -> GeoPoint,
) -> Option<Finding> {
    let (how, hint) = outside_fence(boundary, fence, at)?;
    let message = format!("refill point `{name}` of `{}` lies {how}", field.name);
    Some(
        Finding::error("refill-point/outside-fence", message)
            .with_span(
                span_or_field(field.places.refill_points.get(index), field),
                "the machine drives here to be filled",
            )
            .with_place(to_geo(at))
            .with_hint(hint),
    )
}

/// How far a place where the machine is to stand lies outside the fence, and what to do about it.
fn outside_fence(boundary: &MultiPolygon, fence: &MultiPolygon, at: Point) -> Option<(String, String)> {
    let outside = metres_outside(fence, at);
    if outside <= 0.0 {
        return None;
    }
    let how = match metres_outside(boundary, at) {
        beyond if beyond > 0.0 => format!("{beyond:.1} m outside the boundary"),
        _ => format!("inside the boundary but {outside:.1} m outside the fence"),
    };
    let hint = format!(
        "move it at least {outside:.1} m into the field, and as far again as the machine reaches round its reference point"
    );
    Some((how, hint))
}

fn entrance_outside(
    field: &check::Field,
    index: usize,
    name: &str,
    at: Point,
    boundary: &MultiPolygon,
    fence: &MultiPolygon,
    to_geo: &dyn Fn(Point) -> GeoPoint,
) -> Option<Finding> {
    let beyond = metres_outside(boundary, at);
    let outside = metres_outside(fence, at);
    let span = span_or_field(field.places.entrances.get(index), field);
    if beyond > ENTRANCE_REACH_M {
        return Some(
            Finding::error(
                "entrance/far",
                format!("entrance `{name}` lies {beyond:.0} m from the boundary of `{}`", field.name),
            )
            .with_span(span, "this entrance")
            .with_hint("check latitude and longitude"),
        );
    }
    if outside <= 0.0 {
        return None;
    }
    let starts_here = field.home.is_none() && index == 0;
    let finding = if starts_here {
        Finding::error(
            "home/outside-fence",
            format!(
                "without a home the machine starts at entrance `{name}`, {outside:.1} m outside the fence"
            ),
        )
        .with_hint("state a `home` inside the fence")
    } else if outside > field.fence_margin.to_m() + GATE_M {
        Finding::warning(
            "entrance/off-field",
            format!(
                "entrance `{name}` lies {outside:.1} m outside the fence; a person has to drive the machine that far"
            ),
        )
        .with_hint("check latitude and longitude; an entrance is where the machine comes onto the field")
    } else {
        Finding::note(
            "entrance/outside-fence",
            format!(
                "entrance `{name}` lies {outside:.1} m outside the fence; a person brings the machine in"
            ),
        )
    };
    Some(finding.with_span(span, "this entrance").with_place(to_geo(at)))
}

/// Metres along the ellipsoid from a place to the farthest corner of a field's boundary.
pub fn farthest_corner_m(road: &Road, field: &check::Field, from: GeoPoint) -> Result<f64, Finding> {
    let geodesic = road.datum.geodesic();
    field.parts.iter().flat_map(|p| &p.exterior).try_fold(0.0, |far: f64, &corner| {
        Ok(far.max(distance_m(&geodesic, from, road.shift.apply(corner)?)))
    })
}
