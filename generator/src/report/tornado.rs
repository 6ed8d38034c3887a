//! Which inputs move the threshold and the time in the dark most: bars to both sides.

use serde::Serialize;

use super::actions::Share;
use crate::printout::sensitivity::{TITLES, shown, signed};
use crate::sensitivity::Sensitivity;

/// Inputs shown for each answer.
const MOST: usize = 8;

/// One answer with what moves it.
#[derive(Serialize)]
pub(super) struct Tornado {
    title: &'static str,
    value: String,
    rows: Vec<Row>,
}

#[derive(Serialize)]
struct Row {
    key: String,
    written: String,
    change: String,
    is_less: bool,
    bar: Share,
}

/// One tornado for each answer that has a number.
pub(super) fn views(found: &Sensitivity) -> Vec<Tornado> {
    let numbers = found.outlook.numbers();
    let answers = TITLES
        .iter()
        .enumerate()
        .filter(|(which, _)| !numbers[*which].is_nan());
    answers
        .map(|(which, title)| {
            let movers = found.furthest(which, MOST);
            let longest = movers.first().map_or(1.0, |mover| mover.moves[which].abs());
            Tornado {
                title,
                value: shown(which, numbers[which]),
                rows: movers
                    .iter()
                    .map(|mover| Row {
                        key: mover.key.clone(),
                        written: mover.written.clone(),
                        change: signed(which, mover.moves[which]),
                        is_less: mover.moves[which] < 0.0,
                        bar: Share::of(mover.moves[which].abs() / longest),
                    })
                    .collect(),
            }
        })
        .collect()
}
