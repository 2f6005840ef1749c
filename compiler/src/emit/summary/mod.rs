//! `summary.md` and `summary.html`: what will be done, for the person who signs for it.
//!
//! In: all that was computed and found. Out: a [`Document`] in words, and its two renderings. The
//! HTML stands alone: the maps are in it, and it prints on A4.

mod cautions;
pub mod document;
mod drawing;
mod fields;
mod pattern;
mod places;
mod proofs;
mod release;
mod weeding;
mod zones;

use super::{About, map, templates, words};
use crate::check::{Field, Machine, Operation};
use crate::diagnostic::{Finding, Severity};
use crate::pipeline::Compiled;
use crate::site::FieldFrame;
use document::{Block, Document, Section};
use lanewright_schema::quantity::{Area, Mass, Time};
use serde::Serialize;

/// What the templates take.
#[derive(Serialize)]
struct Page<'a> {
    document: &'a Document,
    maps: Vec<String>,
}

/// The summary as Markdown; the map is a file beside it.
pub fn markdown(document: &Document) -> String {
    templates::render("summary.md", &Page { document, maps: Vec::new() })
}

/// The summary as HTML.
pub fn html(document: &Document, compiled: &Compiled) -> String {
    templates::render("summary.html", &Page { document, maps: map::panel_svgs(compiled) })
}

/// What the summary says.
pub fn document(compiled: &Compiled, about: &About) -> Document {
    let mut glance = vec![totals(compiled, about.findings)];
    if compiled.fields.len() > 1 {
        glance.push(fields_table(compiled));
    }
    let mut sections = vec![
        Section::new("At a glance", glance),
        Section::new("Machine and positions", vec![machine(&compiled.job.machine), positions(compiled)]),
        Section::new("Findings", findings(about.findings)),
        Section::new("Map", vec![Block::Maps]),
    ];
    sections.extend(fields::sections(compiled));
    sections.extend([
        proofs::section(compiled),
        Section::new("Files", vec![files(compiled)]),
        Section::new("Cautions", vec![Block::points(cautions::CAUTIONS)]).on_a_new_page(),
        Section::new("Signature", signature()),
    ]);
    Document { title: compiled.job.order.title.clone(), lead: lead(compiled), sections }
}

fn lead(compiled: &Compiled) -> String {
    let job = &compiled.job;
    let names: Vec<String> = job.fields.iter().map(|field| field.name.clone()).collect();
    let mut crops: Vec<String> = job.fields.iter().map(|field| field.crop.name.clone()).collect();
    crops.dedup();
    let deeds: Vec<String> =
        job.order.operations.iter().map(|operation| deed(*operation).to_owned()).collect();
    format!(
        "{} {} {} on {} for {}. Ordered on {}.",
        job.machine.name,
        words::list(&deeds),
        words::list(&crops),
        words::list(&names),
        job.order.customer,
        words::date(job.order.issued),
    )
}

const fn deed(operation: Operation) -> &'static str {
    match operation {
        Operation::Sowing => "sows",
        Operation::PreEmergenceWeeding => "weeds over the seed of",
        Operation::InterRowWeeding => "weeds between the rows of",
        Operation::IntraRowWeeding => "weeds between the plants of",
    }
}

fn totals(compiled: &Compiled, findings: &[Finding]) -> Block {
    let figures = super::manifest::total(compiled);
    let order = &compiled.job.order;
    let time = Time::s(figures.work_s + figures.turn_s + figures.transit_s + figures.stop_s);
    let mass = compiled.fields.iter().map(|field| field.budget.seed.mass).sum();
    let weeding = order.operations.iter().any(|operation| operation.is_weeding());
    let seed = if weeding {
        ("Seeds on the seed map", words::count(figures.seeds))
    } else {
        ("Seed", format!("{} seeds, {}", words::count(figures.seeds), words::mass(mass)))
    };
    let days = time.to_h() / order.hours_per_day.to_h();
    Block::facts([
        ("Farm", order.farm.clone()),
        ("Fields", words::counted(compiled.fields.len() as u64, "field")),
        ("Stay clear of", keep_outs(compiled)),
        ("Ground", words::area(Area::m2(figures.field_m2))),
        ("Sown", words::area(Area::m2(figures.worked_m2))),
        seed,
        (
            "Time",
            format!(
                "{}, that is {} of {}",
                words::duration(time),
                days_in_words(days),
                words::duration(order.hours_per_day)
            ),
        ),
        ("Field efficiency", words::percent(figures.field_efficiency)),
        ("Findings", tally(findings)),
    ])
}

/// What the machine must not touch, over all fields.
fn keep_outs(compiled: &Compiled) -> String {
    let names: Vec<String> =
        compiled.site.fields.iter().flat_map(|field| &field.keep_outs).map(|k| k.name.clone()).collect();
    if names.is_empty() { "nothing that the job names".to_owned() } else { words::list(&names) }
}

fn tally(findings: &[Finding]) -> String {
    let of = |severity| findings.iter().filter(|finding| finding.severity == severity).count() as u64;
    let (warnings, notes) = (of(Severity::Warning), of(Severity::Note));
    match (warnings, notes) {
        (0, 0) => "none".to_owned(),
        _ => format!("{}, {}", words::counted(warnings, "warning"), words::counted(notes, "note")),
    }
}

fn days_in_words(days: f64) -> String {
    match words::decimal(days, 1).as_str() {
        "1.0" => "1 working day".to_owned(),
        days => format!("{days} working days"),
    }
}

fn fields_table(compiled: &Compiled) -> Block {
    let rows = compiled.job.fields.iter().zip(&compiled.fields).map(|(field, plan)| {
        let (budget, areas) = (&plan.budget, &plan.lanes.areas);
        let time = budget.time.work + budget.time.turn + budget.time.transit + budget.time.stop;
        vec![
            field.name.clone(),
            crop(field),
            words::area(Area::m2(areas.field)),
            words::area(Area::m2(areas.worked)),
            words::count(plan.route.visits.len() as u64),
            words::count(budget.seed.seeds),
            words::mass(budget.seed.mass),
            words::duration(time),
        ]
    });
    let head = ["Field", "Crop", "Ground", "Sown", "Lanes", "Seeds", "Seed", "Time"];
    Block::table(&head, 2, rows.collect())
}

fn crop(field: &Field) -> String {
    format!("{}, {}", field.crop.name, field.crop.variety)
}

fn machine(machine: &Machine) -> Block {
    let steering = &machine.steering;
    let mut turns = Vec::new();
    if steering.turning_radius.to_m() > 0.0 {
        turns.push(format!("radius {}", words::measure(steering.turning_radius)));
    }
    if let Some(rate) = steering.rate {
        turns.push(format!("wheels turn at {:.0}°/s", rate.wheels.to_deg_per_s()));
    }
    turns.push(if steering.may_reverse { "may reverse" } else { "never reverses" }.to_owned());
    if steering.turns_on_spot {
        turns.push("turns on the spot".to_owned());
    }
    let mut rows = vec![
        ("Machine", machine.name.clone()),
        (
            "Toolbar",
            format!(
                "{} rows × {}, working width {}",
                machine.row_offsets.len(),
                words::measure(machine.row_spacing),
                words::measure(machine.working_width)
            ),
        ),
        ("Steering", turns.join(", ")),
        (
            "Speeds",
            format!(
                "{} in the row, {} in turns, {} from home and back",
                words::speed(machine.working_speed),
                words::speed(machine.turning_speed),
                words::speed(machine.transit_speed)
            ),
        ),
    ];
    if machine.hopper > Mass::ZERO {
        rows.push(("Hopper", format!("{} a row", words::mass(machine.hopper))));
    }
    Block::Facts { rows: rows.into_iter().map(|(name, fact)| (name.to_owned(), fact)).collect() }
}

fn positions(compiled: &Compiled) -> Block {
    let frame = &compiled.site.frame;
    let reference = match frame.epoch {
        Some(epoch) => format!("{}, epoch {epoch}", frame.reference),
        None => frame.reference.clone(),
    };
    let mut rows = vec![("Reference frame".to_owned(), reference)];
    if let Some(ground) = &compiled.job.frames.ground {
        rows.push(("Between epochs".to_owned(), format!("the ground is taken to rest in {}", ground.name)));
    }
    rows.push(("Lengths".to_owned(), lengths(frame)));
    if let Some(base) = &compiled.site.baseline {
        rows.push((
            "Base station".to_owned(),
            format!(
                "{} at {}, {} m above the ellipsoid",
                base.name,
                words::place(base.at),
                words::decimal(base.height.to_m(), 3)
            ),
        ));
        rows.push((
            "Farthest corner".to_owned(),
            format!(
                "{} from the base station; expected spread of a position there {} mm (1 sigma, horizontal)",
                words::distance(base.length),
                words::decimal(base.sigma.to_mm(), 0)
            ),
        ));
    }
    Block::Facts { rows }
}

/// Which lengths the plan gives: a metre of it on the ground, or along the ellipsoid below.
fn lengths(frame: &FieldFrame) -> String {
    let longer_mm_per_km = (frame.scale - 1.0) * 1e6;
    if longer_mm_per_km == 0.0 {
        return "along the ellipsoid; on the ground each kilometre is 16 mm longer for every 100 m above it"
            .into();
    }
    let (mm, than) = (longer_mm_per_km.abs(), if longer_mm_per_km > 0.0 { "longer" } else { "shorter" });
    format!("on the ground, each kilometre {} mm {than} than along the ellipsoid", words::decimal(mm, 1))
}

fn findings(findings: &[Finding]) -> Vec<Block> {
    if findings.is_empty() {
        return vec![Block::text("The compiler found nothing to remark.")];
    }
    let items = findings.iter().map(|finding| {
        let severity = match finding.severity {
            Severity::Note => "Note",
            Severity::Warning => "Warning",
            Severity::Error => "Error",
        };
        let place = finding.place.map_or_else(String::new, |at| format!(" At {}.", words::place(at)));
        let hint = finding.hint.as_ref().map_or_else(String::new, |hint| format!(" Hint: {hint}."));
        format!("{severity} ({}): {}.{place}{hint}", finding.rule, finding.message)
    });
    vec![Block::Points { items: items.collect() }]
}

fn files(compiled: &Compiled) -> Block {
    let weeding = compiled.job.order.operations.iter().any(|operation| operation.is_weeding());
    let map = if weeding {
        ("weed-events.parquet", "Every way of a tool into the soil and out of it, for programs.".to_owned())
    } else {
        ("seed-rows.geojson", "Where seeds lie: every run of seeds as a line.".to_owned())
    };
    Block::facts([
        (
            "TASKDATA/",
            "The task data set (ISO 11783-10). Copy the whole folder to the machine's terminal.".to_owned(),
        ),
        ("map.svg", "The maps of this page, for the wall. Opens in any web browser.".to_owned()),
        (
            "plan.geojson",
            "Boundary, fence, keep-outs, lanes, turns and left-over soil for any map program.".to_owned(),
        ),
        map,
        ("manifest.json", "Figures, checks and digests of all files, for programs.".to_owned()),
    ])
}

fn signature() -> Vec<Block> {
    let lines = cautions::SIGNATURE_LINES.map(str::to_owned).into();
    vec![Block::text(cautions::SIGNATURE), Block::Signature { lines }]
}

#[cfg(test)]
mod tests {
    use super::super::{Input, sample};
    use super::*;

    fn about(findings: &[Finding]) -> About<'_> {
        const INPUTS: &[Input] = &[];
        About { job: "twelve-acre", inputs: INPUTS, findings }
    }

    /// Every text of a document, in reading order.
    fn texts(document: &Document) -> Vec<String> {
        let mut texts = vec![document.title.clone(), document.lead.clone()];
        for section in &document.sections {
            texts.push(section.heading.clone());
            for block in &section.blocks {
                match block {
                    Block::Text { text } | Block::Heading { text } => texts.push(text.clone()),
                    Block::Facts { rows } => {
                        texts.extend(rows.iter().flat_map(|(n, f)| [n.clone(), f.clone()]));
                    }
                    Block::Table(table) => texts.extend(table.rows.iter().flatten().cloned()),
                    Block::Points { items } => texts.extend(items.iter().cloned()),
                    Block::Drawing { caption, .. } => texts.push(caption.clone()),
                    Block::Maps => {}
                    Block::Signature { lines } => texts.extend(lines.iter().cloned()),
                }
            }
        }
        texts
    }

    fn unescaped(html: &str) -> String {
        [("&lt;", "<"), ("&gt;", ">"), ("&quot;", "\""), ("&#x27;", "'"), ("&#x2f;", "/"), ("&amp;", "&")]
            .iter()
            .fold(html.to_owned(), |text, (code, letter)| text.replace(code, letter))
    }

    #[test]
    fn both_renderings_say_the_same_in_the_same_order() {
        let compiled = sample::compiled(2);
        let warned = [Finding::warning("field/odd", "an odd field").with_hint("look again")];
        let document = document(&compiled, &about(&warned));
        let markdown = markdown(&document).replace('\\', "");
        let html = unescaped(&html(&document, &compiled));
        let (mut in_markdown, mut in_html) = (markdown.as_str(), html.split_once("<body>").unwrap().1);
        for text in texts(&document) {
            in_markdown = in_markdown.split_once(&text).unwrap_or_else(|| panic!("{text} in Markdown")).1;
            in_html = in_html.split_once(&text).unwrap_or_else(|| panic!("{text} in HTML")).1;
        }
    }

    #[test]
    fn a_name_is_no_markup() {
        let mut compiled = sample::compiled(2);
        compiled.job.order.title = "<script>|*".to_owned();
        let document = document(&compiled, &about(&[]));
        assert!(html(&document, &compiled).contains("<h1>&lt;script&gt;|*</h1>"));
        assert!(markdown(&document).starts_with("# \\<script\\>\\|\\*\n"));
    }

    #[test]
    fn findings_are_counted_and_told() {
        let compiled = sample::compiled(2);
        let found =
            [Finding::warning("field/odd", "an odd field"), Finding::note("field/even", "an even field")];
        let markdown = markdown(&document(&compiled, &about(&found)));
        assert!(markdown.contains("| Findings | 1 warning, 1 note |"));
        assert!(markdown.contains("- Warning (field/odd): an odd field."));
    }
}
