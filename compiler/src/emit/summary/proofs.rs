//! The summary's section on what was proven, in sentences that say what holds.
//!
//! In: the audit's checks of every field. Out: a table for each field: the sentence, where the plan
//! comes nearest to breaking it, and how much is left there.

use super::super::words;
use super::document::{Block, Section};
use crate::audit::{Audit, PROOF_M};
use crate::pipeline::Compiled;
use crate::rules;
use crate::site::FieldSite;

/// The section.
pub fn section(compiled: &Compiled) -> Section {
    let told = "Each line was proven of the finished plan, by other means than it was made with. The margin is \
         what is left, where least is left, before the sentence would be untrue.";
    let mut blocks = vec![Block::text(told)];
    for (site, plan) in compiled.site.fields.iter().zip(&compiled.fields) {
        if compiled.fields.len() > 1 {
            blocks.push(Block::Heading { text: site.name.clone() });
        }
        blocks.push(table(site, &plan.audit));
    }
    Section::new("Checks passed", blocks)
}

fn table(site: &FieldSite, audit: &Audit) -> Block {
    let rows = audit.checks.iter().map(|check| {
        let place = check.place.map_or_else(String::new, |at| words::place(site.inverse.to_geo(at)));
        let sentence = format!("{} ({})", holds(check.rule, check.unit), check.rule);
        vec![sentence, place, margin(check.margin, check.unit)]
    });
    Block::table(&["Proven", "Least margin at", "Margin"], 2, rows.collect())
}

/// What is true once a check has passed. A proof about directions has degrees for its unit.
fn holds(rule: &str, unit: &str) -> String {
    match rule {
        "audit/inside-fence" => {
            return format!(
                "Body and antennas stay inside the fence and out of every keep-out's clearance; the proof is true to {:.0} mm, which the margin has given away",
                1000.0 * PROOF_M
            );
        }
        "audit/fence-true" => {
            "The fence keeps its margin from the boundary and the clearance from every keep-out"
        }
        "audit/steering-rate" => "In no turn or transit the wheels need turn faster than they do, or jump",
        "audit/curvature" => "No way is tighter than the machine steers",
        "audit/steering" => "No way asks for a reverse or a turn on the spot that the machine cannot do",
        "audit/joined" if unit == "°" => "Every way begins in the direction in which the one before ends",
        "audit/joined" => "Every way begins where the one before ends",
        "audit/every-lane-once" => "Every lane that can be reached is driven once",
        "audit/tool-in-lane" => "Every row ends within its lane, so that the tool is up in every turn",
        "audit/areas" => "Sown, headland, keep-out and left-over ground add up to the field",
        "audit/seeds-on-soil" => "Every seed lies on the soil to be sown, and none in a keep-out",
        "audit/seeds-apart" => "No two seeds of a row lie nearer than the spacing",
        other => {
            return rules::rule(other).map_or_else(String::new, |rule| format!("Not found: {}", rule.finds));
        }
    }
    .to_owned()
}

/// A margin in the unit that reads best; without one where a rule leaves none to be had.
fn margin(margin: f64, unit: &str) -> String {
    match unit {
        "m" if margin.abs() < 0.000_05 => "exact to 0.1 mm".to_owned(),
        "m" if margin.abs() < 0.9995 => format!("{} mm", words::decimal(margin * 1000.0, 1)),
        "m" => format!("{} m", words::decimal(margin, 2)),
        "°" => format!("{}°", words::short(margin, 4)),
        "of the field" => format!("{} % of the field", words::short(margin * 100.0, 5)),
        _ if margin.abs() < 1e-9 => "holds".to_owned(),
        _ => format!("{} {unit}", words::short(margin, 4)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn margins_read_well() {
        let told =
            [(0.012_345, "m"), (0.9999, "m"), (1e-6, "of the field"), (0.01, "°"), (0.0, "runs"), (0.0, "m")];
        let told = told.map(|(value, unit)| margin(value, unit));
        assert_eq!(told, ["12.3 mm", "1.00 m", "0.0001 % of the field", "0.01°", "holds", "exact to 0.1 mm"]);
    }

    #[test]
    fn every_proof_has_its_sentence() {
        for rule in rules::AUDIT {
            let sentence = holds(rule.name, "m");
            assert!(!sentence.starts_with("Not found") && sentence.len() > 20, "{}", rule.name);
        }
    }
}
