//! The seeds of a run, made one at a time.

use super::{RowCourse, SeedRun};
use crate::geometry::{Path, Point, Pose, unit};

/// Where the seeds of a run lie, place by place.
pub struct Positions<'a> {
    next: u32,
    count: u32,
    spacing_m: f64,
    /// Metres from the first seed of a place to each of its seeds.
    members: Vec<f64>,
    way: Way<'a>,
}

enum Way<'a> {
    Straight { from: Point, direction: Point },
    Curved { path: &'a Path, piece: usize, start: Pose, passed: f64 },
}

impl<'a> Positions<'a> {
    /// The seeds of a run.
    pub(super) fn of(run: &'a SeedRun) -> Self {
        let way = match &run.course {
            RowCourse::Straight { from, angle } => Way::Straight { from: *from, direction: unit(*angle) },
            RowCourse::Curved(path) => Way::Curved { path, piece: 0, start: path.start, passed: 0.0 },
        };
        let members: Vec<f64> = run.members().collect();
        let count = run.count * members.len() as u32;
        Self { next: 0, count, spacing_m: run.spacing_m, members, way }
    }
}

impl Iterator for Positions<'_> {
    type Item = Point;

    fn next(&mut self) -> Option<Point> {
        if self.next == self.count {
            return None;
        }
        let members = self.members.len() as u32;
        let (place, member) = (self.next / members, self.next % members);
        self.next += 1;
        let distance = f64::from(place) * self.spacing_m + self.members[member as usize];
        Some(match &mut self.way {
            Way::Straight { from, direction } => {
                Point { x: from.x + distance * direction.x, y: from.y + distance * direction.y }
            }
            Way::Curved { path, piece, start, passed } => {
                while let Some(current) = path.pieces.get(*piece) {
                    let is_last = *piece + 1 == path.pieces.len();
                    if distance <= *passed + current.distance() || is_last {
                        break;
                    }
                    *passed += current.distance();
                    *start = current.end(*start);
                    *piece += 1;
                }
                match path.pieces.get(*piece) {
                    Some(current) => {
                        current.pose_after(*start, (distance - *passed).clamp(0.0, current.distance())).at
                    }
                    None => path.start.at,
                }
            }
        })
    }

    fn size_hint(&self) -> (usize, Option<usize>) {
        let left = (self.count - self.next) as usize;
        (left, Some(left))
    }
}

impl ExactSizeIterator for Positions<'_> {}
