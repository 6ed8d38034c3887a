//! The command line: what can be asked for.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};
use millpond::node::Pace;
use millpond::node::quantity::{Quantity, parse};
use millpond::printout::Format;
use millpond::units::*;

/// More amperes or volts than this are a slip of the prefix.
const MOST_BASE_UNITS: f64 = 1e3;

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
    /// The policy over time against the physical model, beside baselines and what perfect foresight could reach
    Simulate(Simulate),
    /// One capacitor discharged on the bench: capacitance, its rise with voltage, resistance, and a block for the node file
    Cell(Cell),
    /// Parameters from a bench log with their uncertainty, and findings in words
    Fit(Fit),
    /// What to log, how often and how long, for each parameter to be known
    LogPlan(LogPlan),
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

#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum PaceArgument {
    /// A table over the storage voltage; needs no clock
    Even,
    /// Plans over two days on what each hour brought before; needs a clock that runs
    Planned,
}

impl From<PaceArgument> for Pace {
    fn from(argument: PaceArgument) -> Self {
        match argument {
            PaceArgument::Even => Self::Even,
            PaceArgument::Planned => Self::Planned,
        }
    }
}

#[derive(Args)]
pub(crate) struct Generate {
    /// The node file
    pub(crate) node: PathBuf,
    /// What decides how long to wait, in place of `pace` in the node file
    #[arg(long, value_enum, value_name = "PACE")]
    pub(crate) pace: Option<PaceArgument>,
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
pub(crate) struct Simulate {
    /// The node file
    pub(crate) node: PathBuf,
    /// Income from a CSV file in place of the node's own source: power, irradiance, illuminance, or a typical-year weather file
    #[arg(long, value_name = "CSV")]
    pub(crate) trace: Option<PathBuf>,
    /// What decides how long to wait, in place of `pace` in the node file
    #[arg(long, value_enum, value_name = "PACE")]
    pub(crate) pace: Option<PaceArgument>,
    /// How long
    #[arg(long, value_name = "N", default_value_t = 30.0, value_parser = days)]
    pub(crate) days: f64,
    /// Which random units
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub(crate) seed: u64,
    /// Run so many random units of the node inside its tolerances, too
    #[arg(long, value_name = "N", default_value_t = 0)]
    pub(crate) parts: u32,
    /// Write every event here as it happens
    #[arg(long, value_name = "CSV")]
    pub(crate) timeline: Option<PathBuf>,
    /// Draw the storage voltage here
    #[arg(long, value_name = "SVG")]
    pub(crate) picture: Option<PathBuf>,
    /// Text for people or JSON for programs
    #[arg(long, value_enum, default_value_t = FormatArgument::Text)]
    pub(crate) format: FormatArgument,
}

#[derive(Args)]
pub(crate) struct Cell {
    /// The discharge: a CSV file with the columns time_s and storage_v; the first row stands just before the current
    pub(crate) discharge: PathBuf,
    /// The constant current of the discharge, such as "300 mA"; a number alone is in amperes
    #[arg(long, value_name = "I", value_parser = quantity::<Current>)]
    pub(crate) current: Current,
    /// The rated voltage of the capacitor, such as "3 V"; a number alone is in volts
    #[arg(long, value_name = "U", value_parser = quantity::<Voltage>)]
    pub(crate) rated: Voltage,
    /// Text for people or JSON for programs
    #[arg(long, value_enum, default_value_t = FormatArgument::Text)]
    pub(crate) format: FormatArgument,
}

/// A quantity above 0 with its unit, or a plain number of base units.
fn quantity<Q: Quantity>(text: &str) -> Result<Q, String> {
    let read = text
        .trim()
        .parse::<f64>()
        .map_or_else(|_| parse::<Q>(text), |number| Ok(Q::from_base(number)));
    match read {
        Ok(quantity) if quantity.in_base() > 0.0 && quantity.in_base() <= MOST_BASE_UNITS => Ok(quantity),
        _ => Err(format!(
            "{} above 0, at most {MOST_BASE_UNITS} in the base unit, with its unit",
            Q::DIMENSION.name()
        )),
    }
}

/// A number of days that a run can have.
fn days(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(days) if days > 0.0 && days <= 36_525.0 => Ok(days),
        _ => Err("a number of days above 0, at most 36525".to_owned()),
    }
}

#[derive(Args)]
pub(crate) struct Fit {
    /// The node file
    pub(crate) node: PathBuf,
    /// The log: time_s or time, and any of storage_mv, count, event
    pub(crate) log: PathBuf,
    /// What the whole bank measures half way between floor and overvoltage, such as "0.93 F"; a number alone is in farads
    #[arg(long, value_name = "C", value_parser = quantity::<Capacitance>)]
    pub(crate) capacitance: Option<Capacitance>,
    /// What flows from storage to the sleeping node there, such as "7.2 uA"; a number alone is in amperes
    #[arg(long, value_name = "I", value_parser = quantity::<Current>)]
    pub(crate) sleep_current: Option<Current>,
    /// Write a copy of the node file with the fitted values here, comments kept
    #[arg(long, value_name = "TOML")]
    pub(crate) write: Option<PathBuf>,
    /// Text for people or JSON for programs
    #[arg(long, value_enum, default_value_t = FormatArgument::Text)]
    pub(crate) format: FormatArgument,
}

#[derive(Args)]
pub(crate) struct LogPlan {
    /// The node file
    pub(crate) node: PathBuf,
    /// How well each parameter is to be known, in percent of it
    #[arg(long, value_name = "PERCENT", default_value_t = 15.0, value_parser = percent)]
    pub(crate) within: f64,
    /// Text for people or JSON for programs
    #[arg(long, value_enum, default_value_t = FormatArgument::Text)]
    pub(crate) format: FormatArgument,
}

/// A part of a parameter that it can be known to.
fn percent(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(percent) if percent > 0.0 && percent <= 100.0 => Ok(percent),
        _ => Err("a number of percent above 0, at most 100".to_owned()),
    }
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
