//! What the thresholds say about the node, in words: what can never work, what to take care of.

mod cure;
mod energy;
mod missing;
mod pace;
pub mod printout;
mod reading;
mod restart_loop;
mod start;

pub use restart_loop::restart_loop;
pub use start::RESTARTS_FOREVER;

use crate::budget::Budget;
use crate::model::bank::{Bank, Wear};
use crate::model::discharge::{Stretch, discharge};
use crate::node::{ActionKind, Gate, Node};
use crate::rounding;
use crate::text::{Engineering, at_least, at_most};
use crate::thresholds::{Group, Threshold, Thresholds, highest_start, unreachable};
use crate::units::*;

/// How much a finding matters.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Severity {
    /// The node cannot work: no constants are written.
    Error,
    /// The node works as stated; something asks for care.
    Caution,
}

/// One thing worth knowing about a node.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finding {
    /// Stable short name.
    pub code: &'static str,
    /// How much it matters.
    pub severity: Severity,
    /// What is so, with numbers.
    pub text: String,
    /// What would change it.
    pub cure: String,
}

/// All findings on `node`: errors first, then cautions; what the node file leaves out comes last, the costliest first.
pub fn of(node: &Node, budget: &Budget, thresholds: &Thresholds) -> Vec<Finding> {
    listed(node, budget, thresholds, Cures::Sought)
}

/// The same without the cures that have to be found by trying, for those who look at many nodes.
pub fn without_cures(node: &Node, budget: &Budget, thresholds: &Thresholds) -> Vec<Finding> {
    listed(node, budget, thresholds, Cures::LeftOut)
}

/// What keeps the node from ever getting past its start, if anything: an error of the gate, or of the voltage at which reset is released.
pub fn starting(node: &Node, thresholds: &Thresholds) -> Option<Finding> {
    [
        gate(node, thresholds, Cures::Sought),
        start::without_gate(node, thresholds, Cures::Sought),
    ]
    .into_iter()
    .flatten()
    .find(|finding| finding.severity == Severity::Error)
}

/// Whether the smallest changes that cure are looked for.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Cures {
    Sought,
    LeftOut,
    /// Not yet: another error has to be cured first, and its cure moves this one.
    Afterwards,
}

fn listed(node: &Node, budget: &Budget, thresholds: &Thresholds, cures: Cures) -> Vec<Finding> {
    let mut findings = Vec::new();
    for (kind, threshold) in thresholds.decided() {
        findings.extend(never_reached(node, thresholds, kind, threshold, cures));
    }
    findings.extend(hysteresis(node, thresholds, cures));
    findings.extend(gate(node, thresholds, cures));
    let is_hopeless = findings.iter().any(|finding| finding.severity == Severity::Error);
    findings.extend(start::without_gate(
        node,
        thresholds,
        if is_hopeless { Cures::Afterwards } else { cures },
    ));
    findings.extend(stored_energy(node, thresholds));
    findings.extend(reading::freezes(node));
    findings.extend(pace::radio(node, thresholds));
    findings.extend(pace::airtime(node, thresholds));
    findings.extend(pace::income(node, budget));
    findings.extend(pace::dark_horizon(node, thresholds));
    findings.extend(energy::hazardous(node));
    findings.extend(series_cells(node));
    findings.sort_by_key(|finding| finding.severity);
    // Of a node that cannot work, that comes first.
    if findings
        .iter()
        .all(|finding| finding.severity == Severity::Caution)
    {
        findings.extend(missing::data(node, thresholds));
    }
    findings
}

/// An action whose threshold the storage voltage, or its reading, can never reach.
fn never_reached(
    node: &Node,
    thresholds: &Thresholds,
    kind: ActionKind,
    threshold: &Threshold,
    cures: Cures,
) -> Option<Finding> {
    let called = kind.noun();
    let decide = rounding::from_millivolts(threshold.decide_mv);
    let overvoltage = thresholds.overvoltage;
    if decide > overvoltage {
        let there_is = overvoltage - thresholds.floor;
        let (group, takes) = Group::ALL
            .map(|group| (group, threshold.share(group)))
            .into_iter()
            .reduce(|most, next| if next.1 > most.1 { next } else { most })?;
        let is_beyond = threshold.start_with_reserve >= unreachable();
        return Some(Finding {
            code: "bank-too-small",
            severity: Severity::Error,
            text: format!(
                "this bank can never carry {}: firmware would have to read {}{decide}, charging stops at {overvoltage}; \
                 {} takes {}{} the {} there is between floor and overvoltage",
                called,
                if is_beyond { "more than " } else { "" },
                group.name(),
                Engineering(takes, "V"),
                if takes > there_is { ", more than" } else { " of" },
                Engineering(there_is, "V"),
                decide = Engineering(if is_beyond { unreachable() } else { decide }, "V"),
                overvoltage = Engineering(overvoltage, "V"),
            ),
            cure: sought(cures, node, |node| {
                rounding::from_millivolts(Threshold::of(node, node.action(kind)).decide_mv)
                    <= node.harvest.overvoltage
            }),
        });
    }
    reading::too_low(thresholds, called, threshold)
        .or_else(|| reading::may_stay_low(thresholds, called, threshold))
}

/// The smallest changes that cure, in words; nothing where they are left out.
fn sought(cures: Cures, node: &Node, fits: impl Fn(&Node) -> bool) -> String {
    match cures {
        Cures::Sought => cure::of(node, fits).to_string(),
        Cures::LeftOut | Cures::Afterwards => String::new(),
    }
}

/// A refusal that is never taken back: the action would resume above what the storage can reach.
fn hysteresis(node: &Node, thresholds: &Thresholds, cures: Cures) -> Option<Finding> {
    let room_mv = |thresholds: &Thresholds| {
        rounding::millivolts_down(thresholds.overvoltage).checked_sub(thresholds.highest_decide_mv())
    };
    let resumes_in_time = |thresholds: &Thresholds| {
        room_mv(thresholds).is_none_or(|room_mv| thresholds.hysteresis_mv <= room_mv)
    };
    if resumes_in_time(thresholds) {
        return None;
    }
    let resumes = rounding::from_millivolts(thresholds.highest_decide_mv() + thresholds.hysteresis_mv);
    // Rounded up to whole millivolts when it is read.
    let room = rounding::from_millivolts(room_mv(thresholds).unwrap_or_default());
    Some(Finding {
        code: "hysteresis-too-wide",
        severity: Severity::Error,
        text: format!(
            "after a refusal the action would resume at {}, above the {} at which charging stops",
            Engineering(resumes, "V"),
            Engineering(thresholds.overvoltage, "V")
        ),
        cure: match node.policy.hysteresis {
            Some(wanted) if room > volts(0.0) => format!(
                "policy.hysteresis of at most {} instead of {}",
                at_most(room, "V"),
                Engineering(wanted, "V")
            ),
            _ => {
                let fits = |node: &Node| {
                    let thresholds = Thresholds::of(node);
                    room_mv(&thresholds).is_some() && resumes_in_time(&thresholds)
                };
                format!("the threshold must be lower: {}", sought(cures, node, fits))
            }
        },
    })
}

/// A gate that lets the node restart for ever, or never connects it.
fn gate(node: &Node, thresholds: &Thresholds, cures: Cures) -> Option<Finding> {
    let Some(gate) = &node.supply.gate else {
        return Some(Finding {
            code: "no-gate",
            severity: Severity::Caution,
            text: "nothing disconnects the node while the storage is low: below the floor its current is not known, and a \
                   slow rise can keep it from starting cleanly"
                .to_owned(),
            cure: "a comparator with hysteresis ([supply.gate]), or a measurement that the node starts from a slow ramp"
                .to_owned(),
        });
    };
    let one = fraction(1.0);
    let (highest, lowest) = (
        gate.connect_above * (one + gate.tolerance),
        gate.connect_above * (one - gate.tolerance),
    );
    if highest > thresholds.overvoltage {
        return Some(Finding {
            code: "gate-never-connects",
            severity: Severity::Error,
            text: format!(
                "the gate may connect as high as {} and charging stops at {}: such a unit never starts",
                Engineering(highest, "V"),
                Engineering(thresholds.overvoltage, "V")
            ),
            cure: format!(
                "supply.gate.connect_above of at most {}",
                at_most(thresholds.overvoltage / (one + gate.tolerance), "V")
            ),
        });
    }
    if carries_a_start(gate, thresholds) {
        return None;
    }
    let stretches = first_stretches(thresholds);
    let needed = highest_start(node, thresholds.floor, &stretches).start;
    let connect = (needed + thresholds.charging_lift) / (one - gate.tolerance);
    let fits = connect * (one + gate.tolerance) <= thresholds.overvoltage;
    Some(Finding {
        code: "gate-restarts-forever",
        severity: Severity::Error,
        text: format!(
            "the node would restart for ever: it may be connected at {}, a start-up and one measurement need {} in the \
             worst case, and it is disconnected at {}",
            Engineering(lowest, "V"),
            Engineering(needed + thresholds.charging_lift, "V"),
            Engineering(thresholds.floor, "V")
        ),
        cure: if fits {
            format!("supply.gate.connect_above of at least {}", at_least(connect, "V"))
        } else {
            let carried = |node: &Node| carries_a_start(gate, &Thresholds::of(node));
            format!(
                "no connect voltage below overvoltage would do; {}",
                sought(cures, node, carried)
            )
        },
    })
}

/// What the node does as soon as it is connected: a start-up and one measurement.
fn first_stretches(thresholds: &Thresholds) -> Vec<Stretch> {
    [&thresholds.boot, &thresholds.measure]
        .iter()
        .flat_map(|threshold| threshold.load.stretches.clone())
        .collect()
}

/// Whether the worst bank, connected at the gate's low end while it charges, carries a start-up and one measurement.
fn carries_a_start(gate: &Gate, thresholds: &Thresholds) -> bool {
    let connected = gate.connect_above * (fraction(1.0) - gate.tolerance) - thresholds.charging_lift;
    let rest = vec![connected.get::<volt>(); thresholds.corner.branches.len()];
    discharge(&thresholds.corner, &rest, &first_stretches(thresholds))
        .is_some_and(|end| end.lowest >= thresholds.floor)
}

/// More energy than the firmware's 32-bit microjoules hold.
fn stored_energy(node: &Node, thresholds: &Thresholds) -> Option<Finding> {
    let largest = joules(f64::from(u32::MAX) / 1e6);
    let full = Bank::of_node(node, Wear::NONE).stored_at_rest(thresholds.overvoltage);
    (full > largest).then(|| Finding {
        code: "energy-out-of-range",
        severity: Severity::Error,
        text: format!(
            "the full bank stores {}, more than the {} that firmware can count in 32 bits of microjoules",
            Engineering(full, "J"),
            Engineering(largest, "J")
        ),
        cure: "a smaller bank, or a lower harvest.overvoltage".to_owned(),
    })
}

/// Cells in series with nothing that keeps their voltages equal.
fn series_cells(node: &Node) -> Option<Finding> {
    let part = node
        .storage
        .iter()
        .find(|part| part.series > 1 && part.balance_resistor.is_none())?;
    Some(Finding {
        code: "series-without-balancing",
        severity: Severity::Caution,
        text: format!(
            "{} cells stand in series without balancing: unequal leakage and capacitance drive one of them above its rated {}",
            part.series,
            Engineering(part.rated_voltage, "V")
        ),
        cure:
            "balance_resistor across each cell, as the cell's data sheet asks; an over-charged cell can vent"
                .to_owned(),
    })
}

#[cfg(test)]
mod tests;
