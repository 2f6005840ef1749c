//! Blocks that are sown closer, wider or in another pattern than the field's spacing says.
//!
//! In: what the job says of each block. Out: their rates, on parts of the field's own spacing as those of
//! treatment zones are. Soil in no such block, headland laps among it, is sown as the spacing says.

use super::rate::{Asked, RATES, Rate, Wanted, on_parts, percent, tell_long_hills, tell_rounded};
use super::spacing::{SPACINGS, pattern_of_block, tell_said_twice};
use super::zones::Known;
use super::{Findings, Pattern, Spacing};
use crate::diagnostic::Span;
use crate::read::span;
use lanewright_schema::job::{self as written, Place};
use lanewright_schema::quantity::Length;

/// Blocks with a rate of their own.
#[derive(Clone, Debug, PartialEq)]
pub struct BlockRates {
    /// Parts of the field's own spacing that their spacings are whole numbers of; at least one.
    pub parts: u32,
    /// Which, each once.
    pub blocks: Vec<BlockRate>,
}

/// A block with its rate.
#[derive(Clone, Debug, PartialEq)]
pub struct BlockRate {
    /// Its number among the blocks that the person speaks of, from zero.
    pub block: usize,
    /// How it is sown; never nothing.
    pub rate: Rate,
    /// Where the job states that.
    pub span: Span,
}

impl BlockRates {
    /// A field whose blocks are sown alike.
    pub const fn none() -> Self {
        Self { parts: 1, blocks: Vec::new() }
    }
}

/// What a block is to be sown like, and where the job states it.
struct WantedBlock<'f> {
    block: usize,
    wanted: Wanted,
    place: &'f Place,
    /// Where it states the length of its hills.
    hill: Option<&'f Place>,
}

/// Checks the rates of a field's blocks.
pub fn block_rates(file: &written::Field, known: &Known<'_>, findings: &mut Findings) -> Option<BlockRates> {
    let mut wanted: Vec<Option<WantedBlock>> = Vec::new();
    for (block, table) in file.block.iter().flat_map(|many| &many.0).enumerate() {
        match sown_otherwise(table) {
            Some(_) => wanted.push(wanted_of_block(block, table, file, known, findings)),
            None if table.guidance.is_some() => {}
            None => {
                findings
                    .raise("field/block-says-nothing", &table.place, "nothing is asked of this block")
                    .hint("add `guidance`, or how close it is sown, for example `rate = \"80 %\"`");
                wanted.push(None);
            }
        }
    }
    let wanted: Vec<WantedBlock> = wanted.into_iter().collect::<Option<_>>()?;
    if wanted.is_empty() {
        return Some(BlockRates::none());
    }
    Some(on_one_lattice(&wanted, known.spacing?, findings))
}

/// Where a block first says that it is sown otherwise than the field.
fn sown_otherwise(table: &written::Block) -> Option<&Place> {
    let rate = said(table).first().map(|(_, _, place)| *place);
    let pattern = table.pattern.as_ref().map(|said| &said.place);
    let hill = table.seeds_per_hill.as_ref().map(|said| &said.place);
    let length = table.hill_length.as_ref().map(|said| &said.place);
    rate.or(pattern).or(hill).or(length)
}

fn wanted_of_block<'f>(
    block: usize,
    table: &'f written::Block,
    file: &written::Field,
    known: &Known<'_>,
    findings: &mut Findings,
) -> Option<WantedBlock<'f>> {
    let own = known.spacing.map(|spacing| spacing.pattern);
    let pattern = pattern_of_block(table, own, findings)?;
    let place = sown_otherwise(table)?;
    tell_beside_zones(file, place, findings);
    tell_beside_tool_rows(file, table, findings);
    for (key, distance) in [("between_seeds", &table.between_seeds), ("between_hills", &table.between_hills)]
    {
        if let Some(distance) = distance {
            findings.above_zero(distance, key);
            findings.within(distance, key, &SPACINGS);
        }
    }
    let asked = match said(table).as_slice() {
        [] => Asked::Rate(1.0),
        [(_, asked, _)] => *asked,
        [(first, ..), (second, _, place), ..] => {
            tell_said_twice(first, second, place, findings);
            return None;
        }
    };
    let hill = table.hill_length.as_ref().map(|said| &said.place);
    share(asked, pattern, known, place, findings).map(|share| WantedBlock {
        block,
        wanted: Wanted { share, pattern: pattern.filter(|pattern| Some(*pattern) != own) },
        place,
        hill,
    })
}

/// Every way in which a block says how close it is sown.
fn said(table: &written::Block) -> Vec<(&'static str, Asked, &Place)> {
    let rate = table.rate.as_ref().map(|said| ("rate", Asked::Rate(said.value.ratio()), &said.place));
    let seeds = table.seeds_per_ha.as_ref();
    let seeds = seeds.map(|said| ("seeds_per_ha", Asked::SeedsPerHa(said.value.into()), &said.place));
    let plants = table.plants_per_ha.as_ref();
    let plants = plants.map(|said| ("plants_per_ha", Asked::PlantsPerHa(said.value.into()), &said.place));
    let distance = table.between_seeds.as_ref();
    let distance = distance.map(|said| ("between_seeds", Asked::BetweenPlaces(said.value), &said.place));
    let hills = table.between_hills.as_ref();
    let hills = hills.map(|said| ("between_hills", Asked::BetweenPlaces(said.value), &said.place));
    [rate, seeds, plants, distance, hills].into_iter().flatten().collect()
}

fn tell_beside_zones(file: &written::Field, place: &Place, findings: &mut Findings) {
    if file.zones.is_some() {
        findings
            .raise(
                "field/block-in-zones",
                place,
                "this block is sown in its own way, and so are treatment zones",
            )
            .hint("leave it out; such a block can be a zone in the file of `zones`");
    }
}

fn tell_beside_tool_rows(file: &written::Field, table: &written::Block, findings: &mut Findings) {
    if let (Some(pattern), Some(_)) = (&table.pattern, &file.spacing.tool_row) {
        findings
            .raise(
                "field/block-beside-tool-rows",
                &pattern.place,
                "this block has a pattern, and so has each `tool_row` of the spacing",
            )
            .hint("leave out the block's `pattern`, or every `tool_row`; a rate scales both");
    }
}

/// The share of the field's own number of seeds that a block gets, if there is sense in it.
fn share(
    asked: Asked,
    pattern: Option<Pattern>,
    known: &Known<'_>,
    place: &Place,
    findings: &mut Findings,
) -> Option<f64> {
    if matches!(asked, Asked::BetweenPlaces(distance) if distance <= Length::ZERO) {
        return None;
    }
    let share = asked.share(known.spacing?, pattern, known.crop)?;
    if RATES.contains(&share) {
        return Some(share);
    }
    findings
        .raise(
            "zones/rate",
            place,
            format!("this block asks for {} of the field's own number of seeds", percent(share)),
        )
        .hint("a block gets 20 % to 500 % of the field's own seeds; keep-outs stay unsown");
    None
}

fn on_one_lattice(wanted: &[WantedBlock], spacing: &Spacing, findings: &mut Findings) -> BlockRates {
    let asked: Vec<Wanted> = wanted.iter().map(|own| own.wanted).collect();
    let (parts, rates) = on_parts(&asked, spacing.pattern);
    let mut blocks = Vec::with_capacity(rates.len());
    for (own, rate) in wanted.iter().zip(rates) {
        tell_rounded(&[rate], (parts, spacing.pattern), own.place, findings);
        let place = own.hill.unwrap_or(own.place);
        tell_long_hills("this block", (rate, parts), spacing, place, findings);
        blocks.push(BlockRate { block: own.block, rate, span: span(own.place) });
    }
    BlockRates { parts, blocks }
}

#[cfg(test)]
mod tests {
    use crate::check::check;
    use crate::check::tests::SOUND;
    use crate::check::{BlockRates, Field, Pattern};
    use crate::diagnostic::Finding;
    use crate::read::read;
    use lanewright_schema::job::Asked;
    use lanewright_schema::quantity::Length;
    use std::collections::BTreeMap;

    /// The sound job with these blocks.
    fn told(blocks: &[&str]) -> (Vec<Finding>, Option<Field>) {
        told_in(SOUND, blocks)
    }

    /// This job with these blocks.
    fn told_in(job: &str, blocks: &[&str]) -> (Vec<Finding>, Option<Field>) {
        let block = |keys: &&str| format!("\n[[field.block]]\nat = [48.611, -27.408]\n{keys}\n");
        let job = format!("{job}{}", blocks.iter().map(block).collect::<String>());
        let zones = "{\"type\":\"Feature\",\"properties\":{\"rate\":1},\"geometry\":{\"type\":\"Polygon\",\
                     \"coordinates\":[[[-27.411,48.609],[-27.4,48.609],[-27.4,48.613],[-27.411,48.609]]]}}"
            .to_owned();
        let files: BTreeMap<String, Vec<u8>> = [("job.toml", job), ("zones.geojson", zones)]
            .map(|(path, text)| (path.to_owned(), text.into()))
            .into();
        let read = read(&files, "job.toml");
        let mut findings = read.findings;
        let Some(Asked::Sowing(draft)) = read.asked else { panic!("{findings:#?}") };
        let field = check(&draft).tell(&mut findings).and_then(|mut job| job.fields.pop());
        (findings, field)
    }

    #[track_caller]
    fn rates(blocks: &[&str]) -> BlockRates {
        let (findings, field) = told(blocks);
        field.unwrap_or_else(|| panic!("{findings:#?}")).block_rates
    }

    /// 1.25 times the field's seeds: 9 cm by 45 cm, of which 94 % germinate and 85 % of these emerge.
    #[test]
    fn a_rate_is_said_in_four_ways() {
        let per_ha = 1.25 * 1e4 / (0.45 * 0.09);
        let ways = [
            "rate = \"125 %\"".to_owned(),
            format!("seeds_per_ha = {per_ha:.0}"),
            format!("plants_per_ha = {:.0}", per_ha * 0.94 * 0.85),
            "between_seeds = \"7.2 cm\"".to_owned(),
        ];
        for way in ways {
            let rates = rates(&[&way]);
            assert!((rates.blocks[0].rate.asked - 1.25).abs() < 1e-5, "{way}");
            assert_eq!((rates.parts, rates.blocks[0].rate.step), (5, 4), "{way}");
        }
    }

    #[test]
    fn blocks_share_one_lattice() {
        let rates = rates(&["guidance = \"best\"", "rate = \"75 %\"", "rate = \"150 %\""]);
        let steps: Vec<_> = rates.blocks.iter().map(|block| (block.block, block.rate.step)).collect();
        assert_eq!((rates.parts, steps), (3, vec![(1, 4), (2, 2)]));
    }

    /// The sound job in hills.
    fn in_hills() -> String {
        SOUND.replace(
            "between_seeds = \"9 cm\"",
            "between_hills = \"36 cm\"\npattern = \"hill\"\nseeds_per_hill = 4\nhill_length = \"6 cm\"",
        )
    }

    /// What a block is sown like, its distance in centimetres.
    #[track_caller]
    fn stand(job: &str, keys: &str) -> (f64, Pattern) {
        let (findings, field) = told_in(job, &[keys]);
        let field = field.unwrap_or_else(|| panic!("{findings:#?}"));
        let BlockRates { parts, blocks } = &field.block_rates;
        let stand = blocks[0].rate.stand(field.spacing.own_stand(), *parts);
        (stand.spacing.to_cm(), stand.pattern)
    }

    const HILLS: &str = "pattern = \"hill\"\nseeds_per_hill = 3\nhill_length = \"5 cm\"\n";
    const HILL: Pattern = Pattern::Hill { seeds: 3, length: Length::cm(5.0) };

    /// Without a rate a pattern has the field's own number of seeds: three to a hill lie three times as far
    /// apart as one by one.
    #[test]
    fn a_pattern_is_said_with_a_rate_or_without() {
        // 1e4 / (0.45 · 0.09) seeds a hectare are 100 %.
        for (job, keys, cm, pattern) in [
            (SOUND, HILLS.to_owned(), 27.0, HILL),
            (SOUND, format!("{HILLS}rate = \"75 %\""), 36.0, HILL),
            (SOUND, format!("{HILLS}between_hills = \"45 cm\""), 45.0, HILL),
            (SOUND, format!("{HILLS}seeds_per_ha = 185_185"), 36.0, HILL),
            (SOUND, "pattern = \"drill\"\nbetween_seeds = \"3 cm\"".to_owned(), 3.0, Pattern::Drill),
            (&in_hills(), "pattern = \"single\"".to_owned(), 9.0, Pattern::Single),
            (&in_hills(), "pattern = \"drill\"\nrate = \"150 %\"".to_owned(), 6.0, Pattern::Drill),
            (
                &in_hills(),
                "between_hills = \"48 cm\"".to_owned(),
                48.0,
                Pattern::Hill { seeds: 4, length: Length::cm(6.0) },
            ),
        ] {
            let found = stand(job, &keys);
            assert!((found.0 / cm - 1.0).abs() < 0.01 && found.1 == pattern, "{keys}: {found:?}");
        }
    }

    #[test]
    fn a_pattern_that_makes_no_sense_is_refused_at_its_line() {
        let in_hills = in_hills();
        let tool_rows =
            SOUND.replace("stagger = 0.5", "tool_row = { rows = [1], between_seeds = \"18 cm\" }");
        for (job, keys, rule, at) in [
            (SOUND, "pattern = \"hill\"\nseeds_per_hill = 3", "spacing/pattern", "[[field.block]]"),
            (SOUND, "pattern = \"drill\"\nhill_length = \"5 cm\"", "spacing/pattern", "\"5 cm\""),
            (SOUND, "seeds_per_hill = 3", "spacing/pattern", "3"),
            (SOUND, "between_hills = \"40 cm\"", "spacing/pattern", "\"40 cm\""),
            (&in_hills, "seeds_per_hill = 3", "spacing/pattern", "3"),
            (&in_hills, "hill_length = \"4 cm\"\nrate = \"80 %\"", "spacing/pattern", "\"4 cm\""),
            (SOUND, &format!("{HILLS}between_seeds = \"40 cm\""), "spacing/pattern", "\"40 cm\""),
            (SOUND, &HILLS.replace("5 cm", "28 cm"), "spacing/hill-too-long", "\"28 cm\""),
            (SOUND, &format!("{HILLS}rate = \"900 %\""), "zones/rate", "\"900 %\""),
            (&tool_rows, "pattern = \"drill\"", "field/block-beside-tool-rows", "\"drill\""),
            (
                SOUND,
                "pattern = \"drill\"\n[field.zones]\nfile = \"zones.geojson\"\nrate = \"rate\"",
                "field/block-in-zones",
                "\"drill\"",
            ),
        ] {
            let (findings, field) = told_in(job, &[keys]);
            assert!(field.is_none(), "{keys}");
            assert_eq!(findings.len(), 1, "{keys}: {findings:#?}");
            assert_eq!(findings[0].rule, rule, "{keys}");
            let job = format!("{job}\n[[field.block]]\nat = [48.611, -27.408]\n{keys}\n");
            let span = findings[0].span.as_ref().unwrap();
            assert_eq!(&job[span.bytes.clone()], at, "{keys}");
            assert!(findings[0].hint.is_some());
        }
    }

    /// What the hint says of hills that are too long passes.
    #[test]
    fn hills_as_long_as_the_hint_allows_pass() {
        let long = |length: f64| HILLS.replace("5 cm", &format!("{length} cm"));
        let (findings, _) = told(&[&long(30.0)]);
        let hint = findings[0].hint.clone().unwrap();
        let below: f64 = hint
            .strip_prefix("write hills shorter than ")
            .unwrap()
            .split(' ')
            .next()
            .unwrap()
            .parse()
            .unwrap();
        assert!((stand(SOUND, &long(below - 0.1)).0 - below).abs() < 1e-9);
    }

    #[test]
    fn what_makes_no_sense_is_refused_at_its_line() {
        let cases = [
            ("", "field/block-says-nothing", "[[field.block]]"),
            ("rate = \"900 %\"", "zones/rate", "\"900 %\""),
            ("rate = \"0 %\"", "zones/rate", "\"0 %\""),
            ("rate = \"80 %\"\nbetween_seeds = \"12 cm\"", "spacing/stand", "\"12 cm\""),
            ("between_seeds = \"0 cm\"", "job/not-above-zero", "\"0 cm\""),
            (
                "rate = \"80 %\"\n[field.zones]\nfile = \"zones.geojson\"\nrate = \"rate\"",
                "field/block-in-zones",
                "\"80 %\"",
            ),
        ];
        for (keys, rule, at) in cases {
            let (findings, field) = told(&[keys]);
            assert!(field.is_none(), "{keys}");
            let finding = findings.iter().find(|finding| finding.rule == rule);
            let finding = finding.unwrap_or_else(|| panic!("{rule}: {findings:#?}"));
            let job = format!("{SOUND}\n[[field.block]]\nat = [48.611, -27.408]\n{keys}\n");
            let span = finding.span.as_ref().unwrap();
            assert!(job[span.bytes.clone()].contains(at), "{rule}: {}", &job[span.bytes.clone()]);
        }
    }
}
