//! Findings on the readings: stuck, at full scale, held at the overvoltage limit, off by a factor or by a constant.
//!
//! Two voltages are known without any reading: where charging stops, and where the node is cut off. A reading that is off at both by
//! the same factor is scaled, one that is off by the same voltage has an offset.

use super::{Confidence, Finding};
use crate::fit::Evidence;
use crate::fit::readings::{Flat, Stretch};
use crate::simulate::timeline::Event;
use crate::text::Engineering;
use crate::units::*;

/// A level is known to so many counts and this part of itself, beside its tolerance.
const LEVEL_COUNTS: f64 = 3.0;
/// See [`LEVEL_COUNTS`].
const LEVEL_PART: f64 = 0.01;

/// All findings on the readings.
pub(super) fn of(evidence: &Evidence<'_>) -> Vec<Finding> {
    let mut found = Vec::new();
    let flats = &evidence.readings.flats;
    let time_s = |flat: &Stretch| Some(evidence.log.time_s[flat.first]);
    if let Some(flat) = longest(flats, Flat::Saturated, evidence) {
        found.push(Finding {
            code: "reading-saturated",
            text: format!(
                "the reading stands at full scale, {}, for {}: storage may be higher. Divide it further, or use a larger \
                 reference",
                Engineering(volts(flat.level_v), "V"),
                Engineering(seconds(span_s(flat, evidence)), "s"),
            ),
            confidence: Confidence::High,
            time_s: time_s(flat),
        });
    }
    if let Some(flat) = longest(flats, Flat::Stuck, evidence) {
        found.push(Finding {
            code: "reading-stuck",
            text: format!(
                "the reading stays at {} for {} while the node draws: nothing moves it. Look at the converter's channel and at \
                 the code that reads it",
                Engineering(volts(flat.level_v), "V"),
                Engineering(seconds(span_s(flat, evidence)), "s"),
            ),
            confidence: Confidence::High,
            time_s: time_s(flat),
        });
    }
    let off = off(evidence);
    found.extend(off.clone());
    if let Some(held_v) = evidence.readings.held_v() {
        let limit_v = evidence.described.overvoltage_v;
        let is_near = (held_v - limit_v).abs() < allowed_v(evidence, limit_v, 0.0);
        if is_near || off.is_some() {
            let whole_s: f64 = flats
                .iter()
                .filter(|flat| flat.kind == Flat::Held)
                .map(|flat| span_s(flat, evidence))
                .sum();
            found.push(Finding {
                code: "overvoltage-plateau",
                text: format!(
                    "charging was stopped at {} for {} of the log: income is turned away. A larger bank, or more reports, \
                     would use it",
                    Engineering(volts(held_v), "V"),
                    Engineering(seconds(whole_s), "s"),
                ),
                confidence: Confidence::High,
                time_s: longest(flats, Flat::Held, evidence).and_then(time_s),
            });
        }
    }
    found
}

fn span_s(flat: &Stretch, evidence: &Evidence<'_>) -> f64 {
    evidence.log.time_s[flat.last] - evidence.log.time_s[flat.first]
}

fn longest<'a>(flats: &'a [Stretch], kind: Flat, evidence: &Evidence<'_>) -> Option<&'a Stretch> {
    flats
        .iter()
        .filter(|flat| flat.kind == kind)
        .max_by(|a, b| span_s(a, evidence).total_cmp(&span_s(b, evidence)))
}

/// How far a reading of a known level may be off.
fn allowed_v(evidence: &Evidence<'_>, level_v: f64, tolerance: f64) -> f64 {
    let described = evidence.described;
    let parts = described.sense_tolerance + tolerance + LEVEL_PART;
    parts * level_v + LEVEL_COUNTS * described.count_v
}

/// A reading that is off by a factor, or by a constant.
fn off(evidence: &Evidence<'_>) -> Option<Finding> {
    let described = evidence.described;
    let high_v = described.overvoltage_v;
    let held_v = evidence.readings.held_v();
    let low = cut_level(evidence);
    if let Some((read_v, true_v, tolerance)) = low
        && let Some(top_v) = held_v
    {
        let high_off = (top_v - high_v).abs() > allowed_v(evidence, high_v, 0.0);
        let low_off = (read_v - true_v).abs() > allowed_v(evidence, true_v, tolerance);
        if !high_off && !low_off {
            return None;
        }
        let (scale, offset_v) = (top_v / high_v, top_v - high_v);
        let as_scale_v = (read_v - scale * true_v).abs();
        let as_offset_v = (read_v - true_v - offset_v).abs();
        let both = format!(
            "the level at which charging stops reads {} instead of {}, the one at which the node is cut off {} instead of {}",
            Engineering(volts(top_v), "V"),
            Engineering(volts(high_v), "V"),
            Engineering(volts(read_v), "V"),
            Engineering(volts(true_v), "V")
        );
        return if as_scale_v <= as_offset_v {
            let text = format!(
                "the reading is {scale:.3} times the truth: {both}. Look at the divider's ratio and the reference"
            );
            Some(Finding {
                code: "reading-scaled",
                text,
                confidence: Confidence::High,
                time_s: None,
            })
        } else {
            let text = format!(
                "the reading is off by {}: {both}. Look at the ground of the divider and the converter's offset",
                Engineering(volts(offset_v), "V")
            );
            Some(Finding {
                code: "reading-offset",
                text,
                confidence: Confidence::High,
                time_s: None,
            })
        };
    }
    // Nothing can charge storage beyond the limit but the lift of the charging current.
    let lift_v = described.maximum_a * described.resistance_ohm;
    let top_v = held_v.unwrap_or(evidence.readings.top_v);
    let above = top_v - lift_v - high_v > allowed_v(evidence, high_v, 0.0) + 2.0 * evidence.readings.noise_v;
    let below = held_v.is_some_and(|held_v| high_v - held_v > allowed_v(evidence, high_v, 0.0));
    if above || below {
        let text = format!(
            "readings reach {}, and charging stops at {}: the reading is off by a factor, or by a constant. A second known \
             voltage tells which",
            Engineering(volts(top_v), "V"),
            Engineering(volts(high_v), "V")
        );
        return Some(Finding {
            code: "reading-scaled",
            text,
            confidence: Confidence::Medium,
            time_s: None,
        });
    }
    None
}

/// The reading at which the node was cut off, the voltage at which that is, and its tolerance.
fn cut_level(evidence: &Evidence<'_>) -> Option<(f64, f64, f64)> {
    let log = evidence.log;
    let mut levels_v: Vec<f64> = Vec::new();
    for reset_s in &evidence.actions.resets_s {
        let row = log.time_s.partition_point(|time_s| time_s < reset_s);
        // The node that is off counts no more: the last row with a count, or the event itself, is where it was cut off.
        let alive = (0..row.min(log.len()))
            .rev()
            .find(|before| log.count(*before).is_some() || log.event(*before).is_some());
        let cut = if log.event(row) == Some(Event::Cut) {
            Some(row)
        } else {
            alive
        };
        let last = cut.and_then(|cut| {
            (cut.saturating_sub(3)..=cut)
                .rev()
                .find_map(|near| log.storage_v(near))
        });
        levels_v.extend(last);
    }
    if levels_v.len() < 2 {
        return None;
    }
    levels_v.sort_by(f64::total_cmp);
    let middle_v = levels_v[levels_v.len() / 2];
    let described = evidence.described;
    let near_v = LEVEL_COUNTS * described.count_v + 3.0 * evidence.readings.noise_v + 0.02 * middle_v;
    let near = levels_v
        .iter()
        .filter(|level_v| (**level_v - middle_v).abs() <= near_v)
        .count();
    if near * 3 < levels_v.len() * 2 {
        return None;
    }
    Some(match described.gate {
        Some((_, disconnect_v, tolerance)) if disconnect_v >= described.floor_v => {
            (middle_v, disconnect_v, tolerance)
        }
        _ => (middle_v, described.floor_v, 0.0),
    })
}
