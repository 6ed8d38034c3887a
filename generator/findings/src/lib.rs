//! What can never work in a battery-free sensor node, and the smallest change that cures it.
#![forbid(unsafe_code)]

pub mod findings;

use millpond_income::income;
use millpond_model::model;
use millpond_node::node;
use millpond_numbers::{text, units};
use millpond_simulation::{simulate, survival};
use millpond_sizing::{budget, outlook, policy, rounding, thresholds};
