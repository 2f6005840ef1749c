//! Which of a survey's shapes is the field.
//!
//! In: the survey and what was asked for. Out: the outline that is meant, with its attributes, or a
//! finding that lists what there is. Polygons come first; a file without any may hold walked lines,
//! or corners one by one.

use super::points::{Role, role};
use crate::diagnostic::Finding;
use crate::rules;
use lanewright_schema::survey::{Fix, Geometry, Shape, Survey, Vertex};
use std::collections::BTreeSet;

/// Which shape is asked for.
#[derive(Clone, Debug, PartialEq)]
pub enum Choice {
    /// The only one.
    Only,
    /// The one of this name.
    Name(String),
    /// The one whose attribute has this value.
    Where {
        /// The attribute's name, of any case.
        key: String,
        /// Its value.
        value: String,
    },
    /// The one at this place, counted from 1.
    Index(usize),
}

/// A shape that could be the field.
#[derive(Clone, Debug)]
pub struct Candidate {
    /// What it is called.
    pub names: Vec<String>,
    /// What the file says of it.
    pub attributes: Vec<(String, String)>,
    /// Its outline as written.
    pub outline: Outline,
}

/// How an outline is written.
#[derive(Clone, Debug)]
pub enum Outline {
    /// As polygons.
    Drawn(Vec<Vec<Vec<Vertex>>>),
    /// As a line that somebody walked or drew round it.
    Walked(Vec<Vertex>),
    /// As fixes of a receiver that was taken round it.
    Fixes(Vec<Fix>),
    /// As its corners in order.
    Corners(Vec<Vertex>),
}

/// Everything in the survey that could be the field.
pub fn candidates(survey: &Survey) -> Vec<Candidate> {
    let fields = || survey.shapes.iter().filter(|shape| role(shape) == Role::Field);
    let drawn: Vec<Candidate> = fields()
        .filter_map(|shape| match &shape.geometry {
            Geometry::Polygons(polygons) => Some(candidate(shape, Outline::Drawn(polygons.clone()))),
            _ => None,
        })
        .collect();
    if !drawn.is_empty() {
        return drawn;
    }
    let walked: Vec<Candidate> = fields()
        .filter_map(|shape| match &shape.geometry {
            Geometry::Line(line) => Some(candidate(shape, Outline::Walked(line.clone()))),
            Geometry::Fixes(fixes) => Some(candidate(shape, Outline::Fixes(fixes.clone()))),
            _ => None,
        })
        .collect();
    if walked.is_empty() { corners(fields()) } else { walked }
}

fn candidate(shape: &Shape, outline: Outline) -> Candidate {
    Candidate {
        names: shape.names().map(str::to_owned).collect(),
        attributes: shape.attributes.clone(),
        outline,
    }
}

/// Corners one by one make one field, or one for each value of their attribute `field`.
fn corners<'s>(shapes: impl Iterator<Item = &'s Shape>) -> Vec<Candidate> {
    let mut fields: Vec<(Option<String>, Vec<Vertex>)> = Vec::new();
    for shape in shapes {
        let Geometry::Point(vertex) = &shape.geometry else { continue };
        let name = shape.attribute("field").map(str::to_owned);
        match fields.iter_mut().find(|(known, _)| *known == name) {
            Some((_, corners)) => corners.push(vertex.clone()),
            None => fields.push((name, vec![vertex.clone()])),
        }
    }
    let candidate = |(name, corners): (Option<String>, Vec<Vertex>)| Candidate {
        attributes: name.iter().map(|name| ("name".to_owned(), name.clone())).collect(),
        names: name.into_iter().collect(),
        outline: Outline::Corners(corners),
    };
    fields.into_iter().map(candidate).collect()
}

/// The one that is asked for.
pub fn choose<'c>(candidates: &'c [Candidate], choice: &Choice) -> Result<&'c Candidate, Finding> {
    let message = match choice {
        Choice::Only => match candidates {
            [only] => return Ok(only),
            [] => "the file holds nothing that could be a boundary".to_owned(),
            many => format!("the file holds {} shapes and none is chosen", many.len()),
        },
        Choice::Index(index) => match index.checked_sub(1).and_then(|index| candidates.get(index)) {
            Some(candidate) => return Ok(candidate),
            None => format!("there is no shape {index} among {}", candidates.len()),
        },
        Choice::Name(name) => {
            let named = candidates.iter().filter(|candidate| candidate.names.contains(name));
            match only(named) {
                Ok(candidate) => return Ok(candidate),
                Err(0) => format!("no shape is called `{name}`"),
                Err(_) => format!("more than one shape is called `{name}`"),
            }
        }
        Choice::Where { key, value } => {
            let has = |(known, its): &(String, String)| known.eq_ignore_ascii_case(key) && its == value;
            match only(candidates.iter().filter(|candidate| candidate.attributes.iter().any(has))) {
                Ok(candidate) => return Ok(candidate),
                Err(0) => format!("no shape has `{key}={value}`"),
                Err(count) => format!("{count} shapes have `{key}={value}`"),
            }
        }
    };
    Err(rules::finding("field/boundary-choice", message).with_hint(listed(candidates)))
}

fn only<'c>(mut found: impl Iterator<Item = &'c Candidate>) -> Result<&'c Candidate, usize> {
    match (found.next(), found.next()) {
        (Some(candidate), None) => Ok(candidate),
        (None, _) => Err(0),
        (Some(_), Some(_)) => Err(2 + found.count()),
    }
}

/// At most so many shapes are listed.
const LISTED: usize = 12;

fn listed(candidates: &[Candidate]) -> String {
    if candidates.is_empty() {
        return "a boundary is a polygon, a line that was walked round the field, or its corners".to_owned();
    }
    let telling = telling_attribute(candidates);
    let label = |(index, one): (usize, &Candidate)| {
        let told = telling.and_then(|key| one.attributes.iter().find(|(known, _)| known == key));
        match (one.names.first(), told) {
            (Some(name), _) => format!("{} `{name}`", index + 1),
            (None, Some((key, value))) => format!("{} with {key}={value}", index + 1),
            (None, None) => format!("{} without a name", index + 1),
        }
    };
    let labels: Vec<String> = candidates.iter().enumerate().take(LISTED).map(label).collect();
    let more = match candidates.len().saturating_sub(LISTED) {
        0 => String::new(),
        more => format!(" and {more} more"),
    };
    format!(
        "choose with `boundary_name`, `boundary_where` or `boundary_index` (--name, --where, --index); the file holds {}{more}",
        labels.join(", ")
    )
}

/// The attribute that tells the listed shapes apart best.
fn telling_attribute(candidates: &[Candidate]) -> Option<&str> {
    let shown = &candidates[..candidates.len().min(LISTED)];
    let values = |key: &str| {
        let value =
            |one: &Candidate| one.attributes.iter().find(|(known, _)| known == key).map(|(_, v)| v.clone());
        shown.iter().filter_map(value).collect::<BTreeSet<String>>().len()
    };
    let keys = shown.first()?.attributes.iter().map(|(key, _)| key.as_str());
    // Of several that tell them apart alike, the first: it is most often the key.
    keys.rev().max_by_key(|key| values(key))
}
