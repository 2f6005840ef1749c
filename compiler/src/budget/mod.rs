//! Time and seed that a field takes.
//!
//! In: the route, the lanes, the seed map, the machine and the crop. Out: hours by what they are
//! spent on, metres driven, capacity, the seed to bring, and the seeds that tyres pass over. Lanes
//! are driven at working speed; a turn takes its manoeuvre's time and the tool is lowered and raised
//! once a lane, standing; hoppers are filled first before the work begins, and each later fill is a
//! stop, as is being moved by hand to another part of the field. Drives to
//! refill points are turns.

use crate::check::{Field, Machine, Order};
use crate::lanes::LanePlan;
use crate::route::{Route, Rows, StopReason};
use crate::seeds::SeedMap;
use crate::turns::Manoeuvre;
use lanewright_schema::quantity::{Area, Length, Mass, Time};

mod driven_over;
mod seed;
mod time;

pub use driven_over::driven_over;
pub use seed::seed_need;
pub use time::{Spent, capacity_ha_per_h, time_budget};

/// What sowing a field takes.
pub fn budget(
    order: &Order,
    field: &Field,
    machine: &Machine,
    plan: &LanePlan,
    route: &Route,
    seeds: &SeedMap,
) -> Budget {
    let refills = u32::try_from(route.stops.len() - moves(route)).unwrap_or(u32::MAX);
    let seed = seed_need(seeds, &field.crop, &field.spacing, 1 + refills);
    let driven_over = driven_over(route, seeds, machine, Rows::SownOnTheWay).into_iter().sum();
    Budget { driven_over, ..driving_budget(order, machine, plan, route, seed) }
}

/// What a pass over a sown field takes; its seed is in the ground, so none is to be brought.
pub fn weeding_budget(
    order: &Order,
    machine: &Machine,
    plan: &LanePlan,
    route: &Route,
    seeds: &SeedMap,
) -> Budget {
    let worked = Area::m2(plan.areas.worked);
    let seed = SeedNeed {
        seeds: seeds.count(),
        mass: Mass::ZERO,
        units: None,
        hopper_fills: 0,
        plants: 0.0,
        area: worked,
    };
    let driven_over = driven_over(route, seeds, machine, Rows::SownBefore).into_iter().sum();
    Budget { driven_over, ..driving_budget(order, machine, plan, route, seed) }
}

/// Time and distance; tyres are not looked at.
fn driving_budget(
    order: &Order,
    machine: &Machine,
    plan: &LanePlan,
    route: &Route,
    seed: SeedNeed,
) -> Budget {
    let refills = seed.hopper_fills.saturating_sub(1);
    let lane = Length::m(route.visits.iter().map(|visit| plan.lanes[visit.lane.0].line.length()).sum());
    let (turns, transits) = ways(route);
    let driven = |ways: &[&Manoeuvre]| Length::m(ways.iter().map(|way| way.path.length()).sum());
    let taken = |ways: &[&Manoeuvre]| Time::s(ways.iter().map(|way| way.time_s).sum());
    let spent = Spent {
        work: lane / machine.working_speed,
        turn: taken(&turns) + machine.lift_time * (2 * route.visits.len()) as f64,
        transit: taken(&transits),
        stop: machine.refill_time * f64::from(refills) + machine.moving_time * moves(route) as f64,
    };
    let worked = Area::m2(plan.areas.worked);
    Budget {
        time: time_budget(spent, worked, machine.working_width, machine.working_speed, order.hours_per_day),
        distance: DistanceBudget { lane, turn: driven(&turns), transit: driven(&transits) },
        seed,
        driven_over: 0,
    }
}

/// How often a person moves the machine to another part of the field.
fn moves(route: &Route) -> usize {
    route.stops.iter().filter(|stop| matches!(stop.reason, StopReason::MovedByHand { .. })).count()
}

/// The ways between lanes, and those from home and back.
fn ways(route: &Route) -> (Vec<&Manoeuvre>, Vec<&Manoeuvre>) {
    match route.ways.as_slice() {
        [out, turns @ .., back] => {
            (turns.iter().flatten().collect(), [out, back].into_iter().flatten().collect())
        }
        alone => (Vec::new(), alone.iter().flatten().collect()),
    }
}

/// What one operation on one field takes.
#[derive(Clone, Debug, PartialEq)]
pub struct Budget {
    /// Driving and standing.
    pub time: TimeBudget,
    /// Metres driven.
    pub distance: DistanceBudget,
    /// Seed, for sowing.
    pub seed: SeedNeed,
    /// Seeds in the ground that tyres pass over in turns and transits.
    pub driven_over: u64,
}

/// Time by what it is spent on.
#[derive(Copy, Clone, Debug, Default, PartialEq)]
pub struct TimeBudget {
    /// In lanes, tool down or between two pieces of a row.
    pub work: Time,
    /// In turns, lifting and lowering included.
    pub turn: Time,
    /// From home and back.
    pub transit: Time,
    /// Standing for refills, and being moved by hand.
    pub stop: Time,
    /// `worked area / (working width × working speed) / total time`: a ratio in `(0, 1]`.
    pub field_efficiency: f64,
    /// Hectares worked per hour of total time.
    pub ha_per_h: f64,
    /// Hectares per day of the stated hours.
    pub ha_per_day: f64,
    /// Days of the stated hours.
    pub days: f64,
}

/// Metres by what they are driven for.
#[derive(Copy, Clone, Debug, Default, PartialEq)]
pub struct DistanceBudget {
    /// In lanes.
    pub lane: Length,
    /// In turns.
    pub turn: Length,
    /// From home and back.
    pub transit: Length,
}

/// Seed to bring.
#[derive(Clone, Debug, PartialEq)]
pub struct SeedNeed {
    /// Seeds on the lattice.
    pub seeds: u64,
    /// Their mass.
    pub mass: Mass,
    /// Whole sales units, where the lot states their size.
    pub units: Option<u64>,
    /// Times that the hoppers are filled, the first included.
    pub hopper_fills: u32,
    /// Plants expected from germination and field emergence.
    pub plants: f64,
    /// Area that the seeds stand on.
    pub area: Area,
}
