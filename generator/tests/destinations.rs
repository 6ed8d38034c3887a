//! No command writes over what it reads, or two results into one file; and what it cannot write it says before it computes.

mod tool;

use std::fs;
use std::path::Path;
use std::process::Output;

use tempfile::TempDir;
use tool::millpond;

/// So long a run would be noticed; it must not begin.
const LONG: [&str; 2] = ["--days", "36525"];

fn folder() -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    let example = Path::new(env!("CARGO_MANIFEST_DIR")).join("../templates/nodes/crack-gauge.toml");
    fs::copy(example, folder.path().join("node.toml")).expect("copied");
    let write = |name: &str, text: &str| fs::write(folder.path().join(name), text).expect("written");
    write("log.csv", "time_s,storage_mv\n0,3600\n600,3500\n1200,3400\n");
    write("trace.csv", "time_s,irradiance_w_m2\n0,100\n43200,0\n86400,100\n");
    folder
}

/// Every file of a folder with what it holds.
fn held(folder: &Path) -> Vec<(String, Vec<u8>)> {
    let mut held: Vec<(String, Vec<u8>)> = fs::read_dir(folder)
        .expect("a folder")
        .map(|entry| entry.expect("an entry"))
        .filter(|entry| entry.path().is_file())
        .map(|entry| {
            let name = entry.file_name().to_string_lossy().into_owned();
            (name, fs::read(entry.path()).expect("readable"))
        })
        .collect();
    held.sort();
    held
}

/// The command is refused as wrong usage with `words` in its message, and no file is touched.
fn refused(folder: &Path, arguments: &[&str], words: &[&str]) {
    let before = held(folder);
    let output = millpond(folder, arguments);
    let said = errors(&output);
    assert_eq!(output.status.code(), Some(2), "{arguments:?}: {said}");
    for word in words {
        assert!(said.contains(word), "{arguments:?}: no {word:?} in {said}");
    }
    assert!(!said.contains(".millpond-"), "{arguments:?}: {said}");
    assert!(output.stdout.is_empty(), "{arguments:?}");
    assert!(held(folder) == before, "{arguments:?}: a file was touched");
}

fn errors(output: &Output) -> String {
    String::from_utf8_lossy(&output.stderr).into_owned()
}

#[test]
fn no_command_writes_over_its_own_input() {
    let folder = folder();
    let commands: [(&[&str], &str, &str); 13] = [
        (
            &["generate", "node.toml", "--c", "node.toml"],
            "--c",
            "the node file",
        ),
        (
            &["generate", "node.toml", "--rust", "./node.toml"],
            "--rust",
            "the node file",
        ),
        (
            &["generate", "node.toml", "--json", "node.toml"],
            "--json",
            "the node file",
        ),
        (
            &["generate", "node.toml", "--c", "p.h", "--depfile", "node.toml"],
            "--depfile",
            "the node file",
        ),
        (
            &["simulate", "node.toml", "--timeline", "node.toml"],
            "--timeline",
            "the node file",
        ),
        (
            &["simulate", "node.toml", "--picture", "node.toml"],
            "--picture",
            "the node file",
        ),
        (
            &[
                "simulate",
                "node.toml",
                "--trace",
                "trace.csv",
                "--timeline",
                "trace.csv",
            ],
            "--timeline",
            "--trace",
        ),
        (
            &["fit", "node.toml", "log.csv", "--write", "log.csv"],
            "--write",
            "the log",
        ),
        (
            &["fit", "node.toml", "log.csv", "--write", "node.toml"],
            "--write",
            "the node file",
        ),
        (
            &["report", "node.toml", "-o", "node.toml"],
            "--output",
            "the node file",
        ),
        (
            &["report", "node.toml", "--log", "log.csv", "-o", "log.csv"],
            "--output",
            "--log",
        ),
        (
            &["report", "node.toml", "--trace", "trace.csv", "-o", "trace.csv"],
            "--output",
            "--trace",
        ),
        (
            &["workbench", "node.toml", "-o", "node.toml"],
            "--output",
            "the node file",
        ),
    ];
    for (arguments, output, input) in commands {
        refused(folder.path(), arguments, &[output, input, "choose another name"]);
    }
}

#[test]
fn two_results_do_not_go_into_one_file() {
    let folder = folder();
    for (arguments, first, second) in [
        (
            &["generate", "node.toml", "--c", "x", "--rust", "./x"][..],
            "--c",
            "--rust",
        ),
        (
            &["generate", "node.toml", "--json", "x", "--depfile", "x"],
            "--json",
            "--depfile",
        ),
        (
            &["simulate", "node.toml", "--picture", "x", "--timeline", "x"],
            "--picture",
            "--timeline",
        ),
    ] {
        refused(folder.path(), arguments, &[first, second, "a name of its own"]);
    }
}

/// A file that the node file names is an input too.
#[test]
fn profiles_are_inputs() {
    let folder = folder();
    let profile = "time_s,current_a\n0,0.001\n0.01,0\n";
    fs::write(folder.path().join("measure.csv"), profile).expect("written");
    let node = fs::read_to_string(folder.path().join("node.toml")).expect("readable");
    let (before, rest) = node.split_once("[measure]").expect("a section");
    let after = rest
        .find("\n[transmit]")
        .map(|at| &rest[at..])
        .expect("the next section");
    let text = format!("{before}[measure]\nprofile = \"measure.csv\"\n{after}");
    fs::write(folder.path().join("node.toml"), text).expect("written");
    let fine = millpond(folder.path(), &["generate", "node.toml", "--c", "policy.h"]);
    assert_eq!(fine.status.code(), Some(0), "{}", errors(&fine));
    let over = ["generate", "node.toml", "--c", "measure.csv"];
    refused(
        folder.path(),
        &over,
        &["--c (measure.csv)", "a profile of the node file"],
    );
}

/// Links of both kinds lead to the same file; a link to nowhere leads to where its file would be.
#[cfg(unix)]
#[test]
fn other_names_of_a_file_are_seen_through() {
    let folder = folder();
    let at = |name: &str| folder.path().join(name);
    std::os::unix::fs::symlink("node.toml", at("soft")).expect("linked");
    fs::hard_link(at("node.toml"), at("hard")).expect("linked");
    for name in ["soft", "hard"] {
        refused(
            folder.path(),
            &["generate", "node.toml", "--c", name],
            &["--c", "the node file"],
        );
    }
    std::os::unix::fs::symlink("later", at("nowhere")).expect("linked");
    refused(
        folder.path(),
        &["generate", "node.toml", "--c", "nowhere", "--rust", "later"],
        &["--c", "--rust"],
    );
    // A device keeps nothing that the second could spoil.
    let twice = ["generate", "node.toml", "--c", "/dev/null", "--rust", "/dev/null"];
    let output = millpond(folder.path(), &twice);
    assert_eq!(output.status.code(), Some(0), "{}", errors(&output));
}

/// Before a run of a hundred years, not after it.
#[test]
fn an_output_without_a_place_is_refused_at_once() {
    let folder = folder();
    let missing = "the folder no/such does not exist; make it first";
    for arguments in [
        &[
            "simulate",
            "node.toml",
            "--picture",
            "no/such/x",
            LONG[0],
            LONG[1],
        ][..],
        &[
            "simulate",
            "node.toml",
            "--timeline",
            "no/such/x",
            LONG[0],
            LONG[1],
        ],
        &["report", "node.toml", "-o", "no/such/x", LONG[0], LONG[1]],
        &["generate", "node.toml", "--c", "no/such/x"],
        &["fit", "node.toml", "log.csv", "--write", "no/such/x"],
        &["init", "no/such/x"],
    ] {
        refused(
            folder.path(),
            arguments,
            &["no/such/x cannot be written", missing],
        );
    }
    let picture = |path| ["simulate", "node.toml", "--picture", path, LONG[0], LONG[1]];
    refused(folder.path(), &picture("."), &["--picture", "it is a folder"]);
    refused(folder.path(), &picture("log.csv/x"), &["log.csv is not a folder"]);
    // Where nobody can make a file, whatever he may.
    if Path::new("/proc/self").exists() {
        refused(
            folder.path(),
            &picture("/proc/x"),
            &[
                "/proc/x cannot be written",
                "no file can be made in the folder /proc",
            ],
        );
    }
    for arguments in [
        &["generate", "node.toml", "--c", "-"][..],
        &["report", "node.toml", "-o", "-"],
        &["init", "-"],
    ] {
        refused(folder.path(), arguments, &["write /dev/stdout", "./-"]);
    }
}
