//! Treatment zones on the ground of their field.
//!
//! In: the zones as checked, the field's boundary and fence. Out: each zone's ground within the
//! boundary, no soil in two of them, none that can be worked in none unless the job says what such soil
//! gets; or why not. What is smaller than a slip of drawing is passed over.

use super::ground::Road;
use crate::check::{self, Rate};
use crate::diagnostic::Finding;
use crate::geometry::{Point, region};
use crate::rules;
use geo::{BoundingRect, Intersects, MultiPolygon, Polygon, Rect};
use lanewright_schema::quantity::GeoPoint;

/// How closely a field is sown, zone by zone.
#[derive(Clone, Debug)]
pub struct SiteZones {
    /// Parts of the field's own spacing that the steps of rates count.
    pub parts: u32,
    /// The zones, in the file's order.
    pub zones: Vec<SiteZone>,
    /// The rate of soil in no zone; without it there is none but slips between zones.
    pub elsewhere: Option<Rate>,
}

/// A zone on the ground.
#[derive(Clone, Debug)]
pub struct SiteZone {
    /// Its name.
    pub name: String,
    /// Its ground within the field's boundary; may be empty.
    pub ground: MultiPolygon,
    /// How close it is sown.
    pub rate: Rate,
    around: Option<Rect>,
}

impl SiteZone {
    /// A zone of this ground.
    pub fn new(name: String, ground: MultiPolygon, rate: Rate) -> Self {
        let around = ground.bounding_rect();
        Self { name, ground, rate, around }
    }

    /// Whether a line from one place to another may meet it.
    pub fn is_near(&self, from: Point, to: Point) -> bool {
        self.around.is_some_and(|around| around.intersects(&Rect::new(from, to)))
    }

    fn holds(&self, place: Point) -> bool {
        self.around.is_some_and(|around| around.intersects(&place)) && region::contains(&self.ground, place)
    }
}

/// Overlaps and gaps up to this are slips of drawing: square metres, and a share of the field.
const SLIP_M2: f64 = 1.0;
const SLIP_SHARE: f64 = 1e-3;

impl SiteZones {
    /// A field that is sown alike everywhere.
    pub const fn none() -> Self {
        Self { parts: 1, zones: Vec::new(), elsewhere: Some(Rate::own(1)) }
    }

    /// The zone of a place.
    pub fn zone_at(&self, place: Point) -> Option<usize> {
        self.zones.iter().position(|zone| zone.holds(place))
    }

    /// The rate in a zone, or in none.
    pub fn rate(&self, zone: Option<usize>) -> Option<Rate> {
        zone.map_or(self.elsewhere, |zone| Some(self.zones[zone].rate))
    }

    /// Every rate at which soil is sown, that of soil in no zone first, each with its zone.
    pub fn sown(&self) -> impl Iterator<Item = (Option<usize>, Rate)> {
        let zones = self.zones.iter().enumerate().filter(|(_, zone)| !zone.ground.0.is_empty());
        let zones = zones.map(|(index, zone)| (Some(index), zone.rate));
        self.elsewhere.map(|rate| (None, rate)).into_iter().chain(zones).filter(|(_, rate)| rate.step > 0)
    }

    /// Every rate that some soil has.
    pub fn rates(&self) -> impl Iterator<Item = Rate> {
        self.zones.iter().map(|zone| zone.rate).chain(self.elsewhere)
    }
}

/// Puts the zones of a field on the ground.
pub fn site_zones(
    road: &Road,
    field: &check::Field,
    (boundary, fence): (&MultiPolygon, &MultiPolygon),
    to_geo: &dyn Fn(Point) -> GeoPoint,
    findings: &mut Vec<Finding>,
) -> Result<SiteZones, Finding> {
    let Some(asked) = &field.zones else { return Ok(SiteZones::none()) };
    let zones = asked
        .zones
        .iter()
        .map(|zone| {
            let drawn = zone.polygons.iter().map(|p| road.polygon(p)).collect::<Result<Vec<_>, _>>()?;
            let ground = region::intersection(&region::union_all(&drawn), boundary);
            Ok(SiteZone::new(zone.name.clone(), ground, zone.rate))
        })
        .collect::<Result<Vec<_>, Finding>>()?;
    let site = SiteZones { parts: asked.parts, zones, elsewhere: asked.elsewhere };
    findings.extend(outside(&site, asked, field)?);
    let all: Vec<Polygon> = site.zones.iter().flat_map(|zone| zone.ground.0.iter().cloned()).collect();
    let covered = region::union_all(&all);
    overlapping(&site, &covered, asked, to_geo)?;
    uncovered(&site, &covered, fence, asked, field, to_geo)?;
    Ok(site)
}

/// Tells zones that lie outside the field; refused where all do.
fn outside(site: &SiteZones, asked: &check::Zones, field: &check::Field) -> Result<Option<Finding>, Finding> {
    let outside: Vec<&str> = site
        .zones
        .iter()
        .filter(|zone| region::area(&zone.ground) < SLIP_M2)
        .map(|zone| zone.name.as_str())
        .collect();
    if outside.len() == site.zones.len() {
        return Err(rules::finding(
            "zones/not-here",
            format!("no zone of the file lies in `{}`", field.name),
        )
        .with_span(asked.span.clone(), "these zones")
        .with_hint(
            "check that the file is this field's and in the frame of the survey, or give its `frame`",
        ));
    }
    let told = outside.iter().take(3).map(|name| format!("`{name}`")).collect::<Vec<_>>().join(", ");
    let more = if outside.len() > 3 { format!(" and {} more", outside.len() - 3) } else { String::new() };
    Ok((!outside.is_empty()).then(|| {
        rules::finding("zones/outside", format!("{told}{more} of the zones lie outside `{}`", field.name))
            .with_span(asked.span.clone(), "these zones")
    }))
}

/// Soil in two zones has no one rate.
fn overlapping(
    site: &SiteZones,
    covered: &MultiPolygon,
    asked: &check::Zones,
    to_geo: &dyn Fn(Point) -> GeoPoint,
) -> Result<(), Finding> {
    let areas: f64 = site.zones.iter().map(|zone| region::area(&zone.ground)).sum();
    let twice = areas - region::area(covered);
    if twice <= (SLIP_SHARE * areas).max(SLIP_M2) {
        return Ok(());
    }
    let boxes: Vec<Option<Rect>> = site.zones.iter().map(|zone| zone.around).collect();
    let mut worst: Option<(f64, usize, usize, Option<Point>)> = None;
    for (first, box_of_first) in boxes.iter().enumerate() {
        for (second, box_of_second) in boxes.iter().enumerate().skip(first + 1) {
            let (Some(a), Some(b)) = (box_of_first, box_of_second) else { continue };
            if !a.intersects(b) {
                continue;
            }
            let both = region::intersection(&site.zones[first].ground, &site.zones[second].ground);
            let area = region::area(&both);
            if worst.is_none_or(|(most, ..)| area > most) {
                worst = Some((area, first, second, both.0.first().map(|p| p.exterior().0[0])));
            }
        }
    }
    let Some((area, first, second, at)) = worst else { return Ok(()) };
    let message = format!(
        "the zones `{}` and `{}` overlap by {area:.0} m²; in all {twice:.0} m² lie in more than one zone",
        site.zones[first].name, site.zones[second].name
    );
    let finding = rules::finding("zones/overlap", message)
        .with_span(asked.span.clone(), "these zones")
        .with_hint("give each piece of soil to one zone only");
    Err(match at {
        Some(at) => finding.with_place(to_geo(at)),
        None => finding,
    })
}

/// Soil in no zone gets what the job says; nothing is guessed.
fn uncovered(
    site: &SiteZones,
    covered: &MultiPolygon,
    fence: &MultiPolygon,
    asked: &check::Zones,
    field: &check::Field,
    to_geo: &dyn Fn(Point) -> GeoPoint,
) -> Result<(), Finding> {
    if site.elsewhere.is_some() {
        return Ok(());
    }
    let bare = region::difference(fence, covered);
    let (left, soil) = (region::area(&bare), region::area(fence));
    if left <= (SLIP_SHARE * soil).max(SLIP_M2) {
        return Ok(());
    }
    let largest = bare.0.iter().max_by(|a, b| {
        let area = |polygon: &Polygon| region::area(&polygon.clone().into());
        area(a).total_cmp(&area(b))
    });
    let message = format!(
        "the zones cover {:.1} % of the soil of `{}`; {:.2} ha of it lie in no zone, and nothing says what they get",
        100.0 * (1.0 - left / soil),
        field.name,
        left / 1e4
    );
    let finding = rules::finding("zones/uncovered", message)
        .with_span(asked.span.clone(), "these zones")
        .with_hint(
            "add `elsewhere = \"100 %\"` to sow them as the spacing says, or `elsewhere = \"0 %\"` to leave them unsown",
        );
    Err(match largest {
        Some(polygon) => finding.with_place(to_geo(polygon.exterior().0[0])),
        None => finding,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::check::tests::SOUND;
    use crate::check::{Pattern, check};
    use crate::read::read;
    use crate::site::{FieldSite, site};
    use lanewright_schema::job::Asked;
    use std::collections::BTreeMap;

    /// The western and the eastern half of the sound job's field, and a strip over their border.
    const WEST: (f64, f64) = (-27.411, -27.4085);
    const EAST: (f64, f64) = (-27.4085, -27.406);
    const MIDDLE: (f64, f64) = (-27.409, -27.408);

    fn zone(properties: &str, (west, east): (f64, f64)) -> String {
        format!(
            "{{\"type\":\"Feature\",\"properties\":{{{properties}}},\"geometry\":{{\"type\":\"Polygon\",\"coordinates\":\
             [[[{west},48.609],[{east},48.609],[{east},48.613],[{west},48.613],[{west},48.609]]]}}}}"
        )
    }

    fn file(features: &[String]) -> String {
        format!("{{\"type\":\"FeatureCollection\",\"features\":[{}]}}", features.join(","))
    }

    /// The sound job with these zones.
    fn told(keys: &str, features: &[String]) -> (Vec<Finding>, Option<FieldSite>) {
        told_of(SOUND, keys, &file(features))
    }

    fn told_of(job: &str, keys: &str, zones: &str) -> (Vec<Finding>, Option<FieldSite>) {
        let job = format!("{job}\n[field.zones]\nfile = \"zones.geojson\"\n{keys}\n");
        let files: BTreeMap<String, Vec<u8>> = [("job.toml", job.as_str()), ("zones.geojson", zones)]
            .map(|(path, text)| (path.to_owned(), text.as_bytes().to_vec()))
            .into();
        let read = read(&files, "job.toml");
        let mut findings = read.findings;
        let Some(Asked::Sowing(draft)) = read.asked else { panic!("{findings:#?}") };
        let site = check(&draft).tell(&mut findings).and_then(|job| site(&job).tell(&mut findings));
        (findings, site.and_then(|mut site| site.fields.pop()))
    }

    #[track_caller]
    fn refused(rule: &str, keys: &str, features: &[String]) -> Finding {
        let (findings, site) = told(keys, features);
        let finding = findings.into_iter().find(|finding| finding.rule == rule);
        assert!(site.is_none(), "refused");
        finding.unwrap_or_else(|| panic!("{rule} is not told"))
    }

    const RATE: &str = "rate = \"rate\"";
    const REST: &str = "rate = \"rate\"\nelsewhere = \"100 %\"";

    #[test]
    fn zones_that_part_the_field_pass() {
        let zones = [zone("\"name\":\"Sand\",\"rate\":0.8", WEST), zone("\"rate\":\"120 %\"", EAST)];
        let (findings, site) = told(RATE, &zones);
        let zones = site.unwrap_or_else(|| panic!("{findings:#?}")).zones;
        let names: Vec<&str> = zones.zones.iter().map(|zone| zone.name.as_str()).collect();
        assert_eq!(names, ["Sand", "120 %"]);
        assert!((zones.zones[0].rate.sown((zones.parts, Pattern::Single)) - 0.8).abs() < 0.01);
    }

    /// One attribute in four ways: 1.25 times the field's seeds.
    #[test]
    fn a_rate_is_said_in_four_ways() {
        // 9 cm by 45 cm; 94 % germinate and 85 % of these emerge.
        let per_ha = 1e4 / (0.45 * 0.09);
        let ways = [
            (RATE, "\"rate\":1.25".to_owned()),
            ("seeds_per_ha = \"s\"", format!("\"s\":{}", per_ha * 1.25)),
            ("plants_per_ha = \"p\"", format!("\"p\":{}", per_ha * 1.25 * 0.94 * 0.85)),
            ("between_seeds = \"d\"", "\"d\":\"7.2 cm\"".to_owned()),
        ];
        for (key, property) in ways {
            let (findings, site) = told(&format!("{key}\nelsewhere = \"100 %\""), &[zone(&property, WEST)]);
            let zones = site.unwrap_or_else(|| panic!("{findings:#?}")).zones;
            assert!((zones.zones[0].rate.asked - 1.25).abs() < 1e-9, "{key}");
            assert_eq!((zones.parts, zones.zones[0].rate.step), (5, 4));
        }
    }

    #[test]
    fn half_a_field_needs_a_rate_for_the_rest() {
        let half = [zone("\"rate\":0.8", WEST)];
        let finding = refused("zones/uncovered", RATE, &half);
        assert!(finding.message.contains("cover 50."), "{}", finding.message);
        assert!(finding.hint.unwrap().contains("elsewhere = \"100 %\""));
        assert!(told(REST, &half).1.is_some());
    }

    #[test]
    fn soil_in_two_zones_is_refused() {
        let zones = [zone("\"name\":\"A\",\"rate\":0.8", WEST), zone("\"name\":\"B\",\"rate\":1", MIDDLE)];
        let finding = refused("zones/overlap", REST, &zones);
        assert!(finding.message.starts_with("the zones `A` and `B` overlap by"), "{}", finding.message);
    }

    #[test]
    fn a_rate_that_nobody_can_read_is_refused() {
        let missing = refused("zones/attribute-missing", REST, &[zone("\"Rate_1\":0.8", WEST)]);
        assert!(missing.hint.unwrap().contains("Rate_1"));
        refused("zones/attribute-unreadable", REST, &[zone("\"rate\":\"plenty\"", WEST)]);
        let bare = "between_seeds = \"d\"\nelsewhere = \"100 %\"";
        refused("zones/attribute-unreadable", bare, &[zone("\"d\":18", WEST)]);
        let percent = refused("zones/rate", REST, &[zone("\"rate\":120", WEST)]);
        assert!(percent.hint.unwrap().contains("`120 %`"));
        refused("zones/rate", REST, &[zone("\"rate\":-1", WEST)]);
        refused("zones/rate", "rate = \"rate\"\nelsewhere = \"900 %\"", &[zone("\"rate\":1", WEST)]);
        refused("zones/rate-attribute", "", &[zone("\"rate\":1", WEST)]);
        refused("zones/rate-attribute", "rate = \"a\"\nseeds_per_ha = \"b\"", &[zone("\"rate\":1", WEST)]);
    }

    #[test]
    fn a_file_without_zones_of_this_field_is_refused() {
        let point = "{\"type\":\"Feature\",\"properties\":{\"rate\":1},\"geometry\":\
                     {\"type\":\"Point\",\"coordinates\":[-27.409,48.611]}}";
        refused("zones/no-polygon", REST, &[point.to_owned()]);
        let neighbour = zone("\"name\":\"Far\",\"rate\":1", (-27.42, -27.415));
        refused("zones/not-here", REST, std::slice::from_ref(&neighbour));
        let (findings, site) = told(REST, &[neighbour, zone("\"rate\":0.8", WEST)]);
        assert!(site.is_some());
        assert!(findings.iter().any(|f| f.rule == "zones/outside" && f.message.starts_with("`Far`")));
    }

    #[test]
    fn hills_need_room_in_the_densest_zone() {
        let hills = SOUND.replace(
            "between_seeds = \"9 cm\"",
            "between_hills = \"40 cm\"\npattern = \"hill\"\nseeds_per_hill = 3\nhill_length = \"15 cm\"",
        );
        let dense = |rate: &str| told_of(&hills, REST, &file(&[zone(&format!("\"rate\":{rate}"), WEST)]));
        assert!(dense("3").0.iter().any(|finding| finding.rule == "spacing/hill-too-long"));
        assert!(dense("2").1.is_some());
    }
}
