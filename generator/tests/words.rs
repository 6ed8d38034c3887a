//! What the documents say of words, numbers and sources, held against the code: events of a log, limits, the marks of what has no source, the
//! checks of each equation.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};

use millpond::log::Log;
use millpond_policy::Rejected;

/// How the code marks what stands on no source.
const MARKS: [&str; 4] = ["common practice", "from memory", "own choice", "own rule"];

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

fn read(path: &str) -> String {
    fs::read_to_string(root().join(path)).unwrap_or_else(|error| panic!("{path}: {error}"))
}

/// The part of a document below one title, up to the next.
fn section<'a>(text: &'a str, title: &str) -> &'a str {
    let (_, below) = text.split_once(title).unwrap_or_else(|| panic!("no {title}"));
    below.split("\n## ").next().unwrap_or_default()
}

/// The rows of the tables of a text, without their heads.
fn rows(text: &str) -> Vec<Vec<&str>> {
    let lines: Vec<&str> = text.lines().collect();
    let is_row = |place: usize| lines.get(place).is_some_and(|line| line.starts_with('|'));
    (0..lines.len())
        .filter(|place| {
            is_row(*place) && *place > 0 && is_row(place - 1) && !lines[*place].starts_with("| ---")
        })
        .map(|place| {
            let line = lines[place].trim_start_matches('|').trim_end_matches('|');
            line.split('|').map(str::trim).collect()
        })
        .collect()
}

/// What stands between two marks, at each place where the first one stands.
fn between<'a>(text: &'a str, before: &'a str, after: &'a str) -> impl Iterator<Item = &'a str> {
    text.split(before)
        .skip(1)
        .filter_map(move |rest| rest.split_once(after).map(|(inside, _)| inside))
}

/// What the example programs write and what docs/embedding.md lists, `fit` reads without a remark.
#[test]
fn every_event_of_the_examples_is_read() {
    let (c, rust) = (
        read("docs/embedding/c/main.c"),
        read("docs/embedding/cargo/src/lib.rs"),
    );
    let (page, fit) = (read("docs/embedding.md"), read("docs/fit.md"));
    let row = page
        .lines()
        .find(|line| line.starts_with("| `event` |"))
        .expect("the row of events");
    let listed: BTreeSet<&str> = row
        .split('`')
        .skip(3)
        .step_by(2)
        .filter(|word| *word != "fit")
        .collect();
    let written = |text: &str, call: &str| -> BTreeSet<String> {
        let last = |arguments: &str| arguments.rsplit('"').nth(1).map(str::to_owned);
        between(text, call, ");").filter_map(last).collect()
    };
    let (c, rust) = (written(&c, "hardware_log("), written(&rust, "board.log("));
    assert!(c.len() >= 4, "{c:?}");
    assert_eq!(c, rust, "in C on the left, in Rust on the right");
    for word in c.iter().map(String::as_str) {
        assert!(listed.contains(word), "docs/embedding.md does not list {word}");
    }
    let log: String = std::iter::once("time_s,storage_mv,event\n".to_owned())
        .chain(
            listed
                .iter()
                .enumerate()
                .map(|(place, word)| format!("{place},3900,{word}\n")),
        )
        .collect();
    let log = Log::parse("bench.csv", &log).expect("a log");
    assert_eq!(
        (log.skipped_events.len(), log.skipped),
        (0, 0),
        "{:?}",
        log.skipped_events
    );
    assert!((0..log.len()).all(|row| log.event(row).is_some()));
    let known = between(&fit, "`event`\n(", ")")
        .next()
        .expect("the words of a log");
    assert_eq!(known.split(", ").collect::<BTreeSet<_>>(), listed);
    // The example rows of the page, too.
    let shown = between(&page, "```text\ntime_s", "```")
        .next()
        .expect("rows of a log");
    let shown = Log::parse("bench.csv", &format!("time_s{shown}")).expect("a log");
    assert_eq!((shown.skipped_events.len(), shown.skipped), (0, 0));
}

/// README's limits are those of the integers of firmware.
#[test]
fn limits_are_those_of_the_code() {
    let text = read("README.md");
    let limits = text
        .lines()
        .find(|line| line.starts_with("- Waits"))
        .expect("the line of limits");
    let most = Rejected::OffTimeTooLong
        .text()
        .rsplit(' ')
        .next()
        .expect("a number")
        .to_owned();
    // Rounded down to a tenth of a joule.
    let joules = |microjoules: u32| format!("{}.{} J", microjoules / 1_000_000, microjoules / 100_000 % 10);
    for said in [
        format!("Waits and spacings reach to {} s", u16::MAX),
        format!("off-times to {most} s"),
        format!("stored energy to {}", joules(u32::MAX)),
        format!("a plan to {}", joules(i32::MAX as u32)),
    ] {
        assert!(limits.contains(&said), "{limits}\ndoes not say: {said}");
    }
}

/// Each file with its marks, as docs/validation.md lists them and as its comments have them.
#[test]
fn what_has_no_source_is_listed() {
    let text = read("docs/validation.md");
    let listed: BTreeSet<(String, String)> = rows(section(&text, "## Without a source"))
        .iter()
        .map(|row| (row[2].trim_matches('`').to_owned(), row[1].to_owned()))
        .collect();
    let mut marked = BTreeSet::new();
    for path in sources(&["generator", "policy-core", "tests"]) {
        // This file names the marks.
        if path.ends_with("generator/tests/words.rs") {
            continue;
        }
        let comments = comments(&fs::read_to_string(root().join(&path)).expect("readable"));
        for mark in MARKS.iter().filter(|mark| comments.contains(**mark)) {
            marked.insert((path.display().to_string(), (*mark).to_owned()));
        }
    }
    assert!(marked.len() > 20, "{marked:?}");
    assert_eq!(listed, marked, "listed on the left, in the code on the right");
}

/// Every equation of the model has a row, and no cell of a row is empty: what there is none of is said.
#[test]
fn every_equation_has_its_checks() {
    let model = read("docs/model.md");
    let equations: BTreeSet<u32> = model
        .lines()
        .filter_map(|line| line.strip_prefix('(')?.split_once(")  ")?.0.parse().ok())
        .collect();
    let text = read("docs/validation.md");
    let mut seen = BTreeSet::new();
    for row in rows(section(&text, "## Equation by equation")) {
        assert!(
            row.len() == 5 && row.iter().all(|cell| !cell.is_empty()),
            "{row:?}"
        );
        let words: Vec<&str> = row[0].split([' ', ',']).filter(|word| !word.is_empty()).collect();
        for (place, word) in words.iter().enumerate() {
            if let Ok(number) = word.parse::<u32>() {
                let to = words
                    .get(place + 1)
                    .filter(|next| **next == "to")
                    .and_then(|_| words.get(place + 2)?.parse().ok());
                seen.extend(number..=to.unwrap_or(number));
            }
        }
    }
    assert_eq!(
        seen, equations,
        "with a row on the left, in the model on the right"
    );
}

/// All comments of a text, each run of lines as one, in small letters.
fn comments(text: &str) -> String {
    let mut found = String::new();
    for line in text.lines() {
        match line.split_once("//") {
            Some((before, comment)) => {
                if !before.trim().is_empty() {
                    found.push('\n');
                }
                found.push_str(comment.trim_start_matches(['/', '!']).trim());
                found.push(' ');
            }
            None => found.push('\n'),
        }
    }
    found.to_lowercase()
}

/// All Rust files below these folders, by their paths from the top.
fn sources(folders: &[&str]) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut ahead: Vec<PathBuf> = folders.iter().map(PathBuf::from).collect();
    while let Some(folder) = ahead.pop() {
        for entry in fs::read_dir(root().join(&folder)).expect("a folder") {
            let path = folder.join(entry.expect("an entry").file_name());
            if root().join(&path).is_dir() {
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
