//! The `millpond` command: reads a node file, sizes it, prints or writes the result.
#![forbid(unsafe_code)]

mod cli;
mod commands;
mod destinations;
mod failure;
mod serve;

use std::ffi::OsString;
use std::path::Path;
use std::process::ExitCode;

use clap::Parser as _;
use millpond::visible;

use cli::{Cli, Command};
use failure::Failure;

fn main() -> ExitCode {
    let command = command();
    let files = command.files();
    destinations::announce_pipes(&files);
    // Before anything is computed: a year of simulation is not to end at a folder that is not there.
    let done = destinations::check(files).and_then(|()| run(&command));
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => failure.report(),
    }
}

/// The command that was asked for. What is wrong with a command line is shown with everything in it to be seen.
fn command() -> Command {
    let arguments: Vec<OsString> = std::env::args_os().collect();
    let shown = arguments
        .iter()
        .map(|argument| visible::path(Path::new(argument)));
    let error = match Cli::try_parse_from(&arguments) {
        Ok(cli) => return cli.command,
        Err(error) => error,
    };
    // The library repeats arguments as they are: the same fault of the same words that can be seen.
    Cli::try_parse_from(shown).err().unwrap_or(error).exit()
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
