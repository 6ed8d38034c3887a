//! The bank as a system of ordinary differential equations, of a size that the compiler knows, and one step of it.
//!
//! ```text
//! du_k/dt = (v − u_k)/(R_k·C_k(u_k))        Σ (u_k − v)/R_k = P/v + I + G·v
//! ```
//!
//! The state is the voltage u_k behind each branch's resistance. A bank of a ceramic beside a double-layer cell is stiff (time
//! constants from microseconds to hours), so the step is a linearly implicit one: the four-stage Rosenbrock method of order 4 by
//! Kaps and Rentrop with the coefficients of Shampine, "Implementation of Rosenbrock methods", ACM Transactions on
//! Mathematical Software 8 (1982) 93-113 (coefficients from memory; the order is measured in a test, the result is held
//! against the closed form in `model/discharge.rs` and against a circuit simulator and an ODE library in the tests crate).
//!
//! A bank of fewer branches than the array has places is filled up with branches that conduct nothing: they stand still and
//! take no part.

use crate::model::bank::Bank;
use crate::model::drain::Drain;
use crate::model::terminal;
use crate::units::*;

/// Most branches that a bank is integrated with; the reader of node files allows no more.
pub const MOST_BRANCHES: usize = 32;

/// Calls `$run::<N>($arguments…)` with the least size N that holds `$count` branches.
macro_rules! sized {
    ($count:expr, $run:ident($($argument:expr),*)) => {
        match $count {
            0 | 1 => $run::<1>($($argument),*),
            2 => $run::<2>($($argument),*),
            3 => $run::<3>($($argument),*),
            4 => $run::<4>($($argument),*),
            _ => $run::<{ crate::model::branches::MOST_BRANCHES }>($($argument),*),
        }
    };
}
pub(crate) use sized;

/// What is drawn from the terminal, in plain numbers; a converter that charges counts as a negative one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drawn {
    /// Part that rises as the voltage falls (W).
    pub power_w: f64,
    /// Part that does not depend on the voltage (A).
    pub current_a: f64,
}

impl From<&Drain> for Drawn {
    fn from(drain: &Drain) -> Self {
        Self {
            power_w: drain.power.get::<watt>(),
            current_a: drain.current.get::<ampere>(),
        }
    }
}

/// A bank in plain SI numbers, with room for `N` branches.
#[derive(Clone, Debug, PartialEq)]
pub struct Branches<const N: usize> {
    /// 1/R of each branch.
    pub conductance_s: [f64; N],
    /// Capacitance of each branch at 0 V.
    pub capacitance_f: [f64; N],
    /// Rise of each branch's capacitance with voltage.
    pub slope_f_per_v: [f64; N],
    /// Σ 1/R.
    pub all_s: f64,
    /// Leakage at the terminal.
    pub leakage_s: f64,
}

/// What is known at one state.
#[derive(Clone, Copy, Debug)]
pub struct Rates<const N: usize> {
    /// du/dt of each branch.
    pub rate: [f64; N],
    /// 1/(R·C) of each branch.
    pub per_s: [f64; N],
    /// By how much each branch's capacitance rises with its voltage, relative to itself (1/V).
    pub bend_per_v: [f64; N],
    /// Derivative by the terminal voltage of the current that load and leakage draw there.
    pub drawn_s: f64,
    /// Terminal voltage.
    pub terminal_v: f64,
    /// v − u of each branch.
    pub across_v: [f64; N],
}

/// What a step lets pass: integrals over it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Passed {
    /// ∫ Σ (u_k − v)²/R_k dt: lost in all series resistances.
    pub lost_j: f64,
    /// ∫ v dt.
    pub terminal_vs: f64,
    /// ∫ v² dt (V²·s).
    pub terminal_v2s: f64,
}

/// A Rosenbrock step.
#[derive(Clone, Copy, Debug)]
pub struct Stepped<const N: usize> {
    /// The new state.
    pub state_v: [f64; N],
    /// The largest difference to the embedded solution of order 3.
    pub error_v: f64,
}

impl<const N: usize> Branches<N> {
    /// The branches of `bank`, which are at most `N`.
    pub fn of(bank: &Bank) -> Self {
        assert!(
            bank.branches.len() <= N,
            "a bank has at most {MOST_BRANCHES} branches"
        );
        let mut branches = Self {
            conductance_s: [0.0; N],
            capacitance_f: [1.0; N],
            slope_f_per_v: [0.0; N],
            all_s: 0.0,
            leakage_s: bank.leakage.get::<siemens>(),
        };
        for (k, branch) in bank.branches.iter().enumerate() {
            branches.conductance_s[k] = branch.resistance.get::<ohm>().recip();
            branches.capacitance_f[k] = branch.capacitance.get::<farad>();
            branches.slope_f_per_v[k] = branch.slope.value;
        }
        branches.all_s = branches.conductance_s.iter().sum();
        branches
    }

    /// The state of which the first places are `inner_v`.
    pub fn state(inner_v: &[f64]) -> [f64; N] {
        std::array::from_fn(|k| inner_v.get(k).copied().unwrap_or(0.0))
    }

    /// Terminal voltage, and G − P/v²: by how much load and leakage draw more there for each volt.
    #[inline]
    pub(crate) fn terminal(&self, state_v: &[f64; N], drawn: Drawn) -> Option<(f64, f64)> {
        let source_a: f64 = self.conductance_s.iter().zip(state_v).map(|(g, u)| g * u).sum();
        let total_s = self.all_s + self.leakage_s;
        let terminal_v = terminal::voltage_v(total_s, source_a, drawn.power_w, drawn.current_a)?;
        // Without power 0/0 would not be 0 at 0 V.
        let falling_s = if drawn.power_w == 0.0 {
            0.0
        } else {
            drawn.power_w / (terminal_v * terminal_v)
        };
        Some((terminal_v, self.leakage_s - falling_s))
    }

    /// The rates at one state; `None` where storage cannot carry what is drawn.
    #[inline]
    pub fn rates(&self, state_v: &[f64; N], drawn: Drawn) -> Option<Rates<N>> {
        let (terminal_v, drawn_s) = self.terminal(state_v, drawn)?;
        let capacitance_f: [f64; N] =
            std::array::from_fn(|k| self.capacitance_f[k] + self.slope_f_per_v[k] * state_v[k]);
        let per_s: [f64; N] = std::array::from_fn(|k| self.conductance_s[k] / capacitance_f[k]);
        let by_power_a = if drawn.power_w == 0.0 {
            0.0
        } else {
            drawn.power_w / terminal_v
        };
        // v − u from the currents and not as a difference, of which nothing is left where the resistance is as good as none.
        let drawn_a = by_power_a + drawn.current_a + self.leakage_s * terminal_v;
        let across_v: [f64; N] = std::array::from_fn(|k| {
            let from_others_a: f64 = self
                .conductance_s
                .iter()
                .zip(state_v)
                .map(|(g, other)| g * (other - state_v[k]))
                .sum();
            (from_others_a - drawn_a) / self.all_s
        });
        Some(Rates {
            rate: std::array::from_fn(|k| per_s[k] * across_v[k]),
            across_v,
            per_s,
            bend_per_v: std::array::from_fn(|k| self.slope_f_per_v[k] / capacitance_f[k]),
            drawn_s,
            terminal_v,
        })
    }

    /// One Rosenbrock step of `step_s` from `state_v`, at which `first` are the rates; `None` where storage cannot carry what is
    /// drawn at a stage, or where the load runs away from the bank within the step.
    #[inline]
    pub(crate) fn step(
        &self,
        state_v: &[f64; N],
        first: &Rates<N>,
        drawn: Drawn,
        step_s: f64,
    ) -> Option<Stepped<N>> {
        self.step_with_passed(state_v, first, drawn, step_s)
            .map(|(stepped, _)| stepped)
    }

    /// The same with what passes in the step, as further components of the same method: they have their own rates and
    /// derivatives, and no state depends on them.
    #[inline]
    pub fn step_with_passed(
        &self,
        state_v: &[f64; N],
        first: &Rates<N>,
        drawn: Drawn,
        step_s: f64,
    ) -> Option<(Stepped<N>, Passed)> {
        let linear = Linear::of(self, first, step_s)?;
        let k1 = linear.solve(first.rate);
        let middle = self.rates(&sum(state_v, [(A21, &k1)]), drawn)?;
        let k2 = linear.solve(sum(&middle.rate, [(C21 / step_s, &k1)]));
        let third = self.rates(&sum(state_v, [(A31, &k1), (A32, &k2)]), drawn)?;
        let k3 = linear.solve(sum(&third.rate, [(C31 / step_s, &k1), (C32 / step_s, &k2)]));
        let k4 = linear.solve(sum(
            &third.rate,
            [(C41 / step_s, &k1), (C42 / step_s, &k2), (C43 / step_s, &k3)],
        ));
        let next_v = sum(state_v, [(B[0], &k1), (B[1], &k2), (B[2], &k3), (B[3], &k4)]);
        let error_v = sum(&[0.0; N], [(E[0], &k1), (E[1], &k2), (E[2], &k3), (E[3], &k4)])
            .iter()
            .fold(0.0, |largest: f64, error| largest.max(error.abs()));
        let (p1, p2, p3) = (self.passing(first), self.passing(&middle), self.passing(&third));
        let drawn_a: f64 = self
            .conductance_s
            .iter()
            .zip(&first.across_v)
            .map(|(g, across)| -g * across)
            .sum();
        // Derivatives by the state: those of the losses, and of v, that of v² being 2·v times the latter.
        let losing: [f64; N] = std::array::from_fn(|k| {
            -2.0 * (self.conductance_s[k] * first.across_v[k] + drawn_a * linear.toward[k])
        });
        let along = |of: &[f64; N], by: &[f64; N]| -> f64 { of.iter().zip(by).map(|(of, by)| of * by).sum() };
        let solve = |right: [f64; 3], k: &[f64; N]| {
            let terminal_v = along(&linear.toward, k);
            let moved = [along(&losing, k), terminal_v, 2.0 * first.terminal_v * terminal_v];
            std::array::from_fn(|part| GAMMA * step_s * (right[part] + moved[part]))
        };
        let q1: [f64; 3] = solve(p1, &k1);
        let q2 = solve(sum(&p2, [(C21 / step_s, &q1)]), &k2);
        let q3 = solve(sum(&p3, [(C31 / step_s, &q1), (C32 / step_s, &q2)]), &k3);
        let parts = [(C41 / step_s, &q1), (C42 / step_s, &q2), (C43 / step_s, &q3)];
        let q4 = solve(sum(&p3, parts), &k4);
        let [lost_j, terminal_vs, terminal_v2s] =
            sum(&[0.0; 3], [(B[0], &q1), (B[1], &q2), (B[2], &q3), (B[3], &q4)]);
        let stepped = Stepped {
            state_v: next_v,
            error_v,
        };
        let passed = Passed {
            lost_j,
            terminal_vs,
            terminal_v2s,
        };
        Some((stepped, passed))
    }

    /// Rates of the components of [`Passed`].
    #[inline]
    fn passing(&self, at: &Rates<N>) -> [f64; 3] {
        let lost_w = self
            .conductance_s
            .iter()
            .zip(&at.across_v)
            .map(|(g, across)| g * across * across)
            .sum();
        [lost_w, at.terminal_v, at.terminal_v * at.terminal_v]
    }
}

// Shampine's parameters for the method of Kaps and Rentrop; the system is autonomous.
const GAMMA: f64 = 0.5;
const A21: f64 = 2.0;
const A31: f64 = 48.0 / 25.0;
const A32: f64 = 6.0 / 25.0;
const C21: f64 = -8.0;
const C31: f64 = 372.0 / 25.0;
const C32: f64 = 12.0 / 5.0;
const C41: f64 = -112.0 / 125.0;
const C42: f64 = -54.0 / 125.0;
const C43: f64 = -2.0 / 5.0;
const B: [f64; 4] = [19.0 / 9.0, 0.5, 25.0 / 108.0, 125.0 / 108.0];
const E: [f64; 4] = [17.0 / 54.0, 7.0 / 36.0, 0.0, 125.0 / 108.0];

/// `base` and a weighted sum.
#[inline]
fn sum<const N: usize, const PARTS: usize>(base: &[f64; N], parts: [(f64, &[f64; N]); PARTS]) -> [f64; N] {
    let mut sum = *base;
    for (weight, part) in parts {
        for (sum, part) in sum.iter_mut().zip(part) {
            *sum += weight * part;
        }
    }
    sum
}

/// The matrix 1/(γh) − J: a diagonal less a product of two vectors, since the branches meet in the terminal alone, and solved in
/// closed form (Sherman and Morrison 1950).
struct Linear<const N: usize> {
    diagonal: [f64; N],
    /// Derivative of the terminal voltage by that behind each resistance.
    toward: [f64; N],
    away: [f64; N],
    kept: f64,
}

impl<const N: usize> Linear<N> {
    #[inline]
    fn of(branches: &Branches<N>, at: &Rates<N>, step_s: f64) -> Option<Self> {
        let beside: [f64; N] =
            std::array::from_fn(|k| 1.0 / (GAMMA * step_s) + at.rate[k] * at.bend_per_v[k]);
        let diagonal: [f64; N] = std::array::from_fn(|k| beside[k] + at.per_s[k]);
        let answer_s = branches.all_s + at.drawn_s;
        let toward: [f64; N] = std::array::from_fn(|k| branches.conductance_s[k] / answer_s);
        let away = std::array::from_fn(|k| at.per_s[k] / diagonal[k]);
        // One less the product of the two vectors, as a sum without a difference of large terms.
        let kept = toward
            .iter()
            .zip(beside.iter().zip(&diagonal))
            .map(|(toward, (beside, diagonal))| toward * beside / diagonal)
            .sum::<f64>()
            + at.drawn_s / answer_s;
        // A longer step than the load takes to run away from the bank: the linear system then has a solution that stands
        // still at the edge of collapse.
        (kept > 0.0).then_some(Self {
            diagonal,
            toward,
            away,
            kept,
        })
    }

    #[inline]
    fn solve(&self, right: [f64; N]) -> [f64; N] {
        let scaled: [f64; N] = std::array::from_fn(|k| right[k] / self.diagonal[k]);
        let along: f64 = self
            .toward
            .iter()
            .zip(&scaled)
            .map(|(toward, x)| toward * x)
            .sum();
        let factor = along / self.kept;
        std::array::from_fn(|k| scaled[k] + factor * self.away[k])
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::given;

    const DRAWN: Drawn = Drawn {
        power_w: 0.05,
        current_a: 1e-3,
    };

    /// The first branch's voltage after 0.4 s in so many steps.
    fn after<const N: usize>(steps: u32) -> f64 {
        let branches = Branches::<N>::of(&given::bank(&[(0.1, 5.0), (0.02, 1.0)], 1e-3));
        let mut state = Branches::<N>::state(&[3.0, 2.8]);
        for _ in 0..steps {
            let first = branches.rates(&state, DRAWN).expect("no collapse");
            state = branches
                .step(&state, &first, DRAWN, 0.4 / f64::from(steps))
                .expect("no collapse")
                .state_v;
        }
        state[0]
    }

    /// Halving the step of a method of order 4 divides its error by 16; 12 is asked, since the steps are finite.
    #[test]
    fn the_method_has_order_four() {
        let fine = after::<2>(4096);
        let (coarse, half) = ((after::<2>(16) - fine).abs(), (after::<2>(32) - fine).abs());
        assert!(coarse / half > 12.0, "{coarse} {half}");
    }

    /// Places without a branch take no part, to the last bit.
    #[test]
    fn places_left_over_change_nothing() {
        assert_eq!(after::<2>(16), after::<3>(16));
        assert_eq!(after::<2>(16), after::<MOST_BRANCHES>(16));
    }
}
