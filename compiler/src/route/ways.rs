//! The ways between lanes: priced at once, planned only where an order asks for them.
//!
//! In: the lanes' ends, the free space and where the machine stands. Out: [`Costs`], in which a
//! way counts a minimum until it is planned, and its true time afterwards; a way
//! that cannot be driven is barred. Planning runs in parallel and is remembered; the outcome does
//! not depend on the threads.
//!
//! A way is planned in closed form first, by a quick look; those that orders use and that the bound
//! rests on get a closer one. Where none fits, it counts the quickest chain of ways over other lanes
//! ([`network`](super::network)), which can be driven as it is; a chain that an order uses is laid out,
//! shortened, and where it wastes most also searched for through the free space, which takes hundreds
//! of times as long as a closed form.

use super::Rows;
use super::along::{Along, End, Lines};
use super::network::{Network, Vertex, can_steer};
use super::order::{Costs, Node};
use crate::geometry::{Path, Point, Pose};
use crate::lanes::Lane;
use crate::num;
use crate::turns::toll::{Moment, Soil, Wheels};
use crate::turns::{
    Detours, Drive, FreeSpace, Lookout, Manoeuvre, Toll, closed_form, lower_bound_s, refined, rough_bound_s,
    searched, shortened,
};
use joining::least;
use rayon::prelude::*;
use std::collections::{BTreeMap, BTreeSet};

mod joining;

/// Headings that the machine may have where it stands before and after the work.
const STANDING_HEADINGS: u32 = 16;
/// Searches for quicker ways than chains.
const BETTERING_SEARCHES: usize = 12;
/// Ways that sown rows cost less than this are left as they are, seconds.
pub(super) const LEAST_TOLL_S: f64 = 20.0;
/// Of the others so many are led along lanes, those that cost most first.
const SPARING_WAYS: usize = 24;
/// After so many ways without a closed form and none with one, an end is taken to have none.
const NO_CLOSED_FORM: u32 = 6;
/// So many ways at an end tell what others there will take.
const TELLING: u32 = 3;

/// What sown soil costs.
#[derive(Copy, Clone)]
pub(super) struct Tolls<'a> {
    pub soil: &'a Soil,
    /// What runs on it.
    pub wheels: Wheels<'a>,
    /// Seconds that a metre counts more.
    pub s_per_m: f64,
    /// When the rows are sown.
    pub rows: Rows,
}

/// A way from one node to another.
pub(super) type Link = (Node, Node);

/// What is known of all ways.
pub(super) struct Ways<'a> {
    space: &'a FreeSpace,
    tolls: Tolls<'a>,
    turning: Drive,
    transit: Drive,
    /// Pose at which each node begins and at which it ends; none where it cannot be driven.
    poses: Vec<Option<(Pose, Pose)>>,
    /// The part of the free space that each node begins in, where it can be told.
    parts: Vec<Option<u32>>,
    /// Where the route begins and ends, and the part of the free space.
    standing: Option<Point>,
    standing_part: Option<u32>,
    /// Whatever the stages.
    costs: Costs,
    stages: Vec<u8>,
    /// Ways whose costs have changed.
    changed: Vec<Link>,
    planned: BTreeMap<Link, Manoeuvre>,
    /// Ways without a closed form, with the least that they could take: they count their chain, and are barred where
    /// there is none.
    chained: BTreeMap<Link, f64>,
    network: Network,
    lines: Lines,
    /// Seconds of chains from a place, for as long as they are asked for.
    chains_from: BTreeMap<Vertex, Vec<f64>>,
    bettering_searches: usize,
    /// Ways for which others along lanes were looked for.
    spared: BTreeSet<Link>,
    /// Ways at which a closer look was had.
    refined: BTreeSet<Link>,
    leaving: Vec<Tried>,
    entering: Vec<Tried>,
}

/// How planning went at one end.
#[derive(Copy, Clone)]
struct Tried {
    /// Ways without a closed form.
    unfitting: u32,
    done: u32,
    /// The least that a way took beyond its minimum, seconds.
    least_beyond_s: f64,
}

impl Tried {
    const NOTHING: Self = Self { unfitting: 0, done: 0, least_beyond_s: f64::INFINITY };

    const fn has_no_closed_form(self) -> bool {
        self.done == 0 && self.unfitting >= NO_CLOSED_FORM
    }

    /// What any other way may be expected to take beyond its minimum, seconds.
    fn beyond_s(self) -> f64 {
        let is_telling = self.done + self.unfitting >= TELLING && self.least_beyond_s.is_finite();
        if is_telling { self.least_beyond_s.max(0.0) } else { 0.0 }
    }
}

impl<'a> Ways<'a> {
    /// All ways at the least that they could take.
    pub(super) fn new(
        space: &'a FreeSpace,
        detours: &Detours,
        tolls: Tolls<'a>,
        (turning, transit): (Drive, Drive),
        lanes: &[Lane],
        stages: Vec<u8>,
        standing: Option<Point>,
    ) -> Self {
        let ends = |path: &Path| (path.start, path.end());
        let poses: Vec<Option<(Pose, Pose)>> =
            lanes.iter().flat_map(|lane| [Some(ends(&lane.line)), lane.back.as_ref().map(ends)]).collect();
        let parts = poses.iter().map(|ends| ends.and_then(|(begin, _)| space.part_of(begin)));
        let count = 2 * lanes.len() + 2;
        let mut ways = Self {
            space,
            tolls,
            turning,
            transit,
            parts: parts.collect(),
            poses,
            standing,
            standing_part: standing.and_then(|at| standing_part(space, at)),
            costs: Costs::barred(vec![0; lanes.len()]),
            stages,
            changed: Vec::new(),
            planned: BTreeMap::new(),
            chained: BTreeMap::new(),
            network: over_lanes(turning, lanes),
            lines: Lines::of(lanes),
            chains_from: BTreeMap::new(),
            bettering_searches: 0,
            spared: BTreeSet::new(),
            refined: BTreeSet::new(),
            leaving: vec![Tried::NOTHING; count],
            entering: vec![Tried::NOTHING; count],
        };
        ways.price(detours);
        ways
    }

    /// Seconds of all ways, whatever the stages.
    pub(super) const fn costs(&self) -> &Costs {
        &self.costs
    }

    /// Each lane's stage.
    pub(super) fn stages(&self) -> &[u8] {
        &self.stages
    }

    /// The ways whose costs have changed since they were forgotten last.
    pub(super) fn changed(&self) -> &[Link] {
        &self.changed
    }
    pub(super) fn forget_changed(&mut self) {
        self.changed.clear();
    }

    /// The planned way, once it is planned and drivable.
    pub(super) fn way(&self, link: Link) -> Option<&Manoeuvre> {
        self.planned.get(&link)
    }

    /// Whether the way can be driven and is laid out.
    pub(super) fn is_planned(&self, link: Link) -> bool {
        self.is_free(link) || self.planned.contains_key(&link)
    }

    /// Whether the way's cost is that of a way that can be driven.
    pub(super) fn is_known(&self, link: Link) -> bool {
        self.is_planned(link) || self.chained.contains_key(&link)
    }

    /// The ways that are planned, or count a chain.
    pub(super) fn known(&self) -> impl Iterator<Item = Link> + '_ {
        self.planned.keys().chain(self.chained.keys()).copied()
    }

    /// The ways that count a chain, with the least that they could take once they are laid out.
    pub(super) fn chained(&self) -> impl Iterator<Item = (Link, f64)> + '_ {
        let drivable = self.chained.iter().filter(|(link, _)| self.costs.get(link.0, link.1).is_finite());
        drivable.map(|(&link, &minimum_s)| (link, minimum_s))
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

    /// Ways that could take the place of one that takes far longer than it might: those that leave or enter where it
    /// does, are not known and promise less, `most` at each end.
    pub(super) fn instead_of(&self, (from, to): Link, most: usize) -> Vec<Link> {
        let known_s = self.costs.get(from, to);
        let promises = |link: &Link| self.is_open(*link) && self.costs.get(link.0, link.1) < known_s;
        let leaving = self.costs.nodes().map(|other| (from, other)).filter(promises);
        let entering = self.costs.nodes().map(|other| (other, to)).filter(promises);
        self.cheapest(leaving, most).chain(self.cheapest(entering, most)).collect()
    }

    /// Chains that could take the place of ways that take far longer than they might: those that leave or enter where
    /// one does and might take less once they are laid out, `most` of them, those first that promise most.
    pub(super) fn chains_instead_of(&self, links: &[Link], most: usize) -> Vec<Link> {
        let promised_s = |(chain, minimum_s): (Link, f64)| {
            let beside = links.iter().filter(|link| (link.0 == chain.0) != (link.1 == chain.1));
            let known_s = beside.map(|link| self.costs.get(link.0, link.1)).fold(0.0, f64::max);
            (minimum_s < known_s).then_some((minimum_s - known_s, chain))
        };
        least(self.chained().filter_map(promised_s), most).into_iter().map(|(_, chain)| chain).collect()
    }

    /// So many of the ways that take longest beyond their minimum, those first.
    pub(super) fn most_wasteful(&self, links: Vec<Link>, most: usize) -> Vec<Link> {
        let spared_s = |link: Link| self.minimum(link) - self.costs.get(link.0, link.1);
        let priced = links.into_iter().map(|link| (spared_s(link), link));
        least(priced, most).into_iter().map(|(_, link)| link).collect()
    }

    /// Plans in closed form those of the ways for which that was not tried yet; tells how many
    /// these were.
    pub(super) fn plan(&mut self, mut links: Vec<Link>) -> usize {
        links.retain(|&link| self.is_open(link));
        links.sort_unstable();
        links.dedup();
        let found: Vec<Option<Manoeuvre>> = links.par_iter().map(|&link| self.fitting(link)).collect();
        let count = links.len();
        for (link, way) in links.into_iter().zip(found) {
            match way {
                Some(way) => self.settle(link, way),
                None => self.chain(link),
            }
        }
        count
    }

    /// Lays out those of the ways that are chains; where one wastes much, a search may find a
    /// quicker way.
    pub(super) fn lay_out(&mut self, mut links: Vec<Link>) {
        links.retain(|link| self.chained.contains_key(link));
        links.sort_unstable();
        links.dedup();
        let links = self.most_wasteful(links, usize::MAX);
        let searches = BETTERING_SEARCHES.saturating_sub(self.bettering_searches).min(links.len());
        self.bettering_searches += searches;
        let found: Vec<Option<Manoeuvre>> = links
            .par_iter()
            .enumerate()
            .map(|(rank, &link)| {
                let chain = self.laid_out(link);
                let other = if rank < searches { self.searched(link) } else { None };
                cheaper(chain, other)
            })
            .collect();
        for (link, way) in links.into_iter().zip(found) {
            match way {
                Some(way) => self.settle(link, way),
                None => self.count(link, f64::INFINITY),
            }
        }
    }

    /// Puts quicker ways of the same kind in the place of those that were found by a quick look.
    pub(super) fn refine(&mut self, mut links: Vec<Link>) {
        links.retain(|link| self.planned.contains_key(link) && !self.refined.contains(link));
        self.refined.extend(&links);
        let found: Vec<Option<Manoeuvre>> = links.par_iter().map(|&link| self.better(link)).collect();
        for (link, way) in links.into_iter().zip(found) {
            if let Some(way) = way {
                self.settle(link, way);
            }
        }
    }

    fn better(&self, link: Link) -> Option<Manoeuvre> {
        let way = self.way(link)?;
        refined(self.space, self.drive(link), &self.toll(link), way)
    }

    /// Puts ways along lanes in the place of those that cross many rows, where that costs less.
    pub(super) fn spare_rows(&mut self, mut links: Vec<Link>) {
        let toll_s = |link: &Link| self.way(*link).map_or(0.0, |way| way.toll_s);
        links.retain(|link| toll_s(link) >= LEAST_TOLL_S && !self.spared.contains(link));
        links.sort_by(|a, b| toll_s(b).total_cmp(&toll_s(a)).then(a.cmp(b)));
        links.truncate(SPARING_WAYS);
        self.spared.extend(&links);
        let found: Vec<Option<Manoeuvre>> = links.par_iter().map(|&link| self.along_lanes(link)).collect();
        for (link, way) in links.into_iter().zip(found) {
            if let Some(way) = way
                && way.cost_s() < self.costs.get(link.0, link.1)
            {
                self.settle(link, way);
            }
        }
    }

    /// The way that follows the line of a lane or two.
    fn along_lanes(&self, (from, to): Link) -> Option<Manoeuvre> {
        /// Lines after the first.
        const HOPS: u32 = 1;
        let drive = self.drive((from, to));
        let end = |pose: Option<Pose>| pose.map(End::At).or(self.standing.map(End::Standing));
        let (start, goal) = (end(self.leaves(from))?, end(self.enters(to))?);
        let toll = self.toll((from, to));
        let known_s = self.costs.get(from, to);
        let along = Along { space: self.space, drive, toll: &toll, known_s, from: start, to: goal };
        self.lines.way(&along, HOPS).filter(|way| can_steer(drive, &way.path))
    }

    /// Lets ways without a closed form count the quickest chains that there are by now.
    pub(super) fn renew_chains(&mut self) {
        self.chains_from.clear();
        for link in self.chained.keys().copied().collect::<Vec<_>>() {
            let seconds = self.chain_s(link);
            self.count(link, seconds);
        }
    }

    fn drivable_nodes(&self) -> impl Iterator<Item = Node> + '_ {
        self.costs.nodes().filter(|node| self.poses[node.index()].is_some())
    }

    /// Lets a way without a closed form count its quickest chain.
    fn chain(&mut self, link: Link) {
        let minimum_s = self.costs.get(link.0, link.1);
        let seconds = self.chain_s(link);
        self.learn(link, seconds, |tried| tried.unfitting += 1);
        self.count(link, seconds);
        self.chained.insert(link, minimum_s);
    }

    /// Seconds of the quickest chain. To and from the depot the machine drives faster than a chain is made for: where
    /// steering takes time, it cannot follow one there.
    fn chain_s(&mut self, link: Link) -> f64 {
        let depot = self.costs.depot();
        if self.turning.sharpness.is_some() && (link.0 == depot || link.1 == depot) {
            return f64::INFINITY;
        }
        let from = Vertex::end(link.0);
        let seconds = self.chains_from.entry(from).or_insert_with(|| self.network.seconds_from(from));
        seconds[Vertex::begin(link.1).index()]
    }

    /// Puts a way's true time in the place of its minimum.
    fn settle(&mut self, link: Link, way: Manoeuvre) {
        self.learn(link, way.cost_s(), |tried| tried.done += 1);
        self.count(link, way.cost_s());
        self.network.join(Vertex::end(link.0), Vertex::begin(link.1), &way.path, way.toll_s);
        self.chained.remove(&link);
        self.planned.insert(link, way);
    }

    /// Notes at both ends of a way how it went, and what it takes beyond its minimum if that is what it counts yet.
    fn learn(&mut self, link: Link, seconds: f64, note: fn(&mut Tried)) {
        let minimum_s = self.costs.get(link.0, link.1);
        let beyond_s = if self.is_open(link) { seconds - minimum_s } else { f64::INFINITY };
        for tried in [&mut self.leaving[link.0.index()], &mut self.entering[link.1.index()]] {
            note(tried);
            tried.least_beyond_s = tried.least_beyond_s.min(beyond_s);
        }
    }

    /// Seconds that a way which is not known may be expected to take beyond its minimum, as those known at its
    /// ends do: no less than is told for where it leaves a node and where it enters one.
    pub(super) fn beyond_s(&self, node: Node) -> (f64, f64) {
        (self.leaving[node.index()].beyond_s(), self.entering[node.index()].beyond_s())
    }

    fn count(&mut self, link: Link, seconds: f64) {
        self.costs.set(link.0, link.1, seconds);
        self.changed.push(link);
    }

    /// Not known, and not barred.
    fn is_open(&self, link: Link) -> bool {
        self.leads_onward(link) && self.costs.get(link.0, link.1).is_finite() && !self.is_known(link)
    }

    /// Not back to an earlier stage.
    fn leads_onward(&self, (from, to): Link) -> bool {
        match (self.stages.get(from.lane()), self.stages.get(to.lane())) {
            (Some(before), Some(after)) => before <= after,
            _ => true,
        }
    }

    fn cheapest(&self, links: impl Iterator<Item = Link>, most: usize) -> impl Iterator<Item = Link> {
        let mut priced: Vec<(f64, Link)> = links
            .filter(|&link| self.leads_onward(link))
            .map(|link| (self.costs.get(link.0, link.1), link))
            .filter(|(seconds, _)| seconds.is_finite())
            .collect();
        let cheaper = |a: &(f64, Link), b: &(f64, Link)| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1));
        if priced.len() > most {
            priced.select_nth_unstable_by(most, cheaper);
            priced.truncate(most);
        }
        priced.sort_by(cheaper);
        priced.into_iter().map(|(_, link)| link).filter(|&link| !self.is_planned(link))
    }

    /// Ways to and from the depot where the route may begin and end anywhere.
    fn is_free(&self, (from, to): Link) -> bool {
        let depot = self.costs.depot();
        self.standing.is_none() && (from == depot || to == depot)
    }

    fn price(&mut self, detours: &Detours) {
        let all: Vec<Node> = self.costs.nodes().chain([self.costs.depot()]).collect();
        let place = |pose: Option<Pose>| pose.map(|pose| pose.at).or(self.standing);
        let lookout = |node: &Node| place(self.enters(*node)).map(|at| detours.lookout(at));
        let entered: Vec<Option<Lookout>> = all.par_iter().map(lookout).collect();
        let row = |&from: &Node| {
            let metres_to = place(self.leaves(from)).map(|at| detours.at_least(at));
            let at_least_s = |to: Node, place: &Option<Lookout>| match (&metres_to, place) {
                (Some(metres_to), Some(place)) => metres_to(place) / self.drive((from, to)).speed_m_per_s,
                _ => 0.0,
            };
            let priced = all.iter().zip(&entered);
            priced.map(|(&to, place)| self.minimum((from, to)).max(at_least_s(to, place))).collect()
        };
        let rows: Vec<Vec<f64>> = all.par_iter().map(row).collect();
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

    /// The part of the free space that a lane begins in, where it can be told.
    pub(super) fn soil_part(&self, lane: usize) -> Option<u32> {
        self.part(Node::along(lane))
    }

    fn part(&self, node: Node) -> Option<u32> {
        self.parts.get(node.index()).copied().unwrap_or(self.standing_part)
    }

    fn at_least_to_depot(&self, pose: Pose) -> f64 {
        self.standing
            .map_or(0.0, |at| num::hypot(at.x - pose.at.x, at.y - pose.at.y) / self.transit.speed_m_per_s)
    }

    /// What sown soil costs on a way.
    fn toll(&self, (from, to): Link) -> Toll<'a> {
        let stage = |node: Node| self.stages.get(node.lane()).copied();
        let moment = match (self.tolls.rows, stage(from), stage(to)) {
            (Rows::SownBefore, ..) | (_, _, None) => Moment::After,
            (Rows::SownOnTheWay, None, _) => Moment::Before,
            (Rows::SownOnTheWay, Some(one), Some(other)) => Moment::During(one.max(other)),
        };
        Toll::new(self.tolls.soil, self.tolls.wheels, self.tolls.s_per_m, moment)
    }

    /// The way in closed form that costs least.
    fn fitting(&self, link: Link) -> Option<Manoeuvre> {
        let (leaving, entering) = (self.leaving[link.0.index()], self.entering[link.1.index()]);
        if leaving.has_no_closed_form() || entering.has_no_closed_form() {
            return None;
        }
        let toll = self.toll(link);
        let mut best: Option<Manoeuvre> = None;
        for (drive, minimum_s, from, to) in self.choices(link) {
            if best.as_ref().is_some_and(|best| best.cost_s() <= minimum_s) {
                break;
            }
            best = cheaper(best, closed_form(self.space, drive, &toll, from, to));
        }
        best
    }

    /// A way by search: the first found of the choices that promise most.
    fn searched(&self, link: Link) -> Option<Manoeuvre> {
        /// Headings at the depot that are worth a search.
        const MOST: usize = 4;
        let toll = self.toll(link);
        let mut choices = self.choices(link).into_iter().take(MOST);
        choices.find_map(|(drive, _, from, to)| searched(self.space, drive, &toll, from, to))
    }

    /// The quickest chain, shortened where closed forms allow.
    fn laid_out(&self, link: Link) -> Option<Manoeuvre> {
        let chain = self.network.chain(Vertex::end(link.0), Vertex::begin(link.1))?;
        shortened(self.space, self.drive(link), &self.toll(link), chain)
    }

    /// How the way is driven.
    fn drive(&self, (from, to): Link) -> &Drive {
        let depot = self.costs.depot();
        if from == depot || to == depot { &self.transit } else { &self.turning }
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
}

/// The lanes as ways.
fn over_lanes(drive: Drive, lanes: &[Lane]) -> Network {
    let mut network = Network::of(drive, lanes.len());
    for (index, lane) in lanes.iter().enumerate() {
        let ways = [(Node::along(index), Some(&lane.line)), (Node::back(index), lane.back.as_ref())];
        for (node, path) in ways {
            if let Some(path) = path {
                network.join(Vertex::begin(node), Vertex::end(node), path, 0.0);
            }
        }
    }
    network
}

/// The one that costs less.
pub(super) fn cheaper(one: Option<Manoeuvre>, other: Option<Manoeuvre>) -> Option<Manoeuvre> {
    match (one, other) {
        (Some(one), Some(other)) => Some(if other.cost_s() < one.cost_s() { other } else { one }),
        (one, other) => one.or(other),
    }
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
pub(super) fn standing_poses(at: Point, other: Pose) -> impl Iterator<Item = Pose> {
    let towards = num::atan2(other.at.y - at.y, other.at.x - at.x);
    let round =
        (0..STANDING_HEADINGS).map(|step| f64::from(step) * 2.0 * num::PI / f64::from(STANDING_HEADINGS));
    let straight = [towards, towards + num::PI, other.angle, other.angle + num::PI];
    straight.into_iter().chain(round).map(move |angle| Pose { at, angle: num::wrap_angle(angle) })
}
