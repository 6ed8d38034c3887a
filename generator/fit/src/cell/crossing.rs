//! When the voltage passes a level: by a straight line through the rows around it, which averages their noise.

use nalgebra::DMatrix;

use super::discharge::Discharge;
use super::levels::{CROSSING_HALF_WIDTH, CROSSING_LEAST_ROWS};
use super::spread;

/// A level and when it is passed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Crossing {
    pub(super) storage_v: f64,
    pub(super) time_s: f64,
    pub(super) standard_error_s: f64,
}

/// When the terminal passes `level`, a part of the rated voltage; `None` where there are too few rows on either side.
pub(super) fn of(discharge: &Discharge, level: f64) -> Option<Crossing> {
    let storage_v = level * discharge.rated_v;
    let near = discharge.between(level + CROSSING_HALF_WIDTH, level - CROSSING_HALF_WIDTH);
    let is_below = near.iter().any(|sample| sample.storage_v <= storage_v);
    if near.len() < CROSSING_LEAST_ROWS || !is_below {
        return None;
    }
    let count = near.len() as f64;
    let middle_s = near.iter().map(|sample| sample.time_s).sum::<f64>() / count;
    let middle_v = near.iter().map(|sample| sample.storage_v).sum::<f64>() / count;
    let squares: f64 = near.iter().map(|sample| (sample.time_s - middle_s).powi(2)).sum();
    let products: f64 = near
        .iter()
        .map(|sample| (sample.time_s - middle_s) * (sample.storage_v - middle_v))
        .sum();
    let rate_v_per_s = products / squares;
    let time_s = middle_s + (storage_v - middle_v) / rate_v_per_s;
    let residual: Vec<f64> = near
        .iter()
        .map(|sample| sample.storage_v - middle_v - rate_v_per_s * (sample.time_s - middle_s))
        .collect();
    let columns = DMatrix::from_fn(near.len(), 2, |row, column| match column {
        0 => 1.0,
        _ => near[row].time_s - middle_s,
    });
    let covariance = spread::covariance(&columns, &residual)?;
    let away_s = time_s - middle_s;
    let variance =
        covariance[(0, 0)] + away_s * away_s * covariance[(1, 1)] + 2.0 * away_s * covariance[(0, 1)];
    Some(Crossing {
        storage_v,
        time_s,
        standard_error_s: variance.sqrt() / rate_v_per_s.abs(),
    })
    .filter(|crossing| crossing.time_s.is_finite() && rate_v_per_s < 0.0)
}
