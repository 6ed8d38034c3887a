//! The constants of one node, checked when they are compiled.

use crate::energy::{Costs, EnergyModel};
use crate::pace::{self, PACE_ROWS, PaceRow};
use crate::rejected::Rejected;
use crate::sense::{Sense, SenseKind};

/// Longest off-time (s): one second below what the state can count.
const LARGEST_OFF_TIME_S: u16 = u16::MAX - 1;
/// Largest time constant of the income estimate is 2^16 s, 18 hours.
const LARGEST_INCOME_SHIFT: u8 = 16;

/// The constants before they are checked; [`Policy::new`] makes a policy of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct PolicyParts {
    /// Decide threshold of a measurement (mV): never below it.
    pub measure_mv: u16,
    /// Decide threshold of a transmission (mV): never below it.
    pub transmit_mv: u16,
    /// After a refusal for low storage, the action resumes this much higher (mV).
    pub hysteresis_mv: u16,
    /// Samples that must wait before a transmission, at least 1.
    pub batch: u8,
    /// Samples that the backlog holds, at least `batch`.
    pub backlog: u8,
    /// Radio off-time (s), 0 for none, at most 65534: from one granted transmission to the next, its time on the air and the silence
    /// after it. Rounded up, with the one second added that a counter of whole seconds may hide.
    pub off_time_s: u16,
    /// Least time from one transmission to the next (s), at least `off_time_s`.
    pub spacing_s: u16,
    /// When to ask again after a refusal for low storage (s), at least 1.
    pub retry_s: u16,
    /// Time between measurements by storage voltage: voltages fall strictly to 0 mV, waits never fall.
    pub pace: [PaceRow; PACE_ROWS],
    /// Stored energy from a reading.
    pub energy: EnergyModel,
    /// Costs of the actions.
    pub costs: Costs,
    /// Storage voltage from converter counts.
    pub sense: Sense,
    /// The income estimate averages over 2^`income_shift` seconds, at most 16.
    pub income_shift: u8,
    /// Marks retained state as made under these constants.
    pub fingerprint: u16,
}

/// The constants of one node. Only sets that keep every rule of [`Rejected`] can be built.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Policy {
    parts: PolicyParts,
}

impl Policy {
    /// Checks the constants. Callable in a `const`, where a refusal stops the compiler.
    ///
    /// # Errors
    /// The first broken rule, in the order of [`Rejected::ALL`].
    ///
    /// ```
    /// use millpond_policy::{Policy, PolicyParts, Rejected};
    /// let good = *Policy::EXAMPLE.parts();
    /// assert!(Policy::new(good).is_ok());
    /// assert_eq!(Policy::new(PolicyParts { transmit_mv: 2_000, ..good }), Err(Rejected::TransmitBelowFloor));
    /// ```
    ///
    /// Impossible constants do not compile:
    ///
    /// ```compile_fail,E0080
    /// use millpond_policy::{Policy, PolicyParts};
    /// const POLICY: Policy = match Policy::new(PolicyParts { batch: 0, ..*Policy::EXAMPLE.parts() }) {
    ///     Ok(policy) => policy,
    ///     Err(rejected) => panic!("{}", rejected.text()),
    /// };
    /// # let _ = POLICY;
    /// ```
    pub const fn new(parts: PolicyParts) -> Result<Self, Rejected> {
        if let Err(rejected) = parts.energy.check() {
            return Err(rejected);
        }
        if parts.measure_mv.checked_add(parts.hysteresis_mv).is_none() {
            return Err(Rejected::MeasureTooHigh);
        }
        if parts.transmit_mv.checked_add(parts.hysteresis_mv).is_none() {
            return Err(Rejected::TransmitTooHigh);
        }
        if parts.measure_mv < parts.energy.floor_mv {
            return Err(Rejected::MeasureBelowFloor);
        }
        if parts.transmit_mv < parts.energy.floor_mv {
            return Err(Rejected::TransmitBelowFloor);
        }
        if parts.batch == 0 {
            return Err(Rejected::BatchZero);
        }
        if parts.batch > parts.backlog {
            return Err(Rejected::BatchAboveBacklog);
        }
        if parts.off_time_s > LARGEST_OFF_TIME_S {
            return Err(Rejected::OffTimeTooLong);
        }
        if parts.spacing_s < parts.off_time_s {
            return Err(Rejected::SpacingBelowOffTime);
        }
        if parts.retry_s == 0 {
            return Err(Rejected::RetryZero);
        }
        if let Err(rejected) = pace::check(&parts.pace) {
            return Err(rejected);
        }
        if let Err(rejected) = parts.sense.check() {
            return Err(rejected);
        }
        if parts.income_shift > LARGEST_INCOME_SHIFT {
            return Err(Rejected::IncomeShiftTooLarge);
        }
        Ok(Self { parts })
    }

    /// The constants.
    ///
    /// ```
    /// use millpond_policy::Policy;
    /// assert_eq!(Policy::EXAMPLE.parts().transmit_mv, 3_090);
    /// ```
    #[must_use]
    pub const fn parts(&self) -> &PolicyParts {
        &self.parts
    }

    /// Energy stored above the floor (µJ), rounded down; 0 at and below the floor.
    ///
    /// ```
    /// use millpond_policy::Policy;
    /// let policy = Policy::EXAMPLE; // 0.5 F above 2.346 V
    /// assert_eq!(policy.stored_uj(2_346), 0);
    /// // 0.25 F · (5² − 2.346²) V² = 4.874 J
    /// assert!((4_870_000..=4_874_071).contains(&policy.stored_uj(5_000)));
    /// ```
    #[must_use]
    pub fn stored_uj(&self, storage_mv: u16) -> u32 {
        self.parts.energy.stored_uj(storage_mv)
    }

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
        self.parts.sense.storage_mv(counts)
    }

    /// A small node for examples and tests: 0.5 F, 10-bit converter, one report a minute when full.
    pub const EXAMPLE: Self = Self {
        parts: PolicyParts {
            measure_mv: 2_600,
            transmit_mv: 3_090,
            hysteresis_mv: 40,
            batch: 1,
            backlog: 32,
            off_time_s: 20,
            spacing_s: 20,
            retry_s: 300,
            pace: [
                PaceRow {
                    from_mv: 4_900,
                    wait_s: 60,
                },
                PaceRow {
                    from_mv: 4_500,
                    wait_s: 90,
                },
                PaceRow {
                    from_mv: 4_200,
                    wait_s: 135,
                },
                PaceRow {
                    from_mv: 3_900,
                    wait_s: 200,
                },
                PaceRow {
                    from_mv: 3_700,
                    wait_s: 300,
                },
                PaceRow {
                    from_mv: 3_500,
                    wait_s: 450,
                },
                PaceRow {
                    from_mv: 3_400,
                    wait_s: 670,
                },
                PaceRow {
                    from_mv: 3_300,
                    wait_s: 1_000,
                },
                PaceRow {
                    from_mv: 3_200,
                    wait_s: 1_500,
                },
                PaceRow {
                    from_mv: 3_100,
                    wait_s: 2_200,
                },
                PaceRow {
                    from_mv: 3_000,
                    wait_s: 3_000,
                },
                PaceRow {
                    from_mv: 0,
                    wait_s: 3_600,
                },
            ],
            energy: EnergyModel {
                floor_mv: 2_346,
                full_mv: 5_300,
                energy_shift_before: 10,
                energy_scale: 256,
                energy_shift_after: 0,
            },
            costs: Costs {
                measure_uj: 1_200,
                transmit_uj: 38_000,
                sleep_uw: 11,
            },
            sense: Sense {
                kind: SenseKind::Divider,
                count_scale: 401_080,
                count_shift: 16,
                maximum_count: 1_023,
            },
            income_shift: 12,
            fingerprint: 0x4d50,
        },
    };
}
