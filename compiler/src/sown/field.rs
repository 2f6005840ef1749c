//! One field of the folder: its ground, its blocks and its seeds in metres of the field frame.

use super::folder::Folder;
use super::{Outlets, SownField, lanes};
use crate::check::Pattern;
use crate::diagnostic::Finding;
use crate::geometry::{Gear, Path, Piece, Point, Pose, angle_of_heading, direction, distance};
use crate::lanes::{Block, BlockIdx, Course, LaneAreas, LaneIdx, LanePlan, LeftOver, LeftOverReason};
use crate::num;
use crate::seeds::{RowCourse, SeedMap, SeedRun};
use crate::site::Projector;
use crate::uncertainty::Sigma;
use geo::{LineString, MultiPolygon, Polygon};
use lanewright_schema::plan::{self, Position, Shape, What};
use lanewright_schema::quantity::{GeoPoint, Heading, Length};
use lanewright_schema::seedmap::rows::{RowPattern, Run, SeedRow};

/// A field with its lanes as they were sown.
pub fn sown_field(name: &str, folder: &Folder, projector: &Projector) -> Result<SownField, Finding> {
    let mut blocks = Vec::new();
    let mut driven: Vec<&plan::Lane> = Vec::new();
    let mut headland = MultiPolygon(Vec::new());
    let mut left_over = Vec::new();
    for feature in folder.features(name) {
        match (&feature.what, &feature.shape) {
            (What::Headland { .. }, Shape::Area(area)) => headland = region(area, projector)?,
            (What::Block(block), Shape::Area(area)) => {
                blocks.push(Block { zone: region(area, projector)?, course: course(block) });
            }
            (What::Lane(lane), _) => driven.push(lane),
            (What::LeftOver { reason, area_m2 }, Shape::Area(area)) => left_over.push(LeftOver {
                shape: region(area, projector)?,
                area_m2: *area_m2,
                reason: LeftOverReason::named(reason)
                    .ok_or_else(|| folder.torn(&format!("`{reason}` is no reason for left-over soil")))?,
            }),
            _ => {}
        }
    }
    driven.sort_by_key(|lane| lane.order);
    let sower = &folder.manifest.machine;
    let lanes = driven
        .iter()
        .map(|lane| lanes::lane(lane, sower))
        .collect::<Option<Vec<_>>>()
        .ok_or_else(|| folder.torn("a lane works rows that its machine has not"))?;
    let figures = folder.manifest.fields.iter().find(|field| field.name == name);
    let figures = figures.ok_or_else(|| folder.torn("a field has no figures"))?;
    let areas = areas(&figures.figures);
    let plan = LanePlan { blocks, lanes, headland, left_over, areas };
    let own: Vec<&SeedRow> = folder.rows.iter().filter(|row| row.run.field == name).collect();
    let runs = own
        .iter()
        .map(|row| run(row, &plan, projector)?.ok_or_else(|| folder.torn("a run of seeds lies in no lane")))
        .collect::<Result<_, _>>()?;
    let sigma = |row: &&SeedRow| Sigma {
        along: Length::m(row.run.sigma_along_m),
        across: Length::m(row.run.sigma_across_m),
    };
    Ok(SownField {
        sigmas: own.iter().map(sigma).collect(),
        lanes: plan,
        outlets: Outlets {
            offsets: sower.row_offsets_m.iter().map(|&row| Length::m(row)).collect(),
            forward: Length::m(sower.tool_x_m),
        },
        seeds: SeedMap { runs },
    })
}

fn areas(figures: &lanewright_schema::manifest::Figures) -> LaneAreas {
    LaneAreas {
        field: figures.field_m2,
        soil: figures.soil_m2,
        worked: figures.worked_m2,
        headland: figures.headland_m2,
        keep_out: figures.keep_out_m2,
        left_over: figures.left_over_m2,
        overlap: figures.overlap_m2,
    }
}

fn course(block: &plan::Block) -> Course {
    match (block.heading_deg, block.datum_m) {
        (Some(heading), Some([x, y])) => {
            Course::Straight { heading: Heading::degrees(heading), datum: Point { x, y } }
        }
        _ => block.lap.map_or(Course::Contour, |lap| Course::Lap { lap }),
    }
}

fn ground(at: &Position, projector: &Projector) -> Result<Point, Finding> {
    projector.to_ground(GeoPoint { longitude: at[0], latitude: at[1] })
}

fn region(area: &[plan::Polygon], projector: &Projector) -> Result<MultiPolygon, Finding> {
    let ring = |ring: &Vec<Position>| {
        ring.iter().map(|at| ground(at, projector)).collect::<Result<Vec<_>, _>>().map(LineString)
    };
    let polygon = |rings: &plan::Polygon| {
        let mut rings = rings.iter().map(ring).collect::<Result<Vec<_>, _>>()?;
        let holes = rings.split_off(rings.len().min(1));
        Ok(Polygon::new(rings.pop().unwrap_or(LineString(Vec::new())), holes))
    };
    area.iter().map(polygon).collect::<Result<_, Finding>>().map(MultiPolygon)
}

/// A run as it was sown; none where the plan has no such lane or row.
fn run(row: &SeedRow, plan: &LanePlan, projector: &Projector) -> Result<Option<SeedRun>, Finding> {
    let SeedRow { run, line } = row;
    let (first, last) = (Point { x: run.first_x, y: run.first_y }, Point { x: run.last_x, y: run.last_y });
    let Some(block) = plan.blocks.get(run.block) else { return Ok(None) };
    let Some(index) = run.lane.checked_sub(1) else { return Ok(None) };
    let span = plan.lanes.get(index).and_then(|lane| lane.rows.iter().find(|span| span.row == run.row));
    let Some(span) = span else { return Ok(None) };
    let course = match block.course {
        Course::Straight { heading, .. } => {
            RowCourse::Straight { from: first, angle: angle_of_heading(heading) }
        }
        Course::Lap { .. } | Course::Contour => {
            let mut points = line.iter().map(|at| ground(at, projector)).collect::<Result<Vec<_>, _>>()?;
            // The ends are given to the micrometre, the places between them to a tenth of a millimetre.
            if let [begin, .., end] = points.as_mut_slice() {
                (*begin, *end) = (first, last);
            }
            RowCourse::Curved(chain(&points))
        }
    };
    Ok(Some(SeedRun {
        block: BlockIdx(run.block),
        lane: LaneIdx(index),
        tool_row: span.tool_row,
        row: run.row,
        zone: None,
        first: run.first,
        step: run.step,
        count: run.count,
        spacing_m: run.spacing_m,
        pattern: pattern(run),
        course,
    }))
}

/// What lies at a run's places.
pub fn pattern(run: &Run) -> Pattern {
    match run.pattern {
        RowPattern::Single => Pattern::Single,
        RowPattern::Hill => Pattern::Hill {
            seeds: run.hill_seeds.unwrap_or(1),
            length: Length::m(run.hill_length_m.unwrap_or(0.0)),
        },
        RowPattern::Drill => Pattern::Drill,
    }
}

/// Points joined by straight pieces.
fn chain(points: &[Point]) -> Path {
    let at = points.first().copied().unwrap_or(Point { x: 0.0, y: 0.0 });
    let mut path = Path { start: Pose { at, angle: 0.0 }, pieces: Vec::new() };
    let mut angle = None;
    for pair in points.windows(2).filter(|pair| pair[0] != pair[1]) {
        let ahead = direction(pair[0], pair[1]);
        match angle {
            None => path.start.angle = ahead,
            Some(before) => path.pieces.push(Piece::spot(num::wrap_angle(ahead - before))),
        }
        angle = Some(ahead);
        path.pieces.push(Piece::straight(Gear::Forward, distance(pair[0], pair[1])));
    }
    path
}
