//! Findings on the count: reports that were sent and lost, restarts without end, a clock that drifts.

use super::pace::{self, STEADY_PART};
use super::{Confidence, Finding};
use crate::fit::Evidence;
use crate::fit::points::{COLUMNS, TRANSMIT};
use crate::simulate::timeline::Event;
use crate::statistics;
use crate::text::Engineering;
use crate::units::*;

/// Reports are lost from this part of all on, and from so many.
const LOST_PART: f64 = 0.04;
/// See [`LOST_PART`].
const LEAST_LOST: usize = 3;
/// A step of the voltage is a report's where it is so many times its noise.
const CLEAR_STEP: f64 = 8.0;
/// So many lives in a row with a report or none.
const LOOP_LIVES: usize = 3;
/// A clock is off from this part on: more than a crystal over its temperature range.
const DRIFT: f64 = 0.004;
/// A pace that is off by more than this is another pace, and no drift.
const MOST_DRIFT: f64 = 0.12;
/// Two readings of a clock of whole seconds are off by less than one: so far apart (s) that is less than [`DRIFT`].
const LEAST_CLOCK_S: f64 = 1.0 / DRIFT;
/// Gaps that a drift is read from, at least.
const DRIFT_GAPS: usize = 20;
/// A gap between reports is steady within this part of the usual one: not half of it, and not the next but one.
const STEADY_WITHIN: f64 = 0.5;

/// Reports that cost their energy and were not counted.
pub(super) fn lost(evidence: &Evidence<'_>) -> Option<Finding> {
    let reports = evidence.actions.reports();
    let (lost, how) = by_events(evidence)
        .map(|lost| (lost, "were sent and not counted"))
        .or_else(|| {
            by_steps(evidence).map(|lost| (lost, "took their step of the voltage and were not counted"))
        })
        .or_else(|| {
            pace::missing(evidence).map(|lost| (lost, "were due while storage stood above the threshold"))
        })?;
    (lost >= LEAST_LOST && lost as f64 > LOST_PART * reports as f64).then(|| Finding {
        code: "reports-lost",
        text: format!(
            "{lost} reports {how}, beside {reports}: storage had the energy, the radio link lost them. Look at range, antenna, \
             collisions, or the receiver"
        ),
        confidence: Confidence::High,
        time_s: None,
    })
}

/// More reports by their events than by the count.
fn by_events(evidence: &Evidence<'_>) -> Option<usize> {
    let log = evidence.log;
    if log.count.is_empty() || !log.event.contains(&Some(Event::Transmit)) {
        return None;
    }
    let busy_s = 1.5 * evidence.described.transmit.duration_s;
    let (mut lost, mut sent, mut before, mut busy_until_s) = (0, 0u32, None, f64::NEG_INFINITY);
    for row in 0..log.len() {
        let time_s = log.time_s[row];
        let is_report = log.event(row) == Some(Event::Transmit);
        // A node writes its row when the report is over, with the count that has it.
        let is_over = is_report
            && log
                .count(row)
                .zip(before)
                .is_some_and(|(count, before)| count > before + sent);
        if is_over {
            sent += 1;
        }
        // A report that is on the air is not counted yet.
        if let Some(count) = log.count(row).filter(|_| time_s > busy_until_s) {
            if let Some(before) = before.filter(|before| *before <= count) {
                lost += sent.saturating_sub(count - before) as usize;
            }
            before = Some(count);
            sent = 0;
        }
        if is_report && !is_over {
            sent += 1;
            busy_until_s = time_s + busy_s;
        }
    }
    Some(lost)
}

/// Steps as large as a report's where the count stood still, where they stand clear of the noise.
fn by_steps(evidence: &Evidence<'_>) -> Option<usize> {
    let estimate = evidence.estimate?;
    let (points, described) = (evidence.points, evidence.described);
    if evidence.log.count.is_empty() || evidence.readings.count > points.len() * 2 {
        return None;
    }
    let mut lost = 0;
    for three in points.windows(3) {
        if three.iter().any(|point| point.run != three[0].run) {
            continue;
        }
        let step_v = estimate.beta[TRANSMIT].max(0.3) * described.report_step_v(three[0].storage_v);
        if step_v < CLEAR_STEP * evidence.readings.noise_v {
            return None;
        }
        let fall_v = |a: usize, b: usize| {
            let explained: f64 = (0..COLUMNS)
                .map(|column| estimate.beta[column].max(0.0) * (three[b].x[column] - three[a].x[column]))
                .sum();
            three[a].storage_v - three[b].storage_v - explained
        };
        let (now_v, later_v) = (fall_v(0, 1), fall_v(0, 2));
        let is_step = |v: f64| v > 0.6 * step_v && v < 1.6 * step_v;
        lost += usize::from(is_step(now_v) && is_step(later_v));
    }
    Some(lost)
}

/// Lives with a report or none, one after the other.
pub(super) fn loop_of_restarts(evidence: &Evidence<'_>) -> Option<Finding> {
    let power_ups_s = &evidence.actions.power_ups_s;
    let times_s = evidence.actions.report_times_s();
    let (mut row, mut longest, mut at_s) = (0, 0, None);
    for pair in power_ups_s.windows(2) {
        let reports = times_s.partition_point(|time_s| *time_s < pair[1])
            - times_s.partition_point(|time_s| *time_s < pair[0]);
        row = if reports <= 1 { row + 1 } else { 0 };
        if row > longest {
            (longest, at_s) = (row, Some(pair[0]));
        }
    }
    (longest >= LOOP_LIVES).then(|| Finding {
        code: "restart-loop",
        text: format!(
            "the node started {} times in a row and sent a report or none each time: what it gathers is spent by starting. \
             Connect at a higher voltage, or start with less",
            longest + 1
        ),
        confidence: Confidence::High,
        time_s: at_s,
    })
}

/// The node's seconds against the log's.
pub(super) fn drift(evidence: &Evidence<'_>) -> Option<Finding> {
    if let Some(off) = beside(evidence) {
        return (off.abs() > DRIFT).then(|| drifting(off, "its clock beside the log's", Confidence::High));
    }
    let described = evidence.described;
    let gaps_s: Vec<f64> = pace::gaps(evidence).iter().map(|gap| gap.length_s).collect();
    let mut sorted = gaps_s.clone();
    sorted.sort_by(f64::total_cmp);
    let usual_s = *sorted.get(sorted.len() / 2)?;
    let steady: Vec<f64> = gaps_s
        .iter()
        .copied()
        .filter(|gap_s| (gap_s / usual_s - 1.0).abs() < STEADY_WITHIN)
        .collect();
    if steady.len() < DRIFT_GAPS || (steady.len() as f64) < STEADY_PART * gaps_s.len() as f64 {
        return None;
    }
    let mean_s = steady.iter().sum::<f64>() / steady.len() as f64;
    let spread_s =
        (steady.iter().map(|gap_s| (gap_s - mean_s).powi(2)).sum::<f64>() / steady.len() as f64).sqrt();
    // Rows that come rarely move a gap's end, and the next gap's start, by as much: the ends alone count.
    let error_s = spread_s * 2.0 / steady.len() as f64 + spread_s / (steady.len() as f64).sqrt() * 0.3;
    let busy_s = described.transmit.duration_s + f64::from(described.batch) * described.measure.duration_s;
    // The wait may be from start to start, or from the end of one report to the start of the next, in whole seconds.
    let (low_s, high_s) = (described.fastest_s, described.fastest_s + busy_s + 1.0);
    let off = if mean_s < low_s {
        mean_s / low_s - 1.0
    } else if mean_s > high_s {
        mean_s / high_s - 1.0
    } else {
        0.0
    };
    let is_clear = off.abs() * mean_s > 3.0 * error_s && spread_s < 0.35 * mean_s;
    (is_clear && off.abs() > DRIFT && off.abs() < MOST_DRIFT).then(|| {
        let what = format!(
            "reports come every {} where {} is the least",
            Engineering(seconds(mean_s), "s"),
            Engineering(seconds(described.fastest_s), "s")
        );
        drifting(off, &what, Confidence::Medium)
    })
}

fn drifting(off: f64, what: &str, confidence: Confidence) -> Finding {
    Finding {
        code: "clock-drift",
        text: format!(
            "the node's seconds last {:.2} % {} than the log's, by {what}: an oscillator without a crystal, or one that is not \
             trimmed",
            off.abs() * 100.0,
            if off > 0.0 { "longer" } else { "shorter" }
        ),
        confidence,
        time_s: None,
    }
}

/// How much longer the node's seconds last, where its clock stands beside the log's: the median over pairs far apart in one life.
fn beside(evidence: &Evidence<'_>) -> Option<f64> {
    let log = evidence.log;
    let mut rates: Vec<f64> = Vec::new();
    for life in lives_of_the_clock(evidence) {
        let far = &life[life.len() / 2..];
        rates.extend(life.iter().zip(far).filter_map(|(a, b)| {
            let clock_s = log.clock_s[*b] - log.clock_s[*a];
            (clock_s >= LEAST_CLOCK_S).then(|| (log.time_s[*b] - log.time_s[*a]) / clock_s - 1.0)
        }));
    }
    if rates.len() < 5 {
        return None;
    }
    statistics::upper_median(&mut rates)
}

/// The rows with the node's own clock, life by life: a clock that starts anew says nothing of its pace across the start.
fn lives_of_the_clock(evidence: &Evidence<'_>) -> Vec<Vec<usize>> {
    let log = evidence.log;
    let resets_until = |row: usize| {
        let resets_s = &evidence.actions.resets_s;
        resets_s.partition_point(|reset_s| *reset_s <= log.time_s[row])
    };
    let rows: Vec<usize> = (0..log.clock_s.len())
        .filter(|row| !log.clock_s[*row].is_nan())
        .collect();
    rows.chunk_by(|a, b| log.clock_s[*a] <= log.clock_s[*b] && resets_until(*a) == resets_until(*b))
        .map(<[usize]>::to_vec)
        .collect()
}
