//! Robust linear regression over segments that each have a level of their own, with standard errors that hold when errors
//! follow each other.
//!
//! In a segment v = level + trend·t − Σ β·x + error; level and trend are projected out (docs/model.md, equation 37). Errors are
//! weighted down beyond 1.345 standard deviations (Huber, "Robust estimation of a location parameter", Annals of Mathematical
//! Statistics 35 (1964) 73-101), solved by repeated weighting. The covariance is the sandwich of blocks (Liang and Zeger,
//! "Longitudinal data analysis using generalized linear models", Biometrika 73 (1986) 13-22): it needs no independence inside
//! a block.

mod directions;
mod estimate;
mod local;
mod segment;

use nalgebra::{DMatrix, DVector};

use super::points::{COLUMNS, Point};
use super::readings::MEDIAN_TO_DEVIATION;
use crate::statistics::upper_median;
use directions::{LEAST_INFORMATION, directions};
use estimate::covariance;
use local::{Local, SETTLED};

pub(super) use estimate::Estimate;
pub use local::HUBER;
pub(super) use segment::Segment;

/// Rounds of weighting, at most.
const ROUNDS: usize = 200;
/// The scale of the errors is found anew in so many of them, then stays.
const SCALE_ROUNDS: usize = 10;
/// Rounds in which the spread of each segment is found.
const SPREAD_ROUNDS: usize = 2;
/// A segment whose errors are this many times the usual ones had something unknown in it.
const ODD_SEGMENT: f64 = 4.0;

/// Fits all segments together; `None` where no column has anything to say.
pub(super) fn solve(points: &[Point], segments: &[Segment], noise_v: f64) -> Option<Estimate> {
    let mut used = segments.to_vec();
    let mut beta = [0.0; COLUMNS];
    let mut scale_v = noise_v;
    let mut fitted = weighted(points, &used, &mut beta, &mut scale_v, noise_v)?;
    // A segment in which a report went unseen pulls on all factors: once they are known it stands out, and goes.
    let rms: Vec<f64> = used
        .iter()
        .map(|segment| rms_v(points, segment, &beta, scale_v))
        .collect();
    let usual = {
        let mut sorted = rms.clone();
        sorted.sort_by(f64::total_cmp);
        sorted
            .get(sorted.len() / 2)
            .copied()
            .unwrap_or_default()
            .max(noise_v)
    };
    let odd = rms.iter().filter(|rms| **rms > ODD_SEGMENT * usual).count();
    if odd > 0 && odd * 3 < used.len() {
        let mut rms = rms.iter();
        used.retain(|_| rms.next().is_some_and(|rms| *rms <= ODD_SEGMENT * usual));
        fitted = weighted(points, &used, &mut beta, &mut scale_v, noise_v)?;
    }
    for _ in 0..SPREAD_ROUNDS {
        let spreads: Vec<f64> = used
            .iter()
            .map(|segment| (usual_v(points, segment, &beta, scale_v) / noise_v).max(1.0))
            .collect();
        for (segment, spread) in used.iter_mut().zip(spreads) {
            segment.spread = spread;
        }
        fitted = weighted(points, &used, &mut beta, &mut scale_v, noise_v)?;
    }
    let (gram, _) = fitted;
    covariance(points, used, gram, beta, scale_v)
}

/// Weights again and again until the factors settle; the last sums of squares and right sides.
fn weighted(
    points: &[Point],
    segments: &[Segment],
    beta: &mut [f64; COLUMNS],
    scale_v: &mut f64,
    noise_v: f64,
) -> Option<(DMatrix<f64>, DVector<f64>)> {
    let mut last = None;
    // Level and trend of each segment go on from round to round, as the factors do.
    let mut levels: Vec<DVector<f64>> = vec![DVector::zeros(0); segments.len()];
    for round in 0..ROUNDS {
        let mut gram = DMatrix::zeros(COLUMNS, COLUMNS);
        let mut right = DVector::zeros(COLUMNS);
        let mut errors_v = Vec::new();
        let mut locals = Vec::with_capacity(segments.len());
        for (segment, level) in segments.iter().zip(&mut levels) {
            let weights = (round > 0).then_some((&*level, *scale_v));
            let mut local = Local::weighted(points, segment, beta, weights);
            gram += &local.gram;
            right += &local.right;
            if round > 0 {
                local.nuisance.clone_from(level);
                errors_v.extend(local.errors_as_it_is(points, segment, beta).map(f64::abs));
            }
            locals.push(local);
        }
        let next = least(&gram, &right)?;
        let moved = next
            .iter()
            .zip(beta.iter())
            .map(|(next, now)| (next - now).abs() / (now.abs() + 1e-3))
            .fold(0.0, f64::max);
        beta.copy_from_slice(&next);
        for (local, level) in locals.iter_mut().zip(&mut levels) {
            local.settle(beta);
            level.clone_from(&local.nuisance);
        }
        let median_v = (round < SCALE_ROUNDS).then(|| upper_median(&mut errors_v));
        if let Some(median_v) = median_v.flatten() {
            *scale_v = (MEDIAN_TO_DEVIATION * median_v).max(noise_v / 2.0);
        }
        last = Some((gram, right));
        if round > SCALE_ROUNDS && moved < SETTLED {
            break;
        }
    }
    last
}

/// The least solution of gram·β = right, in columns of equal weight, without combinations of which nothing is known.
fn least(gram: &DMatrix<f64>, right: &DVector<f64>) -> Option<[f64; COLUMNS]> {
    let (eigen, scale) = directions(gram)?;
    let scaled = DVector::from_fn(COLUMNS, |row, _| right[row] * scale[row]);
    let most = eigen.eigenvalues.max();
    let mut solution = DVector::zeros(COLUMNS);
    for (value, vector) in eigen.eigenvalues.iter().zip(eigen.eigenvectors.column_iter()) {
        if *value > LEAST_INFORMATION * most {
            solution += vector * (vector.dot(&scaled) / value);
        }
    }
    let mut beta = [0.0; COLUMNS];
    for (place, beta) in beta.iter_mut().enumerate() {
        *beta = solution[place] * scale[place];
    }
    Some(beta)
}

/// What is left of each reading of a segment, in volts below the model.
pub(super) fn errors(points: &[Point], segment: &Segment, estimate: &Estimate) -> Vec<f64> {
    let local = Local::of(points, segment, &estimate.beta, Some(estimate.noise_v));
    local
        .errors(points, segment, &estimate.beta)
        .map(|error_v| error_v * segment.spread)
        .collect()
}

/// Standard deviation of a segment's errors, by their median.
fn usual_v(points: &[Point], segment: &Segment, beta: &[f64; COLUMNS], scale_v: f64) -> f64 {
    let local = Local::of(points, segment, beta, Some(scale_v));
    let mut errors_v: Vec<f64> = local
        .errors(points, segment, beta)
        .map(|error_v| error_v.abs() * segment.spread)
        .collect();
    MEDIAN_TO_DEVIATION * upper_median(&mut errors_v).unwrap_or_default()
}

fn rms_v(points: &[Point], segment: &Segment, beta: &[f64; COLUMNS], scale_v: f64) -> f64 {
    let local = Local::of(points, segment, beta, Some(scale_v));
    let squares: f64 = local
        .errors(points, segment, beta)
        .map(|error_v| error_v * error_v)
        .sum();
    (squares / (segment.end - segment.first) as f64).sqrt()
}
