//! A bench log with its fitted model: chart, parameters, findings.

use serde::Serialize;

use super::chart::{Chart, Drawn, Merged, Panel, Series, Span, rounded};
use crate::fit::{Fit, Parameter};
use crate::printout::fit::{confidence, shown, title};

/// More readings than this are thinned to the lowest and the highest of each stretch.
const MOST_POINTS: usize = 3000;
/// An hour (s).
const HOUR_S: f64 = 3600.0;
/// A finding's mark is this part of the chart wide.
const MARK: f64 = 0.003;

/// The fit as the page has it.
#[derive(Serialize)]
pub(super) struct Fitted {
    log: String,
    rows_used: usize,
    rows_skipped: usize,
    residual: Option<String>,
    parameters: Vec<ParameterView>,
    findings: Vec<FindingView>,
    has_chart: bool,
}

#[derive(Serialize)]
struct ParameterView {
    name: &'static str,
    value: String,
    spread: String,
    described: String,
    reason: String,
}

#[derive(Serialize)]
struct FindingView {
    code: &'static str,
    text: String,
    confidence: &'static str,
    at: Option<String>,
}

/// The fit of the log called `log`, and its chart if the log has readings.
pub(super) fn view(log: &str, fit: &Fit) -> (Fitted, Option<Chart>) {
    let chart = chart(fit);
    let view = Fitted {
        log: log.to_owned(),
        rows_used: fit.rows_used,
        rows_skipped: fit.rows_skipped,
        residual: fit
            .residual_v
            .map(|residual_v| format!("{:.2} mV", residual_v * 1e3)),
        parameters: fit.parameters.iter().map(parameter).collect(),
        findings: fit
            .findings
            .iter()
            .map(|finding| FindingView {
                code: finding.code,
                text: finding.text.clone(),
                confidence: confidence(finding.confidence),
                at: finding.time_s.map(|time_s| format!("{:.2} h", time_s / HOUR_S)),
            })
            .collect(),
        has_chart: chart.is_some(),
    };
    (view, chart)
}

fn parameter(parameter: &Parameter) -> ParameterView {
    let cell =
        |value: Option<f64>| value.map_or_else(|| "–".to_owned(), |value| shown(value, parameter.unit));
    ParameterView {
        name: title(parameter.name),
        value: cell(parameter.value),
        spread: cell(parameter.standard_error.map(|error| 1.96 * error)),
        described: cell(parameter.described),
        reason: parameter.reason.clone().unwrap_or_default(),
    }
}

fn chart(fit: &Fit) -> Option<Chart> {
    let (first, last) = (fit.curve.first()?, fit.curve.last()?);
    let kept = thinned(&fit.curve);
    let at = kept.iter().map(|point| rounded(point.0 / HOUR_S, 5)).collect();
    let readings = kept.iter().map(|point| Some(rounded(point.1, 4))).collect();
    let model = kept
        .iter()
        .map(|point| point.2.map(|model_v| rounded(model_v, 4)))
        .collect();
    let errors = kept
        .iter()
        .map(|point| point.2.map(|model_v| rounded((point.1 - model_v) * 1e3, 2)))
        .collect();
    let series = |label: &str, drawn, values| Series {
        label: label.to_owned(),
        drawn,
        merged: Merged::Never,
        values,
    };
    let width_h = (last.0 - first.0) / HOUR_S * MARK;
    let spans = fit.findings.iter().filter_map(|finding| {
        let at_h = finding.time_s? / HOUR_S;
        Some(Span {
            label: finding.code.to_owned(),
            from: rounded(at_h - width_h / 2.0, 5),
            until: rounded(at_h + width_h / 2.0, 5),
        })
    });
    Some(Chart {
        id: "log".to_owned(),
        axis: "time (h)".to_owned(),
        at,
        panels: vec![
            Panel {
                axis: "storage (V)".to_owned(),
                height: 260,
                digits: 4,
                from_zero: false,
                series: vec![
                    series("reading", Drawn::Dots, readings),
                    series("model", Drawn::Line, model),
                ],
                levels: Vec::new(),
            },
            Panel {
                axis: "error (mV)".to_owned(),
                height: 130,
                digits: 2,
                from_zero: false,
                series: vec![series("reading less model", Drawn::Dots, errors)],
                levels: Vec::new(),
            },
        ],
        gaps: Vec::new(),
        spans: spans.collect(),
    })
}

/// A reading with its model: time (s), reading (V), model (V).
type Point = (f64, f64, Option<f64>);

/// Of each stretch of readings the lowest and the highest, in the order of time.
fn thinned(curve: &[Point]) -> Vec<Point> {
    if curve.len() <= MOST_POINTS {
        return curve.to_vec();
    }
    let stretch = curve.len().div_ceil(MOST_POINTS / 2);
    curve
        .chunks(stretch)
        .flat_map(|points| {
            let by_reading = |a: &&Point, b: &&Point| a.1.total_cmp(&b.1);
            let (lowest, highest) = (points.iter().min_by(by_reading), points.iter().max_by(by_reading));
            let mut pair: Vec<Point> = lowest.into_iter().chain(highest).copied().collect();
            pair.sort_by(|a, b| a.0.total_cmp(&b.0));
            pair.dedup();
            pair
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// Thinning keeps the extremes and the order of time, and stays below its limit.
        #[test]
        fn thinning_keeps_dips(count in 1_usize..20_000, dip in 0_usize..20_000) {
            let curve: Vec<Point> = (0..count)
                .map(|place| (place as f64, if place == dip { 1.0 } else { 3.0 + (place % 7) as f64 / 100.0 }, None))
                .collect();
            let kept = thinned(&curve);
            prop_assert!(kept.len() <= MOST_POINTS);
            prop_assert!(kept.windows(2).all(|pair| pair[0].0 < pair[1].0));
            let lowest = |points: &[Point]| points.iter().fold(f64::INFINITY, |low, point| low.min(point.1));
            prop_assert_eq!(lowest(&kept), lowest(&curve));
        }
    }
}
