//! The field in metres: the frame, the soil to work, the fence, the keep-outs.
//!
//! In: the checked job. Out: every field on the ground in one frame, with its area found by two
//! independent roads, and the base station's baseline. Fence and grown keep-outs err to the safe
//! side: an arc is replaced by chords that leave the machine less room, never more.

use crate::check::{BaseStation, Field, Job, Layout};
use crate::diagnostic::{Finding, Severity, Told};
use crate::geometry::Point;
use datum::{Motion, stated};
use geo::MultiPolygon;
use ground::Road;
use lanewright_schema::quantity::{Area, GeoPoint, Length};

pub mod datum;
#[cfg(test)]
pub(crate) mod example;
pub mod frame;
mod ground;
pub mod inverse;
pub mod resting;
mod zones;

pub use datum::{Datum, DatumShift};
pub use frame::{FieldFrame, Projector};
pub use inverse::{AlongLine, InverseProjection};
pub use resting::RestingFrame;
pub use zones::{SiteZone, SiteZones};

/// The whole job on the ground, in one frame.
#[derive(Clone, Debug)]
pub struct Site {
    /// The frame of every metre below.
    pub frame: FieldFrame,
    /// The fields, in the job's order.
    pub fields: Vec<FieldSite>,
    /// The base station seen from the fields.
    pub baseline: Option<Baseline>,
}

impl Site {
    /// The place of a point on the ground of any of the fields.
    pub fn to_geo(&self, point: Point) -> GeoPoint {
        let off_middle = |field: &&FieldSite| field.inverse.off_middle(point);
        let nearest = self.fields.iter().min_by(|a, b| off_middle(a).total_cmp(&off_middle(b)));
        nearest.map_or(self.frame.origin, |field| field.inverse.to_geo(point))
    }
}

/// One field on the ground.
#[derive(Clone, Debug)]
pub struct FieldSite {
    /// Its name, unique in the job.
    pub name: String,
    /// As surveyed, holes included.
    pub boundary: MultiPolygon,
    /// Where body and antennas may be: the boundary less its margin, less the grown keep-outs.
    pub fence: MultiPolygon,
    /// The keep-outs.
    pub keep_outs: Vec<SiteKeepOut>,
    /// Where the machine starts and ends.
    pub home: Option<Point>,
    /// How its lanes are to run.
    pub layout: Layout<Point>,
    /// How closely its parts are sown, as drawn.
    pub zones: SiteZones,
    /// The ways in.
    pub entrances: Vec<(String, Point)>,
    /// Where the seed stands that hoppers are filled with on the way; none where a person carries it in.
    pub refill_points: Vec<(String, Point)>,
    /// Area and perimeter by two independent roads.
    pub size: FieldSize,
    /// From ground metres to longitude and latitude, on the field and a little beyond.
    pub inverse: InverseProjection,
}

/// A keep-out on the ground.
#[derive(Clone, Debug)]
pub struct SiteKeepOut {
    /// Its name.
    pub name: String,
    /// The thing itself.
    pub shape: MultiPolygon,
    /// The thing grown by its clearance.
    pub grown: MultiPolygon,
    /// The clearance.
    pub clearance: Length,
}

/// Area and perimeter, on the ellipsoid and in the plane.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct FieldSize {
    /// Geodesic area.
    pub geodesic_area: Area,
    /// Area in the field frame.
    pub plane_area: Area,
    /// Geodesic perimeter, holes included.
    pub geodesic_perimeter: Length,
    /// Perimeter in the field frame.
    pub plane_perimeter: Length,
}

/// The line from the base station to the fields.
#[derive(Clone, Debug, PartialEq)]
pub struct Baseline {
    /// The base station's name.
    pub name: String,
    /// Where it stands, in the output's frame.
    pub at: GeoPoint,
    /// Its height above the ellipsoid.
    pub height: Length,
    /// Geodesic distance to the farthest corner of each field, in the job's order.
    pub to_fields: Vec<Length>,
    /// The longest of them.
    pub length: Length,
    /// Expected horizontal 1-sigma there: 8 mm + 1 ppm.
    pub sigma: Length,
}

/// Beyond this the corrections of a single base station are no longer taken for granted: common
/// practice, no source.
pub const LONG_BASELINE: Length = Length::m(10_000.0);
/// A datum transformation coarser than this is told.
const COARSE_M: f64 = 0.05;

/// Puts a job on the ground.
pub fn site(job: &Job) -> Told<Site> {
    told(job, |output, corners| {
        frame::field_frame(output, corners, job.frames.height)
            .map_err(|finding| at_farthest_field(finding, output, job))
    })
}

/// Puts a job on the ground in the field frame of an earlier plan, given by its PROJ string.
pub fn site_in_frame(job: &Job, proj: &str) -> Told<Site> {
    told(job, |output, _| frame::earlier_frame(output, proj))
}

fn told(job: &Job, frame: impl FnOnce(&Datum, &[GeoPoint]) -> Result<FieldFrame, Finding>) -> Told<Site> {
    let mut findings = Vec::new();
    let value = build(job, frame, &mut findings).unwrap_or_else(|finding| {
        findings.push(finding);
        None
    });
    let refused = findings.iter().any(|f| f.severity == Severity::Error);
    Told { value: value.filter(|_| !refused), findings }
}

fn build(
    job: &Job,
    frame: impl FnOnce(&Datum, &[GeoPoint]) -> Result<FieldFrame, Finding>,
    findings: &mut Vec<Finding>,
) -> Result<Option<Site>, Finding> {
    let survey = Datum::of(&job.frames.survey)?;
    let output = Datum::of(&job.frames.output)?;
    let surveyed: Vec<GeoPoint> =
        job.fields.iter().flat_map(|f| f.parts.iter().flat_map(|p| p.exterior.iter().copied())).collect();
    let ground = job.frames.ground.as_ref().map(|frame| RestingFrame::of(frame, &surveyed)).transpose()?;
    let shift = DatumShift::between(&survey, &output, ground.as_ref(), &surveyed)?;
    let corners = surveyed.iter().map(|&p| shift.apply(p)).collect::<Result<Vec<_>, _>>()?;
    findings.extend(frame_notes(&survey, &output, ground.as_ref(), &shift));

    let frame = frame(&output, &corners)?;
    let projector = Projector::new(&frame)?;
    let road = Road { shift, ground: ground.as_ref(), projector, datum: &output, frame: &frame };
    let fields: Vec<FieldSite> =
        job.fields.iter().filter_map(|field| ground::field_site(&road, field, findings)).collect();
    let baseline = job.base_station.as_ref().map(|base| baseline(job, base, &road)).transpose()?;
    if let (Some(baseline), Some(base)) = (&baseline, &job.base_station) {
        findings.extend(receiver_shift(job, &road)?);
        findings.extend(long_baseline(baseline, base));
    }
    Ok(Some(Site { frame, fields, baseline }))
}

/// The finding at the field that lies farthest from the job's first.
fn at_farthest_field(finding: Finding, output: &Datum, job: &Job) -> Finding {
    let corner = |field: &Field| field.parts.first().and_then(|part| part.exterior.first()).copied();
    let away_m = |field: &&Field| match (job.fields.first().and_then(corner), corner(field)) {
        (Some(first), Some(corner)) => frame::distance_m(&output.geodesic(), first, corner),
        _ => 0.0,
    };
    let farthest = job.fields.iter().max_by(|a, b| away_m(a).total_cmp(&away_m(b)));
    finding.with_span_if(farthest.map(|field| &field.span), "this field")
}

fn baseline(job: &Job, base: &BaseStation, road: &Road) -> Result<Baseline, Finding> {
    let datum = Datum::of(&job.frames.base_station)?;
    let at = DatumShift::between(&datum, road.datum, road.ground, &[base.at])?.apply(base.at)?;
    let to_fields = job
        .fields
        .iter()
        .map(|field| ground::farthest_corner_m(road, field, at).map(Length::m))
        .collect::<Result<Vec<_>, _>>()?;
    let length = to_fields.iter().copied().fold(Length::ZERO, Length::max);
    Ok(Baseline {
        name: base.name.clone(),
        at,
        height: base.height,
        to_fields,
        length,
        sigma: horizontal_sigma(length),
    })
}

/// The horizontal 1-sigma of a single-baseline RTK position: 8 mm and one millionth of the
/// baseline, added as the makers of receivers state it (checks I1 and I2).
pub fn horizontal_sigma(baseline: Length) -> Length {
    Length::mm(8.0) + baseline * 1e-6
}

fn long_baseline(baseline: &Baseline, base: &BaseStation) -> Option<Finding> {
    if baseline.length <= LONG_BASELINE {
        return None;
    }
    Some(
        Finding::warning(
            "base-station/far",
            format!(
                "the farthest corner lies {:.1} km from base station `{}`; expect {:.0} mm (1 sigma) there at best",
                baseline.length.to_m() / 1000.0,
                base.name,
                baseline.sigma.to_mm()
            ),
        )
        .with_span(base.span.clone(), "this base station")
        .with_hint("use a base station within 10 km of the field"),
    )
}

fn frame_notes(
    survey: &Datum,
    output: &Datum,
    ground: Option<&RestingFrame>,
    shift: &DatumShift,
) -> Vec<Finding> {
    let mut notes = Vec::new();
    if let Motion::Ensemble { accuracy_m } = output.motion {
        let note = Finding::note(
            "frame/ensemble",
            format!(
                "{} is a group of realisations that agree to {accuracy_m:.1} m; positions hold to centimetres only against the same base station",
                output.name
            ),
        );
        notes.push(output.tell(note));
    }
    if output.lacks_epoch() && !ground.is_some_and(|ground| ground.is(output)) {
        let warning = Finding::warning(
            "frame/no-epoch",
            format!(
                "positions leave in {}, which drifts by centimetres a year, without their epoch",
                output.name
            ),
        )
        .with_hint(format!("state it, such as \"{}@2026.3\"", output.name));
        notes.push(output.tell(warning));
    }
    if let Some(accuracy_m) = shift.accuracy_m().filter(|&a| a > COARSE_M) {
        let by = ground.filter(|_| shift.goes_by_ground());
        let way = match by {
            Some(ground) => {
                format!("way from {} to {} through {}", stated(survey), stated(output), ground.name())
            }
            None => format!("transformation from {} to {}", survey.name, output.name),
        };
        let warning =
            Finding::warning("frame/coarse-shift", format!("the {way} is good to {accuracy_m:.2} m"))
                .with_hint("name the realisation that the coordinates are in, or one frame throughout");
        let coarse = if matches!(output.motion, Motion::Ensemble { .. }) { output } else { survey };
        notes.push(match by {
            Some(ground) => ground.tell(warning),
            None => coarse.tell(warning),
        });
    }
    notes
}

/// Tells when positions leave in another frame than the one that the receiver works in.
fn receiver_shift(job: &Job, road: &Road) -> Result<Option<Finding>, Finding> {
    let (output, origin) = (road.datum, road.frame.origin);
    let receiver = Datum::of(&job.frames.base_station)?;
    if receiver.proj == output.proj && receiver.epoch == output.epoch {
        return Ok(None);
    }
    let there = DatumShift::between(output, &receiver, road.ground, &[origin])?.apply(origin)?;
    let apart_m = frame::distance_m(&output.geodesic(), origin, there);
    let warning = Finding::warning(
        "frame/not-the-receivers",
        format!(
            "positions leave in {}, the base station works in {}: {apart_m:.3} m apart at this field",
            output.name, receiver.name
        ),
    )
    .with_hint("state the base station's frame as the output's, unless the receiver itself transforms");
    Ok(Some(output.tell(warning)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::check::{Entrance, KeepOut, KeepOutShape, ReferenceFrame, named_frame};
    use crate::diagnostic::Span;
    use crate::geometry::region;
    use example::{field, job, place, span};

    fn rules(job: &Job) -> Vec<(&'static str, Option<Span>)> {
        site(job).findings.into_iter().map(|f| (f.rule, f.span)).collect()
    }

    fn keep_out(shape: KeepOutShape, clearance_m: f64) -> KeepOut {
        KeepOut { name: "pond".into(), shape, clearance: Length::m(clearance_m), span: span(40) }
    }

    /// Reference check A11: area and perimeter by the polygon of `GeographicLib`.
    #[test]
    fn a_known_field_has_its_known_size() {
        let site = site(&job()).value.unwrap();
        let size = site.fields[0].size;
        assert!((size.geodesic_area.to_m2() - 119_616.083).abs() < 1e-2);
        assert!((size.plane_area.to_m2() - 119_616.083).abs() < 1e-2);
        assert!((size.geodesic_perimeter.to_m() - 1384.3098).abs() < 1e-3);
        assert!((size.plane_perimeter.to_m() - 1384.3098).abs() < 1e-3);
    }

    /// Reference checks I1 and I2.
    #[test]
    fn sigma_is_eight_millimetres_and_a_millionth_of_the_baseline() {
        for (km, mm) in [(5.0, 13.0), (10.0, 18.0), (30.0, 38.0)] {
            assert!((horizontal_sigma(Length::m(km * 1000.0)).to_mm() - mm).abs() < 1e-9);
        }
    }

    #[test]
    fn a_distant_base_station_is_a_warning_at_its_line() {
        let mut job = job();
        job.base_station.as_mut().unwrap().at = place(50.2, 8.0);
        assert!(rules(&job).contains(&("base-station/far", Some(span(10)))));
    }

    fn frame(name: &str, epoch: Option<f64>, line: usize) -> ReferenceFrame {
        ReferenceFrame { epoch, span: Some(span(line)), ..named_frame(name).unwrap() }
    }

    /// Surveyed in 2015, worked in 2027.
    fn of_two_epochs(ground: &str) -> Job {
        let mut job = job();
        job.frames.survey = frame("ITRF2014", Some(2015.0), 1);
        job.frames.base_station = frame("ITRF2014", Some(2027.3), 2);
        job.frames.output = frame("ITRF2014", Some(2027.3), 3);
        job.frames.ground = Some(frame(ground, None, 4));
        job
    }

    #[test]
    fn a_field_surveyed_years_ago_moves_with_its_plate() {
        let mut job = of_two_epochs("ETRF2014");
        assert_eq!(rules(&job), []);
        job.frames.ground = None;
        assert_eq!(rules(&job), [("frame/epochs-differ", Some(span(1)))]);
    }

    #[test]
    fn a_coarse_way_by_the_ground_is_told_where_the_ground_is_named() {
        let told = site(&of_two_epochs("ETRS89"));
        let coarse = told.findings.iter().find(|finding| finding.rule == "frame/coarse-shift").unwrap();
        assert_eq!(coarse.span, Some(span(4)));
        assert!(coarse.message.contains("through ETRS89"), "{}", coarse.message);
        assert!(told.value.is_some());
    }

    #[test]
    fn positions_may_leave_in_the_ground_frame_without_an_epoch() {
        let mut job = of_two_epochs("ETRF2014");
        job.frames.output = frame("ETRF2014", None, 3);
        assert_eq!(rules(&job), [("frame/not-the-receivers", Some(span(3)))]);
    }

    #[test]
    fn the_fence_keeps_its_margin_and_clearances() {
        let mut job = job();
        job.fields[0].keep_outs = vec![
            keep_out(KeepOutShape::Circle { centre: place(50.001, 8.002), radius: Length::m(0.3) }, 1.5),
            keep_out(
                KeepOutShape::Ring(vec![place(50.002, 8.003), place(50.0021, 8.003), place(50.0021, 8.0032)]),
                2.0,
            ),
        ];
        let site = site(&job).value.unwrap();
        let field = &site.fields[0];
        for corner in region::rings(&field.fence).flat_map(|r| r.0.iter()) {
            let edge = region::rings(&field.boundary)
                .map(|ring| geo::Distance::distance(&geo::Euclidean, &geo::Point(*corner), ring))
                .fold(f64::INFINITY, f64::min);
            assert!(edge >= 0.5 - 1e-5, "{edge}");
            for keep_out in &field.keep_outs {
                let away = geo::Distance::distance(&geo::Euclidean, &geo::Point(*corner), &keep_out.shape);
                assert!(away >= keep_out.clearance.to_m() - 1e-5, "{away}");
            }
        }
    }

    #[test]
    fn what_lies_outside_is_refused_at_its_line() {
        let mut home = job();
        home.fields[0].home = Some(place(50.01, 8.0));
        assert_eq!(rules(&home).last().unwrap(), &("home/outside-fence", Some(span(31))));
        assert!(site(&home).value.is_none());

        let mut pond = job();
        let circle = KeepOutShape::Circle { centre: place(50.01, 8.0), radius: Length::m(5.0) };
        pond.fields[0].keep_outs = vec![keep_out(circle, 2.0)];
        assert_eq!(rules(&pond).last().unwrap(), &("keep-out/outside", Some(span(40))));

        let mut entrance = job();
        entrance.fields[0].entrances = vec![Entrance { name: "gate".into(), at: place(50.1, 8.0) }];
        assert_eq!(rules(&entrance).last().unwrap().0, "entrance/far");
        for (south_of_the_edge, rule) in [(0.0, "entrance/outside-fence"), (0.0002, "entrance/off-field")] {
            entrance.fields[0].entrances[0].at = place(50.0 - south_of_the_edge, 8.002);
            assert_eq!(rules(&entrance).last().unwrap().0, rule);
            assert!(site(&entrance).value.is_some(), "{rule} refuses nothing");
        }
    }

    #[test]
    fn what_leaves_no_field_is_refused_at_its_line() {
        let mut margin = job();
        margin.fields[0].fence_margin = Length::m(200.0);
        let finding = site(&margin).findings.pop().unwrap();
        assert_eq!((finding.rule, finding.span), ("field/margin-leaves-nothing", Some(span(32))));
        // Polygon A is 333.7 m from south to north (A12), so half of that is the widest inset.
        assert!(finding.message.contains("166.8"), "{}", finding.message);

        let mut lake = job();
        let circle = KeepOutShape::Circle { centre: place(50.0015, 8.0025), radius: Length::m(300.0) };
        lake.fields[0].keep_outs = vec![keep_out(circle, 2.0)];
        assert_eq!(rules(&lake).last().unwrap(), &("keep-out/swallows-field", Some(span(40))));

        let mut sliver = job();
        sliver.fields[0].parts[0].exterior = vec![place(50.0, 8.0), place(50.0, 8.005), place(50.0, 8.002)];
        assert_eq!(rules(&sliver).last().unwrap(), &("field/zero-area", Some(span(30))));
    }

    #[test]
    fn a_field_in_pieces_is_told_with_their_areas() {
        let mut job = job();
        job.fields[0].home = None;
        let across =
            vec![place(49.999, 8.002), place(50.004, 8.002), place(50.004, 8.0021), place(49.999, 8.0021)];
        job.fields[0].keep_outs = vec![keep_out(KeepOutShape::Ring(across), 0.0)];
        let told = site(&job);
        assert_eq!(told.value.unwrap().fields[0].fence.0.len(), 2);
        assert_eq!(told.findings.last().unwrap().rule, "field/in-pieces");
    }

    #[test]
    fn fields_too_far_apart_are_told_at_the_farther() {
        let mut job = job();
        let mut other = field();
        other.name = "Other".into();
        other.parts[0].exterior.iter_mut().for_each(|corner| corner.latitude += 0.4);
        other.span = span(50);
        job.fields.push(other);
        assert_eq!(rules(&job).last().unwrap(), &("field/far-apart", Some(span(50))));
    }

    #[test]
    fn every_field_of_a_job_is_told_at_once() {
        let mut job = job();
        let mut other = field();
        other.name = "Other".into();
        other.home = Some(place(50.01, 8.0));
        job.fields[0].fence_margin = Length::m(200.0);
        job.fields.push(other);
        let errors = site(&job).findings.iter().filter(|f| f.severity == Severity::Error).count();
        assert_eq!(errors, 2);
    }
}
