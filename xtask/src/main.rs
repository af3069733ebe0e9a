//! The repository's own helper: `cargo xtask demo|test|bench NAME|schemas`.

fn main() {}
