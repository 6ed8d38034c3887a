//! A bank of several branches.

use super::*;

fn several(branches: &[(f64, f64)], leakage_s: f64) -> Bank {
    let branches = branches.iter().map(|&(capacitance_f, resistance_ohm)| Branch {
        capacitance: farads(capacitance_f),
        slope: farads_per_volt(0.0),
        resistance: ohms(resistance_ohm),
    });
    Bank {
        branches: branches.collect(),
        leakage: siemenses(leakage_s),
    }
}

/// Branches that fall at the same rate carry current in proportion to C_k: 1 F behind 2 Ω beside 3 F behind 4 Ω lose
/// (1/16)·2 + (9/16)·4 = 2.375 W for each A², once the first has fallen behind by 1/4·2 − 3/4·4 = −2.5 V for each ampere.
#[test]
fn branches_come_to_fall_at_the_same_rate() {
    let mut plant = Plant::new(&several(&[(1.0, 2.0), (3.0, 4.0)], 0.0), &converter(), volts(4.0));
    let terminal_v = plant.terminal_v(&drain(0.0, 0.1)).expect("4 V carry 0.1 A");
    // At first as by resistances alone: 2 Ω beside 4 Ω are 4/3 Ω.
    assert_close(terminal_v, 4.0 - 0.1 * 4.0 / 3.0, ROUNDING * 4.0);
    // The two meet with the time constant (2 + 4) Ω · 3/4 F = 4.5 s.
    pass(&mut plant, &drain(0.0, 0.1), 20.0 * 4.5);
    let before_j = plant.ledger().resistance_j;
    let [first_v, second_v] = plant.branches_v() else {
        panic!("two branches")
    };
    assert_close(first_v - second_v, -0.25, SEVERAL_V);
    assert_close(
        (first_v + 3.0 * second_v) / 4.0,
        4.0 - 0.1 * 90.0 / 4.0,
        SEVERAL_V,
    );
    pass(&mut plant, &drain(0.0, 0.1), 10.0);
    assert_close(
        plant.ledger().resistance_j - before_j,
        2.375 * 0.01 * 10.0,
        SEVERAL_V,
    );
}

/// What the terminal of several branches may be off by in a simulation (V).
pub(super) const SEVERAL_V: f64 = 5e-5;

/// By hand: two equal branches are one of twice the capacitance and half the resistance.
#[test]
fn two_equal_branches_are_one() {
    for branches in [2, 3, 7, 20] {
        let mut many = Plant::new(
            &several(&vec![(0.05, 8.0); branches], 1e-5),
            &converter(),
            volts(3.0),
        );
        let whole = branches as f64;
        let mut single = Plant::new(&one(0.05 * whole, 8.0 / whole, 1e-5), &converter(), volts(3.0));
        for (offered_w, power_w, time_s) in [(0.0, 0.01, 2.0), (0.02, 0.0, 100.0), (0.001, 1e-5, 3600.0)] {
            for plant in [&mut many, &mut single] {
                plant.offer(offered_w);
                pass(plant, &drain(power_w, 1e-6), time_s);
            }
            assert_close(many.inner_v(), single.inner_v(), SEVERAL_V);
        }
        let (many, single) = (many.ledger(), single.ledger());
        for (got, want) in many.accounts().iter().zip(single.accounts()) {
            assert_close(
                got.1,
                want.1,
                SEVERAL_V * single.harvested_j.max(single.stored_start_j),
            );
        }
    }
}

/// A branch behind a resistance that lets nothing through stands where it stood, and the other does what it does alone.
#[test]
fn a_branch_behind_a_huge_resistance_takes_no_part() {
    let mut beside = Plant::new(
        &several(&[(0.2, 8.0), (1.0, 1e15)], 0.0),
        &converter(),
        volts(3.0),
    );
    let mut alone = Plant::new(&one(0.2, 8.0, 0.0), &converter(), volts(3.0));
    for plant in [&mut beside, &mut alone] {
        pass(plant, &drain(0.01, 1e-4), 5.0);
        plant.offer(0.005);
        pass(plant, &drain(0.0, 1e-6), 60.0);
    }
    assert_close(beside.branches_v()[0], alone.inner_v(), SEVERAL_V);
    assert_close(beside.branches_v()[1], 3.0, VOLTAGE_V);
}

/// A ceramic of 100 µF behind 10 mΩ beside a cell of 50 Ω that pulses of 90 mA would take down by 4.5 V: for 1 ms it gives nearly all,
/// u falls by I·R·(1 − exp(−t/τ)) with R = R2 and τ = (R1 + R2)·C where the cell does not move. The terminal recovers after.
#[test]
fn a_ceramic_carries_a_pulse() {
    let (cell_ohm, ceramic_f, ceramic_ohm) = (50.0, 100e-6, 0.01);
    let mut plant = Plant::new(
        &several(&[(1e3, cell_ohm), (ceramic_f, ceramic_ohm)], 0.0),
        &converter(),
        volts(4.0),
    );
    let pulse = drain(0.0, 0.09);
    let lowest_v = |plant: &Plant| plant.terminal_v(&pulse).expect("it is carried");
    let (before, whole) = (lowest_v(&plant), cell_ohm + ceramic_ohm);
    assert_close(
        before,
        4.0 - 0.09 * cell_ohm * ceramic_ohm / whole,
        ROUNDING * 4.0,
    );
    pass(&mut plant, &pulse, 1e-3);
    let fall_v = 0.09 * cell_ohm * (1.0 - f64::exp(-1e-3 / (whole * ceramic_f)));
    assert_close(plant.branches_v()[1], 4.0 - fall_v, SEVERAL_V);
    pass(&mut plant, &drain(0.0, 0.0), 30.0 * whole * ceramic_f);
    assert_close(
        plant.terminal_v(&drain(0.0, 0.0)).expect("no load"),
        4.0,
        SEVERAL_V,
    );
    assert!(plant.ledger().is_balanced());
}

/// With the ceramic first above the cell, the terminal falls towards the cell and then rises with what comes in: lowest inside
/// one stretch, where a limit just above that is met and one just below is not.
#[test]
fn a_turn_inside_a_stretch_is_not_overlooked() {
    let bank = several(&[(0.1, 20.0), (1e-3, 0.1)], 0.0);
    let tipped = || {
        let mut plant = Plant::new(&bank, &always_warm(), volts(3.0));
        // The cell lags behind the ceramic while both are charged.
        plant.offer(0.05);
        pass(&mut plant, &drain(0.0, 0.0), 1.0);
        plant.offer(0.002);
        plant
    };
    let mut watched = tipped();
    let mut lowest_v = f64::INFINITY;
    for _ in 0..40_000 {
        pass(&mut watched, &drain(0.0, 0.0), 1e-4);
        lowest_v = lowest_v.min(watched.terminal_v(&drain(0.0, 0.0)).expect("no load"));
    }
    let whole = |lower_v: f64| tipped().advance(&drain(0.0, 0.0), 4.0, lower_v, f64::INFINITY).0;
    assert_eq!(whole(lowest_v - SEVERAL_V), End::Time);
    assert_eq!(whole(lowest_v + SEVERAL_V), End::Below);
}

/// Next to no resistance: charging lifts the terminal by less than a crossing is known to, and the limit is held all the same. A
/// converter that stopped and started at every crossing would take billions of steps.
#[test]
fn the_limit_is_held_without_resistance() {
    for bank in [
        several(&[(5.0, 2.4), (121e-6, 5e-9)], 5e-6),
        several(&[(0.2, 1e-7)], 5e-6),
    ] {
        let mut plant = Plant::new(&bank, &always_warm(), volts(4.99));
        plant.offer(0.02);
        for _ in 0..100 {
            pass(&mut plant, &drain(0.0, 1e-6), 3600.0);
            pass(&mut plant, &drain(0.0, 1e-3), 1e-3);
        }
        assert_close(plant.inner_v(), 5.0, VOLTAGE_V);
        assert!(plant.ledger().is_balanced() && plant.ledger().spilled_j > 0.0);
    }
}

/// Held at V each gap falls by its own R·C.
#[test]
fn at_the_limit_each_branch_has_its_own_exponential() {
    let mut plant = Plant::new(
        &several(&[(0.2, 10.0), (0.01, 1.0)], 1e-4),
        &always_warm(),
        volts(4.9),
    );
    plant.offer(1.0);
    pass(&mut plant, &drain(1e-3, 1e-3), 0.02);
    assert_close(plant.branches_v()[0], 5.0 - 0.1 * f64::exp(-0.01), VOLTAGE_V);
    assert_close(plant.branches_v()[1], 5.0 - 0.1 * f64::exp(-2.0), VOLTAGE_V);
    assert!(plant.ledger().is_balanced());
}

/// A cell above the limit carries the load beside the converter until it has fallen so far that the converter cannot hold the terminal.
#[test]
fn a_branch_above_the_limit_helps_to_hold_it_and_then_does_not() {
    let mut plant = Plant::new(
        &several(&[(0.05, 10.0), (1e-3, 0.1)], 0.0),
        &always_warm(),
        volts(5.5),
    );
    plant.offer(0.01);
    for _ in 0..100 {
        pass(&mut plant, &drain(0.0, 0.02), 0.05);
        assert!(plant.ledger().is_balanced());
    }
    assert!(plant.terminal_v(&drain(0.0, 0.02)).is_some_and(|v_v| v_v < 5.0));
}
