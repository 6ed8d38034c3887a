//! Whether the reading can show what firmware decides on.

use super::{Finding, Severity};
use crate::node::{Node, Regulator, SenseKind};
use crate::rounding;
use crate::text::Engineering;
use crate::thresholds::{Threshold, Thresholds};
use crate::units::*;

/// No count reads as much as the threshold.
pub(super) fn too_low(thresholds: &Thresholds, called: &str, threshold: &Threshold) -> Option<Finding> {
    if thresholds.counts.decide(threshold.decide_mv).is_some() {
        return None;
    }
    let decide = Engineering(rounding::from_millivolts(threshold.decide_mv), "V");
    let highest = match thresholds.scale.kind {
        SenseKind::Divider => format!(
            "it is at full scale at {}",
            Engineering(thresholds.scale.full_scale, "V")
        ),
        SenseKind::Reference => format!(
            "firmware reads no more than {} there",
            Engineering(thresholds.scale.highest_reading(), "V")
        ),
    };
    Some(Finding {
        code: "reading-too-low",
        severity: Severity::Error,
        text: format!(
            "the analogue-to-digital converter can never read the {decide} that {called} asks for: {highest}"
        ),
        cure: match thresholds.scale.kind {
            SenseKind::Divider => {
                "a larger sense.divider_top, a smaller sense.divider_bottom, or a higher sense.reference"
            }
            SenseKind::Reference => {
                "a lower threshold, or a divider in place of a reading against the supply"
            }
        }
        .to_owned(),
    })
}

/// Some units read less than the threshold even from a full bank.
pub(super) fn may_stay_low(thresholds: &Thresholds, called: &str, threshold: &Threshold) -> Option<Finding> {
    let decide = rounding::from_millivolts(threshold.decide_mv);
    let lowest = thresholds.scale.lowest_reading(thresholds.overvoltage);
    if lowest >= decide {
        return None;
    }
    let (unit, tighter) = match thresholds.scale.kind {
        SenseKind::Divider => (
            "a unit whose reference and divider are at their low end",
            "parts with tighter sense.reference_tolerance and sense.divider_tolerance",
        ),
        SenseKind::Reference => (
            "a unit whose reference is at its high end",
            "a reference with a tighter sense.reference_tolerance",
        ),
    };
    Some(Finding {
        code: "reading-may-stay-low",
        severity: Severity::Caution,
        text: format!(
            "{unit} reads {} when the bank is full at {}: it never reaches the {} that {called} asks for",
            Engineering(lowest, "V"),
            Engineering(thresholds.overvoltage, "V"),
            Engineering(decide, "V"),
        ),
        cure: format!("calibrate each unit, or take {tighter}"),
    })
}

/// A divided reading against a reference that nothing holds while storage falls: both fall, and the count stays.
pub(super) fn freezes(node: &Node) -> Option<Finding> {
    if node.sense.kind == SenseKind::Reference {
        return None;
    }
    let reference = node.sense.reference;
    let floor = node.supply.regulator.floor();
    // A unit whose gate disconnects low still reads here.
    let disconnects = |gate: &crate::node::Gate| gate.disconnect_below * (fraction(1.0) - gate.tolerance);
    let lowest = node
        .supply
        .gate
        .as_ref()
        .map_or(floor, |gate| floor.max(disconnects(gate)));
    let shown = |voltage: Voltage| Engineering(voltage, "V");
    let (text, cure) = match &node.supply.regulator {
        Regulator::Direct { .. } if reference >= lowest => (
            format!(
                "storage is the only supply, so nothing holds the converter's reference of {} once storage is below it: both fall \
                 together, and the reading stands still while storage falls to {}",
                shown(reference),
                shown(lowest)
            ),
            format!(
                "a sense.reference below {}, held by a circuit that works from there; or the fixed reference read against the \
                 supply, with sense.kind = \"reference\"",
                shown(lowest)
            ),
        ),
        Regulator::Linear { rail, .. } | Regulator::Switching { rail, .. }
            if reference > *rail
                || (reference == *rail
                    && node
                        .supply
                        .gate
                        .as_ref()
                        .is_none_or(|gate| disconnects(gate) < floor)) =>
        {
            (
                format!(
                    "the converter's reference of {} is not below the rail of {} that it is made from: with storage below {} both \
                     fall, and the reading stands still while storage goes on falling",
                    shown(reference),
                    shown(*rail),
                    shown(floor)
                ),
                format!(
                    "a sense.reference well below the rail, from a circuit of its own{}",
                    if reference > *rail {
                        String::new()
                    } else {
                        format!(
                            "; or a gate ([supply.gate]) that disconnects every unit above {}",
                            shown(floor)
                        )
                    }
                ),
            )
        }
        _ => return None,
    };
    Some(Finding {
        code: "reading-freezes",
        severity: Severity::Caution,
        text,
        cure: format!(
            "{cure}. On the bench: lower storage slowly, and see that the reading falls with it to the end"
        ),
    })
}
