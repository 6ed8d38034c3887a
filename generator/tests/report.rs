//! `millpond report` and `millpond workbench` on the command line.

mod tool;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;
#[cfg(target_os = "linux")]
use std::{
    io::Write as _,
    process::{Command, Stdio},
};

use millpond::budget::Budget;
use millpond::dividers::{Dividers, Options};
use millpond::findings;
use millpond::node::NodeFile;
#[cfg(target_os = "linux")]
use millpond::report::Input;
use millpond::report::{Report, Section};
use tool::millpond;

/// Short, so that the test is about the command and not about a year.
const DAYS: [&str; 2] = ["--days", "2"];

fn example(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("../templates/nodes/{name}.toml"))
}

/// The command that writes the page of a node; unlike `millpond`, for paths that are no text and input from a pipe.
#[cfg(target_os = "linux")]
fn page_of(folder: &Path, node: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_millpond"));
    command
        .current_dir(folder)
        .arg("report")
        .arg(node)
        .args(["-o", "page.html"])
        .args(DAYS);
    command
}

fn code(output: &Output) -> i32 {
    output.status.code().expect("it ended by itself")
}

fn stderr(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

#[test]
fn the_same_node_gives_the_same_page_wherever_it_stands() {
    let pages = ["one", "two"].map(|name| {
        let folder = tempfile::tempdir().expect("a folder");
        let inside = folder.path().join(name);
        fs::create_dir(&inside).expect("writable");
        fs::copy(example("display-case"), inside.join("node.toml")).expect("copied");
        let node = format!("{name}/node.toml");
        let output = millpond(
            folder.path(),
            &[&["report", &node, "-o", "page.html"][..], &DAYS].concat(),
        );
        assert_eq!(code(&output), 0, "{}", stderr(&output));
        fs::read_to_string(folder.path().join("page.html")).expect("written")
    });
    assert!(pages[0] == pages[1], "the pages differ");
    assert!(pages[0].contains("2 days of the nominal unit"));
}

/// A node that cannot work gets a page that says why, and exit code 1.
#[test]
fn a_node_that_cannot_work_gets_a_page_with_its_findings() {
    let folder = tempfile::tempdir().expect("a folder");
    let text = fs::read_to_string(example("crack-gauge")).expect("readable");
    fs::write(
        folder.path().join("node.toml"),
        text.replace("\"2.2 ohm\"", "\"12 ohm\""),
    )
    .expect("writable");
    let output = millpond(folder.path(), &["report", "node.toml", "-o", "page.html"]);
    assert_eq!(code(&output), 1, "{}", stderr(&output));
    let page = fs::read_to_string(folder.path().join("page.html")).expect("written");
    assert!(page.contains("this bank can never carry a transmission"));
    assert!(!page.contains("days of the nominal unit"));
}

/// What `dividers` cautions of stands in the page's one list, and no page says that all is well beside it. Without a comparator nothing is said
/// of resistors. Every page says what to do with a leaking cell.
#[test]
fn findings_of_all_stages_stand_in_one_list() {
    for name in ["crack-gauge", "display-case", "pump-bearing"] {
        let file = NodeFile::load(example(name)).expect("an example");
        let report = Report::of(&file);
        let section = report.section(Section::Findings);
        let mut findings = findings::of(&file.node, &Budget::of(&file.node), report.thresholds());
        if file.node.comparator.is_some() {
            findings.extend(Dividers::of(&file.node, &Options::USUAL).findings);
        }
        for finding in &findings {
            assert!(section.contains(finding.code), "{name} lacks {}", finding.code);
        }
        assert_eq!(findings.is_empty(), section.contains("No findings"), "{name}");
        assert_eq!(
            file.node.comparator.is_none(),
            section.contains("were not looked at"),
            "{name}"
        );
        assert!(
            report
                .section(Section::Closing)
                .contains("leaks: do not touch it, do not breathe it")
        );
    }
    let gauge = NodeFile::load(example("crack-gauge")).expect("an example");
    let section = Report::of(&gauge).section(Section::Findings);
    assert!(section.contains("gate-outside-tolerance") && section.contains("2.84 %"));
}

/// Nothing is written where an input is refused, and an old page stays.
#[test]
fn a_refused_input_leaves_the_old_page() {
    let folder = tempfile::tempdir().expect("a folder");
    fs::copy(example("crack-gauge"), folder.path().join("node.toml")).expect("copied");
    fs::write(folder.path().join("page.html"), "old").expect("writable");
    fs::write(folder.path().join("log.csv"), "time_s,storage_mv\nx,y\n").expect("writable");
    for (more, want) in [
        (&["--log", "log.csv"][..], 1),
        (&["--log", "missing.csv"], 2),
        (&["--trace", "missing.csv"], 2),
        (&["--days", "0"], 2),
        (&["--capacitance", "1 F"], 2),
    ] {
        let output = millpond(
            folder.path(),
            &[&["report", "node.toml", "-o", "page.html", "--force"], more].concat(),
        );
        assert_eq!(code(&output), want, "{more:?}: {}", stderr(&output));
        assert_eq!(
            fs::read_to_string(folder.path().join("page.html")).expect("still there"),
            "old"
        );
    }
}

/// The page states the hash of what was read: a pipe has its text only once.
#[cfg(target_os = "linux")]
#[test]
fn a_node_from_a_pipe_has_the_page_of_its_file() {
    let folder = tempfile::tempdir().expect("a folder");
    let page = |node: &Path, stdin: Stdio| {
        let output = page_of(folder.path(), node)
            .stdin(stdin)
            .output()
            .expect("the tool starts");
        assert_eq!(code(&output), 0, "{}", stderr(&output));
        fs::read_to_string(folder.path().join("page.html")).expect("written")
    };
    let text = fs::read_to_string(example("display-case")).expect("readable");
    let (pipe, mut writer) = std::io::pipe().expect("a pipe");
    // A node file is shorter than what a pipe holds.
    writer.write_all(text.as_bytes()).expect("written");
    drop(writer);
    let of_pipe = page(Path::new("/dev/stdin"), pipe.into());
    let of_file = page(&example("display-case"), Stdio::null());
    assert!(
        of_pipe.replace("stdin", "display-case.toml") == of_file,
        "the pages differ"
    );
    // Of all inputs together, and of the file in the list; this node has no other.
    let sha256 = Input::of("node file", "", &text).sha256;
    assert_eq!(of_file.matches(&sha256).count(), 2);
}

#[cfg(target_os = "linux")]
#[test]
fn a_node_file_whose_name_is_no_text_gets_its_page() {
    use std::ffi::OsStr;
    use std::os::unix::ffi::OsStrExt as _;
    let folder = tempfile::tempdir().expect("a folder");
    let name = OsStr::from_bytes(b"node-\xff.toml");
    fs::copy(example("display-case"), folder.path().join(name)).expect("copied");
    let output = page_of(folder.path(), Path::new(name))
        .output()
        .expect("the tool starts");
    assert_eq!(code(&output), 0, "{}", stderr(&output));
}

#[cfg(not(feature = "workbench"))]
#[test]
fn without_the_feature_the_workbench_says_how_to_get_it() {
    let folder = tempfile::tempdir().expect("a folder");
    fs::copy(example("crack-gauge"), folder.path().join("node.toml")).expect("copied");
    let output = millpond(folder.path(), &["workbench", "node.toml"]);
    assert_eq!(code(&output), 2);
    assert!(
        stderr(&output).contains("--features workbench"),
        "{}",
        stderr(&output)
    );
}
