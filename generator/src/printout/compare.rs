//! What moved between two node files, and why.

use serde::Serialize;

use crate::comparison::{Change, Comparison, Moved, PlanChange, Reworded};
use crate::printout::table::table;

/// The comparison as JSON has it.
#[derive(Serialize)]
pub struct View {
    old: String,
    new: String,
    moved: Vec<MovedView>,
    reworded: Vec<RewordedView>,
    /// What comes of the constants of the plan, which are not compared; null where nothing does.
    plan: Option<&'static str>,
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
struct RewordedView {
    constant: String,
    old: String,
    new: String,
    inputs: Vec<String>,
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
        let reworded = comparison.reworded.iter().map(|reworded| RewordedView {
            constant: reworded.name.clone(),
            old: reworded.old.clone(),
            new: reworded.new.clone(),
            inputs: reworded.causes.iter().map(|index| key(*index)).collect(),
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
            reworded: reworded.collect(),
            plan: match comparison.plan {
                PlanChange::None => None,
                PlanChange::Added => Some("added"),
                PlanChange::Removed => Some("removed"),
                PlanChange::NotCompared => Some("not-compared"),
            },
            changes: changes.collect(),
        }
    }
}

/// The comparison as text.
pub fn text(comparison: &Comparison) -> String {
    let still = comparison.moved.is_empty() && comparison.reworded.is_empty();
    let mut text = if comparison.changes.is_empty() {
        "no input differs\n".to_owned()
    } else {
        let inputs = comparison.changes.iter().map(changed);
        table(&["changed input", "old", "new"], inputs) + "\n"
    };
    if still && comparison.changes.is_empty() {
        return text;
    }
    if still && comparison.plan == PlanChange::None {
        text.push_str("no constant moves\n");
        return text;
    }
    if still {
        text.push_str("no constant outside the plan moves\n");
    } else {
        let numbers = comparison.moved.iter().flat_map(|moved| rows(comparison, moved));
        let words = comparison
            .reworded
            .iter()
            .flat_map(|word| word_rows(comparison, word));
        text.push_str(&table(
            &["moved constant", "old", "new", "by"],
            numbers.chain(words),
        ));
    }
    text.push_str(match comparison.plan {
        PlanChange::None => "",
        PlanChange::Added => "the new file's pace adds the constants of a plan, which `generate` tunes\n",
        PlanChange::Removed => "the new file's pace takes away the constants of the plan\n",
        PlanChange::NotCompared => {
            "the constants of the plan may move too: `generate` tunes them, and they are not compared here\n"
        }
    });
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

/// A row for the word and one for each input that changes it.
fn word_rows(comparison: &Comparison, reworded: &Reworded) -> Vec<Vec<String>> {
    let empty = String::new;
    let own = vec![
        reworded.name.clone(),
        reworded.old.clone(),
        reworded.new.clone(),
        empty(),
    ];
    let causes = reworded.causes.iter().map(|index| {
        let key = &comparison.changes[*index].key;
        vec![format!("  {key}"), empty(), empty(), empty()]
    });
    std::iter::once(own).chain(causes).collect()
}
