//! What was proven of a finished plan, with margins. A failed proof stops the emission.
//!
//! In: the plan as the stages made it. Out: each proof with its margin and the place where the
//! margin is smallest. Nothing here is shared with the stages that planned: the fence, the joints
//! and the seeds are examined anew, from the values that would be emitted.
//!
//! It proves the plan, not the machine: steering errors and the receiver's are covered by the
//! fence margin that the job asks for.

mod driving;
mod fence;
mod sketch;
mod soil;

use crate::check::{Field, Machine};
use crate::diagnostic::{Finding, Told};
use crate::geometry::{Path, Point};
use crate::lanes::LanePlan;
use crate::route::Route;
use crate::rules;
use crate::seeds::SeedMap;
use crate::site::FieldSite;
pub use fence::PROOF_M;
use fence::{Clearance, Fence};
use rayon::prelude::*;

/// The proofs of one field.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Audit {
    /// Each proof, in a fixed order.
    pub checks: Vec<Check>,
}

/// One proof.
#[derive(Clone, Debug, PartialEq)]
pub struct Check {
    /// The rule that it proves, e.g. `audit/inside-fence`.
    pub rule: &'static str,
    /// What is left before the rule would be broken; negative when it is.
    pub margin: f64,
    /// Unit of the margin.
    pub unit: &'static str,
    /// How much the true margin may exceed this one; none where it is exact but for rounding.
    pub tolerance: Option<f64>,
    /// Where the margin is smallest, in the field frame.
    pub place: Option<Point>,
}

/// Examines the finished plan of one field. Refuses it where a proof fails.
pub fn audit(
    field: &Field,
    site: &FieldSite,
    machine: &Machine,
    plan: &LanePlan,
    route: &Route,
    seeds: &SeedMap,
) -> Told<Audit> {
    let stretches = driving::driven(plan, route);
    let paths: Vec<&Path> = stretches.concat();
    let mut proofs = vec![inside_fence(site, machine, &paths), soil::fence_true(field, site)];
    proofs.extend(driving::drivable(&paths, machine));
    proofs.extend(driving::steering_rate(route, machine));
    proofs.extend(driving::joined(&stretches));
    proofs.push(driving::every_lane_once(plan, route));
    proofs.push(driving::tool_in_lane(plan, machine));
    proofs.push(soil::areas(site, plan));
    proofs.push(soil::seeds_on_soil(site, seeds));
    proofs.push(soil::seeds_apart(seeds));
    let sketch = |place: Point| sketch::sketch(site, machine, &paths, place);
    let findings: Vec<Finding> = proofs.iter().filter_map(|proof| proof.failure(site, sketch)).collect();
    let audit = Audit { checks: proofs.into_iter().map(|proof| proof.check).collect() };
    Told { value: findings.is_empty().then_some(audit), findings }
}

/// Body and antennas inside the fence in every pose.
fn inside_fence(site: &FieldSite, machine: &Machine, paths: &[&Path]) -> Proof {
    let fence = Fence::new(&site.fence, machine);
    let smaller = |a: Clearance, b: Clearance| if b.metres < a.metres { b } else { a };
    let ends = paths.iter().flat_map(|path| [path.start, path.end()]);
    let at_ends = ends.map(|pose| fence.at(pose)).reduce(smaller);
    let smallest = at_ends.and_then(|known| {
        let along: Vec<Clearance> = paths.par_iter().map(|path| fence.along(path, known)).collect();
        along.into_iter().reduce(smaller)
    });
    let (margin, place) = smallest.map_or((0.0, None), |least| (least.metres - PROOF_M, Some(least.place)));
    let mut proof = Proof::new("audit/inside-fence", "m", margin, place, |margin| {
        format!(
            "body or antennas are not proven to stay inside the fence: {:.1} mm are left where the proof is true to {:.1} mm",
            1000.0 * (margin + PROOF_M),
            1000.0 * PROOF_M
        )
    });
    proof.check.tolerance = Some(PROOF_M);
    proof
}

/// A check with what to say if it fails.
struct Proof {
    check: Check,
    failure: Option<String>,
}

/// The worst of something.
struct Fault {
    metres: f64,
    place: Point,
}

impl Proof {
    fn new(
        rule: &'static str,
        unit: &'static str,
        margin: f64,
        place: Option<Point>,
        fault: impl FnOnce(f64) -> String,
    ) -> Self {
        // A margin that is no number proves nothing.
        let failure = (margin.is_nan() || margin < 0.0).then(|| fault(margin));
        Self { check: Check { rule, margin, unit, tolerance: None, place }, failure }
    }

    /// Passes when nothing is wrong; the margin is zero or minus the number of what is.
    fn none_of(
        rule: &'static str,
        unit: &'static str,
        wrong: &[Point],
        fault: impl FnOnce(usize) -> String,
    ) -> Self {
        let margin = if wrong.is_empty() { 0.0 } else { -(wrong.len() as f64) };
        Self::new(rule, unit, margin, wrong.first().copied(), |_| fault(wrong.len()))
    }

    fn failure(&self, site: &FieldSite, sketch: impl Fn(Point) -> Vec<String>) -> Option<Finding> {
        let message = format!("`{}`: {}", site.name, self.failure.as_ref()?);
        let finding = rules::finding(self.check.rule, message);
        Some(match self.check.place {
            Some(place) => finding.with_place(site.inverse.to_geo(place)).with_map(sketch(place)),
            None => finding,
        })
    }
}

#[cfg(test)]
mod tests;
