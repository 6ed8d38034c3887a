//! The whole way in one call: from a node file to the text of its constants.

use std::fmt;
use std::path::{Path, PathBuf};

use crate::budget::Budget;
use crate::emit::{self, Constants};
use crate::findings::{self, Finding, Severity};
use crate::node::{LoadError, NodeFile};
use crate::policy;
use crate::printout;
use crate::thresholds::Thresholds;

/// The constants of one node, ready to be written.
#[derive(Clone, Debug)]
pub struct Generated {
    /// The constants.
    pub constants: Constants,
    /// Cautions about the node; a node with an error has no constants.
    pub findings: Vec<Finding>,
    /// Every file that was read: when one of them changes, the constants have to be written again.
    pub inputs: Vec<PathBuf>,
}

/// Why there are no constants.
#[derive(Debug)]
pub enum Refusal {
    /// The node file cannot be read, or was refused.
    File(LoadError),
    /// The node cannot work: at least one finding is an error.
    Findings {
        /// The node file.
        path: String,
        /// All findings, errors first.
        findings: Vec<Finding>,
    },
    /// The constants break a rule of the policy; a node without errors should not come to this.
    Constants {
        /// The node file.
        path: String,
        /// The rule, in words.
        rule: &'static str,
    },
}

/// Reads the node file at `path`, sizes the node and returns its constants.
///
/// Meant for a firmware crate's `build.rs`, too: write [`Generated::rust_module`] into `OUT_DIR` and print a
/// `cargo::rerun-if-changed` line for each of [`Generated::inputs`].
///
/// # Errors
///
/// [`Refusal`], whose text is for people and names every problem.
///
/// ```
/// let generated = millpond::generate("../templates/nodes/crack-gauge.toml")?;
/// assert!(generated.rust_module().contains("pub const POLICY"));
/// # Ok::<(), millpond::generated::Refusal>(())
/// ```
pub fn generate(path: impl AsRef<Path>) -> Result<Generated, Refusal> {
    let file = NodeFile::load(path.as_ref()).map_err(Refusal::File)?;
    from_file(&file)
}

/// The same, from a node file that was read already.
///
/// # Errors
///
/// As [`generate`], but for reading.
pub fn from_file(file: &NodeFile) -> Result<Generated, Refusal> {
    let budget = Budget::of(&file.node);
    let thresholds = Thresholds::of(&file.node);
    let findings = findings::of(&file.node, &budget, &thresholds);
    if findings.iter().any(|finding| finding.severity == Severity::Error) {
        return Err(Refusal::Findings { path: file.path.clone(), findings });
    }
    let constants = policy::constants(file, &thresholds)
        .map_err(|rejected| Refusal::Constants { path: file.path.clone(), rule: rejected.text() })?;
    Ok(Generated { constants, findings, inputs: file.inputs() })
}

impl Generated {
    /// The C header.
    pub fn c_header(&self) -> String {
        emit::c_header(&self.constants)
    }

    /// The Rust module for `millpond-policy`.
    pub fn rust_module(&self) -> String {
        emit::rust_module(&self.constants)
    }

    /// The constants as JSON.
    pub fn json(&self) -> String {
        emit::json(&self.constants)
    }
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::File(error) => error.fmt(f),
            Self::Findings { path, findings } => {
                write!(f, "{}{path}: no constants for a node that cannot work", printout::findings::text(findings))
            }
            Self::Constants { path, rule } => write!(f, "{path}: no constants: {rule}"),
        }
    }
}

impl std::error::Error for Refusal {}
