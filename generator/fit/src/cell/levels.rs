//! Which part of a discharge each figure is taken from, as parts of the rated voltage.

/// Rows within this part of the rated voltage above and below a level say when it is passed. Over so little the curve of a
/// capacitance that changes by a quarter from full to empty moves the time by less than 0.05 % of the discharge.
pub(super) const CROSSING_HALF_WIDTH: f64 = 0.05;
/// The least number of rows there.
pub(super) const CROSSING_LEAST_ROWS: usize = 5;
/// The line is fitted from here, below the quick charge of the first moments …
pub(super) const LINE_FROM: f64 = 0.95;
/// … to here.
pub(super) const LINE_TO: f64 = 0.25;
/// The range that is carried back for the resistance: where a standard discharge is straightest
/// (common practice with IEC 62391-1).
pub(super) const RESISTANCE_FROM: f64 = 0.9;
pub(super) const RESISTANCE_TO: f64 = 0.7;
