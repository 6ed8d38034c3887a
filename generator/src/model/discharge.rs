//! How a bank discharges under a sequence of drains, integrated: any number of branches, any drain, leakage.
//!
//! The state is the voltage behind each branch's resistance. A bank of a ceramic beside a double-layer cell is
//! stiff (time constants from microseconds to hours), so the integrator is a linearly implicit one: the
//! four-stage Rosenbrock method of order 4 by Kaps and Rentrop with the coefficients of Shampine, "Implementation
//! of Rosenbrock methods", ACM Transactions on Mathematical Software 8 (1982) 93-113 (coefficients from memory;
//! the order is measured in a test, the result is held against the closed form here and against a circuit
//! simulator and an ODE library in the tests crate).

use super::bank::Values;
use crate::model::bank::{Bank, Network};
use crate::model::drain::Drain;
use crate::units::*;

/// Error allowed in one step (V). A phase takes some tens of steps, so the sum stays below a microvolt.
const STEP_TOLERANCE_V: f64 = 1e-8;
/// A bank that collapses before its branches have moved by this much collapses here and now (V).
const COLLAPSED_V: f64 = 1e-10;

/// A stretch of time with one drain.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stretch {
    /// Mean drain: what empties the bank.
    pub drain: Drain,
    /// Highest drain inside: what the terminal must withstand at any moment of the stretch.
    pub peak: Drain,
    /// How long it lasts (s).
    pub duration: Time,
}

/// Where a bank has come to after a sequence of stretches.
#[derive(Clone, Debug, PartialEq)]
pub struct Discharged {
    /// Volts behind each branch's resistance at the end.
    pub inner_v: Vec<f64>,
    /// The lowest terminal voltage seen on the way.
    pub lowest: Voltage,
}

/// Runs `stretches` one after the other on `bank`, from `inner_v` volts behind each branch's resistance.
///
/// `None` when the bank collapses on the way: it cannot give the power at any terminal voltage.
///
/// ```
/// use millpond::{model::{bank::*, discharge::*, drain::Drain}, units::*};
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
    let network = bank.network();
    let mut state_v = Values::from_slice(inner_v);
    let mut lowest_v = f64::INFINITY;
    for stretch in stretches {
        lowest_v = lowest_v.min(run(&network, &mut state_v, stretch)?);
    }
    Some(Discharged {
        inner_v: state_v.into_vec(),
        lowest: volts(lowest_v),
    })
}

/// Advances `state_v` over one stretch; the lowest terminal voltage under the stretch's peak drain.
fn run(network: &Network, state_v: &mut Values, stretch: &Stretch) -> Option<f64> {
    let duration_s = stretch.duration.get::<second>();
    let (mut lowest_v, _) = network.terminal(state_v, &stretch.peak)?;
    let mut left_s = duration_s;
    let mut step_s = duration_s;
    while left_s > 0.0 {
        step_s = step_s.min(left_s);
        let Some((next_v, error_v)) = step(network, state_v, &stretch.drain, step_s) else {
            if movement_v(network, state_v, &stretch.drain, step_s)? < COLLAPSED_V {
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
        lowest_v = lowest_v.min(network.terminal(state_v, &stretch.peak)?.0);
    }
    Some(lowest_v)
}

/// By how much the branches would move in a step at the present rates.
fn movement_v(network: &Network, state_v: &[f64], drain: &Drain, step_s: f64) -> Option<f64> {
    let rates = rates(network, state_v, drain)?;
    Some(
        step_s
            * rates
                .rate
                .iter()
                .fold(0.0, |most: f64, rate| most.max(rate.abs())),
    )
}

/// Rates of change of the inner voltages at one state.
struct Rates {
    rate: Values,
    /// 1/(R·C) of each branch at this state.
    per_s: Values,
    /// By how much each branch's capacitance rises with its voltage, relative to itself (1/V).
    bend_per_v: Values,
    /// Derivative by the terminal voltage of the current that load and leakage draw there.
    drawn_s: f64,
}

fn rates(network: &Network, state_v: &[f64], drain: &Drain) -> Option<Rates> {
    let (terminal_v, drawn_s) = network.terminal(state_v, drain)?;
    let capacitance_f = network.capacitance_f(state_v);
    let per_s: Values = network
        .conductance_s
        .iter()
        .zip(&capacitance_f)
        .map(|(g, c)| g / c)
        .collect();
    // v − u from the currents and not as a difference, of which nothing is left where the resistance is as good as none.
    let drawn_a = drain.power.get::<watt>() / terminal_v
        + drain.current.get::<ampere>()
        + network.leakage_s * terminal_v;
    let all_s: f64 = network.conductance_s.iter().sum();
    let rate = per_s
        .iter()
        .zip(state_v)
        .map(|(per_s, u)| {
            let from_others_a: f64 = network
                .conductance_s
                .iter()
                .zip(state_v)
                .map(|(g, other)| g * (other - u))
                .sum();
            per_s * (from_others_a - drawn_a) / all_s
        })
        .collect();
    let bend_per_v = network
        .slope_f_per_v
        .iter()
        .zip(&capacitance_f)
        .map(|(slope, c)| slope / c)
        .collect();
    Some(Rates {
        rate,
        per_s,
        bend_per_v,
        drawn_s,
    })
}

/// One Rosenbrock step: the new state and the largest difference to the embedded solution of order 3.
fn step(network: &Network, state_v: &[f64], drain: &Drain, step_s: f64) -> Option<(Values, f64)> {
    // Shampine's parameters for the method of Kaps and Rentrop; the system is autonomous.
    const GAMMA: f64 = 0.5;
    const A21: f64 = 2.0;
    const A31: f64 = 48.0 / 25.0;
    const A32: f64 = 6.0 / 25.0;
    const C: [[f64; 3]; 3] = [
        [-8.0, 0.0, 0.0],
        [372.0 / 25.0, 12.0 / 5.0, 0.0],
        [-112.0 / 125.0, -54.0 / 125.0, -2.0 / 5.0],
    ];
    const B: [f64; 4] = [19.0 / 9.0, 0.5, 25.0 / 108.0, 125.0 / 108.0];
    const E: [f64; 4] = [17.0 / 54.0, 7.0 / 36.0, 0.0, 125.0 / 108.0];

    let Rates {
        rate: rate1,
        per_s,
        bend_per_v,
        drawn_s,
    } = rates(network, state_v, drain)?;
    // The matrix 1/(γh) − J is a diagonal less a product of two vectors, since the branches meet in the terminal
    // alone: solved in closed form (Sherman and Morrison 1950).
    let beside: Values = rate1
        .iter()
        .zip(&bend_per_v)
        .map(|(rate, bend)| 1.0 / (GAMMA * step_s) + rate * bend)
        .collect();
    let diagonal: Values = beside
        .iter()
        .zip(&per_s)
        .map(|(beside, per_s)| beside + per_s)
        .collect();
    let answer_s = network.conductance_s.iter().sum::<f64>() + drawn_s;
    let toward: Values = network
        .conductance_s
        .iter()
        .map(|conductance| conductance / answer_s)
        .collect();
    let away: Values = per_s
        .iter()
        .zip(&diagonal)
        .map(|(per_s, diagonal)| per_s / diagonal)
        .collect();
    // One less the product of the two vectors, as a sum without a difference of large terms.
    let kept: f64 = toward
        .iter()
        .zip(beside.iter().zip(&diagonal))
        .map(|(toward, (beside, diagonal))| toward * beside / diagonal)
        .sum::<f64>()
        + drawn_s / answer_s;
    // A longer step than the load takes to run away from the bank: the linear system then has a solution that stands
    // still at the edge of collapse.
    if kept <= 0.0 {
        return None;
    }
    let solve = |right: Values| -> Values {
        let scaled: Values = right
            .iter()
            .zip(&diagonal)
            .map(|(right, diagonal)| right / diagonal)
            .collect();
        let along: f64 = toward.iter().zip(&scaled).map(|(toward, x)| toward * x).sum();
        let factor = along / kept;
        scaled
            .iter()
            .zip(&away)
            .map(|(x, away)| x + factor * away)
            .collect()
    };
    let add = |base: &[f64], parts: &[(f64, &[f64])]| -> Values {
        let mut sum = Values::from_slice(base);
        for (weight, part) in parts {
            sum.iter_mut()
                .zip(*part)
                .for_each(|(sum, part)| *sum += weight * part);
        }
        sum
    };

    let k1 = solve(rate1);
    let rate2 = rates(network, &add(state_v, &[(A21, &k1)]), drain)?.rate;
    let k2 = solve(add(&rate2, &[(C[0][0] / step_s, &k1)]));
    let rate3 = rates(network, &add(state_v, &[(A31, &k1), (A32, &k2)]), drain)?.rate;
    let k3 = solve(add(&rate3, &[(C[1][0] / step_s, &k1), (C[1][1] / step_s, &k2)]));
    let k4 = solve(add(
        &rate3,
        &[
            (C[2][0] / step_s, &k1),
            (C[2][1] / step_s, &k2),
            (C[2][2] / step_s, &k3),
        ],
    ));
    let next_v = add(state_v, &[(B[0], &k1), (B[1], &k2), (B[2], &k3), (B[3], &k4)]);
    let zero = Values::from_elem(0.0, state_v.len());
    let error_v = add(&zero, &[(E[0], &k1), (E[1], &k2), (E[2], &k3), (E[3], &k4)])
        .iter()
        .fold(0.0, |largest: f64, error| largest.max(error.abs()));
    network.terminal(&next_v, drain)?;
    Some((next_v, error_v))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::bank::Branch;
    use crate::model::burst::start;
    use approx::assert_abs_diff_eq;
    use proptest::prelude::*;

    fn bank(branches: &[(f64, f64)], leakage_s: f64) -> Bank {
        let branches = branches
            .iter()
            .map(|(c, r)| Branch {
                capacitance: farads(*c),
                slope: farads_per_volt(0.0),
                resistance: ohms(*r),
            })
            .collect();
        Bank {
            branches,
            leakage: siemenses(leakage_s),
        }
    }

    fn stretch(power_w: f64, current_a: f64, duration_s: f64) -> Stretch {
        let drain = Drain {
            power: watts(power_w),
            current: amperes(current_a),
        };
        Stretch {
            drain,
            peak: drain,
            duration: seconds(duration_s),
        }
    }

    /// Halving the step of a method of order 4 divides its error by 16; 12 is asked, since the steps are finite.
    #[test]
    fn the_method_has_order_four() {
        let bank = bank(&[(0.1, 5.0), (0.02, 1.0)], 1e-3);
        let drain = Drain {
            power: watts(0.05),
            current: amperes(1e-3),
        };
        let after = |steps: u32| {
            let network = bank.network();
            let mut state = Values::from_slice(&[3.0, 2.8]);
            for _ in 0..steps {
                state = step(&network, &state, &drain, 0.4 / f64::from(steps))
                    .expect("no collapse")
                    .0;
            }
            state[0]
        };
        let fine = after(4096);
        let (coarse, half) = ((after(16) - fine).abs(), (after(32) - fine).abs());
        assert!(coarse / half > 12.0, "{coarse} {half}");
    }

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
