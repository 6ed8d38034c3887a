//! A stretch of the log with one level.

use super::super::points::{COLUMNS, Point};

/// Points with one level, and with a trend of their own where income is unknown.
#[derive(Clone, Debug, PartialEq)]
pub(in crate::fit) struct Segment {
    /// Places of the first point and of the one after the last.
    pub(in crate::fit) first: usize,
    pub(in crate::fit) end: usize,
    /// In the dark: no trend but that of sleep and leakage.
    pub(in crate::fit) is_dark: bool,
    /// Points that are taken together for the standard errors.
    pub(in crate::fit) block: usize,
    /// How many times the usual errors those of this segment are: a straight trend is no cloud. Its rows are divided by it.
    pub(in crate::fit) spread: f64,
}

/// Columns that are fitted in a segment; the others have no say there.
type Mask = [bool; COLUMNS];

impl Segment {
    /// Sleep and leakage have their say in the dark only: elsewhere the trend of the income takes their place.
    fn mask(&self) -> Mask {
        [self.is_dark, self.is_dark, true, true, true]
    }

    /// Place in the segment from −1 to 1.
    pub(in crate::fit) fn place(&self, point: &Point, points: &[Point]) -> f64 {
        let (first_s, last_s) = (points[self.first].time_s, points[self.end - 1].time_s);
        2.0 * (point.time_s - first_s) / (last_s - first_s).max(1e-9) - 1.0
    }

    /// The point's columns and reading less those of the segment's first point, over the segment's spread: cumulated sums are large,
    /// their differences not.
    pub(in crate::fit) fn row(&self, point: &Point, points: &[Point]) -> ([f64; COLUMNS], f64) {
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
