//! The physics of storage, supply, load, radio and reading of a battery-free sensor node.
#![forbid(unsafe_code)]

pub mod model;

use millpond_node::node;
use millpond_numbers::{halving, units};
