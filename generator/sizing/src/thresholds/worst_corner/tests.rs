use super::*;
use crate::model::given::{capacitor, stretch};
use crate::node::{Regulator, example};
use approx::assert_abs_diff_eq;
use proptest::prelude::*;

/// The width of a search's bracket and the integrator's error over some hundred steps (V).
const FOUND_V: f64 = 2e-6;
/// What a pulse of a microsecond takes by its charge, 0.48 uC from a millifarad, and what the source of 1000 F falls by.
const SHORT_V: f64 = 1e-3;

fn cell(capacitance_f: f64, esr_ohm: f64, esr_minimum_ohm: f64) -> Capacitor {
    Capacitor {
        esr_minimum: ohms(esr_minimum_ohm),
        ..capacitor(capacitance_f, esr_ohm)
    }
}

fn node(storage: Vec<Capacitor>) -> Node {
    let mut node = example("crack-gauge");
    node.storage = storage;
    node.supply.regulator = Regulator::Direct {
        minimum_input: volts(2.0),
    };
    node.sense.divider_switched = true;
    node
}

/// By hand: 10 mA for 20 ms from a source behind 10 ohm with 1 mF beside it behind ρ·10 ohm drop the terminal by
/// 0.1 V·(1 − e^(−2/(1+ρ))/(1+ρ)): 82 mV for ρ = 1, 86 mV for ρ = 0. After 5 ms it is the other way round: 61 and 39 mV.
#[test]
fn a_small_branch_behind_no_resistance_is_emptied_early() {
    let node = node(vec![cell(1000.0, 10.0, 10.0), cell(1e-3, 10.0, 0.0)]);
    let drop_v = |x: f64, rho: f64| 0.1 * (1.0 - libm::exp(-x / (1.0 + rho)) / (1.0 + rho));
    for (duration_s, words, start_v) in [
        (20e-3, ["high", "low"], 2.0 + drop_v(2.0, 0.0)),
        (5e-3, ["high", "high"], 2.0 + drop_v(0.5, 1.0)),
    ] {
        let highest = highest_start(&node, volts(2.0), &[stretch(0.0, 10e-3, duration_s)]);
        assert_eq!(highest.corner.resistance_words(), words);
        assert_abs_diff_eq!(highest.start.value, start_v, epsilon = FOUND_V);
    }
}

/// By hand: 50 mA for 10 ms, a pause of 40 ms and a short 480 mA, from a source behind 10 ohm and a capacitor beside it behind
/// 1 ohm. With d the volts that the capacitor lacks, the terminal lacks (d/1 + I)/(1/1 + 1/10), and d goes to 10·I with the time
/// constant 11·C: 1 mF has recovered by the second pulse but for 8 mV and asks for 444 mV, 2 mF but for 27 mV and asks for 464 mV.
#[test]
fn a_larger_branch_recovers_more_slowly() {
    let mut beside = cell(1e-3, 1.0, 1.0);
    beside.tolerance_high = fraction(1.0);
    let node = node(vec![cell(1000.0, 10.0, 10.0), beside]);
    let highest = highest_start(
        &node,
        volts(2.0),
        &[
            stretch(0.0, 50e-3, 10e-3),
            stretch(0.0, 0.0, 40e-3),
            stretch(0.0, 480e-3, 1e-6),
        ],
    );
    assert_eq!(highest.corner.capacitance_words(), ["low", "high"]);
    let lacks_v = 0.5 * (1.0 - libm::exp(-10.0 / 22.0)) * libm::exp(-40.0 / 22.0);
    assert_abs_diff_eq!(
        highest.start.value,
        2.0 + (lacks_v + 0.48) / 1.1,
        epsilon = SHORT_V
    );
}

/// By hand: asleep for 10 hours at 1 uA and no voltage to speak of on its resistance, 1 F that leaks 10 uA at 5.5 V loses some 0.17 V
/// when hot by a factor of four, where the cold's 90 % of the capacitance would cost 0.06 V.
#[test]
fn the_hot_end_wins_where_leakage_decides() {
    let mut leaky = cell(1.0, 1e-3, 1e-3);
    leaky.leakage = amperes(10e-6);
    leaky.hot_leakage = Some(fraction(4.0));
    leaky.cold_capacitance = fraction(0.9);
    let node = node(vec![leaky]);
    let asleep = [stretch(0.0, 1e-6, 36e3)];
    let highest = highest_start(&node, volts(2.0), &asleep);
    assert_eq!(highest.corner.end, End::Hot);
    let leakage_s = 4.0 * 10e-6 / 5.5;
    let still = 1e-6 / leakage_s;
    let start_v = (2.0 + still) * libm::exp(leakage_s * 36e3) - still;
    assert_abs_diff_eq!(highest.start.value, start_v, epsilon = FOUND_V);
}

proptest! {
    /// No bank inside the box falls further: any resistance between its ends, any more capacitance.
    #[test]
    fn nothing_in_the_box_is_worse(
        parts in prop::collection::vec((-5.0..0.5f64, -2.5..1.3f64, 0.0..1.0f64), 1..4),
        loads in prop::collection::vec((-5.5..-1.3f64, -4.0..0.5f64), 1..8),
        points in prop::collection::vec((prop::collection::vec((0.0..1.0f64, 1.0..2.0f64), 4), prop::bool::ANY), 24),
    ) {
        let mut storage: Vec<Capacitor> = parts
            .iter()
            .map(|(c, r, least)| {
                let esr = libm::pow(10.0, *r);
                cell(libm::pow(10.0, *c), esr, if *least < 0.5 { 0.0 } else { esr * least })
            })
            .chain([cell(0.5, 2.0, 0.5)])
            .collect();
        storage.iter_mut().for_each(|part| part.tolerance_high = fraction(1.0));
        let node = node(storage);
        let stretches: Vec<Stretch> = loads
            .iter()
            .map(|(current, time)| stretch(0.0, libm::pow(10.0, *current), libm::pow(10.0, *time)))
            .collect();
        let highest = highest_start(&node, volts(2.0), &stretches);
        for (point, is_end) in points {
            let mut corner = Corner::largest(node.storage.len());
            for (share, (place, _)) in corner.resistance.iter_mut().zip(&point) {
                *share = if is_end { place.round() } else { *place };
            }
            let mut bank = corner.bank(&node);
            for (branch, (_, more)) in bank.branches.iter_mut().zip(&point) {
                branch.capacitance *= *more;
            }
            let rest = vec![highest.start.get::<volt>(); bank.branches.len()];
            let lowest = discharge(&bank, &rest, &stretches).map(|end| end.lowest);
            prop_assert!(lowest.is_some_and(|lowest| lowest >= volts(2.0 - FOUND_V)), "{lowest:?} {corner:?} {highest:?}");
        }
    }
}
