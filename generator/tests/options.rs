//! Options of the command line that are refused, and what is said of them. No file is looked at.

use std::process::Command;

/// A number that an option does not take is answered with what it takes, and an option that would do nothing is refused.
#[test]
fn options_say_what_they_take() {
    for (command, words) in [
        (
            &["simulate", "node.toml", "--days", "-1"][..],
            "a number of days above 0",
        ),
        (
            &["simulate", "node.toml", "--parts", "-1"],
            "a whole number from 0 to",
        ),
        (
            &["simulate", "node.toml", "--seed", "-1"],
            "a whole number from 0 to",
        ),
        (
            &["simulate", "node.toml", "--seed", "1.5"],
            "a whole number from 0 to",
        ),
        (
            &["sensitivity", "node.toml", "--rows", "0"],
            "a whole number from 1 to",
        ),
        (
            &["lifetime", "node.toml", "--life", "-3"],
            "a number of years above 0",
        ),
        (&["lifetime", "node.toml", "--mean", "30 degC"], "--endurance"),
        (
            &["size", "node.toml", "--catalogue", "parts.csv", "--series", "E12"],
            "cannot be used with",
        ),
    ] {
        let output = Command::new(env!("CARGO_BIN_EXE_millpond"))
            .args(command)
            .output()
            .expect("the tool starts");
        assert_eq!(output.status.code(), Some(2), "{command:?}");
        let said = String::from_utf8_lossy(&output.stderr);
        assert!(said.contains(words), "{command:?}: {said}");
    }
}
