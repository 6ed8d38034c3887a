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
//! | let it live | [`income`] of the source or of a [`record`], [`simulate`] beside other rules, [`bound`] by foresight, [`plan`] of a pace |
//! | learn from the bench | [`cell`] for one capacitor, [`log`] and [`fit`] for a prototype, [`log_plan`] for what to log |
//! | get constants | [`policy`] in integers by [`rounding`], [`emit`] in C and Rust, [`generated`] all at once, [`comparison`] of two |
//! | show and keep it | [`printout`] as text and JSON, [`picture`] in a terminal, [`report`] as a page, [`files`] on the disk |
//! | write numbers for people | [`text`], of many by [`statistics`], a border by [`halving`], [`visible`] for names of strangers, [`progress`] |
//!
//! # The order
//!
//! Each stage is a module named for what it yields, in a crate of its part of the way. A crate knows only those before it, so that cargo
//! holds the order:
//!
//! ```text
//! numbers -> node -> model -> sizing -> simulation -> findings -> build, for build scripts
//!                 -> income -> simulation              findings -> parts
//!                    income -> records -> parts, fit
//!                                       simulation -> fit
//! ```
//!
//! This crate has all of them under one roof, beside what shows results. A build script takes `millpond-build` alone.
#![forbid(unsafe_code)]

pub use millpond_build::{emit, generate, generated};
pub use millpond_findings::findings;
pub use millpond_fit::{cell, fit, log, log_plan};
pub use millpond_income::income;
pub use millpond_model::model;
pub use millpond_node::{input, node, problem, visible};
pub use millpond_numbers::{halving, statistics, text, units};
pub use millpond_parts::{dividers, size};
pub use millpond_records::{record, rows};
pub use millpond_simulation::{bound, plan, progress, simulate, survival};
pub use millpond_sizing::{budget, outlook, policy, rounding, thresholds};

pub mod files;

pub mod picture;

pub mod printout;

pub mod comparison;

pub mod sensitivity;

pub mod lifetime;

pub mod report;

#[cfg(not(target_arch = "wasm32"))]
pub mod workbench;
