//! A battery-free sensor node over time: its policy beside other rules and beside foresight, its life in the dark, its planned pace.
#![forbid(unsafe_code)]

pub mod bound;
mod parallel;
pub mod plan;
pub mod progress;
pub mod simulate;
pub mod survival;

use millpond_income::income;
use millpond_model::model;
use millpond_node::node;
use millpond_numbers::{halving, statistics, text, units};
use millpond_sizing::{policy, rounding, thresholds};
