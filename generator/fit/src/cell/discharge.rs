//! The rows of a discharge, and what is wrong with them.

use crate::problem::{Problem, quoted};
use crate::rows::{Faults, Row, Rows, cell_span};
use crate::text::Engineering;
use crate::units::*;

use super::levels::{
    CROSSING_HALF_WIDTH, CROSSING_LEAST_ROWS, LINE_FROM, LINE_TO, RESISTANCE_FROM, RESISTANCE_TO,
};

/// The current ends the discharge; what the voltage does below this part of the rated one is not looked at.
const LOWEST: f64 = LINE_TO;
/// The least that a discharge must fall to: the lower level of the standard's method.
const NEEDED: f64 = super::STANDARD.1;
/// A rise by more than this part of the rated voltage is no noise of an instrument (common practice, no source).
const MOST_RISE: f64 = 0.02;
/// The first row must stand between these parts of the rated voltage: above the range of the resistance, and no more
/// above the rated voltage than any supply is off.
const START: (f64, f64) = (RESISTANCE_FROM, 1.2);
/// So many times the rated voltage are another unit.
const OTHER_UNIT: f64 = 10.0;
/// Rows that each fit needs, so that its residuals say something: some ten for each of the three figures of the line.
const LEAST_LINE_ROWS: usize = 30;
const LEAST_RESISTANCE_ROWS: usize = 8;

const HEADER: &str = "the columns time_s and storage_v";
const HEADER_CURE: &str =
    "write a first line time_s,storage_v: the time in seconds, the voltage at the terminal in volts";
/// Units that a column may have been written in, by the end of its name.
const OTHER_ENDINGS: [&str; 9] = ["_ms", "_us", "_min", "_h", "_mv", "_uv", "_kv", "_counts", "_a"];

/// A row.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Sample {
    /// Since the first row.
    pub(super) time_s: f64,
    /// At the terminal.
    pub(super) storage_v: f64,
    /// From where on the row is to be looked for in the text.
    search_from: usize,
}

/// A discharge in order of time, from just before the current until the voltage no longer matters.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Discharge {
    pub(super) rated_v: f64,
    pub(super) samples: Vec<Sample>,
    /// The first of them that is under the current for certain: from here on none is within noise of the first row.
    pub(super) loaded_from: usize,
    /// Rows of the file.
    pub(super) rows: usize,
    /// Where the header stands, for a fault of the whole.
    header: std::ops::Range<usize>,
}

impl Discharge {
    /// The rows under the current whose voltage lies between two parts of the rated voltage, the higher first.
    pub(super) fn between(&self, high: f64, low: f64) -> Vec<Sample> {
        let (high_v, low_v) = (high * self.rated_v, low * self.rated_v);
        let inside = |sample: &&Sample| sample.storage_v <= high_v && sample.storage_v >= low_v;
        self.samples[self.loaded_from..]
            .iter()
            .filter(inside)
            .copied()
            .collect()
    }

    /// The fault of a curve that is no capacitor's.
    pub(super) fn unfit(&self) -> Problem {
        Problem::new(
            self.header.clone(),
            "no capacitance that rises or falls evenly with the voltage fits this discharge",
            "a discharge at one constant current",
            "see whether the current was constant all the time, and whether this is the file of one capacitor",
        )
    }
}

/// Reads a discharge.
///
/// # Errors
///
/// All faults, in the order of the file.
pub(super) fn read(text: &str, rated_v: f64) -> Result<Discharge, Vec<Problem>> {
    let mut rows = Rows::of(text);
    let mut faults = Faults::default();
    let Some(header) = rows.advance() else {
        let expected = "a header and the rows of a discharge";
        return Err(vec![Problem::new(
            0..0,
            "the discharge is empty",
            expected,
            HEADER_CURE,
        )]);
    };
    let span = header.span();
    let columns = columns(&header, &mut faults);
    let Some(columns) = columns else {
        return Err(faults.into_list());
    };
    let mut samples = read_rows(&mut rows, columns, text, &mut faults);
    let count = samples.len();
    let broken = !faults.is_empty();
    if let [first, ..] = samples[..] {
        check_start(text, &first, columns.voltage, rated_v, &mut faults);
        if first.storage_v <= OTHER_UNIT * rated_v {
            let end = end(&samples, rated_v);
            samples.truncate(end);
            find_rises(text, &samples, columns.voltage, rated_v, &mut faults);
            check_end(text, &samples, columns.voltage, rated_v, &mut faults);
        }
        for sample in &mut samples {
            sample.time_s -= first.time_s;
        }
    }
    let loaded_from = loaded_from(&samples, rated_v);
    let discharge = Discharge {
        rated_v,
        samples,
        loaded_from,
        rows: count,
        header: span,
    };
    // Rows that are broken are missed; what they would have been is not known.
    if !broken && faults.is_empty() {
        check_rows(&discharge, text, &mut faults);
    }
    if faults.is_empty() {
        Ok(discharge)
    } else {
        Err(faults.into_list())
    }
}

/// Where the two columns stand.
#[derive(Clone, Copy)]
struct Columns {
    time: usize,
    voltage: usize,
    count: usize,
}

fn columns(header: &Row<'_>, faults: &mut Faults) -> Option<Columns> {
    let place = |name: &str| (0..header.width()).find(|&column| header.cell(column) == name);
    let (time, voltage) = (place("time_s"), place("storage_v"));
    if let (Some(time), Some(voltage)) = (time, voltage) {
        let count = header.width();
        return Some(Columns { time, voltage, count });
    }
    let mut is_named = false;
    for column in 0..header.width() {
        let cell = header.cell(column);
        if OTHER_ENDINGS
            .iter()
            .any(|ending| cell.to_lowercase().ends_with(ending))
        {
            is_named = true;
            faults.note(Problem::new(
                header.cell_span(column),
                format!("the column `{}` is in another unit", quoted(cell)),
                HEADER,
                "convert the column to seconds or volts, and name it time_s or storage_v",
            ));
        }
    }
    if !is_named {
        let title = match (time, voltage) {
            (None, Some(_)) => "the discharge has no column time_s",
            (Some(_), None) => "the discharge has no column storage_v",
            _ => "the discharge has no such header",
        };
        faults.note(Problem::new(header.span(), title, HEADER, HEADER_CURE));
    }
    None
}

fn read_rows(rows: &mut Rows<'_>, columns: Columns, text: &str, faults: &mut Faults) -> Vec<Sample> {
    let mut samples: Vec<Sample> = Vec::new();
    while let Some(row) = rows.advance() {
        if faults.end_reading_at(&row) {
            break;
        }
        if row.width() != columns.count {
            let cells = if row.width() == 1 { "cell" } else { "cells" };
            faults.note(Problem::new(
                row.span(),
                format!("a row of the discharge has {} {cells}", row.width()),
                format!("{} cells, as the header", columns.count),
                "write as many cells as the header has, parted by a comma, and decimals with a point",
            ));
            continue;
        }
        let time_s = row.number(columns.time, "time", faults);
        let storage_v = row.number(columns.voltage, "voltage", faults);
        let (Some(time_s), Some(storage_v)) = (time_s, storage_v) else {
            continue;
        };
        if let Some(before) = samples.last().filter(|before| time_s <= before.time_s) {
            let title = if time_s == before.time_s {
                "the same time stands twice"
            } else {
                "time goes back"
            };
            let place = cell_span(text, before.search_from, columns.time);
            faults.note(
                Problem::new(
                    row.cell_span(columns.time),
                    title,
                    "later than the row before it",
                    "sort the rows by time and keep each time once",
                )
                .with(&place, "the row before it"),
            );
            continue;
        }
        samples.push(Sample {
            time_s,
            storage_v,
            search_from: row.search_from(),
        });
    }
    samples
}

/// Number of rows until the voltage has fallen to the lowest that is looked at, or else to its own lowest. Counted after
/// the last row that is still above the level that every discharge must reach, so that one wild row ends nothing.
fn end(samples: &[Sample], rated_v: f64) -> usize {
    let above = samples
        .iter()
        .rposition(|sample| sample.storage_v > NEEDED * rated_v)
        .unwrap_or(0);
    let rest = &samples[above..];
    let lowest = rest
        .iter()
        .enumerate()
        .min_by(|a, b| a.1.storage_v.total_cmp(&b.1.storage_v))
        .map_or(0, |(place, _)| place);
    let fallen = rest
        .iter()
        .position(|sample| sample.storage_v < LOWEST * rated_v)
        .unwrap_or(lowest);
    // A window around the last level reaches below it.
    let margin_v = (LOWEST - CROSSING_HALF_WIDTH) * rated_v;
    let beyond = rest[fallen..]
        .windows(2)
        .take_while(|pair| pair[1].storage_v < pair[0].storage_v && pair[0].storage_v > margin_v)
        .count();
    above + fallen + beyond + 1
}

/// The row after the last one that is within noise of the first: a discharge that starts low has its rest in the range of the fits.
fn loaded_from(samples: &[Sample], rated_v: f64) -> usize {
    let Some(first) = samples.first() else { return 0 };
    let is_near = |sample: &Sample| sample.storage_v >= first.storage_v - MOST_RISE * rated_v;
    samples.iter().rposition(is_near).map_or(0, |last| last + 1)
}

fn check_start(text: &str, first: &Sample, column: usize, rated_v: f64, faults: &mut Faults) {
    let part = first.storage_v / rated_v;
    if (START.0..=START.1).contains(&part) {
        return;
    }
    let shown = |voltage_v: f64| Engineering(volts(voltage_v), "V").to_string();
    let (title, cure) = if part > OTHER_UNIT {
        (
            format!(
                "the voltage starts at {}: this is another unit",
                shown(first.storage_v)
            ),
            "write the voltage in volts, and --rated with its unit",
        )
    } else if part > START.1 {
        (
            format!(
                "the voltage starts at {}, above the rated voltage",
                shown(first.storage_v)
            ),
            "see whether --rated is the voltage of this capacitor, and whether the column is in volts",
        )
    } else {
        (
            format!("the voltage starts at {}, too low", shown(first.storage_v)),
            "charge to the rated voltage, hold it for 30 minutes, and log from just before the current; see whether --rated \
             is the voltage of this capacitor, and whether the column is in volts",
        )
    };
    faults.note(Problem::new(
        cell_span(text, first.search_from, column),
        title,
        format!("{} to {}", shown(START.0 * rated_v), shown(START.1 * rated_v)),
        cure,
    ));
}

/// Notes where the voltage has risen further above its lowest so far than noise can be.
fn find_rises(text: &str, samples: &[Sample], column: usize, rated_v: f64, faults: &mut Faults) {
    let Some(mut lowest) = samples.first() else { return };
    for sample in samples {
        let rise_v = sample.storage_v - lowest.storage_v;
        if rise_v > MOST_RISE * rated_v {
            let place = cell_span(text, lowest.search_from, column);
            faults.note(
                Problem::new(
                    cell_span(text, sample.search_from, column),
                    format!("the voltage rises by {}", Engineering(volts(rise_v), "V")),
                    "a voltage that falls all the time",
                    "cut the file where the current ends, and take out rows that are not of this discharge",
                )
                .with(&place, "lower before"),
            );
        }
        if rise_v <= 0.0 || rise_v > MOST_RISE * rated_v {
            lowest = sample;
        }
    }
}

fn check_end(text: &str, samples: &[Sample], column: usize, rated_v: f64, faults: &mut Faults) {
    let Some(last) = samples.last() else { return };
    if last.storage_v <= NEEDED * rated_v {
        return;
    }
    let shown = |voltage_v: f64| Engineering(volts(voltage_v), "V").to_string();
    faults.note(Problem::new(
        cell_span(text, last.search_from, column),
        format!("the discharge ends at {}", shown(last.storage_v)),
        format!(
            "{} or less, {} % of the rated voltage",
            shown(NEEDED * rated_v),
            NEEDED * 100.0
        ),
        format!(
            "discharge further, best to {}; see whether --rated is the voltage of this capacitor",
            shown(LOWEST * rated_v)
        ),
    ));
}

/// Notes where there are too few rows for a fit.
fn check_rows(discharge: &Discharge, text: &str, faults: &mut Faults) {
    let half = CROSSING_HALF_WIDTH;
    let around = |level: f64| (level + half, level - half, CROSSING_LEAST_ROWS);
    let needs = [
        (LINE_FROM, LINE_TO, LEAST_LINE_ROWS),
        (RESISTANCE_FROM, RESISTANCE_TO, LEAST_RESISTANCE_ROWS),
        around(super::STANDARD.0),
        around(super::STANDARD.1),
    ];
    let end = text.trim_end().len();
    for (high, low, least) in needs {
        let found = discharge.between(high, low).len();
        if found < least {
            let shown = |part: f64| Engineering(volts(part * discharge.rated_v), "V").to_string();
            faults.note(Problem::new(
                end..end,
                format!("too few rows from {} to {}: {found}", shown(high), shown(low)),
                format!("{least} rows or more there"),
                "log more often: a hundred rows in a discharge, or more",
            ));
        }
    }
}
