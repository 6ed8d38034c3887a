//! From raw converter counts to millivolts at the storage terminal.

use crate::division::quotient;
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

    /// Storage voltage (mV) from raw converter counts: [`Policy::storage_mv_from_counts`](crate::Policy::storage_mv_from_counts).
    pub(crate) fn storage_mv(&self, counts: u16) -> u16 {
        match self.kind {
            SenseKind::Divider => {
                let counts = u32::from(counts.min(self.maximum_count));
                // OK because `Sense::check` multiplied the largest count, and refused shifts above 31.
                let scaled = counts
                    .wrapping_mul(self.count_scale)
                    .wrapping_shr(u32::from(self.count_shift));
                u16::try_from(scaled).unwrap_or(u16::MAX)
            }
            SenseKind::Reference => {
                let counts_u32 = u32::from(counts);
                // A quotient that 16 bits do not hold: more than 65.535 V.
                let is_too_low = self.count_scale.wrapping_shr(u16::BITS) >= counts_u32;
                if counts > self.maximum_count || is_too_low {
                    0
                } else {
                    quotient(self.count_scale, counts_u32)
                }
            }
        }
    }
}
