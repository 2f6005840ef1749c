//! Elements as XML text and back: UTF-8 without byte order mark or namespace, two spaces of indent,
//! attributes in the order of their letters, children in the order of their lists.
//!
//! The reader is as lenient as the standard asks of a reader: it passes over elements and
//! attributes that it does not know, since manufacturers add their own. It does not resolve
//! references between elements.

use super::value::Attribute;
use quick_xml::events::{BytesDecl, BytesEnd, BytesStart, Event};
use quick_xml::{Reader, Writer, XmlVersion};
use std::fmt;

/// Elements nest at most this deep in the standard's files, with room to spare.
const DEEPEST: usize = 64;

/// An element of the standard.
pub trait Element: Sized {
    /// Its name in XML.
    const TAG: &'static str;
    /// As a node with its attributes and children.
    fn to_node(&self) -> Node;
    /// From a node of this name.
    fn from_node(node: &Node) -> Result<Self, ReadError>;
}

/// An XML element without meaning.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Node {
    tag: String,
    attributes: Vec<(String, String)>,
    children: Vec<Node>,
}

/// Why a text could not be read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReadError {
    /// The element, with those around it.
    pub element: String,
    /// What is wrong with it.
    pub problem: String,
}

impl fmt::Display for ReadError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.element, self.problem)
    }
}

impl std::error::Error for ReadError {}

/// The whole file, given its root element.
///
/// # Panics
/// Never: writing into memory does not fail, and XML made of text is text.
pub fn write<E: Element>(root: &E) -> String {
    let mut bytes = Vec::new();
    let mut writer = Writer::new_with_indent(&mut bytes, b' ', 2);
    writer
        .write_event(Event::Decl(BytesDecl::new("1.0", Some("UTF-8"), None)))
        .and_then(|()| write_node(&mut writer, &root.to_node()))
        .expect("writing into memory does not fail");
    bytes.push(b'\n');
    String::from_utf8(bytes).expect("XML made of text is text")
}

/// The root element of a file.
pub fn read<E: Element>(text: &str) -> Result<E, ReadError> {
    let root = parse(text.trim_start_matches('\u{FEFF}'))?;
    if root.tag != E::TAG {
        return Err(ReadError {
            element: root.tag,
            problem: format!("the file's outermost element must be {}", E::TAG),
        });
    }
    E::from_node(&root)
}

impl Node {
    pub(super) fn new(tag: &str) -> Self {
        Self { tag: tag.to_owned(), attributes: Vec::new(), children: Vec::new() }
    }

    /// Adds an attribute; one whose name is a letter goes to its place in the alphabet.
    pub(super) fn set<A: Attribute>(&mut self, key: &str, value: Option<&A>) {
        let Some(value) = value else { return };
        let place = if key.len() == 1 {
            self.attributes.partition_point(|(other, _)| other.as_str() < key)
        } else {
            self.attributes.len()
        };
        self.attributes.insert(place, (key.to_owned(), value.to_text()));
    }

    pub(super) fn add<E: Element>(&mut self, children: &[E]) {
        self.children.extend(children.iter().map(Element::to_node));
    }

    pub(super) fn required<A: Attribute>(&self, key: &str) -> Result<A, ReadError> {
        let text = self.get(key).ok_or_else(|| self.error(format!("attribute {key} is missing")))?;
        A::from_text(text).map_err(|problem| self.error(format!("attribute {key}: {problem}")))
    }

    /// An attribute that is there but empty, where its type has no empty value, counts as absent.
    pub(super) fn optional<A: Attribute>(&self, key: &str) -> Result<Option<A>, ReadError> {
        match self.get(key) {
            None => Ok(None),
            Some("") => Ok(A::from_text("").ok()),
            Some(_) => self.required(key).map(Some),
        }
    }

    pub(super) fn many<E: Element>(&self) -> Result<Vec<E>, ReadError> {
        let wanted = self.children.iter().filter(|child| child.tag == E::TAG);
        wanted.map(|child| E::from_node(child).map_err(|error| self.around(error))).collect()
    }

    pub(super) fn maybe<E: Element>(&self) -> Result<Option<E>, ReadError> {
        let mut found = self.many()?;
        match found.len() {
            0 | 1 => Ok(found.pop()),
            count => Err(self.error(format!("{count} {} where at most one may be", E::TAG))),
        }
    }

    pub(super) fn one<E: Element>(&self) -> Result<E, ReadError> {
        self.maybe()?.ok_or_else(|| self.error(format!("{} is missing", E::TAG)))
    }

    fn get(&self, key: &str) -> Option<&str> {
        self.attributes.iter().find(|(other, _)| other == key).map(|(_, value)| value.as_str())
    }

    fn name(&self) -> String {
        match self.get("A") {
            Some(id) if id.starts_with(&self.tag) => id.to_owned(),
            _ => self.tag.clone(),
        }
    }

    fn error(&self, problem: String) -> ReadError {
        ReadError { element: self.name(), problem }
    }

    fn around(&self, error: ReadError) -> ReadError {
        ReadError { element: format!("{} / {}", self.name(), error.element), problem: error.problem }
    }
}

fn write_node(writer: &mut Writer<&mut Vec<u8>>, node: &Node) -> std::io::Result<()> {
    let mut start = BytesStart::new(node.tag.as_str());
    for (key, value) in &node.attributes {
        start.push_attribute((key.as_str(), value.as_str()));
    }
    if node.children.is_empty() {
        return writer.write_event(Event::Empty(start));
    }
    writer.write_event(Event::Start(start))?;
    for child in &node.children {
        write_node(writer, child)?;
    }
    writer.write_event(Event::End(BytesEnd::new(node.tag.as_str())))
}

fn parse(text: &str) -> Result<Node, ReadError> {
    let mut reader = Reader::from_str(text);
    let mut open: Vec<Node> = Vec::new();
    loop {
        let event = reader.read_event().map_err(|error| syntax(&open, &error))?;
        let closed = match event {
            Event::Start(start) => {
                open.push(node_of(&start).map_err(|error| syntax(&open, &error))?);
                if open.len() > DEEPEST {
                    return Err(syntax(&[], &"elements nest too deep"));
                }
                None
            }
            Event::Empty(start) => Some(node_of(&start).map_err(|error| syntax(&open, &error))?),
            Event::End(_) => open.pop(),
            Event::Eof => return Err(syntax(&open, &"the file ends too early")),
            _ => None,
        };
        match (closed, open.last_mut()) {
            (Some(node), Some(parent)) => parent.children.push(node),
            (Some(root), None) => return Ok(root),
            (None, _) => {}
        }
    }
}

fn node_of(start: &BytesStart) -> Result<Node, quick_xml::Error> {
    let mut node = Node::new(start.name().as_ref());
    for attribute in start.attributes() {
        let attribute = attribute?;
        let value = attribute.normalized_value(XmlVersion::Explicit1_0)?.into_owned();
        node.attributes.push((attribute.key.as_ref().to_owned(), value));
    }
    Ok(node)
}

fn syntax(open: &[Node], problem: &dyn fmt::Display) -> ReadError {
    let names: Vec<String> = open.iter().map(Node::name).collect();
    let element = if names.is_empty() { "XML".to_owned() } else { names.join(" / ") };
    ReadError { element, problem: problem.to_string() }
}

#[cfg(test)]
mod tests {
    use crate::taskdata::*;

    const HEAD: &str = r#"<ISO11783_TaskData VersionMajor="4" VersionMinor="3" ManagementSoftwareManufacturer="x" ManagementSoftwareVersion="1" DataTransferOrigin="1""#;

    fn problem(body: &str) -> String {
        read::<TaskData>(&format!("{HEAD}>{body}</ISO11783_TaskData>")).unwrap_err().to_string()
    }

    #[test]
    fn attributes_stand_in_the_order_of_their_letters() {
        let mut field = Partfield::new(PartfieldId::office(1), Text::cut("Long & Low").text, 12_000);
        field.code = Some(Text::cut("7").text);
        assert_eq!(
            write(&field),
            "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<PFD A=\"PFD1\" B=\"7\" C=\"Long &amp; Low\" D=\"12000\"/>\n"
        );
    }

    #[test]
    fn names_survive_every_character_that_xml_escapes() {
        let farm = Farm::new(FarmId::office(1), Text::cut("<Tom & Jo's> \"Nook\"").text);
        assert_eq!(read::<Farm>(&write(&farm)), Ok(farm));
    }

    #[test]
    fn what_the_standard_does_not_know_is_passed_over() {
        let text = format!(
            "\u{FEFF}{HEAD} lang=\"en\"><P123_Own A=\"1\"/><FRM A=\"FRM1\" B=\"Farm\" P1=\"2\"/></ISO11783_TaskData>"
        );
        let set = read::<TaskData>(&text).unwrap();
        assert_eq!(set.farms, [Farm::new(FarmId::office(1), Text::cut("Farm").text)]);
    }

    #[test]
    fn an_empty_optional_attribute_counts_as_absent() {
        let text = format!("{HEAD}><TSK A=\"TSK1\" G=\"1\" H=\"\" C=\"\"/></ISO11783_TaskData>");
        let task = read::<TaskData>(&text).unwrap().tasks.remove(0);
        assert_eq!((task.default_zone, task.customer), (None, None));
    }

    #[test]
    fn a_problem_names_the_element_and_those_around_it() {
        assert_eq!(
            problem("<TSK A=\"TSK4\" G=\"1\"><TZN A=\"300\"/></TSK>"),
            "ISO11783_TaskData / TSK4 / TZN: attribute A: `300` is not a whole number from 0 to 255"
        );
        assert_eq!(problem("<FRM A=\"FRM1\"/>"), "ISO11783_TaskData / FRM1: attribute B is missing");
        assert_eq!(
            problem("<PFD A=\"PFD1\" C=\"x\" D=\"0\"><GGP A=\"GGP1\"><GPN A=\"GPN1\" C=\"1\"/></GGP></PFD>"),
            "ISO11783_TaskData / PFD1 / GGP1 / GPN1: LSG is missing"
        );
        assert!(problem("<TSK A=\"TSK1\" G=\"1\"></PFD>").starts_with("ISO11783_TaskData / TSK1: "));
    }

    #[test]
    fn another_root_and_bottomless_nesting_are_refused() {
        assert!(read::<LinkList>(&format!("{HEAD}/>")).is_err());
        assert!(read::<TaskData>(&"<PDV>".repeat(100_000)).is_err());
        assert!(read::<TaskData>("").is_err());
    }
}
