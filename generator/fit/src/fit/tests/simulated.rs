//! Logs of healthy nodes: timelines of the simulation.

use super::*;
use crate::node::{Node, Source};
use crate::policy;
use crate::simulate::rule::Flashed;
use crate::simulate::run::run;
use crate::simulate::timeline::Timeline;
use crate::simulate::unit::Part;
use crate::thresholds::Thresholds;
use millpond_income::income::Income;

/// The timeline of `node` under `source`, and what was turned away (J).
pub(super) fn log(node: &Node, source: &Source, days: f64) -> (Log, f64) {
    let policy = policy::policy(node, &Thresholds::of(node)).expect("a policy");
    let mut text = Vec::new();
    let mut timeline = Timeline::new(&mut text).expect("room");
    let outcome = run(
        &Part::nominal(node),
        &Income::of(source).expect("an income"),
        &mut Flashed::new(policy),
        &crate::simulate::course(node, days),
        &mut timeline,
    );
    timeline.finish().expect("room");
    let text = String::from_utf8(text).expect("CSV is text");
    (
        Log::parse("timeline.csv", &text).expect("a log"),
        outcome.ledger.spilled_j,
    )
}
