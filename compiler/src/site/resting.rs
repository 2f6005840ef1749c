//! The frame in which the ground rests, by way of which positions go from one epoch to another.
//!
//! In: the frame that the job names, places of its fields. Out: a [`RestingFrame`], or the finding
//! that the ground does not rest in it. A frame that is tied to a plate is told by its drift through
//! ITRF2014, as PROJ's register has it, at the place itself. By the ITRF2014 plate motion model
//! (Altamimi and others 2017, Geophys. J. Int. 209, 1906-1912) all land but some of Antarctica moves
//! by 7 mm a year and more; one realisation of ITRF drifts through another, and a country's frame
//! taken from one, by 3 mm at most. The exception, ITRF93, turns by 7 mm a year, so what the register
//! has for the whole Earth is refused without being measured.
//!
//! Whether the ground of this very field rests, near the edge of a plate or on sinking soil, no
//! register says; nor which plate the field is on where two plates' frames are of use in boxes that
//! overlap, as those of North America and the Pacific at Hawaii. The person who names the frame
//! answers for it, and the summary repeats it.

use super::datum::{Datum, DatumShift};
use super::frame::distance_m;
use crate::check::{ReferenceFrame, named_frame};
use crate::diagnostic::Finding;
use lanewright_schema::quantity::GeoPoint;

/// Drift through ITRF2014 below which a frame is tied to no plate, metres a year.
const SLOWEST_PLATE_M: f64 = 0.005;
/// Epochs between which the drift is measured, decimal years.
const EPOCHS: [f64; 2] = [2010.0, 2020.0];
/// Frames tied to a plate, by the names of the EPSG dataset, for hints: where the boxes of
/// two plates overlap, the smaller box first.
const TIED_TO_A_PLATE: [&str; 6] =
    ["ETRF2014", "GDA2020", "KSA-GRF17", "NAD83(PA11)", "NAD83(2011)", "NAD83(CSRS)v7"];

/// A frame in which the ground rests.
#[derive(Clone, Debug, PartialEq)]
pub struct RestingFrame(Datum);

impl RestingFrame {
    /// Looks a frame up and measures its drift at the first of the places.
    pub fn of(frame: &ReferenceFrame, near: &[GeoPoint]) -> Result<Self, Finding> {
        let datum = Datum::of(frame)?;
        match tie(&datum, near)? {
            Tie::Plate => Ok(Self(datum)),
            Tie::Nothing(why) => Err(drifts(&datum, why, near)),
        }
    }

    /// Its name.
    pub fn name(&self) -> &str {
        &self.0.name
    }

    /// Whether coordinates are in this very frame.
    pub fn is(&self, datum: &Datum) -> bool {
        self.0.proj == datum.proj
    }

    /// The finding at the place where the job names it.
    pub(super) fn tell(&self, finding: Finding) -> Finding {
        self.0.tell(finding)
    }

    /// The frame with an epoch, which PROJ wants of those that its register calls dynamic.
    pub(super) fn at(&self, epoch: Option<f64>) -> Datum {
        self.0.at(epoch)
    }
}

/// What a frame is tied to.
enum Tie {
    Plate,
    /// How that is known.
    Nothing(String),
}

fn tie(frame: &Datum, near: &[GeoPoint]) -> Result<Tie, Finding> {
    if frame.is_global {
        return Ok(Tie::Nothing(format!("{} is a frame for the whole Earth, tied to no plate", frame.name)));
    }
    let Some(&place) = near.first() else { return Ok(Tie::Plate) };
    let drift_m = drift_m_per_year(frame, place)?;
    if drift_m < SLOWEST_PLATE_M {
        return Ok(Tie::Nothing(format!(
            "{} moves by {:.1} mm a year through ITRF2014 here, slower than any plate",
            frame.name,
            drift_m * 1000.0
        )));
    }
    Ok(Tie::Plate)
}

/// How far a place that stands still in ITRF2014 moves in a frame, metres a year.
fn drift_m_per_year(frame: &Datum, place: GeoPoint) -> Result<f64, Finding> {
    let [early, late] = EPOCHS.map(|epoch| in_frame(frame, place, epoch));
    Ok(distance_m(&frame.geodesic(), early?, late?) / (EPOCHS[1] - EPOCHS[0]))
}

/// A place of ITRF2014 in the frame at an epoch.
fn in_frame(frame: &Datum, place: GeoPoint, epoch: f64) -> Result<GeoPoint, Finding> {
    let unknown = || Finding::error("frame/unknown", "PROJ has no ITRF2014");
    let itrf = Datum::of(&named_frame("ITRF2014").ok_or_else(unknown)?)?;
    let shift = DatumShift::between(&itrf.at(Some(epoch)), &frame.at(Some(epoch)), None, &[place]);
    shift.and_then(|shift| shift.apply(place)).map_err(|_| no_drift_known(frame))
}

/// A frame by way of which PROJ gets from one to the other at these places, if one of those in common
/// use does.
pub(super) fn known_for(from: &Datum, to: &Datum, near: &[GeoPoint]) -> Option<RestingFrame> {
    resting_near(near).find(|ground| DatumShift::between(from, to, Some(ground), near).is_ok())
}

fn resting_near(near: &[GeoPoint]) -> impl Iterator<Item = RestingFrame> {
    let known = TIED_TO_A_PLATE.iter().filter_map(|name| Datum::of(&named_frame(name)?).ok());
    known.filter(|datum| matches!(tie(datum, near), Ok(Tie::Plate))).map(RestingFrame)
}

fn drifts(frame: &Datum, why: String, near: &[GeoPoint]) -> Finding {
    let hint = match resting_near(near).next() {
        Some(ground) => format!("name a frame that is tied to the field's plate: `\"{}\"`", ground.name()),
        None => "leave `ground` out, and state one epoch in all frames of the job".to_owned(),
    };
    frame.tell(Finding::error("frame/ground-drifts", why).with_hint(hint))
}

fn no_drift_known(frame: &Datum) -> Finding {
    let finding = Finding::error(
        "frame/no-transformation",
        format!("PROJ knows no transformation from ITRF2014 to {} for this place", frame.name),
    );
    frame.tell(finding.with_hint("name a frame that is tied to the field's plate, or leave `ground` out"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::frame::longitude_difference;

    const EUROPE: GeoPoint = GeoPoint { longitude: 8.0, latitude: 50.0 };
    const AUSTRALIA: GeoPoint = GeoPoint { longitude: 145.0, latitude: -35.0 };
    const NORTH_AMERICA: GeoPoint = GeoPoint { longitude: -100.0, latitude: 40.0 };
    const PACIFIC: GeoPoint = GeoPoint { longitude: -156.0, latitude: 20.0 };
    const OCEAN: GeoPoint = GeoPoint { longitude: -27.4, latitude: 48.63 };

    fn frame(name: &str) -> ReferenceFrame {
        named_frame(name).unwrap_or_else(|| panic!("no frame {name}"))
    }

    fn datum(name: &str, epoch: Option<f64>) -> Datum {
        Datum::of(&ReferenceFrame { epoch, ..frame(name) }).unwrap()
    }

    fn resting(name: &str, place: GeoPoint) -> RestingFrame {
        RestingFrame::of(&frame(name), &[place]).unwrap()
    }

    fn refused(name: &str, place: GeoPoint) -> Finding {
        RestingFrame::of(&frame(name), &[place]).err().unwrap_or_else(|| panic!("{name} passes"))
    }

    /// Metres east and north from one place to another nearby, on a sphere that is as large as the
    /// ellipsoid to three digits.
    fn metres(from: GeoPoint, to: GeoPoint) -> [f64; 2] {
        let per_degree = EARTH_M.to_radians();
        let east = longitude_difference(to.longitude, from.longitude) * from.latitude.to_radians().cos();
        [east * per_degree, (to.latitude - from.latitude) * per_degree]
    }

    const EARTH_M: f64 = 6_371_000.0;

    /// Metres a year, east and north, of a place that turns by so many milliarcseconds a year about
    /// the three axes of ITRF2014.
    fn plate_velocity(mas_per_year: [f64; 3], place: GeoPoint) -> [f64; 2] {
        let [x, y, z] = mas_per_year.map(|mas| (mas / 3_600_000.0).to_radians() * EARTH_M);
        let (sin_phi, cos_phi) = place.latitude.to_radians().sin_cos();
        let (sin_lambda, cos_lambda) = place.longitude.to_radians().sin_cos();
        [z * cos_phi - (x * cos_lambda + y * sin_lambda) * sin_phi, x * sin_lambda - y * cos_lambda]
    }

    /// ITRF2014 plate motion model: Altamimi and others 2017, table 1, as the file `ITRF2014` of PROJ
    /// gives it. Frames that were tied to their plate by the same years of observation agree with it
    /// to 0.1 mm a year; those of North America and the Pacific rest on older models, to 2 mm.
    #[test]
    fn frames_of_a_plate_drift_as_the_plate_moves() {
        let plates = [
            ("ETRF2014", EUROPE, [-0.085, -0.531, 0.770], 0.1e-3),
            ("GDA2020", AUSTRALIA, [1.510, 1.182, 1.215], 0.2e-3),
            ("NAD83(2011)", NORTH_AMERICA, [0.024, -0.694, -0.063], 2e-3),
            ("NAD83(PA11)", PACIFIC, [-0.409, 1.047, -2.169], 2e-3),
        ];
        for (name, place, turning, tolerance_m) in plates {
            let model = plate_velocity(turning, place);
            let [early, late] = EPOCHS.map(|epoch| in_frame(&datum(name, None), place, epoch).unwrap());
            // What stands still in ITRF2014 is left behind by the plate.
            let drift = metres(late, early).map(|metres| metres / (EPOCHS[1] - EPOCHS[0]));
            let apart = (drift[0] - model[0]).hypot(drift[1] - model[1]);
            assert!(apart < tolerance_m, "{name}: {drift:?} {model:?}");
            resting(name, place);
        }
    }

    #[test]
    fn frames_for_the_whole_earth_are_refused() {
        for name in ["ITRF2014", "ITRF93", "ITRF2020", "WGS 84", "WGS 84 (G2139)"] {
            let finding = refused(name, EUROPE);
            assert_eq!(finding.rule, "frame/ground-drifts", "{name}");
            assert!(finding.hint.unwrap().contains("\"ETRF2014\""));
        }
        assert!(refused("ITRF2014", AUSTRALIA).hint.unwrap().contains("\"GDA2020\""));
        assert!(refused("ITRF2014", OCEAN).hint.unwrap().contains("leave `ground` out"));
    }

    /// The EPSG dataset: UCS-2000 is taken from ITRF2000 at 2005, and known by a transformation
    /// that does not turn with the plate.
    #[test]
    fn a_frame_of_one_country_that_moves_with_no_plate_is_refused() {
        let place = GeoPoint { longitude: 31.2, latitude: 47.8 };
        let finding = refused("UCS-2000", place);
        assert_eq!(finding.rule, "frame/ground-drifts");
        assert!(finding.message.contains("slower than any plate"), "{}", finding.message);
    }

    #[test]
    fn a_frame_of_another_continent_is_refused() {
        assert_eq!(refused("GDA2020", EUROPE).rule, "frame/no-transformation");
        assert_eq!(refused("ETRF2014", AUSTRALIA).rule, "frame/no-transformation");
    }

    /// EUREF Technical Note 1 (2018): ITRF2014 to ETRF2014 turns by 0.085, 0.531 and -0.770 mas a
    /// year, without translation; the ground turns the other way.
    #[test]
    fn a_field_moves_with_its_plate_from_epoch_to_epoch() {
        let (from, to) = (datum("ITRF2014", Some(2015.0)), datum("ITRF2014", Some(2027.3)));
        let ground = resting("ETRF2014", EUROPE);
        let shift = DatumShift::between(&from, &to, Some(&ground), &[EUROPE]).unwrap();
        let moved = metres(EUROPE, shift.apply(EUROPE).unwrap());
        let expected = plate_velocity([-0.085, -0.531, 0.770], EUROPE).map(|velocity| velocity * 12.3);
        assert!(moved[0].hypot(moved[1]) > 0.3, "{moved:?}");
        for (moved, expected) in moved.into_iter().zip(expected) {
            // The sphere is off by three thousandths of 0.3 m at most.
            assert!((moved - expected).abs() < 1e-3, "{moved} {expected}");
        }
    }

    #[test]
    fn coordinates_of_the_ground_frame_need_no_epoch() {
        let ground = resting("ETRF2014", EUROPE);
        let shift = |from: &Datum, to: &Datum| DatumShift::between(from, to, Some(&ground), &[EUROPE]);
        let late = datum("ITRF2014", Some(2027.3));
        let by_epoch = shift(&datum("ETRF2014", Some(2027.3)), &late).unwrap().apply(EUROPE).unwrap();
        for epoch in [None, Some(1989.0)] {
            let here = datum("ETRF2014", epoch);
            let there = shift(&here, &late).unwrap().apply(EUROPE).unwrap();
            assert!(metres(by_epoch, there).iter().all(|metres| metres.abs() < 1e-6), "{epoch:?}");
            let back = shift(&late, &here).unwrap().apply(there).unwrap();
            assert!(metres(EUROPE, back).iter().all(|metres| metres.abs() < 1e-6), "{epoch:?}");
        }
        let [early, today] = [1989.0, 2027.3].map(|epoch| datum("ETRF2014", Some(epoch)));
        assert_eq!(shift(&early, &today).unwrap().apply(EUROPE).unwrap(), EUROPE);
    }

    #[test]
    fn one_epoch_needs_no_way_by_the_ground() {
        let (from, to) = (datum("ITRF2008", Some(2020.0)), datum("ITRF2014", Some(2020.0)));
        let ground = resting("ETRF2014", EUROPE);
        let by_ground = DatumShift::between(&from, &to, Some(&ground), &[EUROPE]).unwrap();
        let direct = DatumShift::between(&from, &to, None, &[EUROPE]).unwrap();
        assert_eq!(by_ground.apply(EUROPE).unwrap(), direct.apply(EUROPE).unwrap());
    }

    /// The EPSG dataset: ITRF2014 to GDA2020 is good to 3 cm.
    #[test]
    fn the_accuracies_of_both_legs_add_up() {
        let (from, to) = (datum("ITRF2014", Some(2015.0)), datum("ITRF2014", Some(2027.3)));
        let ground = resting("GDA2020", AUSTRALIA);
        let shift = DatumShift::between(&from, &to, Some(&ground), &[AUSTRALIA]).unwrap();
        assert!((shift.accuracy_m().unwrap() - 0.06).abs() < 1e-9, "{:?}", shift.accuracy_m());
    }

    #[test]
    fn differing_epochs_are_told_with_a_ground_that_would_pass() {
        let (from, to) = (datum("ITRF2014", Some(2015.0)), datum("ITRF2014", Some(2027.3)));
        let told = |place| DatumShift::between(&from, &to, None, &[place]).err().unwrap();
        let here = [
            (EUROPE, "ETRF2014"),
            (AUSTRALIA, "GDA2020"),
            (NORTH_AMERICA, "NAD83(2011)"),
            (PACIFIC, "NAD83(PA11)"),
        ];
        for (place, name) in here {
            let hint = told(place).hint.unwrap();
            assert!(hint.contains(&format!("ground = \"{name}\"")), "{hint}");
        }
        let hint = told(OCEAN).hint.unwrap();
        assert!(hint.contains("\"ITRF2014@2027.3\""), "no frame is known to rest there: {hint}");
    }
}
