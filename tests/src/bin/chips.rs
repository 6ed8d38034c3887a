//! Runs the decision on emulated chips and prints, for each target, language and node, whether it agrees and what it costs.
//!
//! ```text
//! cargo run --release -p millpond-tests --bin chips
//! ```
//!
//! Exit codes: 0 all agree; 1 a target differs, links what it must not, or a tool is missing where `CI` is set; 2 a tool refused.
#![forbid(unsafe_code)]

use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Parser, ValueEnum};
use millpond_tests::chips::{self, ChipsError, Reference, Row, Steps, TARGETS};
use rayon::prelude::*;

#[derive(Parser)]
#[command(about = "The decision on emulated chips: agreement and cost")]
struct Arguments {
    /// Text for people, or JSON.
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
    /// Few steps: every target, in seconds.
    #[arg(long)]
    quick: bool,
    /// Writes the page with the costs, too.
    #[arg(long, value_name = "FILE")]
    write: Option<PathBuf>,
}

#[derive(Clone, Copy, ValueEnum)]
enum Format {
    Text,
    Json,
}

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    run(&arguments).unwrap_or_else(|error| {
        eprintln!("error: {error}");
        ExitCode::from(2)
    })
}

fn run(arguments: &Arguments) -> Result<ExitCode, ChipsError> {
    let steps = if arguments.quick {
        Steps::QUICK
    } else {
        Steps::FULL
    };
    let reference = Reference::run(steps.host);
    let asked: Vec<_> = TARGETS
        .par_iter()
        .map(|target| (target, chips::rows(*target, steps, &reference)))
        .collect();
    let mut rows: Vec<Row> = Vec::new();
    let mut is_good = true;
    let may_be_missing = std::env::var_os("CI").is_none();
    for (target, result) in asked {
        match result {
            Ok(more) => rows.extend(more),
            Err(ChipsError::Missing(what)) => {
                eprintln!("warning: {what} is missing: {target} is left out");
                is_good &= may_be_missing;
            }
            Err(error) => return Err(error),
        }
    }
    match chips::policy_core_warnings() {
        Ok(warnings) => {
            is_good &= warnings.is_empty();
            warnings.iter().for_each(|warning| eprintln!("{warning}"));
        }
        Err(ChipsError::Missing(what)) => {
            eprintln!("warning: {what} is missing: millpond-policy is not built for chips");
            is_good &= may_be_missing;
        }
        Err(error) => return Err(error),
    }
    for row in &rows {
        for problem in &row.problems {
            eprintln!("problem: {} {} {}: {problem}", row.target, row.language, row.node);
            is_good = false;
        }
    }
    match arguments.format {
        Format::Text => print!("{}", chips::table(&rows)),
        Format::Json => println!("{:#}", serde_json::json!({ "rows": rows })),
    }
    if let Some(file) = &arguments.write {
        std::fs::write(file, chips::document(&rows))?;
    }
    Ok(if is_good {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    })
}
