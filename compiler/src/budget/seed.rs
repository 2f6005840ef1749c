//! Seed need: seeds, mass, sales units, hopper fills, plants to expect.
//!
//! Each row has a hopper of its own. Hoppers are filled together at a lane's end: always before the
//! first lane, and again where what is left in any one would not last the next lane. A lane that
//! needs more than a full hopper counts as many fills as it empties.

use super::SeedNeed;
use crate::check::{Crop, Machine, Spacing};
use crate::route::Visit;
use crate::seeds::SeedMap;
use lanewright_schema::quantity::Mass;

/// The seed that a field takes when its lanes are driven in this order.
pub fn seed_need(
    seeds: &SeedMap,
    visits: &[Visit],
    crop: &Crop,
    spacing: &Spacing,
    machine: &Machine,
) -> SeedNeed {
    let count = seeds.count();
    let seed_mass = crop.thousand_seed_mass / 1000.0;
    SeedNeed {
        seeds: count,
        mass: seed_mass * count as f64,
        units: crop.seeds_per_unit.map(|per_unit| count.div_ceil(per_unit)),
        hopper_fills: hopper_fills(
            &need_by_visit(seeds, visits, machine.row_offsets.len()),
            hopper_seeds(machine.hopper, seed_mass),
        ),
        plants: count as f64 * crop.germination * crop.field_emergence,
        area: spacing.between_rows * spacing.between_seeds * count as f64,
    }
}

/// Whole seeds that a hopper holds, at least one.
fn hopper_seeds(hopper: Mass, seed_mass: Mass) -> u64 {
    ((hopper / seed_mass + 1e-9) as u64).max(1)
}

/// Seeds that each tool row takes on each visit.
fn need_by_visit(seeds: &SeedMap, visits: &[Visit], tool_rows: usize) -> Vec<Vec<u64>> {
    let lanes = visits.iter().map(|v| v.lane.0 + 1).max().unwrap_or(0);
    let mut by_lane = vec![vec![0_u64; tool_rows]; lanes];
    for run in &seeds.runs {
        if let Some(rows) = by_lane.get_mut(run.lane.0) {
            rows[run.tool_row] += u64::from(run.count);
        }
    }
    visits
        .iter()
        .map(|visit| {
            let mut rows = by_lane[visit.lane.0].clone();
            if !visit.along {
                rows.reverse();
            }
            rows
        })
        .collect()
}

/// Times that the hoppers are filled when each visit takes so many seeds from each.
fn hopper_fills(needs: &[Vec<u64>], capacity: u64) -> u32 {
    let mut fills = 0_u64;
    let mut left: Vec<u64> = Vec::new();
    for need in needs {
        if need.iter().all(|&seeds| seeds == 0) {
            continue;
        }
        let lasts = !left.is_empty() && left.iter().zip(need).all(|(left, need)| left >= need);
        if lasts {
            left.iter_mut().zip(need).for_each(|(left, need)| *left -= need);
        } else {
            let fills_here = need.iter().map(|seeds| seeds.div_ceil(capacity)).max().unwrap_or(1).max(1);
            fills += fills_here;
            left = need.iter().map(|seeds| (fills_here * capacity - seeds).min(capacity)).collect();
        }
    }
    u32::try_from(fills).unwrap_or(u32::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::Point;
    use crate::lanes::{BlockIdx, LaneIdx};
    use crate::seeds::{RowCourse, SeedRun};
    use crate::site::example;
    use lanewright_schema::quantity::Length;
    use proptest::prelude::*;

    fn run(lane: usize, tool_row: usize, count: u32) -> SeedRun {
        let course = RowCourse::Straight { from: Point { x: 0.0, y: 0.0 }, angle: 0.0 };
        let (block, lane) = (BlockIdx(0), LaneIdx(lane));
        SeedRun { block, lane, tool_row, row: 0, first: 0, count, course }
    }

    fn need(count: u32, crop: &Crop) -> SeedNeed {
        let map = SeedMap { runs: vec![run(0, 0, count)], spacing_m: 0.18 };
        let visits = [Visit { lane: LaneIdx(0), along: true }];
        seed_need(&map, &visits, crop, &example::field().spacing, &example::machine())
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
            spacing.between_seeds = Length::cm(spacing_cm);
            let map = SeedMap { runs: vec![run(0, 0, 1_000_000)], spacing_m: spacing_cm / 100.0 };
            let found = seed_need(&map, &[], &crop, &spacing, &example::machine());
            let per_ha = found.plants / found.area.to_ha();
            let rounding = 0.05 / spacing_cm * per_ha;
            assert!((per_ha - f64::from(stand) * 1000.0).abs() <= rounding * 1.01, "{stand}: {per_ha}");
        }
    }

    #[test]
    fn the_fullest_row_decides_when_to_fill() {
        assert_eq!(hopper_fills(&[vec![60, 10], vec![30, 10], vec![20, 10]], 100), 2);
        assert_eq!(hopper_fills(&[vec![60, 10], vec![30, 10], vec![10, 10]], 100), 1);
        assert_eq!(hopper_fills(&[vec![250, 10], vec![50, 10]], 100), 3);
        assert_eq!(hopper_fills(&[vec![0, 0]], 100), 0);
    }

    /// Driven from its other end, a lane's left row is sown by the bar's right outlet.
    #[test]
    fn a_lane_driven_back_empties_the_mirrored_hopper() {
        let map = SeedMap { runs: vec![run(0, 0, 70), run(1, 0, 70)], spacing_m: 0.1 };
        let visit = |lane, along| Visit { lane: LaneIdx(lane), along };
        let both = need_by_visit(&map, &[visit(0, true), visit(1, false)], 2);
        assert_eq!(both, [[70, 0], [0, 70]]);
        assert_eq!(hopper_fills(&both, 100), 1);
    }

    proptest! {
        /// No fewer fills than the fullest hopper's seeds need, and never one a visit too many.
        #[test]
        fn fills_are_enough_and_not_idle(
            needs in prop::collection::vec(prop::collection::vec(0_u64..300, 3), 1..20),
            capacity in 50_u64..400,
        ) {
            let fills = u64::from(hopper_fills(&needs, capacity));
            let most = (0..3).map(|row| needs.iter().map(|n| n[row]).sum::<u64>()).max().unwrap();
            prop_assert!(fills >= most.div_ceil(capacity));
            let each: u64 = needs.iter().map(|n| n.iter().max().unwrap().div_ceil(capacity)).sum();
            prop_assert!(fills <= each);
        }
    }
}
