//! A small map in characters of the place where a proof fails, for a terminal, a log or a program.
//!
//! In: the fence, the machine, everything that is driven, and the place. Out: lines of text, north
//! up. It is coarser than the fault may be; figures and coordinates stand in the finding itself.

use super::fence::is_inside;
use crate::check::Machine;
use crate::geometry::{Path, Point, Pose, distance};
use crate::site::FieldSite;
use geo::Contains;

/// Characters across and down. A character is about twice as high as wide, and so is its ground.
const SIZE: (usize, usize) = (64, 24);
/// Ground that a character stands for, metres across and down.
const CELL_M: (f64, f64) = (0.25, 0.5);

/// The map, one line of text after the other.
pub(super) fn sketch(site: &FieldSite, machine: &Machine, paths: &[&Path], place: Point) -> Vec<String> {
    let driven = poses_near(paths, place);
    let nearest = driven.iter().min_by(|a, b| distance(a.at, place).total_cmp(&distance(b.at, place)));
    let body: Vec<Point> = nearest.map_or_else(Vec::new, |pose| {
        machine.body.iter().map(|p| pose.ground(p.forward.to_m(), p.right.to_m())).collect()
    });
    let mut rows: Vec<Vec<char>> = (0..SIZE.1)
        .map(|row| (0..SIZE.0).map(|column| ground(site, &body, centre(place, column, row))).collect())
        .collect();
    for pose in &driven {
        if let Some((column, row)) = cell(place, pose.at) {
            rows[row][column] = '+';
        }
    }
    rows[SIZE.1 / 2][SIZE.0 / 2] = 'X';
    let (across_m, down_m) = (SIZE.0 as f64 * CELL_M.0, SIZE.1 as f64 * CELL_M.1);
    let key = format!(
        "X the place, B the body, + what is driven, # beyond the fence; {across_m:.0} m by {down_m:.0} m, north up"
    );
    rows.into_iter()
        .map(|row| row.into_iter().collect::<String>().trim_end().to_owned())
        .chain([key])
        .collect()
}

fn ground(site: &FieldSite, body: &[Point], at: Point) -> char {
    if is_inside(at, body) {
        'B'
    } else if site.fence.contains(&geo::Point(at)) {
        ' '
    } else {
        '#'
    }
}

/// Poses so dense that a line of them has no gap on the map.
fn poses_near(paths: &[&Path], place: Point) -> Vec<Pose> {
    let spacing_m = CELL_M.0;
    let all = paths.iter().flat_map(|path| {
        let count = (path.length() / spacing_m).ceil() as u32;
        path.poses_at((0..=count).map(|i| f64::from(i) * spacing_m))
    });
    all.filter(|pose| cell(place, pose.at).is_some()).collect()
}

fn centre(place: Point, column: usize, row: usize) -> Point {
    Point {
        x: place.x + (column as f64 - (SIZE.0 / 2) as f64) * CELL_M.0,
        y: place.y - (row as f64 - (SIZE.1 / 2) as f64) * CELL_M.1,
    }
}

fn cell(place: Point, at: Point) -> Option<(usize, usize)> {
    let column = ((at.x - place.x) / CELL_M.0).round() + (SIZE.0 / 2) as f64;
    let row = ((place.y - at.y) / CELL_M.1).round() + (SIZE.1 / 2) as f64;
    let inside = (0.0..SIZE.0 as f64).contains(&column) && (0.0..SIZE.1 as f64).contains(&row);
    inside.then_some((column as usize, row as usize))
}
