//! The count against the pace of the policy's own table.

use millpond_policy::PolicyParts;

use super::*;
use crate::node::Node;
use crate::policy;
use crate::thresholds::Thresholds;

/// The tag in the display case: a report steps its reading by less than a count, so that only the pace tells of a lost one.
const TAG: &str = "display-case";
const DAYS: f64 = 2.0;

/// The tag with a divider that draws nothing between readings: its table has all its rows.
fn tag() -> Node {
    let mut node = node::example(TAG);
    node.sense.divider_switched = true;
    node
}

fn parts(node: &Node) -> PolicyParts {
    *policy::policy(node, &Thresholds::of(node))
        .expect("a policy")
        .parts()
}

/// A log of firmware that waits by the table of `node`, at the storage voltage for a time and a number of reports, and how many reports
/// `is_lost` took.
fn paced(node: &Node, storage_v: impl Fn(f64, u32) -> f64, is_lost: impl Fn(u32) -> bool) -> (Log, usize) {
    let parts = parts(node);
    let row_s = 0.35 * node.policy.fastest.get::<second>();
    let (mut now_s, mut next_s, mut sent, mut lost) = (0.0, 0.0, 0, 0);
    let mut text = String::from("time_s,storage_mv,count\n");
    while now_s < DAYS * 86_400.0 {
        if now_s >= next_s {
            sent += 1;
            lost += usize::from(is_lost(sent));
            let reading_mv = storage_v(now_s, sent) * 1e3;
            let row = parts.pace.iter().find(|row| f64::from(row.from_mv) <= reading_mv);
            next_s += f64::from(row.expect("the last row starts at 0 mV").wait_s);
        }
        let (reading_mv, count) = (storage_v(now_s, sent) * 1e3, sent as usize - lost);
        text.push_str(&format!("{now_s:.2},{reading_mv:.2},{count}\n"));
        now_s += row_s;
    }
    (Log::parse("bench.csv", &text).expect("a log"), lost)
}

/// How many lost reports a fit tells of.
fn told(node: &Node, log: &Log) -> Option<usize> {
    let fit = Fit::of(node, log, &Known::NOTHING);
    let finding = fit.findings.iter().find(|one| one.code == "reports-lost")?;
    let first = finding.text.split(' ').next().expect("a word");
    Some(first.parse().expect("a number"))
}

/// A day's rise and fall between full and just above the threshold: over all rows of the table.
fn daily(node: &Node) -> impl Fn(f64, u32) -> f64 {
    let parts = parts(node);
    let needed_mv = parts.transmit_mv.max(parts.measure_mv) + parts.hysteresis_mv;
    let (low_v, high_v) = (
        f64::from(needed_mv) / 1e3 + 0.01,
        node.harvest.overvoltage.get::<volt>(),
    );
    move |time_s, _| {
        let part = (std::f64::consts::TAU * time_s / 86_400.0).cos();
        (low_v + high_v) / 2.0 + part * (high_v - low_v) / 2.0
    }
}

/// Storage that stands at a border of the table, in balance with the income: every third report finds it just below.
fn at_a_border(node: &Node) -> impl Fn(f64, u32) -> f64 {
    let border_v = f64::from(parts(node).pace[3].from_mv) / 1e3;
    move |_, sent| border_v + if sent % 3 == 0 { -0.002 } else { 0.002 }
}

/// A table whose rows are nearly twice as slow from one to the next: (7200 s / 5 s) to the power of 1/11 is 1.94.
fn with_large_steps() -> Node {
    let mut node = tag();
    node.policy.fastest = seconds(5.0);
    node.policy.slowest = seconds(7200.0);
    node
}

#[test]
fn waits_of_the_table_are_no_lost_reports() {
    for (node, what) in [(tag(), "as described"), (with_large_steps(), "large steps")] {
        assert_eq!(
            told(&node, &paced(&node, daily(&node), |_| false).0),
            None,
            "{what}, daily"
        );
        let log = paced(&node, at_a_border(&node), |_| false).0;
        assert_eq!(told(&node, &log), None, "{what}, at a border");
    }
}

/// Eight days of the tag in its own light, told by readings and the count alone: by night its table waits 2.73 and 4.46 times as long as by
/// day, which came close enough to whole numbers.
#[test]
fn simulated_days_have_no_lost_reports() {
    let node = tag();
    let (mut log, _) = simulated::log(&node, &node.harvest.source, 8.0);
    log.event.clear();
    assert_eq!(told(&node, &log), None);
}

/// Of reports that are lost, one in six by chance, none is made up, and most are found: those beside a change of the pace are not.
#[test]
fn lost_reports_are_found_under_the_table() {
    let node = tag();
    // Multiplied by a large odd number the low bits of a count look like chance.
    let by_chance = |sent: u32| sent.wrapping_mul(2_654_435_761) >> 16 & 0xffff < 65_536 / 6;
    let steady_v = node.harvest.overvoltage.get::<volt>() - 0.1;
    for (log, lost) in [
        paced(&node, daily(&node), by_chance),
        paced(&node, |_, _| steady_v, by_chance),
    ] {
        let found = told(&node, &log).unwrap_or_default();
        assert!(found <= lost && found * 2 > lost, "{found} of {lost}");
    }
}
