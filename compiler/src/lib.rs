//! Lanewright compiles a declarative field job into work orders for an autonomous row-crop
//! machine: lanes, turns, a route, a seed map, an ISO 11783-10 task data set, maps, and a summary
//! that a person signs.
//!
//! The way through is straight; [`pipeline`] shows it on one screen. The library reads no file,
//! no clock and no environment: sources come in as values, outputs leave as bytes.

pub mod audit;
pub mod budget;
pub mod check;
pub mod diagnostic;
pub mod emit;
pub mod geometry;
pub mod lanes;
pub mod num;
pub mod operations;
pub mod pipeline;
mod ranked;
pub mod read;
pub mod rest;
pub mod retrace;
pub mod route;
pub mod rules;
pub mod season;
pub mod seeds;
pub mod site;
pub mod sown;
pub mod survey;
pub mod turns;
pub mod uncertainty;
pub mod weeding;
