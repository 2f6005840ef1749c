//! How a machine drives: its steering and what driving costs in time.
//!
//! In: the checked machine. Out: plain numbers for the ways between poses. A way is counted from
//! standing nose forward to standing nose forward, since lanes are driven so: a way that begins
//! in reverse begins with a change of gear. A turn on the spot carries its own standstill.

use super::continuous::Steered;
use crate::check::job::Machine;
use crate::geometry::{Footprint, Gear, Piece};
use crate::num;
use lanewright_schema::quantity::{Length, Speed};

/// Steering and costs of driving.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Drive {
    /// The tightest radius on arcs; zero where the machine only turns on the spot.
    pub radius_m: f64,
    /// Change of curvature per metre driven that the steering can follow, 1/m²; none where it
    /// follows at once.
    pub sharpness: Option<f64>,
    /// Whether it may drive tail first.
    pub may_reverse: bool,
    /// Whether it can turn about its reference point.
    pub turns_on_spot: bool,
    /// Speed of the reference point, metres per second.
    pub speed_m_per_s: f64,
    /// The same in reverse, no more than nose first.
    pub reverse_m_per_s: f64,
    /// Standstill between forward and reverse.
    pub gear_change_s: f64,
    /// Turning on the spot, seconds per radian.
    pub spot_s_per_rad: f64,
}

impl Drive {
    /// As the machine drives in turns.
    pub fn turning(machine: &Machine) -> Self {
        Self::at(machine, machine.turning_speed)
    }

    /// As the machine drives in transits.
    pub fn transit(machine: &Machine) -> Self {
        Self::at(machine, machine.transit_speed)
    }

    fn at(machine: &Machine, speed: Speed) -> Self {
        Self {
            radius_m: machine.steering.turning_radius.to_m(),
            sharpness: machine.steering.rate.map(|rate| rate.sharpness(speed)),
            may_reverse: machine.steering.may_reverse,
            turns_on_spot: machine.steering.turns_on_spot,
            speed_m_per_s: speed.to_m_per_s(),
            reverse_m_per_s: machine.reverse_speed.map_or(speed, |reverse| reverse.min(speed)).to_m_per_s(),
            gear_change_s: machine.gear_change_time.to_s(),
            spot_s_per_rad: machine.spot_turn_time.to_s() / (2.0 * num::PI),
        }
    }

    /// Whether it steers on arcs.
    pub fn steers(&self) -> bool {
        self.radius_m > 0.0
    }

    /// The steering, where it does not follow at once.
    pub fn steered(&self) -> Option<Steered> {
        let sharpness = self.sharpness.filter(|_| self.steers())?;
        Some(Steered::new(self.radius_m, sharpness))
    }

    /// As it would drive with steering that follows at once, on the radius of its half turns: near
    /// what it takes in truth.
    #[must_use]
    pub fn without_delay(&self) -> Self {
        let radius_m = self.steered().map_or(self.radius_m, |steered| steered.half_turn_radius_m());
        Self { radius_m, sharpness: None, ..*self }
    }

    /// Seconds for so many metres, turns on the spot aside.
    pub fn driving_s(&self, gear: Gear, metres: f64) -> f64 {
        match gear {
            Gear::Reverse => metres / self.reverse_m_per_s,
            Gear::Forward | Gear::Spot => metres / self.speed_m_per_s,
        }
    }

    /// Seconds for a way that begins and ends nose forward.
    pub fn time_s<'a>(&self, pieces: impl IntoIterator<Item = &'a Piece>) -> f64 {
        let (mut seconds, mut gear) = (0.0, Gear::Forward);
        for piece in pieces {
            if piece.gear == Gear::Spot {
                seconds += piece.length.abs() * self.spot_s_per_rad;
                continue;
            }
            seconds += self.driving_s(piece.gear, piece.length);
            if piece.gear != gear {
                seconds += self.gear_change_s;
                gear = piece.gear;
            }
        }
        if gear == Gear::Forward { seconds } else { seconds + self.gear_change_s }
    }
}

/// The ground that a machine stands on: body and antennas.
pub fn footprint(machine: &Machine) -> Footprint {
    let points = machine.body.iter().chain(&machine.antennas);
    Footprint::around(points.map(|point| (Length::to_m(point.forward), point.right.to_m())))
}
