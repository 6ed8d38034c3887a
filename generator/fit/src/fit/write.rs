//! A copy of the node file with what was fitted in it; comments, order and everything else stay as they are.
//!
//! Capacitance, resistance and leakage of every capacitor move by the factor between the fitted and the described figure of the
//! bank, so that many cells need no other rule. The sleeping current and the currents of an action's phases move by the factor with
//! which the load, behind its regulator, draws what was fitted at the storage terminal: what the regulator draws by itself is not
//! theirs. Spread goes into comments, and into the tolerances that it replaces. What has no place in the file is said in notes.

mod edit;

use toml_edit::{DocumentMut, Item, Table, TableLike};

use super::Fit;
use super::described::{self, Described};
use super::load_factor::{self, Change, Unreached};
use crate::node::{Node, NodeFile};
use crate::problem::quoted;
use crate::text::{Engineering, to_digits};
use crate::units::*;
use edit::{Place, each_capacitor, each_phase, remark, scale, set, spread_percent};

/// A capacitor at hand is known no better than this: the instrument's own error (common practice, no source).
const LEAST_TOLERANCE_PERCENT: f64 = 0.1;

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

/// A node file with what was fitted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Written {
    /// Its text.
    pub text: String,
    /// What was fitted and is not in it, and what would cure that.
    pub notes: Vec<String>,
}

/// The text of a node file with the values of `fit`.
///
/// # Errors
///
/// If the text of `file` is no TOML, or the fit has nothing for it.
pub fn written(file: &NodeFile, fit: &Fit) -> Result<Written, WriteError> {
    let mut document: DocumentMut = file.text.parse()?;
    let root = document.as_table_mut();
    let mut draft = Draft {
        node: &file.node,
        fit,
        working_v: Described::of(&file.node).working_v,
        changes: 0,
        notes: Vec::new(),
    };
    draft.capacitors(root);
    draft.sleep(root);
    draft.actions(root);
    let Draft { changes, notes, .. } = draft;
    if changes == 0 {
        return Err(WriteError::Nothing);
    }
    Ok(Written {
        text: document.to_string(),
        notes,
    })
}

/// A copy in the making.
struct Draft<'a> {
    node: &'a Node,
    fit: &'a Fit,
    working_v: f64,
    changes: usize,
    notes: Vec<String>,
}

impl Draft<'_> {
    /// A fitted value and its standard error.
    fn fitted(&self, name: &str) -> Option<(f64, f64)> {
        let parameter = self.fit.parameter(name)?;
        parameter.value.zip(parameter.standard_error)
    }

    /// Scales what is the capacitors'.
    fn capacitors(&mut self, root: &mut Table) {
        for (name, key, slope) in [
            ("capacitance_f", "capacitance", Some("capacitance_slope")),
            ("resistance_ohm", "esr", None),
            ("leakage_a", "leakage", None),
        ] {
            let described = self.fit.parameter(name).and_then(|parameter| parameter.described);
            let Some(((value, standard_error), described)) = self.fitted(name).zip(described) else {
                continue;
            };
            if value <= 0.0 {
                self.notes.push(format!(
                    "`{key}` is left as it is: what was fitted is not above 0. Log the dark from full to nearly empty, or the bare \
                     capacitor for a day"
                ));
                continue;
            }
            let change = Change {
                factor: value / described,
                spread: standard_error / value,
            };
            each_capacitor(root, |part, place| {
                // A leakage of 0 has no factor, and needs none.
                if !scale(part, key, &change, place) {
                    return;
                }
                self.changes += 1;
                if let Some(slope) = slope {
                    scale(part, slope, &change, place);
                    tolerances(part, &change, place);
                }
            });
        }
    }

    /// Scales the sleeping current.
    fn sleep(&mut self, root: &mut Table) {
        let Some(((value_a, error_a), sleep)) = self.fitted("sleep_current_a").zip(root.get_mut("sleep"))
        else {
            return;
        };
        let drawn_a = |times: f64| described::sleep_a(self.node, times, self.working_v);
        match load_factor::change(value_a, error_a, drawn_a) {
            Ok(change) => {
                let place = Place::of(sleep);
                if let Some(sleep) = sleep.as_table_like_mut() {
                    self.changes += usize::from(scale(sleep, "current", &change, place));
                }
            }
            Err(why) => {
                let shown = |value_a: f64| Engineering(amperes(value_a), "A").to_string();
                self.notes
                    .push(unreached("`current` of `[sleep]`", &shown(value_a), &why, &shown));
            }
        }
    }

    /// Scales the currents of the phases of samples and reports.
    fn actions(&mut self, root: &mut Table) {
        for (name, key, action) in [
            ("measure_energy_j", "measure", &self.node.measure),
            ("transmit_energy_j", "transmit", &self.node.transmit),
        ] {
            let Some(((value_j, error_j), item)) = self.fitted(name).zip(root.get_mut(key)) else {
                continue;
            };
            let place = Place::of(item);
            let Some(table) = item.as_table_like_mut() else {
                continue;
            };
            let drawn_j = |times: f64| described::action_j(self.node, action, times, self.working_v);
            match load_factor::change(value_j, error_j, drawn_j) {
                Ok(change) if table.contains_key("profile") => {
                    self.notes.push(profile(table, key, &change, place));
                }
                Ok(change) => self.changes += each_phase(table, &change),
                Err(why) => {
                    let shown = |value_j: f64| Engineering(joules(value_j), "J").to_string();
                    let what = format!("the currents of `[{key}]`");
                    self.notes.push(unreached(&what, &shown(value_j), &why, &shown));
                }
            }
        }
    }
}

/// The unit at hand is measured: what is left of the tolerance is the error of the measurement.
fn tolerances(part: &mut dyn TableLike, change: &Change, place: Place) {
    let percent = spread_percent(change).max(LEAST_TOLERANCE_PERCENT);
    for key in ["tolerance_low", "tolerance_high"] {
        set(part, key, format!("{percent} %"), "95 % of the fit", place);
    }
}

/// Says what becomes of a measured profile, which is not changed: it is a file of its own, and what an instrument saw.
fn profile(table: &mut dyn TableLike, key: &str, change: &Change, place: Place) -> String {
    let (factor, percent) = (to_digits(change.factor), spread_percent(change));
    let note = format!("left as it is; fitted, ±{percent} %: {factor} times its currents");
    remark(table, "profile", &note, place);
    let name = table.get("profile").and_then(Item::as_str).unwrap_or_default();
    format!(
        "`[{key}]` is left as it is: its currents stand in the profile {}. By the log they are {factor} times as high, ±{percent} %: \
         multiply the column of currents by that, or write `phases` in place of `profile`",
        quoted(name)
    )
}

/// Says that the currents of a load are left, and why.
fn unreached(what: &str, fitted: &str, why: &Unreached, shown: &dyn Fn(f64) -> String) -> String {
    match why {
        Unreached::WithoutLoad(least) => format!(
            "{what}: left as described, as the fitted {fitted} is no more than the {} that the regulator draws by itself. Lower \
             `quiescent` in `[supply]` to what it is, or log for longer",
            shown(*least)
        ),
        Unreached::NoLoad => format!(
            "{what}: left as described, as no factor makes {fitted} of a load of 0. Write what the load draws, and fit again"
        ),
    }
}

#[cfg(test)]
mod tests;
