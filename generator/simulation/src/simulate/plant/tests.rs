mod branch_by_branch;

use branch_by_branch::SEVERAL_V;
use proptest::prelude::*;

use super::converter::ROUNDING;
use super::*;
use crate::model::bank::Branch;
use crate::node::Source;

/// What a voltage after a whole advance may miss its closed form by (V): thousands of steps, each with a local error below
/// [`STEP_TOLERANCE_V`], most of them far below.
const VOLTAGE_V: f64 = 1e-6;
/// The same for a time, as a part of it.
const TIME: f64 = 1e-6;
/// A resistance that takes less than `VANISHED` of what passes it in these tests.
const SMALL_OHM: f64 = 1e-3;
/// i²·R over i·v with the [`SMALL_OHM`], averaged from 0 V up, with some tens of milliamperes at most for most of the time.
const VANISHED: f64 = 1e-4;

fn one(capacitance_f: f64, resistance_ohm: f64, leakage_s: f64) -> Bank {
    Bank {
        branches: vec![Branch {
            capacitance: farads(capacitance_f),
            slope: farads_per_volt(0.0),
            resistance: ohms(resistance_ohm),
        }],
        leakage: siemenses(leakage_s),
    }
}

/// A converter of 80 % (10 % below 1 V) that gives at most 10 A and stops at 5 V.
fn converter() -> Harvest {
    Harvest {
        source: Source::Trace,
        converter_efficiency: fraction(0.8),
        overvoltage: volts(5.0),
        maximum_current: amperes(10.0),
        cold_start: volts(1.0),
        cold_start_efficiency: fraction(0.1),
    }
}

/// The same without a cold start.
fn always_warm() -> Harvest {
    Harvest {
        cold_start: volts(0.0),
        ..converter()
    }
}

fn drain(power_w: f64, current_a: f64) -> Drain {
    Drain {
        power: watts(power_w),
        current: amperes(current_a),
    }
}

/// Lets time pass without limits, which must be possible.
fn pass(plant: &mut Plant, drain: &Drain, time_s: f64) {
    let ended = plant.advance(drain, time_s, f64::NEG_INFINITY, f64::INFINITY);
    assert_eq!(ended, (End::Time, time_s));
}

fn assert_close(got: f64, want: f64, tolerance: f64) {
    assert!(
        (got - want).abs() <= tolerance,
        "want {want}, got {got}, tolerance {tolerance}"
    );
}

/// P·t = C·u²/2.
#[test]
fn constant_power_fills_an_empty_capacitor_with_its_energy() {
    let mut plant = Plant::new(&one(0.5, SMALL_OHM, 0.0), &always_warm(), volts(0.0));
    plant.offer(0.01);
    for minutes in 1..=5 {
        pass(&mut plant, &drain(0.0, 0.0), 60.0);
        let want_v = (2.0 * 0.8 * 0.01 * 60.0 * f64::from(minutes) / 0.5_f64).sqrt();
        assert_close(plant.inner_v(), want_v, VANISHED * want_v);
    }
}

/// Equation 8 with the power turned round: t = C/(2·P)·(v2² − v1²) + C·R·ln(v2/v1), from v1 = √(P·R) at u = 0.
#[test]
fn constant_power_through_a_resistance_takes_the_time_of_its_closed_form() {
    let (capacitance_f, resistance_ohm, power_w) = (0.3, 20.0, 0.05);
    let mut plant = Plant::new(
        &one(capacitance_f, resistance_ohm, 0.0),
        &always_warm(),
        volts(0.0),
    );
    plant.offer(power_w / 0.8);
    let (end, taken_s) = plant.advance(&drain(0.0, 0.0), 1e6, f64::NEG_INFINITY, 4.0);
    let first_v = f64::sqrt(power_w * resistance_ohm);
    let want_s = capacitance_f / (2.0 * power_w) * (16.0 - first_v * first_v)
        + capacitance_f * resistance_ohm * (4.0 / first_v).ln();
    assert_eq!(end, End::Above);
    assert_close(taken_s, want_s, TIME * want_s);
    assert_close(plant.inner_v(), 4.0 - power_w * resistance_ohm / 4.0, VOLTAGE_V);
}

/// The charge of the largest current; what the converter could have given beyond it is spilled.
#[test]
fn the_largest_current_limits_charging() {
    let harvest = Harvest {
        maximum_current: amperes(2e-3),
        ..always_warm()
    };
    let (resistance_ohm, time_s) = (5.0, 100.0);
    let mut plant = Plant::new(&one(0.1, resistance_ohm, 0.0), &harvest, volts(1.0));
    plant.offer(0.1 / 0.8);
    pass(&mut plant, &drain(0.0, 0.0), time_s);
    let want_v = 1.0 + 2e-3 * time_s / 0.1;
    assert_close(plant.inner_v(), want_v, VOLTAGE_V);
    let stored_j = 0.05 * (want_v * want_v - 1.0);
    let lost_j = 2e-3 * 2e-3 * resistance_ohm * time_s;
    let ledger = plant.ledger();
    assert_close(ledger.harvested_j, 0.1 * time_s, ROUNDING * 10.0);
    assert_close(ledger.resistance_j, lost_j, VOLTAGE_V * lost_j);
    assert_close(
        ledger.spilled_j,
        0.1 * time_s - stored_j - lost_j,
        VOLTAGE_V * stored_j,
    );
}

/// Held at V the gap V − u falls by e in R·C; what the converter takes is what the capacitor, the loads and the leakage need.
#[test]
fn at_the_limit_the_gap_falls_as_an_exponential_and_the_rest_is_spilled() {
    let (capacitance_f, resistance_ohm, leakage_s, time_s) = (0.2, 10.0, 1e-4, 3.0);
    let mut plant = Plant::new(
        &one(capacitance_f, resistance_ohm, leakage_s),
        &always_warm(),
        volts(4.9),
    );
    plant.offer(1.0);
    let asleep = drain(1e-3, 1e-3);
    assert_eq!(plant.terminal_v(&asleep), Some(5.0));
    pass(&mut plant, &asleep, time_s);
    let left = f64::exp(-time_s / (capacitance_f * resistance_ohm));
    assert_close(plant.inner_v(), 5.0 - 0.1 * left, VOLTAGE_V);
    // ∫ V·(V − u)/R dt = V·C·(u2 − u1) goes into the capacitor and its resistance.
    let taken_j = 5.0 * capacitance_f * 0.1 * (1.0 - left) + (1e-3 + 5e-3 + 25.0 * leakage_s) * time_s;
    let ledger = plant.ledger();
    assert_close(ledger.harvested_j, 0.8 * time_s, ROUNDING);
    assert_close(ledger.spilled_j, 0.8 * time_s - taken_j, 1e-9);
    assert_close(ledger.leaked_j, 25.0 * leakage_s * time_s, ROUNDING);
}

/// A load that is more than the converter gives takes the terminal off the limit.
#[test]
fn the_limit_is_left_under_a_load() {
    let mut plant = Plant::new(&one(0.2, 10.0, 0.0), &always_warm(), volts(5.0));
    plant.offer(0.01);
    assert_eq!(plant.terminal_v(&drain(0.0, 0.0)), Some(5.0));
    pass(&mut plant, &drain(0.0, 0.02), 2.0);
    // The converter's 8 mW at close to 4.8 V are 1.6 mA.
    let want_v = 5.0 - (0.02 - 0.008 / 4.8) * 2.0 / 0.2;
    assert_close(plant.inner_v(), want_v, 2e-3);
    assert!(plant.terminal_v(&drain(0.0, 0.02)).is_some_and(|v_v| v_v < 4.8));
    assert_eq!(plant.ledger().spilled_j, 0.0);
}

/// u = u0·exp(−t/(C·(R + 1/G))).
#[test]
fn leakage_empties_as_an_exponential() {
    let (capacitance_f, resistance_ohm, leakage_s, time_s) = (0.1, 50.0, 1e-4, 2000.0);
    let mut plant = Plant::new(
        &one(capacitance_f, resistance_ohm, leakage_s),
        &converter(),
        volts(4.0),
    );
    pass(&mut plant, &drain(0.0, 0.0), time_s);
    let want_v = 4.0 * f64::exp(-time_s / (capacitance_f * (resistance_ohm + 1.0 / leakage_s)));
    assert_close(plant.inner_v(), want_v, VOLTAGE_V);
    let ledger = plant.ledger();
    // The terminal has the share (1/G)/(R + 1/G) of u, and of the lost energy.
    let lost_j = capacitance_f / 2.0 * (16.0 - want_v * want_v);
    let share = 1.0 / (1.0 + resistance_ohm * leakage_s);
    assert_close(ledger.leaked_j, lost_j * share, TIME * lost_j);
    assert_close(ledger.spent_j, lost_j * (1.0 - share), TIME * lost_j);
}

/// C·1²/2 at 10 %, then C·(2² − 1²)/2 at 80 %.
#[test]
fn below_the_cold_start_the_poorer_efficiency_holds() {
    let mut plant = Plant::new(&one(0.5, SMALL_OHM, 0.0), &converter(), volts(0.0));
    plant.offer(0.01);
    let (end, taken_s) = plant.advance(&drain(0.0, 0.0), 1e6, f64::NEG_INFINITY, 2.0);
    let want_s = 0.25 / 0.01 * (1.0 / 0.1 + 3.0 / 0.8);
    assert_eq!(end, End::Above);
    assert_close(taken_s, want_s, VANISHED * want_s);
    let harvested_j = 0.25 * 4.0;
    assert_close(plant.ledger().harvested_j, harvested_j, VANISHED * harvested_j);
}

/// Constant current: t = C·(u − I·R − floor)/I.
#[test]
fn a_constant_current_reaches_the_floor_when_its_charge_is_gone() {
    let mut plant = Plant::new(&one(0.2, 8.0, 0.0), &converter(), volts(3.0));
    let (end, taken_s) = plant.advance(&drain(0.0, 0.01), 1e6, 2.0, f64::INFINITY);
    let want_s = 0.2 * (3.0 - 0.08 - 2.0) / 0.01;
    assert_eq!(end, End::Below);
    assert_close(taken_s, want_s, TIME * want_s);
    let ledger = plant.ledger();
    assert_close(ledger.resistance_j, 0.01 * 0.01 * 8.0 * want_s, TIME);
}

/// Equation 8 down to the power limit √(P·R), where the storage collapses.
#[test]
fn a_constant_power_collapses_at_the_power_limit() {
    let (capacitance_f, resistance_ohm, power_w) = (0.01, 10.0, 0.1);
    let mut plant = Plant::new(&one(capacitance_f, resistance_ohm, 0.0), &converter(), volts(3.0));
    let load = drain(power_w, 0.0);
    let first_v = plant.terminal_v(&load).expect("3 V carry 0.1 W");
    let (end, taken_s) = plant.advance(&load, 1e6, 0.5, f64::INFINITY);
    let last_v = f64::sqrt(power_w * resistance_ohm);
    let want_s = capacitance_f / (2.0 * power_w) * (first_v * first_v - last_v * last_v)
        - capacitance_f * resistance_ohm * (first_v / last_v).ln();
    assert_eq!(end, End::Below);
    assert_close(taken_s, want_s, 1e-4 * want_s);
    assert!(plant.terminal_v(&drain(2.0 * power_w, 0.0)).is_none());
}

/// A load whose current alone takes more than u from the terminal is not carried by a converter that has not its power, whatever
/// current it could give: 5 mA through 1 kΩ take 5 V, and 30 µW are 6 µA at 5 V.
#[test]
fn a_converter_without_power_holds_nothing() {
    let mut plant = Plant::new(&one(1e-3, 1e3, 0.0), &always_warm(), volts(2.0));
    plant.offer(30e-6 / 0.8);
    for power_w in [0.0, 25e-6, 29e-6, 31e-6] {
        let terminal_v = plant.terminal_v(&drain(power_w, 5e-3));
        assert!(
            terminal_v.is_none_or(|v_v| v_v < 0.01),
            "{power_w} {terminal_v:?}"
        );
    }
}

/// The estimate of a step's error vanishes for an exponential in a step of its time constant, at which a quarter of this stretch
/// ends; the voltage does not notice.
#[test]
fn no_stretch_hides_a_step_that_is_too_long() {
    let (capacitance_f, leakage_s) = (4e-3, 1e-5);
    for quarters in [1.0, 4.0, 16.0, 64.0] {
        let mut plant = Plant::new(
            &one(capacitance_f, SMALL_OHM, leakage_s),
            &converter(),
            volts(3.0),
        );
        let time_s = quarters * capacitance_f * (SMALL_OHM + 1.0 / leakage_s);
        pass(&mut plant, &drain(0.0, 0.0), time_s);
        assert_close(plant.inner_v(), 3.0 * f64::exp(-quarters), VOLTAGE_V);
        assert!(plant.ledger().is_balanced());
    }
}

/// Nothing flows into or out of empty storage, and time passes all the same.
#[test]
fn empty_storage_without_income_stays_empty() {
    let mut plant = Plant::new(&one(0.2, 8.0, 1e-6), &converter(), volts(0.0));
    pass(&mut plant, &drain(0.0, 0.0), 86_400.0);
    assert_eq!(plant.inner_v(), 0.0);
    assert_eq!(plant.terminal_v(&drain(0.0, 1e-9)), None);
    assert_eq!(plant.terminal_v(&drain(1e-9, 0.0)), None);
}

/// Equation 10: Q = C0·u + k·u²/2.
#[test]
fn a_rising_capacitance_gives_its_charge_and_its_energy() {
    let mut bank = one(0.2, 8.0, 0.0);
    bank.branches[0].slope = farads_per_volt(0.05);
    let mut plant = Plant::new(&bank, &converter(), volts(4.0));
    pass(&mut plant, &drain(0.0, 0.01), 30.0);
    let charge_c = 0.2 * 4.0 + 0.025 * 16.0 - 0.01 * 30.0;
    let want_v = (f64::sqrt(0.04 + 0.1 * charge_c) - 0.2) / 0.05;
    assert_close(plant.inner_v(), want_v, VOLTAGE_V);
    let stored_j = |u_v: f64| 0.1 * u_v * u_v + 0.05 / 3.0 * u_v.powi(3);
    assert_close(plant.ledger().stored_start_j, stored_j(4.0), ROUNDING * 4.0);
    assert_close(plant.ledger().stored_end_j, stored_j(want_v), VOLTAGE_V);
}

/// Even in the logarithm.
fn between(low: f64, high: f64) -> impl Strategy<Value = f64> {
    (low.ln()..high.ln()).prop_map(f64::exp)
}

/// A piece of a run: duration, offered power, drained power and current; half of them without income.
fn piece() -> impl Strategy<Value = (f64, f64, f64, f64)> {
    (
        between(1e-3, 1e5),
        prop_oneof![Just(0.0), between(1e-6, 1.0)],
        prop_oneof![Just(0.0), between(1e-6, 0.2)],
        between(1e-7, 0.05),
    )
}

/// Capacitance, time constant and rise of a branch.
fn branch() -> impl Strategy<Value = Branch> {
    (between(1e-6, 20.0), between(1e-12, 10.0), 0.0f64..0.3).prop_map(
        |(capacitance_f, time_constant_s, rise)| Branch {
            capacitance: farads(capacitance_f),
            slope: farads_per_volt(rise * capacitance_f / 5.0),
            resistance: ohms(time_constant_s / capacitance_f),
        },
    )
}

/// Without leakage and with a load of constant current, what leaves the branches is what it took.
fn stored_c(bank: &Bank, inner_v: &[f64]) -> f64 {
    let branches = bank.branches.iter().zip(inner_v);
    branches
        .map(|(branch, u)| branch.capacitance.get::<farad>() * u + branch.slope.value / 2.0 * u * u)
        .sum()
}

proptest! {
    /// Charge is conserved on any bank.
    #[test]
    fn charge_is_conserved(
        branches in prop::collection::vec(branch(), 2..6),
        pieces in prop::collection::vec((between(1e-3, 1e4), 0.0f64..1.0), 1..20),
    ) {
        let bank = Bank { branches, leakage: siemenses(0.0) };
        let mut plant = Plant::new(&bank, &converter(), volts(4.0));
        let before_c = stored_c(&bank, plant.branches_v());
        let mut taken_c = 0.0;
        for (time_s, share) in pieces {
            // All that a piece takes is a twentieth of what there was, at most.
            let current_a = share * before_c / 20.0 / time_s;
            let (_, passed_s) = plant.advance(&drain(0.0, current_a), time_s, 1.0, f64::INFINITY);
            taken_c += current_a * passed_s;
        }
        let miss_c = before_c - taken_c - stored_c(&bank, plant.branches_v());
        prop_assert!(miss_c.abs() <= SEVERAL_V / 4.0 * before_c, "{miss_c} of {before_c}");
    }

    /// Whatever is offered and drawn on any bank: every joule is in one account.
    #[test]
    fn every_joule_of_several_branches_is_in_one_account(
        branches in prop::collection::vec(branch(), 2..6),
        leakage_s in prop_oneof![Just(0.0), between(1e-9, 1e-3)],
        maximum_a in between(1e-3, 1.0),
        start_v in 0.5f64..5.0,
        pieces in prop::collection::vec(piece(), 1..40),
    ) {
        let bank = Bank { branches, leakage: siemenses(leakage_s) };
        let harvest = Harvest { maximum_current: amperes(maximum_a), ..converter() };
        let mut plant = Plant::new(&bank, &harvest, volts(start_v));
        for (time_s, offered_w, power_w, current_a) in pieces {
            plant.offer(offered_w);
            let (end, taken_s) = plant.advance(&drain(power_w, current_a), time_s, 1.5, f64::INFINITY);
            prop_assert!((0.0..=time_s).contains(&taken_s));
            if end == End::Below {
                plant.advance(&drain(0.0, 0.0), time_s, f64::NEG_INFINITY, 2.0);
            }
            let ledger = plant.ledger();
            prop_assert!(ledger.is_balanced(), "{ledger:?} misses {}", ledger.miss_j());
            for inner_v in plant.branches_v() {
                prop_assert!((-SEVERAL_V..=5.0 + SEVERAL_V).contains(inner_v), "{inner_v}");
            }
        }
    }

    /// Whatever is offered and drawn: the accounts balance to a millionth, no account falls below 0 by more than its rounding, and
    /// the terminal is never charged above the limit. Storage starts with some charge: a millionth of nothing is below a step's
    /// tolerance.
    #[test]
    fn every_joule_is_in_one_account(
        capacitance_f in between(1e-4, 20.0),
        time_constant_s in between(1e-4, 10.0),
        rise in 0.0f64..0.3,
        leakage_s in prop_oneof![Just(0.0), between(1e-9, 1e-3)],
        maximum_a in between(1e-3, 1.0),
        start_v in 0.5f64..5.0,
        pieces in prop::collection::vec(piece(), 1..40),
    ) {
        let mut bank = one(capacitance_f, time_constant_s / capacitance_f, leakage_s);
        bank.branches[0].slope = farads_per_volt(rise * capacitance_f / 5.0);
        let harvest = Harvest { maximum_current: amperes(maximum_a), ..converter() };
        let mut plant = Plant::new(&bank, &harvest, volts(start_v));
        for (time_s, offered_w, power_w, current_a) in pieces {
            plant.offer(offered_w);
            let (end, taken_s) = plant.advance(&drain(power_w, current_a), time_s, 1.5, f64::INFINITY);
            prop_assert!((0.0..=time_s).contains(&taken_s));
            if end == End::Below {
                plant.advance(&drain(0.0, 0.0), time_s, f64::NEG_INFINITY, 2.0);
            }
            let ledger = plant.ledger();
            prop_assert!(ledger.is_balanced(), "{ledger:?} misses {}", ledger.miss_j());
            let turnover_j = ledger.stored_start_j + ledger.harvested_j;
            for account_j in [ledger.harvested_j, ledger.spent_j, ledger.resistance_j, ledger.spilled_j,
                              ledger.leaked_j, ledger.stored_end_j, ledger.spent_j - ledger.resistance_j] {
                prop_assert!(account_j >= -1e-9 * turnover_j, "{ledger:?}");
            }
            prop_assert!(plant.inner_v() <= 5.0 + VOLTAGE_V && plant.inner_v() >= -VOLTAGE_V);
        }
    }
}
