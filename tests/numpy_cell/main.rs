//! Witnesses: NumPy for the capacitance of the standard's method, SciPy's `least_squares` for the line C0 + k·v, on twelve
//! measured discharges.
//!
//! Run with `cargo test -p millpond-tests --test numpy_cell`. Script and tool share the file, the two levels and the range.

use std::path::{Path, PathBuf};

use libtest_mimic::{Arguments, Failed};
use millpond::cell::Cell;
use millpond::units::*;
use millpond_tests::tool;
use serde_json::json;

const SCRIPT: &str = include_str!("reduce.py");
/// What the capacitances may differ by, relative: a level is crossed between two rows there, on a line through ten here.
const STANDARD: f64 = 5e-3;
/// What the lines may differ by at either end of their range, relative: both searches stop when little changes any more.
const LINE: f64 = 1e-5;
/// What the misses may differ by (V): the same, in the voltage.
const MISS_V: f64 = 1e-6;
/// The most that a line may miss the measured voltage by at 3 A (V).
const CURVE_V: f64 = 0.015;

fn main() {
    let arguments = Arguments::from_args();
    let what = "a python3 with SciPy (Debian package python3-scipy)";
    let python = tool::Tool::find(&["python3", "/usr/bin/python3"], &["-c", "import scipy.optimize"]);
    tool::announce(python.as_ref(), what);
    let trials = ["3A", "300mA"].map(|name| {
        tool::trial(
            format!("six makers, {name}"),
            python.as_ref(),
            what,
            move |python| compare(python, name),
        )
    });
    libtest_mimic::run(&arguments, trials.into()).exit();
}

/// File, current, rated voltage.
fn discharges(name: &str) -> impl Iterator<Item = (PathBuf, f64, f64)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../generator/tests/data/edlc");
    let part = if name == "3A" { 1.0 } else { 0.1 };
    ('a'..='f').map(move |maker| {
        let rated_v = if maker == 'f' { 2.7 } else { 3.0 };
        let file = folder.join(format!("maker-{maker}-{name}-part1.csv"));
        (file, rated_v * part, rated_v)
    })
}

fn compare(python: &tool::Tool, name: &str) -> Result<(), Failed> {
    let questions: Vec<_> = discharges(name)
        .map(|(file, current_a, rated_v)| json!({"file": file, "current_a": current_a, "rated_v": rated_v}))
        .collect();
    let answers: Vec<[f64; 5]> = serde_json::from_slice(&python.ask(SCRIPT, &json!(questions))?)?;
    if answers.len() != questions.len() {
        return Err("the script gave too few answers".into());
    }
    let mut wrong = Vec::new();
    for ((file, current_a, rated_v), [standard_f, low_f, slope_f_per_v, rms_v, largest_v]) in
        discharges(name).zip(answers)
    {
        let cell = Cell::load(&file, amperes(current_a), volts(rated_v))?;
        let mut judge = |figure: &str, got: f64, want: f64, tolerance: f64| {
            let apart = (got - want).abs();
            if apart.is_nan() || apart > tolerance {
                wrong.push(format!("{}: {figure} {got}, want {want}", file.display()));
            }
        };
        let capacitance_f = cell.capacitance.value.get::<farad>();
        judge("capacitance", capacitance_f, standard_f, STANDARD * standard_f);
        // The tool's line is that behind the resistance, where the voltage stands I·R higher.
        let drop_v = current_a * cell.resistance.value.get::<ohm>().max(0.0);
        for part in [0.25, 0.95] {
            let inner = volts(part * rated_v + drop_v);
            let got = cell.capacitance_low.value + cell.capacitance_slope.value * inner;
            let want_f = low_f + slope_f_per_v * part * rated_v;
            judge("line", got.get::<farad>(), want_f, LINE * want_f);
        }
        judge("rms", cell.residual_rms.get::<volt>(), rms_v, MISS_V);
        judge(
            "largest miss",
            cell.residual_largest.get::<volt>(),
            largest_v,
            MISS_V,
        );
        if name == "3A" {
            judge("curve", largest_v, 0.0, CURVE_V);
        }
    }
    if wrong.is_empty() {
        Ok(())
    } else {
        Err(wrong.join("\n").into())
    }
}
