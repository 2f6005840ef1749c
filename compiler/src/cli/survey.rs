//! `lanewright survey`: reads surveys, says what they hold and what was changed, writes the clean
//! field file.

use super::args::{self, Format, Survey as Arguments};
use super::disk::Disk;
use super::{Ending, console};
use lanewright::check::{ReferenceFrame, named_frame};
use lanewright::diagnostic::Finding;
use lanewright::read::finding;
use lanewright::survey::{self, Asked, Choice, Crossings, FieldSurvey, Quality, candidates, report};
use lanewright_schema::job::{Files, Input};
use lanewright_schema::quantity::Length;
use lanewright_schema::survey::{Survey, read};
use std::path::Path;

/// Reads every file; writes the clean file of all fields once none is refused.
pub fn run(arguments: &Arguments) -> Result<(), Ending> {
    let into = arguments.into.as_deref().map(frame).transpose()?;
    if !(0.0..=100.0).contains(&arguments.tolerance) {
        return Err(Ending::Usage("the tolerance lies from 0 to 100 cm".to_owned()));
    }
    if arguments.out.as_deref() == Some("-") && arguments.format == Format::Json {
        let why = "findings and the field file would both go to standard output; name a file with --out";
        return Err(Ending::Usage(why.to_owned()));
    }
    let mut fields = Vec::new();
    let mut refused = false;
    for path in &arguments.files {
        let mut files = Files { sources: &Disk, inputs: Vec::new() };
        let survey = console::while_showing(format!("reading {path}"), || {
            read(path, &mut |path, limit| files.read(path, limit))
        });
        match survey {
            Ok(survey) => match one(arguments, &survey, into.as_ref(), &files.inputs)? {
                Some(found) => fields.extend(found),
                None => refused = true,
            },
            Err(problem) => {
                tell(&[finding(problem)], &files.inputs, arguments.format)?;
                refused = true;
            }
        }
    }
    if refused {
        return Err(Ending::Refused);
    }
    write(arguments, &fields)
}

/// The frame wanted, known by name or code.
fn frame(text: &str) -> Result<ReferenceFrame, Ending> {
    named_frame(text).ok_or_else(|| {
        Ending::Usage(format!("`{text}` is no frame of latitudes and longitudes in the EPSG dataset"))
    })
}

/// The fields of one survey that are asked for; `None` where one is refused.
fn one(
    arguments: &Arguments,
    survey: &Survey,
    into: Option<&ReferenceFrame>,
    inputs: &[Input],
) -> Result<Option<Vec<FieldSurvey>>, Ending> {
    say(arguments, &format!("{}: {}, {}", survey.file, survey.format, holdings(survey)))?;
    for oddity in &survey.oddities {
        say(arguments, &format!("  note: {oddity}"))?;
    }
    let mut fields: Vec<Option<FieldSurvey>> = Vec::new();
    for choice in choices(arguments, survey) {
        let told = survey::field(survey, &asked(arguments, choice, into));
        tell(&told.findings, inputs, arguments.format)?;
        if let Some(field) = &told.value {
            describe(arguments, field, told.findings.len())?;
        }
        fields.push(told.value);
    }
    Ok(fields.into_iter().collect())
}

fn choices(arguments: &Arguments, survey: &Survey) -> Vec<Choice> {
    if arguments.all {
        return (1..=candidates(survey).len()).map(Choice::Index).collect();
    }
    vec![match (&arguments.name, &arguments.attribute, arguments.index) {
        (Some(name), _, _) => Choice::Name(name.clone()),
        (None, Some((key, value)), _) => Choice::Where { key: key.clone(), value: value.clone() },
        (None, None, Some(index)) => Choice::Index(index),
        (None, None, None) => Choice::Only,
    }]
}

fn asked(arguments: &Arguments, choice: Choice, into: Option<&ReferenceFrame>) -> Asked {
    Asked {
        choice,
        frame: arguments.frame.clone(),
        into: into.cloned(),
        tolerance: Length::cm(arguments.tolerance),
        crossings: if arguments.repair { Crossings::Cut } else { Crossings::Refused },
        quality: quality(arguments.quality),
    }
}

const fn quality(asked: args::Quality) -> Quality {
    match asked {
        args::Quality::RtkFixed => Quality::RtkFixed,
        args::Quality::RtkFloat => Quality::RtkFloat,
        args::Quality::Differential => Quality::Differential,
        args::Quality::Any => Quality::Any,
    }
}

fn holdings(survey: &Survey) -> String {
    match survey.shapes.len() {
        1 => "1 shape".to_owned(),
        many => format!("{many} shapes"),
    }
}

/// One field in a few lines: its size, its frame, what it has.
fn describe(arguments: &Arguments, field: &FieldSurvey, told: usize) -> Result<(), Ending> {
    let size = report::size(field).map_err(|finding| Ending::Machine(finding.message))?;
    let name = field.names.first().map_or("field without a name", String::as_str);
    let rings = field.parts.iter().flat_map(|part| std::iter::once(&part.exterior).chain(&part.holes));
    let corners: usize = rings.map(Vec::len).sum();
    let holes: usize = field.parts.iter().map(|part| part.holes.len()).sum();
    say(
        arguments,
        &format!(
            "  {name}: {:.4} ha, {:.1} m round; {} of {} corners read, {}, {}",
            size.area.to_ha(),
            size.perimeter.to_m(),
            corners,
            field.corners_read,
            counted(field.parts.len(), "part"),
            counted(holes, "hole"),
        ),
    )?;
    say(arguments, &format!("  frame: {}; written as {}", field.stated_frame, field.frame.name))?;
    if field.obstacles.len() + field.entrances.len() > 0 {
        let obstacles = counted(field.obstacles.len(), "obstacle");
        say(arguments, &format!("  {obstacles}, {}", counted(field.entrances.len(), "way in")))?;
    }
    if told == 0 {
        say(arguments, "  nothing was changed")?;
    }
    Ok(())
}

fn counted(count: usize, noun: &str) -> String {
    match (count, noun) {
        (1, _) => format!("1 {noun}"),
        (_, "way in") => format!("{count} ways in"),
        _ => format!("{count} {noun}s"),
    }
}

/// Lines for people; a program that asked for JSON reads findings alone.
fn say(arguments: &Arguments, line: &str) -> Result<(), Ending> {
    match arguments.format {
        Format::Text => console::say(line),
        Format::Json => Ok(()),
    }
}

fn tell(findings: &[Finding], inputs: &[Input], format: Format) -> Result<(), Ending> {
    let source = |path: &str| {
        let input = inputs.iter().find(|input| input.path == path)?;
        Some(input.bytes.as_slice())
    };
    console::tell(findings, source, format)
}

fn write(arguments: &Arguments, fields: &[FieldSurvey]) -> Result<(), Ending> {
    let Some(out) = &arguments.out else { return Ok(()) };
    if fields.iter().any(|field| field.frame.proj != fields[0].frame.proj) {
        return Err(Ending::Usage("the files are in different frames; name one with --into".to_owned()));
    }
    let text = report::clean_file(fields).to_geojson();
    if out == "-" {
        return console::data(text);
    }
    super::folder::replace(Path::new(out), text.as_bytes())
        .map_err(|error| Ending::Machine(format!("cannot write {out}: {error}")))?;
    say(arguments, &format!("wrote {out}"))
}
