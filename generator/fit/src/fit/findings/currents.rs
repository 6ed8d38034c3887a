//! Findings on what is drawn and stored: sleeping current, energy of actions, capacitance, leakage.

use super::{Confidence, Finding};
use crate::fit::Evidence;
use crate::fit::joint::{CAPACITANCE, Parts, REPORT, SAMPLE, SLEEPING};
use crate::fit::points::{COLUMNS, LEAKAGE, SLEEP};
use crate::text::Engineering;
use crate::units::*;

/// Sleep is far above its description from this factor on.
const FAR: f64 = 1.5;
/// An action costs more from this factor on, beyond `margins.load`.
const MORE: f64 = 1.1;
/// Standard errors below a value that 95 of 100 truths are above.
const CLEAR_ERRORS: f64 = 1.645;
/// How probable a finding has to be.
const CLEAR: f64 = 0.9;
/// The same for one that nothing else explains: three standard errors on one side.
const CERTAIN: f64 = 0.998_65;
/// The sleeping current is open where its factor's logarithm is known no better than this.
const OPEN_DEVIATION: f64 = 0.2;
/// Times into which a log is parted to see leakage settle.
const PARTS: usize = 6;
/// Settling lets the fall lessen by this part of the last fall, at least.
const SETTLED_PART: f64 = 0.3;
/// No part of the settling is larger than this: light comes at once, settling does not.
const LARGEST_STEP: f64 = 0.65;

/// Sleeping current far above its description.
pub(super) fn sleep(evidence: &Evidence<'_>) -> Option<Finding> {
    if evidence.cut.dark_s <= 0.0 {
        return None;
    }
    let described = evidence.described;
    let described_a = described.sleep_a(described.working_v);
    let limit = FAR * (1.0 + described.load_margin);
    let time_s = first_dark_s(evidence);
    let parts = with_scale(evidence);
    let probability = parts.map_or(0.0, |parts| parts.above(&[SLEEPING], limit.ln()));
    if let Some(parts) = parts.filter(|_| probability > CLEAR) {
        let factor = parts.mean[SLEEPING].exp();
        return Some(Finding {
            code: "sleep-current-high",
            text: format!(
                "asleep the node draws {} at storage, {:.1} times the {} of its description: look for a peripheral left on, a \
                 pull-up, or an input that floats",
                Engineering(amperes(factor * described_a), "A"),
                factor,
                Engineering(amperes(described_a), "A"),
            ),
            confidence: confidence(probability > CERTAIN),
            time_s,
        });
    }
    // Without parts the least capacitance and the full leakage still bound the current from below.
    let leakage_a = described.leakage_a_at(described.working_v);
    let mut shares = [0.0; COLUMNS];
    shares[SLEEP] = described_a / (described_a + leakage_a);
    shares[LEAKAGE] = 1.0 - shares[SLEEP];
    let estimate = evidence.estimate?;
    let (is_fixed, error) = estimate.sum(&shares);
    let fall = shares[SLEEP] * estimate.beta[SLEEP] + shares[LEAKAGE] * estimate.beta[LEAKAGE]
        - CLEAR_ERRORS * error;
    let stated = evidence.known.capacitance(described).map(f64::exp);
    let whole_a = fall * (described_a + leakage_a) * stated.unwrap_or(described.end_of_life);
    let least = (whole_a - leakage_a) / described_a;
    let deviation = parts.map_or(f64::INFINITY, |parts| parts.deviation[SLEEPING]);
    let (text, confidence) = if stated.is_some() {
        let text = format!(
            "even with the full leakage of its description the node draws {least:.1} times its sleeping current: look for a \
             peripheral left on, a pull-up, or an input that floats"
        );
        (text, Confidence::Medium)
    } else {
        let text = format!(
            "asleep storage falls {fall:.1} times as fast as described: either the node draws {least:.1} times its sleeping current \
             at least, even with the least capacitance and the full leakage of its description, or the capacitance is down to \
             1/{fall:.1}, far below its end of life. Measure either, and state it with --sleep-current or --capacitance"
        );
        (text, Confidence::Low)
    };
    (is_fixed && deviation > OPEN_DEVIATION && least > limit).then_some(Finding {
        code: "sleep-current-high",
        text,
        confidence,
        time_s,
    })
}

/// Actions that cost more than described.
pub(super) fn actions(evidence: &Evidence<'_>) -> Vec<Finding> {
    let Some(parts) = with_scale(evidence) else {
        return Vec::new();
    };
    let described = evidence.described;
    let limit = MORE * (1.0 + described.load_margin);
    let finding = |what: String, probability: f64| {
        (probability > CLEAR).then(|| Finding {
            code: "action-costs-more",
            text: format!("{what}: retries, a longer time on air, or a load that is not in the description"),
            confidence: confidence(probability > CERTAIN),
            time_s: None,
        })
    };
    let one = |place: usize, described_j: f64, what: &str| {
        let factor = parts.mean[place].exp();
        let text = format!(
            "{what} takes {}, {:.0} % more than the {} of its budget",
            Engineering(joules(factor * described_j), "J"),
            (factor - 1.0) * 100.0,
            Engineering(joules(described_j), "J"),
        );
        finding(text, parts.above(&[place], limit.ln()))
    };
    let mut found: Vec<Finding> = [
        one(SAMPLE, described.measure.energy_j, "a sample"),
        one(REPORT, described.transmit.energy_j, "a report"),
    ]
    .into_iter()
    .flatten()
    .collect();
    if found.is_empty() {
        // Which of the two it is may be open, and that one of them does is not.
        let either = parts.above(&[SAMPLE, REPORT], limit.ln());
        let text =
            "a report with its samples takes more than its budget; which of them it is the log does not tell";
        found.extend(finding(text.to_owned(), either));
    }
    found
}

/// Capacitance below what is left at the end of life.
pub(super) fn capacitance(evidence: &Evidence<'_>) -> Option<Finding> {
    let parts = with_scale(evidence)?;
    let described = evidence.described;
    let described_f = described.capacitance_f(described.working_v);
    let limit = described.end_of_life;
    let probability = 1.0 - parts.above(&[CAPACITANCE], limit.ln());
    (probability > CLEAR).then(|| Finding {
        code: "capacitance-low",
        text: format!(
            "storage has {}, below the {} that the description leaves a part of low tolerance at the end of its life",
            Engineering(farads(parts.mean[CAPACITANCE].exp() * described_f), "F"),
            Engineering(farads(described_f * limit), "F"),
        ),
        confidence: confidence(probability > CERTAIN),
        time_s: None,
    })
}

/// The parts, where the log has a scale.
fn with_scale<'a>(evidence: &Evidence<'a>) -> Option<&'a Parts> {
    evidence.parts.filter(|_| evidence.has_scale())
}

/// Leakage that still falls: the fall in the dark lessens from part to part of the log.
pub(super) fn settling(evidence: &Evidence<'_>) -> Option<Finding> {
    let windows = &evidence.cut.windows;
    let (start, end) = (evidence.points.first()?.time_s, evidence.points.last()?.time_s);
    let part_s = (end - start) / PARTS as f64;
    // The usual fall of each part: where light comes and goes it is not steady, and nothing is found.
    let mut levels: Vec<(f64, f64)> = Vec::new();
    for part in 0..PARTS {
        let (from_s, until_s) = (start + part_s * part as f64, start + part_s * (part + 1) as f64);
        let mut own: Vec<(f64, f64)> = windows
            .iter()
            .filter(|window| {
                let middle_s =
                    (evidence.points[window.first].time_s + evidence.points[window.end - 1].time_s) / 2.0;
                middle_s >= from_s && middle_s < until_s
            })
            .map(|window| (window.fall, window.error))
            .collect();
        if own.is_empty() {
            continue;
        }
        own.sort_by(|a, b| a.0.total_cmp(&b.0));
        let count = own.len() as f64;
        let fall = own[own.len() / 2].0;
        // A median of n is known a quarter worse than their mean.
        let error = 1.25 * own.iter().map(|(_, error)| error * error).sum::<f64>().sqrt() / count;
        levels.push((fall, error));
    }
    if levels.len() < PARTS - 1 {
        return None;
    }
    let (first, last) = (levels[0], levels[levels.len() - 1]);
    let lessened = first.0 - last.0;
    let error = first.1.hypot(last.1);
    let steps: Vec<f64> = levels.windows(2).map(|pair| pair[0].0 - pair[1].0).collect();
    let is_steady = levels
        .windows(2)
        .all(|pair| pair[0].0 - pair[1].0 > -(2.0 * pair[0].1.hypot(pair[1].1)).max(0.05 * lessened));
    let largest = steps.iter().copied().fold(0.0, f64::max);
    let is_settling = last.0 > 0.0
        && lessened > 5.0 * error
        && lessened > SETTLED_PART * last.0
        && is_steady
        && largest < LARGEST_STEP * lessened;
    is_settling.then(|| Finding {
        code: "leakage-settling",
        text: format!(
            "in the dark storage falls {:.0} % slower at the end of the log than at its beginning, and steadily so: a fresh cell \
             still takes up charge. Keep it at its voltage for three days, then log again",
            lessened / first.0 * 100.0
        ),
        confidence: confidence(lessened > 10.0 * error),
        time_s: Some(start),
    })
}

fn first_dark_s(evidence: &Evidence<'_>) -> Option<f64> {
    let window = evidence.cut.windows.iter().find(|window| window.is_dark)?;
    Some(evidence.points[window.first].time_s)
}

fn confidence(is_certain: bool) -> Confidence {
    if is_certain {
        Confidence::High
    } else {
        Confidence::Medium
    }
}
