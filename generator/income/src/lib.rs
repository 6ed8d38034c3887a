//! What a source offers over time: sun, indoor light, steps.
#![forbid(unsafe_code)]

pub mod income;

use millpond_node::node;
use millpond_numbers::{halving, text, units};
