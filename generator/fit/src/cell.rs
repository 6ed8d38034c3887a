//! A capacitor from its bench discharge: capacitance by the standard's method and over voltage, series resistance, each
//! with its standard error, and the block of the node file that says so.
//!
//! From a CSV file with the columns `time_s` and `storage_v`, a constant current and the rated voltage. The capacitor was charged
//! to the rated voltage and held there; the first row stands just before the current, or further rows at rest lead to it.
//!
//! - Capacitance: IEC 62391-1, constant-current discharge from 80 to 40 % of the rated voltage (docs/model.md, equation 32).
//! - Over voltage: Q = C0·u + k·u²/2 fitted from 95 to 25 % (equation 33).
//! - Resistance: from 90 to 70 % back to the start, along the curve that C0 + k·u gives (equation 34).
//! - Standard errors: of residuals that follow one another (equation 35).

mod block;
mod crossing;
mod discharge;
mod levels;
mod line;
mod resistance;
mod spread;
mod start;
#[cfg(test)]
mod tests;

use std::path::Path;

use crate::input::{self, LoadError};
use crate::problem::{InputText, Problem, Problems};
use crate::record;
use crate::rows;
use crate::units::*;

use discharge::Discharge;
pub use start::Start;

/// Levels of the standard's method, as parts of the rated voltage (IEC 62391-1).
const STANDARD: (f64, f64) = (0.8, 0.4);
/// A line that leaves less than this part of its capacitance at 0 V is no capacitor's: measured cells keep more than half.
const LEAST_AT_NOTHING: f64 = 0.01;
/// Levels between which the mean capacitance is shown, in percent of the rated voltage.
const BANDS_PERCENT: [u32; 8] = [90, 80, 70, 60, 50, 40, 30, 20];

/// What one discharge says of a capacitor.
#[derive(Clone, Debug, PartialEq)]
pub struct Cell {
    /// Constant current of the discharge.
    pub current: Current,
    /// Rated voltage.
    pub rated: Voltage,
    /// From 80 to 40 % of the rated voltage.
    pub capacitance: Estimate<Capacitance>,
    /// C0 of the line C0 + k·u: at u = 0, behind the resistance.
    pub capacitance_low: Estimate<Capacitance>,
    /// k of the line; negative when the capacitance falls with the voltage.
    pub capacitance_slope: Estimate<CapacitanceSlope>,
    /// Series resistance; not above 0 when the discharge does not show one.
    pub resistance: Estimate<Resistance>,
    /// How well the log knows when the current began; the standard error of the resistance has it in it.
    pub start: Start,
    /// Root of the mean square of what the line misses the measured voltage by.
    pub residual_rms: Voltage,
    /// The most that it misses it by.
    pub residual_largest: Voltage,
    /// Voltages that the line was fitted to: highest, lowest.
    pub fitted: (Voltage, Voltage),
    /// Mean capacitance in bands of voltage, from the highest.
    pub bands: Vec<Band>,
    /// Rows that the line was fitted to.
    pub rows_used: usize,
    /// Other rows: those at rest, the first moments, and what follows the discharge.
    pub rows_unused: usize,
}

/// A figure and how far it may be off.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Estimate<Q> {
    /// The figure.
    pub value: Q,
    /// Its standard error.
    pub standard_error: Q,
}

/// Mean capacitance between two terminal voltages.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Band {
    /// Upper level, in percent of the rated voltage.
    pub from_percent: u32,
    /// Lower level, in percent of the rated voltage.
    pub to_percent: u32,
    /// Charge over voltage, as measured.
    pub measured: Capacitance,
    /// The same of the fitted line.
    pub line: Capacitance,
}

impl Cell {
    /// Reads and reduces the discharge in a CSV file of at most 256 MiB.
    ///
    /// # Errors
    ///
    /// [`LoadError::Refused`] with all faults at once, or what kept the file from being read at all.
    pub fn load(path: impl AsRef<Path>, current: Current, rated: Voltage) -> Result<Self, LoadError> {
        let file = input::read(path.as_ref(), record::LIMIT)?;
        Self::parse(&file.path, &file.text, current, rated).map_err(LoadError::Refused)
    }

    /// Reads and reduces a discharge at `current` of a capacitor of the voltage `rated`, both above 0; `label` stands for
    /// the path in messages.
    ///
    /// # Errors
    ///
    /// All faults of the text: a header without the two columns or with another unit, rows that are broken or out of order, a
    /// voltage that rises, that starts far from the rated one or never falls to 40 % of it, too few rows for a fit, and
    /// a curve that leaves no capacitance.
    ///
    /// ```
    /// use millpond_fit::cell::Cell;
    /// use millpond_numbers::units::*;
    /// // 10 F behind 50 mohm at 1 A: 50 mV at once, then 0.1 V in a second.
    /// let rows = (1..=250).map(|step| f64::from(step) / 10.0);
    /// let rows: String = rows.map(|s| format!("{s},{}\n", 2.65 - s / 10.0)).collect();
    /// let cell = Cell::parse("bench.csv", &format!("time_s,storage_v\n0,2.7\n{rows}"), amperes(1.0), volts(2.7))?;
    /// assert!((cell.capacitance.value - farads(10.0)).abs() < farads(1e-6));
    /// // The current began at any time in the first 100 ms, which is 10 mV, so 10 mohm.
    /// assert!((cell.start.resistance - ohms(0.005)).abs() < ohms(1e-6));
    /// assert!((cell.resistance.value - ohms(0.055)).abs() < ohms(1e-6));
    /// # Ok::<(), millpond_node::problem::Problems>(())
    /// ```
    pub fn parse(label: &str, text: &str, current: Current, rated: Voltage) -> Result<Self, Problems> {
        let text = rows::without_byte_order_mark(text);
        let refused = |list: Vec<Problem>| {
            let file = InputText {
                path: label.to_owned(),
                text: text.to_owned(),
            };
            Problems::new(vec![file], list)
        };
        let discharge = discharge::read(text, rated.get::<volt>()).map_err(refused)?;
        Self::of(&discharge, current.get::<ampere>()).ok_or_else(|| refused(vec![discharge.unfit()]))
    }

    /// The reduction; `None` where the curve is none that a capacitor can have.
    fn of(discharge: &Discharge, current_a: f64) -> Option<Self> {
        let rated_v = discharge.rated_v;
        let at = |part: f64| crossing::of(discharge, part);
        let mean_f = |from: &crossing::Crossing, to: &crossing::Crossing| {
            current_a * (to.time_s - from.time_s) / (from.storage_v - to.storage_v)
        };
        let (high, low) = (at(STANDARD.0)?, at(STANDARD.1)?);
        let error_s = high.standard_error_s.hypot(low.standard_error_s);
        let line = line::fit(discharge, current_a, mean_f(&high, &low))?;
        let (resistance, start) = resistance::fit(discharge, current_a, &line)?;
        // The line is fitted to the terminal, which stands I·R below u.
        let drop_v = current_a * resistance.value.max(0.0);
        let levels = BANDS_PERCENT.map(|percent| (percent, at(f64::from(percent) / 100.0)));
        let bands = levels.windows(2).map_while(|pair| match pair {
            [(from_percent, Some(from)), (to_percent, Some(to))] => Some(Band {
                from_percent: *from_percent,
                to_percent: *to_percent,
                measured: farads(mean_f(from, to)),
                line: farads(line.capacitance_f((from.storage_v + to.storage_v) / 2.0)),
            }),
            _ => None,
        });
        let low_f = line.low_f - line.slope_f_per_v * drop_v;
        let fitted = discharge.between(levels::LINE_FROM, levels::LINE_TO);
        Some(Self {
            current: amperes(current_a),
            rated: volts(rated_v),
            capacitance: Estimate {
                value: farads(mean_f(&high, &low)),
                standard_error: farads(current_a * error_s / (high.storage_v - low.storage_v)),
            },
            capacitance_low: Estimate {
                value: farads(low_f),
                standard_error: farads(line.error_at(-drop_v)),
            },
            capacitance_slope: Estimate {
                value: farads_per_volt(line.slope_f_per_v),
                standard_error: farads_per_volt(line.slope_error_f_per_v()),
            },
            resistance: Estimate {
                value: ohms(resistance.value),
                standard_error: ohms(resistance.standard_error),
            },
            start,
            residual_rms: volts(line.residual_rms_v),
            residual_largest: volts(line.residual_largest_v),
            fitted: (volts(fitted.first()?.storage_v), volts(fitted.last()?.storage_v)),
            bands: bands.collect(),
            rows_used: fitted.len(),
            rows_unused: discharge.rows - fitted.len(),
        })
        .filter(|cell| cell.is_possible())
    }

    /// Whether there is capacitance everywhere from 0 V to the rated voltage, more than the rounding of the block.
    fn is_possible(&self) -> bool {
        let full = self.capacitance_low.value + self.capacitance_slope.value * self.rated;
        full > farads(0.0) && self.capacitance_low.value > full * LEAST_AT_NOTHING
    }

    /// The largest part by which the line stands above a measured band; 0 where it stands above none.
    pub fn overstatement(&self) -> Ratio {
        let over = self
            .bands
            .iter()
            .map(|band| fraction(1.0) - band.measured / band.line);
        over.fold(fraction(0.0), Ratio::max)
    }

    /// The resistance if the current began as late as the log allows: the safe end.
    pub fn highest_resistance(&self) -> Resistance {
        self.resistance.value + self.start.resistance
    }

    /// Whether the resistance can be told from none.
    pub fn shows_resistance(&self) -> bool {
        self.resistance.value > self.resistance.standard_error * 2.0
    }
}
