//! Plant lattices: the seeds of a straight block against plane geometry. Checks D1 to D4, C13.
//! All values are derived; seeds come from lanes laid over a field of 60 x 40 m.

use crate::reference::close;
use crate::setting::{ground, machine, polygon, wanted};
use geo::Coord;
use lanewright::lanes::lanes;
use lanewright::seeds::{SeedMap, seeds};
use lanewright::site::SiteZones;
use lanewright_schema::quantity::Length;
use std::collections::BTreeMap;

const FIELD: [[f64; 2]; 4] = [[0.0, 0.0], [60.0, 0.0], [60.0, 40.0], [0.0, 40.0]];

fn sown(between_rows_m: f64, between_seeds_m: f64, stagger: f64, heading_deg: f64) -> SeedMap {
    let mut field = wanted();
    field.spacing.between_rows = Length::m(between_rows_m);
    field.spacing.between_seeds = Length::m(between_seeds_m);
    field.spacing.stagger = stagger;
    let machine = machine(6, between_rows_m);
    let plan = lanes(&field, &ground(polygon(&FIELD), Some(heading_deg)), &machine).value.expect("a plan");
    seeds(&plan, &[], &field.spacing, &SiteZones::none(), &machine)
}

fn places(map: &SeedMap) -> Vec<Coord> {
    map.runs.iter().flat_map(|run| run.positions()).collect()
}

/// The distance of each seed in the middle of the field from its nearest neighbour: least and greatest.
fn nearest_neighbours(map: &SeedMap) -> (f64, f64) {
    let cell = |v: f64| (v / 0.7).floor() as i64;
    let mut cells: BTreeMap<(i64, i64), Vec<Coord>> = BTreeMap::new();
    for place in places(map) {
        cells.entry((cell(place.x), cell(place.y))).or_default().push(place);
    }
    let (mut least, mut greatest, mut seen) = (f64::INFINITY, 0.0_f64, 0);
    for (&(i, j), here) in &cells {
        for place in here.iter().filter(|p| (20.0..40.0).contains(&p.x) && (10.0..30.0).contains(&p.y)) {
            let around = (-1..=1).flat_map(|di| (-1..=1).map(move |dj| (i + di, j + dj)));
            let nearest = around
                .filter_map(|key| cells.get(&key))
                .flatten()
                .map(|other| (other.x - place.x).hypot(other.y - place.y))
                .filter(|&distance| distance > 0.0)
                .fold(f64::INFINITY, f64::min);
            (least, greatest, seen) = (least.min(nearest), greatest.max(nearest), seen + 1);
        }
    }
    assert!(seen > 500, "only {seen} seeds in the middle");
    (least, greatest)
}

/// Every seed of a lattice has its nearest neighbour at the same distance.
#[track_caller]
fn neighbour(id: &str, map: &SeedMap, expected: f64) {
    let (least, greatest) = nearest_neighbours(map);
    close(id, "least distance to the nearest neighbour", least, expected, 1e-6);
    close(id, "greatest distance to the nearest neighbour", greatest, expected, 1e-6);
}

/// D2 at 11.1111 seeds a square metre, aligned in squares and staggered in triangles; their ratio is D1.
#[test]
fn triangles_stand_wider_than_squares() {
    let square = sown(0.3, 0.3, 0.0, 90.0);
    neighbour("D2", &square, 0.300_000);
    let hexagonal = sown(0.279_181, 0.322_371, 0.5, 90.0);
    let (least, greatest) = nearest_neighbours(&hexagonal);
    close("D2", "least", least, 0.322_371, 1e-6);
    close("D2", "greatest", greatest, 0.322_371, 1e-6);
    close("D1", "ratio", least / nearest_neighbours(&square).0, 1.074_569_9, 4e-6);
    // Both hold as many seeds, but for the field's edges.
    close("D2", "seeds", hexagonal.count() as f64, square.count() as f64, 0.02 * square.count() as f64);
}

/// D3: with rows staggered by half a spacing the nearest neighbour is at min(s, sqrt(R² + s²/4)), and
/// all six are equally far when R = s sqrt(3) / 2.
#[test]
fn staggered_rows_stand_as_geometry_says() {
    for (rows, seeds) in [(0.5_f64, 0.577_350_f64), (0.5, 0.9), (0.375, 0.2), (0.45, 0.6)] {
        let expected = seeds.min((rows * rows + seeds * seeds / 4.0).sqrt());
        neighbour("D3", &sown(rows, seeds, 0.5, 90.0), expected);
    }
    let equidistant = sown(0.5, 0.577_350_27, 0.5, 90.0);
    let density = 1.0 / (0.5 * equidistant.runs[0].spacing_m) * 1e4;
    close("D3", "seeds a hectare", density, 34_641.0, 1.0);
    close("D3", "seeds on the field", equidistant.count() as f64, density * 0.24, 0.02 * density * 0.24);
}

/// D4: 50 x 18 cm, aligned or staggered: the nearest neighbour stays at 18 cm.
#[test]
fn stagger_does_nothing_where_rows_are_wide() {
    neighbour("D4", &sown(0.5, 0.18, 0.0, 90.0), 0.18);
    neighbour("D4", &sown(0.5, 0.18, 0.5, 90.0), 0.18);
}

/// The lattice is the same in any direction, and hangs together over all lanes.
#[test]
fn a_lattice_may_lie_askew() {
    for heading in [17.0, 101.3, 233.0] {
        neighbour("D3", &sown(0.5, 0.577_350_27, 0.5, heading), 0.577_350_27);
    }
}

/// C13: along every run the distances are the spacing: no multiples, no misses, precision 0.
#[test]
fn a_plan_is_perfectly_spaced() {
    let map = sown(0.45, 0.18, 0.25, 64.0);
    assert!(map.count() > 20_000);
    for run in &map.runs {
        let seeds: Vec<Coord> = run.positions().collect();
        assert_eq!(seeds.len(), run.count as usize);
        for pair in seeds.windows(2) {
            close("C13", "distance", (pair[1].x - pair[0].x).hypot(pair[1].y - pair[0].y), 0.18, 1e-9);
        }
    }
}
