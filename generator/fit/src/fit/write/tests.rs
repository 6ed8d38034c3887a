use std::collections::BTreeMap;

use super::*;
use crate::fit::Known;
use crate::log::Log;
use crate::node::Profiles;

const GAUGE: &str = millpond_templates::nodes::CRACK_GAUGE;
const CASE: &str = millpond_templates::nodes::DISPLAY_CASE;
const PUMP: &str = millpond_templates::nodes::PUMP_BEARING;

/// Four digits are written: half a unit in the last. What is drawn moves no faster than the load, as no efficiency here falls with it.
const WRITTEN: f64 = 0.5e-3;
/// Standard error of every value, as a part of it.
const SPREAD: f64 = 0.02;

fn read(text: &str) -> NodeFile {
    let profile = (
        "bench/one.csv".to_owned(),
        "time_s,current_ua\n0,480\n0.014,0\n".to_owned(),
    );
    NodeFile::parse_with("node.toml", text, Profiles::Given(&BTreeMap::from([profile]))).expect("a node file")
}

/// A fit that found each of `names` at `times` what is described.
fn fit(file: &NodeFile, names: &[&str], times: f64) -> Fit {
    let log = Log::parse("bench.csv", "time_s,count\n0,1\n60,2\n").expect("a log");
    let mut fit = Fit::of(&file.node, &log, &Known::NOTHING);
    for parameter in &mut fit.parameters {
        if names.contains(&parameter.name) {
            parameter.value = parameter.described.map(|described| described * times);
            parameter.standard_error = parameter.value.map(|value| value.abs() * SPREAD);
        }
    }
    fit
}

const ALL: [&str; 6] = [
    "capacitance_f",
    "resistance_ohm",
    "sleep_current_a",
    "leakage_a",
    "measure_energy_j",
    "transmit_energy_j",
];

/// The description of the written file is what was fitted: at the storage terminal, the regulator's own current and the efficiency at
/// the new currents included.
#[test]
fn the_written_node_draws_what_was_fitted() {
    // An efficiency that rises around the sleeping current and again among the currents of the actions.
    let rising = GAUGE.replace(
        "[[\"2 uA\", \"72 %\"], [\"10 uA\", \"72 %\"], [\"1 mA\", \"88 %\"], [\"50 mA\", \"90 %\"]]",
        "[[\"1 uA\", \"40 %\"], [\"10 uA\", \"75 %\"], [\"1 mA\", \"80 %\"], [\"50 mA\", \"92 %\"]]",
    );
    assert_ne!(rising, GAUGE);
    for text in [GAUGE, CASE, PUMP, &rising] {
        let old = read(text);
        for times in [0.5, 0.93, 1.0, 1.7, 6.0] {
            let written = written(&old, &fit(&old, &ALL, times)).expect("something to write");
            assert!(written.notes.is_empty(), "{:?}", written.notes);
            let new = read(&written.text);
            let (old, new) = (Described::of(&old.node), Described::of(&new.node));
            let at_v = old.working_v;
            for (what, old, new) in [
                ("capacitance", old.capacitance_f(at_v), new.capacitance_f(at_v)),
                ("sleep", old.sleep_a(at_v), new.sleep_a(at_v)),
                ("leakage", old.leakage_a, new.leakage_a),
                ("sample", old.measure.energy_j, new.measure.energy_j),
                ("report", old.transmit.energy_j, new.transmit.energy_j),
            ] {
                let off = new / (times * old) - 1.0;
                assert!(off.abs() <= WRITTEN + 1e-12, "{what} {times}: {off}");
            }
        }
    }
}

/// By hand: a linear regulator passes the current on, so 10 µA at storage are 1.2 µA of its own and 8.8 µA of the load; 2 % of 10 µA
/// are 2.27 % of that, or ±4.45 % with 95 of 100.
#[test]
fn the_regulator_keeps_its_own_current() {
    let file = read(PUMP);
    let text = written(&file, &fit(&file, &["sleep_current_a"], 2.0))
        .expect("a current")
        .text;
    assert!(
        text.contains("[sleep]\ncurrent = \"8.8 uA\" # fitted, ±4.455 %; was 3.8 uA\n"),
        "{text}"
    );
    assert!(text.contains("quiescent = \"1.2 uA\"\n"));
}

/// 0.9 µA at storage are less than the regulator's own 1.2 µA: nothing is left for the load, and the file is not made worse.
#[test]
fn a_current_below_the_regulators_own_is_said() {
    let file = read(PUMP);
    let written = written(&file, &fit(&file, &["capacitance_f", "sleep_current_a"], 0.18)).expect("a change");
    assert_eq!(read(&written.text).node.sleep_current, file.node.sleep_current);
    assert_eq!(written.notes.len(), 1);
    let note = &written.notes[0];
    assert!(note.contains("900 nA") && note.contains("1.2 uA") && note.contains("`quiescent`"));
}

#[test]
fn what_has_no_factor_is_said() {
    let idle = read(&PUMP.replace("\"3.8 uA\"", "\"0 uA\""));
    let result = written(&idle, &fit(&idle, &["capacitance_f", "sleep_current_a"], 2.0)).expect("a change");
    assert!(
        matches!(&result.notes[..], [note] if note.contains("a load of 0")),
        "{:?}",
        result.notes
    );
    let mut below = fit(&idle, &["capacitance_f", "leakage_a"], 1.1);
    for leakage in below.parameters.iter_mut().filter(|one| one.name == "leakage_a") {
        leakage.value = leakage.value.map(|value| -value);
    }
    let result = written(&idle, &below).expect("a change");
    assert!(
        matches!(&result.notes[..], [note] if note.contains("`leakage`")),
        "{:?}",
        result.notes
    );
    assert_eq!(
        read(&result.text).node.storage[0].leakage,
        idle.node.storage[0].leakage
    );
}

/// A number and its unit with a space, without one or with one that does not break, with an exponent, a sign or another prefix.
#[test]
fn every_spelling_of_a_quantity_is_scaled() {
    let plain = read(GAUGE);
    let expected = read(&written(&plain, &fit(&plain, &ALL, 0.9)).expect("a change").text).node;
    for (farads, microamperes) in [
        ("F", "uA"),
        ("\u{a0}F", "\u{a0}\u{b5}A"),
        ("e12pF", "e-3 mA"),
        ("  F ", "\u{3bc}A"),
    ] {
        let text = GAUGE
            .replace("\"1.0 F\"", &format!("\"+1.0{farads}\""))
            .replace("\"5 uA\"", &format!("\"5{microamperes}\""))
            .replace("\"2.4 uA\"", &format!("\"2.4{microamperes}\""))
            .replace(" mA\"", "mA\"")
            .replace("\"2.2 ohm\"", "\"2.2\u{3a9}\"");
        let old = read(&text);
        let new = read(&written(&old, &fit(&old, &ALL, 0.9)).expect("a change").text).node;
        assert_eq!(new.storage, expected.storage, "{text}");
        for (new, expected) in [
            (new.sleep_current, expected.sleep_current),
            (new.measure.phases[0].current, expected.measure.phases[0].current),
            (
                new.transmit.phases[1].current,
                expected.transmit.phases[1].current,
            ),
        ] {
            assert_eq!(new, expected, "{text}");
        }
    }
    // 1.96 standard errors of 2 %.
    assert_eq!(expected.storage[0].tolerance_low, fraction(0.0392));
}

/// The profile stays what the instrument saw; how its currents go is said in the file and beside it.
#[test]
fn a_profile_is_left_and_said() {
    let phases = "phases = [{ name = \"humidity\", current = \"480 uA\", duration = \"14 ms\" }]";
    let profile = "profile = \"bench/one.csv\"";
    let file = read(&CASE.replace(phases, &format!("{profile} # of unit 3")));
    let written = written(&file, &fit(&file, &ALL, 1.3)).expect("a change");
    let line = format!("{profile} # of unit 3; left as it is; fitted, ±3.92 %: 1.3 times its currents\n");
    assert!(written.text.contains(&line), "{}", written.text);
    assert!(
        matches!(
            &written.notes[..],
            [note] if note.contains("`[measure]`") && note.contains("bench/one.csv") && note.contains(" 1.3 times")
        ),
        "{:?}",
        written.notes
    );
    let new = read(&written.text).node;
    assert_eq!(new.measure, file.node.measure);
    assert_eq!(new.transmit.phases[0].current, amperes(1.82e-3));
}
