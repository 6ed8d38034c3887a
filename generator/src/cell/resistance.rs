//! Series resistance: how far the voltage steps down when the current begins (docs/model.md, equation 34).
//!
//! The step itself is blurred by the quick charge of the first moments, so the discharge from 90 to 70 % of the rated voltage
//! is carried back to the start. Not along a straight line: with a capacitance that rises with voltage the discharge is
//! flatter at first, a straight line arrives too high, and at a low current the resistance comes out negative. So
//! the charge C0·v + k·v²/2 is what falls evenly, with k/C0 from the whole discharge.

use nalgebra::{DMatrix, DVector};

use super::Estimate;
use super::discharge::Discharge;
use super::line::{self, Line};
use super::spread;

/// The range that is carried back, as parts of the rated voltage: where a standard discharge is straightest
/// (common practice with IEC 62391-1).
pub(super) const FROM: f64 = 0.9;
pub(super) const TO: f64 = 0.7;

/// The resistance (ohm); `None` where the rows do not fix it.
pub(super) fn fit(discharge: &Discharge, current_a: f64, line: &Line) -> Option<Estimate<f64>> {
    let (bend_per_v, bend_error_per_v) = line.bend_per_v();
    let at = carried_back(discharge, bend_per_v)?;
    let beside = carried_back(discharge, bend_per_v + bend_error_per_v)?;
    let first_v = discharge.samples.first()?.storage_v;
    // The first row is one reading, with the noise of one.
    let squares = at.error_v.powi(2) + at.reading_v.powi(2) + (beside.voltage_v - at.voltage_v).powi(2);
    Some(Estimate {
        value: (first_v - at.voltage_v) / current_a,
        standard_error: squares.sqrt() / current_a,
    })
}

/// The terminal just after the current began.
struct Carried {
    voltage_v: f64,
    error_v: f64,
    /// Standard deviation of one reading.
    reading_v: f64,
}

/// The range carried back to time 0 where charge over C0, v + bend·v²/2, falls evenly with time.
fn carried_back(discharge: &Discharge, bend_per_v: f64) -> Option<Carried> {
    let samples = discharge.between(FROM, TO);
    // Divided by dcharge/dv, so that what is left is in volts.
    let weight = |v: f64| (1.0 + bend_per_v * v).recip();
    let columns = DMatrix::from_fn(samples.len(), 2, |row, column| {
        let sample = &samples[row];
        let time = if column == 0 { 1.0 } else { -sample.time_s };
        time * weight(sample.storage_v)
    });
    let charge = DVector::from_iterator(
        samples.len(),
        samples.iter().map(|sample| {
            let v = sample.storage_v;
            (v + bend_per_v * v * v / 2.0) * weight(v)
        }),
    );
    let normal = columns.transpose() * &columns;
    let found = normal.try_inverse()? * (columns.transpose() * &charge);
    let residual = charge - &columns * &found;
    let covariance = spread::covariance(&columns, residual.as_slice())?;
    let voltage_v = line::voltage_v(found[0], 1.0, bend_per_v)?;
    Some(Carried {
        voltage_v,
        error_v: covariance[(0, 0)].sqrt() * weight(voltage_v).abs(),
        reading_v: spread::deviation(residual.as_slice(), 2),
    })
}
