//! `millpond simulate` as a user meets it.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::time::Duration;

use serde_json::Value;

const EXAMPLES: [&str; 3] = ["crack-gauge", "display-case", "pump-bearing"];
/// The contract asks the accounts to balance; every run asserts a millionth itself.
const BALANCE: f64 = 1e-6;

fn example(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("../templates/nodes/{name}.toml"))
}

fn command(folder: &Path, node: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_millpond"));
    command
        .arg("simulate")
        .arg(node)
        .args(arguments)
        .current_dir(folder);
    command
}

fn simulate(folder: &Path, node: &Path, arguments: &[&str]) -> Output {
    command(folder, node, arguments)
        .output()
        .expect("the command starts")
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

fn number(view: &Value, key: &str) -> f64 {
    view[key].as_f64().unwrap_or_else(|| panic!("no {key} in {view}"))
}

#[test]
fn the_json_has_what_the_contract_lists_and_balances() {
    let folder = tempfile::tempdir().expect("a folder");
    for name in EXAMPLES {
        let view = json(&simulate(
            folder.path(),
            &example(name),
            &["--days", "5", "--format", "json"],
        ));
        let runs = std::iter::once(&view).chain(view["baselines"].as_array().expect("a list"));
        for run in runs {
            for key in [
                "days",
                "reports",
                "measurements",
                "brownouts",
                "uptime_fraction",
                "mean_age_s",
                "longest_silence_s",
            ] {
                assert!(number(run, key) >= 0.0);
            }
            let turnover_j = number(run, "stored_start_j") + number(run, "harvested_j");
            let out_j = ["spent_j", "spilled_j", "leaked_j", "stored_end_j"]
                .map(|key| number(run, key))
                .iter()
                .sum::<f64>();
            assert!(
                (turnover_j - out_j).abs() <= BALANCE * turnover_j,
                "{name}: {run}"
            );
        }
        assert_eq!(view["baselines"].as_array().expect("a list").len(), 4);
        assert!(number(&view["bound"], "ratio") > 0.0 && number(&view["bound"], "ratio") <= 1.0);
        assert!(number(&view["bound"], "mean_age_s") <= number(&view, "mean_age_s"));
        assert!(number(&view, "runtime_s") > 0.0);
    }
}

#[test]
fn the_same_seed_gives_the_same_units_and_another_seed_others() {
    let folder = tempfile::tempdir().expect("a folder");
    let units = |seed: &str| {
        let arguments = ["--days", "3", "--parts", "12", "--seed", seed, "--format", "json"];
        json(&simulate(folder.path(), &example("crack-gauge"), &arguments))["parts"].clone()
    };
    assert_eq!(units("4"), units("4"));
    assert_ne!(units("4"), units("5"));
    assert_eq!(units("4")["action_brownouts"], 0);
}

#[test]
fn timeline_and_picture_are_written() {
    let folder = tempfile::tempdir().expect("a folder");
    let arguments = ["--days", "2", "--timeline", "run.csv", "--picture", "run.svg"];
    let output = simulate(folder.path(), &example("crack-gauge"), &arguments);
    assert_eq!(
        output.status.code(),
        Some(0),
        "{}",
        String::from_utf8_lossy(&output.stderr)
    );
    let text = fs::read_to_string(folder.path().join("run.csv")).expect("written");
    let mut lines = text.lines();
    assert_eq!(lines.next(), Some("time_s,storage_v,offered_w,event,reports"));
    let times: Vec<f64> = lines
        .map(|line| {
            line.split(',')
                .next()
                .and_then(|cell| cell.parse().ok())
                .expect("a time")
        })
        .collect();
    assert!(times.len() > 100 && times.is_sorted());
    let svg = fs::read_to_string(folder.path().join("run.svg")).expect("written");
    assert!(svg.starts_with("<svg") && svg.contains("transmit from"));
}

/// A power cut of the process loses nothing that was written: whole days of rows stand in the file while the run goes on.
#[test]
fn a_killed_run_leaves_its_rows() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("long.csv");
    let arguments = ["--days", "36525", "--timeline", "long.csv"];
    let mut child = command(folder.path(), &example("pump-bearing"), &arguments)
        .stdout(Stdio::null())
        .spawn()
        .expect("the command starts");
    // Until some days are in the file; a hundred years take far longer.
    let enough = |path: &Path| fs::metadata(path).is_ok_and(|data| data.len() > 1_000_000);
    for _ in 0..3000 {
        if enough(&path) {
            break;
        }
        std::thread::sleep(Duration::from_millis(10));
    }
    child.kill().expect("it runs");
    child.wait().expect("it ends");
    let text = fs::read_to_string(&path).expect("still there");
    let whole: Vec<&str> = text
        .split_inclusive('\n')
        .filter(|line| line.ends_with('\n'))
        .collect();
    assert!(whole.len() > 1000, "{} rows", whole.len());
    assert!(whole.iter().all(|line| line.matches(',').count() == 4));
}

#[test]
fn bad_traces_are_refused_with_their_lines() {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(
        folder.path().join("bad.csv"),
        "time_s,power_w\n0,1e-3\n60,2e-3\n30,1e-3\n120,-5\n",
    )
    .expect("writable");
    let refused = simulate(folder.path(), &example("crack-gauge"), &["--trace", "bad.csv"]);
    let message = String::from_utf8_lossy(&refused.stderr).into_owned();
    assert_eq!(refused.status.code(), Some(1), "{message}");
    assert!(
        message.contains("bad.csv:4:") && message.contains("bad.csv:5:"),
        "{message}"
    );
    let missing = simulate(folder.path(), &example("crack-gauge"), &["--trace", "none.csv"]);
    assert_eq!(missing.status.code(), Some(2));
    for days in ["0", "-1", "nan", "1e9"] {
        assert_eq!(
            simulate(folder.path(), &example("crack-gauge"), &["--days", days])
                .status
                .code(),
            Some(2),
            "{days}"
        );
    }
}

/// A plan that runs only beside the node's own pace is not the one that would be flashed, and says so for people and machines.
#[test]
fn a_plan_that_is_only_compared_says_that_it_is_not_tuned() {
    let folder = tempfile::tempdir().expect("a folder");
    let node = example("crack-gauge");
    let output = simulate(folder.path(), &node, &["--days", "2"]);
    let text = String::from_utf8_lossy(&output.stdout);
    assert!(text.contains("policy, pace planned, not tuned "), "{text}");
    assert!(text.contains("starts at 4 V at 00:00 of day 1"), "{text}");
    let view = json(&simulate(
        folder.path(),
        &node,
        &["--days", "2", "--format", "json"],
    ));
    assert_eq!((&view["pace"], &view["tuned"]), (&"even".into(), &Value::Null));
    let beside = &view["paces"][0];
    assert_eq!(
        (&beside["name"], &beside["tuned"]),
        (&"planned".into(), &false.into())
    );
}

/// Without light even sleep empties the storage: there is no best to compare with, and the text says why.
#[test]
fn a_missing_bound_is_told_of() {
    let folder = tempfile::tempdir().expect("a folder");
    let node = folder.path().join("dark.toml");
    let text = fs::read_to_string(example("crack-gauge")).expect("an example");
    fs::write(&node, text.replace("shade = \"4 %\"", "shade = \"0 %\"")).expect("writable");
    let output = simulate(folder.path(), &node, &["--days", "10"]);
    let text = String::from_utf8_lossy(&output.stdout);
    assert!(!text.contains("perfect foresight, at best"), "{text}");
    assert!(text.contains("note: no score and no row of foresight"), "{text}");
    // The page marks what came of it: ten days in the dark are more than the horizon.
    let output = Command::new(env!("CARGO_BIN_EXE_millpond"))
        .args(["report", "dark.toml", "-o", "dark.html", "--days", "10"])
        .current_dir(folder.path())
        .output()
        .expect("the command starts");
    assert_eq!(output.status.code(), Some(0));
    let page = fs::read_to_string(folder.path().join("dark.html")).expect("written");
    assert_eq!(
        page.matches("<div class=\"alarm\">").count(),
        2,
        "silence and brown-outs"
    );
    assert!(page.contains("longer than the dark horizon of 16 h"));
}
