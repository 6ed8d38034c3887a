//! From raw converter counts to millivolts at the storage terminal.

use crate::policy::Policy;
use crate::rejected::Rejected;

/// Largest right shift of a 32-bit number that is a shift and not an overflow.
const LARGEST_SHIFT: u8 = 31;

/// Constants of the sensing divider and converter: `storage_mv = counts · count_scale / 2^count_shift`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Sense {
    /// Millivolts for each count, times 2^`count_shift`; rounded down, so that a reading is never above the truth.
    pub count_scale: u32,
    /// Right shift after the multiplication, 0 to 31.
    pub count_shift: u8,
    /// Full-scale reading of the converter.
    pub maximum_count: u16,
}

impl Sense {
    pub(crate) const fn check(&self) -> Result<(), Rejected> {
        if self.count_shift > LARGEST_SHIFT {
            return Err(Rejected::CountShiftTooLarge);
        }
        match self.count_scale.checked_mul(self.maximum_count as u32) {
            Some(_) => Ok(()),
            None => Err(Rejected::CountOverflow),
        }
    }
}

impl Policy {
    /// Storage voltage (mV) from raw converter counts, rounded down, at most 65535.
    ///
    /// Counts above full scale, which the converter cannot deliver, are read as full scale.
    ///
    /// ```
    /// use millpond_policy::Policy;
    /// let policy = Policy::EXAMPLE; // 10 bits, 6.12 mV for each count
    /// assert_eq!(policy.storage_mv_from_counts(0), 0);
    /// assert_eq!(policy.storage_mv_from_counts(500), 3_059); // 3059.999...: rounded down
    /// assert_eq!(policy.storage_mv_from_counts(u16::MAX), policy.storage_mv_from_counts(1_023));
    /// ```
    #[must_use]
    pub fn storage_mv_from_counts(&self, counts: u16) -> u16 {
        let sense = &self.parts().sense;
        let counts = u32::from(counts.min(sense.maximum_count));
        // OK because `Sense::check` multiplied the largest count, and refused shifts above 31.
        let scaled = counts
            .wrapping_mul(sense.count_scale)
            .wrapping_shr(u32::from(sense.count_shift));
        u16::try_from(scaled).unwrap_or(u16::MAX)
    }
}
