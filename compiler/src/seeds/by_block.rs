//! How the parts of a field are sown once its blocks are laid.
//!
//! In: the blocks, what the job says of them, the treatment zones as drawn. Out: the zones that seeds are laid
//! by: a block with a rate of its own is one; else those that are drawn.

use crate::check::{BlockRate, Field, Rate};
use crate::geometry::region;
use crate::lanes::LanePlan;
use crate::site::{FieldSite, SiteZone, SiteZones};
use geo::MultiPolygon;

/// The zones of a field.
pub fn zones_of(plan: &LanePlan, field: &Field, site: &FieldSite) -> SiteZones {
    let rates = &field.block_rates;
    if rates.blocks.is_empty() {
        return site.zones.clone();
    }
    let zone = |own: &BlockRate| {
        let at = site.layout.blocks[own.block].at;
        let block = plan.blocks.iter().find(|block| region::contains(&block.zone, at));
        let ground = block.map_or_else(|| MultiPolygon(Vec::new()), |block| block.zone.clone());
        SiteZone::new(format!("block {}", own.block + 1), ground, own.rate)
    };
    SiteZones {
        parts: rates.parts,
        zones: rates.blocks.iter().map(zone).collect(),
        elsewhere: Some(Rate::own(rates.parts)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::check::{BlockRates, Division, Guidance, OwnBlock, Pattern};
    use crate::geometry::Point;
    use crate::lanes::lanes;
    use crate::seeds::{SeedRun, seeds};
    use crate::site::example;
    use lanewright_schema::quantity::{Heading, Length};

    /// Two blocks that a line parts, the eastern one of them sown at this rate. Gives its runs and its ground,
    /// and the runs of the rest.
    fn sown(parts: u32, rate: Rate) -> (Vec<SeedRun>, MultiPolygon, Vec<SeedRun>) {
        let mut job = example::job();
        let mut site = crate::site::site(&job).value.unwrap().fields.remove(0);
        let span = job.fields[0].span.clone();
        let at = |x: f64, y: f64| Point { x, y };
        site.layout.guidance = Guidance::Heading(Heading::degrees(90.0));
        site.layout.division = Division::Lines(vec![vec![at(0.0, -10.0), at(0.0, 10.0)]]);
        site.layout.blocks = vec![OwnBlock { at: at(30.0, 0.0), guidance: None }];
        job.fields[0].block_rates = BlockRates { parts, blocks: vec![BlockRate { block: 0, rate, span }] };
        let field = &job.fields[0];
        let plan = lanes(field, &site, &job.machine).value.unwrap();
        let zones = zones_of(&plan, field, &site);
        let map = seeds(&plan, &[], &field.spacing, &zones, &job.machine);
        let east = plan.blocks.iter().position(|block| region::contains(&block.zone, at(30.0, 0.0))).unwrap();
        let (own, others) = map.runs.into_iter().partition(|run| run.block.0 == east);
        (own, plan.blocks[east].zone.clone(), others)
    }

    /// The field has one seed each 18 cm; three to a hill at two thirds of that are 81 cm apart.
    #[test]
    fn a_block_is_sown_at_its_own_rate_and_in_its_own_pattern() {
        let hill = Pattern::Hill { seeds: 3, length: Length::cm(12.0) };
        for (parts, step, pattern, apart_m, seeds_m2) in [
            (2, 3, None, 0.27, 1.0 / (0.45 * 0.27)),
            (2, 9, Some(hill), 0.81, 3.0 / (0.45 * 0.81)),
            (3, 1, Some(Pattern::Drill), 0.06, 1.0 / (0.45 * 0.06)),
        ] {
            let (own, ground, others) = sown(parts, Rate { asked: 1.0, step, pattern });
            assert!(own.len() > 50 && others.len() > 50, "{} and {} rows", own.len(), others.len());
            let as_asked = |run: &SeedRun, apart_m: f64, pattern: Pattern, zone: Option<usize>| {
                (run.spacing_m - apart_m).abs() < 1e-12 && (run.pattern, run.zone) == (pattern, zone)
            };
            assert!(own.iter().all(|run| as_asked(
                run,
                apart_m,
                pattern.unwrap_or(Pattern::Single),
                Some(0)
            )));
            assert!(others.iter().all(|run| as_asked(run, 0.18, Pattern::Single, None)));
            let within = region::outset(&ground, 1e-6);
            let every_seed_within = |run: &SeedRun| run.positions().all(|at| region::contains(&within, at));
            assert!(own.iter().step_by(7).all(every_seed_within), "{pattern:?}");
            let seeds: u64 = own.iter().map(SeedRun::seeds).sum();
            let found = seeds as f64 / region::area(&ground);
            assert!(
                (found / seeds_m2 - 1.0).abs() < 0.01,
                "{pattern:?}: {found} of {seeds_m2} a square metre"
            );
        }
    }
}
