//! From a survey to a field that can be planned: one outline chosen, its positions taken to the
//! frame that is wanted, what a receiver or a drawing left in it mended, everything told.
//!
//! In: a [`Survey`] as read, and what is [`Asked`] of it. Out: a [`FieldSurvey`], whose rings are
//! simple, or every reason why there is none. What was changed is told as findings with place and
//! size. A job's boundary and the command `survey` come the same way.

use crate::check::{Findings, GeoPolygon, ReferenceFrame, ring as judge};
use crate::diagnostic::{Finding, Severity, Span, Told};
use crate::geometry::{Point, region};
use crate::rules;
use geo::{MultiPolygon, Polygon};
use lanewright_schema::job::{Place, Ring, Written};
use lanewright_schema::quantity::{GeoPoint, Length};
use lanewright_schema::survey::{Geometry, Shape, Survey, Vertex};
use std::sync::Arc;

mod choose;
mod frame;
mod mend;
pub mod plane;
mod points;
mod raster;
pub mod report;
mod walk;
mod zones;

pub use choose::{Candidate, Choice, candidates};
pub use mend::{Corner, Crossings};
pub use raster::{VALUE, classed};
pub use walk::Quality;
pub use zones::{SurveyedZone, zones};

use choose::{Outline, choose};
use frame::Georeference;
use mend::{Change, ChangeKind};
use points::Role;

/// Spikes, slits and overlaps that are narrower are mended: two and a half times the 2 cm that a
/// fixed solution is good for at a walk.
pub const TOLERANCE: Length = Length::cm(5.0);
/// A hole may reach out of its boundary by this much all round, as digitised lines do, metres.
const REACHING_OUT_M: f64 = 0.05;

/// A smaller hole is a slip of drawing, square metres.
const SMALLEST_HOLE_M2: f64 = 0.01;
/// At most so many changes of one kind are told one by one.
const TOLD: usize = 5;
/// Ways in further from the field are another field's, metres.
const ENTRANCE_REACH_M: f64 = 50.0;

/// What is asked of a survey.
#[derive(Clone, Debug)]
pub struct Asked {
    /// Which shape.
    pub choice: Choice,
    /// The frame of its positions, where the file does not say it or says it wrong.
    pub frame: Option<String>,
    /// The frame wanted.
    pub into: Option<ReferenceFrame>,
    /// What is narrower is mended.
    pub tolerance: Length,
    /// What becomes of a boundary that crosses itself.
    pub crossings: Crossings,
    /// The poorest fixes taken.
    pub quality: Quality,
}

impl Default for Asked {
    fn default() -> Self {
        Self {
            choice: Choice::Only,
            frame: None,
            into: None,
            tolerance: TOLERANCE,
            crossings: Crossings::Refused,
            quality: Quality::default(),
        }
    }
}

/// A surveyed field.
#[derive(Clone, Debug)]
pub struct FieldSurvey {
    /// What it is called.
    pub names: Vec<String>,
    /// What the file says of it.
    pub attributes: Vec<(String, String)>,
    /// The frame of every place.
    pub frame: ReferenceFrame,
    /// How the file's own frame is called.
    pub stated_frame: String,
    /// How many corners were read.
    pub corners_read: usize,
    /// Its parts: simple rings, not closed.
    pub parts: Vec<GeoPolygon>,
    /// What stands on it.
    pub obstacles: Vec<Obstacle>,
    /// The ways in.
    pub entrances: Vec<(String, GeoPoint)>,
    /// Its first corner, had easting and northing been exchanged.
    pub exchanged: Option<GeoPoint>,
}

/// Something to stay out of.
#[derive(Clone, Debug, PartialEq)]
pub struct Obstacle {
    /// Its name.
    pub name: String,
    /// What it covers.
    pub shape: ObstacleShape,
    /// How far to stay from it, where the survey says so.
    pub clearance: Option<Length>,
}

/// What an obstacle covers.
#[derive(Clone, Debug, PartialEq)]
pub enum ObstacleShape {
    /// A circle.
    Circle {
        /// Its middle.
        centre: GeoPoint,
        /// Its radius, above zero.
        radius: Length,
    },
    /// A simple ring, not closed.
    Ring(Vec<GeoPoint>),
}

/// The field that a survey means.
pub fn field(survey: &Survey, asked: &Asked) -> Told<FieldSurvey> {
    let mut findings = Vec::new();
    let value = build(survey, asked, &mut findings).unwrap_or_else(|finding| {
        findings.push(finding);
        None
    });
    let refused = findings.iter().any(|finding| finding.severity == Severity::Error);
    Told { value: value.filter(|_| !refused), findings }
}

fn build(
    survey: &Survey,
    asked: &Asked,
    findings: &mut Vec<Finding>,
) -> Result<Option<FieldSurvey>, Finding> {
    let candidates = candidates(survey);
    let chosen = choose(&candidates, &asked.choice)?;
    let outlines = vertices(&chosen.outline, asked.quality, findings)?;
    let sample: Vec<Vertex> = outlines.iter().flatten().flatten().take(64).cloned().collect();
    let georeference =
        frame::georeference(survey, asked.frame.as_deref(), asked.into.as_ref(), &sample, findings)?;
    let corners_read = outlines.iter().flatten().map(Vec::len).sum();
    let reader = Reader { survey, asked, georeference };
    let Some(parts) = reader.parts(&chosen.outline, outlines, findings)? else { return Ok(None) };
    let obstacles = reader.obstacles(&parts, findings);
    let entrances = reader.entrances(&parts);
    let exchanged = sample
        .first()
        .and_then(|vertex| reader.georeference.place(&Vertex { x: vertex.y, y: vertex.x, bytes: 0..0 }));
    Ok(Some(FieldSurvey {
        names: chosen.names.clone(),
        attributes: chosen.attributes.clone(),
        frame: reader.georeference.frame,
        stated_frame: reader.georeference.stated,
        corners_read,
        parts,
        obstacles,
        entrances,
        exchanged,
    }))
}

/// Every outline as polygons, walked ones as a single ring.
fn vertices(
    outline: &Outline,
    quality: Quality,
    findings: &mut Vec<Finding>,
) -> Result<Vec<Vec<Vec<Vertex>>>, Finding> {
    Ok(match outline {
        Outline::Drawn(polygons) => polygons.clone(),
        Outline::Walked(line) | Outline::Corners(line) => vec![vec![line.clone()]],
        Outline::Fixes(fixes) => {
            let good = walk::good_enough(fixes, quality, findings)?;
            vec![vec![good.into_iter().map(|fix| fix.vertex.clone()).collect()]]
        }
    })
}

struct Reader<'s> {
    survey: &'s Survey,
    asked: &'s Asked,
    georeference: Georeference,
}

impl Reader<'_> {
    fn parts(
        &self,
        outline: &Outline,
        polygons: Vec<Vec<Vec<Vertex>>>,
        findings: &mut Vec<Finding>,
    ) -> Result<Option<Vec<GeoPolygon>>, Finding> {
        let mut placed_polygons = Vec::new();
        for rings in polygons {
            let mut placed = Vec::new();
            for ring in rings {
                let corners = self.corners(ring)?;
                placed.push(match outline {
                    Outline::Corners(_) => corners,
                    Outline::Drawn(_) => walk::closed(corners, findings)?,
                    Outline::Walked(_) | Outline::Fixes(_) => walk::ring(corners, findings)?,
                });
            }
            placed_polygons.push(placed);
        }
        without_slivers(&mut placed_polygons, findings);
        let mut parts = Vec::new();
        let mut sound = true;
        for placed in placed_polygons {
            match self.mending(&judge::BOUNDARY, self.asked.crossings).polygon(placed, findings) {
                Some(polygons) => parts.extend(polygons),
                None => sound = false,
            }
        }
        Ok(sound.then_some(parts))
    }

    fn mending(&self, rules: &'static judge::Rules, crossings: Crossings) -> Mending<'_> {
        let (file, tolerance) = (&self.survey.file, self.asked.tolerance);
        Mending { file, tolerance, crossings, rules, whole: None }
    }

    fn corners(&self, ring: Vec<Vertex>) -> Result<Vec<Corner>, Finding> {
        ring.into_iter()
            .map(|vertex| {
                let bytes = vertex.bytes.start as usize..vertex.bytes.end as usize;
                match self.georeference.place(&vertex) {
                    Some(at) => Ok(Corner { at, bytes }),
                    None => Err(no_place(&vertex, &self.survey.file, bytes)),
                }
            })
            .collect()
    }

    fn obstacles(&self, parts: &[GeoPolygon], findings: &mut Vec<Finding>) -> Vec<Obstacle> {
        let mut obstacles = Vec::new();
        for shape in self.survey.shapes.iter().filter(|shape| points::role(shape) == Role::Obstacle) {
            let clearance = points::clearance_m(shape).map(Length::m);
            let name = points::title(shape);
            let found = match &shape.geometry {
                Geometry::Point(vertex) => self.circle(shape, vertex, &name, findings).into_iter().collect(),
                Geometry::Polygons(polygons) => self.rings(polygons, findings),
                Geometry::Line(_) | Geometry::Fixes(_) | Geometry::Grid(_) => vec![],
            };
            let near = found.into_iter().filter(|shape| touches(shape, parts));
            obstacles.extend(near.map(|shape| Obstacle { name: name.clone(), shape, clearance }));
        }
        obstacles
    }

    fn circle(
        &self,
        shape: &Shape,
        vertex: &Vertex,
        name: &str,
        findings: &mut Vec<Finding>,
    ) -> Option<ObstacleShape> {
        let centre = self.georeference.place(vertex)?;
        let Some(radius_m) = points::radius_m(shape) else {
            findings.push(
                rules::finding(
                    "survey/obstacle-without-radius",
                    format!("the survey gives no radius of the obstacle `{name}`"),
                )
                .with_place(centre)
                .with_hint("give it in a column or property `radius`, in metres, or behind its code, as in `pole 0.4`"),
            );
            return None;
        };
        Some(ObstacleShape::Circle { centre, radius: Length::m(radius_m) })
    }

    fn rings(&self, polygons: &[Vec<Vec<Vertex>>], findings: &mut Vec<Finding>) -> Vec<ObstacleShape> {
        let outsides = polygons.iter().filter_map(|rings| self.corners(rings.first()?.clone()).ok());
        let mended = outsides
            .filter_map(|ring| self.mending(&judge::OBSTACLE, Crossings::Cut).polygon(vec![ring], findings));
        mended.flatten().map(|polygon| ObstacleShape::Ring(polygon.exterior)).collect()
    }

    fn entrances(&self, parts: &[GeoPolygon]) -> Vec<(String, GeoPoint)> {
        let ways_in = self.survey.shapes.iter().filter(|shape| points::role(shape) == Role::Entrance);
        ways_in
            .filter_map(|shape| {
                let Geometry::Point(vertex) = &shape.geometry else { return None };
                let at = self.georeference.place(vertex)?;
                let here = parts.iter().any(|part| gap_m(at, part) < ENTRANCE_REACH_M);
                here.then(|| (points::title(shape), at))
            })
            .collect()
    }
}

/// Leaves out parts that no machine can work, beside a larger one.
fn without_slivers(polygons: &mut Vec<Vec<Vec<Corner>>>, findings: &mut Vec<Finding>) {
    let extents: Vec<[f64; 2]> =
        polygons.iter().map(|rings| rings.first().map_or([0.0; 2], |ring| extent(ring))).collect();
    let largest = extents.iter().map(|[area_m2, _]| *area_m2).fold(0.0, f64::max);
    let mut extents = extents.into_iter();
    polygons.retain(|rings| {
        let Some([area_m2, width_m]) = extents.next() else { return true };
        let stays = area_m2 == largest || (area_m2 >= 1.0 && width_m >= judge::SLIVER_M);
        if !stays {
            let mut finding = rules::finding(
                "survey/cut",
                format!("a part of {area_m2:.2} m², {width_m:.2} m wide, left out"),
            );
            finding.place = rings.first().and_then(|ring| ring.first()).map(|corner| corner.at);
            findings.push(finding);
        }
        stays
    });
}

fn no_place(vertex: &Vertex, file: &str, bytes: std::ops::Range<usize>) -> Finding {
    let finding = rules::finding(
        "job/no-such-place",
        format!("there is no place at {}, {} in the frame of the file", vertex.x, vertex.y),
    );
    if bytes.is_empty() { finding } else { finding.with_span(Span { file: file.to_owned(), bytes }, "") }
}

/// How far a place is from a polygon, metres; none inside.
fn gap_m(at: GeoPoint, polygon: &GeoPolygon) -> f64 {
    let plane = plane::Plane::about(at);
    let outline: Vec<[f64; 2]> = polygon.exterior.iter().map(|&corner| plane.metres(corner)).collect();
    if plane::contains(&outline, [0.0; 2]) { 0.0 } else { plane::off_line(&outline, [0.0; 2]) }
}

fn touches(shape: &ObstacleShape, parts: &[GeoPolygon]) -> bool {
    match shape {
        ObstacleShape::Circle { centre, radius } => {
            parts.iter().any(|part| gap_m(*centre, part) < radius.to_m())
        }
        ObstacleShape::Ring(ring) => {
            ring.iter().any(|&corner| parts.iter().any(|part| gap_m(corner, part) == 0.0))
        }
    }
}

/// How polygons are mended.
#[derive(Clone, Debug)]
pub struct Mending<'s> {
    /// The file that their places lie in.
    pub file: &'s Arc<str>,
    /// What is narrower is mended.
    pub tolerance: Length,
    /// What becomes of a ring that crosses itself.
    pub crossings: Crossings,
    /// The rules for the outer ring.
    pub rules: &'static judge::Rules,
    /// Where the whole of a ring stands, where that is more than its corners.
    pub whole: Option<Span>,
}

impl Mending<'_> {
    /// Mends a polygon, the outer ring first; the polygons that come of it have simple rings.
    pub fn polygon(&self, rings: Vec<Vec<Corner>>, findings: &mut Vec<Finding>) -> Option<Vec<GeoPolygon>> {
        let mut outsides: Vec<GeoPolygon> = Vec::new();
        let mut holes: Vec<Vec<GeoPoint>> = Vec::new();
        let mut sound = true;
        for (index, ring) in rings.into_iter().enumerate() {
            let rules = if index == 0 { self.rules } else { &judge::HOLE };
            if index > 0 && self.is_nothing(&ring, findings) {
                continue;
            }
            let Some(polygons) = self.ring(ring, rules, findings) else {
                sound = false;
                continue;
            };
            match index {
                0 => outsides.extend(polygons),
                _ => holes.extend(polygons.into_iter().map(|polygon| polygon.exterior)),
            }
        }
        if sound {
            for hole in holes {
                sound &= place_hole(hole, &mut outsides, findings);
            }
        }
        sound.then_some(outsides)
    }

    /// Whether a hole is so small that there is nothing in it; it is told.
    fn is_nothing(&self, ring: &[Corner], findings: &mut Vec<Finding>) -> bool {
        let [area_m2, _] = extent(ring);
        if area_m2 >= SMALLEST_HOLE_M2 {
            return false;
        }
        let mut finding = rules::finding("survey/cut", format!("a hole of {area_m2:.4} m² left out"));
        finding.span = self.span_of(ring);
        finding.place = ring.first().map(|corner| corner.at);
        findings.push(finding);
        true
    }

    /// Mends one ring and judges what comes of it.
    fn ring(
        &self,
        ring: Vec<Corner>,
        judged_by: &judge::Rules,
        findings: &mut Vec<Finding>,
    ) -> Option<Vec<GeoPolygon>> {
        let whole = self.whole.clone().or_else(|| self.span_of(&ring));
        let mended = mend::ring(ring, self.tolerance, self.crossings);
        tell(&mended.changes, self.tolerance, whole.as_ref(), findings);
        let before = findings.len();
        let mut polygons = Vec::new();
        let mut sound = true;
        for rings in mended.polygons {
            let judged = rings.into_iter().enumerate().map(|(index, ring)| {
                let rules = if index == 0 { judged_by } else { &judge::HOLE };
                self.simple(ring, rules, whole.as_ref(), findings)
            });
            match judged.collect::<Option<Vec<_>>>() {
                Some(mut rings) => {
                    let exterior = rings.remove(0);
                    polygons.push(GeoPolygon { exterior, holes: rings });
                }
                None => sound = false,
            }
        }
        if let Some(at) = mended.crossing.filter(|_| findings.len() == before) {
            let mut finding = rules::finding(
                "field/self-crossing",
                format!(
                    "the boundary crosses itself at latitude {:.7}, longitude {:.7}",
                    at.latitude, at.longitude
                ),
            )
            .with_place(at)
            .with_hint("give the corners in the order in which one would walk round them");
            finding.span = whole;
            findings.push(finding);
            sound = false;
        }
        sound.then_some(polygons)
    }

    fn span_of(&self, ring: &[Corner]) -> Option<Span> {
        let (first, last) = (ring.first()?, ring.last()?);
        let bytes = first.bytes.start..last.bytes.end;
        (!bytes.is_empty()).then(|| Span { file: self.file.to_string(), bytes })
    }

    /// The ring judged as every ring is; its places only where it has them.
    fn simple(
        &self,
        ring: Vec<Corner>,
        rules: &judge::Rules,
        whole: Option<&Span>,
        findings: &mut Vec<Finding>,
    ) -> Option<Vec<GeoPoint>> {
        let place = |bytes: std::ops::Range<usize>| Place { file: self.file.clone(), bytes };
        let at = place(whole.map_or(0..0, |span| span.bytes.clone()));
        let corners = ring.into_iter().map(|corner| Written { value: corner.at, place: place(corner.bytes) });
        let written: Ring = Written { value: corners.collect(), place: at };
        let mut judged = Findings::default();
        let simple = judge::ring(&written, rules, &mut judged);
        findings.extend(judged.0.into_iter().map(|mut finding| {
            finding.span = finding.span.filter(|span| !span.bytes.is_empty()).or_else(|| whole.cloned());
            finding
        }));
        simple
    }
}

/// Square metres that a ring encloses, and its mean width in metres.
fn extent(ring: &[Corner]) -> [f64; 2] {
    let Some(first) = ring.first() else { return [0.0; 2] };
    let plane = plane::Plane::about(first.at);
    let outline: Vec<[f64; 2]> = ring.iter().map(|corner| plane.metres(corner.at)).collect();
    let (area_m2, around_m) = (plane::area(&outline).abs(), plane::perimeter(&outline));
    [area_m2, if around_m > 0.0 { 2.0 * area_m2 / around_m } else { 0.0 }]
}

/// Gives a hole to the outside that it lies in.
fn place_hole(hole: Vec<GeoPoint>, outsides: &mut [GeoPolygon], findings: &mut Vec<Finding>) -> bool {
    let plane = plane::Plane::about(hole[0]);
    let metres: Vec<[f64; 2]> = hole.iter().map(|&corner| plane.metres(corner)).collect();
    let inside = |exterior: &[GeoPoint]| {
        let outline: Vec<[f64; 2]> = exterior.iter().map(|&corner| plane.metres(corner)).collect();
        metres.iter().filter(|&&corner| plane::contains(&outline, corner)).count()
    };
    let most = outsides.iter_mut().max_by_key(|outside| inside(&outside.exterior));
    match most {
        Some(outside) if inside(&outside.exterior) > 0 => {
            let beyond_m2 = beyond_m2(&plane, &hole, &outside.exterior);
            if beyond_m2 <= REACHING_OUT_M * plane::perimeter(&metres) {
                outside.holes.push(hole);
                return true;
            }
            findings.push(
                rules::finding(
                    "field/hole-outside",
                    format!("a hole of the boundary reaches out of it: {beyond_m2:.1} m² of it lie beyond"),
                )
                .with_place(hole[0])
                .with_hint("walk the boundary round it, or draw it inside"),
            );
            false
        }
        _ => {
            findings.push(
                rules::finding("field/hole-outside", "a hole of the boundary lies outside it")
                    .with_place(hole[0])
                    .with_hint("leave it out, or check that it belongs to this field"),
            );
            false
        }
    }
}

/// How much of a hole lies beyond an exterior, square metres.
fn beyond_m2(plane: &plane::Plane, hole: &[GeoPoint], exterior: &[GeoPoint]) -> f64 {
    let shape = |ring: &[GeoPoint]| {
        let outline = ring.iter().map(|&corner| {
            let [x, y] = plane.metres(corner);
            Point { x, y }
        });
        MultiPolygon(vec![Polygon::new(outline.collect(), Vec::new())])
    };
    region::area(&region::difference(&shape(hole), &shape(exterior)))
}

/// Tells what was mended: each change, or of many of one kind the first and their count.
fn tell(changes: &[Change], tolerance: Length, whole: Option<&Span>, findings: &mut Vec<Finding>) {
    let mut kinds: Vec<ChangeKind> = changes.iter().map(|change| change.kind).collect();
    kinds.sort_unstable();
    kinds.dedup();
    for kind in kinds {
        let same: Vec<&Change> = changes.iter().filter(|change| change.kind == kind).collect();
        let told = if kind == ChangeKind::Repeated { 1 } else { TOLD };
        for (index, change) in same.iter().take(told).enumerate() {
            let mut finding = rules::finding(rule_of(kind), in_words(change, same.len(), tolerance));
            finding.span = whole.cloned();
            finding.place = Some(change.at);
            if kind == ChangeKind::Repeated {
                finding.hint = Some("nothing needs to be done".to_owned());
            }
            if index + 1 == told && same.len() > told && kind != ChangeKind::Repeated {
                finding.message += &format!("; and {} more like it", same.len() - told);
            }
            findings.push(finding);
        }
    }
}

const fn rule_of(kind: ChangeKind) -> &'static str {
    match kind {
        ChangeKind::Thinned => "survey/thinned",
        ChangeKind::Repeated => "field/repeated-point",
        ChangeKind::Spike => "survey/spike",
        ChangeKind::Joined => "survey/joined",
        ChangeKind::Cut => "survey/cut",
        ChangeKind::Parted => "survey/parted",
        ChangeKind::Overlap => "survey/overlap",
    }
}

fn in_words(change: &Change, count: usize, tolerance: Length) -> String {
    let size = change.size;
    match change.kind {
        ChangeKind::Thinned => {
            format!("{size} corners of the boundary left out that lie within 1 cm of the line without them")
        }
        ChangeKind::Repeated => {
            let corners = if count == 1 { "1 corner".to_owned() } else { format!("{count} corners") };
            format!("{corners} of the boundary left out, each the same place as the one before")
        }
        ChangeKind::Spike => format!("a spike of {size:.2} m cut off the boundary"),
        ChangeKind::Joined if size < 0.001 => "the boundary touches itself; it is divided there".to_owned(),
        ChangeKind::Joined => format!(
            "the boundary runs along itself for {size:.2} m, less than {} cm apart; joined",
            tolerance.to_cm()
        ),
        ChangeKind::Cut => {
            format!("a piece of {size:.2} m² that hangs on the boundary by a crossing or a neck left out")
        }
        ChangeKind::Parted => {
            format!("a lobe of {size:.1} m² beyond a crossing of the boundary kept as a part of its own")
        }
        ChangeKind::Overlap => format!("{size:.2} m² that the boundary goes round twice counted once"),
    }
}

#[cfg(test)]
mod tests;
