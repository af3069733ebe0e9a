//! Bench, to be written.
fn main() {}
