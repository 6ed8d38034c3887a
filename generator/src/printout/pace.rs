//! The pace as text: time between reports over the storage voltage and the hour of the day.

use serde::Serialize;

use crate::plan::rates::Rates;
use crate::simulate::study::EVEN;
use crate::text::Engineering;
use crate::units::*;

/// Hours between two columns of the text.
const COLUMN_HOURS: usize = 3;
/// What has to be said of a plan with the usual settings.
const TUNING: &str = "not tuned: `generate` tunes the plan that is flashed, which takes seconds, and `report` shows that one\n";

/// The pace as JSON has it.
#[derive(Serialize)]
pub struct View {
    name: &'static str,
    /// `null` of a pace that has nothing to tune.
    tuned: Option<bool>,
    levels: Vec<LevelView>,
}

#[derive(Serialize)]
struct LevelView {
    storage_v: f64,
    interval_s: Vec<f64>,
}

impl View {
    /// The view of a pace.
    pub fn of(rates: &Rates) -> Self {
        Self {
            name: rates.name,
            tuned: rates.is_tuned,
            levels: rates
                .levels
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
pub fn text(rates: &Rates) -> String {
    let levels = &rates.levels;
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
    // The rows of the table hold from their voltage on; a plan is looked at.
    let is_table = rates.name == EVEN;
    let mut head = vec![if is_table { "storage, from" } else { "storage" }.to_owned()];
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
        "pace {}: time between reports, by storage{}\n{}{}",
        rates.title,
        if is_even {
            ""
        } else {
            " and hour, on the mean day of the declared income"
        },
        super::table::table(&head, rows.collect::<Vec<_>>()),
        if rates.is_tuned == Some(false) { TUNING } else { "" }
    )
}
