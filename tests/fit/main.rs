//! The fit against logs of known truth: intervals hold it, and findings are raised at their fault and not in health.
//!
//! The whole table is `cargo run --release -p millpond-tests --bin faults`; here are fewer logs of it.

use millpond_tests::rates;

/// Logs for each fault, and healthy ones.
const LOGS: usize = 40;
/// Of 95 intervals in 100 that hold the truth, 40 logs show fewer than 34 in three of a thousand tables.
const LEAST_HELD: f64 = 0.85;
/// Parameters that fewer logs than this give are not judged.
const LEAST_GIVEN: usize = 30;
/// A rate of 95 % shows less than this in 14 of a thousand tables of 40 logs.
const LEAST_RAISED: f64 = 0.87;
/// One healthy log in 40 may raise a finding of 2 %, and another by chance.
const MOST_HEALTHY: f64 = 0.05;

#[test]
fn intervals_hold_the_truth() {
    let coverage = rates::coverage(rates::FIRST_SEED, LOGS);
    let table = rates::coverage_table(&coverage);
    let judged: Vec<_> = coverage.iter().filter(|one| one.given >= LEAST_GIVEN).collect();
    assert!(judged.len() >= 4, "{table}");
    for one in judged {
        assert!(one.held as f64 >= LEAST_HELD * one.given as f64, "{table}");
    }
}

#[test]
fn findings_are_raised_at_their_fault_and_not_in_health() {
    let rates = rates::faults(rates::FIRST_SEED, LOGS, |_| {});
    let table = rates::table(&rates);
    for rate in &rates {
        assert!(
            rate.raised_when_present >= LEAST_RAISED,
            "{}\n{table}",
            rate.finding
        );
        assert!(
            rate.raised_when_healthy <= MOST_HEALTHY,
            "{}\n{table}",
            rate.finding
        );
    }
}
