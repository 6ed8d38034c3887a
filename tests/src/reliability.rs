//! What was tried and what broke, by running it: inputs, faults, steps, parts, mistakes, and how much of the code the tests reach.

mod coverage;
mod faults;
mod inputs;
mod mistakes;
mod parts;
mod steps;

use serde::Serialize;

pub use coverage::Reach;

/// How much of everything.
#[derive(Clone, Copy, Debug)]
pub struct Extent {
    /// Changed inputs for each target of the fuzzer.
    pub changed_inputs: u32,
    /// Kills of the command in the middle of its run.
    pub kills: u32,
    /// Whether chips are asked for all their steps.
    pub all_steps: bool,
    /// Random units of each example node.
    pub parts: u32,
    /// How long each of them runs (days).
    pub days: f64,
    /// Mistakes made in each language, at most.
    pub mistakes: usize,
}

impl Extent {
    /// Minutes.
    pub const SHORT: Self = Self {
        changed_inputs: 500,
        kills: 20,
        all_steps: false,
        parts: 50,
        days: 30.0,
        mistakes: 3,
    };
    /// Hours.
    pub const FULL: Self = Self {
        changed_inputs: 100_000,
        kills: 500,
        all_steps: true,
        parts: 10_000,
        days: 365.0,
        mistakes: usize::MAX,
    };
}

/// One line of the table.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Row {
    /// What was counted.
    pub what: &'static str,
    /// How many, or how much of it (%); nothing where it could not be run.
    pub count: Option<f64>,
    /// Out of so many; nothing where that means nothing.
    pub of: Option<u64>,
    /// How many broke a promise.
    pub broke: u64,
    /// What it covers, or why there is no figure and what cures that.
    pub note: String,
}

impl Row {
    fn counted(what: &'static str, count: u64, broke: u64, note: impl Into<String>) -> Self {
        Self {
            what,
            count: Some(count as f64),
            of: None,
            broke,
            note: note.into(),
        }
    }

    fn missing(what: &'static str, note: impl Into<String>) -> Self {
        Self {
            what,
            count: None,
            of: None,
            broke: 0,
            note: note.into(),
        }
    }
}

/// One kind of rows, and how they are made.
type Step = (&'static str, fn(&Extent) -> Result<Vec<Row>, String>);

const STEPS: [Step; 6] = [
    ("inputs", inputs::rows),
    ("faults", faults::rows),
    ("steps", steps::rows),
    ("parts", parts::rows),
    ("mistakes", mistakes::rows),
    ("coverage", coverage::rows),
];

/// Names of the kinds of rows, in the order of the table.
#[must_use]
pub fn kinds() -> [&'static str; STEPS.len()] {
    STEPS.map(|(name, _)| name)
}

/// Runs everything, or the kinds of rows that `only` names; `said` is told what comes next.
///
/// # Errors
///
/// What kept something from being run that needs no outside tool.
pub fn rows(extent: &Extent, only: &[String], said: impl Fn(&str)) -> Result<Vec<Row>, String> {
    let mut rows = Vec::new();
    for (name, step) in STEPS {
        if !only.is_empty() && !only.iter().any(|kind| kind == name) {
            continue;
        }
        said(name);
        rows.extend(step(extent)?);
    }
    Ok(rows)
}

/// The rows as text in columns.
///
/// ```
/// assert!(millpond_tests::reliability::table(&[]).starts_with("what"));
/// ```
pub fn table(rows: &[Row]) -> String {
    let head = ["what", "count", "broke", "of which"].map(str::to_owned);
    let lines: Vec<[String; 4]> = std::iter::once(head)
        .chain(rows.iter().map(|row| {
            let count = match (row.count, row.of) {
                (None, _) => "-".to_owned(),
                (Some(count), Some(of)) => format!("{count} of {of}"),
                (Some(count), None) => format!("{count}"),
            };
            [
                row.what.to_owned(),
                count,
                row.broke.to_string(),
                row.note.clone(),
            ]
        }))
        .collect();
    let width = |column: usize| {
        lines
            .iter()
            .map(|line| line[column].chars().count())
            .max()
            .unwrap_or(0)
    };
    let (what, count, broke) = (width(0), width(1), width(2));
    lines
        .iter()
        .map(|line| {
            format!(
                "{:<what$}  {:>count$}  {:>broke$}  {}\n",
                line[0], line[1], line[2], line[3]
            )
        })
        .collect()
}
