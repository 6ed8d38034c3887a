//! Sets of resistors, with where their thresholds lie.

use serde::Serialize;

use crate::dividers::{Dividers, Set, Trip, Use};
use crate::node::GateCircuit;
use crate::printout::findings;
use crate::printout::table::table;
use crate::text::Engineering;
use crate::units::*;

/// The sets as JSON has them: SI units, named in the key.
#[derive(Serialize)]
pub struct View {
    node: String,
    series: String,
    tolerance: f64,
    sense_tolerance: f64,
    current_at_most_a: f64,
    overvoltage_v: f64,
    /// Whether the converter reads a reference against its supply, and needs no divider.
    reads_supply: bool,
    sets: Vec<SetView>,
    findings: Vec<findings::View>,
}

#[derive(Serialize)]
struct SetView {
    #[serde(rename = "use")]
    purpose: &'static str,
    places: &'static [&'static str],
    resistors_ohm: Vec<f64>,
    target_v: f64,
    nominal_v: f64,
    lowest_v: f64,
    highest_v: f64,
    lower: Option<TripView>,
    error: f64,
    current_a: f64,
    bias_shift_v: f64,
    settling_s: Option<f64>,
}

#[derive(Serialize)]
struct TripView {
    target_v: Option<f64>,
    nominal_v: f64,
    lowest_v: f64,
    highest_v: f64,
}

impl View {
    /// The view of the sets for the node called `name`.
    pub fn of(name: &str, dividers: &Dividers) -> Self {
        Self {
            node: name.to_owned(),
            series: dividers.series.to_string(),
            tolerance: dividers.tolerance.0.get::<ratio>(),
            sense_tolerance: dividers.tolerance.1.get::<ratio>(),
            current_at_most_a: dividers.current_at_most.get::<ampere>(),
            overvoltage_v: dividers.overvoltage.get::<volt>(),
            reads_supply: dividers.reads_supply,
            sets: dividers.sets.iter().map(set).collect(),
            findings: findings::views(&dividers.findings),
        }
    }
}

fn set(set: &Set) -> SetView {
    SetView {
        purpose: match set.purpose {
            Use::Gate => "gate",
            Use::Overvoltage => "overvoltage",
            Use::Sense => "sense",
        },
        places: set.places,
        resistors_ohm: set
            .resistors
            .iter()
            .map(|resistor| resistor.get::<ohm>())
            .collect(),
        target_v: set.upper.target.get::<volt>(),
        nominal_v: set.upper.nominal.get::<volt>(),
        lowest_v: set.upper.lowest.get::<volt>(),
        highest_v: set.upper.highest.get::<volt>(),
        lower: set.lower.as_ref().map(|lower| TripView {
            // Only a gate asks for its lower threshold.
            target_v: (set.purpose == Use::Gate).then(|| lower.target.get::<volt>()),
            nominal_v: lower.nominal.get::<volt>(),
            lowest_v: lower.lowest.get::<volt>(),
            highest_v: lower.highest.get::<volt>(),
        }),
        error: set.error.get::<ratio>(),
        current_a: set.current.get::<ampere>(),
        bias_shift_v: set.bias_shift.get::<volt>(),
        settling_s: set.settling.map(|settling| settling.get::<second>()),
    }
}

/// One table for each use, what each resistor is, and the findings.
pub fn text(name: &str, dividers: &Dividers) -> String {
    let mut text = format!(
        "{name}, {}, at most {} for each set at {}; worst: every part at the end of its tolerance\n",
        dividers.series,
        Engineering(dividers.current_at_most, "A"),
        Engineering(dividers.overvoltage, "V"),
    );
    let parts = |head: &str, purpose: Use, tolerance: Ratio, thresholds: [&str; 2], wiring: &str| {
        let sets: Vec<&Set> = dividers.sets_for(purpose).collect();
        let Some(first) = sets.first() else {
            return String::new();
        };
        let [upper, lower] = thresholds;
        let mut columns: Vec<String> = vec![head.to_owned()];
        columns.extend(first.places.iter().map(|place| (*place).to_owned()));
        columns.extend([upper.to_owned(), "worst".to_owned()]);
        if first.lower.is_some() {
            columns.extend([lower.to_owned(), "worst".to_owned()]);
        }
        columns.extend(["error".to_owned(), "current".to_owned()]);
        let settles = first.settling.is_some();
        columns.extend(settles.then(|| "settles in".to_owned()));
        let rows = sets.iter().enumerate().map(|(index, set)| {
            let mut row = vec![(index + 1).to_string()];
            row.extend(
                set.resistors
                    .iter()
                    .map(|resistor| Engineering(*resistor, "ohm").to_string()),
            );
            row.extend(trip(&set.upper));
            row.extend(set.lower.iter().flat_map(trip));
            row.push(format!("{:.3} %", set.error.get::<ratio>() * 100.0));
            row.push(Engineering(set.current, "A").to_string());
            row.extend(
                set.settling
                    .map(|settling| Engineering(settling, "s").to_string()),
            );
            row
        });
        let columns: Vec<&str> = columns.iter().map(String::as_str).collect();
        format!(
            "\n{}resistors within {:.2} %. {wiring}\n",
            table(&columns, rows),
            tolerance.get::<ratio>() * 100.0
        )
    };
    let (comparator, sensing) = dividers.tolerance;
    text.push_str(&parts(
        "gate",
        Use::Gate,
        comparator,
        ["connects at", "disconnects at"],
        match dividers.gate_circuit {
            Some(GateCircuit::TwoTaps) => {
                "top: storage to upper tap; middle: between the taps; bottom: lower tap to ground. \
                 The lower tap connects, the upper one disconnects."
            }
            Some(GateCircuit::Pair) => "top: storage to input; bottom: input to ground.",
            _ => "top: storage to input; bottom: input to ground; feedback: output to input.",
        },
    ));
    text.push_str(&parts(
        "overvoltage",
        Use::Overvoltage,
        comparator,
        ["stops at", "charges again at"],
        "top: storage to input; bottom: input to ground.",
    ));
    text.push_str(&parts(
        "sense",
        Use::Sense,
        sensing,
        ["full scale", ""],
        "top: storage to converter; bottom: converter to ground. A full storage reads below full scale in every unit.",
    ));
    if dividers.reads_supply {
        text.push_str("\nsense: no divider is needed, the converter reads its reference against the supply, which is storage.\n");
    }
    let findings = findings::aside(&dividers.findings);
    if !findings.is_empty() {
        text.push_str(&format!("\n{findings}"));
    }
    text
}

fn trip(trip: &Trip) -> [String; 2] {
    [
        format!("{:.3} V", trip.nominal.get::<volt>()),
        format!(
            "{:.3} to {:.3}",
            trip.lowest.get::<volt>(),
            trip.highest.get::<volt>()
        ),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dividers::Options;
    use crate::node::{SenseKind, example};

    #[test]
    fn a_reading_against_the_supply_says_that_it_needs_no_divider() {
        let mut node = example("display-case");
        node.sense.kind = SenseKind::Reference;
        let text = text("case", &Dividers::of(&node, &Options::USUAL));
        assert!(text.contains("no divider is needed"), "{text}");
    }
}
