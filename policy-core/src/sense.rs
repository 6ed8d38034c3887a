//! From raw converter counts to millivolts at the storage terminal.

use crate::division::quotient;
use crate::policy::Policy;
use crate::rejected::Rejected;

/// Largest right shift of a 32-bit number that is a shift and not an overflow.
const LARGEST_SHIFT: u8 = 31;

/// What the converter compares with what.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(rename_all = "kebab-case"))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum SenseKind {
    /// The storage voltage, divided, against a fixed reference: counts rise with storage,
    /// `storage_mv = counts · count_scale / 2^count_shift`.
    #[default]
    Divider,
    /// A fixed reference against the converter's supply, which is storage: counts fall as storage rises,
    /// `storage_mv = count_scale / counts`.
    Reference,
}

/// Constants of the converter and what stands before it. Either conversion rounds down.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Sense {
    /// What is compared with what.
    #[cfg_attr(feature = "serde", serde(default))]
    pub kind: SenseKind,
    /// With a divider: millivolts for each count, times 2^`count_shift`. With a reference: millivolts times counts. Rounded down,
    /// so that the conversion adds nothing to a reading.
    pub count_scale: u32,
    /// Right shift after the multiplication, 0 to 31; of no use with a reference.
    pub count_shift: u8,
    /// The largest count of the converter.
    pub maximum_count: u16,
}

impl Sense {
    pub(crate) const fn check(&self) -> Result<(), Rejected> {
        match self.kind {
            SenseKind::Divider => {
                if self.count_shift > LARGEST_SHIFT {
                    return Err(Rejected::CountShiftTooLarge);
                }
                match self.count_scale.checked_mul(self.maximum_count as u32) {
                    Some(_) => Ok(()),
                    None => Err(Rejected::CountOverflow),
                }
            }
            // Any constants are sound: a quotient that does not fit is refused where it is made.
            SenseKind::Reference => Ok(()),
        }
    }
}

impl Policy {
    /// Storage voltage (mV) from raw converter counts, rounded down, at most 65535.
    ///
    /// Counts that the converter cannot deliver read safely. With a divider, counts above full scale are read as full scale. With a
    /// reference, counts above the largest and counts so low that storage would stand above 65.535 V, 0 among them, are read as
    /// 0 mV: such a converter is not to be believed, and nothing is permitted.
    ///
    /// ```
    /// use millpond_policy::{Policy, PolicyParts, Sense, SenseKind};
    /// let policy = Policy::EXAMPLE; // 10 bits, 6.12 mV for each count
    /// assert_eq!(policy.storage_mv_from_counts(0), 0);
    /// assert_eq!(policy.storage_mv_from_counts(500), 3_059); // 3059.999...: rounded down
    /// assert_eq!(policy.storage_mv_from_counts(u16::MAX), policy.storage_mv_from_counts(1_023));
    ///
    /// // A reference of 1.2 V against the supply, 10 bits: 1200 mV · 1024 = 1228800.
    /// let sense = Sense { kind: SenseKind::Reference, count_scale: 1_228_800, count_shift: 0, maximum_count: 1_023 };
    /// let policy = Policy::new(PolicyParts { sense, ..*policy.parts() })?;
    /// assert_eq!(policy.storage_mv_from_counts(400), 3_072);
    /// assert_eq!(policy.storage_mv_from_counts(401), 3_064); // more counts are fewer volts
    /// assert_eq!(policy.storage_mv_from_counts(0), 0);
    /// assert_eq!(policy.storage_mv_from_counts(1_024), 0);
    /// # Ok::<(), millpond_policy::Rejected>(())
    /// ```
    #[must_use]
    pub fn storage_mv_from_counts(&self, counts: u16) -> u16 {
        let sense = &self.parts().sense;
        match sense.kind {
            SenseKind::Divider => {
                let counts = u32::from(counts.min(sense.maximum_count));
                // OK because `Sense::check` multiplied the largest count, and refused shifts above 31.
                let scaled = counts
                    .wrapping_mul(sense.count_scale)
                    .wrapping_shr(u32::from(sense.count_shift));
                u16::try_from(scaled).unwrap_or(u16::MAX)
            }
            SenseKind::Reference => {
                let counts_u32 = u32::from(counts);
                // A quotient that 16 bits do not hold: more than 65.535 V.
                let is_too_low = sense.count_scale.wrapping_shr(u16::BITS) >= counts_u32;
                if counts > sense.maximum_count || is_too_low {
                    0
                } else {
                    quotient(sense.count_scale, counts_u32)
                }
            }
        }
    }
}
