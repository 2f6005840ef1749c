//! The machine as the lanes see it: a convex body that slides along a line, and tool rows beside
//! it. Plain metres from the reference point, forward and to the right.

use crate::check::Machine;
use crate::num;
use geo::{ConvexHull, Coord, MultiPoint, Point};

/// Room kept between the body and the fence when lanes are laid, metres. It covers the rounding of
/// offsets and coordinates, so that the audit's own proof of the fence passes.
pub const ROOM_M: f64 = 0.014;

/// The machine as the lanes see it.
#[derive(Clone, Debug)]
pub struct Toolbar {
    /// Offset of each tool row to the right, left to right.
    pub row_offsets: Vec<f64>,
    /// Between neighbouring rows.
    pub row_spacing: f64,
    /// Rows times row spacing.
    pub width: f64,
    /// How far the tools lie ahead of the reference point.
    pub forward: f64,
    /// Convex hull of body and antennas, grown by [`ROOM_M`], corners `(forward, right)`.
    pub body: Vec<(f64, f64)>,
    /// Smallest radius of the reference point's way.
    pub turning_radius: f64,
}

impl Toolbar {
    /// From the machine as checked.
    pub fn new(machine: &Machine) -> Self {
        Self {
            row_offsets: machine.row_offsets.iter().map(|o| o.to_m()).collect(),
            row_spacing: machine.row_spacing.to_m(),
            width: machine.working_width.to_m(),
            forward: machine.tool_forward.to_m(),
            body: grown_hull(machine),
            turning_radius: machine.steering.turning_radius.to_m(),
        }
    }

    /// The body as it lies on a lane's line when the lane is driven the other way.
    pub fn body_reversed(&self) -> Vec<(f64, f64)> {
        self.body.iter().map(|(x, y)| (-x, -y)).collect()
    }

    /// How far the reference line of a lane moves to the right, seen along the lane, when it is
    /// driven the other way over the same rows: not at all for a symmetric toolbar.
    pub fn shift_reversed(&self) -> f64 {
        self.row_offsets[0] + self.row_offsets[self.row_offsets.len() - 1]
    }

    /// How far the body reaches to the left of the reference point; positive.
    pub fn left(&self) -> f64 {
        self.body.iter().map(|p| -p.1).fold(f64::NEG_INFINITY, f64::max)
    }

    /// How far the body reaches to the right of the reference point; positive.
    pub fn right(&self) -> f64 {
        self.body.iter().map(|p| p.1).fold(f64::NEG_INFINITY, f64::max)
    }

    /// How far the body's outer corners swing beyond the reference point's way, seen from the
    /// inside of an arc of this radius: the farthest corner's distance from the arc's centre, less
    /// the radius.
    pub fn swing(&self, radius: f64) -> f64 {
        self.body.iter().map(|p| num::hypot(radius + p.1.abs(), p.0) - radius).fold(0.0, f64::max)
    }
}

fn grown_hull(machine: &Machine) -> Vec<(f64, f64)> {
    let corners: MultiPoint = machine
        .body
        .iter()
        .chain(&machine.antennas)
        .flat_map(|p| {
            let (x, y) = (p.forward.to_m(), p.right.to_m());
            [(-1.0, -1.0), (-1.0, 1.0), (1.0, -1.0), (1.0, 1.0)]
                .map(|(i, j)| Point(Coord { x: x + i * ROOM_M, y: y + j * ROOM_M }))
        })
        .collect();
    let hull = corners.convex_hull();
    hull.exterior().coords().skip(1).map(|c| (c.x, c.y)).collect()
}
