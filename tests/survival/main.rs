//! Witness: a circuit simulator. How long each example node lives in the dark, asleep and reporting, and how long it takes to come
//! back in steady light: the same bank, drains and converter as a circuit, branch by branch, and the time at which the terminal
//! crosses the end.
//!
//! Run with `cargo test -p millpond-tests --test survival`.

use std::fmt::Write as _;
use std::process::Stdio;

use libtest_mimic::{Arguments, Failed};
use millpond::income::light::Light;
use millpond::model::bank::{Bank, Wear};
use millpond::model::drain::Drain;
use millpond::model::load::Load;
use millpond::model::time_in_the_dark::time_in_the_dark;
use millpond::node::{Node, NodeFile};
use millpond::survival::{At, Corner, Doing, Recharge, Survival};
use millpond::thresholds::Thresholds;
use millpond::units::*;
use millpond_tests::tool::{self, Tool};

const EXAMPLES: [&str; 3] = ["crack-gauge", "display-case", "pump-bearing"];
/// A node of three kinds of capacitor, of which one carries a pulse that all as one could not.
const SEVERAL: &str = include_str!("stream-gauge.toml");
/// What the times may differ by: the promise of docs/validation.md.
const AGREED: f64 = 0.01;
/// The simulator looks at least so often.
const LOOKS: f64 = 2000.0;
/// It runs for this much longer than the time that is expected.
const LONGER: f64 = 1.1;
/// A change of drain takes this long (s).
const RAMP_S: f64 = 1e-6;
/// Below this terminal voltage (V) constant power is drawn as constant current: an empty capacitor takes no power.
const CLAMP_V: f64 = 1e-3;

fn main() {
    let what = "ngspice (Debian package ngspice)";
    let ngspice = Tool::find(&["ngspice"], &["--version"]);
    tool::announce(ngspice.as_ref(), what);
    let mut trials = Vec::new();
    for name in EXAMPLES {
        for (kind, check) in [
            ("asleep", asleep as fn(&Tool, &Node) -> Result<(), Failed>),
            ("charging", charging),
        ] {
            trials.push(tool::trial(
                format!("{name} {kind}"),
                ngspice.as_ref(),
                what,
                move |ngspice| check(ngspice, &node(name)?),
            ));
        }
    }
    trials.push(tool::trial(
        "crack-gauge reporting".to_owned(),
        ngspice.as_ref(),
        what,
        |ngspice| reporting(ngspice, &node("crack-gauge")?),
    ));
    for (kind, check) in [
        ("asleep", asleep as fn(&Tool, &Node) -> Result<(), Failed>),
        ("charging", charging),
        ("reporting", reporting),
    ] {
        trials.push(tool::trial(
            format!("stream-gauge {kind}"),
            ngspice.as_ref(),
            what,
            move |ngspice| check(ngspice, &NodeFile::parse("stream-gauge", SEVERAL, "")?.node),
        ));
    }
    libtest_mimic::run(&Arguments::from_args(), trials).exit();
}

fn node(name: &str) -> Result<Node, Failed> {
    let path = format!("{}/../templates/nodes/{name}.toml", env!("CARGO_MANIFEST_DIR"));
    Ok(NodeFile::load(path)?.node)
}

/// From full down to the floor, in the worst corner.
fn asleep(ngspice: &Tool, node: &Node) -> Result<(), Failed> {
    let thresholds = Thresholds::of(node);
    let survival = Survival::of(node, &thresholds, Corner::Worst);
    let drain = Load::node_asleep(node, node.sleep_current, seconds(1.0), node.margins.load).drain;
    let said_s = survival.rows[0]
        .from_full
        .alive
        .expect("it draws")
        .get::<second>();
    // At the end of the temperature range that is worse for the time: the circuit itself is asked how long.
    let ends = Wear::at_ends(node);
    let banks = ends.iter().map(|end| Bank::of_node(node, *end));
    let lasts = |bank: &Bank| time_in_the_dark(bank, &drain, survival.full, survival.floor);
    let worse = banks.min_by(|one, other| lasts(one).partial_cmp(&lasts(other)).expect("times"));
    let mut circuit = Circuit::of(&worse.expect("an end"), survival.full.get::<volt>());
    circuit.draw(&[(said_s * LONGER, drain)]);
    let seen_s = circuit.crossing_s(ngspice, said_s * LONGER, "FALL", survival.floor.get::<volt>())?;
    agree(said_s, seen_s)
}

/// Reports once a minute, from full down to the transmit threshold, in the worst corner: each phase a pulse.
fn reporting(ngspice: &Tool, node: &Node) -> Result<(), Failed> {
    let thresholds = Thresholds::of(node);
    let survival = Survival::of(node, &thresholds, Corner::Worst);
    let regulator = &node.supply.regulator;
    let load = |action| Load::of(regulator, action, node.radio.as_ref(), node.margins.load).stretches;
    let asleep = Load::node_asleep(node, node.sleep_current, seconds(1.0), node.margins.load).drain;
    let row = survival.row(Doing::Reporting(At::Fastest)).ok_or("no row")?;
    let said_s = row.from_full.acting.get::<second>();
    let period_s = node.policy.fastest.get::<second>();
    let stretches: Vec<_> = load(&node.measure)
        .into_iter()
        .chain(load(&node.transmit))
        .collect();
    let busy_s: f64 = stretches
        .iter()
        .map(|stretch| stretch.duration.get::<second>())
        .sum();
    let end_s = said_s * LONGER;
    let mut drains = Vec::new();
    for _ in 0..(end_s / period_s).ceil() as u32 {
        drains.extend(
            stretches
                .iter()
                .map(|stretch| (stretch.duration.get::<second>(), stretch.drain)),
        );
        drains.push((period_s - busy_s, asleep));
    }
    let mut circuit = Circuit::of(&thresholds.corner, survival.full.get::<volt>());
    circuit.draw(&drains);
    // Behind the largest resistance, which pulses shake least: the crossing is that of the charge.
    let decide_v = f64::from(thresholds.transmit.decide_mv) / 1e3;
    circuit.look_at = "n0";
    let seen_s = circuit.crossing_s(ngspice, end_s, "FALL", decide_v)?;
    agree(said_s, seen_s)
}

/// From the floor to full, asleep in the source's typical light, a typical unit.
fn charging(ngspice: &Tool, node: &Node) -> Result<(), Failed> {
    let thresholds = Thresholds::of(node);
    let light = Light::typical(&node.harvest.source).ok_or("no light")?;
    let recharge = Recharge::of(node, &thresholds, light).ok_or("not its light")?;
    let said_s = recharge.full.ok_or("it does not fill")?.get::<second>();
    let floor = Survival::of(node, &thresholds, Corner::Typical).floor;
    let drain = Load::node_asleep(node, node.sleep_current, seconds(1.0), fraction(0.0)).drain;
    let mut circuit = Circuit::of(&Bank::of_node(node, Wear::NONE), floor.get::<volt>());
    circuit.draw(&[(said_s * LONGER, drain)]);
    let given: Power = recharge.offered * node.harvest.converter_efficiency;
    circuit.charge(given.get::<watt>(), node.harvest.maximum_current.get::<ampere>());
    let seen_s = circuit.crossing_s(
        ngspice,
        said_s * LONGER,
        "RISE",
        node.harvest.overvoltage.get::<volt>(),
    )?;
    agree(said_s, seen_s)
}

fn agree(said_s: f64, seen_s: f64) -> Result<(), Failed> {
    if (said_s / seen_s - 1.0).abs() < AGREED {
        return Ok(());
    }
    Err(format!("millpond says {said_s} s, the circuit simulator sees {seen_s} s").into())
}

/// A bank whose every branch is a capacitor behind its resistor, at one terminal.
struct Circuit {
    text: String,
    /// The node whose voltage is looked at.
    look_at: &'static str,
}

impl Circuit {
    /// The bank at rest at `start_v`, with its leakage.
    fn of(bank: &Bank, start_v: f64) -> Self {
        let mut text = format!("* a bank from {start_v} V\n.ic v(out)={start_v:e}\n");
        for (k, branch) in bank.branches.iter().enumerate() {
            let (capacitance_f, resistance_ohm) =
                (branch.capacitance.get::<farad>(), branch.resistance.get::<ohm>());
            let _ = writeln!(
                text,
                "C{k} n{k} 0 {capacitance_f:e}\n.ic v(n{k})={start_v:e}\nR{k} n{k} out {resistance_ohm:e}"
            );
        }
        let _ = writeln!(text, "Gleak out 0 out 0 {:e}", bank.leakage.get::<siemens>());
        Self { text, look_at: "out" }
    }

    /// What is drawn at the terminal, one drain after the other.
    fn draw(&mut self, drains: &[(f64, Drain)]) {
        let (mut power, mut current) = (String::new(), String::new());
        let mut now_s = 0.0;
        for (duration_s, drain) in drains {
            let from_s = if now_s > 0.0 { now_s + RAMP_S } else { 0.0 };
            now_s += duration_s;
            let (watts, amperes) = (drain.power.get::<watt>(), drain.current.get::<ampere>());
            let _ = write!(power, "\n+ {from_s:.12e} {watts:e} {now_s:.12e} {watts:e}");
            let _ = write!(current, "\n+ {from_s:.12e} {amperes:e} {now_s:.12e} {amperes:e}");
        }
        let _ = writeln!(
            self.text,
            "Vp p 0 PWL({power})\nVi i 0 PWL({current})\nBload out 0 I=V(p)/max(V(out), {CLAMP_V}) + V(i)"
        );
    }

    /// A converter that gives its power, at most its largest current.
    fn charge(&mut self, power_w: f64, most_a: f64) {
        let _ = writeln!(
            self.text,
            "Bconverter 0 out I=min({power_w:e}/max(V(out), {CLAMP_V}), {most_a:e})"
        );
    }

    /// When the voltage that is looked at crosses `level_v`.
    fn crossing_s(&self, ngspice: &Tool, end_s: f64, direction: &str, level_v: f64) -> Result<f64, Failed> {
        let step_s = end_s / LOOKS;
        let text = format!(
            "{}.options reltol=1e-6 vntol=1e-8 abstol=1e-12 method=gear\n.control\nset numdgt=12\ntran {step_s:e} {end_s:e} 0 {step_s:e} uic\n\
             meas tran crossed WHEN v({})={level_v:e} {direction}=1\nquit 0\n.endc\n.end\n",
            self.text, self.look_at
        );
        let folder = tempfile::tempdir()?;
        let file = folder.path().join("bank.cir");
        std::fs::write(&file, &text)?;
        let output = ngspice
            .command()
            .arg("-b")
            .arg(&file)
            .stderr(Stdio::piped())
            .output()?;
        let printed = String::from_utf8_lossy(&output.stdout);
        printed
            .lines()
            .find_map(|line| {
                line.strip_prefix("crossed")?
                    .split('=')
                    .nth(1)?
                    .split_whitespace()
                    .next()?
                    .parse()
                    .ok()
            })
            .ok_or_else(|| {
                format!(
                    "no crossing:\n{printed}\n{}",
                    String::from_utf8_lossy(&output.stderr)
                )
                .into()
            })
    }
}
