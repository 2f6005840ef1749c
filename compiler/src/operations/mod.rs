//! What the tool does along the route: set-points of each operation.
//!
//! In: what is asked of a field and the machine that does it. Out: one work order an operation,
//! whose set-points follow from the lattice alone: `1 / (row spacing · seed spacing)` seeds a
//! square metre, `speed / seed spacing` seeds a second from each outlet.

use crate::check::{Field, Machine, Operation};
use lanewright_schema::quantity::{Length, Speed};

/// One operation on one field.
#[derive(Clone, Debug, PartialEq)]
pub struct WorkOrder {
    /// Which operation.
    pub operation: Operation,
    /// Seeds per square metre that the lattice amounts to.
    pub seeds_per_m2: f64,
    /// Distance between seeds in the row.
    pub seed_spacing: Length,
    /// Seeding depth.
    pub depth: Length,
    /// Speed with the tool down.
    pub speed: Speed,
    /// Seeds per second and row at that speed.
    pub seeds_per_s: f64,
}

/// The work orders of a field, in the order in which the operations are asked for.
pub fn operations(asked: &[Operation], field: &Field, machine: &Machine) -> Vec<WorkOrder> {
    asked.iter().map(|&operation| work_order(operation, field, machine)).collect()
}

fn work_order(operation: Operation, field: &Field, machine: &Machine) -> WorkOrder {
    let spacing = &field.spacing;
    WorkOrder {
        operation,
        seeds_per_m2: 1.0 / (spacing.between_rows * spacing.between_seeds).to_m2(),
        seed_spacing: spacing.between_seeds,
        depth: field.crop.depth,
        speed: machine.working_speed,
        seeds_per_s: machine.working_speed.to_m_per_s() / spacing.between_seeds.to_m(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::example;

    fn sown(between_rows: f64, between_seeds: f64) -> WorkOrder {
        let mut field = example::field();
        field.spacing.between_rows = Length::m(between_rows);
        field.spacing.between_seeds = Length::m(between_seeds);
        let mut machine = example::machine();
        machine.working_speed = Speed::m_per_s(1.0);
        operations(&[Operation::Sowing], &field, &machine).remove(0)
    }

    /// Reference check C1: `10⁴ / (R · s)`, derived.
    #[test]
    fn seeds_a_hectare_follow_from_the_lattice() {
        let lattices = [
            (0.50, 0.18, 111_111.0),
            (0.45, 0.20, 111_111.0),
            (0.45, 0.18, 123_457.0),
            (0.50, 0.20, 100_000.0),
            (0.75, 0.15, 88_889.0),
            (0.75, 0.127, 104_987.0),
            (0.25, 0.25, 160_000.0),
        ];
        for (rows, seeds, per_ha) in lattices {
            assert!((sown(rows, seeds).seeds_per_m2 * 1e4 - per_ha).abs() < 1.0);
        }
    }

    /// Reference check C9: 0.18 m at 1 m/s, derived.
    #[test]
    fn an_outlet_drops_seeds_as_fast_as_it_passes_their_places() {
        assert!((sown(0.45, 0.18).seeds_per_s - 5.556).abs() < 1e-3);
    }
}
