//! Reads what was recorded in rows: traces of light or power, and typical-year weather files.
#![forbid(unsafe_code)]

pub mod record;
pub mod rows;

use millpond_income::income;
use millpond_node::{input, node, problem};
use millpond_numbers::{statistics, text, units};
