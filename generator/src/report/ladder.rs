//! The voltage ladder: every threshold as a column of its terms, between the floor and where charging stops.

use serde::Serialize;

use crate::node::Node;
use crate::thresholds::{Group, Threshold, Thresholds};
use crate::units::*;

/// Size of the drawing, in its own units.
const WIDTH: f64 = 720.0;
/// See [`WIDTH`].
const HEIGHT: f64 = 460.0;
/// Room above the highest line and below the lowest.
const EDGE: f64 = 24.0;
/// Where the columns begin: left of it stands the axis.
const LEFT: f64 = 56.0;
/// Where the columns end: right of it stand the names of the lines.
const RIGHT: f64 = 540.0;
/// Width of a column.
const COLUMN: f64 = 138.0;
/// Least distance between the names of two lines.
const LINE_APART: f64 = 17.0;
/// A part lower than this has no room for its name.
const NAMED_FROM: f64 = 15.0;
/// Voltage between two marks of the axis.
const MARK_V: f64 = 0.5;

/// The drawing, ready for a template: coordinates as text.
#[derive(Serialize)]
pub struct Ladder {
    width: f64,
    height: f64,
    left: f64,
    right: f64,
    marks: Vec<Mark>,
    columns: Vec<Column>,
    lines: Vec<Line>,
    groups: Vec<GroupView>,
}

#[derive(Serialize)]
struct Mark {
    y: String,
    text: String,
}

/// One action.
#[derive(Serialize)]
struct Column {
    action: &'static str,
    x: String,
    middle: String,
    width: f64,
    top: String,
    decide: String,
    parts: Vec<Part>,
}

/// One term of a threshold.
#[derive(Serialize)]
struct Part {
    group: usize,
    y: String,
    height: String,
    text_y: String,
    cause: &'static str,
    volts: String,
    is_named: bool,
}

/// A voltage that holds for all actions.
#[derive(Serialize)]
struct Line {
    name: &'static str,
    volts: String,
    y: String,
    text_y: String,
    dash: &'static str,
}

#[derive(Serialize)]
struct GroupView {
    number: usize,
    name: &'static str,
}

/// From volts to the drawing's own units.
struct Scale {
    low_v: f64,
    high_v: f64,
}

impl Scale {
    fn y(&self, voltage_v: f64) -> f64 {
        let part = (voltage_v - self.low_v) / (self.high_v - self.low_v);
        HEIGHT - EDGE - part * (HEIGHT - 2.0 * EDGE)
    }
}

fn shown(coordinate: f64) -> String {
    format!("{coordinate:.1}")
}

impl Ladder {
    /// The ladder of `node`. A threshold that no bank reaches is drawn as far as the drawing goes.
    pub fn of(node: &Node, thresholds: &Thresholds) -> Self {
        let mut levels = vec![
            ("charging stops", thresholds.overvoltage, "none"),
            ("floor", thresholds.floor, "6 3"),
        ];
        if let Some(gate) = &node.supply.gate {
            levels.push(("gate connects", gate.connect_above, "2 3"));
            levels.push(("gate disconnects", gate.disconnect_below, "2 3"));
        }
        let lowest_v = levels
            .iter()
            .map(|level| level.1.get::<volt>())
            .fold(f64::INFINITY, f64::min);
        let full_v = thresholds.overvoltage.get::<volt>();
        let highest_v = thresholds
            .actions()
            .iter()
            .map(|(_, threshold)| f64::from(threshold.decide_mv) / 1e3)
            // Beyond reach a bar ends at the edge.
            .fold(full_v, |high, decide_v| high.max(decide_v.min(full_v * 1.2)));
        let scale = Scale {
            low_v: (lowest_v - 0.1).max(0.0),
            high_v: highest_v + 0.1,
        };
        let actions = thresholds.actions();
        let step = (RIGHT - LEFT) / actions.len() as f64;
        let columns = actions.iter().enumerate().map(|(place, (action, threshold))| {
            let x = LEFT + step * (place as f64 + 0.5) - COLUMN / 2.0;
            column(action.name(), threshold, thresholds.floor, x, &scale)
        });
        Self {
            width: WIDTH,
            height: HEIGHT,
            left: LEFT,
            right: RIGHT,
            marks: marks(&scale),
            columns: columns.collect(),
            lines: lines(&levels, &scale),
            groups: Group::ALL
                .iter()
                .enumerate()
                .map(|(number, group)| GroupView {
                    number,
                    name: group.name(),
                })
                .collect(),
        }
    }
}

fn marks(scale: &Scale) -> Vec<Mark> {
    let first = (scale.low_v / MARK_V).ceil() as u32;
    let last = (scale.high_v / MARK_V).floor() as u32;
    (first..=last)
        .map(|mark| {
            let voltage_v = f64::from(mark) * MARK_V;
            Mark {
                y: shown(scale.y(voltage_v)),
                text: format!("{voltage_v:.1} V"),
            }
        })
        .collect()
}

fn column(action: &'static str, threshold: &Threshold, floor: Voltage, x: f64, scale: &Scale) -> Column {
    let mut reached_v = floor.get::<volt>();
    let mut parts = Vec::new();
    for term in &threshold.terms {
        let volts = term.voltage.get::<volt>();
        let (bottom, top) = (
            scale.y(reached_v.min(scale.high_v)),
            scale.y((reached_v + volts).min(scale.high_v)),
        );
        reached_v += volts;
        let height = (bottom - top).max(0.0);
        parts.push(Part {
            group: Group::ALL
                .iter()
                .position(|group| *group == term.cause.group())
                .unwrap_or(0),
            y: shown(top),
            height: shown(height),
            text_y: shown((bottom + top) / 2.0 + 4.0),
            cause: term.cause.name(),
            volts: format!("{volts:.4} V"),
            is_named: height >= NAMED_FROM,
        });
    }
    Column {
        action,
        x: shown(x),
        middle: shown(x + COLUMN / 2.0),
        width: COLUMN,
        top: shown(scale.y(reached_v.min(scale.high_v)) - 6.0),
        decide: format!("{} mV", threshold.decide_mv),
        parts,
    }
}

/// The lines with their names far enough apart to be read.
fn lines(levels: &[(&'static str, Voltage, &'static str)], scale: &Scale) -> Vec<Line> {
    let mut levels = levels.to_vec();
    levels.sort_by(|a, b| b.1.get::<volt>().total_cmp(&a.1.get::<volt>()));
    let mut places: Vec<f64> = levels
        .iter()
        .map(|level| scale.y(level.1.get::<volt>()) + 4.0)
        .collect();
    for place in 1..places.len() {
        places[place] = places[place].max(places[place - 1] + LINE_APART);
    }
    // What was pushed out of the drawing goes up again.
    let mut lowest = HEIGHT - 4.0;
    for place in places.iter_mut().rev() {
        *place = place.min(lowest);
        lowest = *place - LINE_APART;
    }
    levels
        .iter()
        .zip(places)
        .map(|((name, voltage, dash), place)| Line {
            name,
            volts: format!("{:.3} V", voltage.get::<volt>()),
            y: shown(scale.y(voltage.get::<volt>())),
            text_y: shown(place),
            dash,
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::node;

    /// Places in the picture are written to a tenth of a unit: half of that for each of fifteen parts and both ends.
    const WRITTEN: f64 = 0.05;

    fn number(text: &str) -> f64 {
        text.parse().expect("a coordinate")
    }

    /// The parts of a column stand on the floor, one on the other, and end at what firmware must read.
    #[test]
    fn columns_reach_from_the_floor_to_the_threshold() {
        for name in ["crack-gauge", "display-case", "pump-bearing"] {
            let node = node::example(name);
            let thresholds = Thresholds::of(&node);
            let ladder = Ladder::of(&node, &thresholds);
            let floor = ladder
                .lines
                .iter()
                .find(|line| line.name == "floor")
                .expect("a floor");
            for column in &ladder.columns {
                let sum: f64 = column.parts.iter().map(|part| number(&part.height)).sum();
                let want = number(&floor.y) - (number(&column.top) + 6.0);
                assert!(
                    (sum - want).abs() < WRITTEN * 17.0,
                    "{name} {}: {sum} {want}",
                    column.action
                );
            }
        }
    }

    #[test]
    fn names_of_lines_stand_apart_and_inside() {
        let node = node::example("crack-gauge");
        let ladder = Ladder::of(&node, &Thresholds::of(&node));
        let places: Vec<f64> = ladder.lines.iter().map(|line| number(&line.text_y)).collect();
        for pair in places.windows(2) {
            assert!(pair[1] - pair[0] >= LINE_APART - 0.2, "{places:?}");
        }
        assert!(
            places.iter().all(|place| (0.0..=HEIGHT).contains(place)),
            "{places:?}"
        );
    }

    /// A hopeless bank is drawn inside the drawing, too.
    #[test]
    fn a_threshold_out_of_reach_ends_at_the_edge() {
        let mut node = node::example("crack-gauge");
        node.storage[0].esr = ohms(60.0);
        let ladder = Ladder::of(&node, &Thresholds::of(&node));
        for part in ladder.columns.iter().flat_map(|column| &column.parts) {
            assert!((0.0..=HEIGHT).contains(&number(&part.y)), "{}", part.y);
        }
    }
}
