//! Why no lane fits: the machine is too large for the field, the headland that the job asks for is too
//! wide, or the field too narrow.
//!
//! In: a field inside whose headland, or in which, no lane fits. Out: the finding, with the figures
//! that decide it and how much headland would leave room. A headland that nobody asked for, laid
//! because the turns need it, may fill a narrow field: that field is then worked by laps alone.

use super::heading::Prices;
use super::headland::{laps_within, most_laps, width_of_laps};
use super::straight::straight_block;
use super::toolbar::Toolbar;
use crate::check::{Field, HeadlandSize, Machine};
use crate::diagnostic::Finding;
use crate::geometry::{Point, region};
use crate::rules;
use crate::site::FieldSite;
use geo::{BoundingRect, LineString, MultiPolygon, Polygon};

/// Tells that the machine does not fit into the field, or cannot turn in it.
pub fn machine_too_large(
    field: &Field,
    site: &FieldSite,
    machine: &Machine,
    toolbar: &Toolbar,
) -> Option<Finding> {
    let outline = machine.body.iter().map(|p| Point { x: p.forward.to_m(), y: p.right.to_m() }).collect();
    let body = MultiPolygon(vec![Polygon::new(LineString(outline), vec![])]);
    let has_room = |across_m: f64| !region::inset(&site.fence, 0.5 * across_m).0.is_empty();
    let body_m = 2.0 * depth(&body);
    if !has_room(body_m) {
        let across_m = 2.0 * depth(&site.fence);
        let message = format!(
            "`{}` fits nowhere inside the fence of `{}`, which is {across_m:.2} m across at its widest place",
            machine.name, field.name
        );
        return Some(
            rules::finding("machine/body-beyond-fence", message)
                .with_span(machine.body_span.clone(), format!("{body_m:.2} m across however it is turned"))
                .with_hint("make `fence_margin` smaller, send a smaller machine, or leave the field out"),
        );
    }
    let radius_m = toolbar.turning_radius;
    // A strip is driven out and back without a turn.
    let is_strip = !has_room(2.0 * toolbar.width);
    if machine.steering.turns_on_spot || is_strip || has_room(radius_m) {
        return None;
    }
    let across_m = 2.0 * depth(&site.fence);
    let message = format!(
        "`{}` turns on a radius of {radius_m:.2} m, and `{}` is {across_m:.2} m across inside its fence at its widest \
         place: no half turn fits",
        machine.name, field.name
    );
    let most_m = (across_m * 10.0 - 0.1).floor() / 10.0;
    Some(
        rules::finding("machine/radius-beyond-field", message)
            .with_span(machine.radius_span.clone(), "wider than the field")
            .with_hint(format!(
                "measure the radius of the reference point; here it may be `\"{most_m} m\"` at most"
            )),
    )
}

/// Tells that the headland leaves no room for a lane.
pub fn headland_too_wide(
    field: &Field,
    site: &FieldSite,
    toolbar: &Toolbar,
    prices: &Prices,
) -> Option<Finding> {
    let asked = match field.headland.size {
        HeadlandSize::None | HeadlandSize::AsTurnsNeed => return None,
        HeadlandSize::Laps(count) => count,
        HeadlandSize::Width(width) => laps_within(width.to_m(), toolbar),
    };
    let holds_lanes = |main: &MultiPolygon| {
        main.iter().any(|piece| {
            let piece = MultiPolygon::from(piece.clone());
            let (angle, _) = prices.best(&piece);
            !straight_block(&piece, &site.fence, toolbar, angle, prices.shortest_lane_m).lanes.is_empty()
        })
    };
    if !holds_lanes(&site.fence) {
        return None;
    }
    let most = most_laps(&site.fence, toolbar, field.headland.corners, holds_lanes);
    let finding = Finding::error(
        "field/headland-too-wide",
        format!(
            "a headland of {}, {:.2} m on every side, leaves no room for a lane in `{}`",
            counted(asked),
            width_of_laps(asked, toolbar),
            field.name
        ),
    )
    .with_hint(hint(field.headland.size, most, toolbar));
    let label = match most {
        0 => "not even 1 lap leaves room for a lane".to_owned(),
        _ => format!("{}, {:.2} m, would leave room", counted(most), width_of_laps(most, toolbar)),
    };
    let span = field.places.headland.clone().unwrap_or_else(|| field.span.clone());
    Some(finding.with_span(span, label))
}

/// Tells that the field has no room for a lane, whatever its headland.
pub fn too_narrow(field: &Field, site: &FieldSite, machine: &Machine, toolbar: &Toolbar) -> Finding {
    Finding::error(
        "field/too-narrow",
        format!("no lane of `{}` fits inside the fence of `{}`", machine.name, field.name),
    )
    .with_span(
        field.span.clone(),
        format!(
            "{:.2} m across inside the fence at its widest place; the machine is {:.2} m wide and its shortest lane {:.2} m long",
            2.0 * depth(&site.fence),
            toolbar.left() + toolbar.right(),
            toolbar.width
        ),
    )
    .with_hint("leave the field out, make its fence margin smaller, or send a smaller machine")
}

/// How far the innermost place of a region lies from its edge, metres, to a millimetre.
fn depth(region: &MultiPolygon) -> f64 {
    let bounds = region.bounding_rect();
    let (mut low, mut high) = (0.0, bounds.map_or(0.0, |b| b.width().min(b.height()) / 2.0));
    while high - low > 1e-3 {
        let middle = f64::midpoint(low, high);
        if region::inset(region, middle).0.is_empty() {
            high = middle;
        } else {
            low = middle;
        }
    }
    low
}

fn counted(laps: u32) -> String {
    if laps == 1 { "1 lap".to_owned() } else { format!("{laps} laps") }
}

fn hint(size: HeadlandSize, most: u32, toolbar: &Toolbar) -> String {
    if most == 0 {
        return "leave `headland` out, for as many laps as the turns need, whatever they leave".to_owned();
    }
    match size {
        HeadlandSize::Width(_) => {
            let centimetres = (width_of_laps(most, toolbar) * 100.0).floor();
            format!("write at most `width = \"{} m\"`", centimetres / 100.0)
        }
        _ => format!("write at most `laps = {most}`"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::check::{Headland, HeadlandSown, Job, LapCorners};
    use crate::diagnostic::Span;
    use crate::lanes::lanes;
    use crate::site::{self, example};
    use lanewright_schema::quantity::Length;

    fn told(size: HeadlandSize) -> Result<usize, Finding> {
        let mut job: Job = example::job();
        job.fields[0].headland = Headland { size, sown: HeadlandSown::Last, corners: LapCorners::Round };
        job.fields[0].places.headland = Some(Span { file: "job.toml".into(), bytes: 7..9 });
        let site = site::site(&job).value.unwrap();
        let told = lanes(&job.fields[0], &site.fields[0], &job.machine);
        told.value.map(|plan| plan.lanes.len()).ok_or_else(|| told.findings[0].clone())
    }

    /// The example's field is 334 m across, so 61 laps of 2.7 m on either side fill it.
    #[test]
    fn the_most_laps_in_the_hint_pass_and_one_more_does_not() {
        let finding = told(HeadlandSize::Laps(4_000_000_000)).unwrap_err();
        assert_eq!(finding.rule, "field/headland-too-wide");
        assert_eq!(finding.span.unwrap().bytes, 7..9);
        let hint = finding.hint.unwrap();
        let most: u32 =
            hint.trim_start_matches("write at most `laps = ").trim_end_matches('`').parse().unwrap();
        assert!((55..=61).contains(&most), "{hint}");
        assert!(told(HeadlandSize::Laps(most)).is_ok());
        assert!(told(HeadlandSize::Laps(most + 1)).is_err());
    }

    #[test]
    fn the_widest_headland_in_the_hint_passes() {
        let finding = told(HeadlandSize::Width(Length::m(1e9))).unwrap_err();
        let hint = finding.hint.unwrap();
        let most: f64 =
            hint.trim_start_matches("write at most `width = \"").trim_end_matches(" m\"`").parse().unwrap();
        assert!((150.0..167.0).contains(&most), "{hint}");
        assert!(told(HeadlandSize::Width(Length::m(most))).is_ok());
        assert!(told(HeadlandSize::Width(Length::m(most + 0.02))).is_err());
    }

    fn refused(change: impl Fn(&mut Job)) -> Option<Finding> {
        let mut job: Job = example::job();
        change(&mut job);
        let site = site::site(&job).value.unwrap();
        let told = lanes(&job.fields[0], &site.fields[0], &job.machine);
        if told.value.is_some() { None } else { told.findings.into_iter().next() }
    }

    /// The example's field is 333.7 m from south to north, and a little wider from west to east; its
    /// fence lies half a metre inside.
    #[test]
    fn a_radius_wider_than_the_field_is_refused_and_the_one_in_the_hint_is_not() {
        let radius = |metres: f64| refused(|job| job.machine.steering.turning_radius = Length::m(metres));
        let finding = radius(340.0).unwrap();
        assert_eq!(finding.rule, "machine/radius-beyond-field");
        assert_eq!(finding.span.unwrap(), example::machine().radius_span);
        assert!(finding.message.contains("is 332."), "{}", finding.message);
        let hint = finding.hint.unwrap();
        let most: f64 = hint.split('"').nth(1).unwrap().trim_end_matches(" m").parse().unwrap();
        assert!((332.0..=333.0).contains(&most));
        assert!(radius(most).is_none_or(|finding| finding.rule != "machine/radius-beyond-field"));
        let on_the_spot = refused(|job| {
            job.machine.steering.turning_radius = Length::m(340.0);
            job.machine.steering.turns_on_spot = true;
        });
        assert!(on_the_spot.is_none_or(|finding| finding.rule != "machine/radius-beyond-field"));
    }

    #[test]
    fn a_body_larger_than_the_fence_is_named() {
        let finding = refused(|job| job.fields[0].fence_margin = Length::m(166.0)).unwrap();
        assert_eq!(finding.rule, "machine/body-beyond-fence");
        assert_eq!(finding.span.unwrap(), example::machine().body_span);
        assert!(finding.message.contains("which is 1.69 m across"), "{}", finding.message);
        assert!(refused(|job| job.fields[0].fence_margin = Length::m(160.0)).is_none());
    }
}
