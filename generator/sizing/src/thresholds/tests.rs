use super::*;
use crate::model::given::capacitor;
use crate::model::reading::Converter;
use crate::node::{Capacitor, Efficiency, Extent, Phase, Regulator, Sense, SenseKind};
use approx::{assert_abs_diff_eq, assert_relative_eq};
use proptest::prelude::*;

/// The worked example is given to 0.1 mV, from the closed form without quiescent current and leakage, which take 22 µV.
const WORKED_V: f64 = 1e-4;

/// Rounding of some ten operations on volts (V), and of a difference of two microamperes (A).
const ROUNDING_V: f64 = 1e-9;
const ROUNDING_A: f64 = 1e-15;

fn crack_gauge() -> Node {
    crate::node::example("crack-gauge")
}

/// The worked example of the physics notes: C = 0.504 F, R = 7.92 ohm, floor 2.346 V at the worst corner. Confirmed there by a
/// circuit simulator; the tests crate does so again.
#[test]
fn crack_gauge_has_its_worked_thresholds() {
    let thresholds = Thresholds::of(&crack_gauge());
    assert_relative_eq!(
        thresholds.corner.branches[0].capacitance.value,
        0.504,
        max_relative = 1e-12
    );
    assert_relative_eq!(
        thresholds.corner.branches[0].resistance.value,
        7.92,
        max_relative = 1e-12
    );
    assert_relative_eq!(thresholds.floor.value, 2.346, max_relative = 1e-12);
    assert_abs_diff_eq!(thresholds.transmit.start.value, 2.9159, epsilon = WORKED_V);
    assert_abs_diff_eq!(thresholds.measure.start.value, 2.4109, epsilon = WORKED_V);
    assert_abs_diff_eq!(thresholds.boot.start.value, 2.3968, epsilon = WORKED_V);
    assert_relative_eq!(
        thresholds.transmit.load.on_air.value,
        0.185344,
        max_relative = 1e-9
    );
}

/// Without quiescent current and leakage the closed form takes over: 2.915944, 2.410923 and 2.396773 V by root finding
/// (SciPy) on the equation of constant power.
#[test]
fn the_closed_form_gives_the_worked_example_to_a_microvolt() {
    let mut node = crack_gauge();
    node.storage[0].leakage = amperes(0.0);
    node.sense.divider_switched = true;
    if let Regulator::Switching { quiescent, .. } = &mut node.supply.regulator {
        *quiescent = amperes(0.0);
    }
    let thresholds = Thresholds::of(&node);
    assert_abs_diff_eq!(thresholds.transmit.start.value, 2.915944, epsilon = 1e-6);
    assert_abs_diff_eq!(thresholds.measure.start.value, 2.410923, epsilon = 1e-6);
    assert_abs_diff_eq!(thresholds.boot.start.value, 2.396773, epsilon = 1e-6);
}

/// By hand: a direct supply at constant current, i = 1 mA for 1 s from 1 F behind 10 ohm: 1 mV for the charge and 10 mV for
/// the resistance above a floor of 2 V; the reserve of 100 s at 10 uA takes 1 mV, the lift of 0.1 mA on 10 ohm 1 mV. Reading
/// errors: 1 % on the reference lifts by v/99; one count of 4.096 V in 4096 is 1 mV.
#[test]
fn every_term_is_what_a_hand_computes() {
    let mut node = crack_gauge();
    node.storage = vec![plain_cell()];
    node.supply.regulator = Regulator::Direct {
        minimum_input: volts(2.0),
    };
    node.supply.gate = None;
    node.sleep_current = amperes(10e-6);
    node.measure = constant_current(1e-3, 1.0);
    node.policy.reserve = seconds(100.0);
    node.harvest.maximum_current = amperes(1e-4);
    node.sense.bits = 12;
    node.sense.reference = volts(4.096);
    node.sense.reference_tolerance = fraction(0.01);
    node.sense.divider_switched = true;
    node.sense.divider_top = ohms(0.0);
    node.sense.divider_tolerance = fraction(0.05);
    node.margins.load = fraction(0.0);
    node.margins.extra = volts(5e-3);
    let threshold = Threshold::of(&node, &node.measure);
    let term = |cause| {
        threshold
            .terms
            .iter()
            .find(|term| term.cause == cause)
            .expect("every cause is listed")
            .voltage
            .value
    };
    // A microvolt is the integrator's error.
    assert_abs_diff_eq!(term(Cause::Action), 1e-3, epsilon = 1e-6);
    assert_abs_diff_eq!(term(Cause::SeriesResistance), 10e-3, epsilon = 1e-6);
    // The resistive drop of the action is over when the reserve begins: only 0.1 mV of it is still needed then, and 1 mV of
    // charge fits below it.
    assert_abs_diff_eq!(term(Cause::Reserve), 0.0, epsilon = 1e-6);
    assert_abs_diff_eq!(term(Cause::ChargingLift), 1e-3, epsilon = 1e-9);
    assert_abs_diff_eq!(term(Cause::ReferenceTolerance), 2.012 / 99.0, epsilon = 1e-6);
    // Without a top resistor the ratio is 1 whatever the bottom one is.
    assert_abs_diff_eq!(term(Cause::DividerTolerance), 0.0, epsilon = 1e-12);
    assert_abs_diff_eq!(term(Cause::OneCount), 1e-3, epsilon = 1e-12);
    assert_abs_diff_eq!(term(Cause::Extra), 5e-3, epsilon = 1e-12);
    let sum: f64 = 2.012 + 2.012 / 99.0 + 1e-3 + 5e-3;
    assert_eq!(f64::from(threshold.decide_mv), (sum * 1e3).ceil());
}

/// Root-sum-square of 3 and 4 is 5, and the shares sum to it: 9/5 and 16/5. By hand.
#[test]
fn root_sum_square_shares_sum_to_the_root() {
    let mut sense = crack_gauge().sense;
    sense.bits = 6;
    sense.reference = volts(64.0 * 0.04);
    sense.divider_top = ohms(0.0);
    let mut scale = Scale::of(&sense);
    scale.reference_high = fraction(1.03);
    let shares = sensing(&scale, volts(1.0), Stack::RootSumSquare);
    assert_abs_diff_eq!(shares[0].1.value, 0.018, epsilon = 1e-12);
    assert_abs_diff_eq!(shares[1].1.value, 0.0, epsilon = 1e-12);
    assert_abs_diff_eq!(shares[4].1.value, 0.032, epsilon = 1e-12);
    assert_eq!((shares[2].1, shares[3].1), (volts(0.0), volts(0.0)));
}

/// By hand: 20 nA give out 94 mV behind 4.7 Mohm at 0 tolerance; times the reference's 1/0.97. All rows are listed, and sum.
#[test]
fn input_leakage_is_a_term_of_its_own() {
    let mut node = crack_gauge();
    let without = Threshold::of(&node, &node.measure);
    node.sense.divider_tolerance = fraction(0.0);
    node.sense.input_leakage = amperes(20e-9);
    let with = Threshold::of(&node, &node.measure);
    let term = |threshold: &Threshold, cause| {
        let mut terms = threshold.terms.iter();
        terms
            .find(|term| term.cause == cause)
            .expect("every cause is listed")
            .voltage
    };
    assert_eq!(term(&without, Cause::InputLeakage), volts(0.0));
    assert_eq!(term(&without, Cause::Settling), volts(0.0));
    assert_abs_diff_eq!(
        term(&with, Cause::InputLeakage).value,
        0.094 / 0.97,
        epsilon = ROUNDING_V
    );
    // Asleep it draws 20 nA / 5.7 more.
    let more = with.reserve.drain.current - without.reserve.drain.current;
    assert_abs_diff_eq!(more.value, 20e-9 / 5.7, epsilon = ROUNDING_A);
}

/// Two counts of 5.7·1.1 V/1024 are 12.25 mV, more than a measurement takes. Where charging stops 4 mV above the threshold, 4 mV are
/// what is left; where it stops at the threshold, one millivolt still is a hysteresis.
#[test]
fn an_action_resumes_below_the_end_of_charging() {
    let hysteresis_mv = |overvoltage_mv: u32| {
        let mut node = crack_gauge();
        node.harvest.overvoltage = rounding::from_millivolts(overvoltage_mv);
        Thresholds::of(&node).hysteresis_mv
    };
    let highest_mv = Thresholds::of(&crack_gauge()).transmit.decide_mv;
    assert_eq!(hysteresis_mv(5300), 13);
    assert_eq!(hysteresis_mv(highest_mv + 4), 4);
    assert_eq!(hysteresis_mv(highest_mv), 1);
}

fn plain_cell() -> Capacitor {
    capacitor(1.0, 10.0)
}

fn constant_current(current_a: f64, duration_s: f64) -> Action {
    let current = amperes(current_a);
    Action {
        phases: vec![Phase {
            name: "only".to_owned(),
            current,
            peak_current: current,
            extent: Extent::Fixed(seconds(duration_s)),
        }],
        attempts: 1,
    }
}

proptest! {
    /// The terms sum to the threshold less the floor; none is negative; the reading allows for the worst unit.
    #[test]
    fn terms_sum_to_the_threshold(
        c in 0.05..5.0f64, r in 0.1..10.0f64, tolerance in 0.0..0.3f64, aged in 0.5..1.0f64, cold_r in 1.0..3.0f64,
        load in 0.0..0.3f64, extra in 0.0..0.1f64, rss in prop::bool::ANY, efficiency in 0.6..0.95f64,
    ) {
        let mut node = crack_gauge();
        let part = &mut node.storage[0];
        part.capacitance = farads(c);
        part.esr = ohms(r);
        part.tolerance_low = fraction(tolerance);
        part.end_of_life_capacitance = fraction(aged);
        part.cold_esr = fraction(cold_r);
        node.margins.load = fraction(load);
        node.margins.extra = volts(extra);
        node.margins.stack = if rss { Stack::RootSumSquare } else { Stack::WorstCase };
        if let Regulator::Switching { efficiency: table, .. } = &mut node.supply.regulator {
            *table = Efficiency { points: vec![(amperes(1e-3), fraction(efficiency))] };
        }
        let thresholds = Thresholds::of(&node);
        for (_, threshold) in thresholds.actions() {
            let sum: f64 = threshold.terms.iter().map(|term| term.voltage.value).sum();
            let above = f64::from(threshold.decide_mv) / 1e3 - thresholds.floor.value;
            // Rounding of some twenty additions.
            prop_assert!((sum - above).abs() < 1e-12 * 100.0, "{sum} {above}");
            for term in &threshold.terms {
                // Two searches, each good to the width of its bracket.
                prop_assert!(term.voltage.value > -1e-6, "{term:?}");
            }
            prop_assert!(threshold.start_with_reserve >= threshold.start);
            // Where the threshold is above full scale no count reads it; a finding says so.
            if threshold.decide_counts <= thresholds.counts.maximum_count {
                prop_assert!(thresholds.counts.millivolts(threshold.decide_counts) >= threshold.decide_mv);
            } else {
                prop_assert!(f64::from(threshold.decide_mv) / 1e3 > (thresholds.scale.full_scale - thresholds.scale.count_at(thresholds.scale.full_scale)).value - 0.002);
            }
            if !rss {
                // The unit that reads highest, charging, one count up, still stands at start_with_reserve or above.
                let truth = threshold.start_with_reserve + thresholds.charging_lift;
                let highest = truth * thresholds.scale.reference_high * thresholds.scale.divider_high + thresholds.scale.count_at(truth);
                prop_assert!(highest.value <= f64::from(threshold.decide_mv) / 1e3 + 1e-9);
            }
        }
    }

    /// Random sensing inside its box, of both kinds: from a millivolt below what the worst corner asks for no unit ever reads as much as
    /// it decides on, charging or not.
    #[test]
    fn no_unit_decides_below_its_start(
        is_supply in prop::bool::ANY, bits in 8..=14u32, reference_v in 0.6..1.1f64, tolerance in 0.0..0.05f64, top in 3e6..6e6f64,
        resistors in 0.0..0.02f64, leakage in 0.0..1e-7f64, parts in prop::array::uniform4(-1.0..1.0f64), at_ends in prop::bool::ANY,
    ) {
        let mut node = crack_gauge();
        node.supply.regulator = Regulator::Direct { minimum_input: volts(1.8) };
        node.supply.gate = None;
        node.sense = Sense {
            kind: if is_supply { SenseKind::Reference } else { SenseKind::Divider },
            bits,
            reference: volts(reference_v),
            reference_tolerance: fraction(tolerance),
            divider_top: ohms(if is_supply { 0.0 } else { top }),
            divider_bottom: ohms(1e6),
            divider_tolerance: fraction(if is_supply { 0.0 } else { resistors }),
            divider_switched: is_supply,
            input_leakage: amperes(if is_supply { 0.0 } else { leakage }),
            ..node.sense
        };
        let threshold = Threshold::of(&node, &node.measure);
        let lift = node.harvest.maximum_current * Bank::of_node(&node, Wear::WORST).largest_resistance();
        let end = |part: f64| if at_ends { part.signum() } else { part };
        let mut own = node.sense.clone();
        own.reference *= 1.0 + end(parts[0]) * tolerance;
        own.divider_top *= 1.0 + end(parts[1]) * resistors;
        own.divider_bottom *= 1.0 + end(parts[2]) * resistors;
        let converter = Converter::of(&own, own.input_leakage * end(parts[3]));
        let counts = CountScale::of(&Scale::of(&node.sense));
        for below_v in [1e-3, 0.1, 0.5] {
            let truth = threshold.start_with_reserve + lift - volts(below_v);
            let read_mv = counts.millivolts(converter.count(truth.get::<volt>()));
            prop_assert!(read_mv < threshold.decide_mv, "{read_mv} {}", threshold.decide_mv);
        }
        // The same by raw counts.
        let count = converter.count((threshold.start_with_reserve + lift - volts(1e-3)).get::<volt>());
        let permits = if is_supply { count <= threshold.decide_counts } else { count >= threshold.decide_counts };
        prop_assert!(!permits);
    }
}
