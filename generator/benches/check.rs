//! How long `millpond check` takes: from the text of a node file to the printed page, without starting a process.
//!
//! `cargo bench -p millpond`. The aim is 50 ms in release on each example.

use millpond::budget::Budget;
use millpond::findings;
use millpond::node::NodeFile;
use millpond::printout;
use millpond::thresholds::Thresholds;

const EXAMPLES: [(&str, &str); 3] = [
    (
        "crack-gauge",
        include_str!("../../templates/nodes/crack-gauge.toml"),
    ),
    (
        "display-case",
        include_str!("../../templates/nodes/display-case.toml"),
    ),
    (
        "pump-bearing",
        include_str!("../../templates/nodes/pump-bearing.toml"),
    ),
];

fn main() {
    divan::main();
}

fn text_of(name: &str) -> &'static str {
    EXAMPLES
        .iter()
        .find(|(known, _)| *known == name)
        .map_or("", |(_, text)| text)
}

/// Everything that `check` does.
#[divan::bench(args = EXAMPLES.map(|(name, _)| name))]
fn check(name: &str) -> String {
    let file = NodeFile::parse(name, text_of(name), "").expect("the examples are valid");
    let budget = Budget::of(&file.node);
    let thresholds = Thresholds::of(&file.node);
    let findings = findings::of(&file.node, &budget, &thresholds);
    printout::check::text(&file.node, &budget, &thresholds, &findings)
}

/// Reading the node file alone.
#[divan::bench(args = EXAMPLES.map(|(name, _)| name))]
fn read(name: &str) -> NodeFile {
    NodeFile::parse(name, text_of(name), "").expect("the examples are valid")
}

/// The thresholds alone.
#[divan::bench(args = EXAMPLES.map(|(name, _)| name))]
fn thresholds(bencher: divan::Bencher, name: &str) {
    let file = NodeFile::parse(name, text_of(name), "").expect("the examples are valid");
    bencher.bench(|| Thresholds::of(&file.node));
}
