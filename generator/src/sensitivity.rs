//! Which inputs of a node move its outlook, and by how much for each percent of theirs.
//!
//! Every number in the node file is changed on its own, as it stands in the text, and the node is read and sized anew. A key that is
//! added to the file's layout is therefore covered without a word here.

mod inputs;

use std::path::Path;

use inputs::Kind;

use crate::node::NodeFile;
use crate::outlook::Outlook;

/// Change of an input for a difference, as a part of it. A start voltage is bracketed to 0.1 µV, so that a difference over twice
/// this has less than 1 µV of it in a percent; what bends over a thousandth of an input is a millionth of what it does.
pub const STEP: f64 = 1e-3;

/// Significant digits by which two inputs are told apart.
const TOLD_APART: usize = 3;

/// What inputs do to a node's outlook.
#[derive(Clone, Debug, PartialEq)]
pub struct Sensitivity {
    /// The node as it is.
    pub outlook: Outlook,
    /// Every quantity that moves something, in the order of their paths.
    pub quantities: Vec<Mover>,
    /// Every count that moves something, in the order of their paths.
    pub counts: Vec<Mover>,
    /// Numbers that were changed and move nothing, and counts that have no neighbour.
    pub unmoved: usize,
}

/// An input and what it does.
#[derive(Clone, Debug, PartialEq)]
pub struct Mover {
    /// Path in the file, such as `storage.capacitor[0].esr`.
    pub key: String,
    /// As it is written.
    pub written: String,
    /// Change of each number of [`Outlook::numbers`] (V, s, s): for a quantity by a percent more, for a count by one more.
    pub moves: [f64; 3],
}

/// Works out what every input of `file` does.
///
/// A quantity counts by the central difference at [`STEP`], or, at the end of its range, by a difference of three points to the side that
/// is allowed. A count has no percent: it is one more, or one fewer with its sign turned where there is no more.
///
/// Source: differences of second order; textbook. docs/model.md, equation 47.
pub fn of(file: &NodeFile) -> Sensitivity {
    let folder = Path::new(&file.path).parent().unwrap_or(Path::new(""));
    let outlook_of = |text: &str| {
        let node = NodeFile::parse(&file.path, text, folder).ok()?.node;
        Some(Outlook::of(&node).numbers())
    };
    let outlook = Outlook::of(&file.node);
    let middle = outlook.numbers();
    let mut found = Sensitivity {
        outlook,
        quantities: Vec::new(),
        counts: Vec::new(),
        unmoved: 0,
    };
    for input in inputs::of(&file.text) {
        let at = |change: f64| outlook_of(&input.changed(&file.text, change)?);
        let moves = match input.kind {
            Kind::Quantity => slope(&at, &middle, STEP).map(|slope| slope.map(|slope| slope / 100.0)),
            Kind::Count => step(&at, &middle),
        };
        let list = match input.kind {
            Kind::Quantity => &mut found.quantities,
            Kind::Count => &mut found.counts,
        };
        match moves {
            Some(moves) if moves.iter().any(|moved| *moved != 0.0 && !moved.is_nan()) => list.push(Mover {
                key: input.key,
                written: input.written,
                moves,
            }),
            _ => found.unmoved += 1,
        }
    }
    found
}

impl Sensitivity {
    /// The `most` quantities that move the number `which` of [`Outlook::numbers`] furthest, the furthest first.
    pub fn furthest(&self, which: usize, most: usize) -> Vec<&Mover> {
        let mut movers: Vec<&Mover> = self
            .quantities
            .iter()
            .filter(|mover| mover.moves[which] != 0.0 && !mover.moves[which].is_nan())
            .collect();
        // Those that are equal but for the bracket of a start voltage stay in the order of their paths.
        let told_apart = |mover: &Mover| {
            format!("{:.*e}", TOLD_APART - 1, mover.moves[which].abs())
                .parse()
                .unwrap_or(0.0_f64)
        };
        movers.sort_by(|a, b| told_apart(b).total_cmp(&told_apart(a)));
        movers.truncate(most);
        movers
    }
}

/// Derivative by the relative change, from the numbers at ± `step`.
fn slope(at: &dyn Fn(f64) -> Option<[f64; 3]>, middle: &[f64; 3], step: f64) -> Option<[f64; 3]> {
    let each = |of: &dyn Fn(usize) -> f64| [of(0), of(1), of(2)];
    match (at(-step), at(step)) {
        (Some(below), Some(above)) => Some(each(&|k| (above[k] - below[k]) / (2.0 * step))),
        (None, Some(above)) => {
            let beyond = at(2.0 * step)?;
            Some(each(&|k| {
                (4.0 * above[k] - 3.0 * middle[k] - beyond[k]) / (2.0 * step)
            }))
        }
        (Some(below), None) => {
            let beyond = at(-2.0 * step)?;
            Some(each(&|k| {
                (3.0 * middle[k] + beyond[k] - 4.0 * below[k]) / (2.0 * step)
            }))
        }
        (None, None) => None,
    }
}

/// What one more does; one fewer, turned round, where one more is refused.
fn step(at: &dyn Fn(f64) -> Option<[f64; 3]>, middle: &[f64; 3]) -> Option<[f64; 3]> {
    let difference = |a: [f64; 3], b: [f64; 3]| [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
    at(1.0)
        .map(|above| difference(above, *middle))
        .or_else(|| at(-1.0).map(|below| difference(*middle, below)))
}

#[cfg(test)]
mod tests;
