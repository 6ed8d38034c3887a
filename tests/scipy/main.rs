//! Witness: SciPy's solve_ivp. Each action of each node, alone and with the reserve asleep after it, is integrated from
//! the voltage that millpond says is just enough, and must touch the floor; from [`BELOW_V`] lower it must fall below.
//!
//! Run with `cargo test -p millpond-tests --test scipy`; one node with `-- crack-gauge` or `-- random-17`. All runs go to
//! one interpreter, which is started by the first trial.
//!
//! [`BELOW_V`]: millpond_tests::case::BELOW_V

use std::collections::HashMap;
use std::io::Write as _;
use std::process::Stdio;
use std::sync::OnceLock;

use libtest_mimic::{Arguments, Failed};
use millpond::units::*;
use millpond_tests::case::{Case, Seen, nodes};
use millpond_tests::tool::{self, Tool};
use serde::Serialize;

/// What the terminal may differ by (V). Cause: the start is known to 0.1 µV and both integrators err by less than a
/// microvolt; close to the power limit the terminal multiplies that, up to a hundredfold in these nodes.
const TERMINAL_V: f64 = 1e-4;
const SCRIPT: &str = include_str!("discharge.py");

/// One run as the script reads it.
#[derive(Serialize)]
struct Run {
    name: String,
    capacitance_f: Vec<f64>,
    slope_f_per_v: Vec<f64>,
    resistance_ohm: Vec<f64>,
    leakage_s: f64,
    start_v: f64,
    stretches: Vec<[f64; 5]>,
}

impl Run {
    fn of(case: &Case, start_v: f64) -> Self {
        let branches = &case.bank.branches;
        let stretches = case.stretches.iter().map(|stretch| {
            [
                stretch.drain.power.get::<watt>(),
                stretch.drain.current.get::<ampere>(),
                stretch.peak.power.get::<watt>(),
                stretch.peak.current.get::<ampere>(),
                stretch.duration.get::<second>(),
            ]
        });
        Self {
            name: case.name.clone(),
            capacitance_f: branches
                .iter()
                .map(|branch| branch.capacitance.get::<farad>())
                .collect(),
            slope_f_per_v: branches.iter().map(|branch| branch.slope.value).collect(),
            resistance_ohm: branches
                .iter()
                .map(|branch| branch.resistance.get::<ohm>())
                .collect(),
            leakage_s: case.bank.leakage.get::<siemens>(),
            start_v,
            stretches: stretches.collect(),
        }
    }
}

/// What SciPy saw of each case's two runs, by the case's name.
type Answers = HashMap<String, (Seen, Seen)>;

fn main() {
    let arguments = Arguments::from_args();
    let what = "a python3 with SciPy (Debian package python3-scipy)";
    let python = Tool::find(
        &["python3", "/usr/bin/python3"],
        &["-c", "import scipy.integrate"],
    );
    tool::announce(python.as_ref(), what);
    // Only what the filter lets through is integrated.
    let wanted = |name: &str| match &arguments.filter {
        Some(filter) if arguments.exact => name == filter,
        Some(filter) => name.contains(filter.as_str()),
        None => true,
    };
    let cases: Vec<(String, Vec<Case>)> = nodes()
        .iter()
        .filter(|node| wanted(&node.name))
        .map(|node| {
            (
                node.name.clone(),
                Case::alone(node)
                    .into_iter()
                    .chain(Case::with_reserve(node))
                    .collect(),
            )
        })
        .collect();
    let cases: &'static [(String, Vec<Case>)] = cases.leak();
    static ANSWERS: OnceLock<Result<Answers, String>> = OnceLock::new();
    let trials = cases.iter().map(|(name, own)| {
        tool::trial(name.clone(), python.as_ref(), what, move |python| {
            let all = cases.iter().flat_map(|(_, cases)| cases);
            let answers = ANSWERS.get_or_init(|| {
                ask(python, all).map_err(|failed| failed.message().unwrap_or_default().to_owned())
            });
            check(own, answers.as_ref()?)
        })
    });
    libtest_mimic::run(&arguments, trials.collect()).exit();
}

/// Integrates both runs of every case in one process.
fn ask<'a>(python: &Tool, cases: impl Iterator<Item = &'a Case> + Clone) -> Result<Answers, Failed> {
    let runs: Vec<Run> = cases
        .clone()
        .flat_map(|case| [case.start_v(), case.below_v()].map(|v| Run::of(case, v)))
        .collect();
    let mut child = python
        .command()
        .args(["-c", SCRIPT])
        // One thread for each process: the vectors have three entries.
        .env("OMP_NUM_THREADS", "1")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()?;
    let question = serde_json::to_vec(&runs)?;
    child
        .stdin
        .take()
        .ok_or("no way to ask the script")?
        .write_all(&question)?;
    let output = child.wait_with_output()?;
    if !output.status.success() {
        return Err(format!("the script failed: {}", output.status).into());
    }
    let lowest_v: Vec<Option<f64>> = serde_json::from_slice(&output.stdout)?;
    let seen = |lowest_v: Option<f64>| lowest_v.map_or(Seen::Collapsed, Seen::Lowest);
    let pairs = lowest_v
        .chunks_exact(2)
        .map(|pair| (seen(pair[0]), seen(pair[1])));
    Ok(cases.map(|case| case.name.clone()).zip(pairs).collect())
}

fn check(cases: &[Case], answers: &Answers) -> Result<(), Failed> {
    let mut wrong = Vec::new();
    for case in cases {
        let (at, below) = *answers.get(&case.name).ok_or("the script gave too few answers")?;
        wrong.extend(case.judge(at, below, TERMINAL_V));
    }
    if wrong.is_empty() {
        Ok(())
    } else {
        Err(wrong.join("\n").into())
    }
}
