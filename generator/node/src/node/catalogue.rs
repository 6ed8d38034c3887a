//! A catalogue of capacitors to choose from: a TOML file of `[[part]]` tables, or a CSV file with the same keys as its header.
//!
//! What a part does not say of its tolerances and of its life is taken from the capacitor that it stands in for.

use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::Capacitor;
use super::limit::Limit;
use super::storage;
use super::syntax;
use super::table::{Log, Table};
use crate::problem::{InputText, Problem, Problems};
use crate::units::*;

/// A price beyond this is a slip.
const MOST_PRICE: f64 = 1e9;

/// More parts than this are no catalogue to choose from: a sweep simulates each of them.
pub const MOST_PARTS: usize = 10_000;

/// Keys whose values are plain numbers, in CSV as in TOML.
const PLAIN: [&str; 3] = ["series", "parallel", "price"];

/// Keys that a part has to have.
pub const REQUIRED: [&str; 5] = ["name", "capacitance", "esr", "rated_voltage", "leakage"];

/// Keys that it may have.
pub const OPTIONAL: [&str; 14] = [
    "series",
    "parallel",
    "price",
    "height",
    "footprint",
    "capacitance_slope",
    "tolerance_low",
    "tolerance_high",
    "balance_resistor",
    "bias_capacitance",
    "end_of_life_capacitance",
    "end_of_life_esr",
    "cold_capacitance",
    "cold_esr",
];

/// One part of a catalogue.
#[derive(Clone, Debug, PartialEq)]
pub struct Part {
    /// What it is called.
    pub name: String,
    /// What it is, with its cells in series and its strings in parallel.
    pub capacitor: Capacitor,
    /// What one cell costs, in whatever money.
    pub price: Option<f64>,
    /// Height of one cell.
    pub height: Option<Length>,
    /// Area that one cell takes on the board.
    pub footprint: Option<Area>,
}

/// A row of a CSV catalogue: its cells under the header's names, and where it stands.
pub struct CatalogueRow<'a> {
    entries: DeTable<'a>,
    span: Range<usize>,
}

impl<'a> CatalogueRow<'a> {
    /// `cells` are the name of each column, where it stands, the text in it and where that stands; empty cells say nothing.
    pub fn of(
        span: Range<usize>,
        cells: impl IntoIterator<Item = (&'a str, Range<usize>, &'a str, Range<usize>)>,
    ) -> Self {
        let entries = cells
            .into_iter()
            .filter(|(_, _, text, _)| !text.is_empty())
            .map(|(name, name_span, text, text_span)| {
                let number = PLAIN.contains(&name).then(|| DeValue::parse(text).ok()).flatten();
                let value = number.map_or_else(|| DeValue::String(text.into()), Spanned::into_inner);
                (
                    Spanned::new(name_span, name.into()),
                    Spanned::new(text_span, value),
                )
            })
            .collect();
        Self { entries, span }
    }
}

/// The parts of a TOML catalogue; `own` is the capacitor that they stand in for.
///
/// # Errors
///
/// All faults of the text.
pub fn from_toml(label: &str, text: &str, own: &Capacitor) -> Result<Vec<Part>, Problems> {
    let (entries, errors) = DeTable::parse_recoverable(text);
    let log = Log {
        damaged: !errors.is_empty(),
        ..Log::default()
    };
    let mut root = Table::root(entries.get_ref(), text.trim_end().len(), &log);
    let mut tables = root.tables("part", "[[part]]");
    if let Some(table) = tables.get(MOST_PARTS) {
        log.note(too_many(table.span.clone()));
        tables.truncate(MOST_PARTS);
    }
    let parts: Vec<_> = tables.into_iter().map(|table| read(table, own)).collect();
    root.finish();
    let mut list = log.problems.into_inner();
    syntax::merge(text, &errors, &mut list);
    finished(label, text, parts, list)
}

/// The parts of the rows of a CSV catalogue; `faults` were found on the way to them.
///
/// # Errors
///
/// All faults, with those found before.
pub fn from_rows(
    label: &str,
    text: &str,
    rows: &[CatalogueRow<'_>],
    faults: Vec<Problem>,
    own: &Capacitor,
) -> Result<Vec<Part>, Problems> {
    let log = Log::default();
    let parts = rows
        .iter()
        .map(|row| read(Table::row(&row.entries, row.span.clone(), &log), own))
        .collect();
    let list = faults.into_iter().chain(log.problems.into_inner()).collect();
    finished(label, text, parts, list)
}

fn finished(
    label: &str,
    text: &str,
    parts: Vec<Option<Part>>,
    list: Vec<Problem>,
) -> Result<Vec<Part>, Problems> {
    match parts.into_iter().collect::<Option<Vec<Part>>>() {
        Some(parts) if list.is_empty() => Ok(parts),
        _ => Err(Problems::new(
            vec![InputText {
                path: label.to_owned(),
                text: text.to_owned(),
            }],
            list,
        )),
    }
}

/// The fault of a catalogue that goes on for too long, at its first part too many.
pub fn too_many(span: Range<usize>) -> Problem {
    Problem::new(
        span,
        format!("the catalogue goes on after {MOST_PARTS} parts"),
        "the end of the file",
        "keep the parts that may serve: each is simulated",
    )
}

fn read(mut table: Table<'_>, own: &Capacitor) -> Option<Part> {
    let name = table.required::<String>("name", "2.7 V 10 F", ());
    let bank = storage::read_cell(&mut table, Some(own));
    let price = table.optional::<f64>("price", "1.2", 0.0..=MOST_PRICE);
    let height = table.optional::<Length>("height", "11 mm", Limit::POSITIVE);
    let footprint = table.optional::<Area>("footprint", "50 mm2", Limit::POSITIVE);
    table.finish();
    Some(Part {
        name: name?.value,
        capacitor: bank.capacitor?,
        price: price.map(|given| given.value),
        height: height.map(|given| given.value),
        footprint: footprint.map(|given| given.value),
    })
}
