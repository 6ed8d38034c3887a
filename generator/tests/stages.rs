//! The pipeline runs one way: a stage uses earlier stages only. And each file is short.

use std::fs;
use std::path::{Path, PathBuf};

/// The modules of the library in the order in which the data goes through them. `text`, `statistics`, `halving`, `progress`, `problem` and `input` serve all stages.
const STAGES: &[&str] = &[
    "units",
    "rounding",
    "visible",
    "text",
    "statistics",
    "halving",
    "progress",
    "problem",
    "input",
    "node",
    "model",
    "budget",
    "thresholds",
    "outlook",
    "policy",
    "income",
    "bound",
    "simulate",
    "survival",
    "findings",
    "dividers",
    "plan",
    "size",
    "cell",
    "log",
    "fit",
    "log_plan",
    "emit",
    "printout",
    "generated",
    "comparison",
    "sensitivity",
    "lifetime",
    "report",
    "workbench",
    "lib",
];

/// Uses against the order that have a reason: the integer border lies beside the units and knows what a count is; the
/// comparison, the sensitivity and the lifetime are printed like every result.
const ALLOWED: [(&str, &str); 4] = [
    ("rounding", "model"),
    ("printout", "comparison"),
    ("printout", "sensitivity"),
    ("printout", "lifetime"),
];

#[test]
fn no_stage_uses_a_later_one() {
    let sources = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let place = |name: &str| STAGES.iter().position(|stage| *stage == name);
    let mut seen = 0;
    for path in files(&sources) {
        let inside = path.strip_prefix(&sources).expect("a file of the library");
        let first = inside
            .components()
            .next()
            .expect("a name")
            .as_os_str()
            .to_string_lossy()
            .into_owned();
        let stage = first.trim_end_matches(".rs").to_owned();
        if ["main", "cli", "commands", "destinations", "failure", "serve"].contains(&stage.as_str()) {
            continue;
        }
        let own = place(&stage).unwrap_or_else(|| panic!("{stage} has no place in the pipeline"));
        let text = fs::read_to_string(&path).expect("readable");
        let body = text.split("#[cfg(test)]").next().unwrap_or_default();
        if path.ends_with("tests.rs") {
            continue;
        }
        for rest in body.split("crate::").skip(1) {
            let used: String = rest
                .chars()
                .take_while(|c| c.is_alphanumeric() || *c == '_')
                .collect();
            let Some(other) = place(&used) else { continue };
            seen += 1;
            let excused = ALLOWED.contains(&(stage.as_str(), used.as_str()));
            assert!(
                other <= own || excused,
                "{} uses {used}, a later stage",
                inside.display()
            );
        }
    }
    assert!(seen > 50, "only {seen} uses were found");
}

/// Lines of code that one file may have: what one idea takes, seen in a few screens.
const MOST_LINES: usize = 400;

#[test]
fn no_file_is_long() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let mut seen = 0;
    for part in ["policy-core", "generator", "tests"] {
        for path in files(&root.join(part)) {
            let text = fs::read_to_string(&path).expect("readable");
            let is_code = |line: &&str| !line.trim().is_empty() && !line.trim_start().starts_with("//");
            let lines = text.lines().filter(is_code).count();
            seen += 1;
            assert!(
                lines <= MOST_LINES,
                "{} has {lines} lines of code",
                path.display()
            );
        }
    }
    assert!(seen > 200, "only {seen} files were found");
}

fn files(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.ends_with("target") {
            continue;
        }
        if path.is_dir() {
            found.extend(files(&path));
        } else if path.extension().is_some_and(|end| end == "rs") {
            found.push(path);
        }
    }
    found.sort();
    found
}
