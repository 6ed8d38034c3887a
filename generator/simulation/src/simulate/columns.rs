//! A run sorted into columns of time, in a fixed amount of memory: what every picture of it is drawn from.

use crate::simulate::timeline::{Event, Moment, Watch};

/// What one column of time has seen. The lowest and the highest voltage are kept, so that no dip is lost.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Column {
    /// Lowest storage voltage of its moments (V).
    pub lowest_v: f64,
    /// Highest storage voltage of its moments (V).
    pub highest_v: f64,
    /// The most that the source offered (W).
    pub offered_w: f64,
    /// Reports sent.
    pub reports: u32,
    /// Losses of supply.
    pub cuts: u32,
}

impl Column {
    /// Nothing seen.
    const EMPTY: Self = Self {
        lowest_v: f64::INFINITY,
        highest_v: 0.0,
        offered_w: 0.0,
        reports: 0,
        cuts: 0,
    };

    /// Both together.
    fn with(self, other: Self) -> Self {
        Self {
            lowest_v: self.lowest_v.min(other.lowest_v),
            highest_v: self.highest_v.max(other.highest_v),
            offered_w: self.offered_w.max(other.offered_w),
            reports: self.reports + other.reports,
            cuts: self.cuts + other.cuts,
        }
    }
}

/// Columns of equal width over a stretch of a run; those in which nothing happened are `None`.
#[derive(Clone, Debug, PartialEq)]
pub struct Columns {
    from_s: f64,
    width_s: f64,
    columns: Vec<Option<Column>>,
}

impl Columns {
    /// `count` empty columns over a run of `duration_s`.
    pub fn new(duration_s: f64, count: usize) -> Self {
        Self {
            from_s: 0.0,
            width_s: duration_s / count as f64,
            columns: vec![None; count],
        }
    }

    /// How wide a column is (s).
    pub fn width_s(&self) -> f64 {
        self.width_s
    }

    /// How many columns there are, those that saw nothing included.
    pub fn count(&self) -> usize {
        self.columns.len()
    }

    /// Middle of the column that a time falls into (s since the start of the run), whether or not there is one.
    pub fn middle_s(&self, time_s: f64) -> f64 {
        let place = ((time_s - self.from_s) / self.width_s).floor();
        self.from_s + (place + 0.5) * self.width_s
    }

    /// Every column with the time of its middle (s since the start of the run).
    pub fn all(&self) -> impl Iterator<Item = (f64, Option<Column>)> {
        self.columns
            .iter()
            .enumerate()
            .map(|(place, column)| (self.from_s + (place as f64 + 0.5) * self.width_s, *column))
    }

    /// The columns that saw something.
    pub fn seen(&self) -> impl Iterator<Item = (f64, Column)> {
        self.all().filter_map(|(time_s, column)| Some((time_s, column?)))
    }

    /// Each `together` columns as one; the last may be short of some.
    ///
    /// ```
    /// use millpond_simulation::simulate::columns::Columns;
    /// use millpond_simulation::simulate::timeline::{Event, Moment, Watch};
    /// let mut columns = Columns::new(100.0, 10);
    /// for (time_s, storage_v) in [(11.0, 3.0), (19.0, 2.5), (31.0, 2.8)] {
    ///     columns.see(&Moment { time_s, storage_v, offered_w: 0.0, event: Event::Transmit, reports: 1 });
    /// }
    /// let coarse: Vec<_> = columns.merged(5).seen().map(|(time_s, column)| (time_s, column.reports)).collect();
    /// assert_eq!(coarse, [(25.0, 3)]);
    /// ```
    pub fn merged(&self, together: usize) -> Self {
        let merge = |columns: &[Option<Column>]| columns.iter().flatten().copied().reduce(Column::with);
        Self {
            from_s: self.from_s,
            width_s: self.width_s * together as f64,
            columns: self.columns.chunks(together).map(merge).collect(),
        }
    }

    /// The columns that lie between two times at least in part (s since the start of the run).
    pub fn between(&self, from_s: f64, until_s: f64) -> Self {
        let place = |time_s: f64| ((time_s - self.from_s) / self.width_s).max(0.0);
        let first = (place(from_s).floor() as usize).min(self.columns.len());
        let last = (place(until_s).ceil() as usize).clamp(first, self.columns.len());
        Self {
            from_s: self.from_s + first as f64 * self.width_s,
            width_s: self.width_s,
            columns: self.columns[first..last].to_vec(),
        }
    }
}

impl Watch for Columns {
    fn see(&mut self, moment: &Moment) {
        let place = ((moment.time_s - self.from_s) / self.width_s) as usize;
        let Some(slot) = self.columns.get_mut(place) else {
            return;
        };
        *slot = Some(slot.unwrap_or(Column::EMPTY).with(Column {
            lowest_v: moment.storage_v,
            highest_v: moment.storage_v,
            offered_w: moment.offered_w,
            reports: u32::from(moment.event == Event::Transmit),
            cuts: u32::from(moment.event == Event::Cut),
        }));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn columns(moments: &[(f64, f64)]) -> Columns {
        let mut columns = Columns::new(100.0, 20);
        for &(time_s, storage_v) in moments {
            columns.see(&Moment {
                time_s,
                storage_v,
                offered_w: storage_v / 1e3,
                event: Event::Transmit,
                reports: 0,
            });
        }
        columns
    }

    /// By hand: columns of 5 s; from 10 s to 22 s are the third, the fourth and a part of the fifth.
    #[test]
    fn a_window_has_the_columns_that_it_touches() {
        let columns = columns(&[(9.9, 1.0), (10.0, 2.0), (24.0, 3.0), (25.0, 4.0)]);
        let window = columns.between(10.0, 22.0);
        let seen: Vec<_> = window
            .seen()
            .map(|(time_s, column)| (time_s, column.lowest_v))
            .collect();
        assert_eq!(seen, [(12.5, 2.0), (22.5, 3.0)]);
        assert_eq!(window.count(), 3);
    }

    proptest! {
        /// Whatever columns are put together, no report and no extreme is lost.
        #[test]
        fn merging_loses_nothing(
            moments in proptest::collection::vec((0.0..99.9_f64, 0.1..5.0_f64), 1..60),
            together in 1_usize..25,
        ) {
            let merged = columns(&moments).merged(together);
            let reports: u32 = merged.seen().map(|(_, column)| column.reports).sum();
            prop_assert_eq!(reports as usize, moments.len());
            let lowest = merged.seen().fold(f64::INFINITY, |lowest, (_, column)| lowest.min(column.lowest_v));
            let highest = merged.seen().fold(0.0, |highest: f64, (_, column)| highest.max(column.highest_v));
            prop_assert_eq!(lowest, moments.iter().fold(f64::INFINITY, |low, moment| low.min(moment.1)));
            prop_assert_eq!(highest, moments.iter().fold(0.0, |high: f64, moment| high.max(moment.1)));
        }
    }
}
