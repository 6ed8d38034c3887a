//! The line C0 + k·v through a whole discharge: Q = C0·v + k·v²/2 falls by I·t (docs/model.md, equation 33).
//!
//! Least squares of the voltage, by Levenberg and Marquardt, since the voltage is what is measured and bends with k. In
//! the terminal's voltage; that behind the resistance stands I·R higher throughout, which moves C0 only.

use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt};
use nalgebra::storage::Owned;
use nalgebra::{DMatrix, DVector, Dyn, Matrix3, U3, Vector3};

use super::discharge::{Discharge, Sample};
use super::levels::{LINE_FROM, LINE_TO};
use super::spread;

/// The fitted line, in plain numbers and the terminal's voltage.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Line {
    /// C0 at a terminal at 0 V.
    pub(super) low_f: f64,
    pub(super) slope_f_per_v: f64,
    pub(super) residual_rms_v: f64,
    pub(super) residual_largest_v: f64,
    /// Of the charge at time 0, C0 and k.
    covariance: Matrix3<f64>,
}

impl Line {
    /// Capacitance at a terminal voltage.
    pub(super) fn capacitance_f(&self, storage_v: f64) -> f64 {
        self.low_f + self.slope_f_per_v * storage_v
    }

    /// Standard error of that.
    pub(super) fn error_at(&self, storage_v: f64) -> f64 {
        let covariance = &self.covariance;
        let variance = covariance[(1, 1)]
            + storage_v * storage_v * covariance[(2, 2)]
            + 2.0 * storage_v * covariance[(1, 2)];
        variance.max(0.0).sqrt()
    }

    /// Standard error of k.
    pub(super) fn slope_error_f_per_v(&self) -> f64 {
        self.covariance[(2, 2)].sqrt()
    }

    /// How the charge bends: k/C0, and its standard error.
    pub(super) fn bend_per_v(&self) -> (f64, f64) {
        let gradient = Vector3::new(0.0, -self.slope_f_per_v / self.low_f, 1.0) / self.low_f;
        let variance = gradient.dot(&(self.covariance * gradient));
        (self.slope_f_per_v / self.low_f, variance.max(0.0).sqrt())
    }
}

/// The line through `discharge`, searched from the constant `capacitance_f`; `None` where none fits.
pub(super) fn fit(discharge: &Discharge, current_a: f64, capacitance_f: f64) -> Option<Line> {
    let samples = discharge.between(LINE_FROM, LINE_TO);
    let first = samples.first()?;
    let charge_c = capacitance_f * first.storage_v + current_a * first.time_s;
    let start = Problem {
        samples: &samples,
        current_a,
        parameters: Vector3::new(charge_c, capacitance_f, 0.0),
    };
    let (found, report) = LevenbergMarquardt::new().minimize(start);
    if !report.termination.was_successful() {
        return None;
    }
    let residual = found.residuals()?;
    let jacobian = found.jacobian()?;
    let dynamic = DMatrix::from_fn(samples.len(), 3, |row, column| jacobian[(row, column)]);
    let covariance = spread::covariance(&dynamic, residual.as_slice())?;
    Some(Line {
        low_f: found.parameters[1],
        slope_f_per_v: found.parameters[2],
        residual_rms_v: (residual.norm_squared() / samples.len() as f64).sqrt(),
        residual_largest_v: residual.amax(),
        covariance: Matrix3::from_fn(|row, column| covariance[(row, column)]),
    })
}

/// The voltage at which a charge is stored: the upper root of C0·v + k·v²/2 = Q, in the form that also holds for k = 0;
/// `None` where there is none.
pub(super) fn voltage_v(charge_c: f64, low_f: f64, slope_f_per_v: f64) -> Option<f64> {
    let root = (low_f * low_f + 2.0 * slope_f_per_v * charge_c).sqrt();
    let voltage_v = 2.0 * charge_c / (low_f + root);
    Some(voltage_v).filter(|voltage_v| voltage_v.is_finite())
}

struct Problem<'a> {
    samples: &'a [Sample],
    current_a: f64,
    /// Charge at time 0, C0, k.
    parameters: Vector3<f64>,
}

impl Problem<'_> {
    fn voltage_v(&self, time_s: f64) -> Option<f64> {
        let [charge_c, low_f, slope_f_per_v] = self.parameters.into();
        voltage_v(charge_c - self.current_a * time_s, low_f, slope_f_per_v)
    }
}

impl LeastSquaresProblem<f64, Dyn, U3> for Problem<'_> {
    type ParameterStorage = Owned<f64, U3>;
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, U3>;

    fn set_params(&mut self, parameters: &Vector3<f64>) {
        self.parameters = *parameters;
    }

    fn params(&self) -> Vector3<f64> {
        self.parameters
    }

    fn residuals(&self) -> Option<DVector<f64>> {
        let each = self
            .samples
            .iter()
            .map(|sample| Some(self.voltage_v(sample.time_s)? - sample.storage_v));
        each.collect::<Option<Vec<f64>>>().map(DVector::from_vec)
    }

    /// From C0·v + k·v²/2 = Q: dv/dQ = 1/C, dv/dC0 = −v/C, dv/dk = −v²/(2·C), with C = C0 + k·v.
    fn jacobian(&self) -> Option<nalgebra::OMatrix<f64, Dyn, U3>> {
        let mut jacobian = nalgebra::OMatrix::<f64, Dyn, U3>::zeros(self.samples.len());
        for (row, sample) in self.samples.iter().enumerate() {
            let v = self.voltage_v(sample.time_s)?;
            let capacitance_f = self.parameters[1] + self.parameters[2] * v;
            jacobian[(row, 0)] = capacitance_f.recip();
            jacobian[(row, 1)] = -v / capacitance_f;
            jacobian[(row, 2)] = -v * v / 2.0 / capacitance_f;
        }
        Some(jacobian)
    }
}
