//! No command writes over what it did not write, unless it is told to; and what it may write over it does.

mod tool;

use std::fs;
use std::path::Path;
use std::process::Output;

use tempfile::TempDir;
use tool::millpond;

fn folder() -> TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    let example = Path::new(env!("CARGO_MANIFEST_DIR")).join("../templates/nodes/crack-gauge.toml");
    fs::copy(example, folder.path().join("node.toml")).expect("copied");
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

/// Every option that writes a file, which is called `out`.
const WRITERS: [&[&str]; 8] = [
    &["generate", "node.toml", "--c", "out"],
    &["generate", "node.toml", "--rust", "out"],
    &["generate", "node.toml", "--json", "out"],
    &["generate", "node.toml", "--c", "p.h", "--depfile", "out"],
    &["simulate", "node.toml", "--days", "1", "--timeline", "out"],
    &["simulate", "node.toml", "--days", "1", "--picture", "out"],
    &[
        "fit",
        "node.toml",
        "dark.csv",
        "--capacitance",
        "0.93 F",
        "--write",
        "out",
    ],
    &["report", "node.toml", "--days", "1", "-o", "out"],
];

/// With a log that fixes something.
fn folder_with_log() -> TempDir {
    let folder = folder();
    let rows = (0..145).map(|row| format!("{},{}\n", 600 * row, 3600 - 4 * row));
    let log = format!("time_s,storage_mv\n{}", rows.collect::<String>());
    fs::write(folder.path().join("dark.csv"), log).expect("written");
    folder
}

fn done(folder: &Path, arguments: &[&str]) {
    let output = millpond(folder, arguments);
    assert_eq!(
        output.status.code(),
        Some(0),
        "{arguments:?}: {}",
        errors(&output)
    );
}

/// What a user has by that name stays, what the same option wrote before is replaced, and `--force` replaces all.
#[test]
fn only_what_this_tool_wrote_is_replaced() {
    let folder = folder_with_log();
    let out = folder.path().join("out");
    for command in WRITERS {
        for own in [
            "int main(void) { return 0; }\n",
            "time_s,storage_mv\n0,1\n",
            "{}\n",
            "\0",
            "all: out\n",
        ] {
            fs::write(&out, own).expect("written");
            refused(
                folder.path(),
                command,
                &[
                    "out stands there already",
                    "left as it is",
                    "--force to replace it",
                ],
            );
        }
        let forced = [command, &["--force"]].concat();
        done(folder.path(), &forced);
        let written = fs::read(&out).expect("readable");
        // Its own is written again, as is an empty file.
        done(folder.path(), command);
        fs::write(&out, "").expect("written");
        done(folder.path(), command);
        assert!(fs::read(&out).expect("readable") == written, "{command:?}");
        // Of another kind it is somebody's own, and none of the others.
        for other in WRITERS.iter().filter(|other| **other != command) {
            refused(folder.path(), other, &["out stands there already"]);
        }
        fs::remove_file(&out).expect("removed");
        done(folder.path(), command);
        let _ = fs::remove_file(folder.path().join("p.h"));
        fs::remove_file(&out).expect("removed");
    }
}

/// A copy of a node file that was edited is somebody's own.
#[test]
fn an_edited_copy_stays() {
    let folder = folder_with_log();
    let command = WRITERS[6];
    done(folder.path(), command);
    let out = folder.path().join("out");
    let copy = fs::read_to_string(&out).expect("readable");
    done(folder.path(), &["check", "out"]);
    fs::write(&out, copy.replacen("schema = 1", "schema = 1 # mine", 1)).expect("written");
    refused(folder.path(), command, &["somebody edited it since", "--force"]);
}

#[test]
fn read_only_files_stay_without_force() {
    let folder = folder_with_log();
    let out = folder.path().join("out");
    for command in WRITERS {
        done(folder.path(), command);
        let mut permissions = fs::metadata(&out).expect("there").permissions();
        permissions.set_readonly(true);
        fs::set_permissions(&out, permissions).expect("changed");
        refused(
            folder.path(),
            command,
            &["out is read-only", "--force to replace it"],
        );
        done(folder.path(), &[command, &["--force"]].concat());
        fs::remove_file(&out).expect("removed");
    }
}

/// No force writes over an input, two results into one file, over a folder, or over anything that `init` finds.
#[test]
fn force_costs_no_input() {
    let folder = folder_with_log();
    fs::create_dir(folder.path().join("folder")).expect("made");
    for (command, words) in [
        (
            &["generate", "node.toml", "--c", "node.toml", "--force"][..],
            "it would be lost",
        ),
        (
            &["generate", "node.toml", "--c", "x", "--rust", "./x", "--force"],
            "only one of them would be left",
        ),
        (
            &["fit", "node.toml", "dark.csv", "--write", "dark.csv", "--force"],
            "it would be lost",
        ),
        (
            &["generate", "node.toml", "--c", "folder", "--force"],
            "it is a folder",
        ),
        (&["init", "node.toml"], "exists and is left as it is"),
        (&["init", "node.toml", "--force"], "unexpected argument"),
        (
            &["generate", "node.toml", "--c", "x", "--verify", "--force"],
            "cannot be used with",
        ),
    ] {
        refused(folder.path(), command, &[words]);
    }
}

#[test]
fn manual_pages_replace_their_own_alone() {
    let folder = folder();
    done(folder.path(), &["manual", "pages"]);
    done(folder.path(), &["manual", "pages"]);
    let page = folder.path().join("pages/millpond.1");
    fs::write(&page, ".TH own 1\n").expect("written");
    let output = millpond(folder.path(), &["manual", "pages"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(
        errors(&output).contains("pages/millpond.1 stands there already"),
        "{}",
        errors(&output)
    );
    assert_eq!(fs::read_to_string(&page).expect("readable"), ".TH own 1\n");
    done(folder.path(), &["manual", "pages", "--force"]);
}

/// Behind a link the file that it leads to counts.
#[cfg(unix)]
#[test]
fn links_are_followed_to_what_stands_there() {
    let folder = folder();
    let at = |name: &str| folder.path().join(name);
    fs::write(at("main.c"), "int main(void) {}\n").expect("written");
    std::os::unix::fs::symlink("main.c", at("link")).expect("linked");
    refused(
        folder.path(),
        &["generate", "node.toml", "--c", "link"],
        &["link stands there already"],
    );
    std::os::unix::fs::symlink("policy.h", at("own")).expect("linked");
    done(folder.path(), &["generate", "node.toml", "--c", "own"]);
    done(folder.path(), &["generate", "node.toml", "--c", "own"]);
    assert!(fs::symlink_metadata(at("own")).expect("there").is_symlink());
    assert!(at("policy.h").is_file());
}

/// Standard output takes what it is given, wherever it leads: what stands in a file that it is added to stays.
#[cfg(unix)]
#[test]
fn standard_output_and_devices_are_written_to() {
    use std::process::{Command, Stdio};
    let folder = folder();
    let into = |options: &mut fs::OpenOptions, arguments: &[&str]| {
        let file = options
            .write(true)
            .create(true)
            .open(folder.path().join("all"))
            .expect("opened");
        let status = Command::new(env!("CARGO_BIN_EXE_millpond"))
            .args(arguments)
            .current_dir(folder.path())
            .stdout(file)
            .stderr(Stdio::null())
            .status();
        assert!(status.expect("it starts").success(), "{arguments:?}");
        fs::read_to_string(folder.path().join("all")).expect("readable")
    };
    let header = into(fs::OpenOptions::new().truncate(true), &["generate", "node.toml"]);
    for name in ["/dev/stdout", "/dev/fd/1"] {
        let command = ["generate", "node.toml", "--c", name];
        assert_eq!(into(fs::OpenOptions::new().truncate(true), &command), header);
        assert_eq!(
            into(fs::OpenOptions::new().append(true), &command),
            format!("{header}{header}")
        );
    }
    let timeline = [
        "simulate",
        "node.toml",
        "--days",
        "1",
        "--timeline",
        "/dev/stdout",
        "--picture",
        "/dev/null",
    ];
    let all = into(fs::OpenOptions::new().append(true), &timeline);
    assert!(
        all.starts_with(&header) && all.contains("\ntime_s,storage_v,offered_w,event,reports\n"),
        "{all}"
    );
    let output = millpond(folder.path(), &["generate", "node.toml", "--c", "/dev/null"]);
    assert_eq!(output.status.code(), Some(0), "{}", errors(&output));
}
