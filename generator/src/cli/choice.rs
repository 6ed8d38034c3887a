//! Options that take one of a few words.

use clap::ValueEnum;
use millpond::node::Pace;
use millpond::printout::Format;

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

/// How results are printed.
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

/// What decides how long to wait.
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
