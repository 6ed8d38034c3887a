//! What moved between two node files, and why.

use serde::Serialize;

use crate::comparison::{Change, Comparison, Moved};
use crate::printout::table::table;

/// The comparison as JSON has it.
#[derive(Serialize)]
pub struct View {
    old: String,
    new: String,
    moved: Vec<MovedView>,
    changes: Vec<ChangeView>,
}

#[derive(Serialize)]
struct MovedView {
    constant: String,
    old: Option<i64>,
    new: Option<i64>,
    causes: Vec<CauseView>,
    together: i64,
}

#[derive(Serialize)]
struct CauseView {
    input: String,
    by: i64,
}

#[derive(Serialize)]
struct ChangeView {
    input: String,
    old: Option<String>,
    new: Option<String>,
    stands_alone: bool,
}

impl View {
    /// The view of what moved from the file `old` to the file `new`.
    pub fn of(old: &str, new: &str, comparison: &Comparison) -> Self {
        let key = |index: usize| comparison.changes[index].key.clone();
        let moved = comparison.moved.iter().map(|moved| MovedView {
            constant: moved.name.clone(),
            old: moved.old,
            new: moved.new,
            causes: moved
                .causes
                .iter()
                .map(|(index, by)| CauseView {
                    input: key(*index),
                    by: *by,
                })
                .collect(),
            together: moved.together,
        });
        let changes = comparison.changes.iter().map(|change| ChangeView {
            input: change.key.clone(),
            old: change.old.clone(),
            new: change.new.clone(),
            stands_alone: change.stands_alone,
        });
        Self {
            old: old.to_owned(),
            new: new.to_owned(),
            moved: moved.collect(),
            changes: changes.collect(),
        }
    }
}

/// The comparison as text.
pub fn text(comparison: &Comparison) -> String {
    let mut text = String::new();
    if comparison.changes.is_empty() {
        return "no input differs\n".to_owned();
    }
    text.push_str(&table(
        &["changed input", "old", "new"],
        comparison.changes.iter().map(changed),
    ));
    text.push('\n');
    if comparison.moved.is_empty() {
        text.push_str("no constant moves\n");
        return text;
    }
    let rows = comparison.moved.iter().flat_map(|moved| rows(comparison, moved));
    text.push_str(&table(&["moved constant", "old", "new", "by"], rows));
    for change in comparison.changes.iter().filter(|change| !change.stands_alone) {
        text.push_str(&format!(
            "{} alone makes no valid node, so its part is in \"together\"\n",
            change.key
        ));
    }
    text
}

fn changed(change: &Change) -> Vec<String> {
    let shown = |value: &Option<String>| value.clone().unwrap_or_else(|| "-".to_owned());
    vec![change.key.clone(), shown(&change.old), shown(&change.new)]
}

/// A row for the constant and one for each cause.
fn rows(comparison: &Comparison, moved: &Moved) -> Vec<Vec<String>> {
    let shown = |value: Option<i64>| value.map_or_else(|| "-".to_owned(), |value| value.to_string());
    let by = moved.new.unwrap_or_default() - moved.old.unwrap_or_default();
    let mut rows = vec![vec![
        moved.name.clone(),
        shown(moved.old),
        shown(moved.new),
        format!("{by:+}"),
    ]];
    let empty = String::new;
    for (index, by) in &moved.causes {
        rows.push(vec![
            format!("  {}", comparison.changes[*index].key),
            empty(),
            empty(),
            format!("{by:+}"),
        ]);
    }
    if moved.together != 0 {
        rows.push(vec![
            "  together".to_owned(),
            empty(),
            empty(),
            format!("{:+}", moved.together),
        ]);
    }
    rows
}
