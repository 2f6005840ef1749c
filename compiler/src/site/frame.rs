//! The field frame: a transverse Mercator centred on the job's fields, made by PROJ.
//!
//! In: the output's reference frame and every boundary corner in it. Out: the frame's parameters
//! as plain data, and a [`Projector`] that computes with them through PROJ. On the
//! central meridian a metre of the frame is one at the height that the job states, on the ellipsoid
//! if it states none: `k0 = 1 + h/R`. At `x` from it the scale is off by `x²/2R²` (IOGP Guidance Note
//! 7-2, transverse Mercator): 1.2 mm per km at 10 km, which is as far as one frame serves.

use super::datum::{Datum, Ellipsoid};
use crate::diagnostic::Finding;
use crate::geometry::Point;
use crate::num;
use geographiclib_rs::{Geodesic, InverseGeodesic};
use lanewright_schema::quantity::{GeoPoint, Length};
use proj::Proj;
use serde_json::{Value, json};

/// How far from its origin a frame may be used, metres.
pub const REACH_M: f64 = 10_000.0;

/// The parameters of the field frame; plain data, so that it travels with every output.
#[derive(Clone, Debug, PartialEq)]
pub struct FieldFrame {
    /// The origin in the output's reference frame.
    pub origin: GeoPoint,
    /// Metres of the frame in one along the ellipsoid, on the central meridian.
    pub scale: f64,
    /// The PROJ string of the projection.
    pub proj: String,
    /// Name of the reference frame of the coordinates that leave.
    pub reference: String,
    /// Its epoch, decimal year, where one applies.
    pub epoch: Option<f64>,
    /// The frame as PROJJSON, on the output's own datum.
    pub projjson: String,
}

/// The frame for corners given in the output's reference frame.
///
/// The origin is the middle of their bounding box, on whichever side of the antimeridian they
/// lie, rounded to a tenth of a microdegree so that its text is the number computed with.
pub fn field_frame(datum: &Datum, corners: &[GeoPoint], height: Length) -> Result<FieldFrame, Finding> {
    let origin = centre(corners);
    let reach = corners.iter().map(|&c| distance_m(&datum.geodesic(), origin, c)).fold(0.0, f64::max);
    if reach > REACH_M {
        return Err(Finding::error(
            "field/far-apart",
            format!(
                "the job's boundaries reach {:.1} km from their centre; one field frame serves {:.0} km",
                reach / 1000.0,
                REACH_M / 1000.0
            ),
        )
        .with_hint("write one job for each group of neighbouring fields"));
    }
    Ok(frame_at(datum, origin, scale_at(height, &datum.ellipsoid, origin.latitude)))
}

/// How much longer lengths on the ground are than along the ellipsoid below, as a factor: `1 + h/R`
/// with the Gaussian radius `R = b / (1 - e² sin²φ)`; to `1e-10`, 0.6 mm of height.
fn scale_at(height: Length, ellipsoid: &Ellipsoid, latitude: f64) -> f64 {
    round_to(1.0 + height.to_m() / gaussian_radius_m(ellipsoid, latitude), 1e10)
}

/// The root of the product of both radii of curvature, metres.
fn gaussian_radius_m(ellipsoid: &Ellipsoid, latitude: f64) -> f64 {
    let flattening = 1.0 / ellipsoid.inverse_flattening;
    let sin = num::sin(latitude.to_radians());
    let squared_eccentricity = flattening * (2.0 - flattening);
    ellipsoid.semi_major_m * (1.0 - flattening) / (1.0 - squared_eccentricity * sin * sin)
}

/// The frame of an earlier plan, from its PROJ string; refused where it is none of this datum's.
pub fn earlier_frame(datum: &Datum, proj: &str) -> Result<FieldFrame, Finding> {
    let value = |key: &str| {
        let value = proj.split_whitespace().find_map(|part| part.strip_prefix(key))?;
        value.parse::<f64>().ok().filter(|value| value.abs() <= 180.0)
    };
    let frame = match (value("+lat_0="), value("+lon_0="), value("+k_0=")) {
        (Some(latitude), Some(longitude), Some(scale)) => {
            frame_at(datum, GeoPoint { longitude, latitude }, scale)
        }
        _ => return Err(another_frame(proj)),
    };
    if frame.proj == proj { Ok(frame) } else { Err(another_frame(proj)) }
}

fn another_frame(proj: &str) -> Finding {
    crate::rules::finding(
        "sown/frame",
        format!("the seed map lies in a field frame that is not known here: {proj}"),
    )
    .with_hint("sow and weed with the same version, or compile the sowing job anew before it is sown")
}

fn frame_at(datum: &Datum, origin: GeoPoint, scale: f64) -> FieldFrame {
    let ellipsoid = &datum.ellipsoid;
    let proj = format!(
        "+proj=tmerc +lat_0={:.7} +lon_0={:.7} +k_0={} +x_0=0 +y_0=0 +a={} +rf={} +units=m +no_defs +type=crs",
        origin.latitude, origin.longitude, scale, ellipsoid.semi_major_m, ellipsoid.inverse_flattening,
    );
    FieldFrame {
        origin,
        scale,
        proj,
        reference: datum.name.clone(),
        epoch: datum.epoch,
        projjson: projjson(datum, origin, scale).to_string(),
    }
}

/// PROJ's own transverse Mercator of one frame. A PROJ context belongs to one thread, so each
/// thread makes its own.
pub struct Projector {
    projection: Proj,
}

impl Projector {
    /// The projector of a frame.
    pub fn new(frame: &FieldFrame) -> Result<Self, Finding> {
        let definition = frame.proj.replace(" +type=crs", "").replace(" +no_defs", "");
        let projection = Proj::new(&definition).map_err(|error| {
            Finding::error("frame/projection", format!("PROJ refuses the field frame: {error}"))
        })?;
        Ok(Self { projection })
    }

    /// Ground metres of a place in the output's reference frame.
    pub fn to_ground(&self, place: GeoPoint) -> Result<Point, Finding> {
        let radians = (place.longitude.to_radians(), place.latitude.to_radians());
        let (x, y) = self.projection.project(radians, false).map_err(|e| failed(&e))?;
        Ok(Point { x, y })
    }

    /// The place, in the output's reference frame, of ground metres.
    pub fn to_geo(&self, point: Point) -> Result<GeoPoint, Finding> {
        let (longitude, latitude) =
            self.projection.project((point.x, point.y), true).map_err(|e| failed(&e))?;
        Ok(GeoPoint { longitude: longitude.to_degrees(), latitude: latitude.to_degrees() })
    }
}

/// Metres between two places along the ellipsoid (Karney, 2013, Algorithms for geodesics).
pub fn distance_m(geodesic: &Geodesic, a: GeoPoint, b: GeoPoint) -> f64 {
    geodesic.inverse(a.latitude, a.longitude, b.latitude, b.longitude)
}

/// Degrees from `from` to `to` the shorter way round, in `[-180, 180)`.
pub fn longitude_difference(to: f64, from: f64) -> f64 {
    (to - from + 180.0).rem_euclid(360.0) - 180.0
}

/// A longitude brought into `[-180, 180)`.
pub fn wrap_longitude(longitude: f64) -> f64 {
    if (-180.0..=180.0).contains(&longitude) { longitude } else { longitude_difference(longitude, 0.0) }
}

fn failed(error: &proj::ProjError) -> Finding {
    Finding::error("frame/projection", format!("PROJ cannot project a point of this job: {error}"))
}

fn centre(corners: &[GeoPoint]) -> GeoPoint {
    let Some(first) = corners.first() else { return GeoPoint { longitude: 0.0, latitude: 0.0 } };
    let middle = |values: &mut dyn Iterator<Item = f64>| {
        let (low, high) =
            values.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), v| (low.min(v), high.max(v)));
        f64::midpoint(low, high)
    };
    let east = middle(&mut corners.iter().map(|c| longitude_difference(c.longitude, first.longitude)));
    let latitude = middle(&mut corners.iter().map(|c| c.latitude));
    GeoPoint {
        longitude: round_to(wrap_longitude(first.longitude + east), 1e7),
        latitude: round_to(latitude, 1e7),
    }
}

fn round_to(value: f64, per_unit: f64) -> f64 {
    (value * per_unit).round() / per_unit
}

fn projjson(datum: &Datum, origin: GeoPoint, scale: f64) -> Value {
    let degrees = |name: &str, code: u32, value: f64| json!({"name": name, "value": value, "unit": "degree", "id": {"authority": "EPSG", "code": code}});
    let metres = |name: &str, code: u32| json!({"name": name, "value": 0, "unit": "metre", "id": {"authority": "EPSG", "code": code}});
    let unity = if scale == 1.0 { json!(1) } else { json!(scale) };
    let axis = |name: &str, abbreviation: &str, direction: &str| json!({"name": name, "abbreviation": abbreviation, "direction": direction, "unit": "metre"});
    json!({
        "$schema": "https://proj.org/schemas/v0.7/projjson.schema.json",
        "type": "ProjectedCRS",
        "name": "field frame",
        "base_crs": datum.base_crs,
        "conversion": {
            "name": "field frame",
            "method": {"name": "Transverse Mercator", "id": {"authority": "EPSG", "code": 9807}},
            "parameters": [
                degrees("Latitude of natural origin", 8801, origin.latitude),
                degrees("Longitude of natural origin", 8802, origin.longitude),
                {"name": "Scale factor at natural origin", "value": unity, "unit": "unity",
                 "id": {"authority": "EPSG", "code": 8805}},
                metres("False easting", 8806),
                metres("False northing", 8807),
            ]
        },
        "coordinate_system": {
            "subtype": "Cartesian",
            "axis": [axis("Easting", "E", "east"), axis("Northing", "N", "north")]
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::check::ReferenceFrame;

    fn wgs84() -> Datum {
        let frame =
            ReferenceFrame { name: "WGS 84".into(), proj: "EPSG:4326".into(), epoch: None, span: None };
        Datum::of(&frame).unwrap()
    }

    fn place(latitude: f64, longitude: f64) -> GeoPoint {
        GeoPoint { longitude, latitude }
    }

    /// Polygon A of our reference checks A11 and A12: corners in the local transverse Mercator,
    /// derived there with an own Krüger series and with PROJ, to a millimetre.
    #[test]
    fn corners_of_a_known_field_are_where_a_krueger_series_puts_them() {
        let corners = [place(50.0, 8.0), place(50.0, 8.005), place(50.003, 8.005), place(50.003, 8.0)];
        let frame = field_frame(&wgs84(), &corners, Length::ZERO).unwrap();
        assert_eq!(frame.origin, place(50.0015, 8.0025));
        let projector = Projector::new(&frame).unwrap();
        let expected =
            [(-179.2394, -166.8406), (179.2394, -166.8406), (179.2282, 166.8467), (-179.2282, 166.8467)];
        for (corner, (x, y)) in corners.into_iter().zip(expected) {
            let found = projector.to_ground(corner).unwrap();
            assert!((found.x - x).abs() < 1e-3 && (found.y - y).abs() < 1e-3, "{found:?}");
            let back = projector.to_geo(found).unwrap();
            assert!((back.longitude - corner.longitude).abs() < 1e-12);
            assert!((back.latitude - corner.latitude).abs() < 1e-12);
        }
    }

    /// Check A14: at 100 m and 500 m above the ellipsoid the ground is longer by 15.68 and 78.39 ppm,
    /// derived there with the radius at 45 degrees.
    #[test]
    fn a_metre_of_the_frame_is_one_on_the_ground_at_its_height() {
        let corners = [place(45.0, 8.0), place(45.0, 8.005), place(45.003, 8.005)];
        let span = |height_m| {
            let frame = field_frame(&wgs84(), &corners, Length::m(height_m)).unwrap();
            let projector = Projector::new(&frame).unwrap();
            let [a, _, b] = corners.map(|corner| projector.to_ground(corner).unwrap());
            assert_eq!(earlier_frame(&wgs84(), &frame.proj).unwrap(), frame);
            crate::geometry::distance(a, b)
        };
        let ppm = |height_m| (span(height_m) / span(0.0) - 1.0) * 1e6;
        assert!((ppm(100.0) - 15.68).abs() < 0.01, "{}", ppm(100.0));
        assert!((ppm(500.0) - 78.39).abs() < 0.01, "{}", ppm(500.0));
    }

    #[test]
    fn a_field_across_the_antimeridian_stays_in_one_piece() {
        let corners = [place(-17.0, 179.998), place(-17.0, -179.998), place(-16.998, -179.999)];
        let frame = field_frame(&wgs84(), &corners, Length::ZERO).unwrap();
        assert!(frame.origin.longitude.abs() > 179.999, "{:?}", frame.origin);
        let projector = Projector::new(&frame).unwrap();
        for corner in corners {
            let ground = projector.to_ground(corner).unwrap();
            assert!(ground.x.abs() < 220.0, "{ground:?}");
        }
    }

    #[test]
    fn fields_that_one_frame_cannot_serve_are_refused() {
        let finding = field_frame(&wgs84(), &[place(50.0, 8.0), place(50.0, 8.5)], Length::ZERO).unwrap_err();
        assert_eq!(finding.rule, "field/far-apart");
    }

    /// PROJ itself reads the PROJJSON back and projects as the PROJ string does.
    #[test]
    fn projjson_describes_the_same_projection() {
        let corners = [place(-33.0, 18.0), place(-33.01, 18.02), place(-33.02, 18.0)];
        let datum = wgs84();
        let frame = field_frame(&datum, &corners, Length::ZERO).unwrap();
        let by_json = Proj::new_known_crs("EPSG:4326", &frame.projjson, None).unwrap();
        let projector = Projector::new(&frame).unwrap();
        for corner in corners {
            let (x, y) = by_json.convert((corner.longitude, corner.latitude)).unwrap();
            let ground = projector.to_ground(corner).unwrap();
            assert!((ground.x - x).abs() < 1e-6 && (ground.y - y).abs() < 1e-6);
        }
    }
}
