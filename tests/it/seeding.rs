//! Seeds a hectare, a stand, mass and sales units. Checks C1, C5, C7 to C9.

use crate::reference::{close, table};
use crate::setting::{ground, machine, polygon, wanted};
use lanewright::budget::{SeedNeed, seed_need};
use lanewright::check::{Field, Operation, Pattern};
use lanewright::lanes::{LaneIdx, lanes};
use lanewright::operations::{WorkOrder, operations};
use lanewright::seeds::{RowCourse, SeedMap, SeedRun, seeds};
use lanewright::site::SiteZones;
use lanewright_schema::quantity::{Length, Mass};
use serde::Deserialize;

fn field(between_rows_m: f64, between_seeds_m: f64) -> Field {
    let mut field = wanted();
    field.spacing.between_rows = Length::m(between_rows_m);
    field.spacing.between_seeds = Length::m(between_seeds_m);
    field
}

fn order(between_rows_m: f64, between_seeds_m: f64) -> WorkOrder {
    operations(&[Operation::Sowing], &field(between_rows_m, between_seeds_m), &machine(6, between_rows_m))
        .remove(0)
}

#[derive(Deserialize)]
struct Density {
    id: String,
    source: String,
    tolerance: f64,
    rows: Vec<[f64; 3]>,
}

/// C1: the rate that goes into the task file.
#[test]
fn seeds_a_hectare_follow_from_the_lattice() {
    for row in table::<Density>("seeding.toml", "density") {
        assert!(!row.source.is_empty());
        for [between_rows, between_seeds, per_ha] in row.rows {
            let rate = order(between_rows, between_seeds).seeds_per_m2 * 1e4;
            close(&row.id, "seeds a hectare", rate, per_ha, row.tolerance);
        }
    }
}

/// C1 once more, counted on the ground: a hectare of 100 x 100 m. The lattice's edges cost less than
/// half a row and half a seed.
#[test]
fn a_hectare_holds_so_many_seeds() {
    let field = field(0.5, 0.2);
    let machine = machine(5, 0.5);
    let square = polygon(&[[0.0, 0.0], [100.0, 0.0], [100.0, 100.0], [0.0, 100.0]]);
    let plan = lanes(&field, &ground(square, Some(90.0)), &machine).value.expect("a plan");
    let map = seeds(&plan, &[], &field.spacing, &SiteZones::none(), &machine);
    close("C1", "seeds", map.count() as f64, 100_000.0, 200.0);
}

#[derive(Deserialize)]
struct Stand {
    id: String,
    source: String,
    between_rows_m: f64,
    emergence: f64,
    tolerance_cm: f64,
    rows: Vec<[f64; 2]>,
}

/// C5: the plants that the program expects from the printed spacing are the printed stand; what the
/// spacing's last digit is worth is allowed.
#[test]
fn a_spacing_gives_the_stand_of_the_table() {
    for row in table::<Stand>("seeding.toml", "stand") {
        assert!(!row.source.is_empty());
        for [thousands, spacing_cm] in row.rows {
            let mut field = field(row.between_rows_m, spacing_cm / 100.0);
            (field.crop.germination, field.crop.field_emergence) = (1.0, row.emergence);
            let per_ha = operations(&[Operation::Sowing], &field, &machine(6, row.between_rows_m))[0]
                .seeds_per_m2
                * 1e4;
            let need = need(&field, per_ha.round() as u32);
            let tolerance = thousands * 1000.0 * row.tolerance_cm / spacing_cm + 1.0;
            close(&row.id, "plants a hectare", need.plants, thousands * 1000.0, tolerance);
        }
    }
}

/// So many seeds in one run.
fn need(field: &Field, count: u32) -> SeedNeed {
    let run = SeedRun {
        block: lanewright::lanes::BlockIdx(0),
        lane: LaneIdx(0),
        tool_row: 0,
        row: 0,
        zone: None,
        first: 0,
        step: 1,
        count,
        spacing_m: field.spacing.between_seeds.to_m(),
        pattern: Pattern::Single,
        course: RowCourse::Straight { from: geo::Coord { x: 0.0, y: 0.0 }, angle: 0.0 },
    };
    let map = SeedMap { runs: vec![run] };
    seed_need(&map, &field.crop, &field.spacing, 1)
}

/// C7: 800 000 seeds of 4 g a thousand are 3.2 kg.
#[test]
fn seed_mass_follows_from_the_thousand_seed_mass() {
    let mut field = field(0.45, 0.18);
    field.crop.thousand_seed_mass = Mass::g(4.0);
    close("C7", "kg", need(&field, 800_000).mass.to_kg(), 3.2, 1e-12);
}

/// C8: 12 ha at 111 111 seeds are 13.33 units of 100 000, so 14 are opened; exactly 13 need 13.
#[test]
fn units_are_whole() {
    let mut field = field(0.5, 0.18);
    field.crop.seeds_per_unit = Some(100_000);
    assert_eq!(need(&field, 12 * 111_111).units, Some(14));
    assert_eq!(need(&field, 1_300_000).units, Some(13));
    assert_eq!(need(&field, 1_300_001).units, Some(14));
}

/// C9: 18 cm at 1 m/s are 5.556 seeds a second.
#[test]
fn seeds_a_second_follow_from_the_speed() {
    close("C9", "seeds a second", order(0.5, 0.18).seeds_per_s, 5.556, 5e-4);
}
