//! Whether the tests notice mistakes: each of a list of small mistakes is made alone, in a copy of the sources: in the C
//! header with its planner, in the policy crate with its own, or in the generator's model, thresholds, silence, rounding,
//! plan and fit. The agreement of the languages, the tests of the crates and the outside witnesses have to find it.
//!
//! A test that no mistake can break proves nothing; a mistake that no test finds is a hole. This takes minutes, so it is
//! asked for by name:
//!
//! `cargo test -p millpond-tests --test mutation -- --ignored --nocapture`
//!
//! The variable `MISTAKES` says how many of each list to make, all when it is not set; `MISTAKES_FROM` how many to leave out
//! before, so that a run that was stopped can go on.

mod generator;
mod mutants;
mod planner;
mod tree;

use std::fs;
use std::path::Path;

use generator::IN_GENERATOR;
use mutants::{IN_C, IN_RUST, Mutant};
use planner::{IN_C_PLANNER, IN_PLANNER};
use tree::{Asked, Crate, Header, Verdict, of_generator, of_policy};

/// Root of the repository.
const ROOT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/..");
/// Mistakes that each side has at least.
const LEAST_MISTAKES: usize = 20;

/// The list fits the sources: each place is there, once.
#[test]
fn every_mistake_has_its_place() {
    let sides: [&[Mutant]; 5] = [&IN_C, &IN_C_PLANNER, &IN_RUST, &IN_PLANNER, &IN_GENERATOR];
    for mutant in sides.into_iter().flatten() {
        let places = text(mutant).matches(mutant.from).count();
        assert_eq!(places, 1, "{:?} in {}", mutant.from, mutant.file);
        assert_ne!(mutant.from, mutant.to);
    }
    for side in sides {
        let mistakes = side.iter().filter(|mutant| mutant.same_because.is_empty());
        assert!(mistakes.count() >= LEAST_MISTAKES);
    }
}

#[test]
#[ignore = "takes minutes: builds a copy of the sources, then runs the tests once for each mistake"]
fn every_mistake_in_c_is_found() {
    let folder = tempfile::tempdir().expect("a folder");
    let header = Header::new(Path::new(ROOT), folder.path().join("tree"));
    try_each(&[&IN_C, &IN_C_PLANNER], |mutant| {
        header.with_mistake(mutant.from, mutant.to)
    });
}

#[test]
#[ignore = "takes minutes: builds the crate and runs its tests once for each mistake"]
fn every_mistake_in_rust_is_found() {
    try_each_in(&IN_RUST, of_policy());
}

#[test]
#[ignore = "takes minutes: builds the crate and runs its tests once for each mistake"]
fn every_mistake_in_the_planner_is_found() {
    try_each_in(&IN_PLANNER, of_policy());
}

#[test]
#[ignore = "takes two hours: builds the generator and runs its tests once for each mistake"]
fn every_mistake_in_the_generator_is_found() {
    try_each_in(&IN_GENERATOR, of_generator());
}

fn try_each_in(mutants: &[Mutant], asked: Asked) {
    let folder = tempfile::tempdir().expect("a folder");
    let sources = Crate::new(Path::new(ROOT), folder.path().join("tree"), asked);
    try_each(&[mutants], |mutant| {
        sources.with_mistake(mutant.file, mutant.from, mutant.to)
    });
}

/// Prints who finds each mistake. Fails if nobody finds one, or if somebody finds one that is said to change nothing.
fn try_each(lists: &[&[Mutant]], ask: impl Fn(&Mutant) -> Verdict) {
    let mut wrong = Vec::new();
    let number = |name: &str| std::env::var(name).ok().and_then(|text| text.parse().ok());
    let (first, most) = (number("MISTAKES_FROM"), number("MISTAKES"));
    let asked = lists.iter().flat_map(|list| {
        list.iter()
            .skip(first.unwrap_or(0))
            .take(most.unwrap_or(usize::MAX))
    });
    for mutant in asked {
        let verdict = ask(mutant);
        let finder = match &verdict {
            Verdict::KilledBy(finder) => finder.clone(),
            Verdict::Survives if mutant.same_because.is_empty() => "**nothing**".to_owned(),
            Verdict::Survives => format!("changes nothing: {}", mutant.same_because),
        };
        let row = format!("| {} | {} | {finder} |", place(mutant), change(mutant));
        println!("{row}");
        if mutant.same_because.is_empty() == (verdict == Verdict::Survives) {
            wrong.push(row);
        }
    }
    assert!(wrong.is_empty(), "not as expected:\n{}", wrong.join("\n"));
}

fn text(mutant: &Mutant) -> String {
    fs::read_to_string(Path::new(ROOT).join(mutant.file)).expect("a source")
}

/// File and line.
fn place(mutant: &Mutant) -> String {
    let text = text(mutant);
    let before = text.find(mutant.from).map_or("", |at| &text[..at]);
    format!("{}:{}", mutant.file, before.matches('\n').count() + 1)
}

fn change(mutant: &Mutant) -> String {
    let one_line = |text: &str| {
        text.split_whitespace()
            .collect::<Vec<_>>()
            .join(" ")
            .replace('|', "\\|")
    };
    format!("`{}` becomes `{}`", one_line(mutant.from), one_line(mutant.to))
}
