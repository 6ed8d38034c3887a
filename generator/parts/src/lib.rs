//! Which resistors, which capacitor and which source serve a battery-free sensor node.
#![forbid(unsafe_code)]

pub mod dividers;
pub mod size;

use millpond_findings::findings;
use millpond_income::income;
use millpond_node::{input, node, problem};
use millpond_numbers::{text, units};
use millpond_records::rows;
use millpond_simulation::{plan, progress, simulate, survival};
use millpond_sizing::{budget, policy, rounding, thresholds};
