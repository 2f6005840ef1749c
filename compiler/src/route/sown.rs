//! Where soil is sown, and in which stage: what ways and orders pay tolls for.

use crate::check::Machine;
use crate::geometry::Pose;
use crate::lanes::{Lane, LanePlan};
use crate::turns::FreeSpace;
use crate::turns::toll::Soil;

/// The soil that the lanes' rows sow, each lane in its stage.
pub fn sown(space: &FreeSpace, machine: &Machine, plan: &LanePlan, stages: &[u8]) -> Soil {
    let mut soil = Soil::unsown(space.bounds(), machine.row_spacing.to_m());
    for (lane, &stage) in plan.lanes.iter().zip(stages) {
        for on_row in rows(lane, machine, 0.5 * soil.cell_m()) {
            soil.sow(on_row, stage);
        }
    }
    soil.surveyed()
}

/// Poses on a lane's rows, so far apart.
fn rows<'a>(lane: &'a Lane, machine: &'a Machine, apart_m: f64) -> impl Iterator<Item = Pose> + 'a {
    let forward = machine.tool_forward.to_m();
    lane.rows.iter().flat_map(move |row| {
        let right = machine.row_offsets[row.tool_row].to_m();
        let count = ((row.to - row.from) / apart_m).ceil().max(1.0);
        let step = (row.to - row.from) / count;
        let poses = lane.line.poses_at((0..=count as u32).map(|i| row.from + f64::from(i) * step));
        poses.into_iter().map(move |pose| Pose { at: pose.ground(forward, right), ..pose })
    })
}
