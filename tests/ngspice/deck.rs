//! One action as a circuit: every branch a capacitor behind its resistor, all of them at one terminal, where a
//! behavioural current source draws what the supply draws.
//!
//! A second terminal, at copies of the same capacitors' voltages, carries the peak drains: what the terminal must
//! withstand without being emptied by it. The simulator finds the terminal's voltage by its own iteration; no formula of
//! millpond's is in the deck.

use std::fmt::Write as _;
use std::process::Stdio;

use libtest_mimic::Failed;
use millpond::model::discharge::Stretch;
use millpond::model::drain::Drain;
use millpond::units::*;
use millpond_tests::case::{Case, Seen};
use millpond_tests::tool::Tool;

/// A change of load takes this part of the shortest stretch, half before and half after its time: the charge is
/// that of the step. The lowest point is missed by half of it, 0.005 % of what the terminal falls in that stretch.
const RAMP: f64 = 1e-4;
/// The simulator takes at least this many steps.
const STEPS: f64 = 500.0;
/// A capacitor stands at the terminal itself, as in any circuit, with a time constant of this part of the shortest
/// stretch: a collapse takes a time, and the simulator can follow it. The terminal then stands at the upper operating
/// point because the lower one is not stable. Near the power limit the time constant grows, up to some hundredfold.
const STRAY: f64 = 1e-5;
/// That capacitor has at most this part of the smallest branch's capacitance: a few microvolts of what it carries.
const LARGEST_STRAY: f64 = 1e-5;
/// Below this part of the edge a constant power is drawn as a constant current, so that a collapsed terminal has a value.
const CLAMP: f64 = 0.5;

/// The last time of a complete run differs from the action's end by at most this part: rounding of printed times.
const END: f64 = 1e-9;

/// A deck for the simulator, and the terminal voltage below which the action has failed.
pub(crate) struct Deck {
    text: String,
    clamp_v: f64,
    end_s: f64,
}

impl Deck {
    /// The circuit of `case`, at rest at `start_v` before the first stretch.
    pub(crate) fn of(case: &Case, start_v: f64) -> Self {
        let clamp_v = case.edge_v() * CLAMP;
        let mut text = format!("* {} from {start_v} V\n", case.name);
        let mut line = |line: String| writeln!(text, "{line}").expect("text grows");
        let leakage_s = case.bank.leakage.get::<siemens>();
        for (k, branch) in case.bank.branches.iter().enumerate() {
            let (empty_f, slope) = (branch.capacitance.get::<farad>(), branch.slope.value);
            if slope > 0.0 {
                // Its voltage is that of a capacitor of 1 F into which its current goes, divided by C(u).
                line(format!("C{k} u{k} 0 1"));
                line(format!(".ic v(u{k})={start_v:e}"));
                line(format!("Eu{k} n{k} 0 u{k} 0 1"));
                line(format!(
                    "Bu{k} u{k} 0 I=-I(Eu{k})/({empty_f:e} + {slope:e}*V(u{k}))"
                ));
            } else {
                line(format!("C{k} n{k} 0 {empty_f:e}"));
                line(format!(".ic v(n{k})={start_v:e}"));
            }
            let resistance_ohm = branch.resistance.get::<ohm>();
            line(format!("R{k} n{k} out {resistance_ohm:e}"));
            line(format!("E{k} m{k} 0 n{k} 0 1"));
            line(format!("Rdip{k} m{k} dip {resistance_ohm:e}"));
        }
        let conductance = case
            .bank
            .branches
            .iter()
            .map(|branch| branch.resistance.recip())
            .sum::<Conductance>();
        let stray: Capacitance = conductance * seconds(STRAY * shortest_s(&case.stretches));
        let smallest = case
            .bank
            .branches
            .iter()
            .map(|branch| branch.capacitance)
            .reduce(Capacitance::min);
        let stray_f = smallest
            .map_or(stray, |smallest| stray.min(smallest * LARGEST_STRAY))
            .get::<farad>();
        for (terminal, drain) in [
            ("out", (|s| s.drain) as fn(&Stretch) -> Drain),
            ("dip", |s| s.peak),
        ] {
            let power = waveform(&case.stretches, |stretch| drain(stretch).power.get::<watt>());
            let current = waveform(&case.stretches, |stretch| drain(stretch).current.get::<ampere>());
            line(format!(".ic v({terminal})={start_v:e}"));
            line(format!("G{terminal} {terminal} 0 {terminal} 0 {leakage_s:e}"));
            line(format!("C{terminal} {terminal} 0 {stray_f:e}"));
            line(format!("Vp{terminal} p{terminal} 0 PWL({power})"));
            line(format!("Vi{terminal} i{terminal} 0 PWL({current})"));
            line(format!(
                "B{terminal} {terminal} 0 I=V(p{terminal})/max(V({terminal}), {clamp_v:e}) + V(i{terminal})"
            ));
        }
        let end_s = case
            .stretches
            .iter()
            .map(|stretch| stretch.duration.get::<second>())
            .sum::<f64>();
        let step_s = end_s / STEPS;
        line(".options reltol=1e-7 vntol=1e-8 abstol=1e-9 trtol=1 method=gear".to_owned());
        line(format!(
            ".control\nset numdgt=12\ntran {step_s:e} {end_s:e} 0 {step_s:e}\nlet lowest_out = vecmin(v(out))\n\
             let lowest_dip = vecmin(v(dip))\nlet reached = time[length(time)-1]\nprint lowest_out lowest_dip reached\nquit 0\n.endc\n.end"
        ));
        Self { text, clamp_v, end_s }
    }

    /// Lets the simulator run it.
    pub(crate) fn run(&self, ngspice: &Tool) -> Result<Seen, Failed> {
        let folder = tempfile::tempdir()?;
        let file = folder.path().join("deck.cir");
        std::fs::write(&file, &self.text)?;
        let output = ngspice
            .command()
            .arg("-b")
            .arg(&file)
            .stderr(Stdio::piped())
            .output()?;
        let printed = String::from_utf8_lossy(&output.stdout);
        let [out_v, dip_v, reached_s] =
            ["lowest_out", "lowest_dip", "reached"].map(|name| value(&printed, name).unwrap_or(f64::NAN));
        // An aborted run reports success and the lowest point so far.
        if (reached_s - self.end_s).abs() > END * self.end_s || !(out_v + dip_v + reached_s).is_finite() {
            let complaint = String::from_utf8_lossy(&output.stderr);
            return Err(format!("no answer to this deck:\n{}\n{printed}\n{complaint}", self.text).into());
        }
        let lowest_v = out_v.min(dip_v);
        Ok(if lowest_v <= self.clamp_v {
            Seen::Collapsed
        } else {
            Seen::Lowest(lowest_v)
        })
    }
}

/// The shortest stretch (s).
fn shortest_s(stretches: &[Stretch]) -> f64 {
    stretches
        .iter()
        .map(|stretch| stretch.duration.get::<second>())
        .fold(f64::INFINITY, f64::min)
}

/// Corners of a drain over time, as the simulator wants them: `time value time value ...`.
fn waveform(stretches: &[Stretch], value: impl Fn(&Stretch) -> f64) -> String {
    let ramp_s = shortest_s(stretches) * RAMP;
    let mut text = "0 0".to_owned();
    let mut begin_s = 0.0;
    let mut corner = |time_s: f64, value: f64| write!(text, " {time_s:.15e} {value:e}").expect("text grows");
    for (k, stretch) in stretches.iter().enumerate() {
        // The first ramp begins at 0, so it comes half a ramp late.
        let from_s = if k == 0 { ramp_s } else { begin_s + ramp_s / 2.0 };
        corner(from_s, value(stretch));
        begin_s += stretch.duration.get::<second>();
        corner(begin_s - ramp_s / 2.0, value(stretch));
    }
    if let Some(last) = stretches.last() {
        corner(begin_s, value(last));
    }
    text
}

/// The number in the line `name = number`.
fn value(printed: &str, name: &str) -> Option<f64> {
    let line = printed.lines().find(|line| line.contains(name))?;
    line.split('=').nth(1)?.trim().parse().ok()
}
