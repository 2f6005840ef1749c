//! GML 2 and 3 (OGC 07-036): polygons of features, with the plain values beside them.
//!
//! In: the text. Out: a shape for each feature that has polygons, in whatever nesting of surfaces
//! and patches they come. The frame is the first `srsName`; written as a URN or as an address it
//! means that positions follow the order of the frame's own axes, which may be northing first. Not
//! read: arcs, points, references to elements elsewhere.

use super::{Content, Format, Geometry, Refusal, Shape, StatedFrame, Vertex, xml};
use quick_xml::events::{BytesStart, Event};
use quick_xml::{Reader, XmlVersion};

/// Whether an outermost element of this name is a collection of features in GML.
pub fn is_root(name: &str) -> bool {
    name == "FeatureCollection"
}

/// Reads a GML text.
pub fn read(text: &str) -> Result<Content, Refusal> {
    let text = text.trim_start_matches('\u{feff}');
    xml::check(text)?;
    let mut reader = Reader::from_str(text);
    let mut features = Features::default();
    loop {
        let event = reader.read_event().map_err(|error| Refusal::new(format!("is not XML: {error}")))?;
        match event {
            Event::Start(element) => features.open(&element),
            Event::Text(words) => features.text += &words.xml10_content(),
            Event::End(element) => features.close(element.local_name().as_ref())?,
            Event::Eof => break,
            _ => {}
        }
    }
    features.end_feature();
    let frame = features.frame.unwrap_or(StatedFrame::Unnamed);
    Ok(Content { format: Format::Gml, frame, shapes: features.shapes, oddities: vec![] })
}

#[derive(Default)]
struct Features {
    frame: Option<StatedFrame>,
    shapes: Vec<Shape>,
    /// What is open: the element's own words, its numbers to a position, the feature's values.
    text: String,
    width: usize,
    attributes: Vec<(String, String)>,
    polygons: Vec<Vec<Vec<Vertex>>>,
    ring: Vec<Vertex>,
}

impl Features {
    fn open(&mut self, element: &BytesStart) {
        self.text.clear();
        match element.local_name().as_ref() {
            "featureMember" | "member" | "featureMembers" => self.end_feature(),
            "Polygon" | "PolygonPatch" => self.polygons.push(vec![]),
            "LinearRing" => self.ring.clear(),
            _ => {}
        }
        if self.frame.is_none() {
            self.frame = attribute(element, "srsName").map(|name| frame(&name));
        }
        if let Some(width) = attribute(element, "srsDimension").and_then(|width| width.parse().ok()) {
            self.width = width;
        }
    }

    fn close(&mut self, name: &str) -> Result<(), Refusal> {
        let text = std::mem::take(&mut self.text);
        match name {
            "posList" | "pos" => self.positions(&text.split_whitespace().collect::<Vec<_>>())?,
            "coordinates" => {
                for pair in text.split_whitespace() {
                    self.positions(&pair.split(',').collect::<Vec<_>>())?;
                }
            }
            "LinearRing" => {
                let ring = std::mem::take(&mut self.ring);
                if let Some(polygon) = self.polygons.last_mut().filter(|_| !ring.is_empty()) {
                    polygon.push(ring);
                }
            }
            "lowerCorner" | "upperCorner" => {}
            "featureMember" | "member" | "featureMembers" => self.end_feature(),
            _ if !text.trim().is_empty() => self.attributes.push((name.to_owned(), text.trim().to_owned())),
            _ => {}
        }
        Ok(())
    }

    fn positions(&mut self, words: &[&str]) -> Result<(), Refusal> {
        let numbers: Result<Vec<f64>, _> = words.iter().map(|word| word.parse()).collect();
        let numbers = numbers.map_err(|_| Refusal::new("has a position that is no number"))?;
        let width = if self.width == 3 && numbers.len().is_multiple_of(3) { 3 } else { 2 };
        self.ring.extend(numbers.chunks_exact(width).map(|position| Vertex::new(position[0], position[1])));
        Ok(())
    }

    fn end_feature(&mut self) {
        let attributes = std::mem::take(&mut self.attributes);
        let mut polygons = std::mem::take(&mut self.polygons);
        polygons.retain(|rings| !rings.is_empty());
        if !polygons.is_empty() {
            self.shapes.push(Shape { attributes, geometry: Geometry::Polygons(polygons) });
        }
    }
}

fn frame(name: &str) -> StatedFrame {
    let digits: String = name.chars().rev().take_while(char::is_ascii_digit).collect();
    let code: String = digits.chars().rev().collect();
    if code.is_empty() {
        return StatedFrame::Named(name.to_owned());
    }
    let own_order = name.starts_with("urn:") || name.contains("/def/crs/");
    let code = format!("EPSG:{code}");
    if own_order { StatedFrame::NamedInOwnOrder(code) } else { StatedFrame::Named(code) }
}

fn attribute(element: &BytesStart, name: &str) -> Option<String> {
    let found =
        element.attributes().flatten().find(|attribute| attribute.key.local_name().as_ref() == name)?;
    found.normalized_value(XmlVersion::Explicit1_0).ok().map(std::borrow::Cow::into_owned)
}
