//! How often findings are raised, and how often stated intervals hold the truth.

use millpond::fit::{Fit, Known};
use rayon::prelude::*;
use serde::Serialize;

use crate::bench::{Bench, Fault, Truth};

/// A finding is raised at its fault in this part of the logs, at least.
pub const RAISED_AT_FAULT: f64 = 0.95;
/// A finding is raised in this part of the healthy logs, at most.
pub const RAISED_IN_HEALTH: f64 = 0.02;
/// From which seed on the logs are made that every bound of the fit was tuned on; others show what it is worth.
pub const FIRST_SEED: u64 = 1000;

/// How often one finding is raised.
#[derive(Clone, Debug, Serialize)]
pub struct Rate {
    /// Its code.
    pub finding: &'static str,
    /// Part of the logs with its fault in which it is raised.
    pub raised_when_present: f64,
    /// Part of the healthy logs in which it is raised.
    pub raised_when_healthy: f64,
}

impl Rate {
    /// Whether both parts are as promised.
    pub fn is_as_promised(&self) -> bool {
        self.raised_when_present >= RAISED_AT_FAULT && self.raised_when_healthy <= RAISED_IN_HEALTH
    }
}

/// Rates of all findings over `logs` logs each, of the seeds from `first` on; `done` is told of each as it is known, in no order.
pub fn faults(first: u64, logs: usize, done: impl Fn(&Rate) + Sync) -> Vec<Rate> {
    let healthy = raised(first, logs, None);
    Fault::ALL
        .par_iter()
        .map(|(fault, finding)| {
            let part = |all: &[Vec<&'static str>]| {
                all.iter().filter(|codes| codes.contains(finding)).count() as f64 / all.len() as f64
            };
            let rate = Rate {
                finding,
                raised_when_present: part(&raised(first, logs, Some(*fault))),
                raised_when_healthy: part(&healthy),
            };
            done(&rate);
            rate
        })
        .collect()
}

/// Codes raised in each log.
fn raised(first: u64, logs: usize, fault: Option<Fault>) -> Vec<Vec<&'static str>> {
    Bench::each(first, logs, fault, |_, bench| {
        let fit = Fit::of(&bench.node, &bench.log(), &Known::NOTHING);
        fit.findings.iter().map(|finding| finding.code).collect()
    })
}

/// The rates as a table.
pub fn table(rates: &[Rate]) -> String {
    let rows = rates.iter().map(|rate| {
        let mark = if rate.is_as_promised() {
            ""
        } else {
            "  not as promised"
        };
        let (at, healthy) = (rate.raised_when_present * 100.0, rate.raised_when_healthy * 100.0);
        format!("{:<22} {at:>10.1} % {healthy:>12.1} %{mark}\n", rate.finding)
    });
    format!("{:<22} {:>12} {:>14}\n", "finding", "at its fault", "healthy") + &rows.collect::<String>()
}

/// How often the interval of one parameter holds the truth.
#[derive(Clone, Debug)]
pub struct Coverage {
    /// Its name.
    pub parameter: &'static str,
    /// Logs in which it has a value.
    pub given: usize,
    /// Of these, those whose interval of 95 % holds the truth.
    pub held: usize,
    /// Median of the standard error over the value.
    pub error: f64,
    /// Seeds whose interval does not hold it, with the distance in standard errors.
    pub missed: Vec<(u64, f64)>,
}

/// What is true, by the names of the parameters.
fn truths(truth: &Truth) -> [(&'static str, f64); 7] {
    [
        ("capacitance_f", truth.capacitance_f),
        ("resistance_ohm", truth.resistance_ohm),
        ("sleep_current_a", truth.sleep_current_a),
        ("leakage_a", truth.leakage_a),
        ("measure_energy_j", truth.measure_energy_j),
        ("transmit_energy_j", truth.transmit_energy_j),
        ("income_w", truth.income_w),
    ]
}

/// Coverage of all parameters over `logs` healthy logs, of the seeds from `first` on.
pub fn coverage(first: u64, logs: usize) -> Vec<Coverage> {
    let all = Bench::each(first, logs, None, |seed, bench| {
        let fit = Fit::of(&bench.node, &bench.log(), &Known::NOTHING);
        let scores = truths(&bench.truth).map(|(name, truth)| {
            let parameter = fit.parameter(name)?;
            let (value, error) = parameter.value.zip(parameter.standard_error)?;
            Some(((value - truth) / error, error / value))
        });
        (seed, scores)
    });
    truths(&Truth::default())
        .iter()
        .enumerate()
        .map(|(place, (parameter, _))| {
            let own: Vec<(u64, f64, f64)> = all
                .iter()
                .filter_map(|(seed, scores)| scores[place].map(|(score, error)| (*seed, score, error)))
                .collect();
            let mut errors: Vec<f64> = own.iter().map(|(_, _, error)| *error).collect();
            errors.sort_by(f64::total_cmp);
            Coverage {
                parameter,
                given: own.len(),
                held: own.iter().filter(|(_, score, _)| score.abs() <= 1.96).count(),
                error: errors.get(errors.len() / 2).copied().unwrap_or(f64::NAN),
                missed: own
                    .iter()
                    .filter(|(_, score, _)| score.abs() > 1.96)
                    .map(|(seed, score, _)| (*seed, *score))
                    .collect(),
            }
        })
        .collect()
}

/// Coverage as a table.
pub fn coverage_table(coverage: &[Coverage]) -> String {
    let rows = coverage.iter().map(|one| {
        let part = one.held as f64 / one.given.max(1) as f64 * 100.0;
        let first: Vec<String> = one
            .missed
            .iter()
            .take(5)
            .map(|(seed, score)| format!("{seed}: {score:.1}"))
            .collect();
        format!(
            "{:<18} given {:>4}  held {part:>5.1} %  error {:>5.1} %  {}\n",
            one.parameter,
            one.given,
            one.error * 100.0,
            first.join(", ")
        )
    });
    rows.collect()
}
