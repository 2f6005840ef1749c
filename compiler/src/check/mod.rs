//! From the job as written to the job as meant: every problem told at once, nothing left to
//! examine later.

pub mod job;

pub use job::*;
