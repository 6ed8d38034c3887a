//! Level and trend of one segment, projected out of its points (docs/model.md, equation 37), and the weight of an error.

use nalgebra::{DMatrix, DVector};

use super::super::points::{COLUMNS, Point};
use super::segment::Segment;

/// Errors beyond this many standard deviations count less: 95 % of least squares' efficiency where all are normal.
pub const HUBER: f64 = 1.345;

/// Rounds for the level of one segment, at most.
const LEVEL_ROUNDS: usize = 50;

/// Weighting ends when nothing moves by more than this part of itself.
pub(super) const SETTLED: f64 = 1e-7;

pub(super) fn weight(error_v: f64, scale_v: f64) -> f64 {
    (HUBER * scale_v / error_v.abs().max(1e-300)).min(1.0)
}

/// Level and trend of a segment, and the sums that belong to them.
pub(super) struct Local {
    pub(super) nuisance: DVector<f64>,
    pub(super) gram: DMatrix<f64>,
    pub(super) right: DVector<f64>,
    order: usize,
    inverse: DMatrix<f64>,
    cross: DMatrix<f64>,
}

impl Local {
    /// Sums over a segment with the weights that belong to these factors, this level and this scale; all 1 without.
    pub(super) fn weighted(
        points: &[Point],
        segment: &Segment,
        beta: &[f64; COLUMNS],
        weights: Option<(&DVector<f64>, f64)>,
    ) -> Self {
        let order = if segment.is_dark { 1 } else { 2 };
        let Some((level, scale_v)) = weights else {
            return Self::sums(points, segment, order, |_| 1.0);
        };
        let before = Self {
            nuisance: level.clone(),
            gram: DMatrix::zeros(0, 0),
            right: DVector::zeros(0),
            order,
            inverse: DMatrix::zeros(0, 0),
            cross: DMatrix::zeros(0, 0),
        };
        Self::sums(points, segment, order, |point| {
            weight(before.error(point, segment, points, beta), scale_v)
        })
    }

    /// The same with the level that settles under these factors; all weights 1 without a scale.
    pub(super) fn of(
        points: &[Point],
        segment: &Segment,
        beta: &[f64; COLUMNS],
        scale_v: Option<f64>,
    ) -> Self {
        let mut local = Self::weighted(points, segment, beta, None);
        local.settle(beta);
        let Some(scale_v) = scale_v else { return local };
        for _ in 0..LEVEL_ROUNDS {
            let level = local.nuisance.clone();
            local = Self::weighted(points, segment, beta, Some((&level, scale_v)));
            local.settle(beta);
            if (&local.nuisance - level).amax() < SETTLED * scale_v {
                break;
            }
        }
        local
    }

    /// Errors with the level as it is.
    pub(super) fn errors_as_it_is<'a>(
        &self,
        points: &'a [Point],
        segment: &'a Segment,
        beta: &'a [f64; COLUMNS],
    ) -> impl Iterator<Item = f64> + use<'a> {
        let local = self.levels();
        points[segment.first..segment.end]
            .iter()
            .map(move |point| local.error(point, segment, points, beta))
    }

    fn sums(points: &[Point], segment: &Segment, order: usize, weight: impl Fn(&Point) -> f64) -> Self {
        // n, x and y in one row: its products give all sums.
        const MOST: usize = 2 + COLUMNS + 1;
        let mut sums = [[0.0; MOST]; MOST];
        for point in &points[segment.first..segment.end] {
            let w = weight(point);
            let (x, y) = segment.row(point, points);
            let mut row = [0.0; MOST];
            row[0] = 1.0;
            row[1] = if order > 1 {
                segment.place(point, points)
            } else {
                0.0
            };
            row[2..2 + COLUMNS].copy_from_slice(&x);
            row[MOST - 1] = y;
            for (a, first) in row.iter().enumerate() {
                let first = first * w;
                for (b, second) in row.iter().enumerate().skip(a) {
                    sums[a][b] += first * second;
                }
            }
        }
        let sum = |a: usize, b: usize| sums[a.min(b)][a.max(b)];
        let nuisance = DMatrix::from_fn(order, order, &sum);
        let inverse = nuisance
            .try_inverse()
            .unwrap_or_else(|| DMatrix::zeros(order, order));
        // Cross products of level and trend with the columns and the reading.
        let cross = DMatrix::from_fn(order, COLUMNS + 1, |a, b| sum(a, 2 + b));
        let projected = cross.transpose() * &inverse * &cross;
        let left = |a: usize, b: usize| {
            let whole = sum(2 + a, 2 + b);
            let rest = whole - projected[(a, b)];
            // What is left of a column that level and trend explain is rounding.
            if a == b && rest < 1e-9 * whole { 0.0 } else { rest }
        };
        let gram = DMatrix::from_fn(COLUMNS, COLUMNS, |a, b| {
            if left(a, a) <= 0.0 || left(b, b) <= 0.0 {
                0.0
            } else {
                left(a, b)
            }
        });
        let right = DVector::from_fn(
            COLUMNS,
            |a, _| if left(a, a) <= 0.0 { 0.0 } else { left(a, COLUMNS) },
        );
        Self {
            nuisance: DVector::zeros(order),
            gram,
            right,
            order,
            inverse,
            cross,
        }
    }

    /// Level and trend under these factors.
    pub(super) fn settle(&mut self, beta: &[f64; COLUMNS]) {
        let left = DVector::from_fn(self.order, |a, _| {
            let explained: f64 = (0..COLUMNS).map(|b| self.cross[(a, b)] * beta[b]).sum();
            self.cross[(a, COLUMNS)] - explained
        });
        self.nuisance = &self.inverse * left;
    }

    fn error(&self, point: &Point, segment: &Segment, points: &[Point], beta: &[f64; COLUMNS]) -> f64 {
        let (x, y) = segment.row(point, points);
        let explained: f64 = x.iter().zip(beta).map(|(x, beta)| x * beta).sum();
        let trend = if self.order > 1 {
            self.nuisance[1] * segment.place(point, points)
        } else {
            0.0
        };
        y - explained - self.nuisance[0] - trend
    }

    /// What is left of each reading, in volts below the model.
    pub(super) fn errors<'a>(
        &self,
        points: &'a [Point],
        segment: &'a Segment,
        beta: &'a [f64; COLUMNS],
    ) -> impl Iterator<Item = f64> {
        let mut local = self.levels();
        local.settle(beta);
        points[segment.first..segment.end]
            .iter()
            .map(move |point| local.error(point, segment, points, beta))
    }

    fn levels(&self) -> Self {
        Self {
            nuisance: self.nuisance.clone(),
            gram: DMatrix::zeros(0, 0),
            right: DVector::zeros(0),
            order: self.order,
            inverse: self.inverse.clone(),
            cross: self.cross.clone(),
        }
    }

    /// A point's columns without the part that level and trend explain.
    pub(super) fn without_nuisance(
        &self,
        point: &Point,
        segment: &Segment,
        points: &[Point],
    ) -> DVector<f64> {
        let (x, _) = segment.row(point, points);
        let place = segment.place(point, points);
        DVector::from_fn(COLUMNS, |column, _| {
            let explained: f64 = (0..self.order)
                .map(|a| {
                    let factor: f64 = (0..self.order)
                        .map(|b| self.inverse[(a, b)] * self.cross[(b, column)])
                        .sum();
                    factor * if a == 0 { 1.0 } else { place }
                })
                .sum();
            x[column] - explained
        })
    }
}
