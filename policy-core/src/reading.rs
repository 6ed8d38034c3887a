//! What the firmware knows when it asks.

/// What the firmware passes to [`decide`](crate::decide) at a wake-up. Every value of every field is allowed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Reading {
    /// Voltage at the storage terminal (mV).
    pub storage_mv: u16,
    /// Time since the last call of `decide`, or since the restart (s).
    pub elapsed_s: u32,
    /// Samples in the backlog that have not been sent.
    pub waiting: u8,
}
