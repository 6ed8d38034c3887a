//! What no schedule can keep, and the corridor that is left for cumulative spending.
//!
//! The greedy node spends at the highest rate whenever the need of sleep allows. **No schedule holds less than it**: at
//! first both hold the same. The other's storage sinks against the greedy one's only while it spends faster, which
//! is only while the greedy node is slowed, its storage at the need; or while it wastes, which without loss of
//! generality is only when it is full. In both cases it holds at least as much as the greedy node at that moment. So
//! whenever the greedy node overflows every schedule is full, and loses at least as much, since it spends no faster. This
//! spill is taken off the income. Every schedule, with what it wastes beyond, is then a path in the corridor, and at
//! the end has spent no more than the greedy node, whose storage is the smaller.

use super::string::Gate;
use super::survival::Step;

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

/// The corridor of a storage that starts with `start_j`, when at most `fastest_w` can be spent.
pub(super) fn unavoidable(steps: &[Step], capacity_j: f64, start_j: f64, fastest_w: f64) -> Spending {
    let mut gates: Vec<Gate> = Vec::with_capacity(steps.len() + 1);
    let (mut time, mut high) = (Sum::default(), Sum::default());
    high.add(start_j);
    let mut pass = |length_s: f64, gain_w: f64| {
        let (time_s, high_j) = (time.add(length_s), high.add(length_s * gain_w));
        // A length below the clock's rounding does not move it: the later gate stands for both.
        if gates.last().is_some_and(|gate| gate.time_s >= time_s) {
            gates.pop();
        }
        gates.push(Gate {
            time_s,
            low_j: high_j - capacity_j,
            high_j,
        });
    };
    let mut stored_j = start_j;
    for &Step {
        length_s,
        net_w,
        need_j,
    } in steps
    {
        let left_w = net_w - fastest_w;
        // The need falls to nothing by sleep, or rises by what comes in too late; else there is none.
        let need_w = if need_j == 0.0 && net_w >= 0.0 { 0.0 } else { net_w };
        let need_before_j = need_j - need_w * length_s;
        // Where the need of sleep slows the greedy node, and where the storage is full; never both in one step.
        let slowed_s = if left_w < need_w {
            ((stored_j - need_before_j) / (need_w - left_w)).max(0.0)
        } else {
            f64::INFINITY
        };
        let full_s = if left_w > 0.0 {
            (capacity_j - stored_j) / left_w
        } else {
            f64::INFINITY
        };
        if full_s < length_s && full_s < slowed_s {
            if full_s > 0.0 {
                pass(full_s, net_w);
            }
            pass(length_s - full_s, fastest_w);
            stored_j = capacity_j;
            continue;
        }
        pass(length_s, net_w);
        stored_j = if slowed_s < length_s {
            need_j
        } else {
            (stored_j + left_w * length_s).clamp(need_j, capacity_j)
        };
    }
    Spending {
        total_j: high.sum - stored_j,
        gates,
    }
}
