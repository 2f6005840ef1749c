//! Mending a ring: what a receiver or a drawing left in it that no field has, taken out and told.
//!
//! In: a ring's corners and a tolerance. Out: the polygons that it means, and each [`Change`] with
//! its place and size. In this order: corners by the ten thousand are thinned within 1 cm; repeated
//! corners go; spikes narrower than the tolerance go; stretches of the ring that run along one
//! another within the tolerance are joined, which closes slits and overlaps. A ring that still
//! crosses itself is given back as it is, or cut at its crossings where that is asked.
//!
//! Method: corners are snapped to corners and edges within the tolerance, then the winding number
//! decides (`i_overlay`): once around is field, the other way round is a lobe beyond a crossing,
//! twice is an overlap. Only corners that were there come out, but for those at crossings.

use super::plane::{self, Plane, distance, nearest_on};
use crate::check::ring::SLIVER_M;
use i_overlay::core::fill_rule::FillRule;
use i_overlay::core::overlay::{Overlay, ShapeType};
use i_overlay::core::overlay_rule::OverlayRule;
use i_overlay::i_float::int::point::IntPoint;
use lanewright_schema::quantity::{GeoPoint, Length};
use rstar::AABB;
use std::collections::BTreeMap;
use std::ops::Range;

/// Points nearer than this to the one before are the same point, metres.
const SAME_POINT_M: f64 = 0.001;
/// A ring with more corners than this is thinned.
const MANY: usize = 20_000;
/// How far thinning may move the line, metres.
const THINNED_M: f64 = 0.01;
/// Stretches count as running along one another only when the way round from one to the other is
/// this many times their gap: nearer ones are the two sides of an ordinary corner.
const WAY_ROUND: f64 = 50.0;
/// A lobe smaller than this share of the whole is a slip of the survey, and is cut.
const SLIP: f64 = 0.01;
/// Pieces of less than a hand's breadth go untold, square metres.
const SEEN_M2: f64 = 0.01;
/// So many joined stretches are measured; of more only the count is told.
const MEASURED: usize = 20;
/// Steps in which a stretch is measured.
const RUN_STEP_M: f64 = 0.1;
const RUN_STEPS: u32 = 20_000;
/// Grid lines in a metre for the winding number: about a micrometre.
const GRID_PER_M: f64 = 1_048_576.0;

/// A corner of a boundary.
#[derive(Clone, Debug, PartialEq)]
pub struct Corner {
    /// Where.
    pub at: GeoPoint,
    /// Where it is written; empty where nobody wrote it.
    pub bytes: Range<usize>,
}

/// What becomes of a ring that crosses itself.
#[derive(Copy, Clone, Debug, PartialEq, Eq)]
pub enum Crossings {
    /// It stays as it is, to be refused.
    Refused,
    /// It is cut there.
    Cut,
}

/// A polygon that a ring means: the outside and its holes.
pub type Rings = Vec<Vec<Corner>>;

/// Something that was mended.
#[derive(Clone, Debug, PartialEq)]
pub struct Change {
    /// What.
    pub kind: ChangeKind,
    /// How large: metres, or square metres of what was cut.
    pub size: f64,
    /// Where.
    pub at: GeoPoint,
}

/// The kinds of change.
#[derive(Copy, Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum ChangeKind {
    /// Corners that follow from their neighbours within 1 cm left out; the size is their count.
    Thinned,
    /// A corner at the place of the one before left out.
    Repeated,
    /// A way out and back cut off; the size is its length.
    Spike,
    /// Two stretches that ran along one another joined; the size is their length.
    Joined,
    /// A lobe beyond a crossing cut off; the size is its area.
    Cut,
    /// A lobe beyond a crossing kept as a part of its own; the size is its area.
    Parted,
    /// Ground that the ring goes round twice counted once; the size is its area.
    Overlap,
}

/// What became of a ring.
#[derive(Clone, Debug, PartialEq)]
pub struct Mended {
    /// The polygons that it means.
    pub polygons: Vec<Rings>,
    /// What was changed.
    pub changes: Vec<Change>,
    /// Where it crosses itself still, if it does; it is one polygon then, as it was.
    pub crossing: Option<GeoPoint>,
}

/// Mends a ring.
pub fn ring(corners: Vec<Corner>, tolerance: Length, crossings: Crossings) -> Mended {
    let mut changes = Vec::new();
    let thinned = thin(corners, &mut changes);
    let distinct = without_repeats(thinned, &mut changes);
    if distinct.len() < 4 {
        return Mended { polygons: vec![vec![distinct]], changes, crossing: None };
    }
    let tolerance_m = tolerance.to_m();
    let mut outline = Outline::of(distinct);
    outline.cut_spikes(tolerance_m, &mut changes);
    let mut joins = Vec::new();
    let joined = outline.joined(tolerance_m, &mut joins);
    if joined.is_none() && plane::meetings(&outline.metres).is_empty() {
        return Mended { polygons: vec![vec![outline.corners]], changes, crossing: None };
    }
    match joined.as_ref().unwrap_or(&outline).wound(tolerance_m, crossings, &mut joins) {
        Ok(polygons) => {
            changes.extend(joins);
            Mended { polygons, changes, crossing: None }
        }
        Err(at) => Mended { polygons: vec![vec![outline.corners]], changes, crossing: Some(at) },
    }
}

/// Leaves out corners that follow from their neighbours, in one pass: from each corner kept, the
/// next goes as far as one straight line passes all between within the tolerance.
fn thin(corners: Vec<Corner>, changes: &mut Vec<Change>) -> Vec<Corner> {
    let Some(first) = corners.first().map(|corner| corner.at).filter(|_| corners.len() > MANY) else {
        return corners;
    };
    let plane = Plane::about(first);
    let metres: Vec<[f64; 2]> = corners.iter().map(|corner| plane.metres(corner.at)).collect();
    let mut kept = vec![0];
    let mut sector: Option<Sector> = None;
    for index in 1..metres.len() {
        let anchor = metres[kept[kept.len() - 1]];
        let open = sector.get_or_insert_with(|| Sector::from(anchor));
        if !open.takes(metres[index]) {
            kept.push(index - 1);
            let mut next = Sector::from(metres[index - 1]);
            next.takes(metres[index]);
            sector = Some(next);
        }
    }
    if kept[kept.len() - 1] != metres.len() - 1 {
        kept.push(metres.len() - 1);
    }
    let left_out = corners.len() - kept.len();
    if left_out > 0 {
        changes.push(Change { kind: ChangeKind::Thinned, size: left_out as f64, at: first });
    }
    kept.into_iter().map(|index| corners[index].clone()).collect()
}

/// The directions from an anchor that pass every point so far within the tolerance (Reumann and
/// Witkam's strip, narrowed with each point as in Williams' cone).
struct Sector {
    anchor: [f64; 2],
    /// The bounding directions, clockwise and counter-clockwise of all that fit.
    sides: Option<[[f64; 2]; 2]>,
    reach: f64,
}

impl Sector {
    fn from(anchor: [f64; 2]) -> Self {
        Self { anchor, sides: None, reach: 0.0 }
    }

    /// Whether a straight line to this point still passes all before; if so the sector narrows.
    fn takes(&mut self, point: [f64; 2]) -> bool {
        let to = [point[0] - self.anchor[0], point[1] - self.anchor[1]];
        let far = distance([0.0; 2], to);
        if far + THINNED_M < self.reach {
            return false;
        }
        if far <= THINNED_M {
            return true;
        }
        let cross = |a: [f64; 2], b: [f64; 2]| a[0] * b[1] - a[1] * b[0];
        let inside =
            |[right, left]: [[f64; 2]; 2], way: [f64; 2]| cross(right, way) >= 0.0 && cross(way, left) >= 0.0;
        if self.sides.is_some_and(|sides| !inside(sides, to)) {
            return false;
        }
        let side = (far * far - THINNED_M * THINNED_M).sqrt();
        let turned = |sign: f64| {
            [(to[0] * side - sign * to[1] * THINNED_M) / far, (to[1] * side + sign * to[0] * THINNED_M) / far]
        };
        let (right, left) = (turned(-1.0), turned(1.0));
        self.sides = Some(match self.sides {
            None => [right, left],
            Some([old_right, old_left]) => [
                if cross(old_right, right) > 0.0 { right } else { old_right },
                if cross(left, old_left) > 0.0 { left } else { old_left },
            ],
        });
        self.reach = self.reach.max(far);
        true
    }
}

/// Leaves out corners at the place of the one before; the one that closes the ring goes untold.
fn without_repeats(corners: Vec<Corner>, changes: &mut Vec<Change>) -> Vec<Corner> {
    let closed = corners.len() > 1 && corners.first().map(|c| c.at) == corners.last().map(|c| c.at);
    let mut kept: Vec<Corner> = Vec::with_capacity(corners.len());
    let mut repeats: Vec<GeoPoint> = Vec::new();
    for corner in corners {
        match kept.last() {
            Some(last) if plane::apart(last.at, corner.at) < SAME_POINT_M => repeats.push(corner.at),
            _ => kept.push(corner),
        }
    }
    while kept.len() > 1 && plane::apart(kept[0].at, kept[kept.len() - 1].at) < SAME_POINT_M {
        repeats.extend(kept.pop().map(|corner| corner.at));
    }
    if closed {
        repeats.pop();
    }
    changes.extend(repeats.into_iter().map(|at| Change { kind: ChangeKind::Repeated, size: 1.0, at }));
    kept
}

/// A ring in its plane.
struct Outline {
    plane: Plane,
    corners: Vec<Corner>,
    metres: Vec<[f64; 2]>,
}

impl Outline {
    fn of(corners: Vec<Corner>) -> Self {
        let plane = Plane::about(corners[0].at);
        let metres = corners.iter().map(|corner| plane.metres(corner.at)).collect();
        Self { plane, corners, metres }
    }

    /// Cuts off each way out and back, corner by corner from its end, going round until none is
    /// left. A ring that is nothing but a way out and back stays, to be refused.
    fn cut_spikes(&mut self, tolerance_m: f64, changes: &mut Vec<Change>) {
        let count = self.metres.len();
        let mut before: Vec<usize> = (0..count).map(|index| (index + count - 1) % count).collect();
        let mut after: Vec<usize> = (0..count).map(|index| (index + 1) % count).collect();
        let mut cut = Vec::new();
        let (mut here, mut sound) = (0, 0);
        while sound < count - cut.len() && count - cut.len() > 3 {
            let (a, c) = (before[here], after[here]);
            if let Some(size) = self.spike([a, here, c], tolerance_m) {
                cut.push(Change { kind: ChangeKind::Spike, size, at: self.corners[here].at });
                (after[a], before[c]) = (c, a);
                // Both neighbours must be looked at again.
                sound = usize::saturating_sub(sound, 2);
                here = a;
            } else {
                sound += 1;
                here = c;
            }
        }
        if cut.is_empty() {
            return;
        }
        let mut kept: Vec<usize> =
            std::iter::successors(Some(here), |&index| Some(after[index])).take(count - cut.len()).collect();
        kept.sort_unstable();
        let metres: Vec<[f64; 2]> = kept.iter().map(|&index| self.metres[index]).collect();
        if 2.0 * plane::area(&metres).abs() >= tolerance_m * plane::perimeter(&metres) {
            self.corners = kept.into_iter().map(|index| self.corners[index].clone()).collect();
            self.metres = metres;
            changes.extend(cut);
        }
    }

    /// The length of the spike whose end is the middle one of three corners, if it is one.
    fn spike(&self, corners: [usize; 3], tolerance_m: f64) -> Option<f64> {
        let [a, b, c] = corners.map(|index| self.metres[index]);
        let back = (b[0] - a[0]) * (c[0] - b[0]) + (b[1] - a[1]) * (c[1] - b[1]) < 0.0;
        let thin = || nearest_on([b, c], a).1.min(nearest_on([a, b], c).1) < tolerance_m;
        (back && thin()).then(|| distance(a, b).min(distance(b, c)))
    }

    /// The ring with stretches snapped together that run along one another within the tolerance;
    /// `None` where there are none.
    fn joined(&self, tolerance_m: f64, changes: &mut Vec<Change>) -> Option<Self> {
        let way = self.way();
        let contacts = self.contacts(&way, tolerance_m);
        if contacts.is_empty() {
            return None;
        }
        self.tell_stretches(&way, &contacts, tolerance_m, changes);
        let mut into_edge: BTreeMap<usize, Vec<(f64, usize)>> = BTreeMap::new();
        let mut target: Vec<usize> = (0..self.metres.len()).collect();
        for contact in &contacts {
            match contact.other {
                Other::Corner(other) => {
                    let (low, high) = (contact.corner.min(other), contact.corner.max(other));
                    target[high] = target[high].min(target[low]);
                }
                Other::Edge(edge) => {
                    let along = distance(self.metres[edge], contact.at);
                    into_edge.entry(edge).or_default().push((along, contact.corner));
                }
            }
        }
        let mut corners = Vec::new();
        let mut metres = Vec::new();
        for index in 0..self.metres.len() {
            let mut here = vec![(0.0, index)];
            here.extend(into_edge.remove(&index).unwrap_or_default());
            here.sort_by(|a, b| a.0.total_cmp(&b.0));
            for (_, from) in here {
                corners.push(self.corners[target[from]].clone());
                metres.push(self.metres[target[from]]);
            }
        }
        Some(Self { plane: self.plane, corners, metres })
    }

    /// How far along the ring each corner lies, and last the whole way round.
    fn way(&self) -> Vec<f64> {
        let mut way = vec![0.0];
        for [a, b] in plane::edges(&self.metres) {
            way.push(way[way.len() - 1] + distance(a, b));
        }
        way
    }

    /// Every corner that lies within the tolerance of another stretch of the ring.
    fn contacts(&self, way: &[f64], tolerance_m: f64) -> Vec<Contact> {
        let count = self.metres.len();
        let round = |from: f64, to: f64| {
            let apart = (from - to).abs();
            apart.min(way[count] - apart)
        };
        let tree = plane::edge_tree(&self.metres);
        let mut contacts = Vec::new();
        for (corner, &[x, y]) in self.metres.iter().enumerate() {
            let near = AABB::from_corners(
                geo::Coord { x: x - tolerance_m, y: y - tolerance_m }.into(),
                geo::Coord { x: x + tolerance_m, y: y + tolerance_m }.into(),
            );
            for edge in tree.locate_in_envelope_intersecting(&near).map(|edge| edge.data) {
                let ends = [self.metres[edge], self.metres[(edge + 1) % count]];
                let (at, gap) = nearest_on(ends, [x, y]);
                let there = way[edge] + distance(ends[0], at);
                if gap >= tolerance_m || round(way[corner], there) < (WAY_ROUND * gap).max(1.0) {
                    continue;
                }
                let end = [edge, (edge + 1) % count]
                    .into_iter()
                    .find(|&end| end != corner && distance(self.metres[end], [x, y]) < tolerance_m);
                let other = end.map_or(Other::Edge(edge), Other::Corner);
                contacts.push(Contact { corner, other, at, way: there });
            }
        }
        contacts.sort_by_key(|contact| (contact.corner, contact.other));
        contacts.dedup_by_key(|contact| (contact.corner, contact.other));
        contacts
    }

    /// One change for each stretch: corners in a row that touch something.
    fn tell_stretches(&self, way: &[f64], contacts: &[Contact], tolerance_m: f64, changes: &mut Vec<Change>) {
        let mut told = vec![false; self.metres.len()];
        for stretch in contacts.chunk_by(|a, b| b.corner - a.corner <= 1) {
            if stretch.iter().any(|contact| told[contact.corner]) {
                continue;
            }
            for contact in stretch {
                if let Other::Corner(other) = contact.other {
                    told[other] = true;
                }
            }
            let size = match changes.len() {
                few if few < MEASURED => self.together(way, &stretch[0], tolerance_m),
                _ => 0.0,
            };
            changes.push(Change { kind: ChangeKind::Joined, size, at: self.corners[stretch[0].corner].at });
        }
    }

    /// How far the ring runs along itself on both sides of a contact.
    fn together(&self, way: &[f64], contact: &Contact, tolerance_m: f64) -> f64 {
        let whole = way[self.metres.len()];
        let point = |along: f64| {
            let along = along.rem_euclid(whole);
            let edge = way.partition_point(|&at| at <= along).clamp(1, self.metres.len()) - 1;
            let [a, b] = [self.metres[edge], self.metres[(edge + 1) % self.metres.len()]];
            let length = way[edge + 1] - way[edge];
            let share = if length > 0.0 { (along - way[edge]) / length } else { 0.0 };
            [a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])]
        };
        let (here, there) = (way[contact.corner], contact.way);
        let runs = |forward: f64| {
            let far = (1..RUN_STEPS).map(|step| f64::from(step) * RUN_STEP_M).find(|far| {
                *far > whole / 2.0
                    || distance(point(here + forward * far), point(there - forward * far)) >= tolerance_m
            });
            far.unwrap_or(f64::from(RUN_STEPS) * RUN_STEP_M) - RUN_STEP_M
        };
        // Two sides of a slit meet at its end, after which each runs on where the other came from.
        let between = (here - there).abs().min(whole - (here - there).abs()) / 2.0;
        runs(1.0).min(between) + runs(-1.0).min(between)
    }

    /// The polygons by winding number, or the place of a true crossing that is to be refused.
    fn wound(
        &self,
        tolerance_m: f64,
        crossings: Crossings,
        changes: &mut Vec<Change>,
    ) -> Result<Vec<Rings>, GeoPoint> {
        let forward = plane::area(&self.metres) >= 0.0;
        let grid: Vec<IntPoint<i64>> = self.metres.iter().map(|&point| on_grid(point)).collect();
        let overlay = |rule: OverlayRule, fill: FillRule| {
            let mut overlay = Overlay::<i64>::new(grid.len());
            let path: Box<dyn Iterator<Item = IntPoint<i64>>> =
                if forward { Box::new(grid.iter().copied()) } else { Box::new(grid.iter().rev().copied()) };
            overlay.add_path_iter(path, ShapeType::Subject);
            overlay.overlay(rule, fill)
        };
        let mut field = overlay(OverlayRule::Subject, FillRule::Positive);
        let lobes = overlay(OverlayRule::Subject, FillRule::Negative);
        let odd = overlay(OverlayRule::Subject, FillRule::EvenOdd);
        let twice = beyond(&field, &odd);
        let true_fault = |shape: &&Contours| width(shape) >= tolerance_m;
        if crossings == Crossings::Refused
            && let Some(fault) = lobes.iter().chain(&twice).find(true_fault)
        {
            return Err(self.change(ChangeKind::Cut, fault).at);
        }
        let whole: f64 = field.iter().chain(&lobes).map(size).sum();
        for shape in twice.iter().filter(true_fault) {
            changes.push(self.change(ChangeKind::Overlap, shape));
        }
        for shape in lobes {
            if size(&shape) < SLIP * whole || width(&shape) < tolerance_m {
                if width(&shape) >= tolerance_m {
                    changes.push(self.change(ChangeKind::Cut, &shape));
                }
            } else {
                changes.push(self.change(ChangeKind::Parted, &shape));
                field.push(shape);
            }
        }
        let largest = field.iter().map(size).fold(0.0, f64::max);
        field.retain(|shape| {
            let stays = size(shape) == largest || !is_sliver(shape, tolerance_m);
            if !stays && size(shape) > SEEN_M2 {
                changes.push(self.change(ChangeKind::Cut, shape));
            }
            stays
        });
        let known: BTreeMap<(i64, i64), usize> =
            grid.iter().enumerate().rev().map(|(index, point)| ((point.x, point.y), index)).collect();
        let ring = |contour: &Vec<IntPoint<i64>>| contour.iter().map(|&p| self.corner(p, &known)).collect();
        let polygons = field.iter().map(|shape| {
            let (outside, holes) = shape.split_at(1);
            let holes = holes.iter().filter(|hole| {
                let hole = vec![(*hole).clone()];
                let stays = !is_sliver(&hole, tolerance_m);
                if !stays && size(&hole) > SEEN_M2 {
                    changes.push(self.change(ChangeKind::Cut, &hole));
                }
                stays
            });
            outside.iter().chain(holes).map(ring).collect()
        });
        let polygons: Vec<Rings> = polygons.collect();
        if polygons.is_empty() { Err(self.corners[0].at) } else { Ok(polygons) }
    }

    fn corner(&self, point: IntPoint<i64>, known: &BTreeMap<(i64, i64), usize>) -> Corner {
        match known.get(&(point.x, point.y)) {
            Some(&index) => self.corners[index].clone(),
            None => Corner { at: self.plane.point(off_grid(point)), bytes: 0..0 },
        }
    }

    fn change(&self, kind: ChangeKind, shape: &Contours) -> Change {
        let at = shape.first().and_then(|contour| contour.first()).map_or([0.0; 2], |&point| off_grid(point));
        Change { kind, size: size(shape), at: self.plane.point(at) }
    }
}

/// A corner near another stretch.
struct Contact {
    corner: usize,
    other: Other,
    /// The place on the other stretch, and how far along the ring it is.
    at: [f64; 2],
    way: f64,
}

/// What a corner is near to.
#[derive(Copy, Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Other {
    Corner(usize),
    Edge(usize),
}

/// Whether a piece is too small or too narrow to be a part of a field.
fn is_sliver(shape: &Contours, tolerance_m: f64) -> bool {
    size(shape) < 1.0 || width(shape) < tolerance_m.max(SLIVER_M)
}

type Contours = Vec<Vec<IntPoint<i64>>>;

fn on_grid([x, y]: [f64; 2]) -> IntPoint<i64> {
    IntPoint { x: (x * GRID_PER_M).round() as i64, y: (y * GRID_PER_M).round() as i64 }
}

fn off_grid(point: IntPoint<i64>) -> [f64; 2] {
    [point.x as f64 / GRID_PER_M, point.y as f64 / GRID_PER_M]
}

/// What of the first the second does not have.
fn beyond(a: &[Contours], b: &[Contours]) -> Vec<Contours> {
    let mut overlay = Overlay::<i64>::new(a.iter().chain(b).flatten().map(Vec::len).sum());
    for contour in a.iter().flatten() {
        overlay.add_path_iter(contour.iter().copied(), ShapeType::Subject);
    }
    for contour in b.iter().flatten() {
        overlay.add_path_iter(contour.iter().copied(), ShapeType::Clip);
    }
    overlay.overlay(OverlayRule::Difference, FillRule::EvenOdd)
}

/// Square metres, holes left out.
fn size(shape: &Contours) -> f64 {
    let area = |contour: &Vec<IntPoint<i64>>| {
        plane::area(&contour.iter().map(|&point| off_grid(point)).collect::<Vec<_>>()).abs()
    };
    let mut areas = shape.iter().map(area);
    areas.next().unwrap_or(0.0) - areas.sum::<f64>()
}

/// Twice the area by the length of its line: the width of a strip.
fn width(shape: &Contours) -> f64 {
    let length = |contour: &Vec<IntPoint<i64>>| {
        plane::perimeter(&contour.iter().map(|&point| off_grid(point)).collect::<Vec<_>>())
    };
    let line: f64 = shape.iter().map(length).sum();
    if line > 0.0 { 2.0 * size(shape) / line } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HERE: GeoPoint = GeoPoint { longitude: -27.4, latitude: 48.6 };

    fn corners(points: &[[f64; 2]]) -> Vec<Corner> {
        let plane = Plane::about(HERE);
        points.iter().map(|&point| Corner { at: plane.point(point), bytes: 0..0 }).collect()
    }

    fn mend(points: &[[f64; 2]], crossings: Crossings) -> (Vec<f64>, Vec<(ChangeKind, f64)>) {
        let Mended { polygons, changes, .. } = ring(corners(points), Length::cm(5.0), crossings);
        let plane = Plane::about(HERE);
        let area = |rings: &Rings| {
            let areas = rings.iter().map(|ring| {
                plane::area(&ring.iter().map(|corner| plane.metres(corner.at)).collect::<Vec<_>>()).abs()
            });
            let areas: Vec<f64> = areas.collect();
            areas[0] - areas[1..].iter().sum::<f64>()
        };
        (polygons.iter().map(area).collect(), changes.into_iter().map(|c| (c.kind, c.size)).collect())
    }

    #[track_caller]
    fn near(found: f64, expected: f64, within: f64) {
        assert!((found - expected).abs() < within, "{found} for {expected}");
    }

    #[test]
    fn a_sound_ring_stays_to_the_last_bit() {
        let sound = corners(&[[0.0, 0.0], [100.0, 3.0], [100.5, 80.0], [50.0, 40.0], [2.0, 80.0]]);
        let mended = ring(sound.clone(), Length::cm(5.0), Crossings::Refused);
        assert_eq!(mended, Mended { polygons: vec![vec![sound]], changes: vec![], crossing: None });
    }

    #[test]
    fn repeats_go_and_the_closing_corner_is_no_repeat() {
        let square = [[0.0, 0.0], [100.0, 0.0], [100.0, 0.0], [100.0, 100.0], [0.0, 100.0], [0.0, 0.0]];
        let (areas, changes) = mend(&square, Crossings::Refused);
        near(areas[0], 10_000.0, 1.0);
        assert_eq!(changes, [(ChangeKind::Repeated, 1.0)]);
    }

    /// A spike of 12 m and 2 cm, wherever the ring begins.
    #[test]
    fn spikes_go_wherever_the_ring_begins() {
        let spiked = [
            [0.0, 0.0],
            [100.0, 0.0],
            [100.0, 50.0],
            [112.0, 50.01],
            [100.0, 50.02],
            [100.0, 100.0],
            [0.0, 100.0],
        ];
        for start in 0..spiked.len() {
            let mut turned = spiked;
            turned.rotate_left(start);
            let (areas, changes) = mend(&turned, Crossings::Refused);
            near(areas[0], 10_000.0, 1.5);
            assert_eq!(changes.len(), 1, "{start}: {changes:?}");
            assert_eq!(changes[0].0, ChangeKind::Spike);
            near(changes[0].1, 12.0, 0.1);
        }
    }

    #[test]
    fn a_hairline_slit_is_closed() {
        let slit = [
            [0.0, 0.0],
            [49.99, 0.0],
            [49.99, 60.0],
            [50.01, 60.0],
            [50.01, 0.0],
            [100.0, 0.0],
            [100.0, 100.0],
            [0.0, 100.0],
        ];
        let (areas, changes) = mend(&slit, Crossings::Refused);
        assert_eq!(areas.len(), 1);
        near(areas[0], 10_000.0, 5.0);
        assert!(
            changes.iter().any(|(kind, size)| *kind == ChangeKind::Joined && (*size - 60.0).abs() < 1.0),
            "{changes:?}"
        );
    }

    /// A pond drawn in one line with the field, by way of a cut to the edge.
    #[test]
    fn a_cut_to_a_pond_becomes_a_hole() {
        let keyhole = [
            [0.0, 0.0],
            [50.0, 0.0],
            [50.0, 40.0],
            [40.0, 40.0],
            [40.0, 60.0],
            [60.0, 60.0],
            [60.0, 40.0],
            [50.0, 40.0],
            [50.0, 0.0],
            [100.0, 0.0],
            [100.0, 100.0],
            [0.0, 100.0],
        ];
        let Mended { polygons, changes, .. } = ring(corners(&keyhole), Length::cm(5.0), Crossings::Refused);
        assert_eq!((polygons.len(), polygons[0].len()), (1, 2), "{changes:?}");
        let (areas, _) = mend(&keyhole, Crossings::Refused);
        near(areas[0], 9_600.0, 1.0);
    }

    #[test]
    fn a_bow_tie_is_refused_or_parted() {
        let tie = [[0.0, 0.0], [100.0, 100.0], [100.0, 0.0], [0.0, 100.0]];
        let refused = ring(corners(&tie), Length::cm(5.0), Crossings::Refused);
        assert_eq!((refused.polygons[0][0].len(), refused.changes.len()), (4, 0));
        assert!(refused.crossing.is_some_and(|at| plane::apart(at, HERE) < 150.0));
        let (areas, changes) = mend(&tie, Crossings::Cut);
        assert_eq!(areas.len(), 2);
        near(areas[0] + areas[1], 5_000.0, 1.0);
        assert_eq!(changes[0].0, ChangeKind::Parted);
        near(changes[0].1, 2_500.0, 1.0);
    }

    /// The end of a walk that passes its start: a small lobe of 2 m by 1 m.
    #[test]
    fn a_small_lobe_is_cut() {
        let walked = [[0.0, 0.0], [100.0, 0.0], [100.0, 100.0], [0.0, 100.0], [0.0, -1.0], [-2.0, -1.0]];
        assert!(ring(corners(&walked), Length::cm(5.0), Crossings::Refused).crossing.is_some());
        let (areas, changes) = mend(&walked, Crossings::Cut);
        assert_eq!(areas.len(), 1);
        near(areas[0], 10_000.0, 2.0);
        assert!(changes.iter().any(|(kind, _)| *kind == ChangeKind::Cut), "{changes:?}");
    }

    #[test]
    fn overlaps_under_the_tolerance_are_mended_and_larger_ones_refused() {
        let overlap = |depth: f64| {
            [
                [0.0, 0.0],
                [50.0 + depth, 0.0],
                [50.0 + depth, 60.0],
                [50.0, 60.0],
                [50.0, 0.0],
                [100.0, 0.0],
                [100.0, 100.0],
                [0.0, 100.0],
            ]
        };
        let (areas, changes) = mend(&overlap(0.03), Crossings::Refused);
        near(areas[0], 10_000.0, 5.0);
        assert!(changes.iter().all(|(kind, _)| *kind == ChangeKind::Joined), "{changes:?}");
    }

    #[test]
    fn many_corners_are_thinned_within_a_centimetre() {
        let count = 60_000;
        let circle: Vec<[f64; 2]> = (0..count)
            .map(|k| {
                let angle = std::f64::consts::TAU * f64::from(k) / f64::from(count);
                [200.0 * crate::num::cos(angle), 200.0 * crate::num::sin(angle)]
            })
            .collect();
        let Mended { polygons, changes, .. } = ring(corners(&circle), Length::cm(5.0), Crossings::Refused);
        let kept = &polygons[0][0];
        assert!(kept.len() < 1_000, "{}", kept.len());
        assert_eq!(changes[0].kind, ChangeKind::Thinned);
        let plane = Plane::about(HERE);
        let outline: Vec<[f64; 2]> = kept.iter().map(|corner| plane.metres(corner.at)).collect();
        for point in circle.iter().step_by(17) {
            assert!(plane::off_line(&outline, *point) < 0.0101, "{point:?}");
        }
    }

    proptest::proptest! {
        /// Any ring is answered, and what comes out is no larger than its box.
        #[test]
        fn any_ring_is_answered(points in proptest::collection::vec((-40.0..40.0_f64, -40.0..40.0_f64), 0..24), cut: bool) {
            let points: Vec<[f64; 2]> = points.into_iter().map(|(x, y)| [x, y]).collect();
            let crossings = if cut { Crossings::Cut } else { Crossings::Refused };
            let Mended { polygons, .. } = ring(corners(&points), Length::cm(5.0), crossings);
            proptest::prop_assert!(!polygons.is_empty());
            if cut {
                for rings in &polygons {
                    let plane = Plane::about(HERE);
                    let outline: Vec<[f64; 2]> = rings[0].iter().map(|corner| plane.metres(corner.at)).collect();
                    proptest::prop_assert!(plane::area(&outline).abs() <= 6_400.0 + 1.0);
                }
            }
        }
    }
}
