//! Estimate of the income, from what the store gained and what was spent.
//!
//! An exponential average with the time constant τ = 2^`income_shift` seconds, kept as the energy
//! A = income · τ: each observation over Δt seconds takes out A/τ · Δt and adds the energy that came in. In a
//! steady state A/τ is the income. A's low bits are the fraction of a microwatt, so that a small income does
//! not stick at 0. Shifts only, 32 bits.

use crate::policy::Policy;
use crate::reading::Reading;

/// Average income of a node, for firmware that wants to report it. [`decide`](crate::decide) does not use it.
///
/// ```
/// use millpond_policy::{Income, Policy, Reading};
/// let policy = Policy::EXAMPLE;
/// let mut income = Income::new();
/// // One minute after another at the same voltage, with 6 mJ spent in each: 100 µW must have come in.
/// for _ in 0..1_000 {
///     income.observe(&policy, Reading { storage_mv: 4_000, elapsed_s: 60, waiting: 0 }, 6_000);
/// }
/// assert_eq!(income.income_uw(&policy), 100);
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Income {
    /// Income times the time constant (µJ).
    averaged_uj: u32,
    /// Stored energy at the last observation (µJ).
    stored_uj: u32,
    /// Whether there was an observation; the first has nothing to compare with.
    is_started: bool,
}

impl Income {
    /// An estimate of 0, before the first observation.
    ///
    /// ```
    /// use millpond_policy::{Income, Policy};
    /// assert_eq!(Income::new().income_uw(&Policy::EXAMPLE), 0);
    /// ```
    #[must_use]
    pub const fn new() -> Self {
        Self {
            averaged_uj: 0,
            stored_uj: 0,
            is_started: false,
        }
    }

    /// Takes in the reading of a wake-up and what was spent since the last one (µJ): actions and sleep.
    ///
    /// An interval longer than the time constant is halved until it fits, its energy with it, so that the
    /// average power of the interval is kept and the update never overshoots.
    ///
    /// ```
    /// use millpond_policy::{Income, Policy, Reading};
    /// let policy = Policy::EXAMPLE;
    /// let mut income = Income::new();
    /// income.observe(&policy, Reading { storage_mv: 3_000, elapsed_s: 0, waiting: 0 }, 0);
    /// income.observe(&policy, Reading { storage_mv: 4_000, elapsed_s: 4_096, waiting: 0 }, 0);
    /// // 0.25 F · (16 − 9) V² in 4096 s
    /// assert!((426..=427).contains(&income.income_uw(&policy)));
    /// ```
    pub fn observe(&mut self, policy: &Policy, reading: Reading, spent_uj: u32) {
        let stored_uj = policy.stored_uj(reading.storage_mv);
        if self.is_started {
            let after_uj = stored_uj.saturating_add(spent_uj);
            self.update(
                policy.parts().income_shift,
                reading.elapsed_s,
                self.stored_uj,
                after_uj,
            );
        }
        self.stored_uj = stored_uj;
        self.is_started = true;
    }

    /// The estimate (µW), rounded down. At most (2³² − 1) / 2^`income_shift`: 1 W for a shift of 12.
    ///
    /// ```
    /// use millpond_policy::{Income, Policy, Reading};
    /// let policy = Policy::EXAMPLE;
    /// let mut income = Income::new();
    /// let steady = Reading { storage_mv: 4_000, elapsed_s: 60, waiting: 0 };
    /// income.observe(&policy, steady, 0);
    /// income.observe(&policy, steady, 6_000);
    /// assert_eq!(income.income_uw(&policy), 1); // 6000 µJ / 4096 s
    /// ```
    #[must_use]
    pub fn income_uw(&self, policy: &Policy) -> u32 {
        self.averaged_uj
            .wrapping_shr(u32::from(policy.parts().income_shift))
    }

    fn update(&mut self, shift: u8, elapsed_s: u32, before_uj: u32, after_uj: u32) {
        // OK because `Policy::new` allows a shift of at most 16.
        let constant_s = 1_u32.wrapping_shl(u32::from(shift));
        let mut elapsed_s = elapsed_s;
        let mut change_uj = after_uj.abs_diff(before_uj);
        while elapsed_s > constant_s {
            // Rounds the time up, so that the power is never rounded up.
            elapsed_s = (elapsed_s >> 1).saturating_add(elapsed_s & 1);
            change_uj >>= 1;
        }
        // OK because elapsed_s <= 2^shift: the product is at most averaged_uj.
        let fading_uj = self
            .averaged_uj
            .wrapping_shr(u32::from(shift))
            .wrapping_mul(elapsed_s);
        let kept_uj = self.averaged_uj.wrapping_sub(fading_uj);
        self.averaged_uj = if after_uj >= before_uj {
            kept_uj.saturating_add(change_uj)
        } else {
            kept_uj.saturating_sub(change_uj)
        };
    }
}
