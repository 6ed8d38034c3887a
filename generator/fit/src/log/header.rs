//! The first line of a log: what parts its cells, and which column is which.

use super::lines::Line;
use crate::problem::{Problem, quoted};

pub(super) const CURE: &str = "write a first line such as time_s,storage_mv,count";
const WANTED: &str = "time_s or time, and any of storage_mv, count, event";

/// What the columns are.
#[derive(Clone, Debug)]
pub(super) struct Header {
    /// What parts the cells.
    pub(super) separator: u8,
    /// Column of the log's time.
    pub(super) time: usize,
    /// Whether it is written as date and time of day.
    pub(super) is_calendar: bool,
    /// Column of the node's own clock, beside a time in `time`.
    pub(super) clock: Option<usize>,
    /// Column of the reading, and how many millivolts its unit has.
    pub(super) storage: Option<(usize, f64)>,
    /// Column of the count.
    pub(super) count: Option<usize>,
    /// Column of the events.
    pub(super) event: Option<usize>,
}

impl Header {
    /// Reads the header.
    pub(super) fn of(text: &str, line: &Line<'_>) -> Result<Self, Problem> {
        // The one that stands there most often; a comma where none does.
        let often = |separator: &u8| line.text.bytes().filter(|byte| byte == separator).count();
        let separator = [b'\t', b';', b','].into_iter().max_by_key(often).unwrap_or(b',');
        let names: Vec<String> = line
            .text
            .split(char::from(separator))
            .map(|name| name.trim().trim_matches('"').trim().to_ascii_lowercase())
            .collect();
        let span = line.start..line.start + line.text.len();
        for (place, name) in names.iter().enumerate() {
            if !name.is_empty() && names[..place].contains(name) {
                return Err(Problem::new(
                    span,
                    format!("the column {} stands twice", quoted(name)),
                    "each column once",
                    "take one of them out",
                ));
            }
        }
        let place = |wanted: &[&str]| names.iter().position(|name| wanted.contains(&name.as_str()));
        let (calendar, seconds) = (place(&["time"]), place(&["time_s"]));
        let (Some(time), true) = (calendar.or(seconds), span.end <= text.len()) else {
            return Err(Problem::new(span, "the log has no column of time", WANTED, CURE));
        };
        let storage = place(&["storage_mv"])
            .map(|column| (column, 1.0))
            .or_else(|| place(&["storage_v"]).map(|column| (column, 1e3)));
        let header = Self {
            separator,
            time,
            is_calendar: calendar.is_some(),
            clock: calendar.and(seconds),
            storage,
            count: place(&["count", "reports"]),
            event: place(&["event"]),
        };
        if header.storage.is_none() && header.count.is_none() && header.event.is_none() {
            return Err(Problem::new(
                span,
                "the log has nothing beside its time",
                WANTED,
                CURE,
            ));
        }
        Ok(header)
    }
}
