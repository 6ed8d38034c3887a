//! A log of a meter beside the node: its rows come while the node acts, too.

use super::*;

/// Time between two rows (s): several of them are taken while the node reports.
const ROW_S: f64 = 0.25;
const PERIOD_S: f64 = 30.0;
const REPORTS: usize = 40;
const CAPACITANCE_F: f64 = 0.9;

/// Reports in the dark, the first after one period; their starts are a little behind a row, except that the transmission of `at_once`
/// begins with one.
fn log(described: &Described, has_events: bool, at_once: Option<usize>) -> Log {
    let (measure, transmit) = (&described.measure, &described.transmit);
    let busy_s = measure.duration_s + transmit.duration_s;
    let start_s = |number: usize| {
        let own_s = PERIOD_S * number as f64;
        if at_once == Some(number) {
            // The sample ends, and the transmission begins, with the row one second in.
            own_s + 1.0 - measure.duration_s
        } else {
            own_s + 0.13
        }
    };
    let events = |number: usize| {
        let start_s = start_s(number);
        [(start_s, "measure"), (start_s + measure.duration_s, "transmit")]
    };
    let mut rows: Vec<(f64, &str)> = (0..)
        .map(|row| (ROW_S * f64::from(row), ""))
        .take_while(|(time_s, _)| *time_s < PERIOD_S * (REPORTS + 1) as f64)
        .collect();
    if has_events {
        rows.extend((1..=REPORTS).flat_map(events));
        // The row of an event is the first of its time.
        rows.sort_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(a.1)));
    }
    let (mut v, mut count, mut last_s) = (4.6, 0, 0.0);
    let mut text = String::from("time_s,storage_mv,count,event\n");
    for (time_s, event) in rows {
        if count < REPORTS && time_s >= start_s(count + 1) + busy_s {
            v -= (measure.charge_c(v) + transmit.charge_c(v)) / CAPACITANCE_F;
            count += 1;
        }
        v -= (described.sleep_a(v) + described.leakage_a_at(v)) * (time_s - last_s) / CAPACITANCE_F;
        last_s = time_s;
        let since_s = if count < REPORTS {
            time_s - start_s(count + 1)
        } else {
            -1.0
        };
        let mut reading_v = v;
        // The row of an event was read before it.
        for (work, since_s) in [(measure, since_s), (transmit, since_s - measure.duration_s)] {
            if since_s > 0.0 && event.is_empty() {
                let (charge_c, current_a) = work.until(since_s, v);
                reading_v -= charge_c / CAPACITANCE_F + current_a * described.resistance_ohm;
            }
        }
        text.push_str(&format!("{time_s:.6},{:.2},{count},{event}\n", reading_v * 1e3));
    }
    Log::parse("bench.csv", &text).expect("a log")
}

/// One row that falls on an action's own time does not make the log one that the node wrote itself.
#[test]
fn a_row_that_falls_on_an_event_tells_of_no_report() {
    let described = Described::of(&node::example(NAME));
    for at_once in [None, Some(7)] {
        let log = log(&described, true, at_once);
        let pairs = log.time_s.windows(2).filter(|pair| pair[0] == pair[1]).count();
        assert_eq!(pairs, usize::from(at_once.is_some()));
        let own = own::in_order(&log, &described);
        assert!(own.time_s == log.time_s, "rows were moved");
        let actions = Actions::of(&own, &described, described.count_v);
        assert_eq!(actions.reports(), REPORTS);
        assert_eq!(actions.list.len(), 2 * REPORTS);
    }
}

/// One sample a minute and a report behind the last of them: one time in common among two dozen actions is the node's own in whole
/// seconds and chance in finer ones, and where each action has it no clock makes it chance.
#[test]
fn a_clock_of_whole_seconds_makes_a_log_the_nodes_own() {
    let described = Described::of(&node::example(NAME));
    let is_moved = |step_s: f64, reports: &[u32]| {
        let mut text = String::from("time_s,count,event\n");
        for minute in 1..=24 {
            let time_s = f64::from(minute) * step_s;
            text.push_str(&format!("{time_s},0,measure\n"));
            if reports.contains(&minute) {
                text.push_str(&format!("{time_s},1,transmit\n"));
            }
        }
        let log = Log::parse("bench.csv", &text).expect("a log");
        own::in_order(&log, &described).time_s != log.time_s
    };
    let each: Vec<u32> = (1..=24).collect();
    assert!(is_moved(60.0, &[24]));
    assert!(!is_moved(60.25, &[24]));
    assert!(is_moved(60.25, &each));
    assert!(!is_moved(60.0, &[]));
}

/// A report that is longer than the time between two rows began some rows before the one that counts it.
#[test]
fn a_report_that_lasts_for_some_rows_has_its_whole_step() {
    let node = node::example(NAME);
    let described = Described::of(&node);
    assert!(described.transmit.duration_s > 3.0 * ROW_S);
    let fit = Fit::of(&node, &log(&described, false, None), &Known::NOTHING);
    let mut quotients = fit.quotients.iter();
    let found = quotients
        .find(|one| one.name == "transmit_energy_over_capacitance_j_per_f")
        .expect("a quotient");
    let truth = described.transmit.energy_j / CAPACITANCE_F;
    assert!((found.value / truth - 1.0).abs() < STEP, "{found:?}, {truth}");
    assert!(found.standard_error < STEP * found.value, "{found:?}");
}
