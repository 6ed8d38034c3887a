//! A copy of the node file with what was fitted in it; comments, order and everything else stay as they are.
//!
//! Each value moves by the factor between the fitted and the described one, so that a bank of many cells or a sleep behind a
//! regulator needs no other rule: capacitance and resistance of every capacitor, the sleeping current, the leakage, the currents of
//! an action's phases. Spread goes into comments, and into the tolerances that it replaces.

use toml_edit::{DocumentMut, Item, TableLike, Value};

use super::Fit;

/// Significant digits that are written.
const DIGITS: usize = 4;

/// Why the copy could not be made.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    /// The text is not TOML any more.
    #[error("the node file cannot be edited: {0}")]
    NotToml(#[from] toml_edit::TomlError),
    /// The log fixed nothing that has a place in the file.
    #[error("the log fixes nothing that a node file holds: there is nothing to write")]
    Nothing,
}

/// The text of a node file with the values of `fit`.
///
/// # Errors
///
/// If `text` is no TOML, or the fit has nothing for it.
pub fn written(text: &str, fit: &Fit) -> Result<String, WriteError> {
    let mut document: DocumentMut = text.parse()?;
    let mut changes = 0;
    let change = |name: &str| {
        let parameter = fit.parameter(name)?;
        let (value, described) = parameter.value.zip(parameter.described)?;
        let spread = parameter.standard_error? / value;
        (value > 0.0 && described > 0.0).then_some(Change {
            factor: value / described,
            spread,
        })
    };
    let root = document.as_table_mut();
    if let Some(change) = change("capacitance_f") {
        each_capacitor(root, |part, place| {
            for key in ["capacitance", "capacitance_slope"] {
                changes += usize::from(scale(part, key, &change, place));
            }
            // The unit at hand is measured: what is left of the tolerance is the error of the measurement.
            for key in ["tolerance_low", "tolerance_high"] {
                let percent = (1.96 * change.spread * 100.0).max(0.1);
                set(
                    part,
                    key,
                    format!("{} %", significant(percent)),
                    "95 % of the fit",
                    place,
                );
            }
        });
    }
    if let Some(change) = change("resistance_ohm") {
        each_capacitor(root, |part, place| {
            changes += usize::from(scale(part, "esr", &change, place))
        });
    }
    if let Some(change) = change("leakage_a") {
        each_capacitor(root, |part, place| {
            changes += usize::from(scale(part, "leakage", &change, place))
        });
    }
    if let Some(change) = change("sleep_current_a")
        && let Some(sleep) = root.get_mut("sleep")
    {
        let place = if sleep.is_table() {
            Place::Lines
        } else {
            Place::Braces
        };
        if let Some(sleep) = sleep.as_table_like_mut() {
            changes += usize::from(scale(sleep, "current", &change, place));
        }
    }
    for (name, action) in [("measure_energy_j", "measure"), ("transmit_energy_j", "transmit")] {
        if let Some(change) = change(name)
            && let Some(action) = root.get_mut(action).and_then(Item::as_table_like_mut)
        {
            changes += each_phase(action, &change);
        }
    }
    if changes == 0 {
        return Err(WriteError::Nothing);
    }
    Ok(document.to_string())
}

/// Where the entries of a table stand.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Place {
    /// Each on a line, with room for a comment.
    Lines,
    /// All between braces.
    Braces,
}

/// What a value is multiplied by, and its standard error as a part of it.
struct Change {
    factor: f64,
    spread: f64,
}

/// The capacitors, whether they are tables of their own or in a list.
fn each_capacitor(root: &mut toml_edit::Table, mut edit: impl FnMut(&mut dyn TableLike, Place)) {
    let Some(storage) = root.get_mut("storage").and_then(Item::as_table_like_mut) else {
        return;
    };
    let Some(capacitors) = storage.get_mut("capacitor") else {
        return;
    };
    if let Some(tables) = capacitors.as_array_of_tables_mut() {
        for table in tables.iter_mut() {
            edit(table, Place::Lines);
        }
    } else if let Some(list) = capacitors.as_array_mut() {
        for entry in list.iter_mut() {
            if let Value::InlineTable(table) = entry {
                edit(table, Place::Braces);
            }
        }
    } else if let Some(table) = capacitors.as_table_mut() {
        edit(table, Place::Lines);
    }
}

/// Scales the currents of an action's phases; the number of changes.
fn each_phase(action: &mut dyn TableLike, change: &Change) -> usize {
    let mut changes = 0;
    let Some(phases) = action.get_mut("phases") else {
        return 0;
    };
    if let Some(list) = phases.as_array_mut() {
        for phase in list.iter_mut() {
            if let Value::InlineTable(table) = phase {
                changes += usize::from(scale(table, "current", change, Place::Braces));
            }
        }
    } else if let Some(tables) = phases.as_array_of_tables_mut() {
        for table in tables.iter_mut() {
            changes += usize::from(scale(table, "current", change, Place::Lines));
        }
    }
    changes
}

/// Scales a quantity and leaves its unit and its comment; whether it was there.
fn scale(table: &mut dyn TableLike, key: &str, change: &Change, place: Place) -> bool {
    let Some(text) = table.get(key).and_then(Item::as_str) else {
        return false;
    };
    let Some((number, unit)) = text.trim().split_once(' ') else {
        return false;
    };
    let Ok(number) = number.replace('_', "").parse::<f64>() else {
        return false;
    };
    let text = format!("{} {}", significant(number * change.factor), unit.trim());
    let was = format!(
        "fitted, ±{} %; was {number} {}",
        significant(1.96 * change.spread * 100.0),
        unit.trim()
    );
    set(table, key, text, &was, place);
    true
}

/// Sets a text; where the table has lines of its own, a note goes behind the comment that is there.
fn set(table: &mut dyn TableLike, key: &str, text: String, note: &str, place: Place) {
    let Some(value) = table.get_mut(key).and_then(Item::as_value_mut) else {
        return;
    };
    let decor = value.decor().clone();
    *value = Value::from(text);
    *value.decor_mut() = decor;
    if place == Place::Lines {
        let suffix = value
            .decor()
            .suffix()
            .and_then(|suffix| suffix.as_str())
            .unwrap_or_default();
        let comment = match suffix.trim_end() {
            "" => format!(" # {note}"),
            comment => format!("{comment}; {note}"),
        };
        value.decor_mut().set_suffix(comment);
    }
}

/// Four significant digits without trailing zeros.
fn significant(value: f64) -> String {
    let text = format!("{value:.*e}", DIGITS - 1);
    let rounded: f64 = text.parse().unwrap_or(value);
    format!("{rounded}")
}
