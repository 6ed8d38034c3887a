//! One row of a log, with what is missing and wrong in it.

use std::fmt::Write as _;

use millpond::model::drain::Drain;
use rand::RngExt;

use super::Fault;
use super::unit::Unit;

/// Cells that are missing.
const MISSING_CELLS: f64 = 0.2;
/// Rows that are missing, and readings that are nonsense.
const MISSING_ROWS: f64 = 0.03;
const NONSENSE: f64 = 0.002;

impl Unit<'_> {
    /// Writes a row, with what is missing and wrong in it. Rows of events are only there where the log has them.
    pub(super) fn row(&mut self, drain: &Drain, event: &str) {
        if (!event.is_empty() && !self.plan.has_events) || self.random.random_bool(MISSING_ROWS) {
            return;
        }
        let terminal_v = self.plant.terminal_v(drain).unwrap_or_default();
        let noise_v: f64 =
            (0..4).map(|_| self.random.random_range(-1.0..1.0)).sum::<f64>() * 0.87 * self.plan.noise_v;
        let count_v = self.plan.described.count_v;
        let mut reading_v = terminal_v * self.plan.factors.scale + self.plan.offset_v + noise_v;
        if self.random.random_bool(NONSENSE) {
            reading_v = self.random.random_range(0.0..self.plan.described.full_scale_v);
        }
        let mut full_v = self.plan.described.full_scale_v;
        if self.plan.fault == Some(Fault::ReadingSaturated) {
            // The same full scale in counts, reached by a voltage that the store has.
            reading_v *= full_v / (0.97 * self.plan.top_v * self.plan.factors.scale);
            full_v = self.plan.described.full_scale_v;
        }
        let mut reading_mv = (reading_v / count_v)
            .floor()
            .clamp(0.0, (full_v / count_v).round())
            * count_v
            * 1e3;
        let part = self.now_s / self.whole_s;
        if self.plan.fault == Some(Fault::ReadingStuck) && (0.3..0.55).contains(&part) {
            reading_mv = *self.stuck_mv.get_or_insert(reading_mv);
        }
        let reading = self.cell(format!("{reading_mv:.1}"));
        let count = if self.is_off {
            String::new()
        } else {
            self.cell(self.count.to_string())
        };
        let _ = write!(self.text, "{:.2},{reading},{count}", self.now_s);
        self.text.push_str(&if self.plan.has_events {
            format!(",{event}\n")
        } else {
            "\n".to_owned()
        });
    }

    fn cell(&mut self, text: String) -> String {
        if self.random.random_bool(MISSING_CELLS) {
            String::new()
        } else {
            text
        }
    }
}
