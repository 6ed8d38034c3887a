//! Whether a node that only sleeps lives: with all that does not fit lost, the first time at which the storage is empty.

use super::Stretch;

/// An energy below zero by this part of the capacity is the rounding of some ten thousand additions, and no death.
const ROUNDING: f64 = 1e-12;

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
