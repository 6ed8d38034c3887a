//! The command line: what can be asked for.

mod choice;
mod files;
mod value;

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand};
use clap_complete::Shell;
use millpond::dividers::series::Series;
use millpond::income::light::Light;
use millpond::units::*;

use value::{
    days, endurance, light, parts, percent, quantity, range, rows, seed, source_range, temperature,
    tolerance, years,
};

pub(crate) use choice::{Example, FormatArgument, PaceArgument};
pub(crate) use files::{Files, Named};
pub(crate) use value::{Range, SourceRange};

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
    /// How long the node lives in the dark, which light keeps it going for ever, how soon it is back
    Survival(Survival),
    /// Which capacitor and which source: every pair of a sweep, simulated, and the smallest that meets the policy
    Size(Size),
    /// One capacitor discharged on the bench: capacitance, its rise with voltage, resistance, and a block for the node file
    Cell(Cell),
    /// Parameters from a bench log with their uncertainty, and findings in words
    Fit(Fit),
    /// What to log, how often and how long, for each parameter to be known
    LogPlan(LogPlan),
    /// Which inputs move the transmit threshold and the time in the dark most, for each percent of theirs
    Sensitivity(Sensitivity),
    /// Threshold and time in the dark over temperature and age; which constants to make anew after some years
    Lifetime(Lifetime),
    /// Preferred-value resistors for the gate comparator, the overvoltage limit and the sensing divider
    Dividers(Dividers),
    /// Everything about a node on one page that needs no network, with pictures
    Report(Report),
    /// A page to change the node in and see at once what comes of it: served on this machine alone, or written to a file
    Workbench(Workbench),
    /// Which constants move between two node files, by how much, and which input moved them
    Compare(Compare),
    /// What a shell needs to complete commands and options, to standard output
    Completions(Completions),
    /// Manual pages, one for each command
    Manual(Manual),
}

#[derive(Args)]
pub(crate) struct Init {
    /// The file to write
    pub(crate) file: PathBuf,
    /// The example to start from
    #[arg(long, value_enum, value_name = "NAME", default_value_t = Example::CrackGauge)]
    pub(crate) example: Example,
}

#[derive(Args)]
pub(crate) struct Print {
    /// The node file
    pub(crate) node: PathBuf,
    /// Text for people or JSON for programs
    #[arg(long, value_enum, default_value_t = FormatArgument::Text)]
    pub(crate) format: FormatArgument,
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
    /// Write here, as a rule for make, which files were read: the node file and the CSV files that it names
    #[arg(long, value_name = "FILE", conflicts_with = "verify")]
    pub(crate) depfile: Option<PathBuf>,
    /// Write over whatever stands there, read-only files too; without it only what millpond wrote is replaced
    #[arg(long, conflicts_with = "verify")]
    pub(crate) force: bool,
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
    #[arg(long, value_name = "N", default_value_t = 30.0, value_parser = days, allow_negative_numbers = true)]
    pub(crate) days: f64,
    /// Which random units: the same seed gives the same ones
    #[arg(long, value_name = "N", default_value_t = 1, value_parser = seed, allow_negative_numbers = true)]
    pub(crate) seed: u64,
    /// Run so many random units of the node inside its tolerances, too
    #[arg(long, value_name = "N", default_value_t = 0, value_parser = parts, allow_negative_numbers = true)]
    pub(crate) parts: u32,
    /// Write every event here as it happens
    #[arg(long, value_name = "CSV")]
    pub(crate) timeline: Option<PathBuf>,
    /// Draw the storage voltage here
    #[arg(long, value_name = "SVG")]
    pub(crate) picture: Option<PathBuf>,
    /// Write over whatever stands there, read-only files too; without it only what millpond wrote is replaced
    #[arg(long)]
    pub(crate) force: bool,
    /// Text for people or JSON for programs
    #[arg(long, value_enum, default_value_t = FormatArgument::Text)]
    pub(crate) format: FormatArgument,
}

#[derive(Args)]
pub(crate) struct Survival {
    /// The node file
    pub(crate) node: PathBuf,
    /// Steady light for coming back, in the source's own terms: "900 uW", "40 W/m2", "200 lx"; the source's mean while it gives
    /// anything when not given
    #[arg(long, value_name = "LIGHT", value_parser = light)]
    pub(crate) light: Option<Light>,
    /// Text for people or JSON for programs
    #[arg(long, value_enum, default_value_t = FormatArgument::Text)]
    pub(crate) format: FormatArgument,
}

#[derive(Args)]
pub(crate) struct Size {
    /// The node file
    pub(crate) node: PathBuf,
    /// Capacitances of one cell, such as 0.1F..10F; without a catalogue, so many of the node's own side by side in preferred values
    #[arg(long, value_name = "A..B", value_parser = range::<Capacitance>)]
    pub(crate) capacitance: Option<Range<Capacitance>>,
    /// Areas of the source in preferred values, such as 10cm2..47cm2, or how much of it, such as 0.5..2
    #[arg(long, value_name = "A..B", value_parser = source_range)]
    pub(crate) area: Option<SourceRange>,
    /// Parts to choose from: TOML with [[part]] tables, or CSV
    #[arg(long, value_name = "FILE")]
    pub(crate) catalogue: Option<PathBuf>,
    /// Without a catalogue, preferred values of the capacitances: E3, E6, E12, E24, E48, E96 or E192
    #[arg(long, value_name = "SERIES", default_value_t = Series::E6, conflicts_with = "catalogue")]
    pub(crate) series: Series,
    /// How long each candidate is simulated
    #[arg(long, value_name = "N", default_value_t = 365.0, value_parser = days, allow_negative_numbers = true)]
    pub(crate) days: f64,
    /// Steady light for coming back from empty, in the source's own terms; the source's mean while it gives anything when not given
    #[arg(long, value_name = "LIGHT", value_parser = light)]
    pub(crate) light: Option<Light>,
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
    /// Write over whatever stands there, read-only files too; without it only what millpond wrote is replaced
    #[arg(long)]
    pub(crate) force: bool,
    /// Text for people or JSON for programs
    #[arg(long, value_enum, default_value_t = FormatArgument::Text)]
    pub(crate) format: FormatArgument,
}

#[derive(Args)]
pub(crate) struct LogPlan {
    /// The node file
    pub(crate) node: PathBuf,
    /// How well each parameter is to be known, in percent of it
    #[arg(long, value_name = "PERCENT", default_value_t = 15.0, value_parser = percent, allow_negative_numbers = true)]
    pub(crate) within: f64,
    /// Text for people or JSON for programs
    #[arg(long, value_enum, default_value_t = FormatArgument::Text)]
    pub(crate) format: FormatArgument,
}

#[derive(Args)]
pub(crate) struct Sensitivity {
    /// The node file
    pub(crate) node: PathBuf,
    /// How many inputs to show for each answer
    #[arg(long, value_name = "N", default_value_t = 5, value_parser = rows, allow_negative_numbers = true)]
    pub(crate) rows: u32,
    /// Text for people or JSON for programs
    #[arg(long, value_enum, default_value_t = FormatArgument::Text)]
    pub(crate) format: FormatArgument,
}

#[derive(Args)]
pub(crate) struct Lifetime {
    /// The node file
    pub(crate) node: PathBuf,
    /// Years from new to what the node file calls the end of life
    #[arg(long, value_name = "YEARS", default_value_t = 10.0, value_parser = years, allow_negative_numbers = true)]
    pub(crate) life: f64,
    /// In place of --life: how long the capacitors live at their highest temperature, such as "1000 h"
    #[arg(long, value_name = "TIME", value_parser = endurance, requires = "at", conflicts_with = "life")]
    pub(crate) endurance: Option<Time>,
    /// That temperature, such as "70 degC"
    #[arg(long, value_name = "T", value_parser = temperature, requires = "endurance", allow_hyphen_values = true)]
    pub(crate) at: Option<Temperature>,
    /// Mean temperature in use; every 10 K less double the life that --endurance says
    #[arg(long, value_name = "T", default_value = "20 degC", value_parser = temperature, requires = "endurance", allow_hyphen_values = true)]
    pub(crate) mean: Temperature,
    /// Years after which constants are to be made anew
    #[arg(long, value_name = "YEARS", default_value_t = 5.0, value_parser = years, allow_negative_numbers = true)]
    pub(crate) after: f64,
    /// Text for people or JSON for programs
    #[arg(long, value_enum, default_value_t = FormatArgument::Text)]
    pub(crate) format: FormatArgument,
}

#[derive(Args)]
pub(crate) struct Dividers {
    /// The node file
    pub(crate) node: PathBuf,
    /// Preferred values: E3, E6, E12, E24, E48, E96 or E192
    #[arg(long, value_name = "SERIES", default_value_t = Series::E96)]
    pub(crate) series: Series,
    /// How far a resistor may be off, such as "0.5 %" [default: 1 %, and what the node file says for sensing]
    #[arg(long, value_name = "PART", value_parser = tolerance)]
    pub(crate) tolerance: Option<Ratio>,
    /// Largest current of each set at the overvoltage limit, such as "500 nA" [default: a tenth of what sleep takes, at least that of 10 Mohm]
    #[arg(long, value_name = "I", value_parser = quantity::<Current>)]
    pub(crate) current_at_most: Option<Current>,
    /// How many sets for each use
    #[arg(long, value_name = "N", default_value_t = 3, value_parser = rows, allow_negative_numbers = true)]
    pub(crate) rows: u32,
    /// Text for people or JSON for programs
    #[arg(long, value_enum, default_value_t = FormatArgument::Text)]
    pub(crate) format: FormatArgument,
}

#[derive(Args)]
pub(crate) struct Report {
    /// The node file
    pub(crate) node: PathBuf,
    /// The page to write
    #[arg(short, long, value_name = "HTML")]
    pub(crate) output: PathBuf,
    /// Write over whatever stands there, read-only files too; without it only what millpond wrote is replaced
    #[arg(long)]
    pub(crate) force: bool,
    /// Income from a CSV file in place of the node's own source, as for `simulate`
    #[arg(long, value_name = "CSV")]
    pub(crate) trace: Option<PathBuf>,
    /// What decides how long to wait, in place of `pace` in the node file
    #[arg(long, value_enum, value_name = "PACE")]
    pub(crate) pace: Option<PaceArgument>,
    /// How long the simulation runs
    #[arg(long, value_name = "N", default_value_t = 365.0, value_parser = days, allow_negative_numbers = true)]
    pub(crate) days: f64,
    /// A bench log to fit and show
    #[arg(long, value_name = "CSV")]
    pub(crate) log: Option<PathBuf>,
    /// What the whole bank was measured to have, as for `fit`
    #[arg(long, value_name = "C", value_parser = quantity::<Capacitance>, requires = "log")]
    pub(crate) capacitance: Option<Capacitance>,
    /// What was measured to flow to the sleeping node, as for `fit`
    #[arg(long, value_name = "I", value_parser = quantity::<Current>, requires = "log")]
    pub(crate) sleep_current: Option<Current>,
}

#[derive(Args)]
pub(crate) struct Workbench {
    /// The node file
    pub(crate) node: PathBuf,
    /// Write the page here, to be opened from the disk, instead of serving it
    #[arg(short, long, value_name = "HTML")]
    pub(crate) output: Option<PathBuf>,
    /// Write over whatever stands there, read-only files too; without it only what millpond wrote is replaced
    #[arg(long, requires = "output")]
    pub(crate) force: bool,
    /// The port to serve on; any free one when not given
    #[arg(long, value_name = "PORT", default_value_t = 0, conflicts_with = "output")]
    pub(crate) port: u16,
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

#[derive(Args)]
pub(crate) struct Completions {
    /// The shell
    #[arg(value_enum)]
    pub(crate) shell: Shell,
}

#[derive(Args)]
pub(crate) struct Manual {
    /// The folder to write into; made where it is missing
    pub(crate) folder: PathBuf,
    /// Write over whatever stands there, read-only files too; without it only what millpond wrote is replaced
    #[arg(long)]
    pub(crate) force: bool,
}
