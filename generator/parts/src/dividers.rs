//! Which resistors make the gate, the overvoltage limit and the sensing divider of a node.
//!
//! From the node's voltages and a comparator described by reference, bias and hysteresis, the best sets of preferred values,
//! each with where its thresholds may lie in the worst unit (docs/model.md, "Resistors").

pub mod circuit;
mod judged;
pub mod search;
mod sensing;
pub mod series;

pub use sensing::settling;

use crate::budget::SleepingDay;
use crate::findings::Finding;
use crate::node::{Comparator, GateCircuit, Node, SenseKind};
use crate::units::*;
use circuit::{Circuit, Input, Resistors, Span, Spread};
use search::Wanted;
use series::Series;

/// Resistors may draw this part of what sleep takes, where nothing else is asked (own rule: dividers should not show in the
/// sleeping day).
const SLEEP_SHARE: f64 = 0.1;
/// But always as much as this resistance does: higher ones are moist boards rather than resistors (ohm; common practice, no
/// source).
const LARGEST_STRING_OHM: f64 = 10e6;
/// Resistors of a comparator are within this, where nothing else is asked: what E96 is made to.
const RESISTOR_TOLERANCE: f64 = 0.01;

/// What is asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Options {
    /// Which preferred values.
    pub series: Series,
    /// How far a resistor may be off; `None`: 1 %, and `sense.divider_tolerance` for the sensing divider.
    pub tolerance: Option<Ratio>,
    /// Largest current of each set at `overvoltage`; `None`: a tenth of what sleep takes, at least that of 10 Mohm.
    pub current_at_most: Option<Current>,
    /// How many sets for each use.
    pub rows: usize,
}

impl Options {
    /// What is asked for where nothing else is.
    pub const USUAL: Self = Self {
        series: Series::E96,
        tolerance: None,
        current_at_most: None,
        rows: 3,
    };
}

/// What a set is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Use {
    /// Connects and disconnects the node.
    Gate,
    /// Stops the charge.
    Overvoltage,
    /// Lets the firmware read storage.
    Sense,
}

/// A threshold: where it is wanted, where the nominal parts put it, and between what it lies in any unit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trip {
    /// Wanted storage voltage.
    pub target: Voltage,
    /// With nominal parts.
    pub nominal: Voltage,
    /// In the lowest unit.
    pub lowest: Voltage,
    /// In the highest unit.
    pub highest: Voltage,
}

/// A set of resistors.
#[derive(Clone, Debug, PartialEq)]
pub struct Set {
    /// What it is for.
    pub purpose: Use,
    /// What each resistor is, in the order of `resistors`.
    pub places: &'static [&'static str],
    /// The values.
    pub resistors: Vec<Resistance>,
    /// Gate: connects. Overvoltage: stops the charge. Sense: full scale of the converter.
    pub upper: Trip,
    /// Gate: disconnects. Overvoltage: charges again (no target: the comparator's own hysteresis makes it).
    pub lower: Option<Trip>,
    /// Largest relative distance of a nominal threshold from its target.
    pub error: Ratio,
    /// Current at `overvoltage`.
    pub current: Current,
    /// Largest change of a threshold by the bias current alone.
    pub bias_shift: Voltage,
    /// What the converter's input sees, and how long it takes to settle; sensing with a known sampling capacitor alone.
    pub settling: Option<Time>,
}

/// All sets for a node, best first for each use, and what there is to say about them.
#[derive(Clone, Debug, PartialEq)]
pub struct Dividers {
    /// Which preferred values.
    pub series: Series,
    /// Tolerance of the comparator's resistors, and of the sensing divider's.
    pub tolerance: (Ratio, Ratio),
    /// Largest current of each set.
    pub current_at_most: Current,
    /// Storage voltage at which currents are counted.
    pub overvoltage: Voltage,
    /// How the gate has its two thresholds, if there is a gate and a comparator.
    pub gate_circuit: Option<GateCircuit>,
    /// Whether the converter reads a reference against its supply: no divider is needed for it.
    pub reads_supply: bool,
    /// The sets: gate, overvoltage, sense.
    pub sets: Vec<Set>,
    /// Errors first.
    pub findings: Vec<Finding>,
}

impl Dividers {
    /// The sets for `node`.
    pub fn of(node: &Node, options: &Options) -> Self {
        let overvoltage = node.harvest.overvoltage;
        let current_at_most = options.current_at_most.unwrap_or_else(|| {
            let asleep = SleepingDay::of(node, overvoltage).total.current;
            (asleep * SLEEP_SHARE).max(overvoltage / ohms(LARGEST_STRING_OHM))
        });
        let tolerance = (
            options.tolerance.unwrap_or(fraction(RESISTOR_TOLERANCE)),
            options
                .tolerance
                .unwrap_or(if node.sense.divider_top > ohms(0.0) {
                    node.sense.divider_tolerance
                } else {
                    fraction(RESISTOR_TOLERANCE)
                }),
        );
        let mut dividers = Self {
            series: options.series,
            tolerance,
            current_at_most,
            overvoltage,
            gate_circuit: None,
            reads_supply: node.sense.kind == SenseKind::Reference,
            sets: Vec::new(),
            findings: Vec::new(),
        };
        let values = options.series.resistors_ohm();
        if let Some(comparator) = &node.comparator {
            dividers.gate(node, comparator, &values, options.rows);
            dividers.limit(comparator, &values, options.rows);
        }
        if !dividers.reads_supply {
            dividers.sense(node, &values, options.rows);
        }
        dividers.findings = judged::findings(node, &dividers);
        dividers
    }

    /// The sets for one use, best first.
    pub fn sets_for(&self, purpose: Use) -> impl Iterator<Item = &Set> {
        self.sets.iter().filter(move |set| set.purpose == purpose)
    }

    fn gate(&mut self, node: &Node, comparator: &Comparator, values: &[f64], rows: usize) {
        let Some(gate) = &node.supply.gate else {
            return;
        };
        self.gate_circuit = Some(comparator.gate_circuit);
        let (thirds, places): (&[f64], &'static [&'static str]) = match comparator.gate_circuit {
            GateCircuit::Feedback => (values, &["top", "bottom", "feedback"]),
            GateCircuit::TwoTaps => (values, &["top", "middle", "bottom"]),
            GateCircuit::Pair => (&[f64::INFINITY], &["top", "bottom"]),
        };
        let wanted = Wanted {
            circuit: Circuit::of_gate(comparator),
            input: Input::of(comparator),
            rising_v: gate.connect_above.get::<volt>(),
            falling_v: Some(gate.disconnect_below.get::<volt>()),
            full_v: self.overvoltage.get::<volt>(),
            most_a: self.current_at_most.get::<ampere>(),
        };
        let spread = Spread::of(comparator, self.tolerance.0);
        let best = wanted.best(values, thirds, rows);
        let sets = best
            .iter()
            .map(|choice| of_comparator(Use::Gate, places, &wanted, &spread, choice));
        self.sets.extend(sets);
    }

    fn limit(&mut self, comparator: &Comparator, values: &[f64], rows: usize) {
        let wanted = Wanted {
            circuit: Circuit::PAIR,
            input: Input::of(comparator),
            rising_v: self.overvoltage.get::<volt>(),
            falling_v: None,
            full_v: self.overvoltage.get::<volt>(),
            most_a: self.current_at_most.get::<ampere>(),
        };
        let spread = Spread::of(comparator, self.tolerance.0);
        let best = wanted.best(values, &[f64::INFINITY], rows);
        let sets = best
            .iter()
            .map(|choice| of_comparator(Use::Overvoltage, &["top", "bottom"], &wanted, &spread, choice));
        self.sets.extend(sets);
    }

    fn sense(&mut self, node: &Node, values: &[f64], rows: usize) {
        let sense = &node.sense;
        let wanted = sensing::Wanted::of(sense, self.overvoltage, self.tolerance.1, self.current_at_most);
        let target = volts(wanted.least_full_scale_v);
        for choice in wanted.best(values, rows) {
            let spans = Circuit::PAIR.spans(&choice.parts, &wanted.input, &wanted.spread);
            let upper = trip(target, choice.full_scale_v, spans[0]);
            self.sets.push(Set {
                purpose: Use::Sense,
                places: &["top", "bottom"],
                resistors: vec![ohms(choice.parts.top_ohm), ohms(choice.parts.second_ohm)],
                error: upper.nominal / target - fraction(1.0),
                upper,
                lower: None,
                current: amperes(choice.current_a),
                bias_shift: sense.input_leakage * ohms(choice.parts.top_ohm),
                settling: sense.sampling_capacitor.map(|capacitor| {
                    settling(sensing::source_resistance(&choice.parts), capacitor, sense.bits)
                }),
            });
        }
    }
}

/// A set of a comparator, with where its thresholds lie.
fn of_comparator(
    purpose: Use,
    places: &'static [&'static str],
    wanted: &Wanted,
    spread: &Spread,
    choice: &search::Choice,
) -> Set {
    let Resistors {
        top_ohm,
        second_ohm,
        third_ohm,
    } = choice.parts;
    let (circuit, parts) = (&wanted.circuit, &choice.parts);
    let spans = circuit.spans(parts, &wanted.input, spread);
    let biased = Input {
        bias_a: spread.bias_a,
        lower_bias_a: spread.bias_a,
        ..wanted.input
    };
    let rising_v = circuit.rising_v(parts, &wanted.input);
    let falling_v = circuit.falling_v(parts, &wanted.input);
    let shift_v =
        (circuit.rising_v(parts, &biased) - rising_v).max(circuit.falling_v(parts, &biased) - falling_v);
    Set {
        purpose,
        places,
        resistors: [top_ohm, second_ohm, third_ohm][..places.len()]
            .iter()
            .map(|value| ohms(*value))
            .collect(),
        upper: trip(volts(wanted.rising_v), rising_v, spans[0]),
        lower: Some(trip(
            volts(wanted.falling_v.unwrap_or(falling_v)),
            falling_v,
            spans[1],
        )),
        error: fraction(choice.error),
        current: amperes(choice.current_a),
        bias_shift: volts(shift_v),
        settling: None,
    }
}

fn trip(target: Voltage, nominal_v: f64, span: Span) -> Trip {
    Trip {
        target,
        nominal: volts(nominal_v),
        lowest: volts(span.lowest_v),
        highest: volts(span.highest_v),
    }
}

#[cfg(test)]
mod tests;
