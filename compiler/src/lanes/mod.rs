//! Lanes: blocks with a heading each, the machine's lanes, each tool row's own beginning and end,
//! headland laps, and what stays unworked and why.

mod blocks;
mod clearance;
mod contour;
mod division;
mod easing;
mod guide;
mod heading;
mod headland;
mod lap_clearance;
mod lap_rows;
mod left_over;
mod missed;
mod no_room;
mod over_rows;
mod sides;
mod stations;
mod straight;
mod toolbar;

use crate::check::{Field, HeadlandSown, Machine};
use crate::diagnostic::{Severity, Told};
use crate::geometry::{Path, Point, region};
use crate::site::FieldSite;
use crate::turns::{self, FreeSpace};
pub use over_rows::{LatticeRows, OverRows, over_rows};

use contour::contour_block;
use division::{Run, Zone};
use geo::{BoundingRect, Intersects, MultiPolygon, Polygon};
use heading::Prices;
use headland::{HeadlandPlan, Lap};
use lanewright_schema::quantity::Heading;
use straight::straight_block;
use toolbar::Toolbar;

/// Lays the lanes of one field.
pub fn lanes(field: &Field, site: &FieldSite, machine: &Machine) -> Told<LanePlan> {
    let toolbar = Toolbar::new(machine);
    let shortest_lane = toolbar.width;
    if let Some(finding) = no_room::machine_too_large(field, site, machine, &toolbar) {
        return Told { value: None, findings: vec![finding] };
    }
    let prices = Prices::new(machine, shortest_lane);
    let exit = site.home.or(site.entrances.first().map(|(_, at)| *at));
    let HeadlandPlan { main, laps } = headland::headland(&site.fence, &toolbar, field.headland, exit);

    let zones = division::zones(&main, &site.layout, &toolbar, &prices);
    let mut findings = division::granted(field, site, &main, &zones);
    if findings.iter().any(|finding| finding.severity == Severity::Error) {
        return Told { value: None, findings };
    }
    let space = FreeSpace::new(&site.fence, turns::footprint(machine));
    let mut laid = Laid::new(&site.fence, &toolbar, prices);
    for zone in &zones {
        laid.zone(zone, &space);
    }
    if laid.lanes.is_empty()
        && let Some(finding) = no_room::headland_too_wide(field, site, &toolbar, &prices)
    {
        return Told { value: None, findings: vec![finding] };
    }
    for Lap { number, ways } in laps {
        let fitting = |way: &Path| {
            let stretches = clearance::stretches(way, &space).into_iter();
            stretches.map(|fits| way.between(fits.from, fits.to)).collect::<Vec<_>>()
        };
        let ways: Vec<Path> = ways.iter().flat_map(fitting).collect();
        laid.lap(number, &ways, &main);
    }
    if field.headland.sown != HeadlandSown::No {
        laid.fill(&main, &space);
    }
    let headland_region = region::difference(&site.fence, &main);
    let unsown = match field.headland.sown {
        HeadlandSown::No => headland_region.clone(),
        HeadlandSown::First | HeadlandSown::Last => MultiPolygon(Vec::new()),
    };
    let (areas, left_over) = left_over::account(site, &laid.covers, &unsown, &toolbar);
    let plan =
        LanePlan { blocks: laid.blocks, lanes: laid.lanes, headland: headland_region, left_over, areas };
    if plan.lanes.is_empty() {
        findings.push(no_room::too_narrow(field, site, machine, &toolbar));
        return Told { value: None, findings };
    }
    Told { value: Some(plan), findings }
}

/// The plan without some lanes: they keep their index, work no row, and their soil is left over.
#[must_use]
pub fn without(mut plan: LanePlan, lanes: &[LaneIdx], reason: LeftOverReason, machine: &Machine) -> LanePlan {
    let toolbar = Toolbar::new(machine);
    for &lane in lanes {
        let rowless = Lane { rows: Vec::new(), rows_back: Vec::new(), ..plan.lanes[lane.0].clone() };
        replace(&mut plan, lane, rowless, reason, &toolbar);
    }
    plan
}

/// The plan with a lane in the place of a longer one: what it does not work any more is left over.
#[must_use]
pub fn with_shorter(
    mut plan: LanePlan,
    lane: LaneIdx,
    shorter: Lane,
    reason: LeftOverReason,
    machine: &Machine,
) -> LanePlan {
    replace(&mut plan, lane, shorter, reason, &Toolbar::new(machine));
    plan
}

/// The plan with a lane in the place of one that worked these pieces of rows, too; their soil is left over.
#[must_use]
pub fn without_rows(
    mut plan: LanePlan,
    lane: LaneIdx,
    by: Lane,
    gone: Vec<RowSpan>,
    reason: LeftOverReason,
    machine: &Machine,
) -> LanePlan {
    let gone = Lane { rows: gone, ..plan.lanes[lane.0].clone() };
    let zone = &plan.blocks[by.block.0].zone;
    let shape = region::intersection(&left_over::seamless_cover(&gone, &Toolbar::new(machine)), zone);
    leave(&mut plan, lane, by, shape, reason);
    plan
}

/// The plan with the account of what its lanes cover twice, once these are final.
#[must_use]
pub fn with_overlap(mut plan: LanePlan, machine: &Machine) -> LanePlan {
    plan.areas.overlap = left_over::overlap_m2(&plan.lanes, &Toolbar::new(machine));
    plan
}

fn replace(plan: &mut LanePlan, lane: LaneIdx, by: Lane, reason: LeftOverReason, toolbar: &Toolbar) {
    let zone = &plan.blocks[by.block.0].zone;
    let cover = |lane: &Lane| region::intersection(&left_over::cover(lane, toolbar), zone);
    let shape = region::difference(&cover(&plan.lanes[lane.0]), &cover(&by));
    leave(plan, lane, by, shape, reason);
}

fn leave(plan: &mut LanePlan, lane: LaneIdx, by: Lane, shape: MultiPolygon, reason: LeftOverReason) {
    plan.lanes[lane.0] = by;
    let area_m2 = region::area(&shape);
    if area_m2 > 0.0 {
        plan.areas.worked -= area_m2;
        plan.areas.left_over += area_m2;
        plan.left_over.push(LeftOver { shape, area_m2, reason });
    }
}

/// What has been laid so far.
struct Laid<'a> {
    fence: &'a MultiPolygon,
    toolbar: &'a Toolbar,
    prices: Prices,
    blocks: Vec<Block>,
    lanes: Vec<Lane>,
    /// What the rows of each block cover.
    covers: Vec<MultiPolygon>,
}

impl<'a> Laid<'a> {
    fn new(fence: &'a MultiPolygon, toolbar: &'a Toolbar, prices: Prices) -> Self {
        Self { fence, toolbar, prices, blocks: Vec::new(), lanes: Vec::new(), covers: Vec::new() }
    }

    fn zone(&mut self, Zone { soil, run }: &Zone, space: &FreeSpace) {
        let LaidBlock { block, lanes, worked } = match run {
            Run::Straight(angle) => {
                straight_block(soil, self.fence, self.toolbar, *angle, self.prices.shortest_lane_m)
            }
            Run::Along(curve) => contour_block(soil, space, self.toolbar, curve, &self.prices),
        };
        if !lanes.is_empty() {
            self.push(block, lanes, worked);
        }
    }

    fn push(&mut self, block: Block, lanes: Vec<Lane>, worked: MultiPolygon) {
        let index = BlockIdx(self.blocks.len());
        self.lanes.extend(lanes.into_iter().map(|lane| Lane { block: index, ..lane }));
        self.blocks.push(block);
        self.covers.push(worked);
    }

    /// Each lane of a lap is a block of its own, on soil that nothing before it covers and that the way
    /// after it does not.
    fn lap(&mut self, number: u32, ways: &[Path], main: &MultiPolygon) {
        let swaths: Vec<MultiPolygon> = ways.iter().map(|way| headland::swath(way, self.toolbar)).collect();
        for (at, way) in ways.iter().enumerate() {
            let swath = &swaths[at];
            let Some(bounds) = swath.bounding_rect() else { continue };
            let lapped = self.blocks.iter().filter(|block| matches!(block.course, Course::Lap { .. }));
            let near = lapped.map(|block| &block.zone).chain(swaths.get(at + 1));
            let taken: Vec<Polygon> = near
                .filter(|zone| zone.bounding_rect().is_some_and(|other| other.intersects(&bounds)))
                .flat_map(|zone| zone.0.iter().cloned())
                .collect();
            let bare = region::difference(&region::intersection(swath, self.fence), main);
            let soil = region::difference(&bare, &region::union_all(&taken));
            for lane in lap_rows::lanes(way, self.toolbar, &soil, self.prices.shortest_lane_m) {
                let zone = region::intersection(&left_over::cover(&lane, self.toolbar), &soil);
                self.push(
                    Block { zone: zone.clone(), course: Course::Lap { lap: number } },
                    vec![lane],
                    zone,
                );
            }
        }
    }

    /// Lanes on what the laps could not reach and the main field does not hold: tails, necks, corners.
    fn fill(&mut self, main: &MultiPolygon, space: &FreeSpace) {
        let taken: Vec<Polygon> =
            self.covers.iter().chain([main]).flat_map(|cover| cover.0.clone()).collect();
        let taken = region::union_all(&taken);
        let bare = region::opened(&region::difference(self.fence, &taken), self.toolbar.row_spacing);
        for piece in bare.0.into_iter().map(MultiPolygon::from) {
            if region::area(&piece) >= self.toolbar.width * self.toolbar.width * 2.0 {
                for zone in division::as_pays(piece, self.toolbar, &self.prices) {
                    self.zone(&zone, space);
                }
            }
        }
    }
}

/// Where a lane belongs.
#[derive(Copy, Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct BlockIdx(pub usize);

/// A lane of one field.
#[derive(Copy, Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct LaneIdx(pub usize);

/// The lanes of one field.
#[derive(Clone, Debug)]
pub struct LanePlan {
    /// Blocks: first those of the main field, then one for each headland lap that is sown.
    pub blocks: Vec<Block>,
    /// All lanes, those of a block together.
    pub lanes: Vec<Lane>,
    /// The headland: fence less main field. Empty if there is none.
    pub headland: MultiPolygon,
    /// What no row covers, with reasons.
    pub left_over: Vec<LeftOver>,
    /// Areas that add up.
    pub areas: LaneAreas,
}

/// Soil worked on one lattice.
#[derive(Clone, Debug)]
pub struct Block {
    /// The soil it covers.
    pub zone: MultiPolygon,
    /// The way its lanes and rows run.
    pub course: Course,
}

/// A block with its lanes.
#[derive(Clone, Debug)]
pub struct LaidBlock {
    /// The block.
    pub block: Block,
    /// Its lanes from left to right, pieces of one line in driving order.
    pub lanes: Vec<Lane>,
    /// What its rows cover, within the zone.
    pub worked: MultiPolygon,
}

/// How a block's rows run.
#[derive(Clone, Debug)]
pub enum Course {
    /// Parallel straight rows. Row `k` lies `k × row spacing` to the right of the line through
    /// the datum along the heading; seeds count from the datum's own line across.
    Straight {
        /// The heading.
        heading: Heading,
        /// The lattice's origin.
        datum: Point,
    },
    /// Rows side by side along a curve: lanes are its offsets, row `k` lies `k` row spacings to its
    /// right, and seeds count from each row's own beginning.
    Contour,
    /// Rows that follow a headland lap's way; rows are tool rows, seeds count from each row's
    /// first point.
    Lap {
        /// One is outermost.
        lap: u32,
    },
}

/// One lane: a way of the machine with its tool rows.
#[derive(Clone, Debug)]
pub struct Lane {
    /// Its block.
    pub block: BlockIdx,
    /// The way of the reference point, tool entering at the start and leaving at the end.
    pub line: Path,
    /// The same lane driven from its other end, where that is allowed.
    pub back: Option<Path>,
    /// What each tool row works when `line` is driven.
    pub rows: Vec<RowSpan>,
    /// The same pieces of rows when `back` is driven, with the tool rows over them and distances
    /// along it; empty where there is no `back`.
    pub rows_back: Vec<RowSpan>,
}

/// One uninterrupted piece of one row in one lane.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct RowSpan {
    /// Index into the machine's tool rows, left to right.
    pub tool_row: usize,
    /// Number of the row in its block's lattice.
    pub row: i64,
    /// Metres along the way at which the tool enters the row.
    pub from: f64,
    /// Metres along the way at which it leaves.
    pub to: f64,
}

/// Soil that no row covers.
#[derive(Clone, Debug)]
pub struct LeftOver {
    /// Where.
    pub shape: MultiPolygon,
    /// How much, square metres.
    pub area_m2: f64,
    /// Why.
    pub reason: LeftOverReason,
}

/// Why soil stays unworked.
#[derive(Copy, Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum LeftOverReason {
    /// Between boundary and fence.
    FenceMargin,
    /// Steps of the row ends against a slanted edge, and strips beside the outermost row.
    RowEnds,
    /// A place that the tool bar cannot reach while the body stays inside the fence.
    OutOfReach,
    /// No drivable way leads there.
    CutOff,
    /// It stays unsown as the job asks.
    Unsown,
    /// It was worked before the order was interrupted.
    Done,
}

impl LeftOverReason {
    const ALL: [Self; 6] =
        [Self::FenceMargin, Self::RowEnds, Self::OutOfReach, Self::CutOff, Self::Unsown, Self::Done];

    /// In kebab-case, as maps name it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::FenceMargin => "fence-margin",
            Self::RowEnds => "row-ends",
            Self::OutOfReach => "out-of-reach",
            Self::CutOff => "cut-off",
            Self::Unsown => "unsown",
            Self::Done => "done",
        }
    }

    /// The reason of this name.
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|reason| reason.name() == name)
    }
}

/// Square metres. `worked + headland + keep_out + left_over = field`.
#[derive(Copy, Clone, Debug, Default, PartialEq)]
pub struct LaneAreas {
    /// The boundary's area.
    pub field: f64,
    /// Inside the fence.
    pub soil: f64,
    /// Covered by rows, sown headland included.
    pub worked: f64,
    /// Headland left unsown on purpose.
    pub headland: f64,
    /// Keep-outs with their clearance, inside the boundary.
    pub keep_out: f64,
    /// The rest, as listed in `left_over`.
    pub left_over: f64,
    /// Covered by rows of more than one lane, as [`with_overlap`] finds.
    pub overlap: f64,
}
