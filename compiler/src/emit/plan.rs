//! `plan.geojson` from a compiled job.
//!
//! In: all that was computed. Out: [`Plan`], rounded. The way of each field is laid out as one
//! chain: a turn's first and last vertex are copied from the lanes beside it, so that they are the
//! same numbers. Curves are sampled to [`CHORD_TOLERANCE_M`].

use super::grid;
use super::numbers::{micro, nano, pico, position};
use crate::check::{Field, Machine};
use crate::geometry::{Gear, Path, Piece, Point, heading_of_angle, region};
use crate::lanes::{Block, Course, Lane, LeftOver, LeftOverReason};
use crate::pipeline::{Compiled, FieldPlan};
use crate::route::{self, Hold, SeedFrom, Stop, StopReason, Visit, WayOut};
use crate::site::{FieldSite, SiteZones};
use crate::turns::{Manoeuvre, TurnShape};
use geo::algorithm::orient::{Direction, Orient};
use geo::{Area, LineString, MultiPolygon, Polygon};
use lanewright_schema::plan::{self, Feature, Plan, Position, Shape, What};

/// How far a chord leaves the way that it stands for at most: half of the millimetre that is
/// promised, so that rounding has room.
pub const CHORD_TOLERANCE_M: f64 = 0.0005;

/// Left-over pieces from this size on are features of their own.
const OWN_FEATURE_M2: f64 = 1.0;

/// The plan of a whole job.
pub fn plan(compiled: &Compiled) -> Plan {
    let near = compiled.site.frame.origin.longitude;
    let mut features = Vec::new();
    let sites = compiled.job.fields.iter().zip(&compiled.site.fields);
    for ((asked, site), field) in sites.zip(&compiled.fields) {
        let position = |at: Point| position(site.inverse.to_geo(at), near);
        let draw = Draw { field: &site.name, position: &position };
        features.extend(draw.ground(site, &field.zones, asked));
        features.extend(draw.soil(field));
        features.extend(draw.way(field, &compiled.job.machine));
        features.extend(draw.stops(site, field));
        features.extend(draw.holds(site, field));
    }
    features.extend(compiled.site.baseline.as_ref().map(|base| Feature {
        field: None,
        what: What::BaseStation { name: base.name.clone(), height_m: micro(base.height.to_m()) },
        shape: Shape::Point(position(base.at, near)),
    }));
    Plan { features }
}

/// The row pieces of a lane as driven, from left to right, distances along its [`Visit::way`].
pub fn driven_rows(visit: Visit, lane: &Lane, machine: &Machine) -> Vec<plan::RowPiece> {
    let mut rows: Vec<(usize, plan::RowPiece)> = visit
        .rows(lane)
        .iter()
        .map(|span| {
            let offset_m = micro(machine.row_offsets[span.tool_row].to_m());
            let piece =
                plan::RowPiece { row: span.row, offset_m, from_m: micro(span.from), to_m: micro(span.to) };
            (span.tool_row, piece)
        })
        .collect();
    rows.sort_by(|(row_a, a), (row_b, b)| row_a.cmp(row_b).then(a.from_m.total_cmp(&b.from_m)));
    rows.into_iter().map(|(_, piece)| piece).collect()
}

/// Draws one field's features.
struct Draw<'a> {
    field: &'a str,
    position: &'a dyn Fn(Point) -> Position,
}

impl Draw<'_> {
    fn feature(&self, what: What, shape: Shape) -> Feature {
        Feature { field: Some(self.field.to_owned()), what, shape }
    }

    fn ground(&self, site: &FieldSite, zones: &SiteZones, asked: &Field) -> Vec<Feature> {
        let boundary = What::Boundary {
            area_m2: micro(region::area(&site.boundary)),
            perimeter_m: micro(site.size.plane_perimeter.to_m()),
        };
        let fence = What::Fence {
            area_m2: micro(region::area(&site.fence)),
            margin_m: micro(asked.fence_margin.to_m()),
        };
        let mut features = vec![
            self.feature(boundary, self.area(&site.boundary)),
            self.feature(fence, self.area(&site.fence)),
        ];
        features.extend(site.keep_outs.iter().map(|keep_out| {
            let clearance_m = micro(keep_out.clearance.to_m());
            let what = What::KeepOut { name: keep_out.name.clone(), clearance_m };
            self.feature(what, self.area(&keep_out.shape))
        }));
        features.extend(zones.zones.iter().filter(|zone| !zone.ground.0.is_empty()).map(|zone| {
            let what = What::Zone {
                name: zone.name.clone(),
                rate: micro(zone.rate.sown((zones.parts, asked.spacing.pattern))),
                area_m2: micro(region::area(&zone.ground)),
            };
            self.feature(what, self.area(&zone.ground))
        }));
        let home = site.home.iter().map(|&at| ("home".to_owned(), at));
        features.extend(
            home.chain(site.entrances.iter().cloned())
                .map(|(name, at)| self.feature(What::Home { name }, Shape::Point((self.position)(at)))),
        );
        features
    }

    fn soil(&self, field: &FieldPlan) -> Vec<Feature> {
        let lanes = &field.lanes;
        let mut features = Vec::new();
        if !lanes.headland.0.is_empty() {
            let what = What::Headland { area_m2: micro(region::area(&lanes.headland)) };
            features.push(self.feature(what, self.sound_area(&lanes.headland)));
        }
        features.extend(
            lanes.blocks.iter().enumerate().map(|(i, block)| {
                self.feature(What::Block(described(i, block)), self.sound_area(&block.zone))
            }),
        );
        features.extend(self.left_over(&lanes.left_over));
        features
    }

    /// Pieces of some size one by one, crumbs together by their reason.
    fn left_over(&self, left_over: &[LeftOver]) -> Vec<Feature> {
        let mut features = Vec::new();
        let mut crumbs: Vec<(LeftOverReason, MultiPolygon)> = Vec::new();
        for piece in left_over {
            for polygon in &piece.shape.0 {
                if polygon.unsigned_area() >= OWN_FEATURE_M2 {
                    features.push(self.left_over_feature(piece.reason, &polygon.clone().into()));
                } else if let Some((_, of_reason)) = crumbs.iter_mut().find(|(r, _)| *r == piece.reason) {
                    of_reason.0.push(polygon.clone());
                } else {
                    crumbs.push((piece.reason, polygon.clone().into()));
                }
            }
        }
        features.extend(crumbs.iter().map(|(reason, shape)| self.left_over_feature(*reason, shape)));
        features
    }

    fn left_over_feature(&self, reason: LeftOverReason, shape: &MultiPolygon) -> Feature {
        let what = What::LeftOver { reason: reason.name().into(), area_m2: micro(region::area(shape)) };
        self.feature(what, self.sound_area(shape))
    }

    /// Headlands, left-over soil and what laps cover have slivers that rounding bends: they are set right on
    /// its grid.
    fn sound_area(&self, shape: &MultiPolygon) -> Shape {
        let rounded = self.polygons(shape);
        let valid = grid::valid(&rounded);
        Shape::Area(if valid.is_empty() { rounded } else { valid })
    }

    /// Lanes and the ways between them, in driving order.
    fn way(&self, field: &FieldPlan, machine: &Machine) -> Vec<Feature> {
        let visits = &field.route.visits;
        let lanes: Vec<Feature> = visits
            .iter()
            .enumerate()
            .map(|(i, &visit)| {
                let lane = &field.lanes.lanes[visit.lane.0];
                let (path, rows) = (visit.way(lane), driven_rows(visit, lane, machine));
                let block = &field.lanes.blocks[lane.block.0];
                let what = What::Lane(plan::Lane {
                    order: i + 1,
                    block: lane.block.0,
                    lap: matches!(block.course, Course::Lap { .. }),
                    heading_deg: micro(heading_of_angle(path.start.angle).to_degrees()),
                    length_m: micro(path.length()),
                    start_m: [micro(path.start.at.x), micro(path.start.at.y)],
                    pieces: path.pieces.iter().map(piece).collect(),
                    rows,
                });
                self.feature(what, Shape::Line(self.line(path)))
            })
            .collect();
        let mut ways = field.route.ways.iter().enumerate().map(|(i, way)| {
            let before = i.checked_sub(1).and_then(|lane| line_of(lanes.get(lane)?));
            let after = lanes.get(i).and_then(line_of);
            way.as_ref().map(|way| self.joined(way, i, visits.len(), (before, after)))
        });
        let first = ways.next().flatten();
        let then = lanes.iter().zip(ways).flat_map(|(lane, way)| std::iter::once(lane.clone()).chain(way));
        first.into_iter().chain(then).collect()
    }

    /// Where a person is needed, in driving order.
    fn stops(&self, site: &FieldSite, field: &FieldPlan) -> Vec<Feature> {
        let stop = |stop: &Stop| match stop.reason {
            StopReason::MovedByHand { from, to } => {
                let reason = "moved-by-hand".to_owned();
                let to = Some((self.position)(to));
                let what = What::Stop { after: stop.after, reason, to, refill_point: None };
                self.feature(what, Shape::Point((self.position)(from)))
            }
            StopReason::Refill { at, from } => {
                let refill_point = match from {
                    SeedFrom::Edge { .. } => None,
                    SeedFrom::Point(point) => Some(site.refill_points[point].0.clone()),
                };
                let reason = "refill".to_owned();
                let what = What::Stop { after: stop.after, reason, to: None, refill_point };
                self.feature(what, Shape::Point((self.position)(at)))
            }
        };
        field.route.stops.iter().map(stop).collect()
    }

    /// Where the machine may be halted to be taken out of the field.
    fn holds(&self, site: &FieldSite, field: &FieldPlan) -> Vec<Feature> {
        let of_way_out = |way: WayOut| {
            let hold = move |hold: Hold| {
                let (after, way_out, metres) = (hold.after, way.name.clone(), micro(hold.metres));
                self.feature(What::Hold { after, way_out, metres }, Shape::Point((self.position)(hold.at)))
            };
            way.holds.into_iter().map(hold)
        };
        route::ways_out(site, &field.lanes, &field.route).into_iter().flat_map(of_way_out).collect()
    }

    /// The way after lane `from`, its ends those of the lanes beside it.
    fn joined(
        &self,
        way: &Manoeuvre,
        from: usize,
        lanes: usize,
        (before, after): (Option<&[Position]>, Option<&[Position]>),
    ) -> Feature {
        let mut line = self.line(&way.path);
        if let Some(&end) = before.and_then(<[_]>::last) {
            line[0] = end;
        }
        if let Some(&start) = after.and_then(<[_]>::first) {
            let last = line.len() - 1;
            line[last] = start;
        }
        let described = plan::Way {
            from,
            to: from + 1,
            shape: shape_name(way.shape).into(),
            length_m: micro(way.path.length()),
            time_s: micro(way.time_s),
            legs: legs(&way.path),
        };
        let what = if from == 0 || from == lanes { What::Transit(described) } else { What::Turn(described) };
        self.feature(what, Shape::Line(line))
    }

    fn line(&self, path: &Path) -> Vec<Position> {
        path.sampled(CHORD_TOLERANCE_M).poses.iter().map(|pose| (self.position)(pose.at)).collect()
    }

    fn area(&self, region: &MultiPolygon) -> Shape {
        Shape::Area(self.polygons(region))
    }

    fn polygons(&self, region: &MultiPolygon) -> Vec<plan::Polygon> {
        let ring = |ring: &LineString| ring.coords().map(|&at| (self.position)(at)).collect::<Vec<_>>();
        let polygons = region.orient(Direction::Default).0;
        let rings = |p: &Polygon| std::iter::once(p.exterior()).chain(p.interiors()).map(ring).collect();
        polygons.iter().map(rings).collect()
    }
}

/// Length and curvatures of a piece of a lane, all of which are driven forward.
fn piece(piece: &Piece) -> [f64; 3] {
    [nano(piece.length), pico(piece.curvature_start), pico(piece.curvature_end)]
}

fn line_of(feature: &Feature) -> Option<&[Position]> {
    match &feature.shape {
        Shape::Line(line) => Some(line),
        _ => None,
    }
}

fn described(block: usize, of: &Block) -> plan::Block {
    let area_m2 = micro(region::area(&of.zone));
    let curved = plan::Block { block, lap: None, heading_deg: None, datum_m: None, area_m2 };
    match of.course {
        Course::Straight { heading, datum } => plan::Block {
            heading_deg: Some(micro(heading.to_degrees())),
            datum_m: Some([micro(datum.x), micro(datum.y)]),
            ..curved
        },
        Course::Contour => curved,
        Course::Lap { lap } => plan::Block { lap: Some(lap), ..curved },
    }
}

/// The legs of a path's sampling; a turn on the spot says how far it turns.
fn legs(path: &Path) -> Vec<plan::Leg> {
    let sampled = path.sampled(CHORD_TOLERANCE_M);
    let stretches = path.pieces.chunk_by(|a, b| a.gear == b.gear);
    let turned = stretches.map(|pieces| -pieces.iter().map(Piece::turn).sum::<f64>().to_degrees());
    sampled
        .legs
        .iter()
        .zip(turned.chain(std::iter::repeat(0.0)))
        .map(|(leg, turned)| plan::Leg {
            gear: match leg.gear {
                Gear::Forward => plan::Gear::Forward,
                Gear::Reverse => plan::Gear::Reverse,
                Gear::Spot => plan::Gear::Spot,
            },
            first: leg.first,
            last: leg.last,
            turn_deg: (leg.gear == Gear::Spot).then(|| micro(turned)),
        })
        .collect()
}

/// A turn shape's name in `plan.geojson`.
const fn shape_name(shape: TurnShape) -> &'static str {
    match shape {
        TurnShape::Straight => "straight",
        TurnShape::OnTheSpot => "on-the-spot",
        TurnShape::Forward => "forward",
        TurnShape::Reversing => "reversing",
        TurnShape::Searched => "searched",
    }
}

#[cfg(test)]
mod tests {
    use super::super::sample;
    use super::*;

    fn ways_of(plan: &Plan) -> Vec<&Feature> {
        let on_the_way = |what: &What| matches!(what, What::Lane(_) | What::Turn(_) | What::Transit(_));
        plan.features.iter().filter(|feature| on_the_way(&feature.what)).collect()
    }

    #[test]
    fn each_line_ends_exactly_where_the_next_begins() {
        let plan = plan(&sample::compiled(3));
        let ways = ways_of(&plan);
        assert_eq!(ways.len(), 7, "home, three lanes with two turns between, home");
        for pair in ways.windows(2) {
            let (one, next) = (line_of(pair[0]).unwrap(), line_of(pair[1]).unwrap());
            assert_eq!(one.last(), next.first());
        }
    }

    #[test]
    fn legs_cover_the_vertices_of_their_line() {
        let plan = plan(&sample::compiled(2));
        for feature in ways_of(&plan) {
            if let What::Turn(way) | What::Transit(way) = &feature.what {
                let vertices = line_of(feature).unwrap().len();
                assert_eq!(way.legs[0].first, 0);
                assert_eq!(way.legs.last().unwrap().last, vertices - 1);
                assert!(way.legs.windows(2).all(|pair| pair[0].last == pair[1].first));
            }
        }
    }

    #[test]
    fn a_lane_driven_back_has_its_rows_mirrored() {
        let compiled = sample::compiled(2);
        let (lane, machine) = (&compiled.fields[0].lanes.lanes[1], &compiled.job.machine);
        let visit = |along| Visit { lane: crate::lanes::LaneIdx(1), along };
        let there = driven_rows(visit(true), lane, machine);
        let back = driven_rows(visit(false), lane, machine);
        let length = lane.line.length();
        for (one, other) in there.iter().zip(back.iter().rev()) {
            assert_eq!(one.row, other.row);
            assert!((one.offset_m + other.offset_m).abs() < 1e-9);
            assert!((one.from_m + other.to_m - length).abs() < 1e-5, "both are rounded to a micrometre");
            assert!((one.to_m + other.from_m - length).abs() < 1e-5, "both are rounded to a micrometre");
        }
        assert!(back.is_sorted_by(|a, b| a.offset_m < b.offset_m));
    }

    #[test]
    fn rings_turn_as_rfc_7946_has_it() {
        let plan = plan(&sample::compiled(2));
        for feature in &plan.features {
            let Shape::Area(polygons) = &feature.shape else { continue };
            for polygon in polygons {
                for (i, ring) in polygon.iter().enumerate() {
                    let doubled: f64 = ring.windows(2).map(|e| e[0][0] * e[1][1] - e[1][0] * e[0][1]).sum();
                    assert_eq!(doubled > 0.0, i == 0, "exteriors anticlockwise, holes clockwise");
                    assert_eq!(ring.first(), ring.last());
                }
            }
        }
    }

    #[test]
    fn crumbs_of_left_over_share_one_feature() {
        let square = |x: f64, side: f64| {
            geo::Rect::new(geo::coord! { x: x, y: 0.0 }, geo::coord! { x: x + side, y: side }).to_polygon()
        };
        let piece = |shape: Vec<Polygon>, reason| LeftOver {
            area_m2: shape.iter().map(Area::unsigned_area).sum(),
            shape: MultiPolygon(shape),
            reason,
        };
        let mut compiled = sample::compiled(2);
        compiled.fields[0].lanes.left_over = vec![
            piece(vec![square(0.0, 0.5), square(10.0, 2.0)], LeftOverReason::RowEnds),
            piece(vec![square(20.0, 0.1)], LeftOverReason::RowEnds),
            piece(vec![square(30.0, 0.1)], LeftOverReason::OutOfReach),
        ];
        let plan = plan(&compiled);
        let found: Vec<(&str, f64)> = plan
            .features
            .iter()
            .filter_map(|feature| match &feature.what {
                What::LeftOver { reason, area_m2 } => Some((reason.as_str(), *area_m2)),
                _ => None,
            })
            .collect();
        assert_eq!(found, [("row-ends", 4.0), ("row-ends", 0.26), ("out-of-reach", 0.01)]);
    }
}
