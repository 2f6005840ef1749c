//! The job language on one page: every table, every key, with its meaning, its unit and an
//! example. Structs, decoder and JSON Schema all come from these lines.

use super::decode::{Decode, Node, OneOrMore, Part, Reader, decode_key, nearest, number, tell_unknown_keys};
use super::problem::{Place, Written};
use super::table::{Key, Table, decode_node, table, table_schema, words};
use super::units::Share;
use crate::quantity::{Angle, AngularSpeed, GeoPoint, Heading, Length, Mass, Speed, Time};
use crate::survey::Survey;
use chrono::NaiveDate;
use schemars::{Schema, SchemaGenerator, json_schema};
use toml::de::{DeTable, DeValue};

/// A ring as written: perhaps closed, perhaps not.
pub type Ring = Written<Vec<Written<GeoPoint>>>;

/// A line as written, from point to point.
pub type Line = Written<Vec<Written<GeoPoint>>>;

table! {
    /// A job: what is sown where, by which machine.
    pub struct JobFile {
        /// Who wants what by when.
        order: Order = "{ title = \"Chicory 2027\", issued = 2027-04-12 }";
        /// In which reference frames the coordinates are given and wanted.
        frames: Frames = "{ survey = \"ETRS89\" }";
        /// The RTK base station that the machine's receiver listens to.
        base_station: Option<BaseStation> = "{ name = \"Mill\", at = [52.1, 5.2], height = \"41.3 m\" }";
        /// The machine, here or in a file of its own.
        machine: Part<Machine> = "\"machines/ox-6.toml\"";
        /// One or more crops, here or in files of their own.
        crop: OneOrMore<Part<Crop>> = "\"crops/chicory.toml\"";
        /// One or more fields, here or in files of their own.
        field: OneOrMore<Part<Field>> = "\"fields/long-acre.toml\"";
    }
}

table! {
    /// Who wants what by when.
    pub struct Order {
        /// Title of the work order.
        title: Written<String> = "\"Chicory, spring sowing\"";
        /// Day of issue, a date without quotes. The program never looks at a clock.
        issued: Written<NaiveDate> = "2027-04-12";
        /// Who ordered the work.
        customer: Written<String> = "\"Aldermoor Growers' Cooperative\"";
        /// The farm that the fields belong to.
        farm: Written<String> = "\"Sallow Farm\"";
        /// What is to be done, in the order in which it is done: `sowing`.
        operations: Written<Vec<Written<OperationName>>> = "[\"sowing\"]";
        /// Hours of work in a day, in h; at most 24 h.
        hours_per_day: Written<Time> = "\"10 h\"";
    }
}

words! {
    /// An operation.
    pub enum OperationName {
        /// Placing seeds on the lattice.
        Sowing = "sowing";
    }
}

table! {
    /// Reference frames by name (`WGS 84`, `ETRS89`, `NAD83(2011)`, `GDA2020`, `ITRF2014`, …) or by
    /// the EPSG code of a geographic frame (`EPSG:4258`). A frame that moves against the ground
    /// takes the epoch of its coordinates as a decimal year: `ITRF2014@2027.3`.
    pub struct Frames {
        /// The frame of every coordinate in the job.
        survey: Written<String> = "\"ETRS89\"";
        /// The frame of the base station's coordinates, hence of what the machine's receiver
        /// says. Left out: as `survey`.
        base_station: Option<Written<String>> = "\"ITRF2014@2027.3\"";
        /// The frame of every coordinate that leaves. Left out: as `base_station`, which is what
        /// the machine needs.
        output: Option<Written<String>> = "\"ETRS89\"";
        /// The frame in which the ground rests, one that is tied to the fields' plate, without an
        /// epoch: coordinates of one epoch go to another by way of it. Left out: frames that move
        /// must all be of one epoch.
        ground: Option<Written<String>> = "\"ETRF2014\"";
        /// Height of the fields above the ellipsoid, in m: every length of the job and of the plan is
        /// then one on the ground up there, longer by 16 mm a km for each 100 m. Left out: lengths
        /// are those along the ellipsoid.
        height: Option<Written<Length>> = "\"412 m\"";
    }
}

table! {
    /// An RTK base station.
    pub struct BaseStation {
        /// Its name.
        name: Written<String> = "\"Mill\"";
        /// Where its antenna stands: latitude and longitude in degrees.
        at: Written<GeoPoint> = "[52.1, 5.2]";
        /// Height of its antenna above the ellipsoid, in m.
        height: Written<Length> = "\"41.3 m\"";
    }
}

table! {
    /// A machine with its toolbar. Places on it are counted from its reference point, the point
    /// that the steering moves along the lane (for most, the middle of the axle that does not
    /// steer): forward positive, to the right positive.
    pub struct Machine {
        /// Its name.
        name: Written<String> = "\"Ox-6\"";
        /// How many rows it sows at once.
        rows: Written<u32> = "6";
        /// Between neighbouring tool rows, in cm.
        row_spacing: Written<Length> = "\"45 cm\"";
        /// Rows times row spacing, in m; neighbouring lanes lie this far apart.
        working_width: Written<Length> = "\"2.7 m\"";
        /// How far the seed outlets lie ahead of the reference point, in m; behind it: negative.
        tool_offset: Written<Length> = "\"-1.2 m\"";
        /// Corners of the outline of body and toolbar, each forward and to the right, in m.
        body: Written<Vec<Written<[Length; 2]>>> = "[[\"1.4 m\", \"-1.5 m\"], [\"1.4 m\", \"1.5 m\"], [\"-1.4 m\", \"1.5 m\"], [\"-1.4 m\", \"-1.5 m\"]]";
        /// The two antennas of the receiver.
        antennas: [Antenna; 2] = "[{ forward = \"0.9 m\", right = \"-0.5 m\", height = \"1.6 m\" }, { forward = \"0.9 m\", right = \"0.5 m\", height = \"1.6 m\" }]";
        /// Centre of each wheel track to the right of the reference point, in cm.
        wheel_tracks: Written<Vec<Written<Length>>> = "[\"-90 cm\", \"90 cm\"]";
        /// Width of a tyre, in cm.
        tyre_width: Written<Length> = "\"18 cm\"";
        /// Smallest radius on which the reference point can be driven, in m. May be left out by a
        /// machine that turns on the spot.
        turning_radius: Option<Written<Length>> = "\"2.5 m\"";
        /// How fast the steered wheels turn, in deg/s: with it, every turn between lanes begins and
        /// ends its arcs with clothoids that the steering can follow without stopping. Left out: the
        /// steering is taken to follow at once.
        steering_rate: Option<Written<AngularSpeed>> = "\"15 deg/s\"";
        /// Between the axle that steers and the one that does not, in m; goes with `steering_rate`.
        wheelbase: Option<Written<Length>> = "\"1.9 m\"";
        /// Whether it may drive in reverse.
        may_reverse: Written<bool> = "true";
        /// Whether it can turn on the spot, about its reference point.
        turns_on_spot: Written<bool> = "false";
        /// Speed in the lane with the tool down, in km/h.
        working_speed: Written<Speed> = "\"0.9 km/h\"";
        /// Speed in turns, in km/h.
        turning_speed: Written<Speed> = "\"1.5 km/h\"";
        /// Speed on the way to the first lane, from the last and between blocks, in km/h.
        transit_speed: Written<Speed> = "\"2.5 km/h\"";
        /// Most speed in reverse, in turns and transits, in km/h. Left out: as nose first.
        reverse_speed: Option<Written<Speed>> = "\"1 km/h\"";
        /// Mass of seed that the hopper of one row holds, in kg. Left out by a machine that sows
        /// nothing.
        hopper: Option<Written<Mass>> = "\"2 kg\"";
        /// Standstill at each change between forward and reverse, in s. Left out: 2 s.
        gear_change_time: Option<Written<Time>> = "\"2 s\"";
        /// Time to lower or to raise the tool, in s. Left out: 2 s.
        lift_time: Option<Written<Time>> = "\"2 s\"";
        /// Time of one whole turn (360°) on the spot, in s. Left out: 24 s.
        spot_turn_time: Option<Written<Time>> = "\"24 s\"";
        /// Time of one stop to refill the seed hoppers, in min. Left out: 10 min.
        refill_time: Option<Written<Time>> = "\"10 min\"";
        /// Time in which a person moves the machine to a part of the field that it cannot drive to, in
        /// min. Left out: 15 min.
        moving_time: Option<Written<Time>> = "\"15 min\"";
        /// How its seeds are let go. Left out: from 2.5 cm, at once, at any rate.
        metering: Option<Metering> = "{ drop_height = \"2.5 cm\", highest_rate = 15 }";
        /// How true it works: standard deviations. Left out: those of an ordinary machine.
        precision: Option<Precision> = "{ timing = \"10 ms\", drop = \"10 mm\" }";
    }
}

table! {
    /// How seeds are let go.
    pub struct Metering {
        /// How far a seed falls from the outlet to the furrow's floor, in cm. Left out: 2.5 cm.
        drop_height: Option<Written<Length>> = "\"2.5 cm\"";
        /// From the command to the seed's leaving the outlet, in ms. Left out: 0 ms.
        gate_delay: Option<Written<Time>> = "\"12 ms\"";
        /// Seeds a second that the metering unit of one row gives at most. Left out: any number.
        highest_rate: Option<Written<f64>> = "15";
    }
}

table! {
    /// How true a machine works, each as a standard deviation (two in three are nearer). From the
    /// maker or from a trial.
    pub struct Precision {
        /// What is left of the antennas' tilt after it is measured and taken out, in deg. Left
        /// out: 0.3 deg.
        tilt: Option<Written<Angle>> = "\"0.3 deg\"";
        /// Of the heading from the two antennas, in deg. Left out: 0.2 deg for antennas 1 m apart,
        /// less in proportion for antennas farther apart.
        heading: Option<Written<Angle>> = "\"0.1 deg\"";
        /// How far the steering strays beside the line, the position's own error aside, in mm.
        /// Left out: 10 mm.
        steering: Option<Written<Length>> = "\"10 mm\"";
        /// Of the moment at which the tool acts, in ms. Left out: 10 ms.
        timing: Option<Written<Time>> = "\"10 ms\"";
        /// How far along the row a seed comes to rest from where it was aimed, in mm; half of it
        /// across, since the furrow holds the seed. Left out: 10 mm.
        drop: Option<Written<Length>> = "\"10 mm\"";
    }
}

table! {
    /// An antenna.
    pub struct Antenna {
        /// Forward of the reference point, in m; behind it: negative.
        forward: Written<Length> = "\"0.9 m\"";
        /// To the right of the reference point, in m; to the left: negative.
        right: Written<Length> = "\"0.5 m\"";
        /// Above the ground, in m.
        height: Written<Length> = "\"1.6 m\"";
    }
}

table! {
    /// A crop and its seed lot.
    pub struct Crop {
        /// The species; fields name their crop by it.
        name: Written<String> = "\"chicory\"";
        /// The variety.
        variety: Written<String> = "\"Thrennow White\"";
        /// Seeding depth, in mm.
        depth: Written<Length> = "\"10 mm\"";
        /// Mass of a thousand seeds, in g.
        thousand_seed_mass: Written<Mass> = "\"1.6 g\"";
        /// Share of seeds that germinate, from the seed lot's certificate, in %.
        germination: Written<Share> = "\"92 %\"";
        /// Share of germinated seeds that emerge in the field, in %.
        field_emergence: Written<Share> = "\"85 %\"";
        /// Seeds in one sales unit. Left out: no whole units are counted.
        seeds_per_unit: Option<Written<u32>> = "100_000";
        /// How far a plant comes up beside its seed, as a standard deviation in each direction, in
        /// mm. Left out: 18 mm.
        plant_scatter: Option<Written<Length>> = "\"18 mm\"";
    }
}

table! {
    /// A field.
    pub struct Field {
        /// Its name, which no other field of the job has.
        name: Written<String> = "\"Long Acre\"";
        /// The boundary's corners in walking order, each latitude and longitude in degrees.
        corners: Option<Ring> = "[[52.1, 5.2], [52.1, 5.203], [52.102, 5.203]]";
        /// Path of a survey with the boundary, in place of `corners`: GeoJSON, KML, KMZ, GML,
        /// Shapefile, GeoPackage, GPX, a CSV table of corners, an NMEA 0183 log, or an ISO 11783-10 task data
        /// set; zipped or not.
        boundary: Option<Written<Survey>> = "\"long-acre.geojson\"";
        /// Which shape of the survey is meant, by its name or `id`.
        boundary_name: Option<Written<String>> = "\"Long Acre\"";
        /// Which shape of the survey is meant, by the value of one of its attributes.
        boundary_where: Option<Written<String>> = "\"crop=oats\"";
        /// Which shape of the survey is meant, counted from 1.
        boundary_index: Option<Written<u32>> = "1";
        /// Frame of the survey's positions, where the file does not say it or says it wrong: a
        /// name or an EPSG code, of a map grid too.
        boundary_frame: Option<Written<String>> = "\"EPSG:25832\"";
        /// Spikes, slits and overlaps of the boundary that are narrower are mended and told, in cm.
        /// Left out: 5 cm.
        boundary_tolerance: Option<Written<Length>> = "\"5 cm\"";
        /// Whether a boundary that crosses itself is cut at its crossings, which is told. Left out:
        /// it is refused.
        repair: Option<Written<bool>> = "false";
        /// The poorest fixes of a receiver's log that are taken: `rtk-fixed`, `rtk-float`,
        /// `differential`, `any`. Left out: `rtk-fixed`.
        fix_quality: Option<Written<FixQuality>> = "\"rtk-fixed\"";
        /// How far from the survey's own obstacles body and antennas stay, where it does not say,
        /// in m.
        obstacle_clearance: Option<Written<Length>> = "\"1 m\"";
        /// How far inside the boundary body and antennas stay, in m.
        fence_margin: Written<Length> = "\"0.5 m\"";
        /// The crop, by its name.
        crop: Written<String> = "\"chicory\"";
        /// Where the machine starts and ends: latitude and longitude in degrees. Left out: at the
        /// first entrance, or at the first lane.
        home: Option<Written<GeoPoint>> = "[52.1001, 5.2001]";
        /// Ways into the field.
        entrance: Option<OneOrMore<Entrance>> = "[{ name = \"gate\", at = [52.1, 5.2015] }]";
        /// Places where the seed stands: the machine drives there to be filled. Left out: a person carries
        /// the seed from the field's edge to where the machine waits at the end of a lane.
        refill_point: Option<OneOrMore<RefillPoint>> = "[{ name = \"trailer\", at = [52.1002, 5.2015] }]";
        /// How many seconds of driving it is worth not to drive one metre over sown rows, in s; `"0 s"`
        /// where it does not matter. Left out: 3 s.
        over_sown_rows: Option<Written<Time>> = "\"3 s\"";
        /// Places to stay out of.
        keep_out: Option<OneOrMore<KeepOut>> = "[{ name = \"pole\", at = [52.101, 5.202], radius = \"0.4 m\", clearance = \"1 m\" }]";
        /// The headland; `\"none\"` for lanes that run to the fence. Left out: as many laps as the
        /// machine's turns need, sown last.
        headland: Option<HeadlandChoice> = "{ laps = 2, sown = \"last\" }";
        /// What the lanes follow: `\"best\"`, whatever costs least; a heading, degrees clockwise from
        /// north (`\"38.5 deg\"`); straight along an edge of the boundary, counted from 1, edge 1 from
        /// the first corner to the second; the bends of several edges of it; or those of a line.
        /// Left out: `\"best\"`.
        guidance: Option<Written<GuidanceChoice>> = "{ along_edge = 1 }";
        /// Most blocks that each piece of the field inside its headland is cut into; 1 leaves it
        /// whole. Left out: as many as pay.
        blocks: Option<Written<u32>> = "1";
        /// Lines that cut the field inside its headland into blocks, in place of cuts by cost.
        dividing_line: Option<OneOrMore<DividingLine>> = "[{ points = [[52.1, 5.201], [52.102, 5.201]] }]";
        /// Blocks whose lanes follow something else than the field's `guidance`, or that are sown closer,
        /// wider or in another pattern than `spacing` says.
        block: Option<OneOrMore<Block>> = "[{ at = [52.101, 5.202], guidance = \"38.5 deg\" }]";
        /// The lattice on which the seeds stand.
        spacing: Spacing = "{ between_rows = \"45 cm\", between_seeds = \"18 cm\" }";
        /// Parts of the field that are sown closer or wider than `spacing` says, or not at all.
        zones: Option<Zones> = "{ file = \"soil.geojson\", rate = \"rate\" }";
    }
}

table! {
    /// Treatment zones: polygons of a file, with the attribute that says how close each is sown, or a
    /// raster, whose cells of one number are a zone with that number as its attribute `value`. One of
    /// `rate`, `seeds_per_ha`, `plants_per_ha`, `between_seeds` and `between_hills` names that attribute. In
    /// polygons, others may tell the pattern; where these say none, a zone has the field's own, and where no
    /// attribute tells the rate, the field's own number of seeds. In a zone the distance in the row is a whole
    /// multiple of one part of the field's own, so that rows line up within it and seeds keep their distance
    /// across its border.
    pub struct Zones {
        /// Path of the file: polygons in GeoJSON or in any other format of a survey, or a GeoTIFF of one
        /// band.
        file: Written<Survey> = "\"soil.geojson\"";
        /// Frame of the file's positions, where it does not say it or says it wrong: a name or an EPSG
        /// code.
        frame: Option<Written<String>> = "\"EPSG:25832\"";
        /// Attribute with the share of the field's own number of seeds: `0.8` or `80 %`; `0` leaves
        /// the zone unsown.
        rate: Option<Written<String>> = "\"rate\"";
        /// Attribute with the seeds on a hectare.
        seeds_per_ha: Option<Written<String>> = "\"seeds\"";
        /// Attribute with the plants wanted on a hectare.
        plants_per_ha: Option<Written<String>> = "\"plants\"";
        /// Attribute with the distance between places in the row and its unit: `18 cm`.
        between_seeds: Option<Written<String>> = "\"spacing\"";
        /// Attribute with the distance between the middles of hills in the row and its unit: `40 cm`.
        between_hills: Option<Written<String>> = "\"spacing\"";
        /// Attribute with how the seeds lie: `single`, `hill` or `drill`. A zone without it: as `spacing`
        /// says.
        pattern: Option<Written<String>> = "\"pattern\"";
        /// Attribute with the seeds in a hill, of zones in hills.
        seeds_per_hill: Option<Written<String>> = "\"together\"";
        /// Attribute with the length from the first seed of a hill to its last along the row, and its unit,
        /// `6 cm`, of zones in hills.
        hill_length: Option<Written<String>> = "\"length\"";
        /// Classes of a raster's numbers, in place of an attribute.
        class: Option<OneOrMore<ZoneClass>> = "[{ below = 80, rate = \"80 %\" }, { from = 80, rate = \"100 %\" }]";
        /// Share of the field's own number of seeds that soil in no zone gets, in %. Left out: every
        /// part of the field must lie in a zone.
        elsewhere: Option<Written<Share>> = "\"100 %\"";
    }
}

table! {
    /// Cells of a raster whose numbers lie within bounds are one zone. How closely it is sown is said once:
    /// by one of `rate`, `seeds_per_ha`, `plants_per_ha`, `between_seeds` and `between_hills`; left out beside
    /// a pattern, it gets the field's own number of seeds. Cells in no class are in no zone.
    pub struct ZoneClass {
        /// What people call it. Left out: its rate.
        name: Option<Written<String>> = "\"knoll\"";
        /// The least number in it. Left out: any that is small enough.
        from: Option<Written<f64>> = "80";
        /// The least number beyond it. Left out: any that is large enough is in it.
        below: Option<Written<f64>> = "120";
        /// Share of the field's own number of seeds, in %; `0 %` leaves it unsown.
        rate: Option<Written<Share>> = "\"80 %\"";
        /// Seeds on a hectare.
        seeds_per_ha: Option<Written<u32>> = "111_111";
        /// Plants wanted on a hectare; germination and field emergence are allowed for.
        plants_per_ha: Option<Written<u32>> = "90_000";
        /// Between places in the row, seeds or middles of hills, in cm; in drilled rows the seeds' mean
        /// distance. Beside `pattern = "hill"` write `between_hills`.
        between_seeds: Option<Written<Length>> = "\"18 cm\"";
        /// Between the middles of hills in the row, in cm.
        between_hills: Option<Written<Length>> = "\"40 cm\"";
        /// How the seeds lie. Left out: as `spacing` says.
        pattern: Option<Written<PatternName>> = "\"hill\"";
        /// Seeds in a hill, with `pattern = "hill"`.
        seeds_per_hill: Option<Written<u32>> = "3";
        /// From the first seed of a hill to its last along the row, with `pattern = "hill"`, in cm.
        hill_length: Option<Written<Length>> = "\"6 cm\"";
    }
}

table! {
    /// A line that cuts the field into blocks. An end inside the field runs on straight, to the
    /// field's edge or to the next dividing line.
    pub struct DividingLine {
        /// Its points in order, each latitude and longitude in degrees.
        points: Line = "[[52.1, 5.201], [52.102, 5.201]]";
    }
}

table! {
    /// A block with lanes, a rate, a pattern of its own, or several of these. The rate is said once: by one
    /// of `rate`, `seeds_per_ha`, `plants_per_ha`, `between_seeds` and `between_hills`; left out beside a
    /// pattern, the block gets the field's own number of seeds. The distance in the row is a whole multiple
    /// of one part of the field's own.
    pub struct Block {
        /// A place inside the block: latitude and longitude in degrees.
        at: Written<GeoPoint> = "[52.101, 5.202]";
        /// As the field's `guidance`. Left out: that of the field.
        guidance: Option<Written<GuidanceChoice>> = "\"38.5 deg\"";
        /// Share of the field's own number of seeds, in %.
        rate: Option<Written<Share>> = "\"80 %\"";
        /// Seeds on a hectare.
        seeds_per_ha: Option<Written<u32>> = "111_111";
        /// Plants wanted on a hectare; germination and field emergence are allowed for.
        plants_per_ha: Option<Written<u32>> = "90_000";
        /// Between places in the row, seeds or middles of hills, in cm; in drilled rows the seeds' mean
        /// distance. Beside `pattern = "hill"` write `between_hills`.
        between_seeds: Option<Written<Length>> = "\"18 cm\"";
        /// Between the middles of hills in the row, in cm.
        between_hills: Option<Written<Length>> = "\"40 cm\"";
        /// How the seeds lie. Left out: as `spacing` says.
        pattern: Option<Written<PatternName>> = "\"hill\"";
        /// Seeds in a hill, with `pattern = "hill"`.
        seeds_per_hill: Option<Written<u32>> = "3";
        /// From the first seed of a hill to its last along the row, with `pattern = "hill"`, in cm.
        hill_length: Option<Written<Length>> = "\"6 cm\"";
    }
}

words! {
    /// How good a fix is, by the quality indicator of NMEA 0183.
    pub enum FixQuality {
        /// Carrier-phase ambiguities fixed: 4.
        RtkFixed = "rtk-fixed";
        /// Floating, and better: 5 too.
        RtkFloat = "rtk-float";
        /// With differential corrections, and better: 2 and 3 too.
        Differential = "differential";
        /// By satellite, and better: 1 too.
        Any = "any";
    }
}

table! {
    /// A way into the field.
    pub struct Entrance {
        /// Its name.
        name: Written<String> = "\"gate\"";
        /// Where: latitude and longitude in degrees.
        at: Written<GeoPoint> = "[52.1, 5.2015]";
        /// How wide it is between its posts, in m. Left out: wide enough.
        width: Option<Written<Length>> = "\"4.5 m\"";
    }
}

table! {
    /// A place where the machine is filled with seed.
    pub struct RefillPoint {
        /// Its name.
        name: Written<String> = "\"trailer\"";
        /// Where the machine stands meanwhile, by its reference point: latitude and longitude in degrees.
        at: Written<GeoPoint> = "[52.1002, 5.2015]";
    }
}

table! {
    /// A place to stay out of: a polygon, or a point with a radius.
    pub struct KeepOut {
        /// Its name.
        name: Written<String> = "\"pond\"";
        /// Its corners, each latitude and longitude in degrees.
        polygon: Option<Ring> = "[[52.1, 5.2], [52.1, 5.201], [52.101, 5.201]]";
        /// Its centre, with `radius`: latitude and longitude in degrees.
        at: Option<Written<GeoPoint>> = "[52.101, 5.202]";
        /// Its radius, with `at`, in m.
        radius: Option<Written<Length>> = "\"0.4 m\"";
        /// How far from it body and antennas stay, in m.
        clearance: Written<Length> = "\"1 m\"";
    }
}

table! {
    /// A headland by its laps or by its width.
    pub struct Headland {
        /// So many laps of the working width.
        laps: Option<Written<u32>> = "2";
        /// At least this wide, in m.
        width: Option<Written<Length>> = "\"6 m\"";
        /// When it is sown: `first`, before the lanes; `last`, after them, but laps round a keep-out among the lanes about
        /// it; `no`, not at all.
        /// Left out: `last`.
        sown: Option<Written<SownWhen>> = "\"last\"";
        /// How laps pass the corners of the field: `round`, on a curve, so that soil is left in the
        /// corner; `square`, up to the corner, a manoeuvre with the tool up, and from the corner on,
        /// which takes longer and asks for a machine that reverses or turns on the spot. Left out:
        /// `round`.
        corners: Option<Written<LapCorners>> = "\"square\"";
    }
}

words! {
    /// How headland laps pass corners.
    pub enum LapCorners {
        /// On a curve.
        Round = "round";
        /// Up to the corner and from the corner on.
        Square = "square";
    }
}

words! {
    /// When the headland is sown.
    pub enum SownWhen {
        /// Before the lanes.
        First = "first";
        /// After the lanes.
        Last = "last";
        /// Not at all.
        No = "no";
    }
}

table! {
    /// The lattice on which the seeds stand. How close they stand in the row is said once: as a
    /// distance, as seeds, sales units or plants a hectare, or by a stagger that decides it.
    pub struct Spacing {
        /// Between rows, in cm; the machine's row spacing.
        between_rows: Written<Length> = "\"45 cm\"";
        /// Between seeds in the row, in cm; in drilled rows their mean distance.
        between_seeds: Option<Written<Length>> = "\"18 cm\"";
        /// Between the middles of hills in the row, in cm.
        between_hills: Option<Written<Length>> = "\"40 cm\"";
        /// Seeds on a hectare.
        seeds_per_ha: Option<Written<u32>> = "111_111";
        /// Sales units on a hectare; the crop says `seeds_per_unit`.
        units_per_ha: Option<Written<f64>> = "1.1";
        /// Plants wanted on a hectare; germination and field emergence are allowed for.
        plants_per_ha: Option<Written<u32>> = "90_000";
        /// How the seeds lie: `single`, one seed at a time; `hill`, some seeds together at one
        /// place; `drill`, a line without places of its seeds' own. Left out: `single`.
        pattern: Option<Written<PatternName>> = "\"single\"";
        /// Seeds in a hill.
        seeds_per_hill: Option<Written<u32>> = "3";
        /// From the first seed of a hill to its last along the row, in cm.
        hill_length: Option<Written<Length>> = "\"6 cm\"";
        /// Shift of each next row as a share of the seed spacing, from 0 to 1, or `\"none\"`,
        /// `\"half\"`, `\"hex\"`, the shift that leaves the largest distance to the nearest
        /// neighbour, or `\"square\"`, rows across as far apart as along. `hex` and `square` decide
        /// the seed spacing where nothing else says it. Left out: `\"none\"`.
        stagger: Option<Written<Stagger>> = "\"half\"";
        /// How far along the row a seed may lie from its place, as a standard deviation, in mm; a
        /// machine that drives too fast for it is refused. Left out: anything goes.
        precision: Option<Written<Length>> = "\"20 mm\"";
        /// How much of each straight row stays unsown at its ends, in cm. Left out: nothing.
        row_end_margin: Option<Written<Length>> = "\"30 cm\"";
        /// Tool rows that are sown otherwise.
        tool_row: Option<OneOrMore<ToolRow>> = "{ rows = [1, 6], between_seeds = \"36 cm\" }";
        /// Rows that stay unsown for the wheels of a later machine.
        tramlines: Option<Tramlines> = "{ every = 6, rows = [2, 5] }";
    }
}

table! {
    /// Tool rows that are sown otherwise than the rest.
    pub struct ToolRow {
        /// Which, counted from 1 at the machine's left.
        rows: Written<Vec<Written<u32>>> = "[1, 6]";
        /// Between seeds in the row, in cm; in drilled rows their mean distance.
        between_seeds: Option<Written<Length>> = "\"36 cm\"";
        /// Between the middles of hills in the row, in cm.
        between_hills: Option<Written<Length>> = "\"40 cm\"";
        /// How the seeds lie. Left out: `single`.
        pattern: Option<Written<PatternName>> = "\"single\"";
        /// Seeds in a hill.
        seeds_per_hill: Option<Written<u32>> = "3";
        /// From the first seed of a hill to its last along the row, in cm.
        hill_length: Option<Written<Length>> = "\"6 cm\"";
    }
}

table! {
    /// Rows of straight lanes that stay unsown. Lanes are counted side by side from 1 at the left of
    /// each block, rows from 1 at the left of each lane, both seen along the block's heading.
    pub struct Tramlines {
        /// Every so many lanes.
        every: Written<u32> = "6";
        /// The first lane that has them. Left out: the one in the middle of the first so many.
        first: Option<Written<u32>> = "3";
        /// Which rows of such a lane.
        rows: Written<Vec<Written<u32>>> = "[2, 5]";
    }
}

words! {
    /// How seeds lie in a row.
    pub enum PatternName {
        /// One seed at a time.
        Single = "single";
        /// Some seeds together at one place.
        Hill = "hill";
        /// A line of seeds at a rate.
        Drill = "drill";
    }
}

table! {
    /// Lanes along an edge of the boundary, along several, or along a line: one of the three.
    pub struct Along {
        /// Straight lanes along this edge, counted from 1; edge 1 runs from the first corner to the
        /// second.
        along_edge: Option<Written<u32>> = "1";
        /// Lanes that bend as the boundary does from the first of these edges to the last, as one
        /// walks it.
        along_edges: Option<Written<[u32; 2]>> = "[3, 8]";
        /// Lanes that bend as this line does: its points, each latitude and longitude in degrees.
        along: Option<Line> = "[[52.1, 5.2], [52.101, 5.202], [52.101, 5.204]]";
    }
}

/// The shift from row to row.
#[derive(Copy, Clone, Debug, PartialEq)]
pub enum Stagger {
    /// This share of the seed spacing.
    Share(f64),
    /// The share that leaves the largest distance to the nearest neighbour.
    Hex,
    /// None, and the rows as far apart as the seeds.
    Square,
}

impl Decode for Stagger {
    fn decode(node: &Node<'_>, reader: &mut Reader<'_>) -> Option<Self> {
        let value = match node.get_ref().as_str() {
            Some("none") => Some(Self::Share(0.0)),
            Some("half") => Some(Self::Share(0.5)),
            Some("hex") => Some(Self::Hex),
            Some("square") => Some(Self::Square),
            Some(_) => None,
            None => number(node).map(Self::Share),
        };
        if value.is_none() {
            reader.wrong_type(node, "a share from 0 to 1, `\"none\"`, `\"half\"`, `\"hex\"` or `\"square\"`");
        }
        value
    }
    fn schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "anyOf": [
            { "type": "number", "minimum": 0, "exclusiveMaximum": 1 },
            { "type": "string", "enum": ["none", "half", "hex", "square"] }
        ] })
    }
}

/// The headland as written.
#[derive(Clone, Debug)]
pub enum HeadlandChoice {
    /// `"none"`.
    None(Place),
    /// By laps or width.
    Sized(Headland),
}

impl Decode for HeadlandChoice {
    fn decode(node: &Node<'_>, reader: &mut Reader<'_>) -> Option<Self> {
        match node.get_ref() {
            DeValue::Table(_) => decode_node(node, reader).map(Self::Sized),
            DeValue::String(text) if text.as_ref() == "none" => Some(Self::None(reader.place(node))),
            _ => {
                reader.wrong_type(node, "a table with `laps` or `width`, or `\"none\"`");
                None
            }
        }
    }
    fn schema(generator: &mut SchemaGenerator) -> Schema {
        let table = table_schema::<Headland>(generator);
        json_schema!({ "anyOf": [table, { "type": "string", "enum": ["none"] }] })
    }
}

/// The heading of the lanes as written.
#[derive(Clone, Debug)]
pub enum GuidanceChoice {
    /// The cheapest.
    Best,
    /// This heading.
    Heading(Heading),
    /// Along an edge, edges or a line.
    Along(Along),
}

impl Decode for GuidanceChoice {
    fn decode(node: &Node<'_>, reader: &mut Reader<'_>) -> Option<Self> {
        match node.get_ref() {
            DeValue::Table(_) => decode_node(node, reader).map(Self::Along),
            DeValue::String(text) if text.as_ref() == "best" => Some(Self::Best),
            _ => Heading::decode(node, reader).map(Self::Heading),
        }
    }
    fn schema(generator: &mut SchemaGenerator) -> Schema {
        let table = table_schema::<Along>(generator);
        let heading = Heading::schema(generator);
        json_schema!({ "anyOf": [{ "type": "string", "enum": ["best"] }, heading, table] })
    }
}

impl Decode for Survey {
    fn decode(node: &Node<'_>, reader: &mut Reader<'_>) -> Option<Self> {
        if let Some(path) = node.get_ref().as_str() {
            super::decode_survey(path, node, reader)
        } else {
            reader.wrong_type(node, "the path of a survey");
            None
        }
    }
    fn schema(_: &mut SchemaGenerator) -> Schema {
        json_schema!({ "type": "string", "minLength": 1 })
    }
}
