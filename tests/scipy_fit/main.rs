//! Witness: SciPy's least_squares. The fit's regression with Huber's loss, reading by reading, and its second stage with what is
//! believed, both of logs of known truth.
//!
//! Run with `cargo test -p millpond-tests --test scipy_fit`.

use libtest_mimic::{Arguments, Failed};
use millpond::fit::{Exported, Fit, HUBER, Known};
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
/// Explanations of each log that are asked about: the rest has no say in the mean.
const EXPLANATIONS: usize = 12;
const SCRIPT: &str = include_str!("huber.py");
const JOINT: &str = include_str!("joint.py");

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
    let trials = vec![
        tool::trial("huber".to_owned(), python.as_ref(), what, check_regression),
        tool::trial("joint".to_owned(), python.as_ref(), what, check_joint),
    ];
    libtest_mimic::run(&arguments, trials).exit();
}

/// The problems of the first logs, with their seeds.
fn problems() -> Vec<(u64, Exported)> {
    let problems = Bench::each(FIRST_SEED, LOGS, None, |seed, bench| {
        Some((
            seed,
            Fit::of(&bench.node, &bench.log(), &Known::NOTHING)
                .exported()?
                .clone(),
        ))
    });
    problems.into_iter().flatten().collect()
}

/// The unknowns of equation 38 under the most probable explanations of each log.
fn check_joint(python: &Tool) -> Result<(), Failed> {
    let problems: Vec<(u64, Exported)> = problems()
        .into_iter()
        .filter(|(_, problem)| problem.joint.is_some())
        .collect();
    let joints = || {
        problems
            .iter()
            .filter_map(|(seed, problem)| Some((*seed, problem, problem.joint.as_ref()?)))
    };
    let question: Vec<_> = joints()
        .map(|(_, problem, joint)| {
            let explanations: Vec<_> = joint
                .explanations
                .iter()
                .take(EXPLANATIONS)
                .map(|one| json!({ "mean": one.mean, "deviation": one.deviation }))
                .collect();
            json!({
                "combinations": problem.combinations,
                "values": joint.values,
                "covariance": joint.covariance,
                "power_shares": joint.power_shares,
                "resistance_ohm": joint.resistance_ohm,
                "explanations": explanations,
            })
        })
        .collect();
    let answers: Vec<Vec<[f64; 7]>> = serde_json::from_slice(&python.ask(JOINT, &json!(question))?)?;
    let mut compared = 0;
    let mut wrong = Vec::new();
    for ((seed, _, joint), answer) in joints().zip(&answers) {
        for (number, (own, other)) in joint.explanations.iter().zip(answer).enumerate() {
            for (place, (own, other)) in own.parts.iter().zip(other).enumerate() {
                compared += 1;
                // Six are logarithms of factors, the seventh is a factor: a difference is a part of what the node file says.
                if (own - other).abs() > AGREEMENT {
                    wrong.push(format!(
                        "seed {seed}, explanation {number}, unknown {place}: own {own}, SciPy {other}"
                    ));
                }
            }
        }
    }
    if compared < LOGS * EXPLANATIONS {
        return Err(format!("only {compared} unknowns were compared").into());
    }
    if wrong.is_empty() {
        Ok(())
    } else {
        Err(wrong.join("\n").into())
    }
}

/// The factors of equation 37, reading by reading.
fn check_regression(python: &Tool) -> Result<(), Failed> {
    let problems = problems();
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
