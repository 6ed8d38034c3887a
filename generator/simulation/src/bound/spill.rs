//! What no schedule can keep, and the corridor that is left for cumulative spending.
//!
//! The greedy node spends at the highest rate while there is more in storage than the floor (0, or what a threshold keeps:
//! `bound::threshold`); what sleep lacks at 0, it is lent. **No schedule holds less than it**: at first both hold the same. The other's storage sinks against the greedy one's only
//! while the greedy node is slowed or lent to, its storage at the floor; or while the other wastes, which without loss of
//! generality is only when its storage is full. In both cases it holds at least as much as the greedy node at that moment.
//! So whenever the greedy node overflows every schedule is full, and loses at least as much, since it spends no faster.
//! This spill is taken off the income. Every schedule, with what it wastes beyond, is then a path in the corridor, and
//! until the end it has spent at most what came in less what the greedy node holds then.
//!
//! **Some path keeps to the limit and spends all that**: greedy, but keeping what sleep will lack. Where that slows it, it
//! holds just the need, at most a full storage, and the greedy node no more; where the need ends both are empty. So both
//! overflow at the same times and hold the same at the end.

use super::Stretch;
use super::taut_string::Gate;
use super::threshold::Part;

/// The corridor, and what of it can be spent until the end.
#[derive(Debug)]
pub(super) struct Spending {
    pub(super) gates: Vec<Gate>,
    pub(super) total_j: f64,
}

/// A sum whose rounding does not grow with the number of terms: what each addition drops is carried along.
#[derive(Clone, Copy, Default)]
struct Sum {
    sum: f64,
    dropped: f64,
}

impl Sum {
    fn add(&mut self, term: f64) -> f64 {
        let kept = term - self.dropped;
        let sum = self.sum + kept;
        self.dropped = (sum - self.sum) - kept;
        self.sum = sum;
        sum
    }
}

/// The corridor of a storage that starts with `start_j` and keeps at least the floor of each part, when at most `fastest_w` can be
/// spent.
pub(super) fn unavoidable(parts: &[Part], capacity_j: f64, start_j: f64, fastest_w: f64) -> Spending {
    let mut gates: Vec<Gate> = Vec::with_capacity(parts.len() + 1);
    let (mut time, mut high) = (Sum::default(), Sum::default());
    high.add(start_j);
    let mut pass = |length_s: f64, gain_w: f64, floor_j: f64| {
        let (time_s, high_j) = (time.add(length_s), high.add(length_s * gain_w));
        // A length below the clock's rounding does not move it: the later gate stands for both.
        if gates.last().is_some_and(|gate| gate.time_s >= time_s) {
            gates.pop();
        }
        gates.push(Gate {
            time_s,
            low_j: high_j - capacity_j,
            high_j: high_j - floor_j,
        });
    };
    let mut stored_j = start_j;
    // Asked for only where storage fills: there nothing is owed before the first part ends.
    let mut floor_j = parts.first().map_or(0.0, |part| part.floor_end_j);
    for part in parts {
        let Stretch { length_s, net_w } = part.stretch;
        let floor_end_j = part.floor_end_j;
        let left_w = net_w - fastest_w;
        let end_j = stored_j + left_w * length_s;
        if end_j <= capacity_j {
            pass(length_s, net_w, floor_end_j);
            stored_j = end_j.max(floor_end_j);
        } else {
            let filling_s = (capacity_j - stored_j) / left_w;
            if filling_s > 0.0 {
                // The floor is straight over a part.
                let share = filling_s / length_s;
                pass(filling_s, net_w, floor_j + (floor_end_j - floor_j) * share);
            }
            pass(length_s - filling_s, fastest_w, floor_end_j);
            stored_j = capacity_j;
        }
        floor_j = floor_end_j;
    }
    Spending {
        total_j: high.sum - stored_j,
        gates,
    }
}
