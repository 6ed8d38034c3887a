//! The `millpond` command: reads a node file, sizes it, prints or writes the result.
#![forbid(unsafe_code)]

mod cli;
mod commands;
mod destinations;
mod failure;
mod serve;

use std::process::ExitCode;

use clap::Parser;

use cli::{Cli, Command};
use failure::Failure;

fn main() -> ExitCode {
    let command = Cli::parse().command;
    // Before anything is computed: a year of simulation is not to end at a folder that is not there.
    let done = destinations::check(command.files()).and_then(|()| run(&command));
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => failure.report(),
    }
}

fn run(command: &Command) -> Result<(), Failure> {
    match command {
        Command::Init(arguments) => commands::init::run(arguments),
        Command::Check(arguments) => commands::check::run(arguments),
        Command::Budget(arguments) => commands::budget::run(arguments),
        Command::Thresholds(arguments) => commands::thresholds::run(arguments),
        Command::Generate(arguments) => commands::generate::run(arguments),
        Command::Simulate(arguments) => commands::simulate::run(arguments),
        Command::Survival(arguments) => commands::survival::run(arguments),
        Command::Size(arguments) => commands::size::run(arguments),
        Command::Cell(arguments) => commands::cell::run(arguments),
        Command::Fit(arguments) => commands::fit::run(arguments),
        Command::LogPlan(arguments) => commands::log_plan::run(arguments),
        Command::Sensitivity(arguments) => commands::sensitivity::run(arguments),
        Command::Lifetime(arguments) => commands::lifetime::run(arguments),
        Command::Dividers(arguments) => commands::dividers::run(arguments),
        Command::Report(arguments) => commands::report::run(arguments),
        Command::Workbench(arguments) => commands::workbench::run(arguments),
        Command::Compare(arguments) => commands::compare::run(arguments),
        Command::Completions(arguments) => commands::completions::run(arguments),
        Command::Manual(arguments) => commands::manual::run(arguments),
    }
}
