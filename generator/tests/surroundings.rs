//! Where a program runs: odd names, languages, time zones, terminals. The bytes are the same everywhere.

#![cfg(unix)]

mod bench;

use std::ffi::{OsStr, OsString};
use std::fs;
use std::os::unix::ffi::OsStrExt as _;
use std::path::PathBuf;
use std::process::{Command, Stdio};

use bench::{ANSWERS, TOOL, errors, folder, millpond, run};
use tempfile::TempDir;

/// Names that are no UTF-8, which this system allows.
#[test]
fn names_that_are_no_text_are_names() {
    let folder = folder();
    let odd = |name: &str| {
        let mut bytes = b"\xff\xfe".to_vec();
        bytes.extend(name.bytes());
        OsStr::from_bytes(&bytes).to_owned()
    };
    for name in ["node.toml", "log.csv", "trace.csv", "cell.csv", "parts.csv"] {
        fs::rename(folder.path().join(name), folder.path().join(odd(name))).expect("renamed");
    }
    let word = |name: &str| OsString::from(name);
    let (node, out) = (odd("node.toml"), odd("out"));
    let commands: [Vec<OsString>; 8] = [
        vec![word("check"), node.clone()],
        vec![word("generate"), node.clone(), word("--c"), out.clone()],
        vec![
            word("generate"),
            node.clone(),
            word("--c"),
            out.clone(),
            word("--verify"),
        ],
        vec![
            word("simulate"),
            node.clone(),
            word("--days=1"),
            word("--trace"),
            odd("trace.csv"),
        ],
        vec![
            word("fit"),
            node.clone(),
            odd("log.csv"),
            word("--capacitance=0.93 F"),
            word("--write"),
            odd("copy.toml"),
        ],
        vec![
            word("cell"),
            odd("cell.csv"),
            word("--current=0.3"),
            word("--rated=3"),
        ],
        vec![
            word("size"),
            node.clone(),
            word("--days=1"),
            word("--catalogue"),
            odd("parts.csv"),
        ],
        vec![word("init"), odd("new.toml")],
    ];
    for command in &commands {
        let output = run(folder.path(), command);
        // A catalogue of one part may serve or not.
        let codes: &[i32] = if command[0] == "size" { &[0, 1] } else { &[0] };
        let code = output.status.code().expect("it ends by itself");
        assert!(codes.contains(&code), "{command:?}: {}", errors(&output));
    }
    // A rule for make would be another name.
    let rule = [
        word("generate"),
        node,
        word("--c"),
        out,
        word("--depfile"),
        odd("d"),
    ];
    let refused = run(folder.path(), &rule);
    assert_eq!(refused.status.code(), Some(2));
    assert!(
        errors(&refused).contains("it is no UTF-8 text"),
        "{}",
        errors(&refused)
    );
    let wrong = odd("wrong.toml");
    fs::write(folder.path().join(&wrong), "a = 1\n").expect("written");
    let refused = run(folder.path(), &[word("check"), wrong]);
    assert_eq!(refused.status.code(), Some(1));
    assert!(
        errors(&refused).contains("wrong.toml:1:1"),
        "{}",
        errors(&refused)
    );
}

/// Language, time zone, width of the terminal, number of cores and folder change no byte.
#[test]
fn settings_of_the_machine_change_no_byte() {
    let settings: [&[(&str, &str)]; 4] = [
        &[
            ("LC_ALL", "tr_TR.UTF-8"),
            ("LANG", "tr_TR.UTF-8"),
            ("TZ", "Pacific/Kiritimati"),
            ("COLUMNS", "20"),
        ],
        &[
            ("LC_ALL", "nonsense"),
            ("TZ", ":no/such/zone"),
            ("TERM", "dumb"),
            ("RAYON_NUM_THREADS", "1"),
        ],
        &[
            ("LC_ALL", ""),
            ("TZ", "<x>+99:99"),
            ("TERM", ""),
            ("RAYON_NUM_THREADS", "3"),
            ("TMPDIR", "/nowhere"),
        ],
        &[
            ("LC_NUMERIC", "de_DE.UTF-8"),
            ("TZ", "\u{fffd}"),
            ("HOME", ""),
            ("PATH", ""),
        ],
    ];
    let more: [&[&str]; 3] = [
        &[
            "simulate",
            "node.toml",
            "--days",
            "2",
            "--parts",
            "3",
            "--trace",
            "trace.csv",
        ],
        &["fit", "node.toml", "local.csv", "--format", "json"],
        &[
            "generate",
            "node.toml",
            "--c",
            "policy.h",
            "--rust",
            "policy.rs",
            "--json",
            "policy.json",
        ],
    ];
    let prepared = || {
        let folder = folder();
        let rows = (0..60).map(|second| format!("2024-03-31T02:30:{second:02},{}\n", 3200 - second));
        let text = format!("time,storage_mv\n{}", rows.collect::<String>());
        fs::write(folder.path().join("local.csv"), text).expect("written");
        folder
    };
    let usual = prepared();
    for setting in settings {
        let folder = prepared();
        for command in ANSWERS
            .into_iter()
            .filter(|command| command[0] != "--help")
            .chain(more)
        {
            let want = run(usual.path(), command);
            let got = millpond(folder.path(), command)
                .envs(setting.iter().copied())
                .output()
                .expect("it starts");
            assert_eq!(want.status.code(), Some(0), "{command:?}: {}", errors(&want));
            assert_eq!(got.status.code(), want.status.code(), "{command:?} {setting:?}");
            assert_eq!(
                String::from_utf8_lossy(&got.stdout),
                String::from_utf8_lossy(&want.stdout),
                "{command:?} {setting:?}"
            );
        }
        for name in ["policy.h", "policy.rs", "policy.json"] {
            let read = |folder: &TempDir| fs::read(folder.path().join(name)).expect("written");
            assert_eq!(read(&folder), read(&usual), "{name} {setting:?}");
        }
    }
}

/// The escape character, with which every colour begins.
const ESCAPE: u8 = 0x1b;

#[test]
fn without_a_terminal_there_is_no_escape_code() {
    let folder = folder();
    fs::write(folder.path().join("wrong.toml"), "a = 1\n").expect("written");
    let refused: [&[&str]; 3] = [&["check", "wrong.toml"], &["check"], &["nonsense"]];
    for command in ANSWERS.into_iter().chain(refused) {
        let output = millpond(folder.path(), command)
            .env("TERM", "xterm-256color")
            .output()
            .expect("it starts");
        assert!(!output.stdout.contains(&ESCAPE), "{command:?}");
        assert!(!output.stderr.contains(&ESCAPE), "{command:?}");
    }
}

/// On a terminal, messages have colour unless NO_COLOR is set or the terminal knows none.
#[test]
fn on_a_terminal_no_color_is_obeyed() {
    let folder = folder();
    fs::write(folder.path().join("wrong.toml"), "a = 1\n").expect("written");
    let on_a_terminal = |command: &str, setting: (&str, &str)| {
        let transcript = PathBuf::from("transcript");
        let output = Command::new("script")
            .args(["-q", "-e", "-c", &format!("{TOOL} {command}")])
            .arg(&transcript)
            .current_dir(folder.path())
            .env_remove("NO_COLOR")
            // Where it is set, some take any terminal for one with colours.
            .env_remove("CI")
            .env("TERM", "xterm-256color")
            .env(setting.0, setting.1)
            .stdin(Stdio::null())
            .output();
        output.ok().map(|output| {
            assert_ne!(output.status.code(), Some(0), "{command}");
            fs::read(folder.path().join(transcript))
                .expect("a transcript")
                .contains(&ESCAPE)
        })
    };
    for command in ["check wrong.toml", "check --nonsense"] {
        let Some(coloured) = on_a_terminal(command, ("MILLPOND_TEST", "1")) else {
            eprintln!("ignored: there is no `script` here");
            return;
        };
        assert!(coloured, "{command}: no colour on a terminal");
        assert_eq!(
            on_a_terminal(command, ("NO_COLOR", "1")),
            Some(false),
            "{command}"
        );
        assert_eq!(on_a_terminal(command, ("TERM", "dumb")), Some(false), "{command}");
    }
}
