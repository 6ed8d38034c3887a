//! Mistakes found: small ones in the C header and the crate, one at a time (tests/mutation).

use std::process::Command;

use super::{Extent, Row};
use crate::command::{ROOT, cargo};

pub(super) fn rows(extent: &Extent) -> Result<Vec<Row>, String> {
    let output = Command::new(cargo())
        .args([
            "test",
            "--package",
            "millpond-tests",
            "--test",
            "mutation",
            "--",
            "--ignored",
            "--nocapture",
        ])
        .env("MISTAKES", extent.mistakes.to_string())
        .current_dir(ROOT)
        .output()
        .map_err(|error| format!("cargo: {error}"))?;
    let text = String::from_utf8_lossy(&output.stdout);
    let row = counted(&text, output.status.success())
        .map_err(|why| format!("{why}:\n{text}{}", String::from_utf8_lossy(&output.stderr)))?;
    Ok(vec![row])
}

/// Counts the mistakes that the lists printed. A list that ends before its mistakes prints none, and is no list that held.
fn counted(text: &str, passed: bool) -> Result<Row, &'static str> {
    let rows: Vec<&str> = text
        .lines()
        .filter(|line| line.starts_with("| ") && line.ends_with(" |"))
        .collect();
    if rows.is_empty() {
        return Err("no mistake was made");
    }
    let of_kind = |kind: &str| rows.iter().filter(|row| row.contains(kind)).count() as u64;
    let missed = of_kind("**nothing**");
    if !passed && missed == 0 {
        return Err("a list of mistakes broke down");
    }
    let made = rows.len() as u64 - of_kind("| changes nothing");
    Ok(Row {
        of: Some(made),
        ..Row::counted(
            "mutants killed",
            made - missed,
            missed,
            "mistakes in C and in Rust; some test has to fail",
        )
    })
}

#[cfg(test)]
mod tests {
    use super::counted;

    const FOUND: &str = "| a.rs:1 | `<` becomes `>` | `some_test` |\n";
    const MISSED: &str = "| a.rs:2 | `<` becomes `>` | **nothing** |\n";
    const SAME: &str = "| a.rs:3 | `<` becomes `<=` | changes nothing: equal times |\n";

    #[test]
    fn what_was_found_and_missed_is_counted() {
        let of = |text: &str, passed| {
            counted(text, passed).map(|row| (row.count.expect("a count"), row.of.expect("all"), row.broke))
        };
        assert_eq!(of(&[FOUND, FOUND, SAME].concat(), true), Ok((2.0, 2, 0)));
        assert_eq!(of(&[FOUND, SAME, MISSED].concat(), false), Ok((1.0, 2, 1)));
    }

    #[test]
    fn a_list_that_broke_down_is_none_that_held() {
        assert!(counted("", true).is_err());
        assert!(counted("", false).is_err());
        assert!(counted(FOUND, false).is_err());
    }
}
