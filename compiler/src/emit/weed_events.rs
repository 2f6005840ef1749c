//! `weed-events.parquet` from a compiled weeding job.
//!
//! In: what the tools do over each run of seeds, the lanes in driving order. Out: every event, lane by
//! lane, made while it is written, so that memory depends on the longest runs alone.

use super::numbers::{degrees, micro};
use crate::check::Machine;
use crate::pipeline::{Compiled, FieldPlan};
use crate::site::FieldSite;
use crate::weeding::{Driven, ToolEvent, Weeding};
use lanewright_schema::seedmap::events::{self, EventColumns};
use lanewright_schema::seedmap::parquet::Header;
use std::io::{self, Write};

/// Events in a row group, the last run's aside.
const GROUP_EVENTS: usize = 1 << 17;

/// Writes the file.
pub fn weed_events(compiled: &Compiled, out: &mut dyn Write) -> io::Result<()> {
    let frame = &compiled.site.frame;
    let header = Header { projjson: serde_json::from_str(&frame.projjson)?, epoch: frame.epoch };
    let machine = &compiled.job.machine;
    let groups = compiled.fields.iter().zip(&compiled.site.fields).flat_map(|(plan, site)| {
        let weeding = plan.weeding.as_ref();
        weeding.into_iter().flat_map(move |weeding| field_groups(plan, weeding, site, machine))
    });
    events::write(out, &header, groups)
}

/// One lane's run: the place of the lane in the driving order, the run.
type Step = (usize, usize);

fn field_groups<'a>(
    plan: &'a FieldPlan,
    weeding: &'a Weeding,
    site: &'a FieldSite,
    machine: &'a Machine,
) -> impl Iterator<Item = EventColumns> + 'a {
    let mut of_lane: Vec<Vec<usize>> = vec![Vec::new(); plan.lanes.lanes.len()];
    for (index, run) in plan.seeds.runs.iter().enumerate() {
        of_lane[run.lane.0].push(index);
    }
    let visits = plan.route.visits.iter().enumerate();
    let steps: Vec<Step> = visits
        .flat_map(|(order, visit)| of_lane[visit.lane.0].iter().map(move |&run| (order, run)))
        .collect();
    let mut groups: Vec<Vec<Step>> = Vec::new();
    let mut room = 0;
    for step in steps {
        if room == 0 {
            groups.push(Vec::new());
            room = GROUP_EVENTS;
        }
        room = room.saturating_sub(weeding.events[step.1].count(&plan.seeds.runs[step.1]));
        groups.last_mut().expect("a group was begun").push(step);
    }
    groups.into_iter().map(move |steps| columns(&steps, plan, weeding, site, machine))
}

fn columns(
    steps: &[Step],
    plan: &FieldPlan,
    weeding: &Weeding,
    site: &FieldSite,
    machine: &Machine,
) -> EventColumns {
    let mut columns = EventColumns { field: site.name.clone(), ..EventColumns::default() };
    for &(order, index) in steps {
        let (visit, run) = (plan.route.visits[order], &plan.seeds.runs[index]);
        let driven = Driven::new(&plan.lanes.lanes[visit.lane.0], visit, machine);
        weeding.events[index].each(run, &driven, plan.seeds.spacing_m, |event| {
            let ToolEvent { event, index, distance_m, at } = event;
            let place = site.inverse.to_geo(at);
            columns.block.push(run.block.0 as i32);
            columns.row.push(run.row as i32);
            columns.index.push(index as i32);
            columns.lane.push(order as i32 + 1);
            columns.event.push(event);
            columns.distance.push(micro(distance_m));
            columns.speed.push(micro(weeding.speed.to_m_per_s()));
            columns.x.push(micro(at.x));
            columns.y.push(micro(at.y));
            columns.longitude.push(degrees(place.longitude));
            columns.latitude.push(degrees(place.latitude));
        });
    }
    columns
}
