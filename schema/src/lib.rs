//! Every format that goes into or comes out of Lanewright: the TOML job, surveys, the ISO 11783-10 task
//! data set, tables of temperatures, the plan, the seed map and the manifest.
//!
//! Nothing here computes. A format is a set of plain types with a reader and a writer; what the
//! values mean for a field is the business of the compiler.

pub mod job;
pub mod manifest;
pub mod plan;
pub mod quantity;
pub mod seedmap;
pub mod survey;
pub mod taskdata;
pub mod weather;
