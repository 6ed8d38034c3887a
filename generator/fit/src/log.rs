//! A bench log: what a prototype read and sent, row by row, with its gaps and its nonsense.
//!
//! A log is a CSV file with one header. Columns, in any order: `time_s` (seconds) or `time` (RFC 3339, or local time without an
//! offset), and any of `storage_mv` (or `storage_v`), `count` (or `reports`: successful reports since power-up) and `event`
//! (the words of a simulation's timeline: start, measure, transmit, wait, cut). Columns of other names are passed over. Cells
//! are parted by commas, semicolons or tabs; with the latter two a decimal comma is read as well. A byte-order mark, Windows line
//! ends, comments (#), empty lines and empty cells are taken as they come.
//!
//! A row with a cell that is no number, or whose time is out of order, is passed over and counted. An event of another word is
//! passed over, and its row kept. The whole log is refused, with the line, where its time starts anew, where local time jumps by an hour, and where most rows are of no use. With both
//! `time` and `time_s`, `time` is the log's own time and `time_s` the node's clock beside it.

mod events;
mod header;
mod lines;
mod order;
mod rows;

use std::path::Path;

use crate::input::{self, Limit, LoadError};
use crate::problem::{InputText, Problem, Problems};
use crate::simulate::timeline::Event;
use crate::statistics::upper_median;

/// Of a log: one of this size has more than ten million rows.
pub const LIMIT: Limit = Limit {
    most_bytes: 512 << 20,
    cure: "cut it, or log less often",
};
/// What is said to be in millivolts and never above this is in volts, the most that a node may have: nothing is fed from so few
/// millivolts.
const VOLTS_AT_MOST: f32 = 66.0;
/// So many of the rows that were passed over are kept to be shown.
const MOST_SHOWN_ROWS: usize = 20;

/// A log that was read: columns of equal length, in the order of time.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Log {
    /// Since the first row (s); never falls.
    pub time_s: Vec<f64>,
    /// Reading of the storage voltage (mV); not a number where there is none. Empty without the column.
    pub storage_mv: Vec<f32>,
    /// Successful reports since power-up; [`NO_COUNT`] where there is none. Empty without the column.
    pub count: Vec<u32>,
    /// What the node did in this row. Empty without the column.
    pub event: Vec<Option<Event>>,
    /// The node's own clock (s), where the log has it beside `time`; not a number where there is none. Empty without.
    pub clock_s: Vec<f64>,
    /// Rows that were passed over.
    pub skipped: usize,
    /// The first of them: line and reason.
    pub skipped_rows: Vec<(usize, &'static str)>,
    /// Words for events that are not known, in rows that were kept: the first line of each and what is wrong.
    pub skipped_events: Vec<(usize, String)>,
}

/// Stands for a count that is not in the log.
pub const NO_COUNT: u32 = u32::MAX;

impl Log {
    /// Reads a log of at most 512 MiB.
    ///
    /// # Errors
    ///
    /// [`LoadError::Refused`] with the line, or what kept the file from being read at all.
    pub fn load(path: impl AsRef<Path>) -> Result<Self, LoadError> {
        let file = input::read(path.as_ref(), LIMIT)?;
        Self::parse(&file.path, &file.text).map_err(LoadError::Refused)
    }

    /// Reads a log from text; `label` stands for the path in messages.
    ///
    /// # Errors
    ///
    /// A header without time or without anything beside it, or with millivolts that can only be volts, time that starts anew, local time that jumps by an hour, and a text
    /// of which most rows are of no use.
    ///
    /// ```
    /// use millpond_fit::log::Log;
    /// let log = Log::parse("bench.csv", "time_s;storage_mv;count\r\n0;3900,5;0\r\n10;;1\r\nx;1;1\r\n")?;
    /// assert_eq!(log.time_s, [0.0, 10.0]);
    /// assert_eq!(log.storage_mv[0], 3900.5);
    /// assert!(log.storage_mv[1].is_nan());
    /// assert_eq!((log.count[1], log.skipped, log.skipped_rows[0].0), (1, 1, 4));
    /// assert!(Log::parse("bench.csv", "volts\n3.9\n").is_err());
    /// # Ok::<(), millpond_node::problem::Problems>(())
    /// ```
    pub fn parse(label: &str, text: &str) -> Result<Self, Problems> {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        read(text).map_err(|problem| {
            let file = InputText {
                path: label.to_owned(),
                text: text.to_owned(),
            };
            Problems::new(vec![file], vec![problem])
        })
    }

    /// Number of rows.
    pub fn len(&self) -> usize {
        self.time_s.len()
    }

    /// Whether there is no row.
    pub fn is_empty(&self) -> bool {
        self.time_s.is_empty()
    }

    /// From the first row to the last (s).
    pub fn duration_s(&self) -> f64 {
        self.time_s.last().copied().unwrap_or_default()
    }

    /// The reading of a row (V), if it has one.
    pub fn storage_v(&self, row: usize) -> Option<f64> {
        let reading_mv = *self.storage_mv.get(row)?;
        (!reading_mv.is_nan()).then(|| f64::from(reading_mv) / 1e3)
    }

    /// The count of a row, if it has one.
    pub fn count(&self, row: usize) -> Option<u32> {
        self.count.get(row).copied().filter(|count| *count != NO_COUNT)
    }

    /// The event of a row, if it has one.
    pub fn event(&self, row: usize) -> Option<Event> {
        self.event.get(row).copied().flatten()
    }

    /// The median of the steps of time above zero (s); 1 where there is none.
    pub fn median_step_s(&self) -> f64 {
        let mut steps_s: Vec<f64> = self
            .time_s
            .windows(2)
            .map(|pair| pair[1] - pair[0])
            .filter(|step_s| *step_s > 0.0)
            .collect();
        upper_median(&mut steps_s).unwrap_or(1.0)
    }

    /// Notes a row that is passed over.
    fn skip(&mut self, line: usize, reason: &'static str) {
        self.skipped += 1;
        if self.skipped_rows.len() < MOST_SHOWN_ROWS {
            self.skipped_rows.push((line, reason));
        }
    }
}

fn read(text: &str) -> Result<Log, Problem> {
    let mut lines = lines::Lines::of(text);
    let Some(first) = lines.next() else {
        return Err(Problem::new(
            0..0,
            "the log is empty",
            "a header and rows below it",
            header::CURE,
        ));
    };
    let header = header::Header::of(text, &first)?;
    let raw = rows::read(&header, lines);
    let skipped_events = raw.unknown.passed_over();
    let (mut log, places) = order::ordered(text, raw, header.is_calendar)?;
    log.skipped_events = skipped_events;
    if log.skipped > log.len() {
        let end = places.first().map_or(first.start, |place| *place as usize);
        return Err(Problem::new(
            lines::line_at(text, end),
            format!(
                "{} of {} rows are of no use",
                log.skipped,
                log.skipped + log.len()
            ),
            "rows with a time and a figure",
            format!(
                "see whether this is a log; the first such row is line {}",
                log.skipped_rows[0].0
            ),
        ));
    }
    if log.len() < 2 {
        let end = text.trim_end().len();
        return Err(Problem::new(
            end..end,
            "the log has fewer than two rows",
            "at least two rows that can be read",
            "log for longer: `millpond log-plan NODE` says how long",
        ));
    }
    if log.duration_s() <= 0.0 {
        let end = places.first().map_or(first.start, |place| *place as usize);
        return Err(Problem::new(
            lines::line_at(text, end),
            "time stands still from here to the end",
            "a time that goes on from row to row",
            "log the time at which each row was written",
        ));
    }
    // The larger of a number and of none is the number.
    let largest_mv = log.storage_mv.iter().copied().fold(0.0, f32::max);
    let says_millivolts = header.storage.is_some_and(|(_, unit_mv)| unit_mv == 1.0);
    if says_millivolts && largest_mv > 0.0 && largest_mv <= VOLTS_AT_MOST {
        return Err(Problem::new(
            lines::line_at(text, first.start),
            format!("no reading is above {largest_mv} mV"),
            "readings in millivolts, or in volts below a header that says so",
            "if these are volts, call the column storage_v",
        ));
    }
    Ok(log)
}

#[cfg(test)]
mod tests;
