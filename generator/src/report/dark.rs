//! The node in the dark: a typical unit and the worst corner.

use serde::Serialize;

use crate::survival::{Corner, Doing, Survival};
use crate::text::{Engineering, lasting};
use crate::units::*;

/// One unit.
#[derive(Serialize)]
pub(super) struct DarkView {
    called: &'static str,
    full: String,
    threshold: String,
    floor: String,
    rows: Vec<Row>,
    halving: Option<String>,
}

#[derive(Serialize)]
struct Row {
    doing: &'static str,
    period: String,
    acting: String,
    from_full: String,
    from_threshold: String,
    light: String,
}

/// The view of one unit.
pub(super) fn view(survival: &Survival) -> DarkView {
    let time = |time: Time| Engineering(time, "s").to_string();
    let none = || "–".to_owned();
    DarkView {
        called: match survival.corner {
            Corner::Typical => "typical unit",
            Corner::Worst => "worst corner",
        },
        full: Engineering(survival.full, "V").to_string(),
        threshold: Engineering(survival.threshold, "V").to_string(),
        floor: Engineering(survival.floor, "V").to_string(),
        rows: survival
            .rows
            .iter()
            .map(|row| Row {
                doing: row.doing.name(),
                period: row.period.map_or_else(none, time),
                acting: match row.doing {
                    Doing::Sleeping => none(),
                    _ => time(row.from_full.acting),
                },
                from_full: lasting(row.from_full.alive),
                from_threshold: lasting(row.from_threshold.alive),
                light: row
                    .light
                    .map_or_else(|| "beyond the converter".to_owned(), |light| light.to_string()),
            })
            .collect(),
        halving: survival
            .halving
            .map(|current| Engineering(current, "A").to_string()),
    }
}
