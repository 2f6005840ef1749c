//! A field on flat ground and a machine, in metres, for checks of single stages. The machine's body
//! is a few millimetres wide, so that only rows, radii and spacings decide.

use chrono::NaiveDate;
use geo::{Area as _, BoundingRect, Coord, LineString, MultiPolygon, Polygon};
use lanewright::check::{
    BaseStation, BlockRates, BodyPoint, Crop, Field, FieldPlaces, Frames, GeoPolygon, Guidance, Headland,
    HeadlandSize, HeadlandSown, Job, LapCorners, Layout, Machine, Metering, Operation, Order, Pattern,
    Precision, ReferenceFrame, Spacing, Steering,
};
use lanewright::diagnostic::Span;
use lanewright::site::datum::Datum;
use lanewright::site::frame::field_frame;
use lanewright::site::inverse::InverseProjection;
use lanewright::site::{FieldSite, FieldSize, SiteZones};
use lanewright_schema::quantity::{Area, GeoPoint, Heading, Length, Mass, Speed, Time};

/// Polygon with these corners, metres.
pub fn polygon(corners: &[[f64; 2]]) -> MultiPolygon {
    let ring = LineString(corners.iter().map(|&[x, y]| Coord { x, y }).collect());
    MultiPolygon(vec![Polygon::new(ring, Vec::new())])
}

/// Ground whose fence is its boundary, with lanes at a compass heading or the best one.
pub fn ground(boundary: MultiPolygon, heading_deg: Option<f64>) -> FieldSite {
    let area = Area::m2(boundary.unsigned_area());
    let datum = Datum::of(&wgs84()).expect("a known frame");
    let frame = field_frame(&datum, &[place(&[50.0, 8.0])], Length::ZERO).expect("a frame");
    let around = boundary.bounding_rect().expect("corners");
    FieldSite {
        inverse: InverseProjection::over(&frame, around).expect("near the origin"),
        name: "Long Acre".into(),
        fence: boundary.clone(),
        boundary,
        keep_outs: Vec::new(),
        home: None,
        layout: Layout::following(guidance(heading_deg)),
        zones: SiteZones::none(),
        entrances: Vec::new(),
        refill_points: Vec::new(),
        size: FieldSize {
            geodesic_area: area,
            plane_area: area,
            geodesic_perimeter: Length::ZERO,
            plane_perimeter: Length::ZERO,
        },
    }
}

/// A machine of so many rows; forward-only, radius 4.5 m, 1 m/s in lanes, 0.6 m/s in turns, tool at
/// the reference point.
pub fn machine(rows: usize, row_spacing_m: f64) -> Machine {
    let middle = (rows as f64 - 1.0) / 2.0;
    let body = [(0.001, -0.001), (0.001, 0.001), (-0.001, 0.001), (-0.001, -0.001)];
    let at = |(forward, right)| BodyPoint { forward: Length::m(forward), right: Length::m(right) };
    Machine {
        name: "Trial machine".into(),
        row_offsets: (0..rows).map(|row| Length::m((row as f64 - middle) * row_spacing_m)).collect(),
        row_spacing: Length::m(row_spacing_m),
        working_width: Length::m(rows as f64 * row_spacing_m),
        tool_forward: Length::ZERO,
        body: body.map(at).to_vec(),
        antennas: [at((0.0, -0.001)), at((0.0, 0.001))],
        antenna_height: Length::m(2.0),
        wheel_tracks: Vec::new(),
        tyre_width: Length::cm(15.0),
        steering: Steering {
            turning_radius: Length::m(4.5),
            may_reverse: false,
            turns_on_spot: false,
            rate: None,
        },
        working_speed: Speed::m_per_s(1.0),
        turning_speed: Speed::m_per_s(0.6),
        transit_speed: Speed::m_per_s(1.0),
        reverse_speed: None,
        spot_turn_time: Time::ZERO,
        gear_change_time: Time::ZERO,
        lift_time: Time::ZERO,
        hopper: Mass::kg(2.0),
        refill_time: Time::ZERO,
        precision: Precision::ordinary(&[at((0.0, -1.0)), at((0.0, 1.0))]),
        moving_time: Time::ZERO,
        metering: Metering::default(),
        speed_span: nowhere(),
        body_span: nowhere(),
        radius_span: nowhere(),
        span: nowhere(),
    }
}

/// What is wanted of the field; no headland.
pub fn wanted() -> Field {
    Field {
        name: "Long Acre".into(),
        parts: Vec::new(),
        keep_outs: Vec::new(),
        fence_margin: Length::ZERO,
        over_sown_rows: Time::ZERO,
        headland: Headland { size: HeadlandSize::None, sown: HeadlandSown::No, corners: LapCorners::Round },
        layout: Layout::following(Guidance::Best),
        home: None,
        entrances: Vec::new(),
        refill_points: Vec::new(),
        crop: Crop {
            name: "chicory".into(),
            variety: "Fenlight".into(),
            depth: Length::mm(12.0),
            thousand_seed_mass: Mass::g(1.5),
            germination: 0.92,
            field_emergence: 0.85,
            seeds_per_unit: None,
            plant_scatter: Length::mm(18.0),
        },
        spacing: Spacing {
            between_rows: Length::m(0.5),
            between_seeds: Length::m(0.18),
            pattern: Pattern::Single,
            stagger: 0.0,
            precision: None,
            row_end_margin: Length::ZERO,
            own_rows: Vec::new(),
            tramlines: None,
        },
        zones: None,
        block_rates: BlockRates::none(),
        span: nowhere(),
        places: FieldPlaces::default(),
    }
}

fn guidance<P>(heading_deg: Option<f64>) -> Guidance<P> {
    heading_deg.map_or(Guidance::Best, |heading| Guidance::Heading(Heading::degrees(heading)))
}

/// WGS 84 at an epoch.
pub fn wgs84() -> ReferenceFrame {
    ReferenceFrame { name: "ITRF2014".into(), proj: "EPSG:9000".into(), epoch: Some(2027.3), span: None }
}

/// A job for one field with these corners, latitude and longitude, and a base station.
pub fn job(corners: &[[f64; 2]], base_station: [f64; 2]) -> Job {
    let mut field = wanted();
    field.parts = vec![GeoPolygon { exterior: corners.iter().map(place).collect(), holes: Vec::new() }];
    Job {
        order: Order {
            title: "Trial".into(),
            issued: NaiveDate::from_ymd_opt(2027, 4, 12).expect("a day"),
            customer: "Aldermoor Growers' Cooperative".into(),
            farm: "Sallow Farm".into(),
            operations: vec![Operation::Sowing],
            hours_per_day: Time::h(10.0),
        },
        frames: Frames {
            survey: wgs84(),
            base_station: wgs84(),
            output: wgs84(),
            ground: None,
            height: Length::ZERO,
        },
        base_station: Some(BaseStation {
            name: "Sallow mast".into(),
            at: place(&base_station),
            height: Length::m(70.0),
            span: nowhere(),
        }),
        machine: machine(6, 0.5),
        fields: vec![field],
    }
}

/// A place from latitude and longitude.
pub fn place(&[latitude, longitude]: &[f64; 2]) -> GeoPoint {
    GeoPoint { longitude, latitude }
}

fn nowhere() -> Span {
    Span { file: "job.toml".into(), bytes: 0..0 }
}
