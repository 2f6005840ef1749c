//! A way along places with room to turn, for what lies far apart or behind obstacles.
//!
//! In: one manoeuvre's task. Out: pieces from its start to its goal; nothing where there is no
//! such way. Shortening it is left to what follows.
//!
//! Method: a distance map over cells at whose every point the machine may stand at any heading,
//! walked downhill and pulled tight into a chain of straights. A machine that turns on the spot
//! drives the chain as it is. One that steers passes through posts on the chain, joined by closed
//! forms; the first and the last post are joined to the ends by the same or by a local search.

use super::super::candidates::merged;
use super::super::distance::DistanceMap;
use super::super::{MANY_STRAIGHTS, Task};
use super::on_lattice;
use crate::geometry::{Gear, Path, Piece, Point, Pose, distance};
use crate::num;

/// Cells of the map at most: coarse, then fine where the coarse one finds no way.
const CELLS: [f64; 2] = [30_000.0, 600_000.0];

/// Pieces to the goal along places with room to turn.
pub fn guided(task: &Task<'_>) -> Option<Vec<Piece>> {
    CELLS.iter().find_map(|&most_cells| {
        let chain = Chain::new(task, most_cells)?;
        if task.drive.turns_on_spot { chain.on_spot(task) } else { chain.steered(task) }
    })
}

/// Straights through places with room, from near the start to near the goal.
struct Chain {
    /// Signed straight from the start to the chain's first point.
    leave_m: f64,
    /// At least two; neighbours differ, and the straight between them is free.
    points: Vec<Point>,
    /// Signed straight from the chain's last point to the goal.
    reach_m: f64,
}

impl Chain {
    fn new(task: &Task<'_>, most_cells: f64) -> Option<Self> {
        let cell_m = DistanceMap::cell_m(task.space.bounds(), most_cells);
        let half_diagonal_m = 0.5 * std::f64::consts::SQRT_2 * cell_m;
        let room_m = task.space.footprint().reach() + task.need_m + half_diagonal_m;
        let has_room = |place: Point, more_m: f64| {
            let wanted_m = room_m + more_m;
            task.space.signed_distance(place, wanted_m) >= wanted_m
        };
        // So much that the cell in which the pose lies has room too.
        let roomy = |pose: Pose| has_room(pose.at, half_diagonal_m);
        let leave_m = straight_to_room(task, task.from, 1.0, roomy)?;
        let reach_m = straight_to_room(task, task.to, -1.0, roomy)?;
        let (start, goal) = (task.from.advanced(leave_m).at, task.to.advanced(-reach_m).at);
        let weight = |centre: Point| {
            let toll = task.toll.s_per_m_at(centre) * task.drive.speed_m_per_s;
            has_room(centre, 0.0).then_some(1.0 + toll)
        };
        let map = DistanceMap::new(task.space.bounds(), cell_m, start, goal, weight)?;
        let mut stops = vec![start];
        stops.extend(map.downhill(start));
        stops.push(goal);
        let points = pulled_tight(task, &stops);
        (points.len() > 1).then_some(Self { leave_m, points, reach_m })
    }

    /// The chain with a turn on the spot at each of its points.
    fn on_spot(&self, task: &Task<'_>) -> Option<Vec<Piece>> {
        let mut pieces = vec![signed_straight(self.leave_m)];
        let mut angle = task.from.angle;
        for straight in self.straights() {
            pieces.push(Piece::spot(num::wrap_angle(straight.start.angle - angle)));
            pieces.extend(straight.pieces);
            angle = straight.start.angle;
        }
        pieces.push(Piece::spot(num::wrap_angle(task.to.angle - angle)));
        pieces.push(signed_straight(self.reach_m));
        let pieces = merged(pieces);
        task.space.admits(task.from, &pieces, task.need_m).then_some(pieces)
    }

    /// Closed forms from post to post.
    fn steered(&self, task: &Task<'_>) -> Option<Vec<Piece>> {
        let mut posts = self.posts(3.0 * task.drive.radius_m);
        posts.push(task.to);
        let mut pieces = Vec::new();
        let mut pose = task.from;
        for (index, &post) in posts.iter().enumerate() {
            let leg = Task { from: pose, to: post, ..*task };
            let at_an_end = index == 0 || index + 1 == posts.len();
            let straight_away = leg.best_of(leg.direct(), f64::INFINITY);
            let found = straight_away
                .or_else(|| leg.best_of(leg.with_straights(&MANY_STRAIGHTS), f64::INFINITY))
                .map(|way| way.path.pieces);
            let found = if at_an_end { found.or_else(|| on_lattice(&leg)) } else { found };
            pieces.extend(found?);
            pose = post;
        }
        Some(merged(pieces))
    }

    fn straights(&self) -> impl Iterator<Item = Path> + '_ {
        self.points.windows(2).map(|pair| Path::straight(pair[0], pair[1]))
    }

    /// Poses on the chain's straights: one in the middle, or two where that leaves both so far
    /// from its ends.
    fn posts(&self, from_ends_m: f64) -> Vec<Pose> {
        let on_straight = |straight: Path| {
            let length = straight.length();
            if length > 3.0 * from_ends_m {
                vec![straight.pose_at(from_ends_m), straight.pose_at(length - from_ends_m)]
            } else {
                vec![straight.pose_at(0.5 * length)]
            }
        };
        self.straights().flat_map(on_straight).collect()
    }
}

/// The stops without those that a straight may pass by at no more toll: from each, on to the
/// farthest that a straight reaches.
fn pulled_tight(task: &Task<'_>, stops: &[Point]) -> Vec<Point> {
    let toll_s = |way: &Path| task.toll.seconds(way.start, &way.pieces);
    let tolls_s: Vec<f64> = std::iter::once(0.0)
        .chain(stops.windows(2).map(|pair| toll_s(&Path::straight(pair[0], pair[1]))))
        .scan(0.0, |sum, toll| {
            *sum += toll;
            Some(*sum)
        })
        .collect();
    let is_worth_it = |from: usize, to: usize, way: &Path| {
        let round_m: f64 = stops[from..=to].windows(2).map(|pair| distance(pair[0], pair[1])).sum();
        let gain_s = (round_m - way.length()) / task.drive.speed_m_per_s;
        toll_s(way) <= tolls_s[to] - tolls_s[from] + gain_s.max(0.0) + 1e-9
    };
    let sees = |from: usize, to: usize| {
        let way = Path::straight(stops[from], stops[to]);
        way.length() > 1e-6
            && is_worth_it(from, to, &way)
            && task.space.admits(way.start, &way.pieces, task.need_m)
    };
    let mut kept = vec![stops[0]];
    let mut here = 0;
    while here + 1 < stops.len() {
        let mut next = here + 1;
        let mut stride = 1;
        // Doubling strides, then halving: the farthest in sight but for rare windows beyond.
        while here + 2 * stride < stops.len() && sees(here, here + 2 * stride) {
            stride *= 2;
            next = here + stride;
        }
        while stride > 0 {
            if next + stride < stops.len() && sees(here, next + stride) {
                next += stride;
            }
            stride /= 2;
        }
        here = next;
        if kept.last() != Some(&stops[here]) {
            kept.push(stops[here]);
        }
    }
    kept
}

/// The shortest free straight from a pose along `sense` that ends where there is room, or against
/// it where the machine may reverse; its signed length along `sense`.
fn straight_to_room(task: &Task<'_>, pose: Pose, sense: f64, roomy: impl Fn(Pose) -> bool) -> Option<f64> {
    /// Metres between places that are looked at.
    const STEP_M: f64 = 0.25;
    /// Places looked at on either side.
    const MOST: u32 = 200;
    // One that steers leaves the straight on arcs of its own; it may look to both sides.
    let both = task.drive.may_reverse || !task.drive.turns_on_spot;
    let sides = if both { &[1.0, -1.0][..] } else { &[1.0][..] };
    let nearest = |side: f64| {
        let lengths = (0..MOST).map(|count| side * STEP_M * f64::from(count));
        let length = lengths.into_iter().find(|&m| roomy(pose.advanced(sense * m)))?;
        let way = [signed_straight(sense * length)];
        task.space.admits(pose, &way, task.need_m).then_some(length)
    };
    let lengths = sides.iter().filter_map(|&side| nearest(side));
    lengths.min_by(|a, b| a.abs().total_cmp(&b.abs()))
}

fn signed_straight(metres: f64) -> Piece {
    Piece::straight(if metres < 0.0 { Gear::Reverse } else { Gear::Forward }, metres.abs())
}
