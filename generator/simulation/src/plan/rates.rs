//! The pace as a picture: how long between reports, over the stored energy and the hour of the day.

use millpond_policy::{Plan, Planner, Policy, Reading, SLOT_S, SLOTS};

use crate::income::Income;
use crate::node::Node;
use crate::plan::made::Made;
use crate::plan::typical::Typical;
use crate::simulate::made::PLANNED;
use crate::simulate::study::EVEN;
use crate::units::*;

/// Days of the declared income that the mean day is the mean of.
const DAYS: usize = 365;
/// Half of the slots of a day.
const HALF_DAY: u32 = SLOTS as u32 / 2;
/// Levels of the storage.
const LEVELS: usize = 8;

/// The rates of a pace.
#[derive(Clone, Debug, PartialEq)]
pub struct Rates {
    /// Name of the pace.
    pub name: &'static str,
    /// The same for people.
    pub title: &'static str,
    /// Whether its settings are the node's own; `None` where there are none to tune.
    pub is_tuned: Option<bool>,
    /// From the highest voltage down. Those of a table are its rows, each from its voltage on; those of a plan are looked at.
    pub levels: Vec<Level>,
}

impl Rates {
    /// Those of a node that has no policy.
    pub const NONE: Self = Self {
        name: EVEN,
        title: EVEN,
        is_tuned: None,
        levels: Vec::new(),
    };
}

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
pub fn planned(node: &Node, typical: &Typical, made: &Made, income: &Income) -> Rates {
    let plan = &made.plan;
    let store = typical.store();
    let learned = learned(typical, plan, &mean_day_j(node, income));
    let levels = levels(store.full_j, store.decide_j)
        .into_iter()
        .map(|stored_j| {
            let storage_mv = store.reading_mv(stored_j);
            let mut planner = learned;
            Level {
                storage_v: f64::from(storage_mv) / 1e3,
                interval_s: std::array::from_fn(|hour| {
                    come_back(&mut planner, plan, storage_mv, u32::from(hour > 0));
                    f64::from(planner.interval_s()) * store.batch
                }),
            }
        })
        .collect();
    Rates {
        name: PLANNED,
        title: made.title(),
        is_tuned: Some(made.is_tuned),
        levels,
    }
}

/// What the source brings in each hour of the mean day, after the converter (J).
fn mean_day_j(node: &Node, income: &Income) -> [f64; SLOTS] {
    let slot = seconds(f64::from(SLOT_S));
    let year_w = income.means(slot, DAYS * SLOTS);
    let efficiency = node.harvest.converter_efficiency.get::<ratio>();
    std::array::from_fn(|hour| {
        let sum_w: f64 = year_w.iter().skip(hour).step_by(SLOTS).sum();
        sum_w / DAYS as f64 * efficiency * f64::from(SLOT_S)
    })
}

/// A planner at the start of a day that has seen this day (J in each slot) and no other.
///
/// Each slot begins half full. What it brings above sleep is spent in it; what it lacks is missing at its end. The storage is
/// then put back for the next slot, so that a source below sleep does not run it empty: what is learned is the income, whatever
/// the storage makes of it.
fn learned(typical: &Typical, plan: &Plan, day_j: &[f64; SLOTS]) -> Planner {
    let store = typical.store();
    let half_j = (store.full_j + store.decide_j) / 2.0;
    let half_mv = store.reading_mv(half_j);
    let sleep_j = f64::from(plan.parts().costs.sleep_uw) * f64::from(SLOT_S) / 1e6;
    let mut planner = Planner::cold_start();
    planner.observe(plan, reading(half_mv, 0));
    for income_j in day_j {
        let above_j = income_j - sleep_j;
        // The larger of the two is not below 0, so that the cast only cuts its fraction.
        planner.spend((above_j.max(0.0) * 1e6) as u32);
        let left_j = (half_j + above_j.min(0.0)).max(0.0);
        planner.observe(plan, reading(store.reading_mv(left_j), 1));
        come_back(&mut planner, plan, half_mv, 0);
    }
    planner
}

/// A day goes by, and so many slots, at the end of which the storage stands at `storage_mv`. Nothing is learned: a slot that is
/// slept through teaches nothing, and these are slept through in two stretches, since seconds are counted in 16 bits.
fn come_back(planner: &mut Planner, plan: &Plan, storage_mv: u16, slots: u32) {
    planner.observe(plan, reading(storage_mv, HALF_DAY));
    planner.observe(plan, reading(storage_mv, HALF_DAY + slots));
}

/// So many slots after the last.
fn reading(storage_mv: u16, slots: u32) -> Reading {
    Reading {
        storage_mv,
        elapsed_s: slots * u32::from(SLOT_S),
        waiting: 0,
    }
}

/// The rows of the pace table as firmware has them, the same at every hour. Rows that wait as long as the one above only fill the
/// table up: they are one row here.
pub fn even(node: &Node, policy: &Policy) -> Rates {
    let mut levels: Vec<Level> = Vec::new();
    for row in policy.parts().pace {
        let level = Level {
            storage_v: f64::from(row.from_mv) / 1e3,
            interval_s: [f64::from(row.wait_s) * f64::from(node.policy.batch); SLOTS],
        };
        match levels.last_mut() {
            Some(above) if above.interval_s == level.interval_s => *above = level,
            _ => levels.push(level),
        }
    }
    Rates {
        name: EVEN,
        title: EVEN,
        is_tuned: None,
        levels,
    }
}

/// Energies from just full, so that the converter has not stopped, down to the thresholds.
fn levels(full_j: f64, decide_j: f64) -> [f64; LEVELS] {
    let room_j = full_j - decide_j;
    std::array::from_fn(|index| decide_j + room_j * (0.85 - 0.8 * index as f64 / (LEVELS - 1) as f64))
}

#[cfg(test)]
mod tests;
