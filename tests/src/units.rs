//! The nodes whose random units are simulated: the examples, and one for each way in which a granted action could still take the
//! supply away.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use millpond::node::{Node, NodeFile, Profiles};
use millpond::problem::Problems;

/// File name and text of each node.
const NODES: [(&str, &str); 6] = [
    ("crack-gauge.toml", millpond_templates::nodes::CRACK_GAUGE),
    ("display-case.toml", millpond_templates::nodes::DISPLAY_CASE),
    ("pump-bearing.toml", millpond_templates::nodes::PUMP_BEARING),
    // A bank of polymer capacitors carries the pulse that the cell beside it cannot.
    ("spring-gauge.toml", include_str!("units/spring-gauge.toml")),
    // A report is a profile of a thousand rows.
    ("hive-scale.toml", include_str!("units/hive-scale.toml")),
    // No gate.
    ("latch-counter.toml", include_str!("units/latch-counter.toml")),
];

/// Rows of the recorded report.
const ROWS: u32 = 1000;

/// The nodes.
///
/// # Errors
///
/// What the reader says of a file.
pub fn nodes() -> Result<Vec<Node>, Problems> {
    let profiles = BTreeMap::from([("report.csv".to_owned(), report())]);
    NODES
        .iter()
        .map(|(name, text)| {
            NodeFile::parse_with(name, text, Profiles::Given(&profiles)).map(|file| file.node)
        })
        .collect()
}

/// A report as an instrument would record it: a processor at 2.5 mA, and every 200 ms a burst in which each fourth of 40 rows of 0.6 ms is a
/// pulse of 48 mA, with ripple of 3 % over all.
fn report() -> String {
    let mut text = String::from("time_s,current_ma\n");
    let mut time_ms = 0.0;
    for row in 0..ROWS {
        let is_burst = row / 40 % 5 == 2;
        let current_ma = match (is_burst, row % 4) {
            (true, 1) => 48.0,
            (true, _) => 14.0,
            (false, _) => 2.5,
        };
        let ripple = 0.03 * (f64::from(row * 37 % 21) / 10.0 - 1.0);
        let drawn_ma = if row + 1 < ROWS {
            current_ma * (1.0 + ripple)
        } else {
            0.0
        };
        // Writing to a text never fails.
        let _ = writeln!(text, "{:.4},{drawn_ma:.3}", time_ms / 1e3);
        time_ms += if is_burst { 0.6 } else { 1.3 };
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Each node stands for what it is there for.
    #[test]
    fn the_nodes_are_of_their_kinds() {
        let nodes = nodes().expect("sound");
        let named = |name: &str| nodes.iter().find(|node| node.name == name).expect("there");
        assert_eq!(nodes.len(), NODES.len());
        assert!(named("spring-gauge").storage.len() > 1);
        assert!(named("hive-scale").transmit.phases.len() > 900);
        assert!(named("latch-counter").supply.gate.is_none());
    }
}
