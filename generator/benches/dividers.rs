//! How long `millpond dividers` takes: every set of three resistors for a gate, from each series.
//!
//! `cargo bench -p millpond --bench dividers`. The aim is one second for E96; trying every set of it takes 192 million trials.

use millpond::dividers::series::Series;
use millpond::dividers::{Dividers, Options};
use millpond::node::NodeFile;

fn main() {
    divan::main();
}

/// Gate, overvoltage limit and sensing divider of the example with a gate.
#[divan::bench(args = [Series::E24, Series::E96, Series::E192])]
fn dividers(bencher: divan::Bencher, series: Series) {
    let text = millpond_templates::nodes::CRACK_GAUGE;
    let file = NodeFile::parse("crack-gauge", text, "").expect("the examples are valid");
    let options = Options {
        series,
        tolerance: None,
        current_at_most: None,
        rows: 3,
    };
    bencher.bench(|| Dividers::of(&file.node, &options));
}
