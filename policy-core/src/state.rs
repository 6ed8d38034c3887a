//! What the policy remembers from one wake-up to the next.

use crate::policy::Policy;

/// Bit of `refused` for a measurement.
pub(crate) const MEASURE_REFUSED: u8 = 0b01;
/// Bit of `refused` for a transmission.
pub(crate) const TRANSMIT_REFUSED: u8 = 0b10;
/// Every bit of `refused` that has a meaning.
pub(crate) const REFUSED_BITS: u8 = MEASURE_REFUSED | TRANSMIT_REFUSED;

/// The memory of the policy: 5 bytes, laid out as in the C header.
///
/// It lives in ordinary memory; [`State::pack`] makes the copy for retained memory.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(C)]
pub struct State {
    pub(crate) since_measure_s: u16,
    pub(crate) transmit_after_s: u16,
    pub(crate) refused: u8,
}

impl State {
    /// The state after a restart of which nothing is known: a measurement is due, and the radio stays silent
    /// for the off-time.
    ///
    /// ```
    /// use millpond_policy::{Policy, State};
    /// let state = State::cold_start(&Policy::EXAMPLE);
    /// assert_eq!(state.since_measure_s(), u16::MAX);
    /// assert_eq!(state.transmit_after_s(), 20);
    /// ```
    #[must_use]
    pub const fn cold_start(policy: &Policy) -> Self {
        Self {
            since_measure_s: u16::MAX,
            transmit_after_s: policy.parts().off_time_s,
            refused: 0,
        }
    }

    /// Time since the last measurement (s); 65535 also for anything longer.
    ///
    /// ```
    /// use millpond_policy::{decide, Policy, Reading, State};
    /// let mut state = State::cold_start(&Policy::EXAMPLE);
    /// let _ = decide(&Policy::EXAMPLE, &mut state, Reading { storage_mv: 5_000, elapsed_s: 0, waiting: 0 });
    /// assert_eq!(state.since_measure_s(), 0);
    /// ```
    #[must_use]
    pub const fn since_measure_s(&self) -> u16 {
        self.since_measure_s
    }

    /// Time until the radio may be used again (s).
    ///
    /// ```
    /// use millpond_policy::{decide, Policy, Reading, State};
    /// let mut state = State::cold_start(&Policy::EXAMPLE);
    /// let _ = decide(&Policy::EXAMPLE, &mut state, Reading { storage_mv: 5_000, elapsed_s: 15, waiting: 0 });
    /// assert_eq!(state.transmit_after_s(), 5);
    /// ```
    #[must_use]
    pub const fn transmit_after_s(&self) -> u16 {
        self.transmit_after_s
    }

    /// Whether a measurement was refused for low storage and none has been granted since.
    ///
    /// ```
    /// use millpond_policy::{decide, Policy, Reading, State};
    /// let mut state = State::cold_start(&Policy::EXAMPLE);
    /// let _ = decide(&Policy::EXAMPLE, &mut state, Reading { storage_mv: 2_599, elapsed_s: 0, waiting: 0 });
    /// assert!(state.measure_refused() && !state.transmit_refused());
    /// ```
    #[must_use]
    pub const fn measure_refused(&self) -> bool {
        self.refused & MEASURE_REFUSED != 0
    }

    /// Whether a transmission was refused for low storage and none has been granted since.
    ///
    /// ```
    /// use millpond_policy::{decide, Policy, Reading, State};
    /// let mut state = State::cold_start(&Policy::EXAMPLE);
    /// let _ = decide(&Policy::EXAMPLE, &mut state, Reading { storage_mv: 3_089, elapsed_s: 20, waiting: 1 });
    /// assert!(state.transmit_refused());
    /// ```
    #[must_use]
    pub const fn transmit_refused(&self) -> bool {
        self.refused & TRANSMIT_REFUSED != 0
    }

    /// Lets time pass. Both times stop at the end of their range, so that no clock jump can wrap them.
    pub(crate) fn advance(&mut self, elapsed_s: u32) {
        let elapsed_s = u16::try_from(elapsed_s).unwrap_or(u16::MAX);
        self.since_measure_s = self.since_measure_s.saturating_add(elapsed_s);
        self.transmit_after_s = self.transmit_after_s.saturating_sub(elapsed_s);
    }
}
