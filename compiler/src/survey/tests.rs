//! A survey's way from its text to a field: what is chosen, what is mended, what is told.

use super::*;
use lanewright_schema::job::SourceError;
use lanewright_schema::survey::read;

fn survey(name: &str, text: &str) -> Survey {
    read(name, &mut |path, _| {
        if path == name { Ok(text.as_bytes().to_vec()) } else { Err(SourceError::Missing) }
    })
    .unwrap()
}

fn asked() -> Asked {
    Asked::default()
}

#[track_caller]
fn sound(survey: &Survey, asked: &Asked) -> (FieldSurvey, Vec<&'static str>) {
    let told = field(survey, asked);
    let rules = told.findings.iter().map(|finding| finding.rule).collect();
    (told.value.unwrap_or_else(|| panic!("{:#?}", told.findings)), rules)
}

fn refused(survey: &Survey, asked: &Asked) -> Vec<&'static str> {
    let told = field(survey, asked);
    assert!(told.value.is_none());
    told.findings.iter().map(|finding| finding.rule).collect()
}

/// One field in every format that carries degrees to the last digit.
#[test]
fn every_format_gives_the_same_polygon() {
    let corners = [(5.25, 52.125), (5.253_5, 52.125_25), (5.253, 52.127), (5.250_5, 52.127_125)];
    let list =
        |separator: &str, between: &str| corners.map(|(x, y)| format!("{x}{separator}{y}")).join(between);
    let closed = |text: String, first: &str| format!("{text}{first}");
    let geojson =
        format!(r#"{{"type":"Polygon","coordinates":[[[{}]]]}}"#, closed(list(",", "],["), "],[5.25,52.125"));
    let kml = format!(
        "<kml><Placemark><Polygon><outerBoundaryIs><LinearRing><coordinates>{}</coordinates></LinearRing></outerBoundaryIs></Polygon></Placemark></kml>",
        closed(list(",", " "), " 5.25,52.125")
    );
    let csv = format!("lon;lat\n{}\n", list(";", "\n").replace('.', ","));
    let walked = format!(
        r#"{{"type":"LineString","coordinates":[[{}]]}}"#,
        closed(list(",", "],["), "],[5.25,52.125")
    );
    for (name, text) in [("a.geojson", geojson), ("a.kml", kml), ("a.csv", csv), ("b.geojson", walked)] {
        let (field, rules) = sound(&survey(name, &text), &asked());
        let exterior: Vec<(f64, f64)> =
            field.parts[0].exterior.iter().map(|corner| (corner.longitude, corner.latitude)).collect();
        assert_eq!((exterior.as_slice(), rules.len()), (corners.as_slice(), 0), "{name}: {rules:?}");
        assert_eq!(field.frame.name, "WGS 84");
    }
}

/// IOGP Guidance Note 7-2, Transverse Mercator example: easting 577274.99, northing 69740.50 of the
/// British grid are latitude 50.5°, longitude 0.5° on Airy 1830. The printed values are rounded to
/// a centimetre and come from a shorter series, so 2 cm are allowed: 3e-7 degrees.
#[test]
fn a_map_grid_is_taken_back_to_its_degrees() {
    let text = "name,easting,northing\n1,577274.99,69740.50\n2,577374.99,69740.50\n3,577374.99,69840.50\n4,577274.99,69840.50\n";
    let asked =
        Asked { frame: Some("EPSG:27700".into()), into: crate::check::named_frame("OSGB36"), ..asked() };
    let (field, rules) = sound(&survey("a.csv", text), &asked);
    let first = field.parts[0].exterior[0];
    assert!((first.latitude - 50.5).abs() < 3e-7 && (first.longitude - 0.5).abs() < 3e-7, "{first:?}");
    assert_eq!(rules, [""; 0]);
    assert_eq!(refused(&survey("a.csv", text), &Asked::default()), ["survey/frame-missing"]);
    let nowhere = Asked { frame: Some("EPSG:99999".into()), ..Asked::default() };
    assert_eq!(refused(&survey("a.csv", text), &nowhere), ["survey/frame-unknown"]);
}

/// A frame named by its address gives its positions in the order of its own axes, latitude first.
#[test]
fn axes_follow_the_frame_where_the_file_says_so() {
    let gml = |frame: &str, list: &str| {
        format!(
            "<FeatureCollection><featureMember><Polygon srsName=\"{frame}\"><exterior><LinearRing><posList>{list}</posList></LinearRing></exterior></Polygon></featureMember></FeatureCollection>"
        )
    };
    let address = "http://www.opengis.net/def/crs/EPSG/0/4258";
    let by_address = gml(address, "52.125 5.25 52.125 5.252 52.126 5.252 52.125 5.25");
    let by_code = gml("EPSG:4258", "5.25 52.125 5.252 52.125 5.252 52.126 5.25 52.125");
    let (first, _) = sound(&survey("a.gml", &by_address), &asked());
    let (second, _) = sound(&survey("a.gml", &by_code), &asked());
    assert_eq!(first.parts, second.parts);
    assert_eq!((first.parts[0].exterior[1].longitude, first.frame.name.as_str()), (5.252, "ETRS89"));
}

const TWO: &str = r#"{"type":"FeatureCollection","features":[
{"type":"Feature","properties":{"name":"North","crop":"oats"},"geometry":{"type":"Polygon","coordinates":[[[5.25,52.125],[5.252,52.125],[5.252,52.126],[5.25,52.125]]]}},
{"type":"Feature","properties":{"name":"South","crop":"rye"},"geometry":{"type":"Polygon","coordinates":[[[5.25,52.115],[5.252,52.115],[5.252,52.116],[5.25,52.115]]]}}]}"#;

#[test]
fn one_of_several_is_chosen_by_name_attribute_or_place() {
    let two = survey("two.geojson", TWO);
    let south = [
        Choice::Name("South".into()),
        Choice::Index(2),
        Choice::Where { key: "Crop".into(), value: "rye".into() },
    ];
    for choice in south {
        let (field, _) = sound(&two, &Asked { choice, ..asked() });
        assert_eq!(field.names, ["South"]);
    }
    let told = field(&two, &asked());
    let hint = told.findings[0].hint.clone().unwrap();
    assert!(hint.contains("1 `North`, 2 `South`"), "{hint}");
    for choice in [Choice::Name("West".into()), Choice::Index(0), Choice::Index(3)] {
        assert_eq!(refused(&two, &Asked { choice, ..asked() }), ["field/boundary-choice"]);
    }
}

#[test]
fn corners_obstacles_and_ways_in_come_from_one_table() {
    let text = "name;code;lat;lon;radius\nA;corner;52,125;5,25;\nB;corner;52,125;5,252;\nC;corner;52,126;5,252;\nD;corner;52,126;5,25;\n7;pole;52,1255;5,251;0,4\n8;tree 2.5;52,1256;5,2512;\nroad;gate;52,125;5,2512;\n9;mast;52,1255;5,2511;\nfar;pole;52,2;5,251;1\nB1;base;52,1;5,2;\n";
    let (field, rules) = sound(&survey("a.csv", text), &asked());
    assert_eq!(field.parts[0].exterior.len(), 4);
    let obstacles: Vec<(&str, &ObstacleShape)> =
        field.obstacles.iter().map(|obstacle| (obstacle.name.as_str(), &obstacle.shape)).collect();
    let circle = |latitude, longitude, radius| ObstacleShape::Circle {
        centre: GeoPoint { longitude, latitude },
        radius: Length::m(radius),
    };
    assert_eq!(
        obstacles,
        [("pole 7", &circle(52.1255, 5.251, 0.4)), ("tree 8", &circle(52.1256, 5.2512, 2.5))]
    );
    assert_eq!(field.entrances, [("gate road".to_owned(), GeoPoint { longitude: 5.2512, latitude: 52.125 })]);
    assert_eq!(rules, ["survey/obstacle-without-radius"]);
}

/// What is written is read back the same, to the last of its nine decimals.
#[test]
fn the_clean_file_is_read_back() {
    let text = "name;code;lat;lon;radius;clearance\nA;corner;52,125;5,25;;\nD;corner;52,126;5,25;;\nC;corner;52,126;5,252;;\nB;corner;52,1250000004;5,252;;\n7;pole;52,1255;5,251;0,4;1,5\nroad;gate;52,125;5,2512;;\n";
    let (first, _) = sound(&survey("a.csv", text), &asked());
    let written = report::clean_file(std::slice::from_ref(&first)).to_geojson();
    let (again, rules) = sound(&survey("clean.geojson", &written), &asked());
    assert_eq!(rules, [""; 0]);
    assert_eq!((&again.obstacles, &again.entrances), (&first.obstacles, &first.entrances));
    let exterior = &again.parts[0].exterior;
    assert_eq!(exterior.len(), 4);
    assert_eq!(exterior[1], GeoPoint { longitude: 5.252, latitude: 52.126 }, "{written}");
    let plane = plane::Plane::about(exterior[0]);
    let outline: Vec<[f64; 2]> = exterior.iter().map(|&corner| plane.metres(corner)).collect();
    assert!(plane::area(&outline) > 0.0, "counter-clockwise");
    assert_eq!(report::clean_file(&[again]).to_geojson(), written);
}

fn walk(points: &[[f64; 2]]) -> Survey {
    let plane = plane::Plane::about(GeoPoint { longitude: 5.25, latitude: 52.125 });
    let places: Vec<String> = points
        .iter()
        .map(|&point| plane.point(point))
        .map(|place| format!("[{:.9},{:.9}]", place.longitude, place.latitude))
        .collect();
    survey("walk.geojson", &format!(r#"{{"type":"LineString","coordinates":[{}]}}"#, places.join(",")))
}

/// Round a square of 100 m in steps of 1 m.
fn square(steps: std::ops::Range<u32>) -> Vec<[f64; 2]> {
    steps
        .map(|step| {
            let along = f64::from(step % 100);
            match (step / 100) % 4 {
                0 => [along, 0.0],
                1 => [100.0, along],
                2 => [100.0 - along, 100.0],
                _ => [0.0, 100.0 - along],
            }
        })
        .collect()
}

#[track_caller]
fn holds_a_hectare(field: &FieldSurvey) {
    let size = report::size(field).unwrap();
    // The plane in which the walk was made is good to a few tenths of a per cent.
    assert!((size.area.to_m2() - 10_000.0).abs() < 60.0, "{size:?}");
}

#[test]
fn a_walk_is_cleaned_of_what_a_receiver_leaves_in_it() {
    let (field, rules) = sound(&walk(&square(0..400)), &asked());
    assert_eq!(rules, ["survey/closed"]);
    holds_a_hectare(&field);

    let mut away = square(0..400);
    away[150] = [140.0, 30.0];
    let (field, rules) = sound(&walk(&away), &asked());
    assert_eq!(rules, ["survey/outliers", "survey/closed"]);
    holds_a_hectare(&field);

    let mut rested = square(0..400);
    for k in 0..30 {
        rested.insert(50, [50.0 + 0.01 * f64::from(k % 3), 0.01 * f64::from(k % 2)]);
    }
    let (field, rules) = sound(&walk(&rested), &asked());
    assert_eq!(rules, ["survey/stood-still", "survey/closed"]);
    assert!(field.parts[0].exterior.len() <= 400);

    let (field, rules) = sound(&walk(&square(0..430)), &asked());
    assert_eq!(rules, ["survey/past-start"]);
    holds_a_hectare(&field);
}

#[test]
fn a_walk_that_does_not_come_round_is_refused() {
    let told = field(&walk(&square(0..350)), &asked());
    assert!(told.value.is_none());
    assert_eq!(told.findings[0].rule, "survey/open");
    assert!(told.findings[0].message.contains("51.0 m apart"), "{}", told.findings[0].message);
    let mut lost = square(0..400);
    lost.drain(120..150);
    let (_, rules) = sound(&walk(&lost), &asked());
    assert_eq!(rules, ["survey/gap", "survey/closed"]);
}

#[test]
fn what_encloses_nothing_is_refused() {
    assert_eq!(refused(&walk(&[[0.0, 0.0], [5.0, 5.0]]), &asked()).last(), Some(&"field/few-corners"));
    let line = [[0.0, 0.0], [40.0, 0.0], [80.0, 0.0], [120.0, 0.0]];
    assert_eq!(refused(&walk(&line), &asked()).last(), Some(&"survey/open"));
    let text = "lat,lon\n52.125,5.25\n52.125,5.251\n52.125,5.252\n52.125,5.253\n";
    assert_eq!(refused(&survey("a.csv", text), &asked()), ["field/zero-area"]);
    let metres = r#"{"type":"Polygon","coordinates":[[[500000,5700000],[500100,5700000],[500100,5700100]]]}"#;
    assert_eq!(refused(&survey("a.geojson", metres), &asked()), ["survey/frame-missing"]);
    let beyond = r#"{"type":"Polygon","coordinates":[[[5,152],[5.1,152],[5.1,152.1],[5,152]]]}"#;
    assert_eq!(refused(&survey("a.geojson", beyond), &asked()), ["job/no-such-place"]);
}

#[test]
fn a_crossing_is_refused_with_its_place_or_cut() {
    let text = r#"{"type":"Polygon","coordinates":[[[5.25,52.125],[5.252,52.127],[5.252,52.125],[5.25,52.127],[5.25,52.125]]]}"#;
    let tie = survey("a.geojson", text);
    let told = field(&tie, &asked());
    assert_eq!(told.findings[0].rule, "field/self-crossing");
    let place = told.findings[0].place.unwrap();
    assert!((place.latitude - 52.126).abs() < 1e-6 && (place.longitude - 5.251).abs() < 1e-6);
    assert!(told.findings[0].span.is_some());
    let (field, rules) = sound(&tie, &Asked { crossings: Crossings::Cut, ..asked() });
    assert_eq!((field.parts.len(), rules), (2, vec!["survey/parted"]));
}

#[test]
fn holes_stay_with_their_part_and_strangers_are_refused() {
    let ring = |west: f64, south: f64, size: f64| {
        format!(
            "[[{west},{south}],[{},{south}],[{},{}],[{west},{}],[{west},{south}]]",
            west + size,
            west + size,
            south + size,
            south + size
        )
    };
    let polygon = |rings: &[String]| format!("[{}]", rings.join(","));
    let two = format!(
        r#"{{"type":"MultiPolygon","coordinates":[{},{}]}}"#,
        polygon(&[ring(5.25, 52.125, 0.002), ring(5.251, 52.126, 0.0002)]),
        polygon(&[ring(5.26, 52.125, 0.002)])
    );
    let (both, _) = sound(&survey("a.geojson", &two), &asked());
    assert_eq!(both.parts.iter().map(|part| part.holes.len()).collect::<Vec<_>>(), [1, 0]);
    let stranger = format!(
        r#"{{"type":"Polygon","coordinates":{}}}"#,
        polygon(&[ring(5.25, 52.125, 0.002), ring(5.3, 52.126, 0.0002)])
    );
    assert_eq!(refused(&survey("a.geojson", &stranger), &asked()), ["field/hole-outside"]);
    let across = format!(
        r#"{{"type":"Polygon","coordinates":{}}}"#,
        polygon(&[ring(5.25, 52.125, 0.002), ring(5.2518, 52.126, 0.0004)])
    );
    assert_eq!(refused(&survey("a.geojson", &across), &asked()), ["field/hole-outside"]);
}

/// What the program itself emits is a survey too: every demo job's task data set gives back its
/// boundary to the last decimal, and its small obstacles as they are.
#[test]
fn an_emitted_task_data_set_gives_its_fields_back() {
    let golden = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../golden");
    for job in ["plain-field", "pond-and-pole"] {
        let text = std::fs::read_to_string(golden.join(job).join("TASKDATA/TASKDATA.XML")).unwrap();
        let (field, rules) = sound(&survey("TASKDATA.XML", &text), &asked());
        assert_eq!(rules, [""; 0], "{job}");
        let plan = std::fs::read_to_string(golden.join(job).join("plan.geojson")).unwrap();
        let plan = survey("plan.geojson", &plan);
        let choice = Choice::Where { key: "kind".into(), value: "boundary".into() };
        let (planned, _) = sound(&plan, &Asked { choice, ..asked() });
        assert_eq!(field.parts, planned.parts, "{job}");
        assert_eq!(field.obstacles.len(), if job == "plain-field" { 0 } else { 2 }, "{job}");
    }
}
