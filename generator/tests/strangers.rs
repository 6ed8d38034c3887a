//! A node file from anybody is only data: what it names outside its folder is not read, what it names inside is not shown unless it is
//! a profile, and nothing that it names keeps the command waiting.

#![cfg(unix)]

mod bench;

use std::fs;
use std::os::unix::fs::symlink;
use std::path::Path;
use std::process::{Command, Output, Stdio};
use std::thread;
use std::time::{Duration, Instant};

use bench::{ANSWERS, GAUGE, TOOL, errors, folder, millpond, run};
use tempfile::TempDir;

/// What nobody may see.
const SECRET: &str = "not-to-be-repeated";
/// A command that waits for what does not come is ended after this; an answer takes a small part of it.
const MOST_WAIT: Duration = Duration::from_secs(60);

/// The example with a profile of that name for its boot.
fn naming(profile: &str) -> String {
    let text = fs::read_to_string(GAUGE).expect("readable");
    let start = text.find("[boot]").expect("a section");
    let end = start + text[start..].find("\n[").expect("another section");
    format!(
        "{}[boot]\nprofile = '{profile}'\n{}",
        &text[..start],
        &text[end..]
    )
}

/// Every command that reads a node file, on `hostile.toml`.
const READERS: [&[&str]; 16] = [
    &["check", "hostile.toml"],
    &["check", "hostile.toml", "--format", "json"],
    &["budget", "hostile.toml"],
    &["thresholds", "hostile.toml"],
    &["generate", "hostile.toml"],
    &["generate", "hostile.toml", "--c", "p.h", "--depfile", "p.d"],
    &["generate", "hostile.toml", "--c", "p.h", "--verify"],
    &["simulate", "hostile.toml", "--days", "1"],
    &["survival", "hostile.toml"],
    &["size", "hostile.toml", "--days", "1"],
    &["fit", "hostile.toml", "log.csv"],
    &["log-plan", "hostile.toml"],
    &["report", "hostile.toml", "-o", "page.html"],
    &["compare", "node.toml", "hostile.toml"],
    &["compare", "hostile.toml", "node.toml"],
    &["dividers", "hostile.toml"],
];

/// The command's answer, which has to come by itself.
fn answer(folder: &Path, arguments: &[&str]) -> Output {
    let mut child = millpond(folder, arguments)
        .env("SECRET", SECRET)
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it starts");
    let until = Instant::now() + MOST_WAIT;
    while child.try_wait().expect("a child").is_none() {
        if Instant::now() > until {
            child.kill().expect("killed");
            panic!("{arguments:?} does not end");
        }
        thread::sleep(Duration::from_millis(5));
    }
    child.wait_with_output().expect("it ended")
}

/// Nothing of what is named reaches any output; `words` stand in the message.
fn refused(folder: &TempDir, profile: &str, words: &str) {
    fs::write(folder.path().join("hostile.toml"), naming(profile)).expect("written");
    for command in READERS {
        let output = answer(folder.path(), command);
        let said = errors(&output);
        assert_eq!(output.status.code(), Some(1), "{profile} {command:?}: {said}");
        assert!(
            said.contains(words),
            "{profile} {command:?}: no {words:?} in {said}"
        );
        let all = [output.stdout, output.stderr].concat();
        assert!(
            !String::from_utf8_lossy(&all).contains(SECRET),
            "{profile} {command:?}: {said}"
        );
    }
    for written in ["p.h", "p.d", "page.html"] {
        assert!(!folder.path().join(written).exists(), "{profile}: {written}");
    }
}

#[test]
fn what_stands_elsewhere_is_not_read() {
    let folder = folder();
    for (profile, words) in [
        ("/proc/self/environ", "starts at a root"),
        (
            "../../../../../../../../proc/self/environ",
            "leads out of the folder",
        ),
        ("bench/../../secret", "leads out of the folder"),
        ("C:\\secret", "has a backslash"),
        ("c:secret", "starts at a root"),
    ] {
        refused(&folder, profile, words);
    }
}

#[test]
fn links_lead_nowhere_else() {
    let folder = folder();
    let elsewhere = tempfile::tempdir().expect("a folder");
    let profile = format!("time_s,current_ma\n0,4\n# {SECRET}\n0,10\n");
    fs::write(elsewhere.path().join("secret.csv"), profile).expect("written");
    symlink(
        elsewhere.path().join("secret.csv"),
        folder.path().join("link.csv"),
    )
    .expect("linked");
    symlink(elsewhere.path(), folder.path().join("bench")).expect("linked");
    symlink("/proc/self/environ", folder.path().join("environment.csv")).expect("linked");
    symlink("/dev/zero", folder.path().join("zero.csv")).expect("linked");
    for profile in ["link.csv", "bench/secret.csv", "environment.csv", "zero.csv"] {
        refused(
            &folder,
            profile,
            "leads out of the folder of the node file, by a link",
        );
    }
}

#[test]
fn what_is_no_plain_file_is_not_opened() {
    let folder = folder();
    let pipe = Command::new("mkfifo")
        .arg(folder.path().join("pipe.csv"))
        .status();
    assert!(pipe.expect("mkfifo starts").success());
    let _socket = std::os::unix::net::UnixListener::bind(folder.path().join("socket.csv")).expect("bound");
    fs::create_dir(folder.path().join("folder.csv")).expect("made");
    refused(&folder, "pipe.csv", "is a pipe, a device or a socket");
    refused(&folder, "socket.csv", "is a pipe, a device or a socket");
    refused(&folder, "folder.csv", "is a folder");
}

/// A profile below the folder serves, by its name and by a link that stays inside.
#[test]
fn what_stands_below_is_read() {
    let folder = folder();
    fs::create_dir(folder.path().join("bench")).expect("made");
    fs::write(
        folder.path().join("bench/boot.csv"),
        "time_s,current_ma\n0,4\n0.045,0\n",
    )
    .expect("written");
    symlink("bench/boot.csv", folder.path().join("boot.csv")).expect("linked");
    for profile in ["bench/boot.csv", "./bench/boot.csv", "boot.csv"] {
        fs::write(folder.path().join("node.toml"), naming(profile)).expect("written");
        for command in ANSWERS {
            let output = run(folder.path(), command);
            assert!(
                output.status.success(),
                "{profile} {command:?}: {}",
                errors(&output)
            );
        }
    }
}

/// A text in the folder that is no profile, in whichever way it is none.
#[test]
fn nothing_is_repeated_of_what_is_no_profile() {
    let folder = folder();
    for text in [
        format!("PASSWORD={SECRET}\n"),
        format!("# {SECRET}\n"),
        SECRET.to_owned(),
        format!("time_s\n{SECRET}\n"),
        format!("time_s,{SECRET}\n0,1\n"),
        format!("time_s,current_ma,{SECRET}\n"),
        format!("\"{SECRET}\ntime_s,current_ma\n"),
        format!("{SECRET}\ntime_s,current_ma\n0,1\n1,1\n"),
    ] {
        fs::write(folder.path().join("foreign.csv"), text).expect("written");
        refused(&folder, "foreign.csv", "profile foreign.csv");
    }
    let bytes = [b"\xff\xfe".as_slice(), SECRET.as_bytes()].concat();
    fs::write(folder.path().join("foreign.csv"), bytes).expect("written");
    refused(&folder, "foreign.csv", "is not text");
}

/// What the user names himself is his to choose: another command's output, a pipe, standard input. A named pipe is said to be one.
#[test]
fn pipes_of_the_user_are_read() {
    let folder = folder();
    let shell = |line: &str| {
        let output = Command::new("bash")
            .args(["-c", line, TOOL])
            .current_dir(folder.path())
            .stdin(Stdio::null())
            .output();
        output.ok()
    };
    let Some(plain) = shell("\"$0\" check node.toml") else {
        eprintln!("ignored: there is no bash here");
        return;
    };
    assert!(plain.status.success());
    for line in [
        "\"$0\" check <(cat node.toml)",
        "cat node.toml | \"$0\" check /dev/stdin",
        "\"$0\" check /dev/stdin < node.toml",
        "mkfifo named && (cat node.toml > named & \"$0\" check named)",
    ] {
        let output = shell(line).expect("it starts");
        let said = errors(&output);
        assert!(
            output.status.success() && output.stdout == plain.stdout,
            "{line}: {said}"
        );
        assert_eq!(
            said.contains("named is a pipe; it is read until"),
            line.contains("mkfifo"),
            "{line}: {said}"
        );
    }
    let missing = run(folder.path(), &["check", "missing.toml"]);
    assert_eq!(missing.status.code(), Some(2));
}
