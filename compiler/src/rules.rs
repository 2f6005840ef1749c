//! The catalogue of rules: one entry for each finding that the compiler can make, with its
//! severity, the why, the formula where there is one, its source, and an example.
//!
//! `lanewright explain RULE` prints an entry. Each rule has exactly one severity, the one here. One
//! section for each stage, in the order of the stages.

use crate::diagnostic::{Finding, Severity};
use std::fmt;

/// One rule.
#[derive(Debug)]
pub struct Rule {
    /// Stable name, `area/what`.
    pub name: &'static str,
    /// What a finding of it weighs.
    pub severity: Severity,
    /// What it finds, one line.
    pub finds: &'static str,
    /// Why it matters.
    pub why: &'static str,
    /// The formula that decides it; empty where none does.
    pub formula: &'static str,
    /// Where the rule or its figures come from.
    pub source: &'static str,
    /// A line of a job that it finds, or the case in which it speaks.
    pub example: &'static str,
}

/// Every rule, stage by stage.
pub const CATALOGUE: &[&[Rule]] =
    &[READ, SURVEY, CHECK, SITE, SOWN, WEEDING, LANES, ROUTE, RESUME, OPERATIONS, AUDIT, EMIT];

/// Every rule, one after the other.
pub fn all() -> impl Iterator<Item = &'static Rule> {
    CATALOGUE.iter().copied().flatten()
}

/// The rule of this name.
pub fn rule(name: &str) -> Option<&'static Rule> {
    all().find(|rule| rule.name == name)
}

/// A finding of a rule, with the severity that the catalogue gives it.
pub fn finding(name: &'static str, message: impl Into<String>) -> Finding {
    let severity = rule(name).map_or(Severity::Error, |rule| rule.severity);
    Finding::new(name, severity, message)
}

impl fmt::Display for Rule {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let severity = match self.severity {
            Severity::Error => "error: the job is refused",
            Severity::Warning => "warning: the compile goes on",
            Severity::Note => "note",
        };
        writeln!(out, "{} ({severity})\n", self.name)?;
        writeln!(out, "Finds    {}", self.finds)?;
        writeln!(out, "Why      {}", self.why)?;
        if !self.formula.is_empty() {
            writeln!(out, "Formula  {}", self.formula)?;
        }
        writeln!(out, "Source   {}", self.source)?;
        write!(out, "Example  {}", self.example)
    }
}

const LANGUAGE: &str = "the job language, schema/job.schema.json";
const PRACTICE: &str = "common practice, no source";
const GEOMETRY: &str = "plane geometry; simple rings as in OGC 06-103r4, simple feature access";

const fn error(name: &'static str, finds: &'static str, why: &'static str) -> Rule {
    Rule { name, severity: Severity::Error, finds, why, formula: "", source: LANGUAGE, example: "" }
}

const fn warning(name: &'static str, finds: &'static str, why: &'static str) -> Rule {
    Rule { severity: Severity::Warning, ..error(name, finds, why) }
}

const fn note(name: &'static str, finds: &'static str, why: &'static str) -> Rule {
    Rule { severity: Severity::Note, ..error(name, finds, why) }
}

impl Rule {
    /// With the formula that decides it.
    const fn formula(self, formula: &'static str) -> Self {
        Self { formula, ..self }
    }
    /// With the source, where it is not the job language.
    const fn source(self, source: &'static str) -> Self {
        Self { source, ..self }
    }
    /// With an example.
    const fn example(self, example: &'static str) -> Self {
        Self { example, ..self }
    }
}

const SEED_MAP: &str = "the digest of the seed map; SHA-256, FIPS 180-4";

/// What can be wrong with a sown folder.
pub const SOWN: &[Rule] = &[
    error(
        "sown/unreadable",
        "a sown folder whose files are not what a compile writes",
        "a pass is computed from the seed map or not at all",
    )
    .example("sown = \"out\", the folder above the job's own"),
    error(
        "sown/not-sowing",
        "a folder that another weeding pass left",
        "every pass is computed from what was sown, not from another pass",
    )
    .example("sown = \"out/first-hoeing\""),
    error(
        "sown/changed",
        "a manifest that is not the pinned one, or a map that is not the manifest's",
        "a blade that works by a changed map works where plants stand",
    )
    .source(SEED_MAP)
    .example("a row moved by hand in `seed-rows.geojson`"),
    warning(
        "sown/not-pinned",
        "a weeding job that does not say which seed map it was written for",
        "the sowing may be compiled anew, and differently, between sowing and weeding",
    )
    .source(SEED_MAP)
    .example("a weeding job without `sown_digest`"),
    error("sown/other-field", "a field that the seed map has not", "the pass would be on another field")
        .example("fields = [\"Upper Sallow\"]"),
    error(
        "sown/other-frame",
        "a base station in another reference frame, or epoch, than the seed map",
        "frames drift against each other by centimetres a year, as much as a blade is wide",
    )
    .source("ITRF2014: Altamimi and others 2016, J. Geophys. Res. Solid Earth 121")
    .example("base_station_frame = \"ITRF2014@2029.3\" over a map at 2027.3"),
    error(
        "sown/frame",
        "a seed map in a field frame that this version would not make",
        "the seeds would be looked for in another frame than they were sown in",
    )
    .example("a folder of another version of the program"),
];

/// What can be wrong with a weeding pass.
pub const WEEDING: &[Rule] = &[
    error("machine/no-hopper", "a weeding machine in a sowing job", "seed has to come from somewhere")
        .example("the machine of a weeding job, which has no `hopper`"),
    error("weeding/tools", "tools that do not go with the operation", "what works the soil must be known")
        .example("operation = \"intra-row weeding\" without `blade`"),
    error(
        "weeding/missing-seeds",
        "a table of missing seeds that cannot be read, or that names places which the seed map has not",
        "a blade would stay out, or in",
    )
    .example("a table without the column `index`"),
    error("weeding/before-sowing", "a pass before the day of sowing", "there is nothing to weed round")
        .example("date = 2027-03-01 for a sowing of 2027-04-12"),
    error(
        "weeding/after-emergence",
        "a pass over the seeds on or after the day on which plants are expected",
        "it would bury or cut the seedlings",
    )
    .source(PRACTICE)
    .example("date = 2027-04-27, emergence = 2027-04-27"),
    error(
        "season/given-twice",
        "a day of emergence, or temperatures, said in two ways",
        "one of them would be passed over in silence",
    )
    .example("`emergence` beside `season`"),
    error(
        "season/no-weather",
        "temperatures that are missing, unreadable, or end before the crop is up",
        "a day of emergence that is guessed would let tools go over seedlings",
    )
    .example("a table that begins after the day of sowing"),
    error(
        "season/too-cold",
        "a crop that is not up within a year by the temperatures given",
        "base temperature, thermal time and temperatures do not belong together",
    )
    .formula("Σ degree-days above the base ≥ thermal time; single sine, horizontal cutoff at the ceiling")
    .source("Allen 1976, Environmental Entomology 5:388")
    .example("base_temperature = \"25 °C\" with monthly means below 20 °C"),
    error(
        "weeding/deeper-than-seed",
        "tools over the seeds that come nearer to them than the clearance",
        "it would move the seeds that every later pass counts on",
    )
    .formula("depth ≤ seeding depth − clearance")
    .source(PRACTICE)
    .example("depth = \"2 cm\" over seed at 2 cm"),
    error(
        "weeding/rows-do-not-fit",
        "tool rows that do not pass where the rows were sown",
        "a tool beside its gap works in a row",
    )
    .source("plane geometry")
    .example("row_spacing = \"50 cm\" over rows that were sown 45 cm apart"),
    error(
        "weeding/not-square",
        "a pass across rows whose places do not stand in columns",
        "a tool that crosses the rows between two columns would meet plants",
    )
    .source("plane geometry")
    .example("direction = \"across\" over a map with stagger = \"half\""),
    warning(
        "weeding/left-out",
        "sown rows that this machine cannot go over",
        "what is not weeded here has to be weeded otherwise",
    )
    .formula("radius beside the sown way ≥ turning radius; body and antennas inside the fence")
    .source("plane geometry")
    .example("turning_radius = \"2.5 m\" with three tool rows over bends of 2.5 m that were sown by six"),
    error(
        "weeding/drilled-row",
        "a blade in rows that were drilled",
        "drilled plants have no places of their own that a blade could spare",
    )
    .example("operation = \"intra-row weeding\" over a map with pattern = \"drill\""),
    error(
        "weeding/tools-too-wide",
        "tools that come nearer to a row than its plants need",
        "leaves and plants beside their place would be cut",
    )
    .formula("n · width − (n − 1) · overlap ≤ row spacing − 2 (plant radius + k σ across)")
    .source("reference error budgets of seed maps: Griepentrog and others 2005, Precision Agriculture 6:157")
    .example("per_gap = 3, width = \"14 cm\" between rows 45 cm apart"),
    error(
        "weeding/blade-window",
        "a blade that is wider than what is left between two plants",
        "it cannot pass without reaching into the room of a plant",
    )
    .formula("width ≤ spacing − 2 r; r = plant radius + k σ, σ² = σ² of the seed map + σ² of this machine")
    .source("reference error budgets of seed maps: Griepentrog and others 2005, Precision Agriculture 6:157")
    .example("width = \"6 cm\" between plants 18 cm apart with 7 cm clear round each"),
    error(
        "weeding/too-fast",
        "a speed at which the blade is not in and out again between two plants",
        "it would come out in a plant",
    )
    .formula("width + speed · (time in + time out) ≤ spacing − 2 r")
    .source("kinematics; r as in weeding/blade-window")
    .example("speed = \"4 km/h\" with 80 ms in and 80 ms out"),
    error(
        "weeding/row-band",
        "a blade that rests nearer to a row than its plants need, its own or the next",
        "at rest it would drag through plants",
    )
    .formula("r ≤ row_band / 2 ≤ row spacing − r")
    .source("plane geometry")
    .example("row_band = \"6 cm\" with 7 cm clear round each plant"),
];

/// What can be wrong with the text of a job.
pub const READ: &[Rule] = &[
    error("job/syntax", "text that is not TOML", "a text that cannot be read says nothing for sure")
        .source("TOML 1.1, toml.io")
        .example("name = Long Acre"),
    error("job/not-utf8", "bytes that are not UTF-8", "names would be garbled, and TOML and JSON are UTF-8")
        .source("TOML 1.1, toml.io; RFC 8259")
        .example("a file saved in an older encoding"),
    error(
        "job/too-large",
        "a TOML file above 8 MiB, a survey above 256 MiB",
        "a job is a few kilobytes; a larger file is another file",
    )
    .example("machine = \"log-of-the-season.toml\""),
    error("job/missing-file", "a path at which there is no file", "a part of the job is not there")
        .example("machine = \"machines/0x-6.toml\""),
    error(
        "job/unreadable-file",
        "a file that the system does not let be read",
        "a part of the job is not there",
    )
    .example("boundary = \"folder\""),
    error(
        "job/unknown-key",
        "a key that its table does not have",
        "a misspelt key would otherwise be passed over, and a default taken in its stead",
    )
    .example("row_spcing = \"45 cm\""),
    error(
        "job/missing-key",
        "a key that its table needs and does not have",
        "what nobody says is not guessed",
    )
    .example("[machine] without row_spacing"),
    error(
        "job/bare-number",
        "a number where a quantity with its unit belongs",
        "a bare 45 is centimetres to one person and millimetres to the next",
    )
    .example("row_spacing = 45"),
    error("job/wrong-unit", "a unit of another quantity", "a length cannot be given in kilograms")
        .example("row_spacing = \"45 kg\""),
    error("job/wrong-type", "a value of another type than the key takes", "its meaning would be a guess")
        .example("may_reverse = \"yes\""),
    error(
        "job/wrong-value",
        "a word that is not in the list, a number that is none",
        "its meaning would be a guess",
    )
    .example("sown = \"later\""),
    error(
        "field/boundary-file",
        "a survey that is in no known format, is damaged, or holds no place",
        "without a boundary there is no field",
    )
    .source("RFC 7946, GeoJSON; OGC 12-007r2, KML; OGC 12-128, GeoPackage; ISO 11783-10")
    .example("boundary = \"letter.pdf\""),
];

/// What can be wrong with a survey, and what was changed in it.
pub const SURVEY: &[Rule] = &[
    error(
        "survey/frame-missing",
        "positions without their frame",
        "a pair of numbers in metres could lie anywhere",
    )
    .source("ISO 19111, referencing by coordinates")
    .example("a table with the columns easting and northing; a shapefile without its .prj"),
    error("survey/frame-unknown", "a frame that PROJ does not know", "positions in it could lie anywhere")
        .source("PROJ; the EPSG dataset")
        .example("boundary_frame = \"EPSG:99999\""),
    error(
        "survey/outside-frame",
        "positions that are no place in the stated frame",
        "the frame is another one, or easting and northing are exchanged",
    )
    .source("PROJ; the EPSG dataset")
    .example("boundary_frame = \"EPSG:25832\" for degrees"),
    warning(
        "survey/frame-overruled",
        "a file that states one frame, and a person who states another",
        "only one of them can be right; the person's is taken",
    )
    .example("boundary_frame = \"EPSG:25833\" for a file in EPSG:25832"),
    note(
        "survey/frame-taken",
        "a file that says WGS 84 where the job's coordinates are in another frame",
        "receivers and map programs write WGS 84 whatever the corrections were in; the job knows better",
    )
    .source(PRACTICE)
    .example("a shapefile in WGS 84 with survey = \"ETRS89\""),
    note("survey/shifted", "positions taken from one frame to another", "it moves them by up to metres")
        .source(FRAMES)
        .example("a survey in GDA2020 with survey = \"ITRF2014@2027.3\""),
    warning(
        "survey/coarse-shift",
        "a change of frame that is coarser than 5 cm",
        "the whole boundary may be off by as much, the same way everywhere",
    )
    .source(FRAMES)
    .example("a survey in a national grid of the last century"),
    error(
        "survey/no-good-fix",
        "a receiver's log without one fix of the quality asked for",
        "fixes without carrier-phase corrections are off by decimetres to metres",
    )
    .source("NMEA 0183, sentence GGA, quality indicator")
    .example("a walk without corrections"),
    note(
        "survey/fixes-left-out",
        "fixes of a poorer quality than asked",
        "they are off by decimetres to metres",
    )
    .source("NMEA 0183, sentence GGA, quality indicator")
    .example("quality 5, RTK float, under trees"),
    warning("survey/outliers", "fixes that jump away from a walk and come back", "nobody walks like that")
        .formula("up to 3 fixes, further than 8 usual steps and 3 m away")
        .source(PRACTICE)
        .example("a reflection off a silo"),
    note(
        "survey/stood-still",
        "many fixes at one place",
        "the noise of a standing receiver makes knots in the line",
    )
    .formula("5 fixes or more within 5 cm; their mean stays")
    .source(PRACTICE)
    .example("a rest at a gate"),
    note(
        "survey/past-start",
        "a walk that goes on after it came round",
        "the stretch would lie twice on the boundary",
    )
    .formula("within 1 m of the start, in the last fifth of the way")
    .source(PRACTICE)
    .example("a receiver switched off on the way home"),
    warning("survey/gap", "a stretch of a walk without a fix", "the boundary may bend where nobody measured")
        .formula("longer than 8 usual steps and 3 m")
        .source(PRACTICE)
        .example("corrections lost behind a barn"),
    note("survey/closed", "a boundary whose ends were joined", "a field has an edge all round")
        .source(GEOMETRY)
        .example("a walk that ends 40 cm from its start"),
    error("survey/open", "a boundary whose ends lie far apart", "what lies between them nobody measured")
        .formula("more than 10 m and more than twice the longest step")
        .source(PRACTICE)
        .example("a walk that ends half-way round"),
    note(
        "survey/thinned",
        "corners by the ten thousand",
        "they say nothing that the line without them does not say",
    )
    .formula("above 20 000 corners; the line moves by at most 1 cm")
    .source("Williams' cone on Reumann and Witkam's strip, line simplification in one pass")
    .example("a log of 3 million fixes"),
    note("survey/spike", "a way out and back in the boundary", "no machine can work it")
        .formula("narrower than `boundary_tolerance`")
        .source(GEOMETRY)
        .example("a corner measured, a stone beside it, the corner again"),
    note(
        "survey/joined",
        "two stretches of a boundary that run along one another",
        "a slit or an overlap of less than the noise of a survey is no thing on the ground",
    )
    .formula("nearer than `boundary_tolerance`")
    .source(GEOMETRY)
    .example("a pond drawn in one line with the field"),
    warning(
        "survey/cut",
        "a piece beyond a crossing or a neck, left out",
        "the job asks for it with `repair`, or no machine can work there",
    )
    .formula("less than 1 % of the field; or under 1 m², or narrower than 0.5 m")
    .source(GEOMETRY)
    .example("a loop at the end of a walk"),
    warning(
        "survey/parted",
        "a lobe beyond a crossing, kept as a part of its own",
        "the job asks for it with `repair`",
    )
    .source(GEOMETRY)
    .example("a boundary walked as a figure of eight"),
    warning(
        "survey/overlap",
        "ground that a boundary goes round twice",
        "it is counted once; the job asks for it with `repair`",
    )
    .source(GEOMETRY)
    .example("a walk that circles a corner twice"),
    error(
        "field/hole-outside",
        "a hole that lies outside its boundary or reaches out of it",
        "it belongs to another field",
    )
    .source(GEOMETRY)
    .example("a pond across the road"),
    warning(
        "survey/obstacle-without-radius",
        "an obstacle of a survey without its radius",
        "a place without a size cannot be kept out of; it is left out of the plan",
    )
    .example("a row with the code `pole` and no radius"),
    error(
        "survey/obstacle-clearance",
        "an obstacle of a survey without a clearance",
        "how far to stay from it nobody but the person knows",
    )
    .example("a boundary with poles, without obstacle_clearance"),
];

/// What can be wrong with the meaning of a job.
pub const CHECK: &[Rule] = &[
    error("job/not-above-zero", "a zero or negative value where only one above zero makes sense", "no machine has it")
        .example("between_seeds = \"0 cm\""),
    error("job/negative", "a negative value where none can be", "a fence margin outside the field protects nothing")
        .example("fence_margin = \"-0.5 m\""),
    error(
        "job/out-of-range",
        "a quantity beyond what any machine, field or crop has",
        "it is a slip of the pen, and a plan made with it would be without sense or without end",
    )
    .source(PRACTICE)
    .example("between_seeds = \"0.9 mm\""),
    error(
        "job/no-such-place",
        "a latitude beyond ±90° or a longitude beyond ±180°",
        "there is no such place; most often the two are swapped",
    )
    .source("ISO 6709, representation of a point by coordinates")
    .example("at = [152.1, 5.2]"),
    error("order/hours", "a day of work longer than 24 h", "the calendar would be wrong")
        .example("hours_per_day = \"26 h\""),
    error("order/operations", "no operation, or one listed twice", "there would be nothing to do, or it twice")
        .example("operations = []"),
    error(
        "frame/unknown",
        "a reference frame that is no known name and no EPSG code of a geographic frame",
        "frames lie up to metres apart; a position without its frame is no position",
    )
    .source("the EPSG dataset as PROJ holds it")
    .example("survey = \"EPSG:99999\""),
    error("frame/epoch", "an epoch that is not a decimal year between 1980 and 2100", "the ground moves centimetres a year")
        .source("the EPSG dataset; ISO 19111, coordinate epoch")
        .example("survey = \"ITRF2014@spring\""),
    error(
        "frame/ground-epoch",
        "a frame for the ground with an epoch",
        "the ground rests in it at every epoch, or it does not rest in it",
    )
    .source(FRAMES)
    .example("ground = \"ETRF2014@2020.0\""),
    error("machine/rows", "more tool rows than any toolbar has", "a slip of the pen would make the plan useless")
        .source(PRACTICE)
        .example("rows = 6000"),
    error(
        "machine/width-mismatch",
        "a working width that is not rows × row spacing",
        "neighbouring lanes lie a working width apart; if it is not rows × row spacing, the rows where two lanes meet are too near or too far, and a later weeding pass cuts them",
    )
    .formula("working width = rows × row spacing")
    .source("plane geometry")
    .example("rows = 6, row_spacing = \"45 cm\", working_width = \"3 m\""),
    error(
        "machine/tracks-on-rows",
        "a wheel that would run on a row",
        "a tyre presses the seed bed or crushes the plants of the row, in every lane of the field",
    )
    .formula("|wheel track − row| ≥ tyre width / 2 + 2 cm, for the rows of this lane and of its neighbours")
    .source("the 2 cm: common practice, no source")
    .example("wheel_tracks = [\"-67.5 cm\", \"67.5 cm\"] with rows at ±22.5, ±67.5 and ±112.5 cm"),
    error(
        "machine/steering",
        "a machine that can neither turn on the spot nor be driven on a radius",
        "no lane could be reached after the first",
    )
    .source("plane geometry")
    .example("turns_on_spot = false without turning_radius"),
    error("machine/body", "an outline of fewer than three corners, without area, or that crosses itself", "the fence is proven for this outline")
        .source(GEOMETRY)
        .example("body = [[\"1 m\", \"0 m\"], [\"-1 m\", \"0 m\"]]"),
    warning(
        "machine/antenna-off-body",
        "an antenna more than 1 m outside the body",
        "its place on the machine is most likely mistyped, and every position would be off by as much",
    )
    .source(PRACTICE)
    .example("antennas = [{ forward = \"9 m\", … }, …]"),
    note(
        "machine/rows-off-body",
        "tool rows outside the outline of the body",
        "the fence is proven for the outline; a toolbar that sticks out of it is not covered",
    )
    .source("plane geometry")
    .example("a body 2 m wide with a toolbar 2.7 m wide"),
    error("crop/share", "germination or field emergence outside 0 to 100 %", "a share of the seeds cannot be more than all of them")
        .example("germination = \"920 %\""),
    error("crop/unknown", "a field whose crop is not in the job", "without it there is no seed lot to count with")
        .example("crop = \"chickory\""),
    error("crop/two-of-one-name", "two crops of one name", "a field names its crop by it")
        .example("two [[crop]] with name = \"chicory\""),
    error(
        "spacing/not-the-machines",
        "rows asked for at another spacing than the machine's",
        "a toolbar sows its rows where they are mounted",
    )
    .source("plane geometry")
    .example("between_rows = \"50 cm\" with row_spacing = \"45 cm\""),
    error("spacing/stagger", "a stagger outside 0 to 1", "it is a share of the seed spacing; a whole spacing is no shift")
        .example("stagger = 1.5"),
    error(
        "spacing/stand",
        "a stand that is not said, said twice, or said by a number that makes no distance",
        "seeds, sales units and plants a hectare each decide the distance in the row, as the distance itself does",
    )
    .formula("distance = 10⁴ · seeds at a place / (row spacing · seeds per hectare); seeds = plants / (germination · field emergence)")
    .source("arithmetic")
    .example("between_seeds = \"18 cm\" and seeds_per_ha = 111_111"),
    error(
        "spacing/pattern",
        "a pattern without what it needs, or with what belongs to another",
        "hills need the number of their seeds and their length; other patterns have neither",
    )
    .example("pattern = \"hill\" without seeds_per_hill"),
    error(
        "spacing/hill-too-long",
        "hills as long as the distance between their middles, or longer",
        "they would run into each other, and no later pass could tell them apart",
    )
    .formula("hill length ≥ distance between hills")
    .source("plane geometry")
    .example("hill_length = \"40 cm\" with between_hills = \"40 cm\""),
    error(
        "spacing/not-square",
        "squares whose sides differ",
        "a later pass crosses the rows only where seeds are as far apart along the row as across",
    )
    .source("plane geometry")
    .example("stagger = \"square\" and between_seeds = \"18 cm\" with rows 45 cm apart"),
    error(
        "spacing/no-unit",
        "sales units a hectare of a crop that does not say how many seeds are in one",
        "units count seeds only with the number on the bag",
    )
    .example("units_per_ha = 1.1 without seeds_per_unit"),
    error(
        "spacing/no-such-row",
        "a row that the machine does not have, or that is listed twice",
        "rows are counted from 1 at the machine's left, and each is sown in one way",
    )
    .example("tool_row = { rows = [7], between_seeds = \"36 cm\" } for a machine of six rows"),
    error(
        "spacing/tramlines",
        "tramlines that leave out no row, every row, or begin beyond the first so many lanes",
        "some rows stay unsown for wheels, the others are the crop",
    )
    .example("tramlines = { every = 6, first = 9, rows = [2, 5] }"),
    error(
        "zones/rate-attribute",
        "treatment zones without an attribute that tells their rate or their pattern, or with two for the rate",
        "a rate is said once: as a share of the field's seeds, as seeds or plants a hectare, or as a distance",
    )
    .example("zones = { file = \"soil.geojson\" }"),
    error("zones/no-polygon", "a file of zones without a polygon", "a zone is ground; lines and points enclose none")
        .example("zones = { file = \"samples.geojson\", rate = \"rate\" } with soil samples as points"),
    error(
        "zones/attribute-missing",
        "a zone without an attribute that tells how it is sown",
        "nobody could say what it gets, and nothing is guessed",
    )
    .example("rate = \"rate\" for zones whose attribute is `Rate_1`"),
    error(
        "zones/attribute-unreadable",
        "a zone whose rate is no number, whose pattern is none, or whose distance has no unit",
        "a distance of 18 is read as centimetres by one person and as millimetres by the next",
    )
    .example("between_seeds = \"spacing\" for zones with `\"spacing\": 18`"),
    error("zones/rate", "a rate below a fifth of the field's own or above five times it", "most likely a rate of another kind was meant")
        .formula("rate < 0.2 or rate > 5, and not 0")
        .source(PRACTICE)
        .example("a zone with `\"rate\": 120` for 120 %"),
    error(
        "zones/beside-tool-rows",
        "treatment zones with patterns of their own in a field whose tool rows have theirs",
        "those rows would have two patterns in a zone",
    )
    .source(LANGUAGE)
    .example("pattern in [field.zones] beside tool_row in [field.spacing]"),
    error(
        "zones/class",
        "a class of a raster's numbers that holds none, shares some with another or says no rate, or classes for a file of polygons",
        "each cell is sown in one way, and nothing is guessed",
    )
    .example("class = [{ below = 120, rate = \"80 %\" }, { from = 80, rate = \"100 %\" }]"),
    error(
        "zones/raster-numbers",
        "a raster of zones whose cells hold very many different numbers",
        "cells of one number are one zone; a number of its own in every cell is a measurement, and how it is to be sown is the adviser's word",
    )
    .formula("more than 64 different numbers")
    .source(PRACTICE)
    .example("a raster of leaf area, with three decimals"),
    error(
        "zones/raster-ragged",
        "a raster of zones whose cells of one number lie scattered",
        "a zone of single cells is noise, which no machine can follow",
    )
    .formula("more than 200 000 corners of all outlines")
    .source(PRACTICE)
    .example("classes of a measurement that was not smoothed, in cells of half a metre"),
    note(
        "zones/rate-rounded",
        "rates that cannot all be met on one lattice",
        "the spacings of all zones are whole numbers of one part of the field's own, so that rows line up and seeds keep their distance across borders",
    )
    .formula("spacing in a zone = steps / parts · the field's, parts ≤ 60; told where the rate is missed by more than 1 %")
    .source("arithmetic")
    .example("zones of 497 %, 351 % and 113 %"),
    error("field/none", "a job without a field", "there would be nothing to plan").example("field = []"),
    error("field/two-of-one-name", "two fields of one name", "files, maps and tasks tell fields by their names")
        .example("two [[field]] with name = \"Long Acre\""),
    error("field/boundary", "a field without a boundary, or with two", "only one of them can be meant")
        .example("corners and boundary in one [[field]]"),
    error("field/boundary-choice", "a boundary file with several shapes of which none is chosen, or one that is not there", "the wrong field would be sown")
        .example("boundary = \"farm.geojson\" without boundary_name"),
    error("field/few-corners", "a boundary of fewer than three corners", "it encloses nothing")
        .source(GEOMETRY)
        .example("corners = [[52.1, 5.2], [52.1, 5.3]]"),
    error(
        "field/self-crossing",
        "a boundary that crosses itself",
        "inside and outside change places at the crossing, so nobody can say where the field is",
    )
    .source(GEOMETRY)
    .example("four corners given in the order of a bow tie"),
    error("field/zero-area", "a boundary without area, or a sliver", "no machine can work there")
        .formula("area < 1 m², or 2 × area / perimeter < 0.5 m")
        .source(PRACTICE)
        .example("three corners on one line"),
    note("field/repeated-point", "corners that repeat the one before", "surveys often store a standing receiver twice; they are left out")
        .formula("less than 1 mm apart")
        .source(PRACTICE)
        .example("corners = [[52.1, 5.2], [52.1, 5.2], …]"),
    error(
        "field/swapped",
        "a boundary far from the base station that lies near it once latitude and longitude are exchanged",
        "formats differ in their order, and a machine sent to the other place finds nothing",
    )
    .formula("more than 100 km away as given, less when exchanged")
    .source(PRACTICE)
    .example("corners = [[5.2, 52.1], …] with at = [52.1, 5.2]"),
    error("field/headland", "a headland given twice", "only one of them can be meant")
        .example("headland = { laps = 2, width = \"6 m\" }"),
    error(
        "field/square-corners",
        "square corners of headland laps for a machine that drives forward only",
        "it cannot back into a corner, nor turn there",
    )
    .source(GEOMETRY)
    .example("headland = { corners = \"square\" } with may_reverse = false and turns_on_spot = false"),
    error("field/no-such-edge", "lanes along an edge that the boundary does not have", "there is nothing to be parallel to")
        .example("guidance = { along_edge = 40 }"),
    error("field/guidance", "lanes that are to follow nothing, or more than one thing", "only one of them can be meant")
        .example("guidance = { along_edge = 3, along = [[52.1, 5.2], [52.1, 5.3]] }"),
    error("field/blocks", "blocks given both by their number and by dividing lines", "only one of them can be meant")
        .example("blocks = 2 with [[field.dividing_line]]"),
    error("field/short-line", "a line of fewer than two points that differ", "it leads nowhere")
        .example("points = [[52.1, 5.2]]"),
    error("keep-out/shape", "a keep-out that is neither a polygon nor a point with a radius", "a place without a size cannot be kept out of")
        .example("[[field.keep_out]] with at, without radius"),
    error("keep-out/few-corners", "a keep-out of fewer than three corners", "it encloses nothing")
        .source(GEOMETRY)
        .example("polygon = [[52.1, 5.2], [52.1, 5.3]]"),
    error("keep-out/self-crossing", "a keep-out that crosses itself", "nobody can say what to keep out of")
        .source(GEOMETRY)
        .example("four corners given in the order of a bow tie"),
    error("keep-out/zero-area", "a keep-out without area", "give a pole as a point with a radius instead")
        .formula("area < 1 m², or 2 × area / perimeter < 0.5 m")
        .source(PRACTICE)
        .example("three corners on one line"),
    error(
        "entrance/two-of-one-name",
        "two entrances of one name in a field",
        "a person who is told of one would not know which is meant",
    )
    .example("two entrances called \"gate\""),
    error(
        "refill-point/two-of-one-name",
        "two refill points of one name in a field",
        "stops name the point at which the seed must stand",
    )
    .example("two refill points called \"trailer\""),
    error("entrance/too-narrow", "an entrance narrower than the machine's body", "nobody could bring the machine in or out there")
        .formula("width < farthest corner of the body to the right − farthest to the left")
        .source("plane geometry")
        .example("entrance = { name = \"garden gate\", at = [52.1, 5.2], width = \"1.2 m\" }"),
    error("keep-out/outside", "a keep-out that does not meet its field", "its position is most likely mistyped, and the thing itself would then be driven over")
        .source("plane geometry")
        .example("a pole given in the neighbour's field"),
];

const FRAMES: &str = "IOGP Guidance Note 25, dynamic versus static CRSs; the EPSG dataset as PROJ holds it";

/// What can be wrong with the fields in metres.
pub const SITE: &[Rule] = &[
    error("zones/not-here", "a file of zones of which none lies in the field", "it is another field's, or in another frame")
        .source("plane geometry")
        .example("the zones of the neighbouring field"),
    warning("zones/outside", "zones outside the field", "they are sown nowhere; one that was meant for this field is drawn in the wrong place")
        .formula("less than 1 m² within the boundary")
        .example("the zones of a whole farm in one file"),
    error("zones/overlap", "soil in two zones", "it has no one rate")
        .formula("more than 1 m² and more than a thousandth of the zones lie in two of them")
        .source("plane geometry")
        .example("a zone drawn over its neighbour's edge"),
    error(
        "zones/uncovered",
        "soil in no zone where nothing says what it gets",
        "a file for half a field is a slip as often as it is meant, and a guessed rate is sown before anyone sees it",
    )
    .formula("more than 1 m² and more than a thousandth of the soil inside the fence lie in no zone, without `elsewhere`")
    .source("plane geometry")
    .example("zones of the wet half only"),
    error(
        "frame/not-geographic",
        "a frame of eastings and northings where latitudes and longitudes are given",
        "the job's coordinates are latitudes and longitudes; read as metres they would lie elsewhere",
    )
    .source(FRAMES)
    .example("survey = \"EPSG:25832\""),
    error(
        "frame/epoch-missing",
        "a change of frame that needs the epoch of coordinates, and nobody gave it",
        "plates move by centimetres a year; without the year the shift is off by decimetres",
    )
    .source(FRAMES)
    .example("survey = \"ETRS89\", base_station = \"ITRF2014\""),
    error(
        "frame/epochs-differ",
        "coordinates of two epochs, and no frame in which the ground rests",
        "a field keeps its coordinates only in a frame that is tied to its plate; by way of that frame they go from epoch to epoch",
    )
    .source(FRAMES)
    .example("survey = \"ITRF2014@2015.0\", base_station = \"ITRF2014@2027.3\", and no `ground`"),
    error(
        "frame/ground-drifts",
        "a frame for the ground that is tied to no plate",
        "the ground drifts through such a frame by centimetres a year, so that epochs would be mixed up by decimetres",
    )
    .formula("a frame for the whole Earth, or one in which a place that stands still in ITRF2014 moves by less than 5 mm a year")
    .source("ITRF2014 plate motion model: Altamimi and others 2017, Geophys. J. Int. 209: no land but some of Antarctica is slower than 7 mm; areas of use of the EPSG dataset")
    .example("ground = \"ITRF2014\""),
    error(
        "frame/no-transformation",
        "two frames between which PROJ knows no way at this place",
        "without it the boundary cannot be told in the frame of the machine's receiver",
    )
    .source(FRAMES)
    .example("survey = \"GDA2020\", base_station = \"NAD83(2011)\""),
    error("frame/projection", "a place that PROJ cannot project", "the field cannot be laid out in metres")
        .source("PROJ, transverse Mercator")
        .example("a field at a pole"),
    note(
        "frame/ensemble",
        "a frame that is a group of realisations",
        "its name alone leaves positions open by up to metres; they hold only against the same base station",
    )
    .source("the EPSG dataset, datum ensembles")
    .example("survey = \"WGS 84\""),
    warning(
        "frame/no-epoch",
        "positions that leave in a moving frame without their epoch",
        "who uses them in another year cannot take the drift off",
    )
    .source(FRAMES)
    .example("output = \"ITRF2014\""),
    warning(
        "frame/coarse-shift",
        "a transformation between frames that is itself coarse",
        "the plan is then off the boundary by as much, which a receiver of centimetres does not mend",
    )
    .source("the accuracies of the EPSG dataset as PROJ holds it")
    .example("survey = \"NAD83(2011)\", base_station = \"WGS 84\""),
    warning(
        "frame/not-the-receivers",
        "a plan that leaves in another frame than the base station's",
        "the machine's receiver works in the frame of its base station and takes the plan as if it were in it",
    )
    .source(FRAMES)
    .example("base_station = \"ETRS89\", output = \"ITRF2014@2027.3\""),
    error(
        "field/far-apart",
        "fields too far apart for one frame",
        "away from its centre the plane of the field stretches, and rows would no longer be as far apart as planned",
    )
    .formula("scale error x² / 2R² at x from the centre: 1.2 mm per km at 10 km")
    .source("IOGP Guidance Note 7-2, transverse Mercator")
    .example("two fields 40 km apart in one job"),
    error(
        "field/parts-overlap",
        "parts of a boundary that cover ground twice",
        "that ground would be sown twice",
    )
    .source(GEOMETRY)
    .example("a multipolygon of two overlapping squares"),
    error(
        "site/areas-disagree",
        "a field whose area on the ellipsoid and in the plane differ",
        "the two are computed by independent ways; if they disagree, one of them is wrong",
    )
    .source("C. F. F. Karney, Algorithms for geodesics, 2013")
    .example("none known; the check guards the projection"),
    error(
        "field/margin-leaves-nothing",
        "a fence margin that leaves nothing of the field",
        "there is no place where the machine may be",
    )
    .formula("boundary less margin = nothing")
    .source("plane geometry")
    .example("fence_margin = \"40 m\" in a field 60 m wide"),
    error(
        "keep-out/swallows-field",
        "keep-outs that with their clearances cover the field",
        "there is no place where the machine may be",
    )
    .source("plane geometry")
    .example("radius = \"400 m\" for a pole"),
    note(
        "field/in-pieces",
        "a field that falls into pieces within its fence",
        "the machine cannot cross from one to the other and has to be brought there",
    )
    .source("plane geometry")
    .example("a field with a neck narrower than twice the margin"),
    error(
        "home/outside-fence",
        "a start that lies outside the fence",
        "the machine may not be there, so it could never begin",
    )
    .source("plane geometry")
    .example("home = a place in the yard"),
    error(
        "refill-point/outside-fence",
        "a refill point that lies outside the fence",
        "the machine drives there by itself to be filled, and may not be there",
    )
    .source("plane geometry")
    .example("refill_point = { name = \"trailer\", at = a place on the road }"),
    error("entrance/far", "an entrance far from the boundary", "its position is most likely mistyped")
        .source(PRACTICE)
        .example("an entrance with latitude and longitude swapped"),
    warning(
        "entrance/off-field",
        "an entrance farther outside the fence than a gate would be",
        "its position may be mistyped; and no way is planned from there to the field",
    )
    .formula("distance from the fence > fence margin + 5 m")
    .source(PRACTICE)
    .example("an entrance on the other side of the lane that runs past the field"),
    note(
        "entrance/outside-fence",
        "an entrance at the boundary, outside the fence",
        "the machine does not drive there by itself; a person brings it in",
    )
    .source("plane geometry")
    .example("a gate on the boundary, with a fence margin"),
    warning(
        "base-station/far",
        "a field more than 10 km from its base station",
        "the error of a position grows with the baseline",
    )
    .formula("σ = 8 mm + 1 mm per km")
    .source("the formula: receivers' data sheets; the 10 km: common practice, no source")
    .example("a base station in the next valley"),
];

/// What can be wrong with the release of the seed.
pub const OPERATIONS: &[Rule] = &[
    error(
        "metering/rate",
        "a speed at which a metering unit would have to give more seeds a second than it can",
        "it would skip places, and rows on the outside of a bend first",
    )
    .formula("seeds at a place · row speed / distance between places > highest_rate")
    .source("arithmetic; the highest rate: the machine's maker")
    .example("highest_rate = 5 with seeds 9 cm apart at 2 km/h"),
    error(
        "metering/precision",
        "a speed at which seeds are scattered more along the row than the job allows",
        "the moment of release is uncertain, and the faster the row moves the farther that carries a seed",
    )
    .formula("√(σ₀² + (row speed · timing)²) > precision, with σ₀ from position, tilt, heading and fall")
    .source("propagation of independent errors")
    .example("precision = \"18 mm\" at 5 km/h"),
];

/// What can be wrong with the lanes.
pub const LANES: &[Rule] = &[
    error(
        "machine/body-beyond-fence",
        "a body that fits nowhere inside the fence",
        "there is no place where the machine may be",
    )
    .formula("largest circle in the body > largest circle inside the fence")
    .source("plane geometry")
    .example("a garden 3 m wide with fence_margin = \"50 cm\" and a body 2.8 m across"),
    error(
        "machine/radius-beyond-field",
        "a turning radius larger than the field",
        "a half turn is at least one radius deep, so that none fits; fields narrower than two working widths are driven out and back without one",
    )
    .formula("turning_radius > largest circle inside the fence")
    .source("plane geometry")
    .example("turning_radius = \"60 m\" in a field 40 m wide"),
    error(
        "field/headland-too-wide",
        "a headland that leaves no room for a lane inside it",
        "what was meant as the place to turn would be the whole field",
    )
    .formula("laps × working width + what lies between fence and first lap, taken off every side")
    .source("plane geometry")
    .example("headland = { laps = 40 } in a field 100 m wide"),
    error(
        "field/too-narrow",
        "a field in which no lane fits",
        "with its margin taken off, nothing is left that is as long as the machine needs",
    )
    .source("plane geometry")
    .example("a field 20 m wide with fence_margin = \"8 m\""),
    error(
        "field/line-divides-nothing",
        "a dividing line that does not cut the field inside its headland in two",
        "the person would look for a block that is not there",
    )
    .source("plane geometry")
    .example("a dividing line drawn beside the field"),
    error(
        "field/line-not-followed",
        "a line that bends more than any lanes beside it could",
        "lanes that run elsewhere are not what was asked",
    )
    .formula("radius ≥ 1.3 × turning radius on every lane; w a² κ² / 2 + a² Δκ / 2 ≤ 1 mm")
    .source("the pose of a rigid body to second order; the 1.3: common practice, no source")
    .example("guidance = { along = … } round a bend of 180°"),
    note(
        "field/line-smoothed",
        "a line that lanes follow only with its bends made wider",
        "rows of neighbouring lanes keep their spacing to a millimetre, which a tool behind the reference point does not in a tight bend",
    )
    .formula("w a² κ² / 2 + a² Δκ / 2 ≤ 1 mm: working width w, tool offset a, curvature κ, its change Δκ within the tool's reach")
    .source("the pose of a rigid body to second order")
    .example("guidance = { along = [[52.1, 5.2], [52.101, 5.202], [52.1, 5.204]] }"),
    error(
        "field/no-such-block",
        "a block whose place lies in no block of the field inside its headland",
        "its lanes would run as nobody asked",
    )
    .source("plane geometry")
    .example("[[field.block]] with at in the headland"),
    error(
        "field/block-twice",
        "two blocks whose places lie in one and the same block",
        "only one of them can be meant",
    )
    .source(LANGUAGE)
    .example("two [[field.block]] on the same side of the dividing line"),
    error("field/block-says-nothing", "a block of which nothing is asked", "a line of it has most likely been forgotten")
        .source(LANGUAGE)
        .example("[[field.block]] with at alone"),
    error(
        "field/block-in-zones",
        "a block with a rate or a pattern of its own in a field with treatment zones",
        "soil of a zone in that block would be sown in two ways",
    )
    .source(LANGUAGE)
    .example("rate in [[field.block]] beside [field.zones]"),
    error(
        "field/block-beside-tool-rows",
        "a block with a pattern of its own in a field whose tool rows have theirs",
        "those rows would have two patterns in that block",
    )
    .source(LANGUAGE)
    .example("pattern in [[field.block]] beside tool_row in [field.spacing]"),
];

/// What can be wrong with the way over the field.
pub const ROUTE: &[Rule] = &[
    error(
        "turns/no-way",
        "a field in which no lane can be reached and left again inside the fence",
        "a machine that cannot turn there would leave the field",
    )
    .source(PRACTICE)
    .example("a strip that is narrower than the machine's turn, without a headland"),
    warning(
        "route/cut-off",
        "a lane that no drivable way leads to from the others",
        "its soil stays unworked; part of the field may need another machine, or a wider headland",
    )
    .source(PRACTICE)
    .example("a pocket behind an obstacle, too small for a person to move the machine there"),
    warning(
        "route/moved-by-hand",
        "a part of the field that no drivable way leads to from the part before",
        "a person moves the machine there; the plan claims no way between, and counts the time as a stop",
    )
    .source(PRACTICE)
    .example("a field that a ditch cuts in two"),
    error(
        "machine/hopper-too-small",
        "a hopper that does not hold the seed of one lane",
        "it would run empty in the lane, where nobody refills it, and the rest of the row would stay bare",
    )
    .formula("hopper / mass of a seed ≥ seeds of one row in the lane")
    .source(PRACTICE)
    .example("hopper = \"100 g\" for a lane of 900 m with 6 g a thousand seeds"),
    error(
        "refill-point/no-room",
        "a refill point at which the machine does not fit inside the fence in any heading",
        "it could not be driven there to be filled",
    )
    .source("plane geometry")
    .example("a refill point half a metre inside the fence"),
    error(
        "refill-point/cut-off",
        "a refill point to which no drivable way leads from the lanes and back",
        "the machine could never be filled there",
    )
    .source(PRACTICE)
    .example("a refill point on the far side of a ditch"),
    error(
        "refill-point/too-far",
        "hoppers that run empty in lanes from which no drivable way leads to a refill point",
        "the rest of the rows would stay bare",
    )
    .source(PRACTICE)
    .example("a field in two parts that do not touch, with one refill point"),
    note(
        "route/refill-inside",
        "a stop for refilling more than 50 m from the field's edge",
        "a person carries the seed there over the soil; larger hoppers or shorter lanes would bring it to the edge",
    )
    .source(PRACTICE)
    .example("lanes of 600 m and a hopper that lasts for one and a half of them"),
    warning(
        "route/home-cut-off",
        "a home or entrance from which no drivable way leads to any lane and back",
        "the plan then says nothing about the way to the first lane and from the last",
    )
    .source(PRACTICE)
    .example("a home on the far side of a ditch"),
    note(
        "route/home-moved",
        "a home or entrance at which the machine does not fit inside the fence in any heading",
        "the planned route begins and ends at the nearest place where it fits; the rest is driven by hand",
    )
    .source(PRACTICE)
    .example("an entrance on the boundary itself"),
];

/// Going on with an order that was interrupted.
pub const RESUME: &[Rule] = &[
    error(
        "resume/weeding",
        "the rest of a weeding pass",
        "only sowing can be gone on with on the same lattice",
    )
    .example("a restart of a job with `sown`"),
    error(
        "resume/which-field",
        "an order of several fields to go on with, without the name of one of them",
        "lanes are numbered on each field anew, so that a number alone names no place",
    )
    .example("--resume-from 12 with a job of two fields"),
    error(
        "resume/no-such-lane",
        "a number that no lane of the order has",
        "lanes are numbered from 1 in driving order, as in plan.geojson and on the map",
    )
    .example("--resume-from 40 in an order of 33 lanes"),
    error(
        "resume/beyond-lane",
        "a distance beyond the lane's end",
        "the machine cannot have left the lane and still be in it",
    )
    .example("--resume-from 12:140 in a lane of 118 m"),
    error(
        "resume/within-lap",
        "a place within a headland lap or a lane that bends",
        "along a bend seeds count from the row's beginning; begun elsewhere, they would stand elsewhere",
    )
    .example("--resume-from 31:20 where lane 31 is a lap"),
    note(
        "resume/from",
        "the seeds with which an interrupted order goes on",
        "compare them with what the machine logged last before it starts again",
    )
    .example("--resume-from 12:35.5"),
];

/// What a finished plan must prove; a failed proof stops the emission.
pub const AUDIT: &[Rule] = &[
    error(
        "audit/inside-fence",
        "a place where body or antennas may leave the fence or come into a keep-out's clearance",
        "nothing drives that was not proven to stay inside",
    )
    .formula("clearance of the body at a pose less the farthest that it moves until the next pose, over every step")
    .source("interval subdivision with a Lipschitz bound; common in validated numerics")
    .example("a way moved by 5 cm towards the fence"),
    error(
        "audit/fence-true",
        "a fence that comes nearer to the boundary than its margin, or to a keep-out than its clearance",
        "what is proven against a wrong fence is worth nothing",
    )
    .formula("distance of the fence from boundary and keep-outs, less margin and clearance, not below -1 mm")
    .source("plane geometry")
    .example("a keep-out that was moved after the fence was drawn"),
    error("audit/curvature", "a way that is tighter than the machine steers", "the machine would leave the planned way")
        .formula("curvature × turning radius ≤ 1")
        .source("plane geometry")
        .example("an arc of 2.4 m for a turning radius of 2.5 m"),
    error("audit/steering", "a way in reverse or on the spot for a machine that cannot drive so", "the machine would stop in the field")
        .source("the machine as the job describes it")
        .example("a reversing turn with may_reverse = false"),
    error(
        "audit/steering-rate",
        "a turn or transit in which the wheels would have to turn faster than they do, or to jump",
        "the machine would cut or overrun the curve",
    )
    .formula("wheels' rate = change of curvature per metre × wheelbase × speed, with the wheels near straight; less at any other angle")
    .source("kinematics of a machine with one steered axle: curvature = tan(wheels' angle) / wheelbase")
    .example("a way whose clothoid was cut short"),
    error("audit/joined", "a lane or way that does not begin where the one before ends", "the machine would jump")
        .formula("within 1 mm and 0.01°")
        .source(PRACTICE)
        .example("a lane shifted after its turns were planned"),
    error("audit/every-lane-once", "a lane that is driven twice or never, and not reported as cut off", "soil would be sown twice or never")
        .source("the plan itself")
        .example("two visits of one lane"),
    error("audit/tool-in-lane", "a row that reaches beyond its lane", "the tool would be down in a turn")
        .source("plane geometry")
        .example("a row to 101 m of a lane of 100 m"),
    error("audit/areas", "areas that do not add up to the field", "soil would be dropped in silence")
        .formula("|worked + headland + keep-out + left-over - field| ≤ 1e-6 × field")
        .source("conservation of area")
        .example("a left-over piece without an entry"),
    error("audit/seeds-on-soil", "a seed outside its block's soil or inside a keep-out", "it would be sown where nothing may grow")
        .source("plane geometry")
        .example("a row that runs on through a pond"),
    error("audit/seeds-apart", "two seeds of one row nearer than the spacing", "a place would be sown twice")
        .formula("index of each run in a row above the last of the run before")
        .source("the lattice itself")
        .example("two lanes that both sow the last seed of a row"),
];

/// What a compiled job loses in a format.
pub const EMIT: &[Rule] = &[
    note(
        "task-data/name-shortened",
        "a name longer than the task data set can hold",
        "the machine's terminal shows the beginning only; two names that begin alike look the same there",
    )
    .formula("more than 32 characters")
    .source("ISO 11783-10, schema files of version 4.3")
    .example("name = \"Lower Sallow beyond the second hedge\""),
    note(
        "task-data/spacing-not-whole",
        "a seed spacing that the task data set cannot hold",
        "its set-point counts whole millimetres; the task then states seeds per area, and the seed map the spacing",
    )
    .formula("|spacing − nearest whole millimetre| > 0.0001 mm")
    .source("ISO 11783-11, data dictionary entry 16")
    .example("between_seeds = \"5.25 cm\""),
];

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;
    use std::path::Path;

    #[test]
    fn names_are_unique_and_entries_complete() {
        let names: BTreeSet<&str> = all().map(|rule| rule.name).collect();
        assert_eq!(names.len(), all().count());
        for rule in all() {
            let (area, what) = rule.name.split_once('/').unwrap();
            let plain =
                |word: &str| word.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit() || c == '-');
            assert!(plain(area) && plain(what), "{}", rule.name);
            assert!(!rule.finds.is_empty() && !rule.why.is_empty(), "{}", rule.name);
            assert!(!rule.source.is_empty() && !rule.example.is_empty(), "{}", rule.name);
        }
    }

    /// Every finding that the compiler's own text makes has its entry, with the same severity.
    #[test]
    fn every_rule_in_use_is_in_the_catalogue() {
        let mut used = Vec::new();
        gather(&Path::new(env!("CARGO_MANIFEST_DIR")).join("src"), &mut used);
        assert!(used.len() > 40, "only {} found", used.len());
        for (name, severity) in used {
            let known = rule(&name).unwrap_or_else(|| panic!("`{name}` has no entry in the catalogue"));
            assert!(severity.is_none_or(|severity| severity == known.severity), "{name}");
        }
    }

    fn gather(folder: &Path, used: &mut Vec<(String, Option<Severity>)>) {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() && !path.ends_with("cli") {
                gather(&path, used);
            } else if path.extension().is_some_and(|extension| extension == "rs")
                && !path.ends_with("tests.rs")
            {
                let text = std::fs::read_to_string(&path).unwrap();
                gather_from(text.split("#[cfg(test)]\nmod tests {").next().unwrap(), used);
            }
        }
    }

    fn gather_from(text: &str, used: &mut Vec<(String, Option<Severity>)>) {
        let calls = [
            ("Finding::error(", Some(Severity::Error)),
            ("Finding::warning(", Some(Severity::Warning)),
            ("Finding::note(", Some(Severity::Note)),
            ("rules::finding(", None),
            (".raise(", None),
        ];
        for (call, severity) in calls {
            for (at, _) in text.match_indices(call) {
                let argument = text[at + call.len()..].trim_start();
                if let Some(name) = argument.strip_prefix('"').and_then(|rest| rest.split('"').next()) {
                    used.push((name.to_owned(), severity));
                }
            }
        }
    }
}
