//! The answer to the firmware.

/// What the firmware does next. It saves the state before it acts, and asks again afterwards.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[must_use]
pub enum Decision {
    /// Take a sample and put it into the backlog.
    Measure,
    /// Send from the backlog, the oldest sample first.
    Transmit,
    /// Sleep.
    Wait {
        /// How long to sleep before asking again (s), at least 1. Asking earlier is harmless.
        seconds: u16,
        /// What the node waits for.
        reason: Reason,
    },
}

/// What a waiting node waits for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Reason {
    /// The next action is not due: the pace table, or the least time between two reports.
    Pace,
    /// The storage voltage is below the threshold of the next action.
    LowStorage,
    /// The off-time of the last transmission still runs. Where the spacing is longer than the off-time, the
    /// off-time after a restart is called `Pace`: the state does not tell the two apart.
    RadioSilence,
}
