//! Findings, one paragraph each.

use serde::Serialize;

use crate::findings::{Finding, Severity};

/// A finding as JSON has it.
#[derive(Serialize)]
pub struct View {
    code: &'static str,
    severity: &'static str,
    text: String,
    cure: String,
}

/// The views of `findings`, in their order.
pub fn views(findings: &[Finding]) -> Vec<View> {
    findings
        .iter()
        .map(|finding| View {
            code: finding.code,
            severity: word(finding.severity),
            text: finding.text.clone(),
            cure: finding.cure.clone(),
        })
        .collect()
}

/// The findings as text; one line says so if there are none.
pub fn text(findings: &[Finding]) -> String {
    if findings.is_empty() {
        return "no findings\n".to_owned();
    }
    findings
        .iter()
        .map(|finding| {
            format!(
                "{} [{}]: {}\n  cure: {}\n",
                word(finding.severity),
                finding.code,
                finding.text,
                finding.cure
            )
        })
        .collect()
}

/// The findings as they stand beside other output: nothing if there are none.
pub fn aside(findings: &[Finding]) -> String {
    if findings.is_empty() {
        String::new()
    } else {
        text(findings)
    }
}

fn word(severity: Severity) -> &'static str {
    match severity {
        Severity::Error => "error",
        Severity::Caution => "caution",
    }
}
