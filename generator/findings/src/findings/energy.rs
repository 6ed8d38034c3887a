//! What the full bank can do to whoever bridges its terminals.

use super::{Finding, Severity};
use crate::model::bank::{Bank, Wear};
use crate::node::Node;
use crate::text::Engineering;
use crate::units::*;

/// A capacitor that stores more than this, at [`HAZARDOUS_V`] or above, is a hazard where a piece of metal can bridge it (J).
/// Source: IEC 60950-1, clause 2.1.1.5, "hazardous energy level" (docs/references.md, 47).
const HAZARDOUS_J: f64 = 20.0;
/// The voltage from which that holds (V); same source.
const HAZARDOUS_V: f64 = 2.0;

/// A full bank, of new cells at nominal, that can burn.
pub(super) fn hazardous(node: &Node) -> Option<Finding> {
    let full = node.harvest.overvoltage;
    let stored = Bank::of(&node.storage, Wear::NONE).stored_at_rest(full);
    if full < volts(HAZARDOUS_V) || stored <= joules(HAZARDOUS_J) {
        return None;
    }
    Some(Finding {
        code: "stored-energy-burns",
        severity: Severity::Caution,
        text: format!(
            "the full bank stores {} at {}: enough to burn where a ring or a tool bridges its terminals",
            Engineering(stored, "J"),
            Engineering(full, "V"),
        ),
        cure: "discharge it through a resistor before you work on it, cover its terminals, fuse what leads away from it; the cell's \
               data sheet and local rules come first"
            .to_owned(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::node::example;

    /// By hand: two cells of 10 F in series are 5 F and hold 67.6 J at 5.2 V. The crack gauge's 1 F at 5.3 V hold 14 J and the display
    /// case less; 1.5 F hold 21 J, and at 1.9 V 100 F hold 180 J that no standard counts.
    #[test]
    fn a_bank_above_twenty_joules_is_cautioned_of() {
        let text = |node: &Node| hazardous(node).map(|finding| finding.text);
        let pump = example("pump-bearing");
        assert!(
            text(&pump).is_some_and(|text| text.contains("stores 67.6 J at 5.2 V")),
            "{:?}",
            text(&pump)
        );
        assert_eq!(text(&example("display-case")), None);
        let mut gauge = example("crack-gauge");
        assert_eq!(text(&gauge), None);
        gauge.storage[0].capacitance = farads(1.5);
        assert!(text(&gauge).is_some_and(|text| text.contains("21.07 J")));
        gauge.storage[0].capacitance = farads(100.0);
        gauge.harvest.overvoltage = volts(1.9);
        assert_eq!(text(&gauge), None);
    }
}
