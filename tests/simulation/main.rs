//! Witness: SciPy's `solve_ivp`. The storage voltage of each example node over two days of stepped income, under the drains that
//! the simulation chose, with every branch integrated by itself.
//!
//! Run with `cargo test -p millpond-tests --test simulation`.

use std::path::Path;

use libtest_mimic::{Arguments, Failed};
use millpond::income::Income;
use millpond::model::discharge::Stretch;
use millpond::node::{Node, NodeFile};
use millpond::policy::policy;
use millpond::simulate::part::Part;
use millpond::simulate::plan;
use millpond::simulate::rule::Flashed;
use millpond::simulate::run::run;
use millpond::simulate::timeline::{Event, Moment, Watch};
use millpond::thresholds::Thresholds;
use millpond::units::*;
use millpond_tests::tool::{self, Tool};
use serde_json::json;

const SCRIPT: &str = include_str!("voltage.py");
/// What the voltage may differ by (V): a tenth of the step of an emitted threshold. The simulation takes branches together.
const TOLERANCE_V: f64 = 1e-4;
const DAYS: f64 = 2.0;
/// Each node with the income (W) of four half hours that repeat: it never fills the storage.
const CASES: [(&str, [f64; 4]); 3] = [
    ("crack-gauge", [100e-6, 20e-6, 60e-6, 0.0]),
    ("display-case", [15e-6, 0.0, 6e-6, 30e-6]),
    ("pump-bearing", [900e-6, 100e-6, 1.2e-3, 0.0]),
];
/// The least number of voltages that are looked at: one an hour and more.
const LEAST_LOOKS: usize = 48;

fn main() {
    let arguments = Arguments::from_args();
    let python = Tool::find(
        &["python3", "/usr/bin/python3"],
        &["-c", "import scipy.integrate"],
    );
    let what = "a python3 with SciPy";
    let trials = CASES.map(|(name, steps_w)| {
        tool::trial(name.to_owned(), python.as_ref(), what, move |python| {
            check(python, name, steps_w)
        })
    });
    libtest_mimic::run(&arguments, trials.into()).exit();
}

/// Every event of a run.
#[derive(Default)]
struct Moments(Vec<Moment>);

impl Watch for Moments {
    fn see(&mut self, moment: &Moment) {
        self.0.push(*moment);
    }
}

fn check(python: &Tool, name: &str, steps_w: [f64; 4]) -> Result<(), Failed> {
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
    let plan = plan(&node, DAYS);
    let mut moments = Moments::default();
    let outcome = run(&part, &income, &mut Flashed::new(policy), &plan, &mut moments);
    let moments = moments.0;
    if outcome.brownouts > 0 {
        return Err("the run must stay up".into());
    }

    let (mut pieces, mut looks, mut simulated_v) = (Vec::new(), Vec::new(), Vec::new());
    for pair in moments.windows(2) {
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
    if simulated_v.len() < LEAST_LOOKS || simulated_v.iter().any(|v| *v >= node.harvest.overvoltage.value) {
        return Err(format!("{} voltages, one of them perhaps at the limit", simulated_v.len()).into());
    }
    let branches: Vec<_> = part
        .bank
        .branches
        .iter()
        .map(|branch| {
            [
                branch.capacitance.value,
                branch.slope.value,
                branch.resistance.value,
            ]
        })
        .collect();
    let answer = python.ask(
        SCRIPT,
        &json!({
            "branches": branches,
            "leakage_s": part.bank.leakage.value,
            "start_v": plan.start.value,
            "pieces": pieces,
            "looks": looks,
        }),
    )?;
    let witnessed_v: Vec<f64> = serde_json::from_slice(&answer)?;
    let worst_v = witnessed_v
        .iter()
        .zip(&simulated_v)
        .map(|(want, got)| (want - got).abs())
        .fold(0.0, f64::max);
    if witnessed_v.len() == simulated_v.len() && worst_v <= TOLERANCE_V {
        Ok(())
    } else {
        Err(format!("{name}: {worst_v} V apart, tolerance {TOLERANCE_V}").into())
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
