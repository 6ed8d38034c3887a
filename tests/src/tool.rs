//! Outside tools: found, or missed aloud.
//!
//! A missing tool must not look like a passed check. On a developer's machine its trials are shown as ignored and the
//! reason goes to stderr; where the variable `CI` is set they fail.

use std::collections::BTreeSet;
use std::env;
use std::io::Write as _;
use std::process::{Command, Stdio};
use std::sync::Mutex;

use libtest_mimic::{Failed, Trial};

/// A program that answers a trial call, with the arguments that come before a check's own.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Tool {
    /// Name or path of the program.
    pub program: String,
}

impl Tool {
    /// The first of `programs` that runs with `arguments` and reports success.
    ///
    /// ```
    /// use millpond_tests::tool::Tool;
    /// assert!(Tool::find(&["no-such-program"], &["--version"]).is_none());
    /// assert!(Tool::find(&["no-such-program", "cargo"], &["--version"]).is_some());
    /// ```
    pub fn find(programs: &[&str], arguments: &[&str]) -> Option<Self> {
        let answers = |program: &&&str| {
            Command::new(program)
                .args(arguments)
                .stdin(Stdio::null())
                .stdout(Stdio::null())
                .stderr(Stdio::null())
                .status()
                .is_ok_and(|status| status.success())
        };
        let program = programs.iter().find(answers)?;
        Some(Self {
            program: (*program).to_owned(),
        })
    }

    /// What a Python script says to a question in JSON, given on its standard input.
    ///
    /// # Errors
    ///
    /// If this is no interpreter, or the script fails.
    pub fn ask(&self, script: &str, question: &serde_json::Value) -> Result<Vec<u8>, Failed> {
        let mut child = self
            .command()
            .args(["-c", script])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()?;
        let mut stdin = child.stdin.take().ok_or("no way to ask the script")?;
        stdin.write_all(question.to_string().as_bytes())?;
        drop(stdin);
        let output = child.wait_with_output()?;
        if !output.status.success() {
            return Err(format!("the script failed: {}", output.status).into());
        }
        Ok(output.stdout)
    }

    /// A command that runs it.
    pub fn command(&self) -> Command {
        let mut command = Command::new(&self.program);
        command.stdin(Stdio::null());
        command
    }
}

/// The Python that has pvlib.
pub fn python_with_pvlib() -> Option<Tool> {
    python_with("import pandas, pvlib")
}

/// The Python that does what `imports` says: the one named by `MILLPOND_PYTHON`, or the first of the usual places.
pub fn python_with(imports: &str) -> Option<Tool> {
    let named = env::var("MILLPOND_PYTHON").ok();
    let own = concat!(env!("CARGO_MANIFEST_DIR"), "/../target/pvlib/bin/python");
    let programs: Vec<&str> = named
        .as_deref()
        .into_iter()
        .chain([own, "python3", "/usr/bin/python3"])
        .collect();
    Tool::find(&programs, &["-c", imports])
}

/// A trial that needs `tool`, described as `what`: ignored where it is missing, and failed where `CI` is set.
pub fn trial(
    name: String,
    tool: Option<&Tool>,
    what: &'static str,
    check: impl FnOnce(&Tool) -> Result<(), Failed> + Send + 'static,
) -> Trial {
    match tool.cloned() {
        Some(tool) => Trial::test(name, move || check(&tool)),
        None => Trial::test(name, move || {
            Err(format!("{what} is missing, and CI is set").into())
        })
        .with_ignored_flag(!in_ci()),
    }
}

/// Says on stderr that `what` is missing, if it is, and was not said to be before.
pub fn announce(tool: Option<&Tool>, what: &str) {
    static SAID: Mutex<BTreeSet<String>> = Mutex::new(BTreeSet::new());
    let is_new = || SAID.lock().is_ok_and(|mut said| said.insert(what.to_owned()));
    if tool.is_none() && is_new() {
        let fate = if in_ci() {
            "fail, since CI is set"
        } else {
            "are ignored"
        };
        eprintln!("warning: {what} is missing: the checks that need it {fate}");
    }
}

fn in_ci() -> bool {
    env::var_os("CI").is_some()
}
