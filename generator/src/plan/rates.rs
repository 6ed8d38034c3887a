//! The pace as a picture: how long between reports, over the stored energy and the hour of the day.

use millpond_policy::{PaceRow, Plan, Planner, Policy, Reading, SLOT_S, SLOTS};

use crate::income::Income;
use crate::node::Node;
use crate::plan::typical::Typical;
use crate::units::*;

/// Days of the declared income after which the averages have settled.
const DAYS: usize = 20;
/// Levels of the storage.
const LEVELS: usize = 8;

/// At one level of the storage, the time between reports in each hour of the day (s).
#[derive(Clone, Debug, PartialEq)]
pub struct Level {
    /// Terminal voltage (V).
    pub storage_v: f64,
    /// From the hour of the start on: 00:00 of the income.
    pub interval_s: [f64; SLOTS],
}

/// The rates of a plan, on the mean day of `income`, at levels from full down to the thresholds. Nothing strays from the
/// mean day, so the ratio of today to the average is 1.
pub fn planned(node: &Node, typical: &Typical, plan: &Plan, income: &Income) -> Vec<Level> {
    let store = typical.store();
    let year = income.means(seconds(f64::from(SLOT_S)), 365 * SLOTS);
    let efficiency = node.harvest.converter_efficiency.get::<ratio>();
    let mean_day: Vec<f64> = (0..SLOTS)
        .map(|slot| year.iter().skip(slot).step_by(SLOTS).sum::<f64>() / 365.0 * efficiency)
        .collect();
    levels(store.full_j, store.decide_j)
        .into_iter()
        .map(|stored_j| {
            let reading = Reading {
                storage_mv: store.reading_mv(stored_j),
                elapsed_s: u32::from(SLOT_S),
                waiting: 0,
            };
            let mut planner = Planner::cold_start();
            planner.observe(plan, reading);
            let mut interval_s = [0.0; SLOTS];
            for slot in 0..DAYS * SLOTS {
                // Held at this level: what came in has gone, whatever it was.
                let net_w = mean_day[slot % SLOTS] - store.sleep_w;
                let gone_uj = (net_w * f64::from(SLOT_S) * 1e6) as i64;
                planner.spend(gone_uj as u32);
                planner.observe(plan, reading);
                interval_s[(slot + 1) % SLOTS] = f64::from(planner.interval_s()) * store.batch;
            }
            Level {
                storage_v: f64::from(reading.storage_mv) / 1e3,
                interval_s,
            }
        })
        .collect()
}

/// The rates of the pace table, the same at every hour.
pub fn even(node: &Node, typical: &Typical, policy: &Policy) -> Vec<Level> {
    let store = typical.store();
    levels(store.full_j, store.decide_j)
        .into_iter()
        .map(|stored_j| {
            let storage_mv = store.reading_mv(stored_j);
            let holds = |row: &&PaceRow| row.from_mv <= storage_mv;
            let row = policy.parts().pace.iter().find(holds);
            let wait_s = row.map_or(u16::MAX, |row| row.wait_s);
            Level {
                storage_v: f64::from(storage_mv) / 1e3,
                interval_s: [f64::from(wait_s) * f64::from(node.policy.batch); SLOTS],
            }
        })
        .collect()
}

/// Energies from just full, so that the converter has not stopped, down to the thresholds.
fn levels(full_j: f64, decide_j: f64) -> [f64; LEVELS] {
    let room_j = full_j - decide_j;
    std::array::from_fn(|index| decide_j + room_j * (0.85 - 0.8 * index as f64 / (LEVELS - 1) as f64))
}
