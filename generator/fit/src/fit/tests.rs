mod clock;
mod meter;
mod pace;
mod plateau;
mod simulated;

use super::*;
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

/// A cut, the start behind it and the fall of the count are one power-up; nothing is at work in between. By hand: 9, 6 and 4 reports
/// a minute apart, each life from its start to its cut.
#[test]
fn a_power_up_counts_once_however_it_is_told() {
    let lives = [(0, 9), (3000, 6), (6000, 4)];
    let text = |starts: bool, goes_on: bool| {
        let (mut text, mut total) = (String::from("time_s,count,event\n"), 0);
        for (start_s, reports) in lives {
            let base = if goes_on { total } else { 0 };
            if starts {
                text.push_str(&format!("{start_s},,start\n"));
            }
            for report in 1..=reports {
                text.push_str(&format!(
                    "{},{},transmit\n",
                    start_s + 60 * report,
                    base + report - 1
                ));
            }
            text.push_str(&format!(
                "{},{},cut\n",
                start_s + 60 * reports + 60,
                base + reports
            ));
            // A logger that goes on writing what it heard last.
            text.push_str(&format!("{},{},\n", start_s + 2000, base + reports));
            total += reports;
        }
        text
    };
    for (starts, goes_on) in [(true, false), (true, true), (false, false), (false, true)] {
        let log = Log::parse("bench.csv", &text(starts, goes_on)).expect("a log");
        let counts = Fit::of(&node::example(NAME), &log, &Known::NOTHING)
            .counts
            .expect("counts");
        assert_eq!(
            (counts.reports, counts.most_in_one_life),
            (19, 9),
            "{starts} {goes_on}"
        );
        // The log begins in a life whose start it tells of, or not.
        assert_eq!(counts.power_ups, if starts { 3 } else { 2 });
        let first_s = if starts { 0.0 } else { 60.0 };
        let lives_s = lives.map(|(_, reports)| f64::from(60 * reports + 60) - first_s);
        assert_eq!(counts.on_time_s, lives_s.iter().sum::<f64>());
    }
}

/// The log as docs/embedding.md has it, by the node's own clock of whole seconds: each row holds the reading before its action and the
/// count behind it, and rows of one wake-up have one time. 12 hours of reports in the dark, from a store of 0.9 F.
#[test]
fn the_log_of_firmware_is_read() {
    let node = node::example(NAME);
    let described = Described::of(&node);
    let capacitance_f = 0.9;
    let (mut v, mut text) = (
        4.8,
        String::from("time_s,storage_mv,count,event\n0,4800,0,start\n"),
    );
    let reports = 36;
    for report in 0..reports {
        let time_s = report * 1200;
        let mut row = |v: f64, count: usize, event: &str| {
            text.push_str(&format!("{time_s},{:.0},{count},{event}\n", v * 1e3));
        };
        row(v, report, "measure");
        v -= described.measure.charge_c(v) / capacitance_f;
        row(v, report + 1, "transmit");
        v -= described.transmit.charge_c(v) / capacitance_f;
        row(v, report + 1, "wait");
        v -= 1200.0 * (described.sleep_a(v) + described.leakage_a_at(v)) / capacitance_f;
    }
    let log = Log::parse("bench.csv", &text).expect("a log");
    let fit = Fit::of(&node, &log, &Known::NOTHING);
    let counts = fit.counts.expect("counts");
    assert_eq!((counts.reports, counts.power_ups), (reports as u64, 1));
    assert!(
        !fit.findings.iter().any(|one| one.code == "reports-lost"),
        "{:?}",
        fit.findings
    );
    let found = fit.parameter("capacitance_f").expect("a parameter");
    let (value, error) = found.value.zip(found.standard_error).expect("a value");
    assert!((value - capacitance_f).abs() < 1.96 * error, "{found:?}");
    // No better known than the report that gives the scale, and no worse than its margin of 10 % and the steps of a millivolt.
    assert!(error < 0.15 * value, "{found:?}");
}

/// A clock that starts anew with each life, told by the start or by the fall of the count: the lives follow each other.
#[test]
fn a_clock_that_starts_anew_with_the_node_is_read() {
    for start in ["0,0,start\n", ""] {
        let waits: String = (0..20)
            .map(|minute| format!("{},{},wait\n", minute * 60, minute / 2))
            .collect();
        let life = format!("{start}{waits}");
        let log = Log::parse("bench.csv", &format!("time_s,count,event\n{life}{life}")).expect("a log");
        assert_eq!((log.len(), log.skipped), (2 * life.lines().count(), 0));
        let counts = Fit::of(&node::example(NAME), &log, &Known::NOTHING)
            .counts
            .expect("counts");
        // The first life has a start in the log, or none.
        let power_ups = if start.is_empty() { 1 } else { 2 };
        assert_eq!(
            (counts.power_ups, counts.reports, counts.most_in_one_life),
            (power_ups, 18, 9)
        );
    }
}

/// The copy is a node file, and its comments are those of the original.
#[test]
fn a_written_node_keeps_its_comments_and_follows() {
    let file = NodeFile::parse("old.toml", millpond_templates::nodes::CRACK_GAUGE, "").expect("an example");
    let fit = Fit::of(&file.node, &dark_log(6e-6, 0.9, 1800, 2400), &Known::NOTHING);
    let text = write::written(&file, &fit).expect("something to write").text;
    let new = NodeFile::parse("new.toml", &text, "").expect("a node file");
    for line in file.text.lines() {
        if let Some((_, comment)) = line.split_once('#') {
            assert!(text.contains(comment.trim()), "{comment}");
        }
    }
    let value = new.node.storage[0].capacitance.value;
    assert!((value / 0.9 - 1.0).abs() < 3.0 * STEP, "{value}");
}

/// Three days of a store that is held at the overvoltage limit in the light and cut off at night, as a meter reads it that is off by a
/// factor and by a constant.
fn log_between_known_levels(scale: f64, offset_v: f64) -> Log {
    let described = Described::of(&node::example(NAME));
    let top_v = described.overvoltage_v;
    let (connect_v, cut_v, _) = described.gate.expect("the crack gauge has a gate");
    let mut text = String::from("time_s,storage_mv,event\n");
    let mut time_s = 0;
    let mut row = |v: f64, event: &str| {
        text.push_str(&format!("{time_s},{:.3},{event}\n", (scale * v + offset_v) * 1e3));
        time_s += 60;
    };
    let between =
        |from_v: f64, to_v: f64, at: usize, of: usize| from_v + (to_v - from_v) * at as f64 / of as f64;
    for _day in 0..3 {
        (0..240).for_each(|minute| row(between(cut_v, connect_v, minute, 240), ""));
        row(connect_v, "start");
        (0..240).for_each(|minute| row(between(connect_v, top_v, minute, 240), ""));
        (0..720).for_each(|_| row(top_v, ""));
        (0..600).for_each(|minute| row(between(top_v, cut_v, minute, 600), ""));
        row(cut_v, "cut");
    }
    Log::parse("bench.csv", &text).expect("a log")
}

/// Two voltages are known without a reading: where charging stops, and where the gate cuts. Off by the same part at both is a factor,
/// off by the same voltage is a constant, and a meter that is right is neither.
#[test]
fn two_known_levels_tell_a_factor_from_a_constant() {
    for (scale, offset_v, code) in [
        (1.15, 0.0, Some("reading-scaled")),
        (0.85, 0.0, Some("reading-scaled")),
        (1.0, 0.4, Some("reading-offset")),
        (1.0, -0.4, Some("reading-offset")),
        (1.0, 0.0, None),
    ] {
        let fit = Fit::of(
            &node::example(NAME),
            &log_between_known_levels(scale, offset_v),
            &Known::NOTHING,
        );
        let off = fit.findings.iter().find(|one| one.code.starts_with("reading-"));
        assert_eq!(off.map(|one| one.code), code, "{scale}, {offset_v} V");
        assert!(
            off.is_none_or(|one| one.confidence == Confidence::High),
            "{scale}, {offset_v} V: {:?}",
            fit.findings
        );
        assert!(fit.findings.iter().any(|one| one.code == "overvoltage-plateau"));
    }
}

/// A reading that never moves, and one that stops at the converter's full scale, are named; a healthy log has neither.
#[test]
fn a_reading_that_stands_still_is_named() {
    let described = Described::of(&node::example(NAME));
    let full_scale_v = described.full_scale_v;
    let codes = |text: String| {
        let log = Log::parse("bench.csv", &text).expect("a log");
        let fit = Fit::of(&node::example(NAME), &log, &Known::NOTHING);
        fit.findings.iter().map(|one| one.code).collect::<Vec<_>>()
    };
    // Falling as described, read by a meter that adds `offset_v`.
    let log = |offset_v: f64, seen: &dyn Fn(usize, f64) -> f64| {
        let (mut v, mut text) = (4.6, String::from("time_s,storage_mv\n"));
        for minute in 0..2880 {
            text.push_str(&format!(
                "{},{:.3}\n",
                minute * 60,
                seen(minute, v + offset_v) * 1e3
            ));
            v -= 60.0 * (described.sleep_a(v) + described.leakage_a_at(v));
        }
        codes(text)
    };
    let healthy = log(0.0, &|_, v| v);
    assert!(
        !healthy.iter().any(|code| code.starts_with("reading-")),
        "{healthy:?}"
    );
    let stuck = log(0.0, &|minute, v| if minute > 1000 { 4.0 } else { v });
    assert!(stuck.contains(&"reading-stuck"), "{stuck:?}");
    let saturated = log(full_scale_v - 4.2, &|_, v| v.min(full_scale_v));
    assert!(saturated.contains(&"reading-saturated"), "{saturated:?}");
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
    }
}
