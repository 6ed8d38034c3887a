//! Each crate builds from its package alone, and a firmware's build script needs few of them.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::process::Command;

use millpond_tests::command::{GENERATOR, ROOT, cargo, target};

/// Crates that a build script may have to compile, the project's own among them: each is seconds before a firmware's first build.
const MOST_CRATES: usize = 40;
/// The witnesses, which nobody needs who uses the tool.
const WITNESSES: &str = "millpond-tests";

fn output(arguments: &[&str]) -> String {
    let output = Command::new(cargo())
        .args(arguments)
        .current_dir(ROOT)
        .env("CARGO_TARGET_DIR", target().join("packages"))
        .output()
        .expect("cargo runs");
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(
        output.status.success(),
        "cargo {}:\n{errors}",
        arguments.join(" ")
    );
    String::from_utf8_lossy(&output.stdout).into_owned() + &errors
}

#[test]
fn a_build_script_compiles_few_crates() {
    let tree = output(&[
        "tree",
        "--package",
        "millpond-build",
        "--edges",
        "normal,build",
        "--prefix",
        "none",
        "--locked",
    ]);
    let crates: BTreeSet<&str> = tree
        .lines()
        .filter_map(|line| line.split_whitespace().next())
        .collect();
    assert!(
        crates.contains("millpond-model") && crates.contains("toml"),
        "{crates:?}"
    );
    assert!(crates.len() <= MOST_CRATES, "{}: {crates:?}", crates.len());
}

/// What counts coverage and asks of mistakes goes through every crate of the generator.
#[test]
fn no_crate_of_the_generator_is_left_out() {
    let manifests = fs::read_dir(Path::new(ROOT).join("generator")).expect("a folder");
    let inside = manifests
        .map(|entry| entry.expect("an entry").path())
        .filter(|folder| folder.join("Cargo.toml").is_file() && !folder.ends_with("workbench"))
        .count();
    assert_eq!(GENERATOR.len(), inside + 1);
}

/// Every package is unpacked and built outside the workspace; what it lacks is then not found.
#[test]
#[ignore = "takes minutes: builds every crate once more from its package"]
fn every_crate_builds_from_its_package_alone() {
    let said = output(&[
        "package",
        "--workspace",
        "--exclude",
        WITNESSES,
        "--allow-dirty",
        "--locked",
    ]);
    for name in [
        "millpond",
        "millpond-build",
        "millpond-policy",
        "millpond-templates",
        "millpond-workbench",
    ] {
        assert!(said.contains(&format!("Verifying {name} v")), "{name}:\n{said}");
    }
}
