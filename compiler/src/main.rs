//! The `lanewright` command.
fn main() {}
