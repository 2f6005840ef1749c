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

/// Metres that a manoeuvre may lead in reverse before these count more than their time.
const BACKED_M: f64 = 10.0;

/// What each second in reverse counts more, beyond [`BACKED_M`]: whoever designs a way does not let a machine
/// back along a field, since there it steers less truly and pushes its tools (common practice, no source).
const BACKING: f64 = 1.0;

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
    /// Metres that a way may lead in reverse at a stretch before these count more; infinite where they never do.
    pub backed_m: f64,
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
            backed_m: BACKED_M,
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
        self.counted(pieces).time_s
    }

    /// Seconds that such a way counts, tolls aside: what it takes, and more for backing far.
    pub fn cost_s<'a>(&self, pieces: impl IntoIterator<Item = &'a Piece>) -> f64 {
        let Counted { time_s, backing_s } = self.counted(pieces);
        time_s + backing_s
    }

    /// What a way that begins and ends nose forward counts.
    pub fn counted<'a>(&self, pieces: impl IntoIterator<Item = &'a Piece>) -> Counted {
        let mut counted = Counted { time_s: 0.0, backing_s: 0.0 };
        let (mut gear, mut backed_m) = (Gear::Forward, 0.0_f64);
        for piece in pieces {
            if piece.gear == Gear::Spot {
                counted.time_s += piece.length.abs() * self.spot_s_per_rad;
                continue;
            }
            counted.time_s += self.driving_s(piece.gear, piece.length);
            if piece.gear != gear {
                counted.time_s += self.gear_change_s;
                (gear, backed_m) = (piece.gear, 0.0);
            }
            if gear == Gear::Reverse {
                let more_m = backed_m + piece.length - backed_m.max(self.backed_m);
                counted.backing_s += BACKING * self.driving_s(gear, more_m.max(0.0));
                backed_m += piece.length;
            }
        }
        if gear == Gear::Reverse {
            counted.time_s += self.gear_change_s;
        }
        counted
    }
}

/// What a way counts, tolls aside.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Counted {
    /// Seconds that it takes.
    pub time_s: f64,
    /// Seconds that it counts more for stretches in reverse that are longer than a manoeuvre needs.
    pub backing_s: f64,
}

/// The ground that a machine stands on: body and antennas.
pub fn footprint(machine: &Machine) -> Footprint {
    let points = machine.body.iter().chain(&machine.antennas);
    Footprint::around(points.map(|point| (Length::to_m(point.forward), point.right.to_m())))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn backing_counts_double_from_ten_metres_on() {
        let drive = Drive {
            radius_m: 2.5,
            sharpness: None,
            may_reverse: true,
            turns_on_spot: false,
            speed_m_per_s: 1.0,
            reverse_m_per_s: 0.5,
            backed_m: 10.0,
            gear_change_s: 2.0,
            spot_s_per_rad: 1.0,
        };
        let straight = Piece::straight;
        let short = [straight(Gear::Reverse, 6.0), straight(Gear::Reverse, 4.0)];
        assert_eq!(drive.counted(&short), Counted { time_s: 20.0 + 4.0, backing_s: 0.0 });
        let again = [short[0], straight(Gear::Forward, 1.0), short[0]];
        assert_eq!(drive.counted(&again).backing_s, 0.0, "each stretch by itself");
        let long = [short[0], short[0], straight(Gear::Reverse, 18.0), straight(Gear::Forward, 3.0)];
        assert_eq!(drive.counted(&long), Counted { time_s: 60.0 + 3.0 + 4.0, backing_s: 40.0 });
        assert_eq!(drive.cost_s(&long), 107.0);
    }
}
