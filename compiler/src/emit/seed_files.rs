//! The seed-map files of a compiled job.
//!
//! In: the seed runs with their lanes and frame. Out: `seed-rows.geojson` and `seeds.parquet`. Seeds
//! are placed while they are written, a row group at a time, and their degrees come from the
//! field's fitted inverse projection. A row group holds seeds of one field only, so that its
//! bounds depend on the seed map alone.

use super::numbers::{micro, position};
use crate::lanes::LaneIdx;
use crate::pipeline::{Compiled, FieldPlan};
use crate::seeds::SeedRun;
use crate::site::FieldSite;
use lanewright_schema::quantity::Length;
use lanewright_schema::seedmap::parquet::{self, Header, SeedColumns};
use lanewright_schema::seedmap::rows::{self, Run, SeedRow};
use std::io::{self, Write};
use std::ops::Range;

/// Seeds in a row group.
const GROUP_SEEDS: usize = 1 << 17;
/// How far a chord may leave a curved row, metres.
const LINE_TOLERANCE_M: f64 = 1e-4;
/// Metres in the seed file are multiples of this, 60 nm, a millionth of the closest spacing: a power
/// of two, so that the bytes below it are zeros.
const METRE_STEP: f64 = 1.0 / (1_u64 << 24) as f64;
/// Degrees in the seed file are multiples of this, a nanodegree or 0.1 mm.
const DEGREE_STEP: f64 = 1.0 / (1_u64 << 30) as f64;

/// The text of `seed-rows.geojson`.
pub fn seed_rows(compiled: &Compiled) -> io::Result<String> {
    let near = compiled.site.frame.origin.longitude;
    let rows = compiled
        .fields
        .iter()
        .zip(&compiled.site.fields)
        .flat_map(|(plan, site)| {
            let orders = driving_orders(plan);
            plan.seeds.runs.iter().map(move |run| seed_row(run, plan, site, orders[run.lane.0], near))
        })
        .collect();
    Ok(rows::write(rows)?)
}

/// Writes `seeds.parquet`.
pub fn seeds_parquet(compiled: &Compiled, out: &mut dyn Write) -> io::Result<()> {
    let frame = &compiled.site.frame;
    let header = Header { projjson: serde_json::from_str(&frame.projjson)?, epoch: frame.epoch };
    let fields: Vec<Placing> = compiled
        .fields
        .iter()
        .zip(&compiled.site.fields)
        .map(|(plan, site)| Placing { plan, site, orders: driving_orders(plan) })
        .collect();
    let groups: Vec<(usize, Vec<Part>)> = fields
        .iter()
        .enumerate()
        .flat_map(|(field, placing)| {
            groups_of(&placing.plan.seeds.runs).into_iter().map(move |parts| (field, parts))
        })
        .collect();
    parquet::write(out, &header, groups.len(), |group| {
        let (field, parts) = &groups[group];
        fields[*field].columns(parts)
    })
}

/// Each lane's place in the driving order, from one; zero for lanes that are not driven.
fn driving_orders(plan: &FieldPlan) -> Vec<usize> {
    let mut orders = vec![0; plan.lanes.lanes.len()];
    for (index, visit) in plan.route.visits.iter().enumerate() {
        let LaneIdx(lane) = visit.lane;
        orders[lane] = index + 1;
    }
    orders
}

fn seed_row(run: &SeedRun, plan: &FieldPlan, site: &FieldSite, order: usize, near: f64) -> SeedRow {
    let spacing_m = plan.seeds.spacing_m;
    let line = run.line(spacing_m, LINE_TOLERANCE_M);
    let (first, last) = (line[0], line[line.len() - 1]);
    let sigma = plan.uncertainty.plant(run.tool_row);
    SeedRow {
        run: Run {
            field: site.name.clone(),
            block: run.block.0,
            row: run.row,
            lane: order,
            first: run.first,
            count: run.count,
            spacing_m,
            first_x: micro(first.x),
            first_y: micro(first.y),
            last_x: micro(last.x),
            last_y: micro(last.y),
            sigma_along_m: tenth_of_millimetre(sigma.along),
            sigma_across_m: tenth_of_millimetre(sigma.across),
        },
        line: line.into_iter().map(|point| position(site.inverse.to_geo(point), near)).collect(),
    }
}

/// Metres to a tenth of a millimetre: a deviation is known no better.
fn tenth_of_millimetre(length: Length) -> f64 {
    (length.to_m() * 1e4).round() / 1e4
}

/// Consecutive seeds of one run.
struct Part {
    run: usize,
    seeds: Range<u32>,
}

/// Cuts runs into row groups.
fn groups_of(runs: &[SeedRun]) -> Vec<Vec<Part>> {
    let mut groups = Vec::new();
    let mut group = Vec::new();
    let mut room = GROUP_SEEDS;
    for (run, SeedRun { count, .. }) in runs.iter().enumerate() {
        let mut from = 0;
        while from < *count {
            let to = count.min(&(from + room as u32)).to_owned();
            group.push(Part { run, seeds: from..to });
            room -= (to - from) as usize;
            from = to;
            if room == 0 {
                groups.push(std::mem::take(&mut group));
                room = GROUP_SEEDS;
            }
        }
    }
    if !group.is_empty() {
        groups.push(group);
    }
    groups
}

/// A field whose seeds are placed.
struct Placing<'a> {
    plan: &'a FieldPlan,
    site: &'a FieldSite,
    orders: Vec<usize>,
}

impl Placing<'_> {
    fn columns(&self, parts: &[Part]) -> SeedColumns {
        let mut columns = SeedColumns { field: self.site.name.clone(), ..SeedColumns::default() };
        for part in parts {
            self.place(&self.plan.seeds.runs[part.run], part.seeds.clone(), &mut columns);
        }
        snap(&mut columns.x, METRE_STEP);
        snap(&mut columns.y, METRE_STEP);
        snap(&mut columns.longitude, DEGREE_STEP);
        snap(&mut columns.latitude, DEGREE_STEP);
        columns
    }

    fn place(&self, run: &SeedRun, seeds: Range<u32>, columns: &mut SeedColumns) {
        let count = seeds.len();
        let repeat = |value: i64, into: &mut Vec<i32>| {
            into.resize(into.len() + count, value as i32);
        };
        repeat(run.block.0 as i64, &mut columns.block);
        repeat(run.row, &mut columns.row);
        repeat(self.orders[run.lane.0] as i64, &mut columns.lane);
        let sigma = self.plan.uncertainty.plant(run.tool_row);
        columns
            .sigma_along
            .resize(columns.sigma_along.len() + count, tenth_of_millimetre(sigma.along) as f32);
        columns
            .sigma_across
            .resize(columns.sigma_across.len() + count, tenth_of_millimetre(sigma.across) as f32);
        columns.index.extend(seeds.clone().map(|seed| (run.first + i64::from(seed)) as i32));

        let spacing_m = self.plan.seeds.spacing_m;
        if let Some((from, step)) = run.straight_step(spacing_m) {
            columns.x.extend(seeds.clone().map(|seed| from.x + f64::from(seed) * step.x));
            columns.y.extend(seeds.clone().map(|seed| from.y + f64::from(seed) * step.y));
            let line = self.site.inverse.along(from, step);
            line.extend(seeds.start, count as u32, &mut columns.longitude, &mut columns.latitude);
        } else {
            for point in run.positions(spacing_m).skip(seeds.start as usize).take(count) {
                let place = self.site.inverse.to_geo(point);
                columns.x.push(point.x);
                columns.y.push(point.y);
                columns.longitude.push(place.longitude);
                columns.latitude.push(place.latitude);
            }
        }
    }
}

/// Rounds to multiples of a power of two: adding a number of which it is the last binary place
/// rounds to it, as IEEE 754 demands of every addition, and subtracting restores the size.
fn snap(values: &mut [f64], step: f64) {
    let carrier = 1.5 * step * (1_u64 << 52) as f64;
    for value in values {
        *value = (*value + carrier) - carrier;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::emit::sample;
    use crate::geometry::Point;
    use crate::lanes::BlockIdx;
    use crate::seeds::{RowCourse, seeds};
    use crate::site::Projector;
    use proptest::prelude::*;

    fn compiled() -> Compiled {
        let mut compiled = sample::compiled(3);
        let field = &mut compiled.fields[0];
        let asked = &compiled.job.fields[0];
        field.seeds = seeds(&field.lanes, &asked.spacing, &compiled.job.machine);
        compiled
    }

    #[test]
    fn every_seed_is_in_both_files() {
        let compiled = compiled();
        let rows = rows::read(&seed_rows(&compiled).unwrap()).unwrap();
        let counted: u64 = rows.iter().map(|row| u64::from(row.run.count)).sum();
        assert!(counted > 1000);
        assert_eq!(counted, compiled.fields[0].seeds.count());

        let runs = &compiled.fields[0].seeds.runs;
        let orders = driving_orders(&compiled.fields[0]);
        let placing = Placing { plan: &compiled.fields[0], site: &compiled.site.fields[0], orders };
        let columns: Vec<SeedColumns> = groups_of(runs).iter().map(|parts| placing.columns(parts)).collect();
        assert_eq!(columns.iter().map(|c| c.x.len() as u64).sum::<u64>(), counted);
        let same_length = |c: &SeedColumns| {
            let integers = [&c.block, &c.row, &c.index, &c.lane].map(Vec::len);
            let coordinates = [&c.x, &c.y, &c.longitude, &c.latitude].map(Vec::len);
            integers == coordinates && integers.iter().all(|&length| length == c.x.len())
        };
        assert!(columns.iter().all(same_length));
    }

    /// PROJ, asked for each seed, says the same as the file.
    #[test]
    fn degrees_and_metres_of_a_seed_are_the_same_place() {
        let compiled = compiled();
        let projector = Projector::new(&compiled.site.frame).unwrap();
        let (plan, site) = (&compiled.fields[0], &compiled.site.fields[0]);
        let placing = Placing { plan, site, orders: driving_orders(plan) };
        let columns = placing.columns(&groups_of(&plan.seeds.runs)[0]);
        for i in (0..columns.x.len()).step_by(97) {
            let place = lanewright_schema::quantity::GeoPoint {
                longitude: columns.longitude[i],
                latitude: columns.latitude[i],
            };
            let ground = projector.to_ground(place).unwrap();
            let apart = (ground.x - columns.x[i]).hypot(ground.y - columns.y[i]);
            assert!(apart < 1.2e-4, "{apart}");
        }
    }

    #[test]
    fn the_seed_file_is_written() {
        let mut bytes = Vec::new();
        seeds_parquet(&compiled(), &mut bytes).unwrap();
        assert!(bytes.starts_with(b"PAR1") && bytes.ends_with(b"PAR1"));
    }

    proptest! {
        #[test]
        fn snapping_rounds_to_the_nearest_step(value in -1e4..1e4_f64) {
            let mut values = [value];
            snap(&mut values, METRE_STEP);
            prop_assert!((values[0] - value).abs() <= METRE_STEP / 2.0);
            prop_assert_eq!((values[0] / METRE_STEP).fract(), 0.0);
        }

        #[test]
        fn groups_hold_each_seed_once(counts in prop::collection::vec(1_u32..400_000, 0..12)) {
            let runs: Vec<SeedRun> = counts
                .iter()
                .map(|&count| SeedRun {
                    block: BlockIdx(0),
                    lane: LaneIdx(0),
                    tool_row: 0,
                    row: 0,
                    first: 0,
                    count,
                    course: RowCourse::Straight { from: Point { x: 0.0, y: 0.0 }, angle: 0.0 },
                })
                .collect();
            let groups = groups_of(&runs);
            let mut next = vec![0; runs.len()];
            for part in groups.iter().flatten() {
                prop_assert_eq!(part.seeds.start, next[part.run]);
                next[part.run] = part.seeds.end;
            }
            prop_assert_eq!(next, counts);
            let sizes = groups.iter().map(|g| g.iter().map(|p| p.seeds.len()).sum::<usize>());
            prop_assert!(sizes.rev().skip(1).all(|size| size == GROUP_SEEDS));
        }
    }
}
