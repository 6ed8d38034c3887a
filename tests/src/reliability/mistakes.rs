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
    let rows: Vec<&str> = text
        .lines()
        .filter(|line| line.starts_with("| ") && line.ends_with(" |"))
        .collect();
    if rows.is_empty() {
        return Err(format!(
            "no mistake was made:\n{text}{}",
            String::from_utf8_lossy(&output.stderr)
        ));
    }
    let same = rows
        .iter()
        .filter(|row| row.contains("| changes nothing"))
        .count() as u64;
    let missed = rows.iter().filter(|row| row.contains("**nothing**")).count() as u64;
    let made = rows.len() as u64 - same;
    Ok(vec![Row {
        of: Some(made),
        ..Row::counted(
            "mutants killed",
            made - missed,
            missed,
            "mistakes in C and in Rust; some test has to fail",
        )
    }])
}
