//! A node over a made year as flows of energy, to try hundreds of settings in seconds.
//!
//! The planner is the one that is flashed; the rest is what [`crate::simulate`] has in full: here storage is one number, reports flow at
//! the planner's rate, and each sub-step has one income. Any other [`Spender`] can be drilled beside it. Losses of supply last until the storage is back at the voltage that
//! connects, charged at the efficiency of a cold start below the voltage that needs one. What is found is run through the full
//! simulation before it is told ([`crate::plan::tuned`]).

use millpond_policy::{Plan, Planner, Policy, Reading, SLOT_S};

use crate::plan::typical::{Store, Typical};

/// Length of a sub-step (s): six in a slot.
pub const STEP_S: f64 = 600.0;
const STEPS_PER_SLOT: usize = 6;

/// A year's income, step by step (W into storage at the converter's usual efficiency).
#[derive(Clone, Debug)]
pub struct Flow {
    /// One for each sub-step.
    pub power_w: Vec<f64>,
    /// Stored above the floor at the start (J).
    pub start_j: f64,
}

/// What came of a drill.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Drilled {
    /// Mean age of the newest report (s).
    pub mean_age_s: f64,
    /// Longest time without one (s).
    pub longest_silence_s: f64,
    /// Losses of supply.
    pub brownouts: u32,
}

/// What decides how much is spent, as a drill asks it.
pub trait Spender {
    /// The supply is there, for the first time or again: nothing is remembered.
    fn power_up(&mut self);

    /// A slot begins, number `slot` of the flow: `stored_j` above the floor, `spent_j` on reports in the slot before.
    fn slot(&mut self, slot: usize, stored_j: f64, spent_j: f64);

    /// Time between samples at this storage, until the slot ends (s).
    fn sample_s(&self, stored_j: f64) -> f64;
}

/// The planner as it is flashed.
#[derive(Clone, Debug)]
pub struct Flashed<'a> {
    store: &'a Store,
    policy: &'a Policy,
    plan: &'a Plan,
    planner: Planner,
}

impl<'a> Flashed<'a> {
    /// Under this plan, with nothing learned.
    pub fn new(typical: &'a Typical, policy: &'a Policy, plan: &'a Plan) -> Self {
        Self {
            store: typical.store(),
            policy,
            plan,
            planner: Planner::cold_start(),
        }
    }
}

impl Spender for Flashed<'_> {
    fn power_up(&mut self) {
        self.planner = Planner::cold_start();
    }

    fn slot(&mut self, _: usize, stored_j: f64, spent_j: f64) {
        self.planner.spend((spent_j * 1e6) as u32);
        self.planner.observe(
            self.plan,
            Reading {
                storage_mv: self.store.reading_mv(stored_j),
                elapsed_s: u32::from(SLOT_S),
                waiting: 0,
            },
        );
    }

    fn sample_s(&self, stored_j: f64) -> f64 {
        if self.planner.is_planning() {
            return self.planner.interval_s().into();
        }
        let reading_mv = self.store.reading_mv(stored_j);
        let row = self
            .policy
            .parts()
            .pace
            .iter()
            .find(|row| row.from_mv <= reading_mv);
        row.map_or(u16::MAX, |row| row.wait_s).into()
    }
}

/// Runs the planner through a year.
pub fn drill(typical: &Typical, policy: &Policy, plan: &Plan, flow: &Flow) -> Drilled {
    drill_of(typical.store(), flow, &mut Flashed::new(typical, policy, plan))
}

/// Runs any spender through a year.
pub fn drill_of(store: &Store, flow: &Flow, spender: &mut impl Spender) -> Drilled {
    let mut drilled = Drilled::default();
    let (mut stored_j, mut is_up, mut silent_s, mut aged_s2) = (flow.start_j, true, 0.0, 0.0);
    let mut spent_j = 0.0;
    for (index, power_w) in flow.power_w.iter().enumerate() {
        if !is_up {
            let part = if stored_j < store.cold_j {
                store.cold_part
            } else {
                1.0
            };
            stored_j += power_w * part * STEP_S;
            silent_s += STEP_S;
            if stored_j < store.connect_j {
                continue;
            }
            is_up = true;
            spender.power_up();
        }
        if index % STEPS_PER_SLOT == 0 {
            spender.slot(index / STEPS_PER_SLOT, stored_j, spent_j);
            spent_j = 0.0;
        }
        let asleep_j = (power_w - store.asleep_w(stored_j)) * STEP_S;
        let wanted_j = store.report_j * STEP_S / (spender.sample_s(stored_j) * store.batch);
        // Nothing is sent below the threshold, within a sub-step either.
        let allowed_j = stored_j - store.decide_j + asleep_j.min(0.0);
        let reports_j = if allowed_j < wanted_j.min(store.report_j) {
            0.0
        } else {
            wanted_j.min(allowed_j)
        };
        let gap_s = store.report_j * STEP_S / reports_j;
        spent_j += reports_j;
        stored_j = (stored_j + asleep_j - reports_j).min(store.full_j);
        if stored_j <= 0.0 {
            (stored_j, is_up) = (0.0, false);
            drilled.brownouts += 1;
        }
        if reports_j > 0.0 {
            aged_s2 += silent_s * silent_s / 2.0 + STEP_S * gap_s / 2.0;
            drilled.longest_silence_s = drilled.longest_silence_s.max(silent_s).max(gap_s);
            silent_s = 0.0;
        } else {
            silent_s += STEP_S;
        }
    }
    aged_s2 += silent_s * silent_s / 2.0;
    drilled.longest_silence_s = drilled.longest_silence_s.max(silent_s);
    drilled.mean_age_s = aged_s2 / (flow.power_w.len() as f64 * STEP_S);
    drilled
}
