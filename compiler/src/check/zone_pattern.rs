//! The attributes of a file of zones that tell in which pattern each is sown.
//!
//! In: the keys that name them, and each zone with its attributes. Out: the pattern that a zone states, if any;
//! one that states none has the field's own.

use super::spacing::SEEDS_IN_HILL;
use super::{Findings, Pattern};
use crate::survey::SurveyedZone;
use lanewright_schema::job::units;
use lanewright_schema::job::{self as written, Written};
use lanewright_schema::quantity::Length;

/// The attributes that tell the pattern.
pub struct PatternAttributes<'f> {
    /// That with its name.
    pub name: &'f Written<String>,
    /// That with the number of seeds in a hill.
    pub seeds: Option<&'f Written<String>>,
    /// That with the length of a hill.
    pub length: Option<&'f Written<String>>,
}

/// The attributes that are named, if any. Nothing where they are named wrong.
#[expect(clippy::option_option, reason = "outside: whether it is sound; inside: whether it is said")]
pub fn pattern_attributes<'f>(
    file: &'f written::Zones,
    findings: &mut Findings,
) -> Option<Option<PatternAttributes<'f>>> {
    let (seeds, length) = (file.seeds_per_hill.as_ref(), file.hill_length.as_ref());
    if let Some(name) = &file.pattern {
        return Some(Some(PatternAttributes { name, seeds, length }));
    }
    let Some(of_hills) = seeds.or(length) else { return Some(None) };
    findings
        .raise(
            "spacing/pattern",
            &of_hills.place,
            format!(
                "`{}` is an attribute of hills, and nothing says which zones are in hills",
                of_hills.value
            ),
        )
        .hint("add, for example, `pattern = \"pattern\"`, the attribute with `hill`, or leave this out");
    None
}

/// Tells an attribute that no zone has: its name is misspelt.
pub fn tell_nowhere(zones: &[SurveyedZone<'_>], from: &PatternAttributes<'_>, findings: &mut Findings) {
    if zones.iter().any(|zone| zone.shape.attribute(&from.name.value).is_some()) {
        return;
    }
    let mut known: Vec<&str> = Vec::new();
    for (key, _) in zones.iter().flat_map(|zone| &zone.shape.attributes) {
        if !known.contains(&key.as_str()) {
            known.push(key);
        }
    }
    let hint = if known.is_empty() {
        "leave `pattern` out: the zones have no attributes".to_owned()
    } else {
        format!("name one that some have: {}", known.join(", "))
    };
    let message = format!("no zone has `{}`", from.name.value);
    findings.raise("zones/attribute-missing", &from.name.place, message).hint(hint);
}

/// The pattern that a zone states, if any. Nothing where it is said wrong.
#[expect(clippy::option_option, reason = "outside: whether it is sound; inside: whether it is said")]
pub fn pattern_of_zone(
    zone: &SurveyedZone<'_>,
    called: &str,
    from: &PatternAttributes<'_>,
    findings: &mut Findings,
) -> Option<Option<Pattern>> {
    let name = match text(zone, from.name) {
        None => None,
        Some("hill") => return hill(zone, called, from, findings).map(Some),
        Some("single") => Some(Pattern::Single),
        Some("drill") => Some(Pattern::Drill),
        Some(other) => {
            let message = format!("`{}` of zone {called} is `{other}`, which is no pattern", from.name.value);
            findings
                .raise("zones/attribute-unreadable", &from.name.place, message)
                .hint("write it as `single`, `hill` or `drill`, or leave it empty there");
            return None;
        }
    };
    let of_hills = [from.seeds, from.length].into_iter().flatten().find(|key| text(zone, key).is_some());
    let Some(of_hills) = of_hills else { return Some(name) };
    findings
        .raise(
            "spacing/pattern",
            &of_hills.place,
            format!("zone {called} has `{}`, but is not in hills", of_hills.value),
        )
        .hint(format!("leave its `{}` empty, or write `hill` as its `{}`", of_hills.value, from.name.value));
    None
}

/// What a zone says under a name, if anything.
fn text<'z>(zone: &'z SurveyedZone<'_>, key: &Written<String>) -> Option<&'z str> {
    zone.shape.attribute(&key.value).map(str::trim).filter(|text| !text.is_empty())
}

fn hill(
    zone: &SurveyedZone<'_>,
    called: &str,
    from: &PatternAttributes<'_>,
    findings: &mut Findings,
) -> Option<Pattern> {
    let (Some(seeds), Some(length)) = (from.seeds, from.length) else {
        findings
            .raise(
                "spacing/pattern",
                &from.name.place,
                format!("zone {called} is in hills, which need `seeds_per_hill` and `hill_length`"),
            )
            .hint("name the attributes with `3` and `6 cm`: `seeds_per_hill = \"together\"`, `hill_length = \"length\"`");
        return None;
    };
    let seeds = seeds_in_hill(zone, called, seeds, findings);
    let length = hill_length(zone, called, length, findings);
    Some(Pattern::Hill { seeds: seeds?, length: length? })
}

fn seeds_in_hill(
    zone: &SurveyedZone<'_>,
    called: &str,
    key: &Written<String>,
    findings: &mut Findings,
) -> Option<u32> {
    let text = of_hills(zone, called, (key, "`3`"), findings)?;
    let number = text.parse::<f64>().ok();
    let Some(seeds) = number.filter(|number| number.fract() == 0.0) else {
        let message = format!("`{}` of zone {called} is `{text}`, which is no number of seeds", key.value);
        findings
            .raise("zones/attribute-unreadable", &key.place, message)
            .hint("write a whole number from 2 to 100");
        return None;
    };
    if (f64::from(*SEEDS_IN_HILL.start())..=f64::from(*SEEDS_IN_HILL.end())).contains(&seeds) {
        return Some(seeds as u32);
    }
    findings
        .raise("spacing/pattern", &key.place, format!("in zone {called} a hill of {text} seeds is none"))
        .hint("write a number from 2 to 100");
    None
}

fn hill_length(
    zone: &SurveyedZone<'_>,
    called: &str,
    key: &Written<String>,
    findings: &mut Findings,
) -> Option<Length> {
    let text = of_hills(zone, called, (key, "`6 cm`"), findings)?;
    let Ok(length) = units::parse::<Length>(text) else {
        let message = format!("`{}` of zone {called} is `{text}`, which is no length", key.value);
        findings
            .raise("zones/attribute-unreadable", &key.place, message)
            .hint("write it as `6 cm`, with its unit");
        return None;
    };
    if length >= Length::ZERO {
        return Some(length);
    }
    findings
        .raise("job/negative", &key.place, format!("`{}` of zone {called} is negative", key.value))
        .hint("write zero or a length above it");
    None
}

/// What a zone in hills must say.
fn of_hills<'z>(
    zone: &'z SurveyedZone<'_>,
    called: &str,
    (key, example): (&Written<String>, &str),
    findings: &mut Findings,
) -> Option<&'z str> {
    let said = text(zone, key);
    if said.is_none() {
        let message = format!("zone {called} is in hills and has no `{}`", key.value);
        findings
            .raise("zones/attribute-missing", &key.place, message)
            .hint(format!("give it the attribute `{}`, for example {example}", key.value));
    }
    said
}

#[cfg(test)]
mod tests {
    use crate::check::check;
    use crate::check::tests::SOUND;
    use crate::check::{Field, Pattern};
    use crate::diagnostic::Finding;
    use crate::read::read;
    use lanewright_schema::job::Asked;
    use lanewright_schema::quantity::Length;
    use std::collections::BTreeMap;

    /// This job with zones of these keys, one for each of these attributes.
    fn told_in(job: &str, keys: &str, attributes: &[&str]) -> (Vec<Finding>, String, Option<Field>) {
        let zone = |properties: &&str| {
            format!(
                "{{\"type\":\"Feature\",\"properties\":{{{properties}}},\"geometry\":{{\"type\":\"Polygon\",\
                 \"coordinates\":[[[-27.411,48.609],[-27.4,48.609],[-27.4,48.613],[-27.411,48.609]]]}}}}"
            )
        };
        let zones: Vec<String> = attributes.iter().map(zone).collect();
        let zones = format!("{{\"type\":\"FeatureCollection\",\"features\":[{}]}}", zones.join(","));
        let job = format!("{job}\n[field.zones]\nfile = \"zones.geojson\"\n{keys}\n");
        let files: BTreeMap<String, Vec<u8>> = [("job.toml", job.clone()), ("zones.geojson", zones)]
            .map(|(path, text)| (path.to_owned(), text.into()))
            .into();
        let read = read(&files, "job.toml");
        let mut findings = read.findings;
        let Some(Asked::Sowing(draft)) = read.asked else { panic!("{findings:#?}") };
        let field = check(&draft).tell(&mut findings).and_then(|mut job| job.fields.pop());
        (findings, job, field)
    }

    const KEYS: &str = "pattern = \"muster\"\nseeds_per_hill = \"together\"\nhill_length = \"length\"";
    const HILLS: &str = "\"muster\":\"hill\",\"together\":3,\"length\":\"5 cm\"";
    const HILL: Pattern = Pattern::Hill { seeds: 3, length: Length::cm(5.0) };

    /// The sound job in hills.
    fn in_hills() -> String {
        SOUND.replace(
            "between_seeds = \"9 cm\"",
            "between_hills = \"36 cm\"\npattern = \"hill\"\nseeds_per_hill = 4\nhill_length = \"6 cm\"",
        )
    }

    /// As many seeds as the field has, 9 cm apart, or another share of them.
    #[test]
    fn each_zone_has_the_pattern_that_its_attributes_say() {
        let own = Pattern::Hill { seeds: 4, length: Length::cm(6.0) };
        let rate = format!("rate = \"rate\"\n{KEYS}");
        let hills = format!("between_hills = \"apart\"\n{KEYS}");
        for (job, keys, attributes, cm, pattern) in [
            (SOUND, KEYS, HILLS.to_owned(), 27.0, HILL),
            (SOUND, KEYS, "\"muster\":\" drill \"".to_owned(), 9.0, Pattern::Drill),
            (SOUND, &rate, format!("{HILLS},\"rate\":\"75 %\""), 36.0, HILL),
            (SOUND, &rate, "\"muster\":null,\"rate\":0.75".to_owned(), 12.0, Pattern::Single),
            (
                SOUND,
                &rate,
                "\"muster\":\"\",\"together\":null,\"rate\":0.75".to_owned(),
                12.0,
                Pattern::Single,
            ),
            (SOUND, &hills, format!("{HILLS},\"apart\":\"45 cm\""), 45.0, HILL),
            (
                SOUND,
                "seeds_per_ha = \"n\"\npattern = \"muster\"",
                "\"n\":500000,\"muster\":\"drill\"".to_owned(),
                4.44,
                Pattern::Drill,
            ),
            (&in_hills(), KEYS, "\"muster\":\"single\"".to_owned(), 9.0, Pattern::Single),
            (&in_hills(), KEYS, "\"name\":\"Knoll\"".to_owned(), 36.0, own),
            (&in_hills(), &hills, "\"apart\":\"48 cm\",\"muster\":\"\"".to_owned(), 48.0, own),
        ] {
            let attributes =
                [attributes.as_str(), "\"muster\":\"drill\",\"rate\":1,\"n\":500000,\"apart\":\"9 cm\""];
            let said = if keys == hills { &attributes[..1] } else { &attributes[..] };
            let (findings, _, field) = told_in(job, keys, said);
            let field = field.unwrap_or_else(|| panic!("{keys}, {said:?}: {findings:#?}"));
            let zones = field.zones.as_ref().unwrap();
            let stand = zones.zones[0].rate.stand(field.spacing.own_stand(), zones.parts);
            assert!((stand.spacing.to_cm() / cm - 1.0).abs() < 0.01, "{said:?}: {stand:?}");
            assert_eq!(stand.pattern, pattern, "{said:?}");
        }
    }

    /// The one pattern of an unsown zone is none.
    #[test]
    fn an_unsown_zone_has_no_pattern() {
        let unsown = format!("{HILLS},\"rate\":0");
        let (findings, _, field) = told_in(SOUND, &format!("rate = \"rate\"\n{KEYS}"), &[&unsown]);
        let field = field.unwrap_or_else(|| panic!("{findings:#?}"));
        assert_eq!(field.zones.unwrap().zones[0].rate.pattern, None);
    }

    #[test]
    fn attributes_that_make_no_sense_are_refused_at_their_key() {
        let tool_rows =
            SOUND.replace("stagger = 0.5", "tool_row = { rows = [1], between_seeds = \"18 cm\" }");
        let with = |more: &str| format!("{more}\n{KEYS}");
        let seeds = with("between_seeds = \"apart\"");
        let hills = with("between_hills = \"apart\"");
        let apart = format!("{HILLS},\"apart\":\"40 cm\"");
        for (job, keys, attributes, rule, at, hint) in [
            (SOUND, KEYS, "\"muster\":\"hills\"", "zones/attribute-unreadable", "\"muster\"", "`hill`"),
            (SOUND, KEYS, "\"rate\":1", "zones/attribute-missing", "\"muster\"", "rate"),
            (SOUND, KEYS, "\"muster\":\"drill\",\"together\":3", "spacing/pattern", "\"together\"", "empty"),
            (
                SOUND,
                KEYS,
                "\"muster\":\"hill\",\"together\":3",
                "zones/attribute-missing",
                "\"length\"",
                "`6 cm`",
            ),
            (SOUND, KEYS, &HILLS.replace('3', "1"), "spacing/pattern", "\"together\"", "2 to 100"),
            (SOUND, KEYS, &HILLS.replace('3', "2.5"), "zones/attribute-unreadable", "\"together\"", "whole"),
            (
                SOUND,
                KEYS,
                &HILLS.replace("\"5 cm\"", "5"),
                "zones/attribute-unreadable",
                "\"length\"",
                "unit",
            ),
            (SOUND, KEYS, &HILLS.replace("5 cm", "-5 cm"), "job/negative", "\"length\"", "zero"),
            (SOUND, KEYS, &HILLS.replace("5 cm", "28 cm"), "spacing/hill-too-long", "\"length\"", "27 cm"),
            (SOUND, "pattern = \"muster\"", HILLS, "spacing/pattern", "\"muster\"", "seeds_per_hill"),
            (
                SOUND,
                "rate = \"rate\"\nhill_length = \"length\"",
                "\"rate\":1",
                "spacing/pattern",
                "\"length\"",
                "pattern = ",
            ),
            (SOUND, &seeds, &apart, "spacing/pattern", "\"apart\"", "rate = "),
            (
                SOUND,
                &hills,
                "\"muster\":\"drill\",\"apart\":\"9 cm\"",
                "spacing/pattern",
                "\"apart\"",
                "rate = ",
            ),
            (&tool_rows, KEYS, HILLS, "zones/beside-tool-rows", "\"muster\"", "tool_row"),
        ] {
            let (findings, job, field) = told_in(job, keys, &[attributes]);
            assert!(field.is_none(), "{keys}, {attributes}");
            assert_eq!(findings.len(), 1, "{keys}, {attributes}: {findings:#?}");
            let finding = &findings[0];
            assert_eq!(finding.rule, rule, "{keys}, {attributes}: {finding:#?}");
            assert_eq!(&job[finding.span.as_ref().unwrap().bytes.clone()], at, "{attributes}");
            assert!(finding.hint.as_ref().unwrap().contains(hint), "{finding:#?}");
        }
    }

    /// What the hint says of hills that are too long passes.
    #[test]
    fn hills_as_long_as_the_hint_allows_pass() {
        let long = |length: f64| HILLS.replace("5 cm", &format!("{length} cm"));
        let hint = told_in(SOUND, KEYS, &[&long(30.0)]).0[0].hint.clone().unwrap();
        let below: f64 = hint.split(' ').nth(4).unwrap().parse().unwrap();
        assert!(told_in(SOUND, KEYS, &[&long(below - 0.1)]).2.is_some(), "{hint}");
    }
}
