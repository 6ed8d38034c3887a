//! `millpond size` and `millpond survival` as a user calls them: keys, exit codes, the same bytes twice.

use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use serde_json::Value;

/// Too short for anything but the form of the answer (d).
const DAYS: &str = "2";

fn example(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("../templates/nodes/{name}.toml"))
}

fn millpond(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_millpond"))
        .args(arguments)
        .output()
        .expect("the tool starts")
}

fn on(command: &str, name: &str, rest: &[&str]) -> Output {
    let path = example(name);
    let path = path.to_str().expect("a plain path");
    millpond(&[&[command, path], rest].concat())
}

fn json(output: &Output) -> Value {
    serde_json::from_slice(&output.stdout).expect("one JSON object")
}

#[test]
fn a_sweep_has_the_keys_of_the_contract() {
    let sweep = [
        "--capacitance",
        "0.68F..1F",
        "--area",
        "22cm2..33cm2",
        "--days",
        DAYS,
        "--format",
        "json",
    ];
    let output = on("size", "crack-gauge", &sweep);
    assert_eq!(output.status.code(), Some(0));
    let answer = json(&output);
    let candidates = answer["candidates"].as_array().expect("a list");
    assert_eq!(candidates.len(), 4);
    for candidate in candidates {
        for key in [
            "capacitance_f",
            "area_m2",
            "dark_s",
            "first_report_s",
            "recharge_s",
            "reports_per_day",
            "longest_silence_s",
            "spilled_fraction",
        ] {
            assert!(candidate[key].is_number(), "{key}: {candidate}");
        }
        assert_eq!(
            (&candidate["feasible"], &candidate["limit"]),
            (&Value::Bool(true), &Value::Null)
        );
    }
    assert_eq!(answer["chosen"], 0);
    assert_eq!(answer["cheapest"], Value::Null);
    assert_eq!(
        on("size", "crack-gauge", &sweep).stdout,
        output.stdout,
        "the same bytes twice"
    );
}

/// No capacitance up to 150 mF carries a transmission: no candidate is chosen, and the last word is by how much the best misses.
#[test]
fn where_nothing_serves_the_exit_code_is_one() {
    let sweep = [
        "--capacitance",
        "0.1F..0.15F",
        "--area",
        "1..1",
        "--days",
        DAYS,
        "--format",
        "json",
    ];
    let output = on("size", "crack-gauge", &sweep);
    assert_eq!(output.status.code(), Some(1));
    let answer = json(&output);
    assert_eq!(
        (&answer["chosen"], &answer["closest"]),
        (&Value::Null, &Value::from(1))
    );
    let words = String::from_utf8_lossy(&output.stderr);
    assert!(
        words.contains("the closest is 150 mF with 30 cm2: a transmission needs"),
        "{words}"
    );
    assert!(words.contains("% of the overvoltage limit"), "{words}");
}

#[test]
fn a_source_without_area_is_scaled() {
    let output = on(
        "size",
        "pump-bearing",
        &[
            "--capacitance",
            "10F",
            "--area",
            "1..1.5",
            "--days",
            DAYS,
            "--format",
            "json",
        ],
    );
    let answer = json(&output);
    let candidates = answer["candidates"].as_array().expect("a list");
    let times: Vec<_> = candidates
        .iter()
        .map(|candidate| candidate["source_times"].as_f64())
        .collect();
    assert_eq!(times, [Some(1.0), Some(1.5)]);
    assert_eq!(candidates[0]["area_m2"], Value::Null);
    let refused = on("size", "pump-bearing", &["--area", "10cm2..20cm2"]);
    assert_eq!(refused.status.code(), Some(2));
}

#[test]
fn wrong_usage_is_told() {
    for arguments in [
        &["--capacitance", "1V..2V"][..],
        &["--capacitance", "2F..1F"],
        &["--area", "0..1"],
        &["--area", "1..20cm2"],
        &["--light", "200 lx"],
        &["--days", "0"],
        &["--catalogue", "no-such-file.csv"],
        &["--capacitance", "1.01F..1.02F"],
    ] {
        let output = on("size", "crack-gauge", arguments);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        assert!(
            !output.stderr.is_empty() && output.stdout.is_empty(),
            "{arguments:?}"
        );
    }
}

#[test]
fn survival_has_its_keys_in_the_terms_of_the_source() {
    for (name, key) in [
        ("crack-gauge", "irradiance_w_m2"),
        ("display-case", "illuminance_lx"),
        ("pump-bearing", "power_w"),
    ] {
        let output = on("survival", name, &["--format", "json"]);
        assert_eq!(output.status.code(), Some(0), "{name}");
        let answer = json(&output);
        for corner in ["typical", "worst"] {
            let unit = &answer[corner];
            assert_eq!(unit["rows"].as_array().map(Vec::len), Some(5), "{name}");
            assert!(unit["rows"][0]["light"][key].is_number(), "{name} {unit}");
            assert!(unit["halving_sleep_current_a"].is_number(), "{name}");
        }
        assert!(answer["recharge"]["first_report_s"].is_number(), "{name}");
        // What `check` says of the dark is the same.
        let dark = &json(&on("check", name, &["--format", "json"]))["in_the_dark"];
        let row = |doing: &str| {
            let rows = answer["worst"]["rows"].as_array().expect("rows");
            let mut found = rows.iter().filter(|row| row["doing"] == doing);
            found.next().expect("a row").clone()
        };
        assert_eq!(dark["asleep_s"], row("asleep")["from_full_s"], "{name}");
        assert_eq!(
            dark["reporting_slowest_s"],
            row("reporting, slowest")["from_full_acting_s"],
            "{name}"
        );
    }
}
