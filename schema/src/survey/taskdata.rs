//! Partfields of an ISO 11783-10 task data set, of whatever version and writer: boundaries,
//! obstacles, ways in.
//!
//! Reads no more than the elements PFD, PLN, LSG and PNT, and these leniently, since a flaw in some
//! task must not keep a field from being read; [`taskdata`](crate::taskdata) reads the rest
//! strictly. Partfields in files of their own (XFR) are read where they lie beside. Positions are
//! WGS 84 by the standard.

use super::{Beside, Content, Format, Geometry, Refusal, Shape, StatedFrame, Vertex, xml};
use quick_xml::events::{BytesStart, Event};
use quick_xml::{Reader, XmlVersion};

/// Reads the text of `TASKDATA.XML`.
pub fn read(text: &str, beside: &mut Beside<'_>) -> Result<Content, Refusal> {
    let mut set = Set::default();
    set.read(text)?;
    let mut oddities = Vec::new();
    for name in std::mem::take(&mut set.external) {
        match beside(&format!("{name}.XML")).or_else(|| beside(&format!("{name}.xml"))) {
            Some(bytes) => set.read(&String::from_utf8_lossy(&bytes))?,
            None => oddities.push(format!("the file `{name}.XML` that it refers to is not there")),
        }
    }
    if set.shapes.is_empty() {
        return Err(Refusal::new("has no partfield with a boundary")
            .hint("let the program that wrote it export the fields' boundaries (PFD with PLN)"));
    }
    if set.unplaced > 0 {
        oddities.push(format!("{} points have no position that can be read", set.unplaced));
    }
    Ok(Content { format: Format::TaskData, frame: StatedFrame::ByFormat, shapes: set.shapes, oddities })
}

#[derive(Default)]
struct Set {
    shapes: Vec<Shape>,
    external: Vec<String>,
    unplaced: usize,
    field: Option<Field>,
    polygon: Option<Polygon>,
    line: Option<Line>,
}

/// An open PFD.
#[derive(Default)]
struct Field {
    attributes: Vec<(String, String)>,
    boundary: Vec<Vec<Vec<Vertex>>>,
    others: Vec<Shape>,
}

/// An open PLN.
struct Polygon {
    kind: u8,
    name: Option<String>,
    exteriors: Vec<Vec<Vertex>>,
    holes: Vec<Vec<Vertex>>,
}

/// An open LSG.
struct Line {
    kind: u8,
    vertices: Vec<Vertex>,
}

impl Set {
    fn read(&mut self, text: &str) -> Result<(), Refusal> {
        let text = text.trim_start_matches('\u{feff}');
        xml::check(text)?;
        let mut reader = Reader::from_str(text);
        loop {
            let event = reader.read_event().map_err(|error| Refusal::new(format!("is not XML: {error}")))?;
            match event {
                Event::Start(element) => self.open(&element),
                Event::Empty(element) => {
                    self.open(&element);
                    self.close(element.local_name().as_ref());
                }
                Event::End(element) => self.close(element.local_name().as_ref()),
                Event::Eof => return Ok(()),
                _ => {}
            }
        }
    }

    fn open(&mut self, element: &BytesStart) {
        match element.local_name().as_ref() {
            "XFR" => {
                let name = attribute(element, "A").filter(|name| name.starts_with("PFD"));
                self.external.extend(name);
            }
            "PFD" => {
                let keys = [("name", "C"), ("id", "A"), ("code", "B")];
                let attributes = keys.into_iter().filter_map(|(key, letter)| {
                    let value = attribute(element, letter).filter(|value| !value.trim().is_empty())?;
                    Some((if key == "code" { "number" } else { key }.to_owned(), value.trim().to_owned()))
                });
                self.field = Some(Field { attributes: attributes.collect(), ..Field::default() });
            }
            "PLN" => {
                let (kind, name) = (code(element), attribute(element, "B"));
                self.polygon = Some(Polygon { kind, name, exteriors: vec![], holes: vec![] });
            }
            "LSG" => self.line = Some(Line { kind: code(element), vertices: vec![] }),
            "PNT" => self.point(element),
            _ => {}
        }
    }

    fn point(&mut self, element: &BytesStart) {
        let number = |letter: &str| attribute(element, letter)?.trim().parse::<f64>().ok();
        let Some((latitude, longitude)) = number("C").zip(number("D")) else {
            self.unplaced += 1;
            return;
        };
        let vertex = Vertex::new(longitude, latitude);
        match (&mut self.line, &mut self.field) {
            (Some(line), _) => line.vertices.push(vertex),
            (None, Some(field)) => {
                let kind = match code(element) {
                    FIELD_ACCESS => "entrance",
                    OBSTACLE_POINT => "obstacle",
                    _ => return,
                };
                let attributes = described(kind, attribute(element, "B"));
                field.others.push(Shape { attributes, geometry: Geometry::Point(vertex) });
            }
            (None, None) => {}
        }
    }

    fn close(&mut self, name: &str) {
        match name {
            "LSG" => {
                let Some(line) = self.line.take().filter(|line| !line.vertices.is_empty()) else { return };
                let Some(polygon) = &mut self.polygon else { return };
                match line.kind {
                    EXTERIOR => polygon.exteriors.push(line.vertices),
                    INTERIOR => polygon.holes.push(line.vertices),
                    _ => {}
                }
            }
            "PLN" => {
                if let (Some(polygon), Some(field)) = (self.polygon.take(), &mut self.field) {
                    polygon.end(field);
                }
            }
            "PFD" => {
                let Some(field) = self.field.take() else { return };
                if !field.boundary.is_empty() {
                    let geometry = Geometry::Polygons(field.boundary);
                    self.shapes.push(Shape { attributes: field.attributes, geometry });
                    self.shapes.extend(field.others);
                }
            }
            _ => {}
        }
    }
}

const BOUNDARY: u8 = 1;
const EXTERIOR: u8 = 1;
const INTERIOR: u8 = 2;
const FIELD_ACCESS: u8 = 3;
const OBSTACLE_POINT: u8 = 5;

impl Polygon {
    /// Gives the polygon to its field: version 3 lets one have several exteriors, whose holes are
    /// then the last one's.
    fn end(self, field: &mut Field) {
        let mut polygons: Vec<Vec<Vec<Vertex>>> =
            self.exteriors.into_iter().map(|exterior| vec![exterior]).collect();
        if let Some(last) = polygons.last_mut() {
            last.extend(self.holes);
        }
        match obstacle(self.kind) {
            _ if self.kind == BOUNDARY => field.boundary.extend(polygons),
            Some(name) if !polygons.is_empty() => {
                let attributes = described("obstacle", self.name.or_else(|| Some(name.to_owned())));
                field.others.push(Shape { attributes, geometry: Geometry::Polygons(polygons) });
            }
            _ => {}
        }
    }
}

/// The kinds of polygon that no machine may enter.
const fn obstacle(kind: u8) -> Option<&'static str> {
    match kind {
        3 => Some("water"),
        4 => Some("building"),
        6 => Some("obstacle"),
        12 => Some("windbreak"),
        _ => None,
    }
}

fn described(kind: &str, name: Option<String>) -> Vec<(String, String)> {
    let name = name.filter(|name| !name.trim().is_empty()).map(|name| ("name".to_owned(), name));
    std::iter::once(("kind".to_owned(), kind.to_owned())).chain(name).collect()
}

fn code(element: &BytesStart) -> u8 {
    attribute(element, "A").and_then(|text| text.trim().parse().ok()).unwrap_or(0)
}

fn attribute(element: &BytesStart, letter: &str) -> Option<String> {
    let found = element.attributes().flatten().find(|attribute| attribute.key.as_ref() == letter)?;
    found.normalized_value(XmlVersion::Explicit1_0).ok().map(std::borrow::Cow::into_owned)
}
