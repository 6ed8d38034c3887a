//! What a machine does to a program: no room, no right, no reader, the end in the middle. Files that were there stay whole,
//! the next run works, and nothing panics.

#![cfg(unix)]

mod bench;

use std::ffi::OsString;
use std::fs;
use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::time::Duration;

use bench::{ANSWERS, TOOL, errors, folder, log, millpond, run};

/// Exit code of a Rust program that panicked.
const PANIC: i32 = 101;
/// What stands at a destination before; longer than no text at all and unlike anything that is written.
const OLD: &str = "as it was\n";

/// Commands that write a file, which is called `out`.
const WRITERS: [&[&str]; 7] = [
    &["init", "out"],
    &["generate", "node.toml", "--c", "out", "--force"],
    &["generate", "node.toml", "--rust", "out", "--force"],
    &[
        "generate",
        "node.toml",
        "--c",
        "policy.h",
        "--json",
        "policy.json",
        "--depfile",
        "out",
        "--force",
    ],
    &[
        "simulate",
        "node.toml",
        "--days",
        "1",
        "--picture",
        "out",
        "--force",
    ],
    &[
        "fit",
        "node.toml",
        "log.csv",
        "--capacitance",
        "0.93 F",
        "--write",
        "out",
        "--force",
    ],
    &["simulate", "node.toml", "--days", "1", "--timeline", "out"],
];

/// Those of [`WRITERS`] that write over a file. `init` never does; a timeline is written as it happens, so that what was
/// simulated is there when a run is ended.
fn replaces(command: &[&str]) -> bool {
    command[0] != "init" && !command.contains(&"--timeline")
}

/// The tool behind lines of a POSIX shell, which sets its limits.
fn behind(setting: &str, folder: &Path, arguments: &[&str]) -> Output {
    let mut command = Command::new("sh");
    command
        .args(["-c", &format!("{setting}; exec \"$0\" \"$@\""), TOOL])
        .args(arguments);
    command.current_dir(folder).output().expect("sh starts")
}

fn names(folder: &Path) -> Vec<OsString> {
    let entries = fs::read_dir(folder).expect("a folder");
    let mut names: Vec<OsString> = entries
        .map(|entry| entry.expect("an entry").file_name())
        .collect();
    names.sort();
    names
}

/// Not one more byte can be written to any file, as on a full disk.
#[test]
fn a_full_disk_changes_no_file_and_leaves_none_behind() {
    for command in WRITERS {
        let folder = folder();
        let out = folder.path().join("out");
        if replaces(command) {
            fs::write(&out, OLD).expect("written");
        }
        let before = names(folder.path());
        let output = behind("trap '' XFSZ; ulimit -f 0", folder.path(), command);
        let said = errors(&output);
        assert_eq!(output.status.code(), Some(2), "{command:?}: {said}");
        assert!(
            said.contains("out") || said.contains("policy.h"),
            "{command:?}: {said}"
        );
        if replaces(command) {
            assert_eq!(fs::read_to_string(&out).expect("readable"), OLD, "{command:?}");
        }
        if !command.contains(&"--timeline") {
            assert_eq!(names(folder.path()), before, "{command:?}");
        }
        assert!(!said.contains(".millpond-"), "{command:?}: {said}");
        // What was computed is shown although its picture found no room.
        if command.contains(&"--picture") {
            let answer = String::from_utf8_lossy(&output.stdout);
            assert!(answer.contains("longest silence"), "{answer}");
        }
        let again = run(folder.path(), command);
        assert!(again.status.success(), "{command:?}: {}", errors(&again));
    }
}

/// A file system of eight pages, full by a file: the same with the system's own word for it. Needs the right to mount.
#[test]
fn a_full_file_system_is_named_and_changes_no_file() {
    let folder = folder();
    let disk = folder.path().join("disk");
    fs::create_dir(&disk).expect("made");
    let script = "mount -t tmpfs -o size=32k none disk && cp node.toml disk/out 2>/dev/null; \
                  printf old > disk/out && head -c 100000 /dev/zero > disk/filler 2>/dev/null; \
                  mountpoint -q disk && { \"$0\" generate node.toml --c disk/out --force; echo code $?; cat disk/out; ls -A disk; umount disk; }";
    let output = Command::new("unshare")
        .args(["--mount", "--map-root-user", "sh", "-c", script, TOOL])
        .current_dir(folder.path())
        .output();
    let answer = output
        .as_ref()
        .map(|output| String::from_utf8_lossy(&output.stdout).into_owned());
    match answer {
        Ok(answer) if answer.contains("code ") => {
            let said = output.map(|output| errors(&output)).unwrap_or_default();
            assert_eq!(answer, "code 2\noldfiller\nout\n", "{said}");
            assert!(
                said.contains("disk/out cannot be written: No space left"),
                "{said}"
            );
        }
        _ => eprintln!("ignored: this process may not mount a file system"),
    }
}

#[test]
fn an_answer_that_finds_no_room_is_an_error() {
    let folder = folder();
    for command in ANSWERS {
        let Ok(full) = fs::OpenOptions::new().write(true).open("/dev/full") else {
            eprintln!("ignored: there is no /dev/full here");
            return;
        };
        let output = millpond(folder.path(), command)
            .stdout(full)
            .output()
            .expect("it starts");
        let said = errors(&output);
        // The library of the command line prints its help, and passes over failures.
        let wanted = if command[0] == "--help" { 0 } else { 2 };
        assert_eq!(output.status.code(), Some(wanted), "{command:?}: {said}");
        assert!(!said.contains("panicked"), "{command:?}: {said}");
        if wanted == 2 {
            assert!(
                said.contains("standard output cannot be written"),
                "{command:?}: {said}"
            );
        }
    }
}

#[test]
fn a_folder_that_is_none_or_may_not_be_written_is_an_error_that_names_it() {
    let folder = folder();
    for command in WRITERS {
        let replaced: Vec<&str> = command
            .iter()
            .map(|word| if *word == "out" { "log.csv/out" } else { *word })
            .collect();
        let output = run(folder.path(), &replaced);
        let said = errors(&output);
        assert_eq!(output.status.code(), Some(2), "{replaced:?}: {said}");
        assert!(
            said.contains("log.csv/out cannot be written: log.csv is not a folder"),
            "{said}"
        );
    }
    assert_eq!(
        fs::read_to_string(folder.path().join("log.csv")).expect("readable"),
        log()
    );

    let closed = folder.path().join("closed");
    fs::create_dir(&closed).expect("made");
    fs::set_permissions(&closed, std::os::unix::fs::PermissionsExt::from_mode(0o555)).expect("changed");
    if fs::write(closed.join("probe"), "").is_ok() {
        eprintln!("ignored: this user may write where nobody may");
        return;
    }
    let output = run(
        folder.path(),
        &["generate", "node.toml", "--c", "closed/policy.h"],
    );
    assert_eq!(output.status.code(), Some(2));
    let said = errors(&output);
    assert!(
        said.contains(
            "closed/policy.h cannot be written: no file can be made in the folder closed: Permission denied"
        ),
        "{said}"
    );
}

/// The first 512 bytes reach the disk, then the process is killed by the system.
#[test]
fn an_end_in_the_middle_of_writing_leaves_the_old_file() {
    for command in WRITERS.into_iter().filter(|command| replaces(command)) {
        let bench = folder();
        let out = bench.path().join("out");
        fs::write(&out, OLD).expect("written");
        let output = behind("ulimit -f 1", bench.path(), command);
        if output.status.code().is_none() {
            assert_eq!(fs::read_to_string(&out).expect("readable"), OLD, "{command:?}");
        } else {
            // Short enough to fit.
            assert!(
                output.status.success() && fs::metadata(&out).expect("there").len() <= 1024,
                "{command:?}"
            );
        }
        let again = run(bench.path(), command);
        assert!(again.status.success(), "{command:?}: {}", errors(&again));
        let fresh = folder();
        run(fresh.path(), command);
        assert_eq!(
            fs::read(&out).expect("there"),
            fs::read(fresh.path().join("out")).expect("there")
        );
    }
}

/// Killed anywhere in its run, the file is the old one or the new one.
#[test]
fn killed_at_any_moment_a_file_is_old_or_new() {
    let folder = folder();
    let out = folder.path().join("out");
    let command = ["generate", "node.toml", "--c", "out", "--force"];
    run(folder.path(), &command);
    let new = fs::read_to_string(&out).expect("readable");
    for milliseconds in 0..40 {
        fs::write(&out, OLD).expect("written");
        let mut child = millpond(folder.path(), &command)
            .stderr(Stdio::null())
            .spawn()
            .expect("it starts");
        std::thread::sleep(Duration::from_millis(milliseconds));
        child.kill().expect("killed, or ended");
        child.wait().expect("it ended");
        let text = fs::read_to_string(&out).expect("readable");
        assert!(text == OLD || text == new, "after {milliseconds} ms:\n{text}");
    }
    assert!(run(folder.path(), &command).status.success());
    assert_eq!(fs::read_to_string(&out).expect("readable"), new);
}

/// What cannot be replaced is written to.
#[test]
fn a_pipe_gets_the_text_and_stays_a_pipe() {
    use std::os::unix::fs::FileTypeExt as _;
    let folder = folder();
    let pipe = folder.path().join("pipe");
    assert!(
        Command::new("mkfifo")
            .arg(&pipe)
            .status()
            .expect("mkfifo starts")
            .success()
    );
    let mut child = millpond(folder.path(), &["generate", "node.toml", "--c", "pipe"])
        .spawn()
        .expect("it starts");
    let text = fs::read_to_string(&pipe).expect("readable");
    assert!(child.wait().expect("it ends").success());
    assert!(
        text.starts_with("/* Generated by millpond") && text.ends_with("*/\n"),
        "{text}"
    );
    assert!(fs::symlink_metadata(&pipe).expect("there").file_type().is_fifo());
}

/// As before `| head -1`: whoever read has gone.
#[test]
fn a_reader_that_has_gone_is_no_error() {
    let folder = folder();
    for command in ANSWERS {
        let (reader, writer) = std::io::pipe().expect("a pipe");
        drop(reader);
        let output = millpond(folder.path(), command)
            .stdout(writer)
            .output()
            .expect("it starts");
        assert_eq!(output.status.code(), Some(0), "{command:?}: {}", errors(&output));
        assert!(
            !errors(&output).contains("panicked"),
            "{command:?}: {}",
            errors(&output)
        );
    }
}

#[test]
fn nobody_to_listen_to_messages_is_no_panic() {
    let folder = folder();
    fs::write(folder.path().join("wrong.toml"), "a = 1\n").expect("written");
    fs::write(folder.path().join("odd.csv"), format!("{}x,y\n", log())).expect("written");
    let messages: [(&[&str], i32); 5] = [
        (&["check", "wrong.toml"], 1),
        (&["check", "missing.toml"], 2),
        (&["generate", "node.toml", "--c", "policy.h"], 0),
        (&["fit", "node.toml", "odd.csv"], 0),
        (&["init", "new.toml"], 0),
    ];
    for (command, code) in messages {
        let (reader, writer) = std::io::pipe().expect("a pipe");
        drop(reader);
        let status = millpond(folder.path(), command)
            .stdout(Stdio::null())
            .stderr(writer)
            .status();
        let status = status.expect("it starts");
        assert_ne!(status.code(), Some(PANIC), "{command:?}");
        assert_eq!(status.code(), Some(code), "{command:?}");
        let closed = behind("exec >&- 2>&- <&-", folder.path(), command);
        assert_ne!(closed.status.code(), Some(PANIC), "{command:?}");
    }
}
