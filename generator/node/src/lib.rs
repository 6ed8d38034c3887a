//! Reads the description of a battery-free sensor node: every problem at once, with its line and its cure.
#![forbid(unsafe_code)]

pub mod input;
pub mod node;
pub mod problem;
pub mod visible;

use millpond_numbers::{text, units};
