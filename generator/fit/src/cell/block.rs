//! The block of the node file that says what was measured, rounded to the safe side: never more capacitance at any voltage
//! than the line has, never less resistance than was found with the current beginning as late as it may have.

use super::Cell;
use crate::text::Engineering;
use crate::units::*;

/// Significant digits of a written figure: a percent of a percent is more than one cell says of the next.
const DIGITS: i32 = 4;
/// Tolerance of a common data sheet; one cell does not show it (common practice, no source).
const COMMON_TOLERANCE: f64 = 0.2;
/// Leakage of a double-layer cell after 72 h for each farad (A/F), about the upper end of data sheets (common practice, no
/// source); one discharge does not show it.
const COMMON_LEAKAGE_A_PER_F: f64 = 5e-6;
/// A tolerance this close above a whole percent is that percent: rounding of a few operations.
const SLACK_PERCENT: f64 = 1e-9;
/// The least resistance that is written where none was seen (ohm).
const LEAST_OHM: f64 = 1e-3;

impl Cell {
    /// The `[[storage.capacitor]]` block to paste into a node file.
    ///
    /// Where the capacitance does not rise with the voltage, the block has the line's lowest value and no slope. Where no
    /// resistance was seen, it has what could have been there unseen. What a discharge cannot tell is marked.
    pub fn block(&self) -> String {
        let rated_v = self.rated.get::<volt>();
        let low_f = self.capacitance_low.value.get::<farad>();
        let slope_f_per_v = (self.capacitance_slope.value * volts(1.0)).get::<farad>();
        // Both ends of the written line lie at or below those of the fitted one.
        let full_f = rounded(low_f + slope_f_per_v * rated_v, f64::floor);
        let rise = (slope_f_per_v > 0.0).then(|| rounded((full_f - low_f).max(0.0) / rated_v, f64::ceil));
        let rise = rise.filter(|rise| *rise > 0.0);
        let capacitance = Engineering(farads(full_f), "F");
        // The next cell may lie at the low end of its tolerance, and there where the line says too much.
        let low = 1.0 - (1.0 - COMMON_TOLERANCE) * (1.0 - self.overstatement().get::<ratio>());
        let highest_ohm = self.highest_resistance().get::<ohm>();
        let unseen_ohm = (self.resistance.value + self.resistance.standard_error * 2.0).get::<ohm>();
        let (esr_ohm, esr_note) = if self.shows_resistance() {
            (
                highest_ohm,
                "of this cell, new: take the data sheet's maximum if that is higher",
            )
        } else {
            (
                unseen_ohm.max(highest_ohm).max(LEAST_OHM),
                "not seen in this discharge: take the data sheet's",
            )
        };
        let esr = Engineering(ohms(rounded(esr_ohm, f64::ceil)), "ohm");
        let leakage = Engineering(amperes(rounded(COMMON_LEAKAGE_A_PER_F * full_f, f64::ceil)), "A");
        let slope_line = rise.map(|rise| {
            let rise = Engineering(farads(rise), "F/V");
            format!("capacitance_slope = \"{rise}\"\n")
        });
        let at = if rise.is_some() {
            "at rated voltage"
        } else {
            "the lowest, since it does not rise with voltage"
        };
        format!(
            "[[storage.capacitor]]\n\
             capacitance = \"{capacitance}\"  # {at}\n\
             {}\
             tolerance_low = \"{} %\"  # not measured: the data sheet's, and what the line overstates\n\
             tolerance_high = \"{} %\"  # not measured: the data sheet's\n\
             esr = \"{esr}\"  # {esr_note}\n\
             rated_voltage = \"{rated_v} V\"\n\
             leakage = \"{leakage}\"  # not measured: the data sheet's after 72 h\n",
            slope_line.unwrap_or_default(),
            (low * 100.0 - SLACK_PERCENT).ceil(),
            COMMON_TOLERANCE * 100.0,
        )
    }
}

/// To [`DIGITS`] significant digits by `round`.
fn rounded(value: f64, round: fn(f64) -> f64) -> f64 {
    if value == 0.0 {
        return 0.0;
    }
    let scale = 10f64.powi(DIGITS - 1 - libm::log10(value.abs()).floor() as i32);
    round(value * scale) / scale
}
