//! What the count of reports alone says: cycles, skips, power-ups, time at work, and bounds on income.
//!
//! A node that has sent n reports has drawn their energy; what its full store did not hold has come in. Over a time T the mean
//! income is at least (drawn − store)/T and, as long as nothing was turned away by a full store, at most (drawn + leaked + store)/T.
//! A constant current draws less of a low storage and more of a full one: drawn is the least at the floor, and the most at the overvoltage
//! limit, where the bank leaks the most too.

use super::Evidence;
use crate::simulate::timeline::Event;

/// A gap of this many usual ones is a skip.
const SKIP: f64 = 1.5;

/// What a count says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Counts {
    /// Reports that the log tells of.
    pub reports: u64,
    /// The highest count that was reached after one power-up.
    pub most_in_one_life: u32,
    /// Reports that a steady pace would have had beside them.
    pub skipped: u64,
    /// Times that the node started anew in the log.
    pub power_ups: u64,
    /// Time at work: from the first row of a life to its last (s).
    pub on_time_s: f64,
    /// The longest time without a report that the node survived (s): what it lives through in the dark, at least.
    pub survived_s: f64,
    /// Mean income is at least this (W).
    pub income_least_w: f64,
    /// Mean income is at most this (W), unless a full store turned some away.
    pub income_most_w: f64,
}

/// Counts and what follows from them; `None` where the log has no count and no event of a report.
pub(super) fn of(evidence: &Evidence<'_>) -> Option<Counts> {
    let (log, described) = (evidence.log, evidence.described);
    let known = evidence.actions.report_times_s();
    let has_count = !log.count.is_empty();
    if !has_count && (log.event.is_empty() || known.is_empty()) {
        return None;
    }
    let duration_s = log.duration_s();
    let lives = lives(evidence);
    let on_time_s: f64 = lives.iter().map(|(first_s, last_s)| last_s - first_s).sum();
    let mut gaps_s: Vec<f64> = Vec::new();
    let mut survived_s: f64 = 0.0;
    for (first_s, last_s) in &lives {
        let from = known.partition_point(|time_s| time_s < first_s);
        let until = known.partition_point(|time_s| time_s <= last_s);
        let own = known[from..until].to_vec();
        gaps_s.extend(
            own.windows(2)
                .map(|pair| pair[1] - pair[0])
                .filter(|gap_s| *gap_s > 0.0),
        );
        let marks: Vec<f64> = [*first_s].into_iter().chain(own).chain([*last_s]).collect();
        survived_s = marks
            .windows(2)
            .map(|pair| pair[1] - pair[0])
            .fold(survived_s, f64::max);
    }
    let usual_s = {
        let mut sorted = gaps_s.clone();
        sorted.sort_by(f64::total_cmp);
        sorted.get(sorted.len() / 2).copied().unwrap_or(f64::INFINITY)
    };
    let skipped: f64 = gaps_s
        .iter()
        .filter(|gap_s| **gap_s > SKIP * usual_s)
        .map(|gap_s| (gap_s / usual_s).round() - 1.0)
        .sum();
    let most = most_in_one_life(evidence);
    // A log may begin in the middle of a life: what was counted before it is none of its energy.
    let reports = known.len() as u64;
    let report_j = described.transmit.energy_j + f64::from(described.batch) * described.measure.energy_j;
    let drawn_j = |at_v: f64| {
        let asleep_w = described.sleep_a(at_v) * at_v;
        reports as f64 * report_j * (at_v / described.working_v) + asleep_w * on_time_s
    };
    let (floor_v, full_v) = (described.floor_v, described.overvoltage_v);
    let leaked_j = described.leakage_a_at(full_v) * full_v * duration_s;
    let store_j = described.stored_j(floor_v, full_v) * described.most_capacitance;
    Some(Counts {
        reports,
        most_in_one_life: most.unwrap_or(reports.min(u64::from(u32::MAX)) as u32),
        skipped: skipped as u64,
        power_ups: evidence.actions.power_ups_s.len() as u64,
        on_time_s,
        survived_s,
        income_least_w: ((drawn_j(floor_v) - store_j) / duration_s).max(0.0),
        income_most_w: (drawn_j(full_v) + leaked_j + store_j) / duration_s,
    })
}

/// The first and the last time (s) of each life: from a power-up to the loss of supply, as far as rows with a count or an event tell.
fn lives(evidence: &Evidence<'_>) -> Vec<(f64, f64)> {
    let log = evidence.log;
    let mut lives: Vec<(f64, f64)> = Vec::new();
    let (mut before, mut is_off) = (0, false);
    for row in (0..log.len()).filter(|row| log.count(*row).is_some() || log.event(*row).is_some()) {
        let time_s = log.time_s[row];
        let power_ups = evidence.actions.power_ups_until(time_s);
        match lives.last_mut() {
            Some(life) if power_ups == before => {
                if !is_off {
                    life.1 = time_s;
                }
            }
            _ => {
                lives.push((time_s, time_s));
                is_off = false;
            }
        }
        before = power_ups;
        is_off |= log.event(row) == Some(Event::Cut);
    }
    lives
}

/// The highest count of one life. A count that goes on over a power-up, as that of a simulated timeline does, begins there.
fn most_in_one_life(evidence: &Evidence<'_>) -> Option<u32> {
    let log = evidence.log;
    let (mut before, mut base, mut last) = (0, 0, 0);
    let counts = (0..log.len()).filter_map(|row| Some((log.time_s[row], log.count(row)?)));
    let reached = counts.map(|(time_s, count)| {
        let power_ups = evidence.actions.power_ups_until(time_s);
        if power_ups > before {
            base = last;
        }
        if count < base {
            base = 0;
        }
        (before, last) = (power_ups, count);
        count - base
    });
    reached.max()
}

#[cfg(test)]
mod tests {
    use crate::fit::{Fit, Known};
    use crate::log::Log;
    use crate::node;
    use approx::assert_relative_eq;

    /// The stored energy is a sum over narrow steps or a closed form: a millionth either way.
    const ENERGY: f64 = 1e-6;

    /// By hand: 1000 h asleep without a report. At 4.2 V the display case draws 1.1 uA and its cell leaks 1 uA · 4.2/4.5; 264 mF hold
    /// (4.2² − 1.8²)/2 of them.
    #[test]
    fn what_came_in_is_at_most_what_was_drawn_and_leaked_and_is_stored() {
        let duration_s = 3.6e6;
        let log = format!("time_s,count\n0,0\n1800000,0\n{duration_s},0\n");
        let log = Log::parse("bench.csv", &log).expect("a log");
        let mut node = node::example("display-case");
        node.sense.divider_switched = true;
        let fit = Fit::of(&node, &log, &Known::NOTHING);
        let counts = fit.counts.expect("counts");
        let asleep_w = 1.1e-6 * 4.2 + 1e-6 / 4.5 * 4.2 * 4.2;
        let store_j = 0.264 / 2.0 * (4.2 * 4.2 - 1.8 * 1.8);
        assert_relative_eq!(
            counts.income_most_w,
            asleep_w + store_j / duration_s,
            max_relative = ENERGY
        );
        // At the floor it draws the least.
        let least_w = 1.1e-6 * 1.8 - store_j / duration_s;
        assert_relative_eq!(counts.income_least_w, least_w, max_relative = ENERGY);
    }
}
