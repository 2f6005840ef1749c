//! The account of a field's soil: what rows cover, what is left on purpose, what is left over and
//! why. The shares add up to the field.

use super::toolbar::Toolbar;
use super::{Lane, LaneAreas, LeftOver, LeftOverReason};
use crate::geometry::band::{CHORD_M, band, fine_band};
use crate::geometry::region;
use crate::site::FieldSite;
use geo::{Euclidean, Length, MultiPolygon, Polygon};
use rayon::prelude::*;

/// Adds up a field whose blocks cover `covers` and whose unsown headland is `unsown`.
pub fn account(
    site: &FieldSite,
    covers: &[MultiPolygon],
    unsown: &MultiPolygon,
    toolbar: &Toolbar,
) -> (LaneAreas, Vec<LeftOver>) {
    let grown: Vec<Polygon> = site.keep_outs.iter().flat_map(|k| k.grown.0.clone()).collect();
    let keep_out = region::intersection(&region::union_all(&grown), &site.boundary);
    let all_covers: Vec<Polygon> = covers.iter().flat_map(|c| c.0.clone()).collect();
    let worked = region::union_all(&all_covers);
    let headland = region::difference(unsown, &worked);
    let margin = region::difference(&region::difference(&site.boundary, &site.fence), &keep_out);
    let bare = region::difference(&region::difference(&site.fence, &worked), &headland);

    let mut left_over = Vec::new();
    push(&mut left_over, margin, LeftOverReason::FenceMargin);
    let (steps, pieces) = steps_and_pieces(bare, toolbar.row_spacing);
    push(&mut left_over, steps, LeftOverReason::RowEnds);
    for piece in pieces {
        push(&mut left_over, piece, LeftOverReason::OutOfReach);
    }
    let areas = LaneAreas {
        field: region::area(&site.boundary),
        soil: region::area(&site.fence),
        worked: region::area(&worked),
        headland: region::area(&headland),
        keep_out: region::area(&keep_out),
        left_over: left_over.iter().map(|l| l.area_m2).sum(),
        overlap: 0.0,
    };
    (areas, left_over)
}

fn push(left_over: &mut Vec<LeftOver>, shape: MultiPolygon, reason: LeftOverReason) {
    let area_m2 = region::area(&shape);
    if area_m2 > 0.0 {
        left_over.push(LeftOver { shape, area_m2, reason });
    }
}

/// Slivers narrower in the mean than half a row, all together, and the larger pieces one by one.
fn steps_and_pieces(bare: MultiPolygon, row_spacing: f64) -> (MultiPolygon, Vec<MultiPolygon>) {
    let (pieces, steps) = bare
        .0
        .into_iter()
        .map(|p| MultiPolygon(vec![p]))
        .partition::<Vec<_>, _>(|p| mean_width(p) > row_spacing / 2.0);
    (MultiPolygon(steps.into_iter().flatten().collect()), pieces)
}

/// Twice the area over the perimeter: the width of a long strip.
fn mean_width(piece: &MultiPolygon) -> f64 {
    let perimeter: f64 = region::rings(piece).map(|ring| Euclidean.length(ring)).sum();
    2.0 * region::area(piece) / perimeter
}

/// Square metres that rows of more than one lane cover, each a strip of the row spacing's width that ends
/// square. A row that ends at a slanting edge of its block reaches over it with half of its width; chords of
/// neighbouring lanes differ by a hundredth of a percent.
pub fn overlap_m2(lanes: &[Lane], toolbar: &Toolbar) -> f64 {
    /// Metres.
    const FINE_CHORD_M: f64 = 0.0005;
    let cover = |lane: &Lane| region::union_all(&strips(lane, toolbar, FINE_CHORD_M));
    let covers: Vec<MultiPolygon> = lanes.par_iter().map(cover).collect();
    let all: Vec<Polygon> = covers.iter().flat_map(|cover| cover.0.iter().cloned()).collect();
    let in_all: f64 = covers.iter().map(region::area).sum();
    (in_all - region::area(&region::union_all(&all))).max(0.0)
}

/// What a lane's rows cover, each a strip of the row spacing's width.
pub fn cover(lane: &Lane, toolbar: &Toolbar) -> MultiPolygon {
    region::union_all(&strips(lane, toolbar, CHORD_M))
}

/// The same of rows that end beside each other at many places. Rounding would leave slits between them that
/// no file's positions can carry: a narrow band lies over each seam.
pub fn seamless_cover(lane: &Lane, toolbar: &Toolbar) -> MultiPolygon {
    let rows = &lane.rows;
    let pairs = rows.iter().flat_map(|row| rows.iter().map(move |other| (row, other)));
    let seams = pairs.filter(|(left, right)| left.tool_row + 1 == right.tool_row);
    let bands = seams.flat_map(|(left, right)| {
        let (from, to) = (left.from.max(right.from), left.to.min(right.to));
        let seam = f64::midpoint(toolbar.row_offsets[left.tool_row], toolbar.row_offsets[right.tool_row]);
        let edges = [seam - region::SEAM_M, seam + region::SEAM_M];
        if from < to { band(&lane.line.between(from, to), toolbar.forward, edges) } else { Vec::new() }
    });
    region::union_all(&strips(lane, toolbar, CHORD_M).into_iter().chain(bands).collect::<Vec<_>>())
}

/// What each row sweeps, with chords so near to the true way, metres.
fn strips(lane: &Lane, toolbar: &Toolbar, chord_m: f64) -> Vec<Polygon> {
    let half = toolbar.row_spacing / 2.0;
    lane.rows
        .iter()
        .flat_map(|row| {
            let right = toolbar.row_offsets[row.tool_row];
            let way = lane.line.between(row.from, row.to);
            fine_band(&way, toolbar.forward, [right - half, right + half], chord_m)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geometry::{Path, Point};
    use crate::lanes::{BlockIdx, RowSpan};
    use crate::num;
    use geo::{MapCoords, Validation};

    /// Three rows side by side, each ending elsewhere, as those of a tramline that passes a zone.
    fn stepped(angle: f64) -> (Lane, Toolbar) {
        let toolbar = Toolbar {
            row_offsets: vec![-0.45, 0.0, 0.45],
            row_spacing: 0.45,
            width: 1.35,
            forward: -0.7,
            body: vec![(1.0, 0.7), (-1.0, 0.7), (-1.0, -0.7), (1.0, -0.7)],
            turning_radius: 2.0,
        };
        let (sine, cosine) = num::sin_cos(angle);
        let from = Point { x: 21.3, y: -4.7 };
        let line = Path::straight(from, Point { x: from.x + 70.0 * cosine, y: from.y + 70.0 * sine });
        let row = |tool_row: usize, from: f64, to: f64| RowSpan { tool_row, row: 0, from, to };
        let rows = vec![row(0, 31.3, 39.9), row(1, 2.0, 68.0), row(2, 17.7, 40.1), row(2, 52.2, 53.0)];
        (Lane { block: BlockIdx(0), line, back: None, rows, rows_back: vec![] }, toolbar)
    }

    #[test]
    fn rows_with_other_ends_have_one_sound_outline() {
        // As rough as positions of nine decimals of a degree.
        let rough = |at: Point| Point { x: (at.x * 1e4).round() / 1e4, y: (at.y * 1e4).round() / 1e4 };
        let rows_m = 8.6 + 66.0 + 22.4 + 0.8;
        for degree in 0..360 {
            let (lane, toolbar) = stepped(f64::from(degree).to_radians());
            let cover = seamless_cover(&lane, &toolbar);
            assert!((region::area(&cover) - rows_m * 0.45).abs() < 1e-4, "{degree} deg");
            assert_eq!(region::rings(&cover).count(), 1, "{degree} deg: {cover:?}");
            let sound = cover.map_coords(rough).check_validation();
            assert!(sound.is_ok(), "{degree} deg: {sound:?}");
        }
    }

    #[test]
    fn a_row_that_reaches_over_a_row_of_another_lane_overlaps_it() {
        let (along, toolbar) = stepped(0.0);
        let (from, to) = (Point { x: 50.0, y: -20.0 }, Point { x: 50.0, y: 20.0 });
        // The tools trail 0.7 m behind; the middle row of the lane along x covers y from -4.925 to -4.475.
        let ends = |at_y: f64| Lane {
            line: Path::straight(from, to),
            rows: vec![RowSpan { tool_row: 1, row: 0, from: 2.0, to: at_y + 20.0 + 0.7 }],
            ..along.clone()
        };
        let beside = Lane { rows: vec![along.rows[1]], ..along.clone() };
        for (at_y, overlap_m2) in [(-5.0, 0.0), (-4.725, 0.2 * 0.45), (0.0, 0.45 * 0.45)] {
            let found = super::overlap_m2(&[beside.clone(), ends(at_y)], &toolbar);
            assert!((found - overlap_m2).abs() < 1e-6, "{found} at {at_y}");
        }
    }
}
