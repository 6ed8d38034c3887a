//! Gates and limits as circuits: storage is led up and down again, and the comparator must trip where millpond says.
//!
//! The comparator is a steep step behind a short time constant, the resistors are resistors, the bias is a current source: no formula
//! of millpond's is in the deck.

use std::process::Stdio;

use libtest_mimic::{Failed, Trial};
use millpond::dividers::circuit::{Circuit, Input, Resistors};
use millpond_tests::tool::{self, Tool};
use rand::{RngExt, SeedableRng};
use rand_pcg::Pcg64;

/// Random circuits, each form in turn.
const CASES: u64 = 60;
/// What a threshold may differ by (V). Cause: storage moves by 0.3 mV in a step of the simulator, and the step of the comparator is
/// 20 µV wide at its input, up to ten times that at storage.
const THRESHOLD_V: f64 = 1e-3;
/// Storage rises from 0 V to this and falls back, a second each (V).
const FULL_V: f64 = 6.0;

/// One trial for each random circuit.
pub(crate) fn trials(ngspice: Option<&Tool>, what: &'static str) -> Vec<Trial> {
    (0..CASES)
        .map(|seed| {
            tool::trial(format!("comparator-{seed}"), ngspice, what, move |ngspice| {
                check(ngspice, seed)
            })
        })
        .collect()
}

/// A random circuit that trips both ways below [`FULL_V`].
fn case(seed: u64) -> (Circuit, Resistors, Input) {
    let mut draw = Pcg64::seed_from_u64(seed);
    loop {
        let circuit = match seed % 4 {
            0 => Circuit::PAIR,
            1 => Circuit::TwoTaps,
            2 => Circuit::Feedback {
                low_v: 0.0,
                high_v: None,
            },
            _ => Circuit::Feedback {
                low_v: draw.random_range(0.0..0.3),
                high_v: Some(draw.random_range(1.8..3.6)),
            },
        };
        let parts = Resistors {
            top_ohm: draw.random_range(0.3e6..8e6),
            second_ohm: draw.random_range(0.3e6..4e6),
            third_ohm: match circuit {
                Circuit::PAIR => f64::INFINITY,
                _ => draw.random_range(0.5e6..10e6),
            },
        };
        let reference_v = draw.random_range(0.6..1.5);
        let half_v = draw.random_range(0.001..0.03);
        let input = Input {
            rising_v: reference_v + half_v,
            falling_v: reference_v - half_v,
            bias_a: draw.random_range(-20e-9..20e-9),
            lower_bias_a: draw.random_range(-20e-9..20e-9),
        };
        let (rising_v, falling_v) = (
            circuit.rising_v(&parts, &input),
            circuit.falling_v(&parts, &input),
        );
        if rising_v < FULL_V - 0.3 && falling_v > 0.4 && rising_v > falling_v + 0.02 {
            return (circuit, parts, input);
        }
    }
}

fn check(ngspice: &Tool, seed: u64) -> Result<(), Failed> {
    let (circuit, parts, input) = case(seed);
    let deck = deck(&circuit, &parts, &input);
    let folder = tempfile::tempdir()?;
    let file = folder.path().join("deck.cir");
    std::fs::write(&file, &deck)?;
    let output = ngspice
        .command()
        .arg("-b")
        .arg(&file)
        .stderr(Stdio::piped())
        .output()?;
    let printed = String::from_utf8_lossy(&output.stdout);
    let time_s = |name: &str| -> Option<f64> {
        let line = printed.lines().find(|line| line.trim_start().starts_with(name))?;
        line.split('=').nth(1)?.split_whitespace().next()?.parse().ok()
    };
    let (Some(up_s), Some(down_s)) = (time_s("t_up"), time_s("t_down")) else {
        return Err(format!("no answer to this deck:\n{deck}\n{printed}").into());
    };
    let seen_v = [up_s * FULL_V, (2.0 - down_s) * FULL_V];
    let said_v = [
        circuit.rising_v(&parts, &input),
        circuit.falling_v(&parts, &input),
    ];
    for (seen_v, said_v) in seen_v.into_iter().zip(said_v) {
        if (seen_v - said_v).abs() > THRESHOLD_V {
            return Err(format!(
                "{circuit:?} {parts:?} {input:?}: the circuit trips at {seen_v} V, not at {said_v} V"
            )
            .into());
        }
    }
    Ok(())
}

/// The circuit of a case; the voltage at `on` goes from 0 V to 1 V where the output goes high.
fn deck(circuit: &Circuit, parts: &Resistors, input: &Input) -> String {
    let Resistors {
        top_ohm: top,
        second_ohm: lower,
        third_ohm: third,
    } = parts;
    let (rising_v, falling_v) = (input.rising_v, input.falling_v);
    let step = |what: String| format!("(0.5 + 0.5*tanh(({what})*1e5))");
    let body = match circuit {
        Circuit::TwoTaps => format!(
            "Rtop st up {top:e}\nRmid up lo {lower:e}\nRbot lo 0 {third:e}\nIup up 0 {:e}\nIlo lo 0 {:e}\n\
             Bt t 0 V={} + (1 - {})*{}*(0.5 + 0.5*tanh((V(on) - 0.5)*20))\n",
            input.bias_a,
            input.lower_bias_a,
            step(format!("V(lo) - {rising_v:e}")),
            step(format!("V(lo) - {rising_v:e}")),
            step(format!("V(up) - {falling_v:e}")),
        ),
        Circuit::Feedback { low_v, high_v } => {
            let high = high_v.map_or_else(|| "V(st)".to_owned(), |high_v| format!("{high_v:e}"));
            let feedback = if third.is_finite() {
                format!("Rback out in {third:e}\n")
            } else {
                String::new()
            };
            format!(
                "Rtop st in {top:e}\nRbot in 0 {lower:e}\n{feedback}Iin in 0 {:e}\nBout out 0 V={low_v:e} + ({high} - {low_v:e})*V(on)\n\
                 Bt t 0 V={}\n",
                input.bias_a,
                step(format!("V(in) - {rising_v:e} + {:e}*V(on)", rising_v - falling_v)),
            )
        }
    };
    format!(
        "* comparator\nVst st 0 PWL(0 0 1 {FULL_V:e} 2 0)\n{body}Rt t on 1k\nCt on 0 1n\n.ic v(on)=0\n\
         .options reltol=1e-5 abstol=1e-13 method=gear\n.tran 50u 2 0 50u\n.meas tran t_up when v(on)=0.5 rise=1\n\
         .meas tran t_down when v(on)=0.5 fall=1\n.end\n"
    )
}
