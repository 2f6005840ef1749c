//! The map: one panel for each field, and one for its treatment zones where it has any, north up at a round scale, as SVG.
//!
//! In: all that was computed. Out: SVG text, by way of plain values and a template. Millimetres on
//! paper throughout, so that lines and letters have their true size at the printed scale. Bands
//! show what each tool row works, coloured by driving order.

mod colour;
mod labels;
mod paper;
mod zones;

use super::templates;
use super::words;
use crate::check::Machine;
use crate::geometry::{Gear, Path, Point, Pose};
use crate::lanes::Lane;
use crate::num;
use crate::pipeline::{Compiled, FieldPlan};
use crate::route::{SeedFrom, Stop, StopReason, Visit};
use crate::site::{FieldSite, SiteKeepOut};
use crate::turns::Manoeuvre;
use geo::BoundingRect;
use labels::{Label, Labels};
use lanewright_schema::quantity::Area;
use paper::{Paper, WIDTH_MM, number, scale_bar_m};
use serde::Serialize;

/// Chords of curves may leave them by this much on paper.
const CHORD_MM: f64 = 0.05;
/// Height of the strip above the map.
const HEAD_MM: f64 = 12.0;
/// Height of the legend under the map.
const FOOT_MM: f64 = 36.0;

/// Signs nearer than this lie on one another.
const SIGN_MM: f64 = 4.0;

/// One field's map.
#[derive(Serialize)]
struct Panel {
    number: usize,
    title: String,
    subtitle: String,
    head_mm: f64,
    map_mm: f64,
    height_mm: f64,
    boundary: String,
    fence: String,
    headland: String,
    soil: String,
    left_over: String,
    keep_outs: Vec<KeepOut>,
    row_mm: String,
    lanes: Vec<Band>,
    arrows: Vec<Arrow>,
    forward: String,
    reverse: String,
    transit: String,
    marks: Vec<Mark>,
    has_stops: bool,
    labels: Vec<Label>,
    legend: Legend,
    /// In place of lanes: how closely each part is sown.
    zones: Option<zones::Zones>,
}

#[derive(Serialize)]
struct KeepOut {
    shape: String,
    grown: String,
}

/// What one lane works.
#[derive(Serialize)]
struct Band {
    path: String,
    colour: String,
}

/// An arrow along the way.
#[derive(Serialize)]
struct Arrow {
    path: String,
    ink: &'static str,
}

/// A place with a sign.
#[derive(Serialize)]
struct Mark {
    x: String,
    y: String,
    sign: &'static str,
}

#[derive(Serialize)]
struct Legend {
    scale: String,
    bar_mm: String,
    half_mm: String,
    bar_half: String,
    bar_full: String,
    gradient: Vec<(String, String)>,
    lanes: usize,
}

/// What the template takes.
#[derive(Serialize)]
struct Sheets {
    panels: Vec<Panel>,
    width_mm: String,
    height_mm: String,
}

/// The whole job's map, one panel above the next.
pub fn svg(compiled: &Compiled) -> String {
    render(panels(compiled))
}

/// Each field's map as an SVG of its own, to stand in a page.
pub fn panel_svgs(compiled: &Compiled) -> Vec<String> {
    panels(compiled).into_iter().map(|panel| render(vec![panel])).collect()
}

fn render(panels: Vec<Panel>) -> String {
    let height_mm = number(panels.iter().map(|panel| panel.height_mm).sum());
    templates::render("map.svg", &Sheets { panels, width_mm: number(WIDTH_MM), height_mm })
}

fn panels(compiled: &Compiled) -> Vec<Panel> {
    let fields = compiled.site.fields.iter().zip(&compiled.fields).zip(&compiled.job.fields);
    let mut panels: Vec<Panel> = fields
        .flat_map(|((site, plan), field)| {
            let field_area = words::area(Area::m2(plan.lanes.areas.field));
            let subtitle = format!("{}, {} · {}", field.crop.name, field.crop.variety, field_area);
            let zoned = (format!("{}: treatment zones", site.name), subtitle.clone());
            let driven = panel((site.name.clone(), subtitle), site, plan, &compiled.job.machine);
            std::iter::once(driven).chain(zones::panel(site, field, &plan.zones, zoned))
        })
        .collect();
    for (number, panel) in (1..).zip(&mut panels) {
        panel.number = number;
    }
    panels
}

fn panel(
    (title, subtitle): (String, String),
    site: &FieldSite,
    plan: &FieldPlan,
    machine: &Machine,
) -> Panel {
    let paper = Paper::showing(&site.boundary);
    let sheet = Sheet { paper, machine, plan };
    let ways = Ways::of(&plan.route.ways, &paper);
    let (marks, mut labels) = places(site, &plan.route.stops, &paper);
    sheet.number_lanes(&mut labels);
    let left_over = plan.lanes.left_over.iter().map(|piece| paper.area(&piece.shape)).collect();
    Panel {
        headland: paper.area(&plan.lanes.headland),
        soil: plan.lanes.blocks.iter().map(|block| paper.area(&block.zone)).collect(),
        left_over,
        row_mm: number(paper.mm(machine.row_spacing.to_m()) * 1.04),
        lanes: sheet.bands(),
        arrows: sheet.arrows(),
        forward: ways.forward,
        reverse: ways.reverse,
        transit: ways.transit,
        marks,
        has_stops: !plan.route.stops.is_empty() || !site.refill_points.is_empty(),
        labels: labels.placed,
        legend: legend(&paper, plan.route.visits.len()),
        ..Panel::of_ground((title, subtitle), site, &paper)
    }
}

impl Panel {
    /// What every panel of a field shows: its boundary, fence and keep-outs.
    fn of_ground((title, subtitle): (String, String), site: &FieldSite, paper: &Paper) -> Self {
        let keep_out = |k: &SiteKeepOut| KeepOut { shape: paper.area(&k.shape), grown: paper.area(&k.grown) };
        Self {
            number: 0,
            title,
            subtitle,
            head_mm: HEAD_MM,
            map_mm: paper.height_mm,
            height_mm: HEAD_MM + paper.height_mm + FOOT_MM,
            boundary: paper.area(&site.boundary),
            fence: paper.area(&site.fence),
            headland: String::new(),
            soil: String::new(),
            left_over: String::new(),
            keep_outs: site.keep_outs.iter().map(keep_out).collect(),
            row_mm: String::new(),
            lanes: Vec::new(),
            arrows: Vec::new(),
            forward: String::new(),
            reverse: String::new(),
            transit: String::new(),
            marks: Vec::new(),
            has_stops: false,
            labels: Vec::new(),
            legend: legend(paper, 0),
            zones: None,
        }
    }
}

/// What it takes to draw the lanes of one field.
struct Sheet<'a> {
    paper: Paper,
    machine: &'a Machine,
    plan: &'a FieldPlan,
}

impl Sheet<'_> {
    fn driven(&self) -> impl Iterator<Item = (f64, &Path, &Lane, Visit)> {
        let visits = &self.plan.route.visits;
        let last = visits.len().saturating_sub(1).max(1) as f64;
        visits.iter().enumerate().map(move |(i, &visit)| {
            let lane = &self.plan.lanes.lanes[visit.lane.0];
            let path = visit.way(lane);
            (i as f64 / last, path, lane, visit)
        })
    }

    /// The ground line of every row piece of every lane.
    fn bands(&self) -> Vec<Band> {
        self.driven()
            .map(|(share, path, lane, visit)| {
                let rows = super::plan::driven_rows(visit, lane, self.machine);
                let lines = rows.iter().map(|row| self.row_line(path, row.offset_m, row.from_m, row.to_m));
                Band { path: lines.collect(), colour: colour::of_order(share) }
            })
            .collect()
    }

    fn row_line(&self, path: &Path, offset_m: f64, from: f64, to: f64) -> String {
        let part = path.between(from, to);
        let poses = part.sampled(self.paper.metres(CHORD_MM)).poses;
        let forward = self.machine.tool_forward.to_m();
        self.paper.line(poses.iter().map(|pose| pose.ground(forward, offset_m)))
    }

    /// Arrows at a third and two thirds of a long lane, in the middle of a short one.
    fn arrows(&self) -> Vec<Arrow> {
        let swath_mm = self.paper.mm(self.machine.working_width.to_m());
        let half_mm = (swath_mm * 0.25).clamp(0.2, 0.8);
        self.driven()
            .flat_map(|(share, path, ..)| {
                let length = path.length();
                let places: &[f64] = match self.paper.mm(length) {
                    mm if mm > 40.0 => &[1.0 / 3.0, 2.0 / 3.0],
                    mm if mm > 8.0 * half_mm => &[0.5],
                    _ => &[],
                };
                let arrow = move |&at: &f64| Arrow {
                    path: self.arrow(path.pose_at(at * length), half_mm),
                    ink: colour::ink_on(share),
                };
                places.iter().map(arrow).collect::<Vec<_>>()
            })
            .collect()
    }

    /// A shaft and a head of this half width.
    fn arrow(&self, pose: Pose, half_mm: f64) -> String {
        let half = self.paper.metres(half_mm);
        let (tail, neck, tip) = (-4.0 * half, 1.4 * half, 4.0 * half);
        let shaft = self.paper.line([pose.ground(tail, 0.0), pose.ground(tip, 0.0)]);
        let head = [pose.ground(neck, -half), pose.ground(tip, 0.0), pose.ground(neck, half)];
        shaft + &self.paper.line(head)
    }

    /// Order numbers behind the lanes' beginnings: first and last, then as many as find room.
    fn number_lanes(&self, labels: &mut Labels) {
        let starts: Vec<Pose> = self.driven().map(|(_, path, ..)| path.start).collect();
        let step = [1, 5, 10, 20, 50].into_iter().find(|step| starts.len() / step <= 24).unwrap_or(100);
        let regular = (step..starts.len()).step_by(step);
        let orders = [1, starts.len()].into_iter().chain(regular).filter(|&order| order <= starts.len());
        let behind_m = self.paper.metres(1.8);
        for order in orders.filter(|&order| order > 0) {
            let (x, y) = self.paper.at(starts[order - 1].ground(-behind_m, 0.0));
            labels.place_centred(order.to_string(), (x, y), "order");
        }
    }
}

/// The ways between lanes as path data by how they are driven.
#[derive(Default)]
struct Ways {
    forward: String,
    reverse: String,
    transit: String,
}

impl Ways {
    fn of(ways: &[Option<Manoeuvre>], paper: &Paper) -> Self {
        let mut drawn = Self::default();
        let last = ways.len().saturating_sub(1);
        for (i, way) in ways.iter().enumerate() {
            let Some(way) = way else { continue };
            let sampled = way.path.sampled(paper.metres(CHORD_MM));
            for leg in &sampled.legs {
                let line = paper.line(sampled.poses[leg.first..=leg.last].iter().map(|pose| pose.at));
                match leg.gear {
                    Gear::Forward if i == 0 || i == last => drawn.transit += &line,
                    Gear::Forward => drawn.forward += &line,
                    Gear::Reverse => drawn.reverse += &line,
                    Gear::Spot => {}
                }
            }
        }
        drawn
    }
}

/// Signs and names of home, entrances, stops and keep-outs.
fn places(site: &FieldSite, stops: &[Stop], paper: &Paper) -> (Vec<Mark>, Labels) {
    let mut labels = Labels::within(WIDTH_MM, paper.height_mm);
    let mut marks = Vec::new();
    for (sign, name, at) in named_places(site, paper) {
        let (x, y) = paper.at(at);
        marks.push(Mark { x: number(x), y: number(y), sign });
        labels.place_beside(name, (x, y), 2.2, "place");
    }
    for stop in stops {
        let (at, what) = match stop.reason {
            StopReason::Refill { from: SeedFrom::Point(_), .. } => continue,
            StopReason::Refill { at, .. } => (at, "Refill"),
            StopReason::MovedByHand { from, .. } => (from, "Move by hand"),
        };
        let (x, y) = paper.at(at);
        marks.push(Mark { x: number(x), y: number(y), sign: "stop" });
        labels.place_beside(format!("{what} after {}", stop.after), (x, y), 2.2, "place");
    }
    for keep_out in &site.keep_outs {
        let Some(ground) = keep_out.shape.bounding_rect() else { continue };
        let (x, y) = paper.at(ground.center());
        let half_width = paper.mm(ground.width()) / 2.0;
        let name = keep_out.name.clone();
        if labels::width_mm(&name) < 1.8 * half_width {
            labels.place_centred(name, (x, y), "keep-out");
        } else {
            labels.place_beside(name, (x, y), half_width + 0.8, "place");
        }
    }
    (marks, labels)
}

/// Sign, name and place of home, entrances and refill points; what shares a place shares the sign.
fn named_places(site: &FieldSite, paper: &Paper) -> Vec<(&'static str, String, Point)> {
    let mut signs: Vec<(&str, String, Point)> =
        site.home.iter().map(|&at| ("home", "Home".to_owned(), at)).collect();
    let entrances = site.entrances.iter().map(|place| ("entrance", place));
    let refill_points = site.refill_points.iter().map(|place| ("stop", place));
    for (sign, (name, at)) in entrances.chain(refill_points) {
        let near = |other: Point| paper.mm(num::hypot(other.x - at.x, other.y - at.y)) < SIGN_MM;
        match signs.iter_mut().find(|(_, _, other)| near(*other)) {
            Some((_, shared, _)) => *shared = format!("{shared}, {name}"),
            None => signs.push((sign, name.clone(), *at)),
        }
    }
    signs
}

fn legend(paper: &Paper, lanes: usize) -> Legend {
    let bar = scale_bar_m(paper, 45.0);
    let bar_mm = paper.mm(bar);
    let stops = (0..=8).map(|i| {
        let share = f64::from(i) / 8.0;
        (words::percent(share).replace(' ', ""), colour::of_order(share))
    });
    Legend {
        scale: words::decimal(paper.denominator, 0),
        bar_mm: number(bar_mm),
        half_mm: number(bar_mm / 2.0),
        bar_half: words::short(bar / 2.0, 1),
        bar_full: format!("{} m", words::short(bar, 0)),
        gradient: stops.collect(),
        lanes,
    }
}

#[cfg(test)]
mod tests {
    use super::super::sample;
    use super::*;

    #[test]
    fn every_lane_has_its_band_and_the_ends_their_colours() {
        let svg = svg(&sample::compiled(5));
        assert_eq!(svg.matches("class=\"band\"").count(), 5);
        for share in [0.0, 0.25, 0.5, 0.75, 1.0] {
            let stroke = format!("stroke=\"{}\"", colour::of_order(share));
            assert_eq!(svg.matches(&stroke).count(), 1, "{stroke}");
        }
    }

    #[test]
    fn stops_have_a_sign_and_say_what_for() {
        let mut compiled = sample::compiled(3);
        let signs = |svg: &str| svg.matches("<use href=\"#lw-stop-1\" x=\"").count();
        assert_eq!(signs(&svg(&compiled)), 0, "not even in the legend");
        let at = compiled.site.fields[0].home.unwrap();
        let from = SeedFrom::Edge { metres: 4.0 };
        let refill = Stop { after: 1, reason: StopReason::Refill { at, from } };
        let to = Point { x: at.x + 60.0, ..at };
        let moved = Stop { after: 2, reason: StopReason::MovedByHand { from: to, to: at } };
        compiled.fields[0].route.stops = vec![refill, moved];
        let svg = svg(&compiled);
        assert_eq!(signs(&svg), 3, "two on the map, one in the legend");
        assert!(svg.contains(">Refill after 1</text>") && svg.contains(">Move by hand after 2</text>"));
    }

    #[test]
    fn a_refill_point_has_one_sign_and_its_name_however_often_it_is_driven_to() {
        let mut compiled = sample::compiled(3);
        let home = compiled.site.fields[0].home.unwrap();
        let at = Point { x: home.x + 100.0, ..home };
        compiled.site.fields[0].refill_points = vec![("Seed trailer".into(), at)];
        let stop = |after| Stop { after, reason: StopReason::Refill { at, from: SeedFrom::Point(0) } };
        compiled.fields[0].route.stops = vec![stop(1), stop(2)];
        let drawn = svg(&compiled);
        assert_eq!(
            drawn.matches("<use href=\"#lw-stop-1\" x=\"").count(),
            2,
            "one on the map, one in the legend"
        );
        assert!(drawn.contains(">Seed trailer</text>"));
        compiled.site.fields[0].refill_points[0].1 = home;
        assert!(svg(&compiled).contains(">Home, Seed trailer</text>"));
    }

    #[test]
    fn what_lies_at_one_place_shares_a_sign() {
        let mut compiled = sample::compiled(2);
        let site = &mut compiled.site.fields[0];
        let home = site.home.unwrap();
        let away = Point { x: home.x + 100.0, y: home.y };
        site.entrances = vec![("Gate".into(), home), ("Ford & bridge".into(), away)];
        let svg = svg(&compiled);
        assert_eq!(
            svg.matches("<use href=\"#lw-entrance-1\" x=\"").count(),
            2,
            "one on the map, one in the legend"
        );
        assert!(svg.contains(">Home, Gate</text>"));
        assert!(svg.contains(">Ford &amp; bridge</text>"));
    }
}
