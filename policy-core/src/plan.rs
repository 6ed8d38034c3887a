//! The constants of a plan: what foresight may count on, for the nodes that have a free-running clock.
//!
//! Energies are in *units* of 2^`unit_shift` µJ, so that a whole plan fits into 32-bit arithmetic; see [`Plan::new`].

use crate::energy::{Costs, EnergyModel};
use crate::rejected::Rejected;
#[cfg(feature = "serde")]
use serde::ser::Serializer;

/// Slots of the day that income is remembered for.
pub const SLOTS: usize = 24;
/// Length of a slot (s).
pub const SLOT_S: u16 = 3_600;
/// Slots that a plan looks ahead: two days.
pub const AHEAD_SLOTS: usize = 48;

/// Largest right shift from microjoules to units.
const LARGEST_UNIT_SHIFT: u8 = 16;
/// Largest storage in units: half the range of a slot's income, so that a slot can fill the storage twice.
const LARGEST_FULL_UNITS: u16 = 32_767;
/// 2³² − 1 through the look ahead.
const LARGEST_SAMPLE_UNIT_S: u32 = 89_478_485;
/// A factor of 1, in 1/64.
const LEAST_GROWTH: u8 = 64;
/// Two slots: how long a sum of energies may run before it is used or dropped (s).
const LONGEST_SUM_S: u32 = 7_200;
/// 31 bits: a sum of energies has a sign.
const LARGEST_SUM_UJ: u32 = i32::MAX as u32;

/// The constants before they are checked; [`Plan::new`] makes a plan of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct PlanParts {
    /// Stored energy of a typical unit from a reading. A plan is about what happens, not about the worst part.
    pub energy: EnergyModel,
    /// Typical costs of the actions and of sleep.
    pub costs: Costs,
    /// Energies of the plan are in 2^`unit_shift` µJ, at most 16.
    pub unit_shift: u8,
    /// Storage at `energy.full_mv` (units), at most 32767.
    pub full_units: u16,
    /// Sleep in one slot (units).
    pub sleep_units: u16,
    /// Cost of one sample with its part of a report, times [`SLOT_S`] (units·s), at least 1.
    pub sample_unit_s: u32,
    /// No plan takes storage below this (units), at most `full_units`.
    pub reserve_units: u16,
    /// What a plan leaves in storage at its end (units), at most `full_units`.
    pub target_units: u16,
    /// From this reading on the converter may have stopped charging (mV), and the income may be more than was seen.
    pub full_reading_mv: u16,
    /// Part of the remembered income that each slot ahead counts on (1/128).
    #[cfg_attr(feature = "serde", serde(serialize_with = "as_list"))]
    pub caution: [u8; AHEAD_SLOTS],
    /// What a slot keeps of its average a day later (1/256).
    pub slot_kept: u8,
    /// What the ratio of today to the average keeps in each slot (1/256).
    pub ratio_kept: u8,
    /// What is left of the ratio's distance from 1 in each slot ahead (1/256).
    pub ratio_fading: u8,
    /// Factor on the income of a slot that ended full (1/64), at least 64.
    pub growth: u8,
    /// Least time between measurements (s), at least 1.
    pub fastest_s: u16,
    /// Longest time between measurements (s), at least `fastest_s`.
    pub slowest_s: u16,
}

/// The list of cautions: the arrays that serde knows by itself end at 32.
#[cfg(feature = "serde")]
fn as_list<S: Serializer>(caution: &[u8; AHEAD_SLOTS], serializer: S) -> Result<S::Ok, S::Error> {
    serializer.collect_seq(caution)
}

/// The constants of a plan. Only sets that keep every rule of [`Rejected`] can be built.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Plan {
    parts: PlanParts,
}

impl Plan {
    /// Checks the constants. Callable in a `const`, where a refusal stops the compiler.
    ///
    /// # Errors
    /// The first broken rule.
    ///
    /// ```
    /// use millpond_policy::{Plan, PlanParts, Rejected};
    /// let good = *Plan::EXAMPLE.parts();
    /// assert!(Plan::new(good).is_ok());
    /// assert_eq!(Plan::new(PlanParts { fastest_s: 0, ..good }), Err(Rejected::PlanFastest));
    /// ```
    ///
    /// Why nothing in a plan overflows: a slot's income is at most 65535 units, with caution and ratio below 2 and 4, so
    /// that 48 slots stay below 2²⁵ units, times 48 below 2³¹. Storage, reserve and sleep are each below 2¹⁶.
    pub const fn new(parts: PlanParts) -> Result<Self, Rejected> {
        if let Err(rejected) = parts.energy.check() {
            return Err(rejected);
        }
        if parts.unit_shift > LARGEST_UNIT_SHIFT {
            return Err(Rejected::UnitShiftTooLarge);
        }
        if parts.full_units > LARGEST_FULL_UNITS {
            return Err(Rejected::PlanTooFull);
        }
        if parts.reserve_units > parts.full_units || parts.target_units > parts.full_units {
            return Err(Rejected::PlanAboveFull);
        }
        if parts.sample_unit_s == 0 || parts.sample_unit_s > LARGEST_SAMPLE_UNIT_S {
            return Err(Rejected::PlanSampleCost);
        }
        if parts.growth < LEAST_GROWTH {
            return Err(Rejected::PlanGrowth);
        }
        if parts.fastest_s == 0 || parts.fastest_s > parts.slowest_s {
            return Err(Rejected::PlanFastest);
        }
        let stored_uj = parts.energy.stored_uj(parts.energy.full_mv);
        let fits = match parts.costs.sleep_uw.checked_mul(LONGEST_SUM_S) {
            Some(asleep_uj) => match asleep_uj.checked_add(stored_uj) {
                Some(sum_uj) => sum_uj <= LARGEST_SUM_UJ,
                None => false,
            },
            None => false,
        };
        if !fits {
            return Err(Rejected::PlanEnergyOverflow);
        }
        Ok(Self { parts })
    }

    /// The constants.
    ///
    /// ```
    /// use millpond_policy::Plan;
    /// assert_eq!(Plan::EXAMPLE.parts().slowest_s, 3_600);
    /// ```
    #[must_use]
    pub const fn parts(&self) -> &PlanParts {
        &self.parts
    }

    /// For [`Policy::EXAMPLE`](crate::Policy::EXAMPLE) with its parts at their nominal values, for examples and tests.
    pub const EXAMPLE: Self = Self {
        parts: PlanParts {
            energy: EnergyModel {
                floor_mv: 2_300,
                full_mv: 5_300,
                energy_shift_before: 10,
                energy_scale: 512,
                energy_shift_after: 0,
            },
            costs: Costs {
                measure_uj: 1_100,
                transmit_uj: 36_000,
                sleep_uw: 10,
            },
            unit_shift: 9,
            full_units: 22_265,
            sleep_units: 70,
            sample_unit_s: 260_859,
            reserve_units: 4_400,
            target_units: 6_000,
            full_reading_mv: 5_050,
            caution: [
                122, 117, 113, 109, 106, 102, 99, 97, 94, 92, 90, 88, 86, 84, 83, 81, 80, 79, 78, 77, 76, 75,
                74, 74, 73, 72, 72, 71, 71, 70, 70, 69, 69, 69, 68, 68, 68, 67, 67, 67, 67, 66, 66, 66, 66,
                66, 66, 65,
            ],
            slot_kept: 223,
            ratio_kept: 84,
            ratio_fading: 233,
            growth: 83,
            fastest_s: 60,
            slowest_s: 3_600,
        },
    };
}
