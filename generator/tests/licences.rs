//! docs/licences.md lists everything that is inlined in a page, with its licence; docs/design.md why each library was chosen.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use std::process::Command;
use std::{env, fs};

use serde_json::Value;

/// What the workbench carries: this package and all that it needs.
const PAGE: &str = "millpond-workbench";
/// Packages of this project.
const OWN: &str = "millpond";
const LIST: &str = "docs/licences.md";

#[test]
fn everything_in_a_page_is_listed_with_its_licence() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let output = Command::new(env!("CARGO"))
        .args(["metadata", "--format-version", "1", "--locked"])
        .args(["--filter-platform", "wasm32-unknown-unknown"])
        .current_dir(&root)
        .output()
        .expect("cargo runs");
    let metadata: Value = serde_json::from_slice(&output.stdout).expect("cargo's metadata");
    let document = fs::read_to_string(root.join(LIST)).expect("the list");
    let listed: BTreeSet<&str> = document.lines().filter(|line| line.starts_with("| ")).collect();

    let inside = inside(&metadata);
    assert!(inside.len() > 50, "only {} packages were found", inside.len());
    let missing: Vec<String> = inside
        .iter()
        .map(|(name, licence)| format!("| {name} | {licence} |"))
        .filter(|row| !listed.contains(row.as_str()))
        .collect();
    assert!(missing.is_empty(), "{LIST} lacks:\n{}", missing.join("\n"));
    // Two lines of the head, and the plotting library, are no packages.
    assert_eq!(
        listed.len(),
        inside.len() + 2 + 1,
        "{LIST} has rows of what is not inside"
    );
}

#[test]
fn every_library_is_in_the_table_of_design() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..");
    let document = fs::read_to_string(root.join("docs/design.md")).expect("the document");
    let chosen: BTreeSet<&str> = document
        .lines()
        .filter_map(|row| row.strip_prefix("| ")?.split(" | ").nth(1))
        .flat_map(|cell| cell.split([',', ' ']))
        .collect();
    let mut seen = 0;
    let mut packages: Vec<_> = fs::read_dir(root.join("generator"))
        .expect("a folder")
        .map(|entry| entry.expect("an entry").path())
        .chain([root.join("generator"), root.join("policy-core")])
        .filter(|folder| folder.join("Cargo.toml").is_file())
        .collect();
    packages.sort();
    for package in packages {
        let text = fs::read_to_string(package.join("Cargo.toml")).expect("the manifest");
        let manifest: toml::Table = text.parse().expect("TOML");
        let of_hosts = manifest
            .get("target")
            .and_then(toml::Value::as_table)
            .into_iter()
            .flat_map(|targets| targets.values());
        let parts = of_hosts.filter_map(toml::Value::as_table).chain([&manifest]);
        for part in parts {
            for kind in ["dependencies", "dev-dependencies"] {
                let names = part.get(kind).and_then(toml::Value::as_table);
                for name in names.into_iter().flat_map(|names| names.keys()) {
                    seen += 1;
                    assert!(
                        name.starts_with(OWN) || chosen.contains(name.as_str()),
                        "{}: docs/design.md does not say why {name}",
                        package.display()
                    );
                }
            }
        }
    }
    assert!(seen > 40, "only {seen} libraries were found");
}

/// Names and licences of all packages that the page is linked from, this project's own left out.
fn inside(metadata: &Value) -> BTreeMap<String, String> {
    let list = |value: &Value| value.as_array().cloned().unwrap_or_default();
    let packages: BTreeMap<String, Value> = list(&metadata["packages"])
        .into_iter()
        .map(|package| (text(&package["id"]), package))
        .collect();
    let needs: BTreeMap<String, Vec<Value>> = list(&metadata["resolve"]["nodes"])
        .into_iter()
        .map(|node| (text(&node["id"]), list(&node["deps"])))
        .collect();
    let is_of_compiler = |package: &Value| {
        list(&package["targets"])
            .iter()
            .any(|target| list(&target["kind"]).contains(&Value::from("proc-macro")))
    };
    let mut open: Vec<String> = packages
        .iter()
        .filter(|(_, package)| package["name"] == PAGE)
        .map(|(id, _)| id.clone())
        .collect();
    let mut seen = BTreeSet::new();
    while let Some(id) = open.pop() {
        if !seen.insert(id.clone()) {
            continue;
        }
        for need in &needs[&id] {
            let is_linked = list(&need["dep_kinds"]).iter().any(|kind| kind["kind"].is_null());
            let id = text(&need["pkg"]);
            if is_linked && !is_of_compiler(&packages[&id]) {
                open.push(id);
            }
        }
    }
    seen.iter()
        .map(|id| &packages[id])
        .filter(|package| !text(&package["name"]).starts_with(OWN))
        .map(|package| (text(&package["name"]), text(&package["license"])))
        .collect()
}

fn text(value: &Value) -> String {
    value.as_str().unwrap_or_default().to_owned()
}
