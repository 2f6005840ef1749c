//! The lattice that a field asks for: how far apart, in which pattern, shifted how, and which rows
//! are sown otherwise or not at all.
//!
//! A stand is said once, as a distance or as a number on a hectare, and becomes the distance between
//! places: `10⁴ · seeds at a place / (row spacing · seeds per hectare)`, where seeds are sales units
//! times their content, or plants over germination times field emergence.

use super::{Crop, Findings, OwnRow, Pattern, Spacing, Stand, Tramlines, brief};
use crate::geometry::lattice;
use lanewright_schema::job::{self as written, PatternName, Place, Stagger, Written};
use lanewright_schema::quantity::Length;
use std::ops::RangeInclusive;

/// Distances in a row beyond which something else was meant.
pub const SPACINGS: (RangeInclusive<Length>, &str) = (Length::mm(1.0)..=Length::m(100.0), "1 mm to 100 m");

/// Checks the lattice, against the machine and the crop where they could be read.
pub fn spacing(
    file: &written::Spacing,
    machine: Option<&written::Machine>,
    crop: Option<&Crop>,
    findings: &mut Findings,
) -> Option<Spacing> {
    findings.above_zero(&file.between_rows, "between_rows");
    tell_other_rows(&file.between_rows, machine, findings);
    let pattern = Asked::of_field(file).pattern(findings);
    let stagger = stagger(file.stagger.as_ref(), findings);
    let said = said(file, pattern, crop, findings);
    let tool_rows = machine.map(|machine| machine.rows.value);
    let own_rows = own_rows(file, tool_rows, findings);
    let tramlines = file.tramlines.as_ref().map(|tramlines| tramlines_of(tramlines, tool_rows, findings));
    if let Some(margin) = &file.row_end_margin {
        findings.not_negative(margin, "row_end_margin");
        findings.within(margin, "row_end_margin", &(Length::ZERO..=Length::m(100.0), "0 m to 100 m"));
    }
    if let Some(precision) = &file.precision {
        findings.above_zero(precision, "precision");
        findings.within(precision, "precision", &(Length::mm(0.1)..=Length::m(1.0), "0.1 mm to 1 m"));
    }
    let rows = file.between_rows.value;
    let (between_seeds, stagger) = lattice_of(rows, said?, stagger?, file, findings)?;
    let stand = Stand { spacing: between_seeds, pattern: pattern? };
    tell_long_hill(stand, file.hill_length.as_ref(), findings);
    Some(Spacing {
        between_rows: rows,
        between_seeds,
        pattern: stand.pattern,
        stagger,
        precision: file.precision.as_ref().map(|precision| precision.value),
        row_end_margin: file.row_end_margin.as_ref().map_or(Length::ZERO, |margin| margin.value),
        own_rows: own_rows?,
        tramlines: match tramlines {
            Some(tramlines) => Some(tramlines?),
            None => None,
        },
    })
}

/// Rows that are not as far apart as the machine's.
fn tell_other_rows(rows: &Written<Length>, machine: Option<&written::Machine>, findings: &mut Findings) {
    if let Some(tool) = machine.map(|machine| machine.row_spacing.value)
        && rows.value > Length::ZERO
        && (rows.value - tool).abs() > Length::mm(0.01)
    {
        findings
            .raise(
                "spacing/not-the-machines",
                &rows.place,
                format!(
                    "rows {} cm apart cannot be sown by a machine whose rows are {} cm apart",
                    brief(rows.value.to_cm()),
                    brief(tool.to_cm())
                ),
            )
            .hint(format!("write `\"{} cm\"`, or set the machine's `row_spacing`", brief(tool.to_cm())));
    }
}

fn stagger(written: Option<&Written<Stagger>>, findings: &mut Findings) -> Option<Stagger> {
    let Some(written) = written else { return Some(Stagger::Share(0.0)) };
    match written.value {
        Stagger::Share(share) if !(0.0..=1.0).contains(&share) => {
            findings
                .raise("spacing/stagger", &written.place, format!("a stagger of {share} is outside 0 to 1"))
                .hint("write the shift as a share of the seed spacing, for example `0.5`");
            None
        }
        // A whole seed spacing is no shift at all.
        Stagger::Share(share) if share >= 1.0 => Some(Stagger::Share(0.0)),
        asked => Some(asked),
    }
}

/// What is asked of the field, of some of its rows or of a part of it.
struct Asked<'f> {
    place: &'f Place,
    name: Option<PatternName>,
    between_seeds: Option<&'f Written<Length>>,
    between_hills: Option<&'f Written<Length>>,
    seeds_per_hill: Option<&'f Written<u32>>,
    hill_length: Option<&'f Written<Length>>,
}

impl<'f> Asked<'f> {
    fn of_field(file: &'f written::Spacing) -> Self {
        Self {
            place: &file.place,
            name: file.pattern.as_ref().map(|pattern| pattern.value),
            between_seeds: file.between_seeds.as_ref(),
            between_hills: file.between_hills.as_ref(),
            seeds_per_hill: file.seeds_per_hill.as_ref(),
            hill_length: file.hill_length.as_ref(),
        }
    }

    fn of_rows(file: &'f written::ToolRow) -> Self {
        Self {
            place: &file.place,
            name: file.pattern.as_ref().map(|pattern| pattern.value),
            between_seeds: file.between_seeds.as_ref(),
            between_hills: file.between_hills.as_ref(),
            seeds_per_hill: file.seeds_per_hill.as_ref(),
            hill_length: file.hill_length.as_ref(),
        }
    }

    fn of_block(file: &'f written::Block) -> Self {
        Self {
            place: &file.place,
            name: file.pattern.as_ref().map(|pattern| pattern.value),
            between_seeds: file.between_seeds.as_ref(),
            between_hills: file.between_hills.as_ref(),
            seeds_per_hill: file.seeds_per_hill.as_ref(),
            hill_length: file.hill_length.as_ref(),
        }
    }

    fn of_class(file: &'f written::ZoneClass) -> Self {
        Self {
            place: &file.place,
            name: file.pattern.as_ref().map(|pattern| pattern.value),
            between_seeds: file.between_seeds.as_ref(),
            between_hills: file.between_hills.as_ref(),
            seeds_per_hill: file.seeds_per_hill.as_ref(),
            hill_length: file.hill_length.as_ref(),
        }
    }

    /// Of a part of a field of this pattern, which it has where it states none: if any, the pattern that it
    /// states. Nothing where it is said wrong.
    #[expect(clippy::option_option, reason = "outside: whether it is sound; inside: whether it is said")]
    fn pattern_of_part(&self, own: Option<Pattern>, findings: &mut Findings) -> Option<Option<Pattern>> {
        let in_hills = self.name.is_none() && own.is_none_or(|own| matches!(own, Pattern::Hill { .. }));
        let between_hills = self.between_hills.filter(|_| !in_hills);
        let pattern = Self { between_hills, ..*self }.pattern(findings)?;
        Some(self.name.map(|_| pattern))
    }

    /// The pattern with all that it needs and nothing that is another's.
    fn pattern(&self, findings: &mut Findings) -> Option<Pattern> {
        let name = self.name.unwrap_or(PatternName::Single);
        let hill = name == PatternName::Hill;
        let foreign = if hill {
            self.between_seeds
                .map(|said| (&said.place, "between_seeds", "`between_hills` says how far apart hills lie"))
        } else {
            let keys = [
                (self.between_hills.map(|said| &said.place), "between_hills"),
                (self.seeds_per_hill.map(|said| &said.place), "seeds_per_hill"),
                (self.hill_length.map(|said| &said.place), "hill_length"),
            ];
            keys.into_iter().find_map(|(place, key)| Some((place?, key, "write `pattern = \"hill\"`")))
        };
        if let Some((place, key, hint)) = foreign {
            let of = if hill { "is not said of hills" } else { "is said of hills only" };
            findings.raise("spacing/pattern", place, format!("`{key}` {of}")).hint(hint);
            return None;
        }
        match (name, self.seeds_per_hill, self.hill_length) {
            (PatternName::Single, ..) => Some(Pattern::Single),
            (PatternName::Drill, ..) => Some(Pattern::Drill),
            (PatternName::Hill, Some(seeds), Some(length)) => hill_of(seeds, length, findings),
            (PatternName::Hill, ..) => {
                findings
                    .raise("spacing/pattern", self.place, "hills need `seeds_per_hill` and `hill_length`")
                    .hint("write, for example, `seeds_per_hill = 3` and `hill_length = \"6 cm\"`");
                None
            }
        }
    }

    fn distance(&self) -> Option<(&'static str, &'f Written<Length>)> {
        let seeds = self.between_seeds.map(|said| ("between_seeds", said));
        seeds.or(self.between_hills.map(|said| ("between_hills", said)))
    }
}

/// The pattern that a block states, if any, in a field of this pattern. Nothing where it is said wrong.
#[expect(clippy::option_option, reason = "outside: whether it is sound; inside: whether it is said")]
pub fn pattern_of_block(
    file: &written::Block,
    own: Option<Pattern>,
    findings: &mut Findings,
) -> Option<Option<Pattern>> {
    Asked::of_block(file).pattern_of_part(own, findings)
}

/// The pattern that a class of treatment zones states, if any, in a field of this pattern. Nothing where it is
/// said wrong.
#[expect(clippy::option_option, reason = "outside: whether it is sound; inside: whether it is said")]
pub fn pattern_of_class(
    file: &written::ZoneClass,
    own: Option<Pattern>,
    findings: &mut Findings,
) -> Option<Option<Pattern>> {
    Asked::of_class(file).pattern_of_part(own, findings)
}

/// Seeds in a hill.
pub const SEEDS_IN_HILL: RangeInclusive<u32> = 2..=100;

fn hill_of(seeds: &Written<u32>, length: &Written<Length>, findings: &mut Findings) -> Option<Pattern> {
    findings.not_negative(length, "hill_length");
    if SEEDS_IN_HILL.contains(&seeds.value) {
        return Some(Pattern::Hill { seeds: seeds.value, length: length.value });
    }
    findings
        .raise("spacing/pattern", &seeds.place, format!("a hill of {} seeds is none", seeds.value))
        .hint("write a number from 2 to 100, or `pattern = \"single\"`");
    None
}

/// A distance between places with the key that says it.
struct Said<'f> {
    distance: Length,
    key: &'static str,
    place: &'f Place,
}

/// Tells that a key says again what another has said.
pub fn tell_said_twice(first: &str, second: &str, place: &Place, findings: &mut Findings) {
    findings
        .raise("spacing/stand", place, format!("`{first}` and `{second}` say the same thing twice"))
        .hint(format!("leave out `{first}` or `{second}`"));
}

/// How far apart places are, where anything but the stagger says it. Nothing where it is said wrong.
#[expect(clippy::option_option, reason = "outside: whether it is sound; inside: whether it is said")]
fn said<'f>(
    file: &'f written::Spacing,
    pattern: Option<Pattern>,
    crop: Option<&Crop>,
    findings: &mut Findings,
) -> Option<Option<Said<'f>>> {
    let asked = Asked::of_field(file);
    let mut keys: Vec<(&'static str, &Place)> = Vec::new();
    keys.extend(asked.distance().map(|(key, said)| (key, &said.place)));
    keys.extend(file.seeds_per_ha.as_ref().map(|said| ("seeds_per_ha", &said.place)));
    keys.extend(file.units_per_ha.as_ref().map(|said| ("units_per_ha", &said.place)));
    keys.extend(file.plants_per_ha.as_ref().map(|said| ("plants_per_ha", &said.place)));
    let (key, place) = match keys.as_slice() {
        [] => return Some(None),
        [only] => *only,
        [(first, _), (second, place), ..] => {
            tell_said_twice(first, second, place, findings);
            return None;
        }
    };
    if let Some((key, said)) = asked.distance() {
        findings.above_zero(said, key);
        findings.within(said, key, &SPACINGS);
        return Some(Some(Said { distance: said.value, key, place }));
    }
    let seeds_per_ha = seeds_per_ha(file, crop, findings)?;
    let in_place = f64::from(pattern?.seeds());
    let distance = Length::m(1e4 * in_place / (file.between_rows.value.to_m() * seeds_per_ha));
    if !SPACINGS.0.contains(&distance) {
        findings
            .raise(
                "spacing/stand",
                place,
                format!(
                    "{} seeds a hectare in rows {} cm apart lie {} m apart in the row",
                    brief(seeds_per_ha),
                    brief(file.between_rows.value.to_cm()),
                    brief(distance.to_m())
                ),
            )
            .hint(format!("write a number that makes the distance {}", SPACINGS.1));
        return None;
    }
    Some(Some(Said { distance, key, place }))
}

/// Seeds on a hectare, from whichever number says it.
fn seeds_per_ha(file: &written::Spacing, crop: Option<&Crop>, findings: &mut Findings) -> Option<f64> {
    if let Some(seeds) = &file.seeds_per_ha {
        findings.above_zero(seeds, "seeds_per_ha");
        return (seeds.value > 0).then(|| f64::from(seeds.value));
    }
    if let Some(plants) = &file.plants_per_ha {
        findings.above_zero(plants, "plants_per_ha");
        let crop = crop?;
        return (plants.value > 0)
            .then(|| f64::from(plants.value) / (crop.germination * crop.field_emergence));
    }
    let units = file.units_per_ha.as_ref()?;
    findings.above_zero(units, "units_per_ha");
    let crop = crop?;
    let Some(per_unit) = crop.seeds_per_unit else {
        findings
            .raise(
                "spacing/no-unit",
                &units.place,
                format!(
                    "units are asked, but the crop `{}` does not say how many seeds are in one",
                    crop.name
                ),
            )
            .hint("write `seeds_per_unit = 100_000` into the crop, as the bag says, or ask `seeds_per_ha`");
        return None;
    };
    (units.value > 0.0).then_some(units.value * per_unit as f64)
}

/// The distance and the shift that were asked, the one from the other where the stagger decides.
fn lattice_of(
    rows: Length,
    said: Option<Said<'_>>,
    stagger: Stagger,
    file: &written::Spacing,
    findings: &mut Findings,
) -> Option<(Length, f64)> {
    if rows <= Length::ZERO {
        return None;
    }
    match (stagger, said) {
        (Stagger::Share(share), Some(said)) => Some((said.distance, share)),
        (Stagger::Share(_), None) => {
            findings
                .raise("spacing/stand", &file.place, "nothing says how far apart the seeds lie in the row")
                .hint("write, for example, `between_seeds = \"18 cm\"` or `seeds_per_ha = 111_111`");
            None
        }
        (Stagger::Hex, said) => {
            let seeds =
                said.map_or_else(|| Length::m(lattice::equidistant(rows.to_m())), |said| said.distance);
            (seeds > Length::ZERO).then(|| (seeds, lattice::widest_shift(rows.to_m(), seeds.to_m())))
        }
        (Stagger::Square, Some(said)) if (said.distance - rows).abs() > Length::mm(0.01) => {
            let rows = brief(rows.to_cm()).to_string();
            findings
                .raise(
                    "spacing/not-square",
                    said.place,
                    format!(
                        "places {} cm apart make no squares with rows {rows} cm apart",
                        brief(said.distance.to_cm())
                    ),
                )
                .hint(format!("leave out `{}`: the rows decide it, {rows} cm", said.key));
            None
        }
        (Stagger::Square, _) => Some((rows, 0.0)),
    }
}

fn tell_long_hill(stand: Stand, length: Option<&Written<Length>>, findings: &mut Findings) {
    let Some(written) = length else { return };
    if stand.pattern.length() < stand.spacing {
        return;
    }
    findings
        .raise(
            "spacing/hill-too-long",
            &written.place,
            format!(
                "hills {} cm long run into each other where their middles are {} cm apart",
                brief(written.value.to_cm()),
                brief(stand.spacing.to_cm())
            ),
        )
        .hint(format!(
            "write a length below {} cm, or place hills farther apart",
            brief(stand.spacing.to_cm())
        ));
}

fn own_rows(file: &written::Spacing, tool_rows: Option<u32>, findings: &mut Findings) -> Option<Vec<OwnRow>> {
    let mut own: Vec<OwnRow> = Vec::new();
    let mut sound = true;
    for rows in file.tool_row.iter().flat_map(|many| &many.0) {
        let stand = own_stand(rows, findings);
        sound &= stand.is_some();
        for row in &rows.rows.value {
            let Some(tool_row) = counted_row(row, tool_rows, findings) else {
                sound = false;
                continue;
            };
            if own.iter().any(|other| other.tool_row == tool_row) {
                findings
                    .raise(
                        "spacing/no-such-row",
                        &row.place,
                        format!("tool row {} is listed twice", row.value),
                    )
                    .hint("list each tool row once");
                sound = false;
            }
            own.extend(stand.map(|stand| OwnRow { tool_row, stand }));
        }
    }
    own.sort_by_key(|own| own.tool_row);
    sound.then_some(own)
}

fn own_stand(rows: &written::ToolRow, findings: &mut Findings) -> Option<Stand> {
    let asked = Asked::of_rows(rows);
    let pattern = asked.pattern(findings)?;
    let Some((key, distance)) = asked.distance() else {
        findings
            .raise("spacing/stand", &rows.place, "nothing says how far apart the seeds of these rows lie")
            .hint("write `between_seeds`, or `between_hills` with `pattern = \"hill\"`");
        return None;
    };
    findings.above_zero(distance, key);
    findings.within(distance, key, &SPACINGS);
    let stand = Stand { spacing: distance.value, pattern };
    tell_long_hill(stand, rows.hill_length.as_ref(), findings);
    Some(stand)
}

/// A row of the toolbar, counted from zero, if the machine has it.
fn counted_row(row: &Written<u32>, tool_rows: Option<u32>, findings: &mut Findings) -> Option<usize> {
    let most = tool_rows.unwrap_or(u32::MAX);
    if (1..=most).contains(&row.value) {
        return Some(row.value as usize - 1);
    }
    findings
        .raise(
            "spacing/no-such-row",
            &row.place,
            format!("there is no row {}; the machine has {most}", row.value),
        )
        .hint(format!("write numbers from 1 to {most}"));
    None
}

fn tramlines_of(
    file: &written::Tramlines,
    tool_rows: Option<u32>,
    findings: &mut Findings,
) -> Option<Tramlines> {
    findings.above_zero(&file.every, "every");
    let every = file.every.value;
    let first = file.first.as_ref().map_or(every.div_ceil(2), |first| first.value);
    if let Some(written) = &file.first
        && !(1..=every).contains(&first)
    {
        findings
            .raise(
                "spacing/tramlines",
                &written.place,
                format!("lane {first} is not among the first {every}"),
            )
            .hint(format!("write a number from 1 to {every}"));
        return None;
    }
    let rows: Vec<Option<usize>> =
        file.rows.value.iter().map(|row| counted_row(row, tool_rows, findings)).collect();
    let rows: Vec<usize> = rows.into_iter().collect::<Option<_>>()?;
    if rows.is_empty() {
        findings
            .raise("spacing/tramlines", &file.rows.place, "tramlines without a row")
            .hint("name the rows that stay unsown, for example `rows = [2, 5]`");
        return None;
    }
    if every == 1 && tool_rows.is_some_and(|all| (0..all as usize).all(|row| rows.contains(&row))) {
        findings
            .raise("spacing/tramlines", &file.rows.place, "every row of every lane stays unsown")
            .hint("name fewer rows, or lanes farther apart in `every`");
        return None;
    }
    Some(Tramlines {
        every: i64::from(every),
        first: i64::from(first) - 1,
        rows: rows.into_iter().map(|row| row as i64).collect(),
    })
}
