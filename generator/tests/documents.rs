//! Holds the documents against the code: what they show is what the tool prints, what they cite exists.
//!
//! Console blocks of README.md and docs/guide.md are run, all blocks of a document in one empty folder that holds
//! `templates/nodes`. A line `? 1` after a command is its exit code, `...` stands for any lines, `[..]` for the rest of a
//! word. `SNAPSHOTS=overwrite cargo test -p millpond --test documents` writes the real output into them.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use millpond_policy::Rejected;

/// How the documents call the tool from the project's folder.
const FROM_SOURCE: &str = "cargo run -p millpond -- ";
/// How the code cites the model; in two parts, so that this file does not cite it.
const CITING: &str = concat!("docs/model.md", ", ");
/// Documents whose console blocks are run.
const SHOWN: [&str; 2] = ["README.md", "docs/guide.md"];

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

fn read(path: &str) -> String {
    fs::read_to_string(root().join(path)).unwrap_or_else(|error| panic!("{path}: {error}"))
}

/// Every Markdown document of the project, by its path from the top.
fn documents() -> Vec<String> {
    let mut found: Vec<String> = [
        "README.md",
        "DEVELOPERS.md",
        "templates/README.md",
        "tests/README.md",
    ]
    .map(str::to_owned)
    .to_vec();
    for entry in fs::read_dir(root().join("docs")).expect("docs/ is there") {
        let name = entry
            .expect("a readable entry")
            .file_name()
            .into_string()
            .expect("a plain name");
        if name.ends_with(".md") {
            found.push(format!("docs/{name}"));
        }
    }
    found.sort();
    found
}

/// The text of all Rust files below these folders.
fn sources(folders: &[&str]) -> String {
    fn collect(folder: &Path, text: &mut String) {
        let mut entries: Vec<_> = fs::read_dir(folder)
            .expect("a folder")
            .map(|entry| entry.expect("an entry").path())
            .collect();
        entries.sort();
        for path in entries {
            if path.is_dir() && !path.ends_with("target") {
                collect(&path, text);
            } else if path.extension().is_some_and(|extension| extension == "rs") {
                text.push_str(&fs::read_to_string(&path).expect("a text file"));
            }
        }
    }
    let mut text = String::new();
    for folder in folders {
        collect(&root().join(folder), &mut text);
    }
    text
}

/// The sources of every crate of the generator without its tests folders, and of other folders.
fn of_crates(others: &[&str]) -> String {
    let mut folders: Vec<PathBuf> = fs::read_dir(root().join("generator"))
        .expect("a folder")
        .map(|entry| entry.expect("an entry").path().join("src"))
        .filter(|folder| folder.is_dir())
        .collect();
    folders.push(root().join("generator/src"));
    folders.sort();
    let names: Vec<&str> = folders.iter().filter_map(|folder| folder.to_str()).collect();
    assert!(names.len() > 10, "only {} crates were found", names.len());
    sources(&[&names[..], others].concat())
}

/// Words of a text: letters, digits and underscores.
fn words(text: &str) -> BTreeSet<&str> {
    text.split(|c: char| !c.is_alphanumeric() && c != '_').collect()
}

/// What stands between backticks on a line.
fn quoted(line: &str) -> impl Iterator<Item = &str> {
    line.split('`').skip(1).step_by(2)
}

/// Rows of every table of a document, as cells; the head of each table is repeated with its rows.
fn tables(text: &str) -> Vec<(Vec<String>, Vec<String>)> {
    let cells = |line: &str| -> Vec<String> {
        let inside = line.trim().strip_prefix('|').unwrap_or_default();
        inside
            .strip_suffix('|')
            .unwrap_or(inside)
            .split('|')
            .map(|cell| cell.trim().to_owned())
            .collect()
    };
    let mut found = Vec::new();
    let mut head: Option<Vec<String>> = None;
    for line in text.lines() {
        match (&head, line.starts_with('|')) {
            (_, false) => head = None,
            (None, true) => head = Some(cells(line)),
            (Some(_), true) if line.starts_with("| ---") => {}
            (Some(head), true) => found.push((head.clone(), cells(line))),
        }
    }
    found
}

/// Numbers that head the lines of model.md, in their order.
fn equations() -> Vec<u32> {
    let text = read("docs/model.md");
    let numbers = text
        .lines()
        .filter_map(|line| line.strip_prefix('(')?.split_once(")  ")?.0.parse().ok());
    numbers.collect()
}

#[test]
fn no_document_has_marks_of_an_unfinished_merge() {
    for path in documents() {
        for line in read(&path).lines() {
            let is_mark =
                ["<<<<<<< ", ">>>>>>> "].iter().any(|mark| line.starts_with(mark)) || line == "=======";
            assert!(!is_mark, "{path}: {line}");
        }
    }
}

#[test]
fn equations_are_numbered_without_a_gap() {
    let numbers = equations();
    assert!(
        numbers.iter().copied().eq(1..=numbers.len() as u32),
        "{numbers:?}"
    );
    assert!(numbers.len() >= 14);
}

#[test]
fn every_cited_equation_and_section_of_the_model_exists() {
    let numbers = equations();
    let text = read("docs/model.md");
    let sources = sources(&["generator", "policy-core", "tests"])
        .replace("\n///", "")
        .replace("\n    ///", "");
    let mut cited = 0;
    for place in sources.split(CITING).skip(1) {
        let place = place.split([')', ';', ':']).next().unwrap_or_default();
        if let Some(title) = place.strip_prefix('"') {
            let title = title.trim_end_matches('"');
            assert!(
                text.lines().any(|line| line == format!("## {title}")),
                "no section {title} in docs/model.md"
            );
            cited += 1;
        } else if place.starts_with("equation") {
            for number in words(place).iter().filter_map(|word| word.parse::<u32>().ok()) {
                assert!(numbers.contains(&number), "no equation {number} in docs/model.md");
                cited += 1;
            }
        }
    }
    // The drains, the bank, the closed forms, the reading and the pace are cited at least.
    assert!(
        cited >= 10,
        "only {cited} citations were found: has their form changed?"
    );
}

#[test]
fn rounding_tables_agree() {
    let rows = |text: &str| tables(text).into_iter().map(|(_, row)| row).collect::<Vec<_>>();
    let code = read("generator/sizing/src/rounding.rs").replace("//! ", "");
    let in_code: Vec<_> = rows(&code).into_iter().filter(|row| row.len() == 3).collect();
    let in_document = rows(&read("docs/rounding.md"));
    assert!(in_code.len() > 5);
    assert_eq!(in_code, in_document);
}

#[test]
fn every_name_of_the_nomenclature_exists() {
    let (text, sources) = (read("docs/nomenclature.md"), of_crates(&["policy-core/src"]));
    let header = read("templates/policy.h.jinja");
    let known: BTreeSet<&str> = words(&sources).union(&words(&header)).copied().collect();
    let rows = tables(&text);
    assert!(rows.len() > 40);
    for (_, row) in rows {
        assert_eq!(row.len(), 5, "{row:?}");
        for name in quoted(&row[1]) {
            assert!(known.contains(name), "no {name} in the code");
        }
        for key in quoted(&row[2]) {
            let last = key.rsplit('.').next().unwrap_or(key);
            assert!(
                sources.contains(&format!("\"{last}\"")),
                "no key {key} in the code"
            );
        }
    }
}

#[test]
fn every_test_named_in_a_document_exists() {
    let sources = sources(&["generator", "policy-core", "tests"]);
    let known = words(&sources);
    let mut named = 0;
    for document in documents() {
        for (head, row) in tables(&read(&document)) {
            if head.last().is_some_and(|title| title == "test") {
                for test in row
                    .last()
                    .iter()
                    .flat_map(|cell| quoted(cell))
                    .filter(|name| !name.contains(' '))
                {
                    assert!(known.contains(test), "{document}: no test {test}");
                    named += 1;
                }
            }
        }
    }
    assert!(named >= 20, "only {named}");
}

#[test]
fn the_contract_lists_every_rule() {
    let text = read("docs/policy-contract.md");
    let listed: Vec<_> = text
        .lines()
        .skip_while(|line| !line.starts_with("## Constants that do not"))
        .collect();
    let listed: Vec<_> = listed
        .iter()
        .filter_map(|line| line.strip_prefix("- "))
        .take(Rejected::ALL.len() + Rejected::OF_PLAN.len())
        .collect();
    let rules = Rejected::ALL.iter().chain(&Rejected::OF_PLAN);
    assert!(listed.into_iter().eq(rules.map(|rule| rule.text())));
}

#[test]
fn the_guide_lists_every_finding() {
    let sources = of_crates(&[]);
    let marks = ["code: \"", "caution(\"", "RESTARTS_FOREVER: &str = \""];
    let codes: BTreeSet<&str> = marks
        .iter()
        .flat_map(|mark| sources.split(mark).skip(1))
        .filter_map(|rest| rest.split('"').next())
        .collect();
    let guide = read("docs/guide.md");
    let listed: BTreeSet<String> = tables(&guide)
        .into_iter()
        .filter(|(head, _)| head[0] == "finding")
        .flat_map(|(_, row)| quoted(&row[0]).map(str::to_owned).collect::<Vec<_>>())
        .collect();
    assert!(codes.len() > 5);
    assert!(
        listed.iter().map(String::as_str).eq(codes.iter().copied()),
        "code {codes:?}, guide {listed:?}"
    );
}

#[test]
fn the_changelog_has_this_version() {
    assert!(read("docs/changelog.md").contains(&format!("## [{}]", env!("CARGO_PKG_VERSION"))));
}

#[test]
fn links_lead_somewhere() {
    for document in documents() {
        let folder = root().join(&document);
        for rest in read(&document).split("](").skip(1) {
            let target = rest.split([')', '#']).next().unwrap_or_default();
            if !target.is_empty() && !target.contains("://") {
                let path = folder.parent().expect("a folder").join(target);
                assert!(path.exists(), "{document}: no {target}");
            }
        }
    }
}

#[test]
fn references_and_citations_agree() {
    let listed: BTreeSet<u32> = read("docs/references.md")
        .lines()
        .filter_map(|line| line.split_once(". ")?.0.parse().ok())
        .collect();
    assert!(listed.iter().copied().eq(1..=listed.len() as u32), "{listed:?}");
    let mut cited = BTreeSet::new();
    for document in [
        "docs/model.md",
        "docs/validation.md",
        "docs/node-file.md",
        "docs/policy-contract.md",
        "docs/pacing.md",
        "docs/fit.md",
    ] {
        for place in read(document).split('[').skip(1) {
            let inside = place.split(']').next().unwrap_or_default();
            cited.extend(inside.split(", ").filter_map(|number| number.parse::<u32>().ok()));
        }
    }
    assert_eq!(cited, listed, "cited on the left, listed on the right");
}

/// One command of a console block: the line, its exit code, and the output below it.
struct Shown {
    command: String,
    code: i32,
    output: String,
}

/// The commands of one console block.
fn commands(block: &str) -> Vec<Shown> {
    let mut found: Vec<Shown> = Vec::new();
    for line in block.lines() {
        if let Some(command) = line.strip_prefix("$ ") {
            found.push(Shown {
                command: command.to_owned(),
                code: 0,
                output: String::new(),
            });
        } else if let Some(last) = found.last_mut() {
            match line.strip_prefix("? ") {
                Some(code) if last.output.is_empty() => last.code = code.parse().expect("an exit code"),
                _ => last.output.push_str(&format!("{line}\n")),
            }
        }
    }
    found
}

/// Runs a line in `folder`; its exit code, and what it says on both outputs.
fn run(folder: &Path, line: &str) -> (i32, String) {
    let tool = Path::new(env!("CARGO_BIN_EXE_millpond"));
    let path = std::env::var("PATH").unwrap_or_default();
    let done = Command::new("sh")
        .arg("-c")
        .arg(format!("exec 2>&1\n{}", line.replace(FROM_SOURCE, "millpond ")))
        .env(
            "PATH",
            format!("{}:{path}", tool.parent().expect("a folder").display()),
        )
        .current_dir(folder)
        .output()
        .expect("a shell");
    (
        done.status.code().unwrap_or(-1),
        String::from_utf8(done.stdout).expect("UTF-8"),
    )
}

#[cfg(unix)]
#[test]
fn console_blocks_show_the_real_output() {
    let overwrite = std::env::var_os("SNAPSHOTS").is_some_and(|value| value == "overwrite");
    for document in SHOWN {
        let folder = tempfile::tempdir().expect("a folder");
        let nodes = folder.path().join("templates/nodes");
        fs::create_dir_all(&nodes).expect("a folder");
        for entry in fs::read_dir(root().join("templates/nodes")).expect("the examples") {
            let path = entry.expect("an entry").path();
            fs::copy(&path, nodes.join(path.file_name().expect("a name"))).expect("a copy");
        }
        // What the guide calls the discharge of a measured cell.
        let measured = root().join("generator/tests/data/edlc/maker-a-3A-part1.csv");
        fs::copy(measured, folder.path().join("discharge.csv")).expect("a copy");
        let text = read(document);
        let mut fresh = String::new();
        let mut seen = 0;
        for (index, part) in text.split("```").enumerate() {
            let block = part.strip_prefix("console\n").filter(|_| index % 2 == 1);
            fresh.push_str(if index > 0 { "```" } else { "" });
            let Some(block) = block else {
                fresh.push_str(part);
                continue;
            };
            fresh.push_str("console\n");
            for Shown {
                command,
                code,
                output,
            } in commands(block)
            {
                let (got_code, got) = run(folder.path(), &command);
                let same = snapbox::Assert::new().try_eq(None, got.clone().into(), output.clone().into());
                if !overwrite {
                    assert_eq!(got_code, code, "{document}: {command}\n{got}");
                    if let Err(difference) = &same {
                        panic!("{document}: {command}\n{difference}");
                    }
                }
                let exit = if got_code == 0 {
                    String::new()
                } else {
                    format!("? {got_code}\n")
                };
                fresh.push_str(&format!(
                    "$ {command}\n{exit}{}",
                    if same.is_ok() { output } else { got }
                ));
                seen += 1;
            }
        }
        assert!(seen > 1, "{document} shows no command");
        if overwrite {
            fs::write(root().join(document), fresh).expect("a written document");
        }
    }
}
