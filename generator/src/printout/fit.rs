//! What a log says about a node.

use serde::Serialize;

use crate::fit::{Confidence, Finding, Fit, Parameter};
use crate::log::Log;
use crate::picture;
use crate::printout::table::table;
use crate::text::Engineering;
use crate::units::*;

/// The fit as JSON has it.
#[derive(Serialize)]
pub struct View {
    node: String,
    parameters: Vec<ParameterView>,
    quotients: Vec<QuotientView>,
    findings: Vec<FindingView>,
    counts: Option<CountsView>,
    residual_mv_rms: Option<f64>,
    rows_used: usize,
    rows_skipped: usize,
    dark_s: f64,
}

#[derive(Serialize)]
struct ParameterView {
    name: &'static str,
    value: Option<f64>,
    unit: &'static str,
    standard_error: Option<f64>,
    described: Option<f64>,
    reason: Option<String>,
}

#[derive(Serialize)]
struct QuotientView {
    name: &'static str,
    value: f64,
    standard_error: f64,
}

#[derive(Serialize)]
struct FindingView {
    code: &'static str,
    text: String,
    confidence: &'static str,
    time_s: Option<f64>,
}

#[derive(Serialize)]
struct CountsView {
    reports: u64,
    most_in_one_life: u32,
    skipped: u64,
    power_ups: u64,
    on_time_s: f64,
    survived_s: f64,
    income_least_w: f64,
    income_most_w: f64,
}

impl View {
    /// The view of a fit of the node called `name`.
    pub fn of(name: &str, fit: &Fit) -> Self {
        Self {
            node: name.to_owned(),
            parameters: fit
                .parameters
                .iter()
                .map(|parameter| ParameterView {
                    name: parameter.name,
                    value: parameter.value,
                    unit: parameter.unit,
                    standard_error: parameter.standard_error,
                    described: parameter.described,
                    reason: parameter.reason.clone(),
                })
                .collect(),
            quotients: fit
                .quotients
                .iter()
                .map(|quotient| QuotientView {
                    name: quotient.name,
                    value: quotient.value,
                    standard_error: quotient.standard_error,
                })
                .collect(),
            findings: fit.findings.iter().map(finding).collect(),
            counts: fit.counts.map(|counts| CountsView {
                reports: counts.reports,
                most_in_one_life: counts.most_in_one_life,
                skipped: counts.skipped,
                power_ups: counts.power_ups,
                on_time_s: counts.on_time_s,
                survived_s: counts.survived_s,
                income_least_w: counts.income_least_w,
                income_most_w: counts.income_most_w,
            }),
            residual_mv_rms: fit.residual_v.map(|residual_v| residual_v * 1e3),
            rows_used: fit.rows_used,
            rows_skipped: fit.rows_skipped,
            dark_s: fit.dark_s,
        }
    }
}

fn finding(finding: &Finding) -> FindingView {
    FindingView {
        code: finding.code,
        text: finding.text.clone(),
        confidence: confidence(finding.confidence),
        time_s: finding.time_s,
    }
}

/// How sure a finding is, as a word.
pub(crate) fn confidence(confidence: Confidence) -> &'static str {
    match confidence {
        Confidence::High => "high",
        Confidence::Medium => "medium",
        Confidence::Low => "possible",
    }
}

/// The fit as tables, sentences and a picture.
pub fn text(name: &str, log: &Log, fit: &Fit) -> String {
    let hours = Engineering(seconds(log.duration_s()), "s");
    let mut text = format!("{name}, {} rows over {hours}", log.len() + log.skipped);
    if let Some(residual_v) = fit.residual_v {
        let (used, dark) = (fit.rows_used, Engineering(seconds(fit.dark_s), "s"));
        let error = Engineering(volts(residual_v), "V");
        text.push_str(&format!(
            "; {used} readings in use, {dark} of it dark, errors {error}"
        ));
    }
    text.push_str("\n\n");
    let row = |parameter: &Parameter| {
        let cell =
            |value: Option<f64>| value.map_or_else(|| "-".to_owned(), |value| shown(value, parameter.unit));
        let half = parameter.standard_error.map(|error| 1.96 * error);
        vec![
            title(parameter.name).to_owned(),
            cell(parameter.value),
            cell(half),
            cell(parameter.described),
        ]
    };
    text.push_str(&table(
        &["parameter", "fitted", "± 95 %", "described"],
        fit.parameters.iter().map(row),
    ));
    for parameter in &fit.parameters {
        if let Some(reason) = &parameter.reason {
            text.push_str(&format!("{}: {reason}.\n", title(parameter.name)));
        }
    }
    if let Some(counts) = &fit.counts {
        let time = |time_s: f64| Engineering(seconds(time_s), "s");
        text.push_str(&format!(
            "\n{} reports, at most {} after one power-up; {} skipped; power-ups: {}; {} at work; {} survived without a report\n\
             from the count alone: income at least {}, at most {} unless a full bank turned some away\n",
            counts.reports,
            counts.most_in_one_life,
            counts.skipped,
            counts.power_ups,
            time(counts.on_time_s),
            time(counts.survived_s),
            Engineering(watts(counts.income_least_w), "W"),
            Engineering(watts(counts.income_most_w), "W"),
        ));
    }
    text.push('\n');
    if fit.findings.is_empty() {
        text.push_str("no findings\n");
    }
    for finding in &fit.findings {
        text.push_str(&format!(
            "[{}] {} (confidence: {})\n",
            finding.code,
            finding.text,
            confidence(finding.confidence)
        ));
    }
    let picture = picture::fit::terminal(fit);
    if !picture.is_empty() {
        text.push_str(&format!("\n{picture}"));
    }
    text
}

/// A parameter's value with its unit.
pub(crate) fn shown(value: f64, unit: &'static str) -> String {
    match unit {
        "F" => Engineering(farads(value), unit).to_string(),
        "ohm" => Engineering(ohms(value), unit).to_string(),
        "A" => Engineering(amperes(value), unit).to_string(),
        "J" => Engineering(joules(value), unit).to_string(),
        _ => Engineering(watts(value), unit).to_string(),
    }
}

/// What people call the parameter of this name.
pub(crate) fn title(name: &str) -> &'static str {
    match name {
        "capacitance_f" => "capacitance",
        "resistance_ohm" => "series resistance",
        "sleep_current_a" => "sleeping current",
        "leakage_a" => "leakage",
        "measure_energy_j" => "one sample",
        "transmit_energy_j" => "one report",
        _ => "mean income",
    }
}
