//! Witnesses: SciPy's `solve_ivp` over two days and ngspice over two hours. The storage voltage of each example node under a
//! stepped income and the drains that the simulation chose, every branch by itself.
//!
//! Run with `cargo test -p millpond-tests --test simulation`.

mod circuit;

use std::path::Path;
use std::time::Instant;

use libtest_mimic::{Arguments, Failed, Trial};
use millpond::income::Income;
use millpond::model::bank::Bank;
use millpond::model::discharge::Stretch;
use millpond::model::drain::Drain;
use millpond::node::{Harvest, Node, NodeFile};
use millpond::policy::policy;
use millpond::record;
use millpond::simulate::baseline::FixedInterval;
use millpond::simulate::course;
use millpond::simulate::plant::Plant;
use millpond::simulate::rule::{Flashed, Rule};
use millpond::simulate::run::{Course, Outcome, run};
use millpond::simulate::timeline::{Event, Moment, Watch};
use millpond::simulate::unit::Part;
use millpond::thresholds::Thresholds;
use millpond::units::*;
use millpond_policy::Policy;
use millpond_tests::tool::{self, Tool};
use serde_json::json;

const SCRIPT: &str = include_str!("voltage.py");
/// What the circuit simulator's voltage may differ by (V): its relative error of 1e-6 a step, and lines between its points.
const CIRCUIT_TOLERANCE_V: f64 = 2e-3;
const HOURS: f64 = 2.0;
/// Own runs that a time is taken over.
const REPEATS: u32 = 20;
/// What the ODE solver's voltage may differ by (V): what a step of several branches may be off by, which is met ten times better.
const TOLERANCE_V: f64 = 5e-5;
const DAYS: f64 = 2.0;
/// A node so named has a first capacitor whose capacitance rises with voltage: this part of it is gone at 0 V, more than of any
/// measured cell.
const RISING: &str = "rising ";
/// A node so named has a third kind of capacitor: ten times its last one's capacitance behind a hundred times its resistance.
const THREE: &str = "three ";
const GONE: f64 = 0.4;
/// How far below the overvoltage limit a run starts (V).
const BELOW_FULL_V: f64 = 0.15;
/// Each node with the income (W) of four half hours that repeat: it never fills the storage.
const CASES: [(&str, [f64; 4]); 6] = [
    ("crack-gauge", [100e-6, 20e-6, 60e-6, 0.0]),
    ("rising crack-gauge", [100e-6, 20e-6, 60e-6, 0.0]),
    ("rising pump-bearing", [900e-6, 100e-6, 1.2e-3, 0.0]),
    ("display-case", [15e-6, 0.0, 6e-6, 30e-6]),
    ("pump-bearing", [900e-6, 100e-6, 1.2e-3, 0.0]),
    ("three pump-bearing", [900e-6, 100e-6, 1.2e-3, 0.0]),
];
/// The same with an income of more than the converter's largest current, which fills the storage.
const BRIGHT: [(&str, [f64; 4]); 3] = [
    ("crack-gauge", [30e-3, 0.0, 20e-3, 1e-3]),
    ("display-case", [10e-3, 0.0, 6e-3, 100e-6]),
    ("pump-bearing", [15e-3, 0.0, 20e-3, 1e-3]),
];
/// A node with a gate in the dark and in the light, under a rule that asks no threshold: it is cut, and connected again.
const GATED: (&str, [f64; 4]) = ("crack-gauge", [0.0, 12e-3, 0.0, 12e-3]);
/// Time between two reports of that rule (s): it empties the storage from 4 V to the cut-off in a quarter of an hour.
const RECKLESS_S: u32 = 5;
/// What the terminal may stand below the overvoltage limit (V) and still be held: rounding of printed voltages.
const HELD_V: f64 = 1e-6;

fn main() {
    let arguments = Arguments::from_args();
    let python = Tool::find(
        &["python3", "/usr/bin/python3"],
        &["-c", "import scipy.integrate"],
    );
    let ngspice = Tool::find(&["ngspice"], &["--version"]);
    // The one that takes longest starts first.
    let mut trials = vec![tool::trial(
        format!("{} ngspice, gate", GATED.0),
        ngspice.as_ref(),
        "ngspice (Debian package ngspice)",
        gate,
    )];
    for (name, steps_w) in CASES {
        let trial = format!("{name} scipy");
        trials.push(tool::trial(
            trial,
            python.as_ref(),
            "a python3 with SciPy",
            move |python| {
                let run = Drained::of(name, steps_w, DAYS)?;
                let (seen_v, lowest_v) = run.solved(python)?;
                run.compare(&seen_v, TOLERANCE_V)?;
                run.compare_lowest(&lowest_v)
            },
        ));
        let trial = format!("{name} ngspice");
        trials.push(tool::trial(
            trial,
            ngspice.as_ref(),
            "ngspice (Debian package ngspice)",
            move |ngspice| {
                let run = Drained::of(name, steps_w, HOURS / 24.0)?;
                run.compare(&circuit::voltages(ngspice, &run)?, CIRCUIT_TOLERANCE_V)
            },
        ));
    }
    for (name, steps_w) in BRIGHT {
        let trial = format!("{name} ngspice, full");
        trials.push(tool::trial(
            trial,
            ngspice.as_ref(),
            "ngspice (Debian package ngspice)",
            move |ngspice| full(ngspice, name, steps_w),
        ));
    }
    if let (Some(python), Some(ngspice)) = (python, ngspice) {
        // Prints, and judges nothing: `-- --ignored --nocapture`.
        trials.push(
            Trial::test("speed of the same two hours", move || speed(&python, &ngspice))
                .with_ignored_flag(true),
        );
    }
    libtest_mimic::run(&arguments, trials).exit();
}

/// A run that reaches the overvoltage limit, is held there, and leaves it.
fn full(ngspice: &Tool, name: &'static str, steps_w: [f64; 4]) -> Result<(), Failed> {
    let world = World::of(name, steps_w, HOURS / 24.0)?;
    let (run, outcome) = Drained::under(&mut Flashed::new(world.policy), name, &world);
    let held = run
        .simulated_v
        .iter()
        .filter(|v| **v >= run.overvoltage_v - HELD_V)
        .count();
    if outcome.brownouts > 0 || held == 0 || held == run.simulated_v.len() {
        return Err(format!("held at {held} of {} looks", run.simulated_v.len()).into());
    }
    run.compare(&circuit::voltages(ngspice, &run)?, CIRCUIT_TOLERANCE_V)
}

/// A run that the gate ends and begins again.
fn gate(ngspice: &Tool) -> Result<(), Failed> {
    let (name, steps_w) = GATED;
    let world = World::of(name, steps_w, HOURS / 24.0)?;
    let mut rule = FixedInterval::new(RECKLESS_S, 1, 0);
    let (run, outcome) = Drained::under(&mut rule, name, &world);
    if outcome.brownouts == 0 || outcome.starts < 2 {
        return Err(format!("{} cuts, {} starts", outcome.brownouts, outcome.starts).into());
    }
    run.compare(&circuit::voltages(ngspice, &run)?, CIRCUIT_TOLERANCE_V)
}

/// How long each takes for the same two hours, as ratios in one run.
fn speed(python: &Tool, ngspice: &Tool) -> Result<(), Failed> {
    for (name, steps_w) in CASES {
        let started = Instant::now();
        let mut last = Err("no run".into());
        for _ in 0..REPEATS {
            last = Drained::of(name, steps_w, HOURS / 24.0);
        }
        let own_s = started.elapsed().as_secs_f64() / f64::from(REPEATS);
        let run: Drained = last?;
        let started = Instant::now();
        circuit::voltages(ngspice, &run)?;
        let ngspice_s = started.elapsed().as_secs_f64();
        let started = Instant::now();
        run.solved(python)?;
        let scipy_s = started.elapsed().as_secs_f64();
        println!(
            "{name}: {:.3} ms with reading and sizing the node; ngspice takes {:.0} times that, SciPy {:.0} times, start included",
            own_s * 1e3,
            ngspice_s / own_s,
            scipy_s / own_s
        );
    }
    Ok(())
}

/// What a run drew from its storage, and the voltages it saw.
struct Drained {
    name: &'static str,
    bank: Bank,
    harvest: Harvest,
    /// Capacitance at 0 V (F), its rise (F/V), resistance (ohm).
    branches: Vec<[f64; 3]>,
    leakage_s: f64,
    start_v: f64,
    overvoltage_v: f64,
    /// The converter's largest current.
    maximum_a: f64,
    /// Duration (s), load at constant power (W) and constant current (A), harvest (W).
    pieces: Vec<[f64; 4]>,
    /// Pieces at whose end the voltage is looked at.
    looks: Vec<usize>,
    simulated_v: Vec<f64>,
}

/// A node and what happens around it.
struct World {
    node: Node,
    policy: Policy,
    income: Income,
    course: Course,
}

impl World {
    /// An example, nearly full, so that it reports often, under steps of income.
    fn of(name: &str, steps_w: [f64; 4], days: f64) -> Result<Self, Failed> {
        let example = [RISING, THREE]
            .iter()
            .find_map(|prefix| name.strip_prefix(prefix));
        let example = example.unwrap_or(name);
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("../templates/nodes/{example}.toml"));
        let mut node = NodeFile::load(path)?.node;
        if name.starts_with(THREE) {
            let mut third = node.storage.last().ok_or("no storage")?.clone();
            third.capacitance *= 10.0;
            third.esr *= 100.0;
            node.storage.push(third);
        }
        if name.starts_with(RISING) {
            let part = &mut node.storage[0];
            part.capacitance_slope = part.capacitance * GONE / part.rated_voltage;
        }
        let rows: String = steps_w
            .iter()
            .enumerate()
            .map(|(index, w)| format!("{},{w}\n", index * 1800))
            .collect();
        let income = record::parse(
            "steps.csv",
            &format!("time_s,power_w\n{rows}"),
            &node.harvest.source,
        )
        .map_err(|problems| problems.to_string())?;
        let policy = policy(&node, &Thresholds::of(&node)).map_err(|rejected| rejected.text())?;
        let course = Course {
            start: node.harvest.overvoltage - volts(BELOW_FULL_V),
            ..course(&node, days)
        };
        Ok(Self {
            node,
            policy,
            income,
            course,
        })
    }
}

/// Every event of a run.
#[derive(Default)]
struct Moments(Vec<Moment>);

impl Watch for Moments {
    fn see(&mut self, moment: &Moment) {
        self.0.push(*moment);
    }
}

impl Drained {
    /// Runs the nominal unit of an example under its policy, on an income that must not fill it.
    fn of(name: &'static str, steps_w: [f64; 4], days: f64) -> Result<Self, Failed> {
        let world = World::of(name, steps_w, days)?;
        let (run, outcome) = Self::under(&mut Flashed::new(world.policy), name, &world);
        if outcome.brownouts > 0 {
            return Err("the run must stay up".into());
        }
        let least = (days * 24.0) as usize / 2;
        if run.simulated_v.len() <= least || run.simulated_v.iter().any(|v| *v >= run.overvoltage_v) {
            return Err(format!(
                "{} voltages, one of them perhaps at the limit",
                run.simulated_v.len()
            )
            .into());
        }
        Ok(run)
    }

    /// Runs the nominal unit under a rule.
    fn under(rule: &mut impl Rule, name: &'static str, world: &World) -> (Self, Outcome) {
        let World {
            node, income, course, ..
        } = world;
        let part = Part::nominal(node);
        let mut moments = Moments::default();
        let outcome = run(&part, income, rule, course, &mut moments);

        let (mut pieces, mut looks, mut simulated_v) = (Vec::new(), Vec::new(), Vec::new());
        for pair in moments.0.windows(2) {
            let [from, to] = pair else { continue };
            let gap = seconds(to.time_s - from.time_s);
            let asleep = Stretch {
                duration: gap,
                ..part.asleep
            };
            let nothing = Drain {
                power: watts(0.0),
                current: amperes(0.0),
            };
            let cut = Stretch {
                drain: nothing,
                peak: nothing,
                duration: gap,
            };
            let stretches: &[Stretch] = match from.event {
                Event::Start => &part.boot,
                Event::Measure => &part.measure,
                Event::Transmit => &part.transmit,
                Event::Wait => &[asleep],
                Event::Cut => &[cut],
            };
            split(node, income, from.time_s, &first(stretches, gap), &mut pieces);
            // Right after an action a small branch is still on its way; after a sleep all are at rest.
            if matches!(from.event, Event::Wait | Event::Cut) && to.event != Event::Cut {
                looks.push(pieces.len() - 1);
                simulated_v.push(to.storage_v);
            }
        }
        let branches = part.bank.branches.iter();
        let run = Self {
            name,
            bank: part.bank.clone(),
            harvest: node.harvest.clone(),
            branches: branches
                .map(|branch| {
                    [
                        branch.capacitance.value,
                        branch.slope.value,
                        branch.resistance.value,
                    ]
                })
                .collect(),
            leakage_s: part.bank.leakage.value,
            start_v: course.start.value,
            overvoltage_v: node.harvest.overvoltage.value,
            maximum_a: node.harvest.maximum_current.value,
            pieces,
            looks,
            simulated_v,
        };
        (run, outcome)
    }

    /// When the voltage is looked at (s): just before the drain changes.
    fn look_times_s(&self) -> impl Iterator<Item = f64> {
        let ends_s: Vec<f64> = self
            .pieces
            .iter()
            .scan(0.0, |now_s, [duration_s, ..]| {
                *now_s += duration_s;
                Some(*now_s)
            })
            .collect();
        self.looks.clone().into_iter().map(move |look| ends_s[look])
    }

    /// At each look the voltage, and of each piece the lowest, by SciPy.
    fn solved(&self, python: &Tool) -> Result<(Vec<f64>, Vec<f64>), Failed> {
        let answer = python.ask(
            SCRIPT,
            &json!({
                "branches": self.branches,
                "leakage_s": self.leakage_s,
                "start_v": self.start_v,
                "pieces": self.pieces,
                "looks": self.looks,
            }),
        )?;
        Ok(serde_json::from_slice(&answer)?)
    }

    /// The lowest terminal voltage of every piece, actions included: at its start, when the load has just changed, or at its end.
    fn compare_lowest(&self, witnessed_v: &[f64]) -> Result<(), Failed> {
        let mut plant = Plant::new(&self.bank, &self.harvest, volts(self.start_v));
        let efficiency = self.harvest.converter_efficiency.value;
        for ((index, piece), want_v) in self.pieces.iter().enumerate().zip(witnessed_v) {
            let [duration_s, power_w, current_a, harvest_w] = *piece;
            let drain = Drain {
                power: watts(power_w),
                current: amperes(current_a),
            };
            plant.offer(harvest_w / efficiency);
            let first_v = plant.terminal_v(&drain).ok_or("collapsed")?;
            plant.advance(&drain, duration_s, f64::NEG_INFINITY, f64::INFINITY);
            let got_v = plant.terminal_v(&drain).ok_or("collapsed")?.min(first_v);
            let apart_v = (got_v - want_v).abs();
            if apart_v > TOLERANCE_V {
                return Err(format!("{}, piece {index}: want {want_v} V, got {got_v} V", self.name).into());
            }
        }
        if witnessed_v.len() == self.pieces.len() {
            Ok(())
        } else {
            Err(format!("{} of {} pieces", witnessed_v.len(), self.pieces.len()).into())
        }
    }

    fn compare(&self, witnessed_v: &[f64], tolerance_v: f64) -> Result<(), Failed> {
        let apart = witnessed_v
            .iter()
            .zip(&self.simulated_v)
            .map(|(want, got)| (want - got).abs());
        let worst_v = apart.fold(0.0, f64::max);
        if witnessed_v.len() == self.simulated_v.len() && worst_v <= tolerance_v {
            Ok(())
        } else {
            Err(format!("{}: {worst_v} V apart, tolerance {tolerance_v}", self.name).into())
        }
    }
}

/// The part of `stretches` that lies in the first `duration`: an action may be cut.
fn first(stretches: &[Stretch], duration: Time) -> Vec<Stretch> {
    let mut left = duration;
    let mut taken = Vec::new();
    for stretch in stretches {
        let duration = stretch.duration.min(left);
        left -= duration;
        taken.push(Stretch { duration, ..*stretch });
    }
    taken
}

/// Adds the stretches from `start_s` on as pieces of constant load and harvest.
fn split(node: &Node, income: &Income, start_s: f64, stretches: &[Stretch], pieces: &mut Vec<[f64; 4]>) {
    let mut now_s = start_s;
    let mut segments = income.segments().skip_while(|segment| segment.until_s <= start_s);
    let mut segment = segments.next();
    for stretch in stretches {
        let end_s = now_s + stretch.duration.value;
        while let Some(current) = segment {
            let until_s = current.until_s.min(end_s);
            let harvest_w = current.power.value * node.harvest.converter_efficiency.value;
            pieces.push([
                until_s - now_s,
                stretch.drain.power.value,
                stretch.drain.current.value,
                harvest_w,
            ]);
            now_s = until_s;
            if current.until_s > end_s {
                break;
            }
            segment = segments.next();
        }
        now_s = end_s;
    }
}
