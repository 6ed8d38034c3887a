//! Robust linear regression over segments that each have a level of their own, with standard errors that hold when errors
//! follow each other.
//!
//! In a segment v = level + trend·t − Σ β·x + error; level and trend are projected out (docs/model.md, equation 37). Errors are
//! weighted down beyond 1.345 standard deviations (Huber, "Robust estimation of a location parameter", Annals of Mathematical
//! Statistics 35 (1964) 73-101), solved by repeated weighting. The covariance is the sandwich of blocks (Liang and Zeger,
//! "Longitudinal data analysis using generalized linear models", Biometrika 73 (1986) 13-22): it needs no independence inside
//! a block.

use nalgebra::{DMatrix, DVector, SymmetricEigen};

use super::points::{COLUMNS, Point};
use super::readings::MEDIAN_TO_DEVIATION;

/// Errors beyond this many standard deviations count less: 95 % of least squares' efficiency where all are normal.
pub const HUBER: f64 = 1.345;
/// Rounds of weighting, at most.
const ROUNDS: usize = 200;
/// The scale of the errors is found anew in so many of them, then stays.
const SCALE_ROUNDS: usize = 10;
/// Rounds for the level of one segment, at most.
const LEVEL_ROUNDS: usize = 50;
/// Weighting ends when nothing moves by more than this part of itself.
const SETTLED: f64 = 1e-7;
/// A combination of columns about which the points say less than this part of what they say about the best is left out.
const LEAST_INFORMATION: f64 = 1e-7;
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
/// Rounds in which the spread of each segment is found.
const SPREAD_ROUNDS: usize = 2;
/// A segment whose errors are this many times the usual ones had something unknown in it.
const ODD_SEGMENT: f64 = 4.0;

/// Points with one level, and with a trend of their own where income is unknown.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Segment {
    /// Places of the first point and of the one after the last.
    pub(super) first: usize,
    pub(super) end: usize,
    /// In the dark: no trend but that of sleep and leakage.
    pub(super) is_dark: bool,
    /// Points that are taken together for the standard errors.
    pub(super) block: usize,
    /// How many times the usual errors those of this segment are: a straight trend is no cloud. Its rows are divided by it.
    pub(super) spread: f64,
}

/// What the points say about the factors β: for combinations of them, a value and a covariance.
#[derive(Clone, Debug)]
pub(super) struct Estimate {
    /// One row for each combination that the points fix, over all columns.
    pub(super) combinations: DMatrix<f64>,
    /// The values of the combinations.
    pub(super) values: DVector<f64>,
    /// Their covariance.
    pub(super) covariance: DMatrix<f64>,
    /// Factors that reproduce the values, the least ones.
    pub(super) beta: [f64; COLUMNS],
    /// Standard deviation of an error (V).
    pub(super) noise_v: f64,
    /// Root of the mean square of all errors of the segments that count (V).
    pub(super) rms_v: f64,
    /// Segments that count.
    pub(super) used: Vec<Segment>,
}

/// Columns that are fitted in a segment; the others have no say there.
type Mask = [bool; COLUMNS];

/// Level and trend of a segment, and the sums that belong to them.
struct Local {
    nuisance: DVector<f64>,
    gram: DMatrix<f64>,
    right: DVector<f64>,
    order: usize,
    inverse: DMatrix<f64>,
    cross: DMatrix<f64>,
}

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
        if !errors_v.is_empty() && round < SCALE_ROUNDS {
            let middle = errors_v.len() / 2;
            let median_v = *errors_v.select_nth_unstable_by(middle, f64::total_cmp).1;
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

/// Eigenvectors of the sums of squares after each column was scaled to one.
fn directions(gram: &DMatrix<f64>) -> Option<(SymmetricEigen<f64, nalgebra::Dyn>, [f64; COLUMNS])> {
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

/// The sandwich: what the blocks' scores spread, seen through the sums of squares.
fn covariance(
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
    pub(super) fn column(&self, column: usize) -> (bool, f64) {
        let mut shares = [0.0; COLUMNS];
        shares[column] = 1.0;
        self.sum(&shares)
    }

    /// Whether the points fix this sum of the factors by itself, and its standard error.
    pub(super) fn sum(&self, shares: &[f64; COLUMNS]) -> (bool, f64) {
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

fn weight(error_v: f64, scale_v: f64) -> f64 {
    (HUBER * scale_v / error_v.abs().max(1e-300)).min(1.0)
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
    let middle = errors_v.len() / 2;
    MEDIAN_TO_DEVIATION * *errors_v.select_nth_unstable_by(middle, f64::total_cmp).1
}

fn rms_v(points: &[Point], segment: &Segment, beta: &[f64; COLUMNS], scale_v: f64) -> f64 {
    let local = Local::of(points, segment, beta, Some(scale_v));
    let squares: f64 = local
        .errors(points, segment, beta)
        .map(|error_v| error_v * error_v)
        .sum();
    (squares / (segment.end - segment.first) as f64).sqrt()
}

impl Segment {
    /// Sleep and leakage have their say in the dark only: elsewhere the trend of the income takes their place.
    fn mask(&self) -> Mask {
        [self.is_dark, self.is_dark, true, true, true]
    }

    /// Place in the segment from −1 to 1.
    pub(super) fn place(&self, point: &Point, points: &[Point]) -> f64 {
        let (first_s, last_s) = (points[self.first].time_s, points[self.end - 1].time_s);
        2.0 * (point.time_s - first_s) / (last_s - first_s).max(1e-9) - 1.0
    }

    /// The point's columns and reading less those of the segment's first point, over the segment's spread: cumulated sums are large,
    /// their differences not.
    pub(super) fn row(&self, point: &Point, points: &[Point]) -> ([f64; COLUMNS], f64) {
        let first = &points[self.first];
        let mask = self.mask();
        let mut x = [0.0; COLUMNS];
        for (place, x) in x.iter_mut().enumerate() {
            if mask[place] {
                *x = (point.x[place] - first.x[place]) / self.spread;
            }
        }
        (x, (first.storage_v - point.storage_v) / self.spread)
    }
}

impl Local {
    /// Sums over a segment with the weights that belong to these factors, this level and this scale; all 1 without.
    fn weighted(
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
    fn of(points: &[Point], segment: &Segment, beta: &[f64; COLUMNS], scale_v: Option<f64>) -> Self {
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
    fn errors_as_it_is<'a>(
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
    fn settle(&mut self, beta: &[f64; COLUMNS]) {
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
    fn errors<'a>(
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
    fn without_nuisance(&self, point: &Point, segment: &Segment, points: &[Point]) -> DVector<f64> {
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
