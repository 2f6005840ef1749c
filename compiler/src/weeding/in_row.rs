//! A blade in each row, in and out once for each plant.
//!
//! Seen from above, with `x` along the row in driving direction: the blade is `B` long and crosses the
//! band along the row, from one edge to the other, in `t_in`, while the machine drives `v · t_in`; it
//! withdraws to the edge that it came from in `t_out`. When its middle sets out at `x_in` and turns back
//! at `x_out`, it sweeps a trapezoid whose sides run from `x_in − B/2` to `x_out + v · t_out + B/2` at
//! the near edge and from `x_in + v · t_in − B/2` to `x_out + B/2` at the far one. The longer side is fitted into the window
//! `W = s − 2 r` between the clear circles of two plants `s` apart, so that the whole motion is in it. It
//! opens when `B + v · (t_in + t_out) ≤ W`; the highest speed follows. Where a row bends the blade stays out.

use super::{Over, RowBand, Section, Shares, Weeding, events, has_places, normal};
use crate::check::{InRow, Pattern};
use crate::diagnostic::Finding;
use crate::rules;
use crate::seeds::{SeedRun, members};
use crate::uncertainty::Sigma;
use lanewright_schema::quantity::{Length, Speed};

/// How the blade moves at the pass's speed; metres.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct BladeMotion {
    /// Its width along the row.
    pub blade_m: f64,
    /// Driven while it crosses the band.
    pub in_m: f64,
    /// Driven while it withdraws.
    pub out_m: f64,
    /// Half the width of the band along the row.
    pub half_band_m: f64,
    /// What stays clear round a plant's place.
    pub clear_m: f64,
}

/// Where the blade's middle is, metres behind and before the plants between which it works.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Window {
    /// It sets out so far beyond the plant that it has passed.
    pub after_m: f64,
    /// It turns back so far before the next plant.
    pub before_m: f64,
}

impl BladeMotion {
    /// Where it sets out and turns back.
    pub fn window(&self) -> Window {
        Window {
            after_m: self.clear_m + self.blade_m / 2.0,
            before_m: self.clear_m + self.blade_m / 2.0 + self.out_m,
        }
    }

    /// Share of the way between two plants `apart_m` from each other that it works, as a mean over
    /// the band.
    pub fn worked_m(&self, apart_m: f64) -> f64 {
        apart_m - 2.0 * self.clear_m - (self.in_m + self.out_m) / 2.0
    }

    /// Share of plants whose middle stands in the trapezoid before or behind it, as a mean over the
    /// plants of a place: in a hill each stands farther from one of the two.
    pub fn loss(&self, sigma: Sigma, slack_m: f64, pattern: Pattern) -> f64 {
        let (along, across) = (sigma.along.to_m(), sigma.across.to_m());
        let nearest = self.clear_m - slack_m;
        let length = pattern.length().to_m();
        let members: Vec<f64> = members(pattern).collect();
        let in_reach: f64 = members
            .iter()
            .map(|member| {
                normal::mean_across(self.half_band_m, across, |y| {
                    let share = (y + self.half_band_m) / (2.0 * self.half_band_m);
                    normal::beyond_one_side(nearest + (length - member) + share * self.in_m, along)
                        + normal::beyond_one_side(nearest + member + share * self.out_m, along)
                })
            })
            .sum();
        in_reach / members.len() as f64
    }
}

/// The pass; refused where the window does not open.
pub fn pass(blade: &InRow, over: &Over, findings: &mut Vec<Finding>) -> Weeding {
    let row = |speed: Speed| -> Vec<RowBand> {
        let sigmas = over.row_sigmas(speed, has_places).into_iter();
        sigmas.map(|sigma| RowBand { sigma, clear: blade.clear.round(sigma) }).collect()
    };
    let widest = |speed: Speed| row(speed).iter().map(|row| row.clear).fold(Length::ZERO, Length::max);
    let runs = &over.sown.seeds.runs;
    let gap = |run: &SeedRun| run.stand().clear();
    let placed = runs.iter().filter(|run| has_places(run));
    let closest = placed.min_by(|a, b| gap(a).to_m().total_cmp(&gap(b).to_m()));
    let drawn = closest.map_or_else(|| over.commonest(), SeedRun::stand);
    let spacing = drawn.clear();
    if !runs.iter().all(has_places) {
        findings.push(drilled(over));
    }
    let speed = over.speed();
    let (rows, clear) = (row(speed), widest(speed));
    let fits = Fits { blade, spacing };
    let fastest = fits.fastest(&widest);
    let half_band = blade.row_band.map_or(clear, |band| band * 0.5);
    let shut = closest.is_some() && fits.spare(clear, speed) < Length::ZERO;
    if shut {
        findings.push(match fastest {
            Some(fastest) => too_fast(&fits, over, fastest),
            None => no_window(&fits, over, clear, &rows),
        });
    }
    if half_band < clear {
        findings.push(narrow_band(over, half_band, clear));
    } else if half_band + clear > over.sown.row_spacing && (blade.row_band.is_some() || !shut) {
        findings.push(wide_band(over, half_band, clear));
    }
    let motion = BladeMotion {
        blade_m: blade.width.to_m(),
        in_m: speed.to_m_per_s() * blade.travel_in.to_s(),
        out_m: speed.to_m_per_s() * blade.travel_out.to_s(),
        half_band_m: half_band.to_m(),
        clear_m: clear.to_m(),
    };
    let events = events::between_plants(over, &motion);
    let worked_m: f64 = events.iter().zip(runs).map(|(run, sown)| run.worked_m(sown, &motion)).sum();
    let row_m: f64 = runs.iter().map(|run| f64::from(run.count) * run.spacing_m).sum();
    let row_band = if row_m > 0.0 { worked_m / row_m } else { 0.0 };
    let band = (half_band * 2.0).min(over.sown.row_spacing);
    Weeding {
        pass: over.pass.clone(),
        speed,
        fastest,
        section: Section {
            row_spacing: over.sown.row_spacing,
            plant_spacing: drawn.spacing,
            pattern: drawn.pattern,
            plant_share: over.share(drawn),
            plant_radius: blade.clear.plant_radius,
            clear,
            between_rows: Length::ZERO,
            in_row: Some(motion),
        },
        shares: Shares {
            surface: row_band * (band / over.sown.row_spacing),
            row_band,
            loss: over.mean(|row, pattern| motion.loss(rows[row].sigma, 0.0, pattern)),
            touched: over
                .mean(|row, pattern| motion.loss(rows[row].sigma, blade.clear.plant_radius.to_m(), pattern)),
        },
        rows,
        events,
    }
}

/// A blade between plants, or the hills nearest to each other, so far apart.
struct Fits<'a> {
    blade: &'a InRow,
    spacing: Length,
}

impl Fits<'_> {
    /// What is left of the window; negative where it does not open.
    fn spare(&self, clear: Length, speed: Speed) -> Length {
        let travel = self.blade.travel_in + self.blade.travel_out;
        let driven = Length::m(speed.to_m_per_s() * travel.to_s());
        self.spacing - clear * 2.0 - self.blade.width - driven
    }

    /// The highest speed at which the window opens, to the nearest hundredth of a km/h below; none
    /// where it does at none. The room that plants need grows with the speed.
    fn fastest(&self, clear: &impl Fn(Speed) -> Length) -> Option<Speed> {
        let opens = |hundredths: u32| {
            let speed = Speed::km_per_h(f64::from(hundredths) / 100.0);
            self.spare(clear(speed), speed) >= Length::ZERO
        };
        let (mut opening, mut shut) = (1, 10_001);
        if !opens(opening) {
            return None;
        }
        while shut - opening > 1 {
            let middle = u32::midpoint(opening, shut);
            if opens(middle) { opening = middle } else { shut = middle }
        }
        Some(Speed::km_per_h(f64::from(opening) / 100.0))
    }
}

fn drilled(over: &Over) -> Finding {
    let runs = &over.sown.seeds.runs;
    let drilled = runs.iter().filter(|run| !has_places(run)).map(SeedRun::seeds).sum::<u64>();
    let all = runs.iter().map(SeedRun::seeds).sum::<u64>();
    let count = if drilled < all { format!("{drilled} of {all} plants") } else { "plants".to_owned() };
    let message =
        format!("{count} of `{}` stand in drilled rows, where none has a place of its own", over.field.name);
    rules::finding("weeding/drilled-row", message)
        .with_span(over.pass.places.width.clone(), "this blade would work blindly between them")
        .with_hint("write `operation = \"inter-row weeding\"` with `tools`, which work between the rows")
}

fn too_fast(fits: &Fits, over: &Over, fastest: Speed) -> Finding {
    let message = format!(
        "at {:.2} km/h the blade cannot be in and out again between plants {:.1} cm apart in `{}`",
        over.speed().to_km_per_h(),
        fits.spacing.to_cm(),
        over.field.name
    );
    rules::finding("weeding/too-fast", message)
        .with_span(over.pass.places.speed.clone(), "too fast")
        .with_hint(format!("write `speed = \"{:.2} km/h\"` or less", fastest.to_km_per_h()))
}

fn no_window(fits: &Fits, over: &Over, clear: Length, rows: &[RowBand]) -> Finding {
    let (blade, spacing) = (fits.blade, fits.spacing);
    let window = spacing - clear * 2.0;
    let message = format!(
        "between plants {:.1} cm apart in `{}` with {:.1} cm clear round each, a blade of {:.1} cm has {:.1} cm",
        spacing.to_cm(),
        over.field.name,
        clear.to_cm(),
        blade.width.to_cm(),
        window.to_cm().max(0.0)
    );
    let sigma = rows.iter().map(|row| row.sigma.along.max(row.sigma.across)).fold(Length::ZERO, Length::max);
    let driven = spacing - clear * 2.0 - blade.width - fits.spare(clear, over.speed());
    let narrowest = window - driven;
    let deviations = ((spacing - blade.width - driven) * 0.5 - blade.clear.plant_radius) / sigma;
    let hint = if narrowest >= Length::mm(5.0) {
        format!("write `width = \"{} mm\"` or less for the blade", narrowest.to_mm().floor())
    } else if deviations >= 0.5 {
        format!(
            "sow at least {:.1} cm apart, or accept more loss: `deviations = {:.1}`",
            (clear * 2.0 + blade.width + driven).to_cm(),
            (deviations * 10.0).floor() / 10.0
        )
    } else {
        format!(
            "sow at least {:.1} cm apart, weed when leaves reach less far, or use a nearer base station",
            (clear * 2.0 + blade.width + driven).to_cm()
        )
    };
    rules::finding("weeding/blade-window", message)
        .with_span(over.pass.places.width.clone(), "wider than the window")
        .with_hint(hint)
}

fn narrow_band(over: &Over, half: Length, clear: Length) -> Finding {
    let message = format!(
        "a blade at rest {:.1} cm beside the row of `{}` is nearer than the {:.1} cm that plants need",
        half.to_cm(),
        over.field.name,
        clear.to_cm()
    );
    rules::finding("weeding/row-band", message)
        .with_span(over.pass.places.width.clone(), "this blade")
        .with_hint(format!(
            "write `row_band = \"{:.1} cm\"` or more, or leave it out",
            (clear * 2.0).to_cm() + 0.05
        ))
}

/// A band that reaches into the room of the next row's plants.
fn wide_band(over: &Over, half: Length, clear: Length) -> Finding {
    let room = over.sown.row_spacing - clear;
    let message = format!(
        "a band of {:.1} cm along the rows of `{}`, {:.1} cm apart, reaches into the {:.1} cm that plants of the next row need",
        (half * 2.0).to_cm(),
        over.field.name,
        over.sown.row_spacing.to_cm(),
        clear.to_cm()
    );
    let hint = if room > clear {
        format!("write `row_band = \"{} mm\"` or less", (room * 2.0).to_mm().floor())
    } else {
        "weed when leaves reach less far, or keep fewer `deviations` clear".to_owned()
    };
    rules::finding("weeding/row-band", message)
        .with_span(over.pass.places.width.clone(), "this blade")
        .with_hint(hint)
}
