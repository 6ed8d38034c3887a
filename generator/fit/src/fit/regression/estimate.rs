//! What the points say of the factors: values of the combinations that they fix, and their covariance, the sandwich of blocks
//! (Liang and Zeger, "Longitudinal data analysis using generalized linear models", Biometrika 73 (1986) 13-22).

use nalgebra::{DMatrix, DVector};

use super::super::points::{COLUMNS, Point};
use super::directions::{LEAST_INFORMATION, directions};
use super::local::{Local, weight};
use super::segment::Segment;

/// What blocks do not show of the errors' spread, as a factor on the covariance: dusk in a dark block, an action that no row tells of
/// (from logs of known truth).
const UNSEEN: f64 = 1.5;

/// The least share of what white noise alone would give.
const LEAST_WHITE: f64 = 0.05;

/// A sum of factors is fixed where this part of its direction is among the combinations that are kept.
const FIXED: f64 = 0.99;

/// The sandwich of m blocks is itself known to √(2/m) only, and one reading alone shows no spread at all: with m blocks behind a
/// combination this over m is the share of what white noise would give.
const FEW_BLOCKS: f64 = 10.0;

/// What the points say about the factors β: for combinations of them, a value and a covariance.
#[derive(Clone, Debug)]
pub(in crate::fit) struct Estimate {
    /// One row for each combination that the points fix, over all columns.
    pub(in crate::fit) combinations: DMatrix<f64>,
    /// The values of the combinations.
    pub(in crate::fit) values: DVector<f64>,
    /// Their covariance.
    pub(in crate::fit) covariance: DMatrix<f64>,
    /// Factors that reproduce the values, the least ones.
    pub(in crate::fit) beta: [f64; COLUMNS],
    /// Standard deviation of an error (V).
    pub(in crate::fit) noise_v: f64,
    /// Root of the mean square of all errors of the segments that count (V).
    pub(in crate::fit) rms_v: f64,
    /// Segments that count.
    pub(in crate::fit) used: Vec<Segment>,
}

/// The sandwich: what the blocks' scores spread, seen through the sums of squares.
pub(super) fn covariance(
    points: &[Point],
    used: Vec<Segment>,
    gram: DMatrix<f64>,
    beta: [f64; COLUMNS],
    scale_v: f64,
) -> Option<Estimate> {
    let (eigen, scale) = directions(&gram)?;
    let most = eigen.eigenvalues.max();
    let kept: Vec<usize> = (0..COLUMNS)
        .filter(|place| eigen.eigenvalues[*place] > LEAST_INFORMATION * most)
        .collect();
    // A combination c = Uᵀ·D⁻¹·β of the factors, with D the scale of the columns.
    let combinations = DMatrix::from_fn(kept.len(), COLUMNS, |row, column| {
        let vector = eigen.eigenvectors[(column, kept[row])];
        if scale[column] > 0.0 {
            vector / scale[column]
        } else {
            0.0
        }
    });
    let mut meat = DMatrix::zeros(kept.len(), kept.len());
    // Of each combination: what all blocks say of it, and the sum of their squares.
    let mut information = vec![(0.0, 0.0); kept.len()];
    let (mut squares, mut rows, mut blocks) = (0.0, 0usize, 0usize);
    for segment in &used {
        let local = Local::of(points, segment, &beta, Some(scale_v));
        let errors_v: Vec<f64> = local.errors(points, segment, &beta).collect();
        squares += errors_v
            .iter()
            .map(|error_v| (error_v * segment.spread).powi(2))
            .sum::<f64>();
        rows += errors_v.len();
        let own = &points[segment.first..segment.end];
        for (own, errors_v) in own.chunks(segment.block).zip(errors_v.chunks(segment.block)) {
            let mut score = DVector::zeros(COLUMNS);
            let mut said = vec![0.0; kept.len()];
            for (point, error_v) in own.iter().zip(errors_v) {
                let x = local.without_nuisance(point, segment, points);
                let weight = weight(*error_v, scale_v);
                for (said, place) in said.iter_mut().zip(&kept) {
                    let along: f64 = (0..COLUMNS)
                        .map(|column| eigen.eigenvectors[(column, *place)] * x[column] * scale[column])
                        .sum();
                    *said += weight * along * along;
                }
                score += x * (weight * error_v);
            }
            for ((sum, squares), said) in information.iter_mut().zip(said) {
                *sum += said;
                *squares += said * said;
            }
            let score = DVector::from_fn(kept.len(), |row, _| {
                (0..COLUMNS)
                    .map(|column| eigen.eigenvectors[(column, kept[row])] * score[column] * scale[column])
                    .sum::<f64>()
                    / eigen.eigenvalues[kept[row]]
            });
            meat += &score * score.transpose();
            blocks += 1;
        }
    }
    if blocks <= kept.len() {
        return None;
    }
    // Few blocks spread less than the truth: as many as factors would spread nothing.
    let few = blocks as f64 / (blocks - kept.len()) as f64;
    let white: Vec<f64> = information
        .iter()
        .map(|(sum, squares)| (FEW_BLOCKS * squares / (sum * sum)).clamp(LEAST_WHITE, 1.0))
        .collect();
    let covariance = DMatrix::from_fn(kept.len(), kept.len(), |row, column| {
        let blocks = meat[(row, column)] * few * UNSEEN * ((1.0 - white[row]) * (1.0 - white[column])).sqrt();
        let noise = if row == column {
            white[row] * scale_v * scale_v / eigen.eigenvalues[kept[row]]
        } else {
            0.0
        };
        blocks + noise
    });
    let values = DVector::from_fn(kept.len(), |row, _| {
        (0..COLUMNS)
            .map(|column| combinations[(row, column)] * beta[column])
            .sum()
    });
    Some(Estimate {
        combinations,
        values,
        covariance,
        beta,
        noise_v: scale_v,
        rms_v: (squares / rows.max(1) as f64).sqrt(),
        used,
    })
}

impl Estimate {
    /// Whether the points fix this factor by itself, and its standard error.
    pub(in crate::fit) fn column(&self, column: usize) -> (bool, f64) {
        let mut shares = [0.0; COLUMNS];
        shares[column] = 1.0;
        self.sum(&shares)
    }

    /// Whether the points fix this sum of the factors by itself, and its standard error.
    pub(in crate::fit) fn sum(&self, shares: &[f64; COLUMNS]) -> (bool, f64) {
        // The factor is a sum of the combinations where its own direction is among them.
        let gram = &self.combinations * self.combinations.transpose();
        let Some(inverse) = gram.try_inverse() else {
            return (false, f64::INFINITY);
        };
        let shares = DVector::from_column_slice(shares);
        let row = shares.transpose() * self.combinations.transpose() * inverse;
        let own = (&row * &self.combinations * &shares)[(0, 0)];
        let variance = (&row * &self.covariance * row.transpose())[(0, 0)];
        (own > FIXED * shares.norm_squared(), variance.max(0.0).sqrt())
    }
}
