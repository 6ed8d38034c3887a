//! Whether a node that only sleeps lives, and what it has to keep for that at each time.
//!
//! Forward, with all that does not fit lost: the first time at which the storage is empty. Backward: the least energy
//! from which sleep is paid until the end.

use super::Stretch;

/// An energy below zero by this part of the capacity is the rounding of some ten thousand additions, and no death.
const ROUNDING: f64 = 1e-12;

/// A stretch and what has to be in storage at its end. What has to be there inside is linear in time.
#[derive(Clone, Copy, Debug)]
pub(super) struct Step {
    pub(super) length_s: f64,
    pub(super) net_w: f64,
    pub(super) need_j: f64,
}

/// When the storage is empty, if ever.
pub(super) fn empty_at_s(stretches: &[Stretch], capacity_j: f64, start_j: f64) -> Option<f64> {
    let mut stored_j = start_j;
    let mut start_s = 0.0;
    for &Stretch { length_s, net_w } in stretches {
        let end_j = (stored_j + net_w * length_s).min(capacity_j);
        if end_j < -ROUNDING * capacity_j {
            return Some(start_s + (stored_j / -net_w).clamp(0.0, length_s));
        }
        stored_j = end_j;
        start_s += length_s;
    }
    None
}

/// The stretches with what has to be kept for sleep, at most the capacity. Stretches are cut where the need begins.
pub(super) fn with_need(stretches: &[Stretch], capacity_j: f64) -> Vec<Step> {
    let mut steps = Vec::with_capacity(stretches.len());
    let mut need_j: f64 = 0.0;
    for &Stretch { length_s, net_w } in stretches.iter().rev() {
        let before_j = need_j - net_w * length_s;
        let rising_s = if before_j < 0.0 { need_j / net_w } else { length_s };
        if rising_s > 0.0 {
            steps.push(Step {
                length_s: rising_s,
                net_w,
                need_j,
            });
        }
        if rising_s < length_s {
            steps.push(Step {
                length_s: length_s - rising_s,
                net_w,
                need_j: 0.0,
            });
        }
        need_j = before_j.clamp(0.0, capacity_j);
    }
    steps.reverse();
    steps
}
