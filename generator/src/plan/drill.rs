//! A node over a made year as flows of energy, to try hundreds of settings in seconds.
//!
//! The planner is the one that is flashed; the rest is what [`crate::simulate`] has in full: here storage is one number, reports flow at
//! the planner's rate, and each sub-step has one income. Losses of supply last until the storage is back at the voltage that
//! connects, charged at the efficiency of a cold start below the voltage that needs one. What is found is run through the full
//! simulation before it is told ([`crate::plan::tuned`]).

use millpond_policy::{Plan, Planner, Policy, Reading, SLOT_S};

use crate::plan::typical::Typical;

/// Length of a sub-step (s): six in a slot.
pub(super) const STEP_S: f64 = 600.0;
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

/// Runs the planner through a year.
pub fn drill(typical: &Typical, policy: &Policy, plan: &Plan, flow: &Flow) -> Drilled {
    let store = typical.store();
    let mut drilled = Drilled::default();
    let mut planner = Planner::cold_start();
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
            planner = Planner::cold_start();
        }
        let reading = Reading {
            storage_mv: store.reading_mv(stored_j),
            elapsed_s: 0,
            waiting: 0,
        };
        if index % STEPS_PER_SLOT == 0 {
            planner.spend((spent_j * 1e6) as u32);
            spent_j = 0.0;
            planner.observe(
                plan,
                Reading {
                    elapsed_s: u32::from(SLOT_S),
                    ..reading
                },
            );
        }
        let sample_s = if planner.is_planning() {
            planner.interval_s()
        } else {
            let row = policy
                .parts()
                .pace
                .iter()
                .find(|row| row.from_mv <= reading.storage_mv);
            row.map_or(u16::MAX, |row| row.wait_s)
        };
        let gap_s = f64::from(sample_s) * store.batch;
        let reports_j = if stored_j < store.decide_j {
            0.0
        } else {
            store.report_j * STEP_S / gap_s
        };
        spent_j += reports_j;
        stored_j = (stored_j + (power_w - store.asleep_w(stored_j)) * STEP_S - reports_j).min(store.full_j);
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
