//! Two node files side by side: which constants move, and which input moved them.
//!
//! Each changed input is put into the old file on its own, and the constants are made anew: what moves then is that input's
//! doing. What all inputs do together beyond the sum of what each does alone is named as such.

mod inputs;

pub use inputs::Change;

use std::collections::BTreeMap;
use std::path::Path;

use crate::generated::{self, Refusal};
use crate::node::NodeFile;

/// What differs between the constants of two node files.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison {
    /// Constants that differ, in the order of their names.
    pub moved: Vec<Moved>,
    /// Every input that differs, in the order of the old file.
    pub changes: Vec<Change>,
}

/// A constant that differs.
#[derive(Clone, Debug, PartialEq)]
pub struct Moved {
    /// Name of the constant as the JSON of `generate` has it, parts joined by dots.
    pub name: String,
    /// As it was; `None` if it is new.
    pub old: Option<i64>,
    /// As it is; `None` if it is gone.
    pub new: Option<i64>,
    /// What each changed input does to it on its own: index into [`Comparison::changes`], and the difference.
    pub causes: Vec<(usize, i64)>,
    /// What is left of the difference when the causes are taken away.
    pub together: i64,
}

/// Compares the constants of two node files.
///
/// # Errors
///
/// If either file is refused.
pub fn compare(old: &NodeFile, new: &NodeFile) -> Result<Comparison, Refusal> {
    let before = numbers(&generated::without_plan(old)?.json());
    let after = numbers(&generated::without_plan(new)?.json());
    let mut changes = inputs::changes(&old.text, &new.text);
    let alone: Vec<Option<BTreeMap<String, i64>>> = changes
        .iter()
        .map(|change| {
            let folder = Path::new(&new.path).parent().unwrap_or(Path::new(""));
            let file = NodeFile::parse(&old.path, &change.applied_to(&old.text), folder).ok()?;
            Some(numbers(&generated::without_plan(&file).ok()?.json()))
        })
        .collect();
    for (change, constants) in changes.iter_mut().zip(&alone) {
        change.stands_alone = constants.is_some();
    }

    let names: std::collections::BTreeSet<&String> = before.keys().chain(after.keys()).collect();
    let moved = names
        .into_iter()
        .filter(|name| before.get(*name) != after.get(*name))
        .map(|name| {
            let (old, new) = (before.get(name).copied(), after.get(name).copied());
            let from = old.unwrap_or_default();
            let causes: Vec<(usize, i64)> = alone
                .iter()
                .enumerate()
                .filter_map(|(index, constants)| {
                    let by = constants.as_ref()?.get(name).copied().unwrap_or_default() - from;
                    (by != 0).then_some((index, by))
                })
                .collect();
            let explained: i64 = causes.iter().map(|(_, by)| by).sum();
            Moved {
                name: name.clone(),
                old,
                new,
                causes,
                together: new.unwrap_or_default() - from - explained,
            }
        })
        .collect();
    Ok(Comparison { moved, changes })
}

/// All integers of a JSON text by the path to them. Where the constants came from is left out.
fn numbers(json: &str) -> BTreeMap<String, i64> {
    let mut found = BTreeMap::new();
    if let Ok(value) = serde_json::from_str::<serde_json::Value>(json) {
        collect(&value, "", &mut found);
    }
    found
}

/// Constants that mark the others and mean nothing by their value.
const MARKS: [&str; 1] = ["fingerprint"];

fn collect(value: &serde_json::Value, path: &str, found: &mut BTreeMap<String, i64>) {
    let below = |name: &str| {
        if path.is_empty() {
            name.to_owned()
        } else {
            format!("{path}.{name}")
        }
    };
    match value {
        serde_json::Value::Object(object) => {
            for (name, value) in object.iter().filter(|(name, _)| !MARKS.contains(&name.as_str())) {
                collect(value, &below(name), found);
            }
        }
        serde_json::Value::Array(list) => {
            for (index, value) in list.iter().enumerate() {
                collect(value, &format!("{path}[{index:02}]"), found);
            }
        }
        serde_json::Value::Number(number) => {
            if let Some(number) = number.as_i64() {
                found.insert(path.to_owned(), number);
            }
        }
        _ => {}
    }
}
