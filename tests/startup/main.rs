//! Whether `check` and the simulation agree on a node without a gate that starts: over many random nodes, in both directions.
//!
//! Run with `cargo test -p millpond-tests --test startup`. The bank has one kind of capacitor.

use millpond::findings::{self, RESTARTS_FOREVER};
use millpond::income::Income;
use millpond::model::drain::Drain;
use millpond::node::{Node, Source};
use millpond::policy;
use millpond::simulate::plant::{End, Plant};
use millpond::simulate::rule::Flashed;
use millpond::simulate::run::{Outcome, run};
use millpond::simulate::timeline::Blind;
use millpond::simulate::unit::Part;
use millpond::thresholds::Thresholds;
use millpond::units::*;
use millpond_tests::case::SEEDS;
use millpond_tests::random_node::random_node;

/// Distance from the border on either side (V): a thousand times what the search and the integrators are off by, for where the power
/// limit decides the terminal has an infinite slope.
const BORDER_V: f64 = 1e-4;
/// Starts that are tried.
const STARTS: u32 = 4;
/// Long enough for any of the nodes to charge or to start at full light (s).
const LONG_S: f64 = 1e8;
/// Days under the node's own source.
const DAYS: f64 = 2.0;
/// How many of the nodes have to be looked at on each side.
const LEAST: usize = 80;

/// A node of one kind of capacitor and without a gate.
fn node_without_gate(seed: u64) -> Node {
    let mut node = random_node(seed);
    node.supply.gate = None;
    node.storage.truncate(1);
    node
}

fn says_restarts(node: &Node, thresholds: &Thresholds) -> bool {
    findings::starting(node, thresholds).is_some_and(|finding| finding.code == RESTARTS_FOREVER)
}

/// Starts of the worst unit that lose their supply, of `STARTS`. The light is so bright that the converter gives its largest current until
/// reset is released, and gone at that moment: the worst that light can do.
fn lost_starts(node: &Node, part: &Part) -> u32 {
    let nothing = Drain {
        power: watts(0.0),
        current: amperes(0.0),
    };
    let most = node.harvest.maximum_current * node.harvest.overvoltage / node.harvest.converter_efficiency;
    let (below, above) = (f64::NEG_INFINITY, f64::INFINITY);
    let mut plant = Plant::new(&part.bank, &node.harvest, node.supply.regulator.floor());
    let mut lost = 0;
    for _ in 0..STARTS {
        plant.offer(most.get::<watt>() * 10.0);
        let (end, _) = plant.advance(&nothing, LONG_S, below, part.connect_v);
        assert_eq!(end, End::Above, "{}", node.name);
        plant.offer(0.0);
        let is_carried = part.boot.iter().all(|stretch| {
            let duration_s = stretch.duration.get::<second>();
            let (end, _) = plant.advance(&stretch.drain, duration_s, part.cut_v, above);
            let peak_v = plant.terminal_v(&stretch.peak);
            end == End::Time && peak_v.is_some_and(|peak_v| peak_v >= part.cut_v)
        });
        lost += u32::from(!is_carried);
        // Asleep until the supply is lost, or what a failed start left over for a while.
        plant.advance(&part.asleep.drain, LONG_S, part.cut_v, above);
    }
    lost
}

/// Two days of the worst unit under its own source.
fn under_own_source(node: &Node, part: &Part, thresholds: &Thresholds) -> Option<Outcome> {
    let policy = policy::policy(node, thresholds).ok()?;
    let income = Income::of(&node.harvest.source)?;
    let mut course = millpond::simulate::course(node, DAYS);
    course.start = node.supply.regulator.floor();
    Some(run(part, &income, &mut Flashed::new(policy), &course, &mut Blind))
}

/// Just above the voltage that a start-up needs nothing is found and no start is lost; just below it is found and every start is lost.
#[test]
fn the_border_is_the_same_in_check_and_in_simulation() {
    let (mut above, mut below) = (0, 0);
    for seed in SEEDS {
        let mut node = node_without_gate(seed);
        let thresholds = Thresholds::of(&node);
        let needed = thresholds.boot.start + thresholds.charging_lift;
        // Leakage takes its part of the charging current: the lift is less by that than the rule has it.
        let leaked = thresholds.corner.largest_resistance() * (thresholds.corner.leakage * needed);
        let (floor, full) = (node.supply.regulator.floor(), thresholds.overvoltage);
        for (starts_at, restarts) in [
            (needed + volts(BORDER_V), false),
            (needed - volts(BORDER_V) - leaked, true),
        ] {
            if starts_at < floor || starts_at >= full {
                continue;
            }
            node.supply.starts_at = Some(starts_at);
            let thresholds = Thresholds::of(&node);
            assert_eq!(says_restarts(&node, &thresholds), restarts, "{}", node.name);
            let lost = lost_starts(&node, &Part::worst(&node, &thresholds));
            assert_eq!(lost, if restarts { STARTS } else { 0 }, "{}", node.name);
            *(if restarts { &mut below } else { &mut above }) += 1;
        }
    }
    assert!(above >= LEAST && below >= LEAST, "{above} {below}");
}

/// Where nothing is stated, and over days of the node's own source: a node that is not found to restart never loses its supply in a
/// start-up, and one that needs more than its start even without the lift of charging, in light too dim to help it, does so each time.
#[test]
fn runs_loop_where_check_says_so() {
    let (mut sound, mut looping) = (0, 0);
    for seed in SEEDS {
        let mut node = node_without_gate(seed);
        let thresholds = Thresholds::of(&node);
        let part = Part::worst(&node, &thresholds);
        if part.connect_v >= thresholds.overvoltage.get::<volt>() {
            continue;
        }
        if !says_restarts(&node, &thresholds) {
            if let Some(outcome) = under_own_source(&node, &part, &thresholds) {
                assert_eq!(outcome.failed_starts, 0, "{}: {outcome:?}", node.name);
                sound += 1;
            }
            continue;
        }
        let short = thresholds.boot.start - volts(part.connect_v);
        if short < volts(BORDER_V) {
            continue;
        }
        // Twice what leaks at the start, and little beside what the start-up draws.
        let leaks: Power = volts(part.connect_v) * (thresholds.corner.leakage * volts(part.connect_v));
        node.harvest.source = Source::Constant {
            power: leaks * 2.0 / node.harvest.converter_efficiency,
        };
        if let Some(outcome) = under_own_source(&node, &part, &thresholds) {
            // The run may end in the middle of the last one.
            let is_each = outcome.starts - outcome.failed_starts <= 1;
            assert!(is_each, "{}: {outcome:?}", node.name);
            looping += usize::from(outcome.starts > 1);
        }
    }
    assert!(sound >= LEAST / 2 && looping > 0, "{sound} {looping}");
}
