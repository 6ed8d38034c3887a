//! Which inputs differ between two node files, and one of them put into the other.

use toml::{Table, Value};

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

/// The inputs that differ between two valid TOML texts.
pub(super) fn changes(old: &str, new: &str) -> Vec<Change> {
    let (Ok(old), Ok(new)) = (old.parse::<Table>(), new.parse::<Table>()) else {
        return Vec::new();
    };
    let mut found = Vec::new();
    compare(
        &Value::Table(old),
        &Value::Table(new),
        &mut Vec::new(),
        &mut found,
    );
    found
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
        value: new.cloned(),
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

    #[test]
    fn every_difference_is_named_by_its_path() {
        let keys: Vec<String> = changes(OLD, NEW).into_iter().map(|change| change.key).collect();
        assert_eq!(keys, ["a.b", "a.list[1].x", "gone", "added"]);
    }

    #[test]
    fn all_changes_one_after_the_other_make_the_new_file() {
        let made = changes(OLD, NEW)
            .iter()
            .fold(OLD.to_owned(), |text, change| change.applied_to(&text));
        assert_eq!(made.parse::<Table>(), NEW.parse::<Table>());
        assert_eq!(changes(OLD, OLD), []);
    }
}
