//! The seed-map files of a compiled job.
//!
//! In: the seed runs with their lanes and frame. Out: `seed-rows.geojson` and `seeds.parquet`. Seeds
//! are placed while they are written, a row group at a time, and their degrees come from the
//! field's fitted inverse projection. A row group holds seeds of one field only, so that its
//! bounds depend on the seed map alone.

use super::numbers::{DEGREE_STEP, micro, position, snap};
use crate::check::Pattern;
use crate::geometry::Point;
use crate::lanes::LaneIdx;
use crate::pipeline::{Compiled, FieldPlan};
use crate::seeds::SeedRun;
use crate::site::FieldSite;
use lanewright_schema::quantity::Length;
use lanewright_schema::seedmap::parquet::{self, Header, SeedColumns};
use lanewright_schema::seedmap::rows::{self, RowPattern, Run, SeedRow};
use std::io::{self, Write};
use std::ops::Range;

/// Seeds in a row group.
const GROUP_SEEDS: usize = 1 << 17;
/// How far a chord may leave a curved row, metres.
const LINE_TOLERANCE_M: f64 = 1e-4;
/// Metres in the seed file are multiples of this, 60 nm, a millionth of the closest spacing: a power
/// of two, so that the bytes below it are zeros.
const METRE_STEP: f64 = 1.0 / (1_u64 << 24) as f64;

/// The text of `seed-rows.geojson`.
pub fn seed_rows(compiled: &Compiled) -> io::Result<String> {
    let near = compiled.site.frame.origin.longitude;
    let rows = compiled
        .fields
        .iter()
        .zip(&compiled.site.fields)
        .flat_map(|(plan, site)| {
            let (orders, against) = (driving_orders(plan), against(plan));
            plan.seeds.runs.iter().map(move |run| {
                let lane = &plan.lanes.lanes[run.lane.0];
                let sown = Sown {
                    lane: orders[run.lane.0],
                    zone: run.zone.map(|zone| plan.zones.zones[zone].name.clone()),
                    sigma: sigma(plan, &against, run),
                    lead: plan.release.as_ref().map_or([Length::ZERO; 2], |release| {
                        release.lead(lane, run.tool_row, &compiled.job.machine)
                    }),
                };
                seed_row(run, site, &sown, near)
            })
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
        .map(|(plan, site)| Placing::of(plan, site))
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

/// How a run is sown.
struct Sown {
    /// Its lane's place in the driving order.
    lane: usize,
    /// Its treatment zone's name.
    zone: Option<String>,
    /// Deviations of its plants along and across.
    sigma: [f32; 2],
    /// How far ahead of their places seeds are let go.
    lead: [Length; 2],
}

fn seed_row(run: &SeedRun, site: &FieldSite, sown: &Sown, near: f64) -> SeedRow {
    let line = run.line(LINE_TOLERANCE_M);
    let (first, last) = (line[0], line[line.len() - 1]);
    let (pattern, hill) = match run.pattern {
        Pattern::Single => (RowPattern::Single, None),
        Pattern::Drill => (RowPattern::Drill, None),
        Pattern::Hill { seeds, length } => (RowPattern::Hill, Some((seeds, length.to_m()))),
    };
    SeedRow {
        run: Run {
            field: site.name.clone(),
            block: run.block.0,
            row: run.row,
            lane: sown.lane,
            first: run.first,
            step: run.step,
            zone: sown.zone.clone(),
            count: run.count,
            spacing_m: run.spacing_m,
            pattern,
            hill_seeds: hill.map(|(seeds, _)| seeds),
            hill_length_m: hill.map(|(_, length_m)| length_m),
            first_x: micro(first.x),
            first_y: micro(first.y),
            last_x: micro(last.x),
            last_y: micro(last.y),
            sigma_along_m: tenth_of_millimetre(Length::m(sown.sigma[0].into())),
            sigma_across_m: tenth_of_millimetre(Length::m(sown.sigma[1].into())),
            lead_m: sown.lead.map(tenth_of_millimetre),
        },
        line: line.into_iter().map(|point| position(site.inverse.to_geo(point), near)).collect(),
    }
}

/// For each lane whether it is driven against its line: another tool row is over a row then.
fn against(plan: &FieldPlan) -> Vec<bool> {
    let mut against = vec![false; plan.lanes.lanes.len()];
    for visit in &plan.route.visits {
        against[visit.lane.0] = !visit.along;
    }
    against
}

/// How far the plants of a run may stand from their places, along and across.
fn sigma(plan: &FieldPlan, against: &[bool], run: &SeedRun) -> [f32; 2] {
    let rows = plan.uncertainty.seeds.len();
    let over = if against[run.lane.0] { rows - 1 - run.tool_row } else { run.tool_row };
    let sigma = plan.uncertainty.plant(over, run.stand());
    [sigma.along, sigma.across].map(|length| tenth_of_millimetre(length) as f32)
}

/// Metres to a tenth of a millimetre: a deviation is known no better.
fn tenth_of_millimetre(length: Length) -> f64 {
    (length.to_m() * 1e4).round() / 1e4
}

/// Consecutive places of one run.
struct Part {
    run: usize,
    places: Range<u32>,
}

/// Cuts runs into row groups, each as full as whole places let it be.
fn groups_of(runs: &[SeedRun]) -> Vec<Vec<Part>> {
    let mut groups = Vec::new();
    let mut group = Vec::new();
    let mut room = GROUP_SEEDS;
    for (run, SeedRun { count, pattern, .. }) in runs.iter().enumerate() {
        let in_place = pattern.seeds() as usize;
        let mut from = 0;
        while from < *count {
            let to = count.min(&(from + (room / in_place) as u32)).to_owned();
            if to > from {
                group.push(Part { run, places: from..to });
                room -= (to - from) as usize * in_place;
                from = to;
            }
            if room < in_place {
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
    /// For each lane whether it is driven against its line.
    against: Vec<bool>,
}

impl<'a> Placing<'a> {
    fn of(plan: &'a FieldPlan, site: &'a FieldSite) -> Self {
        Self { plan, site, orders: driving_orders(plan), against: against(plan) }
    }

    fn columns(&self, parts: &[Part]) -> SeedColumns {
        let mut columns = SeedColumns::with_room(self.site.name.clone(), GROUP_SEEDS);
        for part in parts {
            self.place(&self.plan.seeds.runs[part.run], part.places.clone(), &mut columns);
        }
        snap(&mut columns.x, METRE_STEP);
        snap(&mut columns.y, METRE_STEP);
        snap(&mut columns.longitude, DEGREE_STEP);
        snap(&mut columns.latitude, DEGREE_STEP);
        columns
    }

    fn place(&self, run: &SeedRun, places: Range<u32>, columns: &mut SeedColumns) {
        let in_place = run.pattern.seeds();
        let count = places.len() * in_place as usize;
        columns.block.push(run.block.0 as i32, count);
        columns.row.push(run.row as i32, count);
        columns.lane.push(self.orders[run.lane.0] as i32, count);
        let sigma = sigma(self.plan, &self.against, run);
        columns.sigma_along.push(sigma[0], count);
        columns.sigma_across.push(sigma[1], count);
        let index = |place: u32| (run.first + i64::from(place) * i64::from(run.step)) as i32;
        if in_place == 1 {
            columns.index.extend(places.clone().map(index));
            columns.member.resize(columns.member.len() + count, 0);
        } else {
            let seeds = || places.clone().flat_map(|place| (0..in_place).map(move |member| (place, member)));
            columns.index.extend(seeds().map(|(place, _)| index(place)));
            columns.member.extend(seeds().map(|(_, member)| member as i32));
        }

        match run.straight_step() {
            Some((from, step)) if in_place == 1 => self.straight(from, step, places, columns),
            Some((from, step)) => self.hills(run, from, step, places, columns),
            None => {
                let first = places.start as usize * in_place as usize;
                for point in run.positions().skip(first).take(count) {
                    let place = self.site.inverse.to_geo(point);
                    columns.x.push(point.x);
                    columns.y.push(point.y);
                    columns.longitude.push(place.longitude);
                    columns.latitude.push(place.latitude);
                }
            }
        }
    }

    /// Points one step apart.
    fn straight(&self, from: Point, step: Point, places: Range<u32>, columns: &mut SeedColumns) {
        columns.x.extend(places.clone().map(|place| from.x + f64::from(place) * step.x));
        columns.y.extend(places.clone().map(|place| from.y + f64::from(place) * step.y));
        let line = self.site.inverse.along(from, step);
        let count = places.len() as u32;
        line.extend(places.start, count, &mut columns.longitude, &mut columns.latitude);
    }

    /// Each member of the hills is a row of points one step apart; the rows are then interleaved.
    fn hills(&self, run: &SeedRun, from: Point, step: Point, places: Range<u32>, columns: &mut SeedColumns) {
        let members: Vec<SeedColumns> = run
            .members()
            .map(|along_m| {
                let mut member = SeedColumns::default();
                let from = from + step * (along_m / run.spacing_m);
                self.straight(from, step, places.clone(), &mut member);
                member
            })
            .collect();
        for place in 0..places.len() {
            for member in &members {
                columns.x.push(member.x[place]);
                columns.y.push(member.y[place]);
                columns.longitude.push(member.longitude[place]);
                columns.latitude.push(member.latitude[place]);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::emit::sample;
    use crate::lanes::BlockIdx;
    use crate::seeds::{RowCourse, seeds};
    use crate::site::Projector;
    use crate::site::SiteZones;
    use proptest::prelude::*;
    use std::iter::repeat_n;

    fn compiled(pattern: Pattern) -> Compiled {
        let mut compiled = sample::compiled(3);
        let field = &mut compiled.fields[0];
        let asked = &mut compiled.job.fields[0];
        asked.spacing.pattern = pattern;
        field.seeds = seeds(
            &field.lanes,
            &field.route.visits,
            &asked.spacing,
            &SiteZones::none(),
            &compiled.job.machine,
        );
        compiled
    }

    const HILL: Pattern = Pattern::Hill { seeds: 3, length: Length::cm(6.0) };

    #[test]
    fn every_seed_is_in_both_files() {
        for pattern in [Pattern::Single, HILL, Pattern::Drill] {
            every_seed_is_in_both(&compiled(pattern));
        }
    }

    fn every_seed_is_in_both(compiled: &Compiled) {
        let rows = rows::read(&seed_rows(compiled).unwrap()).unwrap();
        let in_place = |row: &SeedRow| u64::from(row.run.hill_seeds.unwrap_or(1));
        let counted: u64 = rows.iter().map(|row| u64::from(row.run.count) * in_place(row)).sum();
        assert!(counted > 1000);
        assert_eq!(counted, compiled.fields[0].seeds.count());

        let runs = &compiled.fields[0].seeds.runs;
        let placing = Placing::of(&compiled.fields[0], &compiled.site.fields[0]);
        let columns: Vec<SeedColumns> = groups_of(runs).iter().map(|parts| placing.columns(parts)).collect();
        assert_eq!(columns.iter().map(|c| c.x.len() as u64).sum::<u64>(), counted);
        let same_length = |c: &SeedColumns| {
            let integers = [c.index.len(), c.member.len(), c.block.values().len()];
            let coordinates = [&c.x, &c.y, &c.longitude, &c.latitude].map(Vec::len);
            coordinates.into_iter().chain(integers).all(|length| length == c.x.len())
        };
        assert!(columns.iter().all(same_length));
        let of_run = |run: &SeedRun| {
            let [along, across] = sigma(&compiled.fields[0], &placing.against, run);
            let lane = placing.orders[run.lane.0] as i32;
            repeat_n((run.row as i32, lane, along, across), run.seeds() as usize)
        };
        let rows = columns.iter().flat_map(|c| c.row.values());
        let lanes = columns.iter().flat_map(|c| c.lane.values());
        let along = columns.iter().flat_map(|c| c.sigma_along.values());
        let across = columns.iter().flat_map(|c| c.sigma_across.values());
        let found = rows.zip(lanes).zip(along.zip(across)).map(|((row, lane), (a, b))| (row, lane, a, b));
        assert!(found.eq(runs.iter().flat_map(of_run)));
    }

    /// PROJ, asked for each seed, says the same as the file.
    #[test]
    fn degrees_and_metres_of_a_seed_are_the_same_place() {
        let compiled = compiled(HILL);
        let projector = Projector::new(&compiled.site.frame).unwrap();
        let (plan, site) = (&compiled.fields[0], &compiled.site.fields[0]);
        let placing = Placing::of(plan, site);
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
        // The seeds of the file are those of the runs, in their order.
        let run = &plan.seeds.runs[0];
        for (i, seed) in run.positions().enumerate().take(columns.x.len()) {
            assert!((seed.x - columns.x[i]).hypot(seed.y - columns.y[i]) < 1e-6);
            assert_eq!(columns.member[i], i as i32 % 3);
        }
    }

    #[test]
    fn the_seed_file_is_written() {
        let mut bytes = Vec::new();
        seeds_parquet(&compiled(HILL), &mut bytes).unwrap();
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
        fn groups_hold_each_place_once(
            counts in prop::collection::vec(1_u32..400_000, 0..12), seeds in 1..40_u32,
        ) {
            let pattern = match seeds {
                1 => Pattern::Single,
                seeds => Pattern::Hill { seeds, length: Length::cm(1.0) },
            };
            let runs: Vec<SeedRun> = counts
                .iter()
                .map(|&count| SeedRun {
                    block: BlockIdx(0),
                    lane: LaneIdx(0),
                    tool_row: 0,
                    row: 0,
                    zone: None,
                    first: 0,
                    step: 1,
                    count,
                    spacing_m: 0.1,
                    pattern,
                    course: RowCourse::Straight { from: Point { x: 0.0, y: 0.0 }, angle: 0.0 },
                })
                .collect();
            let groups = groups_of(&runs);
            let mut next = vec![0; runs.len()];
            for part in groups.iter().flatten() {
                prop_assert_eq!(part.places.start, next[part.run]);
                next[part.run] = part.places.end;
            }
            prop_assert_eq!(next, counts);
            let sizes = groups.iter().map(|g| g.iter().map(|p| p.places.len() * seeds as usize).sum::<usize>());
            let full = |size: usize| size <= GROUP_SEEDS && size + seeds as usize > GROUP_SEEDS;
            prop_assert!(sizes.rev().skip(1).all(full));
        }
    }
}
