//! The command as a user meets it: exit codes, what goes where, and that no file is touched on failure.

mod tool;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;

use serde_json::Value;

use tool::millpond;

/// The rounded start voltages of docs/model.md have four decimals (V).
const FOUR_DECIMALS_V: f64 = 1e-4;
/// Rounding of products and sums.
const ROUNDING: f64 = 1e-9;

const EXAMPLES: [&str; 3] = ["crack-gauge", "display-case", "pump-bearing"];

fn example(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("../templates/nodes/{name}.toml"))
}

fn stderr(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

fn code(output: &Output) -> i32 {
    output.status.code().expect("it ends by itself")
}

fn json(output: &Output) -> Value {
    assert_eq!(code(output), 0, "{}", stderr(output));
    serde_json::from_slice(&output.stdout).expect("one JSON object")
}

fn files_in(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(folder)
        .expect("a folder")
        .map(|entry| {
            entry
                .expect("an entry")
                .file_name()
                .to_string_lossy()
                .into_owned()
        })
        .collect();
    names.sort();
    names
}

/// The contract of `dividers`: keys of each set, and that sensing is answered and the exit code is 1 where a comparator lacks.
#[test]
fn dividers_answer_as_json() {
    let folder = tempfile::tempdir().expect("a folder");
    for name in EXAMPLES {
        let path = example(name);
        let view = json(&millpond(
            folder.path(),
            &[
                "dividers",
                path.to_str().expect("text"),
                "--format",
                "json",
                "--rows",
                "2",
            ],
        ));
        let sets = view["sets"].as_array().expect("sets");
        let uses: Vec<&str> = sets.iter().filter_map(|set| set["use"].as_str()).collect();
        let all = ["gate", "gate", "overvoltage", "overvoltage", "sense", "sense"];
        assert_eq!(uses, all[if name == "crack-gauge" { 0 } else { 2 }..]);
        for set in sets {
            let number = |key: &str| set[key].as_f64().expect(key);
            assert!(number("lowest_v") < number("nominal_v") && number("nominal_v") < number("highest_v"));
            assert!(number("current_a") > 0.0);
            let resistors = set["resistors_ohm"].as_array().expect("resistors");
            assert_eq!(resistors.len(), if set["use"] == "gate" { 3 } else { 2 });
        }
    }
    let text = fs::read_to_string(example("crack-gauge")).expect("readable");
    let end = text.find("[comparator]").expect("a section");
    fs::write(folder.path().join("bare.toml"), &text[..end]).expect("written");
    let bare = millpond(folder.path(), &["dividers", "bare.toml"]);
    assert_eq!(code(&bare), 1);
    let answer = String::from_utf8_lossy(&bare.stdout);
    assert!(answer.contains("full scale"));
    assert!(answer.contains("[comparator]\nreference = \"1.2 V\""), "{answer}");
    // Said once: a terminal shows both.
    let refusal = stderr(&bare);
    assert!(
        refusal.ends_with("as it stands: comparator-missing\n"),
        "{refusal}"
    );
    assert_eq!(refusal.lines().count(), 1, "{refusal}");
    let wrong = millpond(folder.path(), &["dividers", "bare.toml", "--series", "E25"]);
    assert_eq!(code(&wrong), 2);
}

/// `sensitivity` and `lifetime` answer for every example, and agree about the node as described.
#[test]
fn sensitivity_and_lifetime_answer_as_json() {
    let folder = tempfile::tempdir().expect("a folder");
    for name in EXAMPLES {
        let path = example(name);
        let path = path.to_str().expect("text");
        let view = |command: &str| json(&millpond(folder.path(), &[command, path, "--format", "json"]));
        let (sensitivity, lifetime) = (view("sensitivity"), view("lifetime"));
        for most in sensitivity["most"].as_array().expect("three answers") {
            assert_eq!(most["inputs"].as_array().map(Vec::len), Some(5), "{name}");
        }
        let conditions = lifetime["conditions"].as_array().expect("conditions");
        // The last age at the coldest is the corner that the node file describes; the dark is the shortest of that age.
        let (last, outlook) = (&conditions[conditions.len() / 5 * 4..], &sensitivity["outlook"]);
        assert_eq!(last[0]["transmit_v"], outlook["transmit_v"], "{name}");
        let dark_s = last
            .iter()
            .filter_map(|condition| condition["dark_from_full_s"].as_f64());
        assert_eq!(
            dark_s.reduce(f64::min),
            outlook["dark_from_full_s"].as_f64(),
            "{name}"
        );
        assert!(!lifetime["moved"].as_array().expect("constants").is_empty());
    }
    let path = example("crack-gauge");
    let path = path.to_str().expect("text");
    let half = millpond(folder.path(), &["lifetime", path, "--endurance", "1000 h"]);
    assert_eq!(code(&half), 2);
    let cold = millpond(
        folder.path(),
        &[
            "lifetime",
            path,
            "--endurance",
            "1000 h",
            "--at",
            "70 degC",
            "--mean",
            "-10 degC",
        ],
    );
    assert_eq!(code(&cold), 0, "{}", stderr(&cold));
}

/// Worst corner of the worked example: within 0.1 mV of what the physics notes give, airtime to a microsecond.
#[test]
fn thresholds_of_the_worked_example_as_json() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = example("crack-gauge");
    let view = json(&millpond(
        folder.path(),
        &["thresholds", path.to_str().expect("text"), "--format", "json"],
    ));
    let number = |pointer: &str| view.pointer(pointer).and_then(Value::as_f64).unwrap_or(f64::NAN);
    assert!((number("/actions/transmit/start_v") - 2.9159).abs() < FOUR_DECIMALS_V);
    assert!((number("/actions/measure/start_v") - 2.4109).abs() < FOUR_DECIMALS_V);
    assert!((number("/actions/boot/start_v") - 2.3968).abs() < FOUR_DECIMALS_V);
    assert!((number("/actions/transmit/airtime_s") - 0.185344).abs() < ROUNDING);
    assert!((number("/corner/branches/0/capacitance_f") - 0.504).abs() < ROUNDING);
    assert!((number("/corner/branches/0/resistance_ohm") - 7.92).abs() < ROUNDING);
    for action in ["boot", "measure", "transmit"] {
        let terms = view
            .pointer(&format!("/actions/{action}/terms"))
            .and_then(Value::as_array)
            .expect("terms");
        let sum: f64 = terms
            .iter()
            .map(|term| term["volts"].as_f64().expect("volts"))
            .sum();
        let above = number(&format!("/actions/{action}/decide_mv")) / 1e3 - number("/floor_v");
        assert!((sum - above).abs() < ROUNDING, "{action}: {sum} {above}");
    }
}

#[test]
fn every_command_answers_in_both_formats_for_every_example() {
    let folder = tempfile::tempdir().expect("a folder");
    for name in EXAMPLES {
        let path = example(name);
        let path = path.to_str().expect("text");
        for command in ["check", "budget", "thresholds"] {
            let text = millpond(folder.path(), &[command, path]);
            assert_eq!(code(&text), 0, "{}", stderr(&text));
            assert!(!text.stdout.is_empty());
            let view = json(&millpond(folder.path(), &[command, path, "--format", "json"]));
            assert_eq!(view["node"], name);
        }
    }
    assert_eq!(files_in(folder.path()), Vec::<String>::new());
}

#[test]
fn generate_writes_what_verify_accepts_and_leaves_it_alone_the_second_time() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = example("crack-gauge");
    let write = [
        "generate",
        path.to_str().expect("text"),
        "--c",
        "policy.h",
        "--rust",
        "policy.rs",
        "--json",
        "policy.json",
    ];
    assert_eq!(code(&millpond(folder.path(), &write)), 0);
    let first = fs::metadata(folder.path().join("policy.h"))
        .and_then(|data| data.modified())
        .expect("a time");
    let bytes = fs::read(folder.path().join("policy.h")).expect("written");
    let again = millpond(folder.path(), &write);
    assert!(stderr(&again).contains("unchanged: policy.h"));
    assert_eq!(
        fs::metadata(folder.path().join("policy.h"))
            .and_then(|data| data.modified())
            .expect("a time"),
        first
    );
    assert_eq!(files_in(folder.path()), ["policy.h", "policy.json", "policy.rs"]);
    let verify: Vec<&str> = write.into_iter().chain(["--verify"]).collect();
    assert_eq!(code(&millpond(folder.path(), &verify)), 0);
    // To standard output goes the same header.
    assert_eq!(millpond(folder.path(), &write[..2]).stdout, bytes);

    let edited = String::from_utf8(bytes)
        .expect("text")
        .replace("TRANSMIT_MV 3", "TRANSMIT_MV 2");
    fs::write(folder.path().join("policy.h"), &edited).expect("writable");
    let refused = millpond(folder.path(), &verify);
    assert_eq!(code(&refused), 1);
    assert!(
        stderr(&refused).contains("edited by hand"),
        "{}",
        stderr(&refused)
    );
    assert!(
        stderr(&refused).contains("-#define CRACK_GAUGE_TRANSMIT_MV 2"),
        "{}",
        stderr(&refused)
    );
    assert_eq!(
        fs::read_to_string(folder.path().join("policy.h")).expect("still there"),
        edited
    );
}

#[test]
fn a_changed_node_makes_the_files_stale() {
    let folder = tempfile::tempdir().expect("a folder");
    let text = fs::read_to_string(example("crack-gauge")).expect("readable");
    fs::write(folder.path().join("node.toml"), &text).expect("writable");
    assert_eq!(
        code(&millpond(
            folder.path(),
            &["generate", "node.toml", "--rust", "policy.rs"]
        )),
        0
    );
    fs::write(
        folder.path().join("node.toml"),
        text.replace("\"1.0 F\"", "\"1.5 F\""),
    )
    .expect("writable");
    let stale = millpond(
        folder.path(),
        &["generate", "node.toml", "--rust", "policy.rs", "--verify"],
    );
    assert_eq!(code(&stale), 1);
    assert!(
        stderr(&stale).contains("stale: the node file's bytes"),
        "{}",
        stderr(&stale)
    );
}

/// What no run of the command can have written is not compared line by line.
#[test]
fn a_huge_file_is_not_held_against_constants() {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("policy.h"), vec![b'#'; 10_000_000]).expect("writable");
    let path = example("crack-gauge");
    let node = path.to_str().expect("text");
    let verified = millpond(folder.path(), &["generate", node, "--c", "policy.h", "--verify"]);
    assert_eq!(code(&verified), 2);
    assert!(
        stderr(&verified).contains("policy.h is larger than 128 KiB"),
        "{}",
        stderr(&verified)
    );
}

/// Garbage bytes, an empty file, a 10 MB file, a missing file, a folder: a clear error, the exit code of the contract, and no
/// file touched.
#[test]
fn unusable_input_is_refused_and_nothing_is_touched() {
    let folder = tempfile::tempdir().expect("a folder");
    let inside = folder.path();
    fs::write(inside.join("garbage.toml"), [0xFFu8, 0xFE, 0x00, 0x9C].repeat(64)).expect("writable");
    fs::write(inside.join("empty.toml"), "").expect("writable");
    fs::write(inside.join("huge.toml"), vec![b'#'; 10_000_000]).expect("writable");
    fs::write(inside.join("broken.toml"), "schema = \n[node\nname = 3\n").expect("writable");
    fs::create_dir(inside.join("folder.toml")).expect("writable");
    fs::write(inside.join("policy.h"), "precious\n").expect("writable");
    let before = files_in(inside);
    for (name, expected, words) in [
        ("garbage.toml", 2, "not text"),
        ("empty.toml", 1, "schema"),
        ("huge.toml", 2, "larger than"),
        ("broken.toml", 1, "broken.toml:1:"),
        ("folder.toml", 2, "cannot be read"),
        ("missing.toml", 2, "cannot be read"),
    ] {
        for command in [
            &["check", name][..],
            &["generate", name, "--c", "policy.h", "--force"],
            &["compare", name, name],
        ] {
            let output = millpond(inside, command);
            assert_eq!(code(&output), expected, "{command:?}: {}", stderr(&output));
            assert!(
                stderr(&output).contains(words),
                "{command:?}: {}",
                stderr(&output)
            );
            assert!(output.stdout.is_empty());
        }
    }
    assert_eq!(files_in(inside), before);
    assert_eq!(
        fs::read_to_string(inside.join("policy.h")).expect("still there"),
        "precious\n"
    );
}

#[test]
fn a_node_that_cannot_work_gets_its_findings_and_no_constants() {
    let folder = tempfile::tempdir().expect("a folder");
    let text = fs::read_to_string(example("crack-gauge"))
        .expect("readable")
        .replace("\"2.2 ohm\"", "\"12 ohm\"");
    fs::write(folder.path().join("node.toml"), text).expect("writable");
    let checked = millpond(folder.path(), &["check", "node.toml"]);
    assert_eq!(code(&checked), 1);
    let page = String::from_utf8_lossy(&checked.stdout).into_owned();
    assert!(
        page.contains("this bank can never carry a transmission"),
        "{page}"
    );
    assert!(page.contains("series resistance takes"), "{page}");
    assert!(page.contains("a series resistance of"), "{page}");
    let generated = millpond(folder.path(), &["generate", "node.toml", "--c", "policy.h"]);
    assert_eq!(code(&generated), 1);
    assert_eq!(files_in(folder.path()), ["node.toml"]);
}

#[test]
fn init_writes_every_example_and_never_over_a_file() {
    let folder = tempfile::tempdir().expect("a folder");
    for name in EXAMPLES {
        let file = format!("{name}.toml");
        assert_eq!(
            code(&millpond(folder.path(), &["init", &file, "--example", name])),
            0
        );
        assert_eq!(
            fs::read(folder.path().join(&file)).expect("written"),
            fs::read(example(name)).expect("readable")
        );
    }
    fs::write(folder.path().join("mine.toml"), "mine").expect("writable");
    let refused = millpond(folder.path(), &["init", "mine.toml"]);
    assert_eq!(code(&refused), 2);
    assert!(stderr(&refused).contains("left as it is"));
    assert_eq!(
        fs::read_to_string(folder.path().join("mine.toml")).expect("still there"),
        "mine"
    );
}

#[test]
fn compare_names_what_moved_and_what_moved_it() {
    let folder = tempfile::tempdir().expect("a folder");
    let old = fs::read_to_string(example("crack-gauge")).expect("readable");
    let new = old
        .replace("\"2.2 ohm\"", "\"1.1 ohm\"")
        .replace("\"20 mV\"", "\"30 mV\"")
        .replace("\"2.4 uA\"", "\"2400 nA\"");
    fs::write(folder.path().join("old.toml"), &old).expect("writable");
    fs::write(folder.path().join("new.toml"), new).expect("writable");
    let view = json(&millpond(
        folder.path(),
        &["compare", "old.toml", "new.toml", "--format", "json"],
    ));
    let moved = view["moved"].as_array().expect("a list");
    let transmit = moved
        .iter()
        .find(|moved| moved["constant"] == "policy.transmit_mv")
        .expect("it moves");
    let by = |input: &str| {
        let causes = transmit["causes"].as_array().expect("a list");
        let cause = causes.iter().find(|cause| cause["input"] == input);
        cause.map(|cause| cause["by"].as_i64().expect("a number"))
    };
    assert_eq!(by("margins.extra"), Some(10));
    assert!(by("storage.capacitor[0].esr").expect("a cause") < -200);
    // Written in another way, the current is the same and moves nothing.
    assert_eq!(by("sleep.current"), None);
    let total = transmit["new"].as_i64().expect("a number") - transmit["old"].as_i64().expect("a number");
    let causes = transmit["causes"].as_array().expect("a list").iter();
    let causes: i64 = causes.map(|cause| cause["by"].as_i64().expect("a number")).sum();
    assert_eq!(causes + transmit["together"].as_i64().expect("a number"), total);

    let same = millpond(folder.path(), &["compare", "old.toml", "old.toml"]);
    assert_eq!(
        (code(&same), String::from_utf8_lossy(&same.stdout).into_owned()),
        (0, "no input differs\n".to_owned())
    );
}

#[test]
fn wrong_usage_is_exit_code_two() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = example("crack-gauge");
    let path = path.to_str().expect("text");
    for arguments in [
        &["nonsense"][..],
        &["check"],
        &["check", path, "--format", "yaml"],
        &["generate", path, "--verify"],
        &[],
    ] {
        assert_eq!(code(&millpond(folder.path(), arguments)), 2, "{arguments:?}");
    }
    // A folder that is not there: no file, and the path in the message.
    let nowhere = millpond(folder.path(), &["generate", path, "--c", "no/such/policy.h"]);
    assert_eq!(code(&nowhere), 2);
    assert!(stderr(&nowhere).contains("no/such/policy.h"));
}
