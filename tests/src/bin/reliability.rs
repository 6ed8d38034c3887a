//! Tries to break the project, and prints what was tried and what broke.
//!
//! ```text
//! cargo run --release -p millpond-tests --bin reliability
//! ```
//!
//! Exit codes: 0 nothing broke; 1 something did; 2 something could not be run.
#![forbid(unsafe_code)]

use std::process::ExitCode;

use clap::{Parser, ValueEnum};
use millpond_tests::reliability::{self, Extent};

#[derive(Parser)]
#[command(about = "What was tried and what broke: inputs, faults, steps, parts, mistakes, coverage")]
struct Arguments {
    /// Text for people, or JSON.
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
    /// Everything at length: hours. The options below go before it.
    #[arg(long)]
    full: bool,
    /// Rows of these kinds alone.
    #[arg(long, value_name = "KIND", value_delimiter = ',', value_parser = clap::builder::PossibleValuesParser::new(reliability::kinds()))]
    only: Vec<String>,
    /// Changed inputs for each fuzzed target.
    #[arg(long, value_name = "N")]
    inputs: Option<u32>,
    /// Kills of the command in the middle of its run.
    #[arg(long, value_name = "N")]
    kills: Option<u32>,
    /// All steps on chips.
    #[arg(long)]
    all_steps: bool,
    /// Random units of each example.
    #[arg(long, value_name = "N")]
    parts: Option<u32>,
    /// How long each of them runs (days).
    #[arg(long, value_name = "DAYS")]
    days: Option<f64>,
    /// Mistakes made in each language.
    #[arg(long, value_name = "N")]
    mistakes: Option<usize>,
}

#[derive(Clone, Copy, ValueEnum)]
enum Format {
    Text,
    Json,
}

impl Arguments {
    fn extent(&self) -> Extent {
        let usual = if self.full { Extent::FULL } else { Extent::SHORT };
        Extent {
            changed_inputs: self.inputs.unwrap_or(usual.changed_inputs),
            kills: self.kills.unwrap_or(usual.kills),
            all_steps: self.all_steps || usual.all_steps,
            parts: self.parts.unwrap_or(usual.parts),
            days: self.days.unwrap_or(usual.days),
            mistakes: self.mistakes.unwrap_or(usual.mistakes),
        }
    }
}

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    let rows = match reliability::rows(&arguments.extent(), &arguments.only, |next| {
        eprintln!("{next} ...")
    }) {
        Ok(rows) => rows,
        Err(error) => {
            eprintln!("error: {error}");
            return ExitCode::from(2);
        }
    };
    match arguments.format {
        Format::Text => print!("{}", reliability::table(&rows)),
        Format::Json => println!("{:#}", serde_json::json!({ "rows": rows })),
    }
    if rows.iter().any(|row| row.broke > 0) {
        ExitCode::FAILURE
    } else if rows.iter().any(|row| row.count.is_none()) {
        ExitCode::from(2)
    } else {
        ExitCode::SUCCESS
    }
}
