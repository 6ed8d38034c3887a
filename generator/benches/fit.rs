//! How long `millpond fit` takes on a log of a million rows: from its text to parameters and findings.
//!
//! `cargo bench -p millpond`. The aim is 2 s in release, and 200 MB for the command.

use millpond::fit::{Fit, Known};
use millpond::log::Log;
use millpond::node::NodeFile;

const CRACK_GAUGE: &str = millpond_templates::nodes::CRACK_GAUGE;
const ROWS: usize = 1_000_000;
/// Time between rows (s), and rows between reports.
const STEP_S: usize = 2;
const PERIOD: usize = 900;
/// The fall of one row and of one report (mV), and where the store is filled again.
const FALL_MV: f64 = 0.012;
const REPORT_MV: f64 = 6.0;
const EMPTY_MV: f64 = 3_000.0;
const FULL_MV: f64 = 4_700.0;

fn main() {
    divan::main();
}

/// Nights of sleep and reports, each from full to empty, in steps of one millivolt.
fn text() -> String {
    let (mut mv, mut count) = (FULL_MV, 0);
    let mut text = String::from("time_s,storage_mv,count\n");
    for row in 0..ROWS {
        if row % PERIOD == PERIOD - 1 {
            mv -= REPORT_MV;
            count += 1;
        }
        mv = if mv < EMPTY_MV { FULL_MV } else { mv - FALL_MV };
        text.push_str(&format!("{},{mv:.0},{count}\n", row * STEP_S));
    }
    text
}

/// Everything that `fit` does but printing.
#[divan::bench(sample_count = 3, sample_size = 1)]
fn fit_a_million_rows(bencher: divan::Bencher) {
    let file = NodeFile::parse("crack-gauge", CRACK_GAUGE, "").expect("the examples are valid");
    bencher.with_inputs(text).bench_values(|text| {
        let log = Log::parse("bench.csv", &text).expect("a log");
        Fit::of(&file.node, &log, &Known::NOTHING)
    });
}
