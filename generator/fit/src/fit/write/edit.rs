//! Entries of a node file's text: where they stand, and how one changes without its surroundings.

use toml_edit::{Item, Table, TableLike, Value};

use crate::fit::load_factor::Change;
use crate::node::quantity;
use crate::text::to_digits;

/// Standard errors around a value that hold 95 of 100 truths, in percent of a part.
const SPREAD_PERCENT: f64 = 196.0;

/// Where the entries of a table stand.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Place {
    /// Each on a line, with room for a comment.
    Lines,
    /// All between braces.
    Braces,
}

impl Place {
    /// Of the entries of `item`.
    pub(super) fn of(item: &Item) -> Self {
        if item.is_table() {
            Self::Lines
        } else {
            Self::Braces
        }
    }
}

/// The capacitors, whether they are tables of their own or in a list.
pub(super) fn each_capacitor(root: &mut Table, mut edit: impl FnMut(&mut dyn TableLike, Place)) {
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
pub(super) fn each_phase(action: &mut dyn TableLike, change: &Change) -> usize {
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

/// Scales a quantity and leaves its unit and its comment; false where there is none, or its 0 has no factor.
pub(super) fn scale(table: &mut dyn TableLike, key: &str, change: &Change, place: Place) -> bool {
    let Some((number, unit)) = table.get(key).and_then(Item::as_str).and_then(quantity::scalable) else {
        return false;
    };
    let text = format!("{} {unit}", to_digits(number * change.factor));
    let was = format!("fitted, ±{} %; was {number} {unit}", spread_percent(change));
    set(table, key, text, &was, place);
    true
}

/// The 95 % around a changed value, in percent of it.
pub(super) fn spread_percent(change: &Change) -> f64 {
    to_digits(SPREAD_PERCENT * change.spread)
}

/// Sets a text, with a remark.
pub(super) fn set(table: &mut dyn TableLike, key: &str, text: String, note: &str, place: Place) {
    let Some(value) = table.get_mut(key).and_then(Item::as_value_mut) else {
        return;
    };
    let decor = value.decor().clone();
    *value = Value::from(text);
    *value.decor_mut() = decor;
    remark(table, key, note, place);
}

/// Where the table has lines of its own, puts a note behind the value and the comment that is there.
pub(super) fn remark(table: &mut dyn TableLike, key: &str, note: &str, place: Place) {
    let Some(value) = table.get_mut(key).and_then(Item::as_value_mut) else {
        return;
    };
    if place == Place::Braces {
        return;
    }
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
