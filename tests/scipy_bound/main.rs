//! Witness: SciPy's linprog. The least mean age of the newest report over all rates that a storage allows, as a convex
//! program over slots that may throw energy away at will, equals that of the tightest string.
//!
//! Run with `cargo test -p millpond-tests --test scipy_bound`. What the two share is the statement of the problem, with the
//! one report more at the start and the two more of room that the proof in millpond::bound asks for.

use libtest_mimic::{Arguments, Failed};
use millpond::bound::{Foresight, clairvoyant};
use millpond::units::*;
use millpond_tests::tool::{self, Tool};
use rand::{Rng, RngExt as _, SeedableRng};
use rand_pcg::Pcg64;
use serde_json::{Value, json};

/// What the integrals of the age may differ by. Cause: the script's lower and upper value meet within 1e-7, and its
/// solver keeps to its limits within 1e-7 of a report.
const RELATIVE: f64 = 1e-6;
/// Cases that are compared, each from a seed of its own.
const CASES: usize = 50;
const SCRIPT: &str = include_str!("rates.py");

/// From six to thirty slots of unequal length, a third of them dark, storages of two to sixty reports, and spacings from
/// no limit to one that spends a twentieth of the brightest income.
fn foresight(seed: u64) -> Foresight {
    let mut random = Pcg64::seed_from_u64(seed);
    let slots = random.random_range(6..=30);
    let mut end_s = 0.0;
    let income = (0..slots).map(|_| {
        end_s += random.random_range(600.0..7200.0);
        let lit = random.random_bool(2.0 / 3.0);
        (
            seconds(end_s),
            watts(if lit {
                between(&mut random, 1e-5, 2e-3)
            } else {
                0.0
            }),
        )
    });
    let income: Vec<(Time, Power)> = income.collect();
    let report_j = between(&mut random, 0.01, 0.2);
    let capacity_j = report_j * between(&mut random, 2.0, 60.0);
    Foresight {
        duration: seconds(end_s),
        income,
        capacity: joules(capacity_j),
        stored_start: joules(capacity_j * random.random_range(0.0..1.0)),
        // Every other case has a threshold, from a twentieth of the storage to nine tenths.
        threshold: joules(if seed.is_multiple_of(2) {
            0.0
        } else {
            capacity_j * between(&mut random, 0.05, 0.9)
        }),
        sleep: watts(between(&mut random, 1e-6, 1e-4)),
        report: joules(report_j),
        fastest: seconds(report_j / between(&mut random, 1e-4, 2e-2)),
        slowest: seconds(7200.0),
    }
}

/// Even in the logarithm.
fn between(random: &mut impl Rng, low: f64, high: f64) -> f64 {
    low * (high / low).powf(random.random_range(0.0..1.0))
}

fn question(foresight: &Foresight) -> Value {
    let report_j = foresight.report.get::<joule>();
    let mut start_s = 0.0;
    let slots = foresight.income.iter().map(|(end, power)| {
        let length_s = end.get::<second>() - start_s;
        start_s = end.get::<second>();
        [length_s, power.get::<watt>()]
    });
    // What the threshold keeps of a storage that has one report more at the start; who starts below is given that.
    let kept_j = foresight.threshold.get::<joule>() - report_j;
    json!({
        "slots": slots.collect::<Vec<_>>(),
        "capacity_j": foresight.capacity.get::<joule>() + 2.0 * report_j,
        "start_j": foresight.stored_start.get::<joule>().max(kept_j) + report_j,
        "kept_j": kept_j.max(0.0),
        "sleep_w": foresight.sleep.get::<watt>(),
        "report_j": report_j,
        "fastest_s": foresight.fastest.get::<second>(),
    })
}

/// All that comes in.
fn income_j(foresight: &Foresight) -> f64 {
    let mut start_s = 0.0;
    let steps = foresight.income.iter().map(|(end, power)| {
        let length_s = end.get::<second>() - start_s;
        start_s = end.get::<second>();
        length_s * power.get::<watt>()
    });
    steps.sum()
}

fn main() {
    let arguments = Arguments::from_args();
    let what = "a python3 with SciPy (Debian package python3-scipy)";
    let python = Tool::find(&["python3", "/usr/bin/python3"], &["-c", "import scipy.optimize"]);
    tool::announce(python.as_ref(), what);
    let trial = tool::trial("convex program".to_owned(), python.as_ref(), what, check);
    libtest_mimic::run(&arguments, vec![trial]).exit();
}

fn check(python: &Tool) -> Result<(), Failed> {
    // Nodes that sleep to death have no bound.
    let alive = (0..)
        .map(foresight)
        .filter_map(|case| Some((clairvoyant(&case).ok()?, case)));
    let alive: Vec<_> = alive.take(CASES).collect();
    let questions: Vec<Value> = alive.iter().map(|(_, case)| question(case)).collect();
    let answers: Vec<[f64; 2]> = serde_json::from_slice(&python.ask(SCRIPT, &Value::from(questions))?)?;
    if answers.len() != CASES {
        return Err(format!("want {CASES} answers, got {}", answers.len()).into());
    }
    let mut wrong = Vec::new();
    let mut spilling = 0;
    for (index, ((bound, case), [least_s2, reached_s2])) in alive.iter().zip(answers).enumerate() {
        let fastest_s = case.fastest.get::<second>();
        let got_s2 =
            bound.mean_age.get::<second>() * case.duration.get::<second>() + fastest_s * fastest_s / 4.0;
        if got_s2 < least_s2 * (1.0 - RELATIVE) || got_s2 > reached_s2 * (1.0 + RELATIVE) {
            wrong.push(format!(
                "case {index}: want {least_s2} to {reached_s2} s², got {got_s2} s²\n{case:?}"
            ));
        }
        let stored_j =
            case.stored_start.get::<joule>() - case.sleep.get::<watt>() * case.duration.get::<second>();
        let available_j = stored_j + income_j(case);
        spilling += usize::from(available_j / case.report.get::<joule>() - bound.reports > 1.0);
    }
    if !(CASES / 5..=CASES * 4 / 5).contains(&spilling) {
        wrong.push(format!(
            "{spilling} of {CASES} storages overflow: the cases are one-sided"
        ));
    }
    if wrong.is_empty() {
        Ok(())
    } else {
        Err(wrong.join("\n").into())
    }
}
