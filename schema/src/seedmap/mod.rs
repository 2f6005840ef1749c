//! The seed-map files: every run of seeds as a line, and every seed as a point.

pub mod parquet;
pub mod rows;
