//! What may be typed: the commands, their options and their help.

use clap::builder::PossibleValuesParser;
use clap::{Parser, Subcommand, ValueEnum};
use clap_complete::Shell;
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
    /// The TOML job
    Job,
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
    fn every_argument_is_well_formed() {
        Cli::command().debug_assert();
    }
}
