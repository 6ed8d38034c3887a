//! What is to be said about the best set of each use.

use crate::dividers::search::LEAST_CURRENT_SHARE;
use crate::dividers::{Dividers, Set, Trip, Use, sensing};
use crate::findings::{Finding, Severity};
use crate::node::{Capacitor, GateCircuit, Node};
use crate::text::{Engineering, at_least};
use crate::units::*;

/// A bias that takes more than this part of the way to the worst threshold is worth a word.
const LOUD_BIAS_SHARE: f64 = 0.5;
/// A section to start from, where there is none.
const BLOCK: &str = "[comparator]
reference = \"1.2 V\"
reference_tolerance = \"1 %\"
offset = \"2 mV\"
hysteresis = \"0 V\"
input_bias_current = \"1 nA\"
gate_circuit = \"feedback\"";

/// All findings on the sets for `node`: errors first.
pub(super) fn findings(node: &Node, dividers: &Dividers) -> Vec<Finding> {
    let mut findings: Vec<Finding> = Vec::new();
    findings.extend(missing(node));
    let mut uses = Vec::new();
    if !dividers.reads_supply {
        uses.push((Use::Sense, "the sensing divider"));
    }
    if node.comparator.is_some() {
        uses.push((Use::Overvoltage, "the overvoltage limit"));
        if node.supply.gate.is_some() {
            uses.push((Use::Gate, "the gate"));
        }
    }
    for (purpose, called) in uses {
        match dividers.sets_for(purpose).next() {
            None => findings.push(none(dividers, called)),
            Some(best) => {
                findings.extend(missed(node, dividers, called, best));
                findings.extend(biased(dividers, called, best));
                findings.extend(match purpose {
                    Use::Gate => outside(node, dividers, best),
                    Use::Overvoltage => above_rating(node, best),
                    Use::Sense => too_slow(node, dividers, best),
                });
            }
        }
    }
    findings.sort_by_key(|finding| finding.severity);
    findings
}

fn missing(node: &Node) -> Option<Finding> {
    if node.comparator.is_some() {
        return None;
    }
    let (severity, text) = match node.supply.gate {
        Some(_) => (
            Severity::Error,
            "the node file does not say what the gate and the overvoltage limit compare with: their resistors are not answered",
        ),
        None => (
            Severity::Caution,
            "the node file does not say what the overvoltage limit compares with: its resistors are not answered",
        ),
    };
    Some(Finding {
        code: "comparator-missing",
        severity,
        text: text.to_owned(),
        cure: format!("add this section with the figures of your comparator:\n\n{BLOCK}\n"),
    })
}

fn none(dividers: &Dividers, called: &str) -> Finding {
    Finding {
        code: "no-divider",
        severity: Severity::Error,
        text: format!(
            "no set of {} makes {called} with {} to {} at {}",
            dividers.series,
            Engineering(dividers.current_at_most * LEAST_CURRENT_SHARE, "A"),
            Engineering(dividers.current_at_most, "A"),
            Engineering(dividers.overvoltage, "V"),
        ),
        cure: "allow more current with --current-at-most; a reference must lie below the threshold, and two thresholds with a pair \
               of resistors are as far apart as `hysteresis` makes them"
            .to_owned(),
    }
}

fn missed(node: &Node, dividers: &Dividers, called: &str, best: &Set) -> Option<Finding> {
    if let Some(allowed) = exceeded(node, dividers, best) {
        return gate_missed(node, best, allowed);
    }
    let tolerance = match best.purpose {
        Use::Sense => return None,
        Use::Gate | Use::Overvoltage => dividers.tolerance.0,
    };
    (best.error > tolerance).then(|| Finding {
        code: "threshold-missed",
        severity: Severity::Caution,
        text: format!(
            "the best set of {} misses the thresholds of {called} by {}, more than its resistors' tolerance, {}",
            dividers.series,
            percent(best.error),
            percent(tolerance),
        ),
        cure: "take a finer --series".to_owned(),
    })
}

/// What a gate of nominal parts may be off by, where it is off by more: not even such a unit is where the thresholds have it.
fn exceeded(node: &Node, dividers: &Dividers, best: &Set) -> Option<Ratio> {
    let gate = node.supply.gate.as_ref().filter(|_| best.purpose == Use::Gate)?;
    let allowed = gate.tolerance.max(dividers.tolerance.0);
    (best.error > allowed).then_some(allowed)
}

fn gate_missed(node: &Node, best: &Set, allowed: Ratio) -> Option<Finding> {
    let (gate, comparator) = (node.supply.gate.as_ref()?, node.comparator.as_ref()?);
    let lower = best.lower.as_ref()?;
    let cure = match comparator.gate_circuit {
        // A pair multiplies both trip points alike: (t + h/2)/(t − h/2) = connect/disconnect.
        GateCircuit::Pair => {
            let (connect, disconnect) = (gate.connect_above, gate.disconnect_below);
            let hysteresis = comparator.reference * (2.0 * (connect - disconnect) / (connect + disconnect));
            format!(
                "take gate_circuit = \"feedback\" or \"two-taps\": a pair of resistors wants a comparator with a `hysteresis` of {}, this one \
                 has {}",
                Engineering(hysteresis, "V"),
                Engineering(comparator.hysteresis, "V"),
            )
        }
        GateCircuit::Feedback | GateCircuit::TwoTaps => {
            "take a finer --series, or allow more current with --current-at-most".to_owned()
        }
    };
    Some(Finding {
        code: "gate-missed",
        severity: Severity::Error,
        text: format!(
            "with nominal parts the best set connects at {} and disconnects at {}; the thresholds rest on {} and {} within {}",
            Engineering(best.upper.nominal, "V"),
            Engineering(lower.nominal, "V"),
            Engineering(best.upper.target, "V"),
            Engineering(lower.target, "V"),
            percent(allowed),
        ),
        cure,
    })
}

fn biased(dividers: &Dividers, called: &str, best: &Set) -> Option<Finding> {
    let worst = best.upper.highest - best.upper.nominal;
    (best.bias_shift > worst * LOUD_BIAS_SHARE).then(|| Finding {
        code: "bias-moves-threshold",
        severity: Severity::Caution,
        text: format!(
            "the current of the input alone moves {called} by {}, of {} in all",
            Engineering(best.bias_shift, "V"),
            Engineering(worst, "V"),
        ),
        cure: format!(
            "take an input with less bias, or let the resistors draw more than {} with --current-at-most",
            Engineering(dividers.current_at_most, "A")
        ),
    })
}

/// The gate's own promise, on which the floor of every threshold rests.
fn outside(node: &Node, dividers: &Dividers, best: &Set) -> Option<Finding> {
    // What is off with nominal parts is no tolerance to write down.
    if exceeded(node, dividers, best).is_some() {
        return None;
    }
    let gate = node.supply.gate.as_ref()?;
    let lower = best.lower.as_ref()?;
    let far = |trip: &Trip| {
        let above = trip.highest / trip.target - fraction(1.0);
        let below = fraction(1.0) - trip.lowest / trip.target;
        above.max(below)
    };
    let worst = far(&best.upper).max(far(lower));
    (worst > gate.tolerance).then(|| Finding {
        code: "gate-outside-tolerance",
        severity: Severity::Caution,
        text: format!(
            "with the best set a unit's gate may be off by {}; the floor of the thresholds rests on {}",
            percent_up(worst),
            percent(gate.tolerance),
        ),
        cure: format!(
            "write tolerance = \"{}\" in [supply.gate] and look at the thresholds again, or take closer resistors (--tolerance) \
             or a closer reference",
            percent_up(worst)
        ),
    })
}

/// Storage must not be charged above what it is made for, in any unit.
fn above_rating(node: &Node, best: &Set) -> Option<Finding> {
    let of_string = |part: &Capacitor| part.rated_voltage * f64::from(part.series);
    let rated = node.storage.iter().map(of_string).reduce(Voltage::min)?;
    let highest = best.upper.highest;
    (highest > rated).then(|| Finding {
        code: "limit-above-rating",
        severity: Severity::Error,
        text: format!(
            "with the best set charging may stop only at {} in a unit, above the rated voltage of storage, {}",
            Engineering(highest, "V"),
            Engineering(rated, "V"),
        ),
        cure: format!(
            "lower `overvoltage` to {:.2} V, or take closer resistors (--tolerance) or a closer reference",
            // In the same proportion; down to a hundredth.
            ((node.harvest.overvoltage * (rated / highest)).get::<volt>() * 100.0).floor() / 100.0
        ),
    })
}

fn too_slow(node: &Node, dividers: &Dividers, best: &Set) -> Option<Finding> {
    let (settling, sampled) = (best.settling?, node.sense.sampling_time?);
    let capacitor = node.sense.sampling_capacitor?;
    let source = sensing::settled_source(&node.sense)?;
    let enough = || {
        // The source falls as the current rises.
        let least = best.current * (settling / sampled);
        let values = dividers.series.resistors_ohm();
        sensing::settled_current(
            &node.sense,
            dividers.overvoltage,
            dividers.tolerance.1,
            &values,
            least,
        )
        .map_or_else(String::new, |current| {
            format!(" with --current-at-most of {}", Engineering(current, "A"))
        })
    };
    // Sharing its charge with the sampling capacitor then moves the input by no more than half a count.
    let times = f64::from(1_u32 << (node.sense.bits + 1));
    (settling > sampled).then(|| Finding {
        code: "sampling-too-short",
        severity: Severity::Caution,
        text: format!(
            "the sampling capacitor takes {} to settle to half a count, the input is connected for {}",
            Engineering(settling, "s"),
            Engineering(sampled, "s"),
        ),
        cure: format!(
            "sample longer; or bring the source down to {}{}; or put {} across the bottom \
             resistor, which then settles in {} after power-up",
            Engineering(source, "ohm"),
            enough(),
            at_least(capacitor * times, "F"),
            Engineering(settling * times, "s"),
        ),
    })
}

fn percent(part: Ratio) -> String {
    format!("{:.2} %", part.get::<ratio>() * 100.0)
}

/// In percent, rounded up to a hundredth.
fn percent_up(part: Ratio) -> String {
    format!("{:.2} %", (part.get::<ratio>() * 1e4).ceil() / 100.0)
}
