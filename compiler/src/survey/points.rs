//! What a point or a small polygon of a survey stands for: a corner, an obstacle, a way in.
//!
//! In: a shape's attributes. Out: its role, and for an obstacle its radius. The attribute `kind` or
//! `code` says it, in plain words of the trade; a code may carry the radius behind the word, as in
//! `pole 0.4`.

use lanewright_schema::survey::{Geometry, Shape};

/// What a shape stands for.
#[derive(Copy, Clone, Debug, PartialEq, Eq)]
pub enum Role {
    /// The field, or a corner of it.
    Field,
    /// Something to stay out of.
    Obstacle,
    /// A way in.
    Entrance,
    /// A point that belongs to the survey and not to the field.
    Reference,
}

/// Words for things to stay out of.
const OBSTACLES: &[&str] = &[
    "obstacle", "keep-out", "pole", "mast", "pylon", "tree", "stone", "rock", "well", "manhole", "hydrant",
    "post", "stay", "trough", "marker",
];
/// Words for ways in.
const ENTRANCES: &[&str] = &["entrance", "entry", "gate", "gateway", "access"];
/// Words for points that others are measured from.
const REFERENCES: &[&str] = &["base", "base-station", "control", "benchmark", "check"];

/// Words that say no more than the role; a name tells more without them.
const PLAIN: &[&str] = &["obstacle", "keep-out", "entrance"];

/// What a shape stands for.
pub fn role(shape: &Shape) -> Role {
    let word = word(shape);
    let is = |words: &[&str]| words.contains(&word.as_str());
    if is(OBSTACLES) {
        Role::Obstacle
    } else if is(ENTRANCES) {
        Role::Entrance
    } else if is(REFERENCES) {
        Role::Reference
    } else {
        Role::Field
    }
}

/// The radius of an obstacle, metres: its attribute, or the number behind its code.
pub fn radius_m(shape: &Shape) -> Option<f64> {
    let stated = shape.attribute("radius_m").or_else(|| shape.attribute("radius"));
    let behind = || code(shape)?.split_whitespace().nth(1);
    let text = stated.or_else(behind)?.trim_start_matches("r=").trim_end_matches('m').replace(',', ".");
    text.trim().parse().ok().filter(|radius: &f64| radius.is_finite() && *radius > 0.0)
}

/// How far to stay from an obstacle, metres, where the survey says so.
pub fn clearance_m(shape: &Shape) -> Option<f64> {
    let text = shape.attribute("clearance_m").or_else(|| shape.attribute("clearance"))?;
    text.trim().parse().ok().filter(|clearance: &f64| clearance.is_finite() && *clearance >= 0.0)
}

/// What to call it: its name with its word, or the word alone.
pub fn title(shape: &Shape) -> String {
    let word = word(shape);
    match shape.names().next() {
        Some(name) if PLAIN.contains(&word.as_str()) || name.eq_ignore_ascii_case(&word) => name.to_owned(),
        Some(name) => format!("{word} {name}"),
        None => word,
    }
}

/// Its kind, its code, or a name that begins with one of the words.
fn code(shape: &Shape) -> Option<&str> {
    let begins = |name: &&str| {
        let first = name.split_whitespace().next().unwrap_or_default().to_lowercase();
        [OBSTACLES, ENTRANCES].iter().any(|words| words.contains(&first.as_str()))
    };
    let named = || match shape.geometry {
        Geometry::Point(_) => shape.attribute("name").filter(begins),
        _ => None,
    };
    shape.attribute("kind").or_else(|| shape.attribute("code")).or_else(named)
}

fn word(shape: &Shape) -> String {
    let first = code(shape).and_then(|code| code.split_whitespace().next());
    first.unwrap_or_default().to_lowercase().replace('_', "-")
}
