//! The ways between lanes: priced at once, planned only where an order asks for them.
//!
//! In: the lanes' ends, the free space and where the machine stands. Out: [`Costs`], in which a
//! way counts the unobstructed minimum until it is planned, and its true time afterwards; a way
//! that cannot be driven is barred. Planning runs in parallel and is remembered; the outcome does
//! not depend on the threads.
//!
//! A way is planned in closed form first. Where none fits, a search through the free space would
//! take hundreds of times as long, and the way that it finds is seldom a good one: until an order
//! insists on it, the way counts a guess. Searches are counted, and beyond [`MOST_SEARCHES`] what
//! was not searched is done without where that leaves an order.

use super::order::{Costs, Node};
use crate::geometry::{Point, Pose};
use crate::lanes::Lane;
use crate::num;
use crate::turns::{Drive, FreeSpace, Manoeuvre, closed_form, lower_bound_s, rough_bound_s, searched};
use rayon::prelude::*;
use std::collections::BTreeMap;

/// Headings that the machine may have where it stands before and after the work.
const STANDING_HEADINGS: u32 = 16;
/// After so many failures and no success, an end is taken to be out of reach.
const GIVE_UP: u32 = 4;
/// Searches through the free space in one field, unless no order exists without more.
const MOST_SEARCHES: usize = 24;
/// What a way without a closed form is guessed to take: this multiple of its minimum and so many
/// seconds.
const GUESSED: (f64, f64) = (1.5, 30.0);
/// After so many ways without a closed form and none with one, an end is taken to have none.
const NO_CLOSED_FORM: u32 = 6;

/// A way from one node to another.
pub(super) type Link = (Node, Node);

/// What is known of all ways.
pub(super) struct Ways<'a> {
    space: &'a FreeSpace,
    turning: Drive,
    transit: Drive,
    /// Pose at which each node begins and at which it ends; none where it cannot be driven.
    poses: Vec<Option<(Pose, Pose)>>,
    /// The part of the free space that each node begins in, where it can be told.
    parts: Vec<Option<u32>>,
    /// Where the route begins and ends, and the part of the free space.
    standing: Option<Point>,
    standing_part: Option<u32>,
    costs: Costs,
    planned: BTreeMap<Link, Option<Manoeuvre>>,
    /// Minimum of each way that has no closed form and was not searched.
    guessed: BTreeMap<Link, f64>,
    searches: usize,
    /// Searches after which ways that are only guessed are done without.
    enough_searches: usize,
    does_without_guesses: bool,
    leaving: Vec<Tried>,
    entering: Vec<Tried>,
}

/// How planning went at one end.
#[derive(Copy, Clone, Default)]
struct Tried {
    /// Ways without a closed form.
    unfitting: u32,
    /// Ways that a search did not find either.
    failed: u32,
    done: u32,
}

impl Tried {
    const fn has_no_closed_form(self) -> bool {
        self.done == 0 && self.unfitting >= NO_CLOSED_FORM
    }
    const fn is_hopeless(self) -> bool {
        self.done == 0 && self.failed >= GIVE_UP
    }
}

impl<'a> Ways<'a> {
    /// All ways at their unobstructed minimum.
    pub(super) fn new(
        space: &'a FreeSpace,
        (turning, transit): (Drive, Drive),
        lanes: &[Lane],
        stages: Vec<u8>,
        standing: Option<Point>,
    ) -> Self {
        let ends = |path: &crate::geometry::Path| (path.start, path.end());
        let poses: Vec<Option<(Pose, Pose)>> =
            lanes.iter().flat_map(|lane| [Some(ends(&lane.line)), lane.back.as_ref().map(ends)]).collect();
        let parts = poses.iter().map(|ends| ends.and_then(|(begin, _)| space.part_of(begin)));
        let count = 2 * lanes.len() + 2;
        let mut ways = Self {
            space,
            turning,
            transit,
            parts: parts.collect(),
            poses,
            standing,
            standing_part: standing.and_then(|at| standing_part(space, at)),
            costs: Costs::barred(stages),
            planned: BTreeMap::new(),
            guessed: BTreeMap::new(),
            searches: 0,
            enough_searches: MOST_SEARCHES,
            does_without_guesses: false,
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

    /// The costs with the minimum for each way that is only guessed.
    pub(super) fn at_least(&self) -> Costs {
        self.with_guesses(|minimum_s| minimum_s)
    }

    /// The costs with every way barred that is only guessed.
    pub(super) fn without_guesses(&self) -> Costs {
        self.with_guesses(|_| f64::INFINITY)
    }

    fn with_guesses(&self, seconds: impl Fn(f64) -> f64) -> Costs {
        let mut costs = self.costs.clone();
        for (&(from, to), &minimum_s) in &self.guessed {
            costs.set(from, to, seconds(minimum_s));
        }
        costs
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

    /// Whether as many searches were made as the field is worth, and some ways are still guessed.
    pub(super) fn has_searched_enough(&self) -> bool {
        self.searches >= self.enough_searches && !self.does_without_guesses
    }

    /// Does without the ways that are only guessed, and without those that would be.
    pub(super) fn bar_guesses(&mut self) {
        self.costs = self.without_guesses();
        self.does_without_guesses = true;
    }

    /// Takes that back where no order is left, and allows as many searches again; tells whether
    /// there was anything to take back.
    pub(super) fn relent(&mut self) -> bool {
        let did = std::mem::take(&mut self.does_without_guesses);
        if did {
            self.costs = self.with_guesses(guess_s);
            self.enough_searches += MOST_SEARCHES;
            self.give_up();
        }
        did
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

    /// Plans in closed form those of the ways for which that was not tried yet; tells how many
    /// these were.
    pub(super) fn plan(&mut self, mut links: Vec<Link>) -> usize {
        links.retain(|&link| self.is_open(link) && !self.guessed.contains_key(&link));
        links.sort_unstable();
        links.dedup();
        let found: Vec<Option<Manoeuvre>> = links.par_iter().map(|&link| self.fitting(link)).collect();
        let count = links.len();
        for (link, way) in links.into_iter().zip(found) {
            if way.is_some() {
                self.settle(link, way);
            } else {
                self.guess(link);
            }
        }
        count
    }

    /// Puts a guess, or a bar, in the place of a way's minimum.
    fn guess(&mut self, link: Link) {
        let minimum_s = self.costs.get(link.0, link.1);
        let seconds = if self.does_without_guesses { f64::INFINITY } else { guess_s(minimum_s) };
        self.costs.set(link.0, link.1, seconds);
        self.guessed.insert(link, minimum_s);
        self.leaving[link.0.index()].unfitting += 1;
        self.entering[link.1.index()].unfitting += 1;
    }

    /// Searches for those of the ways that have no closed form.
    pub(super) fn search(&mut self, mut links: Vec<Link>) {
        links.retain(|link| self.guessed.contains_key(link));
        self.searches += links.len();
        let found: Vec<Option<Manoeuvre>> = links.par_iter().map(|&link| self.searched(link)).collect();
        for (link, way) in links.into_iter().zip(found) {
            self.guessed.remove(&link);
            self.settle(link, way);
        }
        self.give_up();
    }

    /// Puts a way's true time in the place of its minimum.
    fn settle(&mut self, link: Link, way: Option<Manoeuvre>) {
        let seconds = way.as_ref().map_or(f64::INFINITY, |way| way.time_s);
        self.costs.set(link.0, link.1, seconds);
        for tried in [&mut self.leaving[link.0.index()], &mut self.entering[link.1.index()]] {
            if seconds.is_finite() { tried.done += 1 } else { tried.failed += 1 }
        }
        self.planned.insert(link, way);
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
                rough_bound_s(&self.turning, leave, enter)
            }
            (Some(pose), None) if to == self.costs.depot() => self.at_least_to_depot(pose),
            (None, Some(pose)) if from == self.costs.depot() => self.at_least_to_depot(pose),
            (None, None) if from == to && from == self.costs.depot() => 0.0,
            _ => f64::INFINITY,
        }
    }

    fn part(&self, node: Node) -> Option<u32> {
        self.parts.get(node.index()).copied().unwrap_or(self.standing_part)
    }

    fn at_least_to_depot(&self, pose: Pose) -> f64 {
        self.standing
            .map_or(0.0, |at| num::hypot(at.x - pose.at.x, at.y - pose.at.y) / self.transit.speed_m_per_s)
    }

    /// The quickest way in closed form.
    fn fitting(&self, link: Link) -> Option<Manoeuvre> {
        let (leaving, entering) = (self.leaving[link.0.index()], self.entering[link.1.index()]);
        if leaving.has_no_closed_form() || entering.has_no_closed_form() {
            return None;
        }
        let mut best: Option<Manoeuvre> = None;
        for (drive, minimum_s, from, to) in self.choices(link) {
            if best.as_ref().is_some_and(|best| best.time_s <= minimum_s) {
                break;
            }
            let Some(way) = closed_form(self.space, drive, from, to) else { continue };
            if best.as_ref().is_none_or(|best| way.time_s < best.time_s) {
                best = Some(way);
            }
        }
        best
    }

    /// A way by search: the first found of the choices that promise most.
    fn searched(&self, link: Link) -> Option<Manoeuvre> {
        /// Headings at the depot that are worth a search.
        const MOST: usize = 4;
        let mut choices = self.choices(link).into_iter().take(MOST);
        choices.find_map(|(drive, _, from, to)| searched(self.space, drive, from, to))
    }

    /// Between which poses the way may lead, with its minimum; the quickest first. At the depot
    /// the machine may stand in several headings.
    fn choices(&self, (from, to): Link) -> Vec<(&Drive, f64, Pose, Pose)> {
        let (drive, pairs): (&Drive, Vec<(Pose, Pose)>) =
            match (self.leaves(from), self.enters(to), self.standing) {
                (Some(leave), Some(enter), _) => (&self.turning, vec![(leave, enter)]),
                (None, Some(enter), Some(at)) => {
                    (&self.transit, standing_poses(at, enter).map(|pose| (pose, enter)).collect())
                }
                (Some(leave), None, Some(at)) => {
                    (&self.transit, standing_poses(at, leave).map(|pose| (leave, pose)).collect())
                }
                _ => return Vec::new(),
            };
        let priced = pairs.into_iter().map(|(from, to)| (drive, lower_bound_s(drive, from, to), from, to));
        let mut choices: Vec<(&Drive, f64, Pose, Pose)> = priced.collect();
        choices.sort_by(|a, b| a.1.total_cmp(&b.1));
        choices
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

fn guess_s(minimum_s: f64) -> f64 {
    GUESSED.0 * minimum_s + GUESSED.1
}

/// The part of the free space that a place is in, if it is the same at every heading that fits.
fn standing_part(space: &FreeSpace, at: Point) -> Option<u32> {
    let headings = (0..STANDING_HEADINGS)
        .map(|step| num::wrap_angle(f64::from(step) * 2.0 * num::PI / f64::from(STANDING_HEADINGS)));
    let fitting = headings.map(|angle| Pose { at, angle }).filter(|pose| space.clearance_at(*pose).is_some());
    let mut parts = fitting.map(|pose| space.part_of(pose));
    let first = parts.next()?;
    if parts.all(|part| part == first) { first } else { None }
}

/// Where the machine stands, in headings all round and straight towards and away from a pose.
fn standing_poses(at: Point, other: Pose) -> impl Iterator<Item = Pose> {
    let towards = num::atan2(other.at.y - at.y, other.at.x - at.x);
    let round =
        (0..STANDING_HEADINGS).map(|step| f64::from(step) * 2.0 * num::PI / f64::from(STANDING_HEADINGS));
    let straight = [towards, towards + num::PI, other.angle, other.angle + num::PI];
    straight.into_iter().chain(round).map(move |angle| Pose { at, angle: num::wrap_angle(angle) })
}
