use super::*;
use crate::comparison;
use crate::node::{self, NodeFile};

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
    let fit = Fit::of(&node::example(NAME), &dark_log(20e-6, 1.0, 0, 600));
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

/// With reports that cost what is described, half the capacitance shows as half the capacitance.
#[test]
fn a_known_step_fixes_the_capacitance() {
    for capacitance_f in [0.8, 1.0, 1.5] {
        let fit = Fit::of(&node::example(NAME), &dark_log(6e-6, capacitance_f, 1800, 2400));
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
    let fit = Fit::of(&node::example(NAME), &log);
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
    let fit = Fit::of(&file.node, &dark_log(6e-6, 0.9, 1800, 2400));
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
        let fit = Fit::of(&node, &log);
        assert_eq!(fit.parameters.len(), 7);
        picture::terminal(&fit);
    }
}
