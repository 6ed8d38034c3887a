//! Standard errors of a least-squares fit whose residuals follow one another (docs/model.md, equation 35).
//!
//! A slow error of an instrument, or a curve that the model does not have, makes neighbours alike: a thousand rows then say no
//! more than some tens. With the correlation ρ of neighbours, taken as a process of first order, n rows count as
//! n·(1 − ρ)/(1 + ρ) (Bayley and Hammersley, Journal of the Royal Statistical Society, supplement 8 (1946) 184-197). ρ of a
//! short series comes out too small and is corrected (Kendall, Biometrika 41 (1954) 403-404).

use nalgebra::DMatrix;

/// Covariance of the parameters of a fit with this Jacobian and these residuals; `None` where the rows do not fix them.
pub(super) fn covariance(jacobian: &DMatrix<f64>, residual: &[f64]) -> Option<DMatrix<f64>> {
    let (rows, parameters) = (jacobian.nrows() as f64, jacobian.ncols() as f64);
    let squares: f64 = residual.iter().map(|r| r * r).sum();
    let counted = counted(residual, parameters);
    // Of independent rows this is squares / (rows − parameters) times the inverse.
    let variance = squares / rows * counted / (counted - parameters);
    let inverse = (jacobian.transpose() * jacobian).try_inverse()?;
    Some(inverse * (variance * rows / counted))
}

/// Standard deviation of one residual.
pub(super) fn deviation(residual: &[f64], parameters: usize) -> f64 {
    let squares: f64 = residual.iter().map(|r| r * r).sum();
    (squares / residual.len().saturating_sub(parameters).max(1) as f64).sqrt()
}

/// As how many independent ones the residuals count: at least one more than there are parameters.
fn counted(residual: &[f64], parameters: f64) -> f64 {
    let rows = residual.len() as f64;
    let squares: f64 = residual.iter().map(|r| r * r).sum();
    let neighbours: f64 = residual.windows(2).map(|pair| pair[0] * pair[1]).sum();
    let seen = if squares > 0.0 { neighbours / squares } else { 0.0 };
    let correlation = (seen + (1.0 + 3.0 * seen) / rows).clamp(0.0, 1.0);
    (rows * (1.0 - correlation) / (1.0 + correlation)).max(parameters + 1.0)
}

#[cfg(test)]
mod tests {
    use approx::assert_relative_eq;
    use rand::{RngExt as _, SeedableRng};
    use rand_pcg::Pcg64;

    use super::*;

    /// Rounding of a sum of four.
    const ROUNDING: f64 = 1e-12;
    /// Five standard errors of 1 − ρ, each a thirtieth of it: √((1 − ρ²)/n) = 0.006.
    const CORRELATION_SPREAD: f64 = 5.0 / 30.0;

    /// Four readings 1, 3, 1, 3 of one constant: neighbours differ, so they count in full, and the error of the mean is
    /// √(4/3)/√4 by hand.
    #[test]
    fn independent_rows_give_the_error_of_a_mean() {
        let ones = DMatrix::from_element(4, 1, 1.0);
        let covariance = covariance(&ones, &[-1.0, 1.0, -1.0, 1.0]).expect("a mean");
        assert_relative_eq!(covariance[(0, 0)], 4.0 / 3.0 / 4.0, max_relative = ROUNDING);
    }

    /// A process of first order with ρ = 0.8 in 10,000 rows: one row in nine counts.
    #[test]
    fn neighbours_alike_count_less() {
        let mut random = Pcg64::seed_from_u64(1);
        let mut now = 0.0;
        let rows: Vec<f64> = (0..10_000)
            .map(|_| {
                now = 0.8 * now + random.random_range(-1.0..1.0);
                now
            })
            .collect();
        assert_relative_eq!(
            counted(&rows, 1.0),
            10_000.0 / 9.0,
            max_relative = CORRELATION_SPREAD
        );
    }

    #[test]
    fn columns_that_are_the_same_have_no_error() {
        assert_eq!(covariance(&DMatrix::from_element(9, 2, 1.0), &[1.0; 9]), None);
    }
}
