//! The decision on emulated chips: one stream of readings, clock steps, samples and power losses for the C header and the
//! Rust crate, on this machine and on each chip. The answers must agree bit for bit; what they cost is measured.
//!
//! The sources of the firmware and the method are in tests/chips. Everything that is built lands in the folder `chips` of
//! cargo's target folder.

mod compile;
mod document;
mod emulate;
mod image;
mod nodes;
mod row;
mod table;
mod target;
mod transcript;
mod warnings;

#[path = "../chips/firmware/src/stream.rs"]
mod stream;

use std::io;

use rayon::prelude::*;

pub use document::{document, structure, structure_of_document};
pub use row::Row;
pub use table::table;
pub use target::{Language, Machine, TARGETS, Target};
pub use warnings::policy_core_warnings;

use nodes::{NODES, Node};
use transcript::Transcript;

/// Steps of the stream on this machine and on a chip.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Steps {
    /// On this machine.
    pub host: u32,
    /// On each chip.
    pub chip: u32,
}

impl Steps {
    /// Every kind of reading, clock step and power loss many times over.
    pub const FULL: Self = Self {
        host: 10_000_000,
        chip: 200_000,
    };
    /// Enough to see whether a target agrees at all.
    pub const QUICK: Self = Self {
        host: 100_000,
        chip: 4_000,
    };

    /// Steps on this target.
    #[must_use]
    pub fn on(self, target: Target) -> u32 {
        if target.machine == Machine::Host {
            self.host
        } else {
            self.chip
        }
    }
}

/// Why a target could not be asked.
#[derive(Debug, thiserror::Error)]
pub enum ChipsError {
    /// A tool is not there.
    #[error("{0} is missing")]
    Missing(&'static str),
    /// A tool refused.
    #[error("{command}\n{output}")]
    Refused {
        /// What was called.
        command: String,
        /// What it said.
        output: String,
    },
    /// A file could not be read or written.
    #[error("{0}")]
    File(#[from] io::Error),
    /// What a tool wrote cannot be understood.
    #[error("{0}")]
    Strange(String),
}

/// What Rust on this machine answers: every other target is compared with it.
#[derive(Debug)]
pub struct Reference(Vec<(Node, Transcript)>);

impl Reference {
    /// Runs the stream of every node for so many steps.
    #[must_use]
    pub fn run(steps: u32) -> Self {
        let run = |node: &Node| (*node, node.run_here(steps));
        Self(NODES.par_iter().map(run).collect())
    }
}

/// The tool that a target needs and that is not there, if any.
#[must_use]
pub fn missing(target: Target) -> Option<&'static str> {
    match compile::require(target) {
        Err(ChipsError::Missing(what)) => Some(what),
        _ => None,
    }
}

/// The rows of one target, a node each.
///
/// # Errors
///
/// A tool that is missing or that refuses.
pub fn rows(target: Target, steps: Steps, reference: &Reference) -> Result<Vec<Row>, ChipsError> {
    let count = steps.on(target);
    let Some(tools) = compile::Tools::find(target)? else {
        // The reference itself.
        let row = |(node, transcript): &(Node, Transcript)| {
            Row::new(target, node.name, count, transcript, transcript)
        };
        return Ok(reference.0.iter().map(row).collect());
    };
    let row = |(node, expected): &(Node, Transcript)| {
        let image = tools.stream(node, count)?;
        let transcript = emulate::run(&tools, &image, count)?;
        let row = Row::new(target, node.name, count, &transcript, expected);
        if target.machine == Machine::Host {
            return Ok(row);
        }
        let sizes = tools.sizes(node)?;
        Ok(row.with_images(target, node, &image, &sizes))
    };
    reference.0.par_iter().map(row).collect()
}
