//! A small job for unit tests: one rectangular field of polygon A's corners (reference check A11),
//! one machine of six rows.

use crate::check::{
    BaseStation, BlockRates, BodyPoint, Crop, Field, FieldPlaces, Frames, GeoPolygon, Guidance, Headland,
    HeadlandSize, HeadlandSown, Job, LapCorners, Layout, Machine, Metering, Operation, Order, Pattern,
    Precision, ReferenceFrame, Spacing, Steering,
};
use crate::diagnostic::Span;
use chrono::NaiveDate;
use lanewright_schema::quantity::{GeoPoint, Length, Mass, Speed, Time};

/// A place.
pub fn place(latitude: f64, longitude: f64) -> GeoPoint {
    GeoPoint { longitude, latitude }
}

/// A span that names a line.
pub fn span(line: usize) -> Span {
    Span { file: "job.toml".into(), bytes: line..line + 1 }
}

/// The corners of polygon A.
pub fn corners() -> Vec<GeoPoint> {
    vec![place(50.0, 8.0), place(50.0, 8.005), place(50.003, 8.005), place(50.003, 8.0)]
}

/// The whole job.
pub fn job() -> Job {
    let frame = ReferenceFrame { name: "WGS 84".into(), proj: "EPSG:4326".into(), epoch: None, span: None };
    Job {
        order: Order {
            title: "Sowing".into(),
            issued: NaiveDate::from_ymd_opt(2027, 4, 1).unwrap(),
            customer: "Aldermoor Growers' Cooperative".into(),
            farm: "Elbow Farm".into(),
            operations: vec![Operation::Sowing],
            hours_per_day: Time::h(10.0),
        },
        frames: Frames {
            survey: frame.clone(),
            base_station: frame.clone(),
            output: frame,
            ground: None,
            height: Length::ZERO,
        },
        base_station: Some(BaseStation {
            name: "mast".into(),
            at: place(50.01, 8.01),
            height: Length::m(100.0),
            span: span(10),
        }),
        machine: machine(),
        fields: vec![field()],
    }
}

/// Six rows, 45 cm apart.
pub fn machine() -> Machine {
    let point = |forward, right| BodyPoint { forward: Length::m(forward), right: Length::m(right) };
    Machine {
        name: "Ox-6".into(),
        row_offsets: (0..6).map(|k| Length::cm(45.0 * (f64::from(k) - 2.5))).collect(),
        row_spacing: Length::cm(45.0),
        working_width: Length::m(2.7),
        tool_forward: Length::m(-1.2),
        body: vec![point(1.4, -1.35), point(1.4, 1.35), point(-1.4, 1.35), point(-1.4, -1.35)],
        antennas: [point(0.5, -1.0), point(0.5, 1.0)],
        antenna_height: Length::m(1.8),
        wheel_tracks: vec![Length::cm(-90.0), Length::cm(90.0)],
        tyre_width: Length::cm(15.0),
        steering: Steering {
            turning_radius: Length::m(2.5),
            may_reverse: true,
            turns_on_spot: false,
            rate: None,
        },
        working_speed: Speed::m_per_s(0.5),
        turning_speed: Speed::m_per_s(0.4),
        transit_speed: Speed::m_per_s(0.8),
        reverse_speed: None,
        spot_turn_time: Time::s(20.0),
        gear_change_time: Time::s(2.0),
        lift_time: Time::s(3.0),
        hopper: Mass::kg(1.5),
        refill_time: Time::min_(10.0),
        precision: Precision::ordinary(&[point(0.5, -1.0), point(0.5, 1.0)]),
        moving_time: Time::min_(15.0),
        metering: Metering::default(),
        speed_span: span(20),
        body_span: span(21),
        radius_span: span(22),
        span: span(20),
    }
}

/// Polygon A with chicory.
pub fn field() -> Field {
    Field {
        name: "Twelve Acre".into(),
        parts: vec![GeoPolygon { exterior: corners(), holes: vec![] }],
        keep_outs: vec![],
        fence_margin: Length::m(0.5),
        over_sown_rows: Time::s(3.0),
        headland: Headland {
            size: HeadlandSize::AsTurnsNeed,
            sown: HeadlandSown::Last,
            corners: LapCorners::Round,
        },
        layout: Layout::following(Guidance::Best),
        home: Some(place(50.0015, 8.0025)),
        entrances: vec![],
        refill_points: vec![],
        crop: Crop {
            name: "chicory".into(),
            variety: "Thrennow Ivory".into(),
            depth: Length::cm(1.0),
            thousand_seed_mass: Mass::g(6.5),
            germination: 0.9,
            field_emergence: 0.8,
            seeds_per_unit: Some(100_000),
            plant_scatter: Length::mm(18.0),
        },
        spacing: Spacing {
            between_rows: Length::cm(45.0),
            between_seeds: Length::cm(18.0),
            pattern: Pattern::Single,
            stagger: 0.0,
            precision: None,
            row_end_margin: Length::ZERO,
            own_rows: Vec::new(),
            tramlines: None,
        },
        zones: None,
        block_rates: BlockRates::none(),
        span: span(30),
        places: FieldPlaces { home: Some(span(31)), fence_margin: Some(span(32)), ..FieldPlaces::default() },
    }
}
