//! Reports that a steady pace had and the count has not: gaps that hold the gaps around them a whole number of times.
//!
//! The policy lengthens its waits as storage falls, so a long gap alone says nothing. It has lost reports where the gaps on both
//! sides agree on a pace, and where no wait of the policy's table is as long at the voltages that were read.

use millpond_policy::{PACE_ROWS, PaceRow, PolicyParts};

use crate::fit::Evidence;
use crate::policy;
use crate::thresholds::Thresholds;

/// A pace is read from so many gaps on each side: of five with a quarter of the reports lost, two are whole in 98 of 100.
const GAPS_AROUND: usize = 5;
/// The paces of both sides are one where they differ by no more than this part: less than a step of the table.
const SAME_PACE: f64 = 0.12;
/// A gap is a whole number of others where it is off by less than this part of one: rows that come rarely move its ends. However
/// long it is, half of all lengths are none.
const WHOLE_GAP: f64 = 0.25;
/// Gaps that hold so many others and more are pauses of another kind.
const MOST_TIMES: f64 = 6.0;
/// A pace with this part of its gaps like the others is steady enough to judge.
pub(super) const STEADY_PART: f64 = 0.7;
/// Fewer long gaps than this are chance: no table is made for them.
const LEAST_LONG: usize = 2;
/// The log's readings and firmware's own differ by so many counts beside the tolerance of their scale.
const READING_COUNTS: f64 = 3.0;

/// A gap between two reports of one life.
#[derive(Clone, Copy, Debug)]
pub(super) struct Gap {
    from_s: f64,
    pub(super) length_s: f64,
}

/// The gaps between reports that were counted one by one, in order.
pub(super) fn gaps(evidence: &Evidence<'_>) -> Vec<Gap> {
    let resets_s = &evidence.actions.resets_s;
    evidence
        .actions
        .report_times_s()
        .windows(2)
        .filter(|pair| pair[1] > pair[0])
        .filter(|pair| {
            let next = resets_s.partition_point(|reset_s| *reset_s <= pair[0]);
            resets_s.get(next).is_none_or(|reset_s| *reset_s > pair[1])
        })
        .map(|pair| Gap {
            from_s: pair[0],
            length_s: pair[1] - pair[0],
        })
        .collect()
}

/// Reports that are missing in the gaps of a steady pace, while storage stood above the threshold; `None` where the log does not
/// tell.
pub(super) fn missing(evidence: &Evidence<'_>) -> Option<usize> {
    let (log, described) = (evidence.log, evidence.described);
    if log.storage_mv.is_empty()
        || log.count.is_empty()
        || evidence.readings.step_s > 0.4 * described.fastest_s
    {
        return None;
    }
    let gaps = gaps(evidence);
    let whole: Vec<(usize, f64)> = (0..gaps.len())
        .filter_map(|place| Some((place, times(&gaps, place)?)))
        .collect();
    if (whole.len() as f64) < STEADY_PART * gaps.len() as f64 {
        return None;
    }
    let long: Vec<(usize, f64)> = whole
        .into_iter()
        .filter(|(_, times)| *times > 1.0 && *times < MOST_TIMES)
        .collect();
    if long.len() < LEAST_LONG {
        return Some(0);
    }
    // Constants that the policy refuses are none of a node at work.
    let policy = policy::policy(evidence.node, &Thresholds::of(evidence.node)).ok()?;
    let missing = long
        .iter()
        .filter(|(place, times)| !is_explained(evidence, policy.parts(), &gaps, *place, *times))
        .map(|(_, times)| *times as usize - 1);
    Some(missing.sum())
}

/// How many gaps of the pace around it a gap holds; `None` where both sides do not agree on a pace, or it is no whole number.
fn times(gaps: &[Gap], place: usize) -> Option<f64> {
    let before_s = pace_s(&gaps[place.saturating_sub(GAPS_AROUND)..place])?;
    let behind_s = pace_s(&gaps[place + 1..gaps.len().min(place + 1 + GAPS_AROUND)])?;
    let around_s = (before_s + behind_s) / 2.0;
    let times = gaps[place].length_s / around_s;
    let is_steady = (before_s - behind_s).abs() < SAME_PACE * around_s;
    let is_whole = times.round() >= 1.0 && (times - times.round()).abs() < WHOLE_GAP;
    (is_steady && is_whole).then(|| times.round())
}

/// The pace of a few gaps: the second shortest, since reports may be lost among them, and one counted late leaves a short gap.
fn pace_s(gaps: &[Gap]) -> Option<f64> {
    let mut lengths_s: Vec<f64> = gaps.iter().map(|gap| gap.length_s).collect();
    lengths_s.sort_by(f64::total_cmp);
    lengths_s.get(1).or(lengths_s.first()).copied()
}

/// Whether a gap may be as long as it is with no report lost: by low storage, or by the table's waits.
fn is_explained(
    evidence: &Evidence<'_>,
    parts: &PolicyParts,
    gaps: &[Gap],
    place: usize,
    times: f64,
) -> bool {
    let described = evidence.described;
    let inside_v = sorted_v(evidence, &gaps[place..=place]);
    let around_v = sorted_v(
        evidence,
        &gaps[place.saturating_sub(GAPS_AROUND)..gaps.len().min(place + 1 + GAPS_AROUND)],
    );
    // A reading of ten may be nonsense, or a dip.
    let Some((low_v, usual_v)) = inside_v
        .get(inside_v.len() / 10)
        .zip(around_v.get(around_v.len() / 2))
    else {
        return true;
    };
    // What was refused once is only due again beyond the hysteresis. OK because the policy refuses a sum above 65535.
    let needed_mv = parts.measure_mv.max(parts.transmit_mv) + parts.hysteresis_mv;
    if *low_v * 1e3 <= f64::from(needed_mv) {
        return true;
    }
    let least_v = low_v * (1.0 - described.sense_tolerance) - READING_COUNTS * described.count_v;
    let (usual, low) = (row(&parts.pace, *usual_v), row(&parts.pace, *low_v));
    // Scale and counts of the reading shift all rows together: past one border more, at the most.
    let slowest = row(&parts.pace, least_v).min(low + 1);
    let wait_s = |row: usize| f64::from(parts.pace[row.min(PACE_ROWS - 1)].wait_s);
    times < wait_s(slowest) / wait_s(usual) + WHOLE_GAP
}

/// The readings in these gaps, in order of voltage (V).
fn sorted_v(evidence: &Evidence<'_>, gaps: &[Gap]) -> Vec<f64> {
    let (Some(first), Some(last)) = (gaps.first(), gaps.last()) else {
        return Vec::new();
    };
    let log = evidence.log;
    let until_s = last.from_s + last.length_s;
    let rows = log.time_s.partition_point(|time_s| *time_s < first.from_s)
        ..log.time_s.partition_point(|time_s| *time_s <= until_s);
    let mut readings_v: Vec<f64> = rows.filter_map(|row| log.storage_v(row)).collect();
    readings_v.sort_by(f64::total_cmp);
    readings_v
}

/// The row of the pace table for a voltage.
fn row(rows: &[PaceRow; PACE_ROWS], storage_v: f64) -> usize {
    rows.iter()
        .position(|row| f64::from(row.from_mv) <= storage_v * 1e3)
        .unwrap_or(PACE_ROWS - 1)
}
