//! The emitted energy model beside the energy that the worst bank holds.

use proptest::prelude::*;

use super::policy;
use crate::node::{self, Node};
use crate::thresholds::Thresholds;
use crate::units::*;

/// Rounding of the powers and sums on both sides, relative.
const ROUNDING: f64 = 1e-12;
/// What the integer model may lack of its own constant at the full reading: three roundings of 15 bits and more each.
const INTEGER: f64 = 1.0 / 8192.0;

/// The example with a gate, its cell another one: capacitance at 5.5 V, and the part of it that is gone at 0 V.
fn gauge(capacitance_f: f64, gone: f64) -> Node {
    let mut node = node::example("crack-gauge");
    let part = &mut node.storage[0];
    part.capacitance = farads(capacitance_f);
    part.capacitance_slope = farads_per_volt(capacitance_f * gone / 5.5);
    node
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// For every millivolt from the floor to full, in the corner of the example (80 % · 70 % · 90 %): what firmware counts on is
    /// at most C0/2·(v² − f²) + k/3·(v³ − f³), and at least C(f)/2·(v² − f²) but for its rounding.
    #[test]
    fn stored_energy_is_never_above_that_of_a_rising_capacitance(capacitance_f in 0.3..15.0f64, gone in 0.0..0.95f64) {
        let node = gauge(capacitance_f, gone);
        let policy = policy(&node, &Thresholds::of(&node)).map_err(|rejected| TestCaseError::fail(rejected.text()))?;
        let corner = 0.8 * 0.7 * 0.9;
        let (low_f, slope_f_per_v) = (capacitance_f * (1.0 - gone) * corner, capacitance_f * gone / 5.5 * corner);
        // 2.3 V, 2 % up.
        let floor_v: f64 = 2.346;
        let energy = policy.parts().energy;
        for storage_mv in energy.floor_mv..=energy.full_mv {
            let v = f64::from(storage_mv) / 1e3;
            let truth_j = low_f / 2.0 * (v * v - floor_v * floor_v) + slope_f_per_v / 3.0 * (v.powi(3) - floor_v.powi(3));
            let counted_j = f64::from(policy.stored_uj(storage_mv)) * 1e-6;
            prop_assert!(counted_j <= truth_j * (1.0 + ROUNDING) + ROUNDING, "{storage_mv} mV: {counted_j} of {truth_j} J");
        }
        let full_v = f64::from(energy.full_mv) / 1e3;
        let constant_j = (low_f + slope_f_per_v * floor_v) / 2.0 * (full_v * full_v - floor_v * floor_v);
        let counted_j = f64::from(policy.stored_uj(energy.full_mv)) * 1e-6;
        prop_assert!(counted_j >= constant_j * (1.0 - INTEGER) - 1e-6, "{counted_j} of {constant_j} J");
    }

    /// A cell that has less at every voltage below its rated one needs thresholds that are at least as high, its action alone
    /// and with the reserve asleep after it.
    #[test]
    fn less_capacitance_at_low_voltage_never_lowers_a_threshold(capacitance_f in 0.3..15.0f64, gone in 0.01..0.9f64) {
        let (constant, rising) = (gauge(capacitance_f, 0.0), gauge(capacitance_f, gone));
        let (constant, rising) = (Thresholds::of(&constant), Thresholds::of(&rising));
        for ((_, even), (_, steep)) in constant.actions().into_iter().zip(rising.actions()) {
            // Each is known to a tenth of a microvolt.
            prop_assert!(steep.start >= even.start - volts(2e-7));
            prop_assert!(steep.start_with_reserve >= even.start_with_reserve - volts(2e-7));
            prop_assert!(steep.decide_mv >= even.decide_mv);
        }
        prop_assert!(rising.hysteresis_mv >= constant.hysteresis_mv);
    }
}
