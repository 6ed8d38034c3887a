//! The command line: what can be asked for.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};
use millpond::printout::Format;

/// Sizes the voltage thresholds of a battery-free sensor node and writes them as firmware constants.
#[derive(Parser)]
#[command(version, arg_required_else_help = true, max_term_width = 100)]
pub(crate) struct Cli {
    #[command(subcommand)]
    pub(crate) command: Command,
}

#[derive(Subcommand)]
pub(crate) enum Command {
    /// Write a commented node file to start from; never over an existing one
    Init(Init),
    /// Validate a node file; print budget, thresholds and findings
    Check(Print),
    /// Charge, energy, airtime and duration of each phase and action; the sleeping day
    Budget(Print),
    /// Thresholds with every margin term
    Thresholds(Print),
    /// Write the constants as a C header, a Rust module or JSON
    Generate(Generate),
    /// Which constants move between two node files, by how much, and which input moved them
    Compare(Compare),
}

#[derive(Args)]
pub(crate) struct Init {
    /// The file to write
    pub(crate) file: PathBuf,
    /// The example to start from
    #[arg(long, value_enum, value_name = "NAME", default_value_t = Example::CrackGauge)]
    pub(crate) example: Example,
}

/// The node files that come with the tool.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum Example {
    /// Outdoor solar cell, gated switching supply, chirp spread spectrum
    CrackGauge,
    /// Indoor light, no regulator, Bluetooth LE advertising
    DisplayCase,
    /// Thermoelectric source, linear supply, two kinds of capacitor, IEEE 802.15.4
    PumpBearing,
}

#[derive(Args)]
pub(crate) struct Print {
    /// The node file
    pub(crate) node: PathBuf,
    /// Text for people or JSON for programs
    #[arg(long, value_enum, default_value_t = FormatArgument::Text)]
    pub(crate) format: FormatArgument,
}

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum FormatArgument {
    Text,
    Json,
}

impl From<FormatArgument> for Format {
    fn from(argument: FormatArgument) -> Self {
        match argument {
            FormatArgument::Text => Self::Text,
            FormatArgument::Json => Self::Json,
        }
    }
}

#[derive(Args)]
pub(crate) struct Generate {
    /// The node file
    pub(crate) node: PathBuf,
    /// Write the C header here; without any destination it goes to standard output
    #[arg(long, value_name = "FILE")]
    pub(crate) c: Option<PathBuf>,
    /// Write the Rust module here
    #[arg(long, value_name = "FILE")]
    pub(crate) rust: Option<PathBuf>,
    /// Write the constants as JSON here
    #[arg(long, value_name = "FILE")]
    pub(crate) json: Option<PathBuf>,
    /// Write nothing; fail with a difference if a file is stale or was edited by hand
    #[arg(long)]
    pub(crate) verify: bool,
}

#[derive(Args)]
pub(crate) struct Compare {
    /// The node file as it was
    pub(crate) old: PathBuf,
    /// The node file as it is
    pub(crate) new: PathBuf,
    /// Text for people or JSON for programs
    #[arg(long, value_enum, default_value_t = FormatArgument::Text)]
    pub(crate) format: FormatArgument,
}
