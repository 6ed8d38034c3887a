mod nodes;

use super::*;
use crate::model::load::Load;
use crate::node::*;
use approx::assert_relative_eq;
use nodes::*;
use proptest::prelude::*;

/// Half a unit of the last digit of 0.96 mW.
const PRINTED_W: f64 = 0.005e-3;
/// Half a unit of the last digit of 1.9 mAh.
const PRINTED_MAH: f64 = 0.05;
/// Half a unit of the last digit of 0.142 mA.
const PRINTED_A: f64 = 0.5e-6;

/// Sums and products of some tens of doubles.
const ROUNDING: f64 = 1e-12;

/// By hand: floor 2.5 V + 0.12 V, overvoltage 5.2 V, so 3.91 V. A series regulator passes the current on: the
/// capture takes (7.4 mA + 1.2 uA)·1.3 s from storage and that charge times 3.91 V. 70 bytes of 32 us are
/// sent.
#[test]
fn actions_of_the_pump_bearing_are_as_by_hand() {
    let budget = Budget::of(&pump_bearing());
    assert_relative_eq!(budget.working_voltage.value, 3.91, max_relative = ROUNDING);
    let capture = &budget.measure.phases[0];
    assert_relative_eq!(capture.rail_charge.value, 9.62e-3, max_relative = ROUNDING);
    assert_relative_eq!(
        capture.storage_charge.value,
        7.4012e-3 * 1.3,
        max_relative = ROUNDING
    );
    assert_relative_eq!(
        capture.storage_energy.value,
        3.91 * 7.4012e-3 * 1.3,
        max_relative = ROUNDING
    );
    assert_relative_eq!(
        budget.transmit.attempt.on_air.value,
        2.24e-3,
        max_relative = ROUNDING
    );
    assert_relative_eq!(
        budget.transmit.total.duration.value,
        3.0 * 5.84e-3,
        max_relative = ROUNDING
    );
    assert_relative_eq!(
        budget.transmit.total.rail_charge.value,
        3.0 * (19e-3 * 3.6e-3 + 22e-3 * 2.24e-3),
        max_relative = ROUNDING
    );
}

/// By hand, at 3.91 V: 3.8 uA and 1.2 uA; 30 uA·3.91/5.4 in the string and 1 uA·3.91/10 in the ceramic; 3.91
/// V over 940 kohm, and over 1.68 Mohm; 50 nA that leak into the input draw 680/1680 of it through the divider.
#[test]
fn a_day_asleep_of_the_pump_bearing_is_as_by_hand() {
    let mut node = pump_bearing();
    node.sense.input_leakage = amperes(50e-9);
    let day = Budget::of(&node).day;
    let sensing_a = 3.91 / 1.68e6 + 50e-9 * 680.0 / 1680.0;
    let leakage_a = 30e-6 * 3.91 / 5.4 + 1e-6 * 3.91 / 10.0;
    for (draw, current_a) in [
        (day.load, 3.8e-6),
        (day.quiescent, 1.2e-6),
        (day.leakage, leakage_a),
        (day.balance, 3.91 / 940e3),
        (day.sensing, sensing_a),
        (day.total, 5e-6 + leakage_a + 3.91 / 940e3 + sensing_a),
    ] {
        assert_relative_eq!(draw.current.value, current_a, max_relative = ROUNDING);
        assert_relative_eq!(draw.charge.value, current_a * 86400.0, max_relative = ROUNDING);
        assert_relative_eq!(
            draw.energy.value,
            3.91 * current_a * 86400.0,
            max_relative = ROUNDING
        );
    }
    assert_relative_eq!(
        day.power.value,
        3.91 * day.total.current.value,
        max_relative = ROUNDING
    );
}

/// By hand: a gate that disconnects above the regulator's floor raises the working voltage, one below does
/// not.
#[test]
fn the_working_voltage_is_half_way_to_the_higher_floor() {
    for (disconnect_v, working_v) in [(3.0, 4.1), (2.0, 3.91)] {
        let mut node = pump_bearing();
        node.supply.gate = Some(Gate {
            connect_above: volts(4.0),
            disconnect_below: volts(disconnect_v),
            tolerance: fraction(0.02),
        });
        assert_relative_eq!(
            Budget::of(&node).working_voltage.value,
            working_v,
            max_relative = ROUNDING
        );
    }
}

/// By hand: a switching regulator takes rail energy over efficiency, whatever the working voltage, besides
/// its own current.
#[test]
fn a_switching_regulator_takes_rail_energy_over_efficiency() {
    for overvoltage_v in [3.8, 5.3] {
        let mut node = pump_bearing();
        node.supply.regulator = Regulator::Switching {
            rail: volts(3.0),
            minimum_input: volts(2.2),
            quiescent: amperes(0.0),
            efficiency: Efficiency {
                points: vec![(amperes(1e-3), fraction(0.88))],
            },
        };
        node.harvest.overvoltage = volts(overvoltage_v);
        let budget = Budget::of(&node);
        assert_relative_eq!(
            budget.measure.total.storage_energy.value,
            3.0 * 9.62e-3 / 0.88,
            max_relative = ROUNDING
        );
        assert_eq!(budget.day.quiescent.energy, joules(0.0));
    }
}

/// By hand: cells of 10 F in series are 5 F, beside them 121 uF: ½·5.000121·(5.2² − 2.62²) J.
#[test]
fn the_store_holds_half_c_v_squared() {
    let store = Budget::of(&pump_bearing()).store;
    assert_relative_eq!(
        store.usable.value,
        0.5 * 5.000121 * (5.2 * 5.2 - 2.62 * 2.62),
        max_relative = ROUNDING
    );
}

/// By hand, from the other figures of the budget: a report is four samples and three attempts, and 65 % of
/// what the source offers reaches storage.
#[test]
fn the_store_pays_for_whole_reports_or_for_sleep() {
    let budget = Budget::of(&pump_bearing());
    let report = budget.measure.attempt.storage_energy * 4.0 + budget.transmit.attempt.storage_energy * 3.0;
    assert_relative_eq!(
        budget.store.reports,
        (budget.store.usable / report).value,
        max_relative = ROUNDING
    );
    assert_relative_eq!(
        (budget.store.asleep.expect("it draws") * budget.day.power).value,
        budget.store.usable.value,
        max_relative = ROUNDING
    );
    let income = budget.slowest.every_attempt;
    assert_relative_eq!(
        income.at_source.value * 0.65,
        income.at_storage.value,
        max_relative = ROUNDING
    );
}

/// Published: 0.2 A at 3.6 V for 50 ms a minute and 0.1 mA in between average to 0.96 mW ("Peak power
/// support", brief on pulsed loads).
#[test]
fn pulse_power_equals_the_published_example() {
    // The example's period is the pulse and a minute of idling.
    let mut node = lossless(
        3.6,
        0.1e-3,
        fixed("nothing", 0.1e-3, 1e-6),
        fixed("pulse", 0.2, 50e-3),
    );
    node.policy.fastest = seconds(60.05);
    let income = Budget::of(&node).fastest.first_try;
    assert!((income.at_storage - watts(0.96e-3)).abs() < watts(PRINTED_W));
}

/// Published: 0.05 mA for 3473 s, 56 mA for 120 s and 0.44 mA for 6 s of an hour come to 1.9 mAh ("How to
/// calculate average power consumption in mAh").
#[test]
fn hourly_charge_equals_the_published_example() {
    let mut node = lossless(
        3.0,
        0.05e-3,
        fixed("read", 0.44e-3, 6.0),
        fixed("send", 56e-3, 120.0),
    );
    node.policy.fastest = seconds(3473.0 + 120.0 + 6.0);
    let charge = Budget::of(&node).fastest.first_try.energy / volts(3.0);
    assert!((charge.value / 3.6 - 1.9).abs() < PRINTED_MAH, "{charge:?}");
}

/// Published: 28 mA for 0.65 s, 31 mA for 50 ms, then 120 uA for 15 minutes average to 0.142 mA ("Calculating
/// sensor battery life", measured at 3.0 V).
#[test]
fn average_current_equals_the_published_example() {
    let mut node = lossless(
        3.0,
        120e-6,
        fixed("idle", 28e-3, 0.65),
        fixed("transmit", 31e-3, 50e-3),
    );
    node.policy.slowest = seconds(900.7);
    let average = Budget::of(&node).slowest.first_try.at_storage / volts(3.0);
    assert!((average.value - 0.142e-3).abs() < PRINTED_A, "{average:?}");
}

/// By hand: 900 uW at 65 % are 585 uW at storage; a converter that pushes 0.1 mA at most gives 391 uW at 3.91
/// V.
#[test]
fn an_offer_is_bound_by_efficiency_and_current() {
    let mut node = pump_bearing();
    let offered = |node: &Node| Budget::of(node).offer.expect("a constant source").at_storage;
    assert_relative_eq!(offered(&node).value, 585e-6, max_relative = ROUNDING);
    node.harvest.maximum_current = amperes(0.1e-3);
    assert_relative_eq!(offered(&node).value, 391e-6, max_relative = ROUNDING);
}

#[test]
fn an_income_below_sleep_sustains_no_pace() {
    let mut node = pump_bearing();
    node.harvest.source = Source::Constant { power: watts(1e-6) };
    let offer = Budget::of(&node).offer.expect("a constant source");
    assert_eq!((offer.first_try, offer.every_attempt), (None, None));
    node.harvest.source = Source::Trace;
    assert_eq!(Budget::of(&node).offer, None);
}

/// A pace quicker than its own actions (four captures of 1.3 s and three attempts of 5.84 ms) becomes as
/// quick as they are.
#[test]
fn a_pace_is_no_quicker_than_its_actions() {
    let mut node = pump_bearing();
    node.policy.fastest = seconds(1.0);
    let fastest = Budget::of(&node).fastest;
    assert_relative_eq!(fastest.period.value, 5.2 + 3.0 * 5.84e-3, max_relative = ROUNDING);
}

proptest! {
    /// The budget takes the same charge as the load that thresholds and simulation run on, at zero excess.
    #[test]
    fn budget_and_load_agree(node in any_node()) {
        let budget = Budget::of(&node);
        for (action, spent) in [
            (&node.boot, &budget.boot),
            (&node.measure, &budget.measure),
            (&node.transmit, &budget.transmit),
        ] {
            let load = Load::of(&node.supply.regulator, action, node.radio.as_ref(), fraction(0.0));
            let charge = load.charge_at(budget.working_voltage);
            assert_relative_eq!(spent.total.storage_charge.value, charge.value, max_relative = ROUNDING);
            assert_relative_eq!(spent.total.duration.value, load.duration.value, max_relative = ROUNDING);
            assert_relative_eq!(spent.total.on_air.value, load.on_air.value, max_relative = ROUNDING);
        }
    }

    /// The items of the sleeping day add up to its total, and none is negative.
    #[test]
    fn a_day_asleep_adds_up(node in any_node()) {
        let day = Budget::of(&node).day;
        let items = [day.load, day.quiescent, day.leakage, day.balance, day.sensing];
        let energy: Energy = items.iter().map(|item| item.energy).sum();
        assert_relative_eq!(energy.value, day.total.energy.value, max_relative = ROUNDING);
        prop_assert!(items.iter().all(|item| item.current >= amperes(0.0)));
    }

    /// The pace that an income sustains asks for that income, unless it is the policy's fastest and asks for
    /// less.
    #[test]
    fn a_sustained_pace_asks_for_its_income(node in any_node()) {
        let offer = Budget::of(&node).offer.expect("a constant source");
        if let Some(period) = offer.first_try {
            let mut at_that_pace = node.clone();
            at_that_pace.policy.slowest = period;
            let pace = Budget::of(&at_that_pace).slowest;
            // Where all attempts do not fit into the period of a first try, the pace is slower and asks for
            // less.
            if period > node.policy.fastest && pace.period == period {
                assert_relative_eq!(
                    pace.first_try.at_storage.value, offer.at_storage.value, max_relative = ROUNDING
                );
            } else {
                prop_assert!(pace.first_try.at_storage <= offer.at_storage * (1.0 + ROUNDING));
            }
        }
    }

    /// Reporting faster, or with retries, never asks for less income while an action draws more than sleep
    /// does.
    #[test]
    fn a_faster_pace_asks_for_more(node in any_node()) {
        let budget = Budget::of(&node);
        prop_assert!(budget.fastest.first_try.at_storage > budget.slowest.first_try.at_storage);
        prop_assert!(budget.fastest.every_attempt.at_storage >= budget.fastest.first_try.at_storage);
        prop_assert!(budget.slowest.first_try.at_source >= budget.slowest.first_try.at_storage);
        prop_assert!(budget.slowest.first_try.at_storage > budget.day.power);
    }
}
