//! Seed need: seeds, mass, sales units, hopper fills, plants to expect.

use super::SeedNeed;
use crate::check::{Crop, Spacing};
use crate::seeds::SeedMap;
use lanewright_schema::quantity::Area;

/// The seed that a field takes, and how often the hoppers are filled for it.
pub fn seed_need(seeds: &SeedMap, crop: &Crop, spacing: &Spacing, hopper_fills: u32) -> SeedNeed {
    let count = seeds.count();
    let seed_mass = crop.thousand_seed_mass / 1000.0;
    SeedNeed {
        seeds: count,
        mass: seed_mass * count as f64,
        units: crop.seeds_per_unit.map(|per_unit| count.div_ceil(per_unit)),
        hopper_fills,
        plants: count as f64 * crop.germination * crop.field_emergence,
        area: Area::m2(
            seeds.runs.iter().map(|run| f64::from(run.count) * run.spacing_m).sum::<f64>()
                * spacing.between_rows.to_m(),
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::check::Pattern;
    use crate::geometry::Point;
    use crate::lanes::{BlockIdx, LaneIdx};
    use crate::seeds::{RowCourse, SeedRun};
    use crate::site::example;
    use lanewright_schema::quantity::{Length, Mass};

    fn run(lane: usize, tool_row: usize, count: u32) -> SeedRun {
        let course = RowCourse::Straight { from: Point { x: 0.0, y: 0.0 }, angle: 0.0 };
        let (block, lane) = (BlockIdx(0), LaneIdx(lane));
        let pattern = Pattern::Single;
        SeedRun {
            block,
            lane,
            tool_row,
            row: 0,
            zone: None,
            first: 0,
            step: 1,
            count,
            spacing_m: 0.18,
            pattern,
            course,
        }
    }

    fn need(count: u32, crop: &Crop) -> SeedNeed {
        let map = SeedMap { runs: vec![run(0, 0, count)] };
        seed_need(&map, crop, &example::field().spacing, 1)
    }

    /// Reference check C7, derived: 800 000 seeds at 4 g a thousand.
    #[test]
    fn mass_follows_from_the_mass_of_a_thousand() {
        let crop = Crop { thousand_seed_mass: Mass::g(4.0), ..example::field().crop };
        assert!((need(800_000, &crop).mass.to_kg() - 3.2).abs() < 1e-12);
    }

    /// Reference check C8, derived: 12 ha at 111 111 seeds a hectare are 13.33 units of 100 000.
    #[test]
    fn units_are_whole() {
        let crop = example::field().crop;
        assert_eq!(need(12 * 111_111, &crop).units, Some(14));
        assert_eq!(need(1_300_000, &crop).units, Some(13));
        assert_eq!(need(1, &Crop { seeds_per_unit: None, ..crop }).units, None);
    }

    /// Reference check C5 (IGP Polska, sowing table for maize in 75 cm rows; the emergence of 95 % is
    /// inferred there): the printed spacing gives the printed stand, to the rounding of the spacing.
    #[test]
    fn plants_follow_from_spacing_and_emergence() {
        let spacings_cm = [19.5, 18.1, 16.9, 15.8, 14.9, 14.1, 13.3, 12.7, 12.1, 11.5];
        let crop = Crop { germination: 1.0, field_emergence: 0.95, ..example::field().crop };
        for (spacing_cm, stand) in spacings_cm.into_iter().zip((65..=110).step_by(5)) {
            let mut spacing = example::field().spacing;
            spacing.between_rows = Length::cm(75.0);
            let sown = SeedRun { spacing_m: spacing_cm / 100.0, ..run(0, 0, 1_000_000) };
            let found = seed_need(&SeedMap { runs: vec![sown] }, &crop, &spacing, 1);
            let per_ha = found.plants / found.area.to_ha();
            let rounding = 0.05 / spacing_cm * per_ha;
            assert!((per_ha - f64::from(stand) * 1000.0).abs() <= rounding * 1.01, "{stand}: {per_ha}");
        }
    }
}
