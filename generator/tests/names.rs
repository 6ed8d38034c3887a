//! Names are text: whatever stands in a path, a word of a log, a column of a table or an argument, nothing of it steers the terminal,
//! turns the direction of a line or hides, in any output.

#![cfg(unix)]

mod bench;

use std::fs;
use std::path::Path;

use bench::{ANSWERS, errors, folder, log, run};
use millpond::node::Node;
use millpond::visible::visible_lines;

/// An escape sequence, control characters of both sets, marks of direction, zero-width characters, a separator of lines, a line feed, the
/// end of a comment, of an element and of an attribute.
const HOSTILE: &str =
    "a\u{1b}[2J\u{7}\u{9b}\u{202e}b\u{2066}\u{200e}\u{61c}\u{200b}\u{feff}\u{2028}\n*'\"<b>&\\";

/// Whether all of a text can be seen.
fn is_plain(text: &str) -> bool {
    visible_lines(text) == text
}

/// Every file of the folder below a hostile name.
fn renamed(folder: &Path) -> impl Fn(&str) -> String {
    let names = ["node.toml", "log.csv", "trace.csv", "cell.csv", "parts.csv"];
    for name in names {
        fs::rename(folder.join(name), folder.join(format!("{HOSTILE}{name}"))).expect("renamed");
    }
    move |word: &str| match names.contains(&word) || word.starts_with("out") {
        true => format!("{HOSTILE}{word}"),
        false => word.to_owned(),
    }
}

const COMMANDS: [&[&str]; 21] = [
    &["check", "node.toml"],
    &["check", "node.toml", "--format", "json"],
    &["budget", "node.toml"],
    &["thresholds", "node.toml", "--format", "json"],
    &["generate", "node.toml"],
    &[
        "generate",
        "node.toml",
        "--c",
        "out.h",
        "--rust",
        "out.rs",
        "--json",
        "out.json",
    ],
    &["generate", "node.toml", "--c", "out.h", "--depfile", "out.d"],
    &["generate", "node.toml", "--c", "log.csv", "--verify"],
    &["generate", "node.toml", "--c", "log.csv"],
    &["generate", "node.toml", "--c", "out/x.h"],
    &[
        "simulate",
        "node.toml",
        "--days",
        "1",
        "--trace",
        "trace.csv",
        "--picture",
        "out.svg",
        "--timeline",
        "out.csv",
    ],
    &["size", "node.toml", "--days", "1", "--catalogue", "parts.csv"],
    &["size", "node.toml", "--days", "1", "--catalogue", "log.csv"],
    &[
        "fit",
        "node.toml",
        "log.csv",
        "--capacitance",
        "0.93 F",
        "--write",
        "out.toml",
    ],
    &["fit", "node.toml", "trace.csv"],
    &["simulate", "node.toml", "--trace", "log.csv"],
    &["cell", "cell.csv", "--current", "0.3", "--rated", "3"],
    &["cell", "node.toml", "--current", "0.3", "--rated", "3"],
    &[
        "report",
        "node.toml",
        "--log",
        "log.csv",
        "--trace",
        "trace.csv",
        "--days",
        "1",
        "-o",
        "out.html",
    ],
    &["compare", "node.toml", "log.csv"],
    &["init", "node.toml"],
];

#[test]
fn hostile_paths_are_shown_as_text_in_every_output() {
    let folder = folder();
    let name = renamed(folder.path());
    for command in COMMANDS.into_iter().chain(ANSWERS) {
        let words: Vec<String> = command.iter().map(|word| name(word)).collect();
        let output = run(folder.path(), &words);
        for text in [&output.stdout, &output.stderr] {
            let text = String::from_utf8_lossy(text);
            assert!(is_plain(&text), "{command:?}: {text:?}");
        }
        if !output.status.success() {
            assert!(
                errors(&output).contains("a\\u{1b}[2J"),
                "{command:?}: {}",
                errors(&output)
            );
        }
    }
    let mut written = 0;
    for entry in fs::read_dir(folder.path()).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.to_string_lossy().contains("\\out.") {
            let text = fs::read_to_string(&path).expect("text");
            assert!(is_plain(&text), "{path:?}: {text:?}");
            written += 1;
        }
    }
    assert_eq!(
        written, 7,
        "header, module, JSON, picture, timeline, copy and page"
    );
}

/// Names that no rule for make can hold are refused with a sentence, and nothing is written.
#[test]
fn a_hostile_path_is_no_word_of_a_rule() {
    let folder = folder();
    let name = renamed(folder.path());
    let words = ["generate", "node.toml", "--c", "p.h", "--depfile", "p.d"].map(name);
    let output = run(folder.path(), &words);
    assert_eq!(output.status.code(), Some(2));
    assert!(
        errors(&output).contains("cannot stand in a rule"),
        "{}",
        errors(&output)
    );
    assert!(!folder.path().join("p.h").exists() && !folder.path().join("p.d").exists());
}

#[test]
fn words_of_tables_are_shown_as_text() {
    let folder = folder();
    let at = |name: &str| folder.path().join(name);
    let word = HOSTILE.replace(['\n', '"', '\u{2028}'], "");
    fs::write(
        at("events.csv"),
        log().replace("storage_mv\n", "storage_mv,event\n").replacen(
            ",3600\n",
            &format!(",3600,{word}\n"),
            1,
        ),
    )
    .expect("written");
    fs::write(at("columns.csv"), format!("time_s,{word}\n0,1\n1,1\n")).expect("written");
    fs::write(at("cells.csv"), format!("time_s,power_w\n0,{word}\n1,{word}\n")).expect("written");
    let discharge = format!("time_s,storage_v\n0,{word}\n1,{word}\n");
    fs::write(at("discharge.csv"), discharge).expect("written");
    let node = fs::read_to_string(at("node.toml")).expect("readable");
    fs::write(
        at("key.toml"),
        node.replacen("[sleep]\n", "[sleep]\n\"\\u001b[2J\\u202E\" = 1\n", 1),
    )
    .expect("written");
    fs::write(
        at("value.toml"),
        node.replacen(
            "[sleep]\ncurrent = \"",
            "[sleep]\ncurrent = \"\u{202e}\u{200b}",
            1,
        ),
    )
    .expect("written");
    for (command, code) in [
        (
            &["fit", "node.toml", "events.csv", "--capacitance", "0.93 F"][..],
            0,
        ),
        (&["fit", "node.toml", "columns.csv"], 1),
        (&["simulate", "node.toml", "--trace", "columns.csv"], 1),
        (&["simulate", "node.toml", "--trace", "cells.csv"], 1),
        (&["size", "node.toml", "--catalogue", "columns.csv"], 1),
        (&["cell", "columns.csv", "--current", "0.3", "--rated", "3"], 1),
        (&["cell", "discharge.csv", "--current", "0.3", "--rated", "3"], 1),
        (&["check", "key.toml"], 1),
        (&["check", "value.toml"], 1),
        (&["check", &word], 2),
        (&["generate", "node.toml", &word], 2),
        (&[&word], 2),
        (&["survival", "node.toml", "--light", &word], 2),
        (&["simulate", "node.toml", "--days", &word], 2),
    ] {
        let output = run(folder.path(), command);
        let said = errors(&output);
        assert_eq!(output.status.code(), Some(code), "{command:?}: {said}");
        for text in [&output.stdout, &output.stderr] {
            let text = String::from_utf8_lossy(text);
            assert!(is_plain(&text), "{command:?}: {text:?}");
        }
        assert!(said.contains("\\u{"), "{command:?}: {said}");
    }
}

/// A node that a program makes has names that no file brought: tables and pages show them as text all the same.
#[test]
fn names_of_a_node_made_by_a_program_are_shown_as_text() {
    use millpond::budget::Budget;
    use millpond::income::Income;
    use millpond::node::NodeFile;
    use millpond::progress::Unseen;
    use millpond::{emit, files, generated, printout, report};
    let mut file = NodeFile::load(bench::GAUGE).expect("the example");
    let node: &mut Node = &mut file.node;
    node.measure.phases[0].name = HOSTILE.to_owned();
    file.path = HOSTILE.to_owned();
    let budget = Budget::of(&file.node);
    let text = printout::budget::text(&budget);
    assert!(is_plain(&text) && text.contains("a\\u{1b}[2J"), "{text:?}");
    let json = printout::json(&printout::budget::View::of(&file.node, &budget));
    assert!(is_plain(&json), "{json:?}");
    let read: serde_json::Value = serde_json::from_str(&json).expect("JSON");
    assert_eq!(read["actions"]["measure"]["phases"][0]["name"], HOSTILE);

    let income = Income::of(&file.node.harvest.source);
    let inputs = [report::Input::of("node file", HOSTILE, "")];
    let sources = report::Sources {
        file: &file,
        inputs: &inputs,
        income: income.as_ref(),
        plan: None,
        days: 1.0,
        fit: None,
    };
    let page = report::page(&sources, &Unseen);
    assert!(is_plain(&page) && !page.contains("<b>"), "the page");
    let generated = generated::from_file(&file, &Unseen).expect("constants");
    for text in [
        generated.c_header(),
        generated.rust_module(),
        files::json(&generated.constants),
    ] {
        assert!(is_plain(&text));
    }
    let mut constants = generated.constants;
    constants.node = HOSTILE.to_owned();
    constants.thresholds[0].lines[0].0 = format!("{HOSTILE}*/ ??/ \\");
    for text in [
        emit::c_header(&constants),
        emit::rust_module(&constants),
        files::json(&constants),
    ] {
        assert!(is_plain(&text), "{text:?}");
    }
    let comment = emit::c_header(&constants);
    let first = comment.split("#ifndef").next().expect("the banner");
    assert_eq!(first.matches("*/").count(), 1, "{first}");
}
