//! How a bank discharges under a sequence of drains, integrated: any number of branches, any drain, leakage.
//!
//! The step is that of `model/branches.rs`. A recording of many rows on constant capacitances goes row by row through
//! `model/modes.rs`.

use crate::model::bank::Bank;
use crate::model::branches::{Branches, Drawn, Stepped, sized};
use crate::model::modes::Modes;
pub use crate::model::stretch::{Discharged, Stretch};
use crate::units::*;

/// Error allowed in one step (V). A phase takes some tens of steps, so the sum stays below a microvolt.
const STEP_TOLERANCE_V: f64 = 1e-8;
/// More stretches than this are a recording.
const MANY_ROWS: usize = 64;
/// A bank that collapses before its branches have moved by this much collapses here and now (V).
const COLLAPSED_V: f64 = 1e-10;

/// Runs `stretches` one after the other on `bank`, from `inner_v` volts behind each branch's resistance.
///
/// `None` when the bank collapses on the way: it cannot give the power at any terminal voltage.
///
/// ```
/// use millpond_model::model::{bank::*, discharge::*, drain::Drain};
/// use millpond_numbers::units::*;
/// let bank = Bank {
///     branches: vec![Branch { capacitance: farads(1.0), slope: farads_per_volt(0.0), resistance: ohms(2.0) }],
///     leakage: siemenses(0.0),
/// };
/// let drain = Drain { power: watts(0.0), current: amperes(0.1) };
/// let stretch = Stretch { drain, peak: drain, duration: seconds(1.0) };
/// // 0.1 A for 1 s takes 0.1 V from 1 F, and 0.2 V stand across 2 ohm meanwhile.
/// let end = discharge(&bank, &[3.0], &[stretch]).unwrap();
/// assert!((end.lowest - volts(2.7)).abs() < volts(1e-9));
/// ```
pub fn discharge(bank: &Bank, inner_v: &[f64], stretches: &[Stretch]) -> Option<Discharged> {
    sized!(bank.branches.len(), sequence(bank, inner_v, stretches))
}

/// The same on a bank of at most `N` branches.
fn sequence<const N: usize>(bank: &Bank, inner_v: &[f64], stretches: &[Stretch]) -> Option<Discharged> {
    let modes = if stretches.len() > MANY_ROWS {
        Modes::<N>::of(bank)
    } else {
        None
    };
    match modes {
        Some(mut modes) => modes.discharge(inner_v, stretches),
        None => stepped::<N>(bank, inner_v, stretches),
    }
}

/// The same, step by step.
pub(crate) fn stepped<const N: usize>(
    bank: &Bank,
    inner_v: &[f64],
    stretches: &[Stretch],
) -> Option<Discharged> {
    let branches = Branches::<N>::of(bank);
    let mut state_v = Branches::<N>::state(inner_v);
    let mut lowest_v = f64::INFINITY;
    for stretch in stretches {
        lowest_v = lowest_v.min(run(&branches, &mut state_v, stretch)?);
    }
    Some(Discharged {
        inner_v: state_v[..inner_v.len().min(N)].to_vec(),
        lowest: volts(lowest_v),
    })
}

/// Advances `state_v` over one stretch; the lowest terminal voltage under the stretch's peak drain.
fn run<const N: usize>(branches: &Branches<N>, state_v: &mut [f64; N], stretch: &Stretch) -> Option<f64> {
    let duration_s = stretch.duration.get::<second>();
    let (drawn, peak) = (Drawn::from(&stretch.drain), Drawn::from(&stretch.peak));
    let (mut lowest_v, _) = branches.terminal(state_v, peak)?;
    let mut left_s = duration_s;
    let mut step_s = duration_s;
    while left_s > 0.0 {
        step_s = step_s.min(left_s);
        let now = branches.rates(state_v, drawn)?;
        let stepped = branches
            .step(state_v, &now, drawn, step_s)
            .filter(|next| branches.terminal(&next.state_v, drawn).is_some());
        let Some(Stepped {
            state_v: next_v,
            error_v,
        }) = stepped
        else {
            let fastest = now.rate.iter().fold(0.0, |most: f64, rate| most.max(rate.abs()));
            if step_s * fastest < COLLAPSED_V {
                return None;
            }
            step_s /= 4.0;
            continue;
        };
        let growth = if error_v > 0.0 {
            0.9 * (STEP_TOLERANCE_V / error_v).sqrt().sqrt()
        } else {
            5.0
        };
        if error_v > STEP_TOLERANCE_V {
            step_s *= growth.clamp(0.1, 0.9);
            continue;
        }
        left_s -= step_s;
        step_s *= growth.clamp(1.0, 5.0);
        *state_v = next_v;
        lowest_v = lowest_v.min(branches.terminal(state_v, peak)?.0);
    }
    Some(lowest_v)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::bank::Branch;
    use crate::model::burst::start;
    use crate::model::given::{bank, stretch};
    use approx::assert_abs_diff_eq;
    use proptest::prelude::*;

    /// Two capacitors joined at rest share their charge: 0.8 F at 3 V onto 0.2 F at 0 V end at 2.4 V.
    /// By hand: conservation of charge.
    #[test]
    fn branches_share_their_charge() {
        let bank = bank(&[(0.8, 1.0), (0.2, 1.0)], 0.0);
        let end = discharge(&bank, &[3.0, 0.0], &[stretch(0.0, 0.0, 20.0)]).expect("no load");
        // 20 s are 62 time constants.
        assert_abs_diff_eq!(end.inner_v[0], 2.4, epsilon = 1e-7);
        assert_abs_diff_eq!(end.inner_v[1], 2.4, epsilon = 1e-7);
    }

    /// By hand: with C(u) = C0 + k·u the charge is C0·u + k·u²/2. From 2.5 V, with 0.8 F + 0.2 F/V·u, 2.625 C are stored;
    /// taking 1 C leaves 0.8·u + 0.1·u² = 1.625 C, u = (√(0.64 + 0.65) − 0.8)/0.2 = 1.678908 V.
    #[test]
    fn a_rising_capacitance_gives_the_charge_of_its_integral() {
        let branch = Branch {
            capacitance: farads(0.8),
            slope: farads_per_volt(0.2),
            resistance: ohms(1.0),
        };
        let bank = Bank {
            branches: vec![branch],
            leakage: siemenses(0.0),
        };
        let end = discharge(&bank, &[2.5], &[stretch(0.0, 0.1, 10.0)]).expect("stays up");
        assert_abs_diff_eq!(end.inner_v[0], 5.0 * (1.29f64.sqrt() - 0.8), epsilon = 1e-7);
        let spent = bank.stored(&[2.5]) - bank.stored(&end.inner_v);
        // Energy taken at constant current: ∫ u dQ = 0.1 A · ∫ u dt, and C0·u²/2 + k·u³/3 by hand.
        let by_hand = |u: f64| 0.4 * u * u + 0.2 / 3.0 * u * u * u;
        assert_abs_diff_eq!(
            spent.value,
            by_hand(2.5) - by_hand(end.inner_v[0]),
            epsilon = 1e-12
        );
    }

    /// By hand: without series resistance P·t = C·(u1² − u2²)/2. A nanoohm stands for none; v − u is then a part of 10⁻¹⁴ of v,
    /// and as a difference of the two would be noise. 0.1 mF at 5 V give 0.5 mW for a second: √(25 − 10) V are left.
    #[test]
    fn next_to_no_resistance_takes_the_energy_alone() {
        let bank = bank(&[(1e-4, 1e-9)], 0.0);
        let end = discharge(&bank, &[5.0], &[stretch(5e-4, 0.0, 1.0)]).expect("1.25 mJ are stored");
        assert_abs_diff_eq!(end.inner_v[0], 15f64.sqrt(), epsilon = 1e-7);
    }

    /// By hand: a leaking capacitor falls exponentially, with time constant C·(R + 1/G).
    #[test]
    fn leakage_alone_is_an_exponential() {
        let bank = bank(&[(0.01, 100.0)], 1e-3);
        let end = discharge(&bank, &[5.0], &[stretch(0.0, 0.0, 3.0)]).expect("no load");
        assert_abs_diff_eq!(
            end.inner_v[0],
            5.0 * (-3.0f64 / (0.01 * 1100.0)).exp(),
            epsilon = 1e-7
        );
    }

    #[test]
    fn too_much_power_is_a_collapse_and_not_a_number() {
        let bank = bank(&[(0.1, 5.0)], 0.0);
        assert_eq!(discharge(&bank, &[2.0], &[stretch(0.21, 0.0, 0.01)]), None);
        // 0.19 W can be given at first (2 V, 5 ohm: 0.2 W at most) but not for 100 ms.
        assert_eq!(discharge(&bank, &[2.0], &[stretch(0.19, 0.0, 0.1)]), None);
    }

    /// The bank stands for a while at the very edge of collapse; the answer must come all the same. 1 ohm and 1 W need
    /// 2 V, and the edge is reached from above in ten seconds and more.
    #[test]
    fn the_edge_of_collapse_is_no_trap() {
        let bank = bank(&[(10.0, 1.0), (1e-4, 0.01)], 0.0);
        for above_v in [1e-3, 1e-6, 1e-9, 1e-12, 0.0] {
            let end = discharge(&bank, &[2.0 + above_v; 2], &[stretch(0.99, 0.0, 1e4)]);
            assert_eq!(end, None, "10 F from 2 V hold 20 J");
        }
    }

    /// Where the power limit sets the start, a burst from 50 µV and more below the closed form's answer collapses. A step that
    /// lands on the edge must not take the standing solution there for an answer.
    #[test]
    fn no_burst_survives_below_its_start() {
        let mut runs = 0;
        for (r, p) in (1..40).step_by(4).flat_map(|r| {
            (1..40)
                .step_by(4)
                .map(move |p| (f64::from(r), f64::from(p) * 5e-3))
        }) {
            for duration_s in (1..6).map(|t| 1e-3 * 4f64.powi(t)) {
                let branch = Branch {
                    capacitance: farads(0.01),
                    slope: farads_per_volt(0.0),
                    resistance: ohms(r),
                };
                let below_the_limit = volts(0.5 * (p * r).sqrt());
                let burst = [stretch(p, 0.0, duration_s)];
                let start = start(&branch, below_the_limit, &burst).expect("closed form");
                let bank = Bank {
                    branches: vec![branch],
                    leakage: siemenses(0.0),
                };
                for k in [1, 2, 5, 20, 100, 199] {
                    runs += 1;
                    let from_v = start.value - f64::from(k) * 5e-5;
                    assert_eq!(
                        discharge(&bank, &[from_v], &burst),
                        None,
                        "r {r} p {p} t {duration_s} k {k}"
                    );
                }
            }
        }
        assert!(runs > 1000);
    }

    proptest! {
        /// Charge is conserved: what leaves the branches is what the constant current and nothing else took.
        #[test]
        fn charge_is_conserved(
            c1 in 0.01..10.0f64, r1 in 0.05..20.0f64, c2 in 1e-5..1e-2f64, r2 in 1e-3..0.1f64,
            current in 1e-6..1e-2f64, duration in 1e-3..10.0f64,
        ) {
            let bank = bank(&[(c1, r1), (c2, r2)], 0.0);
            prop_assume!(current * duration / c1 + current * r1 < 2.0);
            let end = discharge(&bank, &[5.0, 5.0], &[stretch(0.0, current, duration)]).expect("stays up");
            let taken = c1 * (5.0 - end.inner_v[0]) + c2 * (5.0 - end.inner_v[1]);
            // A microvolt on the whole bank.
            prop_assert!((taken - current * duration).abs() < 1e-6 * (c1 + c2), "{taken}");
        }

        /// A fuller bank ends fuller and dips less.
        #[test]
        fn the_lowest_point_rises_with_the_start(
            start in 2.5..5.0f64, more in 0.001..0.5f64, power in 1e-3..0.05f64, duration in 1e-3..1.0f64,
        ) {
            let bank = bank(&[(0.5, 5.0), (1e-4, 0.01)], 1e-6);
            let run = |u: f64| discharge(&bank, &[u, u], &[stretch(power, 0.0, duration)]);
            if let Some(low) = run(start) {
                let high = run(start + more).expect("a fuller bank does not collapse where an emptier one stood");
                prop_assert!(high.lowest > low.lowest);
            }
        }
    }
}
