//! From the description of a battery-free sensor node to constants in its firmware.
//!
//! The modules stand in the order in which the data goes through them:
//!
//! ```text
//! node file -> node -> model -> budget -> thresholds -> policy -> emit
//! ```
#![forbid(unsafe_code)]

pub mod units;

pub mod rounding;

pub mod text;

pub mod problem;

pub mod node;

pub mod model;

pub mod budget;

pub mod thresholds;
