//! For build scripts: from the description of a battery-free sensor node to constants in its firmware.
#![forbid(unsafe_code)]

pub mod emit;
pub mod generated;

pub use generated::generate;
use millpond_findings::findings;
use millpond_income::income;

use millpond_node::{input, node, visible};
use millpond_numbers::{text, units};
use millpond_simulation::{plan, progress};
use millpond_sizing::{budget, policy, thresholds};
