//! A way through the free space where no closed form fits.
//!
//! In: one manoeuvre's task. Out: pieces from its start to its goal, or nothing when there is no
//! way on the lattice within the node budget.
//!
//! Method: hybrid A* (D. Dolgov, S. Thrun, M. Montemerlo and J. Diebel, "Path planning for
//! autonomous vehicles in unknown semi-structured environments", *International Journal of
//! Robotics Research* 29, 2010): nodes are poses reached by short arcs, told apart by cells of
//! place and heading. The heuristic is the greater of the quickest way in the open and the
//! distance through the free space of a point; both never exceed the truth. From some nodes the
//! closed forms are tried all the way to the goal. The lattice knows one
//! curvature to each side, or a few bends of clothoids.

use super::candidates::{self, merged};
use super::distance::DistanceMap;
use super::drive::Drive;
use super::{FreeSpace, Task, candidates::lower_bound_s};
use crate::geometry::{Gear, Piece, Point, Pose};
use crate::num;
use crate::ranked::Ranked;
use std::collections::{BinaryHeap, HashMap, HashSet};

mod guided;

/// Cell size in steps of a motion, and motions checked against the fence at most: first a coarse
/// lattice, then a fine one.
const EFFORTS: [(f64, usize); 2] = [(1.0, 8_000), (0.5, 16_000)];
/// The heuristic counts so much in the order of expansion: the first way found takes at most this
/// multiple of the quickest on the lattice, and is found much sooner than with 1.
const GREED: f64 = 1.6;

/// Farther than this a way along a chain of straights is looked for first, metres.
const FAR_M: f64 = 50.0;

/// A quick way found by search.
pub fn search(task: &Task<'_>) -> Option<Vec<Piece>> {
    if task.drive.turns_on_spot || task.from.distance(&task.to) > FAR_M {
        guided::guided(task).or_else(|| on_lattice(task))
    } else {
        on_lattice(task).or_else(|| guided::guided(task))
    }
}

/// A way over the lattice of poses.
fn on_lattice(task: &Task<'_>) -> Option<Vec<Piece>> {
    if !Lattice::new(task, EFFORTS[0].0).goal_can_be_reached() {
        return None;
    }
    let map = core_distances(task)?;
    EFFORTS.iter().find_map(|&(cell_steps, most_checks)| {
        Search::new(task, &Lattice::new(task, cell_steps), &map).run(most_checks)
    })
}

/// Distances for the centre of the footprint's inner disc. A cell is free if any point of it could
/// be that centre; where the reference point lies outside the footprint there is no such disc, and
/// every cell is free.
fn core_distances(task: &Task<'_>) -> Option<DistanceMap> {
    /// Cells at most; a large field has larger ones.
    const MOST_CELLS: f64 = 600_000.0;
    let bounds = task.space.bounds();
    let cell_m = DistanceMap::cell_m(bounds, MOST_CELLS);
    DistanceMap::new(bounds, cell_m, task.from.at, task.to.at, |centre| {
        may_hold_core(task.space, centre, cell_m, task.need_m).then_some(1.0)
    })
}

/// Whether any point of a cell could be the centre of the footprint's inner disc.
fn may_hold_core(space: &FreeSpace, centre: Point, cell_m: f64, need_m: f64) -> bool {
    let core_m = space.footprint().core();
    let wanted_m = core_m + need_m - 0.5 * std::f64::consts::SQRT_2 * cell_m;
    core_m <= 0.0 || space.signed_distance(centre, wanted_m.abs() + 1e-6) >= wanted_m
}

/// The motions between nodes and the cells that tell nodes apart.
struct Lattice<'a> {
    task: &'a Task<'a>,
    motions: Vec<Motion>,
    cell_m: f64,
    headings: f64,
}

type Cell = (i32, i32, i32, bool);

/// A turn on the spot and a straight, a bend of clothoids and an arc, or an arc with nothing after it.
type Motion = [Piece; 3];

impl<'a> Lattice<'a> {
    fn new(task: &'a Task<'a>, cell_steps: f64) -> Self {
        /// A motion turns by this, radians.
        const TURN: f64 = num::PI / 12.0;
        let drive = task.drive;
        let gears =
            if drive.may_reverse { &[Gear::Forward, Gear::Reverse][..] } else { &[Gear::Forward][..] };
        let step_m = if drive.turns_on_spot {
            (0.25 * task.space.footprint().reach()).max(0.3)
        } else {
            (drive.radius_m * TURN).max(0.3)
        };
        let mut motions = Vec::new();
        for &gear in gears {
            for metres in [step_m, 5.0 * step_m] {
                let straight = Piece::straight(gear, metres);
                if drive.turns_on_spot {
                    let turns = (-11..=12).map(|count| TURN * f64::from(count));
                    motions.extend(turns.map(|turn| [Piece::spot(turn), straight, NOTHING]));
                } else {
                    motions.push([straight, NOTHING, NOTHING]);
                }
            }
            if !drive.turns_on_spot {
                motions.extend([1.0, -1.0].into_iter().flat_map(|side| bends(drive, gear, side, step_m)));
            }
        }
        // Turning costs a machine that turns on the spot time but no room: headings matter less.
        let headings = if drive.turns_on_spot { 8.0 } else { 24.0 };
        Self { task, motions, cell_m: cell_steps * step_m, headings }
    }

    fn cell(&self, pose: Pose, gear: Gear) -> Cell {
        let heading = (pose.angle / (2.0 * num::PI) * self.headings).round();
        (
            (pose.at.x / self.cell_m).round() as i32,
            (pose.at.y / self.cell_m).round() as i32,
            heading.rem_euclid(self.headings) as i32,
            gear == Gear::Reverse,
        )
    }

    /// Whether more than a pocket of poses leads to the goal: motions are undone from it, those
    /// farthest out first, until one is clear of it or none is left.
    fn goal_can_be_reached(&self) -> bool {
        /// Poses looked at; a goal with more before it is not in a pocket.
        const MOST: usize = 400;
        let goal = self.task.to;
        let clear_m = 3.0 * self.task.drive.radius_m.max(self.task.space.footprint().reach());
        let mut seen = HashSet::from([self.cell(goal, Gear::Forward)]);
        let mut open = BinaryHeap::from([Ranked { rank: 0.0, index: 0 }]);
        let mut poses = vec![goal];
        while let Some(Ranked { index, .. }) = open.pop() {
            let pose = poses[index];
            if poses.len() > MOST || pose.distance(&goal) > clear_m {
                return true;
            }
            for motion in &self.motions {
                let undone = undone(*motion);
                let before = after(pose, &undone);
                if seen.insert(self.cell(before, Gear::Forward))
                    && self.task.space.admits(pose, &undone, self.task.need_m)
                {
                    open.push(Ranked { rank: -before.distance(&goal), index: poses.len() });
                    poses.push(before);
                }
            }
        }
        self.task.from.distance(&goal) <= clear_m
    }
}

/// A piece that goes nowhere.
const NOTHING: Piece = Piece::straight(Gear::Forward, 0.0);

/// The pose after pieces.
fn after(pose: Pose, pieces: &[Piece]) -> Pose {
    pieces.iter().fold(pose, |pose, piece| piece.end(pose))
}

/// The motion that leads back.
fn undone([first, second, third]: Motion) -> Motion {
    [third, second, first].map(|piece| {
        let (curvature_start, curvature_end) = (piece.curvature_end, piece.curvature_start);
        match piece.gear {
            Gear::Forward => Piece { gear: Gear::Reverse, curvature_start, curvature_end, ..piece },
            Gear::Reverse => Piece { gear: Gear::Forward, curvature_start, curvature_end, ..piece },
            Gear::Spot => Piece::spot(-piece.length),
        }
    })
}

/// Motions that bend to one side. Steering that does not follow at once spends most of a small bend
/// on turning the wheels, so that larger ones are offered too.
fn bends(drive: &Drive, gear: Gear, side: f64, step_m: f64) -> Vec<Motion> {
    /// Radians.
    const DEFLECTIONS: [f64; 3] = [num::PI / 12.0, num::PI / 4.0, num::PI / 2.0];
    match drive.steered() {
        Some(steered) => DEFLECTIONS.map(|deflection| steered.bend(gear, side, deflection)).to_vec(),
        None => vec![[Piece::arc(gear, step_m, side / drive.radius_m), NOTHING, NOTHING]],
    }
}

/// A pose that the search has reached.
struct Node {
    pose: Pose,
    /// The motion that led here; none at the start.
    motion: Option<Motion>,
    parent: usize,
    /// Seconds from the start.
    time_s: f64,
    /// The gear in which it was reached, turns on the spot aside.
    gear: Gear,
}

struct Search<'a> {
    task: &'a Task<'a>,
    lattice: &'a Lattice<'a>,
    map: &'a DistanceMap,
    /// Signed straights before the goal that are free.
    approaches: Vec<f64>,
    nodes: Vec<Node>,
    reached: HashMap<Cell, f64>,
    open: BinaryHeap<Ranked>,
    /// Motions checked against the fence so far.
    checks: usize,
    best: Option<(f64, Vec<Piece>)>,
}

impl<'a> Search<'a> {
    fn new(task: &'a Task<'a>, lattice: &'a Lattice<'a>, map: &'a DistanceMap) -> Self {
        let start = Node { pose: task.from, motion: None, parent: 0, time_s: 0.0, gear: Gear::Forward };
        Self {
            task,
            lattice,
            map,
            approaches: task.straights(task.to, -1.0, &super::MANY_STRAIGHTS),
            nodes: vec![start],
            reached: HashMap::new(),
            open: BinaryHeap::from([Ranked { rank: 0.0, index: 0 }]),
            checks: 0,
            best: None,
        }
    }

    fn run(mut self, most_checks: usize) -> Option<Vec<Piece>> {
        /// Once a way is known, the search goes on for this share of the checks it took.
        const ONWARD: f64 = 0.5;
        let mut budget = most_checks;
        let mut expanded = 0;
        while let Some(Ranked { index, .. }) = self.open.pop() {
            if self.checks >= budget {
                break;
            }
            let node = &self.nodes[index];
            if self.reached.get(&self.lattice.cell(node.pose, node.gear)).is_some_and(|&t| t < node.time_s) {
                continue;
            }
            expanded += 1;
            let knew = self.best.is_some();
            if expanded % self.patience(index) == 0 {
                self.try_closed_forms(index, expanded);
            }
            if !knew && self.best.is_some() {
                budget = budget.min(self.checks + 500 + (ONWARD * self.checks as f64) as usize);
            }
            self.expand(index);
        }
        self.best.map(|(_, pieces)| pieces)
    }

    /// Expansions between two tries of the closed forms: the farther the goal, the fewer tries.
    fn patience(&self, index: usize) -> usize {
        let left_m = self.nodes[index].pose.distance(&self.task.to);
        (left_m / 3.0).clamp(4.0, 30.0) as usize
    }

    fn expand(&mut self, index: usize) {
        let Node { pose, time_s, gear, .. } = self.nodes[index];
        for &motion in &self.lattice.motions {
            let there = after(pose, &motion);
            let (cost_s, next_gear) = step_cost(self.task.drive, motion, gear);
            let arrival_s = time_s + cost_s + self.task.toll.seconds(pose, &motion);
            let cell = self.lattice.cell(there, next_gear);
            if self.reached.get(&cell).is_some_and(|&known| known <= arrival_s) {
                continue;
            }
            let Some(left_s) = self.time_left(there, next_gear) else {
                continue;
            };
            let rank = arrival_s + GREED * left_s;
            if self.best.as_ref().is_some_and(|(time, _)| arrival_s + left_s >= *time) {
                continue;
            }
            self.checks += 1;
            if !self.task.space.admits(pose, &motion, self.task.need_m) {
                continue;
            }
            self.reached.insert(cell, arrival_s);
            self.open.push(Ranked { rank, index: self.nodes.len() });
            self.nodes.push(Node {
                pose: there,
                motion: Some(motion),
                parent: index,
                time_s: arrival_s,
                gear: next_gear,
            });
        }
    }

    /// Seconds to the goal, never more than the truth; none where no way leads on.
    fn time_left(&self, pose: Pose, gear: Gear) -> Option<f64> {
        let drive = self.task.drive;
        let metres = self.map.at_least(pose.at)?;
        let open_s = lower_bound_s(drive, pose, self.task.to);
        // The bound counts a change from forward that a node in reverse does not need.
        let known = if gear == Gear::Reverse { drive.gear_change_s } else { 0.0 };
        Some((open_s - known).max(metres / drive.speed_m_per_s))
    }

    /// Tries to drive from a node to the goal by closed forms, one approach to it in turn.
    fn try_closed_forms(&mut self, index: usize, turn: usize) {
        /// So many are tried from one node.
        const MOST: usize = 6;
        let node = &self.nodes[index];
        let limit_s = self.best.as_ref().map_or(f64::INFINITY, |best| best.0) - node.time_s
            + self.task.drive.gear_change_s;
        let approach = self.approaches[turn % self.approaches.len()];
        let mut found = Vec::new();
        let mut add = |after_m: f64| {
            let (start, goal) = ((node.pose, 0.0), (self.task.to, after_m));
            candidates::add(&mut found, self.task.drive, start, goal, limit_s);
        };
        add(0.0);
        if approach != 0.0 {
            add(approach);
        }
        found.sort_by(|a, b| a.time_s.total_cmp(&b.time_s));
        for candidate in found.iter().take(MOST) {
            let pose = node.pose;
            let Some(tail) = candidate.pieces(self.task.drive, pose, self.task.to) else { continue };
            if self.task.space.admits(node.pose, &tail, self.task.need_m) {
                let pieces = merged(self.motions_to(index).into_iter().chain(tail));
                let task = self.task;
                let cost_s = task.drive.cost_s(&pieces) + task.toll.seconds(task.from, &pieces);
                if self.best.as_ref().is_none_or(|(best, _)| cost_s < *best) {
                    self.best = Some((cost_s, pieces));
                }
                return;
            }
        }
    }

    fn motions_to(&self, index: usize) -> Vec<Piece> {
        let mut motions = Vec::new();
        let mut node = &self.nodes[index];
        while let Some(motion) = node.motion {
            motions.extend(motion.into_iter().rev());
            node = &self.nodes[node.parent];
        }
        motions.reverse();
        motions
    }
}

/// Seconds of a motion after another gear, and the gear after it.
fn step_cost(drive: &Drive, motion: Motion, before: Gear) -> (f64, Gear) {
    motion.iter().fold((0.0, before), |(seconds, gear), piece| match piece.gear {
        Gear::Spot => (seconds + piece.length.abs() * drive.spot_s_per_rad, gear),
        _ if piece.length <= 0.0 => (seconds, gear),
        next => {
            let change_s = if next == gear { 0.0 } else { drive.gear_change_s };
            (seconds + drive.driving_s(next, piece.length) + change_s, next)
        }
    })
}
