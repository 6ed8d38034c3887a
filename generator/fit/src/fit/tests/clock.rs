//! The node's own clock beside the log's, over restarts of the node.

use super::*;

/// The node's clock counts whole seconds: over the hour and more of half a life that is less than this part.
const WHOLE_SECONDS: f64 = 1.0 / 3600.0;

/// Ten hours with a row a minute and both clocks; the node's starts anew at these minutes and gains the part `gain`. Rows are missing
/// for `gap` minutes behind each start.
fn log(starts: &[u32], gain: f64, gap: u32) -> Log {
    let mut text = String::from("time,time_s,count\n");
    for minute in 0..600 {
        let life = starts.iter().copied().filter(|start| *start <= minute).max();
        let at_work = minute - life.unwrap_or_default();
        if life.is_some() && at_work < gap {
            continue;
        }
        let (hour, rest) = (minute / 60, minute % 60);
        let clock_s = (f64::from(at_work * 60) * (1.0 + gain)).floor();
        text.push_str(&format!(
            "2026-03-01T{hour:02}:{rest:02}:00Z,{clock_s},{}\n",
            at_work / 20
        ));
    }
    Log::parse("bench.csv", &text).expect("a log")
}

fn drift(log: &Log) -> Option<Finding> {
    let fit = Fit::of(&node::example(NAME), log, &Known::NOTHING);
    let mut own = fit
        .findings
        .into_iter()
        .filter(|finding| finding.code == "clock-drift");
    own.next()
}

/// A right clock is right however often it starts anew: at one row after the other, or unseen, when it has already passed where it
/// stood before.
#[test]
fn a_clock_that_starts_anew_does_not_drift() {
    for (starts, gap) in [
        (&[][..], 0),
        (&[90], 0),
        (&[300], 0),
        (&[500], 0),
        (&[60, 240, 310, 450], 0),
        (&[30], 100),
    ] {
        assert_eq!(drift(&log(starts, 0.0, gap)), None, "{starts:?}, {gap} min");
    }
}

/// A start that the count tells of parts the lives where the clock does not: 200 rows of each, and by the first row that is seen of the
/// second the clock has passed where it stood.
#[test]
fn a_start_that_only_the_count_shows_is_no_drift() {
    let before = (0..200).map(|minute| (minute, minute, minute / 20));
    let behind = (510..710).map(|minute| (minute, minute - 300, (minute - 300) / 100));
    let rows: String = before
        .chain(behind)
        .map(|(minute, at_work, count)| {
            let (hour, rest) = (minute / 60, minute % 60);
            format!("2026-03-01T{hour:02}:{rest:02}:00Z,{},{count}\n", at_work * 60)
        })
        .collect();
    let log = Log::parse("bench.csv", &format!("time,time_s,count\n{rows}")).expect("a log");
    assert_eq!(drift(&log), None);
}

/// A clock that gains 3 % is found over its restarts, with its figure.
#[test]
fn a_drift_is_found_over_restarts() {
    let gain = 0.03;
    for starts in [&[][..], &[90], &[200, 400]] {
        let found = drift(&log(starts, gain, 0)).unwrap_or_else(|| panic!("{starts:?}: none"));
        assert_eq!(found.confidence, Confidence::High);
        let words: Vec<&str> = found.text.split(' ').collect();
        let place = words.iter().position(|word| *word == "%").expect("a percentage");
        let percent: f64 = words[place - 1].parse().expect("a number");
        // The node's seconds are shorter by the part that its clock gains, over what it shows.
        let want = 100.0 * gain / (1.0 + gain);
        // Two digits are shown.
        assert!(
            (percent - want).abs() < 100.0 * WHOLE_SECONDS + 0.005,
            "{}",
            found.text
        );
    }
}
