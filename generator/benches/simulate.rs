//! How long a simulated node takes. `cargo bench -p millpond --bench simulate`.
//!
//! `wake_ups`: a year with one wake-up a minute, 525,600 decisions, asleep in between; the aim is 100 ms with one branch of
//! storage, 400 ms with three. `profile`: 30 days of a report every ten minutes that is a profile of 1,000 rows of a millisecond,
//! by branches. `policy_days`: the policy as it is
//! flashed, samples and reports included, over 30, 90 and 365 days: cost grows with the simulated time.

use millpond::income::Income;
use millpond::model::discharge::Stretch;
use millpond::model::drain::Drain;
use millpond::node::{Node, NodeFile};
use millpond::policy::policy;
use millpond::simulate::course;
use millpond::simulate::rule::{Flashed, Rule};
use millpond::simulate::run::{Outcome, run};
use millpond::simulate::timeline::Blind;
use millpond::simulate::unit::Part;
use millpond::thresholds::Thresholds;
use millpond::units::*;
use millpond_policy::{Decision, Reading, Reason};

const EXAMPLES: [(&str, &str); 3] = [
    ("crack-gauge", millpond_templates::nodes::CRACK_GAUGE),
    ("display-case", millpond_templates::nodes::DISPLAY_CASE),
    ("pump-bearing", millpond_templates::nodes::PUMP_BEARING),
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

/// Sends, then waits ten minutes, by turns.
#[derive(Default)]
struct EveryTenMinutes {
    has_sent: bool,
}

impl Rule for EveryTenMinutes {
    fn restart(&mut self) {}

    fn decide(&mut self, _reading: Reading) -> Decision {
        self.has_sent = !self.has_sent;
        if self.has_sent {
            return Decision::Transmit;
        }
        Decision::Wait {
            seconds: 600,
            reason: Reason::Pace,
        }
    }
}

/// The machine's node, a cell beside a ceramic, with so many branches.
fn with_branches(count: usize) -> Node {
    let mut node = file("pump-bearing").node;
    node.storage.truncate(count);
    while node.storage.len() < count {
        // Between the two: 1 mF behind 0.3 ohm and so on.
        let mut more = node.storage[1].clone();
        more.capacitance = farads(1e-3 * node.storage.len() as f64);
        more.esr = ohms(0.3);
        node.storage.push(more);
    }
    node
}

#[divan::bench(args = [1, 2, 3, 4], sample_count = 10)]
fn profile(bencher: divan::Bencher, branches: usize) {
    let node = with_branches(branches);
    let income = Income::of(&node.harvest.source).expect("the examples have their own income");
    let mut part = Part::nominal(&node);
    part.transmit = (0..1000)
        .map(|row| {
            let drain = Drain {
                power: watts(0.0),
                current: amperes(1e-3 * f64::from(1 + row % 7)),
            };
            Stretch {
                drain,
                peak: drain,
                duration: seconds(1e-3),
            }
        })
        .collect();
    let course = course(&node, 30.0);
    bencher.bench(|| -> Outcome {
        run(
            &part,
            &income,
            &mut EveryTenMinutes::default(),
            &course,
            &mut Blind,
        )
    });
}

const THREE: &str = "pump-bearing, three branches";

#[divan::bench(args = EXAMPLES.map(|(name, _)| name).into_iter().chain([THREE]), sample_count = 10)]
fn wake_ups(bencher: divan::Bencher, name: &str) {
    let node = if name == THREE {
        with_branches(3)
    } else {
        file(name).node
    };
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
