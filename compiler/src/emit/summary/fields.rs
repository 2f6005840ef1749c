//! The summary's section on each field: ground, seed, driving and time, left-over soil.

use super::super::manifest::figures;
use super::super::words;
use super::document::{Block, Section};
use super::{pattern, places, release, weeding, zones};
use crate::check::Field;
use crate::lanes::{LeftOver, LeftOverReason};
use crate::pipeline::{Compiled, FieldPlan};
use crate::route::{self, Hold, SeedFrom, StopReason};
use crate::site::FieldSite;
use lanewright_schema::quantity::{Area, Length, Time};

/// A section for each field.
pub fn sections(compiled: &Compiled) -> Vec<Section> {
    let fields = compiled.job.fields.iter().zip(&compiled.site.fields).zip(&compiled.fields);
    fields
        .map(|((field, site), plan)| {
            let mut blocks = vec![heading("Ground"), ground(site, plan)];
            if let Some(pass) = &plan.weeding {
                blocks.push(heading("Weeding"));
                blocks.extend(weeding::blocks(field, plan, pass));
            } else {
                blocks.extend([heading("Seed"), seed(field, plan)]);
                blocks.extend(pattern::exceptions(&field.spacing));
                blocks.extend(zones::blocks(field, plan));
                blocks.push(heading("Where the plants stand"));
                let (machine, uncertainty) = (&compiled.job.machine, &plan.uncertainty);
                blocks.extend(places::blocks(machine, &field.spacing, &plan.zones, uncertainty));
            }
            if let Some(release) = &plan.release {
                blocks.extend([
                    heading("Release of the seed"),
                    release::told(&compiled.job.machine, &field.spacing, release),
                ]);
                blocks.extend(release::bends(release));
            }
            blocks.extend([heading("Driving and time"), driving(plan)]);
            blocks.extend(stops(site, plan));
            blocks.extend(ways_out(site, plan));
            blocks.extend(left_over(plan));
            Section::new(field.name.clone(), blocks)
        })
        .collect()
}

fn heading(text: &str) -> Block {
    Block::Heading { text: text.to_owned() }
}

fn ground(site: &FieldSite, plan: &FieldPlan) -> Block {
    let areas = &plan.lanes.areas;
    let part = |m2: f64| match words::area(Area::m2(m2)) {
        nothing if nothing == words::area(Area::ZERO) => "none".to_owned(),
        area => format!("{area} ({})", words::percent(m2 / areas.field)),
    };
    let keep_outs: Vec<String> =
        site.keep_outs.iter().map(|k| format!("{} ({} away)", k.name, words::measure(k.clearance))).collect();
    let named = if keep_outs.is_empty() { String::new() } else { format!(": {}", words::list(&keep_outs)) };
    Block::facts([
        (
            "Field",
            format!(
                "{}, {} round",
                words::area(Area::m2(areas.field)),
                words::distance(site.size.plane_perimeter)
            ),
        ),
        ("Sown", part(areas.worked)),
        ("Headland, not sown", part(areas.headland)),
        ("Keep-outs", part(areas.keep_out) + &named),
        ("Left over", part(areas.left_over)),
        ("Covered twice, at slanted row ends", part(areas.overlap)),
    ])
}

fn seed(field: &Field, plan: &FieldPlan) -> Block {
    let (crop, need) = (&field.crop, &plan.budget.seed);
    let density = need.seeds as f64 / need.area.to_m2();
    let units = need.units.map_or_else(String::new, |units| format!(", {}", words::counted(units, "unit")));
    Block::facts([
        ("Crop", format!("{}, {}", crop.name, crop.variety)),
        ("Spacing", pattern::spacing(&field.spacing)),
        ("Depth", words::measure(crop.depth)),
        (
            "Seeds",
            format!(
                "{}, {} a square metre, {} a hectare",
                words::count(need.seeds),
                words::decimal(density, 1),
                words::decimal(density * 10_000.0, 0)
            ),
        ),
        (
            "Seed to bring",
            format!(
                "{}{units}; a thousand seeds weigh {} g",
                words::mass(need.mass),
                words::short(crop.thousand_seed_mass.to_g(), 2)
            ),
        ),
        (
            "Hopper fills",
            match need.hopper_fills {
                1 => "1, before the start".to_owned(),
                fills => format!("{fills}, the one before the start included"),
            },
        ),
        (
            "Plants expected",
            format!(
                "{} a square metre: {} germinate, {} of these emerge",
                words::decimal(need.plants / need.area.to_m2(), 1),
                words::percent(crop.germination),
                words::percent(crop.field_emergence)
            ),
        ),
    ])
}

fn driven_over(plan: &FieldPlan) -> String {
    let (over, sown) = (plan.budget.driven_over, plan.budget.seed.seeds);
    let share = words::decimal(100.0 * over as f64 / sown.max(1) as f64, 2);
    let when = if plan.weeding.is_some() { "" } else { " after sowing" };
    format!("{} under tyres in turns and transits{when}, {share} % of all", words::count(over))
}

fn driving(plan: &FieldPlan) -> Block {
    let (time, figures) = (&plan.budget.time, figures(plan));
    let part = |metres: f64, time: Time| {
        format!("{}, {}", words::distance(Length::m(metres)), words::duration(time))
    };
    let total = time.work + time.turn + time.transit + time.stop;
    Block::facts([
        ("Lanes", format!("{}: {}", words::count(figures.lanes), part(figures.lane_m, time.work))),
        ("Turns", format!("{}: {}", words::count(figures.turns), part(figures.turn_m, time.turn))),
        ("From home and back", part(figures.transit_m, time.transit)),
        (
            "Standing for refills, moved by hand",
            if time.stop > Time::ZERO { words::duration(time.stop) } else { "none".to_owned() },
        ),
        (if plan.weeding.is_some() { "Places driven over" } else { "Seeds driven over" }, driven_over(plan)),
        (
            "Total",
            format!(
                "{}, {} of the stated working days",
                words::duration(total),
                words::decimal(time.days, 1)
            ),
        ),
        (
            "Output",
            format!(
                "{} ha an hour, {} ha a day, field efficiency {}",
                words::decimal(time.ha_per_h, 2),
                words::decimal(time.ha_per_day, 1),
                words::percent(time.field_efficiency)
            ),
        ),
        (
            "Order of lanes",
            format!(
                "turns and ways home, with what sown rows under the wheels count, cost at most {} more than in \
                 the best order that could exist{}",
                words::percent(excess(&figures)),
                by_refill_points(plan.route.detours_s)
            ),
        ),
    ])
}

/// What the comparison of orders leaves aside.
fn by_refill_points(detours_s: f64) -> String {
    if detours_s > 0.0 {
        let detours = words::duration(Time::s(detours_s));
        format!("; drives to refill points, which count {detours} more, are left aside")
    } else {
        String::new()
    }
}

/// Where a person is needed, in driving order.
fn stops(site: &FieldSite, plan: &FieldPlan) -> Vec<Block> {
    let rows = plan.route.stops.iter().map(|stop| match stop.reason {
        StopReason::MovedByHand { from, to } => {
            let [from, to] = [from, to].map(|at| words::place(site.inverse.to_geo(at)));
            let what =
                format!("moved by hand to {to}, where lane {} begins: no drivable way", stop.after + 1);
            vec![stop.after.to_string(), from, what]
        }
        StopReason::Refill { at, from } => {
            let what = match from {
                SeedFrom::Edge { metres } => {
                    let edge = words::distance(Length::m(metres));
                    format!("refill the hoppers, {edge} from the field's edge")
                }
                SeedFrom::Point(point) => {
                    format!("refill the hoppers at {}", site.refill_points[point].0)
                }
            };
            vec![stop.after.to_string(), words::place(site.inverse.to_geo(at)), what]
        }
    });
    let rows: Vec<Vec<String>> = rows.collect();
    if rows.is_empty() {
        return Vec::new();
    }
    vec![heading("Where a person is needed"), Block::table(&["After lane", "At", "What for"], 3, rows)]
}

/// Where to halt the machine for taking it out of the field.
fn ways_out(site: &FieldSite, plan: &FieldPlan) -> Vec<Block> {
    let ways_out = route::ways_out(site, &plan.lanes, &plan.route);
    if ways_out.is_empty() {
        return Vec::new();
    }
    let hold = |hold: &Hold| format!("{} ({})", hold.after, words::distance(Length::m(hold.metres)));
    let rows = ways_out.into_iter().map(|way| {
        let holds: Vec<String> = way.holds.iter().map(hold).collect();
        let holds = if holds.is_empty() { "no lane ends within 50 m".to_owned() } else { holds.join(", ") };
        vec![way.name, words::place(site.inverse.to_geo(way.at)), holds]
    });
    vec![
        heading("Where it may be taken out of the field"),
        Block::table(
            &["Way out", "At", "Halt it after lane (metres from there, straight)"],
            3,
            rows.collect(),
        ),
    ]
}

/// Ways above their bound, as a share of the bound.
fn excess(figures: &lanewright_schema::manifest::Figures) -> f64 {
    if figures.route_gap < 1.0 { figures.route_gap / (1.0 - figures.route_gap) } else { f64::INFINITY }
}

fn left_over(plan: &FieldPlan) -> Vec<Block> {
    let mut reasons: Vec<LeftOverReason> = plan.lanes.left_over.iter().map(|piece| piece.reason).collect();
    reasons.sort_unstable();
    reasons.dedup();
    if reasons.is_empty() {
        return Vec::new();
    }
    let rows = reasons.into_iter().map(|reason| {
        let of_reason = || plan.lanes.left_over.iter().filter(|piece| piece.reason == reason);
        let pieces: usize = of_reason().map(pieces).sum();
        let area: f64 = of_reason().map(|piece| piece.area_m2).sum();
        vec![because(reason).to_owned(), words::count(pieces as u64), words::area(Area::m2(area))]
    });
    vec![
        heading("Left-over soil"),
        Block::table(&["Why no row covers it", "Pieces", "Area"], 1, rows.collect()),
    ]
}

fn pieces(left_over: &LeftOver) -> usize {
    left_over.shape.0.len()
}

const fn because(reason: LeftOverReason) -> &'static str {
    match reason {
        LeftOverReason::FenceMargin => "Between the boundary and the fence",
        LeftOverReason::RowEnds => "Steps at slanted row ends, strips beside the outermost row",
        LeftOverReason::OutOfReach => "The toolbar cannot reach it while the machine stays inside the fence",
        LeftOverReason::CutOff => "No drivable way leads there",
        LeftOverReason::Unsown => "Unsown as the job asks: tramlines, row ends, zones without seed",
        LeftOverReason::Done => "Sown before the work was interrupted",
    }
}
