//! At which storage voltages a comparator behind two or three resistors trips (docs/model.md, equations 40 to 43).
//!
//! Plain numbers in SI base units: these functions stand in the innermost loop of the search. Source: Kirchhoff's current law
//! at the comparator's input; the circuits are textbook ones (non-inverting comparator with positive feedback; a string
//! with two taps and a latch).

use crate::node::{Comparator, GateCircuit};
use crate::units::*;

/// Resistors of a circuit. `top_ohm` runs from storage to the comparator's input. With [`Circuit::Feedback`] `second_ohm` runs from the
/// input to ground and `third_ohm` from the output to the input, infinite where there is none. With [`Circuit::TwoTaps`]
/// `second_ohm` lies between the two taps and `third_ohm` below the lower one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Resistors {
    /// From storage (ohm).
    pub top_ohm: f64,
    /// To ground, or between the taps (ohm).
    pub second_ohm: f64,
    /// From the output, or to ground (ohm).
    pub third_ohm: f64,
}

/// How resistors and comparator are joined.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Circuit {
    /// A divider, with a resistor from the output to the input.
    Feedback {
        /// Output when low (V).
        low_v: f64,
        /// Output when high (V); `None` when it is at storage.
        high_v: Option<f64>,
    },
    /// A string of three with two taps.
    TwoTaps,
}

/// What happens at the comparator's input.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Input {
    /// Input voltage at which the output goes high (V).
    pub rising_v: f64,
    /// Input voltage at which it goes low again (V).
    pub falling_v: f64,
    /// Current into the input, or into the upper of two taps (A).
    pub bias_a: f64,
    /// Current into the lower of two taps (A).
    pub lower_bias_a: f64,
}

/// Storage voltages between which something lies.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Span {
    /// The lowest (V).
    pub lowest_v: f64,
    /// The highest (V).
    pub highest_v: f64,
}

/// How far the parts of a circuit may be from nominal.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spread {
    /// Each resistor may be off by this fraction.
    pub resistor: f64,
    /// The reference may be off by this fraction.
    pub reference: f64,
    /// Reference voltage (V).
    pub reference_v: f64,
    /// Either trip point may be off by this (V).
    pub offset_v: f64,
    /// Largest current into or out of an input (A).
    pub bias_a: f64,
}

impl Circuit {
    /// The circuit of a gate.
    pub fn of_gate(comparator: &Comparator) -> Self {
        match comparator.gate_circuit {
            GateCircuit::TwoTaps => Self::TwoTaps,
            GateCircuit::Feedback | GateCircuit::Pair => Self::Feedback {
                low_v: comparator.output_low.get::<volt>(),
                high_v: comparator.output_high.map(|high| high.get::<volt>()),
            },
        }
    }

    /// A divider alone: no third resistor, so that the output does not matter.
    pub const PAIR: Self = Self::Feedback {
        low_v: 0.0,
        high_v: None,
    };

    /// Storage voltage at which the output goes high (V).
    pub fn rising_v(&self, parts: &Resistors, input: &Input) -> f64 {
        let trip_v = input.rising_v;
        match *self {
            Self::Feedback { low_v, .. } => {
                trip_v
                    + parts.top_ohm
                        * (trip_v / parts.second_ohm + (trip_v - low_v) / parts.third_ohm + input.bias_a)
            }
            Self::TwoTaps => {
                let below_a = trip_v / parts.third_ohm + input.lower_bias_a;
                trip_v + below_a * parts.second_ohm + (below_a + input.bias_a) * parts.top_ohm
            }
        }
    }

    /// Storage voltage at which the output goes low again (V).
    pub fn falling_v(&self, parts: &Resistors, input: &Input) -> f64 {
        let trip_v = input.falling_v;
        match *self {
            Self::Feedback {
                high_v: Some(high_v), ..
            } => {
                trip_v
                    + parts.top_ohm
                        * (trip_v / parts.second_ohm - (high_v - trip_v) / parts.third_ohm + input.bias_a)
            }
            // The output is at storage: the third resistor is beside the top one.
            Self::Feedback { high_v: None, .. } => {
                trip_v
                    + (trip_v / parts.second_ohm + input.bias_a)
                        / (parts.top_ohm.recip() + parts.third_ohm.recip())
            }
            Self::TwoTaps => {
                let below_a =
                    (trip_v + parts.third_ohm * input.lower_bias_a) / (parts.second_ohm + parts.third_ohm);
                trip_v + (below_a + input.bias_a) * parts.top_ohm
            }
        }
    }

    /// Current to ground with storage at `full_v` and the output high (A): all that resistors and output draw.
    pub fn current_a(&self, parts: &Resistors, full_v: f64) -> f64 {
        match *self {
            Self::Feedback { high_v, .. } => {
                let (top, lower, third) = (
                    parts.top_ohm.recip(),
                    parts.second_ohm.recip(),
                    parts.third_ohm.recip(),
                );
                let input_v = (full_v * top + high_v.unwrap_or(full_v) * third) / (top + lower + third);
                input_v * lower
            }
            Self::TwoTaps => full_v / (parts.top_ohm + parts.second_ohm + parts.third_ohm),
        }
    }

    /// The top resistor with which the output goes high at `storage_v` (ohm), the others as in `parts`, without bias; 0 if
    /// every one goes high above, infinite if every one does below.
    pub fn top_rising(&self, parts: &Resistors, trip_v: f64, storage_v: f64) -> f64 {
        match *self {
            Self::Feedback { low_v, .. } => over(
                storage_v - trip_v,
                trip_v / parts.second_ohm + (trip_v - low_v) / parts.third_ohm,
            ),
            Self::TwoTaps => {
                (storage_v * parts.third_ohm / trip_v - parts.second_ohm - parts.third_ohm).max(0.0)
            }
        }
    }

    /// The same for going low again.
    pub fn top_falling(&self, parts: &Resistors, trip_v: f64, storage_v: f64) -> f64 {
        match *self {
            Self::Feedback {
                high_v: Some(high_v), ..
            } => over(
                storage_v - trip_v,
                trip_v / parts.second_ohm - (high_v - trip_v) / parts.third_ohm,
            ),
            Self::Feedback { high_v: None, .. } => {
                let both = over(storage_v - trip_v, trip_v / parts.second_ohm);
                over(1.0, both.recip() - parts.third_ohm.recip())
            }
            Self::TwoTaps => ((storage_v / trip_v - 1.0) * (parts.second_ohm + parts.third_ohm)).max(0.0),
        }
    }

    /// The top resistor with which `current_a` flows at `full_v` (ohm); a larger one lets less flow.
    pub fn top_for_current(&self, parts: &Resistors, full_v: f64, current_a: f64) -> f64 {
        match *self {
            Self::Feedback { high_v, .. } => {
                let input_v = current_a * parts.second_ohm;
                let (lower, third) = (parts.second_ohm.recip(), parts.third_ohm.recip());
                over(
                    full_v - input_v,
                    input_v * (lower + third) - high_v.unwrap_or(full_v) * third,
                )
            }
            Self::TwoTaps => (full_v / current_a - parts.second_ohm - parts.third_ohm).max(0.0),
        }
    }

    /// Where the two thresholds may lie with every part anywhere inside its tolerance: rising and falling.
    ///
    /// Each threshold is monotone in each part, so its extremes stand at corners: all of them are tried. `input` has the
    /// trip points of the nominal part.
    pub fn spans(&self, parts: &Resistors, input: &Input, spread: &Spread) -> [Span; 2] {
        let mut spans = [Span {
            lowest_v: f64::INFINITY,
            highest_v: f64::NEG_INFINITY,
        }; 2];
        let error_v = spread.reference_v * spread.reference + spread.offset_v;
        for corner in 0..64_u32 {
            let sign = |bit: u32| if corner >> bit & 1 == 0 { -1.0 } else { 1.0 };
            let worn = |value: f64, bit: u32| value * (1.0 + sign(bit) * spread.resistor);
            let parts = Resistors {
                top_ohm: worn(parts.top_ohm, 0),
                second_ohm: worn(parts.second_ohm, 1),
                third_ohm: worn(parts.third_ohm, 2),
            };
            let input = Input {
                rising_v: input.rising_v + sign(3) * error_v,
                falling_v: input.falling_v + sign(3) * error_v,
                bias_a: sign(4) * spread.bias_a,
                lower_bias_a: sign(5) * spread.bias_a,
            };
            let thresholds = [self.rising_v(&parts, &input), self.falling_v(&parts, &input)];
            for (span, threshold_v) in spans.iter_mut().zip(thresholds) {
                span.lowest_v = span.lowest_v.min(threshold_v);
                span.highest_v = span.highest_v.max(threshold_v);
            }
        }
        spans
    }
}

impl Input {
    /// The input of a comparator as its data sheet has it: half of its hysteresis to either side, no bias.
    pub fn of(comparator: &Comparator) -> Self {
        let half_v = comparator.hysteresis.get::<volt>() / 2.0;
        let reference_v = comparator.reference.get::<volt>();
        Self {
            rising_v: reference_v + half_v,
            falling_v: reference_v - half_v,
            bias_a: 0.0,
            lower_bias_a: 0.0,
        }
    }
}

impl Spread {
    /// The spread of a comparator, with resistors within `resistor`.
    pub fn of(comparator: &Comparator, resistor: Ratio) -> Self {
        Self {
            resistor: resistor.get::<ratio>(),
            reference: comparator.reference_tolerance.get::<ratio>(),
            reference_v: comparator.reference.get::<volt>(),
            offset_v: comparator.offset.get::<volt>(),
            bias_a: comparator.input_bias_current.get::<ampere>(),
        }
    }
}

/// `above / below` for a resistor: 0 where there is nothing above, infinite where nothing is below.
fn over(above: f64, below: f64) -> f64 {
    if above <= 0.0 {
        0.0
    } else if below <= 0.0 {
        f64::INFINITY
    } else {
        above / below
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use proptest::prelude::*;

    /// A resistor solved back from its own threshold: rounding, made larger where the two resistors beside it nearly cancel.
    const SOLVED: f64 = 1e-6;

    /// Rounding of some ten operations.
    const ROUNDING: f64 = 1e-12;

    fn input(rising_v: f64, falling_v: f64) -> Input {
        Input {
            rising_v,
            falling_v,
            bias_a: 0.0,
            lower_bias_a: 0.0,
        }
    }

    fn parts(top_ohm: f64, second_ohm: f64, third_ohm: f64) -> Resistors {
        Resistors {
            top_ohm,
            second_ohm,
            third_ohm,
        }
    }

    /// By hand: 3 Mohm over 1 Mohm multiply 1 V by four, and 10 nA through 3 Mohm add 30 mV. Hysteresis of 20 mV becomes 80 mV.
    #[test]
    fn a_pair_multiplies_the_reference() {
        let pair = parts(3e6, 1e6, f64::INFINITY);
        let mut at = input(1.01, 0.99);
        assert_relative_eq!(Circuit::PAIR.rising_v(&pair, &at), 4.04, max_relative = ROUNDING);
        assert_relative_eq!(Circuit::PAIR.falling_v(&pair, &at), 3.96, max_relative = ROUNDING);
        at.bias_a = 10e-9;
        assert_relative_eq!(Circuit::PAIR.rising_v(&pair, &at), 4.07, max_relative = ROUNDING);
        assert_relative_eq!(Circuit::PAIR.current_a(&pair, 4.0), 1e-6, max_relative = ROUNDING);
    }

    /// By hand: with the output at 0 V the third resistor is beside the lower (1 Mohm beside 1 Mohm, 500 kohm: factor 3); with the
    /// output at storage beside the top one (1 Mohm beside 1 Mohm: factor 1.5). So 1 V becomes 3 V and 1.5 V.
    #[test]
    fn feedback_lies_beside_one_resistor_or_the_other() {
        let feedback = Circuit::Feedback {
            low_v: 0.0,
            high_v: None,
        };
        let equal = parts(1e6, 1e6, 1e6);
        assert_relative_eq!(
            feedback.rising_v(&equal, &input(1.0, 1.0)),
            3.0,
            max_relative = ROUNDING
        );
        assert_relative_eq!(
            feedback.falling_v(&equal, &input(1.0, 1.0)),
            1.5,
            max_relative = ROUNDING
        );
        // At 3 V: 500 kohm over 1 Mohm.
        assert_relative_eq!(feedback.current_a(&equal, 3.0), 2e-6, max_relative = ROUNDING);
    }

    /// Application note "Non-inverting comparator with hysteresis circuit": 1.7 V and 1.3 V with a swing from 0 V to 3 V and the
    /// 3 V reference halved. The thresholds are apart by the swing times top/third, so that is 0.4/3.
    #[test]
    fn feedback_equals_the_published_thresholds() {
        let feedback = Circuit::Feedback {
            low_v: 0.0,
            high_v: Some(3.0),
        };
        let values = parts(0.4e6, f64::INFINITY, 3e6);
        let at = input(1.5, 1.5);
        assert_relative_eq!(feedback.rising_v(&values, &at), 1.7, max_relative = ROUNDING);
        assert_relative_eq!(feedback.falling_v(&values, &at), 1.3, max_relative = ROUNDING);
    }

    /// By hand: 2, 1 and 1 Mohm. The lower tap has a quarter of storage, the upper one half.
    #[test]
    fn two_taps_have_two_ratios() {
        let string = parts(2e6, 1e6, 1e6);
        assert_relative_eq!(
            Circuit::TwoTaps.rising_v(&string, &input(1.0, 1.0)),
            4.0,
            max_relative = ROUNDING
        );
        assert_relative_eq!(
            Circuit::TwoTaps.falling_v(&string, &input(1.0, 1.0)),
            2.0,
            max_relative = ROUNDING
        );
        // 10 nA out of the lower tap flow through 3 Mohm, out of the upper one through 2 Mohm.
        let biased = Input {
            bias_a: 10e-9,
            lower_bias_a: 10e-9,
            ..input(1.0, 1.0)
        };
        assert_relative_eq!(
            Circuit::TwoTaps.rising_v(&string, &biased),
            4.05,
            max_relative = ROUNDING
        );
    }

    /// A divider's extremes by hand: 3 over 1 Mohm at 1 % make 1 V into 1 + 3·1.01/0.99 and 1 + 3·0.99/1.01.
    #[test]
    fn the_extremes_of_a_pair_are_exact() {
        let spread = Spread {
            resistor: 0.01,
            reference: 0.0,
            reference_v: 1.0,
            offset_v: 0.0,
            bias_a: 0.0,
        };
        let [rising, _] = Circuit::PAIR.spans(&parts(3e6, 1e6, f64::INFINITY), &input(1.0, 1.0), &spread);
        assert_relative_eq!(rising.highest_v, 1.0 + 3.03 / 0.99, max_relative = ROUNDING);
        assert_relative_eq!(rising.lowest_v, 1.0 + 2.97 / 1.01, max_relative = ROUNDING);
    }

    fn circuit() -> impl Strategy<Value = Circuit> {
        prop_oneof![
            Just(Circuit::TwoTaps),
            Just(Circuit::Feedback {
                low_v: 0.0,
                high_v: None
            }),
            (1.5..4.0f64, 0.0..0.3f64).prop_map(|(high_v, low_v)| Circuit::Feedback {
                low_v,
                high_v: Some(high_v)
            }),
        ]
    }

    proptest! {
        /// No part inside its tolerance trips outside the spans.
        #[test]
        fn no_part_trips_outside(
            circuit in circuit(), top in 1e5..1e7f64, lower in 1e5..1e7f64, third in 1e6..1e8f64,
            at in prop::array::uniform6(-1.0..1.0f64),
        ) {
            let spread = Spread { resistor: 0.05, reference: 0.03, reference_v: 1.2, offset_v: 4e-3, bias_a: 5e-9 };
            let nominal = input(1.21, 1.19);
            let parts = parts(top, lower, third);
            let [rising, falling] = circuit.spans(&parts, &nominal, &spread);
            let error_v = at[3] * (1.2 * 0.03 + 4e-3);
            let worn = Resistors {
                top_ohm: top * (1.0 + 0.05 * at[0]),
                second_ohm: lower * (1.0 + 0.05 * at[1]),
                third_ohm: third * (1.0 + 0.05 * at[2]),
            };
            let unit = Input {
                rising_v: 1.21 + error_v,
                falling_v: 1.19 + error_v,
                bias_a: at[4] * 5e-9,
                lower_bias_a: at[5] * 5e-9,
            };
            for (span, threshold_v) in [
                (rising, circuit.rising_v(&worn, &unit)),
                (falling, circuit.falling_v(&worn, &unit)),
            ] {
                let slack_v = ROUNDING * threshold_v.abs().max(1.0) * 10.0;
                prop_assert!(threshold_v <= span.highest_v + slack_v, "{threshold_v} {span:?}");
                prop_assert!(threshold_v >= span.lowest_v - slack_v, "{threshold_v} {span:?}");
            }
        }

        /// The top resistor found for a threshold or a current gives it back.
        #[test]
        fn the_top_resistor_gives_what_was_asked(
            circuit in circuit(), top in 1e5..1e7f64, lower in 1e5..1e7f64, third in 1e5..1e8f64,
        ) {
            let parts = parts(top, lower, third);
            let at = input(1.21, 1.19);
            let rising = circuit.top_rising(&parts, 1.21, circuit.rising_v(&parts, &at));
            prop_assert!((rising / top - 1.0).abs() < SOLVED, "{rising} {top}");
            let falling_v = circuit.falling_v(&parts, &at);
            // Below the trip point the output never goes low: nothing to ask for.
            if falling_v > 1.19 * 1.001 {
                let falling = circuit.top_falling(&parts, 1.19, falling_v);
                prop_assert!((falling / top - 1.0).abs() < SOLVED, "{falling} {top}");
            }
            let full_v = 5.0;
            let current = circuit.top_for_current(&parts, full_v, circuit.current_a(&parts, full_v));
            prop_assert!((current / top - 1.0).abs() < SOLVED, "{current} {top}");
        }
    }
}
