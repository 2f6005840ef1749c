//! Lanes for rows that the regular lanes miss: in necks, tails and tapered strips, where a lane that
//! counts its rows from the block's edge does not fit but one a few rows aside does.
//!
//! In: what of each row is unworked, how many tool rows there are, and where a lane can be driven.
//! Out: lanes on the same lattice, each working only what was unworked. The lane that gains most is
//! taken first, until none gains enough to be worth a turn.

use super::straight::{Group, RowPiece, Taken, extent, work};
use crate::geometry::interval::Interval;
use std::cell::OnceCell;

/// Rows' lengths that a lane must gain, as a multiple of the shortest lane.
const WORTH: f64 = 4.0;

/// The lanes worth driving. `reach` tells where the tool can be over a group that begins at a row.
pub fn missed(
    mut unworked: Vec<Vec<Interval>>,
    tools: usize,
    shortest_lane: f64,
    reach: impl Fn(i64) -> Vec<Interval>,
) -> Vec<Taken> {
    let (rows, tools) = (unworked.len() as i64, tools as i64);
    let group = |first: i64| Group { first, active: first.max(0)..(first + tools).min(rows) };
    let firsts = 1 - tools..rows;
    let reaches: Vec<OnceCell<Vec<Interval>>> = firsts.clone().map(|_| OnceCell::new()).collect();
    let reach = |first: i64| reaches[(first - firsts.start) as usize].get_or_init(|| reach(first));
    let best = |first: i64, unworked: &[Vec<Interval>]| {
        let group = group(first);
        let any: f64 = group.active.clone().flat_map(|row| &unworked[row as usize]).map(|i| i.length()).sum();
        if any < WORTH * shortest_lane {
            return None;
        }
        let lanes = reach(first).iter().flat_map(|&reach| group.pieces(unworked, reach));
        lanes
            .filter(|pieces| {
                extent(pieces).length() >= shortest_lane && gain(pieces) >= WORTH * shortest_lane
            })
            .max_by(|a, b| gain(a).total_cmp(&gain(b)))
    };
    let mut offers: Vec<Option<Vec<RowPiece>>> = firsts.clone().map(|first| best(first, &unworked)).collect();
    let mut lanes = Vec::new();
    while let Some(most) = (0..offers.len())
        .filter(|&i| offers[i].is_some())
        .max_by(|&i, &j| offered(offers[i].as_ref()).total_cmp(&offered(offers[j].as_ref())).then(j.cmp(&i)))
    {
        let Some(pieces) = offers[most].take() else { break };
        work(&mut unworked, &pieces);
        let first = firsts.start + most as i64;
        lanes.push((first, pieces));
        for near in (first - tools + 1).max(firsts.start)..(first + tools).min(firsts.end) {
            offers[(near - firsts.start) as usize] = best(near, &unworked);
        }
    }
    lanes
}

fn gain(pieces: &[RowPiece]) -> f64 {
    pieces.iter().map(|piece| piece.along.length()).sum()
}

fn offered(offer: Option<&Vec<RowPiece>>) -> f64 {
    offer.map_or(0.0, |pieces| gain(pieces))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_neck_between_two_groups_gets_its_own_lanes() {
        // Nine rows of a neck that regular groups of six would straddle; the body fits over rows 2
        // to 10 only, and so the tool bar at rows 2 to 5.
        let unworked: Vec<Vec<Interval>> = (0..12)
            .map(|row| if (2..11).contains(&row) { vec![Interval::new(0.0, 50.0)] } else { vec![] })
            .collect();
        let reach = |first: i64| {
            if (2..=5).contains(&first) { vec![Interval::new(1.0, 49.0)] } else { vec![] }
        };
        let lanes = missed(unworked, 6, 3.0, reach);
        let worked: Vec<i64> = lanes.iter().flat_map(|lane| lane.1.iter().map(|piece| piece.row)).collect();
        let mut sorted = worked.clone();
        sorted.sort_unstable();
        assert_eq!(sorted, (2..11).collect::<Vec<_>>());
        assert_eq!(lanes.len(), 2);
        assert!(
            lanes.iter().flat_map(|lane| &lane.1).all(|piece| (piece.along.length() - 48.0).abs() < 1e-9)
        );
    }

    #[test]
    fn scraps_are_not_worth_a_lane() {
        let unworked = vec![vec![Interval::new(0.0, 5.0)]; 2];
        assert!(missed(unworked, 6, 3.0, |_| vec![Interval::new(-9.0, 9.0)]).is_empty());
    }
}
