//! A row through treatment zones: where it is sown how closely, and where one zone's seeds end and the
//! next one's begin.
//!
//! In: the zones of a field and the line of a row. Out: stretches of the row, each in one zone and long
//! enough for its seeds to keep their distance at both ends; and for two lattices of one row the last
//! place of the one and the first of the other.
//!
//! What counts is the clear distance, from the last seed of one place to the first of the next. Within a
//! lattice it is `s − l`, the spacing less the length of a hill, where single seeds and drilled ones have no
//! length. Across a border it is no less than the smaller of the two lattices' own and no more than the larger;
//! only where these lie so near to each other that no pair of places need be between them, it is at most one
//! part `g` that both spacings are multiples of above the smaller, and so less than `g` above the larger.
//! Middles are a part `u` of the field's own spacing apart at least, so that no two places have one number.
//!
//! All spacings of a row are whole multiples `a`, `b` of `u`, and `g = gcd(a, b) · u`. The distance from a
//! place of the one lattice to a place of the other is therefore one fixed remainder plus any multiple of `g`,
//! and among any `b · u / g` places of the first that follow each other each multiple occurs. A window of
//! distances that is at least `g` wide thus always holds one, and of any such places one has its fellow in it.
//! Where `a = b` the places coincide and the distance `a · u` lies in the window, however narrow. So the
//! seeds change over at such a pair of places nearest to the border. The border moves by it, but never by more
//! than half of what the two rates differ by in one round of the pattern: half a seed a row, where none has
//! hills.

use crate::check::{Rate, Stand};
use crate::geometry::Point;
use crate::num;
use crate::site::SiteZones;

/// A stretch of a row in one zone, metres along it.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Stretch {
    pub from: f64,
    pub to: f64,
    /// The zone, or none of them.
    pub zone: Option<usize>,
    /// How closely it is sown.
    pub rate: Rate,
}

impl Stretch {
    fn length(&self) -> f64 {
        self.to - self.from
    }
}

/// The zones along a line of chords, and how closely each is sown in a row that is sown like `own` at the
/// field's rate.
pub fn stretches(zones: &SiteZones, line: &[Point], own: Stand) -> Vec<Stretch> {
    without_short(parts(zones, line), |stretch| Places::of(stretch.rate, own, zones.parts, 0.0))
}

/// The zones along a line of chords as they are drawn.
pub fn parts(zones: &SiteZones, line: &[Point]) -> Vec<Stretch> {
    let length = line.windows(2).map(|pair| apart(pair[0], pair[1])).sum();
    if zones.zones.is_empty() {
        let rate = zones.elsewhere.unwrap_or(Rate::own(zones.parts));
        return vec![Stretch { from: 0.0, to: length, zone: None, rate }];
    }
    let mut cuts = crossings(zones, line);
    cuts.push(0.0);
    cuts.push(length);
    cuts.sort_by(f64::total_cmp);
    let mut found: Vec<(f64, f64, Option<usize>)> = Vec::new();
    for pair in cuts.windows(2).filter(|pair| pair[0] < pair[1]) {
        let zone = zones.zone_at(along(line, f64::midpoint(pair[0], pair[1])));
        match found.last_mut() {
            Some(last) if last.2 == zone => last.1 = pair[1],
            _ => found.push((pair[0], pair[1], zone)),
        }
    }
    let rated = found
        .iter()
        .filter_map(|&(from, to, zone)| zones.rate(zone).map(|rate| Stretch { from, to, zone, rate }));
    let mut stretches: Vec<Stretch> = rated.collect();
    // Slips between zones go to the zones beside them.
    for i in 1..stretches.len() {
        let middle = f64::midpoint(stretches[i - 1].to, stretches[i].from);
        (stretches[i - 1].to, stretches[i].from) = (middle, middle);
    }
    if let Some(first) = stretches.first_mut() {
        first.from = 0.0;
    }
    if let Some(last) = stretches.last_mut() {
        last.to = length;
    }
    stretches
}

fn apart(a: Point, b: Point) -> f64 {
    num::hypot(b.x - a.x, b.y - a.y)
}

/// Metres along the line at which it crosses an edge of a zone.
fn crossings(zones: &SiteZones, line: &[Point]) -> Vec<f64> {
    let mut crossings = Vec::new();
    let mut travelled = 0.0;
    for pair in line.windows(2) {
        let (a, b) = (pair[0], pair[1]);
        let length = apart(a, b);
        for zone in zones.zones.iter().filter(|zone| zone.is_near(a, b)) {
            for edge in crate::geometry::region::rings(&zone.ground).flat_map(|ring| ring.0.windows(2)) {
                crossings
                    .extend(crossing([a, b], [edge[0], edge[1]]).map(|share| travelled + share * length));
            }
        }
        travelled += length;
    }
    crossings
}

/// The share of the first line at which the second crosses it.
fn crossing([a, b]: [Point; 2], [p, q]: [Point; 2]) -> Option<f64> {
    let side = |from: Point, to: Point, at: Point| {
        (to.x - from.x) * (at.y - from.y) - (to.y - from.y) * (at.x - from.x)
    };
    let (of_p, of_q) = (side(a, b, p), side(a, b, q));
    if (of_p <= 0.0) == (of_q <= 0.0) {
        return None;
    }
    let at = p + (q - p) * (of_p / (of_p - of_q));
    let (ahead, whole) = (b - a, (b.x - a.x) * (b.x - a.x) + (b.y - a.y) * (b.y - a.y));
    let share = ((at.x - a.x) * ahead.x + (at.y - a.y) * ahead.y) / whole;
    (0.0..=1.0).contains(&share).then_some(share)
}

/// The place so far along a line.
fn along(line: &[Point], mut metres: f64) -> Point {
    for pair in line.windows(2) {
        let length = apart(pair[0], pair[1]);
        if metres <= length && length > 0.0 {
            return pair[0] + (pair[1] - pair[0]) * (metres / length);
        }
        metres -= length;
    }
    line[line.len() - 1]
}

/// Stretches too short for their seeds to change over at both ends are sown as the longer of their
/// neighbours; the shortest goes first.
fn without_short(mut stretches: Vec<Stretch>, places: impl Fn(&Stretch) -> Places) -> Vec<Stretch> {
    let needed = |a: &Stretch, b: &Stretch| {
        let (a, b) = (places(a), places(b));
        let widest = f64::from(a.step.max(b.step).max(1)) * a.part_m;
        let beyond = Window::of(&a, &b).most - widest;
        widest * f64::from(2 + reach(&a, &b)) + 2.0 * beyond.max(0.0)
    };
    loop {
        let lack = |i: usize| {
            let here = &stretches[i];
            let before = i.checked_sub(1).map_or(0.0, |before| needed(&stretches[before], here));
            let after = stretches.get(i + 1).map_or(0.0, |after| needed(here, after));
            here.length() - 0.5 * (before + after)
        };
        let short = (0..stretches.len()).filter(|&i| stretches.len() > 1 && lack(i) < 0.0);
        let Some(shortest) = short.min_by(|&a, &b| stretches[a].length().total_cmp(&stretches[b].length()))
        else {
            return stretches;
        };
        let Stretch { from, to, .. } = stretches.remove(shortest);
        let length = |at: Option<usize>| at.and_then(|at| stretches.get(at)).map_or(-1.0, Stretch::length);
        if length(shortest.checked_sub(1)) >= length(Some(shortest)) {
            stretches[shortest - 1].to = to;
        } else {
            stretches[shortest].from = from;
        }
    }
}

/// How many places of the first lattice follow each other at most, of which none has a place of the second in
/// its window.
fn reach(before: &Places, after: &Places) -> u32 {
    let (a, b) = (before.step, after.step);
    if a == b || a == 0 || b == 0 {
        return 0;
    }
    let common = gcd(a, b);
    let Window { least, most } = Window::of(before, after);
    let held = ((most - least) / (f64::from(common) * before.part_m) + MET).floor() as i64;
    let (a, b) = (i64::from(a / common), i64::from(b / common));
    let fits = |place: i64| (-place * a).rem_euclid(b) < held;
    let good: Vec<i64> = (0..2 * b).filter(|&place| fits(place)).collect();
    let widest = good.windows(2).map(|pair| pair[1] - pair[0]).max().unwrap_or(b);
    u32::try_from(widest).unwrap_or(u32::MAX)
}

fn gcd(a: u32, b: u32) -> u32 {
    if b == 0 { a } else { gcd(b, a % b) }
}

/// Places of a straight row: `offset + n · spacing` metres along it, all seeds of a place within `extent`.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Places {
    /// Parts from place to place.
    pub step: u32,
    /// How long a part is, metres.
    pub part_m: f64,
    pub spacing: f64,
    pub extent: f64,
    pub offset: f64,
}

impl Places {
    /// Those of a row that is sown like `own` at the field's rate, and shifted by this share of its spacing.
    pub fn of(rate: Rate, own: Stand, parts: u32, phase: f64) -> Self {
        let part_m = own.spacing.to_m() / f64::from(parts);
        let spacing = f64::from(rate.step) * part_m;
        let extent = rate.stand(own, parts).pattern.length().to_m();
        Self { step: rate.step, part_m, spacing, extent, offset: phase * spacing }
    }
}

/// How near to each other and how far apart the middles of the last place of one lattice and of the first of
/// the next may be, metres.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Window {
    pub least: f64,
    pub most: f64,
}

impl Window {
    pub fn of(before: &Places, after: &Places) -> Self {
        // So far apart are the middles where the clear distance is that of the one lattice, or of the other.
        let longer = 0.5 * (before.extent - after.extent);
        let (one, other) = (before.spacing - longer, after.spacing + longer);
        let least = one.min(other).max(before.part_m);
        let most = one.max(other);
        if before.step == after.step {
            return Self { least, most };
        }
        let common = f64::from(gcd(before.step, after.step)) * before.part_m;
        Self { least, most: most.max(least + common) }
    }
}

/// A share of a spacing within which a distance counts as met.
const MET: f64 = 1e-6;

/// Numbers of the last place of one lattice and of the first of the next about a border.
pub fn handover(before: &Places, after: &Places, border: f64) -> (i64, i64) {
    let Window { least, most } = Window::of(before, after);
    let mean = 0.5 * (before.spacing + after.spacing);
    let nearest = ((border - 0.5 * mean - before.offset) / before.spacing).round() as i64;
    let follower = |place: i64| {
        let at = before.offset + place as f64 * before.spacing;
        let number = ((at + mean - after.offset) / after.spacing).round() as i64;
        let gap = |number: i64| after.offset + number as f64 * after.spacing - at;
        let fits = |&number: &i64| gap(number) >= least * (1.0 - MET) && gap(number) <= most * (1.0 + MET);
        let known = [number, number + 1, number - 1].into_iter().find(fits);
        known.map(|number| (place, number))
    };
    let reach = i64::from(reach(before, after));
    let outward = (0..=reach).flat_map(|away| [nearest - away, nearest + away]);
    let mut fitting = outward.filter_map(follower);
    fitting.next().unwrap_or_else(|| {
        let at = before.offset + nearest as f64 * before.spacing;
        (nearest, ((at + mean - after.offset) / after.spacing).round() as i64)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::check::Pattern;
    use crate::site::SiteZone;
    use geo::{Rect, coord};
    use lanewright_schema::quantity::Length;
    use proptest::prelude::*;

    fn zones(borders: &[f64], steps: &[u32], elsewhere: Option<u32>) -> SiteZones {
        let zone = |(i, &step): (usize, &u32)| {
            let ground = Rect::new(coord! { x: borders[i], y: -5.0 }, coord! { x: borders[i + 1], y: 5.0 });
            SiteZone::new(format!("{i}"), ground.to_polygon().into(), Rate::own(step))
        };
        let zones = steps.iter().enumerate().map(zone).collect();
        SiteZones { parts: 12, zones, elsewhere: elsewhere.map(Rate::own) }
    }

    /// A twelfth of it is a part.
    const OWN: Stand = Stand { spacing: Length::cm(18.0), pattern: Pattern::Single };
    const LINE: [Point; 3] =
        [Point { x: 0.0, y: 0.5 }, Point { x: 40.0, y: 0.5 }, Point { x: 100.0, y: 0.5 }];

    #[test]
    fn a_row_is_cut_where_it_leaves_a_zone() {
        let found = stretches(&zones(&[10.0, 30.0, 60.0], &[12, 16], Some(12)), &LINE, OWN);
        let ends: Vec<(f64, f64, Option<usize>)> = found.iter().map(|s| (s.from, s.to, s.zone)).collect();
        assert_eq!(
            ends,
            [(0.0, 10.0, None), (10.0, 30.0, Some(0)), (30.0, 60.0, Some(1)), (60.0, 100.0, None)]
        );
    }

    #[test]
    fn a_slip_between_zones_goes_to_both_and_a_sliver_to_its_neighbour() {
        let slip = stretches(&zones(&[-1.0, 50.0, 101.0], &[12, 16], None), &LINE, OWN);
        assert_eq!(slip.len(), 2);
        let sliver = stretches(&zones(&[-1.0, 50.0, 50.2, 101.0], &[12, 16, 12], None), &LINE, OWN);
        assert_eq!(sliver.iter().map(|s| s.zone).collect::<Vec<_>>(), [Some(0), Some(2)]);
        assert!((sliver[0].to - 50.2).abs() < 1e-9 && sliver[0].to == sliver[1].from);
    }

    /// Places so many hundredths of a metre apart, hills on them as long as this share of that.
    fn places(step: u32, share: f64, phase: f64) -> Places {
        let (part_m, spacing) = (0.01, f64::from(step) * 0.01);
        Places { step, part_m, spacing, extent: share * spacing, offset: phase * spacing }
    }

    /// No hill at all, or one of some share of its spacing.
    fn extent() -> impl Strategy<Value = f64> {
        prop_oneof![Just(0.0), 0.0..0.99_f64]
    }

    proptest! {
        /// Across a border no two seeds are nearer than the smaller spacing or farther apart than the
        /// larger, whatever the two steps, the shift of the row and the place of the border; and the
        /// border moves by no more than the reach says.
        #[test]
        fn seeds_keep_their_distance_across_a_border(
            a in 1_u32..90, b in 1_u32..90, phase in 0.0..1.0_f64, border in -50.0..50.0_f64,
        ) {
            let (before, after) = (places(a, 0.0, phase), places(b, 0.0, phase));
            let (last, first) = handover(&before, &after, border);
            let at = |lattice: &Places, number: i64| lattice.offset + number as f64 * lattice.spacing;
            let (last, first) = (at(&before, last), at(&after, first));
            let gap = first - last;
            prop_assert!(gap >= f64::from(a.min(b)) * before.part_m - 1e-6, "{gap}");
            prop_assert!(gap <= f64::from(a.max(b)) * before.part_m + 1e-6, "{gap}");
            let moved = (0.5 * (first + last) - border).abs();
            let most = before.spacing * f64::from(1 + reach(&before, &after)) + after.spacing;
            prop_assert!(moved <= most, "{moved}");
        }

        /// Hills, too: the clear distance is no less than the smaller of the two lattices' own, and above the
        /// larger by less than what both spacings are multiples of; places have numbers of their own.
        #[test]
        fn hills_keep_their_clear_distance_across_a_border(
            a in 1_u32..90, b in 1_u32..90, hills in (extent(), extent()),
            phase in 0.0..1.0_f64, border in -50.0..50.0_f64,
        ) {
            let (before, after) = (places(a, hills.0, phase), places(b, hills.1, phase));
            let (last, first) = handover(&before, &after, border);
            let at = |lattice: &Places, number: i64| lattice.offset + number as f64 * lattice.spacing;
            let (last, first) = (at(&before, last), at(&after, first));
            let clear = first - after.extent / 2.0 - (last + before.extent / 2.0);
            let own = [&before, &after].map(|lattice| lattice.spacing - lattice.extent);
            let common = f64::from(gcd(a, b)) * before.part_m;
            prop_assert!(clear >= own[0].min(own[1]) - 1e-6, "{clear} of {own:?}");
            let most = if a == b { own[0].max(own[1]) } else { own[0].max(own[1]) + common };
            prop_assert!(clear <= most + 1e-6, "{clear} of {own:?}");
            let number = |at: f64| (at / before.part_m + 1e-6).floor() as i64;
            prop_assert!(number(first) > number(last), "{last} and {first}");
            let moved = (0.5 * (first + last) - border).abs();
            let furthest = before.spacing * f64::from(1 + reach(&before, &after)) + after.spacing + common;
            prop_assert!(moved <= furthest, "{moved}");
        }

        /// However the window lies, some place of every so many that follow each other has its fellow in it,
        /// and so many are looked at to either side of the border.
        #[test]
        fn a_pair_is_always_within_reach(
            a in 1_u32..60, b in 1_u32..60, hills in (extent(), extent()), phase in 0.0..1.0_f64,
            from in -500_i64..500,
        ) {
            let (before, after) = (places(a, hills.0, phase), places(b, hills.1, phase));
            let Window { least, most } = Window::of(&before, &after);
            let has_fellow = |place: i64| {
                let at = before.offset + place as f64 * before.spacing;
                let next = ((at + least - after.offset) / after.spacing - MET).ceil();
                after.offset + next * after.spacing - at <= most + MET
            };
            let reach = i64::from(reach(&before, &after).max(1));
            prop_assert!((from..from + reach).any(has_fellow));
        }
    }
}
