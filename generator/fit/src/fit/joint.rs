//! From the factors that a log fixes, all of them over the capacitance, to the parts: what is known beside the log takes part as
//! residuals of its own.
//!
//! With every current and energy θ over the described one and the capacitance c, the log says β = θ/c only (docs/model.md, equation
//! 38). The description knows currents within `margins.load`, the reading's scale within its tolerances, and it may be wrong
//! about any one thing: each currents' factor is either as described or raised by a fault, and the capacitance is inside its
//! tolerances or outside. Each such explanation is solved by Levenberg and Marquardt's method (K. Levenberg, Quarterly of Applied
//! Mathematics 2 (1944) 164-168; D. W. Marquardt, Journal of the Society for Industrial and Applied Mathematics 11 (1963)
//! 431-441), weighed by how well it explains the log (Laplace's approximation), and averaged.

use std::f64::consts::SQRT_2;

use levenberg_marquardt::{LeastSquaresProblem, LevenbergMarquardt};
use nalgebra::storage::Owned;
use nalgebra::{DMatrix, DVector, Dyn, SMatrix, SVector, U7};

use super::described::{Described, LEAKAGE_DEVIATION, USUAL_LEAKAGE};
use super::known::{KNOWN_DEVIATION, Known};
use super::points::{COLUMNS, MEASURE, RESISTANCE, SLEEP, TRANSMIT};
use super::regression::Estimate;

/// Unknowns: ln c, ln θ of sleep, samples and reports, θ of leakage, ln R over the described one, ln of the reading's scale.
pub(super) const UNKNOWNS: usize = 7;
pub(super) const CAPACITANCE: usize = 0;
pub(super) const SLEEPING: usize = 1;
pub(super) const SAMPLE: usize = 2;
pub(super) const REPORT: usize = 3;
pub(super) const LEAKING: usize = 4;
pub(super) const SERIES: usize = 5;
const SCALE: usize = 6;

/// A balance resistor or a sensing divider is as it says.
const RESISTORS_DEVIATION: f64 = 0.02;
/// A dip under load is one current and one branch in the model, and neither in the bank: its resistance is known to this.
const DIP_DEVIATION: f64 = 0.05;
/// Parts this many deviations from what is believed of them are not believed.
const INCREDIBLE: f64 = 3.5;
/// And at this many something else is looked for.
const STRAINED: f64 = 2.0;
/// What is not known of a factor: e to the power of this, up or down.
const OPEN: f64 = 1.0;
/// How probable a fault of each kind is taken to be before the log is looked at, and how large: mean and deviation of the factor's
/// logarithm (own choice; the table of faults in docs/validation.md shows what comes of it).
const RAISED: [(f64, f64, f64); 2] = [(0.07, 0.7, 0.5), (0.001, -0.7, 0.5)];
/// The same for the sleeping current, which a single forgotten pull-up raises by far more.
const RAISED_ASLEEP: [(f64, f64, f64); 2] = [(0.1, 1.2, 1.0), (0.001, -0.7, 0.5)];
/// Capacitance outside its tolerances.
const OUTSIDE: (f64, f64, f64) = (0.1, -0.5, 0.6);

/// What is believed of one factor's logarithm: how probable the case is, the mean, the deviation.
type Belief = (f64, f64, f64);

/// The unknowns, averaged over the explanations.
#[derive(Clone, Debug)]
pub(super) struct Parts {
    /// Means.
    pub(super) mean: SVector<f64, UNKNOWNS>,
    /// Standard deviations, of the best explanations together.
    pub(super) deviation: SVector<f64, UNKNOWNS>,
    /// Deviations before the log was looked at.
    pub(super) before: SVector<f64, UNKNOWNS>,
    /// Covariance of the means.
    pub(super) covariance: SMatrix<f64, UNKNOWNS, UNKNOWNS>,
    /// The explanations one by one.
    pub(super) explanations: Vec<Explanation>,
}

impl Parts {
    /// How probable it is that one of these unknowns at least is above `limit`, over all explanations. In one explanation they are
    /// taken as independent.
    pub(super) fn above(&self, places: &[usize], limit: f64) -> f64 {
        let each = self.explanations.iter().map(|one| {
            let below = |place: &usize| {
                let deviation = one.covariance[(*place, *place)].sqrt();
                libm::erfc((one.parts[*place] - limit) / (deviation * SQRT_2)) / 2.0
            };
            one.probability * (1.0 - places.iter().map(below).product::<f64>())
        });
        each.sum()
    }

    /// Whether even the best explanation takes a leakage that is hardly believed.
    pub(super) fn is_strained(&self) -> bool {
        self.explanations.first().is_some_and(|best| {
            let (mean, deviation) = &best.believed;
            (best.parts[LEAKING] - mean[LEAKING]).abs() > STRAINED * deviation[LEAKING]
        })
    }

    /// Logarithm of how well the best explanation explains the log, up to a constant.
    pub(super) fn evidence(&self) -> f64 {
        self.explanations
            .first()
            .map_or(f64::NEG_INFINITY, |best| best.logarithm)
    }
}

/// Finds the parts; `None` where no explanation can be solved.
pub(super) fn parts(estimate: &Estimate, described: &Described, known: &Known) -> Option<Parts> {
    let beliefs = Beliefs::of(described, known);
    let whitening = whitening(&estimate.covariance)?;
    let mut found: Vec<Explanation> = Vec::new();
    for capacitance in &beliefs.capacitance {
        for asleep in &beliefs.asleep {
            for sample in &beliefs.work {
                for report in &beliefs.work {
                    let cases = [*capacitance, *asleep, *sample, *report];
                    found.extend(explain(estimate, described, &whitening, &cases));
                }
            }
        }
    }
    average(found, described)
}

/// What is believed before.
struct Beliefs {
    capacitance: Vec<Belief>,
    asleep: Vec<Belief>,
    work: Vec<Belief>,
}

impl Beliefs {
    fn of(described: &Described, known: &Known) -> Self {
        let with = |raised: [Belief; 2]| {
            let usual = 1.0 - raised.iter().map(|(probability, _, _)| probability).sum::<f64>();
            let mut all = vec![(usual, 0.0, described.load_deviation)];
            all.extend(raised);
            all
        };
        let (low, high) = (
            described.end_of_life.ln(),
            described.most_capacitance.max(1.0).ln(),
        );
        let measured = |mean: f64| vec![(1.0, mean, KNOWN_DEVIATION)];
        let inside = (
            1.0 - OUTSIDE.0,
            (low + high) / 2.0,
            ((high - low) / 3.0).max(0.05),
        );
        Self {
            capacitance: known
                .capacitance(described)
                .map_or_else(|| vec![inside, OUTSIDE], measured),
            asleep: known
                .sleep_current(described)
                .map_or_else(|| with(RAISED_ASLEEP), measured),
            work: with(RAISED),
        }
    }
}

/// One explanation: its parts, how far they are known, and how well it explains the log.
#[derive(Clone, Debug)]
pub(super) struct Explanation {
    /// What was believed of each unknown: means and deviations.
    pub(super) believed: (SVector<f64, UNKNOWNS>, SVector<f64, UNKNOWNS>),
    pub(super) parts: SVector<f64, UNKNOWNS>,
    pub(super) covariance: SMatrix<f64, UNKNOWNS, UNKNOWNS>,
    /// How probable it is, beside all others.
    pub(super) probability: f64,
    /// Logarithm of that, up to a constant.
    logarithm: f64,
    /// How many deviations the farthest of its parts is from what was believed.
    tension: f64,
}

/// The matrix that makes the errors of the combinations independent, each of deviation 1.
fn whitening(covariance: &DMatrix<f64>) -> Option<DMatrix<f64>> {
    let lower = covariance.clone().cholesky()?.unpack();
    lower.try_inverse()
}

/// Mean and deviation of the leakage's factor.
fn leakage(described: &Described) -> (f64, f64) {
    let own_s = described.leakage_s - described.resistors_s;
    let whole_s = described.leakage_s.max(1e-15);
    let mean = (USUAL_LEAKAGE * own_s + described.resistors_s) / whole_s;
    let deviation = (LEAKAGE_DEVIATION * own_s).hypot(RESISTORS_DEVIATION * described.resistors_s) / whole_s;
    (mean, deviation.max(1e-3))
}

fn explain(
    estimate: &Estimate,
    described: &Described,
    whitening: &DMatrix<f64>,
    cases: &[Belief; 4],
) -> Option<Explanation> {
    let mut mean = SVector::<f64, UNKNOWNS>::zeros();
    let mut deviation = SVector::<f64, UNKNOWNS>::repeat(OPEN);
    for (place, (_, center, spread)) in cases.iter().enumerate() {
        mean[place] = *center;
        deviation[place] = *spread;
    }
    deviation[SAMPLE] = deviation[SAMPLE].hypot(described.measure.resistive_deviation);
    deviation[REPORT] = deviation[REPORT].hypot(described.transmit.resistive_deviation);
    (mean[LEAKING], deviation[LEAKING]) = leakage(described);
    (mean[SERIES], deviation[SERIES]) = (0.5, OPEN);
    (mean[SCALE], deviation[SCALE]) = (0.0, described.sense_deviation);
    let problem = Problem {
        estimate,
        described,
        whitening,
        mean,
        deviation,
        parts: mean,
    };
    let (solved, report) = LevenbergMarquardt::new().minimize(problem);
    if !report.termination.was_successful() && !report.objective_function.is_finite() {
        return None;
    }
    let jacobian = solved.jacobian()?;
    let information = jacobian.transpose() * &jacobian;
    let information = SMatrix::<f64, UNKNOWNS, UNKNOWNS>::from_fn(|a, b| information[(a, b)]);
    let covariance = information.try_inverse()?;
    let weight: f64 = cases.iter().map(|(probability, _, _)| probability.ln()).sum();
    let before: f64 = deviation.iter().map(|deviation| deviation.ln()).sum();
    let after = 0.5 * covariance.determinant().max(f64::MIN_POSITIVE).ln();
    let apart =
        (0..UNKNOWNS).map(|part| ((solved.parts[part] - solved.mean[part]) / solved.deviation[part]).abs());
    Some(Explanation {
        believed: (solved.mean, solved.deviation),
        probability: 0.0,
        tension: apart.fold(0.0, f64::max),
        parts: solved.parts,
        covariance,
        logarithm: weight - report.objective_function + after - before,
    })
}

/// Means and spread over all explanations, each as probable as it is.
fn average(mut found: Vec<Explanation>, described: &Described) -> Option<Parts> {
    found.sort_by(|a, b| b.logarithm.total_cmp(&a.logarithm));
    let first = found.first()?;
    let best = first.logarithm;
    // What even the best explanation finds incredible is no explanation: something else is wrong with the log.
    if !best.is_finite() || first.tension > INCREDIBLE {
        return None;
    }
    let sum: f64 = found.iter().map(|one| (one.logarithm - best).exp()).sum();
    let mut mean = SVector::<f64, UNKNOWNS>::zeros();
    for one in &mut found {
        one.probability = (one.logarithm - best).exp() / sum;
        mean += one.parts * one.probability;
    }
    let mut covariance = SMatrix::<f64, UNKNOWNS, UNKNOWNS>::zeros();
    for one in &found {
        let apart = one.parts - mean;
        covariance += (one.covariance + apart * apart.transpose()) * one.probability;
    }
    covariance[(SERIES, SERIES)] += DIP_DEVIATION * DIP_DEVIATION;
    let mut before = SVector::<f64, UNKNOWNS>::repeat(OPEN);
    before[SAMPLE] = described.load_deviation;
    before[REPORT] = described.load_deviation;
    before[SLEEPING] = described.load_deviation;
    before[LEAKING] = leakage(described).1;
    Some(Parts {
        mean,
        deviation: covariance.diagonal().map(f64::sqrt),
        before,
        covariance,
        explanations: found,
    })
}

/// Residuals of one explanation: the log's, then those of what is believed.
struct Problem<'a> {
    estimate: &'a Estimate,
    described: &'a Described,
    whitening: &'a DMatrix<f64>,
    mean: SVector<f64, UNKNOWNS>,
    deviation: SVector<f64, UNKNOWNS>,
    parts: SVector<f64, UNKNOWNS>,
}

impl Problem<'_> {
    /// The factors that the log would show, and how each of them follows each part.
    fn factors(&self) -> (DVector<f64>, DMatrix<f64>) {
        let parts = &self.parts;
        let over = (-parts[CAPACITANCE]).exp();
        let sleeping_share = self.described.sleep_power_share();
        let mut value = DVector::zeros(COLUMNS);
        let mut slope = DMatrix::zeros(COLUMNS, UNKNOWNS);
        let mut scaled = |column: usize, part: usize, share: f64| {
            // A reading that is too large by s shows a constant current s times, a constant power s² times too large.
            let power = 1.0 + share;
            value[column] = (parts[part] + power * parts[SCALE]).exp() * over;
            slope[(column, part)] = value[column];
            slope[(column, CAPACITANCE)] = -value[column];
            slope[(column, SCALE)] = power * value[column];
        };
        scaled(SLEEP, SLEEPING, sleeping_share);
        scaled(MEASURE, SAMPLE, self.described.measure.power_share);
        scaled(TRANSMIT, REPORT, self.described.transmit.power_share);
        value[LEAKAGE_COLUMN] = parts[LEAKING] * over;
        slope[(LEAKAGE_COLUMN, LEAKING)] = over;
        slope[(LEAKAGE_COLUMN, CAPACITANCE)] = -value[LEAKAGE_COLUMN];
        // The dip under a current that is itself the report's.
        let power = 1.0 + self.described.transmit.power_share;
        value[RESISTANCE] =
            self.described.resistance_ohm * (parts[SERIES] + parts[REPORT] + power * parts[SCALE]).exp();
        for (part, power) in [(SERIES, 1.0), (REPORT, 1.0), (SCALE, power)] {
            slope[(RESISTANCE, part)] = power * value[RESISTANCE];
        }
        (value, slope)
    }
}

const LEAKAGE_COLUMN: usize = super::points::LEAKAGE;

impl LeastSquaresProblem<f64, Dyn, U7> for Problem<'_> {
    type ResidualStorage = Owned<f64, Dyn>;
    type JacobianStorage = Owned<f64, Dyn, U7>;
    type ParameterStorage = Owned<f64, U7>;

    fn set_params(&mut self, parts: &SVector<f64, UNKNOWNS>) {
        self.parts = *parts;
    }

    fn params(&self) -> SVector<f64, UNKNOWNS> {
        self.parts
    }

    fn residuals(&self) -> Option<DVector<f64>> {
        let (value, _) = self.factors();
        let log = self.whitening * (&self.estimate.combinations * value - &self.estimate.values);
        let count = log.len();
        let all = DVector::from_fn(count + UNKNOWNS, |row, _| {
            if row < count {
                log[row]
            } else {
                let part = row - count;
                (self.parts[part] - self.mean[part]) / self.deviation[part]
            }
        });
        all.iter().all(|one| one.is_finite()).then_some(all)
    }

    fn jacobian(&self) -> Option<nalgebra::OMatrix<f64, Dyn, U7>> {
        let (_, slope) = self.factors();
        let log = self.whitening * (&self.estimate.combinations * slope);
        let count = log.nrows();
        Some(nalgebra::OMatrix::<f64, Dyn, U7>::from_fn(
            count + UNKNOWNS,
            |row, part| {
                if row < count {
                    log[(row, part)]
                } else if row - count == part {
                    self.deviation[part].recip()
                } else {
                    0.0
                }
            },
        ))
    }
}
