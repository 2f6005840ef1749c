//! The main field cut into blocks, and what the lanes of each follow.
//!
//! In: the main field, and how the person wants it laid. Out: zones that together are the main field
//! and share no soil, each with a direction or a curve. Lines that the person drew cut where they say and
//! nowhere else; without them each connected piece is cut as pays.

use super::blocks::{self, Part};
use super::guide;
use super::heading::Prices;
use super::toolbar::Toolbar;
use crate::check::{Division, Field, Guidance, Layout, OwnBlock};
use crate::diagnostic::{Finding, Span};
use crate::geometry::{Curve, Point, angle_of_heading, cross, direction, distance, region};
use crate::rules;
use crate::site::FieldSite;
use geo::{Distance, Euclidean, MultiPolygon, Polygon};

/// How far a line that is run on goes past the edge that it meets, metres: so that it cuts through.
const PAST_EDGE_M: f64 = 0.01;

/// Lanes that leave their line by less are on it for any person, metres.
const WORTH_TELLING_M: f64 = 0.3;

/// A block to be laid.
#[derive(Clone, Debug)]
pub struct Zone {
    /// Its soil, connected.
    pub soil: MultiPolygon,
    /// How its lanes run.
    pub run: Run,
}

/// How the lanes of a block run.
#[derive(Clone, Debug)]
pub enum Run {
    /// Straight, at this angle, radians counter-clockwise from east.
    Straight(f64),
    /// As offsets of a curve.
    Along(Curve),
}

/// The zones of the main field.
pub fn zones(main: &MultiPolygon, layout: &Layout<Point>, toolbar: &Toolbar, prices: &Prices) -> Vec<Zone> {
    let laying = Laying { toolbar, prices };
    let pieces: Vec<Polygon> = match &layout.division {
        Division::AtMost(_) => main.0.clone(),
        Division::Lines(lines) => region::cut(main, &run_on(lines, main)),
    };
    let mut zones: Vec<Zone> = pieces
        .into_iter()
        .flat_map(|piece| laying.follow(piece.into(), &layout.guidance, &layout.division))
        .collect();
    for OwnBlock { at, guidance } in &layout.blocks {
        if let Some(guidance) = guidance
            && let Some(zone) = zones.iter_mut().find(|zone| region::contains(&zone.soil, *at))
        {
            zone.run = laying.run(guidance, &zone.soil);
        }
    }
    zones
}

/// The zones of a connected piece of soil that nobody has wishes for.
pub fn as_pays(piece: MultiPolygon, toolbar: &Toolbar, prices: &Prices) -> Vec<Zone> {
    Laying { toolbar, prices }.follow(piece, &Guidance::Best, &Division::AtMost(usize::MAX))
}

/// What the person must know of his wishes: those that the main field cannot grant, and lines that
/// lanes cannot follow as drawn.
pub fn granted(field: &Field, site: &FieldSite, main: &MultiPolygon, zones: &[Zone]) -> Vec<Finding> {
    let mut findings = Vec::new();
    if let Division::Lines(lines) = &site.layout.division {
        let run_on = run_on(lines, main);
        let whole = region::cut(main, &run_on).len();
        for (index, line) in lines.iter().enumerate() {
            let others = [&run_on[..index], &run_on[index + 1..]].concat();
            if region::cut(main, &others).len() == whole {
                findings.push(
                    rules::finding(
                        "field/line-divides-nothing",
                        format!(
                            "dividing line {} does not cut `{}` inside its headland in two",
                            index + 1,
                            field.name
                        ),
                    )
                    .with_span(span_or_field(field.places.dividing_lines.get(index), field), "this line")
                    .with_place(site.inverse.to_geo(line[0]))
                    .with_hint("draw it from edge to edge, or leave it out"),
                );
            }
        }
    }
    for zone in zones {
        let own = site.layout.blocks.iter().find(|own| region::contains(&zone.soil, own.at));
        let guidance = own.and_then(|own| own.guidance.as_ref()).unwrap_or(&site.layout.guidance);
        if let Guidance::Along(line) = guidance {
            findings.extend(followed(line, zone, field, site));
        }
    }
    let mut taken: Vec<usize> = Vec::new();
    for (index, OwnBlock { at, .. }) in site.layout.blocks.iter().enumerate() {
        let span = span_or_field(field.places.blocks.get(index), field);
        let finding = match zones.iter().position(|zone| region::contains(&zone.soil, *at)) {
            Some(zone) if !taken.contains(&zone) => {
                taken.push(zone);
                continue;
            }
            Some(_) => rules::finding(
                "field/block-twice",
                format!("two places of blocks lie in one and the same block of `{}`", field.name),
            )
            .with_span(span, "in a block that is spoken of already")
            .with_hint("leave one of them out, or draw a `dividing_line` between them"),
            None => rules::finding(
                "field/no-such-block",
                format!(
                    "this place lies {:.1} m outside the blocks of `{}`",
                    Euclidean.distance(&geo::Point(*at), main),
                    field.name
                ),
            )
            .with_span(span, "in no block")
            .with_hint("give a place inside the block, away from headland, keep-outs and fence"),
        };
        findings.push(finding.with_place(site.inverse.to_geo(*at)));
    }
    findings
}

/// How far a zone's lanes leave the line that they are to follow.
fn followed(line: &[Point], zone: &Zone, field: &Field, site: &FieldSite) -> Option<Finding> {
    let Run::Along(curve) = &zone.run else {
        return Some(
            rules::finding(
                "field/line-not-followed",
                format!("no lanes in `{}` can follow the bends of this line", field.name),
            )
            .with_span(span_or_field(field.places.guidance.as_ref(), field), "too bent for lanes beside it")
            .with_place(site.inverse.to_geo(line[0]))
            .with_hint("divide the field where the line bends most, or write `guidance = \"best\"`"),
        );
    };
    let aside = |point: &Point| curve.place(*point).1.abs();
    let farthest = line.iter().max_by(|a, b| aside(a).total_cmp(&aside(b)))?;
    let off_m = aside(farthest);
    (off_m > WORTH_TELLING_M).then(|| {
        rules::finding(
            "field/line-smoothed",
            format!(
                "lanes in `{}` follow the line to {off_m:.1} m; nearer, their rows would not keep their spacing to a millimetre, or the machine could not steer them",
                field.name
            ),
        )
        .with_span(span_or_field(field.places.guidance.as_ref(), field), "bends more than lanes can")
        .with_place(site.inverse.to_geo(*farthest))
    })
}

fn span_or_field(span: Option<&Span>, field: &Field) -> Span {
    span.unwrap_or(&field.span).clone()
}

/// A contour block must cost less than straight ones by this share: curves are driven less truly.
const WORTH_BENDING: f64 = 0.015;

struct Laying<'a> {
    toolbar: &'a Toolbar,
    prices: &'a Prices,
}

impl Laying<'_> {
    /// The zones of one connected piece.
    fn follow(
        &self,
        piece: MultiPolygon,
        guidance: &Guidance<Point>,
        division: &Division<Point>,
    ) -> Vec<Zone> {
        match (guidance, division) {
            (Guidance::Best, Division::AtMost(most)) => {
                let join_s = 2.0 * self.prices.turn_s;
                let parts = blocks::parts(&piece, self.prices, join_s, *most);
                let joins = (parts.len() - 1) as f64 * join_s;
                let straight_s = parts.iter().map(|part| part.cost_s).sum::<f64>() + joins;
                match self.cheaper_curve(&piece, straight_s) {
                    Some(curve) => vec![Zone { soil: piece, run: Run::Along(curve) }],
                    None => parts.into_iter().map(|part| self.part(part)).collect(),
                }
            }
            _ => vec![Zone { run: self.run(guidance, &piece), soil: piece }],
        }
    }

    /// A part of several with what is cheaper for it.
    fn part(&self, part: Part) -> Zone {
        let run = match self.cheaper_curve(&part.zone, part.cost_s) {
            Some(curve) => Run::Along(curve),
            None => Run::Straight(self.prices.best_by_rows(&part.zone, self.toolbar)),
        };
        Zone { soil: part.zone, run }
    }

    fn run(&self, guidance: &Guidance<Point>, soil: &MultiPolygon) -> Run {
        match guidance {
            Guidance::Best => {
                let (_, cost_s) = self.prices.best(soil);
                let straight = || Run::Straight(self.prices.best_by_rows(soil, self.toolbar));
                self.cheaper_curve(soil, cost_s).map_or_else(straight, Run::Along)
            }
            Guidance::Heading(heading) => Run::Straight(angle_of_heading(*heading)),
            Guidance::Parallel([a, b]) => Run::Straight(direction(*a, *b)),
            Guidance::Along(line) => guide::along(line, soil, self.toolbar)
                .map_or_else(|| Run::Straight(direction(line[0], line[line.len() - 1])), Run::Along),
        }
    }

    /// The curve along a bent edge of the soil that makes its lanes cheapest, where that is cheaper
    /// than straight lanes.
    fn cheaper_curve(&self, soil: &MultiPolygon, straight_s: f64) -> Option<Curve> {
        guide::bent_edges(soil, 2.0 * self.prices.width_m)
            .into_iter()
            .filter_map(|edge| guide::along(&edge, soil, self.toolbar))
            .map(|curve| (self.prices.along(soil, &curve), curve))
            .min_by(|a, b| a.0.total_cmp(&b.0))
            .filter(|(cost_s, _)| *cost_s < straight_s * (1.0 - WORTH_BENDING))
            .map(|(_, curve)| curve)
    }
}

/// The lines with each end that lies inside the main field run on straight, to its edge or to the
/// next line.
fn run_on(lines: &[Vec<Point>], main: &MultiPolygon) -> Vec<Vec<Point>> {
    let edges: Vec<[Point; 2]> =
        region::rings(main).flat_map(geo::LineString::lines).map(|line| [line.start, line.end]).collect();
    let drawn = |but: usize| {
        lines
            .iter()
            .enumerate()
            .filter(move |(index, _)| *index != but)
            .flat_map(|(_, line)| line.windows(2).map(|pair| [pair[0], pair[1]]))
    };
    lines
        .iter()
        .enumerate()
        .map(|(index, line)| {
            let onward = |from: Point, end: Point| {
                let obstacles = edges.iter().copied().chain(drawn(index));
                region::contains(main, end).then(|| next_meeting(from, end, obstacles)).flatten()
            };
            let first = onward(line[1], line[0]);
            let last = onward(line[line.len() - 2], line[line.len() - 1]);
            first.into_iter().chain(line.iter().copied()).chain(last).collect()
        })
        .collect()
}

/// Where the ray from a line's last stretch first meets an edge beyond its end, and a little past.
fn next_meeting(from: Point, end: Point, edges: impl Iterator<Item = [Point; 2]>) -> Option<Point> {
    let along = (end - from) / distance(from, end);
    let met = edges
        .filter_map(|[a, b]| {
            let skew = cross(along, b - a);
            let (ahead, on_edge) = (cross(a - end, b - a) / skew, cross(a - end, along) / skew);
            (ahead > 0.0 && (0.0..=1.0).contains(&on_edge)).then_some(ahead)
        })
        .min_by(f64::total_cmp)?;
    Some(end + along * (met + PAST_EDGE_M))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lanes::straight::straight_block;
    use crate::num;
    use crate::site::example;
    use geo::{LineString, polygon};
    use lanewright_schema::quantity::Heading;
    use proptest::prelude::*;

    fn point(x: f64, y: f64) -> Point {
        Point { x, y }
    }

    fn prices() -> Prices {
        Prices::new(&example::machine(), 2.7)
    }

    fn toolbar() -> Toolbar {
        Toolbar::new(&example::machine())
    }

    fn angle(zone: &Zone) -> f64 {
        match zone.run {
            Run::Straight(angle) => angle,
            Run::Along(_) => panic!("straight lanes"),
        }
    }

    /// Check H7's field.
    fn l() -> MultiPolygon {
        polygon![
            (x: 0.0, y: 0.0), (x: 300.0, y: 0.0), (x: 300.0, y: 60.0),
            (x: 60.0, y: 60.0), (x: 60.0, y: 300.0), (x: 0.0, y: 300.0),
        ]
        .into()
    }

    fn own(at: Point, guidance: Guidance<Point>) -> OwnBlock<Point> {
        OwnBlock { at, guidance: Some(guidance) }
    }

    fn divided(lines: Vec<Vec<Point>>) -> Layout<Point> {
        Layout { division: Division::Lines(lines), ..Layout::following(Guidance::Best) }
    }

    #[test]
    fn an_end_inside_runs_on_to_the_edge_or_to_the_next_line() {
        let across = vec![point(100.0, -5.0), point(100.0, 65.0)];
        let along = vec![point(250.0, 30.0), point(150.0, 30.0)];
        let zones = zones(&l(), &divided(vec![across, along]), &toolbar(), &prices());
        let mut areas: Vec<f64> = zones.iter().map(|zone| region::area(&zone.soil).round()).collect();
        areas.sort_by(f64::total_cmp);
        assert_eq!(areas, [6_000.0, 6_000.0, 20_400.0]);
    }

    #[test]
    fn a_block_follows_its_own_guidance() {
        let mut layout = divided(vec![vec![point(60.0, 60.0), point(60.0, 0.0)]]);
        layout.blocks = vec![own(point(200.0, 30.0), Guidance::Heading(Heading::degrees(0.0)))];
        let zones = zones(&l(), &layout, &toolbar(), &prices());
        let east = zones.iter().find(|zone| region::contains(&zone.soil, point(200.0, 30.0))).unwrap();
        let west = zones.iter().find(|zone| region::contains(&zone.soil, point(30.0, 200.0))).unwrap();
        assert!((angle(east) - num::PI / 2.0).abs() < 1e-12, "north as asked");
        assert!(num::cos(angle(west)).abs() < 1e-9, "north as pays");
    }

    fn told(layout: Layout<Point>) -> Vec<&'static str> {
        let job = example::job();
        let mut site = crate::site::site(&job).value.unwrap().fields.remove(0);
        site.layout = layout;
        let zones = zones(&l(), &site.layout, &toolbar(), &prices());
        granted(&job.fields[0], &site, &l(), &zones).into_iter().map(|finding| finding.rule).collect()
    }

    #[test]
    fn wishes_that_cannot_be_granted_are_told() {
        let cut = vec![point(60.0, 60.0), point(60.0, 0.0)];
        assert_eq!(told(divided(vec![cut.clone()])), [""; 0]);
        let beside = vec![point(100.0, 100.0), point(200.0, 100.0)];
        assert_eq!(told(divided(vec![cut, beside])), ["field/line-divides-nothing"]);

        let bent = |turn: f64| {
            let end = point(250.0 * num::cos(turn) + 50.0, 250.0 * num::sin(turn) + 30.0);
            Layout::following(Guidance::Along(vec![point(-200.0, 30.0), point(50.0, 30.0), end]))
        };
        assert_eq!(told(bent(0.0)), [""; 0]);
        assert_eq!(told(bent(0.3)), ["field/line-smoothed"]);
        assert_eq!(told(bent(3.0)), ["field/line-not-followed"]);

        let heading = Guidance::Heading(Heading::degrees(30.0));
        let mut blocks = Layout::following(Guidance::Best);
        blocks.blocks = vec![own(point(100.0, 100.0), heading.clone())];
        assert_eq!(told(blocks.clone()), ["field/no-such-block"]);
        blocks.division = Division::AtMost(1);
        blocks.blocks = vec![own(point(30.0, 200.0), heading.clone()), own(point(200.0, 30.0), heading)];
        assert_eq!(told(blocks), ["field/block-twice"]);
    }

    prop_compose! {
        /// A star-shaped field with hollow corners.
        fn any_field()(reach in prop::collection::vec(30.0..120.0_f64, 5..14)) -> MultiPolygon {
            let step = 2.0 * num::PI / reach.len() as f64;
            let corner = |(i, r): (usize, &f64)| {
                let (sin, cos) = num::sin_cos(step * i as f64);
                point(r * cos, r * sin)
            };
            Polygon::new(LineString(reach.iter().enumerate().map(corner).collect()), vec![]).into()
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(48))]

        /// Whatever lines are drawn: the zones are the field, none of it twice, none forgotten; and
        /// rows with a heading each cover no soil of another zone's rows.
        #[test]
        fn seams_are_clean(
            field in any_field(),
            lines in prop::collection::vec(
                prop::collection::vec((-100.0..100.0_f64, -100.0..100.0_f64), 2..4), 1..4),
            turn in 0.0..3.0_f64,
        ) {
            let lines = lines.iter().map(|line| line.iter().map(|&(x, y)| point(x, y)).collect()).collect();
            let zones = zones(&field, &divided(lines), &toolbar(), &prices());
            let whole = region::area(&field);
            let parts: f64 = zones.iter().map(|zone| region::area(&zone.soil)).sum();
            prop_assert!((parts - whole).abs() < 1e-6 * whole, "{parts} of {whole}");
            let union: Vec<Polygon> = zones.iter().flat_map(|zone| zone.soil.0.clone()).collect();
            prop_assert!((region::area(&region::union_all(&union)) - whole).abs() < 1e-6 * whole);

            let toolbar = toolbar();
            let worked: Vec<MultiPolygon> = zones
                .iter()
                .zip(0_u8..)
                .map(|(zone, i)| {
                    straight_block(&zone.soil, &field, &toolbar, turn * f64::from(i + 1), 2.7).worked
                })
                .collect();
            let all: Vec<Polygon> = worked.iter().flat_map(|worked| worked.0.clone()).collect();
            let (once, summed) =
                (region::area(&region::union_all(&all)), worked.iter().map(region::area).sum::<f64>());
            prop_assert!((once - summed).abs() < 1e-6 * whole, "{summed} m² of rows on {once} m²");
        }
    }
}
