//! What a source offers over time: sun, indoor light, a trace, a weather file.
#![forbid(unsafe_code)]

pub mod income;

use millpond_node::{input, node, problem, rows};
use millpond_numbers::{halving, statistics, text, units};
