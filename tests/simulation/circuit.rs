//! The same drains as a circuit for ngspice: every branch a capacitor behind its resistor, a source that draws P/v + I, and a
//! converter that gives its power, at most its largest current, and nothing above the overvoltage limit.

use std::fmt::Write as _;
use std::process::Stdio;

use libtest_mimic::Failed;
use millpond_tests::tool::Tool;

use crate::Drained;

/// A change of drain takes this long (s), a ten-thousandth of the shortest phase and less.
const RAMP_S: f64 = 1e-7;
/// The voltage is looked at this long (s) before the drain changes: it moves by far less than a microvolt in that time asleep.
const BEFORE_S: f64 = 1e-3;
/// Longest step of the simulator (s).
const STEP_S: f64 = 2.0;
/// Below this terminal voltage (V), which no run comes near, constant power is drawn as constant current.
const CLAMP_V: f64 = 0.5;

/// A capacitor stands at the terminal itself, as in any circuit, with this part of the whole: microvolts of what it carries.
const STRAY: f64 = 1e-6;
/// Below the overvoltage limit the converter's current falls to nothing within this (V): what a comparison there may be off by.
const LIMITER_V: f64 = 2e-4;

/// The terminal voltage at each look (V).
pub(crate) fn voltages(ngspice: &Tool, run: &Drained) -> Result<Vec<f64>, Failed> {
    let folder = tempfile::tempdir()?;
    let file = folder.path().join("run.cir");
    let data = folder.path().join("run.data");
    std::fs::write(&file, deck(run, &data.display().to_string()))?;
    let output = ngspice
        .command()
        .arg("-b")
        .arg(&file)
        .stderr(Stdio::piped())
        .output()?;
    let complaint = String::from_utf8_lossy(&output.stderr).into_owned();
    let rows: Vec<(f64, f64)> = std::fs::read_to_string(&data)
        .map_err(|error| format!("{error}: {complaint}"))?
        .lines()
        .filter_map(|line| {
            let mut cells = line.split_whitespace().filter_map(|cell| cell.parse().ok());
            Some((cells.next()?, cells.next()?))
        })
        .collect();
    run.look_times_s()
        .map(|time_s| at(&rows, time_s - BEFORE_S).ok_or_else(|| complaint.clone().into()))
        .collect()
}

/// The voltage at a time, on the line between two rows.
fn at(rows: &[(f64, f64)], time_s: f64) -> Option<f64> {
    let after = rows.partition_point(|(row_s, _)| *row_s < time_s);
    let (late_s, late_v) = *rows.get(after)?;
    let (early_s, early_v) = *rows.get(after.checked_sub(1)?)?;
    Some(early_v + (late_v - early_v) * (time_s - early_s) / (late_s - early_s))
}

fn deck(run: &Drained, data: &str) -> String {
    let mut text = String::from("* drains of a simulated run\n");
    let mut line = |line: String| writeln!(text, "{line}").expect("text grows");
    for (k, [capacitance_f, slope_f_per_v, resistance_ohm]) in run.branches.iter().enumerate() {
        if *slope_f_per_v > 0.0 {
            // Its voltage is that of a capacitor of 1 F into which its current goes, divided by C(u).
            line(format!("C{k} u{k} 0 1"));
            line(format!(".ic v(u{k})={:e}", run.start_v));
            line(format!("Eu{k} n{k} 0 u{k} 0 1"));
            line(format!(
                "Bu{k} u{k} 0 I=-I(Eu{k})/({capacitance_f:e} + {slope_f_per_v:e}*V(u{k}))"
            ));
        } else {
            line(format!("C{k} n{k} 0 {capacitance_f:e}"));
            line(format!(".ic v(n{k})={:e}", run.start_v));
        }
        line(format!("R{k} n{k} out {resistance_ohm:e}"));
    }
    let total_f: f64 = run.branches.iter().map(|[capacitance_f, ..]| capacitance_f).sum();
    line(format!("Cstray out 0 {:e}", total_f * STRAY));
    line(format!(".ic v(out)={:e}", run.start_v));
    line(format!("Gleak out 0 out 0 {:e}", run.leakage_s));
    let power = waveform(&run.pieces, |[_, load_w, ..]| *load_w);
    let current = waveform(&run.pieces, |[_, _, load_a, _]| *load_a);
    let harvest = waveform(&run.pieces, |[.., harvest_w]| *harvest_w);
    line(format!("Vp p 0 PWL({power})"));
    line(format!("Vi i 0 PWL({current})"));
    line(format!("Vh h 0 PWL({harvest})"));
    line(format!("Bload out 0 I=V(p)/max(V(out), {CLAMP_V}) + V(i)"));
    line(format!(
        "Bconverter 0 out I=min(V(h)/max(V(out), {CLAMP_V}), {:e})*min(max(({:e} - V(out))/{LIMITER_V}, 0), 1)",
        run.maximum_a, run.overvoltage_v
    ));
    line(".options reltol=1e-6 vntol=1e-8 abstol=1e-10 method=gear".to_owned());
    let end_s: f64 = run.pieces.iter().map(|[duration_s, ..]| duration_s).sum();
    line(format!(
        ".control\nset numdgt=12\nset wr_singlescale\ntran {STEP_S} {end_s:e} 0 {STEP_S}\nwrdata {data} v(out)\nquit 0\n.endc\n.end"
    ));
    text
}

/// Corners of a drain over time, in lines that the simulator can read: `time value`.
fn waveform(pieces: &[[f64; 4]], value: impl Fn(&[f64; 4]) -> f64) -> String {
    let mut corners = String::new();
    let mut now_s = 0.0;
    for piece in pieces
        .iter()
        .filter(|[duration_s, ..]| *duration_s > 10.0 * RAMP_S)
    {
        let from_s = if now_s > 0.0 { now_s + RAMP_S } else { 0.0 };
        now_s += piece[0];
        let level = value(piece);
        write!(corners, "\n+ {from_s:.15e} {level:e} {now_s:.15e} {level:e}").expect("text grows");
    }
    corners
}
