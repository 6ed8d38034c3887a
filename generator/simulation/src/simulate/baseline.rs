//! The rules that the policy is compared with. Each decides from the same readings as firmware would.

use millpond_policy::{Decision, Policy, Reading, Reason};

use crate::simulate::rule::Rule;

/// Slots of the day that averages are kept for.
const SLOTS: usize = 24;
const SLOT_S: u32 = 3600;
/// What a slot's average keeps of its old value a day later (Kansal et al. 2007, section 4.1, recommend 0.5).
const KEPT: f64 = 0.5;

/// A report every `interval_s`, whatever the storage voltage: only the hardware's cut-off stops it.
///
/// Above a threshold (mV) it asks the reading first.
#[derive(Clone, Copy, Debug)]
pub struct FixedInterval {
    interval_s: u32,
    batch: u8,
    threshold_mv: u16,
    since_s: u32,
}

impl FixedInterval {
    /// Samples every `interval_s`, a report for every batch of them.
    pub fn new(interval_s: u32, batch: u8, threshold_mv: u16) -> Self {
        Self {
            interval_s,
            batch,
            threshold_mv,
            since_s: interval_s,
        }
    }
}

impl Rule for FixedInterval {
    fn restart(&mut self) {
        self.since_s = self.interval_s;
    }

    fn decide(&mut self, reading: Reading) -> Decision {
        self.since_s = self.since_s.saturating_add(reading.elapsed_s);
        if reading.storage_mv < self.threshold_mv {
            return Decision::Wait {
                seconds: wait_s(self.interval_s),
                reason: Reason::LowStorage,
            };
        }
        if reading.waiting >= self.batch {
            return Decision::Transmit;
        }
        if self.since_s >= self.interval_s {
            self.since_s = 0;
            return Decision::Measure;
        }
        Decision::Wait {
            seconds: wait_s(self.interval_s - self.since_s),
            reason: Reason::Pace,
        }
    }
}

/// What rules that plan by energy need to know of a node.
#[derive(Clone, Copy, Debug)]
pub struct Costs {
    /// Of one report with its samples (µJ).
    pub report_uj: f64,
    /// Of sleep, leakage included (µW).
    pub sleep_uw: f64,
    /// Least and longest time between two reports (s).
    pub fastest_s: f64,
    /// See `fastest_s`.
    pub slowest_s: f64,
    /// Time between two looks at the storage while waiting (s).
    pub look_s: u32,
}

/// Hourly slots of income, each an exponential average over days, and as much spending in each slot as the day brings on
/// average, moved towards the slots that bring it (A. Kansal, J. Hsu, S. Zahedi, M. B. Srivastava, "Power management in
/// energy harvesting sensor networks", ACM Transactions on Embedded Computing Systems 6 (2007) 32; its energy-neutral
/// allocation, with the storage as the corrector). Safe above the thresholds like the policy.
#[derive(Clone, Debug)]
pub struct SlotAverages {
    policy: Policy,
    costs: Costs,
    slots_uw: [f64; SLOTS],
    is_known: [bool; SLOTS],
    clock_s: u32,
    slot_start_uj: f64,
    spent_uj: f64,
    since_s: u32,
}

impl SlotAverages {
    /// Knows nothing yet.
    pub fn new(policy: Policy, costs: Costs) -> Self {
        Self {
            policy,
            costs,
            slots_uw: [0.0; SLOTS],
            is_known: [false; SLOTS],
            clock_s: 0,
            slot_start_uj: 0.0,
            spent_uj: 0.0,
            since_s: u32::MAX / 2,
        }
    }

    /// Time between two reports in the present slot.
    fn interval_s(&self, stored_uj: f64) -> f64 {
        let slot = self.clock_s as usize / SLOT_S as usize % SLOTS;
        let known = self.is_known.iter().filter(|known| **known).count().max(1) as f64;
        let mean_uw = self.slots_uw.iter().sum::<f64>() / known;
        // Direct use while it comes in, the day's mean otherwise, and the storage's excess over its middle spread over a day.
        let full_uj = f64::from(self.policy.stored_uj(u16::MAX));
        let correction_uw = (stored_uj - full_uj / 2.0) / 86_400.0;
        let spend_uw =
            0.5 * (mean_uw + self.slots_uw[slot].min(2.0 * mean_uw)) + correction_uw - self.costs.sleep_uw;
        interval_s(&self.costs, spend_uw)
    }
}

impl Rule for SlotAverages {
    fn restart(&mut self) {
        *self = Self::new(self.policy, self.costs);
    }

    fn decide(&mut self, reading: Reading) -> Decision {
        let stored_uj = f64::from(self.policy.stored_uj(reading.storage_mv));
        let before = self.clock_s / SLOT_S;
        self.clock_s = self.clock_s.wrapping_add(reading.elapsed_s);
        self.since_s = self.since_s.saturating_add(reading.elapsed_s);
        self.spent_uj += self.costs.sleep_uw * f64::from(reading.elapsed_s);
        if self.clock_s / SLOT_S != before {
            let slot = before as usize % SLOTS;
            let income_uw = ((stored_uj - self.slot_start_uj + self.spent_uj) / f64::from(SLOT_S)).max(0.0);
            let kept = if self.is_known[slot] { KEPT } else { 0.0 };
            self.slots_uw[slot] = kept * self.slots_uw[slot] + (1.0 - kept) * income_uw;
            self.is_known[slot] = true;
            self.slot_start_uj = stored_uj;
            self.spent_uj = 0.0;
        }
        let interval_s = self.interval_s(stored_uj);
        let decision = paced(&self.policy, &self.costs, &mut self.since_s, interval_s, reading);
        if decision == Decision::Measure {
            self.spent_uj += self.costs.report_uj / f64::from(self.policy.parts().batch);
        }
        decision
    }
}

/// In each look a constant fraction of the stored energy is spent (D. Shaviv, A. Özgür, "Universally near optimal online power
/// control for energy harvesting nodes", IEEE Journal on Selected Areas in Communications 34 (2016) 3620-3631). The fraction
/// is the one that empties the storage in the policy's dark horizon. Safe above the thresholds like the policy.
#[derive(Clone, Debug)]
pub struct ConstantFraction {
    policy: Policy,
    costs: Costs,
    horizon_s: f64,
    since_s: u32,
}

impl ConstantFraction {
    /// Spends what is stored at the rate of 1/`horizon_s`.
    pub fn new(policy: Policy, costs: Costs, horizon_s: f64) -> Self {
        Self {
            policy,
            costs,
            horizon_s,
            since_s: u32::MAX / 2,
        }
    }
}

impl Rule for ConstantFraction {
    fn restart(&mut self) {
        self.since_s = u32::MAX / 2;
    }

    fn decide(&mut self, reading: Reading) -> Decision {
        self.since_s = self.since_s.saturating_add(reading.elapsed_s);
        let stored_uj = f64::from(self.policy.stored_uj(reading.storage_mv));
        let spend_uw = stored_uj / self.horizon_s - self.costs.sleep_uw;
        let interval_s = interval_s(&self.costs, spend_uw);
        paced(&self.policy, &self.costs, &mut self.since_s, interval_s, reading)
    }
}

/// Time between two reports that spends `spend_uw` on them, between fastest and slowest.
fn interval_s(costs: &Costs, spend_uw: f64) -> f64 {
    if spend_uw <= 0.0 {
        return costs.slowest_s;
    }
    (costs.report_uj / spend_uw).clamp(costs.fastest_s, costs.slowest_s)
}

/// The next step towards a report every `interval_s`, never below the thresholds of `policy`.
fn paced(policy: &Policy, costs: &Costs, since_s: &mut u32, interval_s: f64, reading: Reading) -> Decision {
    let parts = policy.parts();
    if reading.waiting >= parts.batch && reading.storage_mv >= parts.transmit_mv {
        return Decision::Transmit;
    }
    let sample_s = interval_s / f64::from(parts.batch);
    if f64::from(*since_s) >= sample_s
        && reading.storage_mv >= parts.measure_mv
        && reading.waiting < parts.batch
    {
        *since_s = 0;
        return Decision::Measure;
    }
    let left_s = (sample_s - f64::from(*since_s)).max(1.0).ceil() as u32;
    Decision::Wait {
        seconds: wait_s(left_s.min(costs.look_s)),
        reason: Reason::Pace,
    }
}

fn wait_s(seconds: u32) -> u16 {
    u16::try_from(seconds.max(1)).unwrap_or(u16::MAX)
}
