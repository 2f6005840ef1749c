//! Checks against the world outside, a module for each source. Expected values live in
//! `tests/reference/`, each with its source; a test here fails when the program and the published
//! figure part.

mod block_patterns;
mod capacity;
mod coverage;
mod geodesy;
mod golden;
mod lattice;
mod licences;
mod reference;
mod retrace;
mod seeding;
mod setting;
mod turns;
mod weeding;
mod zone_patterns;
