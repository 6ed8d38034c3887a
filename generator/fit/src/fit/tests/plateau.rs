//! Storage that stays level: held at the limit, in balance below it, or read wrong.

use super::*;
use crate::node::{Node, Source};

/// A source that never changes.
fn constant(power_w: f64) -> Source {
    Source::Constant {
        power: watts(power_w),
    }
}

/// The findings of a log on levels and on the reading.
fn told(node: &Node, log: &Log) -> Vec<(&'static str, Confidence)> {
    let fit = Fit::of(node, log, &Known::NOTHING);
    fit.findings
        .into_iter()
        .filter(|finding| finding.code.starts_with("reading-") || finding.code == "overvoltage-plateau")
        .map(|finding| (finding.code, finding.confidence))
        .collect()
}

/// Where the pace takes all that comes in nothing is turned away, and a level top is no sign of a wrong reading.
#[test]
fn a_balance_below_the_limit_is_no_fault() {
    for (name, power_w, days) in [("pump-bearing", 900e-6, 8.0), (NAME, 50e-6, 20.0)] {
        let node = node::example(name);
        let (log, spilled_j) = simulated::log(&node, &constant(power_w), days);
        assert_eq!(spilled_j, 0.0, "{name}");
        assert_eq!(told(&node, &log), [], "{name}");
    }
}

/// Forty times as much is turned away, and said to be.
#[test]
fn a_level_at_the_limit_is_where_charging_stops() {
    let node = node::example(NAME);
    let (log, spilled_j) = simulated::log(&node, &constant(2e-3), 6.0);
    assert!(spilled_j > 0.0);
    assert_eq!(told(&node, &log), [("overvoltage-plateau", Confidence::High)]);
}

/// Minutes between two reports.
const PERIOD: usize = 12;

/// A crack gauge whose reports each take many counts from its store.
fn with_a_small_store() -> Node {
    let mut node = node::example(NAME);
    node.storage[0].capacitance = farads(0.03);
    node
}

/// Two days of a store that fills for six hours and stays level at a voltage below the limit; the part of a report's step that is not
/// made up for yet is what `left` makes of the part of the period that is over.
fn level_log(node: &Node, left: impl Fn(f64) -> f64) -> Log {
    let described = Described::of(node);
    let (from_v, top_v) = (4.0, 0.85 * described.overvoltage_v);
    let step_v = described.report_step_v(top_v);
    let mut text = String::from("time_s,storage_mv,count\n");
    for minute in 0..2880 {
        let level_v = (from_v + (top_v - from_v) * f64::from(minute) / 360.0).min(top_v);
        let over = (minute as usize % PERIOD) as f64 / PERIOD as f64;
        let reading_mv = (level_v - step_v * left(over)) * 1e3;
        text.push_str(&format!(
            "{},{reading_mv:.2},{}\n",
            minute * 60,
            minute as usize / PERIOD
        ));
    }
    Log::parse("bench.csv", &text).expect("a log")
}

/// A level to which storage comes back at once behind each report is held by something: the limit, read wrong, is one such thing. One
/// that is made up for as slowly as it is drawn down is a balance.
#[test]
fn a_level_that_reports_do_not_move_is_doubtful() {
    let node = with_a_small_store();
    let held = level_log(&node, |over| if over == 0.0 { 1.0 } else { 0.0 });
    assert_eq!(told(&node, &held), [("reading-scaled", Confidence::Low)]);
    let balanced = level_log(&node, |over| 1.0 - over);
    assert_eq!(told(&node, &balanced), []);
}
