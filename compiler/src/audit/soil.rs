//! What must hold of the soil: areas add up, the fence keeps its distances, no seed lies where
//! none may, none is sown twice.

use super::fence::{between, is_inside};
use super::{Fault, Proof};
use crate::check::Field;
use crate::geometry::{Point, distance};
use crate::lanes::LanePlan;
use crate::num;
use crate::seeds::{RowCourse, SeedMap, SeedRun};
use crate::site::FieldSite;
use geo::{LineString, MultiPolygon};
use rstar::{AABB, RTree, RTreeObject};

/// Areas add up within this share of the field.
const AREA_SHARE: f64 = 1e-6;
/// Rounding of offsets and of row ends, metres.
const ROUNDING_M: f64 = 0.001;

/// Worked, headland, keep-outs and left-over soil are the field.
pub(super) fn areas(site: &FieldSite, plan: &LanePlan) -> Proof {
    let areas = plan.areas;
    let field: f64 = site.boundary.iter().map(|part| ring_area(part.exterior()) - holes_area(part)).sum();
    let listed: f64 = plan.left_over.iter().map(|piece| piece.area_m2).sum();
    let sum = areas.worked + areas.headland + areas.keep_out + areas.left_over;
    let errors = [sum - field, areas.field - field, listed - areas.left_over];
    let worst = errors.into_iter().fold(0.0_f64, |worst, error| worst.max(error.abs())) / field;
    let place = site.boundary.iter().next().map(|part| part.exterior().0[0]);
    Proof::new("audit/areas", "of the field", AREA_SHARE - worst, place, |_| {
        format!("areas miss the field's {field:.1} m² by {:.4} m²", worst * field)
    })
}

/// The fence lies inside the boundary by its margin and outside every keep-out by its clearance.
pub(super) fn fence_true(field: &Field, site: &FieldSite) -> Proof {
    let edges = Edges::of(&site.fence);
    let distance = |other: &MultiPolygon, asked_m: f64, apart: bool| {
        let room = nearest(&edges, other, asked_m);
        if apart { room } else { Fault { metres: -asked_m.max(1.0), ..room } }
    };
    let within = rings(&site.fence).all(|ring| holds(&site.boundary, ring.0[0]));
    let mut least = distance(&site.boundary, field.fence_margin.to_m(), within);
    for keep_out in &site.keep_outs {
        let none_inside =
            |region: &MultiPolygon, other: &MultiPolygon| rings(region).all(|ring| !holds(other, ring.0[0]));
        let apart = none_inside(&keep_out.shape, &site.fence) && none_inside(&site.fence, &keep_out.shape);
        let room = distance(&keep_out.shape, keep_out.clearance.to_m(), apart);
        if room.metres < least.metres {
            least = room;
        }
    }
    Proof::new("audit/fence-true", "m", least.metres + ROUNDING_M, Some(least.place), |margin| {
        format!("the fence comes {:.0} mm too near to the boundary or to a keep-out", -1000.0 * margin)
    })
}

/// Distance of a region's edges from the fence beyond what is asked, and where it is smallest.
fn nearest(fence: &Edges, region: &MultiPolygon, asked_m: f64) -> Fault {
    let edges = rings(region).flat_map(|ring| ring.0.windows(2));
    let gaps = edges.map(|pair| Fault {
        metres: fence.distance([pair[0], pair[1]], asked_m + 1.0) - asked_m,
        place: pair[0],
    });
    let nowhere = Fault { metres: f64::MAX, place: Point { x: 0.0, y: 0.0 } };
    gaps.fold(nowhere, |least, gap| if gap.metres < least.metres { gap } else { least })
}

/// Every seed lies inside the fence, hence on soil and outside every keep-out.
pub(super) fn seeds_on_soil(site: &FieldSite, seeds: &SeedMap) -> Proof {
    let fence = Edges::of(&site.fence);
    let wrong: Vec<Point> = seeds.runs.iter().filter_map(|run| off_soil(site, &fence, run)).collect();
    Proof::none_of("audit/seeds-on-soil", "runs", &wrong, |count| {
        format!("{count} runs of seeds leave the soil inside the fence")
    })
}

/// Runs of one row follow each other without a place sown twice: by their numbers where they are on
/// one lattice, else by what lies between them on the ground.
pub(super) fn seeds_apart(seeds: &SeedMap) -> Proof {
    let mut runs: Vec<&SeedRun> = seeds.runs.iter().collect();
    runs.sort_by_key(|run| (run.block, run.row));
    let mut wrong: Vec<Point> = Vec::new();
    for pair in runs.windows(2) {
        let (before, after) = (pair[0], pair[1]);
        let one_row = (before.block, before.row) == (after.block, after.row);
        let one_lattice =
            before.zone == after.zone && (before.spacing_m - after.spacing_m).abs() < ROUNDING_M;
        let twice = if one_lattice {
            after.first <= before.last()
        } else {
            let clear_m = before.stand().clear().to_m().min(after.stand().clear().to_m());
            clear_between_m(before, after) < LEAST_SHARE * clear_m
        };
        if one_row && twice {
            wrong.extend(after.positions().next());
        }
    }
    Proof::none_of("audit/seeds-apart", "runs", &wrong, |count| {
        format!("{count} runs sow places of their row that another run has sown")
    })
}

/// Places of two lattices in one row have no less clear distance than this share of the smaller one's own:
/// nearer, they would be a multiple by ISO 7256-1.
const LEAST_SHARE: f64 = 0.499;

/// Clear distance between two runs of one row: of straight ones along the row, negative where they overlap;
/// else between those of their ends that are nearest.
fn clear_between_m(before: &SeedRun, after: &SeedRun) -> f64 {
    let ends = |run: &SeedRun| {
        let line = run.line(ROUNDING_M);
        [line[0], line[line.len() - 1]]
    };
    let (one, other) = (ends(before), ends(after));
    if let (RowCourse::Straight { angle, .. }, RowCourse::Straight { .. }) = (&before.course, &after.course) {
        let (sin, cos) = num::sin_cos(*angle);
        let along = |[from, to]: [Point; 2]| {
            let [from, to] = [from, to].map(|at| at.x * cos + at.y * sin);
            [from.min(to), from.max(to)]
        };
        let (one, other) = (along(one), along(other));
        return (other[0] - one[1]).max(one[0] - other[1]);
    }
    one.into_iter().flat_map(|a| other.map(|b| distance(a, b))).fold(f64::INFINITY, f64::min)
}

/// The first seed of the run that lies outside, if any: a straight run is judged by its ends and
/// by the edges that cross it, a curved one seed by seed.
fn off_soil(site: &FieldSite, fence: &Edges, run: &SeedRun) -> Option<Point> {
    let outside = |point: Point| {
        !holds(&site.fence, point) && fence.distance([point, point], ROUNDING_M * 2.0) > ROUNDING_M
    };
    if let RowCourse::Curved(path) = &run.course {
        let beyond = (run.length_m() > path.length() + ROUNDING_M).then(|| path.end().at);
        return beyond.or_else(|| outside_of_chain(fence, run.positions(), outside));
    }
    let line = run.line(ROUNDING_M);
    let (first, last) = (*line.first()?, *line.last()?);
    if outside(first) {
        return Some(first);
    }
    if outside(last) { Some(last) } else { fence.crossing(first, last) }
}

/// The first point outside, where an edge is looked at only if the way from the point before
/// comes near one.
fn outside_of_chain(
    fence: &Edges,
    points: impl Iterator<Item = Point>,
    outside: impl Fn(Point) -> bool,
) -> Option<Point> {
    let mut before: Option<Point> = None;
    for point in points {
        let is_near = before.is_none_or(|before| fence.distance([before, point], 0.01) < 0.01);
        if is_near && outside(point) {
            return Some(point);
        }
        before = Some(point);
    }
    None
}

/// The edges of a region, found by place.
struct Edges(RTree<Edge>);

#[derive(Copy, Clone)]
struct Edge([Point; 2]);

impl RTreeObject for Edge {
    type Envelope = AABB<[f64; 2]>;
    fn envelope(&self) -> Self::Envelope {
        let [a, b] = self.0;
        AABB::from_corners([a.x, a.y], [b.x, b.y])
    }
}

impl Edges {
    fn of(region: &MultiPolygon) -> Self {
        let edges = rings(region).flat_map(|ring| ring.0.windows(2).map(|pair| Edge([pair[0], pair[1]])));
        Self(RTree::bulk_load(edges.collect()))
    }

    /// Distance of the segment from the edges, at most `cap`.
    fn distance(&self, segment: [Point; 2], cap: f64) -> f64 {
        self.near(segment, cap).fold(cap, |least, edge| least.min(between(edge.0, segment)))
    }

    fn near(&self, [a, b]: [Point; 2], grow: f64) -> impl Iterator<Item = &Edge> {
        let low = [a.x.min(b.x) - grow, a.y.min(b.y) - grow];
        let high = [a.x.max(b.x) + grow, a.y.max(b.y) + grow];
        self.0.locate_in_envelope_intersecting(&AABB::from_corners(low, high))
    }

    /// A place where an edge crosses the segment, grazes left out.
    fn crossing(&self, from: Point, to: Point) -> Option<Point> {
        let length = num::hypot(to.x - from.x, to.y - from.y);
        if length <= 2.0 * ROUNDING_M {
            return None;
        }
        let (cos, sin) = ((to.x - from.x) / length, (to.y - from.y) / length);
        let beside = |p: Point| (p.y - from.y) * cos - (p.x - from.x) * sin;
        let along = |p: Point| (p.x - from.x) * cos + (p.y - from.y) * sin;
        self.near([from, to], 0.0).find_map(|edge| {
            let [a, b] = edge.0;
            let (left, right) = (beside(a), beside(b));
            if left.abs().min(right.abs()) < ROUNDING_M || left * right > 0.0 {
                return None;
            }
            let at = along(a) + (along(b) - along(a)) * left / (left - right);
            let is_within = at > ROUNDING_M && at < length - ROUNDING_M;
            is_within.then_some(Point { x: from.x + at * cos, y: from.y + at * sin })
        })
    }
}

fn rings(region: &MultiPolygon) -> impl Iterator<Item = &LineString> {
    region.iter().flat_map(|part| std::iter::once(part.exterior()).chain(part.interiors()))
}

fn holds(region: &MultiPolygon, point: Point) -> bool {
    let odd = rings(region).filter(|ring| is_inside(point, &ring.0[..ring.0.len() - 1])).count();
    odd % 2 == 1
}

fn holes_area(part: &geo::Polygon) -> f64 {
    part.interiors().iter().map(ring_area).sum()
}

fn ring_area(ring: &LineString) -> f64 {
    let origin = ring.0[0];
    let twice: f64 = ring
        .0
        .windows(2)
        .map(|pair| {
            (pair[0].x - origin.x) * (pair[1].y - origin.y) - (pair[1].x - origin.x) * (pair[0].y - origin.y)
        })
        .sum();
    0.5 * twice.abs()
}
