//! `lane_orders FOLDER JOB…` writes the order of lanes of each field as a problem for other solvers.
//!
//! In: jobs. Out: one JSON file for each part of a field: seconds of `all` ways, those not planned at
//! the least that they could take, and of the `known` ones, row by row from each node to each (lane 0
//! along, lane 0 back, lane 1 along, …, the depot last; what is barred is null), the `order` as nodes,
//! its `total_s` and the proven `bound_s`. `tests/peers/lane_orders.py` solves the same problems by
//! other means.

use lanewright::read::{SourceError, Sources};
use lanewright::route::order::Costs;
use lanewright::route::{Effort, Problem, Rows, problems};
use lanewright::{check, lanes, read, site};
use lanewright_schema::job::Asked;
use serde_json::json;
use std::path::{Path, PathBuf};

struct Disk;

impl Sources for Disk {
    fn read(&self, path: &str, _limit: usize) -> Result<Vec<u8>, SourceError> {
        std::fs::read(path).map_err(|error| SourceError::Unreadable(error.to_string()))
    }
}

fn main() {
    let mut arguments = std::env::args().skip(1);
    let folder = PathBuf::from(arguments.next().expect("lane_orders FOLDER JOB…"));
    std::fs::create_dir_all(&folder).expect("a folder for the problems");
    for job in arguments {
        if write_problems(&folder, &job).is_none() {
            println!("{job}: refused");
        }
    }
}

fn write_problems(folder: &Path, path: &str) -> Option<()> {
    let Asked::Sowing(draft) = read::read(&Disk, path).asked? else { return None };
    let job = check::check(&draft).value?;
    let site = site::site(&job).value?;
    let stem = Path::new(path).file_stem()?.to_string_lossy();
    for (number, (field, place)) in job.fields.iter().zip(&site.fields).enumerate() {
        let plan = lanes::lanes(field, place, &job.machine).value?;
        let parts = problems(field, place, &job.machine, &plan, Rows::SownOnTheWay, Effort::Normal);
        for (part, problem) in parts.iter().enumerate() {
            let file = folder.join(format!("{stem}-{number}-{part}.json"));
            std::fs::write(file, problem_json(problem).to_string()).expect("a problem is written");
        }
    }
    Some(())
}

fn problem_json(problem: &Problem) -> serde_json::Value {
    let nodes: Vec<_> = problem.all.nodes().chain([problem.all.depot()]).collect();
    let index = |node: &_| nodes.iter().position(|other| other == node);
    let order: Vec<Option<usize>> = problem.order.nodes.iter().map(index).collect();
    json!({
        "all": rows(&problem.all),
        "known": rows(&problem.known),
        "order": order,
        "total_s": problem.order.seconds,
        "bound_s": problem.bound_s,
    })
}

fn rows(costs: &Costs) -> Vec<Vec<Option<f64>>> {
    let nodes: Vec<_> = costs.nodes().chain([costs.depot()]).collect();
    let row = |from| nodes.iter().map(|&to| Some(costs.get(from, to)).filter(|s| s.is_finite())).collect();
    nodes.iter().map(|&from| row(from)).collect()
}
