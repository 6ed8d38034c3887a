//! Two records of the evaluation in which no python is needed: the planned pace keeps what docs/pacing.md says.
//!
//! The whole table: `cargo run --release -p millpond-tests --bin paces`.

use millpond_tests::paces::{self, RECORDS, Row};

/// Rounding of a mean of two.
const ROUNDING: f64 = 1e-12;

/// The goal of the evaluation for its worst record.
const WORST_SCORE: f64 = 0.75;

fn rows(name: &str) -> Vec<Row> {
    let record = RECORDS
        .iter()
        .find(|record| record.name == name)
        .expect("a record");
    let income = record.income(None).expect("usable").expect("made without python");
    paces::of_record(record, &income, false).expect("a node that works")
}

fn check(name: &str) {
    let rows = rows(name);
    let of = |pace: &str| rows.iter().find(|row| row.pace == pace).expect("a row");
    let (planned, even) = (of("planned"), of("even"));
    let score = planned.score.expect("foresight lives");
    assert!((WORST_SCORE..=1.0).contains(&score), "{planned:?}");
    assert!(
        score >= even.score.expect("foresight lives"),
        "{planned:?} {even:?}"
    );
    assert_eq!(
        (planned.brownouts, planned.early_brownouts),
        (0, Some(0)),
        "{planned:?}"
    );
}

#[test]
fn a_dry_place_is_paced_well() {
    check("made, 35 N, dry");
}

#[test]
fn a_machine_that_stops_is_paced_well() {
    check("steam trap, rare stops");
}

/// By hand: of two records the median is the mean, and the published rule with the better median counts.
#[test]
fn a_summary_is_as_by_hand() {
    let row = |record: &str, pace, score| Row {
        record: record.to_owned(),
        pace,
        score: Some(score),
        dead_s: 0.0,
        brownouts: 0,
        longest_silence_s: 300.0,
        bound_silence_s: Some(100.0),
        early_brownouts: None,
    };
    let rows = [
        row("a", "planned", 0.8),
        row("b", "planned", 0.6),
        row("a", "hourly slot averages", 0.5),
        row("b", "hourly slot averages", 0.2),
        row("a", "constant fraction", 0.3),
        row("b", "constant fraction", 0.3),
    ];
    let summary = paces::summary(&rows).expect("two records");
    assert_eq!((summary.records, summary.worst, summary.silence), (2, 0.6, 3.0));
    assert!((summary.median - 0.7).abs() < ROUNDING);
    assert!((summary.over_published - 0.7 / 0.35).abs() < ROUNDING);
}
