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
    assert_eq!(survey.frame, StatedFrame::Unnamed);
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

/// The same square of a field, whatever the format.
const CORNERS: [(f64, f64); 5] = [(5.25, 52.125), (5.5, 52.125), (5.5, 52.25), (5.25, 52.25), (5.25, 52.125)];

/// Written by the library that reads it, with an attribute table of the library's too.
fn shapefile() -> [Vec<u8>; 2] {
    use ::shapefile::{Point, Polygon, PolygonRing, ShapeWriter};
    use std::io::Cursor;
    let mut shp = Cursor::new(Vec::new());
    let mut writer = ShapeWriter::new(&mut shp);
    let outer: Vec<Point> = CORNERS.iter().rev().map(|&(x, y)| Point::new(x, y)).collect();
    let inner = [(5.3, 52.2), (5.35, 52.2), (5.35, 52.22), (5.3, 52.2)];
    let inner = inner.iter().map(|&(x, y)| Point::new(x, y)).collect();
    let polygon = Polygon::with_rings(vec![PolygonRing::Outer(outer), PolygonRing::Inner(inner)]);
    writer.write_shape(&polygon).unwrap();
    drop(writer);
    let mut dbf = Cursor::new(Vec::new());
    let mut table = dbase::TableWriterBuilder::new()
        .add_character_field("NAME".try_into().unwrap(), 20)
        .add_numeric_field("HA".try_into().unwrap(), 10, 2)
        .build_with_dest(&mut dbf);
    let mut record = dbase::Record::default();
    record.insert("NAME".into(), dbase::FieldValue::Character(Some("Long Acre".into())));
    record.insert("HA".into(), dbase::FieldValue::Numeric(Some(12.5)));
    table.write_record(&record).unwrap();
    drop(table);
    [shp.into_inner(), dbf.into_inner()]
}

#[test]
fn a_shapefile_is_read_with_what_lies_beside_it() {
    let [shp, dbf] = shapefile();
    let prj = b"GEOGCS[\"GCS_WGS_1984\"]";
    let survey =
        read_all(&[("f/a.shp", &shp), ("f/a.dbf", &dbf), ("f/a.prj", prj), ("f/a.cpg", b"UTF-8")], "f/a.shp")
            .unwrap();
    let rings = only_polygon(&survey);
    assert_eq!(rings.len(), 2);
    assert_eq!(rings[0].iter().rev().copied().collect::<Vec<_>>(), CORNERS);
    assert_eq!(survey.shapes[0].attribute("name"), Some("Long Acre"));
    assert_eq!(survey.shapes[0].attribute("ha"), Some("12.5"));
    assert_eq!(survey.frame, StatedFrame::Named("GEOGCS[\"GCS_WGS_1984\"]".into()));
    assert_eq!(survey.oddities, [""; 0]);
    let alone = read_all(&[("a.shp", &shp)], "a.shp").unwrap();
    assert_eq!(alone.frame, StatedFrame::Unnamed);
    assert!(alone.oddities[0].contains("no `a.dbf`"), "{:?}", alone.oddities);
    for cut in 0..shp.len() {
        let _ = read_all(&[("a.shp", &shp[..cut]), ("a.dbf", &dbf)], "a.shp");
    }
    for cut in 0..dbf.len() {
        let _ = read_all(&[("a.shp", &shp), ("a.dbf", &dbf[..cut])], "a.shp");
    }
}

fn zipped(members: &[(&str, &[u8])]) -> Vec<u8> {
    use std::io::Write;
    let mut writer = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    for (name, bytes) in members {
        writer.start_file(*name, zip::write::SimpleFileOptions::default()).unwrap();
        writer.write_all(bytes).unwrap();
    }
    writer.finish().unwrap().into_inner()
}

#[test]
fn packed_surveys_are_read_and_the_rest_is_told() {
    let [shp, dbf] = shapefile();
    let packed = zipped(&[
        ("farm/a.shp", &shp),
        ("farm/A.DBF", &dbf),
        ("left-behind/farm/._a.shp", b"junk"),
        ("farm/a.shx", b""),
    ]);
    let survey = read_all(&[("a.zip", &packed)], "a.zip").unwrap();
    assert_eq!((survey.format, survey.shapes[0].attribute("NAME")), (Format::Shapefile, Some("Long Acre")));

    let packed = zipped(&[("doc.kml", b"<kml/>"), ("layers/k.kml", KML.as_bytes()), ("photo.png", b"png")]);
    let survey = read_all(&[("a.kmz", &packed)], "a.kmz").unwrap();
    assert_eq!((survey.format, survey.shapes.len()), (Format::Kml, 1));
    assert_eq!(survey.oddities, ["1 other file in it is passed over"]);

    let letter = zipped(&[("letter.docx", b"x")]);
    assert!(
        read_all(&[("a.zip", &letter)], "a.zip")
            .unwrap_err()
            .message
            .contains("no survey, but `letter.docx`")
    );
    for cut in (0..packed.len()).step_by(3) {
        let _ = read_all(&[("a.kmz", &packed[..cut])], "a.kmz");
    }
}

#[test]
fn what_unpacks_to_gigabytes_is_refused() {
    let packed = zipped(&[("a.kml", &vec![b' '; SIZE_LIMIT + 1])]);
    assert!(packed.len() < 1 << 20);
    assert!(read_all(&[("a.kmz", &packed)], "a.kmz").unwrap_err().message.contains("more than 256 MiB"));
}

#[test]
fn gpx_gives_tracks_and_waypoints() {
    let points: String = CORNERS.iter().map(|(x, y)| format!("<trkpt lat=\"{y}\" lon=\"{x}\"/>")).collect();
    let text = format!(
        "<?xml version=\"1.0\"?><gpx version=\"1.1\" creator=\"walk\" xmlns=\"http://www.topografix.com/GPX/1/1\"><wpt lat=\"52.2\" lon=\"5.3\"><name>7</name><type>pole 0.4</type></wpt><trk><name>Long Acre</name><trkseg>{points}</trkseg></trk></gpx>"
    );
    let survey = read_text("a.gpx", &text).unwrap();
    assert_eq!(survey.format, Format::Gpx);
    let Geometry::Line(line) = &survey.shapes[0].geometry else { panic!() };
    assert_eq!(line.iter().map(|v| (v.x, v.y)).collect::<Vec<_>>(), CORNERS);
    assert_eq!(survey.shapes[0].attribute("name"), Some("Long Acre"));
    assert_eq!(survey.shapes[1].attribute("code"), Some("pole 0.4"));
    for cut in 0..text.len() {
        let _ = read_text("a.gpx", &text[..cut]);
    }
}

#[test]
fn gml_gives_features_and_the_order_of_their_axes() {
    let text = |frame: &str| {
        let list: String = CORNERS.iter().map(|(x, y)| format!("{y} {x} ")).collect();
        format!(
            "<w:FeatureCollection xmlns:w=\"w\" xmlns:gml=\"g\"><gml:boundedBy><gml:Envelope srsName=\"{frame}\"><gml:lowerCorner>52 5</gml:lowerCorner></gml:Envelope></gml:boundedBy><gml:featureMember><f><n:name xmlns:n=\"n\">Long Acre</n:name><gml:MultiSurface><gml:surfaceMember><gml:Surface><gml:patches><gml:PolygonPatch><gml:exterior><gml:LinearRing><gml:posList>{list}</gml:posList></gml:LinearRing></gml:exterior></gml:PolygonPatch></gml:patches></gml:Surface></gml:surfaceMember></gml:MultiSurface></f></gml:featureMember></w:FeatureCollection>"
        )
    };
    let address = text("http://www.opengis.net/def/crs/EPSG/0/4258");
    let survey = read_text("a.gml", &address).unwrap();
    assert_eq!(survey.frame, StatedFrame::NamedInOwnOrder("EPSG:4258".into()));
    assert_eq!(only_polygon(&survey)[0], CORNERS.map(|(x, y)| (y, x)));
    assert_eq!(survey.shapes[0].attribute("name"), Some("Long Acre"));
    assert_eq!(read_text("a.gml", &text("EPSG:4258")).unwrap().frame, StatedFrame::Named("EPSG:4258".into()));
    for cut in 0..address.len() {
        let _ = read_text("a.gml", &address[..cut]);
    }
}

/// The example sentence of many receivers' manuals, with its checksum; degrees by hand:
/// 48 + 7.038 / 60, 11 + 31.000 / 60.
#[test]
fn a_log_gives_fixes_with_quality_and_height() {
    let good = "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47";
    let text = format!(
        "# a walk\r\n{good}\r\n$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A\r\n{}\r\n$GPGGA,123520,,,,,0,00,,,M,,M,,*61\r\n",
        good.replace("*47", "*48")
    );
    let survey = read_text("walk.log", &text).unwrap();
    let Geometry::Fixes(fixes) = &survey.shapes[0].geometry else { panic!() };
    assert_eq!(fixes.len(), 1);
    let fix = &fixes[0];
    assert!((fix.vertex.y - 48.1173).abs() < 1e-12 && (fix.vertex.x - (11.0 + 31.0 / 60.0)).abs() < 1e-12);
    assert_eq!((fix.quality, fix.height_m.map(f64::round)), (1, Some(545.0)));
    assert_eq!(&text[fix.vertex.bytes.start as usize..fix.vertex.bytes.end as usize], good);
    assert!(survey.oddities[0].starts_with("1 of 3 GGA sentences are damaged"), "{:?}", survey.oddities);
    assert!(survey.oddities[1].starts_with("1 of 3 GGA sentences are without"), "{:?}", survey.oddities);
    let none = good.replace("*47", "*48");
    assert!(read_text("walk.log", &none).unwrap_err().message.contains("without a position"));
}

const TASK_DATA: &str = r#"<?xml version="1.0" encoding="UTF-8"?>
<ISO11783_TaskData VersionMajor="3" VersionMinor="0" DataTransferOrigin="1">
<PFD A="PFD1" B="7" C="Long Acre" D="100"><PLN A="1"><LSG A="1"><PNT A="2" C="52.125" D="5.25"/><PNT A="2" C="52.125" D="5.5"/><PNT A="2" C="52.25" D="5.5"/><PNT A="2" C="52.25" D="5.25"/><PNT A="2" C="52.125" D="5.25"/></LSG></PLN>
<PLN A="6" B="silo"><LSG A="1"><PNT A="2" C="52.2" D="5.3"/><PNT A="2" C="52.2" D="5.31"/><PNT A="2" C="52.21" D="5.31"/></LSG></PLN>
<PNT A="3" B="gate" C="52.125" D="5.3"/><GGP A="GGP1"><GPN A="GPN1" C="1"><LSG A="5"><PNT A="6" C="52" D="5"/></LSG></GPN></GGP></PFD>
<XFR A="PFD00001" B="1"/><TSK A="TSK1" G="oops"/></ISO11783_TaskData>"#;
const EXTERNAL: &str = r#"<XFC><PFD A="PFD2" C="Short Acre" D="1"><PLN A="1"><LSG A="1"><PNT A="10" C="52" D="5"/><PNT A="10" C="52" D="5.1"/><PNT A="10" C="52.1" D="5.1"/></LSG></PLN></PFD></XFC>"#;

#[test]
fn a_task_data_set_gives_its_partfields() {
    let files: [(&str, &[u8]); 2] = [
        ("set/TASKDATA/TASKDATA.XML", TASK_DATA.as_bytes()),
        ("set/TASKDATA/PFD00001.XML", EXTERNAL.as_bytes()),
    ];
    for path in ["set", "set/", "set/TASKDATA", "set/TASKDATA/TASKDATA.XML"] {
        let survey = read_all(&files, path).unwrap();
        assert_eq!((survey.format, survey.shapes.len()), (Format::TaskData, 4), "{path}");
        let Geometry::Polygons(polygons) = &survey.shapes[0].geometry else { panic!() };
        assert_eq!(polygons[0][0].iter().map(|v| (v.x, v.y)).collect::<Vec<_>>(), CORNERS);
        assert_eq!(survey.shapes[0].names().collect::<Vec<_>>(), ["Long Acre", "PFD1"]);
        assert_eq!(survey.shapes[1].attribute("kind"), Some("obstacle"));
        assert_eq!(
            (survey.shapes[2].attribute("kind"), survey.shapes[2].attribute("name")),
            (Some("entrance"), Some("gate"))
        );
        assert_eq!(survey.shapes[3].attribute("name"), Some("Short Acre"));
    }
    let packed =
        zipped(&[("TASKDATA/TASKDATA.XML", TASK_DATA.as_bytes()), ("TASKDATA/._TASKDATA.XML", b"junk")]);
    let survey = read_all(&[("set.zip", &packed)], "set.zip").unwrap();
    assert_eq!(survey.shapes.len(), 3);
    assert!(survey.oddities[0].contains("PFD00001"), "{:?}", survey.oddities);
    for cut in 0..TASK_DATA.len() {
        let _ = read_text("TASKDATA.XML", &TASK_DATA[..cut]);
    }
}

/// Written by GDAL (pyogrio), with a page of 512 bytes so that rows overflow their pages.
const PACKAGE: &[u8] = include_bytes!("long-acre.gpkg");

#[test]
fn a_geopackage_is_read() {
    let survey = read_all(&[("a.gpkg", PACKAGE)], "a.gpkg").unwrap();
    assert_eq!((survey.format, &survey.frame), (Format::GeoPackage, &StatedFrame::Named("EPSG:4258".into())));
    assert_eq!(survey.shapes.len(), 3);
    let Geometry::Polygons(polygons) = &survey.shapes[0].geometry else { panic!() };
    assert_eq!(polygons[0][0].iter().map(|v| (v.x, v.y)).collect::<Vec<_>>(), CORNERS);
    assert_eq!((polygons[0].len(), survey.shapes[0].attribute("name")), (2, Some("Long Acre")));
    assert!(matches!(&survey.shapes[1].geometry, Geometry::Polygons(parts) if parts.len() == 2));
    let Geometry::Polygons(polygons) = &survey.shapes[2].geometry else { panic!() };
    assert_eq!(polygons[0][0].len(), 201, "a row of several pages");
}

#[test]
fn a_damaged_geopackage_is_answered() {
    for cut in (0..PACKAGE.len()).step_by(97) {
        let _ = read_all(&[("a.gpkg", &PACKAGE[..cut])], "a.gpkg");
    }
    let mut state = 1_u32;
    for _ in 0..300 {
        let mut damaged = PACKAGE.to_vec();
        for _ in 0..8 {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let at = state as usize % damaged.len();
            damaged[at] = (state >> 24) as u8;
        }
        let _ = read_all(&[("a.gpkg", &damaged)], "a.gpkg");
    }
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
