//! How much of the code its own tests reach: compiled with the compiler's counters, read by the tools of its LLVM.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

use super::{Extent, Row};
use crate::command::{GENERATOR, ROOT, cargo, target};

/// What cures a missing tool.
const CURE: &str =
    "rustup component add llvm-tools, or the package llvm-N of the compiler's LLVM (rustc -vV)";

/// What of some code was reached.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Reach {
    /// Lines that can be reached, and of those the ones that were.
    pub lines: (u64, u64),
    /// Branches, the same.
    pub branches: (u64, u64),
}

impl Reach {
    /// Adds what a report in the format of lcov says of files whose path has `folder` in it. Lines from a file's tests on, which
    /// `tests_from` knows, do not count, nor do files named `tests.rs`.
    ///
    /// ```
    /// use millpond_tests::reliability::Reach;
    /// let report = "SF:/x/src/a.rs\nDA:1,5\nDA:2,0\nDA:9,7\nBRDA:1,0,0,3\nBRDA:1,0,1,-\nend_of_record\nSF:/y/b.rs\nDA:1,0\n";
    /// let reach = Reach::of(report, "x/src", |_| 9);
    /// assert_eq!(reach, Reach { lines: (2, 1), branches: (2, 1) });
    /// ```
    #[must_use]
    pub fn of(report: &str, folder: &str, tests_from: impl Fn(&str) -> u64) -> Self {
        let mut reach = Self::default();
        let mut end = 0;
        for line in report.lines() {
            if let Some(path) = line.strip_prefix("SF:") {
                let counts = path.contains(folder) && !path.ends_with("/tests.rs");
                end = if counts { tests_from(path) } else { 0 };
                continue;
            }
            let (sum, figures) = match line.split_once(':') {
                Some(("DA", figures)) => (&mut reach.lines, figures),
                Some(("BRDA", figures)) => (&mut reach.branches, figures),
                _ => continue,
            };
            let place = figures
                .split(',')
                .next()
                .and_then(|number| number.parse::<u64>().ok());
            if place.is_some_and(|place| place < end) {
                sum.0 += 1;
                let taken = figures.rsplit(',').next().unwrap_or_default();
                sum.1 += u64::from(taken != "0" && taken != "-");
            }
        }
        reach
    }
}

pub(super) fn rows(_: &Extent) -> Result<Vec<Row>, String> {
    const NAMES: [&str; 3] = [
        "coverage of policy-core, lines",
        "coverage of policy-core, branches",
        "coverage of generator, lines",
    ];
    let tools = match Tools::find() {
        Ok(tools) => tools,
        Err(why) => return Ok(NAMES.map(|name| Row::missing(name, why.clone())).to_vec()),
    };
    let core = tools.reach(&["millpond-policy"], "policy-core/src/", &[COUNTERS, BRANCHES])?;
    let generator = tools.reach(&GENERATOR, "generator/", &[COUNTERS])?;
    let reached = [core.lines, core.branches, generator.lines];
    Ok(NAMES
        .into_iter()
        .zip(reached)
        .zip(LEAST_PERCENT)
        .map(|((name, reached), least)| part(name, reached, least))
        .collect())
}

/// One row: rounded down, and broken where less than the least is reached.
fn part(what: &'static str, (all, reached): (u64, u64), least_percent: u64) -> Row {
    let percent = (1000.0 * reached as f64 / all.max(1) as f64).floor() / 10.0;
    Row {
        count: Some(percent),
        broke: u64::from(reached * 100 < least_percent * all),
        ..Row::missing(
            what,
            format!("%, by the crate's own tests: {reached} of {all}; at least {least_percent}"),
        )
    }
}

/// What each row has to reach (%).
const LEAST_PERCENT: [u64; 3] = [100, 100, 90];
/// Counters of lines.
const COUNTERS: &str = "-Cinstrument-coverage";
/// Counters of branches, which are not in the stable set of options yet.
const BRANCHES: &str = "-Zcoverage-options=branch";
/// For each thread of the tests (bytes).
const STACK_BYTES: &str = "33554432";

/// Programs that read counters of this compiler.
struct Tools {
    merge: PathBuf,
    export: PathBuf,
}

impl Tools {
    fn find() -> Result<Self, String> {
        let says = |program: &Path, arguments: &[&str]| {
            let output = Command::new(program).args(arguments).output().ok()?;
            Some(String::from_utf8_lossy(&output.stdout).into_owned())
        };
        let rustc = PathBuf::from(std::env::var("RUSTC").unwrap_or_else(|_| "rustc".to_owned()));
        let version = says(&rustc, &["-vV"]).unwrap_or_default();
        let field = |name: &str| {
            version
                .lines()
                .find_map(|line| line.strip_prefix(name))
                .unwrap_or_default()
                .to_owned()
        };
        let major: u32 = field("LLVM version: ")
            .split('.')
            .next()
            .and_then(|part| part.parse().ok())
            .unwrap_or(0);
        let root = says(&rustc, &["--print", "sysroot"]).unwrap_or_default();
        let own = Path::new(root.trim())
            .join("lib/rustlib")
            .join(field("host: "))
            .join("bin");
        // An older LLVM cannot read what a newer one counted.
        let fits = |program: &PathBuf| {
            says(program, &["--version"]).is_some_and(|text| {
                text.split("LLVM version ")
                    .nth(1)
                    .and_then(|rest| rest.split('.').next()?.parse::<u32>().ok())
                    .is_some_and(|found| found >= major)
            })
        };
        let find = |name: &str| {
            [
                own.join(name),
                PathBuf::from(format!("{name}-{major}")),
                PathBuf::from(name),
            ]
            .into_iter()
            .find(|program| fits(program))
        };
        match (find("llvm-profdata"), find("llvm-cov")) {
            (Some(merge), Some(export)) => Ok(Self { merge, export }),
            _ => Err(format!(
                "llvm-profdata and llvm-cov of LLVM {major} are missing: {CURE}"
            )),
        }
    }

    /// Runs the tests of `packages`, and reads what they reached in files below `folder`. Only they themselves are compiled with the
    /// `counters`, and its tests run on one thread: threads that count in the same place wait for each other.
    fn reach(&self, packages: &[&str], folder: &str, counters: &[&str]) -> Result<Reach, String> {
        let scratch = tempfile::tempdir().map_err(|error| error.to_string())?;
        let target = target().join("coverage");
        let chosen = packages.iter().flat_map(|package| {
            let setting = format!("profile.test.package.{package}.rustflags={counters:?}");
            [
                "--config".to_owned(),
                setting,
                "--package".to_owned(),
                (*package).to_owned(),
            ]
        });
        let chosen: Vec<String> = chosen.collect();
        let test = |more: &[&str]| {
            let mut command = Command::new(cargo());
            command
                .args([
                    "test",
                    "-Zprofile-rustflags",
                    "--lib",
                    "--tests",
                    "--message-format",
                    "json-render-diagnostics",
                ])
                .args(&chosen)
                .args(more)
                .current_dir(ROOT)
                .env("CARGO_TARGET_DIR", &target)
                .env("CARGO_PROFILE_TEST_DEBUG", "0")
                // Tests keep an answer for each of 65536 readings, less closely packed than usual.
                .env("RUST_MIN_STACK", STACK_BYTES)
                // Options of one package are not in the stable set yet, either.
                .env("RUSTC_BOOTSTRAP", "1")
                .env("RUST_TEST_THREADS", "1")
                .env("RAYON_NUM_THREADS", "1")
                .env("LLVM_PROFILE_FILE", scratch.path().join("%p-%m.profraw"));
            finished(&mut command)
        };
        let built = test(&["--no-run"])?;
        test(&[])?;
        let programs = built
            .lines()
            .filter_map(|line| serde_json::from_str::<Value>(line).ok())
            .filter_map(|message| message["executable"].as_str().map(str::to_owned));
        let mut counters = Vec::new();
        for entry in fs::read_dir(scratch.path()).map_err(|error| error.to_string())? {
            counters.push(entry.map_err(|error| error.to_string())?.path());
        }
        let merged = scratch.path().join("merged");
        finished(
            Command::new(&self.merge)
                // A test that kills the command leaves counters that were not written to their end.
                .args(["merge", "--sparse", "--failure-mode=all", "--output"])
                .arg(&merged)
                .args(&counters),
        )?;
        let mut export = Command::new(&self.export);
        export
            .args(["export", "--format", "lcov", "--instr-profile"])
            .arg(&merged);
        for program in programs {
            export.args(["--object", &program]);
        }
        let report = finished(&mut export)?;
        Ok(Reach::of(&report, folder, tests_from))
    }
}

/// The line on which a file's tests begin; beyond the last where it has none.
fn tests_from(path: &str) -> u64 {
    let text = fs::read_to_string(path).unwrap_or_default();
    let line = text.lines().position(|line| line == "#[cfg(test)]");
    line.map_or(u64::MAX, |line| line as u64 + 1)
}

fn finished(command: &mut Command) -> Result<String, String> {
    let output = command
        .output()
        .map_err(|error| format!("{command:?}: {error}"))?;
    if output.status.success() {
        Ok(String::from_utf8_lossy(&output.stdout).into_owned())
    } else {
        Err(format!(
            "{command:?}\n{}",
            String::from_utf8_lossy(&output.stderr)
        ))
    }
}
