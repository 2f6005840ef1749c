//! The set as a whole: read back, followed along its references, and held against geodesics.

use super::*;
use crate::emit::sample;
use crate::geometry::{Gear, Path, Piece, region};
use crate::lanes::{Block, BlockIdx, Course, Lane};
use crate::num;
use geographiclib_rs::{Geodesic, InverseGeodesic};
use lanewright_schema::quantity::Length;
use lanewright_schema::taskdata::{
    Attribute, DeviceElement, DeviceElementType, DeviceProperty, GuidancePattern, GuidancePatternType,
    LineStringType, LinkList, ObjectRef, PolygonType, TreatmentZone, ddi, read,
};
use std::collections::BTreeSet;

/// Two fields with one seed lot, and a name too long for the format.
fn compiled() -> Compiled {
    let mut compiled = sample::compiled(3);
    let name = "Lower Sallow beyond the second hedge";
    compiled.job.fields.push(compiled.job.fields[0].clone());
    compiled.site.fields.push(compiled.site.fields[0].clone());
    compiled.fields.push(compiled.fields[0].clone());
    compiled.job.fields[1].name = name.into();
    compiled.site.fields[1].name = name.into();
    compiled
}

fn set_of(files: &TaskDataFiles) -> TaskData {
    read(&files.task_data).unwrap()
}

fn patterns(set: &TaskData) -> impl Iterator<Item = &GuidancePattern> {
    set.partfields.iter().flat_map(|f| f.guidance_groups.iter().flat_map(|g| &g.patterns))
}

fn ends(pattern: &GuidancePattern) -> [(f64, f64); 2] {
    let points = &pattern.line.points;
    [points.first(), points.last()].map(|p| p.map(|p| (p.north.to_f64(), p.east.to_f64())).unwrap())
}

#[test]
fn each_lane_is_a_pattern_in_driving_order() {
    let compiled = compiled();
    let set = set_of(&task_data(&compiled));
    let ids: Vec<String> = patterns(&set).map(|p| p.id.to_text()).collect();
    assert_eq!(ids, ["GPN1", "GPN2", "GPN3", "GPN4", "GPN5", "GPN6"]);
    for partfield in &set.partfields {
        let names = partfield.guidance_groups[0].patterns.iter().map(|p| p.designator.clone().unwrap());
        assert_eq!(names.map(|n| n.as_str().to_owned()).collect::<Vec<_>>(), ["Lane 1", "Lane 2", "Lane 3"]);
    }
}

/// Lengths and azimuths along the ellipsoid (Karney, 2013) of what was emitted. A degree's ninth
/// decimal is 0.1 mm, which on 303 m turns a line by 2e-5 degrees.
#[test]
fn a_lane_has_its_length_and_heading_on_the_ellipsoid() {
    let set = set_of(&task_data(&compiled()));
    for pattern in patterns(&set) {
        let [(north, east), (north_b, east_b)] = ends(pattern);
        let (metres, azimuth, _, _) = Geodesic::wgs84().inverse(north, east, north_b, east_b);
        assert_eq!(pattern.kind, GuidancePatternType::Ab);
        assert!((metres - f64::from(pattern.line.length_mm.unwrap()) / 1000.0).abs() < 1e-3, "{metres}");
        let off = (azimuth - pattern.heading.unwrap().to_f64() + 180.0).rem_euclid(360.0) - 180.0;
        assert!(off.abs() < 1e-4, "{off}");
    }
}

/// A lap of 50 m, a quarter circle of 5 m radius and 30 m, measured along the ellipsoid. Chords
/// within 1 mm of such an arc are 0.5 mm shorter than it.
#[test]
fn a_headland_lap_is_a_curve_through_its_corner() {
    let mut compiled = compiled();
    let plan = &mut compiled.fields[0].lanes;
    plan.blocks.push(Block { zone: plan.blocks[0].zone.clone(), course: Course::Lap { lap: 1 } });
    let straight = |length| Piece::straight(Gear::Forward, length);
    let quarter = num::PI / 2.0 * 5.0;
    plan.lanes[1] = Lane {
        block: BlockIdx(1),
        line: Path {
            start: plan.lanes[1].line.start,
            pieces: vec![straight(50.0), Piece::arc(Gear::Forward, quarter, 0.2), straight(30.0)],
        },
        back: None,
        rows_back: Vec::new(),
        rows: plan.lanes[1].rows.clone(),
    };
    let set = set_of(&task_data(&compiled));
    let lap = patterns(&set).nth(1).unwrap();
    assert_eq!((lap.designator.as_ref().unwrap().as_str(), lap.kind), ("Lap 2", GuidancePatternType::Curve));
    let points = &lap.line.points;
    let kinds: Vec<PointType> = points.iter().map(|point| point.kind).collect();
    assert_eq!(kinds.first(), Some(&PointType::GuidanceReferenceA));
    assert_eq!(kinds.last(), Some(&PointType::GuidanceReferenceB));
    assert!(kinds[1..kinds.len() - 1].iter().all(|&kind| kind == PointType::GuidancePoint));
    let metres: f64 = points
        .windows(2)
        .map(|pair| {
            let [(north, east), (north_b, east_b)] =
                [&pair[0], &pair[1]].map(|point| (point.north.to_f64(), point.east.to_f64()));
            let metres: f64 = Geodesic::wgs84().inverse(north, east, north_b, east_b);
            metres
        })
        .sum();
    assert!((metres - (80.0 + quarter)).abs() < 2e-3, "{metres}");
}

#[test]
fn polygons_are_closed_and_have_their_holes() {
    let compiled = compiled();
    let set = set_of(&task_data(&compiled));
    let polygons = &set.partfields[0].polygons;
    for line in polygons.iter().flat_map(|polygon| &polygon.lines) {
        assert!(line.points.len() >= 4);
        assert_eq!(line.points.first(), line.points.last());
    }
    let count = |kind| polygons.iter().filter(|polygon| polygon.kind == kind).count();
    assert_eq!(count(PolygonType::Boundary), 1);
    assert_eq!(count(PolygonType::Obstacle), 1);
    assert!(count(PolygonType::Headland) >= 1 && count(PolygonType::MainField) >= 1);
    let holes = |kind| polygons.iter().filter(|p| p.kind == kind).map(|p| p.lines.len() - 1).sum::<usize>();
    assert_eq!(holes(PolygonType::Boundary), compiled.site.fields[0].boundary.0[0].interiors().len());
}

#[test]
fn the_fence_and_every_way_in_driving_order_are_lines_of_the_field() {
    let compiled = compiled();
    let set = set_of(&task_data(&compiled));
    for (partfield, (site, plan)) in
        set.partfields.iter().zip(compiled.site.fields.iter().zip(&compiled.fields))
    {
        let named = |kind| {
            let lines = partfield.lines.iter().filter(move |line| line.kind == kind);
            lines.map(|line| line.designator.as_ref().unwrap().as_str()).collect::<Vec<_>>()
        };
        assert_eq!(named(LineStringType::Fence).len(), region::rings(&site.fence).count());
        let ways = named(LineStringType::TramLine);
        assert_eq!(ways.len(), plan.route.ways.iter().flatten().count());
        assert!(ways.contains(&"Lane 1 to 2"), "{ways:?}");
        for line in &partfield.lines {
            assert!(line.points.len() > 1 && line.points.windows(2).all(|pair| pair[0] != pair[1]));
        }
    }
}

#[test]
fn every_reference_leads_to_an_object_and_every_object_has_a_link() {
    let files = task_data(&compiled());
    let set = set_of(&files);
    let list: LinkList = read(&files.link_list).unwrap();
    let text = write(&set);
    let values = attribute_values(&text);
    let is_id = |value: &&str| ObjectRef::from_text(value).is_ok();
    let defined: BTreeSet<&str> = values
        .iter()
        .filter(|(tag, key, value)| *key == "A" && value.starts_with(tag))
        .map(|v| v.2)
        .collect();
    let used: BTreeSet<&str> = values.iter().map(|v| v.2).filter(is_id).collect();
    assert_eq!(used.difference(&defined).collect::<Vec<_>>(), Vec::<&&str>::new());

    let linked: BTreeSet<String> = list.groups[0].links.iter().map(|link| link.object.to_text()).collect();
    let without = defined.iter().filter(|id| !id.starts_with("DET") && is_id(id) && !linked.contains(**id));
    assert_eq!(without.collect::<Vec<_>>(), Vec::<&&str>::new());
    let uuids: BTreeSet<&str> = list.groups[0].links.iter().map(|link| link.value.as_str()).collect();
    assert_eq!(uuids.len(), list.groups[0].links.len());
}

/// Tag, key and value of every attribute of a text that has no quotation mark in a value.
fn attribute_values(xml: &str) -> Vec<(&str, &str, &str)> {
    let mut found = Vec::new();
    for line in xml.lines().map(str::trim) {
        let Some(tag) = line.strip_prefix('<').and_then(|rest| rest.split([' ', '>', '/']).next()) else {
            continue;
        };
        let mut rest = line;
        while let Some((before, after)) = rest.split_once("=\"") {
            let Some((value, next)) = after.split_once('"') else { break };
            found.push((tag, before.rsplit(' ').next().unwrap_or(""), value));
            rest = next;
        }
    }
    found
}

#[test]
fn the_device_is_one_tree_of_its_own_objects() {
    let compiled = compiled();
    let set = set_of(&task_data(&compiled));
    let device = &set.devices[0];
    let mut objects: Vec<u16> = device.elements.iter().map(|e| e.object_id).collect();
    objects.extend(device.properties.iter().map(|p| p.object_id));
    objects.extend(device.process_data.iter().map(|p| p.object_id));
    objects.extend(device.presentations.iter().map(|p| p.object_id));
    let unique: BTreeSet<u16> = objects.iter().copied().collect();
    assert_eq!(unique.len(), objects.len());
    assert_eq!(device.elements[0].parent_object_id, 0);
    for (i, element) in device.elements.iter().enumerate().skip(1) {
        assert!(device.elements[..i].iter().any(|parent| parent.object_id == element.parent_object_id));
    }
    for reference in device.elements.iter().flat_map(|element| &element.objects) {
        assert!(unique.contains(&reference.object_id));
    }
    let rows = device.elements.iter().filter(|e| e.kind == DeviceElementType::Section).count();
    assert_eq!(rows, compiled.job.machine.row_offsets.len());
}

#[test]
fn rows_stand_where_the_machine_has_them() {
    let compiled = compiled();
    let set = set_of(&task_data(&compiled));
    let device = &set.devices[0];
    let value = |element: &DeviceElement, ddi| {
        let is_of =
            |p: &&DeviceProperty| p.ddi == ddi && element.objects.iter().any(|o| o.object_id == p.object_id);
        device.properties.iter().find(is_of).map(|p| p.value)
    };
    let rows = device.elements.iter().filter(|e| e.kind == DeviceElementType::Section);
    let offsets: Vec<_> = rows.clone().map(|row| value(row, ddi::OFFSET_Y.ddi).unwrap()).collect();
    // Six rows, 450 mm apart, about the middle.
    assert_eq!(offsets, [-1125, -675, -225, 225, 675, 1125]);
    for row in rows {
        assert_eq!(value(row, ddi::OFFSET_X.ddi), Some(-1200));
        assert_eq!(value(row, ddi::ACTUAL_WORKING_WIDTH.ddi), Some(450));
    }
}

#[test]
fn outside_the_field_and_without_a_position_nothing_is_sown() {
    let set = set_of(&task_data(&compiled()));
    for task in &set.tasks {
        let zone = |code: Option<u8>| task.zones.iter().find(|zone| Some(zone.code) == code).unwrap();
        let rate = |zone: &TreatmentZone| {
            zone.values.iter().find(|v| v.ddi == ddi::SETPOINT_COUNT_PER_AREA.ddi).unwrap().value
        };
        // 12.345679 seeds per square metre in thousandths.
        assert_eq!(rate(zone(task.default_zone)), 12_346);
        assert_eq!(rate(zone(task.out_of_field_zone)), 0);
        assert_eq!(rate(zone(task.position_lost_zone)), 0);
    }
}

#[test]
fn a_name_that_had_to_be_cut_is_told_once() {
    let compiled = compiled();
    let findings = limits(&compiled.job);
    let told: Vec<&str> = findings.iter().map(|f| f.message.as_str()).collect();
    assert_eq!(
        told,
        [
            "the field `Lower Sallow beyond the second hedge` is called `Lower Sallow beyond the second h` in the task data"
        ]
    );
    assert_eq!(
        set_of(&task_data(&compiled)).partfields[1].designator.as_str(),
        "Lower Sallow beyond the second h"
    );
}

#[test]
fn a_spacing_between_two_millimetres_is_told_and_left_out() {
    let mut compiled = compiled();
    compiled.job.fields.truncate(1);
    compiled.job.fields[0].spacing.between_seeds = Length::mm(52.5);
    compiled.fields[0].orders[0].seed_spacing = Some(Length::mm(52.5));
    let findings = limits(&compiled.job);
    assert_eq!(findings.iter().map(|f| f.rule).collect::<Vec<_>>(), [rule::SPACING_NOT_WHOLE]);
    let set = set_of(&task_data(&compiled));
    let values = set.tasks[0].zones.iter().flat_map(|zone| &zone.values);
    assert_eq!(values.filter(|v| v.ddi == ddi::SETPOINT_SPACING.ddi).count(), 0);
}

#[test]
fn fields_share_their_seed_lot_and_differ_in_it() {
    let mut compiled = compiled();
    assert_eq!(set_of(&task_data(&compiled)).products.len(), 1);
    compiled.job.fields[1].crop.variety = "Another".into();
    let set = set_of(&task_data(&compiled));
    assert_eq!((set.products.len(), set.crop_types.len(), set.crop_types[0].varieties.len()), (2, 1, 2));
    compiled.job.fields[1].crop.name = "Another".into();
    let set = set_of(&task_data(&compiled));
    assert_eq!(set.crop_types.len(), 2);
    assert_ne!(set.partfields[0].crop_type, set.partfields[1].crop_type);
    assert_ne!(set.tasks[0].products[0].product, set.tasks[1].products[0].product);
}

#[test]
fn what_a_person_names_keeps_its_link_and_what_is_computed_does_not() {
    let (one, mut two) = (compiled(), compiled());
    two.fields[0].orders[0].seeds_per_m2 = 10.0;
    let links = |compiled: &Compiled| {
        let list: LinkList = read(&task_data(compiled).link_list).unwrap();
        let links = list.groups[0].links.clone();
        links
            .into_iter()
            .map(|link| (link.object.to_text(), link.value.as_str().to_owned()))
            .collect::<BTreeSet<_>>()
    };
    let changed: Vec<String> = links(&two).difference(&links(&one)).map(|link| link.0.clone()).collect();
    assert_eq!(changed, ["TSK1"]);
}

#[test]
fn twice_emitted_gives_the_same_text() {
    assert_eq!(task_data(&compiled()), task_data(&compiled()));
}
