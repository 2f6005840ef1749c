//! Reference frames as PROJ knows them, and the way of a position from one to another.
//!
//! In: the frames that the job states. Out: what each is (ellipsoid, whether it moves with time,
//! how exactly it is defined) and a [`DatumShift`] by PROJ's own pipeline. Where PROJ knows no
//! transformation but a guess, or needs an epoch that the job does not give, the job is refused:
//! plates drift by some centimetres a year, and a sown row does not. From one epoch to another a
//! position goes by way of the frame in which the ground [rests](super::resting), where it is the
//! same at both.

use super::resting::{self, RestingFrame};
use crate::check::ReferenceFrame;
use crate::diagnostic::{Finding, Span};
use geographiclib_rs::Geodesic;
use lanewright_schema::quantity::GeoPoint;
use proj::{Area, Proj, ProjBuilder};
use serde_json::Value;
use std::fmt::Display;

/// The ellipsoid of a frame.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Ellipsoid {
    /// Semi-major axis, metres.
    pub semi_major_m: f64,
    /// Inverse flattening.
    pub inverse_flattening: f64,
}

/// How a frame's coordinates of a place on the ground behave in time.
#[derive(Copy, Clone, Debug, PartialEq)]
pub enum Motion {
    /// They stay: the frame is tied to a plate.
    Fixed,
    /// They change by centimetres a year; a coordinate needs an epoch.
    Dynamic,
    /// A group of realisations under one name, told apart only to this many metres.
    Ensemble {
        /// What the register states.
        accuracy_m: f64,
    },
}

/// What PROJ's register says of a reference frame.
#[derive(Clone, Debug, PartialEq)]
pub struct Datum {
    /// As the job says it.
    pub name: String,
    /// What PROJ is given.
    pub proj: String,
    /// Decimal year, where the job states one.
    pub epoch: Option<f64>,
    /// Its ellipsoid.
    pub ellipsoid: Ellipsoid,
    /// Its behaviour in time.
    pub motion: Motion,
    /// Whether the register has it for the whole Earth, hence for no plate.
    pub is_global: bool,
    /// The frame as PROJJSON, for a projected frame to stand on.
    pub base_crs: Value,
    latitude_first: bool,
    span: Option<Span>,
}

impl Datum {
    /// Looks a frame up. Unknown names and frames that are not geographic are refused.
    pub fn of(frame: &ReferenceFrame) -> Result<Self, Finding> {
        let text = Proj::new(&frame.proj)
            .ok()
            .and_then(|crs| crs.to_projjson(Some(false), None, None).ok())
            .ok_or_else(|| unknown(frame))?;
        let crs: Value = serde_json::from_str(&text).map_err(|_| unknown(frame))?;
        if crs["type"] != "GeographicCRS" {
            return Err(Finding::error(
                "frame/not-geographic",
                format!("`{}` is not a frame of latitudes and longitudes", frame.proj),
            )
            .with_hint("name a geographic frame, such as \"WGS 84\" or \"ETRS89\"")
            .with_span_if(frame.span.as_ref(), "this frame"));
        }
        let earth = |e: &Ellipsoid| (6.3e6..6.4e6).contains(&e.semi_major_m);
        let datum = if crs["datum"].is_object() { &crs["datum"] } else { &crs["datum_ensemble"] };
        Ok(Self {
            name: frame.name.clone(),
            proj: frame.proj.clone(),
            epoch: frame.epoch,
            ellipsoid: ellipsoid(&datum["ellipsoid"]).filter(earth).ok_or_else(|| unknown(frame))?,
            motion: motion(&crs),
            is_global: is_global(&crs),
            latitude_first: crs["coordinate_system"]["axis"][0]["direction"] == "north",
            base_crs: without_bounds(crs),
            span: frame.span.clone(),
        })
    }

    /// The finding at the place where the job states this frame.
    pub fn tell(&self, finding: Finding) -> Finding {
        finding.with_span_if(self.span.as_ref(), "")
    }

    /// The same frame with this epoch.
    pub(super) fn at(&self, epoch: Option<f64>) -> Self {
        Self { epoch, ..self.clone() }
    }

    /// Geodesics on its ellipsoid.
    pub fn geodesic(&self) -> Geodesic {
        Geodesic::new(self.ellipsoid.semi_major_m, 1.0 / self.ellipsoid.inverse_flattening)
    }

    /// Whether its coordinates say nothing without their epoch, and have none.
    pub(super) fn lacks_epoch(&self) -> bool {
        self.motion == Motion::Dynamic && self.epoch.is_none()
    }

    /// Whether it moves against the ground, as far as its epoch tells.
    fn drifts(&self) -> bool {
        self.motion == Motion::Dynamic || self.is_global && self.epoch.is_some()
    }

    fn crs(&self) -> Result<Proj, Finding> {
        let refused = |error: &dyn Display| self.tell(impossible(&self.proj, &error.to_string()));
        let crs = Proj::new(&self.proj).map_err(|error| refused(&error))?;
        match (self.motion, self.epoch) {
            (Motion::Dynamic, Some(epoch)) => {
                crs.coordinate_metadata_create(epoch).map_err(|error| refused(&error))
            }
            _ => Ok(crs),
        }
    }
}

/// The way of a position from one frame to another: no leg where they are the same, one leg by
/// PROJ, two by way of the frame in which the ground rests.
pub struct DatumShift {
    legs: Vec<Leg>,
}

impl DatumShift {
    /// The transformation between two frames near the given places. Coordinates of differing epochs
    /// go to the frame in which the ground rests at the first epoch, and from there at the second;
    /// coordinates in that frame itself need no epoch. A group of realisations has no such way: the
    /// ground moves less than they differ.
    pub fn between(
        from: &Datum,
        to: &Datum,
        ground: Option<&RestingFrame>,
        near: &[GeoPoint],
    ) -> Result<Self, Finding> {
        if from.proj == to.proj && from.epoch == to.epoch {
            return Ok(Self { legs: Vec::new() });
        }
        let rests = |datum: &Datum| ground.is_some_and(|ground| ground.is(datum));
        for datum in [from, to] {
            if datum.lacks_epoch() && !rests(datum) {
                return Err(datum.tell(epoch_missing(datum, from, to)));
            }
        }
        if !(from.drifts() && to.drifts()) || from.epoch == to.epoch {
            return Ok(Self { legs: vec![Leg::between(from, to, near)?] });
        }
        let realised = from.motion == Motion::Dynamic && to.motion == Motion::Dynamic;
        let Some(ground) = ground.filter(|_| realised) else {
            let known = if realised { resting::known_for(from, to, near) } else { None };
            return Err(from.tell(epochs_differ(from, to, known.as_ref())));
        };
        let mut legs = Vec::new();
        if !ground.is(from) {
            legs.push(Leg::between(from, &ground.at(from.epoch), near)?);
        }
        if !ground.is(to) {
            legs.push(Leg::between(&ground.at(to.epoch), to, near)?);
        }
        Ok(Self { legs })
    }

    /// The same place on the ground, in the other frame.
    pub fn apply(&self, place: GeoPoint) -> Result<GeoPoint, Finding> {
        self.legs.iter().try_fold(place, |place, leg| leg.apply(place))
    }

    /// Whether it leads by way of the frame in which the ground rests.
    pub fn goes_by_ground(&self) -> bool {
        self.legs.len() > 1
    }

    /// How exact PROJ's register says the transformation is, metres, where it says so. Legs add up,
    /// as they do in PROJ's own chains: two by one transformation may err alike.
    pub fn accuracy_m(&self) -> Option<f64> {
        self.legs.iter().map(Leg::accuracy_m).sum()
    }
}

/// One transformation as PROJ makes it.
struct Leg {
    pipeline: Proj,
    latitude_first: (bool, bool),
}

impl Leg {
    fn between(from: &Datum, to: &Datum, near: &[GeoPoint]) -> Result<Self, Finding> {
        let pipeline = ProjBuilder::new()
            .proj_create_crs_to_crs_from_pj(&from.crs()?, &to.crs()?, area(near), None)
            .map_err(|_| from.tell(no_transformation(from, to)))?;
        let leg = Self { pipeline, latitude_first: (from.latitude_first, to.latitude_first) };
        for &place in near {
            leg.apply(place).map_err(|finding| from.tell(finding))?;
            if leg.is_a_guess() {
                return Err(from.tell(no_transformation(from, to)));
            }
        }
        Ok(leg)
    }

    /// Whether PROJ, for want of a registered transformation, took the numbers over as they are.
    fn is_a_guess(&self) -> bool {
        self.pipeline.proj_info().description.is_none_or(|text| text.contains("Ballpark"))
    }

    fn apply(&self, place: GeoPoint) -> Result<GeoPoint, Finding> {
        let input = if self.latitude_first.0 {
            (place.latitude, place.longitude)
        } else {
            (place.longitude, place.latitude)
        };
        let (a, b): (f64, f64) =
            self.pipeline.convert(input).map_err(|error| impossible("the shift", &error.to_string()))?;
        let (longitude, latitude) = if self.latitude_first.1 { (b, a) } else { (a, b) };
        if longitude.is_finite() && latitude.is_finite() {
            Ok(GeoPoint { longitude, latitude })
        } else {
            Err(impossible("the shift", "the result is not a place"))
        }
    }

    fn accuracy_m(&self) -> Option<f64> {
        Some(self.pipeline.proj_info().accuracy).filter(|&metres| metres >= 0.0)
    }
}

fn motion(crs: &Value) -> Motion {
    if crs["datum_ensemble"].is_object() {
        let accuracy = crs["datum_ensemble"]["accuracy"].as_str().and_then(|a| a.parse().ok());
        return Motion::Ensemble { accuracy_m: accuracy.unwrap_or(f64::INFINITY) };
    }
    if crs["datum"]["type"] == "DynamicGeodeticReferenceFrame" { Motion::Dynamic } else { Motion::Fixed }
}

/// Whether the register has a frame for every latitude and longitude.
fn is_global(crs: &Value) -> bool {
    let edge = |key: &str| crs["bbox"][key].as_f64();
    let edges = ["south_latitude", "west_longitude", "north_latitude", "east_longitude"];
    edges.map(edge) == [-90.0, -180.0, 90.0, 180.0].map(Some)
}

fn ellipsoid(value: &Value) -> Option<Ellipsoid> {
    let semi_major_m = value["semi_major_axis"].as_f64()?;
    if let Some(inverse_flattening) = value["inverse_flattening"].as_f64() {
        return Some(Ellipsoid { semi_major_m, inverse_flattening });
    }
    let semi_minor_m = value["semi_minor_axis"].as_f64()?;
    Some(Ellipsoid { semi_major_m, inverse_flattening: semi_major_m / (semi_major_m - semi_minor_m) })
}

/// The frame without its register's notes on where and for what it is used.
fn without_bounds(mut crs: Value) -> Value {
    if let Some(object) = crs.as_object_mut() {
        for key in ["$schema", "scope", "area", "bbox", "usages", "remarks"] {
            object.remove(key);
        }
    }
    crs
}

fn area(near: &[GeoPoint]) -> Option<Area> {
    let first = near.first()?;
    let one = Area::new(first.longitude, first.latitude, first.longitude, first.latitude);
    Some(near.iter().fold(one, |area, place| {
        Area::new(
            area.west.min(place.longitude),
            area.south.min(place.latitude),
            area.east.max(place.longitude),
            area.north.max(place.latitude),
        )
    }))
}

fn unknown(frame: &ReferenceFrame) -> Finding {
    Finding::error("frame/unknown", format!("PROJ knows no reference frame `{}`", frame.proj))
        .with_hint("name a frame, such as \"WGS 84\" or \"ETRS89\", or its code in the EPSG register")
        .with_span_if(frame.span.as_ref(), "")
}

fn impossible(what: &str, why: &str) -> Finding {
    Finding::error("frame/no-transformation", format!("PROJ cannot work with {what}: {why}"))
}

fn epoch_missing(datum: &Datum, from: &Datum, to: &Datum) -> Finding {
    let year = from.epoch.or(to.epoch).unwrap_or(2026.3);
    Finding::error(
        "frame/epoch-missing",
        format!(
            "going from {} to {} needs the epoch of {}, whose coordinates drift by centimetres a year",
            stated(from),
            stated(to),
            datum.name
        ),
    )
    .with_hint(format!("state the year of the coordinates, such as \"{}@{year}\"", datum.name))
}

/// The hint names a frame for the ground that is known to serve here, or else one epoch.
fn epochs_differ(from: &Datum, to: &Datum, known: Option<&RestingFrame>) -> Finding {
    let hint = match known {
        Some(ground) => format!(
            "name the frame that is tied to the field's plate, in `[frames]`: `ground = \"{}\"`, if that is it",
            ground.name()
        ),
        None => format!(
            "bring the coordinates to one epoch, and state it in all frames of the job: \"{}@{}\"",
            from.name,
            to.epoch.unwrap_or_default()
        ),
    };
    Finding::error(
        "frame/epochs-differ",
        format!(
            "{} and {} are of different epochs, between which the ground moves by centimetres a year",
            stated(from),
            stated(to)
        ),
    )
    .with_hint(hint)
}

/// The frame as a job states it, with its epoch.
pub(super) fn stated(datum: &Datum) -> String {
    match datum.epoch {
        Some(epoch) => format!("{}@{epoch}", datum.name),
        None => datum.name.clone(),
    }
}

fn no_transformation(from: &Datum, to: &Datum) -> Finding {
    Finding::error(
        "frame/no-transformation",
        format!("PROJ knows no transformation from {} to {} for this place", from.name, to.name),
    )
    .with_hint("survey the field in the frame of the base station")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn frame(name: &str, proj: &str, epoch: Option<f64>) -> ReferenceFrame {
        ReferenceFrame { name: name.into(), proj: proj.into(), epoch, span: None }
    }

    fn datum(name: &str, proj: &str, epoch: Option<f64>) -> Datum {
        Datum::of(&frame(name, proj, epoch)).unwrap()
    }

    const FIELD: GeoPoint = GeoPoint { longitude: 8.0, latitude: 50.0 };

    #[test]
    fn the_register_tells_fixed_from_dynamic_from_ensemble() {
        assert_eq!(datum("WGS 84", "EPSG:4326", None).motion, Motion::Ensemble { accuracy_m: 2.0 });
        assert_eq!(datum("ITRF2014", "EPSG:9000", None).motion, Motion::Dynamic);
        assert_eq!(datum("GDA2020", "EPSG:7844", None).motion, Motion::Fixed);
    }

    #[test]
    fn unknown_and_projected_frames_are_refused() {
        assert_eq!(Datum::of(&frame("x", "EPSG:99999", None)).unwrap_err().rule, "frame/unknown");
        assert_eq!(Datum::of(&frame("x", "not a frame", None)).unwrap_err().rule, "frame/unknown");
        let utm = Datum::of(&frame("UTM", "EPSG:32632", None)).unwrap_err();
        assert_eq!(utm.rule, "frame/not-geographic");
    }

    #[test]
    fn a_dynamic_frame_without_its_epoch_is_refused() {
        let (from, to) = (datum("GDA2020", "EPSG:7844", None), datum("ITRF2014", "EPSG:9000", None));
        let finding = DatumShift::between(&from, &to, None, &[FIELD]).err().unwrap();
        assert_eq!(finding.rule, "frame/epoch-missing");
    }

    #[test]
    fn findings_of_a_frame_stand_where_the_job_states_it() {
        let stated = |name: &str, proj: &str, epoch, line: usize| {
            let span = Some(Span { file: "job.toml".into(), bytes: line..line + 1 });
            Datum::of(&ReferenceFrame { span, ..frame(name, proj, epoch) })
        };
        let line = |finding: Finding| finding.span.map(|span| span.bytes.start);
        assert_eq!(stated("x", "EPSG:99999", None, 3).map_err(line), Err(Some(3)));
        assert_eq!(stated("UTM", "EPSG:32632", None, 3).map_err(line), Err(Some(3)));
        let fixed = stated("GDA2020", "EPSG:7844", None, 3).unwrap();
        let unknown_epoch = stated("ITRF2014", "EPSG:9000", None, 4).unwrap();
        let early = stated("ITRF2014", "EPSG:9000", Some(2015.0), 5).unwrap();
        let late = stated("ITRF2014", "EPSG:9000", Some(2027.3), 6).unwrap();
        let between = |from, to| DatumShift::between(from, to, None, &[FIELD]).err().unwrap();
        assert_eq!(line(between(&fixed, &unknown_epoch)), Some(4), "the frame without its epoch");
        assert_eq!(line(between(&early, &late)), Some(5));
        assert_eq!(line(between(&fixed, &late)), Some(3), "no way from one continent to another");
        let hint = between(&unknown_epoch, &late).hint.unwrap();
        assert!(hint.contains("ITRF2014@2027.3"), "an epoch that would pass: {hint}");
    }

    /// EUREF Technical Note 1 (2018): ITRF2014 to ETRF2014 turns by 0.085, 0.531 and -0.770 mas a
    /// year from 1989.0 on, without translation. At 50°N 8°E in 2020.0 the horizontal shift of that
    /// rotation is worked out below from the cross product.
    #[test]
    fn etrs89_and_itrf_are_apart_by_the_drift_of_the_plate() {
        let from = datum("ETRF2014", "EPSG:9069", Some(2020.0));
        let to = datum("ITRF2014", "EPSG:9000", Some(2020.0));
        let shift = DatumShift::between(&from, &to, None, &[FIELD]).unwrap();
        let moved = shift.apply(FIELD).unwrap();
        let metres = super::super::frame::distance_m(&to.geodesic(), FIELD, moved);
        let mas = std::f64::consts::PI / 180.0 / 3_600_000.0 * 31.0;
        let rotation = [0.085 * mas, 0.531 * mas, -0.770 * mas];
        let radius = 6_365_600.0;
        let (phi, lambda) = (50.0_f64.to_radians(), 8.0_f64.to_radians());
        let up = [phi.cos() * lambda.cos(), phi.cos() * lambda.sin(), phi.sin()];
        let cross = [
            rotation[1] * up[2] - rotation[2] * up[1],
            rotation[2] * up[0] - rotation[0] * up[2],
            rotation[0] * up[1] - rotation[1] * up[0],
        ];
        let expected = radius * cross.iter().map(|c| c * c).sum::<f64>().sqrt();
        assert!((metres - expected).abs() < 0.01, "{metres} {expected}");
    }

    #[test]
    fn frames_at_different_epochs_are_refused() {
        let from = datum("ITRF2014", "EPSG:9000", Some(2015.0));
        let to = datum("ITRF2014", "EPSG:9000", Some(2026.0));
        assert_eq!(
            DatumShift::between(&from, &to, None, &[FIELD]).err().unwrap().rule,
            "frame/epochs-differ"
        );
    }

    #[test]
    fn a_group_of_realisations_is_moved_to_no_other_epoch() {
        let wgs = |epoch| datum("WGS 84", "EPSG:4326", epoch);
        let ground = RestingFrame::of(&frame("ETRF2014", "EPSG:9069", None), &[FIELD]).unwrap();
        let between = |from: Option<f64>, to: Option<f64>| {
            DatumShift::between(&wgs(from), &wgs(to), Some(&ground), &[FIELD])
        };
        let finding = between(Some(2015.0), Some(2027.3)).err().unwrap();
        assert_eq!(finding.rule, "frame/epochs-differ");
        assert!(finding.hint.unwrap().contains("\"WGS 84@2027.3\""));
        assert_eq!(between(None, Some(2027.3)).unwrap().apply(FIELD).unwrap(), FIELD);
    }

    #[test]
    fn a_guess_of_proj_is_no_transformation() {
        let (from, to) = (datum("ITRF2014", "EPSG:9000", Some(2026.0)), datum("GDA2020", "EPSG:7844", None));
        let finding = DatumShift::between(&from, &to, None, &[FIELD]).err().unwrap();
        assert_eq!(finding.rule, "frame/no-transformation", "GDA2020 is of another continent");
        let there = GeoPoint { longitude: 145.0, latitude: -37.0 };
        assert!(DatumShift::between(&from, &to, None, &[there]).unwrap().apply(there).unwrap() != there);
    }

    #[test]
    fn equal_frames_leave_a_place_as_it_is() {
        let wgs = datum("WGS 84", "EPSG:4326", None);
        assert_eq!(DatumShift::between(&wgs, &wgs, None, &[FIELD]).unwrap().apply(FIELD).unwrap(), FIELD);
    }
}
