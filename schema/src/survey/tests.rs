//! The readers from the outside: a file's name and bytes in, a survey or a problem out.

use super::*;
use std::collections::BTreeMap;

fn read_all(files: &[(&str, &[u8])], path: &str) -> Result<Survey, Problem> {
    let files: BTreeMap<&str, &[u8]> = files.iter().copied().collect();
    read(path, &mut |path, limit| match files.get(path) {
        Some(bytes) if bytes.len() > limit => Err(SourceError::TooLarge),
        Some(bytes) => Ok(bytes.to_vec()),
        None => Err(SourceError::Missing),
    })
}

fn read_text(path: &str, text: &str) -> Result<Survey, Problem> {
    read_all(&[(path, text.as_bytes())], path)
}

fn points(survey: &Survey) -> Vec<(f64, f64)> {
    let place = |shape: &Shape| match &shape.geometry {
        Geometry::Point(vertex) => Some((vertex.x, vertex.y)),
        _ => None,
    };
    survey.shapes.iter().filter_map(place).collect()
}

fn only_polygon(survey: &Survey) -> Vec<Vec<(f64, f64)>> {
    let Geometry::Polygons(polygons) = &survey.shapes[0].geometry else { panic!("{survey:?}") };
    assert_eq!((survey.shapes.len(), polygons.len()), (1, 1));
    polygons[0].iter().map(|ring| ring.iter().map(|vertex| (vertex.x, vertex.y)).collect()).collect()
}

const SQUARE: &str = "[[[5.0,52.0],[5.1,52.0],[5.1,52.1],[5.0,52.0]]]";

#[test]
fn every_wrapping_of_geojson_gives_the_same_shape() {
    let polygon = format!(r#"{{"type":"Polygon","coordinates":{SQUARE}}}"#);
    let multi = format!(r#"{{"type":"MultiPolygon","coordinates":[{SQUARE}]}}"#);
    let feature = format!(r#"{{"type":"Feature","properties":{{"name":"North"}},"geometry":{polygon}}}"#);
    let collection = format!(r#"{{"type":"FeatureCollection","features":[{feature}]}}"#);
    for text in [polygon, multi, feature, collection] {
        let survey = read_text("north.geojson", &text).unwrap();
        assert_eq!((survey.format, &survey.frame), (Format::GeoJson, &StatedFrame::ByFormat));
        let Geometry::Polygons(polygons) = &survey.shapes[0].geometry else { panic!() };
        let corner = &polygons[0][0][1];
        assert_eq!((corner.x, corner.y), (5.1, 52.0));
        assert_eq!(&text[corner.bytes.start as usize..corner.bytes.end as usize], "[5.1,52.0]");
    }
}

#[test]
fn what_is_no_geojson_is_refused_at_its_place() {
    let text = "{\"type\":\n \"Polygon\",\n \"coordinates\": [[[1, 2], [3]]]}";
    let problem = read_text("north.geojson", text).unwrap_err();
    assert!(problem.message.contains("without two numbers"), "{problem:?}");
    assert_eq!(Some(problem.place.unwrap().bytes.start), text.find("[3]"));
    assert!(read_text("a.json", "{").unwrap_err().message.contains("not GeoJSON"));
    let nothing = r#"{"type":"FeatureCollection","features":[]}"#;
    assert!(read_text("a.json", nothing).unwrap_err().message.contains("no polygon"));
    let problem = read_all(&[("a.json", b"{\"name\":\"M\xfchle\"}")], "a.json").unwrap_err();
    assert_eq!(problem.kind, ProblemKind::NotUtf8);
}

#[test]
fn a_crs_member_is_believed() {
    let text = r#"{"type":"Point","crs":{"type":"name","properties":{"name":"urn:ogc:def:crs:EPSG::25832"}},"coordinates":[500000,5700000]}"#;
    let survey = read_text("a.geojson", text).unwrap();
    assert_eq!(survey.frame, StatedFrame::Named("urn:ogc:def:crs:EPSG::25832".into()));
    assert_eq!(points(&survey), [(500_000.0, 5_700_000.0)]);
}

const KML: &str = r#"<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document><Folder><name>Sallow Farm</name>
<Placemark><name>Long Acre</name><ExtendedData><Data name="crop"><value>oats</value></Data><SchemaData schemaUrl="s"><SimpleData name="soil">loam</SimpleData></SchemaData></ExtendedData>
<Polygon><outerBoundaryIs><LinearRing><coordinates>
 5.0,52.0,3 5.1,52.0,3
 5.1,52.1,3 5.0,52.0,3 </coordinates></LinearRing></outerBoundaryIs>
<innerBoundaryIs><LinearRing><coordinates>5.05,52.01 5.06,52.01 5.06,52.02 5.05,52.01</coordinates></LinearRing></innerBoundaryIs></Polygon></Placemark>
</Folder></Document></kml>"#;

#[test]
fn kml_gives_rings_and_attributes() {
    let survey = read_text("a.kml", KML).unwrap();
    let rings = only_polygon(&survey);
    assert_eq!((rings.len(), rings[0].len(), rings[1][0]), (2, 4, (5.05, 52.01)));
    let attribute = |key: &str| survey.shapes[0].attribute(key);
    assert_eq!(attribute("Name"), Some("Long Acre"));
    assert_eq!((attribute("crop"), attribute("soil")), (Some("oats"), Some("loam")));
    assert_eq!(attribute("folder"), Some("Sallow Farm"));
    assert_eq!(survey.shapes[0].names().collect::<Vec<_>>(), ["Long Acre"]);
}

#[test]
fn kml_collections_give_their_polygons_as_parts() {
    let ring = |west: f64| {
        format!(
            "<Polygon><outerBoundaryIs><LinearRing><coordinates>{west},52 {},52 {},53</coordinates></LinearRing></outerBoundaryIs></Polygon>",
            west + 1.0,
            west + 1.0
        )
    };
    let text = format!(
        "<kml><Placemark><MultiGeometry>\n {}\n <Point><coordinates>5,52</coordinates></Point>\n{}</MultiGeometry></Placemark></kml>",
        ring(5.0),
        ring(7.0)
    );
    let survey = read_text("a.kml", &text).unwrap();
    assert_eq!(survey.shapes.len(), 2);
    assert!(matches!(&survey.shapes[0].geometry, Geometry::Polygons(parts) if parts.len() == 2));
}

/// Cut anywhere, a text that was sound is refused or read in part; no reader waits for more.
#[test]
fn a_text_that_ends_early_is_answered() {
    for cut in 0..KML.len() {
        let _ = read_text("a.kml", &KML[..cut]);
    }
    let deep = format!("<kml>{}", "<Folder>".repeat(100_000));
    assert!(read_text("a.kml", &deep).unwrap_err().message.contains("deep"));
    let bomb = "<!DOCTYPE kml [<!ENTITY a \"aaaa\">]><kml>&a;</kml>";
    assert!(read_text("a.kml", bomb).unwrap_err().message.contains("entities"));
}

#[test]
fn tables_are_read_however_they_are_written() {
    let expected = [(5.25, 52.125), (5.5, 52.125), (5.5, 52.25)];
    for text in [
        "lat,lon\n52.125,5.25\n52.125,5.5\n52.25,5.5\n",
        "Longitude;Latitude\n5,25;52,125\n5,5;52,125\n5,5;52,25\n",
        "name\tlatitude [deg]\tlongitude [deg]\th\nA\t52.125\t5.25\t3\nB\t52.125\t5.5\t3\nC\t52.25\t5.5\t3\n",
        "52.125,5.25\n52.125,5.5\n52.25,5.5\n",
        "1,52.125,5.25,40.1,corner\n2,52.125,5.5,40.2,corner\n3,52.25,5.5,40.3,corner\n",
        "# corners\nx,y\n5.25,52.125\n\n5.5,52.125\n5.5,52.25\n",
        "\"name\",\"lat\",\"long\"\r\n\"P,1\",\"52.125\",\"5.25\"\r\nP2,52.125,5.5\r\nP3,52.25,5.5\r\n",
    ] {
        let survey = read_text("corners.csv", text).unwrap();
        assert_eq!(points(&survey), expected, "{text}");
        assert_eq!((survey.format, &survey.frame), (Format::Csv, &StatedFrame::Degrees), "{text}");
    }
}

#[test]
fn tables_keep_names_codes_radii_and_places() {
    let text =
        "Point;Code;Easting;Northing;Radius\nA1;corner;500000,5;5700000,25;\nM1;mast;500010,0;5700010;0,4\n";
    let survey = read_text("corners.csv", text).unwrap();
    assert_eq!(survey.frame, StatedFrame::Metres);
    assert_eq!(points(&survey), [(500_000.5, 5_700_000.25), (500_010.0, 5_700_010.0)]);
    let mast = &survey.shapes[1];
    assert_eq!((mast.attribute("name"), mast.attribute("code")), (Some("M1"), Some("mast")));
    assert_eq!(mast.attribute("radius"), Some("0.4"));
    let Geometry::Point(vertex) = &mast.geometry else { panic!() };
    assert_eq!(&text[vertex.bytes.start as usize..vertex.bytes.end as usize], "M1;mast;500010,0;5700010;0,4");
    let coded = read_text("corners.csv", &format!("# grid: EPSG:25832\n{text}")).unwrap();
    assert_eq!(coded.frame, StatedFrame::Named("EPSG:25832".into()));
}

#[test]
fn what_a_table_lacks_is_told() {
    let survey = read_text("a.csv", "lat,lon\n52,5\nnone,none\n52.1,5\nNaN,5\n52.1,5.1\n").unwrap();
    assert_eq!(points(&survey).len(), 3);
    assert!(survey.oddities[0].contains("2 rows have no position"), "{:?}", survey.oddities);
    assert!(read_text("a.csv", "name,crop\nA,oats\nB,rye\n").unwrap_err().message.contains("no table"));
    let problem = read_text("a.csv", "breadth,depth\n1.5,2.5\n3.5,4.5\n").unwrap_err();
    assert!(problem.message.contains("`breadth`"), "{problem:?}");
    let survey = read_all(&[("a.csv", b"name,lat,lon\nM\xfchle,52,5\n")], "a.csv").unwrap();
    assert_eq!(survey.shapes[0].attribute("name"), Some("Mühle"));
    assert!(survey.oddities[0].contains("Latin-1"));
}

#[test]
fn content_counts_and_not_the_name() {
    let survey = read_text("field.kml", &format!(r#"{{"type":"Polygon","coordinates":{SQUARE}}}"#)).unwrap();
    assert_eq!(survey.format, Format::GeoJson);
    assert!(survey.oddities[0].contains("called `.kml` and holds GeoJSON"), "{:?}", survey.oddities);
    assert_eq!(read_text("gone", "").unwrap_err().message, "`gone` is empty");
    assert_eq!(read_all(&[], "gone.kml").unwrap_err().kind, ProblemKind::MissingFile);
    assert!(read_text("a.html", "<html><body/></html>").unwrap_err().message.contains("`html`"));
    assert!(read_all(&[("a.bin", &[1, 2, 0, 4])], "a.bin").unwrap_err().message.contains("no format"));
}

proptest::proptest! {
    /// Any bytes are read or refused, never a panic.
    #[test]
    fn any_bytes_are_answered(bytes in proptest::collection::vec(proptest::num::u8::ANY, 0..300)) {
        let _ = read_all(&[("a", &bytes)], "a");
    }

    /// So is any text.
    #[test]
    fn any_text_is_answered(text in "(\\PC|\n){0,200}") {
        let _ = read_text("a", &text);
    }

    /// So is GeoJSON with anything for coordinates.
    #[test]
    fn odd_coordinates_are_answered(inside in r#"[\[\]0-9, .e"-]{0,40}"#) {
        let _ = read_text("a", &format!(r#"{{"type":"Polygon","coordinates":{inside}}}"#));
    }

    /// So is any table of numbers and words.
    #[test]
    fn odd_tables_are_answered(text in "([a-z0-9.,;\t\"# -]{0,30}\n){0,8}") {
        let _ = read_text("a.csv", &text);
    }
}
