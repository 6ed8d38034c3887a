//! The least-squares problem in plain numbers, so that another solver can be asked the same.

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
}

pub(super) fn export(points: &[Point], estimate: &Estimate) -> Exported {
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
    }
}
