//! Witness: the physics of docs/model.md a second time, in Python with NumPy and SciPy. Random nodes of its own are asked what
//! `millpond thresholds` promises, and the promises are judged in the named corner and in many units of the stated box.
//!
//! Run with `cargo test -p millpond-tests --test promise`; one class with `-- profiles`. More nodes by the variable
//! [`NODES`]; one node by `python3 tests/promise/witness.py --millpond PATH --class CLASS --seed N --text`. Nothing is
//! shared with the library: all that goes in is a node file, all that comes out the command's JSON.

use std::sync::OnceLock;

use libtest_mimic::{Arguments, Failed};
use millpond_tests::command::{ROOT, millpond};
use millpond_tests::tool::{self, Tool};
use serde_json::Value;

/// How many nodes are tried, where this variable of the environment says so: 4000 in a long run.
const NODES: &str = "MILLPOND_PROMISE_NODES";

/// Nodes of an ordinary run: 52 of each class.
const ORDINARY: usize = 416;

/// Circuit simulations of an ordinary run; as large a part of a longer one.
const CIRCUITS: usize = 100;

const PYTHON: &str = "a python3 with SciPy (Debian package python3-scipy)";
const SPICE: &str = "ngspice (Debian package ngspice)";

/// Classes of nodes, and what is judged over all of them.
const CLASSES: [&str; 12] = [
    "phases",
    "profiles",
    "many-branches",
    "low-resistances",
    "pin-leakage",
    "hot-and-fresh",
    "series-cells",
    "read-by-reference",
    "reserve-after-it",
    "decide-from-readings",
    "circuit-simulator",
    "own-checks",
];

fn main() {
    let arguments = Arguments::from_args();
    let python = Tool::find(
        &["python3", "/usr/bin/python3"],
        &["-c", "import scipy.integrate"],
    );
    let spice = Tool::find(&["ngspice"], &["--version"]);
    tool::announce(python.as_ref(), PYTHON);
    tool::announce(spice.as_ref(), SPICE);
    let has_spice = spice.is_some();
    let trials = CLASSES.iter().map(|class| {
        // The simulator's own trial goes missing with either of the two.
        let (needed, what) = match *class {
            "circuit-simulator" if !has_spice => (None, SPICE),
            _ => (python.as_ref(), PYTHON),
        };
        tool::trial((*class).to_owned(), needed, what, move |python| {
            static ANSWERS: OnceLock<Result<Value, String>> = OnceLock::new();
            let answers = ANSWERS.get_or_init(|| ask(python, has_spice));
            check(class, answers.as_ref()?)
        })
    });
    libtest_mimic::run(&arguments, trials.collect()).exit();
}

/// Judges all classes in one run: what was tried and what is wrong, by class.
fn ask(python: &Tool, has_spice: bool) -> Result<Value, String> {
    let nodes = match std::env::var(NODES) {
        Ok(text) => text.parse().map_err(|error| format!("{NODES}: {error}"))?,
        Err(_) => ORDINARY,
    };
    let circuits = if has_spice { CIRCUITS * nodes / ORDINARY } else { 0 };
    let output = python
        .command()
        .arg(format!("{ROOT}/tests/promise/witness.py"))
        .arg("--millpond")
        .arg(millpond()?)
        .args(["--nodes", &nodes.to_string(), "--circuits", &circuits.to_string()])
        // Nothing is left beside the sources.
        .env("PYTHONDONTWRITEBYTECODE", "1")
        .output()
        .map_err(|error| error.to_string())?;
    if !output.status.success() {
        return Err(String::from_utf8_lossy(&output.stderr).into_owned());
    }
    serde_json::from_slice(&output.stdout).map_err(|error| error.to_string())
}

/// A class passes if something was tried and nothing is wrong.
fn check(class: &str, answers: &Value) -> Result<(), Failed> {
    let answer = &answers[class];
    let tried = &answer["tried"];
    if tried.as_object().is_none_or(serde_json::Map::is_empty) {
        return Err(format!("{class}: nothing was tried; refused: {}", answers["refused"]).into());
    }
    if answer["wrong"] == 0 {
        return Ok(());
    }
    let worst = answer["worst"].as_array().into_iter().flatten();
    let worst: Vec<&str> = worst.filter_map(Value::as_str).collect();
    Err(format!(
        "{class}: {} wrong, tried {tried}, refused {}\n{}",
        answer["wrong"],
        answers["refused"],
        worst.join("\n")
    )
    .into())
}
