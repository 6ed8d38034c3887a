//! Every value that stands in a node file, with its place, and the file with one of them changed and all else as it was.

use std::ops::Range;

use serde::Serialize;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// What sort of value it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// A number with its unit, as text.
    Quantity,
    /// A plain number.
    Number,
    /// True or false.
    Switch,
    /// Any other text.
    Text,
}

/// A value of a node file.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct Field {
    /// Path in the file, such as `storage.capacitor[0].esr`.
    pub key: String,
    /// Without the quotes of a text.
    pub value: String,
    /// What sort of value it is.
    pub kind: Kind,
    #[serde(skip)]
    span: Range<usize>,
}

/// The values of `text` in their order; of a damaged text those that can be made out.
///
/// ```
/// # use millpond_workbench::answer;
/// let question = r#"{"ask": "size", "text": "[sleep]\ncurrent = \"2 uA\""}"#;
/// let answer: serde_json::Value = serde_json::from_str(&answer(question, &millpond_workbench::Tell(|_| {})))?;
/// assert_eq!(answer["fields"][0]["key"], "sleep.current");
/// # Ok::<(), serde_json::Error>(())
/// ```
pub(crate) fn of(text: &str) -> Vec<Field> {
    let (table, _) = DeTable::parse_recoverable(text);
    let mut found = Vec::new();
    walk_table(table.get_ref(), "", &mut found);
    found.sort_by_key(|field| field.span.start);
    found
}

/// Where each value stands.
pub(crate) fn spans(text: &str) -> Vec<(String, Range<usize>)> {
    of(text)
        .into_iter()
        .map(|field| (field.key, field.span))
        .collect()
}

/// The text with the value at `key` replaced; `None` where there is none. Numbers and switches are written as they are given, texts
/// in quotes.
pub(crate) fn edited(text: &str, key: &str, value: &str) -> Option<String> {
    let field = of(text).into_iter().find(|field| field.key == key)?;
    let written = match field.kind {
        Kind::Quantity | Kind::Text => toml::Value::String(value.to_owned()).to_string(),
        // What is no number any more becomes a text, so that the file can still be read, and refused at its place.
        Kind::Number if value.trim().parse::<f64>().is_ok() => value.trim().to_owned(),
        Kind::Switch if ["true", "false"].contains(&value) => value.to_owned(),
        Kind::Number | Kind::Switch => toml::Value::String(value.to_owned()).to_string(),
    };
    Some(format!(
        "{}{written}{}",
        &text[..field.span.start],
        &text[field.span.end..]
    ))
}

fn walk_table(table: &DeTable<'_>, path: &str, found: &mut Vec<Field>) {
    for (key, value) in table {
        let key = key.get_ref();
        let below = if path.is_empty() {
            key.to_string()
        } else {
            format!("{path}.{key}")
        };
        walk(value, &below, found);
    }
}

fn walk(value: &Spanned<DeValue<'_>>, path: &str, found: &mut Vec<Field>) {
    let (kind, text) = match value.get_ref() {
        DeValue::Table(table) => return walk_table(table, path, found),
        DeValue::Array(list) => {
            for (place, value) in list.iter().enumerate() {
                walk(value, &format!("{path}[{place}]"), found);
            }
            return;
        }
        DeValue::String(text) if is_quantity(text) => (Kind::Quantity, text.to_string()),
        DeValue::String(text) => (Kind::Text, text.to_string()),
        DeValue::Integer(number) => (Kind::Number, number.to_string()),
        DeValue::Float(number) => (Kind::Number, number.to_string()),
        DeValue::Boolean(switch) => (Kind::Switch, switch.to_string()),
        DeValue::Datetime(time) => (Kind::Text, time.to_string()),
    };
    found.push(Field {
        key: path.to_owned(),
        value: text,
        kind,
        span: value.span(),
    });
}

/// Whether it starts like a number and ends in something that is none.
fn is_quantity(text: &str) -> bool {
    let number = text.trim_start_matches(['-', '+', ' ']);
    let rest = number.trim_start_matches(|c: char| c.is_ascii_digit() || c == '.');
    rest.len() < number.len() && !rest.trim().is_empty() && !rest.starts_with(['/', ':'])
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = millpond_templates::nodes::CRACK_GAUGE;

    #[test]
    fn every_value_is_found_in_the_order_of_the_file() {
        let fields = of(TEXT);
        let value = |key: &str| {
            fields
                .iter()
                .find(|field| field.key == key)
                .map(|field| (field.kind, field.value.as_str()))
        };
        assert_eq!(fields[0].key, "schema");
        assert_eq!(
            value("storage.capacitor[0].esr"),
            Some((Kind::Quantity, "2.2 ohm"))
        );
        assert_eq!(value("supply.efficiency[1][0]"), Some((Kind::Quantity, "10 uA")));
        assert_eq!(value("transmit.radio.crc"), Some((Kind::Switch, "true")));
        assert_eq!(value("transmit.radio.coding_rate"), Some((Kind::Text, "4/5")));
        assert_eq!(value("harvest.site.latitude"), Some((Kind::Number, "53.4")));
        assert_eq!(value("transmit.phases[1].airtime"), Some((Kind::Switch, "true")));
    }

    /// Only the value changes: comments, order and layout stay.
    #[test]
    fn an_edit_leaves_everything_else_as_it_was() {
        let text = edited(TEXT, "storage.capacitor[0].esr", "1.5 ohm").expect("the key is there");
        assert_eq!(text, TEXT.replace("\"2.2 ohm\"", "\"1.5 ohm\""));
        let text = edited(TEXT, "sense.bits", "12").expect("the key is there");
        assert_eq!(text, TEXT.replace("bits = 10\n", "bits = 12\n"));
        assert_eq!(edited(TEXT, "no.such.key", "1"), None);
    }

    /// Whatever is typed into any field, the file can still be taken apart into the same fields.
    #[test]
    fn nothing_typed_breaks_the_file_apart() {
        for field in of(TEXT) {
            for value in ["", "\"", "x\ny", "1 2 3", "]]", "\\", "é", "0"] {
                let text = edited(TEXT, &field.key, value).expect("the key is there");
                let keys = |text: &str| of(text).into_iter().map(|field| field.key).collect::<Vec<_>>();
                assert_eq!(keys(&text), keys(TEXT), "{} = {value:?}", field.key);
            }
        }
    }
}
