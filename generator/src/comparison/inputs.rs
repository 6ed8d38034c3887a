//! Which inputs differ between two node files, and one of them put into the other.
//!
//! A profile differs by its name or, under the same name in two folders, by what it holds.

use std::collections::BTreeMap;

use hmac_sha256::Hash;
use toml::{Table, Value};

use crate::problem::InputText;
use crate::text::hexadecimal;

/// The tables of a node file that may name a profile.
const ACTIONS: [&str; 3] = ["boot", "measure", "transmit"];

/// Bytes of a hash that are shown: enough to tell two files apart.
const SHOWN_BYTES: usize = 6;

/// An input that differs.
#[derive(Clone, Debug, PartialEq)]
pub struct Change {
    /// Path in the file, such as `storage.capacitor[0].esr`.
    pub key: String,
    /// As it was written; `None` if it was not there.
    pub old: Option<String>,
    /// As it is written; `None` if it is gone.
    pub new: Option<String>,
    /// Whether the old file with this change alone is a valid node.
    pub stands_alone: bool,
    steps: Vec<Step>,
    value: Option<Value>,
}

/// One step down into a file.
#[derive(Clone, Debug, PartialEq)]
enum Step {
    Key(String),
    Index(usize),
}

/// A node file's text, and its profiles as they were read, in the order of [`ACTIONS`].
#[derive(Clone, Copy)]
pub(super) struct Source<'a> {
    pub(super) text: &'a str,
    pub(super) profiles: &'a [InputText],
}

/// Folders that stand for the two files where their profiles are in memory together.
const OLD: &str = "old";
const NEW: &str = "new";

/// The text of the old file with its profiles named in a folder of its own, and all profiles of both files by such names.
pub(super) fn in_memory(old: Source<'_>, new: Source<'_>) -> (String, BTreeMap<String, String>) {
    let mut texts = BTreeMap::new();
    for (source, folder) in [(old, OLD), (new, NEW)] {
        let table: Table = source.text.parse().unwrap_or_default();
        for (_, name, text) in profiles(&table, source.profiles) {
            texts.insert(located(name, folder), text.to_owned());
        }
    }
    let Ok(table) = old.text.parse::<Table>() else {
        return (old.text.to_owned(), texts);
    };
    let mut root = Value::Table(table);
    locate(&mut root, OLD);
    let text = match root {
        Value::Table(table) => table.to_string(),
        _ => old.text.to_owned(),
    };
    (text, texts)
}

/// Each action that names a profile, with the name and what the profile holds.
fn profiles<'a>(
    table: &'a Table,
    texts: &'a [InputText],
) -> impl Iterator<Item = (&'static str, &'a str, &'a str)> {
    let named = |action: &'static str| Some((action, table.get(action)?.get("profile")?.as_str()?));
    let texts = texts.iter().map(|file| file.text.as_str());
    ACTIONS
        .into_iter()
        .filter_map(named)
        .zip(texts)
        .map(|((action, name), text)| (action, name, text))
}

fn located(name: &str, folder: &str) -> String {
    format!("{folder}/{name}")
}

/// The inputs that differ between two node files, whose text is valid TOML.
pub(super) fn changes(old: Source<'_>, new: Source<'_>) -> Vec<Change> {
    let (Ok(old_table), Ok(new_table)) = (old.text.parse::<Table>(), new.text.parse::<Table>()) else {
        return Vec::new();
    };
    let mut found = Vec::new();
    compare(
        &Value::Table(old_table.clone()),
        &Value::Table(new_table.clone()),
        &mut Vec::new(),
        &mut found,
    );
    for (action, old_name, old_text) in profiles(&old_table, old.profiles) {
        let of_new = profiles(&new_table, new.profiles).find(|(other, _, _)| *other == action);
        let same_name =
            of_new.filter(|(_, new_name, new_text)| *new_name == old_name && *new_text != old_text);
        found.extend(same_name.map(|(_, _, new_text)| held(action, old_name, old_text, new_text)));
    }
    let mut located = Value::Table(new_table);
    locate(&mut located, NEW);
    for change in &mut found {
        change.value = get(&located, &change.steps).cloned();
    }
    found
}

/// The profile that both files name alike for an action, and that holds other bytes.
fn held(action: &str, name: &str, old_text: &str, new_text: &str) -> Change {
    let shown = |text: &str| {
        let digest = Hash::hash(text.as_bytes());
        format!("{name}, sha256 {}", hexadecimal(&digest[..SHOWN_BYTES]))
    };
    Change {
        key: format!("{action}.profile"),
        old: Some(shown(old_text)),
        new: Some(shown(new_text)),
        stands_alone: false,
        steps: [action, "profile"].map(|key| Step::Key(key.to_owned())).to_vec(),
        value: None,
    }
}

/// Names each profile in a folder, so that another file can take it over.
fn locate(root: &mut Value, folder: &str) {
    for action in ACTIONS {
        let profile = root.get_mut(action).and_then(|table| table.get_mut("profile"));
        if let Some(Value::String(name)) = profile {
            *name = located(name, folder);
        }
    }
}

/// What stands at the end of `steps`.
fn get<'a>(root: &'a Value, steps: &[Step]) -> Option<&'a Value> {
    steps.iter().try_fold(root, |at, step| match step {
        Step::Key(key) => at.get(key),
        Step::Index(index) => at.get(index),
    })
}

fn compare(old: &Value, new: &Value, path: &mut Vec<Step>, found: &mut Vec<Change>) {
    match (old, new) {
        (Value::Table(old), Value::Table(new)) => {
            let added = new.keys().filter(|key| !old.contains_key(*key));
            for key in old.keys().chain(added) {
                path.push(Step::Key(key.clone()));
                match (old.get(key), new.get(key)) {
                    (Some(old), Some(new)) => compare(old, new, path, found),
                    (old, new) => found.push(change(path, old, new)),
                }
                path.pop();
            }
        }
        (Value::Array(old), Value::Array(new))
            if old.len() == new.len() && new.iter().any(Value::is_table) =>
        {
            for (index, (old, new)) in old.iter().zip(new).enumerate() {
                path.push(Step::Index(index));
                compare(old, new, path, found);
                path.pop();
            }
        }
        _ if old == new => {}
        _ => found.push(change(path, Some(old), Some(new))),
    }
}

fn change(path: &[Step], old: Option<&Value>, new: Option<&Value>) -> Change {
    let mut key = String::new();
    for step in path {
        match step {
            Step::Key(name) if key.is_empty() => key.push_str(name),
            Step::Key(name) => key.push_str(&format!(".{name}")),
            Step::Index(index) => key.push_str(&format!("[{index}]")),
        }
    }
    Change {
        key,
        old: old.map(ToString::to_string),
        new: new.map(ToString::to_string),
        stands_alone: false,
        steps: path.to_vec(),
        value: None,
    }
}

impl Change {
    /// The text of a node file with this change alone made to it.
    pub(super) fn applied_to(&self, text: &str) -> String {
        let Ok(table) = text.parse::<Table>() else {
            return text.to_owned();
        };
        let mut root = Value::Table(table);
        set(&mut root, &self.steps, self.value.as_ref());
        match root {
            Value::Table(table) => table.to_string(),
            _ => text.to_owned(),
        }
    }
}

/// Puts `value` at the end of `steps`, or takes away what is there.
fn set(at: &mut Value, steps: &[Step], value: Option<&Value>) {
    match (at, steps) {
        (Value::Table(table), [Step::Key(key)]) => {
            match value {
                Some(value) => table.insert(key.clone(), value.clone()),
                None => table.remove(key),
            };
        }
        (Value::Array(list), [Step::Index(index)]) => {
            if let (Some(place), Some(value)) = (list.get_mut(*index), value) {
                *place = value.clone();
            }
        }
        (Value::Table(table), [Step::Key(key), rest @ ..]) => {
            if let Some(inner) = table.get_mut(key) {
                set(inner, rest, value);
            }
        }
        (Value::Array(list), [Step::Index(index), rest @ ..]) => {
            if let Some(inner) = list.get_mut(*index) {
                set(inner, rest, value);
            }
        }
        _ => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const BEFORE: &str = "schema = 1\n[a]\nb = \"1 F\"\nlist = [{ x = 1 }, { x = 2 }]\n[gone]\ny = 1\n";
    const AFTER: &str = "schema = 1\n[a]\nb = \"2 F\"\nlist = [{ x = 1 }, { x = 3 }]\n[added]\nz = 2\n";

    fn source(text: &str) -> Source<'_> {
        let profiles = &[];
        Source { text, profiles }
    }

    #[test]
    fn every_difference_is_named_by_its_path() {
        let found = changes(source(BEFORE), source(AFTER));
        let keys: Vec<String> = found.into_iter().map(|change| change.key).collect();
        assert_eq!(keys, ["a.b", "a.list[1].x", "gone", "added"]);
    }

    #[test]
    fn all_changes_one_after_the_other_make_the_new_file() {
        let made = changes(source(BEFORE), source(AFTER))
            .iter()
            .fold(BEFORE.to_owned(), |text, change| change.applied_to(&text));
        assert_eq!(made.parse::<Table>(), AFTER.parse::<Table>());
        assert_eq!(changes(source(BEFORE), source(BEFORE)), []);
    }

    #[test]
    fn a_profile_of_one_name_in_two_folders_differs_by_what_it_holds() {
        const TEXT: &str = "[boot]\nprofile = \"b.csv\"\n[measure]\nprofile = \"m.csv\"\n";
        let file = |name: &str, text: &str| InputText {
            path: name.to_owned(),
            text: text.to_owned(),
        };
        let held = [
            [file("b.csv", "same"), file("m.csv", "abc")],
            [file("b.csv", "same"), file("m.csv", "other")],
        ];
        let [old, new] = held.each_ref().map(|profiles| Source { text: TEXT, profiles });
        let found = changes(old, new);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].key, "measure.profile");
        // FIPS 180-4 gives the hash of "abc".
        assert_eq!(found[0].old.as_deref(), Some("m.csv, sha256 ba7816bf8f01"));
        let (old_text, texts) = in_memory(old, new);
        let made: Table = found[0].applied_to(&old_text).parse().expect("TOML");
        let named = |action: &str| &texts[made[action]["profile"].as_str().expect("text")];
        assert_eq!(
            (named("boot").as_str(), named("measure").as_str()),
            ("same", "other")
        );
    }
}
