//! Series resistance: how far the voltage steps down when the current begins (docs/model.md, equation 34).
//!
//! The step itself is blurred by the quick charge of the first moments, so the discharge from 90 to 70 % of the rated voltage
//! is carried back to the start, which is known to lie between the last row at rest and the first one under the current. Not along a straight line: with a capacitance that rises with voltage the discharge is
//! flatter at first, a straight line arrives too high, and at a low current the resistance comes out negative. So
//! the charge C0·v + k·v²/2 is what falls evenly, with k/C0 from the whole discharge.

use nalgebra::{DMatrix, DVector};

use super::Estimate;
use super::discharge::Discharge;
use super::levels::{RESISTANCE_FROM, RESISTANCE_TO};
use super::line::{self, Line};
use super::spread;
use super::start::{self, Start};
use crate::units::*;

/// The resistance (ohm) in the middle of what the time of the step leaves open; `None` where the rows do not fix it.
pub(super) fn fit(discharge: &Discharge, current_a: f64, line: &Line) -> Option<(Estimate<f64>, Start)> {
    let (bend_per_v, bend_error_per_v) = line.bend_per_v();
    let carried = Carried::of(discharge, bend_per_v)?;
    let first_v = discharge.samples.first()?.storage_v;
    let step = start::find(
        discharge,
        carried.rate_v_per_s(first_v),
        carried.reading_v,
        |time_s| carried.voltage_v(time_s),
    )?;
    let beside = Carried::of(discharge, bend_per_v + bend_error_per_v)?;
    let loaded_v = carried.voltage_v(step.loaded_s)?;
    let bent_v = beside.voltage_v(step.loaded_s)? - loaded_v;
    let interval_s = step.loaded_s - step.rest_s;
    let half_v = carried.rate_v_per_s(loaded_v) * interval_s / 2.0;
    // Rows at rest may all stand on one step of a converter: together they have the noise of one. The step is as likely at any
    // time between the two rows.
    let squares = carried.error_v(step.loaded_s)?.powi(2)
        + carried.reading_v.powi(2)
        + bent_v.powi(2)
        + half_v.powi(2) / 3.0;
    let estimate = Estimate {
        value: (step.rest_v - loaded_v - half_v) / current_a,
        standard_error: squares.sqrt() / current_a,
    };
    let start = Start {
        interval: seconds(interval_s),
        resistance: ohms(half_v / current_a),
    };
    Some((estimate, start))
}

/// The range along which charge over C0, w + bend·w²/2 = A − B·t, falls evenly with time.
struct Carried {
    bend_per_v: f64,
    /// A and B.
    charge_v: f64,
    charge_v_per_s: f64,
    covariance: DMatrix<f64>,
    /// Standard deviation of one reading.
    reading_v: f64,
}

impl Carried {
    fn of(discharge: &Discharge, bend_per_v: f64) -> Option<Self> {
        let samples = discharge.between(RESISTANCE_FROM, RESISTANCE_TO);
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
        Some(Self {
            bend_per_v,
            charge_v: found[0],
            charge_v_per_s: found[1],
            covariance: spread::covariance(&columns, residual.as_slice())?,
            reading_v: spread::deviation(residual.as_slice(), 2),
        })
    }

    /// The terminal at a time.
    fn voltage_v(&self, time_s: f64) -> Option<f64> {
        line::voltage_v(self.charge_v - self.charge_v_per_s * time_s, 1.0, self.bend_per_v)
    }

    /// Standard error of that.
    fn error_v(&self, time_s: f64) -> Option<f64> {
        let covariance = &self.covariance;
        let variance =
            covariance[(0, 0)] - 2.0 * time_s * covariance[(0, 1)] + time_s * time_s * covariance[(1, 1)];
        Some(variance.max(0.0).sqrt() / (1.0 + self.bend_per_v * self.voltage_v(time_s)?).abs())
    }

    /// How fast the terminal falls there.
    fn rate_v_per_s(&self, storage_v: f64) -> f64 {
        self.charge_v_per_s / (1.0 + self.bend_per_v * storage_v)
    }
}
