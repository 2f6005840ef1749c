//! A row through treatment zones: where it is sown how closely, and where one zone's seeds end and the
//! next one's begin.
//!
//! In: the zones of a field and the line of a row. Out: stretches of the row, each in one zone and long
//! enough for its seeds to keep their distance at both ends; and for two lattices of one row the last
//! place of the one and the first of the other.
//!
//! All spacings of a row are whole multiples `a`, `b` of one part `u` of the field's own. The distance
//! from a place of the one lattice to a place of the other is therefore one fixed remainder plus any
//! multiple of `gcd(a, b) · u`, and among the `max − min + 1` wide window from the smaller to the larger
//! spacing there is always one. So the seeds change over where the distance across the border is no less
//! than the smaller spacing and no more than the larger: at such a pair of places nearest to the border.
//! The border moves by it, but never by more than half of what the two rates differ by in one round of
//! the pattern: half a seed a row.

use crate::check::Rate;
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

/// The zones along a line of chords, and how closely each is sown. `part_m` is the length of one part of
/// the row's own spacing.
pub fn stretches(zones: &SiteZones, line: &[Point], part_m: f64) -> Vec<Stretch> {
    without_short(parts(zones, line), part_m)
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
fn without_short(mut stretches: Vec<Stretch>, part_m: f64) -> Vec<Stretch> {
    let needed = |a: &Stretch, b: &Stretch| {
        let (a, b) = (a.rate.step, b.rate.step);
        f64::from(a.max(b).max(1)) * part_m * f64::from(2 + reach(a, b))
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

/// How many places of the lattice of step `a` follow each other at most, of which none lies so that a
/// place of the lattice of step `b` is neither nearer than the smaller step nor farther than the larger.
fn reach(a: u32, b: u32) -> u32 {
    if a == b || a == 0 || b == 0 {
        return 0;
    }
    let common = gcd(a, b);
    let (a, b) = (i64::from(a / common), i64::from(b / common));
    let (least, most) = (a.min(b), a.max(b) - 1);
    let fits = |place: i64| {
        let ahead = (-place * a).rem_euclid(b);
        least + (ahead - least).rem_euclid(b) <= most
    };
    let good: Vec<i64> = (0..2 * b).filter(|&place| fits(place)).collect();
    let widest = good.windows(2).map(|pair| pair[1] - pair[0]).max().unwrap_or(b);
    u32::try_from(widest).unwrap_or(u32::MAX)
}

fn gcd(a: u32, b: u32) -> u32 {
    if b == 0 { a } else { gcd(b, a % b) }
}

/// Places of a straight row: `offset + n · spacing` metres along it.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Places {
    pub step: u32,
    pub spacing: f64,
    pub offset: f64,
}

/// A share of a spacing within which a distance counts as met.
const MET: f64 = 1e-6;

/// Numbers of the last place of one lattice and of the first of the next about a border.
pub fn handover(before: &Places, after: &Places, border: f64) -> (i64, i64) {
    let (least, most) = (before.spacing.min(after.spacing), before.spacing.max(after.spacing));
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
    let reach = i64::from(reach(before.step, after.step));
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
    use crate::site::SiteZone;
    use geo::{Rect, coord};
    use proptest::prelude::*;

    fn zones(borders: &[f64], steps: &[u32], elsewhere: Option<u32>) -> SiteZones {
        let zone = |(i, &step): (usize, &u32)| {
            let ground = Rect::new(coord! { x: borders[i], y: -5.0 }, coord! { x: borders[i + 1], y: 5.0 });
            SiteZone::new(format!("{i}"), ground.to_polygon().into(), Rate::own(step))
        };
        let zones = steps.iter().enumerate().map(zone).collect();
        SiteZones { parts: 12, zones, elsewhere: elsewhere.map(Rate::own) }
    }

    const LINE: [Point; 3] =
        [Point { x: 0.0, y: 0.5 }, Point { x: 40.0, y: 0.5 }, Point { x: 100.0, y: 0.5 }];

    #[test]
    fn a_row_is_cut_where_it_leaves_a_zone() {
        let found = stretches(&zones(&[10.0, 30.0, 60.0], &[12, 16], Some(12)), &LINE, 0.015);
        let ends: Vec<(f64, f64, Option<usize>)> = found.iter().map(|s| (s.from, s.to, s.zone)).collect();
        assert_eq!(
            ends,
            [(0.0, 10.0, None), (10.0, 30.0, Some(0)), (30.0, 60.0, Some(1)), (60.0, 100.0, None)]
        );
    }

    #[test]
    fn a_slip_between_zones_goes_to_both_and_a_sliver_to_its_neighbour() {
        let slip = stretches(&zones(&[-1.0, 50.0, 101.0], &[12, 16], None), &LINE, 0.015);
        assert_eq!(slip.len(), 2);
        let sliver = stretches(&zones(&[-1.0, 50.0, 50.2, 101.0], &[12, 16, 12], None), &LINE, 0.015);
        assert_eq!(sliver.iter().map(|s| s.zone).collect::<Vec<_>>(), [Some(0), Some(2)]);
        assert!((sliver[0].to - 50.2).abs() < 1e-9 && sliver[0].to == sliver[1].from);
    }

    proptest! {
        /// Across a border no two seeds are nearer than the smaller spacing or farther apart than the
        /// larger, whatever the two steps, the shift of the row and the place of the border; and the
        /// border moves by no more than the reach says.
        #[test]
        fn seeds_keep_their_distance_across_a_border(
            a in 1_u32..90, b in 1_u32..90, phase in 0.0..1.0_f64, border in -50.0..50.0_f64,
        ) {
            let part = 0.01;
            let places = |step: u32| {
                let spacing = f64::from(step) * part;
                Places { step, spacing, offset: phase * spacing }
            };
            let (before, after) = (places(a), places(b));
            let (last, first) = handover(&before, &after, border);
            let at = |lattice: &Places, number: i64| lattice.offset + number as f64 * lattice.spacing;
            let (last, first) = (at(&before, last), at(&after, first));
            let gap = first - last;
            prop_assert!(gap >= f64::from(a.min(b)) * part - 1e-6, "{gap}");
            prop_assert!(gap <= f64::from(a.max(b)) * part + 1e-6, "{gap}");
            let moved = (0.5 * (first + last) - border).abs();
            prop_assert!(moved <= before.spacing * f64::from(1 + reach(a, b)) + after.spacing, "{moved}");
        }
    }
}
