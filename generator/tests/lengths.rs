//! Each file is short.

use std::fs;
use std::path::{Path, PathBuf};

/// Lines of code that one file may have: what one idea takes, seen in a few screens.
const MOST_LINES: usize = 400;

#[test]
fn no_file_is_long() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let mut seen = 0;
    for part in ["policy-core", "templates", "generator", "tests"] {
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
