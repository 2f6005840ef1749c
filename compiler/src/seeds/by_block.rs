//! How closely the parts of a field are sown once its blocks are laid.
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
    use crate::check::{BlockRates, Division, Guidance, OwnBlock};
    use crate::geometry::Point;
    use crate::lanes::lanes;
    use crate::seeds::seeds;
    use crate::site::example;
    use lanewright_schema::quantity::Heading;

    /// Two blocks that a line parts, the eastern one of them sown at two thirds.
    #[test]
    fn a_block_is_sown_at_its_own_rate() {
        let mut job = example::job();
        let mut site = crate::site::site(&job).value.unwrap().fields.remove(0);
        let span = job.fields[0].span.clone();
        let at = |x: f64, y: f64| Point { x, y };
        site.layout.guidance = Guidance::Heading(Heading::degrees(90.0));
        site.layout.division = Division::Lines(vec![vec![at(0.0, -10.0), at(0.0, 10.0)]]);
        site.layout.blocks = vec![OwnBlock { at: at(30.0, 0.0), guidance: None }];
        let rate = Rate { asked: 2.0 / 3.0, step: 3 };
        job.fields[0].block_rates = BlockRates { parts: 2, blocks: vec![BlockRate { block: 0, rate, span }] };
        let field = &job.fields[0];
        let plan = lanes(field, &site, &job.machine).value.unwrap();
        let zones = zones_of(&plan, field, &site);
        let map = seeds(&plan, &[], &field.spacing, &zones, &job.machine);
        let east = plan.blocks.iter().position(|block| region::contains(&block.zone, at(30.0, 0.0))).unwrap();
        let (own, others): (Vec<_>, Vec<_>) = map.runs.iter().partition(|run| run.block.0 == east);
        assert!(own.len() > 50 && others.len() > 50, "{} and {} rows", own.len(), others.len());
        assert!(own.iter().all(|run| (run.spacing_m - 0.27).abs() < 1e-12 && run.zone == Some(0)));
        assert!(others.iter().all(|run| (run.spacing_m - 0.18).abs() < 1e-12 && run.zone.is_none()));
        let ground_m2 = region::area(&plan.blocks[east].zone);
        let seeds: u64 = own.iter().map(|run| run.seeds()).sum();
        assert!((seeds as f64 / ground_m2 - 1.0 / (0.45 * 0.27)).abs() < 0.05, "{seeds} on {ground_m2} m²");
    }
}
