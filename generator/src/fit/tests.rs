use super::*;
use crate::comparison;
use crate::node::{self, NodeFile};
use crate::units::*;

const NAME: &str = "crack-gauge";
/// Readings are without noise and unrounded: what remains is that the described sleep draws more at a lower voltage, and the
/// fit's integration by the mean of two readings.
const STEP: f64 = 0.03;

/// A log of the crack gauge in the dark at `current_a` and with `capacitance_f`, a report every `period_s` (0: none).
fn dark_log(current_a: f64, capacitance_f: f64, period_s: usize, minutes: usize) -> Log {
    let described = Described::of(&node::example(NAME));
    let (mut v, mut count, mut text) = (4.6, 0, String::from("time_s,storage_mv,count\n"));
    for minute in 0..minutes {
        if period_s > 0 && minute > 0 && (minute * 60) % period_s == 0 {
            v -= (described.transmit.charge_c(v) + described.measure.charge_c(v)) / capacitance_f;
            count += 1;
        }
        let cell = if period_s > 0 {
            count.to_string()
        } else {
            String::new()
        };
        text.push_str(&format!("{},{:.4},{cell}\n", minute * 60, v * 1e3));
        v -= current_a * 60.0 / capacitance_f;
    }
    Log::parse("bench.csv", &text).expect("a log")
}

/// A constant current from a constant capacitance: by hand, 20 µA over 1 F is 20 µV/s whatever the description says.
#[test]
fn a_slope_fixes_current_over_capacitance_and_no_more() {
    let fit = Fit::of(
        &node::example(NAME),
        &dark_log(20e-6, 1.0, 0, 600),
        &Known::NOTHING,
    );
    for name in ["capacitance_f", "sleep_current_a", "transmit_energy_j"] {
        let parameter = fit.parameter(name).expect("a parameter");
        assert_eq!(parameter.value, None, "{name}");
        assert!(parameter.reason.is_some(), "{name}");
    }
    let model: Vec<(f64, f64)> = fit
        .curve
        .iter()
        .filter_map(|(time_s, _, v)| Some((*time_s, (*v)?)))
        .collect();
    let (first, last) = (model[0], model[model.len() - 1]);
    let slope_v_per_s = (first.1 - last.1) / (last.0 - first.0);
    assert!((slope_v_per_s / 20e-6 - 1.0).abs() < STEP, "{slope_v_per_s}");
}

/// Leakage at the usual part of its limit, beside a sleeping current of so many times the described one.
fn leaking_log(times: f64, capacitance_f: f64) -> Log {
    let described = Described::of(&node::example(NAME));
    let mut text = String::from("time_s,storage_mv\n");
    let mut v = 4.6;
    for minute in 0..1200 {
        text.push_str(&format!("{},{:.4}\n", minute * 60, v * 1e3));
        let current_a = times * described.sleep_a(v) + described::USUAL_LEAKAGE * described.leakage_a_at(v);
        v -= current_a * 60.0 / capacitance_f;
    }
    Log::parse("bench.csv", &text).expect("a log")
}

fn holds(fit: &Fit, name: &str, truth: f64) -> bool {
    let found = fit.parameter(name).expect("a parameter");
    let (value, error) = found.value.zip(found.standard_error).expect("a value");
    // Readings without noise leave the figure that was stated: no interval is wider than what the rest is believed to.
    (value - truth).abs() < 1.96 * error && error < 0.35 * value
}

/// One figure from elsewhere gives a slope its scale: what draws it, or what holds it.
#[test]
fn a_known_figure_turns_a_slope_into_parts() {
    let node = node::example(NAME);
    let sleep_a = {
        let described = Described::of(&node);
        described.sleep_a(described.working_v)
    };
    for (times, capacitance_f) in [(0.9, 0.8), (1.0, 1.2), (3.0, 0.9)] {
        let log = leaking_log(times, capacitance_f);
        let by_capacitance = Known {
            capacitance: Some(farads(capacitance_f)),
            ..Known::NOTHING
        };
        let fit = Fit::of(&node, &log, &by_capacitance);
        assert!(
            holds(&fit, "sleep_current_a", times * sleep_a),
            "{:?}",
            fit.parameters
        );
        let by_current = Known {
            sleep_current: Some(amperes(times * sleep_a)),
            ..Known::NOTHING
        };
        let fit = Fit::of(&node, &log, &by_current);
        assert!(
            holds(&fit, "capacitance_f", capacitance_f),
            "{:?}",
            fit.parameters
        );
    }
}

/// A fall three times as fast is a current or a capacitor; with the capacitance stated it is the current.
#[test]
fn a_fast_fall_is_possibly_a_current_and_surely_one_with_the_capacitance() {
    let node = node::example(NAME);
    let high = |log: &Log, known: Known| {
        let fit = Fit::of(&node, log, &known);
        let mut own = fit.findings.iter().filter(|one| one.code == "sleep-current-high");
        own.next().map(|finding| finding.confidence)
    };
    let stated = Known {
        capacitance: Some(farads(1.0)),
        ..Known::NOTHING
    };
    // The least capacitance of the crack gauge is half the described one, and leakage may be as large as sleep: only beyond both
    // does the slope say that something is wrong.
    let fast = leaking_log(6.0, 1.0);
    assert_eq!(high(&fast, Known::NOTHING), Some(Confidence::Low));
    assert!(high(&fast, stated).is_some_and(|confidence| confidence != Confidence::Low));
    assert!(high(&leaking_log(3.0, 1.0), stated).is_some());
    for known in [Known::NOTHING, stated] {
        assert_eq!(high(&leaking_log(1.0, 1.0), known), None);
    }
}

/// With reports that cost what is described, half the capacitance shows as half the capacitance.
#[test]
fn a_known_step_fixes_the_capacitance() {
    for capacitance_f in [0.8, 1.0, 1.5] {
        let fit = Fit::of(
            &node::example(NAME),
            &dark_log(6e-6, capacitance_f, 1800, 2400),
            &Known::NOTHING,
        );
        let found = fit.parameter("capacitance_f").expect("a parameter");
        let value = found.value.expect("a value");
        let error = found.standard_error.expect("an error") / value;
        assert!((value / capacitance_f - 1.0).abs() < 1.5 * error, "{found:?}");
        // No better than what the description knows of a report: 10 % of margin, 95 of 100.
        assert!((0.03..0.15).contains(&error), "{found:?}");
    }
}

#[test]
fn a_count_alone_says_what_it_can() {
    let rows: Vec<String> = (0..600)
        .map(|row| {
            format!(
                "{},{}\n",
                row * 60,
                if row < 300 { row / 5 } else { (row - 300) / 10 }
            )
        })
        .collect();
    let log = Log::parse("bench.csv", &format!("time_s,count\n{}", rows.concat())).expect("a log");
    let fit = Fit::of(&node::example(NAME), &log, &Known::NOTHING);
    let counts = fit.counts.expect("counts");
    // 59 reports in the first life, 29 after the one power-up.
    assert_eq!(
        (counts.reports, counts.most_in_one_life, counts.power_ups),
        (88, 59, 1)
    );
    // The 28 gaps of the second life are twice the usual one.
    assert_eq!(counts.skipped, 28);
    assert!(counts.income_least_w <= counts.income_most_w);
    assert!(
        fit.parameters
            .iter()
            .all(|parameter| parameter.value.is_none() && parameter.reason.is_some())
    );
}

/// The copy is a node file, its comments are those of the original, and `compare` sees what moved.
#[test]
fn a_written_node_keeps_its_comments_and_follows() {
    let path = format!("{}/../templates/nodes/{NAME}.toml", env!("CARGO_MANIFEST_DIR"));
    let file = NodeFile::load(path).expect("an example");
    let fit = Fit::of(&file.node, &dark_log(6e-6, 0.9, 1800, 2400), &Known::NOTHING);
    let text = write::written(&file.text, &fit).expect("something to write");
    let new = NodeFile::parse("new.toml", &text, "").expect("a node file");
    for line in file.text.lines() {
        if let Some((_, comment)) = line.split_once('#') {
            assert!(text.contains(comment.trim()), "{comment}");
        }
    }
    let value = new.node.storage[0].capacitance.value;
    assert!((value / 0.9 - 1.0).abs() < 3.0 * STEP, "{value}");
    assert!(comparison::compare(&file, &new).is_ok());
}

#[test]
fn any_log_is_answered() {
    let node = node::example(NAME);
    for text in [
        "time_s,storage_mv\n0,4000\n1,4000\n",
        "time_s,event\n0,start\n5,cut\n5,cut\n5,start\n",
        "time_s,storage_mv,count\n0,0,0\n0,0,5\n0,0,3\n1,,\n2,9999,1\n",
        "time_s,count\n0,4294967294\n1,0\n",
    ] {
        let log = Log::parse("bench.csv", text).expect("a log");
        let fit = Fit::of(&node, &log, &Known::NOTHING);
        assert_eq!(fit.parameters.len(), 7);
        picture::terminal(&fit);
    }
}
