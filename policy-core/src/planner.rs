//! The planner: how long to wait between measurements, from a forecast made of what each slot of the day brought before.
//!
//! Once in a slot it looks [`AHEAD_SLOTS`] slots ahead. Cumulative spending must stay between what would overflow the
//! storage and what would take it below the reserve, and end at the target; the first segment of the tightest string in that
//! corridor is the spending that keeps reports as even as the forecast allows. Source of the optimum: K. Tutuncuoglu,
//! A. Yener, "Optimum transmission policies for battery limited energy harvesting nodes", IEEE Transactions on Wireless
//! Communications 11 (2012) 1180-1189; there for known income, here on a forecast.
//!
//! It needs no clock but one that runs: the phase of the day is whatever it is at the start. For the first day, while it
//! learns, the pace table holds. Safety never rests on it: thresholds are checked after it, as they are after the table.
//!
//! 32-bit integers. The one division of a plan, and the ratio of a slot, are long divisions to 16 bits: no chip needs a
//! helper of its compiler for them.

use crate::decide::decide_every;
use crate::decision::Decision;
use crate::division::quotient;
use crate::pace;
use crate::plan::{AHEAD_SLOTS, Plan, PlanParts, SLOT_S, SLOTS};
use crate::policy::Policy;
use crate::reading::Reading;
use crate::state::State;

/// `learned` before the first reading.
const NOT_STARTED: u8 = u8::MAX;
/// As many slots have been learned as a day has.
const ALL_LEARNED: u8 = SLOTS as u8;
/// A ratio of 1: today is as the average.
const RATIO_ONE: u8 = 64;
/// Bits of a ratio's fraction.
const RATIO_BITS: u32 = 6;
/// Bits of a caution's fraction.
const CAUTION_BITS: u32 = 7;
/// Bits of a weight's fraction.
const WEIGHT_BITS: u32 = 8;
/// Half of the last, for rounding to the nearest.
const WEIGHT_HALF: u32 = 1 << 7;
/// A ratio is counted up to 3.
const LARGEST_RATIO: u16 = 192;
/// `balance_uj` when as much was spent as had been stored.
const BALANCED_UJ: u32 = 1 << 31;
/// A slot tells of today's ratio when it brings more than this part of the storage: 2⁻⁹ of it.
const TELLING_BITS: u32 = 9;

/// What the planner remembers: 60 bytes, laid out as in the C header.
///
/// ```
/// use millpond_policy::{Decision, Plan, Planner, Policy, Reading, State};
/// const POLICY: Policy = Policy::EXAMPLE; // a firmware includes the generated module instead
/// const PLAN: Plan = Plan::EXAMPLE;
///
/// let mut state = State::cold_start(&POLICY);
/// let mut planner = Planner::cold_start();
/// let full = Reading { storage_mv: 5_000, elapsed_s: 0, waiting: 0 };
/// assert_eq!(planner.decide(&POLICY, &PLAN, &mut state, full), Decision::Measure);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(C)]
pub struct Planner {
    /// Average income of each slot of the day (units).
    slots_units: [u16; SLOTS],
    /// What was spent in this slot, less what was stored at its start, plus 2³¹ (µJ); it stops at 2³² − 1.
    balance_uj: u32,
    /// Since the start of this slot (s).
    since_s: u16,
    /// Between measurements, by the last plan (s).
    interval_s: u16,
    /// The slot of the day.
    slot: u8,
    /// Today's income by the average (1/64).
    ratio: u8,
    /// Slots that have been seen, or [`NOT_STARTED`].
    learned: u8,
}

/// A slope of the corridor: this many units in so many slots.
#[derive(Clone, Copy)]
struct Slope {
    units: i32,
    slots: i32,
}

impl Slope {
    /// Flatter than any, and steeper than any.
    const FLATTEST: Self = Self { units: -1, slots: 0 };
    const STEEPEST: Self = Self { units: 1, slots: 0 };

    /// Whether this is steeper than `other`. OK because units stay below 2²⁵ and slots at most 48 ([`Plan::new`]).
    fn is_above(self, other: Self) -> bool {
        self.units.wrapping_mul(other.slots) > other.units.wrapping_mul(self.slots)
    }
}

impl Planner {
    /// Knows nothing yet.
    ///
    /// ```
    /// use millpond_policy::Planner;
    /// assert!(!Planner::cold_start().is_planning());
    /// ```
    #[must_use]
    pub const fn cold_start() -> Self {
        Self {
            slots_units: [0; SLOTS],
            balance_uj: BALANCED_UJ,
            since_s: 0,
            interval_s: u16::MAX,
            slot: 0,
            ratio: RATIO_ONE,
            learned: NOT_STARTED,
        }
    }

    /// Whether a whole day has been seen, so that plans hold and not the pace table.
    ///
    /// ```
    /// use millpond_policy::{Plan, Planner, Policy, Reading, State};
    /// let (policy, plan) = (Policy::EXAMPLE, Plan::EXAMPLE);
    /// let (mut state, mut planner) = (State::cold_start(&policy), Planner::cold_start());
    /// for _ in 0..=24 {
    ///     assert!(!planner.is_planning());
    ///     planner.decide(&policy, &plan, &mut state, Reading { storage_mv: 4_000, elapsed_s: 3_600, waiting: 0 });
    /// }
    /// assert!(planner.is_planning());
    /// ```
    #[must_use]
    pub const fn is_planning(&self) -> bool {
        self.learned == ALL_LEARNED
    }

    /// Time between measurements by the last plan (s); 65535 before the first.
    ///
    /// ```
    /// use millpond_policy::Planner;
    /// assert_eq!(Planner::cold_start().interval_s(), u16::MAX);
    /// ```
    #[must_use]
    pub const fn interval_s(&self) -> u16 {
        self.interval_s
    }

    /// Average income of each slot of the day (units of 2^`unit_shift` µJ), from the slot of the start on.
    ///
    /// ```
    /// use millpond_policy::Planner;
    /// assert_eq!(Planner::cold_start().slots_units(), &[0; 24]);
    /// ```
    #[must_use]
    pub const fn slots_units(&self) -> &[u16; SLOTS] {
        &self.slots_units
    }

    /// Answers like [`decide`](crate::decide), with a plan in the place of the pace table once a day has been seen. A wait
    /// ends with the slot at the latest, so that the slot's income is told from the next one's.
    ///
    /// Every reading is allowed, and so is a clock that stands still, jumps or wraps: a slot that was slept through teaches
    /// nothing. Save the state after the call and before acting on the answer; the planner may be lost with the power, and
    /// then learns anew.
    pub fn decide(&mut self, policy: &Policy, plan: &Plan, state: &mut State, reading: Reading) -> Decision {
        let parts = plan.parts();
        self.observe(plan, reading);
        let interval_s = if self.is_planning() {
            self.interval_s
        } else {
            pace::wait_s(&policy.parts().pace, reading.storage_mv)
        };
        let decision = decide_every(policy, state, reading, interval_s);
        match decision {
            Decision::Measure => self.spend(parts.costs.measure_uj),
            Decision::Transmit => self.spend(parts.costs.transmit_uj),
            Decision::Wait { seconds, reason } => {
                // OK because `observe` leaves since_s below SLOT_S.
                let left_s = SLOT_S.wrapping_sub(self.since_s);
                return Decision::Wait {
                    seconds: seconds.min(left_s),
                    reason,
                };
            }
        }
        decision
    }

    /// Tells of energy that was spent on something that no decision granted (µJ), so that it is not taken for missing income.
    ///
    /// ```
    /// use millpond_policy::Planner;
    /// let mut planner = Planner::cold_start();
    /// planner.spend(5_000); // a display was redrawn
    /// ```
    pub const fn spend(&mut self, energy_uj: u32) {
        self.balance_uj = self.balance_uj.saturating_add(energy_uj);
    }

    /// Lets time pass; at the end of a slot, learns from it and plans. Part of [`Planner::decide`]; alone it serves firmware
    /// that only wants the [`Planner::interval_s`] and decides by itself.
    ///
    /// ```
    /// use millpond_policy::{Plan, Planner, Reading};
    /// let mut planner = Planner::cold_start();
    /// for _ in 0..=24 {
    ///     planner.observe(&Plan::EXAMPLE, Reading { storage_mv: 4_000, elapsed_s: 3_600, waiting: 0 });
    /// }
    /// // As much stored as ever, while sleep takes 10 µW: 36 mJ come in with each slot.
    /// assert_eq!(planner.slots_units(), &[36_000 >> 9; 24]);
    /// ```
    pub fn observe(&mut self, plan: &Plan, reading: Reading) {
        let parts = plan.parts();
        if self.learned == NOT_STARTED {
            self.learned = 0;
            self.since_s = 0;
            self.balance_uj = BALANCED_UJ.wrapping_sub(parts.energy.stored_uj(reading.storage_mv));
            return;
        }
        let elapsed_s = u16::try_from(reading.elapsed_s).unwrap_or(u16::MAX);
        // OK because a product that does not fit belongs to more than two slots, of which nothing is learned (`Plan::new`).
        self.spend(parts.costs.sleep_uw.wrapping_mul(u32::from(elapsed_s)));
        self.since_s = self.since_s.saturating_add(elapsed_s);
        if self.since_s < SLOT_S {
            return;
        }
        let stored_uj = parts.energy.stored_uj(reading.storage_mv);
        if self.since_s < SLOT_S.wrapping_mul(2) {
            self.learn(parts, reading.storage_mv, stored_uj);
        }
        // At most 18 times: 65535 s are 18 slots.
        while self.since_s >= SLOT_S {
            self.since_s = self.since_s.wrapping_sub(SLOT_S);
            self.slot = self.slot.wrapping_add(1);
            if self.slot >= ALL_LEARNED {
                self.slot = 0;
            }
        }
        // OK because `Plan::new` keeps what is stored below 2³¹.
        self.balance_uj = BALANCED_UJ.wrapping_sub(stored_uj);
        if self.is_planning() {
            self.interval_s = self.interval(parts, stored_uj);
        }
    }

    /// Takes in the income of the slot that ends.
    fn learn(&mut self, parts: &PlanParts, storage_mv: u16, stored_uj: u32) {
        let Some(slot) = self.slots_units.get_mut(usize::from(self.slot)) else {
            return;
        };
        // Below 0 is an error of the reading. Both ends hold, so that more stored is never less income.
        let income_uj = stored_uj
            .saturating_add(self.balance_uj)
            .saturating_sub(BALANCED_UJ);
        let income_units = income_uj.wrapping_shr(u32::from(parts.unit_shift));
        let known_units = u32::from(*slot);
        let seen_units = if storage_mv >= parts.full_reading_mv {
            // The converter may have stopped: at least what is known, and more, so that spending finds out.
            income_units
                .max(known_units)
                .min(u32::from(u16::MAX))
                .wrapping_mul(u32::from(parts.growth))
                .wrapping_shr(RATIO_BITS)
        } else {
            income_units
        };
        let seen_units = u16::try_from(seen_units).unwrap_or(u16::MAX);
        if self.learned < ALL_LEARNED {
            *slot = seen_units;
            self.learned = self.learned.wrapping_add(1);
            return;
        }
        if known_units > u32::from(parts.full_units.wrapping_shr(TELLING_BITS)) {
            // OK because seen_units has 16 bits, and the average of two ratios 8.
            let today =
                quotient(u32::from(seen_units).wrapping_shl(RATIO_BITS), known_units).min(LARGEST_RATIO);
            let ratio = weighted(u16::from(self.ratio), today, parts.ratio_kept);
            self.ratio = u8::try_from(ratio).unwrap_or(u8::MAX);
        } else {
            let distance = u32::from(self.ratio.abs_diff(RATIO_ONE));
            let left = distance
                .wrapping_mul(u32::from(parts.ratio_fading))
                .wrapping_shr(WEIGHT_BITS);
            let left = u8::try_from(left).unwrap_or(u8::MAX);
            self.ratio = if self.ratio > RATIO_ONE {
                RATIO_ONE.wrapping_add(left)
            } else {
                RATIO_ONE.wrapping_sub(left)
            };
        }
        *slot = weighted(*slot, seen_units, parts.slot_kept);
    }

    /// Time between measurements from here on (s).
    fn interval(&self, parts: &PlanParts, stored_uj: u32) -> u16 {
        let slope = self.spending(parts, stored_uj);
        let Ok(units) = u32::try_from(slope.units) else {
            return parts.slowest_s;
        };
        // OK because `Plan::new` limits the cost; a slope spans at least 1 and at most 48 slots.
        let needed = parts
            .sample_unit_s
            .wrapping_mul(u32::try_from(slope.slots).unwrap_or(1));
        // The one division of a plan. Never faster than planned; without spending, the quotient is at its end.
        let interval_s = quotient(needed, units).saturating_add(1);
        interval_s.max(parts.fastest_s).min(parts.slowest_s)
    }

    /// The first segment of the tightest string through the corridor that the forecast leaves: spending on samples.
    fn spending(&self, parts: &PlanParts, stored_uj: u32) -> Slope {
        let stored = i32::try_from(stored_uj.wrapping_shr(u32::from(parts.unit_shift))).unwrap_or(i32::MAX);
        let (full, reserve) = (i32::from(parts.full_units), i32::from(parts.reserve_units));
        let sleep = i32::from(parts.sleep_units);
        let is_above = self.ratio > RATIO_ONE;
        let mut distance = u32::from(self.ratio.abs_diff(RATIO_ONE)).wrapping_shl(WEIGHT_BITS);
        let mut ahead = self.slots_units.iter().cycle().skip(usize::from(self.slot));
        // All that may be spent by the end of the slot, before what has to stay.
        let mut have = stored.min(full);
        let mut slots = 0_i32;
        let mut least = Slope::FLATTEST;
        let mut most = Slope::STEEPEST;
        for caution in &parts.caution {
            let slot_units = ahead.next().copied().unwrap_or(0);
            distance = distance
                .wrapping_mul(u32::from(parts.ratio_fading))
                .wrapping_shr(WEIGHT_BITS);
            let whole = distance.wrapping_shr(WEIGHT_BITS);
            let one = u32::from(RATIO_ONE);
            let factor = if is_above {
                one.wrapping_add(whole)
            } else {
                one.wrapping_sub(whole)
            };
            let forecast = u32::from(slot_units)
                .wrapping_mul(u32::from(*caution))
                .wrapping_shr(CAUTION_BITS)
                .wrapping_mul(factor)
                .wrapping_shr(RATIO_BITS);
            have = have
                .wrapping_add(i32::try_from(forecast).unwrap_or(i32::MAX))
                .wrapping_sub(sleep);
            slots = slots.wrapping_add(1);
            let is_end = usize::try_from(slots) == Ok(AHEAD_SLOTS);
            let target = i32::from(parts.target_units);
            let stays = if is_end { (target, target) } else { (reserve, full) };
            let upper = Slope {
                units: have.wrapping_sub(stays.0),
                slots,
            };
            let lower = Slope {
                units: have.wrapping_sub(stays.1),
                slots,
            };
            if lower.is_above(most) {
                return most;
            }
            if least.is_above(upper) {
                return least;
            }
            if lower.is_above(least) {
                least = lower;
            }
            if most.is_above(upper) {
                most = upper;
            }
        }
        most
    }
}

/// The average of two numbers with this weight (1/256) on the first, to the nearest.
fn weighted(first: u16, second: u16, weight: u8) -> u16 {
    let rest = 256_u32.wrapping_sub(u32::from(weight));
    let sum = u32::from(first)
        .wrapping_mul(u32::from(weight))
        .wrapping_add(u32::from(second).wrapping_mul(rest))
        .wrapping_add(WEIGHT_HALF)
        .wrapping_shr(WEIGHT_BITS);
    u16::try_from(sum).unwrap_or(u16::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A slot that no day has, as damaged memory may hold it, teaches nothing and is left at once.
    #[test]
    fn a_slot_that_cannot_be_is_left() {
        let mut planner = Planner {
            slot: 99,
            learned: 0,
            ..Planner::cold_start()
        };
        let reading = Reading {
            storage_mv: 4_000,
            elapsed_s: u32::from(SLOT_S),
            waiting: 0,
        };
        planner.observe(&Plan::EXAMPLE, reading);
        assert_eq!((planner.slot, planner.learned), (0, 0));
        assert_eq!(planner.slots_units, [0; SLOTS]);
    }
}
