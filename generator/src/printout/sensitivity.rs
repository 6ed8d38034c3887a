//! What moves a node's outlook, as a tornado: bars to the left for less, to the right for more, the longest on top.

use serde::Serialize;

use crate::outlook::Outlook;
use crate::sensitivity::{Mover, Sensitivity};
use crate::text::Engineering;
use crate::units::*;

/// Characters of the longest bar, to either side.
const BAR: usize = 20;
/// The three answers as JSON names them, in the order of [`Outlook::numbers`].
const ANSWERS: [&str; 3] = ["transmit_v", "dark_from_full_s", "dark_from_transmit_s"];

/// The three answers as people read them.
pub(crate) const TITLES: [&str; 3] = [
    "transmit threshold",
    "in the dark from full to the floor",
    "in the dark from the transmit threshold to the floor",
];

/// The sensitivity as JSON has it. A change is that of a percent more of a quantity, or of one more of a count.
#[derive(Serialize)]
pub struct View {
    node: String,
    outlook: OutlookView,
    most: Vec<MostView>,
    quantities: Vec<MoverView>,
    counts: Vec<MoverView>,
    unmoved: usize,
}

/// The outlook as JSON has it.
#[derive(Serialize)]
pub(super) struct OutlookView {
    transmit_v: f64,
    dark_from_full_s: Option<f64>,
    dark_from_transmit_s: Option<f64>,
}

#[derive(Serialize)]
struct MostView {
    of: &'static str,
    inputs: Vec<String>,
}

#[derive(Serialize)]
struct MoverView {
    input: String,
    written: String,
    transmit_v: f64,
    dark_from_full_s: Option<f64>,
    dark_from_transmit_s: Option<f64>,
}

impl OutlookView {
    /// The view of `outlook`.
    pub(super) fn of(outlook: &Outlook) -> Self {
        let [transmit_v, full_s, transmit_s] = outlook.numbers();
        Self {
            transmit_v,
            dark_from_full_s: number(full_s),
            dark_from_transmit_s: number(transmit_s),
        }
    }
}

impl View {
    /// The view of `found`, with the first `rows` inputs named for each answer.
    pub fn of(name: &str, found: &Sensitivity, rows: usize) -> Self {
        let movers = |list: &[Mover]| list.iter().map(mover).collect();
        let most = ANSWERS.iter().enumerate().map(|(which, of)| MostView {
            of,
            inputs: found
                .furthest(which, rows)
                .iter()
                .map(|mover| mover.key.clone())
                .collect(),
        });
        Self {
            node: name.to_owned(),
            outlook: OutlookView::of(&found.outlook),
            most: most.collect(),
            quantities: movers(&found.quantities),
            counts: movers(&found.counts),
            unmoved: found.unmoved,
        }
    }
}

fn mover(mover: &Mover) -> MoverView {
    let [transmit_v, full_s, transmit_s] = mover.moves;
    MoverView {
        input: mover.key.clone(),
        written: mover.written.clone(),
        transmit_v,
        dark_from_full_s: number(full_s),
        dark_from_transmit_s: number(transmit_s),
    }
}

/// NaN is no number in JSON.
fn number(value: f64) -> Option<f64> {
    (!value.is_nan()).then_some(value)
}

/// One tornado for each answer, then what one more of each count does.
pub fn text(name: &str, found: &Sensitivity, rows: usize) -> String {
    let mut text = format!(
        "{name}, worst corner; what a percent more of each input does, and what one more of each count\n"
    );
    let numbers = found.outlook.numbers();
    for (which, title) in TITLES.iter().enumerate() {
        if numbers[which].is_nan() {
            text.push_str(&format!("\n{title}: nothing draws, for ever\n"));
            continue;
        }
        text.push_str(&format!("\n{title}: {}\n", shown(which, numbers[which])));
        let movers = found.furthest(which, rows);
        let longest = movers.first().map_or(1.0, |mover| mover.moves[which].abs());
        let width = |of: fn(&Mover) -> &str| {
            movers
                .iter()
                .map(|mover| of(mover).chars().count())
                .max()
                .unwrap_or(0)
        };
        let (keys, written) = (width(|mover| &mover.key), width(|mover| &mover.written));
        for mover in &movers {
            let moved = mover.moves[which];
            let full = "█".repeat((moved.abs() / longest * BAR as f64).round().max(1.0) as usize);
            let (left, right) = if moved < 0.0 {
                (full.as_str(), "")
            } else {
                ("", full.as_str())
            };
            text.push_str(&format!(
                " {:keys$}  {:>written$} {:>11}  {left:>BAR$}│{right}\n",
                mover.key,
                mover.written,
                signed(which, moved),
            ));
        }
    }
    if !found.counts.is_empty() {
        let rows = found.counts.iter().map(|mover| {
            let mut row = vec![mover.key.clone(), mover.written.clone()];
            row.extend((0..3).map(|which| signed(which, mover.moves[which])));
            row
        });
        let head = [
            "one more of",
            "written",
            "threshold",
            "dark from full",
            "from threshold",
        ];
        text.push_str(&format!("\n{}", super::table::table(&head, rows)));
    }
    text
}

/// One of the three answers with its unit.
pub(crate) fn shown(which: usize, value: f64) -> String {
    if which == 0 {
        Engineering(volts(value), "V").to_string()
    } else {
        Engineering(seconds(value), "s").to_string()
    }
}

/// A change of one of the three answers with its sign.
pub(crate) fn signed(which: usize, value: f64) -> String {
    if value.is_nan() || value == 0.0 {
        return "-".to_owned();
    }
    format!(
        "{}{}",
        if value < 0.0 { "-" } else { "+" },
        shown(which, value.abs())
    )
}
