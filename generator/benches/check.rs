//! Benchmark.
fn main() {}
