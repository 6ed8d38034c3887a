//! What goes with the command: completions, manual pages, and rules for build tools.

mod tool;

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use tool::millpond;

const GAUGE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../templates/nodes/crack-gauge.toml");

fn done(folder: &Path, arguments: &[&str]) -> String {
    let output = millpond(folder, arguments);
    let errors = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{arguments:?}: {errors}");
    String::from_utf8(output.stdout).expect("text")
}

/// The commands that the help lists.
fn commands(folder: &Path) -> BTreeSet<String> {
    let help = done(folder, &["--help"]);
    let list = help.split("Commands:").nth(1).expect("a list of commands");
    let list = list.split("Options:").next().unwrap_or_default();
    list.lines()
        .filter_map(|line| line.strip_prefix("  ")?.split(' ').next())
        .filter(|name| !name.is_empty() && *name != "help")
        .map(str::to_owned)
        .collect()
}

#[test]
fn completions_of_every_shell_know_every_command_and_an_option_of_each() {
    let folder = tempfile::tempdir().expect("a folder");
    let commands = commands(folder.path());
    assert!(
        commands.len() >= 18 && commands.contains("thresholds"),
        "{commands:?}"
    );
    for shell in ["bash", "elvish", "fish", "powershell", "zsh"] {
        let script = done(folder.path(), &["completions", shell]);
        for word in commands.iter().map(String::as_str).chain(["depfile", "trace"]) {
            assert!(script.contains(word), "{shell}: no {word}");
        }
    }
    assert_eq!(
        millpond(folder.path(), &["completions", "spreadsheet"])
            .status
            .code(),
        Some(2)
    );
}

/// The shell that is on every machine completes a command, an option and a value with it.
#[test]
fn bash_completes() {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(
        folder.path().join("script"),
        done(folder.path(), &["completions", "bash"]),
    )
    .expect("written");
    let complete = |words: &str, place: u32| {
        let line = format!(
            "source ./script; COMP_WORDS=({words}); COMP_CWORD={place}; _millpond millpond \"${{COMP_WORDS[{place}]}}\" \"${{COMP_WORDS[{place}-1]}}\"; \
             echo \"${{COMPREPLY[@]}}\""
        );
        let output = Command::new("bash")
            .args(["-c", &line])
            .current_dir(folder.path())
            .output();
        output
            .ok()
            .map(|output| String::from_utf8_lossy(&output.stdout).trim().to_owned())
    };
    let Some(command) = complete("millpond thr", 1) else {
        eprintln!("ignored: there is no bash here");
        return;
    };
    assert_eq!(command, "thresholds");
    assert_eq!(
        complete("millpond generate --dep", 2).as_deref(),
        Some("--depfile")
    );
    assert_eq!(
        complete("millpond init --example d", 3).as_deref(),
        Some("display-case")
    );
}

#[test]
fn every_command_has_its_manual_page_and_its_options_are_in_it() {
    let folder = tempfile::tempdir().expect("a folder");
    let said = millpond(folder.path(), &["manual", "share/man1"]);
    assert!(said.status.success());
    let pages = folder.path().join("share/man1");
    let commands = commands(folder.path());
    assert_eq!(
        fs::read_dir(&pages).expect("a folder").count(),
        commands.len() + 1
    );
    for command in &commands {
        let page = fs::read_to_string(pages.join(format!("millpond-{command}.1"))).expect(command);
        assert!(
            page.contains(".TH millpond-") && page.contains("millpond 0."),
            "{page}"
        );
        let help = done(folder.path(), &[command, "--help"]);
        let options = help
            .split([' ', ',', '\n'])
            .filter_map(|word| word.strip_prefix("--"));
        for option in options.filter(|option| !option.is_empty()) {
            let name: String = option
                .chars()
                .take_while(|c| c.is_alphanumeric() || *c == '-')
                .collect();
            assert!(
                page.contains(&name.replace('-', "\\-")),
                "{command}: no --{name} in\n{page}"
            );
        }
    }
    let again = millpond(folder.path(), &["manual", "share/man1"]);
    let again = String::from_utf8_lossy(&again.stderr).into_owned();
    assert!(
        again.lines().all(|line| line.starts_with("unchanged: ")),
        "{again}"
    );
    fs::write(folder.path().join("file"), "").expect("written");
    assert_eq!(
        millpond(folder.path(), &["manual", "file"]).status.code(),
        Some(2)
    );
}

/// Names with everything in them that make takes for its own.
const ODD_NODE: &str = "node $1 #2.toml";
const ODD_PROFILE: &str = "send current.csv";

#[test]
fn a_depfile_names_the_node_file_and_its_profiles_and_make_obeys_it() {
    let folder = tempfile::tempdir().expect("a folder");
    let profile = "time_s,current_ma\n0,40\n0.2,40\n";
    fs::write(folder.path().join(ODD_PROFILE), profile).expect("written");
    let text = fs::read_to_string(GAUGE).expect("readable");
    let start = text.find("[transmit]").expect("a section");
    let phases = start + text[start..].find("phases").expect("phases");
    let end = phases + text[phases..].find("\n]\n").expect("an end") + 3;
    let text = format!("{}profile = \"{ODD_PROFILE}\"\n{}", &text[..phases], &text[end..]);
    fs::write(folder.path().join(ODD_NODE), text).expect("written");
    let tool = env!("CARGO_BIN_EXE_millpond");
    let makefile = format!(
        "out/policy.h:\n\t{tool} generate 'node $$1 #2.toml' --c $@ --json out/policy.json --depfile out/policy.d\n\
         \ttouch $@\n-include out/policy.d\n"
    );
    fs::write(folder.path().join("Makefile"), makefile).expect("written");
    fs::create_dir(folder.path().join("out")).expect("made");

    let arguments = [
        "generate",
        ODD_NODE,
        "--c",
        "out/policy.h",
        "--json",
        "out/policy.json",
        "--depfile",
        "out/policy.d",
    ];
    done(folder.path(), &arguments);
    assert_eq!(
        fs::read_to_string(folder.path().join("out/policy.d")).expect("readable"),
        "out/policy.h out/policy.json: \\\n node\\ $$1\\ \\#2.toml \\\n send\\ current.csv\n\
         \nnode\\ $$1\\ \\#2.toml:\n\nsend\\ current.csv:\n"
    );

    let make = || Command::new("make").current_dir(folder.path()).output().ok();
    let Some(first) = make() else {
        eprintln!("ignored: there is no make here");
        return;
    };
    assert!(
        first.status.success(),
        "{}",
        String::from_utf8_lossy(&first.stderr)
    );
    let up_to_date = |output: Option<Output>| {
        String::from_utf8_lossy(&output.expect("make starts").stdout).contains("up to date")
    };
    assert!(up_to_date(make()));
    // A time of the far future: newer than the header whatever the clock of the file system resolves.
    for changed in [ODD_PROFILE, ODD_NODE] {
        let touched = Command::new("touch")
            .args(["-d", "2100-01-01", changed])
            .current_dir(folder.path())
            .status();
        assert!(touched.expect("touch starts").success());
        assert!(!up_to_date(make()), "{changed} changed and nothing was made");
        let back = Command::new("touch")
            .args(["-d", "2000-01-01", changed])
            .current_dir(folder.path())
            .status();
        assert!(back.expect("touch starts").success());
        assert!(up_to_date(make()));
    }
}

/// Names that a rule can hold, with whatever make takes for its own among them.
const WRITABLE: [&str; 20] = [
    "plain.toml",
    "a b.toml",
    " a.toml",
    "a  b",
    "#a.toml",
    "a#b #c.toml",
    "$a.toml",
    "$(shell touch broken).toml",
    "$a$$b.toml",
    "a:b.toml",
    "a: b.toml",
    "bench/2026-01-01 12:00.csv",
    "include",
    "include a",
    "define",
    "-include",
    "messung für µ.csv",
    "测量.csv",
    "a+b,c_d.e~f-g",
    "(a) b.csv",
];

/// Make itself reads a rule for each name, as an input and as an output: nothing to do, then something as the input is newer, then something
/// and no complaint as it is gone.
#[test]
fn make_reads_back_every_name_that_a_rule_can_hold() {
    let make = |folder: &Path, target: &str| {
        let target = if target.starts_with('-') {
            format!("./{target}")
        } else {
            target.to_owned()
        };
        let output = Command::new("make")
            .args([
                "--question",
                "--no-builtin-rules",
                "--file",
                ".rule",
                "--",
                &target,
            ])
            .current_dir(folder)
            .output();
        output.ok().map(|output| {
            let said = String::from_utf8_lossy(&output.stderr).into_owned();
            (output.status.code(), said)
        })
    };
    let mut refused = Vec::new();
    for name in WRITABLE {
        for is_input in [true, false] {
            let folder = tempfile::tempdir().expect("a folder");
            let (input, output) = if is_input {
                (name, "policy.h")
            } else {
                ("node.toml", name)
            };
            let rule = match millpond::files::depfile([Path::new(output)], [Path::new(input)]) {
                Ok(rule) => rule,
                Err(error) => {
                    refused.push(error.to_string());
                    continue;
                }
            };
            // With something to do, as only then it is asked whether there is.
            let rule = rule.replacen("\n\n", "\n\t@true\n\n", 1);
            fs::write(folder.path().join(".rule"), rule).expect("written");
            let place = |name: &str, second: &str| {
                let path = folder.path().join(name);
                fs::create_dir_all(path.parent().expect("a folder")).expect("made");
                fs::write(&path, "").expect("written");
                let date = format!("2001-01-01 00:00:{second}");
                let touched = Command::new("touch").args(["-d", &date]).arg(&path).status();
                assert!(touched.expect("touch starts").success());
            };
            place(input, "10");
            place(output, "20");
            let Some(first) = make(folder.path(), output) else {
                eprintln!("ignored: there is no make here");
                return;
            };
            assert_eq!(first.0, Some(0), "{name:?} as it is: {}", first.1);
            place(input, "30");
            let newer = make(folder.path(), output).expect("make starts");
            assert_eq!(newer.0, Some(1), "{name:?} newer: {}", newer.1);
            fs::remove_file(folder.path().join(input)).expect("removed");
            let gone = make(folder.path(), output).expect("make starts");
            assert_eq!(gone.0, Some(1), "{name:?} gone: {}", gone.1);
            assert!(!folder.path().join("broken").exists());
        }
    }
    assert_eq!(refused, Vec::<String>::new());
}

#[test]
fn a_depfile_needs_files_that_it_is_about() {
    let folder = tempfile::tempdir().expect("a folder");
    for arguments in [
        &["generate", GAUGE, "--depfile", "policy.d"][..],
        &[
            "generate",
            GAUGE,
            "--c",
            "policy.h",
            "--verify",
            "--depfile",
            "policy.d",
        ],
    ] {
        assert_eq!(
            millpond(folder.path(), arguments).status.code(),
            Some(2),
            "{arguments:?}"
        );
    }
    assert_eq!(fs::read_dir(folder.path()).expect("a folder").count(), 0);
}
