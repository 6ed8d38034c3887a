use super::*;
use crate::node;
use approx::assert_relative_eq;
use proptest::prelude::*;

/// Rounding of the same few operations, done twice.
const ROUNDING: f64 = 1e-9;

/// Equation 14 by hand for the crack gauge, full at 5.3 V: 1 F · 80 % · 70 % · 90 % = 0.504 F and 16 h of darkness. Asleep it draws
/// 3 V · 2.4 uA · 1.1 / 72 %, 0.6 uA and the leakage of the bank. The threshold and the cost of a report are those of other tests.
#[test]
fn even_spending_is_as_by_hand() {
    let node = node::example("crack-gauge");
    let thresholds = Thresholds::of(&node);
    let horizon_s = 16.0 * 3600.0;
    let leakage_a = thresholds.corner.leakage.get::<siemens>() * 5.3;
    let sleep_w = 3.0 * 2.4e-6 * 1.1 / 0.72 + 5.3 * (0.6e-6 + leakage_a);
    let decide_v = f64::from(thresholds.transmit.decide_mv.max(thresholds.measure.decide_mv)) * 1e-3;
    let spare_j = 0.504 / 2.0 * (5.3 * 5.3 - decide_v * decide_v) - sleep_w * horizon_s;
    let cost_j = thresholds.transmit.energy + thresholds.measure.energy * f64::from(node.policy.batch);
    let by_hand_s = horizon_s * cost_j.get::<joule>() / spare_j;
    let found = even_spending(&node, &thresholds, 5300);
    assert_relative_eq!(found.get::<second>(), by_hand_s, max_relative = ROUNDING);
    // At the threshold nothing is to spare: the slowest pace.
    assert_eq!(
        even_spending(&node, &thresholds, thresholds.transmit.decide_mv),
        node.policy.slowest
    );
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Whatever the bank and the horizon: no reading waits shorter than equation 14 asks, a row begins at the first reading that may wait
    /// as short as it does, and less stored never waits shorter.
    #[test]
    fn no_reading_waits_shorter(capacitance_f in 0.6..12.0f64, horizon_h in 0.5..72.0f64, batch in 1..=12_u32, rows_at_most in 2..=12_usize) {
        let mut node = node::example("crack-gauge");
        node.storage[0].capacitance = farads(capacitance_f);
        node.policy.dark_horizon = seconds(horizon_h * 3600.0);
        node.policy.batch = batch;
        let thresholds = Thresholds::of(&node);
        let table = rows(&node, &thresholds, rows_at_most);
        prop_assert!(!table.is_empty() && table.len() <= rows_at_most);
        prop_assert_eq!(table[table.len() - 1].from_mv, 0);
        prop_assert!(table.windows(2).all(|pair| pair[0].from_mv > pair[1].from_mv && pair[0].wait_s < pair[1].wait_s));
        let asked_s = |storage_mv: u32| (even_spending(&node, &thresholds, storage_mv) / f64::from(batch)).get::<second>();
        for storage_mv in (0..=5300).step_by(7) {
            let row = table.iter().find(|row| u32::from(row.from_mv) <= storage_mv).expect("the last row holds at 0 mV");
            prop_assert!(f64::from(row.wait_s) >= asked_s(storage_mv) * (1.0 - ROUNDING), "{storage_mv} mV: {row:?}");
        }
        for row in table.iter().filter(|row| row.from_mv > 0) {
            let below_mv = u32::from(row.from_mv) - 1;
            prop_assert!(asked_s(below_mv) > f64::from(row.wait_s) * (1.0 - ROUNDING), "{row:?}");
        }
    }
}
