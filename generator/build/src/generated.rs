//! The whole way in one call: from a node file to the text of its constants.

use std::fmt;
use std::iter;
use std::path::{Path, PathBuf};

use millpond_policy::{Policy, WhenFull};

use crate::budget::Budget;
use crate::emit::{self, Constants, DecideCounts, EmittedPlan, ThresholdRow};
use crate::findings::printout;
use crate::findings::{self, Finding, Severity};
use crate::income::Income;
use crate::input::LoadError;
use crate::node::{self, NodeFile, Pace};
use crate::plan::{self, Planned};
use crate::policy;
use crate::progress::{Progress, Unseen};
use crate::thresholds::{Threshold, Thresholds};
use crate::units::*;
use crate::visible::visible;

/// Why a node whose income is a trace has no plan.
const NO_INCOME: &str = "pace = \"planned\" is tuned on the income that [harvest] declares, and kind = \"trace\" declares \
                             none: declare the source, or keep pace = \"even\"";

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
    /// The node asks for a plan and can have none.
    Plan {
        /// The node file.
        path: String,
        /// Why, and what would cure it.
        why: String,
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
/// let generated = millpond_build::generate("../../templates/nodes/crack-gauge.toml")?;
/// assert!(generated.rust_module().contains("pub const POLICY"));
/// # Ok::<(), millpond_build::generated::Refusal>(())
/// ```
pub fn generate(path: impl AsRef<Path>) -> Result<Generated, Refusal> {
    let file = NodeFile::load(path.as_ref()).map_err(Refusal::File)?;
    from_file(&file, &Unseen)
}

/// The same, from a node file that was read already. Tuning a plan takes seconds, which `progress` shows; only a node with
/// pace = "planned" has one.
///
/// # Errors
///
/// As [`generate`], but for reading.
pub fn from_file(file: &NodeFile, progress: &dyn Progress) -> Result<Generated, Refusal> {
    let mut generated = without_plan(file)?;
    if file.node.policy.pace == Pace::Planned {
        let thresholds = Thresholds::of(&file.node);
        let policy = Policy::new(generated.constants.parts).map_err(|rule| Refusal::Constants {
            path: file.path.clone(),
            rule: rule.text(),
        })?;
        let planned = tuned(file, &thresholds, &policy, progress)?;
        generated.constants.plan = Some(EmittedPlan {
            made_from: planned.made_from(&file.node.harvest.source),
            parts: *planned.plan.parts(),
        });
    }
    Ok(generated)
}

/// The plan of the node in `file`, tuned on the income that it declares.
///
/// # Errors
///
/// [`Refusal::Plan`].
pub fn tuned(
    file: &NodeFile,
    thresholds: &Thresholds,
    policy: &Policy,
    progress: &dyn Progress,
) -> Result<Planned, Refusal> {
    let no_plan = |why: String| Refusal::Plan {
        path: file.path.clone(),
        why,
    };
    let income = Income::of(&file.node.harvest.source).ok_or_else(|| no_plan(NO_INCOME.to_owned()))?;
    plan::tuned(&file.node, thresholds, policy, &income, progress).map_err(|error| no_plan(error.to_string()))
}

/// The same without the plan of a node that has one: all that follows from the node alone, at once.
///
/// # Errors
///
/// As [`from_file`].
pub fn without_plan(file: &NodeFile) -> Result<Generated, Refusal> {
    let budget = Budget::of(&file.node);
    let thresholds = Thresholds::of(&file.node);
    let findings = findings::of(&file.node, &budget, &thresholds);
    if findings.iter().any(|finding| finding.severity == Severity::Error) {
        return Err(Refusal::Findings {
            path: file.path.clone(),
            findings,
        });
    }
    let policy = policy::policy(&file.node, &thresholds).map_err(|rejected| Refusal::Constants {
        path: file.path.clone(),
        rule: rejected.text(),
    })?;
    let constants = constants(file, &thresholds, &policy);
    Ok(Generated {
        constants,
        findings,
        inputs: iter::once(&file.path)
            .chain(file.profiles.iter().map(|profile| &profile.path))
            .map(PathBuf::from)
            .collect(),
    })
}

/// The constants of the node in `file`, with where they come from, ready to be written.
fn constants(file: &NodeFile, thresholds: &Thresholds, policy: &Policy) -> Constants {
    let counts = |threshold: &Threshold| u16::try_from(threshold.decide_counts).unwrap_or(u16::MAX);
    Constants {
        node: file.node.name.clone(),
        version: env!("CARGO_PKG_VERSION").to_owned(),
        input_hash: file.input_hash.clone(),
        parts: *policy.parts(),
        decide_counts: DecideCounts {
            measure: counts(&thresholds.measure),
            transmit: counts(&thresholds.transmit),
        },
        when_full: match file.node.policy.when_full {
            node::WhenFull::KeepNewest => WhenFull::KeepNewest,
            node::WhenFull::KeepOldest => WhenFull::KeepOldest,
            node::WhenFull::ThinEvenly => WhenFull::ThinEvenly,
        },
        other_pace: other_pace(file),
        thresholds: thresholds
            .actions()
            .map(|(kind, threshold)| row(thresholds, kind.name(), threshold))
            .to_vec(),
        plan: None,
    }
}

/// The name of the node's pace where the text of its file names another.
fn other_pace(file: &NodeFile) -> Option<&'static str> {
    let name = file.node.policy.pace.name();
    let table = file.text.parse::<toml::Table>().ok()?;
    let written = table.get("policy")?.get("pace").and_then(toml::Value::as_str);
    (written.unwrap_or(Pace::Even.name()) != name).then_some(name)
}

/// One threshold as the comment of a generated file has it.
fn row(thresholds: &Thresholds, name: &str, threshold: &Threshold) -> ThresholdRow {
    let volts_of = |voltage: Voltage| format!("{:.4} V", voltage.get::<volt>());
    let floor = ("floor".to_owned(), volts_of(thresholds.floor));
    let terms = threshold
        .terms
        .iter()
        .filter(|term| !term.cause.is_optional() || term.voltage != volts(0.0))
        .map(|term| (format!("+ {}", term.cause.name()), volts_of(term.voltage)));
    ThresholdRow {
        action: name.to_owned(),
        start: volts_of(threshold.start),
        start_with_reserve: volts_of(threshold.start_with_reserve),
        decide: format!(
            "{} mV, {} counts{}",
            threshold.decide_mv,
            threshold.decide_counts,
            match thresholds.scale.kind {
                node::SenseKind::Divider => "",
                node::SenseKind::Reference => " or fewer",
            }
        ),
        lines: std::iter::once(floor).chain(terms).collect(),
    }
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
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::File(error) => error.fmt(f),
            Self::Findings { path, findings } => {
                write!(
                    f,
                    "{}{}: no constants for a node that cannot work",
                    printout::text(findings),
                    visible(path)
                )
            }
            Self::Plan { path, why } => write!(f, "{}: no plan: {why}", visible(path)),
            Self::Constants { path, rule } => write!(f, "{}: no constants: {rule}", visible(path)),
        }
    }
}

impl std::error::Error for Refusal {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pace_that_the_file_does_not_name_is_asked_for_in_the_banner() {
        let path = concat!(
            env!("CARGO_MANIFEST_DIR"),
            "/../../templates/nodes/crack-gauge.toml"
        );
        let mut file = NodeFile::load(path).expect("the examples are valid");
        assert_eq!(other_pace(&file), None);
        file.node.policy.pace = Pace::Planned;
        assert_eq!(other_pace(&file), Some("planned"));
        file.text = file.text.replace("[policy]\n", "[policy]\npace = \"planned\"\n");
        assert_eq!(other_pace(&file), None);
        file.node.policy.pace = Pace::Even;
        assert_eq!(other_pace(&file), Some("even"));
    }
}
