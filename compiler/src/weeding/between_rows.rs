//! A pass between the rows. The tools of a gap work a band in its middle, of width
//! `n · width − (n − 1) · overlap`; beside each row half of what is left of the row spacing stays clear,
//! which must be the plant's radius and k σ across the row.

use super::{Over, RowBand, Section, Shares, Weeding, events, has_places, normal};
use crate::check::BetweenRows;
use crate::diagnostic::Finding;
use crate::rules;
use crate::seeds::SeedRun;
use lanewright_schema::quantity::Length;

/// The pass; refused where the tools are wider than the gap lets them.
pub fn pass(tools: &BetweenRows, over: &Over, findings: &mut Vec<Finding>) -> Weeding {
    let (clear, drawn) = (tools.clear, over.commonest());
    let rows: Vec<RowBand> = over
        .row_sigmas(over.speed(), |_| true)
        .into_iter()
        .map(|sigma| RowBand { sigma, clear: clear.beside(sigma) })
        .collect();
    let spacing = over.sown.row_spacing;
    let widest_clear = rows.iter().map(|row| row.clear).fold(Length::ZERO, Length::max);
    let room = spacing - widest_clear * 2.0;
    if tools.worked() > room {
        findings.push(too_wide(tools, over, widest_clear, room));
    }
    // A plant of a drilled row may stand anywhere along it; one with a place needs less room round it.
    let round = |places: bool| {
        let sigmas = over.row_sigmas(over.speed(), |run| has_places(run) == places);
        sigmas.into_iter().map(|sigma| clear.round(sigma)).fold(Length::ZERO, Length::max)
    };
    let (placed, drilled) = (round(true), round(false));
    let of_run = |run: &SeedRun| if has_places(run) { placed } else { drilled };
    let events = events::beside_rows(over.sown, spacing * 0.5, of_run);
    let runs = &over.sown.seeds.runs;
    let row_m: f64 = runs.iter().map(SeedRun::length_m).sum();
    let kept_out_m: f64 = events.iter().zip(runs).map(|(events, run)| events.kept_out_m(run)).sum();
    let share = if row_m > 0.0 { 1.0 - kept_out_m / row_m } else { 0.0 };
    let beside = (spacing - tools.worked()) * 0.5;
    let loss = |from: Length| over.mean(|row, _| normal::beyond(from.to_m(), rows[row].sigma.across.to_m()));
    Weeding {
        pass: over.pass.clone(),
        speed: over.speed(),
        fastest: None,
        section: Section {
            row_spacing: spacing,
            plant_spacing: drawn.spacing,
            pattern: drawn.pattern,
            plant_share: over.share(drawn),
            plant_radius: clear.plant_radius,
            clear: widest_clear,
            between_rows: tools.worked(),
            in_row: None,
        },
        shares: Shares {
            surface: share * (tools.worked() / spacing),
            row_band: 0.0,
            loss: loss(beside),
            touched: loss(beside - clear.plant_radius),
        },
        rows,
        events,
    }
}

fn too_wide(tools: &BetweenRows, over: &Over, clear: Length, room: Length) -> Finding {
    let count = f64::from(tools.per_gap);
    let message = format!(
        "tools {:.1} cm wide together do not fit between rows {:.1} cm apart in `{}` with {:.1} cm clear beside each",
        tools.worked().to_cm(),
        over.sown.row_spacing.to_cm(),
        over.field.name,
        clear.to_cm()
    );
    let widest = (room + tools.overlap * (count - 1.0)) / count;
    let hint = if room > Length::ZERO && widest > tools.overlap {
        format!("write `width = \"{} mm\"` or less", widest.to_mm().floor())
    } else {
        "weed earlier, when leaves reach less far, or keep fewer `deviations` clear".to_owned()
    };
    rules::finding("weeding/tools-too-wide", message)
        .with_span(over.pass.places.width.clone(), format!("{} of these in a gap", tools.per_gap))
        .with_hint(hint)
}
