//! What the count of reports alone says: cycles, skips, power-ups, time at work, and bounds on income.
//!
//! A node that has sent n reports has drawn their energy; what its full store did not hold has come in. Over a time T the mean
//! income is at least (drawn − store)/T and, as long as nothing was turned away by a full store, at most (drawn + store)/T.

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
    let asleep_w = described.sleep_a(described.working_v) * described.working_v;
    let drawn_j = reports as f64 * report_j + asleep_w * on_time_s;
    let store_j = described.stored_j(described.floor_v, described.overvoltage_v) * described.most_capacitance;
    Some(Counts {
        reports,
        most_in_one_life: most.unwrap_or(reports.min(u64::from(u32::MAX)) as u32),
        skipped: skipped as u64,
        power_ups: evidence.actions.power_ups_s.len() as u64,
        on_time_s,
        survived_s,
        income_least_w: ((drawn_j - store_j) / duration_s).max(0.0),
        income_most_w: (drawn_j + store_j) / duration_s,
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
