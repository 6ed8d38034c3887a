//! Every number that stands in a node file, with its path, and the file with one of them changed.

use toml::{Table, Value};

use crate::node::quantity;

/// What sort of number it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// A number with a unit: changed by a part of itself.
    Quantity,
    /// A whole number: changed by one.
    Count,
}

/// A number in a file.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Input {
    /// Path in the file, such as `storage.capacitor[0].esr`.
    pub(super) key: String,
    /// As it is written.
    pub(super) written: String,
    pub(super) kind: Kind,
    /// How many numbers stand before it: its place when the file is walked again.
    place: usize,
}

/// The numbers of a valid TOML text that a percent or a step can be taken of: no temperatures and coordinates, whose zero is a
/// convention, and no zeros.
pub(super) fn of(text: &str) -> Vec<Input> {
    let mut found = Vec::new();
    if let Ok(table) = text.parse::<Table>() {
        walk(&mut Value::Table(table), "", &mut |key, value| {
            let kind = match value {
                Value::String(text) if quantity::times(text, 1.0).is_some() => Kind::Quantity,
                Value::Integer(_) => Kind::Count,
                _ => return,
            };
            found.push(Input {
                key: key.to_owned(),
                written: value.as_str().map_or_else(|| value.to_string(), str::to_owned),
                kind,
                place: found.len(),
            });
        });
    }
    found
}

impl Input {
    /// The text with this number changed: a quantity by the part `change` of itself, a count by `change`.
    pub(super) fn changed(&self, text: &str, change: f64) -> Option<String> {
        let mut root = Value::Table(text.parse::<Table>().ok()?);
        let mut place = 0;
        walk(&mut root, "", &mut |_, value| {
            let fresh = match value {
                Value::String(text) => match quantity::times(text, 1.0 + change) {
                    Some(fresh) => Value::String(fresh),
                    None => return,
                },
                Value::Integer(count) => Value::Integer(*count + change as i64),
                _ => return,
            };
            if place == self.place {
                *value = fresh;
            }
            place += 1;
        });
        root.as_table().map(ToString::to_string)
    }
}

/// Visits every value that is no table or list, in the order of their paths.
fn walk(value: &mut Value, path: &str, visit: &mut dyn FnMut(&str, &mut Value)) {
    match value {
        Value::Table(table) => {
            for (key, value) in table.iter_mut() {
                let below = if path.is_empty() {
                    key.clone()
                } else {
                    format!("{path}.{key}")
                };
                walk(value, &below, visit);
            }
        }
        Value::Array(list) => {
            for (index, value) in list.iter_mut().enumerate() {
                walk(value, &format!("{path}[{index}]"), visit);
            }
        }
        value => visit(path, value),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "schema = 1\n[a]\nname = \"4 ways\"\nb = \"2 mF\"\nzero = \"0 V\"\ncold = \"-10 degC\"\nx = [[\"1 A\", \"50 %\"]]\n";

    #[test]
    fn numbers_with_units_and_counts_are_found() {
        let keys: Vec<String> = of(TEXT).into_iter().map(|input| input.key).collect();
        assert_eq!(keys, ["a.b", "a.x[0][0]", "a.x[0][1]", "schema"]);
    }

    #[test]
    fn one_number_changes_and_no_other() {
        let inputs = of(TEXT);
        let changed = inputs[2]
            .changed(TEXT, 0.5)
            .expect("a table")
            .parse::<Table>()
            .expect("TOML");
        assert_eq!(changed["a"]["x"][0][1].as_str(), Some("75 %"));
        assert_eq!(
            changed["a"]["x"][0][0],
            TEXT.parse::<Table>().expect("TOML")["a"]["x"][0][0]
        );
        let changed = inputs[3]
            .changed(TEXT, 1.0)
            .expect("a table")
            .parse::<Table>()
            .expect("TOML");
        assert_eq!(changed["schema"].as_integer(), Some(2));
    }
}
