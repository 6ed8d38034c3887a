//! The income that a pace of reports asks for, and the pace that an income sustains.

use super::action::Total;
use super::asleep::SleepingDay;
use crate::units::*;

/// Reporting at a steady pace.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pace {
    /// Time from one report to the next, with its samples; at least as long as they take (s).
    pub period: Time,
    /// When every report gets through at the first try.
    pub first_try: Income,
    /// When every report needs all its attempts.
    pub every_attempt: Income,
}

/// Energy of a period and the income that replaces it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Income {
    /// Energy taken from storage in one period: samples, report, sleep, leakage (J).
    pub energy: Energy,
    /// Mean power that must reach storage (W).
    pub at_storage: Power,
    /// Mean power that the source must offer to the converter (W).
    pub at_source: Power,
}

/// What a constant source gives, and the pace that it sustains.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Offer {
    /// Power offered to the converter (W).
    pub at_source: Power,
    /// Power that reaches storage: after the converter's efficiency, and no more than its largest current
    /// carries (W).
    pub at_storage: Power,
    /// Shortest time between reports that this sustains when each gets through at the first try, never below
    /// the policy's fastest; `None` when the income does not even carry the node asleep (s).
    pub first_try: Option<Time>,
    /// The same when each report needs all its attempts (s).
    pub every_attempt: Option<Time>,
}

impl Pace {
    /// The pace of one report and its samples every `period`, or as often as they fit if that is more rarely.
    ///
    /// With actions of energy E and duration a, the period T takes E + P_load·(T − a) + P_bank·T: an action's
    /// current is that of the whole node, so the sleeping load does not run beside it (docs/model.md,
    /// "Budget").
    pub(super) fn of(
        period: Time,
        first_try: &Total,
        every_attempt: &Total,
        day: &SleepingDay,
        converter_efficiency: Ratio,
    ) -> Self {
        let period = period.max(every_attempt.duration);
        let income = |actions: &Total| {
            let energy = actions.storage_energy
                + day.load_power() * (period - actions.duration)
                + day.bank_power() * period;
            let at_storage = energy / period;
            Income {
                energy,
                at_storage,
                at_source: at_storage / converter_efficiency,
            }
        };
        Self {
            period,
            first_try: income(first_try),
            every_attempt: income(every_attempt),
        }
    }
}

/// The shortest period, `fastest` or more, at which `income` replaces what `actions` and sleep take; `None`
/// when it does not carry sleep.
///
/// Solved from income·T = E + P_load·(T − a) + P_bank·T.
pub(super) fn sustained(income: Power, actions: &Total, day: &SleepingDay, fastest: Time) -> Option<Time> {
    let spare = income - day.power;
    (spare > watts(0.0)).then(|| {
        let above_sleep = actions.storage_energy - day.load_power() * actions.duration;
        (above_sleep / spare).max(fastest).max(actions.duration)
    })
}
