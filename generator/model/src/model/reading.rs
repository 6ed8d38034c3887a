//! What the firmware's converter makes of the storage voltage, and how wrong it may be (docs/model.md, "Reading the voltage").

use crate::node::{Sense, SenseKind};
use crate::units::*;

/// Near no counts at all, one count fewer is taken to read this many times as much, at most: as many as there are counts.
const LARGEST_STEP: f64 = 65_536.0;
/// What is lost at most when a reading becomes whole millivolts (V).
const ROUNDED_DOWN_V: f64 = 1e-3;

/// What the nominal converter makes of a voltage, and the worst that parts inside their tolerances make of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scale {
    /// What is compared with what.
    pub kind: SenseKind,
    /// The largest count, 2^bits − 1.
    pub maximum_count: u32,
    /// Storage voltage at which the nominal converter is at its largest count (V): with a divider and above, with a reference
    /// against the supply and below.
    pub full_scale: Voltage,
    /// Reading over truth when the reference is at its low end: at least 1.
    pub reference_high: Ratio,
    /// Reading over truth when both divider resistors are at the ends that raise the ratio: at least 1.
    pub divider_high: Ratio,
    /// Reading over truth with every part at the other end: at most 1.
    pub low: Ratio,
    /// Top and bottom resistor and the fraction by which each may be off.
    divider: (Resistance, Resistance, Ratio),
    /// Largest current into or out of the input.
    input_leakage: Current,
    /// Part of what the sampling capacitor was off by that is left when the input is disconnected, at most; 0 where it is not known.
    unsettled: Ratio,
}

/// By how much a reading can stand above the truth, cause by cause: each is what it adds to those before it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Errors {
    /// The reference is low.
    pub reference: Voltage,
    /// The divider's ratio is high.
    pub divider: Voltage,
    /// The input gives out its current.
    pub input_leakage: Voltage,
    /// The sampling capacitor stood at full scale before.
    pub settling: Voltage,
    /// Resolution of the converter.
    pub count: Voltage,
}

impl Scale {
    /// The scale of `sense`.
    ///
    /// With a divider a converter reads `v·r/reference` of full scale with r = bottom/(top + bottom). The reading is scaled back with
    /// the nominal r and reference, so it is off by the true ratio over the nominal one, exact ratio of extremes, and by
    /// the nominal reference over the true one (docs/model.md, equations 11 and 12). Against the supply it reads `reference/v` of full
    /// scale, and is off by the same.
    ///
    /// ```
    /// use millpond_model::model::reading::Scale;
    /// use millpond_node::node::{Sense, SenseKind};
    /// use millpond_numbers::units::*;
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
    /// assert!((Scale::of(&sense).count_at(volts(4.0)) - volts(6.123e-3)).abs() < volts(1e-6));
    /// ```
    pub fn of(sense: &Sense) -> Self {
        let divided = |top: Resistance, bottom: Resistance| bottom / (top + bottom);
        let (more, less) = (
            fraction(1.0) + sense.divider_tolerance,
            fraction(1.0) - sense.divider_tolerance,
        );
        let (top, bottom) = (sense.divider_top, sense.divider_bottom);
        let nominal = divided(top, bottom);
        let high = divided(top * less, bottom * more);
        let low = divided(top * more, bottom * less);
        Self {
            kind: sense.kind,
            maximum_count: (1 << sense.bits) - 1,
            full_scale: sense.reference / nominal,
            reference_high: (fraction(1.0) - sense.reference_tolerance).recip(),
            divider_high: high / nominal,
            low: low / nominal / (fraction(1.0) + sense.reference_tolerance),
            divider: (top, bottom, sense.divider_tolerance),
            input_leakage: sense.input_leakage,
            unsettled: unsettled(sense),
        }
    }

    /// What is compared with what, as firmware has it.
    pub fn policy_kind(&self) -> millpond_policy::SenseKind {
        match self.kind {
            SenseKind::Divider => millpond_policy::SenseKind::Divider,
            SenseKind::Reference => millpond_policy::SenseKind::Reference,
        }
    }

    /// Counts of the whole scale, 2^bits.
    fn counts(&self) -> f64 {
        f64::from(self.maximum_count) + 1.0
    }

    /// By how much two neighbouring counts differ where the lower reads `reading` (equations 13 and 56): the same everywhere with a
    /// divider, more the higher storage stands against the supply.
    ///
    /// ```
    /// use millpond_model::model::reading::Scale;
    /// use millpond_node::node::Node;
    /// use millpond_numbers::units::*;
    /// let mut node = Node::read(millpond_templates::nodes::DISPLAY_CASE)?;
    /// node.sense.kind = millpond_node::node::SenseKind::Reference;
    /// (node.sense.divider_top, node.sense.divider_bottom) = (ohms(0.0), ohms(1.0));
    /// // 1.2 V in 12 bits: count 1638 is 3.0007 V and count 1637 is 3.0026 V.
    /// let count = Scale::of(&node.sense).count_at(volts(1.2 * 4096.0 / 1638.0));
    /// assert!((count - volts(1.2 * 4096.0 / 1637.0 - 1.2 * 4096.0 / 1638.0)).abs() < volts(1e-12));
    /// # Ok::<(), millpond_node::problem::Problems>(())
    /// ```
    pub fn count_at(&self, reading: Voltage) -> Voltage {
        match self.kind {
            SenseKind::Divider => self.full_scale / self.counts(),
            SenseKind::Reference => {
                let whole = self.full_scale * self.counts();
                // At one count from 0 there is no end to what the next one reads.
                reading * (reading / (whole - reading).max(reading / LARGEST_STEP))
            }
        }
    }

    /// The highest reading that there is: that of the largest count with a divider, the highest that firmware can count in 16 bits against
    /// the supply.
    pub fn highest_reading(&self) -> Voltage {
        match self.kind {
            SenseKind::Divider => self.count_at(self.full_scale) * f64::from(self.maximum_count),
            SenseKind::Reference => volts(f64::from(u16::MAX) / 1e3),
        }
    }

    /// The most by which a reading can stand above `truth`, by cause.
    pub fn errors(&self, truth: Voltage) -> Errors {
        let one = fraction(1.0);
        let reference = truth * (self.reference_high - one);
        let divider = (truth + reference) * (self.divider_high - one);
        let without = truth + reference + divider;
        let input_leakage = (self.with_input_leakage(truth) - without).max(volts(0.0));
        let leaking = without + input_leakage;
        let settling = (self.full_scale - leaking).max(volts(0.0)) * self.unsettled;
        let analogue = leaking + settling;
        Errors {
            reference,
            divider,
            input_leakage,
            settling,
            count: self.count_at(analogue),
        }
    }

    /// The highest reading of an endless converter whose input gives out its current: over both ends of the top resistor, between which
    /// it only rises or only falls, with the bottom one at its high end.
    fn with_input_leakage(&self, truth: Voltage) -> Voltage {
        if self.input_leakage == amperes(0.0) {
            return truth;
        }
        let (top, bottom, tolerance) = self.divider;
        let bottom_high = bottom * (fraction(1.0) + tolerance);
        let nominal = bottom / (top + bottom);
        let read = |top: Resistance| {
            (truth + self.input_leakage * top) * (bottom_high / (top + bottom_high) / nominal)
        };
        let ends = [fraction(1.0) - tolerance, fraction(1.0) + tolerance];
        let highest = ends.map(|end| read(top * end));
        highest[0].max(highest[1]) * self.reference_high
    }

    /// The lowest reading that a unit inside its tolerances can show at `terminal`: every part at the other end, the input draws its
    /// current, the sampling capacitor stood empty before; one count below that with a divider, a millivolt against the supply, where
    /// the lower count is the higher reading.
    pub fn lowest_reading(&self, terminal: Voltage) -> Voltage {
        let (top, _, tolerance) = self.divider;
        let drawn = self.input_leakage * top * (fraction(1.0) + tolerance);
        let analogue = (terminal - drawn) * self.low * (fraction(1.0) - self.unsettled);
        analogue
            - match self.kind {
                SenseKind::Divider => self.count_at(analogue),
                SenseKind::Reference => volts(ROUNDED_DOWN_V),
            }
    }
}

/// exp(−t/(R·C)) with R the source resistance, top and bottom side by side at the high end of their tolerance (equation 55); 0 where the
/// capacitor or the time is not given.
fn unsettled(sense: &Sense) -> Ratio {
    let (Some(capacitor), Some(time)) = (sense.sampling_capacitor, sense.sampling_time) else {
        return fraction(0.0);
    };
    let (top, bottom) = (sense.divider_top, sense.divider_bottom);
    let source = top * (bottom / (top + bottom)) * (fraction(1.0) + sense.divider_tolerance);
    fraction(libm::exp(-(time / (source * capacitor)).get::<ratio>()))
}

/// The converter of one unit, in plain numbers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Converter {
    kind: SenseKind,
    /// With a divider: counts for one volt at the terminal. Against the supply: volts times counts.
    scale: f64,
    /// By how much its input's current raises the terminal as it is read (V).
    lift_v: f64,
    maximum_count: u32,
}

impl Converter {
    /// The converter of a unit whose own parts are those of `sense`, whose tolerances it does not look at, and whose input gives out
    /// `input`. Its sampling is taken to settle.
    pub fn of(sense: &Sense, input: Current) -> Self {
        let counts = f64::from(1u32 << sense.bits);
        let reference_v = sense.reference.get::<volt>();
        let share = (sense.divider_bottom / (sense.divider_top + sense.divider_bottom)).get::<ratio>();
        Self {
            kind: sense.kind,
            scale: match sense.kind {
                SenseKind::Divider => counts * share / reference_v,
                SenseKind::Reference => reference_v * counts,
            },
            lift_v: (input * sense.divider_top).get::<volt>(),
            maximum_count: (1 << sense.bits) - 1,
        }
    }

    /// The count while the terminal stands at `terminal_v`.
    pub fn count(&self, terminal_v: f64) -> u32 {
        let exact = match self.kind {
            SenseKind::Divider => (terminal_v + self.lift_v) * self.scale,
            SenseKind::Reference if terminal_v > 0.0 => self.scale / terminal_v,
            SenseKind::Reference => f64::INFINITY,
        };
        exact.floor().clamp(0.0, f64::from(self.maximum_count)) as u32
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::given::against_supply;
    use approx::{assert_abs_diff_eq, assert_relative_eq};
    use proptest::prelude::*;

    /// Half a unit in the seventh decimal of the figures worked out apart.
    const SEVEN_DECIMALS: f64 = 5e-8;
    /// Rounding of a product.
    const ROUNDING: f64 = 1e-12;
    /// A table of time constants with two decimals: half a hundredth is half a percent of what is left.
    const TWO_DECIMALS: f64 = 0.005;
    /// Eight digits of a reading and ten of a time constant, multiplied by three in the exponent.
    const BY_HAND: f64 = 1e-6;

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
            Scale::of(&sense(0.01)).count_at(volts(1.0)).value,
            3.0 * 0.6103515625e-3,
            max_relative = ROUNDING
        );
    }

    /// Published: at 10 bits and a span of 5.12 V a leakage of 50 nA behind 1 Mohm is an error of 10 counts, 50 mV; behind 100 kohm,
    /// 5 mV. Source: user's manual of a microcontroller's analogue-to-digital converter, "Error resulting from leakage". Here the
    /// resistance is that of two equal resistors side by side, and the terminal stands at twice the input.
    #[test]
    fn the_error_of_input_leakage_equals_the_published_example() {
        for (source_ohm, published_v) in [(1e6, 50e-3), (100e3, 5e-3)] {
            let sense = Sense {
                bits: 10,
                reference: volts(5.12),
                reference_tolerance: fraction(0.0),
                divider_top: ohms(2.0 * source_ohm),
                divider_bottom: ohms(2.0 * source_ohm),
                input_leakage: amperes(50e-9),
                ..sense(0.0)
            };
            let error = Scale::of(&sense).errors(volts(4.0)).input_leakage;
            assert_relative_eq!(error.value, 2.0 * published_v, max_relative = ROUNDING);
        }
    }

    /// Published: half a count of 12 bits, a part in 2^13, is left after 9.01 time constants. Source: table "Settling time in time
    /// constants" of a pocket reference for analogue engineers.
    #[test]
    fn settling_equals_the_published_table() {
        let sense = Sense {
            sampling_capacitor: Some(farads(12e-12)),
            sampling_time: Some(seconds(9.01 * 12e-12 * 2e6 / 3.0)),
            ..sense(0.0)
        };
        let scale = Scale::of(&sense);
        let half_count = scale.count_at(volts(0.0)) / 2.0;
        let error = scale.errors(volts(0.0)).settling;
        assert_relative_eq!(error.value, half_count.value, max_relative = TWO_DECIMALS);
    }

    /// What is left of a full scale of 7.5 V above 3 V at 1 % resistors, by hand: R·C = 0.6733 Mohm · 10 pF, and 20 us are 2.9703 of it.
    #[test]
    fn an_unsettled_sample_is_as_by_hand() {
        let sense = Sense {
            reference_tolerance: fraction(0.0),
            divider_tolerance: fraction(0.01),
            sampling_capacitor: Some(farads(10e-12)),
            sampling_time: Some(seconds(20e-6)),
            ..sense(0.01)
        };
        let errors = Scale::of(&sense).errors(volts(3.0));
        let before_v = 3.0 * 1.0133779;
        assert_relative_eq!(
            errors.settling.value,
            (7.5 - before_v) * (-20.0f64 / (6.733333333)).exp(),
            max_relative = BY_HAND
        );
        // A known capacitor alone says nothing.
        let unknown = Sense {
            sampling_time: None,
            ..sense
        };
        assert_eq!(Scale::of(&unknown).errors(volts(3.0)).settling, volts(0.0));
    }

    /// By hand: 1.2 V in 8 bits are 307.2 V counts. At 3 V there are 102 of them, which read 3.01176 V; at 3.0117 V the count is 102, too.
    #[test]
    fn the_step_against_the_supply_rises_with_it() {
        let scale = Scale::of(&against_supply(8, 1.2, 0.0));
        let converter = Converter::of(&against_supply(8, 1.2, 0.0), amperes(0.0));
        assert_eq!(
            (
                converter.count(3.0),
                converter.count(3.0117),
                converter.count(3.0118)
            ),
            (102, 102, 101)
        );
        assert_relative_eq!(
            scale.count_at(volts(3.0)).value,
            9.0 / 304.2,
            max_relative = ROUNDING
        );
        assert!(scale.count_at(volts(5.0)) > scale.count_at(volts(3.0)) * 2.7);
        assert_eq!(
            (converter.count(1.1), converter.count(-1.0), converter.count(1e9)),
            (255, 255, 0)
        );
    }

    proptest! {
        /// No unit inside its box reads above what is allowed for nor below what is feared, with a divider: parts, input current and what
        /// the sampling capacitor held before, all anywhere.
        #[test]
        fn no_unit_reads_outside(
            top in 0.0..5e6f64, tolerance in 0.0..0.1f64, parts in prop::array::uniform4(-1.0..1.0f64), input in -1.0..1.0f64,
            leakage in 0.0..1e-6f64, constants in 0.5..20.0f64, held in 0.0..1.0f64, share in 0.0..1.0f64, bits in 6..=16u32,
            at_ends in prop::bool::ANY,
        ) {
            let end = |part: f64| if at_ends { part.signum() } else { part };
            let bottom = 1e6;
            let nominal = bottom / (top + bottom);
            let sense = Sense {
                bits,
                divider_top: ohms(top),
                divider_bottom: ohms(bottom),
                input_leakage: amperes(leakage),
                sampling_capacitor: Some(farads(10e-12)),
                sampling_time: Some(seconds(constants * 10e-12 * (top * nominal).max(1.0))),
                ..sense(tolerance)
            };
            let scale = Scale::of(&sense);
            let truth_v = share * scale.full_scale.value;
            let own_top = top * (1.0 + end(parts[0]) * tolerance);
            let own_bottom = bottom * (1.0 + end(parts[1]) * tolerance);
            let own_reference = 2.5 * (1.0 + end(parts[2]) * 0.005);
            let input_a = end(input) * leakage;
            let settled_v = (truth_v + input_a * own_top) * own_bottom / (own_top + own_bottom);
            let source_ohm = own_top * own_bottom / (own_top + own_bottom);
            let time_s = sense.sampling_time.expect("given").value;
            let left = (-time_s / (source_ohm * 10e-12)).exp();
            let sampled_v = settled_v + (held * own_reference - settled_v) * left;
            let counts = f64::from(scale.maximum_count) + 1.0;
            let count = (sampled_v / own_reference * counts).floor();
            let read_v = count * scale.full_scale.value / counts;
            let errors = scale.errors(volts(truth_v));
            let allowed = errors.reference + errors.divider + errors.input_leakage + errors.settling;
            // A reading beyond full scale is cut; what is below it is allowed for without the count, which a floor never adds.
            prop_assert!(read_v.min(scale.full_scale.value) <= truth_v + allowed.value + 1e-9, "{read_v} {truth_v} {errors:?}");
            let lowest_v = scale.lowest_reading(volts(truth_v)).value;
            prop_assert!(read_v.max(0.0) >= lowest_v - 1e-9, "{read_v} {truth_v} {lowest_v}");
        }

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
