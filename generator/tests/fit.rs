//! `millpond fit` and `millpond log-plan` as a user meets them.

mod tool;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;

use serde_json::Value;

use tool::millpond;

/// Leakage is believed within 0.35 of its limit: 1.75 µA at 5.5 V, 1.2 µA at the voltages of this log.
const BELIEVED_A: f64 = 1.3e-6;
/// What that leaves open of the capacitance of 1 F.
const BELIEVED_F: f64 = 0.25;

/// The names of the contract.
const PARAMETERS: [&str; 7] = [
    "capacitance_f",
    "resistance_ohm",
    "sleep_current_a",
    "leakage_a",
    "measure_energy_j",
    "transmit_energy_j",
    "income_w",
];

fn example() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../templates/nodes/crack-gauge.toml")
}

fn json(output: &Output) -> Value {
    assert_eq!(
        output.status.code(),
        Some(0),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    serde_json::from_slice(&output.stdout).expect("one JSON object")
}

/// The timeline of a simulation is a log.
#[test]
fn a_simulated_log_is_fitted_written_and_compared() {
    let folder = tempfile::tempdir().expect("a folder");
    let node = example();
    let node = node.to_str().expect("a path");
    let run = json(&millpond(
        folder.path(),
        &[
            "simulate",
            node,
            "--days",
            "6",
            "--timeline",
            "log.csv",
            "--format",
            "json",
        ],
    ));
    let view = json(&millpond(
        folder.path(),
        &["fit", node, "log.csv", "--format", "json"],
    ));
    let names: Vec<&str> = view["parameters"]
        .as_array()
        .expect("a list")
        .iter()
        .map(|parameter| {
            let has_value = parameter["value"].is_f64() && parameter["standard_error"].is_f64();
            assert!(has_value != parameter["reason"].is_string(), "{parameter}");
            parameter["name"].as_str().expect("a name")
        })
        .collect();
    assert_eq!(names, PARAMETERS);
    assert!(view["rows_used"].as_u64().is_some_and(|rows| rows > 0));
    let capacitance = &view["parameters"][0];
    let (value, error) = (
        capacitance["value"].as_f64().expect("a value"),
        capacitance["standard_error"].as_f64(),
    );
    // The simulated unit is the nominal one, 1 F.
    assert!(
        (value - 1.0).abs() < 3.0 * error.expect("an error"),
        "{capacitance}"
    );

    // What reached storage, by the run's own ledger: the hours in which a full storage turned the rest away are part of it.
    let joules = |name: &str| run[name].as_f64().expect("an energy");
    let reached_w = (joules("harvested_j") - joules("spilled_j")) / (6.0 * 86_400.0);
    let income = &view["parameters"][6];
    let (value, error) = (income["value"].as_f64(), income["standard_error"].as_f64());
    let (value, error) = value.zip(error).expect("an income");
    assert!(
        (value - reached_w).abs() < 1.96 * error,
        "{income}, truly {reached_w}"
    );

    let done = millpond(folder.path(), &["fit", node, "log.csv", "--write", "new.toml"]);
    assert_eq!(done.status.code(), Some(0));
    assert!(String::from_utf8_lossy(&done.stdout).contains("storage voltage (V)"));
    let new = fs::read_to_string(folder.path().join("new.toml")).expect("a node file");
    assert!(
        new.contains("# maximum at 20 degC, new") && new.contains("fitted"),
        "{new}"
    );
    assert_eq!(
        millpond(folder.path(), &["compare", node, "new.toml"])
            .status
            .code(),
        Some(0)
    );
    assert_eq!(
        millpond(folder.path(), &["check", "new.toml"]).status.code(),
        Some(0)
    );

    // The same node with its report as a measured profile, which costs half: 0.185 s on air at 22 mA in place of 44 mA.
    let text = fs::read_to_string(node).expect("the example");
    let start = text.find("[transmit]").expect("a section");
    let end = text.find("[transmit.radio]").expect("another section");
    let profile = "[transmit]\nprofile = \"report.csv\"\n\n";
    fs::write(
        folder.path().join("measured.toml"),
        [&text[..start], profile, &text[end..]].concat(),
    )
    .expect("a file");
    fs::write(
        folder.path().join("report.csv"),
        "time_s,current_ma\n0,22\n0.1853,5\n0.2253,0\n",
    )
    .expect("a file");
    let done = millpond(
        folder.path(),
        &[
            "fit",
            "measured.toml",
            "log.csv",
            "--capacitance",
            "1 F",
            "--write",
            "left.toml",
        ],
    );
    let said = String::from_utf8_lossy(&done.stderr).into_owned();
    assert_eq!(done.status.code(), Some(0), "{said}");
    assert!(
        said.contains("left.toml: `[transmit]` is left as it is") && said.contains("report.csv"),
        "{said}"
    );
}

#[test]
fn what_cannot_be_used_has_its_exit_code_and_line() {
    let folder = tempfile::tempdir().expect("a folder");
    let node = example();
    let node = node.to_str().expect("a path");
    assert_eq!(
        millpond(folder.path(), &["fit", node, "none.csv"]).status.code(),
        Some(2)
    );
    fs::write(folder.path().join("bad.csv"), "time_s,volts\n0,1\n").expect("a file");
    let done = millpond(folder.path(), &["fit", node, "bad.csv"]);
    assert_eq!(done.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&done.stderr).contains("bad.csv:1"));
    fs::write(
        folder.path().join("odd.csv"),
        "time_s,count\n0,1\nx,1\n60,2\n120,3\n",
    )
    .expect("a file");
    let done = millpond(folder.path(), &["fit", node, "odd.csv", "--format", "json"]);
    assert!(String::from_utf8_lossy(&done.stderr).contains("odd.csv:3"));
    let view = json(&done);
    assert_eq!(view["counts"]["reports"], 2);
    assert!(view["rows_skipped"].as_u64().is_some_and(|rows| rows >= 1));
}

/// The dark of a log without its count has no scale until one figure is stated; no figure is 0, and each has its unit.
#[test]
fn a_stated_figure_gives_the_scale() {
    let folder = tempfile::tempdir().expect("a folder");
    let node = example();
    let node = node.to_str().expect("a path");
    // The crack gauge asleep: 3.2 µA at half charge as constant power behind its regulator, 0.6 of 5 µA of leakage at 5.5 V. In counts
    // of 6 mV, from 1 F, for two days.
    let mut v = 4.6;
    let mut rows = String::from("time_s,storage_mv\n");
    for minute in 0..2880 {
        rows.push_str(&format!(
            "{},{:.0}\n",
            minute * 60,
            (v * 1e3_f64 / 6.0).floor() * 6.0
        ));
        v -= 60.0 * (3.2e-6 * 3.9 / v + 3.0e-6 * v / 5.5);
    }
    fs::write(folder.path().join("log.csv"), rows).expect("a file");
    let value = |stated: &[&str], place: usize| {
        let arguments = [&["fit", node, "log.csv", "--format", "json"], stated].concat();
        json(&millpond(folder.path(), &arguments))["parameters"][place]["value"].as_f64()
    };
    assert_eq!(value(&[], 0), None);
    assert_eq!(value(&[], 2), None);
    let current = value(&["--capacitance", "1 F"], 2).expect("a current");
    assert!((current - 3.2e-6).abs() < BELIEVED_A, "{current}");
    let capacitance = value(&["--sleep-current", "3.2 uA"], 0).expect("a capacitance");
    assert!((capacitance - 1.0).abs() < BELIEVED_F, "{capacitance}");
    for refused in ["0 uA", "-1 uA", "3 V"] {
        let done = millpond(
            folder.path(),
            &["fit", node, "log.csv", "--sleep-current", refused],
        );
        assert_eq!(done.status.code(), Some(2), "{refused}");
    }
}

#[test]
fn a_plan_names_every_parameter() {
    let folder = tempfile::tempdir().expect("a folder");
    let node = example();
    let node = node.to_str().expect("a path");
    let view = json(&millpond(
        folder.path(),
        &["log-plan", node, "--within", "20", "--format", "json"],
    ));
    let steps = view["steps"].as_array().expect("a list");
    let names: Vec<&str> = steps
        .iter()
        .filter_map(|step| step["parameter"].as_str())
        .collect();
    assert_eq!(names, PARAMETERS);
    assert_eq!(
        millpond(folder.path(), &["log-plan", node, "--within", "0"])
            .status
            .code(),
        Some(2)
    );
}
