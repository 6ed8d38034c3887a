//! What the firmware's converter makes of the storage voltage, and how wrong it may be.

use crate::node::Sense;
use crate::units::*;

/// Steps of the converter and the worst factors by which a reading stands above or below the truth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scale {
    /// Storage voltage of one count (V).
    pub count: Voltage,
    /// The largest count, 2^bits − 1.
    pub maximum_count: u32,
    /// Storage voltage at which the converter is at full scale (V).
    pub full_scale: Voltage,
    /// Reading over truth when the reference is at its low end: at least 1.
    pub reference_high: Ratio,
    /// Reading over truth when both divider resistors are at the ends that raise the ratio: at least 1.
    pub divider_high: Ratio,
    /// Reading over truth with every part at the other end: at most 1.
    pub low: Ratio,
}

impl Sense {
    /// Conductance of the divider at the storage terminal, as it is all the time: 0 where it is switched or where there is none.
    /// With `at_low_end` both resistors are at the low end of their tolerance.
    pub fn divider_conductance(&self, at_low_end: bool) -> Conductance {
        if self.divider_switched {
            return siemenses(0.0);
        }
        let least = fraction(1.0) - self.divider_tolerance;
        let resistors = self.divider_top + self.divider_bottom;
        (if at_low_end { resistors * least } else { resistors }).recip()
    }

    /// What a current into the converter's input draws from storage through the divider, at most and at any storage voltage: the
    /// share of it that does not come past the bottom resistor (docs/model.md, "Reading the voltage"). 0 where the divider is
    /// switched.
    pub fn input_draw(&self) -> Current {
        if self.divider_switched && self.divider_top > ohms(0.0) {
            return amperes(0.0);
        }
        self.input_leakage * (self.divider_bottom / (self.divider_top + self.divider_bottom))
    }
}

impl Scale {
    /// The scale of `sense`.
    ///
    /// A converter reads `v·r/reference` of full scale with r = bottom/(top + bottom). The reading is scaled back with the
    /// nominal r and reference, so it is off by the true ratio over the nominal one, exact ratio of extremes, and by
    /// the nominal reference over the true one (docs/model.md, equations 11 and 12).
    ///
    /// ```
    /// use millpond::{model::reading::Scale, node::{Sense, SenseKind}, units::*};
    /// let sense = Sense {
    ///     kind: SenseKind::Divider,
    ///     bits: 10,
    ///     reference: volts(1.1),
    ///     reference_tolerance: fraction(0.03),
    ///     divider_top: ohms(4.7e6),
    ///     divider_bottom: ohms(1e6),
    ///     divider_tolerance: fraction(0.01),
    ///     divider_switched: false,
    ///     sampling_capacitor: None,
    ///     sampling_time: None,
    ///     input_leakage: amperes(0.0),
    /// };
    /// // 1.1 V · 5.7 / 1024
    /// assert!((Scale::of(&sense).count - volts(6.123e-3)).abs() < volts(1e-6));
    /// ```
    pub fn of(sense: &Sense) -> Self {
        let divided = |top: Resistance, bottom: Resistance| bottom / (top + bottom);
        let (more, less) = (
            fraction(1.0) + sense.divider_tolerance,
            fraction(1.0) - sense.divider_tolerance,
        );
        let nominal = divided(sense.divider_top, sense.divider_bottom);
        let high = divided(sense.divider_top * less, sense.divider_bottom * more);
        let low = divided(sense.divider_top * more, sense.divider_bottom * less);
        let full_scale = sense.reference / nominal;
        Self {
            count: full_scale / f64::from(1u32 << sense.bits),
            maximum_count: (1 << sense.bits) - 1,
            full_scale,
            reference_high: (fraction(1.0) - sense.reference_tolerance).recip(),
            divider_high: high / nominal,
            low: low / nominal / (fraction(1.0) + sense.reference_tolerance),
        }
    }

    /// The lowest reading that a unit inside its tolerances can show at `terminal`: one count below the lowest factor.
    pub fn lowest_reading(&self, terminal: Voltage) -> Voltage {
        terminal * self.low - self.count
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::node::SenseKind;
    use approx::{assert_abs_diff_eq, assert_relative_eq};
    use proptest::prelude::*;

    /// Half a unit in the seventh decimal of the figures worked out apart.
    const SEVEN_DECIMALS: f64 = 5e-8;
    /// Rounding of a product.
    const ROUNDING: f64 = 1e-12;

    fn sense(tolerance: f64) -> Sense {
        Sense {
            kind: SenseKind::Divider,
            bits: 12,
            reference: volts(2.5),
            reference_tolerance: fraction(0.005),
            divider_top: ohms(2e6),
            divider_bottom: ohms(1e6),
            divider_tolerance: fraction(tolerance),
            divider_switched: false,
            sampling_capacitor: None,
            sampling_time: None,
            input_leakage: amperes(0.0),
        }
    }

    /// 2 Mohm over 1 Mohm at 1 %: exactly +1.33779 %, −1.32890 %, by hand from the extremes of the ratio; the first-order
    /// figure 2·t·top/(top + bottom) is 1.3333 %.
    #[test]
    fn divider_extremes_are_exact() {
        let scale = Scale::of(&sense(0.01));
        assert_abs_diff_eq!(
            scale.divider_high.value - 1.0,
            0.0133779,
            epsilon = SEVEN_DECIMALS
        );
        assert_abs_diff_eq!(
            scale.low.value * 1.005 - 1.0,
            -0.0132890,
            epsilon = SEVEN_DECIMALS
        );
    }

    /// One count of a 12-bit converter at 2.5 V is 0.610352 mV at its input (full scale / 2^12), three times that
    /// before a divider by three.
    #[test]
    fn one_count_is_full_scale_over_two_to_the_bits() {
        assert_relative_eq!(
            Scale::of(&sense(0.01)).count.value,
            3.0 * 0.6103515625e-3,
            max_relative = ROUNDING
        );
    }

    proptest! {
        /// No part inside its tolerance reads outside the extremes.
        #[test]
        fn no_part_reads_outside(tolerance in 0.0..0.1f64, a in -1.0..1.0f64, b in -1.0..1.0f64, c in -1.0..1.0f64) {
            let sense = sense(tolerance);
            let scale = Scale::of(&sense);
            let (top, bottom) = (2e6 * (1.0 + a * tolerance), 1e6 * (1.0 + b * tolerance));
            let read = bottom / (top + bottom) * 3.0 / (1.0 + c * 0.005);
            // 1e-12 is the rounding of these few operations.
            prop_assert!(read <= (scale.divider_high * scale.reference_high).value + 1e-12);
            prop_assert!(read >= scale.low.value - 1e-12);
        }
    }
}
