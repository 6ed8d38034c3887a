use crate::progress::Unseen;
use millpond_policy::Reason;

use super::*;
use crate::node::{self, Node, Source};
use crate::policy::policy;
use crate::simulate::population::{Flashing, Parts};
use crate::simulate::rule::Flashed;
use crate::simulate::timeline::Blind;
use crate::thresholds::Thresholds;

/// A crossing is found to a nanovolt, and the terminal falls with what leaks and draws meanwhile (V).
const CROSSED_V: f64 = 1e-6;

/// What a time may miss its closed form by (s): crossings are found to 1e-9 V, where these nodes fall by more than 1e-6 V/s.
const TIME_S: f64 = 2e-3;
/// The simulation ends a stretch within a nanovolt of its limit, and a gate's voltage is met closer than this (V).
const GATE_V: f64 = 1e-6;
/// The current of sending is taken at the cut voltage without the drop, and efficiency as flat (V).
const CUT_V: f64 = 2e-3;
/// Sums of some hundred gaps, relative.
const SUM: f64 = 1e-9;
/// The same of times of up to a day (s).
const SUM_S: f64 = 1e-6;

/// Waits a minute, always.
struct Sleeper;

impl Rule for Sleeper {
    fn restart(&mut self) {}

    fn decide(&mut self, _reading: Reading) -> Decision {
        Decision::Wait {
            seconds: 60,
            reason: Reason::Pace,
        }
    }
}

/// Sends, then waits `seconds`, by turns.
struct Sender {
    seconds: u16,
    has_sent: bool,
    readings: Vec<Reading>,
}

impl Rule for Sender {
    fn restart(&mut self) {
        self.has_sent = false;
    }

    fn decide(&mut self, reading: Reading) -> Decision {
        self.readings.push(reading);
        self.has_sent = !self.has_sent;
        if self.has_sent {
            return Decision::Transmit;
        }
        Decision::Wait {
            seconds: self.seconds,
            reason: Reason::Pace,
        }
    }
}

/// All events.
#[derive(Default)]
struct Log(Vec<Moment>);

impl Watch for Log {
    fn see(&mut self, moment: &Moment) {
        self.0.push(*moment);
    }
}

fn course(days: f64, start_v: f64) -> Course {
    Course {
        duration: seconds(days * 86_400.0),
        start: volts(start_v),
        batch: 1,
        backlog: 16,
    }
}

fn constant(power_w: f64) -> Income {
    Income::of(&Source::Constant {
        power: watts(power_w),
    })
    .expect("a constant source needs no trace")
}

/// A node whose currents do not depend on the voltage, without leakage: charges can be counted.
fn display_case() -> Part {
    let mut part = Part::nominal(&node::example("display-case"));
    part.bank.leakage = siemenses(0.0);
    part
}

/// Charge that a list of stretches draws, and how long it takes.
fn charge_c(stretches: &[Stretch]) -> f64 {
    stretches
        .iter()
        .map(|stretch| stretch.charge_at(volts(3.0)).value)
        .sum()
}

fn duration_s(stretches: &[Stretch]) -> f64 {
    stretches
        .iter()
        .map(|stretch| stretch.duration.get::<second>())
        .sum()
}

/// 220 mF from 3 V to 1.8 V at 1.1 µA, less what starting up takes: 240,000 s less 18 s.
#[test]
fn a_dark_node_dies_when_its_charge_is_gone() {
    let part = display_case();
    let mut log = Log::default();
    let outcome = run(&part, &constant(0.0), &mut Sleeper, &course(4.0, 3.0), &mut log);
    let resistance_ohm = 0.15;
    let usable_c = 0.22 * (3.0 - 1.1e-6 * resistance_ohm - 1.8);
    let want_s = duration_s(&part.boot) + (usable_c - charge_c(&part.boot)) / 1.1e-6;
    assert_eq!((outcome.starts, outcome.brownouts), (1, 1));
    assert_eq!(outcome.action_brownouts, 0);
    // From the first decision; the second of reset may count.
    let up_s = want_s - duration_s(&part.boot);
    assert!(
        (up_s - TIME_S..=up_s + RESET_S + TIME_S).contains(&outcome.up_s),
        "{} {up_s}",
        outcome.up_s
    );
    let cut = log.0.last().expect("it was seen");
    assert_eq!(cut.event, Event::Cut);
    assert!((cut.time_s - want_s).abs() <= TIME_S);
    assert_eq!(outcome.longest_silence_s, 4.0 * 86_400.0);
    assert!(outcome.ledger.is_balanced());
}

/// The gate connects at 4 V and not before, and disconnects at 2.3 V under load.
#[test]
fn a_gate_connects_and_cuts_at_its_voltages() {
    let part = Part::nominal(&node::example("crack-gauge"));
    let mut log = Log::default();
    // 8 mW for 20 minutes fill 1 F from 2 V to above 4 V; then it is dark. A report every two seconds empties it.
    let income = Income::of_steps(seconds(1200.0), [8e-3, 0.0, 0.0, 0.0].map(watts));
    let mut rule = Sender {
        seconds: 1,
        has_sent: false,
        readings: Vec::new(),
    };
    let outcome = run(&part, &income, &mut rule, &course(1.0 / 24.0, 2.0), &mut log);
    let (start, cut) = (log.0[0], log.0[log.0.len() - 1]);
    assert_eq!((start.event, cut.event), (Event::Start, Event::Cut));
    // C/2·(16 − 4) at 80 % of 8 mW; R takes less than a hundredth.
    let want_s = 6.0 / (0.8 * 0.008);
    assert!(
        (want_s..want_s * 1.01).contains(&start.time_s),
        "{}",
        start.time_s
    );
    assert!((start.storage_v - 4.0).abs() < GATE_V);
    assert_eq!(
        (outcome.starts, outcome.brownouts, outcome.action_brownouts),
        (1, 1, 1)
    );
    // Cut while sending: without the load the terminal stands above 2.3 V by its current times 2.2 Ω.
    let sending_a = 3.0 * 0.044 / 0.9 / 2.3;
    assert!(
        (cut.storage_v - 2.3 - sending_a * 2.2).abs() < CUT_V,
        "{}",
        cut.storage_v
    );
    assert!(outcome.reports > 100 && outcome.ledger.is_balanced());
}

/// Sending takes a, waiting w: reports at a, 2·a + w, … and half the squares of the gaps.
#[test]
fn ages_are_half_the_squares_of_the_gaps() {
    let part = display_case();
    let mut rule = Sender {
        seconds: 100,
        has_sent: false,
        readings: Vec::new(),
    };
    let course = course(0.25, 3.0);
    let outcome = run(&part, &constant(0.001), &mut rule, &course, &mut Blind);
    let (boot_s, sent_s) = (duration_s(&part.boot), duration_s(&part.transmit));
    let gap_s = 100.0 + sent_s;
    let total_s = 21_600.0;
    let count = ((total_s - boot_s - sent_s) / gap_s).floor();
    let last_s = total_s - boot_s - sent_s - count * gap_s;
    let want_s2 = (boot_s + sent_s).powi(2) / 2.0 + count * gap_s * gap_s / 2.0 + last_s * last_s / 2.0;
    assert_eq!(outcome.reports, count as u64 + 1);
    assert!((outcome.age_s2 - want_s2).abs() < SUM * want_s2);
    assert!((outcome.mean_age_s() - want_s2 / total_s).abs() < SUM * total_s);
    assert!((outcome.longest_silence_s - gap_s).abs() < SUM_S);
    assert!((outcome.up_s - (total_s - boot_s)).abs() < SUM_S);
    assert!((outcome.uptime_fraction() - outcome.up_s / total_s).abs() < SUM);
    // A counter of whole seconds: no reading is ahead of the true time, and none is lost.
    let counted_s: u32 = rule.readings.iter().map(|reading| reading.elapsed_s).sum();
    assert!((f64::from(counted_s) - total_s).abs() < gap_s + 1.0);
    assert_eq!(rule.readings[0].elapsed_s, 0);
}

/// Empty at first and dark: nothing ever starts, and the run ends.
#[test]
fn an_empty_node_without_income_never_starts() {
    let part = display_case();
    let outcome = run(&part, &constant(0.0), &mut Sleeper, &course(2.0, 0.0), &mut Blind);
    assert_eq!((outcome.starts, outcome.decisions, outcome.up_s), (0, 0, 0.0));
    assert_eq!(outcome.longest_silence_s, 2.0 * 86_400.0);
    // Of a silence that began in the first day, what lies beyond it; of a run of one day, all.
    assert_eq!(outcome.settled_silence_s, 86_400.0);
    let day = run(&part, &constant(0.0), &mut Sleeper, &course(1.0, 0.0), &mut Blind);
    assert_eq!(day.settled_silence_s, 86_400.0);
}

/// Leaked away to nothing: 5 µA at 5.5 V empty 1 F in 300 days to below any voltage that counts, and the run still ends.
#[test]
fn years_in_the_dark_end() {
    let part = Part::nominal(&node::example("crack-gauge"));
    let outcome = run(
        &part,
        &constant(0.0),
        &mut Sleeper,
        &course(1500.0, 4.0),
        &mut Blind,
    );
    assert_eq!((outcome.starts, outcome.brownouts), (1, 1));
    assert!(outcome.ledger.is_balanced() && outcome.ledger.stored_end_j < 1e-12);
}

fn sunny(node: &Node) -> Income {
    Income::of(&node.harvest.source).expect("the examples have sources")
}

/// The same seed gives the same units on one core and on two; the events rise in time.
#[test]
fn a_run_depends_on_its_seed_alone() {
    for name in ["crack-gauge", "display-case", "pump-bearing"] {
        let node = node::example(name);
        let policy = policy(&node, &Thresholds::of(&node)).expect("a policy");
        let income = sunny(&node);
        let course = crate::simulate::course(&node, 7.0);
        let with = |threads: usize, seed: u64| {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build();
            pool.expect("threads").install(|| {
                Parts::of(
                    &node,
                    Flashing { policy, plan: None },
                    &income,
                    &course,
                    8,
                    seed,
                    &Unseen,
                )
            })
        };
        let parts = with(1, 3);
        assert_eq!(parts, with(2, 3));
        assert_ne!(parts, with(2, 4));
        assert!(parts.outcomes.iter().all(|outcome| outcome.ledger.is_balanced()));
        let mut log = Log::default();
        run(
            &Part::nominal(&node),
            &income,
            &mut Flashed::new(policy),
            &course,
            &mut log,
        );
        assert!(log.0.len() > 100 && log.0.is_sorted_by(|a, b| a.time_s <= b.time_s));
    }
}

/// A cell that could not give the pulse of 90 mA, and a bank of polymer capacitors that does: what the policy grants, no
/// unit loses. With all as one branch, tens of thousands of granted reports fail.
#[test]
fn a_small_bank_carries_the_pulses_of_a_resistive_cell() {
    let node =
        Node::read(include_str!("../../../../../tests/src/units/spring-gauge.toml")).expect("a sound file");
    let policy = policy(&node, &Thresholds::of(&node)).expect("a policy");
    let (income, course) = (sunny(&node), crate::simulate::course(&node, 30.0));
    let nominal = run(
        &Part::nominal(&node),
        &income,
        &mut Flashed::new(policy),
        &course,
        &mut Blind,
    );
    assert!(nominal.reports > 500, "{nominal:?}");
    assert_eq!(nominal.action_brownouts, 0);
    assert!(nominal.ledger.is_balanced());
    let flashing = Flashing { policy, plan: None };
    let parts = Parts::of(&node, flashing, &income, &course, 12, 1, &Unseen);
    assert_eq!(parts.action_brownouts(), 0);
    assert!(parts.outcomes.iter().all(|outcome| outcome.ledger.is_balanced()));
}

/// Looking changes nothing.
#[test]
fn a_watched_run_is_the_same_run() {
    let node = node::example("pump-bearing");
    let policy = policy(&node, &Thresholds::of(&node)).expect("a policy");
    let course = crate::simulate::course(&node, 2.0);
    let part = Part::nominal(&node);
    let blind = run(
        &part,
        &sunny(&node),
        &mut Flashed::new(policy),
        &course,
        &mut Blind,
    );
    let mut log = Log::default();
    let seen = run(&part, &sunny(&node), &mut Flashed::new(policy), &course, &mut log);
    assert_eq!(blind, seen);
    let count = |event| log.0.iter().filter(|moment| moment.event == event).count() as u64;
    assert_eq!(count(Event::Transmit), seen.reports);
    assert_eq!(count(Event::Measure), seen.measurements);
    assert_eq!(count(Event::Start), seen.starts);
}

/// A node without a gate whose start-up takes more than lies between its start and its floor: 0.22 F from 1.9 V to 1.8 V are 22 mC.
/// One of 40 mC starts and falls for as long as there is light, one of 10 mC starts once. Reset is released at the same voltage each time.
#[test]
fn a_start_up_that_is_not_carried_is_tried_again_and_again() {
    for (charge_mc, loops) in [(40.0, true), (10.0, false)] {
        let mut part = display_case();
        part.boot[0].drain.current = amperes(charge_mc * 1e-3);
        part.boot[0].peak = part.boot[0].drain;
        part.boot[0].duration = seconds(1.0);
        assert_eq!(part.boot.len(), 1);
        let mut log = Log::default();
        let outcome = run(
            &part,
            &constant(100e-6),
            &mut Sleeper,
            &course(1.0, 1.0),
            &mut log,
        );
        assert_eq!(outcome.failed_starts > 1, loops, "{charge_mc} mC: {outcome:?}");
        assert_eq!(outcome.failed_starts, outcome.brownouts);
        assert_eq!(outcome.failed_starts == outcome.starts, loops);
        let starts = log.0.iter().filter(|moment| moment.event == Event::Start);
        assert!(starts.clone().count() as u64 == outcome.starts);
        for start in starts {
            assert!((start.storage_v - 1.9).abs() < CROSSED_V, "{}", start.storage_v);
        }
    }
}

/// Three nights that empty the storage and three mornings: three starts, and none of them failed.
#[test]
fn a_night_is_no_loop() {
    let mut part = display_case();
    // 0.22 F from 1.8 V to 4.2 V are full in some hours at 100 µW · 70 %, and 20 µA empty them in seven.
    let income = Income::of_steps(seconds(43_200.0), [0.0, 2e-4].map(watts));
    part.asleep.drain.current = amperes(20e-6);
    let outcome = run(&part, &income, &mut Sleeper, &course(3.0, 2.5), &mut Blind);
    assert_eq!(
        (outcome.starts, outcome.brownouts, outcome.failed_starts),
        (4, 3, 0)
    );
}
