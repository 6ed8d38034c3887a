//! Results as text for people and as JSON for programs. Pure functions from results to strings.

use crate::visible::in_json;

mod by_action;
mod table;

pub mod budget;
pub mod cell;
pub mod check;
pub mod compare;
pub mod dividers;
pub use crate::findings::printout as findings;
pub mod fit;
pub mod lifetime;
pub mod log_plan;
pub mod pace;
pub mod sensitivity;
pub mod simulate;
pub mod size;
pub mod survival;
pub mod thresholds;

/// How results are printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// Tables and sentences.
    Text,
    /// One JSON object, stable.
    Json,
}

/// One JSON object as text, indented, with a final newline. Strings hold what they hold, with escapes for what cannot be seen.
pub fn json(value: &impl serde::Serialize) -> String {
    // Serialising plain structs of numbers and strings cannot fail.
    let text = serde_json::to_string_pretty(value).unwrap_or_default();
    in_json(&text).into_owned() + "\n"
}
