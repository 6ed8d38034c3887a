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
/// A step shows at a flat top where it is so many times what readings of one level spread to each side: of the even rise behind it no
/// more than half is then near any level.
const CLEAR_STEP: f64 = 4.0;
/// More readings than this part are near a top that no action moves; see [`CLEAR_STEP`].
const UNMOVED_PART: f64 = 0.75;
/// Each action has so many readings at least: one reading for each, always at the same moment, shows no step.
const READINGS_BETWEEN: usize = 4;
/// Fewer actions than this may fall where the log has no reading.
const LEAST_ACTIONS: usize = 5;

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
    found.extend(plateau(evidence, off.as_ref()));
    found.extend(off);
    found
}

/// The level at which charging is stopped. One that is not near the limit is no such level by itself, since storage also settles where
/// the income equals what the node draws: the reading has to be known as off.
fn plateau(evidence: &Evidence<'_>, off: Option<&Finding>) -> Option<Finding> {
    let (readings, limit_v) = (evidence.readings, evidence.described.overvoltage_v);
    let top_v = readings.flat_top_v()?;
    let confidence = if (top_v - limit_v).abs() < allowed_v(evidence, limit_v, 0.0) {
        Confidence::High
    } else {
        off?.confidence
    };
    let whole_s: f64 = flat_tops(evidence).map(|flat| span_s(flat, evidence)).sum();
    (confidence != Confidence::Low).then(|| Finding {
        code: "overvoltage-plateau",
        text: format!(
            "charging was stopped at {} for {} of the log: income is turned away. A larger bank, or more reports, would use it",
            Engineering(volts(top_v), "V"),
            Engineering(seconds(whole_s), "s"),
        ),
        confidence,
        time_s: longest(&readings.flats, Flat::Top, evidence).map(|flat| evidence.log.time_s[flat.first]),
    })
}

fn flat_tops<'a>(evidence: &Evidence<'a>) -> impl Iterator<Item = &'a Stretch> {
    let flats = evidence.readings.flats.iter();
    flats.filter(|flat| flat.kind == Flat::Top)
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
    let limit_v = evidence.described.overvoltage_v;
    let flat_top_v = evidence.readings.flat_top_v();
    let low = cut_level(evidence);
    if let Some(top_v) = flat_top_v
        && let Some(low) = low
        && let Some(found) = off_at_both(evidence, top_v, low)
    {
        return Some(found);
    }
    // Nothing can charge storage beyond the limit but the lift of the charging current.
    let lift_v = evidence.described.maximum_a * evidence.described.resistance_ohm;
    let top_v = flat_top_v.unwrap_or(evidence.readings.top_v);
    let allowed_v = allowed_v(evidence, limit_v, 0.0);
    let levels = (Engineering(volts(top_v), "V"), Engineering(volts(limit_v), "V"));
    let (text, confidence) = if top_v - lift_v - limit_v > allowed_v + 2.0 * evidence.readings.noise_v {
        let text = format!(
            "readings reach {}, and charging stops at {}: the reading is off by a factor, or by a constant. A second known \
             voltage tells which",
            levels.0, levels.1
        );
        (text, Confidence::Medium)
    } else if low.is_none() && limit_v - top_v > allowed_v && is_unmoved(evidence) {
        let text = format!(
            "reports do not move the reading from {}, and charging stops at {}: income equals what the node draws at this pace, \
             the source gives no more at this voltage, or the reading is off by a factor or by a constant. A second known voltage \
             tells which",
            levels.0, levels.1
        );
        (text, Confidence::Low)
    } else {
        return None;
    };
    Some(Finding {
        code: "reading-scaled",
        text,
        confidence,
        time_s: None,
    })
}

/// A reading that is off at the limit and where the node is cut off: what it reads there, the true voltage, and its tolerance.
fn off_at_both(evidence: &Evidence<'_>, top_v: f64, low: (f64, f64, f64)) -> Option<Finding> {
    let high_v = evidence.described.overvoltage_v;
    let (read_v, true_v, tolerance) = low;
    let low_allowed_v = allowed_v(evidence, true_v, tolerance);
    let high_off = (top_v - high_v).abs() > allowed_v(evidence, high_v, 0.0);
    let low_off = (read_v - true_v).abs() > low_allowed_v;
    // A level below the limit is where the income equals the drain, if the reading is right at the cut.
    if !low_off && (!high_off || top_v < high_v) {
        return None;
    }
    let (scale, offset_v) = (top_v / high_v, top_v - high_v);
    let as_scale_v = (read_v - scale * true_v).abs();
    let as_offset_v = (read_v - true_v - offset_v).abs();
    // Two levels that nothing brings together are not the two that are known.
    if as_scale_v.min(as_offset_v) > low_allowed_v {
        return None;
    }
    let both = format!(
        "the level at which charging stops reads {} instead of {}, the one at which the node is cut off {} instead of {}",
        Engineering(volts(top_v), "V"),
        Engineering(volts(high_v), "V"),
        Engineering(volts(read_v), "V"),
        Engineering(volts(true_v), "V")
    );
    Some(if as_scale_v <= as_offset_v {
        Finding {
            code: "reading-scaled",
            text: format!(
                "the reading is {scale:.3} times the truth: {both}. Look at the divider's ratio and the reference"
            ),
            confidence: Confidence::High,
            time_s: None,
        }
    } else {
        Finding {
            code: "reading-offset",
            text: format!(
                "the reading is off by {}: {both}. Look at the ground of the divider and the converter's offset",
                Engineering(volts(offset_v), "V")
            ),
            confidence: Confidence::High,
            time_s: None,
        }
    })
}

/// Whether actions that should move a flat top do not: income that equals the drain leaves the step of each and the slow rise behind
/// it, a source that is stopped makes up for it at once.
fn is_unmoved(evidence: &Evidence<'_>) -> bool {
    let (log, described, readings) = (evidence.log, evidence.described, evidence.readings);
    let near_v = LEVEL_COUNTS * described.count_v + 2.0 * readings.noise_v;
    let (mut near, mut all, mut actions) = (0, 0, 0);
    for flat in flat_tops(evidence) {
        let charge_c = described
            .transmit
            .charge_c(flat.level_v)
            .max(described.measure.charge_c(flat.level_v));
        let least_step_v = charge_c / (described.capacitance_f(flat.level_v) * described.most_capacitance);
        if least_step_v < CLEAR_STEP * near_v {
            return false;
        }
        let own_v = (flat.first..=flat.last).filter_map(|row| log.storage_v(row));
        for reading_v in own_v {
            all += 1;
            near += usize::from((reading_v - flat.level_v).abs() < near_v);
        }
        let (from_s, until_s) = (log.time_s[flat.first], log.time_s[flat.last]);
        let list = evidence.actions.list.iter();
        actions += list
            .filter(|action| action.until_s > from_s && action.until_s < until_s)
            .count();
    }
    actions >= LEAST_ACTIONS && all >= READINGS_BETWEEN * actions && near as f64 > UNMOVED_PART * all as f64
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
