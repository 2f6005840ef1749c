//! Projection and geodesy: the PROJ that we build in, the geodesic library that gives the second
//! opinion on areas, and the field frame that everything is planned in. Checks A1 to A22.

use crate::reference::{close, table};
use crate::setting;
use geo::Coord;
use geographiclib_rs::{Geodesic, InverseGeodesic, PolygonArea, Winding};
use lanewright::site::datum::Datum;
use lanewright::site::frame::{Projector, field_frame};
use lanewright::site::{horizontal_sigma, site};
use lanewright_schema::quantity::Length;
use proj::Proj;
use serde::Deserialize;

#[derive(Deserialize)]
struct Projection {
    id: String,
    source: String,
    proj: String,
    tolerance_m: f64,
    /// Latitude, longitude, east, north.
    points: Vec<[f64; 4]>,
}

/// A pipeline from degrees to metres.
fn projection(definition: &str) -> Proj {
    let pipeline =
        format!("+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad +step {definition}");
    Proj::new(&pipeline).unwrap_or_else(|e| panic!("{definition}: {e}"))
}

fn forward(proj: &Proj, latitude: f64, longitude: f64) -> (f64, f64) {
    proj.convert((longitude, latitude)).expect("in range")
}

/// A1, A1b, A2, A3, A4, A13.
#[test]
fn proj_gives_the_published_points() {
    for row in table::<Projection>("projection.toml", "table") {
        assert!(!row.source.is_empty());
        let proj = projection(&row.proj);
        for [latitude, longitude, east, north] in row.points {
            let (x, y) = forward(&proj, latitude, longitude);
            close(&row.id, "east", x, east, row.tolerance_m);
            close(&row.id, "north", y, north, row.tolerance_m);
        }
    }
}

/// A1c: the inverse of A1. The exact position is within the last printed digit of the metres,
/// 0.1 mm, hence 1e-9 degrees.
#[test]
fn proj_goes_back_to_the_published_position() {
    let row: Projection = table("projection.toml", "table").remove(0);
    let back = Proj::new(&format!(
        "+proj=pipeline +step +inv {} +step +proj=unitconvert +xy_in=rad +xy_out=deg",
        row.proj
    ));
    let (longitude, latitude) =
        back.expect("a pipeline").convert((577_274.983_8, 69_740.492_3)).expect("in range");
    close("A1c", "latitude", latitude, 50.5, 1e-9);
    close("A1c", "longitude", longitude, 0.5, 1e-9);
}

/// A5: the pass rule of GIGS test 5101: a thousand round trips drift less than 6 mm and 6e-8 degrees.
#[test]
fn a_thousand_round_trips_do_not_drift() {
    let row = table::<Projection>("projection.toml", "table").into_iter().find(|t| t.id == "A4").expect("A4");
    let there = projection(&row.proj);
    let back = Proj::new(&format!(
        "+proj=pipeline +step +inv {} +step +proj=unitconvert +xy_in=rad +xy_out=deg",
        row.proj
    ))
    .expect("a pipeline");
    let (mut longitude, mut latitude) = (3.0, 80.0);
    let mut ground = (0.0, 0.0);
    for _ in 0..1000 {
        ground = there.convert((longitude, latitude)).expect("in range");
        (longitude, latitude) = back.convert(ground).expect("in range");
    }
    close("A5", "east", ground.0, 496_813.178, 6e-3);
    close("A5", "north", ground.1, 3_358_297.326, 6e-3);
    close("A5", "longitude", longitude, 3.0, 6e-8);
    close("A5", "latitude", latitude, 80.0, 6e-8);
}

/// Scale and convergence at a point, from a north-south step of a kilometre about it: the step on
/// the grid against the geodesic. Along a meridian both change so slowly that the step's midpoint
/// has the mean to far better than the tolerances below.
fn scale_and_convergence(proj: &Proj, latitude: f64, longitude: f64) -> (f64, f64) {
    let half_step_deg = 0.0045;
    let south = forward(proj, latitude - half_step_deg, longitude);
    let north = forward(proj, latitude + half_step_deg, longitude);
    let (east, up) = (north.0 - south.0, north.1 - south.1);
    let true_m: f64 =
        Geodesic::wgs84().inverse(latitude - half_step_deg, longitude, latitude + half_step_deg, longitude);
    (east.hypot(up) / true_m, -east.atan2(up).to_degrees())
}

/// A6 and A7: derived with PROJ's own factors. 0.9996 on the central meridian is 40 cm a kilometre,
/// which is why nothing is planned in UTM.
#[test]
fn utm_has_the_known_scale_and_convergence() {
    let expected = [
        (9.0, 0.999_600_000, 0.0),
        (9.5, 0.999_615_770, 0.383_03),
        (10.0, 0.999_663_080, 0.766_08),
        (11.0, 0.999_852_313, 1.532_35),
        (12.0, 1.000_167_682, 2.299_01),
    ];
    let utm = projection("+proj=utm +zone=32 +ellps=WGS84");
    for (longitude, scale, convergence) in expected {
        let (k, gamma) = scale_and_convergence(&utm, 50.0, longitude);
        close("A7", "scale", k, scale, 1e-8);
        close("A7", "convergence", gamma, convergence, 1e-4);
    }
    for latitude in [0.1, 30.0, 70.0] {
        close("A6", "scale", scale_and_convergence(&utm, latitude, 9.0).0, 0.9996, 1e-9);
    }
}

#[derive(Deserialize)]
struct Inverse {
    id: String,
    source: String,
    from: [f64; 2],
    to: [f64; 2],
    distance_m: f64,
    azimuths: [f64; 2],
    tolerance_m: f64,
    tolerance_deg: f64,
}

/// A21, A22, A23.
#[test]
fn geodesics_have_the_published_lengths() {
    for row in table::<Inverse>("geodesic.toml", "inverse") {
        assert!(!row.source.is_empty());
        let (distance, first, second, _) =
            Geodesic::wgs84().inverse(row.from[0], row.from[1], row.to[0], row.to[1]);
        close(&row.id, "distance", distance, row.distance_m, row.tolerance_m);
        close(&row.id, "first azimuth", first, row.azimuths[0], row.tolerance_deg);
        close(&row.id, "second azimuth", second, row.azimuths[1], row.tolerance_deg);
    }
}

#[derive(Deserialize)]
struct Ring {
    id: String,
    source: String,
    corners: Vec<[f64; 2]>,
    perimeter_m: f64,
    area_m2: f64,
    tolerance_m: f64,
    tolerance_m2: f64,
}

/// A11, A26.
#[test]
fn geodesic_polygons_have_the_published_sizes() {
    let earth = Geodesic::wgs84();
    for row in table::<Ring>("geodesic.toml", "polygon") {
        assert!(!row.source.is_empty());
        let mut ring = PolygonArea::new(&earth, Winding::CounterClockwise);
        for [latitude, longitude] in &row.corners {
            ring.add_point(*latitude, *longitude);
        }
        let (perimeter, area, _) = ring.compute(true);
        close(&row.id, "perimeter", perimeter, row.perimeter_m, row.tolerance_m);
        close(&row.id, "area", area, row.area_m2, row.tolerance_m2);
    }
}

#[derive(Deserialize)]
struct Degree {
    id: String,
    latitude: f64,
    meridian_m: f64,
    parallel_m: f64,
    arc_m: f64,
}

/// A16 to A20, by the arc of a whole degree and by small steps at the latitude itself. The steps are
/// a thousandth of a degree, where a geodesic and its parallel differ by less than a nanometre.
#[test]
fn a_degree_is_as_long_as_the_ellipsoid_says() {
    let earth = Geodesic::wgs84();
    for row in table::<Degree>("geodesic.toml", "degree") {
        let (phi, half) = (row.latitude, 0.0005);
        let arc: f64 = earth.inverse(phi - 0.5, 0.0, phi + 0.5, 0.0);
        close(&row.id, "arc of a degree", arc, row.arc_m, 1e-3);
        let north: f64 = earth.inverse(phi - half, 0.0, phi + half, 0.0);
        close(&row.id, "degree of latitude", north * 1000.0, row.meridian_m, 1e-3);
        let east: f64 = earth.inverse(phi, -half, phi, half);
        close(&row.id, "degree of longitude", east * 1000.0, row.parallel_m, 1e-3);
    }
}

/// A14: ground at a height is longer than the ellipsoid by `h / a` along the equator (geocentric
/// coordinates of PROJ), 15.68 and 78.39 mm a kilometre at 100 and 500 m. A15: ground on a slope is
/// longer than its plan by `sqrt(1 + slope²)`. Neither is in the field frame, whose metres are plan
/// metres on the ellipsoid: these are the sizes of what it leaves out.
#[test]
fn height_and_slope_lengthen_the_ground() {
    let at_height = |height: f64, longitude: f64| -> (f64, f64) {
        projection(&format!("+proj=affine +zoff={height} +step +proj=cart +ellps=WGS84"))
            .convert((longitude, 0.0))
            .expect("in range")
    };
    let apart = |a: (f64, f64), b: (f64, f64)| (a.0 - b.0).hypot(a.1 - b.1);
    let step_deg = 10.0 / (6_378_137.0_f64.to_radians());
    let level = apart(at_height(0.0, 0.0), at_height(0.0, step_deg));
    close("A15", "plan length", level, 10.0, 1e-6);
    for (height, ppm) in [(100.0, 15.68), (500.0, 78.39)] {
        let up = apart(at_height(height, 0.0), at_height(height, step_deg));
        close("A14", "ppm", (up / level - 1.0) * 1e6, ppm, 0.01);
    }
    for (percent, ppm) in [(2.0, 200.0), (5.0, 1249.0), (10.0, 4988.0)] {
        let slope = apart(at_height(0.0, 0.0), at_height(percent / 100.0 * level, step_deg));
        close("A15", "ppm", (slope / level - 1.0) * 1e6, ppm, 1.0);
    }
}

fn frame_about(corners: &[[f64; 2]]) -> Projector {
    let datum = Datum::of(&setting::wgs84()).expect("a known frame");
    let places: Vec<_> = corners.iter().map(setting::place).collect();
    Projector::new(&field_frame(&datum, &places, Length::ZERO).expect("near enough")).expect("a frame")
}

/// A10: the field frame's scale error at a distance x from its meridian is x² / (2 R²), R the radius
/// of curvature there, checked over a kilometre of lane against the geodesic. Within 5 km it stays
/// below a millimetre a kilometre; UTM has 400 mm.
#[test]
fn the_field_frame_keeps_lengths() {
    let frame = frame_about(&[[49.95, 7.95], [50.05, 8.05]]);
    for (x, ppm) in [(500.0, 0.0031), (1_000.0, 0.0123), (5_000.0, 0.307), (10_000.0, 1.23)] {
        let [south, north] = [-500.0, 500.0].map(|y| frame.to_geo(Coord { x, y }).expect("in range"));
        let true_m: f64 =
            Geodesic::wgs84().inverse(south.latitude, south.longitude, north.latitude, north.longitude);
        // The published figures have three digits; a geodesic is good to some nanometres.
        close("A10", "ppm", (1000.0 / true_m - 1.0) * 1e6, ppm, 0.005 * ppm + 5e-5);
    }
}

/// A12: polygon A in the field frame.
#[test]
fn the_field_frame_has_the_known_corners() {
    let ring: Ring = table("geodesic.toml", "polygon").remove(0);
    let frame = frame_about(&ring.corners);
    let expected =
        [[-179.2394, -166.8406], [179.2394, -166.8406], [179.2282, 166.8467], [-179.2282, 166.8467]];
    for (corner, [east, north]) in ring.corners.iter().zip(expected) {
        let found = frame.to_ground(setting::place(corner)).expect("in range");
        close("A12", "east", found.x, east, 1e-4);
        close("A12", "north", found.y, north, 1e-4);
    }
}

/// A11 and A12 as the program reckons a field: its area and perimeter by both roads.
#[test]
fn a_field_has_the_known_size() {
    let ring: Ring = table("geodesic.toml", "polygon").remove(0);
    let told = site(&setting::job(&ring.corners, [50.0, 8.0]));
    let size = told.value.unwrap_or_else(|| panic!("refused: {:?}", told.findings)).fields[0].size;
    close("A11", "geodesic area", size.geodesic_area.to_m2(), ring.area_m2, ring.tolerance_m2);
    close("A11", "geodesic perimeter", size.geodesic_perimeter.to_m(), ring.perimeter_m, ring.tolerance_m);
    close("A12", "area in the field frame", size.plane_area.to_m2(), 119_616.083, 1e-2);
}

/// A16 to A20 through the field frame: a thousandth of a degree about its origin.
#[test]
fn a_degree_is_as_long_in_the_field_frame() {
    for row in table::<Degree>("geodesic.toml", "degree") {
        let (phi, half) = (row.latitude, 0.0005);
        let frame = frame_about(&[[phi - half, 7.0 - half], [phi + half, 7.0 + half]]);
        let at = |latitude: f64, longitude: f64| {
            frame.to_ground(setting::place(&[latitude, longitude])).expect("in range")
        };
        let north = at(phi + half, 7.0).y - at(phi - half, 7.0).y;
        let east = at(phi, 7.0 + half).x - at(phi, 7.0 - half).x;
        close(&row.id, "degree of latitude", north * 1000.0, row.meridian_m, 1e-3);
        close(&row.id, "degree of longitude", east * 1000.0, row.parallel_m, 1e-3);
    }
}

/// I1 and I2: 8 mm + 1 ppm, one sigma, added and not squared: a survey receiver's manual, and its
/// figures at 5 and 10 km as another maker prints them; 30 km derived.
#[test]
fn positions_grow_coarser_with_the_baseline() {
    for (km, mm) in [(0.0, 8.0), (5.0, 13.0), (8.0, 16.0), (10.0, 18.0), (30.0, 38.0)] {
        close("I2", "sigma, mm", horizontal_sigma(Length::m(km * 1000.0)).to_mm(), mm, 1e-9);
    }
}

/// I1 and I2 through a job: polygon A with its base station 5 km and more to the south.
#[test]
fn a_job_states_its_baseline() {
    let ring: Ring = table("geodesic.toml", "polygon").remove(0);
    let told = site(&setting::job(&ring.corners, [49.955, 8.0025]));
    let baseline = told.value.expect("a site").baseline.expect("a baseline");
    let farthest: f64 = ring
        .corners
        .iter()
        .map(|c| -> f64 { Geodesic::wgs84().inverse(49.955, 8.0025, c[0], c[1]) })
        .fold(0.0, f64::max);
    close("I2", "baseline", baseline.length.to_m(), farthest, 1e-3);
    close("I2", "sigma, mm", baseline.sigma.to_mm(), 8.0 + farthest * 1e-3, 1e-6);
}
