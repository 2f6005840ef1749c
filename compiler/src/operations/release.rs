//! When each seed is let go so that it lands on its place, and how fast the machine may drive.
//!
//! In: the machine's metering, the lanes as its rows work them, how each row is sown, and how
//! uncertain a seed's place is. Out: for each tool row the speeds that it moves at, the lead by which
//! a seed is let go ahead of its place, and its seeds a second; or why that speed is too high.
//!
//! A seed falls `√(2h / g)` from the height `h` (2 to 3 cm take 64 to 78 ms, as is common practice)
//! after the gate's own delay, and moves on with its row meanwhile. On a bend of curvature `κ` to the
//! left a tool `f` ahead and `r` to the right of the reference point moves `√((1 + r κ)² + (f κ)²)`
//! times as fast as that point. Air drag and the speed of the metering wheel are left out.

use super::seeds_per_s;
use crate::check::{BlockRate, Field, Machine, Pattern, Rate};
use crate::diagnostic::{Finding, Told};
use crate::geometry::{Gear, Path};
use crate::lanes::{Lane, LanePlan};
use crate::num;
use crate::route::Visit;
use crate::rules;
use crate::site::SiteZones;
use crate::uncertainty::{Cause, Term, Uncertainty, sum};
use lanewright_schema::quantity::{Length, Speed, Time};

/// Standard gravity, m/s² (3rd General Conference on Weights and Measures, 1901).
const GRAVITY: f64 = 9.806_65;

/// The release of one field's seeds.
#[derive(Clone, Debug, PartialEq)]
pub struct Release {
    /// From the command to the seed's landing.
    pub flight: Time,
    /// Each tool row, left to right.
    pub rows: Vec<RowRelease>,
    /// The highest working speed that the metering units feed, where their highest rate is known.
    pub fed_up_to: Option<Speed>,
    /// The highest working speed that holds the wanted precision, where one is wanted.
    pub precise_up_to: Option<Speed>,
}

/// The release of one tool row's seeds. Without bends the least is the greatest.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct RowRelease {
    /// How fast the row moves, at least and at most, as a multiple of the working speed.
    pub pace: [f64; 2],
    /// How far ahead of its place a seed is let go, at least and at most.
    pub lead: [Length; 2],
    /// Seeds a second, at most.
    pub seeds_per_s: f64,
}

/// When the seeds of a field are let go.
pub fn release(
    field: &Field,
    zones: &SiteZones,
    machine: &Machine,
    plan: &LanePlan,
    visits: &[Visit],
    uncertainty: &Uncertainty,
) -> Told<Release> {
    let metering = &machine.metering;
    let speed = machine.working_speed;
    let fall = num::sqrt(2.0 * metering.drop_height.to_m() / GRAVITY);
    let flight = Time::s(fall) + metering.gate_delay;
    let (zone, rate) = densest(zones, field.spacing.pattern);
    let rows: Vec<RowRelease> = paces(machine, plan, visits)
        .into_iter()
        .enumerate()
        .map(|(row, pace)| RowRelease {
            pace,
            lead: pace.map(|pace| Length::m(speed.to_m_per_s() * pace * flight.to_s())),
            seeds_per_s: seeds_per_s(rate.stand(field.spacing.stand(row), zones.parts), speed) * pace[1],
        })
        .collect();
    let busiest = rows.iter().map(|row| row.seeds_per_s).fold(0.0, f64::max);
    let fed_up_to = metering.highest_rate.map(|most| speed * (most / busiest)).filter(|_| busiest > 0.0);
    let precise_up_to =
        field.spacing.precision.map(|wanted| highest_precise(wanted, machine, uncertainty, &rows));
    let mut findings: Vec<Finding> = Vec::new();
    let busy = Busy {
        zone: zone.map(|zone| zones.zones[zone].name.as_str()),
        block: zone.and_then(|zone| field.block_rates.blocks.get(zone)),
        busiest,
    };
    findings.extend(fed_up_to.and_then(|highest| too_fast_to_feed(machine, &busy, highest)));
    findings.extend(precise_up_to.and_then(|highest| too_fast_to_place(field, machine, highest)));
    let refused = !findings.is_empty();
    let release = Release { flight, rows, fed_up_to, precise_up_to };
    Told { value: (!refused).then_some(release), findings }
}

/// The rate with most seeds, and the zone that has it; none where that is soil in no zone.
fn densest(zones: &SiteZones, own: Pattern) -> (Option<usize>, Rate) {
    let sown = |rate: Rate| rate.sown((zones.parts, own));
    let denser = |rate: Rate, than: Rate| sown(rate) > sown(than);
    let densest = zones.sown().reduce(|most, other| if denser(other.1, most.1) { other } else { most });
    densest.unwrap_or((None, Rate::own(zones.parts)))
}

impl Release {
    /// For a tool row of a lane how far ahead of its place a seed is let go, at least and at most.
    pub fn lead(&self, lane: &Lane, tool_row: usize, machine: &Machine) -> [Length; 2] {
        let pace = pace(&lane.line, machine, machine.row_offsets[tool_row].to_m());
        let straight = machine.working_speed.to_m_per_s() * self.flight.to_s();
        pace.map(|pace| Length::m(straight * pace))
    }
}

/// For each tool row of the machine how fast it moves in the lanes, at least and at most.
fn paces(machine: &Machine, plan: &LanePlan, visits: &[Visit]) -> Vec<[f64; 2]> {
    let rows = machine.row_offsets.len();
    let mut paces = vec![[f64::INFINITY, 0.0_f64]; rows];
    for visit in visits {
        let lane = &plan.lanes[visit.lane.0];
        for span in &lane.rows {
            let row = if visit.along { span.tool_row } else { rows - 1 - span.tool_row };
            let right = machine.row_offsets[span.tool_row].to_m();
            let [least, most] = pace(&lane.line.between(span.from, span.to), machine, right);
            paces[row] = [paces[row][0].min(least), paces[row][1].max(most)];
        }
    }
    paces.into_iter().map(|pace| if pace[1] > 0.0 { pace } else { [1.0; 2] }).collect()
}

fn pace(line: &Path, machine: &Machine, right: f64) -> [f64; 2] {
    let forward = machine.tool_forward.to_m();
    let at = |curvature: f64| num::hypot(1.0 + right * curvature, forward * curvature);
    let pieces = line.pieces.iter().filter(|piece| piece.gear != Gear::Spot);
    let paces = pieces.flat_map(|piece| [at(piece.curvature_start), at(piece.curvature_end)]);
    paces.fold([1.0; 2], |[least, most], pace| [least.min(pace), most.max(pace)])
}

/// The working speed at which the least certain seed is as uncertain along its row as is allowed; zero
/// where none is slow enough.
fn highest_precise(
    wanted: Length,
    machine: &Machine,
    uncertainty: &Uncertainty,
    rows: &[RowRelease],
) -> Speed {
    let jitter = machine.precision.timing.to_s();
    let of_row = |(terms, row): (&Vec<Term>, &RowRelease)| {
        let at_rest: Vec<Term> = terms.iter().filter(|term| term.cause != Cause::Timing).copied().collect();
        let (wanted, at_rest) = (wanted.to_m(), sum(&at_rest).along.to_m());
        if at_rest >= wanted {
            return 0.0;
        }
        num::sqrt(wanted * wanted - at_rest * at_rest) / (jitter * row.pace[1])
    };
    Speed::m_per_s(uncertainty.seeds.iter().zip(rows).map(of_row).fold(f64::INFINITY, f64::min))
}

/// A speed below this one that reads well: hundredths of a kilometre an hour, rounded down.
fn rounded_down(speed: Speed) -> f64 {
    (speed.to_km_per_h() * 100.0 * (1.0 - 1e-9)).floor() / 100.0
}

/// Where seeds follow each other fastest.
struct Busy<'a> {
    zone: Option<&'a str>,
    /// The block with a rate of its own that the zone is.
    block: Option<&'a BlockRate>,
    /// Seeds a second.
    busiest: f64,
}

fn too_fast_to_feed(machine: &Machine, busy: &Busy, highest: Speed) -> Option<Finding> {
    let most = machine.metering.highest_rate?;
    if machine.working_speed <= highest {
        return None;
    }
    let Busy { zone, block, busiest } = busy;
    let zone = match (block, zone) {
        (Some(_), _) => " in this block".to_owned(),
        (None, Some(name)) => format!(" in zone `{name}`"),
        (None, None) => String::new(),
    };
    let message = format!(
        "at {:.2} km/h the busiest row needs {busiest:.1} seeds a second{zone}, and its metering unit gives {most}",
        machine.working_speed.to_km_per_h()
    );
    let finding = rules::finding("metering/rate", message);
    let speed = rounded_down(highest);
    Some(match block {
        Some(block) => finding.with_span(block.span.clone(), "too close for this speed").with_hint(format!(
            "write `working_speed = \"{speed} km/h\"` or less, or place seeds farther apart in this block"
        )),
        None => finding
            .with_span(machine.speed_span.clone(), "this is too fast")
            .with_hint(format!("write `\"{speed} km/h\"` or less, or place seeds farther apart")),
    })
}

fn too_fast_to_place(field: &Field, machine: &Machine, highest: Speed) -> Option<Finding> {
    let wanted = field.spacing.precision?;
    if machine.working_speed <= highest {
        return None;
    }
    let message = format!(
        "`{}` wants seeds within {:.1} mm along the row (one standard deviation), which {:.2} km/h does not hold",
        field.name,
        wanted.to_mm(),
        machine.working_speed.to_km_per_h()
    );
    let slow = rounded_down(highest);
    let hint = if slow > 0.0 {
        format!("write `\"{slow} km/h\"` or less, or allow more in `precision` of the spacing")
    } else {
        "no speed holds it: allow more in `precision` of the spacing, come nearer to the base station, or \
         state a truer machine"
            .to_owned()
    };
    Some(
        rules::finding("metering/precision", message)
            .with_span(machine.speed_span.clone(), "this is too fast")
            .with_hint(hint),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::check::BlockRates;
    use crate::diagnostic::Span;
    use crate::geometry::{Piece, Pose};
    use crate::lanes::{Block, BlockIdx, Course, LaneAreas, LaneIdx, RowSpan};
    use crate::site::{SiteZone, example};
    use crate::uncertainty::uncertainty;
    use geo::MultiPolygon;
    use lanewright_schema::quantity::Heading;

    /// A straight lane, and a lap round a circle of 5 m to the left.
    fn plan() -> (LanePlan, Vec<Visit>) {
        let lane = |block: usize, piece: Piece| {
            let line = Path { start: Pose::new(0.0, 0.0, 0.0), pieces: vec![piece] };
            let rows = (0..6)
                .map(|row| RowSpan { tool_row: row, row: row as i64, from: 0.0, to: line.length() })
                .collect();
            Lane { block: BlockIdx(block), line, back: None, rows, rows_back: Vec::new() }
        };
        let none = || MultiPolygon(vec![]);
        let datum = crate::geometry::Point { x: 0.0, y: 0.0 };
        let straight = Course::Straight { heading: Heading::degrees(90.0), datum };
        let plan = LanePlan {
            blocks: [straight, Course::Lap { lap: 1 }].map(|course| Block { zone: none(), course }).to_vec(),
            lanes: vec![
                lane(0, Piece::straight(Gear::Forward, 100.0)),
                lane(1, Piece::arc(Gear::Forward, 10.0, 0.2)),
            ],
            headland: none(),
            left_over: vec![],
            areas: LaneAreas::default(),
        };
        let visits = [0, 1].map(|lane| Visit { lane: LaneIdx(lane), along: true }).to_vec();
        (plan, visits)
    }

    fn told(field: &Field, machine: &Machine) -> Told<Release> {
        let (plan, visits) = plan();
        let uncertainty = uncertainty(machine, Some(Length::m(1000.0)), &field.crop);
        release(field, &SiteZones::none(), machine, &plan, &visits, &uncertainty)
    }

    /// From mechanics: 2 and 3 cm are fallen through in 64 and 78 ms, in which a row at 0.25 m/s moves 16
    /// and 20 mm.
    #[test]
    fn a_seed_is_let_go_as_long_before_as_it_falls() {
        for (height, ms, lead) in [(2.0, 64.0, 16.0), (3.0, 78.0, 20.0)] {
            let mut machine = example::machine();
            machine.working_speed = Speed::m_per_s(0.25);
            machine.metering.drop_height = Length::cm(height);
            let found = told(&example::field(), &machine).value.unwrap();
            assert!((found.flight.to_ms() - ms).abs() < 0.5);
            let pace = found.rows[2].pace[0];
            assert!((found.rows[2].lead[0].to_mm() / pace - lead).abs() < 0.5);
        }
    }

    /// On a circle of 5 m to the left, the right outlet 1.125 m out and 1.2 m behind runs on a circle of
    /// √(6.125² + 1.2²) m.
    #[test]
    fn on_a_bend_each_row_has_its_own_speed() {
        let found = told(&example::field(), &example::machine()).value.unwrap();
        let radius = |right: f64| (5.0 + right).hypot(1.2) / 5.0;
        assert!((found.rows[5].pace[1] - radius(1.125)).abs() < 1e-12);
        assert!((found.rows[0].pace[0] - radius(-1.125)).abs() < 1e-12);
        assert!(found.rows[5].lead[1] > found.rows[5].lead[0]);
        assert!((found.rows[5].seeds_per_s - 0.5 / 0.18 * radius(1.125)).abs() < 1e-12);
    }

    /// Too fast for the metering units or for the precision: refused, and the speed of the hint passes.
    #[test]
    fn what_is_too_fast_is_told_with_a_speed_that_passes() {
        let mut feed = (example::field(), example::machine());
        feed.1.metering.highest_rate = Some(2.0);
        let mut place = (example::field(), example::machine());
        place.1.precision.timing = Time::ms(40.0);
        place.0.spacing.precision = Some(Length::mm(21.0));
        for (rule, (field, machine)) in [("metering/rate", feed), ("metering/precision", place)] {
            let refused = told(&field, &machine);
            assert!(refused.value.is_none());
            assert_eq!(refused.findings[0].rule, rule);
            let hint = refused.findings[0].hint.clone().unwrap();
            let speed: f64 = hint.split('"').nth(1).unwrap().trim_end_matches(" km/h").parse().unwrap();
            assert!(speed > 0.1, "{hint}");
            let slower = Machine { working_speed: Speed::km_per_h(speed), ..machine.clone() };
            assert!(told(&field, &slower).value.is_some(), "{hint}");
            let faster = Machine { working_speed: Speed::km_per_h(speed + 0.02), ..machine };
            assert!(told(&field, &faster).value.is_none(), "{hint}");
        }
    }

    /// The zone that is sown most closely decides, and is named.
    #[test]
    fn the_densest_zone_decides_what_the_metering_must_give() {
        let (plan, visits) = plan();
        let (field, mut machine) = (example::field(), example::machine());
        let uncertainty = uncertainty(&machine, None, &field.crop);
        let zone = |name: &str, step| {
            let ground = geo::Rect::new(geo::coord! { x: 0.0, y: 0.0 }, geo::coord! { x: 9.0, y: 9.0 });
            SiteZone::new(name.to_owned(), ground.to_polygon().into(), Rate::own(step))
        };
        let mut zones = SiteZones::none();
        (zones.parts, zones.zones) = (4, vec![zone("Sand", 5), zone("Hollow", 2)]);
        zones.elsewhere = Some(Rate::own(4));
        let mut told = |zones: &SiteZones, highest| {
            machine.metering.highest_rate = Some(highest);
            release(&field, zones, &machine, &plan, &visits, &uncertainty)
        };
        let alike = told(&SiteZones::none(), 100.0).value.unwrap();
        let zoned = told(&zones, 100.0).value.unwrap();
        assert!((zoned.rows[3].seeds_per_s - 2.0 * alike.rows[3].seeds_per_s).abs() < 1e-12);
        assert!(told(&SiteZones::none(), 5.0).value.is_some());
        let refused = told(&zones, 5.0);
        assert_eq!(refused.findings[0].rule, "metering/rate");
        assert!(refused.findings[0].message.contains("in zone `Hollow`"), "{}", refused.findings[0].message);
    }

    /// A block with too many seeds a second, close or in hills, is refused at its own line, with a speed that
    /// passes; hills farther apart than the field's own seeds may be more of them.
    #[test]
    fn a_block_too_dense_for_the_metering_is_told_at_its_line() {
        let hill = Pattern::Hill { seeds: 6, length: Length::cm(9.0) };
        for (parts, step, pattern) in [(2, 1, None), (1, 3, Some(hill)), (2, 1, Some(Pattern::Drill))] {
            let (plan, visits) = plan();
            let (mut field, mut machine) = (example::field(), example::machine());
            let rate = Rate { asked: 2.0, step, pattern };
            let at = Span { bytes: 700..707, ..field.span.clone() };
            field.block_rates =
                BlockRates { parts, blocks: vec![BlockRate { block: 0, rate, span: at.clone() }] };
            let uncertainty = uncertainty(&machine, None, &field.crop);
            let ground = geo::Rect::new(geo::coord! { x: 0.0, y: 0.0 }, geo::coord! { x: 9.0, y: 9.0 });
            let zones = SiteZones {
                parts,
                zones: vec![SiteZone::new("block 1".into(), ground.to_polygon().into(), rate)],
                elsewhere: Some(Rate::own(parts)),
            };
            machine.metering.highest_rate = Some(5.0);
            let told = |machine: &Machine| release(&field, &zones, machine, &plan, &visits, &uncertainty);
            let finding = told(&machine).findings.remove(0);
            assert_eq!((finding.rule, finding.span), ("metering/rate", Some(at)));
            // Twice the seeds of 18 cm at 0.5 m/s, the right row on a circle 1.225 and more times as long.
            let needed = 2.0 * 0.5 / 0.18 * (5.0_f64 + 1.125).hypot(1.2) / 5.0;
            assert!(finding.message.contains(&format!("{needed:.1} seeds a second")), "{}", finding.message);
            let hint = finding.hint.unwrap();
            let said = hint.split('"').nth(1).unwrap().strip_suffix(" km/h").unwrap();
            machine.working_speed = Speed::km_per_h(said.parse().unwrap());
            assert!(told(&machine).value.is_some(), "{hint}");
        }
    }
}
