//! The sensing divider: the finest reading that no unit saturates (docs/model.md, equations 44 and 45).
//!
//! A converter reads full scale where its input stands at its reference: the divider is that of a comparator without
//! feedback, with the input's leakage in the place of the bias.

use crate::dividers::circuit::{Circuit, Input, Resistors, Spread};
use crate::dividers::search::LEAST_CURRENT_SHARE;
use crate::node::Sense;
use crate::units::*;

/// What is looked for.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Wanted {
    /// The nominal converter.
    pub(super) input: Input,
    /// How far the parts may be off.
    pub(super) spread: Spread,
    /// Full scale must not lie below this storage voltage in any unit (V).
    pub(super) least_full_scale_v: f64,
    /// Highest storage voltage (V): there the current is counted.
    pub(super) full_v: f64,
    /// Largest current (A).
    pub(super) most_a: f64,
}

/// A divider.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Choice {
    pub(super) parts: Resistors,
    /// Storage voltage at full scale, nominal (V).
    pub(super) full_scale_v: f64,
    pub(super) current_a: f64,
}

impl Wanted {
    /// What `sense` needs for storage up to `overvoltage`: the largest count but one must be enough for it.
    pub(super) fn of(sense: &Sense, overvoltage: Voltage, resistor: Ratio, most: Current) -> Self {
        let reference_v = sense.reference.get::<volt>();
        let full_v = overvoltage.get::<volt>();
        let counts = f64::from(1_u32 << sense.bits);
        Self {
            input: Input {
                rising_v: reference_v,
                falling_v: reference_v,
                bias_a: 0.0,
                lower_bias_a: 0.0,
            },
            spread: Spread {
                resistor: resistor.get::<ratio>(),
                reference: sense.reference_tolerance.get::<ratio>(),
                reference_v,
                offset_v: 0.0,
                bias_a: sense.input_leakage.get::<ampere>(),
            },
            least_full_scale_v: full_v * counts / (counts - 1.0),
            full_v,
            most_a: most.get::<ampere>(),
        }
    }

    /// The `rows` dividers with the lowest full scale, the best first; among equal ones that with less current, then with the
    /// smaller top and bottom.
    pub(super) fn best(&self, values: &[f64], rows: usize) -> Vec<Choice> {
        let mut all: Vec<Choice> = Vec::new();
        for &lower in values {
            // Full scale rises with the top resistor: the first few that are high enough are all that can be among the best.
            let high_enough = values.partition_point(|top| !self.suits(*top, lower));
            let allowed = values[high_enough..]
                .iter()
                .filter_map(|top| self.judged(*top, lower));
            all.extend(allowed.take(rows));
        }
        let order = |choice: &Choice| {
            // Beyond twelve digits full scales differ by rounding alone.
            let full_scale = (choice.full_scale_v * 1e12).round();
            [
                full_scale,
                choice.current_a,
                choice.parts.top_ohm,
                choice.parts.second_ohm,
            ]
        };
        all.sort_by(|a, b| {
            order(a)
                .partial_cmp(&order(b))
                .unwrap_or(std::cmp::Ordering::Equal)
        });
        all.truncate(rows);
        all
    }

    /// The divider of the two resistors, if it draws what it may.
    fn judged(&self, top: f64, lower: f64) -> Option<Choice> {
        let parts = pair(top, lower);
        let current_a = Circuit::PAIR.current_a(&parts, self.full_v);
        let allowed = current_a <= self.most_a && current_a > self.most_a * LEAST_CURRENT_SHARE;
        allowed.then(|| Choice {
            parts,
            full_scale_v: Circuit::PAIR.rising_v(&parts, &self.input),
            current_a,
        })
    }

    /// Whether full scale is high enough in every unit.
    fn suits(&self, top: f64, lower: f64) -> bool {
        let [span, _] = Circuit::PAIR.spans(&pair(top, lower), &self.input, &self.spread);
        span.lowest_v >= self.least_full_scale_v
    }
}

fn pair(top_ohm: f64, second_ohm: f64) -> Resistors {
    Resistors {
        top_ohm,
        second_ohm,
        third_ohm: f64::INFINITY,
    }
}

/// The resistance that the converter's input sees: top and bottom beside each other.
pub(super) fn source_resistance(parts: &Resistors) -> Resistance {
    ohms(1.0 / (parts.top_ohm.recip() + parts.second_ohm.recip()))
}

/// How long a sampling capacitor takes through `source` to come within half a count of its end, from 0 V or full scale.
///
/// ```text
/// t = R·C·ln(2^(bits + 1))
/// ```
///
/// Source: charging of a capacitor through a resistor; docs/model.md, equation 45.
pub fn settling(source: Resistance, capacitor: Capacitance, bits: u32) -> Time {
    source * capacitor * (f64::from(bits + 1) * std::f64::consts::LN_2)
}

/// The least current, in steps of a twentieth, with which the best divider of `values` settles in the time that `sense` samples for;
/// `None` where none up to twenty times `least` does. More current allows a lower source, and does not ask for one: the best may stay.
pub(super) fn settled_current(
    sense: &Sense,
    overvoltage: Voltage,
    resistor: Ratio,
    values: &[f64],
    least: Current,
) -> Option<Current> {
    let source = settled_source(sense)?;
    let two_digits_a = libm::pow(10.0, libm::log10(least.get::<ampere>()).floor() - 1.0);
    let mut steps = (least.get::<ampere>() / two_digits_a).ceil();
    let last = steps * 20.0;
    while steps < last {
        let most = amperes(steps * two_digits_a);
        let best = Wanted::of(sense, overvoltage, resistor, most).best(values, 1);
        if best
            .first()
            .is_some_and(|best| source_resistance(&best.parts) <= source)
        {
            return Some(most);
        }
        steps = (steps * 1.05).ceil();
    }
    None
}

/// The largest source resistance that settles in the time that `sense` samples for; `None` where it does not say so.
pub(super) fn settled_source(sense: &Sense) -> Option<Resistance> {
    let one_ohm = settling(ohms(1.0), sense.sampling_capacitor?, sense.bits);
    Some(ohms(1.0) * (sense.sampling_time? / one_ohm))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::dividers::series::Series;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    /// Half a unit of the table's last digit, in time constants.
    const PRINTED: f64 = 0.005;
    /// Rounding of an exponential.
    const ROUNDING: f64 = 1e-12;
    /// Two orders of the same few products (V).
    const SAME_V: f64 = 1e-11;

    /// By hand: 1 Mohm and 10 pF have a time constant of 10 µs; twelve bits need ln(8192) = 9.0109 of them. Half a count of
    /// n bits is one of n + 1: "Analog Engineer's Pocket Reference" has 6.24, 7.62, 9.01 and 11.78 at 9, 11, 13 and 17 bits of accuracy.
    #[test]
    fn settling_takes_nine_time_constants_at_twelve_bits() {
        let after = |bits| settling(ohms(1e6), farads(10e-12), bits).get::<second>() / 10e-6;
        for (bits, constants) in [(8, 6.24), (10, 7.62), (12, 9.01), (16, 11.78)] {
            assert!((after(bits) - constants).abs() <= PRINTED, "{bits}");
        }
        // What is left after that time is half a count of the full scale.
        assert_relative_eq!((-after(12)).exp() * 4096.0, 0.5, max_relative = ROUNDING);
    }

    proptest! {
        /// The rows are those of trying every pair: none saturates, none left out reads finer.
        #[test]
        fn the_finest_dividers_are_those_of_trying_every_pair(
            reference_v in 0.6..2.4f64, over in 1.3..4.0f64, reference in 0.0..0.04f64, resistor in 0.0..0.03f64,
            leakage_na in 0.0..20.0f64, decade in -6.0..-4.5f64,
        ) {
            let full_v = reference_v * over;
            let input = Input { rising_v: reference_v, falling_v: reference_v, bias_a: 0.0, lower_bias_a: 0.0 };
            let wanted = Wanted {
                input,
                spread: Spread { resistor, reference, reference_v, offset_v: 0.0, bias_a: leakage_na * 1e-9 },
                least_full_scale_v: full_v * 1024.0 / 1023.0,
                full_v,
                most_a: 10f64.powf(decade),
            };
            let values = Series::E24.resistors_ohm();
            let best = wanted.best(&values, 4);
            let mut every: Vec<f64> = values
                .iter()
                .flat_map(|lower| values.iter().map(move |top| (*top, *lower)))
                .filter(|(top, lower)| wanted.suits(*top, *lower))
                .filter_map(|(top, lower)| wanted.judged(top, lower))
                .map(|choice| choice.full_scale_v)
                .collect();
            every.sort_by(f64::total_cmp);
            prop_assert_eq!(best.len(), every.len().min(4));
            for (choice, full_scale_v) in best.iter().zip(&every) {
                prop_assert!((choice.full_scale_v - full_scale_v).abs() < SAME_V);
            }
        }
    }
}
