//! `weed-events.parquet` from a compiled weeding job.
//!
//! In: what the tools do over each run of seeds, the lanes in driving order. Out: every event, lane by
//! lane, made while it is written, so that memory depends on the longest runs alone.

use super::numbers::{DEGREE_STEP, micro, snap};
use crate::check::Machine;
use crate::pipeline::{Compiled, FieldPlan};
use crate::seeds::SeedRun;
use crate::site::{AlongLine, FieldSite};
use crate::weeding::{Driven, ToolEvent, Weeding};
use lanewright_schema::seedmap::events::{self, EventColumns};
use lanewright_schema::seedmap::parquet::Header;
use std::io::{self, Write};

/// Events in a row group, the last run's aside.
const GROUP_EVENTS: usize = 1 << 17;
/// Metres are multiples of this, 15 µm: a power of two, so that the bytes below it are zeros.
const METRE_STEP: f64 = 1.0 / (1_u64 << 16) as f64;

/// Writes the file.
pub fn weed_events(compiled: &Compiled, out: &mut dyn Write) -> io::Result<()> {
    let frame = &compiled.site.frame;
    let header = Header { projjson: serde_json::from_str(&frame.projjson)?, epoch: frame.epoch };
    let plans = compiled.fields.iter().zip(&compiled.site.fields);
    let fields: Vec<Working> = plans
        .filter_map(|(plan, site)| {
            let weeding = plan.weeding.as_ref()?;
            Some(Working { plan, weeding, site, machine: &compiled.job.machine })
        })
        .collect();
    let groups: Vec<(&Working, Vec<Step>)> =
        fields.iter().flat_map(|field| field.groups().into_iter().map(move |steps| (field, steps))).collect();
    events::write(out, &header, groups.len(), |group| groups[group].0.columns(&groups[group].1))
}

/// One lane's run: the place of the lane in the driving order, the run.
type Step = (usize, usize);

/// A field whose events are made.
struct Working<'a> {
    plan: &'a FieldPlan,
    weeding: &'a Weeding,
    site: &'a FieldSite,
    machine: &'a Machine,
}

impl Working<'_> {
    /// The runs of each row group, in driving order.
    fn groups(&self) -> Vec<Vec<Step>> {
        let mut of_lane: Vec<Vec<usize>> = vec![Vec::new(); self.plan.lanes.lanes.len()];
        for (index, run) in self.plan.seeds.runs.iter().enumerate() {
            of_lane[run.lane.0].push(index);
        }
        let visits = self.plan.route.visits.iter().enumerate();
        let steps =
            visits.flat_map(|(order, visit)| of_lane[visit.lane.0].iter().map(move |&run| (order, run)));
        let mut groups: Vec<Vec<Step>> = Vec::new();
        let mut room = 0;
        for step in steps {
            if room == 0 {
                groups.push(Vec::new());
                room = GROUP_EVENTS;
            }
            room = room.saturating_sub(self.weeding.events[step.1].count(&self.plan.seeds.runs[step.1]));
            groups.last_mut().expect("a group was begun").push(step);
        }
        groups
    }

    fn columns(&self, steps: &[Step]) -> EventColumns {
        let mut columns = EventColumns { field: self.site.name.clone(), ..EventColumns::default() };
        for &(order, index) in steps {
            let (visit, run) = (self.plan.route.visits[order], &self.plan.seeds.runs[index]);
            let driven = Driven::new(&self.plan.lanes.lanes[visit.lane.0], visit, self.machine);
            let places = self.places(run);
            self.weeding.events[index].each(run, &driven, |event| {
                let ToolEvent { event, index, distance_m, along_m, at } = event;
                let place = match (&places, along_m) {
                    (Some(line), Some(along_m)) => line.to_geo(along_m),
                    _ => self.site.inverse.to_geo(at),
                };
                columns.index.push(index as i32);
                columns.event.push(event);
                columns.distance.push(distance_m);
                columns.x.push(at.x);
                columns.y.push(at.y);
                columns.longitude.push(place.longitude);
                columns.latitude.push(place.latitude);
            });
            let count = columns.x.len();
            columns.block.resize(count, run.block.0 as i32);
            columns.row.resize(count, run.row as i32);
            columns.lane.resize(count, order as i32 + 1);
        }
        columns.speed = vec![micro(self.weeding.speed.to_m_per_s()); columns.x.len()];
        for metres in [&mut columns.distance, &mut columns.x, &mut columns.y] {
            snap(metres, METRE_STEP);
        }
        for degrees in [&mut columns.longitude, &mut columns.latitude] {
            snap(degrees, DEGREE_STEP);
        }
        columns
    }

    /// Longitude and latitude along a straight run by the metres from its first seed.
    fn places(&self, run: &SeedRun) -> Option<AlongLine> {
        let (from, step) = run.straight_step()?;
        Some(self.site.inverse.along(from, step / run.spacing_m))
    }
}
