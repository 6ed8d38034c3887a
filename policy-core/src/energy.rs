//! Stored energy from a reading, and what each action costs.
//!
//! E = C/2 · (v² − floor²), as an integer multiplication between two shifts:
//! `(((v² − floor²) >> energy_shift_before) · energy_scale) >> energy_shift_after`, in microjoules for v in
//! millivolts, v at most `full_mv`: no more can be stored than at the voltage where charging stops. All in 32 bits. Both shifts drop bits and the generator rounds `energy_scale` down, so that the
//! result is never above C/2 · (v² − floor²).

use crate::rejected::Rejected;

/// Largest right shift of a 32-bit number that is a shift and not an overflow.
const LARGEST_SHIFT: u8 = 31;

/// Constants of the stored energy.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct EnergyModel {
    /// Storage voltage at which nothing usable is left (mV).
    pub floor_mv: u16,
    /// Storage voltage at which charging stops (mV): a reading above counts as this.
    pub full_mv: u16,
    /// Right shift of the difference of squares, 0 to 31.
    pub energy_shift_before: u8,
    /// Factor between the shifts: C/2 (µJ/mV²) times 2^(before + after), rounded down, at least 1.
    pub energy_scale: u16,
    /// Right shift of the product, 0 to 31.
    pub energy_shift_after: u8,
}

/// What each action takes out of the store, in the worst corner.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Costs {
    /// One measurement (µJ).
    pub measure_uj: u32,
    /// One transmission (µJ).
    pub transmit_uj: u32,
    /// Sleeping (µW).
    pub sleep_uw: u32,
}

impl EnergyModel {
    pub(crate) const fn check(&self) -> Result<(), Rejected> {
        if self.energy_shift_before > LARGEST_SHIFT || self.energy_shift_after > LARGEST_SHIFT {
            return Err(Rejected::EnergyShiftTooLarge);
        }
        if self.energy_scale == 0 {
            return Err(Rejected::EnergyScaleZero);
        }
        if self.full_mv < self.floor_mv {
            return Err(Rejected::FullBelowFloor);
        }
        match self
            .shifted_squares(self.full_mv)
            .checked_mul(self.energy_scale as u32)
        {
            Some(_) => Ok(()),
            None => Err(Rejected::EnergyOverflow),
        }
    }

    const fn shifted_squares(&self, storage_mv: u16) -> u32 {
        // OK because 65535² is below 2³²; below the floor the difference stays at 0; a shift is at most 31.
        let counted_mv = if storage_mv > self.full_mv {
            self.full_mv
        } else {
            storage_mv
        };
        let square = (counted_mv as u32).wrapping_mul(counted_mv as u32);
        let floor_square = (self.floor_mv as u32).wrapping_mul(self.floor_mv as u32);
        square
            .saturating_sub(floor_square)
            .wrapping_shr(self.energy_shift_before as u32)
    }

    /// Energy above the floor (µJ), rounded down.
    pub(crate) const fn stored_uj(&self, storage_mv: u16) -> u32 {
        // OK because `check` multiplied at `full_mv`, and both factors are smaller here.
        let product = self
            .shifted_squares(storage_mv)
            .wrapping_mul(self.energy_scale as u32);
        product.wrapping_shr(self.energy_shift_after as u32)
    }
}
