//! Blocks that are sown closer or wider than the field's spacing says.
//!
//! In: what the job says of each block. Out: their rates, on parts of the field's own spacing as those of
//! treatment zones are. Soil in no such block, headland laps among it, is sown as the spacing says.

use super::rate::{Asked, RATES, Rate, on_parts, percent, tell_long_hills, tell_rounded};
use super::spacing::tell_said_twice;
use super::zones::Known;
use super::{Findings, Spacing};
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
    /// How close it is sown; never nothing.
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

/// A block's share of the field's own number of seeds, and where the job states it.
type Share<'f> = (usize, f64, &'f Place);

/// Checks the rates of a field's blocks.
pub fn block_rates(file: &written::Field, known: &Known<'_>, findings: &mut Findings) -> Option<BlockRates> {
    let mut shares: Vec<Option<Share>> = Vec::new();
    for (block, table) in file.block.iter().flat_map(|many| &many.0).enumerate() {
        if let Some(distance) = &table.between_seeds {
            findings.above_zero(distance, "between_seeds");
        }
        match said(table).as_slice() {
            [] if table.guidance.is_some() => {}
            [] => {
                findings
                    .raise("field/block-says-nothing", &table.place, "nothing is asked of this block")
                    .hint("add `guidance`, or how close it is sown, for example `rate = \"80 %\"`");
                shares.push(None);
            }
            [(_, asked, place)] => {
                tell_beside_zones(file, place, findings);
                shares.push(share(*asked, known, place, findings).map(|share| (block, share, *place)));
            }
            [(first, ..), (second, _, place), ..] => {
                tell_said_twice(first, second, place, findings);
                shares.push(None);
            }
        }
    }
    let shares: Vec<Share> = shares.into_iter().collect::<Option<_>>()?;
    if shares.is_empty() {
        return Some(BlockRates::none());
    }
    Some(on_one_lattice(&shares, known.spacing?, findings))
}

/// Every way in which a block says how close it is sown.
fn said(table: &written::Block) -> Vec<(&'static str, Asked, &Place)> {
    let rate = table.rate.as_ref().map(|said| ("rate", Asked::Rate(said.value.ratio()), &said.place));
    let seeds = table.seeds_per_ha.as_ref();
    let seeds = seeds.map(|said| ("seeds_per_ha", Asked::SeedsPerHa(said.value.into()), &said.place));
    let plants = table.plants_per_ha.as_ref();
    let plants = plants.map(|said| ("plants_per_ha", Asked::PlantsPerHa(said.value.into()), &said.place));
    let distance = table.between_seeds.as_ref();
    let distance = distance.map(|said| ("between_seeds", Asked::BetweenSeeds(said.value), &said.place));
    [rate, seeds, plants, distance].into_iter().flatten().collect()
}

fn tell_beside_zones(file: &written::Field, place: &Place, findings: &mut Findings) {
    if file.zones.is_some() {
        findings
            .raise("field/block-in-zones", place, "this block has a rate, and so have treatment zones")
            .hint("leave it out, or draw the block as a zone in the file of `zones`");
    }
}

/// The share of the field's own number of seeds that a block gets, if there is sense in it.
fn share(asked: Asked, known: &Known<'_>, place: &Place, findings: &mut Findings) -> Option<f64> {
    if matches!(asked, Asked::BetweenSeeds(distance) if distance <= Length::ZERO) {
        return None;
    }
    let share = asked.share(known.spacing?, known.crop)?;
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

fn on_one_lattice(shares: &[Share], spacing: &Spacing, findings: &mut Findings) -> BlockRates {
    let (parts, rates) = on_parts(&shares.iter().map(|(_, share, _)| *share).collect::<Vec<_>>());
    let mut blocks = Vec::with_capacity(rates.len());
    for (&(block, _, place), rate) in shares.iter().zip(rates) {
        tell_rounded(&[rate], parts, place, findings);
        tell_long_hills("this block", (rate, parts), spacing, place, findings);
        blocks.push(BlockRate { block, rate, span: span(place) });
    }
    BlockRates { parts, blocks }
}

#[cfg(test)]
mod tests {
    use crate::check::check;
    use crate::check::tests::SOUND;
    use crate::check::{BlockRates, Field};
    use crate::diagnostic::Finding;
    use crate::read::read;
    use lanewright_schema::job::Asked;
    use std::collections::BTreeMap;

    /// The sound job with these blocks.
    fn told(blocks: &[&str]) -> (Vec<Finding>, Option<Field>) {
        let block = |keys: &&str| format!("\n[[field.block]]\nat = [48.611, -27.408]\n{keys}\n");
        let job = format!("{SOUND}{}", blocks.iter().map(block).collect::<String>());
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
