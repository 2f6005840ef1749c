//! From the positions of a file to longitude and latitude in the frame that is wanted.
//!
//! In: what the file says of its frame, what the person says of it, the frame wanted. Out: a
//! [`Georeference`]. PROJ reads the frame's description and takes a map grid back to the longitudes
//! and latitudes that it was made of; from there to another frame it is the way of
//! [`datum`](crate::site::datum). Formats that can only say "WGS 84" say nothing: their positions
//! are in the frame that the receiver worked in, which the person knows.

use crate::check::ReferenceFrame;
use crate::check::frames::named;
use crate::diagnostic::Finding;
use crate::rules;
use crate::site::{Datum, DatumShift};
use lanewright_schema::quantity::GeoPoint;
use lanewright_schema::survey::{StatedFrame, Survey, Vertex};
use proj::Proj;
use serde_json::Value;

/// A shift coarser than this is told, metres.
const COARSE_M: f64 = 0.05;

/// The way from a file's positions to places.
pub struct Georeference {
    /// The frame of the places.
    pub frame: ReferenceFrame,
    /// How people call the frame of the file.
    pub stated: String,
    northing_first: bool,
    unproject: Option<Proj>,
    shift: Option<DatumShift>,
}

impl Georeference {
    /// The place of a position; `None` where there is no such place.
    pub fn place(&self, vertex: &Vertex) -> Option<GeoPoint> {
        let (x, y) = if self.northing_first { (vertex.y, vertex.x) } else { (vertex.x, vertex.y) };
        let (longitude, latitude) = match &self.unproject {
            Some(proj) => proj.convert((x, y)).ok()?,
            None => (x, y),
        };
        let place = GeoPoint { longitude, latitude };
        let place = match &self.shift {
            Some(shift) => shift.apply(place).ok()?,
            None => place,
        };
        (place.longitude.is_finite() && place.latitude.is_finite()).then_some(place)
    }
}

/// The way of a survey's positions. `asked` is what the person says of the file's frame, `into` the
/// frame wanted; without it the file's own is kept, or WGS 84 where that is none of today's.
pub fn georeference(
    survey: &Survey,
    asked: Option<&str>,
    into: Option<&ReferenceFrame>,
    sample: &[Vertex],
    findings: &mut Vec<Finding>,
) -> Result<Georeference, Finding> {
    let text = match (asked, &survey.frame) {
        (Some(asked), StatedFrame::Named(stated) | StatedFrame::NamedInOwnOrder(stated)) => {
            findings.push(rules::finding(
                "survey/frame-overruled",
                format!("the file states the frame `{}`; `{asked}` is taken instead", brief(stated)),
            ));
            asked
        }
        (Some(asked), _) => asked,
        (None, StatedFrame::Named(stated) | StatedFrame::NamedInOwnOrder(stated)) => stated,
        (None, StatedFrame::Unnamed) => return Err(missing(survey)),
        (None, StatedFrame::ByFormat | StatedFrame::Degrees) => {
            if let Some(far) = sample.iter().find(|v| v.x.abs() > 360.0 || v.y.abs() > 360.0) {
                return Err(not_degrees(far));
            }
            let frame = into.cloned().unwrap_or_else(wgs84);
            let stated = "longitude and latitude, no frame stated".to_owned();
            return Ok(Georeference { frame, stated, northing_first: false, unproject: None, shift: None });
        }
    };
    let own_order = matches!(survey.frame, StatedFrame::NamedInOwnOrder(_));
    described(text, if own_order { Axes::OfTheFrame } else { Axes::EastFirst }, into, sample, findings)
}

/// Which axis a file's positions give first.
#[derive(Copy, Clone, PartialEq)]
enum Axes {
    /// Easting or longitude.
    EastFirst,
    /// The one that the frame's definition has first.
    OfTheFrame,
}

fn described(
    text: &str,
    axes: Axes,
    into: Option<&ReferenceFrame>,
    sample: &[Vertex],
    findings: &mut Vec<Finding>,
) -> Result<Georeference, Finding> {
    let definition = named(text).map_or_else(|| text.to_owned(), |frame| frame.proj);
    let crs = description(&definition).ok_or_else(|| unknown(text))?;
    let stated = crs["name"].as_str().unwrap_or(text).to_owned();
    let projected = crs["type"] == "ProjectedCRS";
    let base_crs = if projected { &crs["base_crs"] } else { &crs };
    let base = base_frame(base_crs).ok_or_else(|| unknown(text))?;
    let unproject = if projected {
        Some(Proj::new_known_crs(&crs.to_string(), &base_crs.to_string(), None).map_err(|_| unknown(text))?)
    } else {
        None
    };
    let northing_first =
        axes == Axes::OfTheFrame && crs["coordinate_system"]["axis"][0]["direction"] == "north";
    let mut way = Georeference { frame: base.clone(), stated, northing_first, unproject, shift: None };
    let near: Vec<GeoPoint> = sample.iter().filter_map(|vertex| way.place(vertex)).collect();
    if near.is_empty() {
        return Err(rules::finding(
            "survey/outside-frame",
            format!("no position of the file is a place in `{}`", way.stated),
        )
        .with_hint(CHECK));
    }
    if projected
        && let Some(area) = used_in(&crs)
        && near.iter().all(|&place| area.misses(place))
    {
        let exchanged = sample
            .iter()
            .filter_map(|vertex| way.place(&Vertex { x: vertex.y, y: vertex.x, ..vertex.clone() }));
        let fits = exchanged.into_iter().any(|place| !area.misses(place));
        return Err(outside_area(&way.stated, near[0], if fits { EXCHANGED } else { CHECK }));
    }
    let datum = Datum::of(&base)?;
    let target = match into {
        Some(into) => into.clone(),
        // Frames of today's satellites share their ellipsoid's size; older ones lie up to hundreds
        // of metres away and belong on no machine.
        None if datum.ellipsoid.semi_major_m == 6_378_137.0 => base.clone(),
        None => wgs84(),
    };
    if base.proj == WGS84 && target.proj != WGS84 {
        findings.push(rules::finding(
            "survey/frame-taken",
            format!(
                "the file's frame is on WGS 84, as any receiver's file says; its positions are taken as {}",
                target.name
            ),
        ));
    } else if (&base.proj, base.epoch) != (&target.proj, target.epoch) {
        let shift = DatumShift::between(&datum, &Datum::of(&target)?, None, &near[..near.len().min(16)])?;
        let accuracy = shift.accuracy_m();
        let rule =
            if accuracy.is_some_and(|a| a <= COARSE_M) { "survey/shifted" } else { "survey/coarse-shift" };
        let good = accuracy.map_or("of unknown accuracy".to_owned(), |a| format!("good to {a:.2} m"));
        findings.push(rules::finding(
            rule,
            format!("the positions were taken from {} to {}, {good}", base.name, target.name),
        ));
        way.shift = Some(shift);
    }
    way.frame = target;
    Ok(way)
}

const WGS84: &str = "EPSG:4326";

fn wgs84() -> ReferenceFrame {
    ReferenceFrame { name: "WGS 84".into(), proj: WGS84.into(), epoch: None, span: None }
}

/// What PROJ makes of a code, a URN or a description: the horizontal frame alone, without a shift
/// bound to it.
fn description(text: &str) -> Option<Value> {
    let code = text.rsplit(':').next().filter(|_| text.to_ascii_lowercase().starts_with("urn:"));
    let definition = code.map_or_else(|| text.to_owned(), |code| format!("EPSG:{code}"));
    let json = Proj::new(&definition).ok()?.to_projjson(Some(false), None, None).ok()?;
    let mut crs: Value = serde_json::from_str(&json).ok()?;
    for _ in 0..4 {
        crs = match crs["type"].as_str()? {
            "BoundCRS" => crs["source_crs"].take(),
            "CompoundCRS" => crs["components"][0].take(),
            "ProjectedCRS" | "GeographicCRS" | "GeodeticCRS" => return Some(crs),
            _ => return None,
        };
    }
    None
}

/// The degrees within which a frame is used.
struct UsedIn {
    latitudes: [f64; 2],
    longitudes: [f64; 2],
}

/// Where the EPSG dataset says that a map grid is used.
fn used_in(crs: &Value) -> Option<UsedIn> {
    let usage = if crs["bbox"].is_object() { crs } else { &crs["usages"][0] };
    let bound = |name: &str| usage["bbox"][name].as_f64();
    Some(UsedIn {
        latitudes: [bound("south_latitude")?, bound("north_latitude")?],
        longitudes: [bound("west_longitude")?, bound("east_longitude")?],
    })
}

impl UsedIn {
    /// Whether a place lies far outside. Grids are used somewhat beyond their bounds.
    fn misses(&self, place: GeoPoint) -> bool {
        /// Degrees.
        const BEYOND: f64 = 6.0;
        let [west, east] = self.longitudes;
        let wide = (east - west).rem_euclid(360.0) + 2.0 * BEYOND;
        let [south, north] = self.latitudes;
        !(south - BEYOND..=north + BEYOND).contains(&place.latitude)
            || (place.longitude - (west - BEYOND)).rem_euclid(360.0) > wide
    }
}

const EXCHANGED: &str = "easting and northing are exchanged: with them the other way round they lie in it";
const CHECK: &str = "check which frame the file is in, and that easting and northing are not exchanged";

fn outside_area(stated: &str, place: GeoPoint, hint: &str) -> Finding {
    rules::finding(
        "survey/outside-frame",
        format!("the positions lie far outside the area in which `{stated}` is used"),
    )
    .with_place(place)
    .with_hint(hint)
}

fn base_frame(crs: &Value) -> Option<ReferenceFrame> {
    let coded = crs["id"]["code"].as_u64().filter(|_| crs["id"]["authority"] == "EPSG");
    coded.and_then(|code| named(&format!("EPSG:{code}"))).or_else(|| named(crs["name"].as_str()?))
}

fn missing(survey: &Survey) -> Finding {
    rules::finding(
        "survey/frame-missing",
        format!("`{}` does not say in which frame its positions are", survey.file),
    )
    .with_hint("name it by its EPSG code, such as `\"EPSG:25832\"`, in `boundary_frame`, for zones in `frame`, or with --frame")
}

fn not_degrees(vertex: &Vertex) -> Finding {
    rules::finding(
        "survey/frame-missing",
        format!("the position {}, {} is not in degrees", vertex.x, vertex.y),
    )
    .with_hint(
        "name the map grid by its EPSG code, such as `\"EPSG:25832\"`, in `boundary_frame`, for zones in `frame`, or with --frame",
    )
}

fn unknown(text: &str) -> Finding {
    rules::finding("survey/frame-unknown", format!("`{}` is no frame that PROJ knows", brief(text)))
        .with_hint("name it by its EPSG code, such as `\"EPSG:25832\"`, in `boundary_frame`, for zones in `frame`, or with --frame")
}

/// The beginning of a description in well-known text says enough.
fn brief(text: &str) -> String {
    let name = text.split('"').nth(1).filter(|_| text.contains('[')).unwrap_or(text);
    name.chars().take(60).collect()
}
