//! Two node files side by side: which constants move, and which input moved them.
//!
//! Each changed input is put into the old file on its own, and the constants are made anew: what moves then is that input's
//! doing. What all inputs do together beyond the sum of what each does alone is named as such. A profile that a file names is an
//! input by what it holds. A plan is not tuned here, as that takes seconds for each input: only whether it can differ is said.

mod inputs;

use inputs::Source;

pub use inputs::Change;

use std::collections::{BTreeMap, BTreeSet};

use crate::files;
use crate::generated::{self, Refusal};
use crate::node::{NodeFile, Pace, Profiles};

/// What differs between the constants of two node files.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison {
    /// Constants that differ, in the order of their names.
    pub moved: Vec<Moved>,
    /// Constants that are words and differ, in the order of their names.
    pub reworded: Vec<Reworded>,
    /// What comes of the constants of the plan.
    pub plan: PlanChange,
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

/// A constant that is a word and differs: what happens when the backlog is full, the name of the node.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Reworded {
    /// Name of the constant as the JSON of `generate` has it.
    pub name: String,
    /// As it was.
    pub old: String,
    /// As it is.
    pub new: String,
    /// Inputs that change it on their own: index into [`Comparison::changes`].
    pub causes: Vec<usize>,
}

/// What comes of the constants of a plan, which are not tuned for a comparison.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PlanChange {
    /// Neither file has a plan, or nothing differs that one is made from.
    None,
    /// Only the new file has one.
    Added,
    /// Only the old file has one.
    Removed,
    /// Both have one, and inputs differ.
    NotCompared,
}

/// The constants of one file, sorted by what they are. Where they came from is left out.
#[derive(Default)]
struct Listed {
    numbers: BTreeMap<String, i64>,
    words: BTreeMap<String, String>,
}

/// Compares the constants of two node files.
///
/// # Errors
///
/// If either file is refused.
pub fn compare(old: &NodeFile, new: &NodeFile) -> Result<Comparison, Refusal> {
    let before = listed(&files::json(&generated::without_plan(old)?.constants));
    let after = listed(&files::json(&generated::without_plan(new)?.constants));
    let mut changes = inputs::changes(source(old), source(new));
    // The profiles of both files are at hand; each file's names are told apart by a folder.
    let (old_text, profiles) = inputs::in_memory(source(old), source(new));
    let alone: Vec<Option<Listed>> = changes
        .iter()
        .map(|change| {
            let text = change.applied_to(&old_text);
            let file = NodeFile::parse_with(&old.path, &text, Profiles::Given(&profiles)).ok()?;
            Some(listed(&files::json(
                &generated::without_plan(&file).ok()?.constants,
            )))
        })
        .collect();
    for (change, constants) in changes.iter_mut().zip(&alone) {
        change.stands_alone = constants.is_some();
    }
    let plan = match (old.node.policy.pace, new.node.policy.pace) {
        (Pace::Even, Pace::Planned) => PlanChange::Added,
        (Pace::Planned, Pace::Even) => PlanChange::Removed,
        (Pace::Planned, Pace::Planned) if !changes.is_empty() => PlanChange::NotCompared,
        _ => PlanChange::None,
    };
    Ok(Comparison {
        moved: moved(&before, &after, &alone),
        reworded: reworded(&before, &after, &alone),
        plan,
        changes,
    })
}

/// What is compared of a file.
fn source(file: &NodeFile) -> Source<'_> {
    Source {
        text: &file.text,
        profiles: &file.profiles,
    }
}

/// The numbers that differ.
fn moved(before: &Listed, after: &Listed, alone: &[Option<Listed>]) -> Vec<Moved> {
    let (before, after) = (&before.numbers, &after.numbers);
    let names: BTreeSet<&String> = before.keys().chain(after.keys()).collect();
    names
        .into_iter()
        .filter(|name| before.get(*name) != after.get(*name))
        .map(|name| {
            let (old, new) = (before.get(name).copied(), after.get(name).copied());
            let from = old.unwrap_or_default();
            let causes: Vec<(usize, i64)> = alone
                .iter()
                .enumerate()
                .filter_map(|(index, constants)| {
                    let by = constants.as_ref()?.numbers.get(name).copied().unwrap_or_default() - from;
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
        .collect()
}

/// The words that differ. Every node has the same ones.
fn reworded(before: &Listed, after: &Listed, alone: &[Option<Listed>]) -> Vec<Reworded> {
    let both = before
        .words
        .iter()
        .filter_map(|(name, old)| Some((name, old, after.words.get(name)?)));
    both.filter(|(_, old, new)| old != new)
        .map(|(name, old, new)| {
            let moves = |constants: &Option<Listed>| {
                let constants = constants.as_ref();
                constants.is_some_and(|constants| constants.words.get(name) != Some(old))
            };
            let causes = alone.iter().enumerate().filter(|(_, constants)| moves(constants));
            Reworded {
                name: name.clone(),
                old: old.clone(),
                new: new.clone(),
                causes: causes.map(|(index, _)| index).collect(),
            }
        })
        .collect()
}

/// All constants of a JSON text by the path to them.
fn listed(json: &str) -> Listed {
    let mut found = Listed::default();
    if let Ok(value) = serde_json::from_str::<serde_json::Value>(json) {
        collect(&value, "", &mut found);
    }
    found
}

/// What is no constant: marks of the others, where they come from, and the table for the reader.
const MARKS: [&str; 5] = [
    "fingerprint",
    "version",
    "input_sha256",
    "content_sha256",
    "thresholds",
];

fn collect(value: &serde_json::Value, path: &str, found: &mut Listed) {
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
                found.numbers.insert(path.to_owned(), number);
            }
        }
        serde_json::Value::String(word) => {
            found.words.insert(path.to_owned(), word.clone());
        }
        _ => {}
    }
}
