//! Ways from a lane to the next by way of a refill point.
//!
//! In: the ends of neighbouring lanes in a route, the refill points. Out: for each way between lanes and each point at
//! first a minimum, and once it is planned the way in and the way out in one: the machine stands at the point in the
//! heading with which both together cost least.
//!
//! A leg is a closed form; where that costs much more than the straight line would, one along lanes may cost less,
//! and where there is neither, a search finds one.

use super::along::{Along, End, Lines};
use super::network::can_steer;
use super::ways::{LEAST_TOLL_S, cheaper, standing_poses};
use super::{Ground, Route, driven};
use crate::geometry::{Point, Pose};
use crate::lanes::LanePlan;
use crate::turns::toll::Moment;
use crate::turns::{Lookout, Manoeuvre, Toll, closed_form, lower_bound_s, searched};
use rayon::prelude::*;

/// Nearest ways between lanes from which a point is tried to be reached.
const TRIED: usize = 3;
/// Headings at a point in which closed forms fit that are compared, those first that are quickest in the open.
const COMPARED: usize = 6;
/// Headings that are worth a search, where none fits.
const SEARCHED: usize = 3;

/// What is known of the ways by each point.
pub(super) struct Trips<'a> {
    ground: &'a Ground,
    lines: Lines,
    points: Vec<Point>,
    /// After each lane but the last; none where a person moves the machine.
    gaps: Vec<Option<Gap>>,
}

/// From the end of a lane to the beginning of the next.
struct Gap {
    from: Pose,
    to: Pose,
    stage: u8,
    /// What the way without a stop costs.
    direct_s: f64,
    /// By each point.
    by: Vec<Trip>,
}

enum Trip {
    /// Not planned; it takes so many seconds at least.
    AtLeast(f64),
    Planned(Manoeuvre),
    Impossible,
}

/// The way after so many lanes by the point of a number.
#[derive(Copy, Clone, Debug, PartialEq, Eq)]
pub(super) struct By {
    pub after: usize,
    pub point: usize,
}

impl<'a> Trips<'a> {
    pub(super) fn of(ground: &'a Ground, plan: &LanePlan, points: Vec<Point>, route: &Route) -> Self {
        let speed = ground.turning.speed_m_per_s;
        let metres: Vec<_> = points.iter().map(|&point| ground.detours.at_least(point)).collect();
        let gap = |(pair, way): (&[super::Visit], &Option<Manoeuvre>)| {
            let (from, to) = (driven(plan, pair[0]).end(), driven(plan, pair[1]).start);
            let ends = [from, to].map(|end| ground.detours.lookout(end.at));
            let at_least_s =
                |metres_to: &dyn Fn(&Lookout) -> f64| ends.iter().map(metres_to).sum::<f64>() / speed;
            Some(Gap {
                from,
                to,
                stage: ground.stages[pair[0].lane.0].max(ground.stages[pair[1].lane.0]),
                direct_s: way.as_ref()?.cost_s(),
                by: metres.iter().map(|metres_to| Trip::AtLeast(at_least_s(metres_to))).collect(),
            })
        };
        let gaps = route.visits.windows(2).zip(route.ways.iter().skip(1)).map(gap).collect();
        Self { ground, lines: Lines::of(&plan.lanes), points, gaps }
    }

    /// The point by which the way after so many lanes promises to cost least, or costs it, and how many seconds more
    /// than the way without a stop. None where a person moves the machine.
    pub(super) fn best(&self, after: usize) -> Option<(By, f64)> {
        let gap = self.gap(after)?;
        let priced = (0..self.points.len()).map(|point| (By { after, point }, gap.detour_s(point)));
        priced.min_by(|a, b| a.1.total_cmp(&b.1))
    }

    /// Whether it is not planned yet.
    pub(super) fn is_open(&self, by: By) -> bool {
        self.gap(by.after).is_some_and(|gap| matches!(gap.by[by.point], Trip::AtLeast(_)))
    }

    pub(super) fn plan(&mut self, open: &[By]) {
        let found: Vec<Trip> = open.par_iter().map(|&by| self.planned(by)).collect();
        for (&By { after, point }, trip) in open.iter().zip(found) {
            if let Some(gap) = &mut self.gaps[after - 1] {
                gap.by[point] = trip;
            }
        }
    }

    /// The way, once it is planned.
    pub(super) fn way(&self, by: By) -> Option<&Manoeuvre> {
        match &self.gap(by.after)?.by[by.point] {
            Trip::Planned(way) => Some(way),
            Trip::AtLeast(_) | Trip::Impossible => None,
        }
    }

    /// Whether a way leads to a point and back from one of the lanes that are nearest.
    pub(super) fn reach(&mut self, point: usize) -> bool {
        let mut near: Vec<(f64, By)> = (1..=self.gaps.len())
            .filter_map(|after| Some((self.gap(after)?.by[point].least_s(), By { after, point })))
            .collect();
        near.sort_by(|a, b| a.0.total_cmp(&b.0));
        near.truncate(TRIED);
        near.is_empty()
            || near.into_iter().any(|(_, by)| {
                self.plan(&[by]);
                self.way(by).is_some()
            })
    }

    fn gap(&self, after: usize) -> Option<&Gap> {
        self.gaps.get(after.checked_sub(1)?)?.as_ref()
    }

    fn planned(&self, by: By) -> Trip {
        let way = self.gap(by.after).and_then(|gap| self.trip(gap, self.points[by.point]));
        way.map_or(Trip::Impossible, Trip::Planned)
    }

    fn trip(&self, gap: &Gap, at: Point) -> Option<Manoeuvre> {
        let Ground { space, turning, .. } = self.ground;
        let toll = self.ground.toll(Moment::During(gap.stage));
        let least_s =
            |pose: Pose| lower_bound_s(turning, gap.from, pose) + lower_bound_s(turning, pose, gap.to);
        let mut poses: Vec<(f64, Pose)> = standing_poses(at, gap.from)
            .chain(standing_poses(at, gap.to))
            .filter(|&pose| space.clearance_at(pose).is_some())
            .map(|pose| (least_s(pose), pose))
            .collect();
        poses.sort_by(|a, b| a.0.total_cmp(&b.0));
        poses.dedup_by_key(|(_, pose)| pose.angle.to_bits());
        let cost_s = |pose: Pose| {
            let way_in = closed_form(space, turning, &toll, gap.from, pose)?;
            Some(way_in.cost_s() + closed_form(space, turning, &toll, pose, gap.to)?.cost_s())
        };
        let fitting = poses.iter().filter_map(|&(_, pose)| Some((cost_s(pose)?, pose))).take(COMPARED);
        let best = fitting.min_by(|a, b| a.0.total_cmp(&b.0));
        let worth = match best {
            Some((_, pose)) => vec![pose],
            None => poses.into_iter().map(|(_, pose)| pose).take(SEARCHED).collect(),
        };
        worth
            .into_iter()
            .find_map(|pose| Some(self.leg(&toll, gap.from, pose)?.then(&self.leg(&toll, pose, gap.to)?)))
    }

    fn leg(&self, toll: &Toll, from: Pose, to: Pose) -> Option<Manoeuvre> {
        let Ground { space, turning: drive, .. } = self.ground;
        let direct = closed_form(space, drive, toll, from, to);
        let known_s = direct.as_ref().map_or(f64::INFINITY, Manoeuvre::cost_s);
        if known_s < from.distance(&to) / drive.speed_m_per_s + LEAST_TOLL_S {
            return direct;
        }
        let along = Along { space, drive, toll, known_s, from: End::At(from), to: End::At(to) };
        let along = self.lines.way(&along, 1).filter(|way| can_steer(drive, &way.path));
        cheaper(direct, along).or_else(|| searched(space, drive, toll, from, to))
    }
}

impl Gap {
    /// Seconds that the way by a point costs more, or promises to.
    fn detour_s(&self, point: usize) -> f64 {
        (self.by[point].least_s() - self.direct_s).max(0.0)
    }
}

impl Trip {
    fn least_s(&self) -> f64 {
        match self {
            Self::AtLeast(seconds) => *seconds,
            Self::Planned(way) => way.cost_s(),
            Self::Impossible => f64::INFINITY,
        }
    }
}
