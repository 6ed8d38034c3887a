//! A bench for the unit tests of firmware: a clock that is advanced by hand, and a capacitor that keeps account.
//!
//! Only with the feature `testkit`, for tests on the host. The bench knows no circuit. It keeps the energy above the
//! floor as an integer, in the policy's own model ([`Policy::stored_uj`]): microwatts times seconds are microjoules, so
//! that no remainder is lost. The reading is the highest voltage at which the policy counts on no more than that.
//!
//! What it leaves out: the dip under load, the lift while charging, and the spread of the parts. Those are in the
//! thresholds; here the application around the decisions is tested.
//!
//! ```
//! use millpond_policy::testkit::Bench;
//! use millpond_policy::{Decision, Policy, State, decide};
//!
//! let policy = Policy::EXAMPLE; // a test of a firmware takes its own POLICY
//! let mut bench = Bench::new(&policy, 5_000);
//! let mut state = State::cold_start(&policy);
//!
//! // A dark day: whatever the node does, its store carries it.
//! let mut measured = 0;
//! while bench.now_s() < 86_400 {
//!     match decide(&policy, &mut state, bench.reading(0)) {
//!         Decision::Measure => {
//!             measured += 1;
//!             bench.spend_uj(policy.parts().costs.measure_uj)?;
//!         }
//!         Decision::Transmit => unreachable!("nothing waits"),
//!         Decision::Wait { seconds, .. } => bench.advance_s(u32::from(seconds))?,
//!     }
//! }
//! assert!(measured >= 24); // the slowest pace is an hour
//! # Ok::<(), millpond_policy::testkit::BrownOut>(())
//! ```

use core::fmt;

use crate::clock::elapsed_since;
use crate::policy::Policy;
use crate::reading::Reading;
use crate::sense::SenseKind;

/// The store ran empty: on the chip, this is where the supply would have collapsed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct BrownOut;

/// Clock and store of a node under test.
#[derive(Clone, Debug)]
pub struct Bench {
    policy: Policy,
    /// Energy above the floor (µJ), at most what the policy counts on in a full store.
    stored_uj: u32,
    income_uw: u32,
    leakage_uw: u32,
    /// The firmware's counter of seconds (s), which wraps.
    now_s: u32,
    /// The counter at the last reading, or at the restart (s).
    asked_s: u32,
}

impl Bench {
    /// A node that was just switched on at this storage voltage (mV): no income, no leakage, its counter at 0.
    ///
    /// ```
    /// use millpond_policy::{Policy, testkit::Bench};
    /// let bench = Bench::new(&Policy::EXAMPLE, 4_000);
    /// assert_eq!(bench.storage_mv(), 4_000);
    /// assert_eq!(bench.stored_uj(), Policy::EXAMPLE.stored_uj(4_000));
    /// ```
    #[must_use]
    pub fn new(policy: &Policy, storage_mv: u16) -> Self {
        Self {
            policy: *policy,
            stored_uj: policy.stored_uj(storage_mv),
            income_uw: 0,
            leakage_uw: 0,
            now_s: 0,
            asked_s: 0,
        }
    }

    /// What comes into the store from now on (µW).
    ///
    /// ```
    /// use millpond_policy::{Policy, testkit::Bench};
    /// let mut bench = Bench::new(&Policy::EXAMPLE, 3_000);
    /// let before_uj = bench.stored_uj();
    /// bench.set_income_uw(511); // the example sleeps on 11 µW
    /// bench.advance_s(1_000)?;
    /// assert_eq!(bench.stored_uj() - before_uj, 500_000);
    /// # Ok::<(), millpond_policy::testkit::BrownOut>(())
    /// ```
    pub const fn set_income_uw(&mut self, income_uw: u32) {
        self.income_uw = income_uw;
    }

    /// What leaks out of the store from now on (µW), with the power on or off, beside the policy's cost of sleeping.
    /// That cost counts the stated leakage already, while the node is on.
    ///
    /// ```
    /// use millpond_policy::{Policy, testkit::Bench};
    /// let mut bench = Bench::new(&Policy::EXAMPLE, 3_000);
    /// let before_uj = bench.stored_uj();
    /// bench.set_leakage_uw(9);
    /// bench.advance_s(1_000)?;
    /// assert_eq!(before_uj - bench.stored_uj(), 20_000);
    /// # Ok::<(), millpond_policy::testkit::BrownOut>(())
    /// ```
    pub const fn set_leakage_uw(&mut self, leakage_uw: u32) {
        self.leakage_uw = leakage_uw;
    }

    /// Sets the firmware's counter of seconds, to test its wrap (s). No time passes.
    ///
    /// ```
    /// use millpond_policy::{Policy, testkit::Bench};
    /// let mut bench = Bench::new(&Policy::EXAMPLE, 5_000);
    /// bench.set_now_s(u32::MAX);
    /// bench.advance_s(60)?;
    /// assert_eq!(bench.now_s(), 59);
    /// assert_eq!(bench.reading(0).elapsed_s, 60);
    /// # Ok::<(), millpond_policy::testkit::BrownOut>(())
    /// ```
    pub const fn set_now_s(&mut self, now_s: u32) {
        let waited_s = elapsed_since(self.asked_s, self.now_s);
        self.now_s = now_s;
        self.asked_s = now_s.wrapping_sub(waited_s);
    }

    /// Lets the node sleep this long (s): income comes in, the cost of sleeping and the leakage go out.
    ///
    /// # Errors
    /// [`BrownOut`] if the store does not last; it is empty then.
    ///
    /// ```
    /// use millpond_policy::{Policy, testkit::{Bench, BrownOut}};
    /// let mut bench = Bench::new(&Policy::EXAMPLE, 2_400);
    /// assert_eq!(bench.advance_s(60), Ok(()));
    /// assert_eq!(bench.advance_s(1_000_000), Err(BrownOut));
    /// assert_eq!(bench.stored_uj(), 0);
    /// ```
    pub fn advance_s(&mut self, seconds: u32) -> Result<(), BrownOut> {
        self.now_s = self.now_s.wrapping_add(seconds);
        self.pass(seconds, self.policy.parts().costs.sleep_uw)
    }

    /// Takes what an action costs out of the store (µJ). No time passes.
    ///
    /// # Errors
    /// [`BrownOut`] if the store holds less; it is empty then.
    ///
    /// ```
    /// use millpond_policy::{Policy, testkit::{Bench, BrownOut}};
    /// let policy = Policy::EXAMPLE;
    /// let mut bench = Bench::new(&policy, policy.parts().transmit_mv);
    /// assert_eq!(bench.spend_uj(policy.parts().costs.transmit_uj), Ok(()));
    /// assert_eq!(bench.spend_uj(u32::MAX), Err(BrownOut));
    /// ```
    pub fn spend_uj(&mut self, spent_uj: u32) -> Result<(), BrownOut> {
        let left_uj = self.stored_uj.checked_sub(spent_uj);
        self.stored_uj = left_uj.unwrap_or(0);
        left_uj.map(|_| ()).ok_or(BrownOut)
    }

    /// Takes the power away for this long (s): income and leakage go on, the node draws nothing, and its counter starts at
    /// 0 with the restart. The test drops what the application has in ordinary memory, and keeps what is retained.
    ///
    /// ```
    /// use millpond_policy::{Policy, testkit::Bench};
    /// let mut bench = Bench::new(&Policy::EXAMPLE, 2_346);
    /// bench.set_income_uw(1_000);
    /// bench.power_loss(3_600);
    /// assert_eq!((bench.now_s(), bench.reading(0).elapsed_s), (0, 0));
    /// assert_eq!(bench.stored_uj(), 3_600_000);
    /// ```
    pub fn power_loss(&mut self, outage_s: u32) {
        // A store that leaks empty while the power is away is no brown-out: there is nothing to collapse.
        let _ = self.pass(outage_s, 0);
        self.now_s = 0;
        self.asked_s = 0;
    }

    /// What the firmware passes to [`decide`](crate::decide) now: the voltage, the time since the last reading or the
    /// restart, and the samples that wait.
    ///
    /// ```
    /// use millpond_policy::{Policy, testkit::Bench};
    /// let mut bench = Bench::new(&Policy::EXAMPLE, 5_000);
    /// bench.advance_s(60)?;
    /// assert_eq!(bench.reading(3).elapsed_s, 60);
    /// assert_eq!(bench.reading(3).elapsed_s, 0);
    /// # Ok::<(), millpond_policy::testkit::BrownOut>(())
    /// ```
    pub fn reading(&mut self, waiting: u8) -> Reading {
        let elapsed_s = elapsed_since(self.asked_s, self.now_s);
        self.asked_s = self.now_s;
        Reading {
            storage_mv: self.storage_mv(),
            elapsed_s,
            waiting,
        }
    }

    /// Voltage at the storage terminal (mV): the highest at which the policy counts on no more than is held, at most
    /// `full_mv`.
    ///
    /// ```
    /// use millpond_policy::{Policy, testkit::Bench};
    /// let bench = Bench::new(&Policy::EXAMPLE, u16::MAX);
    /// assert_eq!(bench.storage_mv(), Policy::EXAMPLE.parts().energy.full_mv);
    /// ```
    #[must_use]
    pub fn storage_mv(&self) -> u16 {
        let full_mv = self.policy.parts().energy.full_mv;
        highest(full_mv, |storage_mv| {
            self.policy.stored_uj(storage_mv) <= self.stored_uj
        })
    }

    /// The same as raw counts of the converter, for a firmware that converts them itself: of the counts that a converter delivers,
    /// the one whose voltage is nearest to [`Bench::storage_mv`] and not above it.
    ///
    /// ```
    /// use millpond_policy::{Policy, testkit::Bench};
    /// let bench = Bench::new(&Policy::EXAMPLE, 3_059);
    /// assert_eq!(bench.storage_counts(), 500);
    /// ```
    #[must_use]
    pub fn storage_counts(&self) -> u16 {
        let (largest, storage_mv) = (self.policy.parts().sense.maximum_count, self.storage_mv());
        let reads_mv = |counts| self.policy.storage_mv_from_counts(counts);
        match self.policy.parts().sense.kind {
            SenseKind::Divider => highest(largest, |counts| reads_mv(counts) <= storage_mv),
            // Counts fall: one above the highest that reads more, or that no converter delivers.
            SenseKind::Reference => {
                let is_above = |counts| {
                    let read_mv = reads_mv(counts);
                    read_mv > storage_mv || read_mv == 0
                };
                highest(largest, is_above).saturating_add(1).min(largest)
            }
        }
    }

    /// Energy above the floor (µJ).
    ///
    /// ```
    /// use millpond_policy::{Policy, testkit::Bench};
    /// let mut bench = Bench::new(&Policy::EXAMPLE, 4_000);
    /// let before_uj = bench.stored_uj();
    /// bench.spend_uj(1_200)?;
    /// assert_eq!(before_uj - bench.stored_uj(), 1_200);
    /// # Ok::<(), millpond_policy::testkit::BrownOut>(())
    /// ```
    #[must_use]
    pub const fn stored_uj(&self) -> u32 {
        self.stored_uj
    }

    /// The firmware's counter of seconds (s).
    ///
    /// ```
    /// use millpond_policy::{Policy, testkit::Bench};
    /// let mut bench = Bench::new(&Policy::EXAMPLE, 5_000);
    /// bench.advance_s(90)?;
    /// assert_eq!(bench.now_s(), 90);
    /// # Ok::<(), millpond_policy::testkit::BrownOut>(())
    /// ```
    #[must_use]
    pub const fn now_s(&self) -> u32 {
        self.now_s
    }

    /// Energy that comes in and goes out over this long (s), with the node drawing `load_uw`.
    fn pass(&mut self, seconds: u32, load_uw: u32) -> Result<(), BrownOut> {
        let energy_uj = |power_uw: u64| {
            // OK because two 32-bit powers, added, times 32-bit seconds are below 2^65: saturated, and far above any store.
            power_uw.saturating_mul(u64::from(seconds))
        };
        let gained_uj = energy_uj(u64::from(self.income_uw)).saturating_add(u64::from(self.stored_uj));
        let drained_uj = energy_uj(u64::from(load_uw).saturating_add(u64::from(self.leakage_uw)));
        let left_uj = gained_uj.checked_sub(drained_uj);
        let full_uj = self.policy.stored_uj(self.policy.parts().energy.full_mv);
        self.stored_uj = u32::try_from(left_uj.unwrap_or(0)).map_or(full_uj, |left_uj| left_uj.min(full_uj));
        left_uj.map(|_| ()).ok_or(BrownOut)
    }
}

/// The highest number up to `largest` that `fits`; 0 if none does. Below a number that fits, all must fit.
///
/// A square root bit by bit, of whatever rises with the number: each bit from the highest down stays if what it makes
/// still fits. 16 steps; the candidate has 16 bits and a bit is added only where it is 0, so that nothing overflows.
fn highest(largest: u16, fits: impl Fn(u16) -> bool) -> u16 {
    let bits = (0..u16::BITS).rev().map(|place| 1_u16.wrapping_shl(place));
    bits.fold(0, |found, bit| {
        let candidate = found | bit;
        if candidate <= largest && fits(candidate) {
            candidate
        } else {
            found
        }
    })
}

impl fmt::Display for BrownOut {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("the store ran empty")
    }
}

impl core::error::Error for BrownOut {}
