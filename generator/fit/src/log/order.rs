//! The order of a log's rows: single rows out of it are passed over, a clock that starts anew is refused with its line.

use super::lines::line_at;
use super::rows::Raw;
use super::{Log, NO_COUNT};
use crate::problem::Problem;
use crate::simulate::timeline::Event;

/// So many rows one after the other that stand before what was read are a clock that starts anew.
const MOST_ROWS_BACK: usize = 10;
/// What a change between standard and daylight-saving time moves a clock by (s).
const HOUR_S: f64 = 3600.0;
/// A step of an hour is a gap like others where rows come this rarely (s).
const RARE_S: f64 = 900.0;

/// The rows in the order of time, from the first on, and the places where they stand.
pub(super) fn ordered(text: &str, raw: Raw, is_calendar: bool) -> Result<(Log, Vec<u32>), Problem> {
    let Raw {
        mut log,
        places,
        lines,
        is_local,
        ..
    } = raw;
    let mut times_s = std::mem::take(&mut log.time_s);
    if !is_calendar {
        join_lives(&mut times_s, &log);
    }
    let mut kept: Vec<u32> = Vec::with_capacity(times_s.len());
    let mut back = 0;
    for row in 0..times_s.len() {
        let time_s = times_s[row];
        let last = kept.last().map(|place| *place as usize);
        if last.is_none_or(|last| time_s >= times_s[last]) {
            kept.push(row as u32);
            back = 0;
            continue;
        }
        let before_s = kept
            .len()
            .checked_sub(2)
            .map_or(f64::NEG_INFINITY, |at| times_s[kept[at] as usize]);
        let next_s = times_s.get(row + 1).copied().unwrap_or(time_s);
        let last_s = last.map_or(0.0, |last| times_s[last]);
        if is_local && is_hour(last_s - time_s) {
            return Err(local_jump(text, &places, row, "goes back by an hour"));
        }
        if time_s >= before_s && next_s >= time_s && next_s < last_s {
            // The row before this one stood alone with its late time.
            if let Some(spike) = kept.pop() {
                log.skip(
                    lines[spike as usize] as usize,
                    "its time is ahead of the rows after it",
                );
            }
            kept.push(row as u32);
            continue;
        }
        back += 1;
        log.skip(lines[row] as usize, "its time is before that of the row above");
        if back >= MOST_ROWS_BACK {
            let first = row + 1 - back;
            return Err(Problem::new(
                line_at(text, places[first] as usize),
                "time starts anew here",
                "a time that goes on over resets of the node",
                "take the time from the logger and not from the node, or cut the log here",
            ));
        }
    }
    let mut sorted = Log {
        skipped: log.skipped,
        skipped_rows: std::mem::take(&mut log.skipped_rows),
        ..Log::default()
    };
    let first_s = kept.first().map_or(0.0, |row| times_s[*row as usize]);
    let pick = |row: &u32| *row as usize;
    sorted.time_s = kept.iter().map(|row| times_s[pick(row)] - first_s).collect();
    drop(times_s);
    if kept.len() == log.storage_mv.len().max(log.count.len()).max(log.event.len()) {
        (sorted.storage_mv, sorted.count) = (log.storage_mv, log.count);
        (sorted.event, sorted.clock_s) = (log.event, log.clock_s);
    } else {
        let take = |row: &u32, column: &[f32]| column.get(pick(row)).copied().unwrap_or(f32::NAN);
        if !log.storage_mv.is_empty() {
            sorted.storage_mv = kept.iter().map(|row| take(row, &log.storage_mv)).collect();
        }
        if !log.count.is_empty() {
            sorted.count = kept
                .iter()
                .map(|row| log.count.get(pick(row)).copied().unwrap_or(NO_COUNT))
                .collect();
        }
        if !log.event.is_empty() {
            sorted.event = kept
                .iter()
                .map(|row| log.event.get(pick(row)).copied().flatten())
                .collect();
        }
        if !log.clock_s.is_empty() {
            sorted.clock_s = kept
                .iter()
                .map(|row| log.clock_s.get(pick(row)).copied().unwrap_or(f64::NAN))
                .collect();
        }
    }
    if is_calendar && is_local {
        find_jump(text, &sorted, &kept, &places)?;
    }
    let places = kept.iter().map(|row| places[pick(row)]).collect();
    Ok((sorted, places))
}

/// A node whose clock starts anew with each restart: a life follows the one before it, and what passed in between is not known. Only
/// where the row says that the node started, or the count falls with the time: other rows out of order are slips.
fn join_lives(times_s: &mut [f64], log: &Log) {
    let (mut shift_s, mut last_s, mut last_count) = (0.0, f64::NEG_INFINITY, None);
    for (row, time_s) in times_s.iter_mut().enumerate() {
        let count = log.count(row);
        let is_start = log.event(row) == Some(Event::Start);
        let fell = count.zip(last_count).is_some_and(|(count, last)| count < last);
        if *time_s + shift_s < last_s && (is_start || fell) {
            shift_s = last_s - *time_s;
        }
        *time_s += shift_s;
        last_s = *time_s;
        last_count = count.or(last_count);
    }
}

/// A step forward by an hour and one usual step, in local time, is the change to daylight-saving time more likely than a gap.
fn find_jump(text: &str, log: &Log, kept: &[u32], places: &[u32]) -> Result<(), Problem> {
    let usual_s = log.median_step_s();
    if usual_s > RARE_S {
        return Ok(());
    }
    for (at, pair) in log.time_s.windows(2).enumerate() {
        if is_hour(pair[1] - pair[0] - usual_s) {
            let row = kept[at + 1] as usize;
            return Err(local_jump(text, places, row, "goes forward by an hour"));
        }
    }
    Ok(())
}

/// Within five minutes of an hour.
fn is_hour(step_s: f64) -> bool {
    (step_s - HOUR_S).abs() <= HOUR_S / 12.0
}

fn local_jump(text: &str, places: &[u32], row: usize, what: &str) -> Problem {
    Problem::new(
        line_at(text, places[row] as usize),
        format!("local time {what} here, as at a change of daylight-saving time"),
        "a time with its offset, such as 2018-03-25T03:00:00+02:00",
        "log universal time or an offset, use time_s, or cut the log here",
    )
}
