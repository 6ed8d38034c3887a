use super::*;
use crate::model::discharge::stepped;
use crate::model::given::{bank, stretch};
use approx::{assert_abs_diff_eq, assert_relative_eq};
use proptest::prelude::*;

/// What a fast branch is off by within a row: [`MOST_CHANGE`] of its own drop, which is below 50 mV here; the integrator has a
/// tolerance of 0.01 µV for each of its steps.
const ROW_V: f64 = 1e-4;
/// Two equal time constants stand apart by [`APART`], which moves a voltage by as small a part, ten times at most.
const TOLD_APART: f64 = 10.0 * APART;
/// What the current of the leakage makes of two voltages, as a part of it.
const LEAK_V: f64 = 1e-8;
/// 3 µA over 2 ohm, in which the terminal stands below the large branch.
const BELOW_V: f64 = 1e-5;
/// Rounding of some ten operations.
const ROUNDING: f64 = 1e-12;

/// By hand: 1 F behind 2 ohm with 0.5 S across falls to 1/e in 1 F·(2 ohm + 2 ohm), and half of it stands at the terminal.
#[test]
fn one_branch_is_an_exponential() {
    let mut modes = Modes::<1>::of(&bank(&[(1.0, 2.0)], 0.5)).expect("constant capacitance");
    let end = modes
        .discharge(&[3.0], &[stretch(0.0, 0.0, 4.0)])
        .expect("no load");
    assert_relative_eq!(end.inner_v[0], 3.0 / 1_f64.exp(), max_relative = ROUNDING);
    assert_relative_eq!(end.lowest.value, 1.5 / 1_f64.exp(), max_relative = ROUNDING);
}

/// By hand: two equal capacitors with 3 and 1 V, 1 ohm each, meet at 2 V with a time constant of 1 F·1 ohm.
#[test]
fn two_branches_meet_in_the_middle() {
    let mut modes = Modes::<2>::of(&bank(&[(1.0, 1.0), (1.0, 1.0)], 0.0)).expect("constant capacitance");
    let end = modes
        .discharge(&[3.0, 1.0], &[stretch(0.0, 0.0, 2.0)])
        .expect("no load");
    assert_relative_eq!(end.inner_v[0], 2.0 + (-2_f64).exp(), max_relative = TOLD_APART);
    assert_relative_eq!(end.inner_v[1], 2.0 - (-2_f64).exp(), max_relative = TOLD_APART);
}

/// A billionth of the other's resistance moves the leaking away of their common charge by nothing that can be seen.
#[test]
fn a_slow_mode_is_exact_beside_a_fast_one() {
    let mut modes = Modes::<2>::of(&bank(&[(0.5, 2.0), (220e-6, 2e-9)], 1e-6)).expect("constant capacitance");
    let day_s = 86_400.0;
    let end = modes
        .discharge(&[3.0, 3.0], &[stretch(0.0, 0.0, day_s)])
        .expect("no load");
    let time_s = (0.5 + 220e-6) / 1e-6;
    // The terminal stands below the large branch by 2 ohm times 3 µA.
    assert_abs_diff_eq!(end.inner_v[0], 3.0 * (-day_s / time_s).exp(), epsilon = BELOW_V);
    assert_abs_diff_eq!(
        end.inner_v[0] - end.inner_v[1],
        2.0 * 1e-6 * end.inner_v[1],
        epsilon = LEAK_V
    );
}

/// A small branch falls to the level of the others within 0.1 ms, which then rise again: the row ends where it began, 10 mV above
/// its lowest.
#[test]
fn a_terminal_that_turns_inside_a_row_is_seen() {
    let bank = bank(&[(1.0, 10.0), (0.01, 1.0), (1e-4, 0.01)], 0.0);
    let (inner_v, row) = ([4.0, 3.549, 3.6], [stretch(0.0, 0.0, 2.5e-3)]);
    let seen = Modes::<3>::of(&bank)
        .expect("constant capacitances")
        .discharge(&inner_v, &row)
        .expect("no load");
    let by_steps = stepped::<3>(&bank, &inner_v, &row).expect("no load");
    assert!(by_steps.lowest < volts(3.595));
    assert_abs_diff_eq!(seen.lowest.value, by_steps.lowest.value, epsilon = ROW_V);
}

/// As `model/terminal.rs` has it: 1 V behind 0.5 ohm gives 0.5 W and no more.
#[test]
fn too_much_power_is_a_collapse() {
    let bank = bank(&[(1.0, 0.5)], 0.0);
    for (power_w, carries) in [(0.499, true), (0.501, false)] {
        let end = Modes::<1>::of(&bank)
            .expect("constant")
            .discharge(&[1.0], &[stretch(power_w, 0.0, 1e-6)]);
        assert_eq!(end.is_some(), carries, "{power_w} W");
    }
}

/// A capacitance that rises with voltage has no modes.
#[test]
fn a_slope_is_left_to_the_integrator() {
    let mut sloped = bank(&[(1.0, 1.0)], 0.0);
    sloped.branches[0].slope = farads_per_volt(0.1);
    assert!(Modes::<1>::of(&sloped).is_none());
}

/// The integrator of the model, asked for the same rows.
fn compare<const N: usize>(branches: &[(f64, f64)], leakage_s: f64, rows: &[Stretch]) {
    let bank = bank(branches, leakage_s);
    let rest = vec![4.0; N];
    let by_modes = Modes::<N>::of(&bank)
        .expect("constant capacitances")
        .discharge(&rest, rows);
    let by_steps = stepped::<N>(&bank, &rest, rows);
    let (Some(by_modes), Some(by_steps)) = (by_modes, by_steps) else {
        return;
    };
    if by_steps.lowest < volts(1.0) {
        return;
    }
    assert_abs_diff_eq!(by_modes.lowest.value, by_steps.lowest.value, epsilon = ROW_V);
    for (modes_v, steps_v) in by_modes.inner_v.iter().zip(&by_steps.inner_v) {
        assert_abs_diff_eq!(modes_v, steps_v, epsilon = ROW_V);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// Pulses of 0.1 ms to 20 ms under power or current, on banks of one to four branches with resistances down to next to nothing.
    #[test]
    fn rows_are_as_integrated(
        parts in prop::collection::vec((-4.0..0.0_f64, -6.0..0.5_f64), 1..=4),
        rows in prop::collection::vec((0.0..0.06_f64, 0.0..0.02_f64, -4.0..-1.7_f64, any::<bool>()), 65..200),
        leakage in -8.0..-5.0_f64,
    ) {
        let mut branches: Vec<(f64, f64)> = parts.iter().map(|(c, r)| (10_f64.powf(*c), 10_f64.powf(*r))).collect();
        // One of them carries the load.
        branches[0] = (0.3, 0.5);
        let rows: Vec<Stretch> = rows
            .iter()
            .map(|(power_w, current_a, time, by_power)| {
                let duration_s = 10_f64.powf(*time);
                if *by_power { stretch(*power_w, 1e-6, duration_s) } else { stretch(0.0, *current_a, duration_s) }
            })
            .collect();
        let leakage_s = 10_f64.powf(leakage);
        match branches.len() {
            1 => compare::<1>(&branches, leakage_s, &rows),
            2 => compare::<2>(&branches, leakage_s, &rows),
            3 => compare::<3>(&branches, leakage_s, &rows),
            _ => compare::<4>(&branches, leakage_s, &rows),
        }
    }
}
