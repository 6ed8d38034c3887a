//! Witnesses: SciPy's `solve_ivp` over two days and ngspice over two hours. The storage voltage of each example node under a
//! stepped income and the drains that the simulation chose, every branch by itself.
//!
//! Run with `cargo test -p millpond-tests --test simulation`.

mod circuit;

use std::path::Path;
use std::time::Instant;

use libtest_mimic::{Arguments, Failed, Trial};
use millpond::income::Income;
use millpond::model::discharge::Stretch;
use millpond::node::{Node, NodeFile};
use millpond::policy::policy;
use millpond::simulate::part::Part;
use millpond::simulate::plan;
use millpond::simulate::rule::Flashed;
use millpond::simulate::run::{Plan, run};
use millpond::simulate::timeline::{Event, Moment, Watch};
use millpond::thresholds::Thresholds;
use millpond::units::*;
use millpond_tests::tool::{self, Tool};
use serde_json::json;

const SCRIPT: &str = include_str!("voltage.py");
/// What the circuit simulator's voltage may differ by (V): its relative error of 1e-6 a step, and lines between its points.
const CIRCUIT_TOLERANCE_V: f64 = 2e-3;
const HOURS: f64 = 2.0;
/// Own runs that a time is taken over.
const REPEATS: u32 = 20;
/// What the ODE solver's voltage may differ by (V): a tenth of the step of an emitted threshold. The simulation takes branches together.
const TOLERANCE_V: f64 = 1e-4;
const DAYS: f64 = 2.0;
/// How far below the overvoltage limit a run starts (V).
const BELOW_FULL_V: f64 = 0.15;
/// Each node with the income (W) of four half hours that repeat: it never fills the storage.
const CASES: [(&str, [f64; 4]); 3] = [
    ("crack-gauge", [100e-6, 20e-6, 60e-6, 0.0]),
    ("display-case", [15e-6, 0.0, 6e-6, 30e-6]),
    ("pump-bearing", [900e-6, 100e-6, 1.2e-3, 0.0]),
];

fn main() {
    let arguments = Arguments::from_args();
    let python = Tool::find(
        &["python3", "/usr/bin/python3"],
        &["-c", "import scipy.integrate"],
    );
    let ngspice = Tool::find(&["ngspice"], &["--version"]);
    let mut trials = Vec::new();
    for (name, steps_w) in CASES {
        let trial = format!("{name} scipy");
        trials.push(tool::trial(
            trial,
            python.as_ref(),
            "a python3 with SciPy",
            move |python| {
                let run = Drained::of(name, steps_w, DAYS)?;
                run.compare(&run.solved(python)?, TOLERANCE_V)
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
    if let (Some(python), Some(ngspice)) = (python, ngspice) {
        // Prints, and judges nothing: `-- --ignored --nocapture`.
        trials.push(
            Trial::test("speed of the same two hours", move || speed(&python, &ngspice))
                .with_ignored_flag(true),
        );
    }
    libtest_mimic::run(&arguments, trials).exit();
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
    /// Capacitance at 0 V (F), its rise (F/V), resistance (ohm).
    branches: Vec<[f64; 3]>,
    leakage_s: f64,
    start_v: f64,
    /// Duration (s), load at constant power (W) and constant current (A), harvest (W).
    pieces: Vec<[f64; 4]>,
    /// Pieces at whose end the voltage is looked at.
    looks: Vec<usize>,
    simulated_v: Vec<f64>,
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
    /// Runs the nominal unit of an example.
    fn of(name: &'static str, steps_w: [f64; 4], days: f64) -> Result<Self, Failed> {
        let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("../templates/nodes/{name}.toml"));
        let node = NodeFile::load(path)?.node;
        let rows: String = steps_w
            .iter()
            .enumerate()
            .map(|(index, w)| format!("{},{w}\n", index * 1800))
            .collect();
        let income = Income::parse(
            "steps.csv",
            &format!("time_s,power_w\n{rows}"),
            &node.harvest.source,
        )
        .map_err(|problems| problems.to_string())?;
        let policy = policy(&node, &Thresholds::of(&node)).map_err(|rejected| rejected.text())?;
        let part = Part::nominal(&node);
        // Nearly full, so that every node reports often.
        let plan = Plan {
            start: node.harvest.overvoltage - volts(BELOW_FULL_V),
            ..plan(&node, days)
        };
        let mut moments = Moments::default();
        let outcome = run(&part, &income, &mut Flashed::new(policy), &plan, &mut moments);
        if outcome.brownouts > 0 {
            return Err("the run must stay up".into());
        }

        let (mut pieces, mut looks, mut simulated_v) = (Vec::new(), Vec::new(), Vec::new());
        for pair in moments.0.windows(2) {
            let [from, to] = pair else { continue };
            let asleep = Stretch {
                duration: seconds(to.time_s - from.time_s),
                ..part.asleep
            };
            let stretches: &[Stretch] = match from.event {
                Event::Start => &part.boot,
                Event::Measure => &part.measure,
                Event::Transmit => &part.transmit,
                Event::Wait | Event::Cut => &[asleep],
            };
            split(&node, &income, from.time_s, stretches, &mut pieces);
            // Right after an action a small branch is still on its way; after a sleep all are at rest.
            if from.event == Event::Wait {
                looks.push(pieces.len() - 1);
                simulated_v.push(to.storage_v);
            }
        }
        let least = (days * 24.0) as usize / 2;
        if simulated_v.len() <= least || simulated_v.iter().any(|v| *v >= node.harvest.overvoltage.value) {
            return Err(format!("{} voltages, one of them perhaps at the limit", simulated_v.len()).into());
        }
        let branches = part.bank.branches.iter();
        Ok(Self {
            name,
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
            start_v: plan.start.value,
            pieces,
            looks,
            simulated_v,
        })
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

    /// The voltages by SciPy.
    fn solved(&self, python: &Tool) -> Result<Vec<f64>, Failed> {
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
