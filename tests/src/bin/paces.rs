//! Prints how young each pace keeps the newest report, on income that it was not made from.
//!
//! ```text
//! cargo run --release -p millpond-tests --bin paces
//! ```
//!
//! The typical years are those in the package pvlib; the interpreter that has it is the one named by `MILLPOND_PYTHON`, or
//! the first of `target/pvlib/bin/python`, `python3` and `/usr/bin/python3`. Exit codes: 0; 1 a plan lost its supply where foresight
//! would not have, or pvlib is missing where `CI` is set; 2 a record cannot be used.
#![forbid(unsafe_code)]

use std::io::IsTerminal as _;
use std::process::ExitCode;
use std::sync::atomic::{AtomicBool, Ordering};

use clap::{Parser, ValueEnum};
use indicatif::ProgressBar;
use millpond_tests::limits;
use millpond_tests::paces::{self, Row, Summary};
use millpond_tests::tool;

#[derive(Parser)]
#[command(about = "Every pace on income that it was not made from")]
struct Arguments {
    /// Text for people, or JSON.
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
    /// Adds a plan tuned on each record itself: what settings could reach at most.
    #[arg(long)]
    hindsight: bool,
    /// Instead: what limits the planned pace, by experiments on each record.
    #[arg(long)]
    limits: bool,
}

#[derive(Clone, Copy, ValueEnum)]
enum Format {
    Text,
    Json,
}

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    let progress = if std::io::stderr().is_terminal() {
        ProgressBar::new(0)
    } else {
        ProgressBar::hidden()
    };
    let is_missing = AtomicBool::new(false);
    let python = tool::python_with_pvlib();
    if arguments.limits {
        return limits(python.as_ref(), &progress, arguments.format);
    }
    let rows = paces::rows(python.as_ref(), arguments.hindsight, &progress, |name| {
        is_missing.store(true, Ordering::Relaxed);
        eprintln!("warning: no python with pvlib: {name} is left out");
    });
    progress.finish_and_clear();
    let rows = match rows {
        Ok(rows) => rows,
        Err(error) => {
            eprintln!("error: {error}");
            return ExitCode::from(2);
        }
    };
    let summary = paces::summary(&rows);
    match arguments.format {
        Format::Text => print!("{}", text(&rows, summary.as_ref())),
        Format::Json => println!("{:#}", serde_json::json!({ "rows": rows, "summary": summary })),
    }
    let is_dead = summary.is_none_or(|summary| summary.brownouts > 0);
    let is_short = is_missing.into_inner() && std::env::var_os("CI").is_some();
    if is_dead || is_short {
        return ExitCode::FAILURE;
    }
    ExitCode::SUCCESS
}

fn text(rows: &[Row], summary: Option<&Summary>) -> String {
    let or_dash = |value: Option<String>| value.unwrap_or_else(|| "-".to_owned());
    let mut text = format!(
        "{:<24}  {:<34}  {:>6}  {:>9}  {:>10}  {:>10}  {:>10}  {:>5}\n",
        "record", "pace", "score", "dead s", "brown-outs", "silence s", "at best s", "early"
    );
    for row in rows {
        text.push_str(&format!(
            "{:<24}  {:<34}  {:>6}  {:>9.0}  {:>10}  {:>10.0}  {:>10}  {:>5}\n",
            row.record,
            row.pace,
            or_dash(row.score.map(|score| format!("{score:.3}"))),
            row.dead_s,
            row.brownouts,
            row.longest_silence_s,
            or_dash(row.bound_silence_s.map(|silence_s| format!("{silence_s:.0}"))),
            or_dash(row.early_brownouts.map(|count| count.to_string())),
        ));
    }
    if let Some(summary) = summary {
        text.push_str(&format!(
            "\nplanned, {} records: score {:.3} in the median, {:.3} at worst; {:.2} times that of the best published rule; \
             longest silence at most {:.1} times foresight's; brown-outs: {}\n",
            summary.records,
            summary.median,
            summary.worst,
            summary.over_published,
            summary.silence,
            summary.brownouts
        ));
    }
    text
}

/// The experiments of `millpond_tests::limits`.
fn limits(python: Option<&tool::Tool>, progress: &ProgressBar, format: Format) -> ExitCode {
    let trials = match limits::trials(python, progress) {
        Ok(trials) => trials,
        Err(error) => {
            eprintln!("error: {error}");
            return ExitCode::from(2);
        }
    };
    progress.finish_and_clear();
    match format {
        Format::Text => print!("{}", limits::text(&trials)),
        Format::Json => println!("{:#}", serde_json::json!({ "trials": trials })),
    }
    ExitCode::SUCCESS
}
