//! The pace as text: time between reports over the storage voltage and the hour of the day.

use serde::Serialize;

use crate::plan::rates::Level;
use crate::text::Engineering;
use crate::units::*;

/// Hours between two columns of the text.
const COLUMN_HOURS: usize = 3;

/// The pace as JSON has it.
#[derive(Serialize)]
pub struct View {
    name: &'static str,
    levels: Vec<LevelView>,
}

#[derive(Serialize)]
struct LevelView {
    storage_v: f64,
    interval_s: Vec<f64>,
}

impl View {
    /// The view of a pace and its rates.
    pub fn of(name: &'static str, levels: &[Level]) -> Self {
        Self {
            name,
            levels: levels
                .iter()
                .map(|level| LevelView {
                    storage_v: level.storage_v,
                    interval_s: level.interval_s.to_vec(),
                })
                .collect(),
        }
    }
}

/// The rates as a table: one column where the hour does not matter.
pub fn text(name: &str, levels: &[Level]) -> String {
    let is_even = levels.iter().all(|level| {
        level
            .interval_s
            .iter()
            .all(|interval_s| *interval_s == level.interval_s[0])
    });
    let hours: Vec<usize> = if is_even {
        vec![0]
    } else {
        (0..24).step_by(COLUMN_HOURS).collect()
    };
    let mut head = vec!["storage".to_owned()];
    head.extend(hours.iter().map(|hour| match is_even {
        true => "at any hour".to_owned(),
        false => format!("{hour:02}:00"),
    }));
    let head: Vec<&str> = head.iter().map(String::as_str).collect();
    let rows = levels.iter().map(|level| {
        let mut row = vec![Engineering(volts(level.storage_v), "V").to_string()];
        row.extend(
            hours
                .iter()
                .map(|hour| Engineering(seconds(level.interval_s[*hour]), "s").to_string()),
        );
        row
    });
    format!(
        "pace {name}: time between reports, by storage{}\n{}",
        if is_even {
            ""
        } else {
            " and hour, on the mean day of the declared income"
        },
        super::table::table(&head, rows.collect::<Vec<_>>())
    )
}
