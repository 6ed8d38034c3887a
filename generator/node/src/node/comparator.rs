//! Reads `[comparator]`: what the gate and the overvoltage limit compare storage with.

use super::limit::Limit;
use super::table::Table;
use super::{Comparator, GateCircuit};
use crate::problem::Problem;
use crate::units::*;

/// A reference worse than this is not one that anyone guards a capacitor with.
const MOST_TOLERANCE: f64 = 0.5;

/// Reads the comparator; nothing also when it is there and wrong, which is then noted.
pub(super) fn read(root: &mut Table<'_>) -> Option<Comparator> {
    let mut table = root.optional_table("comparator")?;
    let tolerance = Limit::NOT_NEGATIVE.up_to(MOST_TOLERANCE);
    let reference = table.required::<Voltage>("reference", "1.2 V", Limit::POSITIVE);
    let reference_tolerance = table.required::<Ratio>("reference_tolerance", "1 %", tolerance);
    let offset = table.or::<Voltage>("offset", "2 mV", Limit::NOT_NEGATIVE, volts(0.0));
    let hysteresis = table.or::<Voltage>("hysteresis", "10 mV", Limit::NOT_NEGATIVE, volts(0.0));
    let bias = table.or::<Current>("input_bias_current", "1 nA", Limit::NOT_NEGATIVE, amperes(0.0));
    let output_low = table.or::<Voltage>("output_low", "0 V", Limit::NOT_NEGATIVE, volts(0.0));
    let output_high = table.optional::<Voltage>("output_high", "3.0 V", Limit::POSITIVE);
    let circuits = [
        ("feedback", GateCircuit::Feedback),
        ("two-taps", GateCircuit::TwoTaps),
        ("pair", GateCircuit::Pair),
    ];
    let circuit = table.choice("gate_circuit", &circuits, Some(GateCircuit::Feedback));
    if let (Some(reference), Some(tolerance), Some(offset), Some(hysteresis), Some(low)) =
        (&reference, &reference_tolerance, offset, hysteresis, output_low)
    {
        let least = reference.value * (1.0 - tolerance.value.get::<ratio>()) - offset - hysteresis / 2.0;
        // A default stands nowhere: what is given in its place is then at fault.
        let span = |key: &str| {
            table
                .peek(key)
                .map_or(reference.span.clone(), |given| given.span())
        };
        let faults = [
            (
                reference.span.clone(),
                least <= volts(0.0),
                "the trip point may lie at or below 0 V",
                "reference, less its tolerance, `offset` and half of `hysteresis`, above 0 V",
                "take the figures at the comparator's input, not at storage",
            ),
            (
                span("output_low"),
                low >= reference.value,
                "`output_low` is not below the reference",
                "below `reference`",
                "write the voltage of the output when the input is below the reference, often 0 V",
            ),
            (
                span("output_high"),
                output_high
                    .as_ref()
                    .is_some_and(|high| high.value <= reference.value),
                "`output_high` is not above the reference",
                "above `reference`",
                "write the voltage of the output when the input is above the reference; leave it out if that is storage",
            ),
        ];
        for (span, wrong, title, expected, cure) in faults {
            if wrong {
                table.log().note(Problem::new(span, title, expected, cure));
            }
        }
    }
    table.finish();
    Some(Comparator {
        reference: reference?.value,
        reference_tolerance: reference_tolerance?.value,
        offset: offset?,
        hysteresis: hysteresis?,
        input_bias_current: bias?,
        output_low: output_low?,
        output_high: output_high.map(|given| given.value),
        gate_circuit: circuit?.value,
    })
}

#[cfg(test)]
mod tests {
    use crate::node::{GateCircuit, Node, example};
    use crate::units::*;

    const EXAMPLE: &str = millpond_templates::nodes::DISPLAY_CASE;

    #[test]
    fn what_is_left_out_has_its_default() {
        let comparator = example("display-case").comparator.expect("described");
        assert_eq!(comparator.reference, volts(1.2));
        assert_eq!(comparator.offset, volts(0.0));
        assert_eq!(comparator.output_high, None);
        assert_eq!(comparator.gate_circuit, GateCircuit::Feedback);
        let without = &EXAMPLE[..EXAMPLE.find("[comparator]").expect("a last section")];
        assert_eq!(Node::read(without).expect("sound").comparator, None);
    }

    #[test]
    fn a_reference_that_nothing_is_left_of_is_refused() {
        let from = "hysteresis = \"12 mV\"";
        for (to, marked) in [
            ("hysteresis = \"2.4 V\"", "reference = \""),
            ("output_low = \"1.2 V\"", "output_low = \""),
            ("output_high = \"1.2 V\"", "output_high = \""),
        ] {
            let changed = EXAMPLE.replace(from, to);
            let refused = Node::read(&changed).expect_err("impossible");
            assert_eq!(refused.list.len(), 1, "{}", refused.render(false));
            let section = changed.find("[comparator]").expect("a last section");
            let key = section + changed[section..].find(marked).expect("the key stands there");
            assert_eq!(refused.list[0].span.start, key + marked.len() - 1, "{to}");
        }
    }
}
