//! The command line: parses what was typed, calls the pipeline, prints what it said and writes
//! what it made. It decides nothing about a field.

mod args;
mod console;
mod disk;
mod explain;
mod folder;
mod json;
mod place;
mod starter;
mod survey;
mod text;

use args::{Cli, Command, Format, SchemaName};
use clap::{CommandFactory, Parser};
use disk::Disk;
use lanewright::diagnostic::Severity;
use lanewright::pipeline::{self, Compilation, SeedFile, Wish};
use std::collections::BTreeMap;
use std::io;
use std::path::Path;
use std::process::ExitCode;

/// How a command can end before it is done.
#[derive(Debug)]
enum Ending {
    /// A job was refused; its findings are told already.
    Refused,
    /// What was typed makes no sense.
    Usage(String),
    /// The disk, a permission, a stream.
    Machine(String),
    /// Nobody reads our output any more.
    ReaderGone,
}

/// Runs the command that was typed. Exit status: 0 done, 1 a job is refused, 2 wrong usage, 3 the
/// machine failed us.
pub fn run() -> ExitCode {
    let cli = Cli::parse();
    match dispatch(&cli.command) {
        Ok(()) | Err(Ending::ReaderGone) => ExitCode::SUCCESS,
        Err(Ending::Refused) => ExitCode::from(1),
        Err(Ending::Usage(what)) => told(&what, 2),
        Err(Ending::Machine(what)) => told(&what, 3),
    }
}

/// A stream that fails while we tell that we failed changes nothing.
fn told(what: &str, status: u8) -> ExitCode {
    let _ = console::say(&format!("error: {what}"));
    ExitCode::from(status)
}

fn dispatch(command: &Command) -> Result<(), Ending> {
    match command {
        Command::Compile { jobs, out, seeds, resume_from, effort, format } => {
            let seed_file = if *seeds { SeedFile::Written } else { SeedFile::LeftOut };
            let wish = Wish { effort: (*effort).into(), restart: resume_from.clone() };
            compile(jobs, out, seed_file, &wish, *format)
        }
        Command::Check { jobs, format } => check(jobs, *format),
        Command::Survey(asked) => survey::run(asked),
        Command::Schema { name } => console::data(match name {
            SchemaName::Job => lanewright_schema::job::json_schema(),
            SchemaName::Weeding => lanewright_schema::job::weeding_json_schema(),
            SchemaName::Manifest => manifest_schema(),
        }),
        Command::Explain { rule } => console::data(explain::page(rule.as_deref())),
        Command::New { dir } => new(dir),
        Command::Completions { shell } => {
            let mut script = Vec::new();
            clap_complete::generate(*shell, &mut Cli::command(), "lanewright", &mut script);
            console::data(script)
        }
        Command::Man { dir } => std::fs::create_dir_all(dir)
            .and_then(|()| clap_mangen::generate_to(Cli::command(), dir))
            .map_err(|error| Ending::Machine(format!("cannot write to {}: {error}", dir.display()))),
    }
}

fn compile(
    jobs: &[String],
    out: &Path,
    seed_file: SeedFile,
    wish: &Wish,
    format: Format,
) -> Result<(), Ending> {
    let names = folder_names(jobs)?;
    if wish.restart.is_some() && jobs.len() > 1 {
        return Err(Ending::Usage("one job at a time can be gone on with".to_owned()));
    }
    let mut refused = false;
    for (job, name) in jobs.iter().zip(&names) {
        let compilation = plan(job, wish, format)?;
        let Some(compiled) = &compilation.compiled else {
            refused = true;
            continue;
        };
        let written = console::while_showing(format!("writing {name}"), || {
            let emission = compilation.emission(compiled, name, seed_file);
            let paths: Vec<&str> = emission.paths().collect();
            folder::write(out, name, &paths, |path, file| emission.write(path, file))
        });
        let folder = written.map_err(|error| {
            Ending::Machine(format!("cannot write {}: {error}", out.join(name).display()))
        })?;
        console::say(&format!("{job}: compiled to {}", folder.display()))?;
    }
    if refused { Err(Ending::Refused) } else { Ok(()) }
}

fn check(jobs: &[String], format: Format) -> Result<(), Ending> {
    let mut refused = false;
    for job in jobs {
        match plan(job, &Wish::default(), format)?.compiled {
            Some(_) => console::say(&format!("{job}: passes"))?,
            None => refused = true,
        }
    }
    if refused { Err(Ending::Refused) } else { Ok(()) }
}

/// Compiles one job and tells what was found.
fn plan(job: &str, wish: &Wish, format: Format) -> Result<Compilation, Ending> {
    require(job)?;
    let compilation =
        console::while_showing(format!("compiling {job}"), || pipeline::compile(&Disk, job, wish));
    let source = |path: &str| {
        let input = compilation.inputs.iter().find(|input| input.path == path)?;
        Some(input.bytes.as_slice())
    };
    console::tell(&compilation.findings, source, format)?;
    if compilation.compiled.is_none() {
        let errors = compilation.findings.iter().filter(|f| f.severity == Severity::Error).count();
        let s = if errors == 1 { "" } else { "s" };
        console::say(&format!("{job}: refused with {errors} error{s}, nothing written"))?;
    }
    Ok(compilation)
}

/// A job that is not there is a slip of the hand, not a bad job.
fn require(job: &str) -> Result<(), Ending> {
    if job == "-" {
        return Ok(());
    }
    match std::fs::metadata(job) {
        Ok(kind) if kind.is_dir() => Err(Ending::Usage(format!("{job} is a folder, not a job file"))),
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            Err(Ending::Usage(format!("there is no job file {job}")))
        }
        Err(error) => Err(Ending::Machine(format!("cannot read {job}: {error}"))),
        Ok(_) => Ok(()),
    }
}

/// The folder of each job within the output: its file's stem, `job` for standard input.
fn folder_names(jobs: &[String]) -> Result<Vec<String>, Ending> {
    let mut taken: BTreeMap<String, &str> = BTreeMap::new();
    let mut names = Vec::new();
    for job in jobs {
        let stem = if job == "-" {
            "job".into()
        } else {
            Path::new(job).file_stem().unwrap_or_default().to_string_lossy()
        };
        if let Some(other) = taken.insert(stem.to_string(), job) {
            return Err(Ending::Usage(format!("{other} and {job} would both be written to {stem}")));
        }
        names.push(stem.into_owned());
    }
    Ok(names)
}

fn new(dir: &Path) -> Result<(), Ending> {
    let path = starter::write(dir).map_err(|error| match error.kind() {
        io::ErrorKind::AlreadyExists => {
            Ending::Usage(format!("{} is already there and stays as it is", dir.join("job.toml").display()))
        }
        _ => Ending::Machine(format!("cannot write to {}: {error}", dir.display())),
    })?;
    console::say(&format!("wrote {}; next: lanewright compile {} -o out", path.display(), path.display()))
}

fn manifest_schema() -> String {
    let schema = lanewright_schema::manifest::json_schema();
    serde_json::to_string_pretty(&schema).expect("a JSON value is always writable") + "\n"
}
