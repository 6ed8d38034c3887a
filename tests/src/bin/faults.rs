//! Makes logs with one fault each, and healthy ones, and prints how often each finding is raised.
//!
//! ```text
//! cargo run --release -p millpond-tests --bin faults
//! ```
//!
//! Exit codes: 0 every rate is as promised; 1 one is not.
#![forbid(unsafe_code)]

use std::process::ExitCode;

use clap::{Parser, ValueEnum};
use millpond_tests::rates::{self, Rate};

#[derive(Parser)]
#[command(about = "Findings of the fit: how often raised at their fault, and in healthy logs")]
struct Arguments {
    /// Text for people, or JSON.
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
    /// Logs for each fault, and healthy ones.
    #[arg(long, default_value_t = 500)]
    logs: usize,
    /// From which seed on the logs are made.
    #[arg(long, value_name = "SEED", default_value_t = rates::FIRST_SEED)]
    from: u64,
    /// Prints how often the stated intervals hold the truth, too.
    #[arg(long)]
    coverage: bool,
}

#[derive(Clone, Copy, ValueEnum)]
enum Format {
    Text,
    Json,
}

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    let rates = rates::faults(arguments.from, arguments.logs, |rate| {
        eprintln!("{} is done", rate.finding);
    });
    match arguments.format {
        Format::Text => print!("{}", rates::table(&rates)),
        Format::Json => println!("{:#}", serde_json::json!({ "rows": rates })),
    }
    if arguments.coverage {
        eprint!(
            "{}",
            rates::coverage_table(&rates::coverage(arguments.from, arguments.logs))
        );
    }
    if rates.iter().all(Rate::is_as_promised) {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}
