//! Witness: SciPy's least_squares with Huber's loss. The fit's regression, reading by reading, of logs of known truth.
//!
//! Run with `cargo test -p millpond-tests --test scipy_fit`.

use libtest_mimic::{Arguments, Failed};
use millpond::fit::{Exported, Fit, HUBER};
use millpond_tests::bench::Bench;
use millpond_tests::tool::{self, Tool};
use serde::Deserialize;
use serde_json::json;

/// Logs that are asked about.
const LOGS: usize = 8;
/// From which seed on.
const FIRST_SEED: u64 = 1000;
/// Two solvers of one convex problem agree to their tolerances; this is what the contract promises.
const AGREEMENT: f64 = 0.005;
/// Combinations of factors below this are none: their part of a value is rounding.
const LEAST: f64 = 0.02;
/// SciPy's own run may end this part of the loss lower, by rounding; it mostly stops above.
const LOSS: f64 = 1e-5;
const SCRIPT: &str = include_str!("huber.py");

/// What SciPy says of one problem; huber.py says what is what.
#[derive(Deserialize)]
struct Answer {
    beta: Vec<f64>,
    own: f64,
    other: f64,
}

fn main() {
    let arguments = Arguments::from_args();
    let what = "a python3 with SciPy (Debian package python3-scipy)";
    let python = Tool::find(&["python3", "/usr/bin/python3"], &["-c", "import scipy.optimize"]);
    tool::announce(python.as_ref(), what);
    let trial = tool::trial("huber".to_owned(), python.as_ref(), what, check);
    libtest_mimic::run(&arguments, vec![trial]).exit();
}

fn check(python: &Tool) -> Result<(), Failed> {
    let problems: Vec<(u64, Exported)> = Bench::each(FIRST_SEED, LOGS, None, |seed, bench| {
        Some((seed, Fit::of(&bench.node, &bench.log()).exported()?.clone()))
    })
    .into_iter()
    .flatten()
    .collect();
    let question: Vec<_> = problems
        .iter()
        .map(|(_, problem)| {
            let rows: Vec<Vec<f64>> = problem
                .rows
                .iter()
                .map(|row| {
                    let head = [row.segment as f64, row.place];
                    head.into_iter().chain(row.x).chain([row.fall_v]).collect()
                })
                .collect();
            json!({ "rows": rows, "segments": problem.segments, "bend_v": HUBER * problem.scale_v, "beta": problem.beta })
        })
        .collect();
    let answers: Vec<Answer> = serde_json::from_slice(&python.ask(SCRIPT, &json!(question))?)?;
    let mut compared = 0;
    let mut wrong = Vec::new();
    for ((seed, problem), answer) in problems.iter().zip(&answers) {
        // The same part of the factors is fixed for both: its combinations are compared, each over the size of all.
        let project = |beta: &[f64]| -> Vec<f64> {
            let row = |row: &[f64; 5]| row.iter().zip(beta).map(|(a, b)| a * b).sum();
            problem.combinations.iter().map(row).collect()
        };
        let (own, other) = (project(&problem.beta), project(&answer.beta));
        if answer.own > answer.other * (1.0 + LOSS) {
            wrong.push(format!(
                "seed {seed}: loss {}, SciPy {}",
                answer.own, answer.other
            ));
        }
        let size = own.iter().map(|one| one * one).sum::<f64>().sqrt();
        for (own, other) in own.iter().zip(&other) {
            if own.abs() > LEAST * size {
                compared += 1;
                if (own - other).abs() > AGREEMENT * size {
                    wrong.push(format!("seed {seed}: own {own}, SciPy {other}, size {size}"));
                }
            }
        }
    }
    if compared < LOGS {
        return Err(format!("only {compared} factors were compared").into());
    }
    if wrong.is_empty() {
        Ok(())
    } else {
        Err(wrong.join("\n").into())
    }
}
