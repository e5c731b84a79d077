//! The `leadsman` program.
fn main() {}
