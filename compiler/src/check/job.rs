//! The job as checked: every value has its unit, every invariant named here holds, and no later
//! stage examines it again.

use super::{BlockRates, Rate, Zones};
use crate::diagnostic::Span;
use chrono::NaiveDate;
use lanewright_schema::quantity::{Angle, AngularSpeed, GeoPoint, Heading, Length, Mass, Speed, Time};

/// A whole job: one order, one machine, one or more fields.
#[derive(Clone, Debug)]
pub struct Job {
    /// Paper-work.
    pub order: Order,
    /// Reference frames of survey, base station and output.
    pub frames: Frames,
    /// The RTK base station.
    pub base_station: Option<BaseStation>,
    /// The machine that sows.
    pub machine: Machine,
    /// At least one; names are unique.
    pub fields: Vec<Field>,
}

/// Who wants what by when.
#[derive(Clone, Debug)]
pub struct Order {
    /// Title of the work order.
    pub title: String,
    /// Day of issue; the only date that the compiler knows.
    pub issued: NaiveDate,
    /// The customer's name.
    pub customer: String,
    /// The farm's name.
    pub farm: String,
    /// Operations in the order in which they are done. Never empty, no duplicates.
    pub operations: Vec<Operation>,
    /// Hours of work a day, above zero, at most 24 h.
    pub hours_per_day: Time,
}

/// What is done on a field.
#[derive(Copy, Clone, Debug, PartialEq, Eq)]
pub enum Operation {
    /// Placing seeds on the lattice.
    Sowing,
    /// Weeding over the seeds before plants are up.
    PreEmergenceWeeding,
    /// Weeding between the rows.
    InterRowWeeding,
    /// Weeding in the row between the plants.
    IntraRowWeeding,
}

impl Operation {
    /// As the job writes it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Sowing => "sowing",
            Self::PreEmergenceWeeding => "pre-emergence weeding",
            Self::InterRowWeeding => "inter-row weeding",
            Self::IntraRowWeeding => "intra-row weeding",
        }
    }
}

/// Reference frames, each a name that PROJ knows (`EPSG:4258`, …) with a plain name for people.
#[derive(Clone, Debug)]
pub struct Frames {
    /// The frame of every coordinate in the job.
    pub survey: ReferenceFrame,
    /// The frame of the base station's coordinates, hence of the machine's receiver.
    pub base_station: ReferenceFrame,
    /// The frame of every coordinate that leaves.
    pub output: ReferenceFrame,
    /// The frame in which the ground rests, for coordinates of differing epochs.
    pub ground: Option<ReferenceFrame>,
    /// How far above the ellipsoid lengths are those on the ground.
    pub height: Length,
}

/// A geographic reference frame.
#[derive(Clone, Debug, PartialEq)]
pub struct ReferenceFrame {
    /// As the trade says it, `ETRS89`.
    pub name: String,
    /// What PROJ is given, `EPSG:4258`.
    pub proj: String,
    /// Decimal year, for a dynamic frame.
    pub epoch: Option<f64>,
    /// Where the job states it, for findings that only the place on the Earth can decide.
    pub span: Option<Span>,
}

/// The RTK base station.
#[derive(Clone, Debug)]
pub struct BaseStation {
    /// Its name.
    pub name: String,
    /// Where it stands.
    pub at: GeoPoint,
    /// Height above the ellipsoid.
    pub height: Length,
    /// Where the job states it.
    pub span: Span,
}

/// A point on the machine, from the reference point.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct BodyPoint {
    /// Forward.
    pub forward: Length,
    /// To the right.
    pub right: Length,
}

/// The machine with its toolbar.
#[derive(Clone, Debug)]
pub struct Machine {
    /// Its name.
    pub name: String,
    /// Offset of each tool row to the right of the reference point, left to right, evenly
    /// `row_spacing` apart. Never empty.
    pub row_offsets: Vec<Length>,
    /// Between neighbouring rows, above zero.
    pub row_spacing: Length,
    /// `row_offsets.len() × row_spacing`.
    pub working_width: Length,
    /// How far the seed outlets lie ahead of the reference point (behind: negative).
    pub tool_forward: Length,
    /// Outline of the body with the toolbar, a simple polygon, at least three corners.
    pub body: Vec<BodyPoint>,
    /// The two antennas.
    pub antennas: [BodyPoint; 2],
    /// Height of the antennas above the ground.
    pub antenna_height: Length,
    /// Centre of each wheel track to the right of the reference point.
    pub wheel_tracks: Vec<Length>,
    /// Width of a tyre.
    pub tyre_width: Length,
    /// How it steers.
    pub steering: Steering,
    /// Speed in the lane with the tool down.
    pub working_speed: Speed,
    /// Speed in turns.
    pub turning_speed: Speed,
    /// Speed in transits.
    pub transit_speed: Speed,
    /// Most speed in reverse; none where it is that of the way.
    pub reverse_speed: Option<Speed>,
    /// Time of a full turn on the spot; only used if it can.
    pub spot_turn_time: Time,
    /// Standstill at each change of gear.
    pub gear_change_time: Time,
    /// Time to lower or to raise the tool.
    pub lift_time: Time,
    /// Seed mass that one row's hopper holds; zero where it sows nothing.
    pub hopper: Mass,
    /// Time of one refill stop.
    pub refill_time: Time,
    /// How its seeds are let go.
    pub metering: Metering,
    /// How true it works.
    pub precision: Precision,
    /// Time in which a person moves it to a part of the field that it cannot drive to.
    pub moving_time: Time,
    /// Where the job states the working speed.
    pub speed_span: Span,
    /// Where it states the body.
    pub body_span: Span,
    /// Where it states the turning radius, if it does.
    pub radius_span: Span,
    /// Where the job states it.
    pub span: Span,
}

/// How seeds are let go.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Metering {
    /// From the outlet to the furrow's floor. Not negative.
    pub drop_height: Length,
    /// From the command to the seed's leaving the outlet. Not negative.
    pub gate_delay: Time,
    /// Seeds a second from one row at most, above zero.
    pub highest_rate: Option<f64>,
}

impl Default for Metering {
    /// As far as seeds commonly fall, with a gate that is taken to open at once; no source.
    fn default() -> Self {
        Self { drop_height: Length::cm(2.5), gate_delay: Time::ZERO, highest_rate: None }
    }
}

/// How true a machine works, as standard deviations. None is negative.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Precision {
    /// What is left of the antennas' tilt after it is measured and taken out.
    pub tilt: Angle,
    /// Of the heading from the two antennas.
    pub heading: Angle,
    /// How far the steering strays beside the line, the position's own error aside.
    pub steering: Length,
    /// Of the moment at which the tool acts.
    pub timing: Time,
    /// How far along the row a seed comes to rest from where it was aimed; half of it across.
    pub drop: Length,
}

/// How fast the steering moves.
///
/// With the wheels at an angle δ the curvature is tan δ / wheelbase, and its rate δ̇ / (wheelbase ·
/// cos² δ): nowhere less than δ̇ / wheelbase, so that a clothoid sized by that can be followed at any
/// angle.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct SteeringRate {
    /// How fast the steered wheels turn. Above zero.
    pub wheels: AngularSpeed,
    /// Between the axle that steers and the one that does not. Above zero.
    pub wheelbase: Length,
}

impl SteeringRate {
    /// Change of curvature per metre driven that the wheels can follow at this speed, 1/m².
    pub fn sharpness(&self, speed: Speed) -> f64 {
        self.wheels.to_rad_per_s() / (self.wheelbase.to_m() * speed.to_m_per_s())
    }
}

/// What the steering can do. At least one of: turning on the spot, or a radius.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Steering {
    /// Smallest radius of the reference point's path. Zero only if it turns on the spot.
    pub turning_radius: Length,
    /// Whether it may drive in reverse.
    pub may_reverse: bool,
    /// Whether it can turn on the spot.
    pub turns_on_spot: bool,
    /// How fast it moves; none where it is taken to follow at once.
    pub rate: Option<SteeringRate>,
}

/// One field.
#[derive(Clone, Debug)]
pub struct Field {
    /// Unique within the job.
    pub name: String,
    /// Parts of the boundary, each an exterior and its holes, at least three corners a ring,
    /// not closed (the first point is not given again), simple rings.
    pub parts: Vec<GeoPolygon>,
    /// Keep-outs.
    pub keep_outs: Vec<KeepOut>,
    /// How far inside the boundary the body stays. Not negative.
    pub fence_margin: Length,
    /// What a metre over sown rows counts more than the time that it takes. Not negative.
    pub over_sown_rows: Time,
    /// The headland.
    pub headland: Headland,
    /// How its lanes are to run.
    pub layout: Layout<GeoPoint>,
    /// Where the machine starts and ends; else the entrance, else the field's first lane.
    pub home: Option<GeoPoint>,
    /// Where it comes in.
    pub entrances: Vec<Entrance>,
    /// Where its hoppers are filled on the way; anywhere where there are none.
    pub refill_points: Vec<RefillPoint>,
    /// Crop and seed lot.
    pub crop: Crop,
    /// The lattice.
    pub spacing: Spacing,
    /// Parts that are sown closer or wider.
    pub zones: Option<Zones>,
    /// Blocks that are sown otherwise; none where there are zones.
    pub block_rates: BlockRates,
    /// Where the job states the boundary.
    pub span: Span,
    /// Where it states what a later stage may have to refuse.
    pub places: FieldPlaces,
}

impl Field {
    /// Every rate at which some soil may be sown, with the parts of the field's own spacing.
    pub fn rates(&self) -> (u32, Vec<Rate>) {
        match &self.zones {
            Some(zones) => (zones.parts, zones.sown().collect()),
            None => {
                let BlockRates { parts, blocks } = &self.block_rates;
                (*parts, std::iter::once(Rate::own(*parts)).chain(blocks.iter().map(|b| b.rate)).collect())
            }
        }
    }
}

/// Where the job states parts of a field, for findings that only the ground can decide.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct FieldPlaces {
    /// The field's name.
    pub name: Option<Span>,
    /// The way-point where the machine starts and ends.
    pub home: Option<Span>,
    /// The fence margin.
    pub fence_margin: Option<Span>,
    /// The headland.
    pub headland: Option<Span>,
    /// What the lanes follow.
    pub guidance: Option<Span>,
    /// The dividing lines, in their order.
    pub dividing_lines: Vec<Span>,
    /// The blocks that the person sets, in their order.
    pub blocks: Vec<Span>,
    /// The crop's name.
    pub crop: Option<Span>,
    /// The entrances, in their order.
    pub entrances: Vec<Span>,
    /// The refill points, in their order.
    pub refill_points: Vec<Span>,
}

/// A polygon in longitude and latitude.
#[derive(Clone, Debug, PartialEq)]
pub struct GeoPolygon {
    /// The outer ring.
    pub exterior: Vec<GeoPoint>,
    /// Holes.
    pub holes: Vec<Vec<GeoPoint>>,
}

/// A place to stay out of.
#[derive(Clone, Debug)]
pub struct KeepOut {
    /// Its name.
    pub name: String,
    /// Its outline.
    pub shape: KeepOutShape,
    /// How far from it the body stays.
    pub clearance: Length,
    /// Where the job states it.
    pub span: Span,
}

/// The outline of a keep-out.
#[derive(Clone, Debug)]
pub enum KeepOutShape {
    /// A ring, not closed.
    Ring(Vec<GeoPoint>),
    /// A circle.
    Circle {
        /// Its centre.
        centre: GeoPoint,
        /// Its radius, above zero.
        radius: Length,
    },
}

/// A named way in.
#[derive(Clone, Debug)]
pub struct Entrance {
    /// Its name.
    pub name: String,
    /// Where.
    pub at: GeoPoint,
}

/// A named place where the seed stands.
#[derive(Clone, Debug)]
pub struct RefillPoint {
    /// Its name.
    pub name: String,
    /// Where.
    pub at: GeoPoint,
}

/// The headland.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Headland {
    /// How wide.
    pub size: HeadlandSize,
    /// Whether and when it is sown.
    pub sown: HeadlandSown,
    /// How its laps pass corners.
    pub corners: LapCorners,
}

/// How headland laps pass the corners of a field.
#[derive(Copy, Clone, Debug, PartialEq, Eq)]
pub enum LapCorners {
    /// On a curve, as wide as the machine and its body ask.
    Round,
    /// Up to the corner, a manoeuvre with the tool up, and from the corner on.
    Square,
}

/// The headland's size.
#[derive(Copy, Clone, Debug, PartialEq)]
pub enum HeadlandSize {
    /// No headland: lanes run to the fence.
    None,
    /// So many laps of the working width, at least one.
    Laps(u32),
    /// At least this wide, above zero; laps fill it when it is sown.
    Width(Length),
    /// As many laps as the machine's turns need.
    AsTurnsNeed,
}

/// When the headland is sown.
#[derive(Copy, Clone, Debug, PartialEq, Eq)]
pub enum HeadlandSown {
    /// Before the lanes.
    First,
    /// After the lanes.
    Last,
    /// Not at all.
    No,
}

/// How the person wants the lanes laid: places are of type `P`, on the Earth as checked, in ground
/// metres from the site on.
#[derive(Clone, Debug, PartialEq)]
pub struct Layout<P> {
    /// What the lanes follow.
    pub guidance: Guidance<P>,
    /// How the field inside its headland is cut into blocks.
    pub division: Division<P>,
    /// Blocks with wishes of their own.
    pub blocks: Vec<OwnBlock<P>>,
}

/// A block that the person speaks of.
#[derive(Clone, Debug, PartialEq)]
pub struct OwnBlock<P> {
    /// A place inside it.
    pub at: P,
    /// What its lanes follow, where that is not what the field's do.
    pub guidance: Option<Guidance<P>>,
}

/// What lanes follow.
#[derive(Clone, Debug, PartialEq)]
pub enum Guidance<P> {
    /// What costs least.
    Best,
    /// This heading.
    Heading(Heading),
    /// The straight line between two places that differ.
    Parallel([P; 2]),
    /// This line, of two places or more, each of which differs from the one before: lanes are its
    /// offsets, smoothed as the machine and the row spacing ask.
    Along(Vec<P>),
}

/// How the field inside its headland is cut into blocks.
#[derive(Clone, Debug, PartialEq)]
pub enum Division<P> {
    /// As pays, each connected piece into at most so many blocks, one or more.
    AtMost(usize),
    /// At these lines, each of two points or more.
    Lines(Vec<Vec<P>>),
}

impl<P> Layout<P> {
    /// Lanes that follow this, blocks as they pay.
    pub const fn following(guidance: Guidance<P>) -> Self {
        Self { guidance, division: Division::AtMost(usize::MAX), blocks: Vec::new() }
    }

    /// The same with every place put elsewhere.
    ///
    /// # Errors
    ///
    /// The first place that cannot be put there.
    pub fn placed<Q, E>(&self, put: &impl Fn(&P) -> Result<Q, E>) -> Result<Layout<Q>, E> {
        let line = |line: &Vec<P>| line.iter().map(put).collect::<Result<Vec<Q>, E>>();
        Ok(Layout {
            guidance: self.guidance.placed(put)?,
            division: match &self.division {
                Division::AtMost(most) => Division::AtMost(*most),
                Division::Lines(lines) => Division::Lines(lines.iter().map(line).collect::<Result<_, E>>()?),
            },
            blocks: self
                .blocks
                .iter()
                .map(|OwnBlock { at, guidance }| {
                    let guidance = guidance.as_ref().map(|guidance| guidance.placed(put)).transpose()?;
                    Ok(OwnBlock { at: put(at)?, guidance })
                })
                .collect::<Result<_, E>>()?,
        })
    }
}

impl<P> Guidance<P> {
    fn placed<Q, E>(&self, put: &impl Fn(&P) -> Result<Q, E>) -> Result<Guidance<Q>, E> {
        Ok(match self {
            Self::Best => Guidance::Best,
            Self::Heading(heading) => Guidance::Heading(*heading),
            Self::Parallel([a, b]) => Guidance::Parallel([put(a)?, put(b)?]),
            Self::Along(line) => Guidance::Along(line.iter().map(put).collect::<Result<_, E>>()?),
        })
    }
}

/// The crop and its seed lot.
#[derive(Clone, Debug)]
pub struct Crop {
    /// The species, for people.
    pub name: String,
    /// The variety.
    pub variety: String,
    /// Seeding depth.
    pub depth: Length,
    /// Mass of a thousand seeds.
    pub thousand_seed_mass: Mass,
    /// Share of seeds that germinate, in `(0, 1]`.
    pub germination: f64,
    /// Share of germinated seeds that emerge, in `(0, 1]`.
    pub field_emergence: f64,
    /// Seeds in one sales unit.
    pub seeds_per_unit: Option<u64>,
    /// How far a plant comes up beside its seed, one standard deviation in each direction.
    pub plant_scatter: Length,
}

/// The lattice that the seeds stand on.
#[derive(Clone, Debug, PartialEq)]
pub struct Spacing {
    /// Between rows; equals the machine's row spacing.
    pub between_rows: Length,
    /// Between places in the row, seeds or middles of hills, above zero.
    pub between_seeds: Length,
    /// What lies at a place.
    pub pattern: Pattern,
    /// Shift of each next row as a share of the seed spacing, in `[0, 1)`.
    pub stagger: f64,
    /// The largest standard deviation along the row that a seed's place may have, above zero.
    pub precision: Option<Length>,
    /// Unsown at each end of a straight row. Not negative.
    pub row_end_margin: Length,
    /// Tool rows of the machine that are sown otherwise, each once.
    pub own_rows: Vec<OwnRow>,
    /// Rows that stay unsown.
    pub tramlines: Option<Tramlines>,
}

/// A tool row that is sown otherwise than the rest.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct OwnRow {
    /// Counted from zero at the machine's left.
    pub tool_row: usize,
    /// How.
    pub stand: Stand,
}

/// How one row is sown.
#[derive(Copy, Clone, Debug, PartialEq)]
pub struct Stand {
    /// Between places in the row, above zero and longer than a hill.
    pub spacing: Length,
    /// What lies at a place.
    pub pattern: Pattern,
}

/// What lies at a place of the lattice.
#[derive(Copy, Clone, Debug, PartialEq)]
pub enum Pattern {
    /// One seed.
    Single,
    /// Some seeds, evenly from one end of the hill to the other, its middle on the place.
    Hill {
        /// At least two.
        seeds: u32,
        /// From the first to the last. Not negative.
        length: Length,
    },
    /// One seed of a line in which seeds fall at a mean distance and have no place of their own.
    Drill,
}

/// Rows of straight lanes that stay unsown.
#[derive(Clone, Debug, PartialEq)]
pub struct Tramlines {
    /// Every so many lanes, at least one.
    pub every: i64,
    /// The first of them, counted from zero at the block's left.
    pub first: i64,
    /// Rows of such a lane, counted from zero at its left.
    pub rows: Vec<i64>,
}

impl Spacing {
    /// How a tool row is sown.
    pub fn stand(&self, tool_row: usize) -> Stand {
        let own = self.own_rows.iter().find(|own| own.tool_row == tool_row);
        own.map_or(self.own_stand(), |own| own.stand)
    }

    /// How rows are sown that are not sown otherwise.
    pub const fn own_stand(&self) -> Stand {
        Stand { spacing: self.between_seeds, pattern: self.pattern }
    }
}

impl Stand {
    /// From the last seed of a place to the first of the next.
    pub fn clear(&self) -> Length {
        self.spacing - self.pattern.length()
    }

    /// Seeds on a square metre of rows this far apart.
    pub fn seeds_per_m2(&self, between_rows: Length) -> f64 {
        f64::from(self.pattern.seeds()) / (between_rows * self.spacing).to_m2()
    }
}

impl Pattern {
    /// Seeds at a place.
    pub const fn seeds(self) -> u32 {
        match self {
            Self::Single | Self::Drill => 1,
            Self::Hill { seeds, .. } => seeds,
        }
    }

    /// From the first seed of a place to its last.
    pub const fn length(self) -> Length {
        match self {
            Self::Single | Self::Drill => Length::ZERO,
            Self::Hill { length, .. } => length,
        }
    }
}

impl Tramlines {
    /// Whether this row of a block stays unsown by a machine of so many tool rows.
    pub fn holds(&self, row: i64, tool_rows: i64) -> bool {
        let lane = row.div_euclid(tool_rows);
        (lane - self.first).rem_euclid(self.every) == 0 && self.rows.contains(&row.rem_euclid(tool_rows))
    }
}
