//! `manifest.json` from a compiled job, less the digests of the outputs, which are known once they
//! are written.
//!
//! In: all that was computed, what was read, what was found. Out: [`Manifest`], rounded.

use super::numbers::{micro, nano, position};
use crate::check::{self, BodyPoint, Field};
use crate::diagnostic::{Finding, Severity};
use crate::pipeline::{Compiled, FieldPlan};
use crate::route;
use crate::site::FieldSite;
use crate::weeding;
use lanewright_schema::manifest::{
    self, Blade, Check, Crop, FieldFigures, Figures, File, Frame, Hold, Machine, Manifest, Order, WayOut,
    Weeding,
};

/// The manifest of a whole job, `outputs` still empty.
pub fn manifest(compiled: &Compiled, job: &str, inputs: Vec<File>, findings: &[Finding]) -> Manifest {
    let near = compiled.site.frame.origin.longitude;
    let asked = compiled.job.fields.iter().zip(&compiled.site.fields).zip(&compiled.fields);
    let fields: Vec<FieldFigures> = asked
        .map(|((asked, site), field)| FieldFigures {
            name: asked.name.clone(),
            crop: crop(asked),
            ways_out: ways_out(site, field, near),
            figures: figures(field),
        })
        .collect();
    Manifest {
        program: env!("CARGO_PKG_NAME").into(),
        version: env!("CARGO_PKG_VERSION").into(),
        job: job.into(),
        effort: compiled.effort.name().into(),
        order: Order {
            issued: compiled.job.order.issued.to_string(),
            operations: compiled.job.order.operations.iter().map(|o| o.name().to_owned()).collect(),
        },
        frame: Frame {
            proj: compiled.site.frame.proj.clone(),
            reference: compiled.site.frame.reference.clone(),
            epoch: compiled.site.frame.epoch,
            ground: compiled.job.frames.ground.as_ref().map(|frame| frame.name.clone()),
        },
        machine: machine(&compiled.job.machine),
        figures: total(compiled),
        fields,
        weeding: passes(compiled),
        checks: checks(compiled, near),
        findings: findings.iter().map(|found| finding(found, near)).collect(),
        inputs,
        outputs: Vec::new(),
    }
}

fn ways_out(site: &FieldSite, field: &FieldPlan, near: f64) -> Vec<WayOut> {
    let way_out = |way: route::WayOut| WayOut {
        name: way.name,
        at: position(site.inverse.to_geo(way.at), near),
        holds: way.holds.iter().map(|hold| Hold { after: hold.after, metres: micro(hold.metres) }).collect(),
    };
    route::ways_out(site, &field.lanes, &field.route).into_iter().map(way_out).collect()
}

fn passes(compiled: &Compiled) -> Vec<Weeding> {
    let fields = compiled.job.fields.iter().zip(&compiled.fields);
    let passes = fields.filter_map(|(asked, field)| Some((asked, field.weeding.as_ref()?)));
    passes.map(|(asked, pass)| weeding_of(&asked.name, pass)).collect()
}

fn weeding_of(field: &str, pass: &weeding::Weeding) -> Weeding {
    let section = &pass.section;
    Weeding {
        field: field.to_owned(),
        date: pass.pass.date.to_string(),
        depth_m: micro(pass.pass.depth.to_m()),
        speed_m_per_s: micro(pass.speed.to_m_per_s()),
        fastest_m_per_s: pass.fastest.map(|speed| micro(speed.to_m_per_s())),
        plant_radius_m: micro(section.plant_radius.to_m()),
        clear_m: micro(section.clear.to_m()),
        sigma_m: pass
            .rows
            .iter()
            .map(|row| [micro(row.sigma.along.to_m()), micro(row.sigma.across.to_m())])
            .collect(),
        between_rows_m: micro(section.between_rows.to_m()),
        blade: section.in_row.map(|motion| Blade {
            width_m: micro(motion.blade_m),
            in_m: micro(motion.in_m),
            out_m: micro(motion.out_m),
            row_band_m: micro(2.0 * motion.half_band_m),
        }),
        surface: micro(pass.shares.surface),
        row_band: micro(pass.shares.row_band),
        loss: micro(pass.shares.loss),
        touched: micro(pass.shares.touched),
    }
}

fn crop(field: &Field) -> Crop {
    let crop = &field.crop;
    Crop {
        name: crop.name.clone(),
        variety: crop.variety.clone(),
        depth_m: micro(crop.depth.to_m()),
        row_spacing_m: micro(field.spacing.between_rows.to_m()),
        thousand_seed_g: micro(crop.thousand_seed_mass.to_g()),
        germination: micro(crop.germination),
        field_emergence: micro(crop.field_emergence),
    }
}

/// The figures of one field.
pub fn figures(field: &FieldPlan) -> Figures {
    let (areas, route, budget) = (&field.lanes.areas, &field.route, &field.budget);
    let between_lanes = route.ways.iter().skip(1).take(route.visits.len().saturating_sub(1));
    Figures {
        field_m2: micro(areas.field),
        soil_m2: micro(areas.soil),
        worked_m2: micro(areas.worked),
        headland_m2: micro(areas.headland),
        keep_out_m2: micro(areas.keep_out),
        left_over_m2: micro(areas.left_over),
        overlap_m2: micro(areas.overlap),
        lanes: route.visits.len() as u64,
        turns: between_lanes.flatten().count() as u64,
        lane_m: micro(budget.distance.lane.to_m()),
        turn_m: micro(budget.distance.turn.to_m()),
        transit_m: micro(budget.distance.transit.to_m()),
        seeds: budget.seed.seeds,
        seeds_driven_over: budget.driven_over,
        work_s: micro(budget.time.work.to_s()),
        turn_s: micro(budget.time.turn.to_s()),
        transit_s: micro(budget.time.transit.to_s()),
        stop_s: micro(budget.time.stop.to_s()),
        field_efficiency: micro(budget.time.field_efficiency),
        toll_s: micro(route.ways.iter().flatten().map(|way| way.toll_s).sum()),
        backing_s: micro(route.ways.iter().flatten().map(|way| way.backing_s).sum()),
        route_bound_s: micro(route.bound_s),
        refill_detours_s: micro(route.detours_s),
        route_gap: micro(gap(route.ways_s(), route.bound_s)),
    }
}

/// Sums over fields; the two ratios anew from the sums.
pub fn total(compiled: &Compiled) -> Figures {
    let mut sum = Figures::default();
    for field in compiled.fields.iter().map(figures) {
        sum.field_m2 += field.field_m2;
        sum.soil_m2 += field.soil_m2;
        sum.worked_m2 += field.worked_m2;
        sum.headland_m2 += field.headland_m2;
        sum.keep_out_m2 += field.keep_out_m2;
        sum.left_over_m2 += field.left_over_m2;
        sum.overlap_m2 += field.overlap_m2;
        sum.lanes += field.lanes;
        sum.turns += field.turns;
        sum.lane_m += field.lane_m;
        sum.turn_m += field.turn_m;
        sum.transit_m += field.transit_m;
        sum.seeds += field.seeds;
        sum.seeds_driven_over += field.seeds_driven_over;
        sum.work_s += field.work_s;
        sum.turn_s += field.turn_s;
        sum.transit_s += field.transit_s;
        sum.stop_s += field.stop_s;
        sum.toll_s += field.toll_s;
        sum.backing_s += field.backing_s;
        sum.route_bound_s += field.route_bound_s;
        sum.refill_detours_s += field.refill_detours_s;
    }
    let machine = &compiled.job.machine;
    let m2_per_s = machine.working_width.to_m() * machine.working_speed.to_m_per_s();
    let seconds = sum.work_s + sum.turn_s + sum.transit_s + sum.stop_s;
    sum.field_efficiency = micro(sum.worked_m2 / m2_per_s / seconds);
    sum.route_gap =
        micro(gap(compiled.fields.iter().map(|field| field.route.ways_s()).sum(), sum.route_bound_s));
    sum
}

/// Share of the ways that lies above their bound.
fn gap(ways_s: f64, bound_s: f64) -> f64 {
    if ways_s > 0.0 { ((ways_s - bound_s) / ways_s).max(0.0) } else { 0.0 }
}

fn machine(machine: &check::Machine) -> Machine {
    let pair = |p: &BodyPoint| [micro(p.forward.to_m()), micro(p.right.to_m())];
    Machine {
        name: machine.name.clone(),
        body_m: machine.body.iter().map(pair).collect(),
        antennas_m: machine.antennas.iter().map(pair).collect(),
        tool_x_m: micro(machine.tool_forward.to_m()),
        row_offsets_m: machine.row_offsets.iter().map(|offset| micro(offset.to_m())).collect(),
        turning_radius_m: micro(machine.steering.turning_radius.to_m()),
    }
}

fn checks(compiled: &Compiled, near: f64) -> Vec<Check> {
    let fields = compiled.site.fields.iter().zip(&compiled.fields);
    fields
        .flat_map(|(site, field)| {
            field.audit.checks.iter().map(move |check| Check {
                field: site.name.clone(),
                rule: check.rule.into(),
                margin: nano(check.margin),
                unit: check.unit.into(),
                tolerance: check.tolerance,
                place: check.place.map(|at| position(site.inverse.to_geo(at), near)),
            })
        })
        .collect()
}

fn finding(found: &Finding, near: f64) -> manifest::Finding {
    manifest::Finding {
        rule: found.rule.into(),
        severity: severity_name(found.severity).into(),
        message: found.message.clone(),
        hint: found.hint.clone(),
        file: found.span.as_ref().map(|span| span.file.clone()),
        bytes: found.span.as_ref().map(|span| [span.bytes.start, span.bytes.end]),
        place: found.place.map(|place| position(place, near)),
    }
}

/// A severity's name.
pub const fn severity_name(severity: Severity) -> &'static str {
    match severity {
        Severity::Note => "note",
        Severity::Warning => "warning",
        Severity::Error => "error",
    }
}
