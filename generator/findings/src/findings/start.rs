//! Whether a node without a gate ever gets past its start.
//!
//! Its reset is released at `supply.starts_at`, and again a moment after each loss of supply. Where the worst bank at that voltage, less
//! the lift of charging, does not carry the start-up, it starts and falls and starts again for as long as there is light.

use super::cure::{self, LARGEST_FACTOR, instead, round_down, smallest};
use super::{Cures, Finding, Severity, carries_a_start, first_stretches};
use crate::node::{Extent, Gate, Node};
use crate::rounding;
use crate::text::{Engineering, at_least, at_most};
use crate::thresholds::{Cause, Threshold, Thresholds, highest_start, unreachable};
use crate::units::*;

/// The code of a node without a gate that restarts for ever: a run can show it, so that `simulate` does not refuse such a node.
pub const RESTARTS_FOREVER: &str = "restarts-forever";

/// Tolerance of a gate that is offered as a cure, as its text says: a comparator with resistors of one per cent (common practice, no source).
const GATE_TOLERANCE: f64 = 0.02;
/// The voltages of such a gate are shown in steps of this many millivolts.
const GATE_STEP_MV: u32 = 10;

/// Reset released below what the worst start-up needs, or above what the storage can reach.
pub(super) fn without_gate(node: &Node, thresholds: &Thresholds, cures: Cures) -> Option<Finding> {
    if node.supply.gate.is_some() {
        return None;
    }
    let starts_at = node.supply.connects_at();
    let overvoltage = thresholds.overvoltage;
    if starts_at > overvoltage {
        return Some(Finding {
            code: "never-starts",
            severity: Severity::Error,
            text: format!(
                "reset is released at {} and charging stops at {}: the node never starts",
                Engineering(starts_at, "V"),
                Engineering(overvoltage, "V")
            ),
            cure: format!("supply.starts_at of at most {}", at_most(overvoltage, "V")),
        });
    }
    let needed = needed(&thresholds.boot);
    if needed <= starts_at {
        return None;
    }
    let is_beyond = thresholds.boot.start >= unreachable();
    Some(Finding {
        code: RESTARTS_FOREVER,
        severity: Severity::Error,
        text: format!(
            "without a gate the node would restart for ever: reset is released at {}, a start-up needs {}{} in the worst case, and the \
             supply is lost at {}",
            Engineering(starts_at, "V"),
            if is_beyond { "more than " } else { "" },
            Engineering(if is_beyond { unreachable() } else { needed }, "V"),
            Engineering(thresholds.floor, "V")
        ),
        cure: match cures {
            Cures::Sought => sought(node, needed),
            Cures::LeftOut => String::new(),
            Cures::Afterwards => "cure what is said above first: it moves this voltage, too".to_owned(),
        },
    })
}

/// Terminal voltage, the storage charging, from which the start-up just succeeds in the worst corner.
fn needed(boot: &Threshold) -> Voltage {
    let lift: Voltage = boot
        .terms
        .iter()
        .filter(|term| term.cause == Cause::ChargingLift)
        .map(|term| term.voltage)
        .sum();
    boot.start + lift
}

/// The smallest changes that cure, each alone.
fn sought(node: &Node, needed: Voltage) -> String {
    let starts_at = node.supply.connects_at();
    let fits = |node: &Node| self::needed(&Threshold::of(node, &node.boot)) <= starts_at;
    let higher = (needed <= node.harvest.overvoltage).then(|| {
        format!(
            "supply.starts_at of at least {} instead of {}",
            at_least(needed, "V"),
            Engineering(starts_at, "V")
        )
    });
    let gate = gate(node).map(|gate| {
        format!(
            "a gate ([supply.gate], tolerance 2 %) with connect_above of at least {} and disconnect_below of {}",
            Engineering(gate.connect_above, "V"),
            Engineering(gate.disconnect_below, "V")
        )
    });
    let shorter = shorter(node, fits).map(|change| instead("start-up", change, "s"));
    let bank = cure::of(node, fits);
    let alone = higher.into_iter().chain(gate).chain(shorter);
    let cures: Vec<String> = alone.chain(bank.changes()).collect();
    match cures.as_slice() {
        [] => "nothing alone would do: lower the current of the start-up, or raise what is above the floor"
            .to_owned(),
        cures => format!("{} would do", cures.join(", or ")),
    }
}

/// A gate that keeps the supply's floor and connects where the worst bank carries a start-up and a measurement; `None` where every action
/// no longer fits above it.
fn gate(node: &Node) -> Option<Gate> {
    let tolerance = fraction(GATE_TOLERANCE);
    let (low, high) = (fraction(1.0) - tolerance, fraction(1.0) + tolerance);
    let mut gated = node.clone();
    let mut gate = Gate {
        connect_above: node.harvest.overvoltage / high,
        disconnect_below: in_steps(node.supply.regulator.floor() / low),
        tolerance,
    };
    gated.supply.gate = Some(gate.clone());
    gated.supply.starts_at = None;
    let thresholds = Thresholds::of(&gated);
    let stretches = first_stretches(&thresholds);
    let needed = highest_start(&gated, thresholds.floor, &stretches).start + thresholds.charging_lift;
    // Apart from the other threshold at the ends of both tolerances.
    let apart = gate.disconnect_below * high / low;
    gate.connect_above = in_steps((needed / low).max(apart)) + rounding::from_millivolts(GATE_STEP_MV);
    let highest_mv = thresholds.highest_decide_mv();
    let fits = gate.connect_above * high <= thresholds.overvoltage
        && rounding::from_millivolts(highest_mv) <= thresholds.overvoltage;
    (fits && carries_a_start(&gate, &thresholds)).then_some(gate)
}

fn in_steps(voltage: Voltage) -> Voltage {
    rounding::from_millivolts(rounding::millivolts_up(voltage).div_ceil(GATE_STEP_MV) * GATE_STEP_MV)
}

/// Present and longest sufficient duration of the start-up, all its phases shortened alike.
fn shorter(node: &Node, fits: impl Fn(&Node) -> bool) -> Option<(Time, Time)> {
    let fixed = |extent: &Extent| match extent {
        Extent::Fixed(duration) => *duration,
        Extent::Airtime => seconds(0.0),
    };
    let now: Time = node.boot.phases.iter().map(|phase| fixed(&phase.extent)).sum();
    let cured = smallest(LARGEST_FACTOR, |factor| {
        let cured = seconds(round_down(now.get::<second>() / factor));
        let mut changed = node.clone();
        for phase in &mut changed.boot.phases {
            phase.extent = Extent::Fixed(fixed(&phase.extent) * (cured / now));
        }
        fits(&changed).then_some(cured)
    })?;
    Some((now, cured))
}

#[cfg(test)]
mod tests;
