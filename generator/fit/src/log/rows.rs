//! The rows of a log as they stand in the text, cell by cell, in one pass and without a copy.

use jiff::Timestamp;
use jiff::civil::DateTime;
use jiff::tz::TimeZone;

use super::events::{self, event};
use super::header::Header;
use super::lines::Lines;
use super::{Log, NO_COUNT};
use crate::simulate::timeline::Event;

/// Beyond this a number is nonsense, in any of the columns.
const LARGEST: f64 = 1e12;

/// All bits of a 16-bit reading set (mV): what a failed conversion or blank memory leaves, and above any node's overvoltage.
const NO_READING_MV: f64 = 65_535.0;

/// Rows in the order of the file, each with its place; their times are as written, not yet from the first row on.
pub(super) struct Raw {
    pub(super) log: Log,
    pub(super) places: Vec<u32>,
    pub(super) lines: Vec<u32>,
    /// Whether a time of day without an offset was among them.
    pub(super) is_local: bool,
    /// Words that are no event.
    pub(super) unknown: events::Unknown,
}

/// Reads all rows that can be read.
pub(super) fn read(header: &Header, lines: Lines<'_>) -> Raw {
    let mut raw = Raw {
        log: Log::default(),
        places: Vec::new(),
        lines: Vec::new(),
        is_local: false,
        unknown: events::Unknown::default(),
    };
    let mut cells: Vec<&str> = Vec::new();
    for line in lines {
        cells.clear();
        cells.extend(
            line.text
                .split(char::from(header.separator))
                .map(|cell| cell.trim().trim_matches('"')),
        );
        match read_row(header, &cells, &mut raw.is_local) {
            Ok(row) => {
                raw.places.push(line.start as u32);
                raw.lines.push(line.number as u32);
                let log = &mut raw.log;
                log.time_s.push(row.time_s);
                if header.storage.is_some() {
                    log.storage_mv.push(row.storage_mv);
                }
                if header.count.is_some() {
                    log.count.push(row.count);
                }
                if let Some(column) = header.event {
                    log.event.push(row.event);
                    let word = cells.get(column).copied().unwrap_or("");
                    if row.event.is_none() && !word.is_empty() {
                        raw.unknown.note(word, line.number);
                    }
                }
                if header.clock.is_some() {
                    log.clock_s.push(row.clock_s);
                }
            }
            Err(reason) => raw.log.skip(line.number, reason),
        }
    }
    raw
}

struct Row {
    time_s: f64,
    storage_mv: f32,
    count: u32,
    event: Option<Event>,
    clock_s: f64,
}

fn read_row(header: &Header, cells: &[&str], is_local: &mut bool) -> Result<Row, &'static str> {
    let cell = |column: usize| cells.get(column).copied().unwrap_or("");
    let has_comma = header.separator != b',';
    let time_s = match (header.is_calendar, cell(header.time)) {
        (_, "") => return Err("the time is missing"),
        (true, time) => calendar_s(time, is_local).ok_or("the time is not a date and time (RFC 3339)")?,
        (false, time) => number(time, has_comma).ok_or("the time is no number")?,
    };
    let storage_mv = match header.storage {
        Some((column, unit_mv)) => match cell(column) {
            "" => f32::NAN,
            reading => {
                let reading_mv = unit_mv * number(reading, has_comma).ok_or("the reading is no number")?;
                if reading_mv < 0.0 {
                    return Err("the reading is negative");
                }
                if reading_mv >= NO_READING_MV {
                    return Err("the reading is none: 65535 mV and above is what no storage here can have");
                }
                reading_mv as f32
            }
        },
        None => f32::NAN,
    };
    let count = match header.count.map(cell) {
        None | Some("") => NO_COUNT,
        Some(count) => {
            let count = number(count, has_comma).ok_or("the count is no number")?;
            if count < 0.0 || count.fract() != 0.0 || count >= f64::from(NO_COUNT) {
                return Err("the count is no whole number");
            }
            count as u32
        }
    };
    let clock_s = match header.clock.map(cell) {
        None | Some("") => f64::NAN,
        Some(clock) => number(clock, has_comma).ok_or("the node's clock is no number")?,
    };
    Ok(Row {
        time_s,
        storage_mv,
        count,
        event: header.event.map(cell).and_then(event),
        clock_s,
    })
}

fn number(cell: &str, has_comma: bool) -> Option<f64> {
    let parsed = if has_comma && cell.contains(',') {
        cell.replacen(',', ".", 1).parse::<f64>()
    } else {
        cell.parse::<f64>()
    };
    parsed.ok().filter(|number| number.abs() <= LARGEST)
}

/// Seconds since 1970, in universal time, or in local time without an offset.
fn calendar_s(cell: &str, is_local: &mut bool) -> Option<f64> {
    let in_seconds = |time: Timestamp| time.as_second() as f64 + f64::from(time.subsec_nanosecond()) * 1e-9;
    if let Ok(time) = cell.parse::<Timestamp>() {
        return Some(in_seconds(time));
    }
    let local: DateTime = cell.parse().ok()?;
    let time = TimeZone::UTC.to_timestamp(local).ok()?;
    *is_local = true;
    Some(in_seconds(time))
}
