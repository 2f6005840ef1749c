//! The account of a field's soil: what rows cover, what is left on purpose, what is left over and
//! why. The shares add up to the field.

use super::toolbar::Toolbar;
use super::{Lane, LaneAreas, LeftOver, LeftOverReason};
use crate::geometry::band::band;
use crate::geometry::region;
use crate::site::FieldSite;
use geo::{Euclidean, Length, MultiPolygon, Polygon};

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
    let covered_singly = region::area(&worked);
    let covered_in_all: f64 = covers.iter().map(region::area).sum();
    let areas = LaneAreas {
        field: region::area(&site.boundary),
        soil: region::area(&site.fence),
        worked: covered_singly,
        headland: region::area(&headland),
        keep_out: region::area(&keep_out),
        left_over: left_over.iter().map(|l| l.area_m2).sum(),
        overlap: (covered_in_all - covered_singly).max(0.0),
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

/// What a lane's rows cover, each a strip of the row spacing's width.
pub fn cover(lane: &Lane, toolbar: &Toolbar) -> MultiPolygon {
    let half = toolbar.row_spacing / 2.0;
    let strips: Vec<Polygon> = lane
        .rows
        .iter()
        .flat_map(|row| {
            let right = toolbar.row_offsets[row.tool_row];
            band(&lane.line.between(row.from, row.to), toolbar.forward, [right - half, right + half])
        })
        .collect();
    region::union_all(&strips)
}
