//! How long a simulated node takes. `cargo bench -p millpond --bench simulate`.
//!
//! `wake_ups`: a year with one wake-up a minute, 525,600 decisions, asleep in between; the aim is 100 ms. `policy_days`: the policy as it is
//! flashed, samples and reports included, over 30, 90 and 365 days: cost grows with the simulated time.

use millpond::income::Income;
use millpond::node::NodeFile;
use millpond::policy::policy;
use millpond::simulate::course;
use millpond::simulate::part::Part;
use millpond::simulate::rule::{Flashed, Rule};
use millpond::simulate::run::{Outcome, run};
use millpond::simulate::timeline::Blind;
use millpond::thresholds::Thresholds;
use millpond_policy::{Decision, Reading, Reason};

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

fn file(name: &str) -> NodeFile {
    let text = EXAMPLES
        .iter()
        .find(|(known, _)| *known == name)
        .map_or("", |(_, text)| text);
    NodeFile::parse(name, text, "").expect("the examples are valid")
}

/// Wakes once a minute and goes back to sleep.
struct EveryMinute;

impl Rule for EveryMinute {
    fn restart(&mut self) {}

    fn decide(&mut self, _reading: Reading) -> Decision {
        Decision::Wait {
            seconds: 60,
            reason: Reason::Pace,
        }
    }
}

#[divan::bench(args = EXAMPLES.map(|(name, _)| name), sample_count = 10)]
fn wake_ups(bencher: divan::Bencher, name: &str) {
    let node = file(name).node;
    let income = Income::of(&node.harvest.source).expect("the examples have their own income");
    let part = Part::nominal(&node);
    let course = course(&node, 365.0);
    bencher.bench(|| -> Outcome { run(&part, &income, &mut EveryMinute, &course, &mut Blind) });
}

#[divan::bench(args = [30, 90, 365], sample_count = 10)]
fn policy_days(bencher: divan::Bencher, days: u32) {
    let node = file("crack-gauge").node;
    let income = Income::of(&node.harvest.source).expect("the examples have their own income");
    let policy = policy(&node, &Thresholds::of(&node)).expect("the examples have no error");
    let part = Part::nominal(&node);
    let course = course(&node, f64::from(days));
    bencher.bench(|| -> Outcome { run(&part, &income, &mut Flashed::new(policy), &course, &mut Blind) });
}
