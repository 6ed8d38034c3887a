//! Tolerances are named constants with their cause: no comparison in the sources has a bare number below one for its tolerance.
//!
//! Looked at are `epsilon = …` and `max_relative = …` of comparing macros and what stands after `.abs() <` or `.abs() <=`. A number
//! of one or more beside something else is a count of it (`2.0 * error`), and no tolerance; a number beside a constant's name
//! (`0.5 * STEP`) is one of the constant.

use std::fs;
use std::path::{Path, PathBuf};

/// What stands before a tolerance.
const BEFORE: [&str; 4] = ["epsilon = ", "max_relative = ", ".abs() < ", ".abs() <= "];
/// What ends it.
const AFTER: [char; 6] = [',', ';', '{', '\n', '&', '|'];
/// Below this many letters a word in capitals is no constant with a telling name.
const LEAST_NAME: usize = 4;

/// Files and folders, by the beginning of their paths, that still have some, and how many at most: none may be added, and a number that has fallen is written down here.
const LEFT: [(&str, usize); 4] = [
    ("generator/model/src/model/bank", 8),
    ("generator/model/src/model/discharge", 7),
    ("generator/model/src/model/load", 1),
    ("generator/sizing/src/thresholds", 20),
];

#[test]
fn tolerances_have_names() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let mut left = LEFT.map(|_| 0);
    let mut wrong = Vec::new();
    let mut named = 0;
    for path in files(&root, &["generator", "policy-core", "tests"]) {
        let text = fs::read_to_string(root.join(&path)).expect("readable");
        for (line, tolerance) in tolerances(&text) {
            if !is_bare(tolerance) {
                named += 1;
            } else if let Some(place) = LEFT
                .iter()
                .position(|(left, _)| path.to_string_lossy().starts_with(left))
            {
                left[place] += 1;
            } else {
                wrong.push(format!("{}:{line}: {tolerance}", path.display()));
            }
        }
    }
    for ((path, most), found) in LEFT.iter().zip(left) {
        if found > *most {
            wrong.push(format!("{path}: {found} in all, {most} are left"));
        }
    }
    assert!(
        wrong.is_empty(),
        "name them, with their cause:\n{}",
        wrong.join("\n")
    );
    assert!(named > 100, "only {named} were found: has their form changed?");
}

#[test]
fn bare_numbers_are_told_from_names() {
    for bare in [
        "1e-9",
        "0.05",
        "1e-9 * want",
        "seconds(1e-12)",
        "216.0 / day_s + 1e-5",
        "5e-1_f64",
    ] {
        assert!(is_bare(bare), "{bare}");
    }
    for named in [
        "ROUNDING",
        "0.5 * STEP_V",
        "2.0 * error",
        "seconds(SETTLED)",
        "rounding",
        "allowed[1]",
    ] {
        assert!(!is_bare(named), "{named}");
    }
    let text = "assert_eq!(a, 1e-9);\n// x.abs() < 1e-3\nlet close = (a - b).abs() < 1e-6 && a < 0.1;\n";
    assert_eq!(tolerances(text), [(3, "1e-6")]);
}

/// The tolerances of a text, with their lines from 1; comments are passed over.
fn tolerances(text: &str) -> Vec<(usize, &str)> {
    let mut found = Vec::new();
    for (place, line) in text.lines().enumerate() {
        let code = line.split("//").next().unwrap_or_default();
        for before in BEFORE {
            for rest in code.split(before).skip(1) {
                found.push((place + 1, rest.split(AFTER).next().unwrap_or_default().trim()));
            }
        }
    }
    found
}

/// Whether there is a number below one in it, and no constant's name.
fn is_bare(tolerance: &str) -> bool {
    let words = || tolerance.split(|c: char| !c.is_alphanumeric() && !"_.-".contains(c));
    let is_name = |word: &str| {
        word.len() >= LEAST_NAME
            && word.starts_with(|c: char| c.is_ascii_uppercase())
            && word
                .chars()
                .all(|c| c.is_ascii_uppercase() || c.is_ascii_digit() || c == '_')
    };
    let number = |word: &str| {
        word.trim_end_matches("_f64")
            .trim_end_matches("f64")
            .parse::<f64>()
            .ok()
    };
    let is_small = |word: &str| number(word).is_some_and(|number| number > 0.0 && number < 1.0);
    words().any(is_small) && !words().any(is_name)
}

/// All Rust files below these folders of `root`, by their paths from it.
fn files(root: &Path, folders: &[&str]) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut ahead: Vec<PathBuf> = folders.iter().map(PathBuf::from).collect();
    while let Some(folder) = ahead.pop() {
        for entry in fs::read_dir(root.join(&folder)).expect("a folder") {
            let path = folder.join(entry.expect("an entry").file_name());
            if root.join(&path).is_dir() {
                if !path.ends_with("target") {
                    ahead.push(path);
                }
            } else if path.extension().is_some_and(|end| end == "rs") {
                found.push(path);
            }
        }
    }
    found.sort();
    found
}
