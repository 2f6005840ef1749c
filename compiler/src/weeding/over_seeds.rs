//! A pass over the seeds before plants are up: shallower than the seed by a clearance, so that it may
//! pass above every seed.

use super::{Over, RowBand, Section, Shares, Weeding, events};
use crate::check::OverSeeds;
use crate::diagnostic::Finding;
use crate::rules;
use lanewright_schema::quantity::Length;

/// The pass; refused where it comes too near to the seed.
pub fn pass(tools: &OverSeeds, over: &Over, findings: &mut Vec<Finding>) -> Weeding {
    let (field, pass) = (over.field, over.pass);
    let deepest = field.crop.depth - tools.clearance;
    if pass.depth > deepest + Length::mm(1e-6) {
        let message = format!(
            "tools {:.0} mm deep come nearer than {:.0} mm to seed at {:.0} mm in `{}`",
            pass.depth.to_mm(),
            tools.clearance.to_mm(),
            field.crop.depth.to_mm(),
            field.name
        );
        let hint = if deepest > Length::ZERO {
            format!("write `depth = \"{:.0} mm\"` or less", deepest.to_mm().floor().max(1.0))
        } else {
            "seed this shallow leaves no room for tools above it".to_owned()
        };
        findings.push(
            rules::finding("weeding/deeper-than-seed", message)
                .with_span(pass.places.depth.clone(), "too deep")
                .with_hint(hint),
        );
    }
    let worked = tools.worked.min(over.sown.row_spacing);
    let surface = worked / over.sown.row_spacing;
    let (rows, drawn) = (over.row_sigmas(over.speed(), |_| true), over.commonest());
    Weeding {
        pass: pass.clone(),
        speed: over.speed(),
        fastest: None,
        rows: rows.into_iter().map(|sigma| RowBand { sigma, clear: Length::ZERO }).collect(),
        section: Section {
            row_spacing: over.sown.row_spacing,
            plant_spacing: drawn.spacing,
            pattern: drawn.pattern,
            plant_share: over.share(drawn),
            plant_radius: Length::ZERO,
            clear: Length::ZERO,
            between_rows: worked,
            in_row: None,
        },
        shares: Shares { surface, row_band: if surface < 1.0 { 0.0 } else { 1.0 }, loss: 0.0, touched: 0.0 },
        events: events::along_rows(over.sown),
    }
}
