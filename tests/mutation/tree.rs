//! A copy of the sources in which mistakes are made, and what the tests of that copy say.
//!
//! The headers are rendered once. A mistake in the C template is made in the rendered headers, which are compiled to a
//! shared library that the agreement test of the copy loads: no other Rust code has to be built again.

use std::ffi::OsStr;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

use millpond_tests::command::GENERATOR;
use serde_json::Value;

/// What the packages need to be built and tested; the results of builds stay behind.
const PARTS: [&str; 7] = [
    "Cargo.toml",
    "Cargo.lock",
    "docs",
    "policy-core",
    "generator",
    "templates",
    "tests",
];
/// A test that takes this many times as long as without a mistake does not end.
const PATIENCE: u32 = 4;
/// Time that a test gets in any case: a busy machine may be this slow.
const LEAST_TIME: Duration = Duration::from_secs(60);
/// Time for the tests without a mistake.
const FIRST_TIME: Duration = Duration::from_secs(600);
/// Tests that hold the crate against the header.
const AGREEMENT: [&str; 4] = ["-p", "millpond-tests", "--test", "agreement"];
/// Who is asked, one after the other: each the arguments of `cargo test`.
pub(crate) type Asked = [Vec<&'static str>; 2];

/// Who is asked of a mistake in the crate: its own tests, then the agreement.
pub(crate) fn of_policy() -> Asked {
    [
        vec!["-p", "millpond-policy", "--lib", "--tests"],
        AGREEMENT.to_vec(),
    ]
}

/// Who is asked of a mistake in the generator: its own tests, then the outside witnesses of its equations.
pub(crate) fn of_generator() -> Asked {
    let packages = GENERATOR.iter().flat_map(|package| ["-p", package]);
    [
        packages.chain(["--lib"]).collect(),
        vec!["-p", "millpond-tests", "--test", "scipy", "--test", "ngspice"],
    ]
}

/// Stack of each test's thread.
const STACK_BYTES: &str = "16777216";
/// How often a running test is looked at.
const GLANCE: Duration = Duration::from_millis(20);

/// A copy to make mistakes of C in.
pub(crate) struct Header {
    root: PathBuf,
    /// Where the headers are, each named as its prefix, and the library made of them.
    headers: PathBuf,
    agreement: Vec<PathBuf>,
    time_limit: Duration,
}

/// A copy to make mistakes of Rust in.
pub(crate) struct Crate {
    root: PathBuf,
    asked: Asked,
    time_limit: Duration,
}

/// What the tests say of a mistake.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum Verdict {
    /// The first test that fails.
    KilledBy(String),
    Survives,
}

impl Header {
    /// Copies the sources at `source` to `root`, builds them and checks that they pass unharmed.
    pub(crate) fn new(source: &Path, root: PathBuf) -> Self {
        copy_sources(source, &root);
        let headers = build(&root, &AGREEMENT).headers.expect("the build script ran");
        let library = root.join("tests/agreement/c_side.rs");
        replace(&library, "kind = \"static\"", "kind = \"dylib\"");
        link(&root, &headers).expect("the headers compile");
        let agreement = build(&root, &AGREEMENT).programs;
        let mut header = Self {
            root,
            headers,
            agreement,
            time_limit: FIRST_TIME,
        };
        header.time_limit = time_limit(|| header.ask());
        header
    }

    /// Makes a mistake in every rendered header that has its place, and asks the agreement test.
    pub(crate) fn with_mistake(&self, from: &str, to: &str) -> Verdict {
        let mut originals = Vec::new();
        for path in with_extension(&self.headers, "h") {
            let prefix = path.file_stem().expect("a name").to_string_lossy();
            let text = fs::read_to_string(&path).expect("a header");
            let (from, to) = (named(from, &prefix), named(to, &prefix));
            let places = text.matches(&from).count();
            assert!(
                places <= 1,
                "{from:?} stands {places} times in {}",
                path.display()
            );
            if places == 1 {
                fs::write(&path, text.replace(&from, &to)).expect("written");
                originals.push((path, text));
            }
        }
        assert!(!originals.is_empty(), "no header has {from:?}");
        let verdict = match link(&self.root, &self.headers) {
            Ok(()) => self.ask(),
            Err(message) => Verdict::KilledBy(format!("the compiler: {message}")),
        };
        for (path, text) in originals {
            fs::write(path, text).expect("written");
        }
        verdict
    }

    fn ask(&self) -> Verdict {
        run(&self.agreement, &self.headers, self.time_limit)
    }
}

impl Crate {
    /// Copies the sources at `source` to `root`, builds the first tests that are asked and checks that they pass unharmed.
    pub(crate) fn new(source: &Path, root: PathBuf, asked: Asked) -> Self {
        copy_sources(source, &root);
        let own = build(&root, &asked[0]).programs;
        let time_limit = time_limit(|| run(&own, &root, FIRST_TIME));
        Self {
            root,
            asked,
            time_limit,
        }
    }

    /// Makes a mistake in a file of the crate, and asks one after the other until somebody finds it.
    pub(crate) fn with_mistake(&self, file: &str, from: &str, to: &str) -> Verdict {
        let path = self.root.join(file);
        let original = fs::read_to_string(&path).expect("a source");
        replace(&path, from, to);
        let verdict = self
            .asked
            .iter()
            .zip([self.time_limit, FIRST_TIME])
            .map(|(tests, time_limit)| run(&build(&self.root, tests).programs, &self.root, time_limit))
            .find(|verdict| *verdict != Verdict::Survives)
            .unwrap_or(Verdict::Survives);
        fs::write(path, original).expect("written");
        verdict
    }
}

/// Runs test programs, with shared libraries in `libraries`, until one fails.
fn run(programs: &[PathBuf], libraries: &Path, time_limit: Duration) -> Verdict {
    let mut verdicts = programs.iter().map(|program| {
        let mut command = Command::new(program);
        command
            .env("LD_LIBRARY_PATH", libraries)
            // What fails under a mistake is no case to keep.
            .env("PROPTEST_DISABLE_FAILURE_PERSISTENCE", "1")
            // Plans in debug code take more than the usual 2 MiB.
            .env("RUST_MIN_STACK", STACK_BYTES);
        judge(command, time_limit)
    });
    verdicts
        .find(|verdict| *verdict != Verdict::Survives)
        .unwrap_or(Verdict::Survives)
}

/// How long the tests may take, from how long they take without a mistake.
fn time_limit(ask: impl Fn() -> Verdict) -> Duration {
    let start = Instant::now();
    assert_eq!(ask(), Verdict::Survives, "without a mistake");
    (start.elapsed() * PATIENCE).max(LEAST_TIME)
}

/// The text for the header with this prefix.
fn named(text: &str, prefix: &str) -> String {
    text.replace("{{ p }}", &format!("{prefix}_"))
        .replace("{{ P }}", &format!("{}_", prefix.to_uppercase()))
}

fn copy_sources(source: &Path, root: &Path) {
    fs::create_dir_all(root).expect("a folder");
    for part in PARTS {
        copy(&source.join(part), &root.join(part));
    }
}

fn copy(from: &Path, to: &Path) {
    if from.is_dir() {
        fs::create_dir_all(to).expect("a folder");
        for entry in fs::read_dir(from).expect("a folder") {
            let entry = entry.expect("an entry");
            if entry.file_name() != OsStr::new("target") {
                copy(&entry.path(), &to.join(entry.file_name()));
            }
        }
    } else {
        fs::copy(from, to).expect("copied");
    }
}

fn replace(path: &Path, from: &str, to: &str) {
    let text = fs::read_to_string(path).expect("a source");
    assert_eq!(text.matches(from).count(), 1, "{from:?} in {}", path.display());
    fs::write(path, text.replace(from, to)).expect("written");
}

/// The files of a folder whose names end so, in the order of their names.
fn with_extension(folder: &Path, extension: &str) -> Vec<PathBuf> {
    let mut paths: Vec<PathBuf> = fs::read_dir(folder)
        .expect("a folder")
        .map(|entry| entry.expect("an entry").path())
        .filter(|path| path.extension() == Some(OsStr::new(extension)))
        .collect();
    paths.sort_unstable();
    paths
}

/// What cargo made.
struct Build {
    /// Where the headers are, if a build script wrote them.
    headers: Option<PathBuf>,
    /// The test programs.
    programs: Vec<PathBuf>,
}

/// Builds tests of the copy.
fn build(root: &Path, arguments: &[&str]) -> Build {
    let output = Command::new(env!("CARGO"))
        .current_dir(root)
        .arg("test")
        .args(arguments)
        .args(["--no-run", "--message-format", "json-render-diagnostics"])
        .output()
        .expect("cargo runs");
    let problem = String::from_utf8_lossy(&output.stderr);
    assert!(
        output.status.success(),
        "a mistake has to compile: {problem}\n{}",
        String::from_utf8_lossy(&output.stdout)
    );
    let text = String::from_utf8_lossy(&output.stdout);
    let messages: Vec<Value> = text
        .lines()
        .filter_map(|line| serde_json::from_str(line).ok())
        .collect();
    let is_of_tests = |message: &&Value| {
        let package = message["package_id"].as_str().unwrap_or_default();
        message["reason"] == "build-script-executed" && package.contains("/tests#")
    };
    let headers = messages.iter().find(is_of_tests);
    Build {
        headers: headers
            .and_then(|message| message["out_dir"].as_str())
            .map(PathBuf::from),
        programs: messages
            .iter()
            .filter(|message| message["profile"]["test"] == true)
            .filter_map(|message| message["executable"].as_str())
            .map(PathBuf::from)
            .collect(),
    }
}

/// Compiles the headers to the shared library, or says what the compiler says first.
fn link(root: &Path, headers: &Path) -> Result<(), String> {
    let Output { status, stderr, .. } = Command::new("gcc")
        .args(["-std=c99", "-O1", "-shared", "-fPIC", "-I"])
        .arg(headers)
        .args(with_extension(&root.join("tests/agreement"), "c"))
        .arg("-o")
        .arg(headers.join("libagreement.so"))
        .output()
        .expect("gcc is needed for this test");
    let messages = String::from_utf8_lossy(&stderr);
    let first = messages.lines().find_map(|line| line.split("error: ").nth(1));
    if status.success() {
        Ok(())
    } else {
        Err(first.unwrap_or_default().to_owned())
    }
}

/// Runs a test program until a test fails, it ends, or the time is up.
fn judge(mut command: Command, time_limit: Duration) -> Verdict {
    let log = tempfile::NamedTempFile::new().expect("a file");
    let mut child = command
        .stdin(Stdio::null())
        .stdout(log.reopen().expect("the file"))
        .stderr(Stdio::null())
        .spawn()
        .expect("the test runs");
    let start = Instant::now();
    loop {
        let status = child.try_wait().expect("the test's status");
        let text = fs::read_to_string(log.path()).expect("the test's output");
        let failed = text
            .lines()
            .find_map(|line| line.strip_prefix("test ")?.strip_suffix(" ... FAILED"));
        let verdict = match (failed, status) {
            (Some(name), _) => Verdict::KilledBy(format!("`{name}`")),
            (None, Some(status)) if status.success() => return Verdict::Survives,
            (None, Some(status)) => Verdict::KilledBy(format!("the end of the program, {status}")),
            (None, None) if start.elapsed() > time_limit => Verdict::KilledBy("the time limit".to_owned()),
            (None, None) => {
                sleep(GLANCE);
                continue;
            }
        };
        if status.is_none() {
            child.kill().expect("the test can be ended");
            child.wait().expect("the test's status");
        }
        return verdict;
    }
}
