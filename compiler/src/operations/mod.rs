//! What the tool does along the route: set-points of each operation.
//!
//! In a field with treatment zones these are the orders at the field's own rate, and [`work_order()`] gives
//! that at another.
//!
//! In: what is asked of a field and the machine that does it. Out: one work order an operation,
//! whose set-points follow from the lattice alone: `seeds at a place / (row spacing · spacing)` seeds a
//! square metre, `seeds at a place · speed / spacing` seeds a second from each outlet. How far ahead of
//! its place a seed is let go, row by row and bend by bend, is in [`release()`].

mod release;

pub use release::{Release, RowRelease, release};

use crate::check::{Field, Machine, Operation, Pattern, Rate, Stand};
use lanewright_schema::quantity::{Length, Speed};

/// One operation on one field.
#[derive(Clone, Debug, PartialEq)]
pub struct WorkOrder {
    /// Which operation.
    pub operation: Operation,
    /// Seeds per square metre that the lattice amounts to, over all tool rows.
    pub seeds_per_m2: f64,
    /// Distance between places in the row, where all tool rows have the same.
    pub seed_spacing: Option<Length>,
    /// Seeding depth.
    pub depth: Length,
    /// Speed with the tool down.
    pub speed: Speed,
    /// Seeds per second at that speed, from the row that has most.
    pub seeds_per_s: f64,
    /// For each tool row, left to right, how it is sown.
    pub rows: Vec<RowOrder>,
}

/// How one tool row is sown.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct RowOrder {
    /// Distance and pattern.
    pub stand: Stand,
    /// Seeds per square metre of its row.
    pub seeds_per_m2: f64,
}

impl WorkOrder {
    /// Whether all tool rows are sown alike.
    pub fn is_uniform(&self) -> bool {
        self.rows.windows(2).all(|pair| pair[0] == pair[1])
    }

    /// Whether seeds have places of their own in every row.
    pub fn has_places(&self) -> bool {
        self.rows.iter().all(|row| row.stand.pattern != Pattern::Drill)
    }
}

/// The work orders of a field, in the order in which the operations are asked for.
pub fn operations(asked: &[Operation], field: &Field, machine: &Machine) -> Vec<WorkOrder> {
    asked.iter().map(|&operation| work_order(operation, field, machine, (Rate::own(1), 1))).collect()
}

/// The work order of soil at a rate on so many parts of the field's own spacing.
pub fn work_order(
    operation: Operation,
    field: &Field,
    machine: &Machine,
    (rate, parts): (Rate, u32),
) -> WorkOrder {
    let spacing = &field.spacing;
    let rows: Vec<RowOrder> = (0..machine.row_offsets.len())
        .map(|row| {
            let stand = rate.stand(spacing.stand(row), parts);
            RowOrder { stand, seeds_per_m2: stand.seeds_per_m2(spacing.between_rows) }
        })
        .collect();
    let mean = rows.iter().map(|row| row.seeds_per_m2).sum::<f64>() / rows.len() as f64;
    let alike = rows.iter().all(|row| row.stand.spacing == rows[0].stand.spacing);
    WorkOrder {
        operation,
        seeds_per_m2: mean,
        seed_spacing: alike.then(|| rows[0].stand.spacing),
        depth: field.crop.depth,
        speed: machine.working_speed,
        seeds_per_s: rows.iter().map(|row| seeds_per_s(row.stand, machine.working_speed)).fold(0.0, f64::max),
        rows,
    }
}

/// Seeds a second from an outlet that moves so fast.
fn seeds_per_s(stand: Stand, speed: Speed) -> f64 {
    f64::from(stand.pattern.seeds()) * speed.to_m_per_s() / stand.spacing.to_m()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::check::OwnRow;
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

    /// Two rows of six at twice the distance leave five sixths of the seeds.
    #[test]
    fn rows_sown_otherwise_count_by_themselves() {
        let mut field = example::field();
        let stand = Stand { spacing: Length::cm(36.0), pattern: Pattern::Single };
        field.spacing.own_rows = [0, 5].map(|tool_row| OwnRow { tool_row, stand }).to_vec();
        let order = operations(&[Operation::Sowing], &field, &example::machine()).remove(0);
        assert!((order.seeds_per_m2 - 5.0 / 6.0 / (0.45 * 0.18)).abs() < 1e-12);
        assert_eq!(order.seed_spacing, None);
        assert!(!order.is_uniform());
    }

    /// Reference check C9: 0.18 m at 1 m/s, derived.
    #[test]
    fn an_outlet_drops_seeds_as_fast_as_it_passes_their_places() {
        assert!((sown(0.45, 0.18).seeds_per_s - 5.556).abs() < 1e-3);
    }
}
