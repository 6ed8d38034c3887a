//! Witness: a circuit simulator. Each action of each node is built as a circuit, started at the voltage that millpond
//! says is just enough, and must touch the floor; started [`BELOW_V`] lower it must fall below. Random comparators behind their resistors
//! must trip where millpond says.
//!
//! Run with `cargo test -p millpond-tests --test ngspice`; one node with `-- crack-gauge` or `-- random-17`.
//!
//! [`BELOW_V`]: millpond_tests::case::BELOW_V

mod comparator;
mod deck;

use deck::Deck;
use libtest_mimic::{Arguments, Failed};
use millpond_tests::case::{Case, nodes};
use millpond_tests::tool::{self, Tool};

/// What the terminal may differ by (V). Cause: the simulator rounds the corners of the load to ramps, and meets them
/// with a relative error of 1e-6 at each step; a millivolt is the smallest step of an emitted threshold.
const TERMINAL_V: f64 = 1e-3;

fn main() {
    let what = "ngspice (Debian package ngspice)";
    let ngspice = Tool::find(&["ngspice"], &["--version"]);
    tool::announce(ngspice.as_ref(), what);
    let actions = nodes().into_iter().map(|node| {
        tool::trial(node.name.clone(), ngspice.as_ref(), what, move |ngspice| {
            check(ngspice, &Case::alone(&node))
        })
    });
    let trials = actions
        .chain(comparator::trials(ngspice.as_ref(), what))
        .collect();
    libtest_mimic::run(&Arguments::from_args(), trials).exit();
}

fn check(ngspice: &Tool, cases: &[Case]) -> Result<(), Failed> {
    let mut wrong = Vec::new();
    for case in cases {
        let at = Deck::of(case, case.start_v()).run(ngspice)?;
        let below = Deck::of(case, case.below_v()).run(ngspice)?;
        wrong.extend(case.judge(at, below, TERMINAL_V));
    }
    if wrong.is_empty() {
        Ok(())
    } else {
        Err(wrong.join("\n").into())
    }
}
