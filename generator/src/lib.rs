//! From the description of a battery-free sensor node to constants in its firmware.
//!
//! The modules stand in the order in which the data goes through them. None uses a later one, but for `rounding`, which uses `model`, and
//! `printout`, which shows `comparison`, `sensitivity` and `lifetime` (`tests/stages.rs` holds it so):
//!
//! ```text
//! node file -> node -> model -> budget -> thresholds -> policy -> findings -> emit, printout
//!                                                        policy + income -> simulate (beside bound) -> plan -> emit, printout
//!                                          node + comparator -> dividers -> printout
//!                                                        node + thresholds -> survival -> printout
//!                                                        node + catalogue -> size (by thresholds, survival, simulate) -> printout
//! bench discharge -> cell -> printout
//!                                                        node + log -> fit -> printout
//!                                                        all of these -> report, workbench
//! ```
//!
//! [`generate`] goes the whole way in one call.
#![forbid(unsafe_code)]

pub mod units;

pub mod rounding;

pub mod text;

pub mod progress;

pub mod problem;

pub mod input;

pub mod visible;

pub mod node;

pub mod model;

pub mod budget;

pub mod thresholds;

pub mod outlook;

pub mod policy;

pub mod findings;

pub mod dividers;

pub mod income;

pub mod bound;

pub mod simulate;

pub mod survival;

pub mod plan;

pub mod size;

pub mod cell;

pub mod log;

pub mod fit;

pub mod log_plan;

pub mod emit;

pub mod printout;

pub mod generated;

pub mod comparison;

pub mod sensitivity;

pub mod lifetime;

pub mod report;

#[cfg(not(target_arch = "wasm32"))]
pub mod workbench;

pub use generated::generate;
