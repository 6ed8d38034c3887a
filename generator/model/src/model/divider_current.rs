//! What the circuit that senses the storage voltage takes from it.

use crate::node::Sense;
use crate::units::*;

/// Conductance of the divider at the storage terminal, as it is all the time: 0 where it is switched or where there is none.
/// With `at_low_end` both resistors are at the low end of their tolerance.
pub fn conductance(sense: &Sense, at_low_end: bool) -> Conductance {
    if sense.divider_switched {
        return siemenses(0.0);
    }
    let least = fraction(1.0) - sense.divider_tolerance;
    let resistors = sense.divider_top + sense.divider_bottom;
    (if at_low_end { resistors * least } else { resistors }).recip()
}

/// What a current into the converter's input draws from storage through the divider, at most and at any storage voltage: the
/// share of it that does not come past the bottom resistor (docs/model.md, "Reading the voltage"). 0 where the divider is
/// switched.
pub fn input_draw(sense: &Sense) -> Current {
    if sense.divider_switched && sense.divider_top > ohms(0.0) {
        return amperes(0.0);
    }
    sense.input_leakage * (sense.divider_bottom / (sense.divider_top + sense.divider_bottom))
}
