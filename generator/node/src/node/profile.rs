//! Reads a measured current profile: a CSV file with the columns `time_s` and `current_a`, `current_ma` or
//! `current_ua`. The current of a row holds until the time of the next row.

use std::ops::Range;
use std::path::Path;

use super::Phase;
use super::profiles::Profiles;
use super::quantity::{QuantityFault, parse_plain};
use super::records::{Record, records};
use super::reduction::{Row, reduced};
use super::table::{Given, Log, Table};
use super::unreadable_file::Unread;
use crate::problem::{InputText, Problem, quoted};

/// A file that is not a profile at all has a fault in every row; these are enough to see that.
const MOST_ROW_FAULTS: usize = 10;

/// Column names for the current, each with the power of ten of its unit.
const CURRENT_COLUMNS: [(&str, i32); 3] = [("current_a", 0), ("current_ma", -3), ("current_ua", -6)];

const HEADER_CURE: &str = "write time_s,current_a (or current_ma, current_ua) as the first line, with commas between columns and points in numbers";

/// Reads the profile that a key names.
pub(super) fn read(table: &Table<'_>, profiles: Profiles<'_>, name: &Given<String>) -> Option<Vec<Phase>> {
    let log = table.log();
    let text = match profiles.text(&name.value) {
        Ok(text) => text,
        Err(Unread { reason, cure }) => {
            let shown = match name.value.as_str() {
                "" => "\"\"".to_owned(),
                written => quoted(written),
            };
            let title = format!("profile {shown} {reason}");
            log.note(Problem::new(
                name.span.clone(),
                title,
                "a CSV file of time and current",
                cure,
            ));
            return None;
        }
    };
    let power = match header(&text) {
        Ok(power) => power,
        Err(lacks) => {
            // Whatever file that is: nothing of it is repeated before it is known to be a profile.
            log.note(Problem::new(
                name.span.clone(),
                format!("profile {} {lacks}", quoted(&name.value)),
                "a CSV file with the columns time_s and one of current_a, current_ma, current_ua",
                HEADER_CURE,
            ));
            return None;
        }
    };
    let number = {
        let mut files = log.files.borrow_mut();
        // Named as seen from where the node file's own path starts, so that an editor finds it.
        let beside = files
            .first()
            .and_then(|node_file| Path::new(&node_file.path).parent());
        let path = beside
            .unwrap_or(Path::new(""))
            .join(&name.value)
            .display()
            .to_string();
        files.push(InputText {
            path,
            text: text.clone(),
        });
        files.len() - 1
    };
    let rows = read_rows(&text, power, &|problem| log_in_file(log, number, problem))?;
    Some(reduced(&rows))
}

fn log_in_file(log: &Log, file: usize, problem: Problem) {
    log.note(Problem { file, ..problem });
}

/// The power of ten of the current's unit by the header, or what the text lacks to be a profile.
fn header(text: &str) -> Result<i32, &'static str> {
    let record = records(text)
        .next()
        .ok_or("is empty: it has no header and no rows")?;
    let [time, current] = &record.cells[..] else {
        return Err("does not begin with the header of a profile");
    };
    let known = CURRENT_COLUMNS
        .iter()
        .find(|(name, _)| time == "time_s" && name == current);
    known
        .map(|(_, power)| *power)
        .ok_or("does not begin with the header of a profile")
}

/// Reads all rows below the header; notes faults and gives nothing if there are any.
fn read_rows(text: &str, power: i32, note: &dyn Fn(Problem)) -> Option<Vec<Row>> {
    let mut rows: Vec<Row> = Vec::new();
    let mut faults = 0;
    let mut last_span = 0..0;
    for (number, record) in records(text).enumerate() {
        if faults >= MOST_ROW_FAULTS {
            break;
        }
        let line = line_of(text, &record);
        if number == 0 {
            last_span = line;
            continue;
        }
        match read_row(text, &record, &line, power, rows.last()) {
            Ok(row) => rows.push(row),
            Err(problem) => {
                faults += 1;
                note(problem);
            }
        }
        last_span = line;
    }
    if faults == 0 && rows.len() < 2 {
        note(Problem::new(
            last_span,
            "the profile has fewer than two rows",
            "another row after this one",
            "a row's current holds until the next row's time, so the last row only says when the action ends",
        ));
        return None;
    }
    Some(rows).filter(|_| faults == 0)
}

fn read_row(
    text: &str,
    record: &Record,
    line: &Range<usize>,
    exponent: i32,
    before: Option<&Row>,
) -> Result<Row, Problem> {
    let [time, current] = &record.cells[..] else {
        let count = record.cells.len();
        let cells = if count == 1 { "cell" } else { "cells" };
        let title = format!("a row of the profile has {count} {cells}");
        return Err(Problem::new(
            line.clone(),
            title,
            "a time and a current",
            "write two numbers, parted by a comma",
        ));
    };
    let cell = |column| cell_span(text, line, column);
    let number = |cell_text: &str, column, exponent, name: &str| {
        parse_plain(cell_text, exponent).map_err(|fault| {
            let title = match fault {
                QuantityFault::TooLarge => format!("the {name} is too large: {}", quoted(cell_text)),
                QuantityFault::TooSmall => format!("the {name} is too small: {}", quoted(cell_text)),
                _ if cell_text.is_empty() => format!("the {name} is missing"),
                _ => format!("the {name} is not a number: {}", quoted(cell_text)),
            };
            Problem::new(
                cell(column),
                title,
                "a number",
                "write a plain decimal number, or remove the row",
            )
        })
    };
    let row = Row {
        time_s: number(time, 0, 0, "time")?,
        current_a: number(current, 1, exponent, "current")?,
    };
    if before.is_some_and(|before| row.time_s <= before.time_s) {
        let expected = "later than the row before it";
        return Err(Problem::new(
            cell(0),
            "time does not rise",
            expected,
            "sort the rows and keep each time once",
        ));
    }
    if row.current_a < 0.0 {
        return Err(Problem::new(
            cell(1),
            "the current is negative",
            "0 or more",
            "take out the offset of the instrument, and set what is left below zero to 0",
        ));
    }
    Ok(row)
}

/// Where the line of a record stands: the CSV reader's position may still point at comments before it.
fn line_of(text: &str, record: &Record) -> Range<usize> {
    let mut start = record.from;
    loop {
        let end = text[start..].find('\n').map_or(text.len(), |at| start + at);
        let line = text[start..end].trim_matches(['\r', '\u{feff}']);
        if end < text.len() && (line.is_empty() || line.starts_with('#')) {
            start = end + 1;
        } else {
            return start..end;
        }
    }
}

/// Where a cell stands in its line.
fn cell_span(text: &str, line: &Range<usize>, column: usize) -> Range<usize> {
    let row = &text[line.clone()];
    let start: usize = row.split(',').take(column).map(|cell| cell.len() + 1).sum();
    let cell = row.split(',').nth(column).unwrap_or_default();
    let blank = cell.len() - cell.trim_start().len();
    let from = line.start + (start + blank).min(row.len());
    from..from + cell.trim().len()
}

#[cfg(test)]
mod tests {
    use super::super::Extent;
    use super::*;
    use crate::units::*;
    use proptest::prelude::*;

    fn rows_of(text: &str) -> Result<Vec<Row>, Vec<Problem>> {
        let faults = std::cell::RefCell::new(Vec::new());
        let note = |problem| faults.borrow_mut().push(problem);
        let rows = header(text).ok().and_then(|power| read_rows(text, power, &note));
        rows.ok_or(faults.into_inner())
    }

    #[test]
    fn rows_hold_until_the_next() {
        let text = "# bench 3\ntime_s,current_ma\n0,4\n\n0.5, 10\n# end\n0.75,0\n";
        let phases = reduced(&rows_of(text).expect("sound"));
        assert_eq!(phases.len(), 2);
        assert_eq!(phases[0].current, amperes(0.004));
        assert_eq!(phases[1].current, amperes(0.010));
        assert_eq!(phases[1].extent, Extent::Fixed(seconds(0.25)));
        assert_eq!(phases[1].name, "profile 2");
    }

    #[test]
    fn faults_point_at_their_cell() {
        let text = "time_s,current_a\n0,1\n# note\n1,much\n";
        let faults = rows_of(text).expect_err("a word is no number");
        assert_eq!(&text[faults[0].span.clone()], "much");
        let faults = rows_of("time_s,current_a\n0,1\n0,1\n").expect_err("time stands still");
        assert_eq!(faults[0].title, "time does not rise");
        for text in [
            "",
            "#\n",
            "time_s\n",
            "current_a,time_s\n0,1\n1,1\n",
            "time_s,current_a\n0,1\n",
        ] {
            assert!(rows_of(text).is_err(), "{text}");
        }
        for row in ["1,-1", "1,NaN", "1,inf", "1", "1,2,3", ",2", "1,1e99"] {
            assert!(
                rows_of(&format!("time_s,current_a\n0,1\n{row}\n2,0\n")).is_err(),
                "{row}"
            );
        }
    }

    proptest! {
        #[test]
        fn any_text_is_answered(text in "(time_s,current_a\n)?([-0-9.,\"#\r\n e]|\\PC){0,80}") {
            let _ = rows_of(&text);
        }
    }
}
