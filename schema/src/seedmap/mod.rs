//! The seed-map files: every run of seeds as a line, every seed as a point, and every event of a weeding
//! tool; and the table of seeds that were not sown.

pub mod events;
mod in_order;
pub mod missing;
pub mod parquet;
pub mod rows;
