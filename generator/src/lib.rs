//! From the description of a battery-free sensor node to constants in its firmware.
//!
//! # From a node file to a header
//!
//! [`generate`] goes the whole way in one call, as a firmware crate's `build.rs` wants it. The same stage by stage:
//!
//! ```
//! use millpond::{budget::Budget, findings, generated, node::NodeFile, progress::Unseen, thresholds::Thresholds};
//!
//! // Read: every problem of the file at once, each with its line and its cure.
//! let file = NodeFile::load("../templates/nodes/crack-gauge.toml").map_err(|error| error.to_string())?;
//! // Size: what an action takes, and from which voltage it is safe in the worst corner.
//! let budget = Budget::of(&file.node);
//! let thresholds = Thresholds::of(&file.node);
//! assert!(thresholds.transmit.decide_mv > thresholds.measure.decide_mv);
//! // Judge: what can never work, and the smallest change that cures it.
//! let findings = findings::of(&file.node, &budget, &thresholds);
//! assert!(findings.iter().all(|finding| finding.severity != findings::Severity::Error));
//! // Emit: the same integers in C and in Rust.
//! let generated = generated::from_file(&file, &Unseen).map_err(|error| error.to_string())?;
//! assert!(generated.c_header().contains("CRACK_GAUGE_TRANSMIT_MV"));
//! # Ok::<(), String>(())
//! ```
//!
//! # What is where
//!
//! | to | look into |
//! | --- | --- |
//! | describe a node | [`node`]; every file is read by [`input`], every mistake is a [`problem`] |
//! | know the physics | [`model`]: a load at its regulator, the terminal, a discharge, a reading; quantities are [`units`] |
//! | size it | [`budget`], [`thresholds`], [`outlook`], [`dividers`], [`size`] |
//! | judge it | [`findings`], [`survival`], [`sensitivity`], [`lifetime`] |
//! | let it live | [`income`] of the source, [`simulate`] beside other rules, [`bound`] by foresight, [`plan`] of a pace |
//! | learn from the bench | [`cell`] for one capacitor, [`log`] and [`fit`] for a prototype, [`log_plan`] for what to log |
//! | get constants | [`policy`] in integers by [`rounding`], [`emit`] in C, Rust and JSON, [`generated`] all at once, [`comparison`] of two |
//! | show it | [`printout`] as text and JSON, [`report`] as a page; numbers for people by [`text`], of many by [`statistics`], a border by [`halving`], [`visible`] for names of strangers, [`progress`] |
//!
//! # The order
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
#![forbid(unsafe_code)]

pub mod units;

pub mod rounding;

pub mod text;

pub mod statistics;

pub mod halving;

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
