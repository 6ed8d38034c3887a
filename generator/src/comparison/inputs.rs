//! Which inputs differ between two node files, and one of them put into the other.
//!
//! A profile differs by its name or, under the same name in two folders, by what it holds.

use std::fs;
use std::path::Path;

use sha2::{Digest, Sha256};
use toml::{Table, Value};

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

/// A node file's text, and the folder from which its profiles are named.
#[derive(Clone, Copy)]
pub(super) struct Source<'a> {
    pub(super) text: &'a str,
    pub(super) folder: &'a Path,
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
    let held = ACTIONS
        .iter()
        .filter_map(|action| held(action, (&old_table, old.folder), (&new_table, new.folder)));
    found.extend(held);
    let mut located = Value::Table(new_table);
    locate(&mut located, new.folder);
    for change in &mut found {
        change.value = get(&located, &change.steps).cloned();
    }
    found
}

/// The profile that both files name alike for an action, if they hold other bytes.
fn held(action: &str, old: (&Table, &Path), new: (&Table, &Path)) -> Option<Change> {
    let name = |table: &Table| Some(table.get(action)?.get("profile")?.as_str()?.to_owned());
    let (old_name, new_name) = (name(old.0)?, name(new.0)?);
    let (old_hash, new_hash) = (hash(&old.1.join(&old_name))?, hash(&new.1.join(&new_name))?);
    (old_name == new_name && old_hash != new_hash).then(|| Change {
        key: format!("{action}.profile"),
        old: Some(format!("{old_name}, sha256 {old_hash}")),
        new: Some(format!("{new_name}, sha256 {new_hash}")),
        stands_alone: false,
        steps: [action, "profile"].map(|key| Step::Key(key.to_owned())).to_vec(),
        value: None,
    })
}

/// The start of the SHA-256 of a file, hexadecimal.
fn hash(path: &Path) -> Option<String> {
    let digest = Sha256::digest(fs::read(path).ok()?);
    Some(hexadecimal(&digest[..SHOWN_BYTES]))
}

/// Names each profile by its whole path, so that another file can take it over.
fn locate(root: &mut Value, folder: &Path) {
    for action in ACTIONS {
        let profile = root.get_mut(action).and_then(|table| table.get_mut("profile"));
        if let Some(Value::String(name)) = profile
            && let Ok(whole) = std::path::absolute(folder.join(&*name))
            && let Some(whole) = whole.to_str()
        {
            *name = whole.to_owned();
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

    const OLD: &str = "schema = 1\n[a]\nb = \"1 F\"\nlist = [{ x = 1 }, { x = 2 }]\n[gone]\ny = 1\n";
    const NEW: &str = "schema = 1\n[a]\nb = \"2 F\"\nlist = [{ x = 1 }, { x = 3 }]\n[added]\nz = 2\n";

    fn source(text: &str) -> Source<'_> {
        let folder = Path::new("");
        Source { text, folder }
    }

    #[test]
    fn every_difference_is_named_by_its_path() {
        let found = changes(source(OLD), source(NEW));
        let keys: Vec<String> = found.into_iter().map(|change| change.key).collect();
        assert_eq!(keys, ["a.b", "a.list[1].x", "gone", "added"]);
    }

    #[test]
    fn all_changes_one_after_the_other_make_the_new_file() {
        let made = changes(source(OLD), source(NEW))
            .iter()
            .fold(OLD.to_owned(), |text, change| change.applied_to(&text));
        assert_eq!(made.parse::<Table>(), NEW.parse::<Table>());
        assert_eq!(changes(source(OLD), source(OLD)), []);
    }

    #[test]
    fn a_profile_of_one_name_in_two_folders_differs_by_what_it_holds() {
        const TEXT: &str = "[boot]\nprofile = \"b.csv\"\n[measure]\nprofile = \"m.csv\"\n";
        let folders = [(); 2].map(|()| tempfile::tempdir().expect("a folder"));
        let [old, new] = folders.each_ref().map(|folder| Source {
            text: TEXT,
            folder: folder.path(),
        });
        for (name, in_old, in_new) in [("b.csv", "same", "same"), ("m.csv", "abc", "other")] {
            fs::write(old.folder.join(name), in_old).expect("writable");
            fs::write(new.folder.join(name), in_new).expect("writable");
        }
        let found = changes(old, new);
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].key, "measure.profile");
        // FIPS 180-4 gives the hash of "abc".
        assert_eq!(found[0].old.as_deref(), Some("m.csv, sha256 ba7816bf8f01"));
        let made: Table = found[0].applied_to(TEXT).parse().expect("TOML");
        let name = made["measure"]["profile"].as_str().expect("text");
        assert_eq!(fs::read_to_string(name).expect("readable from anywhere"), "other");
        assert_eq!(made["boot"]["profile"].as_str(), Some("b.csv"));
    }
}
