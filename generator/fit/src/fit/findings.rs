//! What is wrong, in words: each finding with its evidence and how sure it is.

mod currents;
mod pace;
mod reports;
mod voltages;

use super::Evidence;

/// How sure a finding is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Confidence {
    /// Nothing else that is modelled explains the log.
    High,
    /// Something else may explain it; the text says what.
    Medium,
    /// Something else is as likely; the text says what.
    Low,
}

/// Something that is wrong, or worth knowing.
#[derive(Clone, Debug, PartialEq)]
pub struct Finding {
    /// Stable short name.
    pub code: &'static str,
    /// What is so, with its numbers.
    pub text: String,
    /// How sure it is.
    pub confidence: Confidence,
    /// Where in the log it shows, for pictures (s).
    pub time_s: Option<f64>,
}

/// All findings.
pub(super) fn of(evidence: &Evidence<'_>) -> Vec<Finding> {
    let mut findings = Vec::new();
    findings.extend(currents::sleep(evidence));
    findings.extend(currents::actions(evidence));
    findings.extend(currents::capacitance(evidence));
    findings.extend(currents::settling(evidence));
    findings.extend(voltages::of(evidence));
    findings.extend(reports::lost(evidence));
    findings.extend(reports::loop_of_restarts(evidence));
    findings.extend(reports::drift(evidence));
    findings
}
