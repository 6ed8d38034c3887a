//! Witness: emulated chips. The generated header and the policy crate give the same answers there as here, and link nothing
//! that a small chip cannot afford.
//!
//! Run with `cargo test -p millpond-tests --test chips`; one machine with `-- avr`; as many steps as the promise with `-- --ignored`.
//! The costs beside them are `cargo run --release -p millpond-tests --bin chips`.

use std::fs;
use std::sync::{Arc, LazyLock};

use libtest_mimic::{Arguments, Failed, Trial};
use millpond_tests::chips::{self, Reference, Row, Steps, TARGETS, Target};
use millpond_tests::tool::{self, Tool};

/// The page that the command writes.
const PAGE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../docs/cost.md");
/// How to write it anew.
const WRITE: &str = "cargo run --release -p millpond-tests --bin chips -- --write docs/cost.md";

fn main() {
    let chips = TARGETS
        .into_iter()
        .filter(|target| target.machine.unit().is_some());
    let chips: Vec<Target> = chips.collect();
    // First, since it builds most, on one core.
    let mut trials = vec![trial(
        "millpond-policy builds without a warning".into(),
        &chips,
        no_warning,
    )];
    trials.extend(agreement(Steps::QUICK));
    // A CI step of its own.
    trials.extend(agreement(Steps::FULL).map(|trial| trial.with_ignored_flag(true)));
    trials.push(Trial::test("docs/cost.md has every target", page));
    libtest_mimic::run(&Arguments::from_args(), trials).exit();
}

/// Whether each target agrees, in so many steps.
fn agreement(steps: Steps) -> impl Iterator<Item = Trial> {
    let reference = Arc::new(LazyLock::new(move || Reference::run(steps.host)));
    TARGETS.into_iter().map(move |target| {
        let reference = Arc::clone(&reference);
        let name = format!("{target}, {} steps", steps.on(target));
        trial(name, &[target], move || agrees(target, steps, &reference))
    })
}

/// A trial that needs the tools of some targets.
fn trial(
    name: String,
    targets: &[Target],
    check: impl FnOnce() -> Result<(), Failed> + Send + 'static,
) -> Trial {
    let missing = targets.iter().find_map(|target| chips::missing(*target));
    let there = Tool {
        program: name.clone(),
    };
    let tool = missing.is_none().then_some(&there);
    let what = missing.unwrap_or_default();
    tool::announce(tool, what);
    tool::trial(name, tool, what, |_| check())
}

fn agrees(target: Target, steps: Steps, reference: &Reference) -> Result<(), Failed> {
    let rows = chips::rows(target, steps, reference)?;
    let problem = |row: &Row| {
        let problems = row.problems.iter();
        problems
            .map(|problem| format!("{}: {problem}", row.node))
            .collect::<Vec<_>>()
    };
    fail_with(&rows.iter().flat_map(problem).collect::<Vec<_>>())
}

fn no_warning() -> Result<(), Failed> {
    fail_with(&chips::policy_core_warnings()?)
}

fn page() -> Result<(), Failed> {
    let page = fs::read_to_string(PAGE)?;
    if chips::structure(&page) == chips::structure_of_document() {
        Ok(())
    } else {
        Err(format!("docs/cost.md is stale; write it anew: {WRITE}").into())
    }
}

fn fail_with(problems: &[String]) -> Result<(), Failed> {
    if problems.is_empty() {
        Ok(())
    } else {
        Err(problems.join("\n").into())
    }
}
