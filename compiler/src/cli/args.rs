//! What may be typed: the commands, their options and their help.

use clap::builder::PossibleValuesParser;
use clap::{Args, Parser, Subcommand, ValueEnum};
use clap_complete::Shell;
use lanewright::rest::Restart;
use lanewright::rules;
use std::path::PathBuf;

/// Compile a field job into work orders for an autonomous row-crop machine.
///
/// A job is a TOML file that says which field is sown with what, how far apart and by which
/// machine. Lanewright works out the lanes, the turns, the order in which to drive them and the
/// place of every seed, proves that the machine stays inside the fence, and writes an ISO 11783-10
/// task data set with maps and a summary to sign.
#[derive(Debug, Parser)]
#[command(version, about, max_term_width = 100, after_help = AFTER_HELP)]
pub struct Cli {
    /// What to do
    #[command(subcommand)]
    pub command: Command,
}

const AFTER_HELP: &str = "\
Begin with:
  lanewright new my-field
  lanewright compile my-field/job.toml -o out

Exit status: 0 done; 1 the job is refused; 2 wrong usage; 3 the machine failed us (disk, permission)
Colours are left out when NO_COLOR is set or the output is not a terminal.";

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Compile jobs and write OUT/<job>/ for each
    ///
    /// Writes all files of a job or none. An earlier folder of the same job is replaced once the
    /// new one is complete.
    Compile {
        /// Job files; `-` reads one job from standard input
        #[arg(required = true, value_name = "JOB")]
        jobs: Vec<String>,
        /// Folder that receives one folder for each job
        #[arg(short, long = "out", value_name = "OUT", default_value = "out")]
        out: PathBuf,
        /// Also write every single seed to seeds.parquet
        #[arg(long)]
        seeds: bool,
        /// Go on with an order that was interrupted, on the same lattice
        ///
        /// The lane's number in driving order, with the metres of it that are driven where the
        /// machine stands within it: `12` or `12:35.5`. With a job of several fields the field's
        /// name before it: `Long Acre/12:35.5`.
        #[arg(long, value_name = "[FIELD/]LANE[:DISTANCE]", value_parser = restart)]
        resume_from: Option<Restart>,
        /// How thoroughly the order of the lanes is searched for
        #[arg(long, value_enum, default_value_t = Effort::Normal)]
        effort: Effort,
        /// How findings are told
        #[arg(long, value_enum, default_value_t = Format::Text)]
        format: Format,
    },
    /// Run every stage on jobs, tell what is found, write nothing
    Check {
        /// Job files; `-` reads one job from standard input
        #[arg(required = true, value_name = "JOB")]
        jobs: Vec<String>,
        /// How findings are told
        #[arg(long, value_enum, default_value_t = Format::Text)]
        format: Format,
    },
    /// Read surveys in any format and write a clean field file
    ///
    /// Reads GeoJSON, KML, KMZ, GML, Shapefile, GeoPackage, GPX, CSV tables of corners, NMEA 0183
    /// logs and ISO 11783-10 task data sets, zipped or not: the field's boundary, obstacles (points with a code
    /// such as `pole` and a radius) and ways in (`gate`). Tells what was read and every change with
    /// its place and size. The clean file is GeoJSON (RFC 7946), for a job's `boundary`.
    Survey(Survey),
    /// Print the JSON Schema of a format
    Schema {
        /// Which format
        #[arg(value_enum, default_value_t = SchemaName::Job)]
        name: SchemaName,
    },
    /// Tell why a rule exists, its formula and its source; without a rule, list them all
    Explain {
        /// The rule's name as a finding shows it, e.g. `machine/tracks-on-rows`
        #[arg(value_parser = rule_names(), hide_possible_values = true)]
        rule: Option<String>,
    },
    /// Write a commented starter job that compiles as it is
    New {
        /// Folder that receives job.toml; it is made where it is missing, and a job.toml in it stays
        dir: PathBuf,
    },
    /// Print a completion script for a shell
    Completions {
        /// Which shell
        #[arg(value_enum)]
        shell: Shell,
    },
    /// Write the manual pages
    Man {
        /// Folder that receives them
        dir: PathBuf,
    },
}

/// What `survey` is asked for.
#[derive(Debug, Args)]
pub struct Survey {
    /// Survey files, or folders with a task data set; `-` reads one file from standard input
    #[arg(required = true, value_name = "FILE")]
    pub files: Vec<String>,
    /// Clean field file to write, `-` for standard output; without it the survey is only read
    #[arg(short, long = "out", value_name = "FILE")]
    pub out: Option<String>,
    /// The field of this name
    #[arg(long, group = "choice")]
    pub name: Option<String>,
    /// The field whose attribute has this value
    #[arg(long = "where", value_name = "KEY=VALUE", group = "choice", value_parser = key_value)]
    pub attribute: Option<(String, String)>,
    /// The field at this place in the file, from 1
    #[arg(long, value_name = "NUMBER", group = "choice")]
    pub index: Option<usize>,
    /// Every field in the file
    #[arg(long, group = "choice")]
    pub all: bool,
    /// Frame of the positions, where the file does not say it or says it wrong, e.g. `EPSG:25832`
    #[arg(long)]
    pub frame: Option<String>,
    /// Frame to write, e.g. `ETRS89`; without it the file's own
    #[arg(long, value_name = "FRAME")]
    pub into: Option<String>,
    /// Mend spikes, slits and overlaps that are narrower, in centimetres
    #[arg(long, value_name = "CM", default_value_t = 5.0)]
    pub tolerance: f64,
    /// Cut a boundary that crosses itself, and tell what was cut
    #[arg(long)]
    pub repair: bool,
    /// Poorest fixes of a receiver's log that are taken
    #[arg(long, value_enum, default_value_t = Quality::RtkFixed)]
    pub quality: Quality,
    /// How findings are told
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
}

/// How thoroughly the order of the lanes is searched for. The same job and effort give the same files on any
/// computer.
#[derive(Copy, Clone, Debug, PartialEq, Eq, ValueEnum)]
pub enum Effort {
    /// The first good order: for trying things out
    Low,
    /// Until looking further seldom pays
    Normal,
    /// Several times as long: for the order that is driven
    High,
}

/// Qualities of a fix, by the indicator of NMEA 0183.
#[derive(Copy, Clone, Debug, PartialEq, Eq, ValueEnum)]
pub enum Quality {
    /// 4: carrier-phase ambiguities fixed
    RtkFixed,
    /// 5: floating, and better
    RtkFloat,
    /// 2: with differential corrections, and better
    Differential,
    /// 1: by satellite alone, and better
    Any,
}

impl From<Effort> for lanewright::route::Effort {
    fn from(effort: Effort) -> Self {
        match effort {
            Effort::Low => Self::Low,
            Effort::Normal => Self::Normal,
            Effort::High => Self::High,
        }
    }
}

fn restart(text: &str) -> Result<Restart, String> {
    let (field, place) = match text.rsplit_once('/') {
        Some((field, place)) => (Some(field.to_owned()), place),
        None => (None, text),
    };
    let (lane, driven) = place.split_once(':').unwrap_or((place, "0"));
    let lane =
        lane.trim().parse().map_err(|_| format!("`{lane}` is no lane's number; write e.g. 12:35.5"))?;
    let metres = driven.trim().trim_end_matches('m').trim_end().parse::<f64>();
    match metres {
        Ok(driven_m) if driven_m.is_finite() && driven_m >= 0.0 => Ok(Restart { field, lane, driven_m }),
        _ => Err(format!("`{driven}` is no distance in metres; write e.g. 12:35.5")),
    }
}

fn key_value(text: &str) -> Result<(String, String), String> {
    let (key, value) = text.split_once('=').ok_or("write KEY=VALUE, e.g. crop=oats")?;
    Ok((key.trim().to_owned(), value.trim().to_owned()))
}

/// How findings are told.
#[derive(Copy, Clone, Debug, PartialEq, Eq, ValueEnum)]
pub enum Format {
    /// For people, on standard error, with the place in the job underlined
    Text,
    /// For programs, on standard output, one JSON object a line
    Json,
}

/// The formats that have a JSON Schema.
#[derive(Copy, Clone, Debug, PartialEq, Eq, ValueEnum)]
pub enum SchemaName {
    /// The TOML job that sows
    Job,
    /// The TOML job that weeds
    Weeding,
    /// manifest.json
    Manifest,
}

fn rule_names() -> PossibleValuesParser {
    PossibleValuesParser::new(rules::all().map(|rule| rule.name))
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory;

    #[test]
    fn a_restart_is_read_with_and_without_field_and_distance() {
        let read = |text: &str| restart(text).map(|at| (at.field, at.lane, at.driven_m));
        assert_eq!(read("12"), Ok((None, 12, 0.0)));
        assert_eq!(read("12:35.5 m"), Ok((None, 12, 35.5)));
        assert_eq!(read("Mill/Long Acre/3:1"), Ok((Some("Mill/Long Acre".into()), 3, 1.0)));
        for wrong in ["", "x", "12:", "12:-1", "12:inf", "-3"] {
            assert!(read(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn every_argument_is_well_formed() {
        Cli::command().debug_assert();
    }
}
