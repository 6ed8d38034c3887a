//! What measurements say: one capacitor on the bench, and a prototype by its log.
#![forbid(unsafe_code)]

pub mod cell;
pub mod fit;
pub mod log;
pub mod log_plan;

use millpond_model::model;
use millpond_node::{input, node, problem};
use millpond_numbers::{halving, statistics, text, units};
use millpond_records::{record, rows};
use millpond_simulation::simulate;
use millpond_sizing::{policy, thresholds};
