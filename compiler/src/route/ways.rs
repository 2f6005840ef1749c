//! The ways between lanes: priced at once, planned only where an order asks for them.
//!
//! In: the lanes' ends, the free space and where the machine stands. Out: [`Costs`], in which a
//! way counts the unobstructed minimum until it is planned, and its true time afterwards; a way
//! that cannot be driven is barred. Planning runs in parallel and is remembered; the outcome does
//! not depend on the threads.

use super::order::{Costs, Node};
use crate::geometry::{Point, Pose};
use crate::lanes::Lane;
use crate::num;
use crate::turns::{Drive, FreeSpace, Manoeuvre, lower_bound_s, manoeuvre};
use geo::{Contains, MultiPolygon};
use rayon::prelude::*;
use std::collections::BTreeMap;

/// Headings that the machine may have where it stands before and after the work.
const STANDING_HEADINGS: u32 = 16;
/// After so many failures and no success, an end is taken to be out of reach.
const GIVE_UP: u32 = 20;

/// A way from one node to another.
pub(super) type Link = (Node, Node);

/// What is known of all ways.
pub(super) struct Ways<'a> {
    space: &'a FreeSpace,
    turning: Drive,
    transit: Drive,
    /// Pose at which each node begins and at which it ends; none where it cannot be driven.
    poses: Vec<Option<(Pose, Pose)>>,
    /// The part of the fence that each node lies in, where it can be told.
    parts: Vec<Option<usize>>,
    /// Where the route begins and ends, and the part of the fence.
    standing: Option<Point>,
    standing_part: Option<usize>,
    costs: Costs,
    planned: BTreeMap<Link, Option<Manoeuvre>>,
    leaving: Vec<Tried>,
    entering: Vec<Tried>,
}

/// How planning went at one end.
#[derive(Copy, Clone, Default)]
struct Tried {
    failed: u32,
    done: u32,
}

impl Tried {
    const fn is_hopeless(self) -> bool {
        self.done == 0 && self.failed >= GIVE_UP
    }
}

impl<'a> Ways<'a> {
    /// All ways at their unobstructed minimum.
    pub(super) fn new(
        (space, fence): (&'a FreeSpace, &MultiPolygon),
        (turning, transit): (Drive, Drive),
        lanes: &[Lane],
        stages: Vec<u8>,
        standing: Option<Point>,
    ) -> Self {
        let ends = |path: &crate::geometry::Path| (path.start, path.end());
        let poses: Vec<Option<(Pose, Pose)>> =
            lanes.iter().flat_map(|lane| [Some(ends(&lane.line)), lane.back.as_ref().map(ends)]).collect();
        let part_of = |at: Point| fence.iter().position(|part| part.contains(&at));
        let parts = poses.iter().map(|ends| ends.and_then(|(begin, _)| part_of(begin.at)));
        let count = 2 * lanes.len() + 2;
        let mut ways = Self {
            space,
            turning,
            transit,
            parts: parts.collect(),
            poses,
            standing,
            standing_part: standing.and_then(part_of),
            costs: Costs::barred(stages),
            planned: BTreeMap::new(),
            leaving: vec![Tried::default(); count],
            entering: vec![Tried::default(); count],
        };
        ways.price();
        ways
    }

    pub(super) const fn costs(&self) -> &Costs {
        &self.costs
    }

    /// The planned way, once it is planned and drivable.
    pub(super) fn way(&self, link: Link) -> Option<&Manoeuvre> {
        self.planned.get(&link).and_then(Option::as_ref)
    }

    /// Whether the way's cost is that of a way that can be driven.
    pub(super) fn is_planned(&self, link: Link) -> bool {
        self.is_free(link) || self.way(link).is_some()
    }

    /// The costs with every way barred that is not planned.
    pub(super) fn only_planned(&self) -> Costs {
        let mut costs = self.costs.clone();
        let all: Vec<Node> = self.costs.nodes().chain([self.costs.depot()]).collect();
        for &from in &all {
            for &to in all.iter().filter(|&&to| !self.is_planned((from, to))) {
                costs.set(from, to, f64::INFINITY);
            }
        }
        costs
    }

    /// The cheapest ways to and from each node that are not planned yet, `most` each.
    pub(super) fn nearest(&self, nodes: impl IntoIterator<Item = Node>, most: usize) -> Vec<Link> {
        let mut links = Vec::new();
        for node in nodes {
            let ahead = self.costs.nodes().map(|other| (node, other));
            let behind = self.costs.nodes().map(|other| (other, node));
            links.extend(self.cheapest(ahead, most));
            links.extend(self.cheapest(behind, most));
        }
        links
    }

    /// Plans those of the ways that are not planned yet.
    pub(super) fn plan(&mut self, mut links: Vec<Link>) {
        links.retain(|&link| self.is_open(link));
        links.sort_unstable();
        links.dedup();
        let found: Vec<Option<Manoeuvre>> = links.par_iter().map(|&link| self.found(link)).collect();
        for (link, way) in links.into_iter().zip(found) {
            let seconds = way.as_ref().map_or(f64::INFINITY, |way| way.time_s);
            self.costs.set(link.0, link.1, seconds);
            for tried in [&mut self.leaving[link.0.index()], &mut self.entering[link.1.index()]] {
                if seconds.is_finite() { tried.done += 1 } else { tried.failed += 1 }
            }
            self.planned.insert(link, way);
        }
        self.give_up();
    }

    /// Neither planned nor known to be barred.
    fn is_open(&self, link: Link) -> bool {
        self.costs.get(link.0, link.1).is_finite() && !self.is_planned(link)
    }

    fn cheapest(&self, links: impl Iterator<Item = Link>, most: usize) -> impl Iterator<Item = Link> {
        let mut priced: Vec<(f64, Link)> = links
            .map(|link| (self.costs.get(link.0, link.1), link))
            .filter(|(seconds, _)| seconds.is_finite())
            .collect();
        priced.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        priced.into_iter().take(most).map(|(_, link)| link).filter(|&link| !self.is_planned(link))
    }

    /// Ways to and from the depot where the route may begin and end anywhere.
    fn is_free(&self, (from, to): Link) -> bool {
        let depot = self.costs.depot();
        self.standing.is_none() && (from == depot || to == depot)
    }

    fn price(&mut self) {
        let all: Vec<Node> = self.costs.nodes().chain([self.costs.depot()]).collect();
        let rows: Vec<Vec<f64>> =
            all.par_iter().map(|&from| all.iter().map(|&to| self.minimum((from, to))).collect()).collect();
        for (&from, row) in all.iter().zip(rows) {
            for (&to, seconds) in all.iter().zip(row) {
                self.costs.set(from, to, seconds);
            }
        }
    }

    /// Seconds that the way takes at least.
    fn minimum(&self, (from, to): Link) -> f64 {
        if let (Some(here), Some(there)) = (self.part(from), self.part(to))
            && here != there
        {
            return f64::INFINITY;
        }
        match (self.leaves(from), self.enters(to)) {
            (Some(leave), Some(enter)) if from.lane() != to.lane() => {
                lower_bound_s(&self.turning, leave, enter)
            }
            (Some(pose), None) if to == self.costs.depot() => self.at_least_to_depot(pose),
            (None, Some(pose)) if from == self.costs.depot() => self.at_least_to_depot(pose),
            (None, None) if from == to && from == self.costs.depot() => 0.0,
            _ => f64::INFINITY,
        }
    }

    fn part(&self, node: Node) -> Option<usize> {
        self.parts.get(node.index()).copied().unwrap_or(self.standing_part)
    }

    fn at_least_to_depot(&self, pose: Pose) -> f64 {
        self.standing
            .map_or(0.0, |at| num::hypot(at.x - pose.at.x, at.y - pose.at.y) / self.transit.speed_m_per_s)
    }

    fn found(&self, (from, to): Link) -> Option<Manoeuvre> {
        match (self.leaves(from), self.enters(to), self.standing) {
            (Some(leave), Some(enter), _) => manoeuvre(self.space, &self.turning, leave, enter),
            (None, Some(enter), Some(at)) => {
                self.quickest(standing_poses(at, enter).map(|pose| (pose, enter)))
            }
            (Some(leave), None, Some(at)) => {
                self.quickest(standing_poses(at, leave).map(|pose| (leave, pose)))
            }
            _ => None,
        }
    }

    /// The quickest transit over several choices of a heading.
    fn quickest(&self, choices: impl Iterator<Item = (Pose, Pose)>) -> Option<Manoeuvre> {
        let mut priced: Vec<(f64, Pose, Pose)> =
            choices.map(|(from, to)| (lower_bound_s(&self.transit, from, to), from, to)).collect();
        priced.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut best: Option<Manoeuvre> = None;
        for (minimum, from, to) in priced {
            if best.as_ref().is_some_and(|best| best.time_s <= minimum) {
                break;
            }
            let Some(way) = manoeuvre(self.space, &self.transit, from, to) else { continue };
            if best.as_ref().is_none_or(|best| way.time_s < best.time_s) {
                best = Some(way);
            }
        }
        best
    }

    fn enters(&self, node: Node) -> Option<Pose> {
        self.poses.get(node.index()).copied().flatten().map(|(begin, _)| begin)
    }

    fn leaves(&self, node: Node) -> Option<Pose> {
        self.poses.get(node.index()).copied().flatten().map(|(_, end)| end)
    }

    /// Bars what is still open at ends where nothing but failures was found.
    fn give_up(&mut self) {
        let all: Vec<Node> = self.costs.nodes().chain([self.costs.depot()]).collect();
        for &from in &all {
            for &to in &all {
                let hopeless =
                    self.leaving[from.index()].is_hopeless() || self.entering[to.index()].is_hopeless();
                if hopeless && self.is_open((from, to)) {
                    self.costs.set(from, to, f64::INFINITY);
                }
            }
        }
    }
}

/// Where the machine stands, in headings all round and straight towards and away from a pose.
fn standing_poses(at: Point, other: Pose) -> impl Iterator<Item = Pose> {
    let towards = num::atan2(other.at.y - at.y, other.at.x - at.x);
    let round =
        (0..STANDING_HEADINGS).map(|step| f64::from(step) * 2.0 * num::PI / f64::from(STANDING_HEADINGS));
    let straight = [towards, towards + num::PI, other.angle, other.angle + num::PI];
    straight.into_iter().chain(round).map(move |angle| Pose { at, angle: num::wrap_angle(angle) })
}
