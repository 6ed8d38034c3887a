//! How long `millpond check` takes: from the text of a node file to the printed page, without starting a process.
//!
//! `cargo bench -p millpond`. The aim is 50 ms in release on each example, and 300 ms for a report that was recorded in 5,000 rows, on a
//! bank of three branches.

use std::collections::BTreeMap;
use std::fmt::Write as _;

use millpond::budget::Budget;
use millpond::findings;
use millpond::node::{NodeFile, Profiles};
use millpond::printout;
use millpond::thresholds::Thresholds;

const EXAMPLES: [(&str, &str); 3] = [
    ("crack-gauge", millpond_templates::nodes::CRACK_GAUGE),
    ("display-case", millpond_templates::nodes::DISPLAY_CASE),
    ("pump-bearing", millpond_templates::nodes::PUMP_BEARING),
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

/// Rows of the recorded report.
const ROWS: u32 = 5000;

/// The crack gauge with two more kinds of capacitor and a recorded report: pulses of 0.1 ms, gaps of up to 2 ms.
fn recorded() -> (String, BTreeMap<String, String>) {
    let text = text_of("crack-gauge");
    let beside = "[[storage.capacitor]]\ncapacitance = \"CAPACITANCE\"\ntolerance_low = \"20 %\"\ntolerance_high = \"20 %\"\nesr = \"ESR\"\n\
                  rated_voltage = \"10 V\"\nleakage = \"1 uA\"\n\n[supply]";
    let kind = |capacitance: &str, esr: &str| beside.replace("CAPACITANCE", capacitance).replace("ESR", esr);
    let text = text.replacen("[supply]", &kind("220 uF", "5 mohm"), 1).replacen(
        "[supply]",
        &kind("10 mF", "300 mohm"),
        1,
    );
    let begin = text.find("[transmit]").expect("a section") + "[transmit]".len();
    let end = text.find("[transmit.radio]").expect("a section after it");
    let text = format!("{}\nprofile = \"report.csv\"\n\n{}", &text[..begin], &text[end..]);
    let mut profile = String::from("time_s,current_ma\n");
    let mut time_s = 0.0;
    for row in 0..ROWS {
        let current_ma = if row % 3 == 0 {
            44.0
        } else {
            3.0 + f64::from(row * 37 % 101) / 50.0
        };
        writeln!(profile, "{time_s:.4},{current_ma}").expect("a text grows");
        time_s += if row % 3 == 0 {
            1e-4
        } else {
            1e-4 * f64::from(1 + row * 53 % 20)
        };
    }
    (text, BTreeMap::from([("report.csv".to_owned(), profile)]))
}

/// Everything that `check` does, of a report in 5,000 rows.
#[divan::bench(sample_count = 10)]
fn check_recorded(bencher: divan::Bencher) {
    let (text, profiles) = recorded();
    bencher.bench(|| {
        let file = NodeFile::parse_with("recorded", &text, Profiles::Given(&profiles)).expect("sound");
        let budget = Budget::of(&file.node);
        let thresholds = Thresholds::of(&file.node);
        let findings = findings::of(&file.node, &budget, &thresholds);
        printout::check::text(&file.node, &budget, &thresholds, &findings)
    });
}
