//! The pace table: how long to wait between samples, by what is stored.

use crate::model::drain::Drain;
use crate::node::Node;
use crate::rounding;
use crate::thresholds::Thresholds;
use crate::units::*;

/// One row of the table: from this reading on, sample this often.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Row {
    /// The row holds for readings of this and above, up to the row before.
    pub(super) from_mv: u16,
    /// Time between two samples.
    pub(super) wait_s: u16,
}

/// At most `rows` rows, from the fullest bank down; the last one starts at 0 mV and waits longest.
///
/// Even spending: what is stored above the transmit threshold, less what sleep takes over `policy.dark_horizon`, is spread
/// evenly over that time, between `fastest` and `slowest` (docs/model.md, equation 14):
///
/// ```text
/// T(v) = dark_horizon · cost / (E(v) − E(decide) − sleep · dark_horizon)
/// ```
///
/// with the energy of the worst bank and the cost of a whole report, its samples included. The waits of the rows are in
/// geometric progression; a row starts at the first reading at which its wait is long enough, so that no reading waits
/// shorter than T.
pub(super) fn rows(node: &Node, thresholds: &Thresholds, rows: usize) -> Vec<Row> {
    let batch = f64::from(node.policy.batch);
    let longest = node.policy.slowest / batch;
    let interval = |storage_mv: u32| even_spending(node, thresholds, storage_mv) / batch;
    let full_mv = rounding::millivolts_down(thresholds.overvoltage).min(u16::MAX.into());
    let shortest = interval(full_mv);
    let steps = rows.saturating_sub(1).max(1);
    let growth = libm::pow((longest / shortest).get::<ratio>(), 1.0 / steps as f64);
    let mut table: Vec<Row> = Vec::new();
    for index in 0..steps {
        let wait_s = rounding::seconds_up(shortest * growth.powi(index as i32));
        let wait = seconds(wait_s.into());
        let from_mv = first(full_mv, |storage_mv| interval(storage_mv) <= wait);
        let last = table.last();
        if wait < longest && last.is_none_or(|last| u32::from(last.from_mv) > from_mv && last.wait_s < wait_s)
        {
            table.push(Row {
                from_mv: from_mv as u16,
                wait_s,
            });
        }
    }
    table.retain(|row| row.from_mv > 0);
    table.push(Row {
        from_mv: 0,
        wait_s: rounding::seconds_up(longest),
    });
    table
}

/// Time between reports at a reading, between `fastest` and `slowest`.
fn even_spending(node: &Node, thresholds: &Thresholds, storage_mv: u32) -> Time {
    let horizon = node.policy.dark_horizon;
    let spare = above_thresholds(thresholds, rounding::from_millivolts(storage_mv))
        - sleep_power(thresholds) * horizon;
    if spare <= joules(0.0) {
        return node.policy.slowest;
    }
    let needed: Time = horizon * (thresholds.report_energy(node.policy.batch) / spare);
    needed.max(node.policy.fastest).min(node.policy.slowest)
}

/// What the worst bank, at rest at `storage`, holds above the higher threshold of the two actions; below 0 where it holds less.
pub fn above_thresholds(thresholds: &Thresholds, storage: Voltage) -> Energy {
    let decide_mv = thresholds.highest_decide_mv();
    let stored = |terminal| thresholds.corner.stored_at_rest(terminal);
    stored(storage) - stored(rounding::from_millivolts(decide_mv))
}

/// What a sleeping node takes from storage at the most, leakage included: at overvoltage, with `margins.load`.
pub fn sleep_power(thresholds: &Thresholds) -> Power {
    let drain: Drain = thresholds.transmit.reserve.drain;
    let terminal = thresholds.overvoltage;
    drain.power_at(terminal) + terminal * (thresholds.corner.leakage * terminal)
}

/// The first reading at which `holds`, which once true stays true; one above `full_mv` if there is none.
fn first(full_mv: u32, holds: impl Fn(u32) -> bool) -> u32 {
    let (mut low, mut high) = (0, full_mv + 1);
    while low < high {
        let middle = low + (high - low) / 2;
        if holds(middle) {
            high = middle;
        } else {
            low = middle + 1;
        }
    }
    low
}

#[cfg(test)]
mod tests;
