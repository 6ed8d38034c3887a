//! The rule for a sample that comes when all places are taken.

/// What happens when a sample comes and the backlog is full.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case"))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum WhenFull {
    /// The oldest sample is dropped.
    KeepNewest,
    /// The new sample is dropped.
    KeepOldest,
    /// Every second sample is dropped, and from then on only every second of the samples that were kept
    /// before, so that what is left stays evenly spaced. Doubles up to one in 128. Back to every sample once
    /// the backlog is empty.
    ThinEvenly,
}
