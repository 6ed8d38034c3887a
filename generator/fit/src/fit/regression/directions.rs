//! Of which combinations of the columns the points say anything.

use nalgebra::{DMatrix, SymmetricEigen};

use super::super::points::COLUMNS;

/// A combination of columns about which the points say less than this part of what they say about the best is left out.
pub(super) const LEAST_INFORMATION: f64 = 1e-7;

/// Eigenvectors of the sums of squares after each column was scaled to one.
pub(super) fn directions(
    gram: &DMatrix<f64>,
) -> Option<(SymmetricEigen<f64, nalgebra::Dyn>, [f64; COLUMNS])> {
    let mut scale = [0.0; COLUMNS];
    for (place, scale) in scale.iter_mut().enumerate() {
        let square = gram[(place, place)];
        *scale = if square > 1e-24 {
            square.sqrt().recip()
        } else {
            0.0
        };
    }
    if scale.iter().all(|scale| *scale == 0.0) || gram.iter().any(|entry| !entry.is_finite()) {
        return None;
    }
    let scaled = DMatrix::from_fn(COLUMNS, COLUMNS, |row, column| {
        gram[(row, column)] * scale[row] * scale[column]
    });
    Some((SymmetricEigen::new(scaled), scale))
}
