//! A compiled job for unit tests of the emission: the site stage's example field with a pond, and
//! lanes laid side by side from its west edge without any planning.

use crate::audit::{Audit, Check};
use crate::budget::{Budget, DistanceBudget, SeedNeed, TimeBudget};
use crate::check::{KeepOut, KeepOutShape, Operation};
use crate::geometry::{Path, Pose, angle_of_heading, region};
use crate::lanes::{
    Block, BlockIdx, Course, Lane, LaneAreas, LaneIdx, LanePlan, LeftOver, LeftOverReason, RowSpan,
};
use crate::operations::{Release, RowOrder, RowRelease, WorkOrder};
use crate::pipeline::{Compiled, FieldPlan};
use crate::route::{Effort, Route, Visit};
use crate::seeds::SeedMap;
use crate::site::{self, FieldSite, SiteZones, example};
use crate::turns::{Drive, FreeSpace, Manoeuvre, footprint, manoeuvre};
use crate::uncertainty::uncertainty;
use geo::{Rect, coord};
use lanewright_schema::quantity::{Area, Heading, Length, Mass, Speed, Time};

/// A field with this many lanes, driven in sequence, every other one southward.
pub fn compiled(lanes: usize) -> Compiled {
    let mut job = example::job();
    job.fields[0].home = Some(example::place(50.000_03, 8.000_05));
    job.fields[0].keep_outs = vec![KeepOut {
        name: "Heron Pond".into(),
        shape: KeepOutShape::Circle { centre: example::place(50.002, 8.004), radius: Length::m(12.0) },
        clearance: Length::m(2.0),
        span: example::span(40),
    }];
    let site = site::site(&job).value.expect("the example is sound");
    let fields = vec![field(&job.machine, &site.fields[0], lanes)];
    Compiled { job, site, fields, effort: Effort::Normal }
}

fn field(machine: &crate::check::Machine, site: &FieldSite, lanes: usize) -> FieldPlan {
    let plan = lane_plan(machine, site, lanes);
    let visits: Vec<Visit> = (0..lanes).map(|i| Visit { lane: LaneIdx(i), along: i % 2 == 0 }).collect();
    let route = route(machine, site, &plan, visits);
    let length = |ways: &[Option<Manoeuvre>]| ways.iter().flatten().map(|w| w.path.length()).sum::<f64>();
    let lane_m: f64 = plan.lanes.iter().map(|lane| lane.line.length()).sum();
    let (turn_m, all_m) = (length(&route.ways[1..lanes]), length(&route.ways));
    let time = TimeBudget {
        work: Time::s(lane_m / 0.5),
        turn: Time::s(turn_m / 0.4 + 6.0 * lanes as f64),
        transit: Time::s((all_m - turn_m) / 0.8),
        stop: Time::min_(20.0),
        field_efficiency: 0.81,
        ha_per_h: 0.39,
        ha_per_day: 3.9,
        days: 2.3,
    };
    let distance = DistanceBudget {
        lane: Length::m(lane_m),
        turn: Length::m(turn_m),
        transit: Length::m(all_m - turn_m),
    };
    let seed = SeedNeed {
        seeds: 1_234_567,
        mass: Mass::kg(8.03),
        units: Some(13),
        hopper_fills: 2,
        plants: 888_888.0,
        area: Area::m2(plan.areas.worked),
    };
    let work_order = WorkOrder {
        operation: Operation::Sowing,
        seeds_per_m2: 12.345_679,
        seed_spacing: Some(Length::cm(18.0)),
        depth: Length::cm(1.0),
        speed: Speed::m_per_s(0.5),
        seeds_per_s: 2.777_778,
        rows: vec![RowOrder { stand: example::field().spacing.stand(0), seeds_per_m2: 12.345_679 }; 6],
    };
    let checks = vec![
        Check {
            rule: "audit/inside-fence",
            margin: 0.012_345,
            unit: "m",
            tolerance: None,
            place: Some(site.home.unwrap()),
        },
        Check { rule: "audit/areas-add-up", margin: 9.9e-7, unit: "", tolerance: None, place: None },
    ];
    FieldPlan {
        lanes: plan,
        route,
        zones: SiteZones::none(),
        seeds: SeedMap { runs: Vec::new() },
        uncertainty: uncertainty(machine, Some(Length::m(1200.0)), &example::field().crop),
        orders: vec![work_order],
        weeding: None,
        release: Some(Release {
            flight: Time::ms(71.4),
            rows: vec![RowRelease { pace: [1.0; 2], lead: [Length::mm(35.7); 2], seeds_per_s: 2.777_778 }; 6],
            fed_up_to: None,
            precise_up_to: None,
        }),
        budget: Budget { time, distance, seed, driven_over: 12 },
        audit: Audit { checks },
    }
}

fn lane_plan(machine: &crate::check::Machine, site: &FieldSite, lanes: usize) -> LanePlan {
    let width = machine.working_width.to_m();
    let (south, north) = (coord! { x: -165.0, y: -153.0 }, 150.0);
    let zone = Rect::new(south, coord! { x: south.x + width * lanes as f64, y: north }).to_polygon();
    let headland = region::difference(&site.fence, &zone.clone().into());
    let lane = |i: usize| {
        let x = south.x + width * (i as f64 + 0.5);
        let line = Path::straight(coord! { x: x, y: south.y }, coord! { x: x, y: north });
        let rows = (0..machine.row_offsets.len()).map(|tool_row| {
            let row = i64::try_from(i * machine.row_offsets.len() + tool_row).unwrap();
            // A slanted end, so that a mirrored row is told from one that is not.
            RowSpan { tool_row, row, from: 1.2, to: 300.0 + 0.1 * tool_row as f64 }
        });
        let rows: Vec<RowSpan> = rows.collect();
        let (length, last) = (line.length(), rows.len() - 1);
        let rows_back = rows.iter().map(|row| RowSpan {
            tool_row: last - row.tool_row,
            from: length - row.to,
            to: length - row.from,
            ..*row
        });
        let rows_back = rows_back.collect();
        Lane { block: BlockIdx(0), back: Some(line.turned_round()), line, rows, rows_back }
    };
    let margin = region::difference(&site.boundary, &site.fence);
    let (field, left) = (region::area(&site.boundary), region::area(&margin));
    let worked = 300.0 * width * lanes as f64;
    LanePlan {
        blocks: vec![Block {
            zone: zone.into(),
            course: Course::Straight { heading: Heading::degrees(0.0), datum: south },
        }],
        lanes: (0..lanes).map(lane).collect(),
        headland,
        left_over: vec![LeftOver { shape: margin, area_m2: left, reason: LeftOverReason::FenceMargin }],
        areas: LaneAreas {
            field,
            soil: region::area(&site.fence),
            worked,
            headland: field - worked - left - 600.0,
            keep_out: 600.0,
            left_over: left,
            overlap: 0.0,
        },
    }
}

fn route(machine: &crate::check::Machine, site: &FieldSite, plan: &LanePlan, visits: Vec<Visit>) -> Route {
    let space = FreeSpace::new(&site.fence, footprint(machine));
    let home = Pose { at: site.home.unwrap(), angle: angle_of_heading(Heading::degrees(45.0)) };
    let ends: Vec<(Pose, Pose)> = visits
        .iter()
        .map(|visit| {
            let lane = &plan.lanes[visit.lane.0];
            let path = if visit.along { &lane.line } else { lane.back.as_ref().unwrap() };
            (path.start, path.end())
        })
        .collect();
    let from = std::iter::once(home).chain(ends.iter().map(|end| end.1));
    let to = ends.iter().map(|end| end.0).chain([home]);
    let drive = Drive::turning(machine);
    let ways = from.zip(to).map(|(from, to)| manoeuvre(&space, &drive, from, to)).collect();
    Route { visits, cut_off: Vec::new(), ways, stops: Vec::new(), bound_s: 10.0, detours_s: 0.0 }
}
