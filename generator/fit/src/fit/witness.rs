//! The least-squares problem in plain numbers, so that another solver can be asked the same.

use super::described::Described;
use super::joint::{Parts, UNKNOWNS};
use super::points::{COLUMNS, Point};
use super::regression::Estimate;

/// One reading of the problem: y = level + trend·place − error, less Σ β·x.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Row {
    /// Which segment it belongs to; each has a level of its own.
    pub segment: usize,
    /// Place in the segment from −1 to 1, for its trend; 0 where the segment has none.
    pub place: f64,
    /// What was drawn since the segment's first reading, as described (V; the last in A), over the segment's spread.
    pub x: [f64; COLUMNS],
    /// How far the reading stands below the segment's first (V), over the segment's spread.
    pub fall_v: f64,
}

/// The problem and its answer.
#[derive(Clone, Debug, PartialEq)]
pub struct Exported {
    /// All readings that count.
    pub rows: Vec<Row>,
    /// Number of segments.
    pub segments: usize,
    /// Errors beyond [`HUBER`](super::HUBER) times this count less (V).
    pub scale_v: f64,
    /// The factors that were found: sleep, leakage, samples, reports, resistance.
    pub beta: [f64; COLUMNS],
    /// Which combinations of the factors the readings fix: rows over the factors.
    pub combinations: Vec<[f64; COLUMNS]>,
    /// What is made of the factors; `None` where nothing explains them.
    pub joint: Option<Joint>,
}

/// The second problem: from the factors to the parts, by equation 38 and by what is believed.
#[derive(Clone, Debug, PartialEq)]
pub struct Joint {
    /// The values of the combinations.
    pub values: Vec<f64>,
    /// Their covariance, row by row.
    pub covariance: Vec<Vec<f64>>,
    /// Which part of the drain is a constant power: asleep, in a sample, in a report.
    pub power_shares: [f64; 3],
    /// The described resistance (ohm).
    pub resistance_ohm: f64,
    /// The explanations, the most probable first.
    pub explanations: Vec<Explained>,
}

/// One explanation. The unknowns are the logarithms of the factors on capacitance, sleep, samples and reports, the factor on
/// leakage, the logarithms of those on resistance and of the reading's scale.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Explained {
    /// What is believed of each unknown.
    pub mean: [f64; UNKNOWNS],
    /// And how firmly: standard deviations.
    pub deviation: [f64; UNKNOWNS],
    /// What was found.
    pub parts: [f64; UNKNOWNS],
}

pub(super) fn export(
    points: &[Point],
    estimate: &Estimate,
    parts: Option<&Parts>,
    described: &Described,
) -> Exported {
    let mut rows = Vec::new();
    for (number, segment) in estimate.used.iter().enumerate() {
        for point in &points[segment.first..segment.end] {
            let (x, fall_v) = segment.row(point, points);
            rows.push(Row {
                segment: number,
                place: if segment.is_dark {
                    0.0
                } else {
                    segment.place(point, points)
                },
                x,
                fall_v,
            });
        }
    }
    Exported {
        rows,
        segments: estimate.used.len(),
        scale_v: estimate.noise_v,
        beta: estimate.beta,
        combinations: estimate
            .combinations
            .row_iter()
            .map(|row| std::array::from_fn(|column| row[column]))
            .collect(),
        joint: parts.map(|parts| Joint {
            values: estimate.values.as_slice().to_vec(),
            covariance: estimate
                .covariance
                .row_iter()
                .map(|row| row.iter().copied().collect())
                .collect(),
            power_shares: [
                described.sleep_power_share(),
                described.measure.power_share,
                described.transmit.power_share,
            ],
            resistance_ohm: described.resistance_ohm,
            explanations: parts
                .explanations
                .iter()
                .map(|one| Explained {
                    mean: one.believed.0.into(),
                    deviation: one.believed.1.into(),
                    parts: one.parts.into(),
                })
                .collect(),
        }),
    }
}
